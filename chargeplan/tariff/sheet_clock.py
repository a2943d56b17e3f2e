"""The clock on which a rate sheet is read: the wall clock, or a meter's own clock that does not follow it.

Meters that were set once, and never again, keep standard time, UTC, or the days of an old law for the
change of the clock. Such a clock is at some distance from UTC, which changes at a few instants a year;
the instants of a year are worked out once.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Final

import numpy as np

from chargeplan import clock
from chargeplan.clock import DAY_S, FIRST_YEAR, LAST_YEAR, IntArray, day_number
from chargeplan.errors import InputError
from chargeplan.tariff.dates import DayRule

_HOUR_S: Final = 3600
#: The zone is asked this often; no zone has changed its clock twice within it.
_PROBE: Final = timedelta(hours=6)
#: Meters with change days of their own change at 02:00 of the time they show.
_CHANGE_MINUTE: Final = 120
_UTC = re.compile(r"UTC(?:([+-])(\d{1,2})(?::(\d{2}))?)?\Z", re.IGNORECASE | re.ASCII)
#: No clock of the world is farther from UTC, neither ahead (Kiribati) nor behind (ships west of it); from memory.
_FIRST_S, _LAST_S = 14 * _HOUR_S, -12 * _HOUR_S

_FORMS: Final = "write wall, standard, UTC, UTC+10 or {forward: first Sunday of April, back: last Sunday of October}"


@lru_cache(maxsize=4096)
def _behind_in_winter(timezone: str, year: int) -> timedelta:
    """How far the clock is put back in winter where the law calls summer time the standard, as in Ireland."""
    first = datetime(year, 1, 1, tzinfo=UTC)
    moments = (first + timedelta(days=n) for n in range(0, 366, 7))
    offsets = [moment.astimezone(clock.zone(timezone)).dst() or timedelta() for moment in moments]
    return -min(offsets) if min(offsets) < timedelta() else timedelta()


def forward_by(timezone: str, moment: datetime) -> timedelta:
    """Tell how far the clock of a zone is ahead of its standard time.

    Parameters
    ----------
    timezone : str
        The zone.
    moment : zone-aware datetime
        The instant.

    Returns
    -------
    datetime.timedelta
        Zero in standard time. Standard time is always the smaller of the two offsets of a year, also
        where the law says otherwise (Ireland).

    References
    ----------
    Ireland's law calls summer time the standard (Standard Time (Amendment) Act 1971, from memory), and the IANA
    database follows it.

    Examples
    --------
    >>> str(forward_by("Europe/Dublin", datetime(2026, 7, 1, 12, tzinfo=UTC)))
    '1:00:00'
    """
    local = moment.astimezone(clock.zone(timezone))
    dst = local.dst() or timedelta()
    return dst if dst > timedelta() else dst + _behind_in_winter(timezone, local.year)


def _standard_offset_s(timezone: str, utc_s: int) -> int:
    local = datetime.fromtimestamp(utc_s, clock.zone(timezone))
    offset = local.utcoffset()
    assert offset is not None
    return int((offset - forward_by(timezone, local)).total_seconds())


Changes = tuple[tuple[int, int], ...]


@lru_cache(maxsize=1024)
def _standard_changes(timezone: str, year: int) -> Changes:
    """List the first instant of a year and every change of the zone's standard time in it, each with the offset."""
    begin = int(datetime(year, 1, 1, tzinfo=UTC).timestamp())
    end = int(datetime(year + 1, 1, 1, tzinfo=UTC).timestamp())
    found = [(begin, _standard_offset_s(timezone, begin))]
    step = int(_PROBE.total_seconds())
    for probe in range(begin + step, end + 1, step):
        offset = _standard_offset_s(timezone, probe)
        if offset != found[-1][1]:
            before, after = probe - step, probe
            while after - before > 1:
                middle = (before + after) // 2
                same = _standard_offset_s(timezone, middle) == found[-1][1]
                before, after = (middle, after) if same else (before, middle)
            if after < end:
                found.append((after, offset))
    return tuple(found)


