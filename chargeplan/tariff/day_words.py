"""Days of the week and spans of dates, in as few words as people use for them."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable
from datetime import date
from typing import Final

from chargeplan.tariff.dates import WEEKDAYS

ALL_WEEK: Final = frozenset(range(7))
_NAMED: Final = {ALL_WEEK: "every day", frozenset(range(5)): "weekdays", frozenset((5, 6)): "weekends"}


def days_text(weekdays: Iterable[int]) -> str:
    """Name some days of the week.

    Examples
    --------
    >>> days_text([0, 1, 2, 3, 4]), days_text([0, 1, 2, 3]), days_text([0, 4]), days_text([6])
    ('weekdays', 'Mon-Thu', 'Mon, Fri', 'Sun')
    """
    found = frozenset(weekdays)
    if found in _NAMED:
        return _NAMED[found]
    runs: list[list[int]] = []
    for day in sorted(found):
        if runs and runs[-1][-1] == day - 1:
            runs[-1].append(day)
        else:
            runs.append([day])
    names = [name.capitalize() for name in WEEKDAYS]
    parts = [f"{names[run[0]]}-{names[run[-1]]}" if len(run) > 2 else ", ".join(names[d] for d in run) for run in runs]
    return ", ".join(parts)


def group_text(weekdays: Iterable[int], *, holidays: bool) -> str:
    """Name some days of the week, perhaps together with holidays.

    Examples
    --------
    >>> group_text([5, 6], holidays=True), group_text(range(7), holidays=True)
    ('weekends and holidays', 'every day')
    """
    found = frozenset(weekdays)
    return days_text(found) + (" and holidays" if holidays and found != ALL_WEEK else "")


def dates_text(first: date, last: date) -> str:
    """Name some days of one year, both ends included.

    Examples
    --------
    >>> dates_text(date(2026, 6, 1), date(2026, 6, 30)), dates_text(date(2026, 6, 1), date(2026, 6, 15))
    ('Jun', 'Jun 1-15')
    >>> dates_text(date(2026, 6, 16), date(2026, 9, 30)), dates_text(date(2026, 1, 1), date(2026, 12, 31))
    ('Jun 16 - Sep 30', 'all year')
    """
    whole = first.day == 1 and last.day == monthrange(last.year, last.month)[1]
    if whole and (first.month, last.month) == (1, 12):
        return "all year"
    if first.month == last.month:
        month = f"{first:%b}"
        return month if whole else f"{month} {first.day}" + ("" if first == last else f"-{last.day}")
    return f"{first:%b}-{last:%b}" if whole else f"{first:%b} {first.day} - {last:%b} {last.day}"
