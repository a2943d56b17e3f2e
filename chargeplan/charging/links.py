"""What an answer about charging power is made of: the links on the way to the battery, and the limit they set."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, TypeAlias

from chargeplan.charging.circuit import Level
from chargeplan.charging.vehicle import Vehicle

#: What can be the weakest link.
LinkName: TypeAlias = Literal[
    "circuit", "what is left on the circuit", "EVSE", "onboard charger", "DC station", "DC limit of the car"
]


def number_text(value: float) -> str:
    """Write a number for people: up to two decimals, no trailing zeros.

    Parameters
    ----------
    value : float
        Any number.

    Returns
    -------
    str
        The text.

    Examples
    --------
    >>> number_text(7.6800001), number_text(40.0)
    ('7.68', '40')
    """
    return f"{round(value, 2):.12g}"


@dataclass(frozen=True, slots=True)
class Link:
    """One link between the panel and the battery, and the most it lets through by itself.

    Parameters
    ----------
    name : str
        Which link.
    current_a : float
        Amperes on each phase in use, before whole steps; infinite if not stated, NaN with direct current.
    wall_kw : float
        The same as power.
    rating : str
        Where the number comes from, in words.

    Examples
    --------
    >>> print(Link("circuit", 40.0, 9.6, "40 A of a 50 A breaker"))
    circuit: 40 A, 9.6 kW (40 A of a 50 A breaker)
    """

    name: LinkName
    current_a: float
    wall_kw: float
    rating: str

    def __str__(self) -> str:
        if math.isinf(self.wall_kw):
            return f"{self.name}: {self.rating}"
        amperes = "" if math.isnan(self.current_a) else f"{number_text(self.current_a)} A, "
        return f"{self.name}: {amperes}{number_text(self.wall_kw)} kW ({self.rating})"


@dataclass(frozen=True, slots=True)
class Limit:
    """The most a car can be charged with, and why.

    Parameters
    ----------
    current_a : float
        Amperes on each phase in use; 0 if it cannot be charged, NaN with direct current.
    min_a : float
        Below this current charging is off.
    kw_per_a : float
        Wall power of one ampere, in kW; NaN with direct current.
    volts : str
        The voltage in words.
    phases : int
        Phases in use; 0 with direct current.
    level : {"level 1", "level 2", "three-phase", "dc"}
        Whose losses hold.
    wall_kw, battery_kw : float
        Power drawn and power into the battery, in kW, before any taper.
    gain : float
        Battery kWh for every wall kWh, at this power.
    by : str
        The weakest link. With equal links the first on the way from the panel to the battery.
    because : str
        The reason in words.
    warnings : tuple of str
        What its owner should know.
    links : tuple of Link
        All links, on the way from the panel to the battery.
    step_a : float
        Lower currents are multiples of this.

    Examples
    --------
    >>> from chargeplan.charging import Circuit, Consumption, Evse, Vehicle, weakest_link
    >>> car = Vehicle(60, onboard_kw=7.2, consumption=Consumption(15, "battery"))
    >>> limit = weakest_link(Circuit(50, volts=240), Evse(32), car)
    >>> limit.because
    'limited by the onboard charger: 7.2 kW (30 A at 240 V)'
    >>> print(limit.explain())
    circuit: 40 A, 9.6 kW (40 A of a 50 A breaker)
    EVSE: 32 A, 7.68 kW (set to at most 32 A)
    onboard charger: 30 A, 7.2 kW (7.2 kW at 240 V) <- the weakest link
    """

    current_a: float
    min_a: float
    kw_per_a: float
    volts: str
    phases: int
    level: Level
    wall_kw: float
    battery_kw: float
    gain: float
    by: LinkName
    because: str
    warnings: tuple[str, ...]
    links: tuple[Link, ...]
    step_a: float = 1.0

    @property
    def min_wall_kw(self) -> float:
        """Wall power below which charging is off, in kW; 0 with direct current."""
        return 0.0 if self.level == "dc" else self.min_a * self.kw_per_a

    def range_km_per_hour(self, vehicle: Vehicle) -> float:
        """Distance gained in one hour of charging at this limit.

        Parameters
        ----------
        vehicle : Vehicle
            The car, for its consumption.

        Returns
        -------
        float
            Kilometres per hour of charging, before any taper.

        Examples
        --------
        >>> from chargeplan.charging import Consumption, Vehicle, dc_limit
        >>> car = Vehicle(60, consumption=Consumption(15, "battery"), dc_max_kw=100)
        >>> round(dc_limit(50, car).range_km_per_hour(car), 1)
        325.3
        """
        return vehicle.range_km(self.battery_kw)

    def explain(self) -> str:
        """List every link with its amperes and kW.

        Returns
        -------
        str
            One line for each link, the weakest marked.

        Examples
        --------
        >>> from chargeplan.charging import Consumption, Vehicle, dc_limit
        >>> print(dc_limit(50, Vehicle(60, consumption=Consumption(15, "battery"), dc_max_kw=100)).explain())
        DC station: 50 kW (its rating) <- the weakest link
        DC limit of the car: 100 kW (as stated)
        """
        return "\n".join(f"{link} <- the weakest link" if link.name == self.by else str(link) for link in self.links)
