"""Habits: what is usual on which day of the week, and the departures and arrivals that follow from it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Generic, TypeVar

from chargeplan.clock import wall_s
from chargeplan.errors import InputError
from chargeplan.household.early import Early
from chargeplan.tariff.dates import WEEKDAYS
from chargeplan.tariff.windows import DaySet

ValueT = TypeVar("ValueT", int, float)

#: Stands for a day on which the car does not leave.
NO_DEPARTURE = -1


@dataclass(frozen=True)
class ByDay(Generic[ValueT]):
    """A value for every day of the week, and perhaps another for holidays.

    Parameters
    ----------
    week : tuple of seven values
        Monday to Sunday.
    holiday : value, optional
        The value on holidays, whatever day they fall on.

    Examples
    --------
    >>> ByDay.parse({"weekdays": 435, "weekends": 570}).on(5)
    570
    """

    week: tuple[ValueT, ...]
    holiday: ValueT | None = None

    @classmethod
    def parse(cls, given: ValueT | Mapping[str, ValueT]) -> ByDay[ValueT]:
        """Take one value for all days, or one per set of days.

        Raises
        ------
        InputError
            If a day has no value, or two.
        """
        if not isinstance(given, Mapping):
            return cls((given,) * 7)
        week: dict[int, ValueT] = {}
        holiday: ValueT | None = None
        for words, value in given.items():
            days = DaySet.parse(words)
            for weekday in sorted(days.weekdays):
                if weekday in week:
                    raise InputError(f"{WEEKDAYS[weekday].capitalize()} is given twice; name each day once")
                week[weekday] = value
            if days.holidays:
                holiday = value
        missing = [WEEKDAYS[weekday].capitalize() for weekday in range(7) if weekday not in week]
        if missing:
            raise InputError(f"nothing is said for {', '.join(missing)}; add a line for {missing[0]}")
        return cls(tuple(week[weekday] for weekday in range(7)), holiday)

    def on(self, weekday: int, holiday: bool = False) -> ValueT:
        """Give the value of a day."""
        return self.holiday if holiday and self.holiday is not None else self.week[weekday]


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
    """

    plug_in: ByDay[int]
    leave: ByDay[int]
    distance_km: ByDay[float]
    target: float
    floor: float = 0.0
    early: Early | None = None

    @property
    def uses_holidays(self) -> bool:
        """Tell whether holidays have habits of their own."""
        return any(values.holiday is not None for values in (self.plug_in, self.leave, self.distance_km))


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
