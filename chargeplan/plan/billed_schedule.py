"""Which way a plan against whole bills is found."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from chargeplan.plan.bill_slots import BilledSlots, RisenSlots, looked_at, total_cost
from chargeplan.plan.billed import BilledSchedule, against_bills
from chargeplan.plan.billed_rules import MOST_S, counting_starts, plan_rules_billed
from chargeplan.plan.by_next_kwh import plan_by_next_kwh
from chargeplan.plan.certificate import certify
from chargeplan.plan.problem import Problem
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.rule_proof import certify_ruled
from chargeplan.plan.ruled import Ruled, reached
from chargeplan.plan.schedule import Schedule
from chargeplan.plan.slower import dearest, in_parts, plan_slower, ruled_problems, without_peaks
from chargeplan.plan.stops import Itinerary
from chargeplan.plan.tapered import without_idle_taper
from chargeplan.plan.whole_bill import BilledPlan, plan_whole_bill

__all__ = ["BilledSchedule", "plan_billed"]

_OUT_OF_REACH = "rules about switching that change what can be reached, or that leave too much to search"

#: For the search at each lower current, for all of them, and how many in a row may be no cheaper.
_SLOWER_S, _ALL_SLOWER_S, _IN_VAIN = 2.0, 4.0, 8


def plan_billed(
    itinerary: Itinerary,
    problem: Problem,
    bills: Sequence[BilledSlots],
    *,
    tie_break: str = "earliest",
    solver: str = "auto",
) -> BilledSchedule:
    """Plan the charging by which whole bills rise least.

    Parameters
    ----------
    itinerary, problem : Itinerary, Problem
        What is asked.
    bills : sequence of BilledSlots
        Which slots are on which bill.
    tie_break : {"earliest", "as needed", "latest", "fewest starts"}
        Which of the cheapest plans; with a taper the earliest takes the place of the fewest starts.
    solver : str
        As for `chargeplan.plan.solvers.solve`; whole bills are planned by HiGHS.

    Returns
    -------
    BilledSchedule
        With its certificate: limits checked from the energy alone, cost added up by the bills, bound from duals.
        Where the cheapest plan by the bill cannot be looked for, it says why.
    """
    problem = without_idle_taper(problem)
    if problem.taper.size and tie_break == "fewest starts":
        tie_break = "earliest"  # the cheapest by the bill comes first; with a taper its starts take too long to count
    unproven = _unproven(problem, bills, solver)
    if unproven:
        found = plan_by_next_kwh(itinerary, problem, bills, tie_break=tie_break, solver=solver)
        return replace(against_bills(found, problem, bills, bound=-np.inf, closed=0.0), unproven=unproven)
    best = reach(problem)
    if problem.ruled or tie_break == "fewest starts":
        ruled = _under_rules(itinerary, problem, bills, best, tie_break)
        if ruled is not None:
            return ruled
        if problem.ruled:
            found = plan_by_next_kwh(itinerary, problem, bills, tie_break=tie_break, solver=solver)
            return replace(against_bills(found, problem, bills, bound=-np.inf, closed=0.0), unproven=_OUT_OF_REACH)
        tie_break = "earliest"  # nothing was found in time
    planned = plan_whole_bill(problem, bills, best=best, tie_break=tie_break)
    slower = plan_slower(itinerary, problem, bills, best=best, planned=planned, tie_break=tie_break)
    steady_cost = None
    if slower is None or slower.planned.cost > dearest(planned.cost):
        steady_cost = slower.planned.cost if slower is not None else None
        schedule = _schedule(itinerary, problem, best, planned, tie_break)
    else:
        schedule = _schedule(itinerary, slower.problem, slower.best, slower.planned, tie_break)
    # What charges in parts is as cheap as any that charges more slowly, so its bound holds for both.
    billed = against_bills(schedule, problem, bills, bound=planned.bound, closed=planned.closed)
    return replace(billed, steadily=steady_cost)


def _unproven(problem: Problem, bills: Sequence[BilledSlots], solver: str) -> str:
    for bill in bills:
        if isinstance(bill, RisenSlots):
            return bill.because
    if solver not in ("auto", "highs"):
        return f"the solver {solver}"
    if problem.taper.size and problem.ruled:
        return "a taper under rules about switching"
    return ""


def _under_rules(
    itinerary: Itinerary, problem: Problem, bills: Sequence[BilledSlots], best: Reach, tie_break: str
) -> BilledSchedule | None:
    """Plan under rules or with the fewest starts, at the limit and with less current; None if rules are in the way."""
    planned = plan_whole_bill(problem, bills, best=best, tie_break="earliest")
    counted = counting_starts(problem) if tie_break == "fewest starts" else problem
    found: list[_Found] = []
    until, in_vain = time.monotonic() + _ALL_SLOWER_S, 0
    for at_least, less in ruled_problems(itinerary, counted, bills, best, planned):
        # Rules make no current cheaper than it is without them.
        if found and at_least >= min(one.cost for one in found) - 1e-9:
            continue
        own = plan_rules_billed(less, without_peaks(bills), reach(less), tie_break=tie_break, time_limit_s=_SLOWER_S)
        if own is not None:
            cost = total_cost(problem, bills, own[0].battery_kwh / less.gain)
            in_vain = 0 if not found or cost < min(one.cost for one in found) - 1e-9 else in_vain + 1
            found.append(_Found(cost, less, *own))
        if time.monotonic() > until or in_vain > _IN_VAIN:
            break
    # Where less current will do, a plan at the limit is seldom cheaper, and takes long to search.
    left_s = _SLOWER_S if found else MOST_S
    own = plan_rules_billed(counted, bills, best, tie_break=tie_break, time_limit_s=left_s)
    if own is not None:
        found.append(_Found(total_cost(problem, bills, own[0].battery_kwh / counted.gain), counted, *own))
    if not found:
        return None
    # As without rules, less current is taken rather than switching on and off, unless that costs much more.
    cheapest = min(found, key=lambda one: round(one.cost, 9))
    most = np.inf if tie_break == "fewest starts" else dearest(cheapest.cost)
    steady = [one for one in found if one.in_parts(bills) < 2 and one.cost <= most]
    cost, less, ruled, slack = min(steady or [cheapest], key=lambda one: round(one.cost, 9))
    bound, closed, by = planned.bound, planned.closed, ""
    # With less current a plan may be cheaper than any at the limit; then only what holds without rules bounds it.
    if cost > bound + closed and not looked_at(problem, bills).any():
        bound, closed, by = max(bound, ruled.bound), 1e-6 * (1 + abs(cost)) + slack, ruled.bound_by
    schedule = _ruled_schedule(itinerary, less, ruled, tie_break)
    schedule = replace(schedule, problem=replace(less, rules=problem.rules))
    return against_bills(schedule, problem, bills, bound=bound, closed=closed, bound_by=by)


class _Found(NamedTuple):
    """A plan under rules, and the limits it was made with."""

    cost: float
    problem: Problem
    ruled: Ruled
    slack: float

    def in_parts(self, bills: Sequence[BilledSlots]) -> int:
        """Count the averaging times that are used in part."""
        energy = self.ruled.battery_kwh
        level = self.problem.levels(energy, reached(self.problem, energy).served_kwh)
        return in_parts(self.problem, bills, energy, level)


def _ruled_schedule(itinerary: Itinerary, problem: Problem, ruled: Ruled, tie_break: str) -> Schedule:
    own = reached(problem, ruled.battery_kwh)
    full = ruled.battery_kwh >= problem.max_battery_kwh
    wall = np.where(full, problem.max_kwh, ruled.battery_kwh / problem.gain)
    level = problem.levels(ruled.battery_kwh, own.served_kwh)
    return Schedule(
        itinerary=itinerary,
        problem=problem,
        best=own,
        wall_kwh=wall,
        battery_kwh=ruled.battery_kwh,
        level_kwh=level,
        certificate=certify_ruled(problem, wall, ruled, reach(problem), level_kwh=level),
        method=ruled.method,
        tie_break=tie_break,
        ruled=ruled,
    )


def _schedule(itinerary: Itinerary, problem: Problem, best: Reach, planned: BilledPlan, tie_break: str) -> Schedule:
    """Check the limits of a plan from its energy alone."""
    level = problem.levels(planned.battery_kwh, best.served_kwh)
    return Schedule(
        itinerary=itinerary,
        problem=problem,
        best=best,
        wall_kwh=planned.wall_kwh,
        battery_kwh=planned.battery_kwh,
        level_kwh=level,
        certificate=certify(problem, planned.wall_kwh, level_kwh=level, best=best),
        method=f"linear program{'s' if planned.programs > 1 else ''} over the whole bill, solved by HiGHS",
        tie_break=tie_break,
    )
