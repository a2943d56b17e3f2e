"""What a car uses on the road, and on which side of the charger that was measured."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from chargeplan.charging.circuit import Level
from chargeplan.charging.losses import ChargingLoss, check_level
from chargeplan.charging.numeric import check_number
from chargeplan.errors import InputError


@dataclass(frozen=True, slots=True)
class Consumption:
    """Energy used on the road, and where it was measured.

    A figure from an official label is wall energy, with the charging losses already inside; a figure from
    the car's display is battery energy. Taking one for the other is an error of 10 to 20 %.

    Parameters
    ----------
    kwh_per_100km : float
        Energy for 100 km, in kWh.
    measured_at : {"battery", "wall"}
        Where: ``wall`` for a label, ``battery`` for the car's display.
    label_level : {"level 1", "level 2", "three-phase", "dc"}
        Level of charging whose losses are inside a wall figure.
    label_kw : float
        Wall power of that charging, in kW. The default is level 2 with 30 A at 240 V.

    Raises
    ------
    InputError
        If something cannot be.

    References
    ----------
    40 CFR 600.311-12 and 600.116: the label states kWh of recharging energy from the grid per 100 miles
    (that the losses are inside: from memory). 30 A, 7.2 kW: US DOE Alternative Fuels Data Center, residential level 2.

    Examples
    --------
    >>> loss = ChargingLoss(0.925, 0.2)
    >>> round(Consumption(16.4, "wall").battery_kwh_per_100km(loss), 2)
    14.71
    >>> Consumption(15.0, "battery").battery_kwh_per_100km(loss)
    15.0
    """

    kwh_per_100km: float
    measured_at: Literal["battery", "wall"]
    label_level: Level = "level 2"
    label_kw: float = 7.2

    def __post_init__(self) -> None:
        check_number("kwh_per_100km", self.kwh_per_100km, above=0, at_most=500, remedy="write kWh for 100 km, like 16")
        if self.measured_at not in ("battery", "wall"):
            raise InputError(
                f"measured_at is {self.measured_at!r}; write 'wall' for a label figure, 'battery' for the car's display"
            )
        check_level("label_level", self.label_level)
        check_number("label_kw", self.label_kw, above=0, remedy="write the wall power behind the label, like 7.2")

    def battery_kwh_per_100km(self, loss: ChargingLoss) -> float:
        """Energy out of the battery for 100 km.

        Parameters
        ----------
        loss : ChargingLoss
            Losses of the car at `label_level`; not used for a battery figure.

        Returns
        -------
        float
            kWh; a wall figure is multiplied by the gain at `label_kw`.

        Raises
        ------
        InputError
            If at `label_kw` nothing would reach the battery.

        Examples
        --------
        >>> Consumption(20.0, "wall", label_kw=10.0).battery_kwh_per_100km(ChargingLoss(0.9))
        18.0
        """
        if self.measured_at == "battery":
            return self.kwh_per_100km
        gain = loss.gain(float(self.label_kw))
        if gain == 0:
            raise InputError(
                f"at label_kw={self.label_kw:g} the overhead of {loss.overhead_kw:g} kW leaves nothing "
                "for the battery; write the wall power behind the label, like 7.2"
            )
        return self.kwh_per_100km * gain
