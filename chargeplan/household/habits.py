"""Habits: what is usual on which day of the week, and the departures and arrivals that follow from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta

from chargeplan.clock import wall_s
from chargeplan.household.by_day import ByDay
from chargeplan.household.early import Early
from chargeplan.household.preconditioning import UsualPreconditioning

__all__ = ["NO_DEPARTURE", "ByDay", "Habits", "Outing", "outings"]

#: Stands for a day on which the car does not leave.
NO_DEPARTURE = -1


@dataclass(frozen=True)
class Habits:
    """When the car is home, how far it goes, and what it should hold when it leaves.

    Parameters
    ----------
    plug_in : ByDay of int
        Minutes after midnight.
    leave : ByDay of int
        Minutes after midnight; `NO_DEPARTURE` for a day at home.
    distance_km : ByDay of float
        Driven on a day with a departure.
    target, floor : float
        State of charge wanted at departure, and kept for emergencies, as shares.
    early : Early, optional
        How often it leaves sooner.
    preconditioning : UsualPreconditioning, optional
        What it draws to warm or cool itself before it leaves.
    """

    plug_in: ByDay[int]
    leave: ByDay[int]
    distance_km: ByDay[float]
    target: float
    floor: float = 0.0
    early: Early | None = None
    preconditioning: UsualPreconditioning | None = None

    @property
    def uses_holidays(self) -> bool:
        """Tell whether holidays have habits of their own."""
        said = [self.plug_in.holiday, self.leave.holiday, self.distance_km.holiday]
        if self.preconditioning is not None:
            said.append(self.preconditioning.energy_kwh.holiday)
        return any(value is not None for value in said)


@dataclass(frozen=True)
class Outing:
    """A day's time away from home.

    Parameters
    ----------
    day : datetime.date
        The date of departure.
    leave_s, back_s : int
        UTC seconds.
    distance_km : float
        Driven in all.
    """

    day: date
    leave_s: int
    back_s: int
    distance_km: float


def outings(
    habits: Habits, timezone: str, first: date, days: int, is_holiday: Callable[[date], bool] = lambda day: False
) -> list[Outing]:
    """List the times away from home over a span of days.

    Parameters
    ----------
    habits : Habits
        What is usual.
    timezone : str
        Whose wall clock the times are on.
    first : datetime.date
        First date.
    days : int
        How many dates.
    is_holiday : callable
        Tells whether a date is a holiday.

    Returns
    -------
    list of Outing
        In time. The car comes back at the first plug-in time after it has left; a departure that
        would fall into an outing, or on the very minute of its end, is part of it.

    Examples
    --------
    >>> usual = Habits(ByDay((1095,) * 7), ByDay((435,) * 7), ByDay((47.0,) * 7), 0.8)
    >>> [(trip.back_s - trip.leave_s) / 3600 for trip in outings(usual, "America/Denver", date(2026, 11, 25), 2)]
    [11.0, 11.0]
    """
    dates = [first + timedelta(days=n) for n in range(days)]
    # Two dates more, for the return from the last outing.
    back = [
        wall_s(timezone, day, habits.plug_in.on(day.weekday(), is_holiday(day)))
        for day in (first + timedelta(days=n) for n in range(days + 2))
    ]
    result: list[Outing] = []
    for day in dates:
        minute = habits.leave.on(day.weekday(), is_holiday(day))
        if minute == NO_DEPARTURE:
            continue
        leave_s = wall_s(timezone, day, minute)
        if result and leave_s <= result[-1].back_s:
            continue
        back_s = next(arrival for arrival in back if arrival > leave_s)
        result.append(Outing(day, leave_s, back_s, habits.distance_km.on(day.weekday(), is_holiday(day))))
    return result
