"""How fast the planner is, as ratios against HiGHS on the same problem in the same run.

Run ``python tests/bench/plan_speed.py`` (a minute or so). Nothing is asserted: times belong to a machine.

Each line gives the median of several runs. Compared are

* merit order against HiGHS (scipy's linprog, called straight with the finished sparse matrix), on the
  program with a level per stay, and on the one with a level per slot;
* the program path as a whole (building, solving, tie-break, polishing) against HiGHS alone on its matrix;
* the growth of merit order from 1e3 to 1e6 slots, also with a battery that never fills.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

from chargeplan.plan import Problem, certify, merit_order, merit_order_nights, reach, solve
from chargeplan.plan.program import Program, linear_program
from chargeplan.plan.runs import merge_runs


def days_of_driving(days: int, prices: str, capacity_kwh: float = 60.0, taper: tuple = ()) -> Problem:
    """Plugged in round the clock with a drive every day, 15-minute slots; fixed seed."""
    random = np.random.default_rng(7)
    slot = np.arange(96 * days)
    hour = slot % 96 / 4
    price = {
        "three periods": lambda: np.where(hour < 7, 0.12, np.where((hour >= 16) & (hour < 21), 0.5, 0.3)),
        "hourly": lambda: np.repeat(random.normal(0.1, 0.1, slot.size // 4), 4),
        "all distinct": lambda: random.normal(0.1, 0.1, slot.size),
    }[prices]()
    return Problem(
        start_s=900 * slot,
        hours=np.full(slot.size, 0.25),
        stay=slot // 96,
        price_per_kwh=price,
        max_kwh=np.full(slot.size, 1.8),
        gain=np.full(slot.size, 0.9),
        need_kwh=np.full(days, 30.0),
        drive_kwh=random.uniform(5, 25, days),
        level_kwh=30.0,
        capacity_kwh=capacity_kwh,
        taper=np.array(taper, dtype=float).reshape(-1, 2),
    )


def median_s(run: Callable[[], object], times: int) -> float:
    """Median duration; the first call, which imports and fills caches, is not counted."""
    run()
    durations = []
    for _ in range(times):
        start = time.perf_counter()
        run()
        durations.append(time.perf_counter() - start)
    return statistics.median(durations)


def highs_alone(program: Program) -> Callable[[], object]:
    """Make a call of linprog on the finished matrix, with its own defaults."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    shape = (program.row_lower.size, program.cost.size)
    matrix = csr_array((program.values, (program.rows, program.columns)), shape=shape)
    equal = program.row_lower == program.row_upper
    bounds = np.column_stack((program.lower, program.upper))
    sides = {"A_eq": matrix[equal], "b_eq": program.row_lower[equal]}
    if not equal.all():
        sides |= {"A_ub": matrix[~equal], "b_ub": program.row_upper[~equal]}
    return lambda: linprog(program.cost, bounds=bounds, method="highs", **sides)


def main() -> None:
    """Print the comparisons."""
    print("A year, 35,040 slots, 365 stays: merit order (with reach) against HiGHS alone")
    for prices in ("three periods", "hourly", "all distinct"):
        problem = days_of_driving(365, prices)
        best = reach(problem)
        quick = median_s(lambda problem=problem: merit_order(problem, reach(problem)), 15)
        per_stay = linear_program(problem, best)
        stay_s = median_s(highs_alone(per_stay), 5)
        slot_s = median_s(highs_alone(linear_program(problem, best, level_per_slot=True)), 3)
        path_s = median_s(lambda problem=problem: solve(problem, "highs"), 5)
        energy = merit_order(problem, best)
        proof_s = median_s(lambda problem=problem, energy=energy: certify(problem, energy / problem.gain), 5)
        merged, _ = merge_runs(problem)
        runs_s = median_s(highs_alone(linear_program(merged, reach(merged))), 5)
        print(
            f"  {prices:14s} merit order {1e3 * quick:6.2f} ms | level per stay {1e3 * stay_s:6.1f} ms, "
            f"{stay_s / quick:5.1f} x | level per slot {1e3 * slot_s:6.1f} ms, {slot_s / quick:5.1f} x"
        )
        print(
            f"  {'':14s} program path {1e3 * path_s:6.1f} ms with tie-break = {path_s / stay_s:.2f} x HiGHS alone on "
            f"all slots, {path_s / runs_s:.2f} x on the price runs it hands over ({1e3 * runs_s:.1f} ms) | "
            f"certificate {1e3 * proof_s:.1f} ms"
        )
    problem = days_of_driving(90, "three periods", taper=((-20.0, 22.0), (0.0, 6.2)))
    alone = median_s(highs_alone(linear_program(problem, reach(problem))), 3)
    path = median_s(lambda: solve(problem), 3)
    print(f"A quarter with a taper: program path {1e3 * path:.0f} ms = {path / alone:.2f} x HiGHS alone on its matrix")

    random = np.random.default_rng(7)
    price = random.normal(0.2, 0.1, (3650, 96))
    at_once = median_s(lambda: merit_order_nights(price, 1.8, 20.0), 5)
    print(f"Nights: 3,650 of 96 slots in one sort {1e3 * at_once:.0f} ms, {1e6 * at_once / 3650:.1f} us a night")

    print("Growth of merit order, all prices distinct; time per slot, and the same over log2(slots)")
    for capacity, name in ((60.0, "60 kWh battery"), (1e9, "battery that never fills")):
        for days in (10, 104, 1042, 10417):
            problem = days_of_driving(days, "all distinct", capacity)
            seconds = median_s(lambda problem=problem: merit_order(problem, reach(problem)), 3)
            per_slot = 1e9 * seconds / problem.slots
            print(
                f"  {name:24s} {problem.slots:9,d} slots {1e3 * seconds:8.2f} ms  {per_slot:6.0f} ns  "
                f"{per_slot / np.log2(problem.slots):5.1f} ns"
            )


if __name__ == "__main__":
    main()
