"""The seasons of a rate sheet: days of the year, days between yearly rules, or the days of daylight time."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray, day_number, day_of_number, zone
from chargeplan.errors import InputError
from chargeplan.tariff.dates import MONTH_DAYS, DayRule, month_day, month_of
from chargeplan.tariff.sheet_clock import forward_by

NOTHING: Final = -1
SEVERAL: Final = -2
#: The Gregorian calendar repeats its weekdays after 28 years (within one century).
CYCLE_YEARS: Final = 28
#: 2024-01-01, the beginning of a leap year; whole cycles of years are looked at from here.
CYCLE_FIRST: Final = 19_723
CYCLE_LAST: Final = 29_949  # 2051-12-31

MonthDays = frozenset[tuple[int, int]]
_YEAR: Final = tuple((month, day) for month in range(1, 13) for day in range(1, MONTH_DAYS[month - 1] + 1))
_RANGE = re.compile(r"\s*[-–]\s*|\s+to\s+")
_CLOCK_SEASON = re.compile(r"(daylight|standard)(?:\s+saving)?\s+time\Z", re.IGNORECASE | re.ASCII)
_EXAMPLE: Final = "write for example Jun 1 - Sep 30, or Jun - Sep"


@dataclass(frozen=True)
class SeasonDays:
    """The days of one season.

    Parameters
    ----------
    days : frozenset of (month, day)
        Days that belong to it in every year; 29 February counts in leap years.
    spans : tuple of (DayRule, DayRule)
        First and last days that move from year to year; both belong to the season.
    daylight, standard : bool
        Whether the days of daylight time, or of standard time, belong to it.

    Examples
    --------
    >>> SeasonDays.parse("first Sunday of May - last Saturday of October").ruled
    True
    """

    days: MonthDays = frozenset()
    spans: tuple[tuple[DayRule, DayRule], ...] = ()
    daylight: bool = False
    standard: bool = False

    @classmethod
    def parse(cls, text: str) -> SeasonDays:
        """Read the days of a season.

        Parameters
        ----------
        text : str
            ``Jun 1 - Sep 30``, ``Nov - Apr`` for whole months, ``Jul``, ``first Sunday of May - last
            Saturday of October``, ``daylight time``, ``standard time``, or several joined by commas.
            A range may pass New Year. Both ends belong to it.

        Returns
        -------
        SeasonDays
            The days.

        Raises
        ------
        InputError
            If a part is none of these, or if an end does not come every year.

        Examples
        --------
        >>> len(SeasonDays.parse("Nov 1 - Feb 29").days), len(SeasonDays.parse("May, Jun, Sep - Oct").days)
        (121, 122)
        """
        days: set[tuple[int, int]] = set()
        spans: list[tuple[DayRule, DayRule]] = []
        by_clock: set[str] = set()
        for part in text.split(","):
            if match := _CLOCK_SEASON.match(part.strip()):
                by_clock.add(match[1].lower())
                continue
            ends = _RANGE.split(part.strip())
            if len(ends) > 2 or not ends[0]:
                raise InputError(f"`{part.strip()[:40]}` is not a season; {_EXAMPLE}")
            first, last = _end(ends[0], 1), _end(ends[-1], 31)
            if isinstance(first, DayRule) or isinstance(last, DayRule):
                span = _as_rule(first), _as_rule(last)
                _check_order(span, part.strip())
                spans.append(span)
            elif first <= last:
                days.update(day for day in _YEAR if first <= day <= last)
            else:
                days.update(day for day in _YEAR if day >= first or day <= last)
        return cls(frozenset(days), tuple(spans), "daylight" in by_clock, "standard" in by_clock)

    @property
    def ruled(self) -> bool:
        """Whether the season differs from year to year."""
        return bool(self.spans) or self.by_clock

    @property
    def by_clock(self) -> bool:
        """Whether the season follows the clock, so that its days depend on the time zone."""
        return self.daylight or self.standard

    def mask(self, first: int, last: int, timezone: str | None = None) -> NDArray[np.bool_]:
        """Tell which dates of a span belong to the season.

        Parameters
        ----------
        first, last : int
            Day numbers, both included.
        timezone : str, optional
            The zone whose clock the season follows; needed where it follows one.

        Returns
        -------
        bool array, shape (last - first + 1,)
            True for the days of the season.

        Examples
        --------
        >>> from chargeplan.clock import day_number
        >>> may = day_number(date(2026, 5, 1))
        >>> SeasonDays.parse("first Sunday of May - May 8").mask(may, may + 8).tolist()
        [False, False, True, True, True, True, True, True, False]
        """
        table = np.zeros((13, 32), dtype=np.bool_)
        for month, day in self.days:
            table[month, day] = True
        mask: NDArray[np.bool_] = table[month_and_day(first, last)]
        for start, end in (found for span in self.spans for found in _spans(span, first, last)):
            mask[max(0, start - first) : max(0, end - first + 1)] = True
        if self.by_clock:
            if timezone is None:
                raise InputError("a season of daylight or standard time needs a time zone")
            years = range(day_of_number(first).year, day_of_number(last).year + 1)
            whole = np.concatenate([_daylight_days(timezone, year) for year in years])
            skipped = first - day_number(date(years[0], 1, 1))
            daylight = whole[skipped : skipped + mask.size]
            mask |= (daylight & self.daylight) | (~daylight & self.standard)
        return mask


def season_days(text: str) -> SeasonDays:
    """Read the days of a season; see `SeasonDays.parse`.

    Examples
    --------
    >>> season_days("Feb 28 - Mar 1").days == {(2, 28), (2, 29), (3, 1)}
    True
    """
    return SeasonDays.parse(text)


def whole_year_without(seasons: tuple[SeasonDays, ...]) -> SeasonDays | None:
    """Give the days of the year that are in none of some seasons; None if that differs from year to year.

    Examples
    --------
    >>> winter = whole_year_without((season_days("Apr - Nov"),))
    >>> winter.days == season_days("Dec - Mar").days
    True
    """
    if any(season.ruled for season in seasons):
        return None
    return SeasonDays(frozenset(_YEAR).difference(*(season.days for season in seasons)))


def _end(text: str, day: int) -> tuple[int, int] | DayRule:
    """Read one end of a season; ``day`` completes a month that stands alone."""
    clean = text.strip()
    words = clean.lower().split()
    if len(words) == 1 and re.fullmatch(r"[A-Za-z]+\.?", clean) and words != ["easter"]:
        month = month_of(clean)
        return month, min(day, MONTH_DAYS[month - 1])
    if len(words) <= 2 and not any(word in ("easter", "good", "ascension", "whit") for word in words):
        return month_day(clean)
    rule = DayRule.parse(clean)
    if not rule.yearly:
        raise InputError(f"`{clean[:50]}` does not come every year; write for example last Sunday of October")
    return rule


def _as_rule(end: tuple[int, int] | DayRule) -> DayRule:
    if isinstance(end, DayRule):
        return end
    # 29 February as the end of a season means the last day of February.
    return DayRule.parse("day before Mar 1") if end == (2, 29) else DayRule("", "fixed", end)


def month_and_day(first: int, last: int) -> tuple[IntArray, IntArray]:
    """Give the month and the day of the month of every date of a span of day numbers, both ends included.

    Examples
    --------
    >>> [part.tolist() for part in month_and_day(30, 31)]
    [[1, 2], [31, 1]]
    """
    stamp = np.arange(first, last + 1, dtype=np.int64).astype("datetime64[D]")
    month_start = stamp.astype("datetime64[M]")
    month: IntArray = month_start.astype(np.int64) % 12 + 1
    day: IntArray = (stamp - month_start).astype(np.int64) + 1
    return month, day


@lru_cache(maxsize=8192)
def _rule_days(rule: DayRule, year: int) -> tuple[int, ...]:
    return tuple(day_number(day) for day in rule.dates(year))


def _spans(span: tuple[DayRule, DayRule], first: int, last: int) -> list[tuple[int, int]]:
    """List the spans, as day numbers, that touch the dates from first to last: each start with the next end."""
    years = range(day_of_number(first).year - 2, day_of_number(last).year + 3)
    starts, ends = (np.array([day for year in years for day in _rule_days(rule, year)]) for rule in span)
    following = np.searchsorted(ends, starts, side="left")
    pairs = [(int(start), int(ends[k])) for start, k in zip(starts, following, strict=True) if k < ends.size]
    return [(start, end) for start, end in pairs if end >= first and start <= last]


def _check_order(span: tuple[DayRule, DayRule], text: str) -> None:
    """Refuse a season whose ends change places from year to year, as from Easter Sunday to Apr 10."""
    lengths = {start: end - start for start, end in _spans(span, CYCLE_FIRST, CYCLE_LAST)}
    shortest = min(lengths.values())
    wrong = [start for start, length in lengths.items() if length - shortest > 180]
    if wrong:
        year = day_of_number(wrong[0]).year
        raise InputError(
            f"`{text[:60]}` lasts until the next year when it begins in {year}, but not always; "
            "give ends that keep their order every year"
        )


@lru_cache(maxsize=1024)
def _daylight_days(timezone: str, year: int) -> NDArray[np.bool_]:
    """Tell for every day of a year whether the clock is forward at noon."""
    days = (date(year + 1, 1, 1) - date(year, 1, 1)).days
    noons = (datetime(year, 1, 1, 12, tzinfo=zone(timezone)) + timedelta(days=n) for n in range(days))
    return np.array([forward_by(timezone, noon) > timedelta() for noon in noons])


@dataclass(frozen=True, eq=False)
class Seasons:
    """The seasons of a sheet.

    Parameters
    ----------
    names : tuple of str
        Their names; empty where the sheet has none.
    code : int array, shape (13, 32)
        Position in `names` by month and day, of the days that belong to a season every year;
        `NOTHING` or `SEVERAL` where that is not one season.
    rest : int
        Position of the season that takes the rest, or `NOTHING`.
    moving : tuple of (int, SeasonDays)
        Position and days of the seasons that differ from year to year.
    timezone : str, optional
        The zone that seasons of daylight and standard time follow.

    Examples
    --------
    >>> Seasons.build({}).names
    ()
    """

    names: tuple[str, ...]
    code: NDArray[np.int16] = field(repr=False)
    rest: int = NOTHING
    moving: tuple[tuple[int, SeasonDays], ...] = ()
    timezone: str | None = None

    @classmethod
    def build(cls, days: Mapping[str, SeasonDays | MonthDays | None], timezone: str | None = None) -> Seasons:
        """Lay the seasons on the days of the year; a season whose days are None takes the rest.

        Parameters
        ----------
        days : mapping of name to SeasonDays or None
            The seasons in the order of the sheet.
        timezone : str, optional
            The zone that seasons of daylight and standard time follow.

        Returns
        -------
        Seasons
            The seasons, whether or not every day has exactly one; see `fault`.

        Examples
        --------
        >>> from chargeplan.clock import day_number
        >>> fourth = day_number(date(2026, 7, 4))
        >>> Seasons.build({"summer": season_days("Jun - Sep"), "winter": None}).codes(fourth, fourth).tolist()
        [0]
        """
        code = np.full((13, 32), NOTHING, dtype=np.int16)
        rest = NOTHING
        moving = []
        for position, found in enumerate(days.values()):
            season = SeasonDays(found) if isinstance(found, frozenset) else found
            if season is None:
                rest = position
                continue
            if season.ruled:
                moving.append((position, season))
            for month, day in season.days:
                code[month, day] = position if code[month, day] == NOTHING else SEVERAL
        return cls(tuple(days), code, rest if days else 0, tuple(moving), timezone)

    @property
    def ruled(self) -> bool:
        """Whether a season differs from year to year, so that a fault has a date rather than a day of the year."""
        return bool(self.moving)

    def codes(self, first: int, last: int) -> IntArray:
        """Give the season of every date of a span.

        Parameters
        ----------
        first, last : int
            Day numbers, both included.

        Returns
        -------
        int64 array, shape (last - first + 1,)
            Position in `names`, 0 where there are no seasons; `NOTHING` or `SEVERAL` where a date
            is not in exactly one.

        Examples
        --------
        >>> from chargeplan.clock import day_number
        >>> clock = Seasons.build({"summer": season_days("daylight time"), "winter": None}, "America/Denver")
        >>> spring = day_number(date(2026, 3, 7))
        >>> clock.codes(spring, spring + 1).tolist()
        [1, 0]
        """
        code: IntArray = self.code[month_and_day(first, last)].astype(np.int64)
        for position, season in self.moving:
            mask = season.mask(first, last, self.timezone)
            free = (code == NOTHING) | (code == position)
            code = np.where(mask, np.where(free, position, SEVERAL), code)
        code[code == NOTHING] = self.rest
        return code

    def fault_date(self) -> tuple[date, int] | None:
        """Find the first date from 2024 to 2051 that is in no season, or in several.

        Returns
        -------
        tuple of (datetime.date, code) or None
            The code is `NOTHING` or `SEVERAL`. None where every date has exactly one season.

        Examples
        --------
        >>> Seasons.build({"summer": season_days("first Sunday of May - Oct 31")}).fault_date()
        (datetime.date(2024, 1, 1), -1)
        """
        codes = self.codes(CYCLE_FIRST, CYCLE_LAST)
        bad = np.flatnonzero(codes < 0)
        return (day_of_number(CYCLE_FIRST + int(bad[0])), int(codes[bad[0]])) if bad.size else None

    def fault(self) -> tuple[int, int, int] | None:
        """Find the first day of the year that is in no season, or in several.

        Where a season is `ruled` this is the day of the first such date; `fault_date` gives its year.

        Returns
        -------
        tuple of (month, day, code) or None
            None where every day has exactly one season.

        Examples
        --------
        >>> Seasons.build({"summer": season_days("Jan 2 - Dec 31")}).fault()
        (1, 1, -1)
        """
        found = self.fault_date()
        return (found[0].month, found[0].day, found[1]) if found else None
