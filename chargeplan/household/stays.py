"""From the habits of a household to the stays that are planned: at home, and where the car stops on the way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import partial

from chargeplan.charging import Limit
from chargeplan.clock import local_datetimes, wall_s
from chargeplan.household.charger import HOME
from chargeplan.household.habits import Outing
from chargeplan.household.house_use import PriceArray
from chargeplan.household.household import Household, Stop
from chargeplan.household.more_current import at_current
from chargeplan.household.preconditioning import preconditioned
from chargeplan.plan.stops import Price, Stay
from chargeplan.tariff import Tariff

#: What a place is called, what it delivers, and what a kWh costs there.
_Place = tuple[str, Limit, float | Tariff | PriceArray]


def holidays_of(household: Household) -> Callable[[date], bool]:
    """Give what tells holidays, where the habits have something else for them; else no day is one."""
    if not household.habits.uses_holidays:
        return lambda day: False
    return household.is_holiday


def stay_at_home(household: Household, price: Tariff | PriceArray, times: tuple[int, int], target: float) -> Stay:
    """Give a stay that ends with a departure, or sooner, see `_ready_s`, and with what the car draws before that."""
    arrive_s, leave_s = times
    where = (HOME, household.limit, price)
    stay = stay_at(household, where, (arrive_s, _ready_s(household, arrive_s, leave_s)), target)
    usual, holiday = household.habits.preconditioning, holidays_of(household)(stay.end.date())
    return preconditioned(usual, household.limit, household.vehicle, stay, holiday=holiday)


def stay_at(household: Household, where: _Place, times: tuple[int, int], target: float | None = None) -> Stay:
    """Give a stay anywhere, from its first to its last second, with the share wanted at its end."""
    place, limit, price = where
    start, end = local_datetimes(household.timezone, times)
    per_kwh: Price = price.price_array if isinstance(price, Tariff) else price
    stay = Stay(
        place=place,
        start=start,
        end=end,
        wall_kw=limit.wall_kw,
        gain=limit.gain if limit.wall_kw > 0 else 1.0,
        price_per_kwh=per_kwh,
        need_kwh=0.0 if target is None else target * household.vehicle.usable_kwh,
        min_current_a=limit.min_a,
        current_step_a=limit.step_a,
        phases=max(1, limit.phases),
        stronger=partial(at_current, limit, household.vehicle, household.charger),
    )
    # Direct current has no limit in amperes; the station's power is the limit.
    return stay if limit.current_a != limit.current_a else replace(stay, current_a=limit.current_a)


def stops_on(household: Household, trip: Outing) -> list[tuple[Stop, tuple[int, int]]]:
    """List the stops of an outing that lie within it, in time and without overlap."""
    found: list[tuple[Stop, tuple[int, int]]] = []
    holiday = household.habits.uses_holidays and household.is_holiday(trip.day)
    for stop in sorted(household.stops, key=lambda stop: stop.start_min):
        if not stop.days.covers(trip.day.weekday(), holiday):
            continue
        start_s = wall_s(household.timezone, trip.day, stop.start_min)
        end_s = wall_s(household.timezone, trip.day, stop.end_min)
        free_from = found[-1][1][1] if found else trip.leave_s
        if free_from <= start_s < end_s <= trip.back_s:
            found.append((stop, (start_s, end_s)))
    return found


def _ready_s(household: Household, arrive_s: int, leave_s: int) -> int:
    """Give the end of a stay at home: sooner than the departure if that may come early.

    What is charged later may come too late, so nothing is.
    """
    early = household.habits.early
    ready_s = leave_s - round(60 * early.ready_min) if early else leave_s
    return ready_s if ready_s > arrive_s + 60 else leave_s
