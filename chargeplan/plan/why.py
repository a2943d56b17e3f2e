"""The reasons for a plan: what a kWh is worth, why each hour charges or waits, what contradicts what."""

from __future__ import annotations

from dataclasses import dataclass

from chargeplan.plan.conflicts import Wish, conflict
from chargeplan.plan.reasons import Stretch, reasons
from chargeplan.plan.schedule import Schedule
from chargeplan.plan.worth import Change, Values, changes, values_of_energy


@dataclass(frozen=True, eq=False)
class Why:
    """The reasons for a plan.

    Parameters
    ----------
    values : Values or None
        What a battery kWh is worth in each stay; None with a taper, rules of the charger or a whole bill, where
        it depends on other slots.
    stretches : tuple of Stretch
        Why each hour charges or waits; empty in these cases.
    changes : mapping of int to tuple of Change
        What a little more or less would change, for some stays; empty with rules or a whole bill.
    conflicts : mapping of int to tuple of Wish
        For every departure that is short, a smallest set of wishes that cannot be met together.
    """

    values: Values | None
    stretches: tuple[Stretch, ...]
    changes: dict[int, tuple[Change, ...]]
    conflicts: dict[int, tuple[Wish, ...]]


def explain(schedule: Schedule, stays: tuple[int, ...] = (0,), *, usable_kwh: float | None = None) -> Why:
    """Find the reasons for a plan.

    Parameters
    ----------
    schedule : Schedule
        A plan.
    stays : tuple of int
        For which stays to plan anew with a little more or less.
    usable_kwh : float, optional
        What 100 % of the battery are, if that is not the capacity of the itinerary.

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
    problem, best = schedule.problem, schedule.best
    # A taper, rules of the charger and a whole bill tie slots together, so none has a value of its own.
    tied = bool(problem.taper.size) or bool(problem.rules) or schedule.whole_bill
    plain = not tied and schedule.certificate.optimal
    values = values_of_energy(problem, best, schedule.battery_kwh) if plain else None
    step_min = problem.step_s // 60
    short = [departure.stay for departure in schedule.departures if departure.shortfall_kwh > 0]
    return Why(
        values,
        reasons(problem, best, schedule.battery_kwh, values) if values is not None else (),
        {number: changes(schedule.itinerary, number, step_min=step_min, usable_kwh=usable_kwh) for number in stays}
        if not problem.rules and not schedule.whole_bill
        else {},
        {number: conflict(problem, number) for number in short},
    )
