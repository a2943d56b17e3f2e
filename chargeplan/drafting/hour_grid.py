"""A table of twelve months by 24 hours, for weekdays and for weekends, said as seasons and periods with hours."""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final, TypeVar

import numpy as np

from chargeplan.clock import IntArray
from chargeplan.drafting.edges import WHOLE_HOURS, Edges
from chargeplan.errors import InputError
from chargeplan.tariff.calendar_models import MAX_PERIODS, REST
from chargeplan.tariff.dates import MONTHS
from chargeplan.units import clock_text

CellT = TypeVar("CellT", bound=Hashable)
#: Names of the price levels within a season, cheapest first, by how many there are.
LEVELS: Final = {
    1: ("all hours",),
    2: ("off-peak", "peak"),
    3: ("off-peak", "mid-peak", "peak"),
    4: ("super off-peak", "off-peak", "mid-peak", "peak"),
}
_JANUARY, _JULY = 0, 6
#: Spans of hours that one window may join, so that a line stays short enough to be read.
_SPANS_IN_WINDOW: Final = 4
_Row = tuple[int, ...]
_Spans = tuple[tuple[int, int], ...]


@dataclass(frozen=True, eq=False)
class HourGrid:
    """In which period each hour of each month is.

    Parameters
    ----------
    weekday, weekend : int64 array, shape (12, 24)
        Number of the period, from 0; the first row is January, the first column 00:00 to 01:00.
        Saturday and Sunday are the weekend.

    Examples
    --------
    >>> HourGrid.of([[0] * 24] * 12, [[1] * 24] * 12).numbers
    (0, 1)
    """

    weekday: IntArray
    weekend: IntArray

    @classmethod
    def of(cls, weekday: Iterable[Iterable[int]], weekend: Iterable[Iterable[int]]) -> HourGrid:
        """Make a grid from rows; each part must be 12 by 24."""
        parts = [np.array([[*row] for row in rows], dtype=np.int64) for rows in (weekday, weekend)]
        for part in parts:
            if part.shape != (12, 24):
                raise InputError(f"a table of hours has 12 rows of 24, not {' by '.join(map(str, part.shape))}")
        return cls(*parts)

    @property
    def numbers(self) -> tuple[int, ...]:
        """The periods that have hours, in order."""
        return tuple(int(number) for number in np.unique(np.stack([self.weekday, self.weekend])))

    @property
    def boundaries(self) -> frozenset[int]:
        """The hours, 1 to 23, at which the period changes on some day."""
        both = np.vstack([self.weekday, self.weekend])
        return frozenset(int(hour) + 1 for hour in np.flatnonzero((both[:, 1:] != both[:, :-1]).any(axis=0)))

    def in_month(self, month: int) -> tuple[int, ...]:
        """List the periods that have hours in a month, 0 for January."""
        return tuple(sorted({*map(int, self.weekday[month]), *map(int, self.weekend[month])}))


@dataclass(frozen=True)
class GridWords:
    """What a rate sheet says of a grid.

    Parameters
    ----------
    seasons : dict of name to str
        Days of each season, as under ``seasons:``; empty if the year has only one.
    periods : dict of name to list of str
        Hours of each period, as under ``periods:``, or ``["rest"]``; empty if there is only one.
    numbers : dict of (season, period) to int
        Number in the grid of each period in each season in which it has hours. The season is an empty
        text where there are none; the only period of a sheet is ``all hours``.
    months : tuple of str
        Season of each month, January first.
    """

    seasons: dict[str, str]
    periods: dict[str, list[str]]
    numbers: dict[tuple[str, str], int]
    months: tuple[str, ...]

    def table(self, cells: Mapping[int, CellT], *, by_period: bool = True) -> CellT | dict[str, Any]:
        """Lay out what belongs to each number as a price table.

        Parameters
        ----------
        cells : mapping of int to cell
            What to write for each number of the grid.
        by_period : bool
            Whether seasons may be left out where every period has the same in all of them.

        Returns
        -------
        cell or dict
            One cell, cells by period, by season, or by season and in it by period.

        Examples
        --------
        >>> words = grid_words(HourGrid.of([[0] * 24] * 12, [[1] * 24] * 12), {0: 0.3, 1: 0.2})
        >>> words.table({0: "0.30", 1: "0.20"})
        {'peak': '0.30', 'off-peak': '0.20'}
        """
        found = {key: cells[number] for key, number in self.numbers.items()}
        if not self.periods and (len(set(found.values())) == 1):
            return next(iter(found.values()))
        by_name: dict[str, set[CellT]] = {}
        for (_, period), cell in found.items():
            by_name.setdefault(period, set()).add(cell)
        if self.periods and (not self.seasons or (by_period and all(len(kinds) == 1 for kinds in by_name.values()))):
            return {period: next(iter(by_name[period])) for period in self.periods}
        rows: dict[str, Any] = {}
        for season in self.seasons:
            row = {period: found[season, period] for period in self.periods if (season, period) in found}
            rows[season] = row if len(row) > 1 else next(cell for (name, _), cell in found.items() if name == season)
        return rows


