"""A year of days as panels: days of the week that are alike, and from which date on they are different.

The input is one row of codes per day, whatever the codes mean; the picture of a sheet and the
difference of two are both made from it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray
from chargeplan.tariff.day_words import group_text

#: Days unlike those around them may come in so many weeks in a row before they count as a change for good.
_WEEKS: Final = 2
#: Panels whose rows are of single days.
HOLIDAYS: Final = "holidays"
OTHER_DAYS: Final = "other days"


@dataclass(frozen=True, eq=False)
class Row:
    """Consecutive dates on which the days of a panel are all alike.

    Parameters
    ----------
    first, last : datetime.date
        Both included.
    code : int array, shape (slots,)
        What holds at every time of the day.
    """

    first: date
    last: date
    code: IntArray = field(repr=False)


@dataclass(frozen=True, eq=False)
class Panel:
    """Days that are alike.

    Parameters
    ----------
    days : str
        Which: ``weekdays``, ``Mon-Thu``, ``weekends and holidays``, ``other days``.
    rows : tuple of Row
        In time.
    single : bool
        Whether the rows are of single days, so that the days between do not belong to the panel.
    weekdays : frozenset of int
        Days of the week that belong to it, 0 for Monday; none if the rows are of single days.
    holidays : bool
        Whether holidays belong to it.
    """

    days: str
    rows: tuple[Row, ...]
    single: bool = False
    weekdays: frozenset[int] = frozenset()
    holidays: bool = False


def panels(
    code: IntArray,
    first: date,
    holiday: NDArray[np.bool_],
    odd: NDArray[np.bool_],
    turns: frozenset[int] = frozenset(),
) -> tuple[Panel, ...]:
    """Find the days that are alike.

    Parameters
    ----------
    code : int array, shape (days, slots)
        What holds; negative in a whole row for days that do not count.
    first : datetime.date
        Date of the first row.
    holiday, odd : bool array, shape (days,)
        Holidays, and days on which the clock changes. Neither say what an ordinary day is like.
    turns : frozenset of int
        Rows on which a season begins, or on which a change is likely for other reasons.

    Returns
    -------
    tuple of Panel
        Days of the week first, then holidays that are like none of them, then other days.

    Examples
    --------
    >>> week = np.array([[1], [1], [1], [1], [1], [0], [0]])
    >>> none = np.zeros(28, dtype=bool)
    >>> [panel.days for panel in panels(np.tile(week, (4, 1)), date(2026, 6, 1), none, none)]
    ['weekdays', 'weekends']
    """
    layout = _Layout(code, first, holiday, odd, turns)
    spans, usual = layout.spans()
    groups = _alike(usual)
    holidays, others = layout.holidays(spans, usual, groups)
    found = [
        Panel(
            group_text(group, holidays=position == holidays),
            layout.rows(spans, usual, group),
            weekdays=frozenset(group),
            holidays=position == holidays,
        )
        for position, group in enumerate(groups)
    ]
    if holidays is None:
        found.append(Panel(HOLIDAYS, layout.single_rows(np.flatnonzero(layout.special)), single=True, holidays=True))
    if others.size:
        found.append(Panel(OTHER_DAYS, layout.single_rows(others), single=True))
    return tuple(panel for panel in found if panel.rows)


_Usual = list[list[IntArray | None]]


def _alike(usual: _Usual) -> list[list[int]]:
    """Group the days of the week whose rows agree in every span in which both are known."""
    groups: list[list[int]] = []
    for weekday in range(7):
        if all(rows[weekday] is None for rows in usual):
            continue
        for group in groups:
            if all(_agree(rows[weekday], rows[other]) for rows in usual for other in group):
                group.append(weekday)
                break
        else:
            groups.append([weekday])
    return groups


def _agree(one: IntArray | None, other: IntArray | None) -> bool:
    return one is None or other is None or np.array_equal(one, other)


class _Layout:
    def __init__(
        self,
        code: IntArray,
        first: date,
        holiday: NDArray[np.bool_],
        odd: NDArray[np.bool_],
        turns: frozenset[int],
    ) -> None:
        self.code, self.first, self.odd = code, first, odd
        self.counts: NDArray[np.bool_] = np.asarray((code >= 0).any(axis=1))
        self.special = holiday & self.counts & ~odd
        self.ordinary = self.counts & ~holiday & ~odd
        self.weekday = (np.arange(len(code)) + first.weekday()) % 7
        months = {n for n in range(len(code)) if self.date(n).day == 1}
        self.turns = turns | months
        #: The row an ordinary day of that weekday has, by day; exceptions have the row of the others.
        self.usual = code.copy()

    def date(self, position: int) -> date:
        return self.first + timedelta(days=int(position))

    def _changes(self, weekday: int) -> list[int]:
        """List the days from which a day of the week is different for good, and note the usual rows."""
        days = np.flatnonzero(self.ordinary & (self.weekday == weekday))
        changes: list[int] = []
        current: IntArray | None = None
        for number, day in enumerate(map(int, days)):
            row = self.code[day]
            ahead = [self.code[later] for later in days[number + 1 : number + 1 + _WEEKS]]
            after_special = bool(day > 0 and not self.ordinary[day - 1] and self.counts[day - 1])
            if current is None:
                current = ahead[0] if ahead and after_special else row
            elif not np.array_equal(row, current):
                passing = any(np.array_equal(later, current) for later in ahead) or (after_special and not ahead)
                if not passing:
                    current = row
                    changes.append(day)
            self.usual[day] = current
        return changes

    def spans(self) -> tuple[list[tuple[int, int]], _Usual]:
        """Cut the days where ordinary days change; give first and last day, and the usual row by weekday."""
        changes = sorted((day, weekday) for weekday in range(7) for day in self._changes(weekday))
        counted = np.flatnonzero(self.counts)
        starts = [int(counted[0])] if counted.size else []
        while changes:
            start = changes[0][0]
            together = {weekday: day for day, weekday in reversed(changes) if day < start + 7}
            changes = [(day, weekday) for day, weekday in changes if together.get(weekday) != day]
            starts.append(self._likely(start, set(together), starts[-1]))
        ends = [*(start - 1 for start in starts[1:]), int(counted[-1])] if starts else []
        spans = [(start, end) for start, end in zip(starts, ends, strict=True) if start <= end]
        usual: _Usual = []
        for start, end in spans:
            rows: list[IntArray | None] = [None] * 7
            for day in range(start, end + 1):
                if self.ordinary[day]:
                    rows[int(self.weekday[day])] = self.usual[day]
            usual.append(rows)
        return spans, usual

    def _likely(self, start: int, weekdays: set[int], before: int) -> int:
        """Move a change back over days that do not tell, to where a month or a season begins."""
        earliest = start
        while earliest - 1 > before and (
            not self.ordinary[earliest - 1] or int(self.weekday[earliest - 1]) not in weekdays
        ):
            earliest -= 1
            if start - earliest >= 6:
                break
        likely = [day for day in range(earliest, start + 1) if day in self.turns]
        if likely:
            return likely[-1]
        while start - 1 >= earliest and not self.ordinary[start - 1]:
            start -= 1
        return start

    def rows(self, spans: list[tuple[int, int]], usual: _Usual, group: list[int]) -> tuple[Row, ...]:
        """Cut the spans at the months, and join what is alike within a month."""
        found: list[Row] = []
        for (start, end), rows in zip(spans, usual, strict=True):
            code = next((rows[weekday] for weekday in group if rows[weekday] is not None), None)
            if code is None:
                continue
            for first, last in _by_month(self.date(start), self.date(end)):
                same = found and found[-1].first.month == first.month and np.array_equal(found[-1].code, code)
                if same:
                    found[-1] = Row(found[-1].first, last, code)
                else:
                    found.append(Row(first, last, code))
        return tuple(found)

    def holidays(
        self, spans: list[tuple[int, int]], usual: _Usual, groups: list[list[int]]
    ) -> tuple[int | None, IntArray]:
        """Find which group holidays are like: its position, -1 if they are ordinary days, None if like no group.

        The second result lists the days that are unlike the usual ones.
        """
        differs = (self.code != self.usual).any(axis=1) & self.ordinary
        others = np.flatnonzero(differs)
        span_of = {day: number for number, (start, end) in enumerate(spans) for day in range(start, end + 1)}
        days = [day for day in np.flatnonzero(self.special).tolist() if day in span_of]

        def like(weekday_of: dict[int, list[int]]) -> bool:
            return all(
                any(
                    usual[span_of[day]][weekday] is not None
                    and np.array_equal(self.code[day], usual[span_of[day]][weekday])  # type: ignore[arg-type]
                    for weekday in weekday_of[day]
                )
                for day in days
            )

        if like({day: [int(self.weekday[day])] for day in days}):
            return -1, others
        for position, group in enumerate(groups):
            if like(dict.fromkeys(days, group)):
                return position, others
        return None, others

    def single_rows(self, days: IntArray) -> tuple[Row, ...]:
        """Make a row of every day, days in a row that are alike together."""
        found: list[Row] = []
        for day in days.tolist():
            here = self.date(day)
            if (
                found
                and found[-1].last + timedelta(days=1) == here
                and here.day > 1
                and np.array_equal(found[-1].code, self.code[day])
            ):
                found[-1] = Row(found[-1].first, here, found[-1].code)
            else:
                found.append(Row(here, here, self.code[day]))
        return tuple(found)


def _by_month(first: date, last: date) -> list[tuple[date, date]]:
    parts = []
    while first <= last:
        following = (first.replace(day=1) + timedelta(days=32)).replace(day=1)
        parts.append((first, min(last, following - timedelta(days=1))))
        first = following
    return parts
