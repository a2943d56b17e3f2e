"""The usual days of a span: when the car leaves and comes back on each date by the habits of the household."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

import numpy as np

from chargeplan.charging.numeric import FloatArray
from chargeplan.clock import IntArray, day_number, wall_s
from chargeplan.errors import InputError
from chargeplan.household.habits import NO_DEPARTURE, ByDay, Habits
from chargeplan.study.span import BoolArray, holidays, instants, values, weekdays
from chargeplan.study.trips import Trip, Trips
from chargeplan.study.unusual import Away

#: So many dates after the span are needed for the return from the last departure in it.
_MORE = 1


@dataclass(frozen=True, eq=False)
class UsualDays:
    """What the habits say of every date of a span.

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
        Tells whether a date is a holiday; asked only if holidays have habits of their own.

    Examples
    --------
    >>> week = Habits(ByDay((1095,) * 7), ByDay((435,) * 5 + (570, -1)), ByDay((47.0,) * 7), 0.8)
    >>> UsualDays(week, "America/Denver", date(2026, 7, 6), 7, lambda day: False).leaves.tolist()
    [True, True, True, True, True, True, False]
    """

    habits: Habits
    timezone: str
    first: date
    days: int
    is_holiday: Callable[[date], bool]

    @cached_property
    def weekday(self) -> IntArray:
        """Day of the week of every date and of the one after the span; 0 for Monday."""
        return weekdays(self.first, self.days + _MORE)

    @cached_property
    def holiday(self) -> BoolArray:
        """Which of these dates are holidays with habits of their own."""
        if not self.habits.uses_holidays:
            return np.zeros(self.days + _MORE, dtype=np.bool_)
        return holidays(self.first, self.days + _MORE, self.is_holiday)

    @cached_property
    def leaves(self) -> BoolArray:
        """On which dates the car leaves, shape (days,)."""
        leaves: BoolArray = values(self.habits.leave, self.weekday, self.holiday)[: self.days] != NO_DEPARTURE
        return leaves

    @cached_property
    def distance_km(self) -> FloatArray:
        """Driven on each date with a departure, shape (days,)."""
        return values(self.habits.distance_km, self.weekday, self.holiday)[: self.days]

    @cached_property
    def start_s(self) -> int:
        """First instant of the span, in UTC seconds."""
        return wall_s(self.timezone, self.first, 0)

    @cached_property
    def end_s(self) -> int:
        """First instant after the span, in UTC seconds."""
        return wall_s(self.timezone, self.first + timedelta(days=self.days), 0)

    def trips(self, leaves: BoolArray, distance_km: FloatArray, kind: IntArray) -> Trips:
        """Make a trip of every date on which the car leaves.

        Parameters
        ----------
        leaves : bool array, shape (days,)
            On which dates; where the habits say nothing, at the time of the next day that has one.
        distance_km : float array, shape (days,)
            Driven on each date.
        kind : int64 array, shape (days,)
            What kind of trip it is.

        Returns
        -------
        Trips
            Each back at the first plug-in time after it has left.
        """
        weekday, holiday = self.weekday, self.holiday
        departures = departure_times(self.habits) if leaves.any() else self.habits.leave
        leave_min = values(departures, weekday, holiday).astype(np.int64)[: self.days]
        leave_s = instants(self.timezone, self.first, np.maximum(leave_min, 0))
        plug_in_min = values(self.habits.plug_in, weekday, holiday).astype(np.int64)
        plug_in_s = np.sort(instants(self.timezone, self.first, plug_in_min))
        # A departure at 24:00 of the last date belongs to the next span.
        chosen = np.flatnonzero(leaves & (leave_s < self.end_s))
        leave_s = leave_s[chosen]
        back_s = plug_in_s[np.searchsorted(plug_in_s, leave_s, side="right")]
        day = day_number(self.first) + chosen
        return Trips(day, leave_s, back_s, distance_km[chosen], kind[chosen])

    def time_away(self, away: Away) -> Trip | None:
        """Make a trip of a time away.

        Parameters
        ----------
        away : Away
            Its dates.

        Returns
        -------
        Trip or None
            From the usual departure on its first date to the first plug-in time on or after its last. None
            if nothing of it lies in the span; if it begins before, the part within, without its distance.
        """
        leave_s = wall_s(self.timezone, away.first, self._on(departure_times(self.habits), away.first))
        back_s = leave_s
        day = away.last
        while back_s <= leave_s:
            back_s = wall_s(self.timezone, day, self._on(self.habits.plug_in, day))
            day += timedelta(days=1)
        if back_s < self.start_s or leave_s >= self.end_s:
            return None
        if leave_s < self.start_s:
            return Trip(day_number(self.first), self.start_s, back_s, 0.0)
        return Trip(day_number(away.first), leave_s, back_s, float(away.distance_km))

    def _on(self, by_day: ByDay[int], day: date) -> int:
        return by_day.on(day.weekday(), by_day.holiday is not None and self.is_holiday(day))


def departure_times(habits: Habits) -> ByDay[int]:
    """Give a time to leave at for every day.

    Parameters
    ----------
    habits : Habits
        What is usual.

    Returns
    -------
    ByDay of int
        Minutes after midnight; on days at home, the time of the next day of the week that has one.

    Raises
    ------
    InputError
        If no day has one.

    Examples
    --------
    >>> departure_times(Habits(ByDay((0,) * 7), ByDay((-1, 435, 435, 435, 435, 570, -1)), ByDay((9.0,) * 7), 1)).week
    (435, 435, 435, 435, 435, 570, 435)
    """
    said = habits.leave.week
    if all(minute == NO_DEPARTURE for minute in said):
        raise InputError("by the habits the car never leaves; give the time of day for at least one day")
    after = [said[day % 7] for day in range(14)]
    week = tuple(next(minute for minute in after[day:] if minute != NO_DEPARTURE) for day in range(7))
    # A holiday at home has the time of the day of the week it falls on.
    return ByDay(week, None if habits.leave.holiday == NO_DEPARTURE else habits.leave.holiday)
