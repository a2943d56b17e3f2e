"""Which period each minute of a day is in, worked out once for every kind of day.

Every date has a *pattern*, one number for its season, its day of the week, whether it is a holiday and
what it is called as. A table of periods is worked out once per pattern and minute, not per slot; a year
of slots is then a look-up.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import product
from math import gcd
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray
from chargeplan.tariff.seasons import NOTHING, SEVERAL, Seasons
from chargeplan.tariff.windows import Window, kind_key

MINUTES: Final = 1440

PeriodHours = Mapping[str, tuple[Window, ...] | None]
#: Season, day of the week, whether it is a holiday, and what it is called as.
_Day = tuple[str | None, int, bool, frozenset[str]]
#: Period, first and last minute of what a day leaves to the day after it.
_Left = tuple[tuple[int, int, int], ...]


@dataclass(frozen=True, eq=False)
class DayTable:
    """Which of several named periods each minute is in.

    Parameters
    ----------
    names : tuple of str
        Names of the periods.
    code : int16 array, shape (days, tails, 1440)
        Position in `names` for a day that differs from others, what the day before left over
        midnight, and the minute; `NOTHING` or `SEVERAL` where that is not one period.
    tail : int array, shape (patterns,)
        Which of the second axis a day leaves to the day after it.
    resolution_min : int
        The greatest number of minutes that divides every boundary.
    own : int array, shape (patterns,)
        Which of the first axis a day is.
    patterns_of_season : int
        How many patterns there are for one season.
    """

    names: tuple[str, ...]
    code: NDArray[np.int16] = field(repr=False)
    tail: IntArray = field(repr=False)
    resolution_min: int
    own: IntArray = field(default_factory=lambda: np.zeros(0, dtype=np.int64), repr=False)
    patterns_of_season: int = 14

    @classmethod
    def build(cls, periods: PeriodHours, seasons: Seasons, called: Sequence[str] = ()) -> DayTable:
        """Work the periods out for every pattern; a period whose hours are None takes the rest.

        Parameters
        ----------
        periods : mapping
            Windows by the name of the period.
        seasons : Seasons
            The seasons; only their names matter here.
        called : sequence of str
            Names of the kinds of called days, in the order of the calendar.

        Returns
        -------
        DayTable
            The table.

        Examples
        --------
        >>> none = Seasons.build({})
        >>> table = DayTable.build({"peak": (Window.parse("16:00-21:00"),), "off-peak": None}, none)
        >>> table.names[table.code[0, 0, 17 * 60]], table.resolution_min
        ('peak', 60)
        """
        windows = [(position, window) for position, given in enumerate(periods.values()) for window in given or ()]
        rest = next((position for position, given in enumerate(periods.values()) if given is None), NOTHING)
        named = frozenset[str]().union(*(window.names_called for _, window in windows))
        keys = [kind_key(name) for name in called]
        days: dict[bytes, int] = {}
        tails: dict[_Left, int] = {(): 0}
        rows: list[NDArray[np.int16]] = []
        known: dict[_Day, tuple[int, int]] = {}
        found = []
        for season, weekday, flags in product(seasons.names or (None,), range(7), range(2 << len(keys))):
            kinds = frozenset(key for bit, key in enumerate(keys) if flags >> (bit + 1) & 1) & named
            day = season, weekday, bool(flags & 1), kinds
            if day not in known:
                own, left = _lay_day(windows, day)
                row = days.setdefault(own.tobytes(), len(days))
                if row == len(rows):
                    rows.append(own)
                known[day] = row, tails.setdefault(left, len(tails))
            found.append(known[day])
        code = np.repeat(np.stack(rows)[:, None, :], len(tails), axis=1)
        for left_over, number in tails.items():
            for position, start, end in left_over:
                _lay(code[:, number], position, (start, end))
        code[code == NOTHING] = rest
        boundaries = [minute for _, window in windows for span in window.hours for minute in span]
        own_of, tail = np.array(found, dtype=np.int64).T.copy()
        return cls(tuple(periods), code, tail, gcd(MINUTES, *boundaries), own_of, 7 * (2 << len(keys)))

    def rows(self, patterns: IntArray) -> IntArray:
        """Find the row of the flattened table for each day but the first of a run of days.

        Parameters
        ----------
        patterns : int64 array, shape (n + 1,)
            Patterns of consecutive dates, from the day before the first.

        Returns
        -------
        int64 array, shape (n,)
            Positions in ``code.reshape(-1, 1440)``.
        """
        return self.row(patterns[:-1], patterns[1:])

    def row(self, before: IntArray, pattern: IntArray) -> IntArray:
        """Find the row of the flattened table for days of a pattern after days of another."""
        rows: IntArray = self.own[pattern] * self.code.shape[1] + self.tail[before]
        return rows

    def in_season(self, season: int) -> set[int]:
        """List the periods that can occur in a season, whatever its days are called as.

        Examples
        --------
        >>> table = DayTable.build({"night": (Window.parse("00:00-06:00"),), "day": None}, Seasons.build({}))
        >>> table.in_season(0)
        {0, 1}
        """
        own = self.own[season * self.patterns_of_season : (season + 1) * self.patterns_of_season]
        return {int(code) for code in np.unique(self.code[np.unique(own)]) if code >= 0}


def _lay_day(windows: Sequence[tuple[int, Window]], day: _Day) -> tuple[NDArray[np.int16], _Left]:
    """Lay the windows of a kind of day on its minutes; give also what they leave to the day after."""
    season, weekday, holiday, called = day
    own = np.full(MINUTES, NOTHING, dtype=np.int16)
    left: list[tuple[int, int, int]] = []
    for position, window in windows:
        if window.covers_day(weekday, holiday, season, called):
            same_day, day_after = window.minutes()
            for span in same_day:
                _lay(own, position, span)
            left += [(position, *span) for span in day_after]
    return own, tuple(left)


def _lay(rows: NDArray[np.int16], position: int, span: tuple[int, int]) -> None:
    part = rows[..., span[0] : span[1]]
    part[...] = np.where((part == NOTHING) | (part == position), position, SEVERAL)
