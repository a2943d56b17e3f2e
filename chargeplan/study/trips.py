"""Trips as arrays, before it is settled which of them are part of another."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from chargeplan.charging.numeric import FloatArray
from chargeplan.clock import IntArray
from chargeplan.study.span import BoolArray

#: What a journey is: of the usual kind, a long trip, or a time away with the people.
USUAL: Final = 0
LONG_TRIP: Final = 1
AWAY: Final = 2


@dataclass(frozen=True, eq=False)
class Trips:
    """Times away from home, in order of their departures; they may overlap.

    Parameters
    ----------
    day : int64 array, shape (n,)
        Day number of the departure.
    leave_s, back_s : int64 arrays, shape (n,)
        UTC seconds.
    distance_km : float array, shape (n,)
        Driven in all.
    kind : int64 array, shape (n,)
        `USUAL`, `LONG_TRIP` or `AWAY`.
    """

    day: IntArray
    leave_s: IntArray
    back_s: IntArray
    distance_km: FloatArray
    kind: IntArray

    def where(self, chosen: BoolArray | IntArray) -> Trips:
        """Take some of them."""
        return Trips(
            self.day[chosen], self.leave_s[chosen], self.back_s[chosen], self.distance_km[chosen], self.kind[chosen]
        )

    def settled(self) -> Trips:
        """Leave out every departure that falls into a trip, or on the very minute of its end.

        Returns
        -------
        Trips
            Not overlapping. A trip that takes the place of a long one goes at least as far as that.

        Examples
        --------
        The second begins within the first and goes farther:

        >>> numbers = np.array([1, 2, 3])
        >>> trips = Trips(numbers, numbers * 10, numbers * 10 + 10, np.array([5.0, 90.0, 7.0]), np.array([0, 1, 0]))
        >>> trips.settled().leave_s.tolist(), trips.settled().distance_km.tolist()
        ([10, 30], [90.0, 7.0])
        """
        if np.all(self.leave_s[1:] > self.back_s[:-1]):
            return self
        distance_km, kind = self.distance_km.copy(), self.kind.copy()
        kept: list[int] = []
        for trip, leave_s in enumerate(self.leave_s.tolist()):
            if not kept or leave_s > self.back_s[kept[-1]]:
                kept.append(trip)
            elif kind[trip] == LONG_TRIP:
                distance_km[kept[-1]] = max(distance_km[kept[-1]], distance_km[trip])
                kind[kept[-1]] = LONG_TRIP
        return Trips(self.day, self.leave_s, self.back_s, distance_km, kind).where(np.array(kept, dtype=np.int64))

    def without(self, away: Trip) -> Trips:
        """Leave out those that would leave during a time away, or on the very minute of its end."""
        return self.where((self.leave_s < away.leave_s) | (self.leave_s > away.back_s))

    def around(self, away: Trip) -> Trips:
        """Put a time away among them.

        Parameters
        ----------
        away : Trip
            The time away.

        Returns
        -------
        Trips
            Those that would leave during the time away are left out; one that is not back when it begins
            goes on into it, and its distance is added.

        Examples
        --------
        >>> numbers = np.array([1, 2, 3])
        >>> trips = Trips(numbers, numbers * 10, numbers * 10 + 5, numbers * 1.0, numbers * 0)
        >>> both = trips.around(Trip(1, 14, 22, 100.0))
        >>> both.leave_s.tolist(), both.back_s.tolist(), both.distance_km.tolist()
        ([10, 30], [22, 35], [101.0, 3.0])
        """
        earlier = (self.leave_s < away.leave_s) | (self.kind == AWAY)
        joined = earlier & (self.leave_s <= away.back_s) & (self.back_s >= away.leave_s)
        for n in np.flatnonzero(joined):
            away = Trip(
                min(away.day, int(self.day[n])),
                min(away.leave_s, int(self.leave_s[n])),
                max(away.back_s, int(self.back_s[n])),
                away.distance_km + float(self.distance_km[n]),
            )
        others = self.where(~joined).without(away)
        if away.back_s == away.leave_s:  # it ended at the first instant of the span
            return others
        at = int(np.searchsorted(others.leave_s, away.leave_s))
        return Trips(
            np.insert(others.day, at, away.day),
            np.insert(others.leave_s, at, away.leave_s),
            np.insert(others.back_s, at, away.back_s),
            np.insert(others.distance_km, at, away.distance_km),
            np.insert(others.kind, at, AWAY),
        )


@dataclass(frozen=True)
class Trip:
    """A time away.

    Parameters
    ----------
    day : int
        Day number of the departure.
    leave_s, back_s : int
        UTC seconds.
    distance_km : float
        Driven in all.
    """

    day: int
    leave_s: int
    back_s: int
    distance_km: float
