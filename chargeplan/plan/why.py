"""The reasons for a plan: what a kWh is worth, why each hour charges or waits, what contradicts what."""

from __future__ import annotations

import time
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from chargeplan.plan.conflicts import Wish, conflict_of
from chargeplan.plan.instead import Again, plan_again, proven, short_kwh
from chargeplan.plan.problem import Problem, problem_from
from chargeplan.plan.reasons import Stretch, reasons, spell_names
from chargeplan.plan.schedule import Schedule
from chargeplan.plan.stops import Itinerary
from chargeplan.plan.tied_reasons import MOST_STRETCHES, tied_reasons
from chargeplan.plan.worth import Change, Outcome, Values, changes, values_of_energy

#: Longest time for other plans, where each takes a search.
LIMIT_S: Final = 4.0


@dataclass(frozen=True, eq=False)
class Why:
    """The reasons for a plan.

    Parameters
    ----------
    values : Values or None
        What a battery kWh is worth in each stay; None with a taper, rules of the charger or a whole bill, where
        it depends on other slots.
    stretches : tuple of Stretch
        Why each hour charges or waits; empty if values would tell it but the plan is not proven.
    changes : mapping of int to tuple of Change
        What a little more or less would change, for some stays.
    conflicts : mapping of int to tuple of Wish
        For every departure that is short, a smallest set of wishes that cannot be met together.
    notes : tuple of str
        What was left out, in words.
    """

    values: Values | None
    stretches: tuple[Stretch, ...]
    changes: dict[int, tuple[Change, ...]]
    conflicts: dict[int, tuple[Wish, ...]]
    notes: tuple[str, ...] = ()


