"""Several cars on one tree of limits, as plain arrays: what every part of the shared planner reads.

Every car is a `Problem` of its own, and all are laid on one slot grid. The slots of all cars stand one
after the other in flat arrays; so do their stays. In a slot a car charges with one constant current
for its plugged-in part, so a limit that is kept in the slot is kept at every moment of it. A car that
is plugged in for part of a slot counts against the limits for the whole slot; where a slot holds several
pieces of one car, because it was cut or because the car left and came back, the highest of their currents
counts. So limits that change within a slot (forbidden hours, load control, derating) hold to the second where
slots are cut by them.

What a car *could have alone* on this tree, beside the other loads, cuts its wishes first: its limit
in a slot is the least on its way up the tree, and `reach` repairs its needs by that. What is
missing after that is missing because of the other cars.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.charging.panel import PowerTree
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.reach import Reach
from chargeplan.plan.rules import ChargerRules
from chargeplan.plan.shared.car import SharedCar
from chargeplan.plan.shared.taper import TaperRows, taper_rows

#: Energy below this is not seen as missing: a milliwatt-hour, as in the certificate of one car.
CRUMB_KWH: Final = 1e-6


@dataclass(frozen=True, eq=False)
class SharedProblem:
    """The cars on one grid: ``n`` plugged-in slots and ``m`` stays of all cars, one car after the other.

    Parameters
    ----------
    cars : tuple of SharedCar
        As given.
    tree : PowerTree or None
        The limits.
    left_a : array, shape (nodes, slots, phases)
        What the limits leave for cars.
    grid_s : array of int, shape (slots,)
        Start of each slot of the grid, UTC seconds.
    alone : tuple of Problem
        Each car with the energy it could have alone in each slot.
    best : tuple of Reach
        What each could reach alone.
    max_a, kwh_per_a, battery_per_a, price_per_kwh, floor_kwh, forced_kwh, lowest_kwh : array, shape (n,)
        For each slot: the highest current alone, in whole steps and 0 below the minimum; wall and battery
        energy of one ampere; the price; the level below which charging may not wait (as far as the car could
        be there alone); battery energy that a car alone must take because of its floor; the level at the end
        of the slot if nothing were ever charged.
    need_kwh, capacity_kwh, lowest_departure_kwh, served_kwh, drive_kwh, wanted_kwh : array, shape (m,)
        For each stay: the level that is to be met, as far as it could be alone; the most; the level if
        nothing were ever charged; what the drive after it takes if the need is met; the drive; the wish.
    car, slot, stay : array of int, shape (n,)
        Number of the car, of the slot on the grid, and of the stay among all.
    car_of_stay : array of int, shape (m,)
        Number of the car.
    counts_at : array of bool, shape (m, nodes, phases)
        Whether the current of a stay counts at a node on a phase.
    """

    cars: tuple[SharedCar, ...]
    tree: PowerTree | None
    left_a: Floats
    grid_s: Ints
    alone: tuple[Problem, ...]
    best: tuple[Reach, ...]
    max_a: Floats
    kwh_per_a: Floats
    battery_per_a: Floats
    price_per_kwh: Floats
    floor_kwh: Floats
    forced_kwh: Floats
    lowest_kwh: Floats
    need_kwh: Floats
    capacity_kwh: Floats
    lowest_departure_kwh: Floats
    served_kwh: Floats
    drive_kwh: Floats
    wanted_kwh: Floats
    car: Ints
    slot: Ints
    stay: Ints
    car_of_stay: Ints
    counts_at: NDArray[np.bool_]

    @cached_property
    def min_a(self) -> Floats:
        """Least current of each slot's car, shape (n,)."""
        return np.array([car.min_a for car in self.cars])[self.car]

    @cached_property
    def step_a(self) -> Floats:
        """Step of each slot's car, 0 for any current, shape (n,)."""
        return np.array([car.step_a for car in self.cars])[self.car]

    @cached_property
    def unit_a(self) -> Floats:
        """What the currents of a slot are counted in: its step, or amperes where any is allowed, shape (n,)."""
        return np.where(self.step_a > 0, self.step_a, 1.0)

    @cached_property
    def draw(self) -> Ints:
        """Number of the draw a slot belongs to, shape (n,): pieces of one car in one slot, counted at one place."""
        slots = self.grid_s.size
        if (np.diff(self.car * slots + self.slot) != 0).all():
            return np.arange(self.slot.size)
        places = self.counts_at.reshape(self.need_kwh.size, -1)
        _, place = np.unique(places, axis=0, return_inverse=True)
        key = (self.car * slots + self.slot) * self.need_kwh.size + place.ravel()[self.stay]
        number: Ints = np.unique(key, return_inverse=True)[1].ravel().astype(np.int64)
        return number

    @cached_property
    def begin_s(self) -> Ints:
        """Start of the plugged-in part of each slot, UTC seconds, shape (n,)."""
        return np.concatenate([problem.start_s for problem in self.alone])

    @cached_property
    def hours(self) -> Floats:
        """Length of that part, shape (n,)."""
        return np.concatenate([problem.hours for problem in self.alone])

    @cached_property
    def taper(self) -> TaperRows:
        """What batteries accept, where that can bind."""
        parts, before = [], 0
        for problem in self.alone:
            parts.append(taper_rows(problem, self.lowest_kwh[before : before + problem.slots], before))
            before += problem.slots
        return TaperRows(
            *(
                np.concatenate([getattr(part, name) for part in parts])
                for name in ("slot", "per_charged", "per_level", "most_kwh")
            )
        )

    @cached_property
    def at_once_kwh(self) -> Floats:
        """Battery energy that every plan with nothing missing takes in each slot because of a floor, shape (n,).

        In the last slot of a stay it is the need that forces it, so a need that was cut below the floor forces none.
        """
        forced = self.forced_kwh.copy()
        forced[self.last[self.need_kwh < self.floor_kwh[self.last] - CRUMB_KWH]] = 0.0
        return forced

    @cached_property
    def floor_to_guard(self) -> NDArray[np.bool_]:
        """Slots whose floor must be asked for, shape (n,).

        Usually the need before a drive leaves the floor after it, so that what is forced there is known beforehand.
        A need that was cut to what steps, least currents or rules let the car reach may leave less.
        """
        arrival = np.concatenate([best.arrival_kwh for best in self.best])
        floor = np.array([car.problem.floor_kwh for car in self.cars])[self.car_of_stay]
        left = np.concatenate(([0.0], (self.need_kwh - self.served_kwh)[:-1]))
        less = ~self.opens & (left < np.minimum(floor, arrival) - CRUMB_KWH)
        found: NDArray[np.bool_] = self.in_danger & less[self.stay]
        return found

    @cached_property
    def ruled(self) -> dict[int, ChargerRules]:
        """Rules about switching, by the number of the stay; none where there is nothing to keep."""
        rules = [rules for car in self.cars for rules in car.problem.rules or (None,) * car.problem.stays]
        return {stay: each for stay, each in enumerate(rules) if each is not None and each.bind}

    @cached_property
    def first(self) -> Ints:
        """First slot of each stay, shape (m,)."""
        return np.concatenate(([0], np.flatnonzero(np.diff(self.stay)) + 1)).astype(np.int64)

    @cached_property
    def last(self) -> Ints:
        """Last slot of each stay, shape (m,)."""
        return np.append(self.first[1:], self.stay.size) - 1

    @cached_property
    def start_kwh(self) -> Floats:
        """Level at the first arrival for the first stay of each car, 0 for the others, shape (m,)."""
        start = np.zeros(self.need_kwh.size)
        start[self.opens] = [car.problem.level_kwh for car in self.cars]
        return start

    @cached_property
    def opens(self) -> NDArray[np.bool_]:
        """Whether a stay is the first of its car, shape (m,)."""
        return np.concatenate(([True], np.diff(self.car_of_stay) > 0))

    @cached_property
    def goes_on(self) -> NDArray[np.bool_]:
        """Whether another stay of the same car follows, shape (m,)."""
        return np.append(~self.opens[1:], False)

    @cached_property
    def energy_wanted_kwh(self) -> Floats:
        """What must be charged until each departure: need less the level without any charging, shape (m,)."""
        return np.maximum(self.need_kwh - self.lowest_departure_kwh, 0.0)

    @cached_property
    def can_run_empty(self) -> NDArray[np.bool_]:
        """Whether the drive after a stay could empty the battery sooner than it would alone, shape (m,)."""
        return self.goes_on & (self.lowest_departure_kwh < self.served_kwh)

    @cached_property
    def in_danger(self) -> NDArray[np.bool_]:
        """Whether the level could be below the floor at the end of a slot, shape (n,); departures are needs."""
        low = self.floor_kwh > self.lowest_kwh
        low[self.last] = False
        return low

    def levels(self, battery_kwh: Floats) -> Floats:
        """Battery level at the end of each slot, shape (n,); a drive leaves no less than an empty battery.

        Parameters
        ----------
        battery_kwh : array, shape (n,)
            Energy gained in each slot.
        """
        level = np.empty(self.slot.size)
        before, gained = 0.0, np.asarray(battery_kwh)
        stays = zip(
            self.first.tolist(),
            (self.last + 1).tolist(),
            self.opens.tolist(),
            self.start_kwh.tolist(),
            self.drive_kwh.tolist(),
            strict=True,
        )
        for first, end, opens, start, drive in stays:
            level[first:end] = (start if opens else before) + np.cumsum(gained[first:end])
            before = max(0.0, float(level[end - 1]) - drive)
        return level

    def shortfall_kwh(self, level_kwh: Floats) -> Floats:
        """Find what is missing at each departure of what the car could have alone, shape (m,); crumbs count as none.

        Parameters
        ----------
        level_kwh : array, shape (n,)
            Level at the end of each slot.
        """
        missing = np.maximum(self.need_kwh - level_kwh[self.last], 0.0)
        missing[missing <= CRUMB_KWH] = 0.0
        return missing

    def relative_shortfall(self, missing_kwh: Floats) -> Floats:
        """Shortfall over the energy wanted until that departure, shape (m,): 1 where nothing was given.

        Parameters
        ----------
        missing_kwh : array, shape (m,)
            From `shortfall_kwh`.
        """
        wanted = self.energy_wanted_kwh
        return np.divide(missing_kwh, wanted, out=np.zeros(wanted.size), where=wanted > CRUMB_KWH)

    def below_floor_kwh(self, level_kwh: Floats) -> Floats:
        """Find what is missing to the floor at the end of each slot, shape (n,); crumbs count as none.

        Parameters
        ----------
        level_kwh : array, shape (n,)
            Level at the end of each slot.
        """
        missing = np.where(self.in_danger, np.maximum(self.floor_kwh - level_kwh, 0.0), 0.0)
        missing[missing <= CRUMB_KWH] = 0.0
        return missing
