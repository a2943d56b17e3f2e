"""How long nights under a charger's rules take, beside scipy's milp on the same formulation in the same run.

Run ``python tests/bench/charger_rules_speed.py`` (some minutes; a number as argument makes fewer nights than 200).
No duration is asserted: times belong to a machine. The costs are: a night for which two ways find different costs ends
the run with an error. Printed are the median and the longest time of a night, the greatest gap that was left, and the
median of the ratios night by night. scipy's milp is called straight with the finished matrix, for the cost alone; our
time has the search for the earliest of the cheapest plans and the proof in it as well. With a taper only our own time
is printed.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from chargeplan.charging import Circuit, Consumption, Evse, Vehicle
from chargeplan.charging.limits import current_limit_a
from chargeplan.plan import Problem, reach, solve
from chargeplan.plan.problem import night
from chargeplan.plan.rule_proof import certify_ruled
from chargeplan.plan.ruled import reached
from chargeplan.plan.rules import ChargerRules
from chargeplan.plan.runs import merge_runs
from chargeplan.plan.switching import switching_program

NIGHTS = 200
RULES = {
    "one unbroken block": ChargerRules(most_starts=1),
    "one block of at least 2 h": ChargerRules(min_on_min=120, most_starts=1),
    "two starts, 45 min on, 30 min off": ChargerRules(45, 30, 2),
}
PRICES = ("three periods", "hourly", "quarter-hourly")
#: What HiGHS and we may differ by, relative to the money turned over.
SAME_COST = 1e-6
#: Power in kW that the battery accepts, as lines over its state of charge, and the longest search with it.
TAPER = np.array([[-12.0, 13.0], [0.0, 11.0]])
TAPER_S = 20.0


def nights(count: int, prices: str, rules: ChargerRules) -> list[Problem]:
    """Nights of 96 slots whose limit is another whole number of amperes every hour; fixed seed."""
    random = np.random.default_rng(7)
    circuit, evse = Circuit(40, volts=240), Evse(32)
    car = Vehicle(60, consumption=Consumption(16, "battery"))
    found = []
    for _ in range(count):
        price = {
            "three periods": lambda: np.repeat(random.choice([0.12, 0.3, 0.5], 8), 12),
            "hourly": lambda: np.repeat(random.normal(0.2, 0.1, 24), 4),
            "quarter-hourly": lambda: random.normal(0.2, 0.1, 96),
        }[prices]()
        limit_a = current_limit_a(circuit, evse, car, np.repeat(random.uniform(10, 34, 24), 4))
        one = night(price, 7.68, float(random.uniform(5, 45)), gain=0.9, capacity_kwh=60)
        found.append(replace(one, max_kwh=np.asarray(circuit.power_kw(limit_a)) / 4, rules=(rules,)))
    return found


def milp_alone(problem: Problem) -> Callable[[], float]:
    """Make a call of milp on the finished matrix, asked for no gap; it returns the cost, or NaN without a solution."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    runs, _ = merge_runs(problem, np.round(problem.max_kwh / problem.hours, 9))
    program = switching_program(runs, reach(runs), as_without=True).program
    shape = (program.row_lower.size, program.cost.size)
    matrix = csr_array((program.values, (program.rows, program.columns)), shape=shape)

    def run() -> float:
        result = milp(
            program.cost,
            integrality=program.integer.astype(int),
            bounds=Bounds(program.lower, program.upper),
            constraints=LinearConstraint(matrix, program.row_lower, program.row_upper),
            options={"mip_rel_gap": 0.0},
        )
        return float(result.fun) if result.x is not None else np.nan

    return run


def compare(problems: list[Problem], solver: str) -> None:
    """Time each night both ways, in turns."""
    ours, alone, gaps, unproven, short = [], [], [], 0, 0
    for problem in problems:
        call = milp_alone(problem)
        start = time.perf_counter()
        cost = call()
        middle = time.perf_counter()
        solution = solve(problem, solver)
        certificate = certify_ruled(problem, solution.wall_kwh, solution.ruled, reach(problem))
        end = time.perf_counter()
        alone.append(middle - start)
        ours.append(end - middle)
        gaps.append(certificate.gap / (1 + abs(certificate.cost)))
        unproven += not certificate.optimal
        short += bool(reached(problem, solution.battery_kwh).shortfall_kwh.sum() > 0)
        turnover = 1 + float(np.abs(solution.wall_kwh * problem.price_per_kwh).sum())
        if np.isfinite(cost) and abs(cost - certificate.cost) > SAME_COST * turnover:
            raise AssertionError(f"one night, two costs: {cost:.9f} and {certificate.cost:.9f}")
    own, other = np.array(ours), np.array(alone)
    print(
        f"    {solver:6s} median {1e3 * np.median(own):7.1f} ms, longest {1e3 * own.max():7.0f} ms, greatest gap "
        f"{max(gaps):.0e}, {unproven} not proven, {short} short; milp alone / ours: {np.median(other / own):.2f} "
        f"(median {1e3 * np.median(other):.1f} ms)"
    )


def tapered(problems: list[Problem]) -> None:
    """Time nights whose battery takes less from half full on, alone: no other program of ours has a taper."""
    times, gaps, unproven = [], [], 0
    for problem in problems:
        curved = replace(problem, need_kwh=np.array([55.0]), level_kwh=15.0, taper=TAPER)
        start = time.perf_counter()
        solution = solve(curved, time_limit_s=TAPER_S)
        certificate = certify_ruled(curved, solution.wall_kwh, solution.ruled, reach(curved))
        times.append(time.perf_counter() - start)
        gaps.append(certificate.gap / (1 + abs(certificate.cost)))
        unproven += not certificate.optimal
        if not certificate.feasible:
            raise AssertionError(f"a night is not feasible: {certificate.words}")
    own = np.array(times)
    print(
        f"    taper  median {1e3 * np.median(own):7.1f} ms, longest {1e3 * own.max():7.0f} ms, greatest gap "
        f"{max(gaps):.0e}, {unproven} not proven"
    )


def main() -> None:
    """Print all comparisons."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else NIGHTS
    print(f"{count} nights of 96 slots under each rule, limits in whole amperes that change every hour")
    solve(nights(1, "hourly", RULES["one unbroken block"])[0], "highs")  # the first call imports
    for name, rules in RULES.items():
        for prices in PRICES:
            print(f"  {name}, {prices} prices")
            problems = nights(count, prices, rules)
            for solver in ("auto", "highs") if rules.names == ("one_block",) else ("auto",):
                compare(problems, solver)
            # A search with a taper may take all its time, so fewer nights are enough for it.
            tapered(problems if rules.one_block else problems[: max(1, count // 20)])


if __name__ == "__main__":
    main()
