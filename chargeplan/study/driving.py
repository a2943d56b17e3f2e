"""A year of driving: the journeys that follow from what is usual, how much days differ, and what is not usual."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from functools import cached_property
from itertools import pairwise
from typing import Final

import numpy as np

from chargeplan.charging.numeric import FloatArray, check_number
from chargeplan.clock import IntArray, day_start_s
from chargeplan.errors import InputError
from chargeplan.household.habits import NO_DEPARTURE, ByDay, Habits
from chargeplan.study.cold import Cold
from chargeplan.study.draws import Seed, draws_by_date, varied
from chargeplan.study.trips import AWAY, LONG_TRIP, USUAL, Trips
from chargeplan.study.unusual import Away, LongTrips
from chargeplan.study.usual import UsualDays

#: Purposes of random numbers; the third is that of long trips.
_DISTANCE: Final = 0
_STAYS_HOME: Final = 1
#: Which distances may be said here, for which days of the week, and those days in words.
_PARTS: Final = (("weekday_km", range(5), "Monday to Friday"), ("weekend_km", range(5, 7), "Saturday to Sunday"))

__all__ = ["AWAY", "LONG_TRIP", "USUAL", "Away", "Driving", "Journeys", "LongTrips"]


@dataclass(frozen=True, eq=False)
class Journeys:
    """Times away from home, in order of time, not overlapping.

    Parameters
    ----------
    timezone : str
        The household's time zone.
    first : datetime.date
        First date of the span, which is whole days of the household's wall clock.
    days : int
        How many dates the span has.
    day : int64 array, shape (n,)
        Day number (`chargeplan.clock.day_number`) of each departure.
    leave_s, back_s : int64 arrays, shape (n,)
        UTC seconds. The last one may be back after the end of the span.
    distance_km : float array, shape (n,)
        Driven in all.
    factor : float array, shape (n,)
        Consumption relative to the usual; 1 is usual.
    kind : int64 array, shape (n,)
        `USUAL`, `LONG_TRIP` or `AWAY`.

    Raises
    ------
    InputError
        If a journey ends before it begins, overlaps the next one, or leaves outside the span.

    Examples
    --------
    >>> one = np.array([1])
    >>> trip = Journeys("UTC", date(1970, 1, 2), 1, one, one * 100_000, one * 120_000, one * 30.0, one * 1.0, one * 0)
    >>> trip.start_s, trip.end_s, len(trip)
    (86400, 172800, 1)
    """

    timezone: str
    first: date
    days: int
    day: IntArray = field(repr=False)
    leave_s: IntArray = field(repr=False)
    back_s: IntArray = field(repr=False)
    distance_km: FloatArray = field(repr=False)
    factor: FloatArray = field(repr=False)
    kind: IntArray = field(repr=False)

    def __post_init__(self) -> None:
        arrays = (self.day, self.leave_s, self.back_s, self.distance_km, self.factor, self.kind)
        if len({array.shape for array in arrays}) > 1 or self.day.ndim != 1:
            raise InputError("the arrays of the journeys differ in length; give one value per journey")
        if not np.all(self.leave_s < self.back_s) or not np.all(self.back_s[:-1] <= self.leave_s[1:]):
            raise InputError("journeys overlap or are not in order; give each one its departure before its return")
        if len(self) and not self.start_s <= self.leave_s[0] <= self.leave_s[-1] < self.end_s:
            raise InputError("a journey leaves outside the span of days; widen the span")
        for name, values in (("distance", self.distance_km), ("factor", self.factor)):
            if not np.all(np.isfinite(values) & (values >= 0)):
                raise InputError(f"the {name} of a journey is missing or negative; give 0 or more for each")
        for array in arrays:
            array.setflags(write=False)

    def __len__(self) -> int:
        return self.day.size

    @cached_property
    def start_s(self) -> int:
        """First instant of the span, in UTC seconds."""
        return day_start_s(self.timezone, self.first)

    @cached_property
    def end_s(self) -> int:
        """First instant after the span, in UTC seconds."""
        return day_start_s(self.timezone, self.first + timedelta(days=self.days))


@dataclass(frozen=True)
class Driving:
    """How the car is driven over a year, on top of the household's habits.

    The habits say at which times the car leaves and comes back; they also say how far it goes on
    which day, unless that is said here.

    Parameters
    ----------
    weekday_km, weekend_km : float, optional
        Driven on a day with a departure, Monday to Friday and Saturday to Sunday, instead of what the
        habits say; 0 means that the car stays at home. A distance that the habits give for holidays stays.
    spread : float
        Coefficient of variation of a day's distance: its standard deviation over its mean, the mean being
        what is usual.
    scale : float
        Factor on every distance, long trips and times away included; the draws stay the same.
    stays_home : float
        Share of the usual departures that do not take place.
    long_trips : LongTrips, optional
        Days on which the car goes far.
    away : tuple of Away
        Days on which car and people are away.
    cold : Cold, optional
        How much more the car uses when it is cold.

    Raises
    ------
    InputError
        If a number cannot be, or two times away share a date.

    Examples
    --------
    >>> usual = Habits(ByDay((1095,) * 7), ByDay((435,) * 7), ByDay((47.0,) * 7), 0.8)
    >>> year = Driving(spread=0.6).journeys(usual, "America/Denver", date(2026, 1, 1), 365, seed=1)
    >>> len(year), bool(40 < year.distance_km.mean() < 54)
    (365, True)
    """

    weekday_km: float | None = None
    weekend_km: float | None = None
    spread: float = 0.0
    scale: float = 1.0
    stays_home: float = 0.0
    long_trips: LongTrips | None = None
    away: tuple[Away, ...] = ()
    cold: Cold | None = None

    def __post_init__(self) -> None:
        for name in ("weekday_km", "weekend_km"):
            if getattr(self, name) is not None:
                check_number(name, getattr(self, name), at_least=0, remedy="write kilometres, like 47")
        check_number("spread", self.spread, at_least=0, at_most=5, remedy="write 0 to 5, like 0.6")
        check_number("scale", self.scale, at_least=0, remedy="write a factor of 0 or more, like 1.2")
        check_number("stays_home", self.stays_home, at_least=0, at_most=1, remedy="write a share from 0 to 1")
        in_order = sorted(self.away, key=lambda away: away.first)
        for one, other in pairwise(in_order):
            if other.first <= one.last:
                raise InputError(f"two times away share {other.first}; make one of them, or change a date")

    def journeys(
        self,
        habits: Habits,
        timezone: str,
        first: date,
        days: int,
        is_holiday: Callable[[date], bool] = lambda day: False,
        *,
        seed: Seed = 0,
    ) -> Journeys:
        """Work out the journeys of a span of days.

        Parameters
        ----------
        habits : Habits
            What is usual.
        timezone : str
            Whose wall clock the times are on.
        first : datetime.date
            First date.
        days : int
            How many dates, at least 1.
        is_holiday : callable
            Tells whether a date is a holiday; asked only if that makes a difference.
        seed : int or tuple of int
            Same seed, same draws; those of a date depend neither on the span nor on anything else.

        Returns
        -------
        Journeys
            The car is at home when the span begins, unless it is away then; the distance of such a time
            away belongs to the span in which it began, and is 0 here. A departure that would fall into a
            journey, or on the very minute of its end, is part of it.

        Raises
        ------
        InputError
            If the span or the time zone cannot be, or if there is no usual time to leave at.

        Examples
        --------
        A week of 47 km a day with a journey from Wednesday to Friday:

        >>> usual = Habits(ByDay((1095,) * 7), ByDay((435,) * 7), ByDay((47.0,) * 7), 0.8)
        >>> driving = Driving(away=(Away(date(2026, 7, 8), date(2026, 7, 10), 900.0),))
        >>> driving.journeys(usual, "America/Denver", date(2026, 7, 6), 7).distance_km.tolist()
        [47.0, 47.0, 900.0, 47.0, 47.0]
        """
        if isinstance(days, bool) or not isinstance(days, (int, np.integer)) or days < 1:
            raise InputError(f"a span of {days!r} days cannot be; give a whole number of days, at least 1")
        usual = UsualDays(self._stated(habits), timezone, first, int(days), is_holiday)
        trips = self._by_day(usual, seed)
        times_away = [trip for away in self.away if (trip := usual.time_away(away)) is not None]
        for time_away in times_away:
            trips = trips.without(time_away)
        trips = trips.settled()
        for time_away in times_away:
            trips = trips.around(time_away)
        day, factor = trips.day, np.ones(trips.day.size)
        if self.cold is not None:
            factor = self.cold.factor(day)
        distance_km = trips.distance_km * self.scale
        return Journeys(timezone, first, int(days), day, trips.leave_s, trips.back_s, distance_km, factor, trips.kind)

    def _stated(self, habits: Habits) -> Habits:
        """Put the distances that are said here in the place of those of the habits."""
        week = list(habits.distance_km.week)
        for name, part, in_words in _PARTS:
            said_km = getattr(self, name)
            if said_km is None:
                continue
            if said_km > 0 and all(habits.leave.week[day] == NO_DEPARTURE for day in part):
                what = f"{name} is {said_km:g}, but by the habits the car stays at home from {in_words}"
                raise InputError(f"{what}; say in the habits when it leaves")
            for day in part:
                week[day] = float(said_km)
        return replace(habits, distance_km=ByDay(tuple(week), habits.distance_km.holiday))

    def _by_day(self, usual: UsualDays, seed: Seed) -> Trips:
        """Draw the trips of all dates as if nobody were ever away."""
        first, days = usual.first, usual.days
        leaves, distance_km = usual.leaves.copy(), usual.distance_km
        for name, part, _ in _PARTS:
            if getattr(self, name) == 0:
                leaves &= ~np.isin(usual.weekday[:days], part)
        if self.stays_home > 0:
            leaves &= draws_by_date(seed, _STAYS_HOME, first, days) >= self.stays_home
        if self.spread > 0:
            distance_km = distance_km * varied(draws_by_date(seed, _DISTANCE, first, days), self.spread)
        kind = np.full(days, USUAL, dtype=np.int64)
        if self.long_trips is not None:
            far = self.long_trips.chosen(first, days, usual.is_holiday, seed)
            # On a day on which it would have stayed at home the car goes just the long way.
            farther_km = np.maximum(np.where(leaves, distance_km, 0.0), self.long_trips.distance_km)
            distance_km, kind = np.where(far, farther_km, distance_km), np.where(far, LONG_TRIP, kind)
            leaves |= far
        return usual.trips(leaves, distance_km, kind)
