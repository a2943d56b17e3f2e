"""Hours that change, told in as few lines as people can read: which days, which dates, which hours."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray
from chargeplan.tariff.day_panels import HOLIDAYS, Panel, panels
from chargeplan.tariff.day_words import ALL_WEEK, dates_text, group_text
from chargeplan.units import clock_text

#: More single dates than this are counted instead of listed.
_MOST_DATES: Final = 12

_Spans = tuple[tuple[int, int], ...]
_Dates = tuple[tuple[date, date], ...]


@dataclass(frozen=True)
class ChangedHours:
    """Hours that change in one way.

    Parameters
    ----------
    code : int
        Which change it is.
    days, dates, hours : str
        When.
    single : bool
        Whether it is about single days, such as holidays.
    ranges : tuple of (first date, last date)
        The dates.
    """

    code: int
    days: str
    dates: str
    hours: str
    single: bool = False
    ranges: _Dates = ()


@dataclass(frozen=True)
class _Found:
    """The same with values to calculate with."""

    code: int
    hours: _Spans
    dates: _Dates
    weekdays: frozenset[int]
    holidays: bool
    single: str = ""

    def spans(self, day: date) -> bool:
        """Tell whether a date is among the dates."""
        return any(first <= day <= last for first, last in self.dates)


def changed_hours(
    code: IntArray,
    first: date,
    holiday: NDArray[np.bool_],
    odd: NDArray[np.bool_],
    *,
    turns: frozenset[int],
    unchanged: frozenset[int],
) -> tuple[list[ChangedHours], bool]:
    """Tell when changes are.

    Parameters
    ----------
    code : int array, shape (days, slots)
        The change of every part of every day; negative where there is none to speak of.
    first : datetime.date
        Date of the first row.
    holiday, odd, turns
        As for `panels`.
    unchanged : frozenset of int
        Codes that are no change.

    Returns
    -------
    tuple of (list of ChangedHours, bool)
        In the order of the days of the week, the dates and the hours; and whether days of the week are
        meant without holidays, because holidays are unlike them.
    """
    layout = panels(code, first, holiday, odd, turns)
    apart = any(panel.holidays for panel in layout)
    found = [part for panel in layout for part in _of_panel(panel, unchanged)]
    joined: dict[tuple[int, _Spans, _Dates], _Found] = {}
    alone = [part for part in found if part.single]
    for part in found:
        if part.single:
            continue
        key = part.code, part.hours, part.dates
        other = joined.get(key, part)
        joined[key] = _Found(*key, part.weekdays | other.weekdays, part.holidays or other.holidays or not apart)
    special = [first + timedelta(days=int(n)) for n in np.flatnonzero(holiday & ~odd & (code >= 0).any(axis=1))]
    lines = [_absorbing(line, alone, special) for line in joined.values()]
    told = [line for line in lines if line.weekdays == ALL_WEEK and line.holidays]
    lines += [part for part in alone if part.single != HOLIDAYS or not any(_tells(line, part) for line in told)]
    return [_told(part, apart) for part in lines], apart


def _absorbing(line: _Found, alone: list[_Found], special: list[date]) -> _Found:
    """Let a line of every day of the week hold for holidays, if those in its dates change likewise."""
    if line.holidays or line.weekdays != ALL_WEEK:
        return line
    alike = [part for part in alone if part.single == HOLIDAYS and (part.code, part.hours) == (line.code, line.hours)]
    whole = all(any(part.spans(day) for part in alike) for day in special if line.spans(day))
    return replace(line, holidays=whole)


def _tells(line: _Found, part: _Found) -> bool:
    return (line.code, line.hours) == (part.code, part.hours) and all(line.spans(first) for first, _ in part.dates)


def _of_panel(panel: Panel, unchanged: frozenset[int]) -> list[_Found]:
    """Collect the hours of each change and the dates on which they are alike."""
    dates: dict[tuple[int, _Spans], list[tuple[date, date]]] = {}
    for row in panel.rows:
        step_min = 1440 // len(row.code)
        edges = np.flatnonzero(np.r_[True, row.code[1:] != row.code[:-1], True])
        spans: dict[int, list[tuple[int, int]]] = {}
        for start, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
            if (here := int(row.code[start])) >= 0 and here not in unchanged:
                spans.setdefault(here, []).append((start * step_min, end * step_min))
        for here, hours in spans.items():
            ranges = dates.setdefault((here, tuple(hours)), [])
            if ranges and ranges[-1][1] + timedelta(days=1) == row.first:
                ranges[-1] = (ranges[-1][0], row.last)
            else:
                ranges.append((row.first, row.last))
    single = panel.days if panel.single else ""
    return [
        _Found(here, hours, tuple(ranges), panel.weekdays, panel.holidays, single)
        for (here, hours), ranges in dates.items()
    ]


def _told(part: _Found, apart: bool) -> ChangedHours:
    hours = ", ".join(f"{clock_text(start)}-{clock_text(end)}" for start, end in part.hours)
    hours = "all day" if hours == "00:00-24:00" else hours
    if part.single:
        number = sum((last - first).days + 1 for first, last in part.dates)
        listed = ", ".join(dates_text(*span) for span in part.dates)
        dates = f"{number} days" if len(part.dates) > _MOST_DATES else listed
        return ChangedHours(part.code, part.single, dates, hours, single=True, ranges=part.dates)
    without = apart and not part.holidays and part.weekdays == ALL_WEEK
    days = "Mon-Sun" if without else group_text(part.weekdays, holidays=part.holidays and apart)
    return ChangedHours(part.code, days, _ranges_text(part.dates), hours, ranges=part.dates)


def _ranges_text(ranges: _Dates) -> str:
    """Name spans of dates of one year, one that passes New Year in one piece."""
    first, last = ranges[0], ranges[-1]
    passes = len(ranges) > 1 and (first[0].month, first[0].day) == (1, 1) and (last[1].month, last[1].day) == (12, 31)
    texts = [dates_text(*span) for span in ranges]
    if passes:
        begin, end = dates_text(last[0], last[1]), dates_text(*first)
        if " " not in begin + end:
            texts = [f"{begin.partition('-')[0]}-{end.rpartition('-')[2]}", *texts[1:-1]]
        else:
            texts = [f"{last[0]:%b} {last[0].day} - {first[1]:%b} {first[1].day}", *texts[1:-1]]
    return ", ".join(texts)
