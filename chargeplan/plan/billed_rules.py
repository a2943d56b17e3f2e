"""Plans against whole bills under rules about switching, or with the fewest starts among the cheapest.

The columns and rows of the bills are added to the mixed-integer program of the rules (`switching`). Slots are merged
into runs only where no line of a bill tells them apart. Forks are searched with such a program at every node.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import SolverError
from chargeplan.plan.bill_columns import by_the_hour, with_bills
from chargeplan.plan.bill_search import search_forks
from chargeplan.plan.bill_slots import BilledSlots, total_cost
from chargeplan.plan.engines import run_highs, search_highs
from chargeplan.plan.merit_order import preference
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.program import Program, optimal_face
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.ruled import Ruled, energy_of_blocks, keeps_rules, with_blocks
from chargeplan.plan.rules import ChargerRules
from chargeplan.plan.runs import merge_runs, spread
from chargeplan.plan.starts import capped
from chargeplan.plan.switching import Switching, block_times, switching_program
from chargeplan.tariff.bill_shape import ChoiceShape, CrossingShape, PeakShape

#: For all searches of one plan together.
MOST_S = 9.0
#: Block ends this near a slot boundary are on it; 1e-4 s at 10 kW are 3e-7 kWh.
_SNAP_S = 1e-4
#: What of the cost may be given up by the objective after it: rounding, of the money turned over.
_GIVE = 1e-7
_METHOD = "mixed-integer program{} over the whole bill, solved by HiGHS"


@dataclass(frozen=True, eq=False)
class _Merged:
    """A problem whose slots are runs, and the bills on them."""

    runs: Problem
    first: Ints
    bills: list[BilledSlots]
    best: Reach


def counting_starts(problem: Problem) -> Problem:
    """Give every stay a rule, one that asks for nothing where it has none, so that its starts are counted."""
    none = ChargerRules(most_starts=problem.slots + 1)
    own = problem.rules or (None,) * problem.stays
    return replace(problem, rules=tuple(rules if rules is not None and rules.bind else none for rules in own))


def plan_rules_billed(
    problem: Problem, bills: Sequence[BilledSlots], best: Reach, *, tie_break: str, time_limit_s: float = MOST_S
) -> tuple[Ruled, float] | None:
    """Find the plan that keeps the rules and by which whole bills rise least.

    Parameters
    ----------
    problem : Problem
        Without taper, with rules in a stay.
    bills : sequence of BilledSlots
        Which slots are on which bill.
    best : Reach
        What can be reached without rules.
    tie_break : str
        As for `chargeplan.plan.solvers.solve`.
    time_limit_s : float
        For all searches together.

    Returns
    -------
    tuple of (Ruled, float), or None
        The plan with its bound, and by how much that may be too high, in money. None where the rules change what
        can be reached at the departures, or nothing was found in time.
    """
    until = time.monotonic() + time_limit_s
    merged = _merged(problem, bills, best)
    switching = switching_program(merged.runs, merged.best, as_without=True)
    bills_of = with_bills(switching.program, merged.runs, merged.bills, merged.best)
    runs = merged.runs.slots

    def solve(program: Program) -> tuple[Floats | None, Floats | None, float]:
        found = search_highs(program, max(until - time.monotonic(), 0.1))
        return found.x, None, found.bound

    def billed(x: Floats) -> tuple[Floats, float]:
        wall = x[:runs] / merged.runs.gain
        return wall, total_cost(merged.runs, merged.bills, wall)

    turnover = float(np.abs(merged.runs.unit_cost) @ merged.runs.max_battery_kwh)
    closed = _GIVE * (1 + turnover)
    found = search_forks(bills_of, solve, billed, closed=closed, time_limit_s=time_limit_s)
    if found is None:
        return None
    objectives = _objectives(switching, merged.runs, tie_break)
    # Where options are left to a fork another plan may cost more than its program says, so each is billed.
    x = found.node.x
    for other in _alike(found.node.program, x, objectives, until):
        if billed(other)[1] <= found.cost + closed:
            x = other
    ruled = _ruled(problem, merged, switching, x, best=best, latest=tie_break == "latest")
    if not keeps_rules(problem, ruled):
        return None
    return replace(ruled, bound=found.bound, bound_by="HiGHS"), found.slack


def _merged(problem: Problem, bills: Sequence[BilledSlots], best: Reach) -> _Merged:
    """Merge the slots that neither price nor power nor any line of a bill tells apart."""
    hourly = by_the_hour(problem, bills)
    alike: list[Floats | Ints] = [np.round(problem.max_battery_kwh / problem.hours, 9)]
    # Below the floor it matters in which slot of a run something is charged.
    forced = np.isin(problem.stay, problem.stay[best.forced_kwh > 0])
    alike.append(np.where(forced, np.arange(problem.slots), -1))
    for number, bill in enumerate(bills):
        on = np.zeros(problem.slots, dtype=np.int64)
        on[bill.slot] = number + 1
        alike.append(on)
        alike += [_laid(problem, bill, column) for column in _columns(bill)]
    runs, first = merge_runs(hourly, *alike)
    run = np.repeat(np.arange(runs.slots), np.diff(np.append(first, problem.slots)))
    merged = []
    for bill in bills:
        numbers = np.unique(run[bill.slot])
        interval = bill.interval[np.searchsorted(bill.slot, first[numbers])]
        merged.append(replace(bill, slot=numbers, interval=interval))
    return _Merged(runs, first, merged, reach(runs))


def _laid(problem: Problem, bill: BilledSlots, by_interval: Floats) -> Floats:
    found = np.full(problem.slots, -1.0)
    found[bill.slot] = by_interval[bill.interval]
    return found


def _columns(bill: BilledSlots) -> list[Floats]:
    """List what tells the intervals of a bill apart."""
    found = [bill.shape.in_minimum]
    for part in bill.shape.parts:
        if isinstance(part, PeakShape):
            found.append(part.block.astype(np.float64))
            continue
        found.append(part.share)
        if isinstance(part, CrossingShape):
            # Energy that is counted in between, at another step, parts the runs too.
            counted = part.share != 0
            turns = np.zeros(part.step.size)
            turns[np.flatnonzero(counted)[1:]] = np.diff(part.step[counted]) != 0
            found.append(np.cumsum(turns))
        if isinstance(part, ChoiceShape):
            found += list(part.price)
    return found


def _exact(program: Program, x: Floats, by_run: Floats) -> Floats:
    """Keep the whole numbers of a solution and find the rest again, to the last digits, and in order."""
    whole = program.integer
    lower, upper = np.where(whole, np.round(x), program.lower), np.where(whole, np.round(x), program.upper)
    fixed = replace(program.within(lower, upper), integer=np.zeros(whole.size, dtype=bool))
    try:
        answer = run_highs(fixed)
        if answer.row_duals is None:
            return answer.x
        face = optimal_face(fixed, answer.row_duals)
        return run_highs(replace(face, cost=np.concatenate((by_run, np.zeros(whole.size - by_run.size))))).x
    except SolverError:  # whole numbers hold to 1e-6 only; where energies as small decide, those found so far stay
        return x


def _by_run(problem: Problem, tie_break: str, columns: int) -> Floats:
    """Energy x number of the run, in the order of the tie-break."""
    objective = np.zeros(columns)
    counted = preference(problem.stay, "earliest" if tie_break == "fewest starts" else tie_break)
    objective[counted] = np.arange(1, problem.slots + 1) / problem.slots
    return objective


def _objectives(switching: Switching, runs: Problem, tie_break: str) -> list[Floats]:
    """Give what is preferred among equals, one after the other; for the first columns of a program."""
    objectives = [_by_run(runs, tie_break, switching.program.cost.size)]
    return [switching.starts, *objectives] if tie_break == "fewest starts" else objectives


def _alike(program: Program, x: Floats, objectives: list[Floats], until: float) -> Iterator[Floats]:
    """Yield plans that cost the same by their program, each preferred to the one before, as long as there is time."""
    cost = program.cost
    give = _GIVE * (1 + float(np.abs(cost) @ np.abs(x)))
    exact = _exact(program, x, objectives[-1])
    yield exact
    held = capped(program, cost, float(cost @ exact) + give)
    for objective in objectives:
        asked = replace(held, cost=np.concatenate((objective, np.zeros(held.cost.size - objective.size))))
        found = search_highs(asked, max(until - time.monotonic(), 0.1))
        if found.x is None:
            return
        whole = program.integer
        pinned = np.where(whole, np.round(found.x), program.lower), np.where(whole, np.round(found.x), program.upper)
        yield _exact(program.within(*pinned), found.x, objectives[-1])
        value = float(asked.cost @ found.x)
        held = capped(asked, np.zeros(held.cost.size), value + 1e-7 * (1 + abs(value)))


def _ruled(problem: Problem, merged: _Merged, switching: Switching, x: Floats, *, best: Reach, latest: bool) -> Ruled:
    """From the columns to blocks, and from these to the energy of each slot."""
    start, end, stay = block_times(switching, merged.runs, x, latest=latest)
    start, end = _snapped(start, problem), _snapped(end, problem)
    energy = energy_of_blocks(problem, start, end, stay)
    free = ~np.isin(problem.stay, problem.ruled)
    if free.any():
        room = problem.max_battery_kwh
        late = np.full(merged.runs.slots, latest)
        even = spread(x[: merged.runs.slots], np.add.reduceat(room, merged.first), room, merged.first, late)
        energy = np.where(free, even, energy)
        forced = np.where(free, best.forced_kwh, 0.0)
        others = with_blocks(problem, np.where(free, even, 0.0), forced, "", latest=latest)
        order = np.argsort(np.concatenate((start, others.start_s)), kind="stable")
        start, end = (np.concatenate(both)[order] for both in ((start, others.start_s), (end, others.end_s)))
        stay = np.concatenate((stay, others.stay))[order]
    asking = any(rules is not None and rules.most_starts != problem.slots + 1 for rules in problem.rules)
    return Ruled(energy, start, end, stay, _METHOD.format(" of the charger's rules" if asking else ""))


def _snapped(times_s: Floats, problem: Problem) -> Floats:
    """Put times that are on a slot boundary but for rounding exactly there."""
    edges: NDArray[np.float64] = np.unique(
        np.concatenate((problem.start_s, problem.start_s + 3600 * problem.hours)).astype(np.float64)
    )
    near = edges[np.clip(np.searchsorted(edges, times_s - _SNAP_S), 0, edges.size - 1)]
    return np.where(np.abs(near - times_s) <= _SNAP_S, near, times_s)
