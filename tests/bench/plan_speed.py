"""How fast the planner is, as ratios against a named alternative on the same problem in the same run.

Run ``python tests/bench/plan_speed.py`` (a minute or so). No duration is asserted: times belong to a machine. The
costs are: a faster method that finds a dearer plan is no method, so a run in which two of them differ ends with an
error.

Both sides of a ratio take turns, and of each the least time counts, which other load on the machine disturbs least;
the first call, which imports and fills caches, is not counted. HiGHS alone is scipy's linprog, called straight with
the finished sparse matrix.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from functools import partial

import numpy as np

from chargeplan.plan import Problem, certify, merit_order, merit_order_nights, night, reach, solve
from chargeplan.plan.program import Program, linear_program
from chargeplan.plan.runs import merge_runs

#: What the project wants of each comparison, printed beside what was measured.
FASTER_THAN_HIGHS, PATH_AGAINST_HIGHS, FASTER_THAN_A_LOOP = 20, 2, 80
FASTER_ON_TIME_OF_USE = 100
#: Costs of one problem found in two ways may differ by this much, relative to the money turned over.
SAME_COST = 1e-6
PRICES = ("three periods", "hourly", "all distinct")
#: Falls from 22 kW at empty to 2 kW at full, and never above 6.2 kW: the battery side of a wall unit.
TAPER = ((-20.0, 22.0), (0.0, 6.2))


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


def least_s(*runs: Callable[[], object], times: int) -> list[float]:
    """Least duration of each call in seconds; the calls take turns, so that a busy moment meets all of them."""
    for run in runs:
        run()
    durations: list[list[float]] = [[] for _ in runs]
    for _ in range(times):
        for run, found in zip(runs, durations, strict=True):
            start = time.perf_counter()
            run()
            found.append(time.perf_counter() - start)
    return [min(found) for found in durations]


def highs_alone(program: Program) -> Callable[[], float]:
    """Make a call of linprog on the finished matrix, with its own defaults; it returns the cost."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    shape = (program.row_lower.size, program.cost.size)
    matrix = csr_array((program.values, (program.rows, program.columns)), shape=shape)
    equal = program.row_lower == program.row_upper
    bounds = np.column_stack((program.lower, program.upper))
    sides = {"A_eq": matrix[equal], "b_eq": program.row_lower[equal]}
    if not equal.all():
        sides |= {"A_ub": matrix[~equal], "b_ub": program.row_upper[~equal]}

    def run() -> float:
        result = linprog(program.cost, bounds=bounds, method="highs", **sides)
        if result.status != 0:
            raise RuntimeError(f"HiGHS alone ended with {result.message}")
        return float(result.fun)

    return run


def difference(cost: float, other: float, turnover: float) -> str:
    """Say by how much two costs of one problem differ; more than rounding is an error."""
    relative = abs(cost - other) / (1 + turnover)
    if relative > SAME_COST:
        raise AssertionError(f"one problem, two costs: {cost:.9f} and {other:.9f}")
    return f"cost differs by {relative:.0e}"


def merit_order_for_a_year() -> None:
    """Merit order against HiGHS alone, on both ways to write the program, and with every tie-break."""
    print(
        "A year of 35,040 slots, 365 drives: HiGHS alone / merit order with its repair (with a level per slot at "
        f"least {FASTER_THAN_HIGHS}, with few prices {FASTER_ON_TIME_OF_USE})"
    )
    for prices in PRICES:
        problem = days_of_driving(365, prices)
        best = reach(problem)
        energy = merit_order(problem, best)
        cost, turnover = float(problem.unit_cost @ energy), float(np.abs(problem.unit_cost) @ energy)
        ours = partial(_merit_order_from_scratch, problem)
        for name, per_slot in (("a level per stay", False), ("a level per slot", True)):
            alone = highs_alone(linear_program(problem, best, level_per_slot=per_slot))
            seconds, quick = least_s(alone, ours, times=7)
            print(
                f"  {prices:14s} {name}  {seconds / quick:6.1f} x  ({1e3 * seconds:6.1f} / {1e3 * quick:.2f} ms), "
                f"{difference(cost, alone(), turnover)}"
            )
    print("  the same year, by tie-break / the earliest")
    for prices in PRICES:
        problem = days_of_driving(365, prices)
        calls = [partial(merit_order, problem, None, tie_break) for tie_break in ("earliest", "as needed", "latest")]
        earliest, as_needed, latest = least_s(*calls, times=15)
        print(f"  {prices:14s} as needed {as_needed / earliest:.2f}, latest {latest / earliest:.2f}")


def _merit_order_from_scratch(problem: Problem) -> object:
    return merit_order(problem, reach(problem))


