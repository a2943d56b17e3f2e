"""From a household to its itinerary, and from that to the cheapest plan."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from math import gcd
from typing import TYPE_CHECKING

import numpy as np

from chargeplan.charging import Limit
from chargeplan.clock import DAY_S, day_of_number, instant_s, local_datetimes, local_seconds, wall_s
from chargeplan.errors import InputError
from chargeplan.household.billed import billed_slots
from chargeplan.household.charger import HOME
from chargeplan.household.habits import Outing, outings
from chargeplan.household.house_use import left_out, mean_power_kept_low, price_at, this_time_alone
from chargeplan.household.household import Household
from chargeplan.household.preconditioning import drawing_less, held_down, lower_currents, most_wanted_kwh
from chargeplan.household.preconditioning_billed import cheapest_of, preconditioning_raises_power
from chargeplan.household.state_of_charge import StateOfCharge, estimated, given
from chargeplan.household.stays import holidays_of, stay_at, stay_at_home, stops_on
from chargeplan.plan.problem import Problem, problem_from
from chargeplan.plan.schedule import Schedule, plan, preconditioning_kwh
from chargeplan.plan.stops import Drive, Itinerary, Stay
from chargeplan.tariff import Tariff
from chargeplan.units import KM_PER_MILE, quantity, time_of_day

if TYPE_CHECKING:
    from chargeplan.plan.bill_slots import BilledSlots

#: Habits repeat weekly, but holidays can take the departures of some weeks in a row.
_LOOK_AHEAD_DAYS = 40
_LOOK_BACK_DAYS = 9
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
        found = self.schedule
        said = left_out(self.household.tariff, self.household.house_use, whole=found.whole_bill, because=found.because)
        alone = this_time_alone(found)
        kept_low = mean_power_kept_low(found, self.household.tariff.currency)
        return (*said, *alone, *kept_low, *held_down(self.itinerary.stays), *hot)

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
        If something given cannot be, or `household` is none.

    Examples
    --------
    >>> from chargeplan.household import load_household
    >>> night = plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00")
    >>> round(night.schedule.total_cost, 2), night.schedule.certificate.optimal
    (2.95, True)
    """
    now_s = _now_s(now, _known(household))
    trips = _outings(household, now_s)
    arrive_s, last = _arrival(household, trips, now_s, plugged_in)
    leave_s = _next_outing(trips, arrive_s).leave_s if leave is None else _departure_s(leave, arrive_s, household)
    wanted = household.habits.target if target is None else _target(target)
    price = price_at(household.tariff, household.house_use, now_s)
    stay = stay_at_home(household, price, (arrive_s, leave_s), wanted)
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
    now_s = _now_s(now, _known(household))
    trips = _outings(household, now_s, days)
    arrive_s, last = _arrival(household, trips, now_s, plugged_in)
    wanted = household.habits.target if target is None else _target(target)
    end_s = max(now_s + DAY_S * days, arrive_s)
    ahead = [trip for trip in trips if arrive_s < trip.leave_s <= end_s]
    ahead = ahead or [_next_outing(trips, arrive_s)]
    stays: list[Stay] = []
    drives: list[Drive] = []
    limits: list[Limit] = []
    price = price_at(household.tariff, household.house_use, now_s)
    for position, trip in enumerate(ahead):
        stays.append(stay_at_home(household, price, (arrive_s, trip.leave_s), wanted))
        limits.append(household.limit)
        if position + 1 == len(ahead):
            break
        stops = stops_on(household, trip)
        leg_km = trip.distance_km / (len(stops) + 1)
        leg = Drive(float(household.vehicle.drive_kwh(leg_km)), leg_km)
        for stop, times in stops:
            drives.append(leg)
            stays.append(stay_at(household, (stop.place, stop.limit, stop.price), times))
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
    if household.charger is not None:
        stays = household.charger.on_stays(household.limit, stays)
    tariffs = [household.tariff, *(stop.price for stop in household.stops if isinstance(stop.price, Tariff))]
    step_min = gcd(15, *(tariff.resolution_min for tariff in tariffs))
    tie_break = household.prefer if prefer is None else prefer

    def billed(stays: list[Stay]) -> tuple[Itinerary, Schedule | None]:
        itinerary = _itinerary(household, stays, drives, soc.share, target)
        return itinerary, _billed(household, itinerary, now_s, step_min=step_min, solver=solver, tie_break=tie_break)

    itinerary, schedule = billed(stays)
    if schedule is not None and preconditioning_raises_power(schedule):
        itinerary, schedule = cheapest_of(
            lower_currents(stays), lambda a: billed(drawing_less(stays, a)), (itinerary, schedule)
        )
    schedule = schedule or plan(itinerary, step_min=step_min, solver=solver, tie_break=tie_break)
    return HouseholdPlan(household, now_s, soc, target, itinerary, schedule, tuple(limits))


