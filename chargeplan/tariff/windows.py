"""Hours as rate sheets print them: "16:00-21:00 on weekdays except holidays in summer".

A window says which minutes of which days it covers:

    HOURS [on DAYS | starting DAYS] [except DAYS] [in SEASONS]

HOURS is ``16:00-21:00`` (from the first minute up to, not including, the last), several joined by
commas, or ``all day``. Hours such as ``22:00-06:00`` pass midnight. With ``on``, they are the hours
of the calendar day named, 00:00-06:00 and 22:00-24:00, the way tables by day are printed; with
``starting``, they begin on the day named and run into the next.

DAYS may also name a kind of days that somebody calls, such as ``critical days``. Which kinds there
are is known to the whole sheet only, so a window keeps every word that could be one.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass
from typing import Final

from chargeplan.errors import InputError
from chargeplan.tariff.dates import not_a_day, weekday_of
from chargeplan.units import time_of_day

ALL_DAYS: Final = frozenset(range(7))
#: Words that join the parts of a window; a season may not be called by them.
JOINING_WORDS: Final = ("on", "starting", "except", "in")
_PARTS = re.compile(rf"\s+((?ai:{'|'.join(JOINING_WORDS)}))\s+")
_HOURS = re.compile(r"\s*([\d:]+)\s*(?:-|–|to)\s*([\d:]+)\s*\Z")
#: A second item of a list that YAML took for more text of the first.
_INNER_ITEM = re.compile(r"\s-\s+(?:[\d:]+\s*(?:-|–|to)\s*[\d:]+|all\s+(?:day|hours))", re.IGNORECASE | re.ASCII)
_AND = re.compile(r"\s*,\s*(?:and\s+)?|\s+and\s+", re.IGNORECASE)
_DAY_WORD = re.compile(r"\s+days?\Z")


def kind_key(name: str) -> str:
    """Bring the name of a kind of called days to the form in which windows keep it.

    Parameters
    ----------
    name : str
        As written, with or without ``days`` after it.

    Returns
    -------
    str
        In small letters, with single spaces.

    Examples
    --------
    >>> kind_key("Critical  days"), kind_key("critical")
    ('critical', 'critical')
    """
    return _DAY_WORD.sub("", " ".join(name.lower().split()))


@dataclass(frozen=True)
class DaySet:
    """Some days of the week, and perhaps holidays and called days.

    Parameters
    ----------
    weekdays : frozenset of int
        0 for Monday to 6 for Sunday.
    holidays : bool
        Whether holidays belong to the set, whatever day they fall on.
    called : frozenset of str
        Kinds of called days that belong to the set, as `kind_key` writes them.
    """

    weekdays: frozenset[int] = ALL_DAYS
    holidays: bool = False
    called: frozenset[str] = frozenset()

    @classmethod
    def parse(cls, text: str, called: bool = False) -> DaySet:
        """Read a set of days.

        Parameters
        ----------
        text : str
            ``weekdays``, ``weekends``, ``holidays``, ``every day``, ``Mon-Fri``, ``Sat`` and so on,
            joined by commas or ``and``.
        called : bool
            Whether other words are taken for kinds of called days; whether there are such kinds is
            then still to be checked, see `Window.unknown_day`.

        Returns
        -------
        DaySet
            The days.

        Raises
        ------
        InputError
            If a word is no day, and cannot be a kind of called days.

        Examples
        --------
        >>> sorted(DaySet.parse("weekends and holidays").weekdays)
        [5, 6]
        >>> DaySet.parse("critical days, holidays", called=True).called
        frozenset({'critical'})
        """
        weekdays: set[int] = set()
        kinds: set[str] = set()
        holidays = False
        for raw in _AND.split(text.strip()):
            word = raw.strip().lower()
            if word in ("weekdays", "weekday"):
                weekdays |= {0, 1, 2, 3, 4}
            elif word in ("weekends", "weekend"):
                weekdays |= {5, 6}
            elif word in ("holidays", "holiday"):
                holidays = True
            elif word in ("every day", "all days", "daily"):
                weekdays |= ALL_DAYS
            elif len(ends := re.split(r"\s*[-–]\s*|\s+to\s+", word)) == 2:
                first, last = weekday_of(ends[0]), weekday_of(ends[1])
                weekdays |= {(first + step) % 7 for step in range((last - first) % 7 + 1)}
            else:
                try:
                    weekdays.add(weekday_of(word))
                except InputError:
                    if not called or not word.replace(" ", "").isalnum():
                        raise
                    kinds.add(kind_key(word))
        return cls(frozenset(weekdays), holidays, frozenset(kinds))

    def covers(self, weekday: int, holiday: bool, called: frozenset[str] = frozenset()) -> bool:
        """Tell whether a day belongs to the set.

        Parameters
        ----------
        weekday : int
            0 for Monday to 6 for Sunday.
        holiday : bool
            Whether it is a holiday.
        called : frozenset of str
            Kinds that the day is called as, written as `kind_key` writes them.

        Returns
        -------
        bool
            Whether any of these belongs to the set.

        Examples
        --------
        >>> DaySet.parse("holidays").covers(2, holiday=True)
        True
        """
        return weekday in self.weekdays or (holiday and self.holidays) or not self.called.isdisjoint(called)


NO_DAYS: Final = DaySet(frozenset())
EVERY_DAY: Final = DaySet()


@dataclass(frozen=True)
class Window:
    """Some hours of some days in some seasons.

    Parameters
    ----------
    hours : tuple of (int, int)
        First and last minute after midnight; a last minute at or before the first is on the next day.
    on, except_ : DaySet
        Days it covers, and days taken out again.
    seasons : tuple of str
        Names of seasons; empty for all the year.
    starting : bool
        Whether hours past midnight belong to the day on which they begin.
    text : str
        As written.
    """

    hours: tuple[tuple[int, int], ...]
    on: DaySet = DaySet()
    except_: DaySet = NO_DAYS
    seasons: tuple[str, ...] = ()
    starting: bool = False
    text: str = ""

    @classmethod
    def parse(cls, text: str) -> Window:
        """Read one window.

        Parameters
        ----------
        text : str
            For example ``16:00-21:00 on weekdays except holidays in summer``.

        Returns
        -------
        Window
            The window.

        Raises
        ------
        InputError
            If a part cannot be read.

        Examples
        --------
        >>> Window.parse("22:00-06:00, 12:00-13:30 on Mon-Fri").hours
        ((1320, 360), (720, 810))
        """
        if match := _INNER_ITEM.search(text):
            raise InputError(
                f"the hours go on with `{match[0].strip()}`; a line that starts with `- ` seems to be indented "
                "wrongly, begin it right below the `- ` of the line before"
            )
        first, *rest = _PARTS.split(text.strip())
        parts: dict[str, str] = {}
        for raw_word, part in zip(rest[::2], rest[1::2], strict=True):
            word = raw_word.lower()
            if word in parts or (word in ("on", "starting") and ("on" in parts or "starting" in parts)):
                raise InputError(f"`{word}` comes twice in `{text.strip()[:60]}`; write one window per line of a list")
            parts[word] = part
        starting = "starting" in parts
        days = parts.get("starting", parts.get("on"))
        return cls(
            hours=_hours(first),
            on=DaySet.parse(days, called=True) if days is not None else DaySet(),
            except_=DaySet.parse(parts["except"], called=True) if "except" in parts else NO_DAYS,
            seasons=tuple(season.strip() for season in _AND.split(parts["in"])) if "in" in parts else (),
            starting=starting,
            text=text.strip(),
        )

    @property
    def names_called(self) -> frozenset[str]:
        """Words among its days that are no days, so must be kinds of called days, as `kind_key` writes them."""
        return self.on.called | self.except_.called

    def unknown_day(self, kinds: Collection[str] = ()) -> str | None:
        """Say what is wrong with a word among its days that is neither a day nor a kind of called days.

        Parameters
        ----------
        kinds : collection of str
            Names of the kinds of called days of the sheet.

        Returns
        -------
        str or None
            What is wrong and what would be right, joined by ``; ``; None if nothing is.

        Examples
        --------
        >>> Window.parse("06:00-09:00 on critical days").unknown_day(["Critical"]) is None
        True
        >>> Window.parse("06:00-09:00 on workdays").unknown_day()
        '`workdays` is not a day; write Mon, Tue ... Sun, weekdays, weekends or holidays'
        """
        unknown = sorted(self.names_called - {kind_key(kind) for kind in kinds})
        if not unknown:
            return None
        return not_a_day(unknown[0]) + (f", or a kind of called days: {', '.join(kinds)}" if kinds else "")

    def covers_day(self, weekday: int, holiday: bool, season: str | None, called: frozenset[str] = frozenset()) -> bool:
        """Tell whether the window has hours on such a day; parameters as for `DaySet.covers`.

        Examples
        --------
        >>> Window.parse("16:00-21:00 on weekdays except holidays").covers_day(2, True, None)
        False
        >>> Window.parse("16:00-20:00 on critical").covers_day(2, False, None, frozenset({"critical"}))
        True
        """
        in_season = not self.seasons or season in self.seasons
        on, out = (days.covers(weekday, holiday, called) for days in (self.on, self.except_))
        return in_season and on and not out

    def minutes(self) -> tuple[list[tuple[int, int]], list[tuple[int, int]]]:
        """Split the hours at midnight.

        Returns
        -------
        tuple of two lists of (int, int)
            Minutes of the day itself, and minutes of the day after it.

        Examples
        --------
        >>> Window.parse("22:00-06:00").minutes()
        ([(0, 360), (1320, 1440)], [])
        >>> Window.parse("22:00-06:00 starting Fri").minutes()
        ([(1320, 1440)], [(0, 360)])
        """
        own: list[tuple[int, int]] = []
        after: list[tuple[int, int]] = []
        for start, end in self.hours:
            if start < end:
                own.append((start, end))
            else:
                (after if self.starting else own).append((0, end))
                own.append((start, 1440))
        return [span for span in own if span[0] < span[1]], [span for span in after if span[0] < span[1]]


def _hours(text: str) -> tuple[tuple[int, int], ...]:
    if text.strip().lower() in ("all day", "all hours", "always"):
        return ((0, 1440),)
    spans = []
    for part in _AND.split(text.strip()):
        match = _HOURS.match(part)
        if match is None:
            raise InputError(f"`{part.strip()[:60]}` is not a span of hours; write for example 16:00-21:00 on weekdays")
        start, end = time_of_day(match[1]), time_of_day(match[2])
        if start == end:
            raise InputError(f"`{part.strip()}` is empty; write `all day` or 00:00-24:00 for a whole day")
        spans.append((start % 1440, end if end else 1440))
    return tuple(spans)
