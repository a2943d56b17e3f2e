"""Plans under rules about switching: which method, in which order, and what is given when time runs out.

The order stays: least shortfall under the rules, then least time below the floor, then cost, then
the tie-break. Cheap ways come first. If the cheapest plan without rules keeps them anyway, nothing
can be better. One block in one stay is found by trying every start (`block`). Everything else is
the mixed-integer program of `switching`: first with the departures that are best without rules;
only if the rules make them unreachable is the shortfall itself minimised. A taper that can bind changes
none of that, but each way is one of its own (`tapered_block`, `tapered_search`).
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from chargeplan.plan.engines import Found, run_highs, search_highs
from chargeplan.plan.problem import Problem
from chargeplan.plan.program import Program, linear_program
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.ruled import Ruled, first_forced_kwh, first_plan, keeps_rules, late_kwh_h, reached
from chargeplan.plan.runs import merge_runs
from chargeplan.plan.switching import switching_program
from chargeplan.plan.switching_search import Search, cheapest_one_block, of_one_block
from chargeplan.plan.tapered import without_idle_taper
from chargeplan.plan.tapered_search import TaperedSearch

#: A shortfall below this is rounding.
_ROUNDING_KWH = 1e-9


def plan_under_rules(
    problem: Problem,
    best: Reach,
    tie_break: str,
    search: Callable[[Program, float], Found],
    name: str,
    *,
    time_limit_s: float,
    without_rules: Callable[[], Ruled] | None,
) -> Ruled:
    """Find the cheapest plan that keeps the rules.

    Parameters
    ----------
    problem : Problem
        With rules in a stay.
    best : Reach
        What can be reached without rules.
    tie_break : str
        As for `chargeplan.plan.solvers.solve`.
    search : callable
        Solves a mixed-integer program within so many seconds. What is linear once the whole numbers are
        known is left to HiGHS, for the last digits.
    name : str
        What solves, for the method.
    time_limit_s : float
        For all searches together. When it is over the best plan known is given.
    without_rules : callable, optional
        Gives the cheapest plan without rules; with it also the other ways without a search are taken where
        they apply.

    Returns
    -------
    Ruled
    """
    short = float(best.shortfall_kwh.sum())
    if without_rules is not None and tie_break != "fewest starts":
        plain = without_rules()
        if keeps_rules(problem, plain):
            return replace(plain, least_short_kwh=short)
    if without_rules is not None and problem.stays == 1 and _one_block(problem):
        forced = first_forced_kwh(best)
        block = cheapest_one_block(problem, latest=tie_break == "latest", forced_kwh=forced)
        if block is not None or forced is None:
            found = of_one_block(problem, block)
            # A block that begins in the first slot and brings all that can be had is as soon at the floor as any.
            late = late_kwh_h(problem, best, found.battery_kwh)
            if keeps_rules(problem, found):
                return replace(_with_shortfall(problem, found), least_late_kwh_h=late)
    kind = TaperedSearch if problem.taper.size else Search
    found = kind(problem, best, tie_break, search, name, time.monotonic() + time_limit_s).run()
    if not problem.taper.size:
        return found
    # What no plan without rules can undercut, in case that a search proves less.
    return replace(found, row_duals=run_highs(linear_program(problem, best)).row_duals)


def reaches_target(problem: Problem, time_limit_s: float) -> bool:
    """Tell whether the wanted level can be reached at all, whatever it costs.

    Parameters
    ----------
    problem : Problem
        With one stay.
    time_limit_s : float
        For a search; what has not been found by then counts as out of reach.

    Returns
    -------
    bool
    """
    problem = without_idle_taper(replace(problem, need_kwh=problem.wanted_kwh, floor_kwh=0.0))
    best = reach(problem)
    if best.shortfall_kwh[0] > _ROUNDING_KWH:
        return False
    if not problem.ruled or not reached(problem, first_plan(problem).battery_kwh).shortfall_kwh.any():
        return True
    rules = problem.rules[0]
    if rules is not None and rules.only_one_block:  # any block could be moved to the beginning of its stretch
        return False
    program = program_under_rules(problem)
    return search_highs(replace(program, cost=np.zeros(program.cost.size)), time_limit_s).x is not None


def program_under_rules(problem: Problem) -> Program:
    """Build the mixed-integer program of a night under rules, over its price runs.

    Parameters
    ----------
    problem : Problem
        With rules in a stay.

    Returns
    -------
    Program
        Its departures are those that are best without rules; if the rules do not allow them, it has no solution.
    """
    problem = without_idle_taper(problem)
    apart = np.where(bool(problem.taper.size), np.arange(problem.slots), -1)
    runs, _ = merge_runs(problem, np.round(problem.max_battery_kwh / problem.hours, 9), apart)
    return switching_program(runs, reach(runs), as_without=True).program


def _one_block(problem: Problem) -> bool:
    """Whether the first stay may have one block only; a least time on may be asked as well."""
    rules = problem.rules[0]
    return rules is not None and rules.one_block


def _with_shortfall(problem: Problem, found: Ruled) -> Ruled:
    """One block in one stay: what its energy leaves short is the least, for no stretch holds more."""
    return replace(found, least_short_kwh=float(reached(problem, found.battery_kwh).shortfall_kwh.sum()))
