"""Charging blocks with exact instants, from the energy in each slot."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.problem import Floats, Ints, Problem

#: Less wall energy than this in a slot is rounding, not charging.
OFF_KWH = 1e-9


@dataclass(frozen=True)
class Window:
    """One uninterrupted block of charging.

    Parameters
    ----------
    stay : int
        Number of the stay, from 0.
    place : str
        Where.
    start, end : datetime
        Exact instants, in the zone of the arrival.
    current_a : float or None
        Current while charging; with a taper, the greatest of the block.
    wall_kwh, battery_kwh, cost : float
        Energy drawn, energy gained, and what it costs.
    falls_to_a : float or None
        With a taper: current in its last slot, if that is less.
    """

    stay: int
    place: str
    start: datetime
    end: datetime
    current_a: float | None
    wall_kwh: float
    battery_kwh: float
    cost: float
    falls_to_a: float | None = None

    @property
    def mean_price_per_kwh(self) -> float:
        """Cost of one wall kWh on average."""
        return self.cost / self.wall_kwh


@dataclass(frozen=True, eq=False)
class Blocks:
    """Where charging runs inside the slots.

    Parameters
    ----------
    first, last : array of int, shape (blocks,)
        First and last slot of each block.
    start_s, end_s : array, shape (blocks,)
        Exact start and end, UTC seconds.
    """

    first: Ints
    last: Ints
    start_s: Floats
    end_s: Floats


def blocks(problem: Problem, run_hours: Floats, forced_kwh: Floats, *, latest: bool = False) -> Blocks:
    """Place partly used slots so that they touch a neighbour, and join what touches.

    A slot that is used in part touches the slot before it if that leaves no pause, else the slot
    after it; one without neighbours starts at once (for `latest`: ends with the slot). What the
    floor forces starts at once in any case. Taking the first possible neighbour, from one end of a
    run to the other, gives the fewest blocks: it is a greedy matching along a line.

    Parameters
    ----------
    problem : Problem
        The slots.
    run_hours : array, shape (n,)
        How long charging runs in each slot; 0 is off.
    forced_kwh : array, shape (n,)
        Energy forced by the floor.
    latest : bool
        Go from the last slot to the first.

    Returns
    -------
    Blocks

    Examples
    --------
    >>> import numpy as np
    >>> from chargeplan.plan.problem import night
    >>> found = blocks(night([0.0] * 4, 4.0, 1.0), np.array([0.0, 0.1, 0.25, 0.2]), np.zeros(4))
    >>> [(round(a / 60), round(b / 60)) for a, b in zip(found.start_s, found.end_s)]
    [(24, 57)]
    """
    on = np.flatnonzero(run_hours > 0)
    start = problem.start_s[on].astype(np.float64)
    end = start + 3600 * problem.hours[on]
    full = run_hours[on] >= problem.hours[on] * (1 - 1e-9)
    pinned = forced_kwh[on] > 0
    near = np.zeros(on.size, dtype=bool)  # the next slot that is on follows at once
    near[:-1] = (np.diff(problem.stay[on]) == 0) & (np.abs(end[:-1] - start[1:]) < 1e-3)
    touch = _touching(near, full, pinned, latest=latest)
    before = np.concatenate(([False], touch[:-1])) if on.size else touch
    at_start = full | pinned | before | (~touch & (not latest))
    run_s = 3600 * run_hours[on]
    begin = np.where(at_start, start, end - run_s)
    finish = np.where(full, end, begin + run_s)
    opens, closes = np.flatnonzero(~before), np.flatnonzero(~touch)
    return Blocks(on[opens], on[closes], begin[opens], finish[closes])


def _touching(
    near: NDArray[np.bool_], full: NDArray[np.bool_], pinned: NDArray[np.bool_], *, latest: bool
) -> NDArray[np.bool_]:
    """Whether charging goes on across the end of each slot."""
    touch = near & full
    touch[:-1] &= full[1:]
    # Only next to a partly used slot is there a choice; a full one touches whatever is near.
    doubtful = np.flatnonzero(near & ~touch)
    for k in doubtful[::-1].tolist() if latest else doubtful.tolist():
        if latest:
            left = bool(full[k]) or not bool(pinned[k])
            right = bool(full[k + 1]) or not bool(touch[k + 1])
        else:
            left = bool(full[k]) or not (bool(pinned[k]) or (k > 0 and bool(touch[k - 1])))
            right = True
        touch[k] = left and right
    return touch
