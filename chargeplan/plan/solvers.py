"""Choosing a method, and solving in order: shortfall, cost, tie-break."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Final

import numpy as np

from chargeplan.errors import InputError, SolverError
from chargeplan.plan.certificate import lower_bound, value_of_energy
from chargeplan.plan.engines import (
    Answer,
    Found,
    pulp_solver,
    run_highs,
    run_pulp,
    search_highs,
    search_pulp,
    write_program,
)
from chargeplan.plan.merit_order import merit_order, preference
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.program import Program, by_time, linear_program, optimal_face
from chargeplan.plan.reach import Reach, highest_gain, reach
from chargeplan.plan.rule_search import plan_under_rules, program_under_rules
from chargeplan.plan.ruled import Ruled, with_blocks
from chargeplan.plan.runs import merge_runs, spread
from chargeplan.plan.starts import find_fewest
from chargeplan.plan.tapered import without_idle_taper

TIE_BREAKS: Final = ("earliest", "as needed", "latest", "fewest starts")
SOLVERS: Final = ("auto", "merit order", "highs", "pulp:CBC")

#: Solvers that answer in text files give 8 digits; energies this near a bound are at it.
_SNAP_KWH: Final = 1e-6


@dataclass(frozen=True, eq=False)
class Solution:
    """A plan as a solver gave it.

    Parameters
    ----------
    battery_kwh, wall_kwh : array, shape (n,)
        Energy gained by the battery and drawn from the wall in each slot.
    method : str
        How it was found, in words.
    tie_break : str
        Which of the cheapest plans.
    row_duals : array or None
        Duals of the program's rows, where a program was solved.
    ruled : Ruled or None
        The blocks of charging, and what bounds the plan, where the charger has rules.
    """

    battery_kwh: Floats
    wall_kwh: Floats
    method: str
    tie_break: str
    row_duals: Floats | None = None
    ruled: Ruled | None = None


def solve(
    problem: Problem,
    solver: str = "auto",
    tie_break: str = "earliest",
    *,
    best: Reach | None = None,
    time_limit_s: float = 60.0,
) -> Solution:
    """Find the cheapest plan with the least shortfall.

    Parameters
    ----------
    problem : Problem
        What is asked; needs that cannot be met are met as far as possible.
    solver : str
        "auto" (merit order where it applies, else HiGHS), "merit order", "highs", "pulp:CBC", or
        "pulp:" and the name of another solver that PuLP drives.
    tie_break : {"earliest", "as needed", "latest", "fewest starts"}
        Which of equally cheap plans: least energy x slot number; the same with the stays counted
        from the last, so that nothing is charged sooner than the drives ask; all counted from the end;
        fewest separate charging blocks, then least energy x number of the price run (neighbouring
        slots at one price; with a taper, of the slot). Where the mixed-integer program of a charger's
        rules decides, the number of the price run takes the place of that of the slot; where all prices
        differ, or with a taper that can bind, it takes the plan it finds, unless fewest starts are asked for.
    best : Reach, optional
        The highest trajectory, if already computed.
    time_limit_s : float
        For the search for the fewest starts, or for the best plan under the charger's rules; of the
        latter the best plan found is given when the time is over.

    Returns
    -------
    Solution

    Raises
    ------
    InputError
        If the solver or tie-break is misspelled, not installed, or does not apply.
    SolverError
        If the solver ends without an answer that can be trusted.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> found = solve(night([0.3, 0.1, 0.2, 0.1], max_kw=8.0, need_kwh=3.0), tie_break="latest")
    >>> found.wall_kwh.tolist(), found.method
    ([0.0, 1.0, 0.0, 2.0], 'merit order: the cheapest feasible slots first')
    """
    engine, name = _engine(solver, time_limit_s)
    if tie_break not in TIE_BREAKS:
        raise InputError(f"{tie_break!r} is not a tie-break; choose {', '.join(TIE_BREAKS)}")
    fewest, taper = tie_break == "fewest starts", bool(problem.taper.size)
    if solver == "merit order" and (taper or fewest):
        reason = "a taper" if taper else "the fewest starts"
        raise InputError(f"merit order cannot handle {reason}; choose solver auto, highs or pulp:CBC")
    best = reach(problem) if best is None else best
    if problem.ruled:
        return _under_rules(problem, best, solver, tie_break, time_limit_s)
    if solver in ("auto", "merit order") and not taper and not fewest:
        energy = merit_order(problem, best, tie_break)
        return _solution(problem, energy, "merit order: the cheapest feasible slots first", tie_break)
    exact, quick = not solver.startswith("pulp:"), solver == "auto" and not taper
    merged, first = (problem, np.arange(problem.slots)) if taper else merge_runs(problem)
    best_merged = best if taper else reach(merged)
    energy, face, duals = _cheapest(merged, best_merged, engine, exact=exact, quick=quick)
    if fewest:
        chosen, late = find_fewest(face, merged, best_merged, engine)
        method = f"mixed-integer program over the cheapest plans, solved by {name}"
    else:
        chosen = engine(by_time(face, preference(merged.stay, tie_break))).x
        late = np.full(merged.slots, tie_break == "latest")
        method = f"linear program, solved by {name}"
    tied = _polish(merged, best_merged, chosen[: merged.slots])
    dearer = float(merged.unit_cost @ (tied - energy))
    if dearer > 1e-6 * (1 + float(np.abs(merged.unit_cost) @ energy)):
        raise SolverError(f"{name} broke ties by a plan that costs {dearer:.3g} more; choose another solver")
    if not taper:
        room = problem.max_battery_kwh - best.forced_kwh
        extra = tied - np.add.reduceat(best.forced_kwh, first)
        tied = best.forced_kwh + spread(extra, np.add.reduceat(room, first), room, first, late)
    return _solution(problem, tied, method, tie_break, duals)


def _under_rules(problem: Problem, best: Reach, solver: str, tie_break: str, time_limit_s: float) -> Solution:
    if solver == "merit order":
        raise InputError("merit order cannot handle a charger's rules; choose solver auto, highs or pulp:CBC")
    _, name = _engine(solver, time_limit_s)
    search = search_highs if not solver.startswith("pulp:") else partial(_search_pulp, solver.partition(":")[2])
    problem = without_idle_taper(problem)
    quick = partial(_without_rules, problem, best, tie_break) if solver == "auto" else None
    ruled = plan_under_rules(problem, best, tie_break, search, name, time_limit_s=time_limit_s, without_rules=quick)
    return replace(_solution(problem, ruled.battery_kwh, ruled.method, tie_break), ruled=ruled)


def _without_rules(problem: Problem, best: Reach, tie_break: str) -> Ruled:
    """Give the cheapest plan without rules, as blocks: if it keeps them anyway, nothing can be better."""
    found = solve(replace(problem, rules=()), "auto", tie_break, best=best)
    method = f"{found.method}, which keeps the charger's rules"
    ruled = with_blocks(problem, found.battery_kwh, best.forced_kwh, method, latest=tie_break == "latest")
    return replace(ruled, row_duals=found.row_duals)


def _search_pulp(name: str, program: Program, time_limit_s: float) -> Found:
    return search_pulp(program, name, time_limit_s)


def write_model(problem: Problem, path: str | Path) -> Path:
    """Write the linear program of a problem, with repaired needs, as a .lp or .mps file.

    Parameters
    ----------
    problem : Problem
        What is asked.
    path : path
        Ends in .lp or .mps; written whole or not at all. Column ``y3`` is the battery kWh gained
        in slot 3 (from 0), ``v0`` the level after the first stay (with a taper: slot). Under a charger's
        rules it is the mixed-integer program, whose slots are price runs (with a taper: slots).

    Returns
    -------
    Path
        The file.

    Raises
    ------
    InputError
        If the ending is another one, or the file cannot be written.
    """
    if problem.ruled:
        return write_program(program_under_rules(problem), path)
    return write_program(linear_program(problem, reach(problem)), path)


def _engine(solver: str, time_limit_s: float) -> tuple[Callable[[Program], Answer], str]:
    if solver in ("auto", "merit order", "highs"):
        return partial(run_highs, time_limit_s=time_limit_s), "HiGHS"
    kind, _, name = solver.partition(":")
    if kind != "pulp" or not name:
        raise InputError(f"{solver!r} is not a solver; choose {', '.join(SOLVERS)} or pulp:NAME of another PuLP solver")
    pulp_solver(name)
    return partial(run_pulp, name=name, time_limit_s=time_limit_s), f"{name} through PuLP"


def _solution(problem: Problem, energy: Floats, method: str, tie_break: str, duals: Floats | None = None) -> Solution:
    full = energy >= problem.max_battery_kwh
    wall = np.where(full, problem.max_kwh, energy / problem.gain)
    return Solution(energy, wall, method, tie_break, duals)


def _cheapest(
    problem: Problem, best: Reach, engine: Callable[[Program], Answer], *, exact: bool, quick: bool = False
) -> tuple[Floats, Program, Floats | None]:
    """Find a cheapest plan, the program of all of them, and the duals.

    Without a taper the values of energy found from the plan are exact duals, whatever the solver
    said; with one its own are used, of which text files carry 8 digits.
    """
    program, duals = linear_program(problem, best), None
    if quick:
        energy = merit_order(problem, best)
    else:
        answer = engine(program)
        energy, duals = _polish(problem, best, answer.x[: problem.slots]), answer.row_duals
    if not problem.taper.size:
        value = value_of_energy(problem, best, energy)
        gap = float(problem.unit_cost @ energy) - lower_bound(problem, best, value)
        if gap <= 1e-9 * (1 + float(np.abs(problem.unit_cost) @ energy)):
            return energy, optimal_face(program, -value), duals
    if duals is None:
        raise SolverError("the plan found could not be proven cheapest, so ties cannot be broken")
    return energy, optimal_face(program, duals, 1e-9 if exact else 1e-6), duals


def _polish(problem: Problem, best: Reach, energy: Floats) -> Floats:
    """Take the rounding of a solver out of its answer; whether that worked is for the certificate to say."""
    least, most = best.forced_kwh, problem.max_battery_kwh
    if problem.taper.size:
        return _polish_with_taper(problem, best, energy)
    exact = np.where(energy < least + _SNAP_KWH, least, np.where(energy > most - _SNAP_KWH, most, energy))
    open_ = np.flatnonzero((exact > least) & (exact < most))
    snapped = np.flatnonzero((exact != energy) & (np.abs(exact - energy) > 1e-10))
    # Between two tight departures a basic solution has one slot that is neither empty nor full: it
    # takes the rest that makes the second one exact.
    level = problem.levels(exact, best.served_kwh)[problem.last]
    shift, begin = 0.0, 0
    distance = np.minimum(np.abs(level - best.need_kwh), np.abs(problem.capacity_kwh - level))
    tight = np.flatnonzero(distance < 10 * _SNAP_KWH)
    if distance[tight].max(initial=0.0) < 1e-10:  # already exact, as HiGHS usually is
        return exact
    for number in tight:
        end = int(problem.last[number]) + 1
        target = best.need_kwh[number]
        if abs(problem.capacity_kwh - level[number] - shift) < abs(target - level[number] - shift):
            target = problem.capacity_kwh
        rest = target - level[number] - shift
        for candidates in (open_, snapped):
            here = candidates[np.searchsorted(candidates, begin) : np.searchsorted(candidates, end)]
            if here.size:
                changed = np.clip(exact[here[0]] + rest, least[here[0]], most[here[0]])
                shift += changed - exact[here[0]]
                exact[here[0]] = changed
                break
        begin = end
    return exact


def _polish_with_taper(problem: Problem, best: Reach, energy: Floats) -> Floats:
    """Never above the taper, and neither crumbs nor gaps of less than 1e-9 kWh."""
    served = np.zeros(problem.slots)
    served[problem.last] = best.served_kwh
    level, exact = problem.level_kwh, []
    slots = zip(
        energy.tolist(),
        best.forced_kwh.tolist(),
        problem.max_battery_kwh.tolist(),
        problem.hours.tolist(),
        served.tolist(),
        strict=True,
    )
    for wanted, least, most, hours, drive in slots:
        highest = highest_gain(problem, level, hours, most)
        gained = 0.0 if wanted < 1e-9 else wanted
        exact.append(max(min(gained if gained < highest - 1e-9 else highest, highest), min(least, highest)))
        level += exact[-1] - drive
    return np.array(exact)
