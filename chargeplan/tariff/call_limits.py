"""Which days somebody may call, and how many: on which days of the week, in which season, on which days never."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray, day_number, day_of_number
from chargeplan.errors import InputError
from chargeplan.tariff.dates import DayRule
from chargeplan.tariff.holiday_set import HolidaySet
from chargeplan.tariff.seasons import SeasonDays
from chargeplan.tariff.windows import EVERY_DAY, NO_DAYS, DaySet

BoolArray = NDArray[np.bool_]

_EXCEPT = re.compile(r"\s+except\s+", re.IGNORECASE)
_DAYS = re.compile(r"(\d{1,3})(?:\s+days?)?\Z", re.IGNORECASE | re.ASCII)
#: A season that does not last all year begins at most so many days before any of its days.
_LONGEST_SEASON: Final = 367
_NEVER: Final = -(2**40)


@dataclass(frozen=True)
class CallLimits:
    """Which days may be called, and how many.

    Parameters
    ----------
    on, except_ : DaySet
        Days of the week that may be called, and days taken out again.
    season : SeasonDays, optional
        The part of the year in which days may be called.
    never_on : tuple of DayRule
        Days that are not called.
    at_most : int, optional
        How many days may be called in a calendar year, or in one span of the season where there is one.
    on_text, season_text : str
        As written.
    """

    on: DaySet = EVERY_DAY
    except_: DaySet = NO_DAYS
    season: SeasonDays | None = None
    never_on: tuple[DayRule, ...] = ()
    at_most: int | None = None
    on_text: str = ""
    season_text: str = ""

    @classmethod
    def parse(
        cls,
        only_on: str | None = None,
        only_in: str | SeasonDays | None = None,
        never_on: Sequence[str | DayRule] = (),
        at_most: str | int | None = None,
        season_text: str | None = None,
    ) -> CallLimits:
        """Read the limits.

        Parameters
        ----------
        only_on : str, optional
            Days such as ``weekdays except holidays``.
        only_in : str or SeasonDays, optional
            Days of a season, such as ``Dec 1 - Mar 31``.
        never_on : sequence of str or DayRule
            Days such as ``Dec 24`` or ``Good Friday``.
        at_most : str or int, optional
            How many days, as in ``33 days`` or 33.
        season_text : str, optional
            What to call `only_in` in messages, where it is not text.

        Returns
        -------
        CallLimits
            The limits.

        Raises
        ------
        InputError
            If a text cannot be read, or the number is none.

        Examples
        --------
        >>> limits = CallLimits.parse("weekdays except holidays", at_most="33 days")
        >>> limits.except_.holidays, limits.at_most
        (True, 33)
        """
        days = _EXCEPT.split(only_on.strip()) if only_on is not None else []
        if len(days) > 2:
            raise InputError(f"`except` comes twice in `{str(only_on).strip()[:60]}`; join the days by commas")
        rules = tuple(rule if isinstance(rule, DayRule) else DayRule.parse(rule) for rule in never_on)
        return cls(
            DaySet.parse(days[0]) if days else EVERY_DAY,
            DaySet.parse(days[1]) if days[1:] else NO_DAYS,
            SeasonDays.parse(only_in) if isinstance(only_in, str) else only_in,
            rules,
            None if at_most is None else _days(at_most),
            (only_on or "").strip(),
            (only_in if isinstance(only_in, str) else season_text or "").strip(),
        )

    @property
    def uses_holidays(self) -> bool:
        """Whether the limits speak of holidays."""
        return self.on.holidays or self.except_.holidays

    def reasons(
        self, first: int, last: int, holidays: HolidaySet, timezone: str | None
    ) -> tuple[BoolArray, BoolArray, BoolArray]:
        """Tell for every date of a span which limits it keeps.

        Parameters
        ----------
        first, last : int
            Day numbers, both included.
        holidays : HolidaySet
            The holidays of the sheet.
        timezone : str or None
            The zone that a season of daylight time follows.

        Returns
        -------
        on, season, never : bool array, shape (last - first + 1,)
            Whether the day of the week fits, whether the season does, and whether the date is one
            of those never called.

        Examples
        --------
        >>> limits = CallLimits.parse("weekdays", never_on=["Jan 1"])
        >>> [reason.tolist() for reason in limits.reasons(0, 2, HolidaySet(), None)]  # from Thursday, 1970-01-01
        [[True, True, False], [True, True, True], [True, False, False]]
        """
        weekday, holiday = (holidays if self.on_text else HolidaySet()).day_types(first, last)
        on = _among(self.on, weekday, holiday) & ~_among(self.except_, weekday, holiday)
        season = np.ones(on.size, np.bool_) if self.season is None else self.season.mask(first, last, timezone)
        never = np.zeros(on.size, np.bool_)
        for year in range(day_of_number(first).year, day_of_number(last).year + 1):
            for number in (day_number(day) for rule in self.never_on for day in rule.dates(year)):
                if first <= number <= last:
                    never[number - first] = True
        return on, season, never

    def counted_from(self, first: int, last: int, timezone: str | None) -> IntArray:
        """Give for every date the first day of the year, or of the span of the season, in which days are counted.

        Parameters
        ----------
        first, last : int
            Day numbers, both included.
        timezone : str or None
            The zone that a season of daylight time follows.

        Returns
        -------
        int64 array, shape (last - first + 1,)
            Day numbers; outside the season, and where the season lasts all year, of 1 January.

        Examples
        --------
        >>> from datetime import date
        >>> winter, march = CallLimits.parse(None, "Dec 1 - Mar 31"), day_number(date(2026, 3, 31))
        >>> [day_of_number(number).isoformat() for number in winter.counted_from(march, march + 1, None)]
        ['2025-12-01', '2026-01-01']
        """
        years = np.arange(first, last + 1).astype("datetime64[D]").astype("datetime64[Y]")
        begins: IntArray = years.astype("datetime64[D]").astype(np.int64)
        if self.season is None:
            return begins
        inside = self.season.mask(first - _LONGEST_SEASON, last, timezone)
        numbers = np.arange(first - _LONGEST_SEASON, last + 1)
        begun = np.where(np.r_[False, inside[1:] & ~inside[:-1]], numbers, _NEVER)
        starts = np.maximum.accumulate(begun)[_LONGEST_SEASON:]
        return np.where((starts > _NEVER) & inside[_LONGEST_SEASON:], starts, begins)


def _days(value: str | int) -> int:
    match = _DAYS.match(str(value).strip())
    if match is None or not 1 <= int(match[1]) <= 366:
        raise InputError(f"`{str(value)[:40]}` is no number of days to call; write for example 33 days")
    return int(match[1])


def _among(days: DaySet, weekday: IntArray, holiday: BoolArray) -> BoolArray:
    return np.isin(weekday, sorted(days.weekdays)) | (holiday & days.holidays)