def grid_words(
    grid: HourGrid, ranks: Mapping[int, Any], edges: Edges = WHOLE_HOURS, *, july_is_summer: bool = True
) -> GridWords:
    """Say a grid in the words of a rate sheet.

    Months with equal rows are a season. Within each season the periods are named by rank, cheapest
    first, so that the prices read like a printed table; every hour keeps exactly its period.

    Parameters
    ----------
    grid : HourGrid
        The grid.
    ranks : mapping of int to anything that can be compared
        Usually the price of each number; equal ranks are told apart by number.
    edges : tuple of int
        Minutes at which the hours begin; see `parse_edges`.
    july_is_summer : bool
        Whether seasons may be called summer and winter by the months of the north; otherwise they
        are called by their months.

    Returns
    -------
    GridWords
        Seasons, periods, and which number each stands for.

    Raises
    ------
    InputError
        If a month has more periods than a sheet can hold.

    Examples
    --------
    >>> evening = [[0] * 17 + [1] * 4 + [0] * 3] * 12
    >>> words = grid_words(HourGrid.of(evening, [[0] * 24] * 12), {0: 0.1, 1: 0.3})
    >>> words.periods
    {'peak': ['17:00-21:00 on weekdays'], 'off-peak': ['rest']}
    """
    months = _seasons(grid)
    names = _season_names(list(months.values()), july_is_summer)
    rows = dict(zip(names, months, strict=True))
    numbers = _period_names(rows, ranks)
    periods = _hours(rows, numbers, edges)
    days = _season_days(dict(zip(names, months.values(), strict=True)))
    season_of = {month: name for name, season in zip(names, months.values(), strict=True) for month in season}
    return GridWords(days, periods, numbers, tuple(season_of[month] for month in range(12)))


def _seasons(grid: HourGrid) -> dict[tuple[_Row, _Row], list[int]]:
    """Group the months, 0 to 11, by their rows."""
    found: dict[tuple[_Row, _Row], list[int]] = {}
    for month in range(12):
        rows = tuple(map(int, grid.weekday[month])), tuple(map(int, grid.weekend[month]))
        found.setdefault(rows, []).append(month)
    order = sorted(found, key=lambda rows: (_JULY not in found[rows], found[rows][0])) if len(found) == 2 else [*found]
    return {rows: found[rows] for rows in order}


def _season_names(months: list[list[int]], july_is_summer: bool) -> list[str]:
    if len(months) == 1:
        return [""]
    ranges = [_ranges(season, "-") for season in months]
    names = [" ".join(parts) for parts in ranges]
    summer, winter = (next(n for n, season in enumerate(months) if month in season) for month in (_JULY, _JANUARY))
    whole = summer != winter and len(ranges[summer]) == len(ranges[winter]) == 1
    if july_is_summer and len(months) <= 3 and whole:
        names[summer], names[winter] = "summer", "winter"
    return names


def _ranges(months: list[int], dash: str) -> list[str]:
    """Write months as ranges; one may pass New Year."""
    if len(months) == 12:
        return [f"Jan{dash}Dec"]
    starts = [month for month in months if (month - 1) % 12 not in months]
    found = []
    for start in starts:
        end = start
        while (end + 1) % 12 in months:
            end = (end + 1) % 12
        first, last = MONTHS[start].capitalize(), MONTHS[end].capitalize()
        found.append(first if start == end else f"{first}{dash}{last}")
    return found


def _season_days(months: dict[str, list[int]]) -> dict[str, str]:
    if len(months) == 1:
        return {}
    ranges = {name: _ranges(season, " - ") for name, season in months.items()}
    longest = max(ranges, key=lambda name: len(ranges[name]))
    # Several ranges are plainer as the rest, if nothing else is in pieces.
    rest = longest if len(ranges[longest]) > 1 else ""
    return {name: REST if name == rest else ", ".join(parts) for name, parts in ranges.items()}


