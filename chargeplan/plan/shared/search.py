"""From the linear program to currents that a charger can give.

If no current of the linear program lies between off and the minimum, or off a step, and no rule about switching is
broken, its plan is the best. Else a mixed-integer program looks for such a plan; first only the cars concerned may
switch, and the others keep the slots they have. That is small, and nearly always reaches the cost of the linear
program, which no plan can beat. Where it does not, all cars may switch.
"""

from __future__ import annotations

import time
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import SolverError
from chargeplan.plan.engines import Found
from chargeplan.plan.problem import Floats
from chargeplan.plan.program import Program
from chargeplan.plan.shared.bound import Proposals
from chargeplan.plan.shared.goals import (
    SEARCH_SLACK,
    SNAP_A,
    Bounds,
    Engine,
    Linear,
    aimed,
    bounded,
    capped,
    earliest,
    early_cost,
    exact_currents,
    goals_in_order,
    not_allowed,
    shared_engine,
    solve_linear,
)
from chargeplan.plan.shared.limits import Limits, tree_limits
from chargeplan.plan.shared.problem import CRUMB_KWH, SharedProblem
from chargeplan.plan.shared.program import Caps, shared_program
from chargeplan.plan.shared.rounding import rounded_down
from chargeplan.plan.shared.switching import with_switching
from chargeplan.plan.shared.switching_rules import breaks_rules
from chargeplan.plan.starts import capped as cost_capped

#: A plan of so few slots is looked at once more for an earlier one, for so long.
_FEW_SLOTS, _BRIEF_S = 300, 1.5
#: What a plan reaches in each goal: below the floors, worst relative shortfall, all shortfalls, cost.
Score = tuple[float, float, float, float]


@dataclass(frozen=True, eq=False)
class SharedSolution:
    """A plan as it was found.

    Parameters
    ----------
    current_a : array, shape (n,)
        Current of each slot of each car.
    proposals : Proposals
        Values for the bounds, from the linear program.
    method : str
        How it was found, in words.
    searched : bool
        Whether a mixed-integer search came to its end with all cars free, so that no plan is better.
    """

    current_a: Floats
    proposals: Proposals
    method: str
    searched: bool


def solve_shared(shared: SharedProblem, solver: str = "auto", time_limit_s: float = 10.0) -> SharedSolution:
    """Find the plan that is best in all goals, one after the other.

    Parameters
    ----------
    shared : SharedProblem
        Cars and tree.
    solver : str
        See `shared_engine`.
    time_limit_s : float
        For the mixed-integer search. When it is over, the best plan found so far is given.

    Returns
    -------
    SharedSolution

    Raises
    ------
    InputError
        If the solver is misspelled or not installed.
    SolverError
        If it ends without an answer that can be trusted.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> from chargeplan.plan.shared.laying import SharedCar, lay_out
    >>> solve_shared(lay_out([SharedCar(night([0.3, 0.1], 8.0, 1.0), 0.25)])).current_a.tolist()
    [0.0, 16.0]
    """
    engine, limits = shared_engine(solver), tree_limits(shared)
    linear = solve_linear(shared, limits, engine)
    x = earliest(shared, linear, engine)
    relaxed = exact_currents(shared, x[: shared.slot.size])
    wrong = not_allowed(shared, linear, x, relaxed)
    if not wrong.any():
        method = f"linear program, solved by {engine.name}"
        return SharedSolution(relaxed, linear.proposals, method, searched=False)
    task = _Task(shared, limits, engine, linear, time.monotonic() + time_limit_s)
    best, searched = _search(task, relaxed, wrong)
    if shared.slot.size <= _FEW_SLOTS:
        best = _earlier(task, best)
    proposals, reached = linear.proposals, _score(shared, best)
    if not _as_good(reached, task.aim):
        proposals = solve_linear(shared, limits, engine, reached=Caps(*reached[:3])).proposals
    method = f"mixed-integer program, searched by {engine.name}"
    return SharedSolution(best, proposals, method, searched)


