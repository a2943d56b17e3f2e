"""One goal after the other in linear programs: the floors, the worst shortfall, all shortfalls, the cost, the time.

Usually one solve finds every need met, and one more breaks ties. Only where that leaves no solution are the
shortfalls made as small as possible, goal by goal.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import partial
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import InputError, SolverError
from chargeplan.plan.engines import Answer, Found, pulp_solver, run_highs, run_pulp, search_highs, search_pulp
from chargeplan.plan.problem import Floats
from chargeplan.plan.program import Program, optimal_face
from chargeplan.plan.shared.bound import Proposals, Values
from chargeplan.plan.shared.certificate import node_currents_a
from chargeplan.plan.shared.limits import Limits
from chargeplan.plan.shared.problem import CRUMB_KWH, SharedProblem
from chargeplan.plan.shared.program import ALL_MET, Caps, Layout, shared_program
from chargeplan.plan.shared.switching_rules import breaks_rules

#: Currents this near to 0, the minimum, a step or the most are there (amperes); solvers are as exact.
SNAP_A: Final = 1e-6
#: Solvers that answer in text files give 8 digits, so a sum of currents may be above a limit by less than this.
_ROUNDED_A: Final = 1e-4
#: An earlier goal may be missed by this much when the next one is sought: linear, and searched.
LINEAR_SLACK, SEARCH_SLACK = 1e-9, 1e-7


@dataclass(frozen=True, eq=False)
class Bounds:
    """What narrows a program.

    Parameters
    ----------
    lower, upper : array, shape (n,)
        Least and most current of each slot, in amperes or steps.
    empty : array of bool, shape (m,), optional
        Where given: the drives after these stays find the battery empty before they end, and no others.
    """

    lower: Floats
    upper: Floats
    empty: NDArray[np.bool_] | None = None


@dataclass(frozen=True, eq=False)
class Engine:
    """What solves programs.

    Parameters
    ----------
    run : callable
        Solves a linear program, with duals.
    search : callable
        Searches a mixed-integer program for some seconds.
    name : str
        For the answer.
    exact : bool
        Whether its numbers have all their digits.
    """

    run: Callable[[Program], Answer]
    search: Callable[[Program, float], Found]
    name: str
    exact: bool


def shared_engine(solver: str) -> Engine:
    """Find the engine for a name.

    Parameters
    ----------
    solver : str
        "auto" or "highs", or "pulp:" and the name of a solver that PuLP drives.

    Raises
    ------
    InputError
        If the name is misspelled or the solver not installed.
    """
    if solver in ("auto", "highs"):
        return Engine(run_highs, search_highs, "HiGHS", exact=True)
    kind, _, name = solver.partition(":")
    if kind != "pulp" or not name:
        raise InputError(f"{solver!r} is not a solver for several cars; choose auto, highs or pulp:CBC")
    pulp_solver(name)
    return Engine(partial(run_pulp, name=name), partial(_search_pulp, name), f"{name} through PuLP", exact=False)


def _search_pulp(name: str, program: Program, time_limit_s: float) -> Found:
    return search_pulp(program, name, time_limit_s)


@dataclass(frozen=True, eq=False)
class Linear:
    """A linear program solved goal by goal: its layout, the answer of the last goal, the duals of each, the caps."""

    layout: Layout
    answer: Answer
    proposals: Proposals
    caps: Caps


def solve_linear(
    shared: SharedProblem,
    limits: Limits,
    engine: Engine,
    bounds: Bounds | None = None,
    reached: Caps | None = None,
) -> Linear:
    """Solve goal by goal within bounds on the currents; with `reached`, under what a plan reached in each goal."""
    if reached is None:
        layout = bounded(shared_program(shared, ALL_MET, limits), shared, bounds)
        try:
            answer = engine.run(layout.program)
        except SolverError:
            pass  # not every need can be met, so what is missing is sought next
        else:
            return Linear(layout, answer, Proposals(cost=_values(shared, layout, answer)), ALL_MET)
    slacks = (LINEAR_SLACK, 10 * LINEAR_SLACK, SEARCH_SLACK) if engine.exact else (SEARCH_SLACK,)
    for slack in slacks[:-1]:
        with suppress(SolverError):  # a chain of goals may be held too tight for the solver's own rounding
            return _goal_by_goal(shared, limits, engine, bounds, reached, slack=slack)
    return _goal_by_goal(shared, limits, engine, bounds, reached, slack=slacks[-1])


def _goal_by_goal(
    shared: SharedProblem,
    limits: Limits,
    engine: Engine,
    bounds: Bounds | None,
    reached: Caps | None,
    *,
    slack: float,
) -> Linear:
    (goals, caps), found = goals_in_order(shared), Proposals()
    for goal in goals:
        layout = bounded(aimed(shared_program(shared, caps, limits), goal), shared, bounds)
        answer = engine.run(layout.program)
        found = replace(found, **{goal: _values(shared, layout, answer)})
        caps = capped(caps, goal, float(layout.program.cost @ answer.x), slack, reached)
    return Linear(layout, answer, found, caps)


def goals_in_order(shared: SharedProblem) -> tuple[tuple[str, ...], Caps]:
    """List the goals up to the cost, and what is known before; that no car can be below its floor spares one."""
    if shared.in_danger.any():
        return ("low", "worst", "total", "cost"), Caps()
    return ("worst", "total", "cost"), Caps(low_kwh=0.0)


def aimed(layout: Layout, goal: str) -> Layout:
    """Aim at a goal other than the cost."""
    if goal == "cost":
        return layout
    cost = np.zeros_like(layout.program.cost)
    cost[{"low": layout.low, "worst": layout.worst, "total": layout.short}[goal]] = 1.0
    return replace(layout, program=replace(layout.program, cost=cost))


def capped(caps: Caps, goal: str, value: float, slack: float, reached: Caps | None = None) -> Caps:
    """Keep what a goal reached for the goals after it."""
    if goal == "cost":
        return caps
    name = {"low": "low_kwh", "worst": "worst", "total": "total_kwh"}[goal]
    kept = value + slack * (1 + value)
    return replace(caps, **{name: kept if reached is None else max(kept, getattr(reached, name))})


def bounded(layout: Layout, shared: SharedProblem, bounds: Bounds | None) -> Layout:
    """Narrow the currents, and say which drives run empty: then the linear program gives away no energy."""
    if bounds is None:
        return layout
    program = layout.program
    lower, upper, row_upper = program.lower.copy(), program.upper.copy(), program.row_upper.copy()
    lower[layout.current] = np.minimum(np.maximum(lower[layout.current], bounds.lower), bounds.upper)
    upper[layout.current] = bounds.upper
    drives = np.flatnonzero(shared.can_run_empty)
    if bounds.empty is not None and layout.empty_rows.stop > layout.empty_rows.start:
        empty = bounds.empty[drives]
        upper[layout.lacking.start + drives[~empty]] = 0.0
        level, served = layout.level.start + layout.departure[drives[empty]], shared.served_kwh[drives[empty]]
        upper[level] = np.minimum(upper[level], served)
        row_upper[layout.empty_rows] = np.where(empty, shared.served_kwh[drives], np.inf)
    return replace(layout, program=replace(program, lower=lower, upper=upper, row_upper=row_upper))


def _values(shared: SharedProblem, layout: Layout, answer: Answer) -> Values:
    """Read the duals as values of energy and amperes; a row with an upper limit has a dual of 0 or less."""
    duals = answer.row_duals
    if duals is None:
        raise SolverError("the solver gave no duals for a linear program")
    ampere = np.zeros_like(shared.left_a)
    limits = layout.limits
    ampere[limits.node, limits.slot, limits.phase] = -duals[layout.limit_rows]
    share = np.zeros(shared.slot.size)
    share[layout.pieces] = np.maximum(-duals[layout.draw_rows], 0.0)
    return Values(
        energy=-duals[layout.balance][layout.level_of_slot],
        ampere=ampere,
        short=-duals[layout.total_row] if layout.total_row.stop > layout.total_row.start else -duals[layout.worst_rows],
        low=-float(duals[layout.low_row].sum()),
        share=share,
        taper=-duals[layout.taper_rows],
    )


def earliest(shared: SharedProblem, linear: Linear, engine: Engine) -> Floats:
    """Among the cheapest plans, charge as early as possible: least battery energy x slot number, by weight."""
    program, duals = linear.layout.program, linear.answer.row_duals
    assert duals is not None  # a linear program, see _values
    face = optimal_face(program, duals, 1e-9 if engine.exact else 1e-6)
    try:
        x = engine.run(replace(face, cost=early_cost(shared, linear.layout))).x
    except SolverError:  # ties that cannot be told apart stay as they fell
        return linear.answer.x
    turnover = float(np.abs(program.cost) @ np.abs(linear.answer.x))
    dearer = float(program.cost @ (x - linear.answer.x))
    return x if dearer <= (1e-9 if engine.exact else 1e-6) * (1 + turnover) else linear.answer.x


def early_cost(shared: SharedProblem, layout: Layout) -> Floats:
    """Battery energy x number of the slot, as an objective; a car weighs more than those after it.

    For a car that prefers the latest hours, slots are counted from the end. Without weights cars could change places
    from slot to slot at no cost. So one is served after the other.
    """
    cars = len(shared.cars)
    weight = (1.5 - 0.5 * np.arange(cars) / cars)[shared.car]
    cost = np.zeros_like(layout.program.cost)
    late = np.array([car.prefer == "latest" for car in shared.cars])[shared.car]
    number = np.where(late, shared.grid_s.size - shared.slot, shared.slot + 1)
    cost[layout.current] = weight * shared.battery_per_a * shared.unit_a * number / shared.grid_s.size
    return cost


def exact_currents(shared: SharedProblem, counts: Floats) -> Floats:
    """Currents in amperes, with the rounding of a solver taken out where they stand at a bound, minimum or step."""
    current = counts * shared.unit_a
    for at in (np.zeros(current.size), np.minimum(shared.min_a, shared.max_a), shared.max_a):
        current = np.where(np.abs(current - at) <= SNAP_A, at, current)
    near = np.round(current / shared.unit_a) * shared.unit_a
    return _below_limits(shared, np.where((shared.step_a > 0) & (np.abs(current - near) <= SNAP_A), near, current))


def _below_limits(shared: SharedProblem, current: Floats) -> Floats:
    """Take off what the rounding of a solver puts above a limit of the tree, from currents that stay allowed."""
    current = np.minimum(current, shared.max_a)
    for _ in range(3):
        over = node_currents_a(shared, current) - shared.left_a
        where = np.argwhere((over > 0) & (over < _ROUNDED_A))
        if not where.size:
            break
        for node, slot, phase in where.tolist():
            can = (shared.slot == slot) & shared.counts_at[shared.stay, node, phase] & (shared.step_a == 0)
            spare = np.where(can, current - shared.min_a, -np.inf)
            most = int(np.argmax(spare))
            if spare[most] > over[node, slot, phase]:
                same = shared.draw == shared.draw[most]
                current[same] = np.minimum(current[same], current[most] - over[node, slot, phase])
    return current


def not_allowed(shared: SharedProblem, linear: Linear, x: Floats, current: Floats) -> NDArray[np.bool_]:
    """Mark what a linear program cannot rule out.

    Slots whose current is not allowed, those of stays whose rules about switching are broken, and those of cars with
    a drive that was given energy it should have taken.
    """
    counts = current / shared.unit_a
    wrong = (current > 0) & (current < shared.min_a - SNAP_A)
    wrong |= (shared.step_a > 0) & (np.abs(counts - np.round(counts)) * shared.unit_a > SNAP_A)
    wrong |= breaks_rules(shared, current > 0)
    if shared.can_run_empty.any() and not linear.caps.none:
        layout = linear.layout
        level, lacking = x[layout.level][layout.departure], x[layout.lacking]
        given = lacking > np.maximum(shared.served_kwh - level, 0.0) + CRUMB_KWH
        wrong |= np.bincount(shared.car_of_stay, weights=given, minlength=len(shared.cars))[shared.car] > 0
    return wrong
