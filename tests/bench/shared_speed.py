"""How fast the planner of several cars is, as ratios against HiGHS on the same matrices in the same run.

Run ``python tests/bench/shared_speed.py`` (two minutes or so). Nothing is asserted: times belong to a machine. Costs
are compared: two answers to one program with different costs end the run with an error.

Measured, each as the least of some runs that take turns, after a first one that is not counted:

- *building*: from cars, tree and loads to the finished program (laying out, and both steps of writing it);
- *bare*: scipy's linprog with its defaults on the finished matrix, called straight; of the program of the cost and of
  the one that breaks ties, which are the two that a night without shortfalls solves;
- *whole*: `plan_shared` from cars to the plan with its certificate.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from chargeplan.charging.other_load import OtherLoad
from chargeplan.charging.panel import Node, PowerTree
from chargeplan.plan import night
from chargeplan.plan.program import Program, optimal_face
from chargeplan.plan.shared import SharedCar, lay_out, plan_shared, shared_grid_s
from chargeplan.plan.shared.goals import early_cost
from chargeplan.plan.shared.limits import tree_limits
from chargeplan.plan.shared.program import ALL_MET, shared_program

sys.path.insert(0, str(Path(__file__).parent))
from plan_speed import least_s

#: What the project wants of each comparison, printed beside what was measured.
BUILDING_AGAINST_SOLVING, WHOLE_AGAINST_BARE = 1.0, 1.3
SAME_COST = 1e-6
PRICES = ("three periods", "hourly", "all distinct")
Night = tuple[list[SharedCar], PowerTree, list[OtherLoad]]


def feeder(cars: int, prices: str, seed: int, feeder_a: float = 400.0, **rules: float) -> Night:
    """Cars of 32 A at 240 V on one feeder, 96 slots from 17:00, arriving within 5 hours, and a house load."""
    random = np.random.default_rng(seed)
    hour = (17 + np.arange(96) / 4) % 24
    price = {
        "three periods": lambda: np.where(hour < 7, 0.12, np.where((hour >= 16) & (hour < 21), 0.5, 0.3)),
        "hourly": lambda: np.repeat(random.normal(0.2, 0.1, 24).round(4), 4),
        "all distinct": lambda: random.normal(0.2, 0.1, 96).round(5),
    }[prices]()
    plugged = []
    for number in range(cars):
        first, last = int(random.integers(0, 20)), int(random.integers(50, 97))
        need = float(random.uniform(5, 35).__round__(2))
        problem = night(
            price[first:last],
            7.68,
            need,
            capacity_kwh=60,
            gain=float(random.choice([0.85, 0.9, 0.92])),
            start_s=900 * first,
        )
        plugged.append(SharedCar(problem, 0.24, f"evse {number}", name=f"car {number}", **rules))
    nodes = [Node("feeder", feeder_a), *(Node(f"evse {number}", 32, "feeder") for number in range(cars))]
    house = np.where((hour >= 17) & (hour < 22), 80.0, 20.0)[: shared_grid_s(plugged).size]
    return plugged, PowerTree(nodes), [OtherLoad("feeder", house)]


def bare(program: Program) -> Callable[[], object]:
    """Make a call of linprog on the finished matrix; it returns the result with its duals per row."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    matrix = csr_array(
        (program.values, (program.rows, program.columns)), shape=(program.row_lower.size, program.cost.size)
    )
    equal = program.row_lower == program.row_upper
    bounds = np.column_stack((program.lower, program.upper))
    sides = {"A_eq": matrix[equal], "b_eq": program.row_lower[equal]}
    if not equal.all():
        sides |= {"A_ub": matrix[~equal], "b_ub": program.row_upper[~equal]}

    def run() -> object:
        result = linprog(program.cost, bounds=bounds, method="highs", **sides)
        if result.status != 0:
            raise RuntimeError(f"HiGHS alone ended with {result.message}")
        duals = np.zeros(equal.size)
        duals[equal] = result.eqlin.marginals
        if not equal.all():
            duals[~equal] = result.ineqlin.marginals
        return result, duals

    return run


