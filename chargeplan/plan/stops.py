"""The calendar of the car: stays, where it is plugged in, and the drives between them."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import InputError
from chargeplan.plan.preconditioning import Limits, Preconditioning
from chargeplan.plan.rules import ChargerRules
from chargeplan.plan.spells import Spell, check_spells

#: A price for a whole stay, one price per slot of the stay, or a function of slot starts and slot length.
Price = float | Sequence[float] | NDArray[np.float64] | Callable[[NDArray[np.int64], int], NDArray[np.float64]]


def _check_number(value: float, name: str, least: float = 0.0, most: float = math.inf) -> None:
    if not math.isfinite(value) or not least <= value <= most:
        limits = f"at least {least:g}" if math.isinf(most) else f"from {least:g} to {most:g}"
        raise InputError(f"{name} is {value!r}; it must be a number {limits}")


@dataclass(frozen=True, eq=False)
class Stay:
    """A time during which the car is plugged in.

    Parameters
    ----------
    place : str
        Name of the place, for the answer only.
    start, end : datetime
        Arrival and departure, zone-aware. They need not fall on slot boundaries.
    wall_kw : float
        Power drawn from the wall when charging at the limit. Charging always runs at it, for part
        of a slot if need be; 0 means that nothing can be charged here.
    gain : float
        Battery kWh for one wall kWh at that power, above 0 and at most 1.
    price_per_kwh : float, array or callable
        What one wall kWh costs: one price, one price per slot of the stay, or a function
        ``f(start_s, step_s)`` that returns the price of the slots starting at the int64 UTC
        seconds ``start_s`` and lasting ``step_s`` seconds. May be negative.
    need_kwh : float
        Energy the battery must hold at departure (kWh in the battery, not kWh to add).
    volts, current_a : float, optional
        Voltage and limit current, carried for the answer.
    min_current_a : float
        Least current a charge point may signal; below it charging is off.
    current_step_a : float
        Currents below the limit are multiples of this.
    phases : int
        1 or 3.
    spells : sequence of Spell
        Times in which another limit holds, in order; what lies outside the stay counts only if it is made longer.
    rules : ChargerRules, optional
        How the charger may be switched.
    stronger : callable, optional
        ``f(stay, current_a)`` gives the same stay with another limit current, with what is lost at that current.
        Without it the power goes with the current, at the same gain.
    preconditioning : Preconditioning, optional
        What the car draws for itself before the departure.

    Raises
    ------
    InputError
        If a time has no zone, the departure is not after the arrival, or a number is out of range.

    References
    ----------
    Least pilot current 6 A: IEC 61851-1, annex A (from memory).

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> stay = Stay("home", datetime(2026, 1, 5, 18, 37, tzinfo=timezone.utc),
    ...             datetime(2026, 1, 6, 7, 0, tzinfo=timezone.utc), wall_kw=7.2, gain=0.9)
    >>> round(stay.hours, 2)
    12.38
    """

    place: str
    start: datetime
    end: datetime
    wall_kw: float
    gain: float
    price_per_kwh: Price = 0.0
    need_kwh: float = 0.0
    volts: float | None = None
    current_a: float | None = None
    min_current_a: float = 6.0
    current_step_a: float = 1.0
    phases: int = 1
    spells: Sequence[Spell] = ()
    rules: ChargerRules | None = None
    stronger: Callable[[Stay, float], Stay] | None = None
    preconditioning: Preconditioning | None = None

    def __post_init__(self) -> None:
        object.__setattr__(self, "spells", tuple(self.spells))
        for name, time in (("arrival", self.start), ("departure", self.end)):
            if time.tzinfo is None or time.utcoffset() is None:
                raise InputError(f"{name} {time} at {self.place} has no time zone; give a zone-aware time")
        if math.floor(self.end.timestamp()) <= math.ceil(self.start.timestamp()):
            raise InputError(
                f"departure {self.end} is not after arrival {self.start} at {self.place}; give a later departure"
            )
        _check_number(self.wall_kw, f"wall_kw at {self.place}")
        _check_number(self.gain, f"gain at {self.place}", 1e-6, 1.0)
        _check_number(self.need_kwh, f"need_kwh at {self.place}")
        check_spells(self.spells, self.place)
        if self.current_a is not None:
            _check_number(self.current_a, f"current_a at {self.place}")
            if self.wall_kw > 0 and self.current_a < self.min_current_a:
                raise InputError(
                    f"{self.current_a:g} A at {self.place} is below the least current of {self.min_current_a:g} A, "
                    "so nothing can be charged; set wall_kw to 0 or raise the current"
                )

    @property
    def hours(self) -> float:
        """Length of the stay in elapsed hours, right across clock changes."""
        return (self.end.timestamp() - self.start.timestamp()) / 3600

    @property
    def limits(self) -> Limits:
        """The limit over time, without what preconditioning takes of it."""
        # Fractions of a second are cut off on the inside: never charge before arrival or after departure.
        start_s, end_s = math.ceil(self.start.timestamp()), math.floor(self.end.timestamp())
        return Limits(start_s, end_s, self.wall_kw, self.gain, tuple(self.spells))

    @property
    def lowered(self) -> Sequence[Spell]:
        """Times in which another limit holds for charging, that of preconditioning among them."""
        return self.spells if self.preconditioning is None else self.preconditioning.spells(self.limits)

    @property
    def drained_kwh(self) -> float:
        """Battery energy that preconditioning takes before the departure, where the wall does not give it."""
        return 0.0 if self.preconditioning is None else self.preconditioning.drained_kwh(self.limits)

    def at_current(self, current_a: float) -> Stay:
        """Give the same stay with another limit current.

        Parameters
        ----------
        current_a : float
            The current; the stay must have one now.

        Returns
        -------
        Stay

        Examples
        --------
        >>> from datetime import datetime, timezone
        >>> stay = Stay("home", datetime(2026, 1, 5, 18, tzinfo=timezone.utc),
        ...             datetime(2026, 1, 6, 7, tzinfo=timezone.utc), wall_kw=7.2, gain=0.9, current_a=30)
        >>> stay.at_current(40).wall_kw
        9.6
        """
        if self.stronger is not None:
            return self.stronger(self, current_a)
        now_a = self.current_a
        if not now_a:
            raise InputError(f"the stay at {self.place} has no current to change; give current_a")
        return replace(self, current_a=current_a, wall_kw=self.wall_kw * current_a / now_a)


@dataclass(frozen=True)
class Drive:
    """A drive: what it takes out of the battery, and how far it goes.

    Examples
    --------
    >>> Drive(battery_kwh=12.5, distance_km=70)
    Drive(battery_kwh=12.5, distance_km=70)
    """

    battery_kwh: float
    distance_km: float = 0.0

    def __post_init__(self) -> None:
        _check_number(self.battery_kwh, "battery_kwh of a drive")
        _check_number(self.distance_km, "distance_km of a drive")


@dataclass(frozen=True, eq=False)
class Itinerary:
    """Stays in order of time, with a drive between each two of them.

    Parameters
    ----------
    level_kwh : float
        Energy in the battery at the first arrival.
    capacity_kwh : float
        Most the battery may hold (usable capacity, or the highest level wanted).
    stays : sequence of Stay
        At least one, not overlapping.
    drives : sequence of Drive
        One between each two stays, and, if wanted, one more after the last stay.
    floor_kwh : float
        Level kept for emergencies: below it charging runs at once, whatever the price.
    taper : sequence of (slope_kw_per_soc, intercept_kw)
        Power accepted by the battery (battery side) at state of charge ``s`` from 0 to 1: the
        least of ``slope * s + intercept`` over the segments. Empty: no taper.

    Raises
    ------
    InputError
        If stays overlap, a level is above the capacity, or the drives do not fit the stays.

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> night = Stay("home", datetime(2026, 1, 5, 18, 37, tzinfo=timezone.utc),
    ...              datetime(2026, 1, 6, 7, 0, tzinfo=timezone.utc), wall_kw=7.2, gain=0.9, need_kwh=40)
    >>> Itinerary(level_kwh=22, capacity_kwh=60, stays=[night]).stays[0].place
    'home'
    """

    level_kwh: float
    capacity_kwh: float
    stays: Sequence[Stay]
    drives: Sequence[Drive] = ()
    floor_kwh: float = 0.0
    taper: Sequence[tuple[float, float]] = ()

    def __post_init__(self) -> None:
        object.__setattr__(self, "stays", tuple(self.stays))
        object.__setattr__(self, "drives", tuple(self.drives))
        object.__setattr__(self, "taper", tuple((float(slope), float(power)) for slope, power in self.taper))
        _check_number(self.capacity_kwh, "capacity_kwh")
        _check_number(self.level_kwh, "level_kwh", 0.0, self.capacity_kwh)
        _check_number(self.floor_kwh, "floor_kwh", 0.0, self.capacity_kwh)
        if not self.stays:
            raise InputError("there is no stay to plan; give at least one")
        if len(self.drives) not in (len(self.stays) - 1, len(self.stays)):
            raise InputError(
                f"{len(self.stays)} stays and {len(self.drives)} drives do not fit; give one drive between each two "
                "stays, and one after the last stay if wanted"
            )
        for stay in self.stays:
            _check_number(stay.need_kwh, f"need_kwh at {stay.place}", 0.0, self.capacity_kwh)
        for before, after in zip(self.stays, self.stays[1:], strict=False):
            if after.start < before.end:
                raise InputError(
                    f"the stay at {after.place} starts {after.start}, before the stay at {before.place} ends "
                    f"{before.end}; stays must follow each other"
                )
        for soc in (0.0, 1.0):  # concave, so the ends show the least power
            for slope, power in self.taper:
                if not slope * soc + power >= 0 or not math.isfinite(slope + power):
                    raise InputError(
                        f"the taper accepts {slope * soc + power:g} kW at {soc:.0%} charge; it must be 0 kW or more"
                    )
