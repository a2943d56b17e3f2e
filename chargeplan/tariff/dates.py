"""Dates as rate sheets print them: "Jun 1 - Sep 30", "first Monday of September", "Easter Monday"."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from chargeplan.errors import InputError

MONTHS: Final = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
WEEKDAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
#: Days of each month in a leap year.
MONTH_DAYS: Final = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
_FULL: Final = {
    **{name[:3]: name for name in (
        "january", "february", "march", "april", "may", "june", "july", "august", "september", "october",
        "november", "december", "monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday",
    )},
}  # fmt: skip


def _position(word: str, names: tuple[str, ...]) -> int | None:
    """Find a month or weekday written in short or in full, in one or many ("Monday", "Mondays")."""
    lower = word.strip().lower().rstrip(".")
    for position, short in enumerate(names):
        if lower in (short, _FULL[short], _FULL[short] + "s") or (short == "sep" and lower == "sept"):
            return position
    return None


def month_of(word: str) -> int:
    """Read the name of a month.

    Parameters
    ----------
    word : str
        ``Jun`` or ``June``, in any case.

    Returns
    -------
    int
        1 to 12.

    Raises
    ------
    InputError
        If it is no month.

    Examples
    --------
    >>> month_of("Jun"), month_of("september")
    (6, 9)
    """
    if (position := _position(word, MONTHS)) is None:
        raise InputError(f"`{word.strip()[:30]}` is not a month; write Jan, Feb ... or the whole name")
    return position + 1


def weekday_of(word: str) -> int:
    """Read the name of a day of the week.

    Parameters
    ----------
    word : str
        ``Mon``, ``Monday`` or ``Mondays``, in any case.

    Returns
    -------
    int
        0 for Monday to 6 for Sunday.

    Raises
    ------
    InputError
        If it is no day of the week.

    Examples
    --------
    >>> weekday_of("Sunday")
    6
    """
    if (position := _position(word, WEEKDAYS)) is None:
        raise InputError(not_a_day(word))
    return position


def not_a_day(word: str) -> str:
    """Say that a word among days is none, and what would be one.

    Examples
    --------
    >>> not_a_day("workdays")
    '`workdays` is not a day; write Mon, Tue ... Sun, weekdays, weekends or holidays'
    """
    return f"`{word.strip()[:30]}` is not a day; write Mon, Tue ... Sun, weekdays, weekends or holidays"


_MONTH_DAY = re.compile(r"(?:([a-z]+)\.?\s+(\d{1,2})|(\d{1,2})\.?\s+([a-z]+)\.?)\Z", re.IGNORECASE | re.ASCII)


def month_day(text: str) -> tuple[int, int]:
    """Read a day of the year.

    Parameters
    ----------
    text : str
        ``Jun 1`` or ``1 Jun``.

    Returns
    -------
    tuple of int
        Month and day. 29 February is allowed and means the last day of February.

    Raises
    ------
    InputError
        If there is no such day.

    Examples
    --------
    >>> month_day("Sep 30"), month_day("30 September")
    ((9, 30), (9, 30))
    """
    match = _MONTH_DAY.match(text.strip())
    if match is None:
        raise InputError(f"`{text.strip()[:40]}` is not a day of the year; write for example Jun 1")
    month, day = month_of(match[1] or match[4]), int(match[2] or match[3])
    if not 1 <= day <= MONTH_DAYS[month - 1]:
        raise InputError(f"`{text.strip()[:40]}` does not exist; that month has {MONTH_DAYS[month - 1]} days at most")
    return month, day


_NTH: Final = {"first": 0, "second": 1, "third": 2, "fourth": 3, "fifth": 4, "last": -1}
_NTH_RULE = re.compile(rf"({'|'.join(_NTH)})\s+([a-z]+)\s+(?:of|in)\s+([a-z]+)\Z", re.IGNORECASE | re.ASCII)
_EASTER_RULE = re.compile(r"(?:(\d{1,2})\s+days?\s+(before|after)\s+)?easter(?:\s+sunday)?\Z", re.IGNORECASE | re.ASCII)
_EASTER_NAMES: Final = {"good friday": -2, "easter monday": 1, "ascension day": 39, "whit monday": 50}
_NEXT_DAY_RULE = re.compile(r"(?:the\s+)?day\s+(before|after)\s+(.+)", re.IGNORECASE | re.ASCII | re.DOTALL)
_NEAR_RULE = re.compile(r"([a-z]+)\s+(on\s+or\s+)?(before|after)\s+(.+)", re.IGNORECASE | re.ASCII | re.DOTALL)
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}\Z", re.ASCII)
#: "day after Monday before Jun 1" has two rules around the last one; nobody needs more.
_DEEPEST: Final = 2


@dataclass(frozen=True)
class DayRule:
    """A day that comes every year, or one date.

    Parameters
    ----------
    text : str
        The rule as written.
    kind : str
        ``fixed`` (a day of the year), ``nth`` (weekday of a month), ``easter``, ``next`` (the day
        before or after another), ``near`` (a weekday before or after another) or ``once``.
    numbers : tuple of int
        Month and day; which, weekday and month; days after Easter Sunday; 1 or -1 for after or
        before; weekday, 1 or -1, and how many days the nearest one is away at least (0 or 1); or
        year, month and day.
    base : DayRule, optional
        The day that the rule is counted from.
    """

    text: str
    kind: str
    numbers: tuple[int, ...]
    base: DayRule | None = None

    @classmethod
    def parse(cls, text: str) -> DayRule:
        """Read a rule.

        Parameters
        ----------
        text : str
            ``Jul 4``, ``last Monday of May``, ``Easter Monday``, ``Good Friday``, ``39 days after
            Easter``, ``day after fourth Thursday of November``, ``Monday on or before May 24``,
            ``Tuesday after Jun 1`` or a date such as ``2026-12-24``.

        Returns
        -------
        DayRule
            The rule.

        Raises
        ------
        InputError
            If it is none of these.

        Examples
        --------
        >>> DayRule.parse("fourth Thursday of November").dates(2026)
        (datetime.date(2026, 11, 26),)
        >>> DayRule.parse("Monday on or before May 24").dates(2026)
        (datetime.date(2026, 5, 18),)
        """
        return cls._parse(text.strip(), 0)

    @classmethod
    def _parse(cls, clean: str, depth: int) -> DayRule:
        if _ISO.match(clean):
            try:
                once = date.fromisoformat(clean)
            except ValueError:
                raise InputError(f"`{clean}` does not exist; write a date such as 2026-12-24") from None
            return cls(clean, "once", (once.year, once.month, once.day))
        if match := _NTH_RULE.match(clean):
            return cls(clean, "nth", (_NTH[match[1].lower()], weekday_of(match[2]), month_of(match[3])))
        if clean.lower() in _EASTER_NAMES:
            return cls(clean, "easter", (_EASTER_NAMES[clean.lower()],))
        if match := _EASTER_RULE.match(clean):
            days = int(match[1] or 0)
            return cls(clean, "easter", (-days if match[2] and match[2].lower() == "before" else days,))
        if _MONTH_DAY.match(clean):
            return cls(clean, "fixed", month_day(clean))
        if match := _NEXT_DAY_RULE.fullmatch(clean):
            return cls(clean, "next", (_side(match[1]),), cls._base(match[2], clean, depth))
        if match := _NEAR_RULE.fullmatch(clean):
            numbers = (weekday_of(match[1]), _side(match[3]), 0 if match[2] else 1)
            return cls(clean, "near", numbers, cls._base(match[4], clean, depth))
        raise InputError(
            f"`{clean[:50]}` is not a day; write for example Jul 4, last Monday of May, Easter Monday or 2026-12-24"
        )

    @classmethod
    def _base(cls, text: str, whole: str, depth: int) -> DayRule:
        if depth == _DEEPEST:
            raise InputError(f"`{whole[:50]}` counts from too many days; name the day more simply, like Jul 4")
        base = cls._parse(text.strip(), depth + 1)
        if base.kind == "once":
            raise InputError(f"`{whole[:50]}` is one date; write that date itself, such as 2026-12-24")
        return base

    @property
    def yearly(self) -> bool:
        """Whether the day comes once for every year, as the ends of seasons must."""
        if self.base is not None:
            return self.base.yearly
        never = {"once": True, "nth": self.numbers[0] == 4, "fixed": self.numbers == (2, 29)}
        return not never.get(self.kind, False)

    def dates(self, year: int) -> tuple[date, ...]:
        """List the dates of the rule in a year.

        Parameters
        ----------
        year : int
            The calendar year.

        Returns
        -------
        tuple of datetime.date
            The dates that lie in that year, rising: mostly one; none where the year has no such
            day. A ``day after Dec 31`` lies in the year after.

        Examples
        --------
        >>> DayRule.parse("Good Friday").dates(2027)
        (datetime.date(2027, 3, 26),)
        >>> DayRule.parse("Friday on or before Jan 1").dates(2027)
        (datetime.date(2027, 1, 1), datetime.date(2027, 12, 31))
        """
        if self.base is not None:
            near = [self._from(day) for base_year in (year - 1, year, year + 1) for day in self.base.dates(base_year)]
            return tuple(day for day in near if day.year == year)
        if self.kind == "once":
            once = date(*self.numbers[:3])
            return (once,) if once.year == year else ()
        if self.kind == "easter":
            return (easter_sunday(year) + timedelta(days=self.numbers[0]),)
        if self.kind == "fixed":
            month, day = self.numbers
            return () if (month, day) == (2, 29) and not _is_leap(year) else (date(year, month, day),)
        which, weekday, month = self.numbers
        first = date(year, month, 1)
        days = [first + timedelta(days=n) for n in range(31)]
        fitting = [day for day in days if day.month == month and day.weekday() == weekday]
        return (fitting[which],) if which < len(fitting) else ()

    def _from(self, day: date) -> date:
        """Count from the day that the rule names."""
        if self.kind == "next":
            return day + timedelta(days=self.numbers[0])
        weekday, side, least = self.numbers
        return day + timedelta(days=side * (least + (side * (weekday - day.weekday()) - least) % 7))


def _side(word: str) -> int:
    return 1 if word.lower() == "after" else -1


def _is_leap(year: int) -> bool:
    return year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)


def easter_sunday(year: int) -> date:
    """Find Easter Sunday of the Gregorian calendar.

    Examples
    --------
    >>> easter_sunday(2026)
    datetime.date(2026, 4, 5)
    """
    from dateutil.easter import easter

    return easter(year)
