"""Preconditioning: what a car draws shortly before it leaves, to warm or cool its cabin and battery.

It comes first: what is drawn for it cannot be charged, and what the wall does not give it takes from the
battery. So it is no choice of the planner. It comes down to another limit in its time, which is laid over
the spells of the stay, to a fixed energy from the wall, which costs what it costs then, and to a level that
must be so much higher before the departure.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import InputError
from chargeplan.plan.spells import Spell

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: What spells of a lower limit are called after.
PRECONDITIONING = "preconditioning"


@dataclass(frozen=True)
class Limits:
    """The limit of a stay: the usual one, and the times with another.

    Parameters
    ----------
    start_s, end_s : int
        The stay, UTC seconds.
    wall_kw, gain : float
        The usual limit.
    spells : tuple of Spell
        Times with another limit, in order.
    """

    start_s: int
    end_s: int
    wall_kw: float
    gain: float
    spells: tuple[Spell, ...] = ()

    def between(self, start_s: int, end_s: int) -> list[Spell]:
        """Cut a time into pieces of one limit each; those without a spell have no reason."""
        inside = [spell for spell in self.spells if spell.end_s > start_s and spell.start_s < end_s]
        edges = {start_s, end_s}
        for spell in inside:
            edges |= {max(spell.start_s, start_s), min(spell.end_s, end_s)}
        found = []
        for begin, end in pairwise(sorted(edges)):
            own = next((spell for spell in inside if spell.start_s <= begin < spell.end_s), None)
            kw, gain, because = (self.wall_kw, self.gain, "") if own is None else (own.wall_kw, own.gain, own.because)
            found.append(Spell(begin, end, kw, gain, because))
        return found


@dataclass(frozen=True, eq=False)
class Preconditioning:
    """What a car draws for itself in the last minutes before a departure.

    Parameters
    ----------
    wall_kw : float
        Power it draws from the wall, if that gives as much.
    takes_s : int
        For how many seconds before the departure; a shorter stay has as much less.
    left : callable, optional
        ``f(wall_kw)`` gives wall power and gain that are left for charging where that much may be drawn in
        all. Without it what is left is the difference, at the gain of the stay.
    battery_per_wall : float
        Battery kWh that take the place of one wall kWh where the wall does not give it; less than 1, as what
        comes from the battery does not pass through the onboard charger.
    most_kw : float
        Most that may be drawn meanwhile, below the limit of the stay where a bill charges the highest power.

    Raises
    ------
    InputError
        If a number is out of range.

    Examples
    --------
    3 kW for the last 20 minutes of a stay that has 7.2 kW:

    >>> warm = Preconditioning(3.0, 1200)
    >>> stay = Limits(0, 7200, 7.2, 0.9)
    >>> [(spell.start_s, spell.end_s, round(spell.wall_kw, 1)) for spell in warm.spells(stay)]
    [(6000, 7200, 4.2)]
    >>> warm.drawn_kwh(stay, np.array([0, 6000, 6600]), np.array([6000, 600, 600]) / 3600).tolist()
    [0.0, 0.5, 0.5]
    """

    wall_kw: float
    takes_s: int
    left: Callable[[float], tuple[float, float]] | None = None
    battery_per_wall: float = 1.0
    most_kw: float = math.inf

    def __post_init__(self) -> None:
        if not (math.isfinite(self.wall_kw) and self.wall_kw >= 0):
            raise InputError(f"preconditioning at {self.wall_kw!r} kW cannot be; write 0 kW or more")
        if not 0 < self.takes_s <= 86400:
            raise InputError(f"preconditioning for {self.takes_s!r} s cannot be; write up to a day")
        if not 0 <= self.battery_per_wall <= 1:
            raise InputError(f"{self.battery_per_wall!r} battery kWh for a wall kWh cannot be; write 0 to 1")
        if not self.most_kw >= 0:
            raise InputError(f"preconditioning with {self.most_kw!r} kW at most cannot be; write 0 kW or more")

    def _pieces(self, stay: Limits) -> list[Spell]:
        found = stay.between(max(stay.start_s, stay.end_s - self.takes_s), stay.end_s)
        return [replace(piece, wall_kw=min(piece.wall_kw, self.most_kw)) for piece in found]

    def spells(self, stay: Limits) -> tuple[Spell, ...]:
        """Lay what is left for charging over the spells of a stay; what comes after the departure is left out.

        Parameters
        ----------
        stay : Limits
            The stay.

        Returns
        -------
        tuple of Spell
            In order of time.
        """
        begin = max(stay.start_s, stay.end_s - self.takes_s)
        found = [replace(spell, end_s=min(spell.end_s, begin)) for spell in stay.spells if spell.start_s < begin]
        for piece in self._pieces(stay):
            if self.left is None:
                kw, gain = max(0.0, piece.wall_kw - self.wall_kw), piece.gain
            else:
                kw, gain = self.left(piece.wall_kw)
            lowered = replace(piece, wall_kw=kw, gain=gain if kw > 0 else 1.0, because=PRECONDITIONING)
            found.append(lowered if kw < piece.wall_kw - 1e-9 else piece)
        return tuple(found)

    def drawn_kwh(self, stay: Limits, start_s: Ints, hours: Floats) -> Floats:
        """Energy drawn from the wall in each slot of a stay.

        Parameters
        ----------
        stay : Limits
            The stay.
        start_s, hours : array, shape (n,)
            Start and length of its slots.

        Returns
        -------
        array, shape (n,)
        """
        found = np.zeros(start_s.size)
        end_s = start_s + 3600 * hours
        for piece in self._pieces(stay):
            inside_s = np.minimum(end_s, piece.end_s) - np.maximum(start_s, piece.start_s)
            found += np.maximum(inside_s, 0.0) / 3600 * min(self.wall_kw, piece.wall_kw)
        return found

    def highest_kw(self, stay: Limits, start_s: Ints, step_s: int) -> Floats:
        """Highest power drawn from the wall in each slot of a grid, shape (n,)."""
        found = np.zeros(start_s.size)
        for piece in self._pieces(stay):
            inside = (start_s < piece.end_s) & (start_s + step_s > piece.start_s)
            found[inside] = np.maximum(found[inside], min(self.wall_kw, piece.wall_kw))
        return found

    def drained_kwh(self, stay: Limits) -> float:
        """Energy that the battery gives before the departure, because the wall does not."""
        lacking = sum(
            (piece.end_s - piece.start_s) / 3600 * max(0.0, self.wall_kw - piece.wall_kw)
            for piece in self._pieces(stay)
        )
        return self.battery_per_wall * lacking