def explain(
    schedule: Schedule,
    stays: tuple[int, ...] = (0,),
    *,
    usable_kwh: float | None = None,
    again: Again | None = None,
    most: int = MOST_STRETCHES,
    limit_s: float = LIMIT_S,
) -> Why:
    """Find the reasons for a plan.

    Parameters
    ----------
    schedule : Schedule
        A plan.
    stays : tuple of int
        For which stays to plan anew with a little more or less.
    usable_kwh : float, optional
        What 100 % of the battery are, if that is not the capacity of the itinerary.
    again : Again, optional
        Plans another itinerary the same way; needed for a plan against a whole bill, without which nothing of it
        is explained but what contradicts what.
    most : int
        Most stretches of hours for which other plans are made, where hours depend on one another.
    limit_s : float
        Longest time for these.

    Returns
    -------
    Why

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> from chargeplan.plan.schedule import plan
    >>> from chargeplan.plan.stops import Itinerary, Stay
    >>> stay = Stay("home", datetime(2026, 1, 5, 20, tzinfo=timezone.utc),
    ...             datetime(2026, 1, 5, 22, tzinfo=timezone.utc), wall_kw=4.0, gain=1.0, need_kwh=6.0,
    ...             price_per_kwh=lambda start_s, step_s: 0.1 + 0.2 * (start_s % 86400 < 21 * 3600))
    >>> found = explain(plan(Itinerary(0, 60, [stay])))
    >>> [(stretch.charges, stretch.reason) for stretch in found.stretches]
    [(True, 'last'), (False, 'equal'), (True, 'cheap')]
    """
    conflicts, left = _conflicts(schedule, time.monotonic() + limit_s)
    if is_tied(schedule):
        if again is None and not schedule.whole_bill:
            again = plan_again(schedule.problem.step_s // 60)
        tied = _tied(schedule, stays, usable_kwh, again, conflicts, most=most, limit_s=limit_s)
        return replace(tied, notes=(*tied.notes, *left))
    problem, best = schedule.problem, schedule.best
    sure = schedule.certificate.optimal
    values = values_of_energy(problem, best, schedule.battery_kwh) if sure else None
    found = reasons(problem, best, schedule.battery_kwh, values) if values is not None else ()
    step_min = problem.step_s // 60
    return Why(
        values,
        tuple(_with_rule(schedule, stretch) for stretch in found),
        {number: changes(schedule.itinerary, number, step_min=step_min, usable_kwh=usable_kwh) for number in stays},
        conflicts,
        left if sure else (_UNPROVEN, *left),
    )


_UNPROVEN: Final = "this plan is not proven, so its hours are not explained"
_NOT_THE_LEAST: Final = (
    "this plan is not proven cheapest, so what other plans would cost is what was found, not the least there is"
)


def _conflicts(schedule: Schedule, until: float) -> tuple[dict[int, tuple[Wish, ...]], tuple[str, ...]]:
    """Find what contradicts what for every departure that is short, the first whatever it takes."""
    short = [departure.stay for departure in schedule.departures if departure.shortfall_kwh > 0]
    itinerary, found = schedule.itinerary, dict[int, tuple[Wish, ...]]()
    # With a lower current chosen for the bill the slots of the plan are not those that were asked.
    problem = problem_from(itinerary, schedule.problem.step_s // 60)
    for number in short:
        wishes = conflict_of(itinerary, problem, number, until=until if number != short[0] else float("inf"))
        if wishes is not None:
            found[number] = wishes
    left = len(short) - len(found)
    if not left:
        return found, ()
    what = f"what contradicts what was not found out in time for {left} departure{'s' if left > 1 else ''}"
    return found, (what,)


def is_tied(schedule: Schedule) -> bool:
    """Tell whether hours of a plan depend on one another: a taper, rules of the charger or a whole bill tie them."""
    problem = schedule.problem
    return bool(problem.taper.size) or bool(problem.ruled) or schedule.whole_bill


def _with_rule(schedule: Schedule, stretch: Stretch) -> Stretch:
    """Add the current, and the rule that lets nothing be charged."""
    if stretch.reason == "off":
        names = spell_names(schedule.itinerary.stays[stretch.stay], stretch.start_s, stretch.end_s)
        return replace(stretch, because=names)
    if not stretch.charges:
        return stretch
    problem: Problem = schedule.problem
    inside = (problem.stay == stretch.stay) & (problem.start_s >= stretch.start_s) & (problem.start_s < stretch.end_s)
    return replace(stretch, current_a=float(np.max(schedule.current_a[inside])))


def _tied(
    schedule: Schedule,
    stays: tuple[int, ...],
    usable_kwh: float | None,
    again: Again | None,
    conflicts: dict[int, tuple[Wish, ...]],
    *,
    most: int,
    limit_s: float,
) -> Why:
    """Explain by planning anew: first the first stay, then the hours, then the other stays."""
    if again is None:
        return Why(None, (), {}, conflicts)
    begin, itinerary, step_min = time.monotonic(), schedule.itinerary, schedule.problem.step_s // 60
    outcome, found = _outcome(schedule, again, begin + limit_s), dict[int, tuple[Change, ...]]()
    for number in stays[:1]:
        found[number] = changes(itinerary, number, step_min=step_min, usable_kwh=usable_kwh, outcome=outcome, less=True)
    stretches, notes = tied_reasons(schedule, again, most=most, until=begin + limit_s)
    for number in stays[1:]:
        found[number] = changes(itinerary, number, step_min=step_min, usable_kwh=usable_kwh, outcome=outcome, less=True)
    if time.monotonic() > begin + limit_s:
        notes = (*notes, f"after {limit_s:g} s no more changes were tried")
    if not schedule.certificate.optimal:
        notes = (_NOT_THE_LEAST, *notes)
    return Why(None, stretches, found, conflicts, notes)


def _outcome(schedule: Schedule, again: Again, until: float) -> Outcome:
    def outcome(itinerary: Itinerary) -> tuple[float, float, bool] | None:
        if itinerary is schedule.itinerary:
            return schedule.total_cost, short_kwh(schedule), True
        left_s = until - time.monotonic()
        if left_s <= 0:
            return None
        other = again(itinerary, time_limit_s=left_s)
        if not (other.certificate.feasible and (proven(schedule, other) or not short_kwh(other))):
            return None
        return other.total_cost, short_kwh(other), proven(schedule, other)

    return outcome