def program_path() -> None:
    """Building, solving, breaking ties and polishing, against HiGHS alone on the matrix that is handed to it."""
    print(f"The program path as a whole / HiGHS alone on the same matrix (at most {PATH_AGAINST_HIGHS})")
    cases = [(f"a year, {prices}", days_of_driving(365, prices)) for prices in PRICES]
    cases.append(("a quarter with a taper", days_of_driving(90, "three periods", taper=TAPER)))
    for name, problem in cases:
        # Without a taper, slots at one price are one column; that is the matrix HiGHS gets.
        given = problem if problem.taper.size else merge_runs(problem)[0]
        alone = highs_alone(linear_program(given, reach(given)))
        path_s, alone_s = least_s(partial(solve, problem, "highs"), alone, times=7)
        energy = solve(problem, "highs").battery_kwh
        turnover = float(np.abs(problem.unit_cost) @ energy)
        same = difference(float(problem.unit_cost @ energy), alone(), turnover)
        print(f"  {name:24s} {path_s / alone_s:5.2f} x  ({1e3 * path_s:6.1f} / {1e3 * alone_s:.1f} ms), {same}")


def proof() -> None:
    """What the certificate costs beside the plan it proves."""
    print("The certificate / the merit order it proves")
    for prices in PRICES:
        problem = days_of_driving(365, prices)
        best = reach(problem)
        wall = merit_order(problem, best) / problem.gain
        seconds, quick = least_s(
            partial(certify, problem, wall, best=best), partial(merit_order, problem, best), times=15
        )
        optimal = "proven optimal" if certify(problem, wall, best=best).optimal else "NOT PROVEN"
        print(f"  {prices:14s} {seconds / quick:5.2f} x  ({1e3 * seconds:.1f} / {1e3 * quick:.1f} ms), {optimal}")


def milp_alone(program: Program) -> Callable[[], float]:
    """Make a call of scipy's milp on the finished matrix; it returns the cost."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    shape = (program.row_lower.size, program.cost.size)
    matrix = csr_array((program.values, (program.rows, program.columns)), shape=shape)
    limits = LinearConstraint(matrix, program.row_lower, program.row_upper)
    bounds = Bounds(program.lower, program.upper)

    def run() -> float:
        result = milp(program.cost, bounds=bounds, constraints=limits)
        if result.status != 0:
            raise RuntimeError(f"milp ended with {result.message}")
        return float(result.fun)

    return run


def many_nights() -> None:
    """Independent nights in one sort, against a loop over scipy's milp, of which a sample is timed."""
    count, sample, need_kwh = 17_520, 100, 20.0
    price = np.random.default_rng(7).normal(0.2, 0.1, (count, 96))
    problems = [night(row, 7.2, need_kwh) for row in price[:sample]]
    calls = [milp_alone(linear_program(problem, reach(problem))) for problem in problems]
    loop_s, batch_s = least_s(
        lambda: [call() for call in calls], lambda: merit_order_nights(price, 1.8, need_kwh), times=5
    )
    loop_s, batch_s = loop_s / sample, batch_s / count
    ours = (merit_order_nights(price[:sample], 1.8, need_kwh) * price[:sample]).sum(axis=1)
    worst = float(np.abs(ours - np.array([call() for call in calls])).max())
    if worst > 1e-9:
        raise AssertionError(f"one night, two costs: {worst:.1e} apart")
    print(
        f"A loop over scipy's milp ({sample} nights timed) / {count:,} nights of 96 slots in one sort, per night "
        f"(at least {FASTER_THAN_A_LOOP})"
    )
    print(f"  {loop_s / batch_s:6.0f} x  ({1e6 * loop_s:.0f} / {1e6 * batch_s:.1f} us), costs within {worst:.0e}")


def fewest_starts() -> None:
    """The mixed-integer search for the fewest starts, against the linear program on the same nights."""
    random = np.random.default_rng(7)
    problems = [
        night(np.repeat(random.choice([0.12, 0.3, 0.5], 24), 4), 7.2, 20.0 + k % 5, gain=0.9, capacity_kwh=60)
        for k in range(30)
    ]
    print("The fewest starts / the earliest plan by the linear program, 30 nights of 96 slots")
    search_s, linear_s = least_s(
        lambda: [solve(p, "highs", "fewest starts") for p in problems],
        lambda: [solve(p, "highs") for p in problems],
        times=3,
    )
    for problem in problems:
        few, early = (solve(problem, "highs", tie).battery_kwh for tie in ("fewest starts", "earliest"))
        difference(float(problem.unit_cost @ few), float(problem.unit_cost @ early), 30.0)
    each = f"({1e3 * search_s / len(problems):.1f} / {1e3 * linear_s / len(problems):.1f} ms a night)"
    print(f"  {search_s / linear_s:5.2f} x  {each}, every cost the same")


def growth() -> None:
    """Time per slot from 1e3 to 1e6 slots; with n log n the last column is flat."""
    print("Growth of merit order, all prices distinct: ns per slot, and that over log2(slots)")
    for capacity, name in ((60.0, "60 kWh battery"), (1e9, "battery that never fills")):
        for days in (10, 104, 1042, 10417):
            problem = days_of_driving(days, "all distinct", capacity)
            (seconds,) = least_s(partial(_merit_order_from_scratch, problem), times=3)
            per_slot = 1e9 * seconds / problem.slots
            print(
                f"  {name:24s} {problem.slots:9,d} slots {1e3 * seconds:8.2f} ms  {per_slot:6.0f}  "
                f"{per_slot / np.log2(problem.slots):5.1f}"
            )


def main() -> None:
    """Print all comparisons."""
    for part in (merit_order_for_a_year, program_path, proof, many_nights, fewest_starts, growth):
        part()
        print()


if __name__ == "__main__":
    main()
