"""Charging more slowly where the bill charges the mean power, instead of switching on and off.

The cheapest plan keeps the mean power of an averaging time low by charging in a part of it, at the limit, where the
least is lost. A charger can do so with less current all the time, in steps of its own. How high the mean may be in
each slot is read from the cheapest plan; the current of a slot is the step below that, or one or two above where
that is not enough, since more is lost at few amperes. At that current and its own losses the slot is a slot like any
other, so the plan is made again among such slots, and what is lost at the real current is in it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.bill_slots import BilledSlots, looked_at, total_cost
from chargeplan.plan.certificate import accepted_kwh
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.stops import Itinerary, Stay
from chargeplan.plan.whole_bill import BilledPlan, plan_whole_bill

#: Steps of current above what the cheapest plan has on average.
_STEPS_UP = 2
#: The same under rules: no charger has so many.
_MOST_UP = 800
_FIT_KWH = 1e-6
_ROUNDING = 1e-9


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
        The plan; its cost is that of all bills, its bound holds among these currents only.
    """

    problem: Problem
    best: Reach
    planned: BilledPlan


def in_parts(problem: Problem, bills: Sequence[BilledSlots], battery_kwh: Floats, level_kwh: Floats) -> int:
    """Count the averaging times that are used in part, although their mean power is charged.

    Parameters
    ----------
    problem : Problem
        With the most energy of each slot.
    bills : sequence of BilledSlots
        The bills.
    battery_kwh, level_kwh : array, shape (n,)
        A plan: what each slot brings, and the level at its end.
    """
    most_kwh = accepted_kwh(problem, level_kwh - battery_kwh, level_kwh)
    count = 0
    for bill in bills:
        for peak in bill.shape.peaks:
            block = peak.block[bill.interval]
            inside = block >= 0
            used, most = (
                np.bincount(block[inside], weights=energy[bill.slot][inside], minlength=peak.kw.size)
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
        None where nothing need be switched on and off, or where less current will not do: below the least of the
        charger, or where no such plan leaves as little short.
    """
    parts = _parts(problem, bills, best, planned)
    found: SlowerPlan | None = None
    for slower in slower_problems(itinerary, problem, bills, best, planned):
        own = reach(slower)
        plan = plan_whole_bill(slower, without_peaks(bills), best=own, tie_break=tie_break)
        plan = replace(plan, cost=total_cost(problem, bills, plan.wall_kwh))
        if _parts(slower, bills, own, plan) < parts and (found is None or plan.cost < found.planned.cost):
            found = SlowerPlan(slower, own, plan)
    return found


def without_peaks(bills: Sequence[BilledSlots]) -> list[BilledSlots]:
    """Leave the charges for the highest power out of bills: with less current they are kept low by the current."""
    return [replace(bill, shape=replace(bill.shape, peaks=())) for bill in bills]


def slower_problems(
    itinerary: Itinerary, problem: Problem, bills: Sequence[BilledSlots], best: Reach, planned: BilledPlan
) -> Iterator[Problem]:
    """Give the problem with less current where the cheapest plan charges in parts, at the steps that will do.

    Rules about switching may ask for more current than the cheapest plan without them, so then all steps are given.

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
    most, gain = problem.max_kwh.copy(), problem.gain.copy()
    kw = np.divide(problem.max_kwh, problem.hours)
    for number, stay in enumerate(itinerary.stays):
        if not stay.current_a or not stay.wall_kw:
            continue
        per_a = stay.wall_kw / stay.current_a
        here = (problem.stay == number) & np.isfinite(wanted_kw) & (best.forced_kwh <= 0) & _plain(problem, stay)
        steps = np.floor(np.where(here, wanted_kw, 0.0) / per_a / stay.current_step_a + _ROUNDING) + up
        current = np.round(steps * stay.current_step_a, 9)
        current[current < stay.min_current_a - _ROUNDING] = 0.0
        lower = here & (current * per_a < kw - _ROUNDING)
        for amperes in np.unique(current[lower]).tolist():
            slots = lower & (current == amperes)
            most[slots] = problem.hours[slots] * per_a * amperes
            if amperes > 0:
                own = stay.at_current(amperes).gain
                gain[slots] = min(own, 1.0) if own > 0 else gain[slots]
                most[slots] = most[slots] if own > 0 else 0.0
    return replace(problem, max_kwh=most, gain=gain)


def _plain(problem: Problem, stay: Stay) -> NDArray[np.bool_]:
    """Mark slots outside of preconditioning, which has part of the power, and of the losses, for itself."""
    if stay.preconditioning is None:
        return np.ones(problem.slots, dtype=bool)
    end_s = problem.start_s + 3600 * problem.hours
    return np.asarray(end_s <= stay.end.timestamp() - stay.preconditioning.takes_s + _ROUNDING)
