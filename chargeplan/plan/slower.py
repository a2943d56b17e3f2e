"""Charging more slowly where the bill charges the mean power, instead of switching on and off.

The cheapest plan keeps the mean power of an averaging time low by charging in a part of it, at the limit, where the
least is lost. A charger can do so with less current all the time, in steps of its own. At a current and its own
losses a slot is a slot like any other, so the plan is made again among such slots, and billed as it is.

Which currents: how high the mean may be in each slot is read from the cheapest plan, and the current of a slot is the
step below that, or one or two above where that is not enough, since more is lost at few amperes. That may use hours
that are better left alone, so all currents are tried as well, with and without the hours of each charge
(`less_current`). The cheapest of all is taken.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from chargeplan.plan.bill_columns import by_the_hour
from chargeplan.plan.bill_slots import BilledSlots, looked_at, total_cost
from chargeplan.plan.certificate import accepted_kwh
from chargeplan.plan.less_current import Levels, at_currents, currents_of, laid, regions, tried
from chargeplan.plan.merit_order import merit_order
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.stops import Itinerary
from chargeplan.plan.whole_bill import BilledPlan, plan_whole_bill

#: Steps of current above what the cheapest plan has on average.
_STEPS_UP = 2
#: The same under rules: no charger has so many.
_MOST_UP = 800
_FIT_KWH = 1e-6
_ROUNDING = 1e-9
#: Less current is taken rather than switching on and off as long as it costs no more than this share on top.
STEADY_SHARE = 0.2
#: A night under rules is planned at so many choices of current, in each with so many steps above the cheapest.
_RULED_WAYS, _RULED_UP = 4, 4


@dataclass(frozen=True, eq=False)
class SlowerPlan:
    """A plan with less current in some slots.

    Parameters
    ----------
    problem : Problem
        With the limit and the losses of these currents.
    best : Reach
        What can be reached with them.
    planned : BilledPlan
        The plan; its cost is that of all bills, and no bound of it is used.
    """

    problem: Problem
    best: Reach
    planned: BilledPlan


def in_parts(problem: Problem, bills: Sequence[BilledSlots], battery_kwh: Floats, level_kwh: Floats) -> int:
    """Count the averaging times of a stay that are used in part, although their mean power is charged.

    Parameters
    ----------
    problem : Problem
        With the most energy of each slot.
    bills : sequence of BilledSlots
        The bills.
    battery_kwh, level_kwh : array, shape (n,)
        A plan: what each slot brings, and the level at its end.

    Returns
    -------
    int
        Of the stay with the most; one is where charging ends, more are switched on and off.
    """
    most_kwh = accepted_kwh(problem, level_kwh - battery_kwh, level_kwh)
    count = 0
    for bill in bills:
        for peak in bill.shape.peaks:
            for stay in np.unique(problem.stay[bill.slot]).tolist():
                here = problem.stay[bill.slot] == stay
                block, slot = peak.block[bill.interval[here]], bill.slot[here]
                inside = block >= 0
                used, most = (
                    np.bincount(block[inside], weights=energy[slot][inside], minlength=peak.kw.size)
                    for energy in (battery_kwh, most_kwh)
                )
                count = max(count, int(((used > _FIT_KWH) & (used < most - _FIT_KWH)).sum()))
    return count


def plan_slower(
    itinerary: Itinerary,
    problem: Problem,
    bills: Sequence[BilledSlots],
    *,
    best: Reach,
    planned: BilledPlan,
    tie_break: str,
) -> SlowerPlan | None:
    """Plan with less current where the cheapest plan charges in parts of the times of which the mean is charged.

    Parameters
    ----------
    itinerary, problem : Itinerary, Problem
        What is asked.
    bills : sequence of BilledSlots
        The bills.
    best : Reach
        What can be reached.
    planned : BilledPlan
        The cheapest plan.
    tie_break : str
        As for `plan_whole_bill`.

    Returns
    -------
    SlowerPlan or None
        The cheapest of them, whatever it costs. None where nothing need be switched on and off, or where less current
        will not do: below the least of the charger, or where no such plan leaves as little short.
    """
    parts = _parts(problem, bills, best, planned)
    if parts < 2:
        return None
    found: list[SlowerPlan] = []

    def add(slower: Problem) -> float:
        own = reach(slower)
        if not _as_good(own, best):
            return np.inf
        plan = _at_these(problem, slower, bills, own, tie_break)
        if _parts(slower, bills, own, plan) >= parts:
            return np.inf
        found.append(SlowerPlan(slower, own, plan))
        return plan.cost

    for slower in slower_problems(itinerary, problem, bills, best, planned):
        add(slower)
    region = regions(problem, bills)
    currents = currents_of(itinerary, problem, region)
    tried(
        currents,
        int(region.max()) + 1,
        problem.slots,
        lambda levels: add(at_currents(itinerary, problem, best, laid(region, levels))),
    )
    # What the cheapest of them pays for already may leave room for more in other hours.
    if found:
        wanted_kw = _mean_kw(problem, bills, _cheapest(found).planned.wall_kwh)
        add(_at_steps(itinerary, problem, best, wanted_kw, 0))
    return _cheapest(found) if found else None


def _at_these(
    problem: Problem, slower: Problem, bills: Sequence[BilledSlots], best: Reach, tie_break: str
) -> BilledPlan:
    """Plan at given currents, the charges for the highest power aside, and bill all."""
    others = without_peaks(bills)
    if slower.taper.size or not all(bill.shape.by_the_hour for bill in others):
        plan = plan_whole_bill(slower, others, best=best, tie_break=tie_break)
        return replace(plan, cost=total_cost(problem, bills, plan.wall_kwh))
    battery = merit_order(by_the_hour(slower, others), best, tie_break)
    wall = np.where(battery >= slower.max_battery_kwh, slower.max_kwh, battery / slower.gain)
    return BilledPlan(battery, wall, total_cost(problem, bills, wall), -np.inf, 0.0)


def dearest(cost: float) -> float:
    """Give what a plan at steady currents may cost instead of one that is switched on and off for a cost."""
    return cost + STEADY_SHARE * abs(cost)


def _cheapest(found: list[SlowerPlan]) -> SlowerPlan:
    return min(found, key=lambda one: round(one.planned.cost, 6))


def without_peaks(bills: Sequence[BilledSlots]) -> list[BilledSlots]:
    """Leave the charges for the highest power out of bills: with less current they are kept low by the current."""
    return [replace(bill, shape=replace(bill.shape, peaks=())) for bill in bills]


def slower_problems(
    itinerary: Itinerary, problem: Problem, bills: Sequence[BilledSlots], best: Reach, planned: BilledPlan
) -> Iterator[Problem]:
    """Give the problem with less current where the cheapest plan charges in parts, at the steps that will do.

    Under rules all steps are given, as they may ask for more current than the cheapest plan without them.

    Parameters
    ----------
    itinerary, problem, bills, best, planned
        As for `plan_slower`.

    Yields
    ------
    Problem
        One that leaves as little short, and forces as much at once.
    """
    ruled = bool(problem.ruled)
    if not (looked_at(problem, bills).any() if ruled else _parts(problem, bills, best, planned) >= 2):
        return
    wanted_kw = _mean_kw(problem, bills, planned.wall_kwh)
    before: Problem | None = None
    for up in range(_MOST_UP if ruled else _STEPS_UP + 1):
        slower = _at_steps(itinerary, problem, best, wanted_kw, up)
        if before is not None and np.array_equal(slower.max_kwh, before.max_kwh):
            continue
        before = slower
        if np.array_equal(slower.max_kwh, problem.max_kwh):
            return
        if _as_good(reach(slower), best):
            yield slower


def ruled_problems(
    itinerary: Itinerary, problem: Problem, bills: Sequence[BilledSlots], best: Reach, planned: BilledPlan
) -> Iterator[tuple[float, Problem]]:
    """Give the problem with less current as rules about switching may ask for it, the likeliest first.

    Parameters
    ----------
    itinerary, problem, bills, best, planned
        As for `plan_slower`.

    Yields
    ------
    tuple of float and Problem
        What it costs without the rules, minus infinity if that is not known. At the cheapest currents for each way to
        leave hours out, and some steps above; then at all that were tried, the cheapest first, and at all steps of
        `slower_problems`.
    """
    region = regions(problem, bills)
    if region.max() < 0:
        return
    free = replace(problem, rules=())

    def cost(levels: Levels) -> float:
        slower = at_currents(itinerary, free, best, laid(region, levels))
        own = reach(slower)
        if not _as_good(own, best):
            return np.inf
        return _at_these(problem, slower, bills, own, "earliest").cost

    currents = currents_of(itinerary, problem, region)
    costs = tried(currents, int(region.max()) + 1, problem.slots, cost)
    ways: dict[tuple[bool, ...], list[Levels]] = {}
    for levels in sorted(costs, key=lambda levels: (round(costs[levels], 9), levels)):
        ways.setdefault(tuple(level > 0 for level in levels), []).append(levels)
    given = set()
    for up in range(_RULED_UP):
        for own in list(ways.values())[:_RULED_WAYS]:
            levels = tuple(_above(currents, level, up) for level in own[0])
            if levels not in given:
                given.add(levels)
                yield costs.get(levels, -np.inf), at_currents(itinerary, problem, best, laid(region, levels))
    for levels in sorted(costs, key=lambda levels: (round(costs[levels], 9), levels)):
        if levels not in given:
            yield costs[levels], at_currents(itinerary, problem, best, laid(region, levels))
    for slower in slower_problems(itinerary, problem, bills, best, planned):
        yield -np.inf, slower


def _above(currents: list[float], level: float, up: int) -> float:
    return currents[min(currents.index(level) + up, len(currents) - 1)] if level > 0 else 0.0


def _parts(problem: Problem, bills: Sequence[BilledSlots], best: Reach, plan: BilledPlan) -> int:
    return in_parts(problem, bills, plan.battery_kwh, problem.levels(plan.battery_kwh, best.served_kwh))


def _as_good(one: Reach, other: Reach) -> bool:
    return bool(
        (one.shortfall_kwh <= other.shortfall_kwh + _FIT_KWH).all()
        and np.abs(one.forced_kwh - other.forced_kwh).max() <= _FIT_KWH
    )


def _mean_kw(problem: Problem, bills: Sequence[BilledSlots], wall_kwh: Floats) -> Floats:
    """Find how high the mean power may be in each slot without raising what a plan pays for it, shape (n,)."""
    found = np.full(problem.slots, np.inf)
    for bill in bills:
        more = bill.more_kwh(wall_kwh)
        for peak in bill.shape.peaks:
            inside = peak.block >= 0
            kw = peak.kw + np.bincount(peak.block[inside], weights=more[inside], minlength=peak.kw.size) / peak.hours
            highest = np.zeros(int(peak.day.max()) + 1)
            np.maximum.at(highest, peak.day, kw)
            if highest.size == 1:
                highest = np.maximum(highest, peak.least_kw)
            room = highest[peak.day] - peak.kw
            block = peak.block[bill.interval]
            charged = block >= 0
            slots = bill.slot[charged]
            found[slots] = np.minimum(found[slots], np.maximum(room[block[charged]], 0.0))
    return found


def _at_steps(itinerary: Itinerary, problem: Problem, best: Reach, wanted_kw: Floats, up: int) -> Problem:
    """Lower the current of slots to the step below a power, or so many above."""
    current = np.full(problem.slots, np.inf)
    for number, stay in enumerate(itinerary.stays):
        if not stay.current_a or not stay.wall_kw:
            continue
        per_a = stay.wall_kw / stay.current_a
        here = (problem.stay == number) & np.isfinite(wanted_kw)
        steps = np.floor(wanted_kw[here] / per_a / stay.current_step_a + _ROUNDING) + up
        own = np.round(steps * stay.current_step_a, 9)
        own[own < stay.min_current_a - _ROUNDING] = 0.0
        current[here] = own
    return at_currents(itinerary, problem, best, current)
