"""Spells: times within a stay in which less may be drawn, or nothing.

Forbidden hours, load control and derating all come down to another limit for some time. Slots are
cut where a spell begins or ends, so that a limit holds to the second and the rest stays as it was.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import InputError

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True)
class Spell:
    """A time in which another limit holds.

    Parameters
    ----------
    start_s, end_s : int
        UTC seconds; the end is not part of it.
    wall_kw : float
        Power drawn from the wall when charging at the limit; 0 means that nothing can be charged.
    gain : float
        Battery kWh for one wall kWh at that power, above 0 and at most 1.
    because : str
        Which rule says so, for the answer only.

    Raises
    ------
    InputError
        If it ends before it begins, or a number is out of range.

    Examples
    --------
    >>> Spell(0, 3600, wall_kw=0.0, because="never").wall_kw
    0.0
    """

    start_s: int
    end_s: int
    wall_kw: float
    gain: float = 1.0
    because: str = ""

    def __post_init__(self) -> None:
        if self.end_s <= self.start_s:
            raise InputError(f"a spell ends at {self.end_s}, not after its start at {self.start_s}; give a later end")
        if not (math.isfinite(self.wall_kw) and self.wall_kw >= 0 and 0 < self.gain <= 1):
            raise InputError(
                f"a spell has {self.wall_kw!r} kW at a gain of {self.gain!r}; write 0 kW or more, at a gain above 0 "
                "and at most 1"
            )


def check_spells(spells: Sequence[Spell], place: str) -> None:
    """Refuse spells that overlap or are out of order.

    Parameters
    ----------
    spells : sequence of Spell
        Of one stay.
    place : str
        Its name, for the message.

    Raises
    ------
    InputError
        If one begins before another has ended.
    """
    for before, after in pairwise(spells):
        if after.start_s < before.end_s:
            raise InputError(
                f"a spell at {place} begins at {after.start_s}, before another one ends at {before.end_s}; "
                "give them in order of time, without overlap"
            )


def cut_slots(start_s: Ints, hours: Floats, spells: Sequence[Spell]) -> tuple[Ints, Ints, Floats]:
    """Cut the slots of one stay where a spell begins or ends.

    Parameters
    ----------
    start_s : array of int, shape (n,)
        Start of each slot, UTC seconds.
    hours : array, shape (n,)
        Length of each slot.
    spells : sequence of Spell
        Of this stay.

    Returns
    -------
    source : array of int, shape (k,)
        The slot that each piece comes from.
    start_s : array of int, shape (k,)
        Start of each piece.
    hours : array, shape (k,)
        Its length.

    Examples
    --------
    >>> source, start, hours = cut_slots(np.array([0, 900]), np.full(2, 0.25), [Spell(300, 900, 0.0)])
    >>> source.tolist(), start.tolist(), (60 * hours).round().tolist()
    ([0, 0, 1], [0, 300, 900], [5.0, 10.0, 15.0])
    """
    end_s = start_s + np.round(3600 * hours).astype(np.int64)
    edges = np.unique([moment for spell in spells for moment in (spell.start_s, spell.end_s)]).astype(np.int64)
    slot = np.searchsorted(start_s, edges, side="right") - 1
    inside = (slot >= 0) & (edges > start_s[slot]) & (edges < end_s[slot])
    source = np.concatenate((np.arange(start_s.size), slot[inside]))
    begin = np.concatenate((start_s, edges[inside]))
    order = np.argsort(begin, kind="stable")
    source, begin = source[order], begin[order]
    whole = np.bincount(source, minlength=start_s.size)[source] == 1
    finish = np.append(begin[1:], end_s[-1])
    finish = np.minimum(finish, end_s[source])
    return source, begin, np.where(whole, hours[source], (finish - begin) / 3600)


def limits_of(start_s: Ints, spells: Sequence[Spell], wall_kw: float, gain: float) -> tuple[Floats, Floats]:
    """Give the power and the gain of pieces that `cut_slots` made.

    Parameters
    ----------
    start_s : array of int, shape (k,)
        Start of each piece.
    spells : sequence of Spell
        Of this stay, in order.
    wall_kw, gain : float
        Outside of all spells.

    Returns
    -------
    wall_kw, gain : array, shape (k,)

    Examples
    --------
    >>> kw, _ = limits_of(np.array([0, 300, 900]), [Spell(300, 900, 2.0)], 7.2, 0.9)
    >>> kw.tolist()
    [7.2, 2.0, 7.2]
    """
    begin = np.array([spell.start_s for spell in spells], dtype=np.int64)
    end = np.array([spell.end_s for spell in spells], dtype=np.int64)
    number = np.searchsorted(begin, start_s, side="right") - 1
    inside = (number >= 0) & (start_s < end[number])
    power = np.array([spell.wall_kw for spell in spells])[number]
    gains = np.array([spell.gain for spell in spells])[number]
    return np.where(inside, power, wall_kw), np.where(inside, gains, gain)