def build(case: Night) -> Program:
    """From cars to the finished program of the cost."""
    shared = lay_out(*case)
    return shared_program(shared, ALL_MET, tree_limits(shared)).program


def tie_program(case: Night, duals: np.ndarray) -> Program:
    """Write the program that breaks ties among the cheapest plans."""
    shared = lay_out(*case)
    layout = shared_program(shared, ALL_MET, tree_limits(shared))
    return replace(optimal_face(layout.program, duals), cost=early_cost(shared, layout))


def one_feeder() -> None:
    """50 cars without a minimum current: building, bare, whole."""
    print("50 cars, one feeder, 96 slots, any current up to 32 A")
    for prices in PRICES:
        case = feeder(50, prices, 1, min_a=0.0)
        program = build(case)
        result, duals = bare(program)()
        ties = tie_program(case, duals)
        build_s, first_s, second_s, whole_s = least_s(
            lambda case=case: build(case), bare(program), bare(ties), lambda case=case: plan_shared(*case), times=7
        )
        plan = plan_shared(*case)
        if abs(plan.total_cost - result.fun) > SAME_COST * (1 + abs(result.fun)):
            raise AssertionError(f"one problem, two costs: {plan.total_cost:.9f} and {result.fun:.9f}")
        both_s = first_s + second_s
        print(
            f"  {prices:14s} building / bare {build_s / both_s:.2f} (at most {BUILDING_AGAINST_SOLVING:g})   "
            f"whole / bare {whole_s / both_s:.2f} (at most {WHOLE_AGAINST_BARE:g})   "
            f"whole / bare without ties {whole_s / first_s:.2f}   "
            f"({1e3 * build_s:.0f}, {1e3 * first_s:.0f} + {1e3 * second_s:.0f}, {1e3 * whole_s:.0f} ms), {plan.status}"
        )


def minimum_current() -> None:
    """50 cars with a minimum of 6 A: how long, and how far from the linear bound."""
    print("50 cars, one feeder, 96 slots, off or 6 to 32 A, at most 10 s of search")
    for prices in PRICES:
        for seed in range(1, 5):
            case = feeder(50, prices, seed)
            start = time.perf_counter()
            plan = plan_shared(*case)
            took = time.perf_counter() - start
            print(
                f"  {prices:14s} {took:6.2f} s   gap {plan.certificate.gap:.1e} of {plan.total_cost:.2f}, {plan.status}"
            )


def whole_amperes() -> None:
    """Generated nights in steps of 1 A: median time and gap."""
    for cars, nights in ((1, 200), (2, 200), (5, 60), (50, 9)):
        took, gaps, closed = [], [], 0
        for seed in range(nights):
            case = feeder(cars, PRICES[seed % 3], seed, feeder_a=40.0 + 8 * cars, step_a=1.0)
            case = (case[0], case[1], [OtherLoad("feeder", 0.1 * np.asarray(case[2][0].current_a))])
            start = time.perf_counter()
            plan = plan_shared(*case)
            took.append(time.perf_counter() - start)
            gaps.append(plan.certificate.gap / max(1e-9, abs(plan.total_cost)))
            closed += plan.certificate.optimal or plan.searched
        print(
            f"  {cars:2d} cars, {nights:3d} nights: median {np.median(took):.3f} s, longest {max(took):.2f} s; gap "
            f"to the linear bound: median {np.median(gaps):.1e}, largest {max(gaps):.1e} of the cost; "
            f"{closed} of {nights} proven best"
        )


def main() -> None:
    """Print all comparisons."""
    one_feeder()
    print()
    minimum_current()
    print()
    print("Whole amperes, off or 6 to 32 A, 96 slots, at most 10 s of search")
    whole_amperes()


if __name__ == "__main__":
    main()
