"""The planner's problem as plain arrays on one slot grid: the description every solver reads."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from chargeplan.errors import InputError
from chargeplan.plan.rules import ChargerRules
from chargeplan.plan.spells import cut_slots, limits_of
from chargeplan.plan.stops import Itinerary, Price, Stay

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

#: Unit costs that differ by less than this (in the 12th decimal) are the same price with another rounding.
_COST_DECIMALS = 12


@dataclass(frozen=True, eq=False)
class Problem:
    """Everything a solver needs, as arrays: ``n`` plugged-in slots in ``m`` stays.

    A slot belongs to one stay. The grid is uniform in UTC; the first and last slot of a stay are
    cut to the plugged-in time, and two stays that touch the same grid slot have a slot each.

    Parameters
    ----------
    start_s : array of int, shape (n,)
        Start of the plugged-in part of each slot, UTC seconds.
    hours : array, shape (n,)
        Length of the plugged-in part.
    stay : array of int, shape (n,)
        Number of the stay: 0 to m - 1, not decreasing, none left out.
    price_per_kwh : array, shape (n,)
        Price of one wall kWh; may be negative.
    max_kwh : array, shape (n,)
        Most wall energy in each slot: wall power at the limit x hours.
    gain : array, shape (n,)
        Battery kWh per wall kWh.
    need_kwh, drive_kwh : array, shape (m,)
        Battery energy wanted at each departure, and taken by the drive after it.
    level_kwh, capacity_kwh, floor_kwh : float
        Battery energy at the first arrival, at most, and kept for emergencies.
    taper : array, shape (k, 2)
        Segments (slope in kW per unit of state of charge, intercept in kW); k may be 0.
    step_s : int
        Length of a whole slot in seconds.
    rules : tuple of ChargerRules or None
        How the charger may be switched, for each stay; empty if no stay has rules.

    Raises
    ------
    InputError
        If an array has the wrong length, or a value is missing or out of range.

    Examples
    --------
    >>> problem = night([0.30, 0.10, 0.20, 0.10], max_kw=8.0, need_kwh=5.0)
    >>> problem.slots, problem.stays, problem.max_kwh.tolist()
    (4, 1, [2.0, 2.0, 2.0, 2.0])
    """

    start_s: Ints
    hours: Floats
    stay: Ints
    price_per_kwh: Floats
    max_kwh: Floats
    gain: Floats
    need_kwh: Floats
    drive_kwh: Floats
    level_kwh: float
    capacity_kwh: float
    floor_kwh: float = 0.0
    taper: Floats = field(default_factory=lambda: np.empty((0, 2)))
    step_s: int = 900
    rules: tuple[ChargerRules | None, ...] = ()

    def __post_init__(self) -> None:
        if self.slots == 0 or self.stays == 0:
            raise InputError("there is nothing to plan; give at least one stay with one slot")
        for name in ("hours", "stay", "price_per_kwh", "max_kwh", "gain"):
            shape = getattr(self, name).shape
            if shape != (self.slots,):
                raise InputError(f"{name} has shape {shape}; it must be ({self.slots},), one value per slot")
        for name in ("hours", "max_kwh", "gain", "need_kwh", "drive_kwh"):
            values = getattr(self, name)
            if not (np.isfinite(values).all() and (values >= 0).all()):
                raise InputError(f"{name} has a value that is missing or negative; every one must be 0 or more")
        unpriced = ~np.isfinite(self.price_per_kwh)
        if unpriced.any():
            moment = datetime.fromtimestamp(int(self.start_s[int(np.argmax(unpriced))]), UTC).isoformat()
            raise InputError(f"the slot at {moment} has no price; every slot needs a finite price_per_kwh")
        if (self.gain <= 0).any():
            raise InputError("gain must be above 0 in every slot")
        if self.drive_kwh.shape != (self.stays,):
            raise InputError(f"drive_kwh has {self.drive_kwh.size} values; it must have {self.stays}, one per stay")
        if len(self.rules) not in (0, self.stays):
            raise InputError(f"rules has {len(self.rules)} entries; it must have {self.stays}, one per stay, or none")
        steps = np.diff(self.stay)
        if self.stay[0] != 0 or self.stay[-1] != self.stays - 1 or not ((steps == 0) | (steps == 1)).all():
            raise InputError("stay must count 0, 1, 2, ... without going back or leaving a stay out")
        if self.taper.ndim != 2 or self.taper.shape[1] != 2 or (self.taper.size and self.capacity_kwh <= 0):
            raise InputError("a taper is an array of (slope, intercept) rows, for a battery of more than 0 kWh")
        for value in (self.level_kwh, self.floor_kwh):
            if not 0 <= value <= self.capacity_kwh < math.inf:
                raise InputError(f"level and floor must be 0 to {self.capacity_kwh:g} kWh, the finite capacity")

    @property
    def slots(self) -> int:
        """Number of plugged-in slots."""
        return int(self.start_s.size)

    @property
    def stays(self) -> int:
        """Number of stays."""
        return int(self.need_kwh.size)

    @property
    def ruled(self) -> tuple[int, ...]:
        """Numbers of the stays with rules about switching."""
        return tuple(number for number, rules in enumerate(self.rules) if rules is not None and rules.bind)

    @cached_property
    def first(self) -> Ints:
        """First slot of each stay, shape (m,)."""
        return np.concatenate(([0], np.flatnonzero(np.diff(self.stay)) + 1)).astype(np.int64)

    @cached_property
    def last(self) -> Ints:
        """Last slot of each stay, shape (m,)."""
        return np.append(self.first[1:], self.slots) - 1

    @cached_property
    def max_battery_kwh(self) -> Floats:
        """Most battery energy gained in each slot, shape (n,)."""
        return self.max_kwh * self.gain

    @cached_property
    def unit_cost(self) -> Floats:
        """Price of one battery kWh, shape (n,); rounded so that sums like 0.1 + 0.2 tie with 0.3."""
        return np.round(self.price_per_kwh / self.gain, _COST_DECIMALS)

    @cached_property
    def wanted_kwh(self) -> Floats:
        """Level wanted at each departure: the target, and enough for the drive and the floor after it."""
        return np.maximum(self.need_kwh, self.drive_kwh + self.floor_kwh)

    def levels(self, battery_kwh: Floats, served_kwh: Floats) -> Floats:
        """Battery level at the end of each slot, shape (n,).

        Parameters
        ----------
        battery_kwh : array, shape (n,)
            Energy gained in each slot.
        served_kwh : array, shape (m,)
            Energy taken by the drive after each stay, as far as the battery could serve it.
        """
        change = np.array(battery_kwh, dtype=np.float64)
        change[self.first[1:]] -= served_kwh[:-1]
        change[0] += self.level_kwh
        return np.cumsum(change)  # running sums no greater than the battery, so rounding stays small


def problem_from(itinerary: Itinerary, step_min: int = 15) -> Problem:
    """Lay an itinerary on the slot grid.

    The grid counts multiples of `step_min` from midnight UTC. A function given as price is asked
    for the whole grid slots, once for all the stays that share it.

    Parameters
    ----------
    itinerary : Itinerary
        Stays and drives.
    step_min : int
        Length of a slot in minutes; a divisor of 60.

    Returns
    -------
    Problem

    Raises
    ------
    InputError
        If `step_min` does not divide 60, or an array of prices does not fit the slots of its stay.

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> from chargeplan.plan.stops import Stay
    >>> stay = Stay("home", datetime(2026, 1, 5, 18, 37, tzinfo=timezone.utc),
    ...             datetime(2026, 1, 5, 19, 20, tzinfo=timezone.utc), wall_kw=6.0, gain=0.9)
    >>> (60 * problem_from(Itinerary(20, 60, [stay])).hours).round().tolist()
    [8.0, 15.0, 15.0, 5.0]
    """
    if isinstance(step_min, bool) or not isinstance(step_min, int) or step_min < 1 or 60 % step_min:
        raise InputError(f"a slot of {step_min!r} minutes does not divide the hour; choose 5, 10, 15, 20, 30 or 60")
    step_s, stays = 60 * step_min, itinerary.stays
    # Fractions of a second are cut off on the inside: never charge before arrival or after departure.
    arrive = np.array([math.ceil(stay.start.timestamp()) for stay in stays], dtype=np.int64)
    depart = np.array([math.floor(stay.end.timestamp()) for stay in stays], dtype=np.int64)
    count = -(-depart // step_s) - arrive // step_s
    first = np.concatenate(([0], np.cumsum(count)))
    stay_of = np.repeat(np.arange(len(stays)), count)
    grid_s = (arrive // step_s - first[:-1])[stay_of] * step_s + np.arange(first[-1]) * step_s
    start_s = np.maximum(grid_s, arrive[stay_of])
    hours = (np.minimum(grid_s + step_s, depart[stay_of]) - start_s) / 3600
    drives = np.array([*(drive.battery_kwh for drive in itinerary.drives), 0.0][: len(stays)], dtype=np.float64)
    prices = _prices([stay.price_per_kwh for stay in stays], grid_s, first, step_s)
    wall_kw, gain = np.array([(stay.wall_kw, stay.gain) for stay in stays]).T[:, stay_of]
    # What preconditioning takes from the battery before a departure is charged before, on top of what is wanted.
    drained = np.array([stay.drained_kwh for stay in stays])
    if any(stay.spells or stay.preconditioning for stay in stays):
        source, start_s, hours, wall_kw, gain = _with_spells(stays, start_s, hours, first)
        stay_of, prices = stay_of[source], prices[source]
    rules = tuple(stay.rules for stay in stays)
    return Problem(
        start_s=start_s,
        hours=hours,
        stay=stay_of,
        price_per_kwh=prices,
        max_kwh=wall_kw * hours,
        gain=gain,
        need_kwh=np.array([float(stay.need_kwh) for stay in stays]) + drained,
        drive_kwh=drives + drained,
        level_kwh=float(itinerary.level_kwh),
        capacity_kwh=float(itinerary.capacity_kwh),
        floor_kwh=float(itinerary.floor_kwh),
        taper=np.array(itinerary.taper, dtype=np.float64).reshape(-1, 2),
        step_s=step_s,
        rules=rules if any(rules) else (),
    )


def _with_spells(
    stays: Sequence[Stay], start_s: Ints, hours: Floats, first: Ints
) -> tuple[Ints, Ints, Floats, Floats, Floats]:
    """Cut the slots by the spells of their stays: source slot, start, hours, wall kW and gain of each piece."""
    parts = []
    for number, stay in enumerate(stays):
        here = slice(int(first[number]), int(first[number + 1]))
        source, begin, length = np.arange(here.stop - here.start), start_s[here], hours[here]
        kw, gain = np.full(source.size, stay.wall_kw), np.full(source.size, stay.gain)
        if spells := stay.lowered:
            source, begin, length = cut_slots(begin, length, spells)
            kw, gain = limits_of(begin, spells, stay.wall_kw, stay.gain)
        parts.append((source + here.start, begin, length, kw, gain))
    source, begin, length, kw, gain = (np.concatenate(column) for column in zip(*parts, strict=True))
    return source, begin, length, kw, gain


def _prices(given: list[Price], grid_s: Ints, first: Ints, step_s: int) -> Floats:
    """One price per slot from what each stay gives: a number, an array, or a function."""
    prices = np.empty(grid_s.size)
    shared: dict[int, list[int]] = {}
    for number, price in enumerate(given):
        here = slice(first[number], first[number + 1])
        if callable(price):
            shared.setdefault(id(price), []).append(number)
            continue
        values = np.asarray(price, dtype=np.float64)
        if values.ndim and values.shape != grid_s[here].shape:
            raise InputError(
                f"stay {number + 1} has {grid_s[here].size} slots of {step_s // 60} min but {values.size} prices; "
                "give one price per slot"
            )
        prices[here] = values
    for numbers in shared.values():
        function = given[numbers[0]]
        slots = np.concatenate([np.arange(first[number], first[number + 1]) for number in numbers])
        if callable(function):
            values = np.asarray(function(grid_s[slots], step_s), dtype=np.float64)
            if values.shape != slots.shape:
                raise InputError(f"the price function gave {values.shape} prices for {slots.shape} slots")
            prices[slots] = values
    return prices


def night(
    price_per_kwh: ArrayLike,
    max_kw: float,
    need_kwh: float,
    *,
    level_kwh: float = 0.0,
    capacity_kwh: float | None = None,
    floor_kwh: float = 0.0,
    gain: float = 1.0,
    step_min: int = 15,
    start_s: int = 0,
    taper: ArrayLike = (),
) -> Problem:
    """One stay of whole slots, from an array of prices.

    Parameters
    ----------
    price_per_kwh : array, shape (n,)
        Price of each slot.
    max_kw : float
        Wall power when charging.
    need_kwh : float
        Battery energy wanted at departure.
    level_kwh, capacity_kwh, floor_kwh : float
        Level at arrival, most (default: `need_kwh`, so never more than wanted), kept for emergencies.
    gain : float
        Battery kWh per wall kWh.
    step_min : int
        Minutes per slot.
    start_s : int
        Start of the first slot, UTC seconds.
    taper : array, shape (k, 2)
        Segments of accepted power, see `Problem`.

    Returns
    -------
    Problem

    Examples
    --------
    >>> night([0.3, 0.1], max_kw=4.0, need_kwh=1.0).max_kwh.tolist()
    [1.0, 1.0]
    """
    prices = np.atleast_1d(np.asarray(price_per_kwh, dtype=np.float64))
    slots = prices.size
    hours = np.full(slots, step_min / 60)
    return Problem(
        start_s=start_s + 60 * step_min * np.arange(slots),
        hours=hours,
        stay=np.zeros(slots, dtype=np.int64),
        price_per_kwh=prices,
        max_kwh=max_kw * hours,
        gain=np.full(slots, float(gain)),
        need_kwh=np.array([float(need_kwh)]),
        drive_kwh=np.zeros(1),
        level_kwh=float(level_kwh),
        capacity_kwh=float(max(need_kwh, level_kwh, floor_kwh) if capacity_kwh is None else capacity_kwh),
        floor_kwh=float(floor_kwh),
        taper=np.asarray(taper, dtype=np.float64).reshape(-1, 2),
        step_s=60 * step_min,
    )
