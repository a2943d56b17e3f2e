"""The calendar of a rate sheet: what season and kind of day each date is, and whether every minute has its period."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache
from itertools import product
from typing import TYPE_CHECKING, Any, TypeVar, overload

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray, day_of_number
from chargeplan.tariff.called import CalledDays
from chargeplan.tariff.day_table import MINUTES, DayTable, PeriodHours
from chargeplan.tariff.holiday_set import HolidaySet
from chargeplan.tariff.seasons import CYCLE_FIRST, CYCLE_LAST, CYCLE_YEARS, NOTHING, SEVERAL, Seasons, month_and_day
from chargeplan.tariff.windows import Window, kind_key

if TYPE_CHECKING:
    from chargeplan.tariff.sheet_clock import SheetClock

__all__ = [
    "MINUTES", "NOTHING", "SEVERAL", "Calendar", "DayTable", "Fault", "PeriodHours", "Seasons", "find_fault",
]  # fmt: skip

#: A pattern, or an array of them.
PatternT = TypeVar("PatternT", int, IntArray)


@dataclass(frozen=True, eq=False)
class Calendar:
    """Seasons, holidays and called days together.

    Parameters
    ----------
    seasons : Seasons
        The seasons of the hours.
    holidays : HolidaySet
        The holidays.
    called : tuple of CalledDays
        Kinds of days that somebody calls.
    price_seasons : Seasons, optional
        The seasons of the prices, where they are not those of the hours.
    bill_day : int, optional
        Day of the month, 1 to 28, on which the meter is read, where the season of a price is that of
        the bill.

    Examples
    --------
    >>> from chargeplan.clock import day_number
    >>> calendar = Calendar(Seasons.build({}), HolidaySet(), (CalledDays("critical", frozenset({date(2026, 1, 14)})),))
    >>> wednesday = day_number(date(2026, 1, 14))
    >>> [calendar.called_of(int(pattern)) for pattern in calendar.patterns(wednesday, wednesday + 1)]
    [('critical',), ()]
    """

    seasons: Seasons
    holidays: HolidaySet
    called: tuple[CalledDays, ...] = ()
    price_seasons: Seasons | None = None
    bill_day: int | None = None

    def as_known(self, now_s: int, clock: SheetClock) -> Calendar:
        """Give the calendar as it is known at an instant; see `CalledDays.as_known`."""
        return replace(self, called=tuple(kind.as_known(now_s, clock, foresight=False) for kind in self.called))

    def patterns(self, first: int, last: int) -> IntArray:
        """Give the pattern of every date of a span.

        Parameters
        ----------
        first, last : int
            Day numbers, both included.

        Returns
        -------
        int64 array, shape (last - first + 1,)
            ``(season * 7 + weekday) * kinds + flags``; the weekday is the one whose hours count. The
            last bit of the flags is for holidays, the others for the kinds of called days in order.
            The methods of the calendar take a pattern apart again.
        """
        return _patterns(self, first, last).copy()

    @property
    def kinds(self) -> int:
        """Number of kinds of days by holidays and calls: 2 without called days, 4 with one kind of them."""
        return 2 << len(self.called)

    def season_of(self, pattern: PatternT) -> PatternT:
        """Take the position of the season out of a pattern, or of an array of them."""
        season: PatternT = pattern // (7 * self.kinds)
        return season

    def weekday_of(self, pattern: PatternT) -> PatternT:
        """Take the day of the week whose hours count, 0 for Monday, out of a pattern, or of an array of them."""
        weekday: PatternT = pattern // self.kinds % 7
        return weekday

    @overload
    def is_holiday(self, pattern: int) -> bool: ...
    @overload
    def is_holiday(self, pattern: IntArray) -> NDArray[np.bool_]: ...
    def is_holiday(self, pattern: int | IntArray) -> bool | NDArray[np.bool_]:
        """Tell whether a pattern, or which of an array of them, is of a holiday."""
        return pattern % 2 == 1

    @overload
    def called_of(self, pattern: int) -> tuple[str, ...]: ...
    @overload
    def called_of(self, pattern: IntArray) -> NDArray[np.object_]: ...
    def called_of(self, pattern: int | IntArray) -> Any:
        """Name the kinds of called days of a pattern, or of an array of them: a tuple, or an array of tuples."""
        names = np.empty(self.kinds // 2, dtype=object)
        for flags in range(names.size):
            names[flags] = tuple(kind.name for bit, kind in enumerate(self.called) if flags >> bit & 1)
        return names[pattern % self.kinds // 2]

    def price_season(self, first: int, last: int) -> IntArray:
        """Give the season by which the kWh of every date of a span are priced.

        Parameters
        ----------
        first, last : int
            Day numbers, both included.

        Returns
        -------
        int64 array, shape (last - first + 1,)
            Position in the names of `price_seasons`, or of `seasons` without those. With `bill_day`
            it is the season of the next day after the date on which the meter is read.

        Examples
        --------
        >>> from chargeplan.clock import day_number
        >>> from chargeplan.tariff.seasons import season_days
        >>> summer = Seasons.build({"summer": season_days("Jun - Sep"), "winter": None})
        >>> may = day_number(date(2026, 5, 14))
        >>> Calendar(summer, HolidaySet(), bill_day=15).price_season(may, may + 2).tolist()
        [1, 0, 0]
        """
        return _price_season(self, first, last).copy()

    def periods_in_price_season(self, table: DayTable) -> list[set[int]]:
        """List the periods that can occur in each price season.

        Parameters
        ----------
        table : DayTable
            A table built with the seasons and called days of this calendar.

        Returns
        -------
        list of set of int
            For every price season the positions of periods in the table. A period counts if it
            occurs in a season of the hours that shares a date of 2024 to 2051 with the price season.

        Examples
        --------
        >>> plain = Calendar(Seasons.build({}), HolidaySet())
        >>> plain.periods_in_price_season(DayTable.build({"all hours": None}, plain.seasons))
        [{0}]
        """
        seasons, prices = self.seasons.names, (self.price_seasons or self.seasons).names
        found: list[set[int]] = [set() for _ in prices or ("",)]
        if self.price_seasons is None and self.bill_day is None:
            return [table.in_season(season) for season in range(len(found))]
        pairs = np.stack([self.price_season(CYCLE_FIRST, CYCLE_LAST), self.seasons.codes(CYCLE_FIRST, CYCLE_LAST)])
        in_season = [table.in_season(season) for season in range(max(1, len(seasons)))]
        for price, season in np.unique(pairs[:, pairs.min(axis=0) >= 0], axis=1).T:
            found[price] |= in_season[season]
        return found


@lru_cache(maxsize=256)
def _patterns(calendar: Calendar, first: int, last: int) -> IntArray:
    weekday, holiday = calendar.holidays.day_types(first, last)
    flags = holiday.astype(np.int64)
    for bit, kind in enumerate(calendar.called):
        flags |= kind.mask(first, last).astype(np.int64) << (bit + 1)
    pattern: IntArray = (calendar.seasons.codes(first, last) * 7 + weekday) * calendar.kinds + flags
    return pattern


@lru_cache(maxsize=256)
def _price_season(calendar: Calendar, first: int, last: int) -> IntArray:
    seasons = calendar.price_seasons or calendar.seasons
    if calendar.bill_day is None:
        return seasons.codes(first, last)
    day_of_month = month_and_day(first, last)[1]
    dates = np.arange(first, last + 1, dtype=np.int64).astype("datetime64[D]")
    month = dates.astype("datetime64[M]").astype(np.int64) + (day_of_month >= calendar.bill_day)
    issued = month.astype("datetime64[M]").astype("datetime64[D]").astype(np.int64) + calendar.bill_day - 1
    begin = int(issued[0])
    season: IntArray = seasons.codes(begin, int(issued[-1]))[issued - begin]
    return season


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
    called : tuple of str
        Kinds of called days that the date would have to be for the fault to show.
    """

    day: date
    start: int
    end: int
    periods: tuple[str, ...]
    season: str
    holiday: bool
    called: tuple[str, ...] = ()