@dataclass(frozen=True)
class SheetClock:
    """The clock on which the hours and dates of a sheet are read.

    Parameters
    ----------
    timezone : str
        The zone of the sheet.
    kind : str
        ``wall``, ``standard``, ``offset`` or ``rules``.
    offset_s : int
        Seconds ahead of UTC, for ``offset``.
    forward, back : DayRule, optional
        Days on which the clock goes an hour forward and back, for ``rules``.

    Examples
    --------
    >>> SheetClock("Europe/London").kind
    'wall'
    """

    timezone: str
    kind: str = "wall"
    offset_s: int = 0
    forward: DayRule | None = None
    back: DayRule | None = None

    @classmethod
    def build(cls, timezone: str, value: object = "wall") -> SheetClock:
        """Read what a sheet says of its clock.

        Parameters
        ----------
        timezone : str
            The zone of the sheet.
        value : str or mapping
            ``wall``, ``standard``, ``UTC``, ``UTC+10``, ``UTC+5:30``, or the days on which the clock
            goes ``forward`` and ``back``.

        Returns
        -------
        SheetClock
            The clock.

        Raises
        ------
        InputError
            If it is none of these, or if a day does not come every year.

        Examples
        --------
        >>> SheetClock.build("Australia/Melbourne", "UTC+10").offset_s
        36000
        """
        if isinstance(value, Mapping):
            return cls._by_rules(timezone, value)
        text = value.strip() if isinstance(value, str) else ""
        if text.lower() in ("wall", "standard"):
            return cls(timezone, text.lower())
        match = _UTC.match(text)
        if match is None:
            raise InputError(f"`{str(value)[:40]}` is not a clock; {_FORMS}")
        hours, minutes = int(match[2] or 0), int(match[3] or 0)
        offset_s = (hours * _HOUR_S + minutes * 60) * (-1 if match[1] == "-" else 1)
        if minutes > 59 or not _LAST_S <= offset_s <= _FIRST_S:
            raise InputError(f"`{text}` is not a clock of this world; write UTC-12 to UTC+14")
        return cls(timezone, "offset", offset_s)

    @classmethod
    def _by_rules(cls, timezone: str, value: Mapping[object, object]) -> SheetClock:
        if set(value) != {"forward", "back"}:
            raise InputError(f"a clock with change days of its own needs `forward` and `back`, no more; {_FORMS}")
        rules = []
        for key in ("forward", "back"):
            rule = value[key]
            if not isinstance(rule, DayRule):
                rule = DayRule.parse(str(rule))
            if not rule.yearly:
                raise InputError(f"`{rule.text}` does not come every year; write for example last Sunday of October")
            rules.append(rule)
        return cls(timezone, "rules", 0, *rules)

    @property
    def fixed(self) -> bool:
        """Whether the clock is always at the same distance from UTC, so that no day is longer than another."""
        return self.kind == "offset"

    def local_seconds(self, utc_s: IntArray) -> IntArray:
        """Read the clock at many instants.

        Parameters
        ----------
        utc_s : int64 array, shape (n,)
            Instants, seconds since 1970-01-01 00:00 UTC, in rising order.

        Returns
        -------
        int64 array, shape (n,)
            What the clock shows, as seconds since 1970-01-01 00:00 on it. Where it goes back, the
            values jump back.

        Raises
        ------
        InputError
            If an instant lies outside the years 1971 to 2199.

        Examples
        --------
        A July noon in London on a meter that stays on standard time:

        >>> local = SheetClock("Europe/London", "standard").local_seconds(np.array([1783681200]))
        >>> datetime.fromtimestamp(int(local[0]), UTC).hour
        11
        """
        if self.kind == "wall":
            return clock.local_seconds(self.timezone, utc_s)
        if utc_s.size == 0:
            return utc_s.copy()
        first, last = _year_of(int(utc_s[0])), _year_of(int(utc_s[-1]))
        changes = [change for year in range(first, last + 1) for change in _own_changes(self, year)]
        starts = np.array([start for start, _ in changes], dtype=np.int64)
        offsets = np.array([offset for _, offset in changes], dtype=np.int64)
        return utc_s + np.repeat(offsets, np.diff(np.searchsorted(utc_s, starts, side="left"), append=utc_s.size))

    def day_start_s(self, day: date) -> int:
        """Find the first instant of a day of this clock.

        Parameters
        ----------
        day : datetime.date
            The date that the clock shows.

        Returns
        -------
        int
            UTC seconds.

        Examples
        --------
        >>> SheetClock("Etc/UTC", "offset", 36000).day_start_s(date(1971, 1, 2)) / 3600 % 24
        14.0
        """
        return self.wall_s(day, 0)

    def wall_s(self, day: date, minute: int) -> int:
        """Find the instant at which the clock shows a time of day.

        Parameters
        ----------
        day : datetime.date
            The date that the clock shows.
        minute : int
            Minutes after midnight, 0 to 1440.

        Returns
        -------
        int
            UTC seconds. A time shown twice means the first; a time skipped means the change plus
            what is missing.

        Examples
        --------
        >>> london = SheetClock("Europe/London", "standard")
        >>> london.wall_s(date(2026, 7, 10), 0) == clock.wall_s("Europe/London", date(2026, 7, 10), 60)
        True
        """
        if self.kind == "wall":
            return clock.wall_s(self.timezone, day, minute)
        if not FIRST_YEAR - 1 <= day.year <= LAST_YEAR + 1:
            raise InputError(f"the time lies outside the years {FIRST_YEAR} to {LAST_YEAR}")
        shown = day_number(day) * DAY_S + minute * 60
        years = {(day + timedelta(days=days)).year for days in (-2, 2)}
        changes = [change for year in sorted(years) for change in _own_changes(self, year)]
        ends = [start for start, _ in changes[1:]]
        # The offset before a change gives the instant for times shown before it and for times it skips.
        candidates = (
            shown - (offset if shown - offset >= start else changes[max(0, position - 1)][1])
            for position, ((start, offset), end) in enumerate(zip(changes, [*ends, None], strict=True))
            if end is None or shown - offset < end
        )
        return next(candidates)


