"""The dates of a span: which day of the week each is, whether it is a holiday, and its times as instants."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from functools import lru_cache
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray, day_number, day_start_s, walls_s
from chargeplan.household.habits import ByDay

BoolArray = NDArray[np.bool_]
ValueT = TypeVar("ValueT", int, float)


def weekdays(first: date, days: int) -> IntArray:
    """Give the day of the week of every date of a span.

    Parameters
    ----------
    first : datetime.date
        First date.
    days : int
        How many dates.

    Returns
    -------
    int64 array, shape (days,)
        0 for Monday to 6 for Sunday.

    Examples
    --------
    >>> weekdays(date(2026, 11, 29), 2).tolist()
    [6, 0]
    """
    # 1970-01-01, day 0, was a Thursday.
    return (np.arange(days, dtype=np.int64) + day_number(first) + 3) % 7


@lru_cache(maxsize=32)
def holidays(first: date, days: int, is_holiday: Callable[[date], bool]) -> BoolArray:
    """Ask for every date of a span whether it is a holiday; the answers are kept for the next household.

    Parameters
    ----------
    first : datetime.date
        First date.
    days : int
        How many dates.
    is_holiday : callable
        Tells it of one date.

    Returns
    -------
    bool array, shape (days,)
        Not to be written to.

    Examples
    --------
    >>> holidays(date(2026, 12, 24), 3, lambda day: day.day == 25).tolist()
    [False, True, False]
    """
    result = np.fromiter((is_holiday(first + timedelta(days=n)) for n in range(days)), np.bool_, count=days)
    result.setflags(write=False)
    return result


def values(by_day: ByDay[ValueT], weekday: IntArray, holiday: BoolArray) -> NDArray[np.float64]:
    """Give the value of every date.

    Parameters
    ----------
    by_day : ByDay
        A value for each day of the week, and perhaps for holidays.
    weekday : int64 array, shape (n,)
        0 for Monday to 6 for Sunday.
    holiday : bool array, shape (n,)
        Whether it is a holiday.

    Returns
    -------
    float array, shape (n,)
        The values.

    Examples
    --------
    >>> values(ByDay((1, 2, 3, 4, 5, 6, 7), 0), np.array([0, 0, 6]), np.array([False, True, False])).tolist()
    [1.0, 0.0, 7.0]
    """
    usual = np.array(by_day.week, dtype=np.float64)[weekday]
    return usual if by_day.holiday is None else np.where(holiday, float(by_day.holiday), usual)


def instants(timezone: str, first: date, minutes: IntArray) -> IntArray:
    """Find the instant of a time of day on every date of a span, as `chargeplan.clock.wall_s` does for one.

    Parameters
    ----------
    timezone : str
        Whose wall clock.
    first : datetime.date
        First date.
    minutes : int64 array, shape (days,)
        Minutes after midnight, 0 to 1440.

    Returns
    -------
    int64 array, shape (days,)
        UTC seconds.

    Examples
    --------
    Across the spring change of 2026 in Denver:

    >>> times_s = instants("America/Denver", date(2026, 3, 7), np.array([420, 420, 420]))
    >>> (np.diff(times_s) / 3600).tolist()
    [23.0, 24.0]
    """
    return walls_s(timezone, day_number(first) + np.arange(minutes.size), minutes)


def hours(timezone: str, first: date, days: int) -> IntArray:
    """List the hours of a span, from its first instant on.

    Parameters
    ----------
    timezone : str
        Whose wall clock.
    first : datetime.date
        First date of the span.
    days : int
        How many dates.

    Returns
    -------
    int64 array, shape (n,)
        UTC seconds of the start of each.

    Examples
    --------
    >>> hours("America/Denver", date(2026, 3, 8), 1).size
    23
    """
    end_s = day_start_s(timezone, first + timedelta(days=days))
    return np.arange(day_start_s(timezone, first), end_s, 3600, dtype=np.int64)
