"""An outlet or a circuit with its EVSE: what it lets through and what it costs to have.

Prices are the user's own; the library has none.
"""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass
from typing import Final

from chargeplan.charging import Circuit, Evse, Limit, Vehicle, weakest_link
from chargeplan.charging.links import number_text
from chargeplan.charging.numeric import check_number
from chargeplan.errors import InputError
from chargeplan.study.rebates import Part, Rebate, after_rebates

#: What every answer about equipment must say.
CAUTION: Final = (
    "this is planning arithmetic, no electrical design: the wire, the receptacle, the free spaces of the panel and its "
    "own calculation must fit too; the local code and a licensed electrician decide"
)

#: What lets nothing through.
_NOTHING: Final = Limit(
    current_a=0.0,
    min_a=0.0,
    kw_per_a=0.0,
    volts="no voltage",
    phases=1,
    level="level 1",
    wall_kw=0.0,
    battery_kw=0.0,
    gain=0.0,
    by="circuit",
    because="there is nothing to charge with",
    warnings=(),
    links=(),
)

#: Usual ratings of North-American car circuits, all in NFPA 70 (2023) table 240.6(A). Level 1 goes up to 16 A and the
#: control pilot up to 80 A (SAE J1772), which are 80 % of the last of each.
_BREAKERS_120_V: Final = (15, 20)
_BREAKERS_240_V: Final = (20, 30, 40, 50, 60, 70, 80, 90, 100)
#: Usual three-phase car circuits at 230/400 V: 11 and 22 kW (common practice, no source).
_BREAKERS_400_V: Final = (16, 32)


@dataclass(frozen=True)
class OutlayItem:
    """One line of the outlay.

    Parameters
    ----------
    what : str
        In words.
    amount : float
        Money; a rebate is negative.
    """

    what: str
    amount: float