def _itinerary(household: Household, stays: list[Stay], drives: list[Drive], soc: float, target: float) -> Itinerary:
    vehicle = household.vehicle
    usable = vehicle.usable_kwh
    # A car that is fuller than the daily limit is not emptied; a higher target was wished for.
    most = max(target, vehicle.daily_limit, soc)
    # What preconditioning takes from the battery comes on top of the target, even where that is the daily limit.
    most = max(most, min(1.0, most_wanted_kwh(stays) / usable))
    taper: list[tuple[float, float]] = []
    if vehicle.taper is not None:
        # The planner counts state of charge from the most the battery may hold, the car from all it can.
        taper = [(float(slope) * most, float(kw)) for slope, kw in zip(*vehicle.taper.segments(), strict=True)]
    return Itinerary(
        level_kwh=soc * usable,
        capacity_kwh=most * usable,
        stays=stays,
        drives=drives,
        floor_kwh=household.habits.floor * usable,
        taper=taper,
    )


def _billed(
    household: Household, itinerary: Itinerary, now_s: int, *, step_min: int, solver: str, tie_break: str
) -> Schedule | None:
    """Plan against the whole bill where the house's use is known and prices by the hour do not say it all."""
    if household.house_use is None:
        return None
    problem = problem_from(itinerary, step_min)
    bills = bills_of(household, itinerary, problem, now_s)
    if not bills:
        return None
    from chargeplan.plan.billed_schedule import plan_billed

    return plan_billed(itinerary, problem, bills, tie_break=tie_break, solver=solver)


def bills_of(household: Household, itinerary: Itinerary, problem: Problem, now_s: int) -> list[BilledSlots]:
    """Give the bills that a plan makes rise, none where prices by the hour say all there is.

    Parameters
    ----------
    household : Household
        Its rate, and what the house uses.
    itinerary, problem : Itinerary, Problem
        What is planned.
    now_s : int
        The present, UTC seconds.

    Returns
    -------
    list of BilledSlots
    """
    if household.house_use is None:
        return []
    home = [stay.place == HOME for stay in itinerary.stays]
    drawn = preconditioning_kwh(itinerary, problem)
    return billed_slots(household.tariff, household.house_use, now_s, problem, home, drawn_kwh=drawn) or []


def _known(household: Household) -> Household:
    """Refuse what is no household, such as the name of its file."""
    if not isinstance(household, Household):
        given = f"`{household[:60]}`" if isinstance(household, str) else f"a {type(household).__name__}"
        name = household[:60] if isinstance(household, str) else "household.yaml"
        raise InputError(f'{given} is no household; write for example load_household("{name}")')
    return household


def _now_s(now: str | datetime | None, household: Household) -> int:
    return int(datetime.now(UTC).timestamp()) if now is None else instant_s(now, household.timezone)


def _outings(household: Household, now_s: int, days: int = 0) -> list[Outing]:
    today = day_of_number(int(local_seconds(household.timezone, np.array([now_s]))[0]) // DAY_S)
    first = today - timedelta(days=_LOOK_BACK_DAYS)
    span = _LOOK_BACK_DAYS + days + _LOOK_AHEAD_DAYS
    return outings(household.habits, household.timezone, first, span, holidays_of(household))


def _next_outing(trips: list[Outing], after_s: int) -> Outing:
    for trip in trips:
        if trip.leave_s > after_s:
            return trip
    raise InputError(f"no departure is due within {_LOOK_AHEAD_DAYS} days; give one with --leave")


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
    if isinstance(leave, str) and not re.match(r"\s*\d{4}-", leave):
        example = f"{int(leave)}:00" if re.fullmatch(r"\s*([01]?\d|2[0-3])\s*", leave) else "06:30"
        remedy = f"write {example}, or 2026-11-26 {example:0>5}"
        raise InputError(f"the departure `{leave[:60]}` is no time of day; {remedy}")
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
