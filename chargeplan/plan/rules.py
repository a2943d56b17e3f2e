"""How a charger may be switched: how long it must stay on and off, and how often it may start."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from chargeplan.errors import InputError

#: Blocks that meet within this many seconds are one block.
MEET_S = 1e-3


@dataclass(frozen=True)
class ChargerRules:
    """What a charger, or its owner, asks of the switching within one stay.

    A block is a time in which charging runs without a pause. Arrival and departure need no pause
    before and after them: the first start and the last stop of a stay are free.

    Parameters
    ----------
    min_on_min, min_off_min : float
        Least length of a block, and of the pause between two blocks, in minutes.
    most_starts : int, optional
        Most blocks in the stay; 1 means one unbroken block. None: any number.
    one_block_key : {"one_block", "most_starts"}
        By which key of a household file one unbroken block was asked for.

    Raises
    ------
    InputError
        If a number is out of range.

    Examples
    --------
    >>> rules = ChargerRules(min_on_min=30, most_starts=2)
    >>> rules.bind, rules.one_block, rules.names
    (True, False, ('min_on', 'most_starts'))
    """

    min_on_min: float = 0.0
    min_off_min: float = 0.0
    most_starts: int | None = None
    one_block_key: str = "one_block"

    def __post_init__(self) -> None:
        for name in ("min_on_min", "min_off_min"):
            minutes = getattr(self, name)
            if not (math.isfinite(minutes) and 0 <= minutes <= 1440):
                raise InputError(f"{name} is {minutes:g}, which cannot be; write 0 to 1440 minutes, like 30")
        starts = self.most_starts
        if starts is not None and (isinstance(starts, bool) or not isinstance(starts, int) or starts < 1):
            raise InputError(f"most_starts is {starts!r}, which cannot be; write a whole number of 1 or more")

    @property
    def one_block(self) -> bool:
        """Whether a stay may have one block only."""
        return self.most_starts == 1

    @property
    def only_one_block(self) -> bool:
        """Whether that is the only rule."""
        return self.one_block and len(self.names) == 1

    @property
    def names(self) -> tuple[str, ...]:
        """Which rules there are, by the keys of a household file."""
        found = (
            ("min_on", self.min_on_min > 0),
            # With one block there is no pause that could be too short.
            ("min_off", self.min_off_min > 0 and not self.one_block),
            (self.one_block_key if self.one_block else "most_starts", self.most_starts is not None),
        )
        return tuple(name for name, is_there in found if is_there)

    @property
    def bind(self) -> bool:
        """Whether there is any rule."""
        return bool(self.names)

    def without(self, name: str) -> ChargerRules:
        """Drop one rule, named as in `names`."""
        return ChargerRules(
            min_on_min=0.0 if name == "min_on" else self.min_on_min,
            min_off_min=0.0 if name == "min_off" else self.min_off_min,
            most_starts=None if name in ("one_block", "most_starts") else self.most_starts,
            one_block_key=self.one_block_key,
        )


@dataclass(frozen=True)
class Breaches:
    """By how much blocks break rules; all 0 if they keep them.

    Parameters
    ----------
    on_s, off_s : float
        Greatest lack of a block, and of a pause, in seconds.
    starts : int
        Blocks too many, of the stay with most of them.
    """

    on_s: float = 0.0
    off_s: float = 0.0
    starts: int = 0


def breaches(rules: ChargerRules, start_s: ArrayLike, end_s: ArrayLike) -> Breaches:
    """Measure how far the blocks of one stay break its rules.

    Parameters
    ----------
    rules : ChargerRules
        What is asked.
    start_s, end_s : array, shape (k,)
        The blocks in order of time, in seconds; blocks that meet count as one.

    Returns
    -------
    Breaches

    Examples
    --------
    >>> breaches(ChargerRules(min_on_min=30, min_off_min=10, most_starts=1), [0, 2100], [1800, 3600])
    Breaches(on_s=300.0, off_s=300.0, starts=1)
    """
    start, end = np.atleast_1d(np.asarray(start_s, np.float64)), np.atleast_1d(np.asarray(end_s, np.float64))
    apart = start[1:] - end[:-1] > MEET_S
    first = start[np.concatenate(([True], apart))[: start.size]]
    last = end[np.concatenate((apart, [True]))[-start.size :]] if start.size else end
    pauses = first[1:] - last[:-1]
    return Breaches(
        on_s=max(0.0, float((60 * rules.min_on_min - (last - first)).max(initial=0.0))),
        off_s=max(0.0, float((60 * rules.min_off_min - pauses).max(initial=0.0))),
        starts=0 if rules.most_starts is None else max(0, first.size - rules.most_starts),
    )