@dataclass(frozen=True)
class Equipment:
    """One choice of circuit and EVSE, with what it costs to have.

    Parameters
    ----------
    name : str
        What to call it.
    circuit : Circuit, optional
        The branch circuit.
    evse : Evse, optional
        The supply equipment, as it is set. Without circuit and EVSE the car is not charged there at all.
    purchase : float
        EVSE and receptacle.
    wire_run_m, wire_per_m : float
        Metres from the panel, and what one of them costs.
    labor : float
        Fixed work, whatever the distance.
    permit : float
        Permit and inspection.
    rebates : tuple of Rebate
        Taken off in this order. Each is taken off its own parts, in proportion to what the earlier ones left of
        them, and is cut to what is left: no part goes below zero.
    lifetime_years : float, optional
        When it has to be replaced; unless given it lasts as long as it is looked at, and is worth nothing then.
    replacement : float, optional
        What that costs, at today's prices; the purchase unless given, since wire and permit stay.
    yearly : float
        Upkeep of a year.

    Raises
    ------
    InputError
        If something cannot be.

    Examples
    --------
    >>> wall_box = Equipment("wall box", Circuit(60, volts=240), Evse(48), purchase=600, wire_run_m=8, wire_per_m=20,
    ...                      labor=400, rebates=(Rebate("utility", 0.5, 250, of=("purchase",)),))
    >>> wall_box.outlay
    910.0
    >>> for item in wall_box.outlay_items():
    ...     print(f"{item.what:20}{item.amount:8.2f}")
    purchase              600.00
    wire run, 8 m         160.00
    labor                 400.00
    permit                  0.00
    rebate: utility      -250.00
    """

    name: str
    circuit: Circuit | None = None
    evse: Evse | None = None
    _: KW_ONLY
    purchase: float = 0.0
    wire_run_m: float = 0.0
    wire_per_m: float = 0.0
    labor: float = 0.0
    permit: float = 0.0
    rebates: tuple[Rebate, ...] = ()
    lifetime_years: float | None = None
    replacement: float | None = None
    yearly: float = 0.0

    def __post_init__(self) -> None:
        if not isinstance(self.name, str) or not self.name.strip():
            raise InputError(f"equipment has the name {self.name!r}; give each a name, like 'dryer outlet'")
        nothing = self.circuit is None and self.evse is None
        if not nothing and not isinstance(self.circuit, Circuit):
            raise InputError(f"circuit of {self.name} is {self.circuit!r}; write for example Circuit(50, volts=240)")
        if not nothing and not isinstance(self.evse, Evse):
            raise InputError(f"evse of {self.name} is {self.evse!r}; write for example Evse(40)")
        for field in ("purchase", "wire_run_m", "wire_per_m", "labor", "permit", "yearly"):
            remedy = "write the metres, like 12" if field == "wire_run_m" else "write an amount of 0 or more"
            check_number(f"{field} of {self.name}", getattr(self, field), at_least=0, remedy=remedy)
        if self.lifetime_years is not None:
            remedy = "write years, like 12, or leave it out"
            check_number(f"lifetime_years of {self.name}", self.lifetime_years, above=0, remedy=remedy)
        if self.replacement is not None:
            remedy = "write an amount of 0 or more, or leave it out"
            check_number(f"replacement of {self.name}", self.replacement, at_least=0, remedy=remedy)
        object.__setattr__(self, "rebates", tuple(self.rebates))
        for rebate in self.rebates:
            if not isinstance(rebate, Rebate):
                raise InputError(
                    f"a rebate of {self.name} is {rebate!r}; write for example Rebate('utility', 0.3, 1000)"
                )

    @property
    def links(self) -> tuple[Circuit, Evse] | None:
        """Circuit and EVSE; None where the car is not charged."""
        return None if self.circuit is None or self.evse is None else (self.circuit, self.evse)

    @property
    def demand_a(self) -> float:
        """Amperes it may draw for hours on each phase, whatever the car.

        References
        ----------
        NFPA 70 (2023) 625.42: continuous, and equipment with an adjustable setting counts with what it is set to.
        """
        if self.links is None:
            return 0.0
        circuit, evse = self.links
        return min(circuit.continuous_a, float(evse.max_a))

    @property
    def demand_kw(self) -> float:
        """The same as power."""
        return 0.0 if self.circuit is None else self.circuit.power_kw(self.demand_a)

    @property
    def replacement_cost(self) -> float:
        """What a replacement costs at today's prices."""
        return float(self.purchase if self.replacement is None else self.replacement)

    @property
    def outlay(self) -> float:
        """What is paid at the start, after rebates; never below zero."""
        # What is left of each part is summed, so that a cost wholly paid by others is 0 and not a rounding error.
        return float(sum(after_rebates(self._before_rebates(), self.rebates)[0].values()))

    @property
    def rebates_granted(self) -> tuple[float, ...]:
        """What each rebate gives, in their order."""
        return after_rebates(self._before_rebates(), self.rebates)[1]

    def outlay_items(self) -> tuple[OutlayItem, ...]:
        """List what the outlay is made of: every part, also at zero, then every rebate as it was granted.

        Returns
        -------
        tuple of OutlayItem
            Their sum is the outlay.
        """
        names: dict[Part, str] = {"wire": f"wire run, {number_text(self.wire_run_m)} m"}
        parts = [OutlayItem(names.get(part, part), cost) for part, cost in self._before_rebates().items()]
        granted = zip(self.rebates, self.rebates_granted, strict=True)
        rebates = [OutlayItem(f"rebate: {rebate.name}", -given) for rebate, given in granted]
        return (*parts, *rebates)

    def limit_for(self, vehicle: Vehicle) -> Limit:
        """Find the most that it lets through for a car.

        Parameters
        ----------
        vehicle : Vehicle
            The car.

        Returns
        -------
        Limit

        Examples
        --------
        >>> from chargeplan.charging import Consumption
        >>> car = Vehicle(60, onboard_a=48, consumption=Consumption(15, "battery"))
        >>> Equipment("dryer outlet", Circuit(30, volts=240), Evse(24)).limit_for(car).wall_kw
        5.76
        """
        return _NOTHING if self.links is None else weakest_link(*self.links, vehicle)

    def _before_rebates(self) -> dict[Part, float]:
        return {
            "purchase": float(self.purchase),
            "wire": float(self.wire_run_m * self.wire_per_m),
            "labor": float(self.labor),
            "permit": float(self.permit),
        }


def usual_circuits() -> tuple[Circuit, ...]:
    """List the circuits that cars are usually charged on, without prices.

    Returns
    -------
    tuple of Circuit
        120 V with 15 and 20 A, 240 V with 20 to 100 A, of which 80 % may flow for hours; then 230/400 V with three
        phases and 16 and 32 A, of which all may.

    References
    ----------
    NFPA 70 (2023) table 240.6(A) and 625.42; SAE J1772 for the 80 A that end it. Three-phase: common practice, no
    source.

    Examples
    --------
    >>> [circuit.continuous_a for circuit in usual_circuits() if circuit.volts == 120]
    [12.0, 16.0]
    >>> [circuit.breaker_a for circuit in usual_circuits() if circuit.volts == 240]
    [20, 30, 40, 50, 60, 70, 80, 90, 100]
    """
    return (
        *(Circuit(rating_a, volts=120) for rating_a in _BREAKERS_120_V),
        *(Circuit(rating_a, volts=240) for rating_a in _BREAKERS_240_V),
        *(Circuit(rating_a, phases=3, volts_to_neutral=230, continuous_factor=1.0) for rating_a in _BREAKERS_400_V),
    )
