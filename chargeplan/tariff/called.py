"""Days that somebody calls: critical days, saver days. No calendar knows them; they are listed, or still to come.

A day that is listed was called. What a day is that nobody has spoken of yet depends on the sheet: most
are ordinary until they are called; where a sheet says ``unknown: called``, a day counts as called as long
as its notice may still come, if the rules of the sheet allow calling it at all.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, timedelta
from typing import Final

import numpy as np

from chargeplan.clock import day_number, day_of_number
from chargeplan.errors import InputError
from chargeplan.tariff.call_limits import BoolArray, CallLimits
from chargeplan.tariff.holiday_set import HolidaySet
from chargeplan.tariff.sheet_clock import SheetClock
from chargeplan.tariff.windows import JOINING_WORDS, DaySet, kind_key
from chargeplan.units import time_of_day

__all__ = ["CallLimits", "CalledDays", "Complaint", "called_name", "parse_notice"]

#: Position in the list of days, or None for the kind as a whole; what is wrong; what would be right.
Complaint = tuple[int | None, str, str]

_NUMBERS: Final = ("one", "two", "three", "four", "five", "six", "seven")
_NOTICE = re.compile(
    rf"([\d:]+)\s+(?:on\s+)?(?:(the\s+same\s+day)|(the|\d|{'|'.join(_NUMBERS)})\s+days?\s+before)\Z",
    re.IGNORECASE | re.ASCII,
)


def called_name(text: str) -> str:
    """Check the name of a kind of called days.

    Parameters
    ----------
    text : str
        Name as written.

    Returns
    -------
    str
        The name, with single spaces.

    Raises
    ------
    InputError
        If windows could not name it: it has other signs than letters, digits and spaces, or is a day.

    Examples
    --------
    >>> called_name("critical")
    'critical'
    """
    name = " ".join(text.split())
    words = name.lower().split()
    if not name.replace(" ", "").isalnum() or {"and", "to", *JOINING_WORDS} & set(words) or len(name) > 60:
        raise InputError(f"`{name[:60]}` cannot name called days; use words of letters and digits, such as critical")
    found = DaySet.parse(name, called=True)
    if found != DaySet(frozenset(), False, frozenset({kind_key(name)})):
        raise InputError(f"`{name}` is the name of days already; choose another, such as critical")
    return name


def parse_notice(text: str) -> tuple[int, int]:
    """Read when a day is called at the latest.

    Parameters
    ----------
    text : str
        ``17:00 the day before``, ``17:00 two days before`` or ``08:00 the same day``.

    Returns
    -------
    days_before : int
        0 to 9.
    minute : int
        Minutes after midnight.

    Raises
    ------
    InputError
        If it is none of these.

    Examples
    --------
    >>> parse_notice("17:00 the day before"), parse_notice("08:00 the same day")
    ((1, 1020), (0, 480))
    """
    match = _NOTICE.match(text.strip())
    if match is None:
        raise InputError(f"`{text.strip()[:40]}` is no time of notice; write for example 17:00 the day before")
    if match[2]:
        days = 0
    elif match[3].lower() == "the":
        days = 1
    else:
        days = int(match[3]) if match[3].isdigit() else _NUMBERS.index(match[3].lower()) + 1
    return days, time_of_day(match[1])


@dataclass(frozen=True)
class CalledDays:
    """One kind of called days.

    Parameters
    ----------
    name : str
        What the sheet calls them.
    days : frozenset of datetime.date
        The days that were called.
    unknown_is_called : bool
        Whether a day of which nothing is known yet counts as called.
    notice : tuple of (int, int), optional
        How many days before the day its notice comes at the latest, and at which minute after midnight.
    known_until : datetime.date, optional
        The last day of which it is known whether it is called; None for all days, see `as_known`.
    limits : CallLimits
        Which days may be called.
    holidays : HolidaySet
        The holidays of the sheet.
    timezone : str, optional
        The zone that a season of daylight time in the limits follows.

    Examples
    --------
    >>> kind = CalledDays("critical", frozenset({date(2026, 1, 14)}))
    >>> first = day_number(date(2026, 1, 13))
    >>> kind.mask(first, first + 2).tolist()
    [False, True, False]
    """

    name: str
    days: frozenset[date]
    unknown_is_called: bool = False
    notice: tuple[int, int] | None = None
    known_until: date | None = None
    limits: CallLimits = field(default_factory=CallLimits)
    holidays: HolidaySet = field(default_factory=HolidaySet)
    timezone: str | None = None

    def mask(self, first: int, last: int) -> BoolArray:
        """Tell which dates of a span count as called.

        Parameters
        ----------
        first, last : int
            Day numbers, both included.

        Returns
        -------
        bool array, shape (last - first + 1,)
            True for the days that are listed, and for unknown days that count as called.
        """
        mask = np.zeros(last - first + 1, dtype=np.bool_)
        numbers = np.array([day_number(day) for day in self.days], dtype=np.int64)
        mask[numbers[(numbers >= first) & (numbers <= last)] - first] = True
        if self.unknown_is_called and self.known_until is not None:
            begin = max(first, day_number(self.known_until) + 1)
            if begin <= last:
                mask[begin - first :] |= self.allowed(begin, last) & ~self._full(begin, last)
        return mask

    def allowed(self, first: int, last: int) -> BoolArray:
        """Tell which dates of a span may be called by the day of the week, the season and ``never_on``.

        Parameters
        ----------
        first, last : int
            Day numbers, both included.

        Returns
        -------
        bool array, shape (last - first + 1,)
            True for the days that may be called; how many may be is not looked at.

        Examples
        --------
        >>> kind = CalledDays("critical", frozenset(), limits=CallLimits.parse("weekdays", never_on=["Jan 1"]))
        >>> eve = day_number(date(2026, 12, 31))
        >>> kind.allowed(eve, eve + 4).tolist()
        [True, False, False, False, True]
        """
        on, season, never = self.limits.reasons(first, last, self.holidays, self.timezone)
        return on & season & ~never

    def _full(self, first: int, last: int) -> BoolArray:
        """Tell for every date whether as many days are listed in its year or season as may be called."""
        groups = self.limits.counted_from(first, last, self.timezone)
        if self.limits.at_most is None:
            return np.zeros(groups.size, dtype=np.bool_)
        count = Counter(self._group_of(day) for day in self.days)
        full = [group for group, number in count.items() if number >= self.limits.at_most]
        return np.isin(groups, full)

    def _group_of(self, day: date) -> int:
        number = day_number(day)
        return int(self.limits.counted_from(number, number, self.timezone)[0])

    def as_known(self, now_s: int, clock: SheetClock, foresight: bool = True) -> CalledDays:
        """Give the kind as it is known at an instant.

        Parameters
        ----------
        now_s : int
            The instant in UTC seconds.
        clock : SheetClock
            The clock by which notice is given.
        foresight : bool
            Whether listed days count although their notice is still to come. False looks back
            honestly: then such days are unknown too.

        Returns
        -------
        CalledDays
            Days whose notice comes after the instant are unknown: `mask` counts them as called if
            `unknown_is_called` says so and `limits` allow it. Without a time of notice nothing is
            unknown.

        Examples
        --------
        Before 17:00 on Tuesday, Wednesday may still be called; after it, it will not be:

        >>> kind = CalledDays("critical", frozenset(), unknown_is_called=True, notice=(1, 1020))
        >>> utc = SheetClock("Etc/UTC")
        >>> wednesday = day_number(date(2026, 1, 14))
        >>> for hour in (16, 17):
        ...     now = int(datetime(2026, 1, 13, hour, tzinfo=UTC).timestamp())
        ...     print(kind.as_known(now, utc).mask(wednesday, wednesday + 1).tolist())
        [True, True]
        [False, True]
        """
        if self.notice is None:
            return self
        days_before, minute = self.notice
        today = datetime.fromtimestamp(now_s, UTC).date()
        day = today + timedelta(days=days_before - 2)
        while clock.wall_s(day - timedelta(days=days_before), minute) <= now_s:
            day += timedelta(days=1)
        known = day - timedelta(days=1)
        days = self.days if foresight else frozenset(day for day in self.days if day <= known)
        return replace(self, known_until=known, days=days)

    def complaints(self, listed: Sequence[date]) -> tuple[Complaint, ...]:
        """Say which listed days break the limits, and what else does not fit together.

        Parameters
        ----------
        listed : sequence of datetime.date
            The days in the order in which the sheet or the file lists them.

        Returns
        -------
        tuple of (int or None, str, str)
            Position in ``listed`` (None for the kind as a whole), what is wrong, what would be right.

        Examples
        --------
        >>> kind = CalledDays("critical", frozenset(), limits=CallLimits.parse("weekdays"))
        >>> kind.complaints([date(2026, 1, 14), date(2026, 1, 17)])[0][:2]
        (1, '2026-01-17 is a Saturday, but `critical` days are called only on weekdays')
        """
        found: list[Complaint] = []
        name, limits = self.name, self.limits
        if self.unknown_is_called and self.notice is None:
            remedy = "add for example `notice: 17:00 the day before`"
            found.append((None, f"`unknown: called` says nothing without the time at which `{name}` is called", remedy))
        if limits.uses_holidays and not self.holidays:
            remedy = "add `holidays:`, for example `holidays: {country: US}`, or leave the word out"
            found.append((None, f"`{limits.on_text}` speaks of holidays, but the sheet names none", remedy))
        for position, day in enumerate(listed):
            number = day_number(day)
            on, season, never = (
                bool(reason[0]) for reason in limits.reasons(number, number, self.holidays, self.timezone)
            )
            if not on:
                holiday = bool(self.holidays.day_types(number, number)[1][0])
                what = f"{day} is a {'holiday' if holiday else f'{day:%A}'}"
                only = f"`{name}` days are called only on {limits.on_text}"
                found.append((position, f"{what}, but {only}", "take it out, or change `only_on`"))
            elif not season:
                only = f"`{name}` days are called only in {limits.season_text}"
                found.append((position, f"{day} is outside, but {only}", "take it out, or change `only_in`"))
            elif never:
                rule = next(rule.text for rule in limits.never_on if day in rule.dates(day.year))
                what = f"{day} is {rule}, on which `{name}` days are never called"
                found.append((position, what, "take it out, or change `never_on`"))
        return (*found, *self._too_many(listed))

    def _too_many(self, listed: Sequence[date]) -> list[Complaint]:
        at_most = self.limits.at_most
        if at_most is None:
            return []
        found: list[Complaint] = []
        count: Counter[int] = Counter()
        for day in sorted(set(listed)):
            group = self._group_of(day)
            count[group] += 1
            if count[group] == at_most + 1:
                within = f"from {day_of_number(group)}" if self.limits.season else f"of {day.year}"
                what = f"{day} is day {at_most + 1} of the `{self.name}` days {within}, but {at_most} may be called"
                found.append((listed.index(day), what, "take days out, or change `at_most`"))
        return found