def find_fault(calendar: Calendar, table: DayTable, periods: PeriodHours, first: int, last: int | None) -> Fault | None:
    """Check that every minute is in exactly one period.

    Days that nobody has called yet are also looked at as if they were called, one kind at a time, as
    far as the limits of the kind allow it.

    Parameters
    ----------
    calendar : Calendar
        Seasons, holidays and called days.
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
    last = min(first + int(CYCLE_YEARS * 365.25), last if last is not None else first + 10_000_000)
    flat = table.code.reshape(-1, MINUTES)
    bad_rows = flat.min(axis=1) < 0
    found: tuple[int, int, int] | None = None
    for before, own in product(_possible(calendar, first - 1, last - 1), _possible(calendar, first, last)):
        bad_days = np.flatnonzero(bad_rows[table.row(before, own)])
        if bad_days.size and (found is None or bad_days[0] < found[0]):
            found = int(bad_days[0]), int(before[bad_days[0]]), int(own[bad_days[0]])
    if found is None:
        return None
    offset, left, pattern = found
    minutes = flat[table.row(np.array([left]), np.array([pattern]))[0]]
    start = int(np.flatnonzero(minutes < 0)[0])
    kind = minutes[start]
    others = np.flatnonzero(minutes[start:] != kind)
    end = start + int(others[0]) if others.size else MINUTES
    claimed = tuple(name for name, windows in periods.items() if _claims(windows or (), calendar, pattern, left, start))
    seasons = calendar.seasons.names
    return Fault(
        day_of_number(first + offset),
        start,
        end,
        claimed if kind == SEVERAL else (),
        seasons[calendar.season_of(pattern)] if seasons else "",
        calendar.is_holiday(pattern),
        calendar.called_of(pattern),
    )


def _possible(calendar: Calendar, first: int, last: int) -> Iterator[IntArray]:
    """Give the patterns of a span as they are known, then with one kind of called days wherever it may be called."""
    known = calendar.patterns(first, last)
    yield known
    plain = known - known % calendar.kinds + known % 2
    for bit, kind in enumerate(calendar.called):
        yield np.where(kind.allowed(first, last), plain | 2 << bit, plain)


def _claims(windows: Iterable[Window], calendar: Calendar, pattern: int, before: int, minute: int) -> bool:
    def spans(window: Window, of: int, part: int) -> list[tuple[int, int]]:
        season = calendar.seasons.names[calendar.season_of(of)] if calendar.seasons.names else None
        called = frozenset(map(kind_key, calendar.called_of(of)))
        covers = window.covers_day(calendar.weekday_of(of), calendar.is_holiday(of), season, called)
        return window.minutes()[part] if covers else []

    return any(
        start <= minute < end
        for window in windows
        for start, end in (*spans(window, pattern, 0), *spans(window, before, 1))
    )
