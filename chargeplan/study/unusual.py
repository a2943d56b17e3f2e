"""What is not usual: long trips on some days, and times away from home."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.charging.numeric import check_number
from chargeplan.errors import InputError
from chargeplan.study.draws import Seed, days_of_year, draws_of_year
from chargeplan.study.span import holidays, weekdays
from chargeplan.tariff.windows import DaySet

#: The purpose of the random numbers that choose the days of long trips.
_LONG_TRIPS: Final = 2


@dataclass(frozen=True)
class LongTrips:
    """Days, chosen at random, on which the car goes far.

    Parameters
    ----------
    per_year : float
        How many in every calendar year; 2.5 means two or three, each as often.
    distance_km : float
        What is driven at least on such a day, there and back.
    days : DaySet or str
        Of which days they are chosen; text is read by `DaySet.parse`.

    Raises
    ------
    InputError
        If a number cannot be, or the text names no days.

    Examples
    --------
    >>> LongTrips(6, 400.0, "Fri and holidays").day_set.holidays
    True
    """

    per_year: float
    distance_km: float
    days: DaySet | str = "weekends"

    def __post_init__(self) -> None:
        check_number("per_year", self.per_year, at_least=0, at_most=366, remedy="write how many a year, like 6")
        check_number("distance_km", self.distance_km, at_least=0, remedy="write kilometres there and back, like 400")
        if self.day_set.called:
            raise InputError("days that are called cannot be days of long trips; name days of the week or holidays")

    @cached_property
    def day_set(self) -> DaySet:
        """The days of which they are chosen."""
        return DaySet.parse(self.days) if isinstance(self.days, str) else self.days

    def chosen(self, first: date, days: int, is_holiday: Callable[[date], bool], seed: Seed) -> NDArray[np.bool_]:
        """Choose the dates; every calendar year has its own, wherever the span begins and ends.

        Parameters
        ----------
        first : datetime.date
            First date of the span.
        days : int
            How many dates, at least 1.
        is_holiday : callable
            Tells whether a date is a holiday; asked only if holidays are among the days.
        seed : int or tuple of int
            Same seed, same dates.

        Returns
        -------
        bool array, shape (days,)
            Which dates have a long trip.

        Raises
        ------
        InputError
            If a year has fewer such days than trips.

        Examples
        --------
        >>> trips = LongTrips(6, 400.0)
        >>> int(trips.chosen(date(2026, 1, 1), 365, lambda day: False, seed=1).sum())
        6
        """
        years = range(first.year, (first + timedelta(days=days - 1)).year + 1)
        chosen = np.concatenate([self._of_year(year, is_holiday, seed) for year in years])
        begin = first.timetuple().tm_yday - 1
        return chosen[begin : begin + days]

    def _of_year(self, year: int, is_holiday: Callable[[date], bool], seed: Seed) -> NDArray[np.bool_]:
        first, days = date(year, 1, 1), days_of_year(year)
        able = np.isin(weekdays(first, days), list(self.day_set.weekdays))
        if self.day_set.holidays:
            able |= holidays(first, days, is_holiday)
        # The number behind those of the dates decides on the part of a trip.
        draws = draws_of_year(seed, _LONG_TRIPS, year, 367)
        count = int(self.per_year) + int(draws[366] < self.per_year % 1)
        if count > able.sum():
            raise InputError(f"{year} has {able.sum()} days for {self.per_year:g} long trips; ask for fewer")
        result = np.zeros(days, dtype=np.bool_)
        result[np.argsort(np.where(able, draws[:days], 1.0), kind="stable")[:count]] = True
        return result


@dataclass(frozen=True)
class Away:
    """Days on which car and people are away: one journey.

    Parameters
    ----------
    first, last : datetime.date
        The car leaves on the first at the usual time, and is plugged in again on the last.
    distance_km : float
        Driven in all, there and back.

    Raises
    ------
    InputError
        If the last date is before the first, or the distance cannot be.

    Examples
    --------
    >>> Away(date(2026, 7, 11), date(2026, 7, 24), 900.0).distance_km
    900.0
    """

    first: date
    last: date
    distance_km: float = 0.0

    def __post_init__(self) -> None:
        if self.last < self.first:
            raise InputError(f"the time away from {self.first} to {self.last} ends before it begins; swap the dates")
        check_number("distance_km", self.distance_km, at_least=0, remedy="write kilometres there and back, like 900")
