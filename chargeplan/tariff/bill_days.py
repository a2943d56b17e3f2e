"""The days of a bill: how many months they are, and where billing months begin."""

from __future__ import annotations

import re
from calendar import isleap, monthrange
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING

from chargeplan.errors import InputError
from chargeplan.tariff.phrases import TierPer

if TYPE_CHECKING:
    from chargeplan.tariff.sheet import Billing


def add_months(day: date, count: int) -> date:
    """Go some months on, to the last day of the month where it has no such day.

    Examples
    --------
    >>> add_months(date(2026, 1, 31), 1)
    datetime.date(2026, 2, 28)
    """
    month = day.year * 12 + day.month - 1 + count
    year, month = month // 12, month % 12 + 1
    return date(year, month, min(day.day, monthrange(year, month)[1]))


def whole_month_range(text: str | None) -> tuple[int, int] | None:
    """Read lengths of bills that count as one month, like ``27-34 days``.

    Examples
    --------
    >>> whole_month_range("27-34 days")
    (27, 34)
    """
    if text is None:
        return None
    match = re.fullmatch(r"(\d{1,3})\s*(?:-|–|to)\s*(\d{1,3})(?:\s+days)?", text.strip(), re.ASCII)
    if match is None or int(match[1]) > int(match[2]):
        raise InputError(f"`{text.strip()[:30]}` is no range of days; write for example 27-34 days")
    return int(match[1]), int(match[2])


@dataclass(frozen=True)
class BillDays:
    """First and last day of a bill, and how they are counted.

    Parameters
    ----------
    first, last : datetime.date
        Both belong to the bill.
    billing : Billing
        What the sheet says of bills.
    months_given : float, optional
        How many months the bill counts as, if that is known.
    """

    first: date
    last: date
    billing: Billing
    months_given: float | None = None

    @property
    def days(self) -> int:
        """Number of days."""
        return (self.last - self.first).days + 1

    @property
    def months(self) -> float:
        """Number of months; a part of a month by its days, or as the sheet says."""
        if self.months_given is not None:
            return self.months_given
        whole = whole_month_range(self.billing.whole_month)
        if whole is not None and whole[0] <= self.days <= whole[1]:
            return 1.0
        end = self.last + timedelta(days=1)
        count = (end.year - self.first.year) * 12 + end.month - self.first.month
        while add_months(self.first, count) > end:
            count -= 1
        rest = add_months(self.first, count)
        if rest == end:
            return float(count)
        if self.billing.proration == "none":
            return count + 1.0
        length = 30 if self.billing.proration == "30 days" else monthrange(rest.year, rest.month)[1]
        return count + (end - rest).days / length

    @property
    def years(self) -> float:
        """Number of years, each day by the length of its own year."""
        total = 0.0
        for year in range(self.first.year, self.last.year + 1):
            first, last = max(self.first, date(year, 1, 1)), min(self.last, date(year, 12, 31))
            total += ((last - first).days + 1) / (366 if isleap(year) else 365)
        return total

    def count(self, per: TierPer) -> float:
        """Count the bill in days, months, years or times 30 days."""
        return {
            "day": float(self.days),
            "month": self.months,
            "year": self.years,
            "30 days": self.days / 30,
        }[per]

    @property
    def month_ends(self) -> tuple[int, ...]:
        """The months in which billing months of the bill end."""
        ends = [part[1].month for part in billing_months(self.first, self.last, self.billing.reading_day)]
        return tuple(ends) if self.days > 45 else (self.last.month,)


def billing_months(first: date, last: date, reading_day: int) -> list[tuple[date, date]]:
    """Cut a span at the days on which the meter is read.

    Parameters
    ----------
    first, last : datetime.date
        Both belong to the span.
    reading_day : int
        Day of the month with which a billing month begins.

    Returns
    -------
    list of (date, date)
        First and last day of each part; the first and the last may be parts of a month.

    Examples
    --------
    >>> [str(end) for _, end in billing_months(date(2026, 1, 10), date(2026, 3, 5), 15)]
    ['2026-01-14', '2026-02-14', '2026-03-05']
    """
    found = []
    begin = first
    while begin <= last:
        following = date(begin.year, begin.month, reading_day)
        if following <= begin:
            following = add_months(following, 1)
        found.append((begin, min(last, following - timedelta(days=1))))
        begin = following
    return found