def _period_names(rows: Mapping[str, tuple[_Row, _Row]], ranks: Mapping[int, Any]) -> dict[tuple[str, str], int]:
    """Name the numbers of each season; a number keeps its name all year if there are names enough."""

    def in_order(numbers: set[int]) -> list[int]:
        return sorted(numbers, key=lambda number: (ranks[number], number))

    used = {season: in_order({*weekday, *weekend}) for season, (weekday, weekend) in rows.items()}
    most = max(map(len, used.values()))
    if most > MAX_PERIODS:
        raise InputError(f"a month has {most} periods; a rate sheet can have {MAX_PERIODS}")
    whole_year = in_order({number for numbers in used.values() for number in numbers})
    if len(whole_year) == most:
        name_of = dict(zip(whole_year, level_names(most, most), strict=True))
        return {(season, name_of[number]): number for season, numbers in used.items() for number in numbers}
    return {
        (season, name): number
        for season, numbers in used.items()
        for name, number in zip(level_names(len(numbers), most), numbers, strict=True)
    }


def level_names(count: int, most: int) -> tuple[str, ...]:
    """Name the price levels of a season, cheapest first.

    Parameters
    ----------
    count : int
        How many the season has.
    most : int
        How many the season with the most has.

    Returns
    -------
    tuple of str
        Trade words up to four levels, then ``level 1`` and so on.

    Examples
    --------
    >>> level_names(2, 3), level_names(1, 2), level_names(1, 1)
    (('off-peak', 'peak'), ('off-peak',), ('all hours',))
    """
    if most not in LEVELS:
        return tuple(f"level {number + 1}" for number in range(count))
    return LEVELS[most] if count == most else LEVELS[count] if count > 1 else ("off-peak",)


def _hours(
    rows: Mapping[str, tuple[_Row, _Row]], numbers: Mapping[tuple[str, str], int], edges: Edges
) -> dict[str, list[str]]:
    names = {name: 0 for _, name in numbers}
    if len(names) == 1:
        return {}
    windows = {name: _windows(name, rows, numbers, edges) for name in names}
    rank = {name: position for position, name in enumerate(next(n for n in _orders() if set(names) <= set(n)))}
    rest = max(windows, key=lambda name: (sum(map(len, windows[name])), -rank[name]))
    return {
        name: [REST] if name == rest else windows[name] for name in sorted(windows, key=rank.__getitem__, reverse=True)
    }


def _orders() -> list[tuple[str, ...]]:
    return [LEVELS[4], level_names(MAX_PERIODS, MAX_PERIODS)]


def _windows(
    name: str, rows: Mapping[str, tuple[_Row, _Row]], numbers: Mapping[tuple[str, str], int], edges: Edges
) -> list[str]:
    """Say the hours of one period; what holds in several seasons is said once."""
    seasons: dict[tuple[str, _Spans], list[str]] = {}
    for season, (weekday, weekend) in rows.items():
        if (season, name) not in numbers:
            continue
        number = numbers[season, name]
        on_weekdays, on_weekends = _spans(weekday, number, edges), _spans(weekend, number, edges)
        if on_weekdays == on_weekends:
            seasons.setdefault(("", on_weekdays), []).append(season)
            continue
        for days, spans in ((" on weekdays", on_weekdays), (" on weekends", on_weekends)):
            if spans:
                seasons.setdefault((days, spans), []).append(season)
    found = []
    for (days, spans), where in seasons.items():
        inside = "" if len(where) == len(rows) else f" in {' and '.join(where)}"
        found += [f"{hours}{days}{inside}" for hours in _hours_text(spans, over_midnight=not days)]
    return found


def _spans(row: _Row, number: int, edges: Edges) -> _Spans:
    """Find the minutes of the day, from and to, in which a row has a number."""
    inside = np.r_[False, np.array(row) == number, False]
    changes = np.flatnonzero(inside[1:] != inside[:-1])
    return tuple((edges[start], edges[end]) for start, end in zip(changes[::2], changes[1::2], strict=True))


def _hours_text(spans: _Spans, over_midnight: bool) -> list[str]:
    if spans == ((0, 1440),):
        return ["all day"]
    if over_midnight and len(spans) > 1 and spans[0][0] == 0 and spans[-1][1] == 1440:
        spans = (*spans[1:-1], (spans[-1][0], spans[0][1]))
    texts = [f"{clock_text(start)}-{clock_text(end)}" for start, end in spans]
    return [", ".join(texts[n : n + _SPANS_IN_WINDOW]) for n in range(0, len(texts), _SPANS_IN_WINDOW)]