@dataclass(frozen=True, eq=False)
class _Task:
    """What is searched, from which linear program, and until when."""

    shared: SharedProblem
    limits: Limits
    engine: Engine
    linear: Linear
    until: float

    @property
    def left_s(self) -> float:
        """Seconds left."""
        return self.until - time.monotonic()

    @property
    def aim(self) -> Score:
        """What the linear program reaches; no plan is better."""
        program, caps = self.linear.layout.program, self.linear.caps
        return caps.low_kwh, caps.worst, caps.total_kwh, float(program.cost @ self.linear.answer.x)

    def search(self, program: Program, share: float = 1.0) -> Found:
        """Search in a share of the time that is left."""
        if self.left_s <= 0:
            return Found(None, -np.inf, closed=False)
        try:
            return self.engine.search(program, share * self.left_s)
        except SolverError:  # what was found before stays
            return Found(None, -np.inf, closed=False)

    def confirmed(self, program: Program, share: float, least: float) -> Found:
        """Search, and in small plans ask again for a better one: HiGHS has called answers best that were not.

        No answer is below `least`, so one that is as low is not asked about.
        """
        found = self.search(program, share)
        if found.x is None or not found.closed or self.shared.slot.size > _FEW_SLOTS:
            return found
        value = float(program.cost @ found.x)
        if value - least <= CRUMB_KWH * (1 + abs(value)):
            return found
        better = self.search(cost_capped(program, program.cost, value - CRUMB_KWH * (1 + abs(value))), share)
        return found if better.x is None else better


def _score(shared: SharedProblem, current: Floats) -> Score:
    """Compute what a plan reaches in each goal."""
    level = shared.levels(current * shared.battery_per_a)
    missing = shared.shortfall_kwh(level)
    cost = float((current * shared.kwh_per_a) @ shared.price_per_kwh)
    low = float(shared.below_floor_kwh(level).sum())
    return low, float(shared.relative_shortfall(missing).max()), float(missing.sum()), cost


def _better(score: Score, other: Score) -> bool:
    """Whether a plan is better in the first goal in which two differ by more than rounding."""
    for own, theirs in zip(score, other, strict=True):
        if abs(own - theirs) > CRUMB_KWH * (1 + abs(theirs)):
            return own < theirs
    return score[3] < other[3]


def _as_good(score: Score, aim: Score) -> bool:
    """Whether a plan reaches what is aimed at in every goal before the cost."""
    return all(own <= wanted + CRUMB_KWH * (1 + wanted) for own, wanted in zip(score[:3], aim[:3], strict=True))


def _search(task: _Task, relaxed: Floats, wrong: NDArray[np.bool_]) -> tuple[Floats, bool]:
    """Search with the cars concerned free to switch, then with all; return the best plan and whether none is better."""
    shared, aim = task.shared, task.aim
    best = rounded_down(shared, relaxed)
    if not (shared.step_a > 0).any():
        best = _tidied(task, best / shared.unit_a)
    score = _score(shared, best)
    concerned = np.bincount(shared.car, weights=wrong, minlength=len(shared.cars))[shared.car] > 0
    closed = False
    scopes = [concerned] if concerned.all() else [concerned, np.ones_like(concerned)]
    for number, free in enumerate(scopes, 1):
        part = replace(task, until=time.monotonic() + task.left_s / (len(scopes) - number + 1))
        counts, closed = _search_within(part, _pattern(shared, relaxed, free), free)
        if counts is not None:
            found = _tidied(task, counts)
            if _better(_score(shared, found), score):
                best, score = found, _score(shared, found)
        closed = closed and bool(free.all())
        cheapest = score[3] - aim[3] <= 1e-9 * (1 + abs(aim[3]))
        if (_as_good(score, aim) and cheapest) or task.left_s <= 0:
            break
    return best, closed


def _pattern(shared: SharedProblem, current: Floats, free: NDArray[np.bool_]) -> Bounds:
    """Bound the currents so that what is on stays on and off stays off, except in free slots."""
    on = current >= np.maximum(shared.min_a, SNAP_A) - SNAP_A
    least = np.minimum(np.where(on & ~free, shared.min_a, 0.0), shared.max_a)
    most = np.where(on | free, shared.max_a, 0.0)
    stepped, unit = shared.step_a > 0, shared.unit_a
    lower, upper = least / unit, most / unit
    return Bounds(np.where(stepped, np.ceil(lower - 1e-9), lower), np.where(stepped, np.round(upper), upper))


