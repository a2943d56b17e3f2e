"""What a panel has room for: the amperes that the house leaves of its rating, and which equipment fits in them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias, get_args

import numpy as np

from chargeplan.charging import STANDARD_BREAKERS_A, Circuit, Node, OtherLoad, PowerTree, left_for_cars_a
from chargeplan.charging.links import number_text
from chargeplan.charging.numeric import check_number
from chargeplan.charging.supply import PILOT_MAX_A
from chargeplan.errors import InputError
from chargeplan.study.equipment import Equipment

#: Where the highest other load comes from: read off a meter, or added up by the rules of the local code.
Basis: TypeAlias = Literal["measured", "calculated"]

_ROUNDING: Final = 1e-9
#: Nominal voltages of one kind differ by up to this (220, 230, 240 V); other kinds by more (208 and 240 V).
_SAME_VOLTS: Final = 0.05


@dataclass(frozen=True)
class Fit:
    """Whether one equipment fits.

    Parameters
    ----------
    equipment : Equipment
        Which.
    demand_a : float
        Amperes it may draw for hours on each phase.
    fits : bool
        Whether there is room for that.
    set_to_a : float
        The highest setting of its EVSE for which there is room, up to its demand; 0 if there is none.
    because : str
        The reason in words.
    """

    equipment: Equipment
    demand_a: float
    fits: bool
    set_to_a: float
    because: str


@dataclass(frozen=True)
class Room:
    """What a panel has room for.

    Parameters
    ----------
    left_a : float
        Amperes that may flow into cars for hours, on each phase.
    breaker_a : int or None
        The largest standard North-American breaker whose continuous current is left, up to 100 A; None if not
        even the smallest one's is.
    fits : tuple of Fit
        One for every equipment asked about, in that order.
    """

    left_a: float
    breaker_a: int | None
    fits: tuple[Fit, ...]

    @property
    def fitting(self) -> tuple[Equipment, ...]:
        """The equipment that fits."""
        return tuple(fit.equipment for fit in self.fits if fit.fits)


def room_on(
    service: Circuit, other_a: float | Sequence[float], options: Sequence[Equipment] = (), *, basis: Basis
) -> Room:
    """Find what a panel has room for. Say `CAUTION` of `chargeplan.study.equipment` with it.

    Car charging is a continuous load and counts with 125 %. A highest load that was measured counts with 125 %
    too; one that was calculated by the local code has that in it already. Some codes count no EVSE below a least
    power (7,200 VA in NFPA 70 (2023) 220.57, from memory); this does not.

    Parameters
    ----------
    service : Circuit
        The panel or sub-panel: its main breaker, voltage, phases and continuous factor (0.8 makes the 125 %).
    other_a : float or sequence of float
        Highest load without the car, in amperes: one value, or one for each leg or phase, of which the fullest
        counts.
    options : sequence of Equipment
        What may be installed, one at a time.
    basis : {"measured", "calculated"}
        Whether `other_a` is the highest measured in a year, or calculated by the rules of the local code.

    Returns
    -------
    Room

    Raises
    ------
    InputError
        If something cannot be.

    References
    ----------
    NFPA 70 (2023) 625.42 and 210.20(A) for the continuous load; 220.87 for 125 % of the highest demand measured in a
    year, and 230.42(A) for the sum of other loads and 125 % of continuous ones (both from memory).

    Examples
    --------
    >>> from chargeplan.charging import Evse
    >>> options = [Equipment("small", Circuit(40, volts=240), Evse(32)), Equipment("large", Circuit(60, volts=240),
    ...            Evse(48))]
    >>> room = room_on(Circuit(100, volts=240), 45, options, basis="measured")
    >>> room.left_a, room.breaker_a
    (35.0, 40)
    >>> for fit in room.fits:
    ...     print(fit.equipment.name, fit.fits, fit.set_to_a, fit.because)
    small True 32.0 it may draw 32 A for hours, and 35 A are left
    large False 35.0 it may draw 48 A for hours, but 35 A are left; set to 35 A it fits
    """
    if not isinstance(service, Circuit):
        raise InputError(f"service is {service!r}; write for example Circuit(200, volts=240)")
    if basis not in get_args(Basis):
        raise InputError(f"basis is {basis!r}; write 'measured' or 'calculated'")
    left_a = _left_a(service, other_a, basis)
    # A car circuit on this panel is taken to follow the same rule about continuous loads as the panel.
    carried = [x for x in STANDARD_BREAKERS_A if service.continuous_factor * x <= left_a + _ROUNDING]
    largest_a = math.ceil(PILOT_MAX_A / service.continuous_factor - _ROUNDING)
    breaker_a = max((x for x in carried if x <= largest_a), default=None)
    return Room(left_a, breaker_a, tuple(_fit(service, left_a, option) for option in options))


def _left_a(service: Circuit, other_a: float | Sequence[float], basis: Basis) -> float:
    given = other_a if isinstance(other_a, Sequence | np.ndarray) and not isinstance(other_a, str) else (other_a,)
    for value in given:
        check_number("other_a", value, at_least=0, remedy="write the amperes of the highest other load, like 60")
    legs = np.asarray(given, dtype=np.float64)
    most = 2 if service.phases == 1 else 3
    if legs.size not in (1, most):
        raise InputError(
            f"the other load has {legs.size} values; write one, or one for each of the {most} "
            f"{'legs' if service.phases == 1 else 'phases'}"
        )
    # Measured: what flows for hours is the limit for all that flows. Calculated: only for the car's part of it.
    limit_a = service.continuous_a if basis == "measured" else float(service.breaker_a)
    tree = PowerTree([Node("panel", limit_a)], legs.size)
    left_a = float(left_for_cars_a(tree, [OtherLoad("panel", legs[None, :])], 1).min())
    return round(left_a * (1.0 if basis == "measured" else service.continuous_factor), 9)


def _fit(service: Circuit, left_a: float, option: Equipment) -> Fit:
    demand_a = option.demand_a
    if option.links is None:
        return Fit(option, demand_a, True, 0.0, "it draws nothing")
    circuit, evse = option.links
    wrong = _not_fed(service, circuit)
    if wrong is not None:
        return Fit(option, demand_a, False, 0.0, wrong)
    left = f"{number_text(left_a)} A are left"
    needs = f"it may draw {number_text(demand_a)} A for hours"
    set_to_a = evse.floor_to_step(min(left_a, demand_a))
    if demand_a <= left_a + _ROUNDING:
        return Fit(option, demand_a, True, set_to_a, f"{needs}, and {left}")
    settings = f"set to {number_text(set_to_a)} A it fits"
    none = f"there is no room even for its lowest setting of {number_text(evse.min_a)} A"
    return Fit(option, demand_a, False, set_to_a, f"{needs}, but {left}; {settings if set_to_a else none}")


def _not_fed(service: Circuit, circuit: Circuit) -> str | None:
    """Say why the panel cannot feed a circuit at all."""
    if circuit.phases > service.phases:
        return "it needs three phases, and the panel has one"
    own = service.phase_volts
    there: tuple[float, ...]
    if service.phases == 1:
        # One leg of two: half, or by the third phase of a network.
        there = (own, own / 2, own / math.sqrt(3))
    elif circuit.phases == 1:
        there = (own, own * math.sqrt(3))
    else:
        there = (own,)
    if any(abs(circuit.phase_volts - volts) <= _SAME_VOLTS * volts for volts in there):
        return None
    return f"it needs {circuit.volts_text}, and the panel has {service.volts_text}"
