"""Which dates are holidays for a rate sheet: open holiday data, own rules, and how they are shifted."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray, day_number, day_of_number
from chargeplan.errors import InputError
from chargeplan.tariff.dates import DayRule, easter_sunday

#: Shift rules found on rate sheets: what happens to a holiday that falls on a weekend.
SHIFTS: Final = (
    "never",
    "sunday to monday",
    "sunday adds monday",
    "nearest weekday",
    "next free weekday",
)


#: The ``holidays`` package knows nothing of later years, and says so by an empty list.
LAST_YEAR: Final = 2100
_THURSDAY: Final = 3  # 1970-01-01


@dataclass(frozen=True)
class HolidaySet:
    """The holidays of one rate sheet.

    Parameters
    ----------
    country, subdivision : str, optional
        ISO 3166 codes understood by the ``holidays`` package.
    categories : tuple of str
        Categories of that package.
    days : tuple of DayRule
        Further holidays.
    without : tuple of DayRule
        Days taken out again: rules before the shift, dates written out with their year after it.
    shift : str
        One of `SHIFTS`. Dates written out with their year are never shifted.
    weekday : int, optional
        The day of the week (0 Monday to 6 Sunday) whose hours a holiday takes; None keeps its own.

    Examples
    --------
    >>> fourth = HolidaySet(days=(DayRule.parse("Jul 4"),), shift="nearest weekday")
    >>> fourth.dates(2026)
    frozenset({datetime.date(2026, 7, 3)})
    """

    country: str | None = None
    subdivision: str | None = None
    categories: tuple[str, ...] = ("public",)
    days: tuple[DayRule, ...] = ()
    without: tuple[DayRule, ...] = ()
    shift: str = "never"
    weekday: int | None = None

    def __bool__(self) -> bool:
        """Tell whether there are holidays at all."""
        return bool(self.country or self.days)

    def dates(self, year: int) -> frozenset[date]:
        """List the holidays of a year, shifted as the sheet says.

        Parameters
        ----------
        year : int
            The calendar year in which the dates lie. A New Year's Day shifted to 31 December
            belongs to the year before.

        Returns
        -------
        frozenset of datetime.date
            The dates.
        """
        if self.country and year > LAST_YEAR:
            raise InputError(f"there is no holiday data for {year}; plan within the years up to {LAST_YEAR}")
        return _shifted_dates(self, year)

    def day_types(self, first: int, last: int) -> tuple[IntArray, NDArray[np.bool_]]:
        """Give the day of the week whose hours count, and whether it is a holiday, for every date of a span.

        Parameters
        ----------
        first, last : int
            Day numbers, both included.

        Returns
        -------
        weekday : int64 array, shape (last - first + 1,)
            0 for Monday to 6 for Sunday; where holidays take the hours of one day of the week, that day.
        holiday : bool array, shape (last - first + 1,)
            Whether the date is a holiday.

        Examples
        --------
        >>> from chargeplan.clock import day_number
        >>> first = day_number(date(2026, 12, 24))
        >>> weekday, holiday = HolidaySet(days=(DayRule.parse("Dec 25"),), weekday=6).day_types(first, first + 2)
        >>> weekday.tolist(), holiday.tolist()
        ([3, 6, 5], [False, True, False])
        """
        weekday: IntArray = (np.arange(first, last + 1, dtype=np.int64) + _THURSDAY) % 7
        holiday = np.zeros(weekday.size, dtype=np.bool_)
        if self:
            years = range(day_of_number(first).year, day_of_number(last).year + 1)
            numbers = [day_number(day) for year in years for day in self.dates(year)]
            holiday[[number - first for number in numbers if first <= number <= last]] = True
            if self.weekday is not None:
                weekday = np.where(holiday, self.weekday, weekday)
        return weekday, holiday


@lru_cache(maxsize=1024)
def _shifted_dates(holiday_set: HolidaySet, year: int) -> frozenset[date]:
    movable: set[date] = set()
    kept: set[date] = set()
    for near in (year - 1, year, year + 1):
        removed = {day for rule in holiday_set.without for day in rule.dates(near)}
        for rule in holiday_set.days:
            (kept if rule.kind == "once" else movable).update(set(rule.dates(near)) - removed)
        if holiday_set.country:
            movable |= (
                country_dates(holiday_set.country, holiday_set.subdivision, holiday_set.categories, near) - removed
            )
    # Easter and Whit Sunday are Sundays every year; no rule means to move them.
    fixed_sundays = {easter_sunday(near) + timedelta(days=n) for near in (year - 1, year, year + 1) for n in (0, 49)}
    result = set(kept)
    for day in sorted(movable):
        result |= {day} if day in fixed_sundays else _shift(day, holiday_set.shift, movable | kept | result)
    result -= {day for rule in holiday_set.without if rule.kind == "once" for day in rule.dates(year)}
    return frozenset(day for day in result if day.year == year)


def _shift(day: date, rule: str, taken: set[date]) -> set[date]:
    saturday, sunday = day.weekday() == 5, day.weekday() == 6
    if rule == "sunday to monday" and sunday:
        return {day + timedelta(days=1)}
    if rule == "sunday adds monday" and sunday:
        return {day, day + timedelta(days=1)}
    if rule == "nearest weekday" and (saturday or sunday):
        return {day + timedelta(days=-1 if saturday else 1)}
    if rule == "next free weekday" and (saturday or sunday):
        moved = day + timedelta(days=1)
        while moved.weekday() > 4 or moved in taken:
            moved += timedelta(days=1)
        return {moved}
    return {day}


@lru_cache(maxsize=1024)
def country_dates(country: str, subdivision: str | None, categories: tuple[str, ...], year: int) -> frozenset[date]:
    """List a country's holidays on the dates the law names, before any shift.

    Parameters
    ----------
    country : str
        ISO 3166 code, for example ``US``.
    subdivision : str or None
        Code of a state or region.
    categories : tuple of str
        Categories of the ``holidays`` package.
    year : int
        Calendar year.

    Returns
    -------
    frozenset of datetime.date
        The dates.

    Raises
    ------
    InputError
        If the country, subdivision or category is not known.

    Examples
    --------
    >>> date(2026, 11, 26) in country_dates("US", None, ("public",), 2026)
    True
    """
    import holidays

    unknown = f"no holiday data for country `{country[:30]}`; write an ISO code such as US, CA or DE"
    if not re.fullmatch("[A-Z]{2}", country):
        # The package would look any other word up among its own functions and classes.
        raise InputError(unknown)
    if not categories:
        raise InputError("no category is given; leave `categories` out for public holidays")
    try:
        # observed=False: which weekday stands in is for the sheet to say, and differs between sheets.
        # expand=False: a look-up of another year would otherwise change the object.
        found = holidays.country_holidays(
            country, subdiv=subdivision, years=year, expand=False, observed=False, categories=categories
        )
    except NotImplementedError:
        supported = holidays.list_supported_countries()
        if country not in supported:
            raise InputError(unknown) from None
        known = ", ".join(supported[country][:12]) or "none"
        known += " ..." if len(supported[country]) > 12 else ""
        raise InputError(
            f"`{subdivision}` is no subdivision of {country} with holiday data; known are {known}"
        ) from None
    except ValueError as error:
        what = f"holiday category not known for {country}: {str(error).rstrip('.')}"
        raise InputError(f"{what}; leave `categories` out for public holidays") from None
    return frozenset(found)