def _search_within(task: _Task, bounds: Bounds, free: NDArray[np.bool_]) -> tuple[Floats | None, bool]:
    """Look for a plan as good as the linear one in the first goals; if there is none, go through the goals."""
    shared, slots = task.shared, task.shared.slot.size

    def searched(caps: Caps, goal: str, share: float) -> tuple[Found, Program]:
        layout = bounded(aimed(shared_program(shared, caps, task.limits), goal), shared, bounds)
        program = with_switching(layout, shared, free)
        cheapest = task.aim[3] if caps is task.linear.caps else -np.inf
        return task.confirmed(program, share, cheapest if goal == "cost" else 0.0), program

    found, _ = searched(task.linear.caps, "cost", 0.5)
    if found.x is not None:
        return found.x[:slots], found.closed
    (goals, caps), counts, closed = goals_in_order(shared), None, True
    for number, goal in enumerate(goals):
        found, program = searched(caps, goal, 1 / (len(goals) - number))
        closed = closed and found.closed
        if found.x is None:
            return counts, False
        counts = found.x[:slots]
        caps = capped(caps, goal, float(program.cost @ found.x), SEARCH_SLACK)
    return counts, closed


def _tidied(task: _Task, counts: Floats) -> Floats:
    """Solve once more with what is on and off as found, for exact currents, the earliest of the cheapest.

    Which drives run empty is taken from the plan found, so that the linear program gives no energy away.
    """
    shared, stepped = task.shared, task.shared.step_a > 0
    current = exact_currents(shared, counts)
    same = _pattern(shared, current, np.zeros(current.size, dtype=bool))
    whole = np.round(current / shared.unit_a)
    on = np.where(same.upper > 0, np.maximum(current, same.lower), 0.0)
    kept = np.where(stepped, whole * shared.unit_a, on)
    departure = shared.levels(kept * shared.battery_per_a)[shared.last]
    same = replace(same, empty=departure < shared.served_kwh - CRUMB_KWH)
    fixed = replace(same, lower=np.where(stepped, whole, same.lower), upper=np.where(stepped, whole, same.upper))
    try:
        linear = solve_linear(shared, task.limits, task.engine, bounds=fixed)
        x = earliest(shared, linear, task.engine)
    except SolverError:
        return kept
    found = exact_currents(shared, x[: kept.size])
    if not not_allowed(shared, linear, x, found).any() and not _better(_score(shared, kept), _score(shared, found)):
        kept = found
    return _earliest_steps(task, linear, same, kept) if stepped.any() else kept


def _earliest_steps(task: _Task, linear: Linear, bounds: Bounds, current: Floats) -> Floats:
    """Charge as early as whole steps allow in the same slots, at no more cost."""
    shared = task.shared
    layout = bounded(shared_program(shared, linear.caps, task.limits), shared, bounds)
    program = with_switching(layout, shared, np.zeros(current.size, dtype=bool))
    score = _score(shared, current)
    found = task.search(cost_capped(program, early_cost(shared, layout), score[3] + 1e-9 * (1 + abs(score[3]))))
    if found.x is None or not found.closed:
        return current
    early = exact_currents(shared, found.x[: current.size])
    reached = _score(shared, early)
    dearer = reached[3] - score[3] > 1e-9 * (1 + abs(score[3]))
    return current if dearer or _better((*score[:3], 0.0), (*reached[:3], 0.0)) else early


def _earlier(task: _Task, current: Floats) -> Floats:
    """Look for a little while for a plan as good that charges earlier, whatever is on and off in it.

    Among equally cheap slots a search switches at random; this is what makes its plan one that people can follow.
    """
    shared, free = task.shared, np.ones(current.size, dtype=bool)
    layout = bounded(shared_program(shared, task.linear.caps, task.limits), shared, _pattern(shared, current, free))
    program = with_switching(layout, shared, free)
    score = _score(shared, current)
    aim = cost_capped(program, early_cost(shared, layout), score[3] + 1e-9 * (1 + abs(score[3])))
    brief = replace(task, until=min(task.until, time.monotonic() + _BRIEF_S))
    found = brief.search(aim)
    if found.x is None:
        return current
    early = exact_currents(shared, found.x[: current.size])
    wrong = (early > 0) & (early < shared.min_a - SNAP_A) | breaks_rules(shared, early > 0)
    reached = _score(shared, early)
    as_good = _as_good(reached, score) and reached[3] <= score[3] + 1e-8 * (1 + abs(score[3]))
    return early if as_good and not wrong.any() else current
