"""The calendar of a rate sheet: which season and day type a date has, and which period a minute is in.

Every date has a *pattern*, one number for its season, its day of the week and whether it is a
holiday. A table of periods is worked out once per pattern and minute, not per slot; a year of slots
is then a look-up.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from math import gcd
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray, day_number, day_of_number
from chargeplan.tariff.dates import MONTH_DAYS
from chargeplan.tariff.holiday_set import HolidaySet
from chargeplan.tariff.windows import Window

MINUTES: Final = 1440
NOTHING: Final = -1
SEVERAL: Final = -2
#: The Gregorian calendar repeats its weekdays after 28 years (within one century).
_CYCLE_YEARS: Final = 28
_THURSDAY: Final = 3  # 1970-01-01

PeriodHours = Mapping[str, tuple[Window, ...] | None]


@dataclass(frozen=True, eq=False)
class Seasons:
    """The seasons of a sheet.

    Parameters
    ----------
    names : tuple of str
        Their names; empty where the sheet has none.
    code : int array, shape (13, 32)
        Position in `names` by month and day; `NOTHING` or `SEVERAL` where that is not one season.
    """

    names: tuple[str, ...]
    code: NDArray[np.int16] = field(repr=False)

    @classmethod
    def build(cls, days: Mapping[str, frozenset[tuple[int, int]] | None]) -> Seasons:
        """Lay the seasons on the days of the year; a season whose days are None takes the rest.

        Examples
        --------
        >>> from chargeplan.tariff.dates import season_days
        >>> int(Seasons.build({"summer": season_days("Jun - Sep"), "winter": None}).code[7, 4])
        0
        """
        code = np.full((13, 32), NOTHING, dtype=np.int16)
        rest = NOTHING
        for position, season in enumerate(days.values()):
            if season is None:
                rest = position
            for month, day in season or ():
                code[month, day] = position if code[month, day] == NOTHING else SEVERAL
        code[code == NOTHING] = rest if days else 0
        return cls(tuple(days), code)

    def fault(self) -> tuple[int, int, int] | None:
        """Find the first day of the year that is in no season, or in several.

        Returns
        -------
        tuple of (month, day, code) or None
            None where every day has exactly one season.
        """
        for month in range(1, 13):
            for day in range(1, MONTH_DAYS[month - 1] + 1):
                if self.code[month, day] < 0:
                    return month, day, int(self.code[month, day])
        return None


@dataclass(frozen=True, eq=False)
class Calendar:
    """Seasons and holidays together.

    Parameters
    ----------
    seasons : Seasons
        The seasons.
    holidays : HolidaySet
        The holidays.
    """

    seasons: Seasons
    holidays: HolidaySet

    def patterns(self, first: int, last: int) -> IntArray:
        """Give the pattern of every date of a span.

        Parameters
        ----------
        first, last : int
            Day numbers, both included.

        Returns
        -------
        int64 array, shape (last - first + 1,)
            ``(season * 7 + weekday) * 2 + holiday``; the weekday is the one whose hours count.
        """
        return _patterns(self, first, last).copy()


@lru_cache(maxsize=256)
def _patterns(calendar: Calendar, first: int, last: int) -> IntArray:
    day = np.arange(first, last + 1, dtype=np.int64)
    stamp = day.astype("datetime64[D]")
    month_start = stamp.astype("datetime64[M]")
    month = month_start.astype(np.int64) % 12 + 1
    day_of_month = (stamp - month_start).astype(np.int64) + 1
    season = calendar.seasons.code[month, day_of_month].astype(np.int64)
    weekday = (day + _THURSDAY) % 7
    holiday = np.zeros(day.size, dtype=np.int64)
    if calendar.holidays:
        years = range(day_of_number(first).year, day_of_number(last).year + 1)
        numbers = [day_number(date) for year in years for date in calendar.holidays.dates(year)]
        holiday[[number - first for number in numbers if first <= number <= last]] = 1
        if calendar.holidays.weekday is not None:
            weekday = np.where(holiday == 1, calendar.holidays.weekday, weekday)
    pattern: IntArray = (season * 7 + weekday) * 2 + holiday
    return pattern


@dataclass(frozen=True, eq=False)
class DayTable:
    """Which of several named periods each minute is in.

    Parameters
    ----------
    names : tuple of str
        Names of the periods.
    code : int16 array, shape (patterns, tails, 1440)
        Position in `names` for a day's pattern, what the day before left over midnight, and the
        minute; `NOTHING` or `SEVERAL` where that is not one period.
    tail : int array, shape (patterns,)
        Which of the second axis a day leaves to the day after it.
    resolution_min : int
        The greatest number of minutes that divides every boundary.
    """

    names: tuple[str, ...]
    code: NDArray[np.int16] = field(repr=False)
    tail: IntArray = field(repr=False)
    resolution_min: int

    @classmethod
    def build(cls, periods: PeriodHours, seasons: Seasons) -> DayTable:
        """Work the periods out for every pattern; a period whose hours are None takes the rest.

        Examples
        --------
        >>> none = Seasons.build({})
        >>> table = DayTable.build({"peak": (Window.parse("16:00-21:00"),), "off-peak": None}, none)
        >>> table.names[table.code[0, 0, 17 * 60]], table.resolution_min
        ('peak', 60)
        """
        season_names: tuple[str | None, ...] = seasons.names or (None,)
        patterns = [
            (season, weekday, bool(holiday)) for season in season_names for weekday in range(7) for holiday in (0, 1)
        ]
        own = np.full((len(patterns), MINUTES), NOTHING, dtype=np.int16)
        tails: dict[tuple[tuple[int, int, int], ...], int] = {(): 0}
        tail = np.zeros(len(patterns), dtype=np.int64)
        boundaries = MINUTES
        rest = NOTHING
        for position, windows in enumerate(periods.values()):
            rest = position if windows is None else rest
            for window in windows or ():
                for start, end in window.hours:
                    boundaries = gcd(boundaries, start, end)
        for number, (season, weekday, holiday) in enumerate(patterns):
            left: list[tuple[int, int, int]] = []
            for position, windows in enumerate(periods.values()):
                for window in windows or ():
                    if window.covers_day(weekday, holiday, season):
                        same_day, day_after = window.minutes()
                        for span in same_day:
                            _lay(own[number], position, span)
                        left += [(position, *span) for span in day_after]
            tail[number] = tails.setdefault(tuple(left), len(tails))
        code = np.repeat(own[:, None, :], len(tails), axis=1)
        for left_over, number in tails.items():
            for position, start, end in left_over:
                _lay(code[:, number], position, (start, end))
        code[code == NOTHING] = rest
        return cls(tuple(periods), code, tail, boundaries)

    def rows(self, patterns: IntArray) -> IntArray:
        """Find the row of the flattened table for each day but the first of a run of days.

        Parameters
        ----------
        patterns : int64 array, shape (n + 1,)
            Patterns of consecutive dates, from the day before the first.

        Returns
        -------
        int64 array, shape (n,)
            Positions in ``code.reshape(-1, 1440)``.
        """
        rows: IntArray = patterns[1:] * self.code.shape[1] + self.tail[patterns[:-1]]
        return rows

    def in_season(self, season: int) -> set[int]:
        """List the periods that occur in a season."""
        return {int(code) for code in np.unique(self.code[season * 14 : season * 14 + 14]) if code >= 0}


def _lay(rows: NDArray[np.int16], position: int, span: tuple[int, int]) -> None:
    part = rows[..., span[0] : span[1]]
    part[...] = np.where((part == NOTHING) | (part == position), position, SEVERAL)


@dataclass(frozen=True)
class Fault:
    """The first local hours that are in no period, or in several.

    Parameters
    ----------
    day : datetime.date
        The date.
    start, end : int
        Minutes after midnight.
    periods : tuple of str
        The periods that claim them; empty for a gap.
    season : str
        The season of the date, or an empty text.
    holiday : bool
        Whether it is a holiday.
    """

    day: date
    start: int
    end: int
    periods: tuple[str, ...]
    season: str
    holiday: bool


def find_fault(calendar: Calendar, table: DayTable, periods: PeriodHours, first: int, last: int | None) -> Fault | None:
    """Check that every minute is in exactly one period.

    Parameters
    ----------
    calendar : Calendar
        Seasons and holidays.
    table : DayTable
        The periods worked out.
    periods : mapping
        The hours they were worked out from.
    first, last : int
        Day numbers between which to look; without a last one, 28 years.

    Returns
    -------
    Fault or None
        The first hours, in time, that are wrong.
    """
    if int(table.code.min()) >= 0:
        return None
    last = min(first + int(_CYCLE_YEARS * 365.25), last if last is not None else first + 10_000_000)
    patterns = calendar.patterns(first - 1, last)
    rows = table.rows(patterns)
    flat = table.code.reshape(-1, MINUTES)
    bad_rows = flat.min(axis=1) < 0
    bad_days = np.flatnonzero(bad_rows[rows])
    if not bad_days.size:
        return None
    offset = int(bad_days[0])
    minutes = flat[rows[offset]]
    start = int(np.flatnonzero(minutes < 0)[0])
    kind = minutes[start]
    others = np.flatnonzero(minutes[start:] != kind)
    end = start + int(others[0]) if others.size else MINUTES
    pattern, before = int(patterns[offset + 1]), int(patterns[offset])
    claimed = tuple(
        name for name, windows in periods.items() if _claims(windows or (), calendar, pattern, before, start)
    )
    seasons = calendar.seasons.names
    season = seasons[pattern // 14] if seasons else ""
    return Fault(
        day_of_number(first + offset), start, end, claimed if kind == SEVERAL else (), season, bool(pattern % 2)
    )


def _claims(windows: Iterable[Window], calendar: Calendar, pattern: int, before: int, minute: int) -> bool:
    def spans(window: Window, of: int, part: int) -> list[tuple[int, int]]:
        season = calendar.seasons.names[of // 14] if calendar.seasons.names else None
        return window.minutes()[part] if window.covers_day(of // 2 % 7, bool(of % 2), season) else []

    return any(
        start <= minute < end
        for window in windows
        for start, end in (*spans(window, pattern, 0), *spans(window, before, 1))
    )
