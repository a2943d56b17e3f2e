"""From a household to its itinerary, and from that to the cheapest plan."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from math import gcd

import numpy as np

from chargeplan.charging import Limit
from chargeplan.clock import DAY_S, day_of_number, instant_s, local_datetimes, local_seconds, wall_s
from chargeplan.errors import InputError
from chargeplan.household.billed import billed_slots
from chargeplan.household.charger import HOME
from chargeplan.household.habits import Outing, outings
from chargeplan.household.house_use import PriceArray, left_out, price_at
from chargeplan.household.household import Household, Stop
from chargeplan.household.state_of_charge import StateOfCharge, estimated, given
from chargeplan.plan.problem import problem_from
from chargeplan.plan.schedule import Schedule, plan
from chargeplan.plan.stops import Drive, Itinerary, Price, Stay
from chargeplan.tariff import Tariff
from chargeplan.units import KM_PER_MILE, quantity, time_of_day

#: What a place is called, what it delivers, and what a kWh costs there.
_Place = tuple[str, Limit, float | Tariff | PriceArray]
#: Habits repeat weekly, but holidays can take the departures of some weeks in a row.
_LOOK_AHEAD_DAYS = 40
_LOOK_BACK_DAYS = 9
#: What to mind of a plan that keeps the mean power low.
_IN_PARTS = (
    "while the bill charges the highest mean power, the plan keeps it low by charging for a part of each interval; "
    "keep to its times, or to as much less current all the time, as more raises the bill by more than is saved"
)
#: Most days that are planned in one go, and longest time to a departure that is given.
MAX_DAYS = 366


@dataclass(frozen=True, eq=False, repr=False)
class HouseholdPlan:
    """A plan, and what it was made from.

    Parameters
    ----------
    household : Household
        For whom.
    now_s : int
        The present it was made at, UTC seconds.
    soc : StateOfCharge
        State of charge at the first plug-in.
    target : float
        State of charge wanted at the departures from home.
    itinerary : Itinerary
        The stays and drives.
    schedule : Schedule
        When to charge.
    limits : tuple of Limit
        What each stay delivers.
    ready_min : float
        How many minutes before the usual departure the stays at home end, since the car may leave early.
    uninsured_cost : float or None
        What the plan would cost if they did not.
    """

    household: Household
    now_s: int
    soc: StateOfCharge
    target: float
    itinerary: Itinerary
    schedule: Schedule
    limits: tuple[Limit, ...]
    ready_min: float = 0.0
    uninsured_cost: float | None = None

    @property
    def insurance_cost(self) -> float:
        """What it costs to be ready sooner than the usual departure; 0 without that."""
        return 0.0 if self.uninsured_cost is None else self.schedule.total_cost - self.uninsured_cost

    @property
    def cautions(self) -> tuple[str, ...]:
        """What of the rate at home the plan does not reckon with, and what to mind, in words."""
        charger, early = self.household.charger, self.household.habits.early
        hot = charger.cautions if charger is not None else ()
        if early is not None and early.ready_min and not self.ready_min:
            hot = (f"there is too little time to be ready {early.ready_min:g} min early; see `early`", *hot)
        said = left_out(self.household.tariff, self.household.house_use, whole=self.schedule.whole_bill)
        return (*said, *((_IN_PARTS,) if self.schedule.in_parts else ()), *hot)

    @property
    def rules(self) -> tuple[str, ...]:
        """Which rules of the charger at home are at work in the plan, in words."""
        charger = self.household.charger
        return charger.words(self.itinerary.stays) if charger is not None else ()

    def __repr__(self) -> str:
        return f"HouseholdPlan({self.household.name!r}, {self.schedule!r})"

    def _repr_html_(self) -> str:
        return self.schedule._repr_html_()


def plan_tonight(
    household: Household,
    *,
    soc: str | float | None = None,
    now: str | datetime | None = None,
    leave: str | datetime | None = None,
    target: str | float | None = None,
    plugged_in: bool = False,
    prefer: str | None = None,
    solver: str = "auto",
) -> HouseholdPlan:
    """Plan the night ahead: from now, or from the next plug-in, until the next departure.

    Parameters
    ----------
    household : Household
        For whom.
    soc : str or float, optional
        State of charge at plug-in: ``55 %`` or 0.55. Otherwise it is read from the household's
        file, or estimated from the usual distance.
    now : str or zone-aware datetime, optional
        The present; text without an offset is the household's wall clock.
    leave : str or zone-aware datetime, optional
        Departure, instead of the usual one: ``06:30`` for the next time the clock shows that, or a
        date and time.
    target : str or float, optional
        State of charge wanted at departure, instead of the usual one.
    plugged_in : bool
        The car is plugged in at home now, whatever the habits say.
    prefer : str, optional
        Among equally cheap plans: ``as needed`` (the usual one: no sooner than the
        drives ask), ``earliest``, ``latest`` or ``fewest starts``.
    solver : str
        How to find the plan, see `chargeplan.plan.solvers.solve`.

    Returns
    -------
    HouseholdPlan
        With the schedule.

    Raises
    ------
    InputError
        If something given cannot be.

    Examples
    --------
    >>> from chargeplan.household import load_household
    >>> night = plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00")
    >>> round(night.schedule.total_cost, 2), night.schedule.certificate.optimal
    (2.95, True)
    """
    now_s = _now_s(now, household)
    trips = _outings(household, now_s)
    arrive_s, last = _arrival(household, trips, now_s, plugged_in)
    leave_s = _next_outing(trips, arrive_s).leave_s if leave is None else _departure_s(leave, arrive_s, household)
    wanted = household.habits.target if target is None else _target(target)
    price = price_at(household.tariff, household.house_use, now_s)
    stay = _stay(household, (HOME, household.limit, price), (arrive_s, _ready_s(household, arrive_s, leave_s)), wanted)
    level = _state_of_charge(household, soc, now_s, last)
    planned = _planned(
        household,
        now_s=now_s,
        soc=level,
        target=wanted,
        stays=[stay],
        drives=[],
        limits=[household.limit],
        prefer=prefer,
        solver=solver,
    )
    same = {"soc": soc, "now": now, "leave": leave, "target": target, "plugged_in": plugged_in, "prefer": prefer}
    return _insured(planned, lambda usual: plan_tonight(usual, **same, solver=solver))  # type: ignore[arg-type]


def plan_days(
    household: Household,
    days: int = 7,
    *,
    soc: str | float | None = None,
    now: str | datetime | None = None,
    target: str | float | None = None,
    plugged_in: bool = False,
    prefer: str | None = None,
    solver: str = "auto",
) -> HouseholdPlan:
    """Plan the coming days as a whole, with the drives between and the other places to charge.

    Parameters
    ----------
    household, soc, now, target, plugged_in, prefer, solver
        As for `plan_tonight`; the target holds for every departure from home.
    days : int
        How many days ahead departures are planned for.

    Returns
    -------
    HouseholdPlan
        With the schedule.

    Raises
    ------
    InputError
        If something given cannot be.

    Examples
    --------
    >>> from chargeplan.household import load_household
    >>> week = plan_days(load_household("demo"), 7, soc="55 %", now="2026-11-25 20:00")
    >>> len(week.itinerary.stays), week.schedule.certificate.optimal
    (8, True)
    """
    if not 1 <= days <= MAX_DAYS:
        raise InputError(f"{days} days cannot be planned; write 1 to {MAX_DAYS}")
    now_s = _now_s(now, household)
    trips = _outings(household, now_s, days)
    arrive_s, last = _arrival(household, trips, now_s, plugged_in)
    wanted = household.habits.target if target is None else _target(target)
    end_s = max(now_s + DAY_S * days, arrive_s)
    ahead = [trip for trip in trips if arrive_s < trip.leave_s <= end_s]
    ahead = ahead or [_next_outing(trips, arrive_s)]
    stays: list[Stay] = []
    drives: list[Drive] = []
    limits: list[Limit] = []
    home = (HOME, household.limit, price_at(household.tariff, household.house_use, now_s))
    for position, trip in enumerate(ahead):
        stays.append(_stay(household, home, (arrive_s, _ready_s(household, arrive_s, trip.leave_s)), wanted))
        limits.append(household.limit)
        if position + 1 == len(ahead):
            break
        stops = _stops_on(household, trip)
        leg_km = trip.distance_km / (len(stops) + 1)
        leg = Drive(float(household.vehicle.drive_kwh(leg_km)), leg_km)
        for stop, times in stops:
            drives.append(leg)
            stays.append(_stay(household, (stop.place, stop.limit, stop.price), times))
            limits.append(stop.limit)
        drives.append(leg)
        arrive_s = trip.back_s
    level = _state_of_charge(household, soc, now_s, last)
    planned = _planned(
        household,
        now_s=now_s,
        soc=level,
        target=wanted,
        stays=stays,
        drives=drives,
        limits=limits,
        prefer=prefer,
        solver=solver,
    )
    same = {"soc": soc, "now": now, "target": target, "plugged_in": plugged_in, "prefer": prefer}
    return _insured(planned, lambda usual: plan_days(usual, days, **same, solver=solver))  # type: ignore[arg-type]


def _ready_s(household: Household, arrive_s: int, leave_s: int) -> int:
    """Give the end of a stay at home: sooner than the departure if that may come early.

    What is charged later may come too late, so nothing is.
    """
    early = household.habits.early
    ready_s = leave_s - round(60 * early.ready_min) if early else leave_s
    return ready_s if ready_s > arrive_s + 60 else leave_s


def _insured(plan: HouseholdPlan, again: Callable[[Household], HouseholdPlan]) -> HouseholdPlan:
    """Add what being ready early costs, from the same plan without it."""
    habits = plan.household.habits
    if habits.early is None or not habits.early.ready_min:
        return plan
    usual = again(replace(plan.household, habits=replace(habits, early=None)))
    if plan.schedule.fixes:
        # Ending sooner would only leave it shorter, so every minute until the usual departure is used.
        return replace(usual, household=plan.household)
    return replace(plan, ready_min=habits.early.ready_min, uninsured_cost=usual.schedule.total_cost)


def _planned(
    household: Household,
    *,
    now_s: int,
    soc: StateOfCharge,
    target: float,
    stays: list[Stay],
    drives: list[Drive],
    limits: list[Limit],
    prefer: str | None,
    solver: str,
) -> HouseholdPlan:
    vehicle = household.vehicle
    usable = vehicle.usable_kwh
    if household.charger is not None:
        stays = household.charger.on_stays(household.limit, stays)
    # A car that is fuller than the daily limit is not emptied; a higher target was wished for.
    most = max(target, vehicle.daily_limit, soc.share)
    taper: list[tuple[float, float]] = []
    if vehicle.taper is not None:
        # The planner counts state of charge from the most the battery may hold, the car from all it can.
        taper = [(float(slope) * most, float(kw)) for slope, kw in zip(*vehicle.taper.segments(), strict=True)]
    itinerary = Itinerary(
        level_kwh=soc.share * usable,
        capacity_kwh=most * usable,
        stays=stays,
        drives=drives,
        floor_kwh=household.habits.floor * usable,
        taper=taper,
    )
    tariffs = [household.tariff, *(stop.price for stop in household.stops if isinstance(stop.price, Tariff))]
    step_min = gcd(15, *(tariff.resolution_min for tariff in tariffs))
    tie_break = household.prefer if prefer is None else prefer
    schedule = _billed(household, itinerary, now_s, step_min=step_min, solver=solver, tie_break=tie_break)
    schedule = schedule or plan(itinerary, step_min=step_min, solver=solver, tie_break=tie_break)
    return HouseholdPlan(household, now_s, soc, target, itinerary, schedule, tuple(limits))


def _billed(
    household: Household, itinerary: Itinerary, now_s: int, *, step_min: int, solver: str, tie_break: str
) -> Schedule | None:
    """Plan against the whole bill where the house's use is known and prices by the hour do not say it all."""
    if household.house_use is None or solver not in ("auto", "highs") or tie_break == "fewest starts":
        return None
    problem = problem_from(itinerary, step_min)
    if problem.taper.size or problem.rules:
        return None
    home = [stay.place == HOME for stay in itinerary.stays]
    bills = billed_slots(household.tariff, household.house_use, now_s, problem, home)
    if not bills:
        return None
    from chargeplan.plan.billed_schedule import plan_billed

    return plan_billed(itinerary, problem, bills, tie_break=tie_break)