def _year_of(utc_s: int) -> int:
    year = datetime.fromtimestamp(utc_s, UTC).year if 0 <= utc_s < 2**33 else 0
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise InputError(f"the time lies outside the years {FIRST_YEAR} to {LAST_YEAR}")
    return year


@lru_cache(maxsize=4096)
def _own_changes(sheet_clock: SheetClock, year: int) -> Changes:
    """List the first instant of a UTC year and every change in it, each with the offset from then on."""
    begin = int(datetime(year, 1, 1, tzinfo=UTC).timestamp())
    if sheet_clock.kind == "offset":
        return ((begin, sheet_clock.offset_s),)
    standard = _standard_changes(sheet_clock.timezone, year)
    if sheet_clock.kind == "standard":
        return standard
    end = int(datetime(year + 1, 1, 1, tzinfo=UTC).timestamp())
    changes = _rule_changes(sheet_clock, year)
    starts = sorted({start for start, _ in (*standard, *changes) if begin <= start < end})
    found = []
    for start in starts:
        base = [offset for moment, offset in standard if moment <= start][-1]
        ahead = [extra for moment, extra in changes if moment <= start][-1]
        found.append((start, base + ahead))
    return tuple(found)


def _rule_changes(sheet_clock: SheetClock, year: int) -> list[tuple[int, int]]:
    """List the instants around a year at which a clock with change days of its own changes, each with what it adds."""
    assert sheet_clock.forward is not None
    assert sheet_clock.back is not None
    changes = []
    for rule, before, after in ((sheet_clock.forward, 0, _HOUR_S), (sheet_clock.back, _HOUR_S, 0)):
        for near in (year - 1, year, year + 1):
            for day in rule.dates(near):
                shown = day_number(day) * DAY_S + _CHANGE_MINUTE * 60 - before
                standard = _standard_offset_s(sheet_clock.timezone, shown)
                # The second look is right wherever standard time does not change within hours of the rule.
                changes.append((shown - _standard_offset_s(sheet_clock.timezone, shown - standard), after))
    return sorted(changes)
