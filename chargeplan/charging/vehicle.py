"""The car: what its battery holds, what its onboard charger takes, what it loses and what it uses on the road."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import KW_ONLY, dataclass, field

from chargeplan.charging.circuit import Level
from chargeplan.charging.consumption import Consumption
from chargeplan.charging.losses import DEFAULT_LOSSES, ChargingLoss, check_level
from chargeplan.charging.numeric import FloatOrArray, as_given, check_number, without_nan
from chargeplan.charging.taper import Taper
from chargeplan.errors import InputError


@dataclass(frozen=True, slots=True)
class Vehicle:
    """A car as charging sees it.

    Parameters
    ----------
    usable_kwh : float
        Battery energy between 0 and 100 % of what the display shows.
    consumption : Consumption
        Energy used on the road.
    onboard_kw : float, optional
        Highest AC power of the onboard charger, wall side, all phases together.
    onboard_a : float, optional
        Highest AC current of the onboard charger, on each phase. Given both, both hold.
    onboard_phases : {1, 2, 3}, optional
        Phases it can use; a single-phase charger on a three-phase circuit uses one. Unless given, it uses
        all there are. With fewer phases than it has, and no `onboard_a`, its power is shared out evenly:
        11 kW on three phases is 3.7 kW on one.
    losses : mapping of level to ChargingLoss
        For ``level 1``, ``level 2``, ``three-phase``, ``dc``; missing ones are taken from `DEFAULT_LOSSES`.
    taper : Taper, optional
        Power the battery accepts by state of charge.
    dc_max_kw : float, optional
        Highest power it takes from a DC station. Without it the car is not charged with DC.
    daily_limit : float
        State of charge that it is not charged beyond on ordinary days, as a share.

    Raises
    ------
    InputError
        If something cannot be.

    Examples
    --------
    >>> car = Vehicle(60, onboard_kw=7.2, consumption=Consumption(15.0, "battery"))
    >>> car.drive_kwh(200.0), car.range_km(30.0), car.loss("level 2").efficiency
    (30.0, 200.0, 0.925)
    """

    usable_kwh: float
    _: KW_ONLY
    consumption: Consumption
    onboard_kw: float | None = None
    onboard_a: float | None = None
    onboard_phases: int | None = None
    # A plain dict after construction: a read-only view could not be pickled. Unhashable, so left out of the hash.
    losses: Mapping[Level, ChargingLoss] = field(default_factory=dict, hash=False)
    taper: Taper | None = None
    dc_max_kw: float | None = None
    daily_limit: float = 1.0

    def __post_init__(self) -> None:
        check_number("usable_kwh", self.usable_kwh, above=0, remedy="write the battery's usable kWh, like 60")
        if not isinstance(self.consumption, Consumption):
            raise InputError(f"consumption is {self.consumption!r}; write for example Consumption(16, 'wall')")
        for name, example in (("onboard_kw", "7.2"), ("onboard_a", "32"), ("dc_max_kw", "100")):
            if getattr(self, name) is not None:
                check_number(name, getattr(self, name), above=0, remedy=f"write for example {example}, or leave it out")
        if isinstance(self.onboard_phases, bool) or self.onboard_phases not in (None, 1, 2, 3):
            raise InputError(f"onboard_phases is {self.onboard_phases!r}; write 1, 2 or 3")
        check_number("daily_limit", self.daily_limit, above=0, at_most=1, remedy="write a share, like 0.8 for 80 %")
        if self.taper is not None and not isinstance(self.taper, Taper):
            raise InputError(f"taper is {self.taper!r}; write Taper([(0, 100), (0.5, 100), (1, 20)])")
        if not isinstance(self.losses, Mapping):
            raise InputError("losses must map levels to losses; write {'level 2': ChargingLoss(0.92, 0.2)}")
        for level, loss in self.losses.items():
            check_level("losses", level)
            if not isinstance(loss, ChargingLoss):
                raise InputError(f"losses of {level}: {loss!r} is no loss; write for example ChargingLoss(0.92, 0.2)")
        object.__setattr__(self, "losses", dict(self.losses))

    def loss(self, level: Level) -> ChargingLoss:
        """Losses at a level of charging.

        Parameters
        ----------
        level : {"level 1", "level 2", "three-phase", "dc"}
            How it is being charged.

        Returns
        -------
        ChargingLoss
            Its own, or the one of `DEFAULT_LOSSES`.

        Raises
        ------
        InputError
            If there is no such level.

        Examples
        --------
        >>> car = Vehicle(60, consumption=Consumption(15, "battery"), losses={"level 1": ChargingLoss(0.9, 0.3)})
        >>> car.loss("level 1").overhead_kw, car.loss("dc").efficiency
        (0.3, 0.98)
        """
        check_level("level", level)
        return self.losses.get(level, DEFAULT_LOSSES[level])

    @property
    def battery_kwh_per_km(self) -> float:
        """Energy out of the battery for one kilometre, in kWh."""
        return self.consumption.battery_kwh_per_100km(self.loss(self.consumption.label_level)) / 100

    def drive_kwh(self, distance_km: FloatOrArray) -> FloatOrArray:
        """Energy that a drive takes out of the battery.

        Parameters
        ----------
        distance_km : float or array of any shape
            Distance in km.

        Returns
        -------
        float or array of the same shape
            Battery energy in kWh.

        Examples
        --------
        >>> import numpy as np
        >>> Vehicle(60, consumption=Consumption(15.0, "battery")).drive_kwh(np.array([0.0, 40.0]))
        array([0., 6.])
        """
        return as_given(without_nan("distance_km", distance_km) * self.battery_kwh_per_km, distance_km)

    def range_km(self, battery_kwh: FloatOrArray) -> FloatOrArray:
        """Distance that an energy in the battery is good for.

        Parameters
        ----------
        battery_kwh : float or array of any shape
            Battery energy in kWh.

        Returns
        -------
        float or array of the same shape
            Distance in km.

        Examples
        --------
        >>> Vehicle(60, consumption=Consumption(15.0, "battery")).range_km(60.0)
        400.0
        """
        return as_given(without_nan("battery_kwh", battery_kwh) / self.battery_kwh_per_km, battery_kwh)

    def phases_used(self, phases: int) -> int:
        """Phases that the car uses of those a circuit has.

        Parameters
        ----------
        phases : int
            Phases of the circuit.

        Returns
        -------
        int
            1 to `phases`.

        Examples
        --------
        >>> Vehicle(60, onboard_phases=1, consumption=Consumption(15, "battery")).phases_used(3)
        1
        """
        return phases if self.onboard_phases is None else min(phases, self.onboard_phases)

    def onboard_limit_a(self, phase_volts: float, phases: int) -> float:
        """Highest current that the onboard charger draws on each phase.

        Parameters
        ----------
        phase_volts : float
            Voltage of one phase.
        phases : int
            Phases of the circuit.

        Returns
        -------
        float
            Amperes; infinite if neither `onboard_kw` nor `onboard_a` is stated.

        Examples
        --------
        >>> car = Vehicle(60, onboard_kw=7.2, consumption=Consumption(15, "battery"))
        >>> car.onboard_limit_a(240, 1), car.onboard_limit_a(120, 1)
        (30.0, 60.0)
        """
        used = self.phases_used(phases)
        limit_a = math.inf if self.onboard_a is None else float(self.onboard_a)
        if self.onboard_kw is not None:
            # Without a stated current, each phase of the charger is good for its even share of the power.
            spread = used if self.onboard_a is not None or self.onboard_phases is None else self.onboard_phases
            limit_a = min(limit_a, self.onboard_kw * 1000 / (spread * phase_volts))
        return limit_a
