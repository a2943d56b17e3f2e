"""What is lost between the wall and the battery: a share of the power, and a fixed overhead while charging."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final, get_args

import numpy as np

from chargeplan.charging.circuit import Level
from chargeplan.charging.numeric import FloatOrArray, as_given, check_number, without_nan
from chargeplan.errors import InputError

#: The levels by name, in the order of their power.
LEVELS: Final[tuple[Level, ...]] = get_args(Level)


@dataclass(frozen=True, slots=True)
class ChargingLoss:
    """Losses at one level of charging: battery power = efficiency x wall power - overhead.

    The overhead (pumps, computers, the charger's own electronics) runs as long as the charging does,
    so charging at low power wastes more.

    Parameters
    ----------
    efficiency : float
        Share of the wall power that would reach the battery without the overhead, above 0 and up to 1.
    overhead_kw : float
        Power that the car uses itself while charging, in kW.

    Raises
    ------
    InputError
        If a number cannot be.

    References
    ----------
    Charging-loss test of the German and Austrian motoring clubs on four cars, 2022, as reported in the
    press: 5 to 10 % lost in conversion, 100 to 300 W of overhead.

    Examples
    --------
    >>> loss = ChargingLoss(efficiency=0.925, overhead_kw=0.2)
    >>> round(loss.gain(1.44), 3), round(loss.gain(7.68), 3)
    (0.786, 0.899)
    """

    efficiency: float
    overhead_kw: float = 0.0

    def __post_init__(self) -> None:
        check_number("efficiency", self.efficiency, above=0, at_most=1, remedy="write a share, like 0.925")
        check_number("overhead_kw", self.overhead_kw, at_least=0, at_most=5, remedy="write 0 to 5 kW; 200 W is 0.2")

    def battery_kw(self, wall_kw: FloatOrArray) -> FloatOrArray:
        """Power that reaches the battery.

        Parameters
        ----------
        wall_kw : float or array of any shape
            Power drawn, in kW.

        Returns
        -------
        float or array of the same shape
            Power in kW; 0 where the overhead eats all of it.

        Examples
        --------
        >>> ChargingLoss(0.9, 0.3).battery_kw(np.array([0.0, 1.0, 10.0]))
        array([0. , 0.6, 8.7])
        """
        wall = without_nan("wall_kw", wall_kw)
        return as_given(np.maximum(self.efficiency * wall - self.overhead_kw, 0.0), wall_kw)

    def wall_kw(self, battery_kw: FloatOrArray) -> FloatOrArray:
        """Power that must be drawn for a power into the battery.

        Parameters
        ----------
        battery_kw : float or array of any shape
            Power into the battery, in kW.

        Returns
        -------
        float or array of the same shape
            Power in kW; 0 where nothing goes into the battery, because then the car is not charging.

        Examples
        --------
        >>> round(ChargingLoss(0.9, 0.3).wall_kw(8.7), 9)
        10.0
        """
        battery = without_nan("battery_kw", battery_kw)
        return as_given(np.where(battery > 0, (battery + self.overhead_kw) / self.efficiency, 0.0), battery_kw)

    def gain(self, wall_kw: FloatOrArray) -> FloatOrArray:
        """Battery kWh for every wall kWh, at a power.

        Parameters
        ----------
        wall_kw : float or array of any shape
            Power drawn, in kW.

        Returns
        -------
        float or array of the same shape
            A share from 0 to 1; 0 where nothing is drawn.

        Examples
        --------
        >>> ChargingLoss(0.9, 0.3).gain(np.array([0.0, 1.0, 2.0]))
        array([0.  , 0.6 , 0.75])
        """
        wall = without_nan("wall_kw", wall_kw)
        battery = np.asarray(self.battery_kw(wall))
        return as_given(np.divide(battery, wall, out=np.zeros_like(wall), where=wall > 0), wall_kw)


_ALTERNATING_CURRENT: Final = ChargingLoss(efficiency=0.925, overhead_kw=0.2)
#: Losses of a car that states none, the middle of the ranges in the motoring clubs' test (see `ChargingLoss`):
#: 7.5 % in conversion and 200 W at every AC level; with direct current there is no onboard conversion, and
#: 1.5 % stay in the battery and 0.5 % in the cables (reported: 1 to 2 % and up to 1 %).
DEFAULT_LOSSES: Final[Mapping[Level, ChargingLoss]] = MappingProxyType(
    {
        "level 1": _ALTERNATING_CURRENT,
        "level 2": _ALTERNATING_CURRENT,
        "three-phase": _ALTERNATING_CURRENT,
        "dc": ChargingLoss(efficiency=0.98, overhead_kw=0.2),
    }
)


def check_level(name: str, level: object) -> None:
    """Refuse what is no level of charging.

    Parameters
    ----------
    name : str
        What the message calls it.
    level : object
        What was given.

    Raises
    ------
    InputError
        If it is not one of `LEVELS`.

    Examples
    --------
    >>> check_level("losses", "level 3")
    Traceback (most recent call last):
    chargeplan.errors.InputError: losses: 'level 3' is no level; write level 1, level 2, three-phase or dc
    """
    if level not in LEVELS:
        raise InputError(f"{name}: {level!r} is no level; write {', '.join(LEVELS[:-1])} or {LEVELS[-1]}")
