"""A car's year: where it is plugged in and what it drives between, as arrays."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray, day_of_number, walls_s
from chargeplan.household.household import Household, Stop
from chargeplan.study.driving import Journeys

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CarYear:
    """Stays in order of time, not overlapping, and the drive after each.

    Parameters
    ----------
    timezone : str
        Whose wall clock the days are on.
    start_s, end_s : int array, shape (m,)
        Begin and end of each stay, UTC seconds; at home the end is sooner than the departure if the household wants
        to be ready early.
    place : int array, shape (m,)
        Where: 0 at home, 1 and more for the stops of the household.
    distance_km : float array, shape (m,)
        How far the drive after each stay goes; 0 where there is none.
    usual_km : float array, shape (m,)
        How far it would go at the usual consumption with the same energy.
    leaves : bool array, shape (m,)
        Whether the stay ends with a departure from home, for which a target is wanted.
    behind_km : float
        What the car has driven, at the usual consumption, since it last left a place where it is plugged in, when
        the span begins: the same as when it ends, so that a year takes out of the battery what it puts in.
    """

    timezone: str
    start_s: IntArray
    end_s: IntArray
    place: IntArray
    distance_km: FloatArray
    usual_km: FloatArray
    leaves: NDArray[np.bool_]
    behind_km: float

    @property
    def stays(self) -> int:
        """Number of stays."""
        return int(self.start_s.size)


def car_year(household: Household, journeys: Journeys) -> CarYear:
    """Lay the journeys of a span and the stops of a household out as stays and drives.

    Parameters
    ----------
    household : Household
        With its stops; those that lie within a usual journey are made, one after the other.
    journeys : Journeys
        When the car is away from home.

    Returns
    -------
    CarYear
        The car is at home at the beginning of the span, unless a journey begins with it. A journey with stops is
        driven in legs of equal length.

    Examples
    --------
    >>> from datetime import date
    >>> from chargeplan.household import load_household
    >>> from chargeplan.study.driving import Driving
    >>> home = load_household("demo")
    >>> week = Driving().journeys(home.habits, home.timezone, date(2026, 1, 5), 7, home.is_holiday, seed=1)
    >>> car_year(home, week).place.tolist()
    [0, 0, 1, 0, 0, 1, 0, 0, 0]
    """
    first = np.r_[journeys.start_s, journeys.back_s]
    last = np.r_[journeys.leave_s, journeys.end_s]
    home = last > first  # a car that comes back after the span is not there at its end
    journey, number, begin_s, finish_s = _stops(household, journeys)
    start_s = np.r_[first[home], begin_s].astype(np.int64)
    end_s = np.r_[last[home], finish_s].astype(np.int64)
    place = np.r_[np.zeros(int(home.sum()), dtype=np.int64), number]
    order = np.argsort(start_s, kind="stable")
    start_s, end_s, place = start_s[order], end_s[order], place[order]

    legs: IntArray = np.bincount(journey, minlength=journeys.leave_s.size) + np.int64(1)
    leg_of = np.r_[np.arange(journeys.leave_s.size), journey]
    leg_km: FloatArray = journeys.distance_km[leg_of] / legs[leg_of]
    after: IntArray = np.asarray(np.searchsorted(end_s, np.r_[journeys.leave_s, finish_s], side="right") - 1)

    def driven_after(km: FloatArray) -> FloatArray:
        # A drive before the first stay has nothing to charge for.
        return np.bincount(after[after >= 0], weights=km[after >= 0], minlength=start_s.size).astype(np.float64)

    distance, usual = driven_after(leg_km), driven_after(leg_km * journeys.factor[leg_of])
    driven = np.flatnonzero(usual[:-1] > 0) if start_s.size else np.array([], dtype=np.int64)
    leaves = (place == 0) & np.isin(end_s, journeys.leave_s)
    early = household.habits.early
    if early is not None:
        # What is charged after the car may have left comes too late, so nothing is.
        ready_s = end_s - round(60 * early.ready_min)
        end_s = np.where(leaves & (ready_s > start_s + 60), ready_s, end_s)
    return CarYear(
        timezone=journeys.timezone,
        start_s=start_s,
        end_s=end_s,
        place=place,
        distance_km=distance,
        usual_km=usual,
        leaves=leaves,
        behind_km=float(usual[driven[-1]]) if driven.size else 0.0,
    )


def _stops(household: Household, journeys: Journeys) -> tuple[IntArray, IntArray, IntArray, IntArray]:
    """List the stops that are made: journey, number of the place, begin and end, in order of time."""
    found = [_made(household, stop, journeys) for stop in household.stops]
    if not any(made.size for made, _, _ in found):
        return (np.array([], dtype=np.int64),) * 4
    number = np.concatenate([np.full(made.size, k + 1) for k, (made, _, _) in enumerate(found)]).astype(np.int64)
    journey, begin_s, finish_s = (np.concatenate(column).astype(np.int64) for column in zip(*found, strict=True))
    order = np.argsort(begin_s, kind="stable")
    journey, number, begin_s, finish_s = journey[order], number[order], begin_s[order], finish_s[order]
    if (begin_s[1:] < finish_s[:-1]).any():
        kept, free_s = [], -1
        for row, (begin, finish) in enumerate(zip(begin_s.tolist(), finish_s.tolist(), strict=True)):
            if begin >= free_s:
                kept.append(row)
                free_s = finish
        journey, number, begin_s, finish_s = journey[kept], number[kept], begin_s[kept], finish_s[kept]
    return journey, number, begin_s, finish_s


def _made(household: Household, stop: Stop, journeys: Journeys) -> tuple[IntArray, IntArray, IntArray]:
    """Find the journeys on which a stop is made, and its begin and end."""
    weekday = (journeys.day + 3) % 7  # 1970-01-01 was a Thursday
    wanted = np.isin(weekday, sorted(stop.days.weekdays))
    if stop.days.holidays and household.habits.uses_holidays:
        wanted |= np.array([household.is_holiday(day_of_number(day)) for day in journeys.day.tolist()], dtype=bool)
    made = np.flatnonzero(wanted & (journeys.kind == 0))
    begin_s = walls_s(household.timezone, journeys.day[made], stop.start_min)
    finish_s = walls_s(household.timezone, journeys.day[made], stop.end_min)
    inside = (journeys.leave_s[made] <= begin_s) & (begin_s < finish_s) & (finish_s <= journeys.back_s[made])
    return made[inside], begin_s[inside], finish_s[inside]