def _now_s(now: str | datetime | None, household: Household) -> int:
    return int(datetime.now(UTC).timestamp()) if now is None else instant_s(now, household.timezone)


def _outings(household: Household, now_s: int, days: int = 0) -> list[Outing]:
    today = day_of_number(int(local_seconds(household.timezone, np.array([now_s]))[0]) // DAY_S)
    first = today - timedelta(days=_LOOK_BACK_DAYS)
    span = _LOOK_BACK_DAYS + days + _LOOK_AHEAD_DAYS
    return outings(household.habits, household.timezone, first, span, _holidays(household))


def _next_outing(trips: list[Outing], after_s: int) -> Outing:
    for trip in trips:
        if trip.leave_s > after_s:
            return trip
    raise InputError(f"no departure is due within {_LOOK_AHEAD_DAYS} days; give one with --leave")


def _holidays(household: Household) -> Callable[[date], bool]:
    if not household.habits.uses_holidays:
        return lambda day: False
    return household.is_holiday


def _arrival(household: Household, trips: list[Outing], now_s: int, plugged_in: bool) -> tuple[int, Outing | None]:
    """Find when the car is plugged in at home, now or next, and the outing before that."""
    begun = [trip for trip in trips if trip.leave_s <= now_s]
    last = begun[-1] if begun else None
    if last is not None and last.back_s > now_s and not plugged_in:
        return last.back_s, last
    return now_s, last


def _departure_s(leave: str | datetime, arrive_s: int, household: Household) -> int:
    if isinstance(leave, str) and re.fullmatch(r"\s*\d{1,2}:\d{2}\s*", leave):
        minute = time_of_day(leave)
        today = local_datetimes(household.timezone, [arrive_s])[0].date()
        times = (wall_s(household.timezone, today + timedelta(days=n), minute) for n in range(3))
        return next(time for time in times if time > arrive_s)
    leave_s = instant_s(leave, household.timezone)
    if not arrive_s < leave_s <= arrive_s + MAX_DAYS * DAY_S:
        arrival = local_datetimes(household.timezone, [arrive_s])[0]
        what = f"not after the plug-in at {arrival:%Y-%m-%d %H:%M}; give a later one"
        if leave_s > arrive_s:
            what = f"more than {MAX_DAYS} days after the plug-in at {arrival:%Y-%m-%d %H:%M}; give an earlier one"
        raise InputError(f"the departure {leave} is {what}")
    return leave_s


def _target(value: str | float) -> float:
    target = quantity(value, "share")
    if target > 1:
        raise InputError(f"a target of {value} is more than full; write at most 100 %")
    return target


def _state_of_charge(household: Household, soc: str | float | None, now_s: int, last: Outing | None) -> StateOfCharge:
    if soc is not None:
        return given(soc)
    if household.soc_file is not None:
        return household.soc_file.read(now_s, household.timezone)
    distance_km = last.distance_km if last is not None else 0.0
    used = float(household.vehicle.drive_kwh(distance_km)) / household.vehicle.usable_kwh
    miles = household.distance_unit == "mi"
    text = f"{distance_km / KM_PER_MILE:.0f} mi" if miles else f"{distance_km:.0f} km"
    return estimated(household.habits.target, used, text)


def _stay(household: Household, where: _Place, times: tuple[int, int], target: float | None = None) -> Stay:
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
        phases=max(1, limit.phases),
    )
    # Direct current has no limit in amperes; the station's power is the limit.
    return stay if limit.current_a != limit.current_a else replace(stay, current_a=limit.current_a)


def _stops_on(household: Household, trip: Outing) -> list[tuple[Stop, tuple[int, int]]]:
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
