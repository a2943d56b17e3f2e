"""The weakest link: the most that circuit, EVSE and car together let through, and which of them says so."""

from __future__ import annotations

import math

import numpy as np

from chargeplan.charging.circuit import Circuit, charging_level
from chargeplan.charging.links import Limit, Link, LinkName, number_text
from chargeplan.charging.numeric import FloatOrArray, as_given, check_number, without_nan
from chargeplan.charging.supply import Evse
from chargeplan.charging.vehicle import Vehicle
from chargeplan.errors import InputError


def current_limit_a(circuit: Circuit, evse: Evse, vehicle: Vehicle, available_a: FloatOrArray) -> FloatOrArray:
    """Find the current that the weakest link lets through, for one or for many slots.

    The EVSE announces only its steps, so what the circuit leaves is floored to one; the car may draw less
    than announced, so the onboard charger's own limit is not.

    Parameters
    ----------
    circuit, evse, vehicle : Circuit, Evse, Vehicle
        The three links.
    available_a : float or array of any shape
        Amperes that are left for the car on each phase, by the slot; infinite where nothing else runs.
        Negative means none.

    Returns
    -------
    float or array of the same shape
        Amperes on each phase in use; 0 where that is below the minimum of the EVSE, or where the car's
        overhead would leave nothing for the battery.

    Raises
    ------
    InputError
        If a value of `available_a` is missing (NaN).

    Examples
    --------
    >>> from chargeplan.charging import Consumption
    >>> car = Vehicle(60, consumption=Consumption(15, "battery"))
    >>> current_limit_a(Circuit(50, volts=240), Evse(48), car, np.array([3.0, 17.9, np.inf]))
    array([ 0., 17., 40.])
    """
    supplied_a = np.minimum(without_nan("available_a", available_a), circuit.continuous_a)
    onboard_a = vehicle.onboard_limit_a(circuit.phase_volts, circuit.phases)
    current_a = np.minimum(evse.floor_to_step(supplied_a), onboard_a)
    used = vehicle.phases_used(circuit.phases)
    loss = vehicle.loss(charging_level(circuit.phase_volts, used))
    useful = (current_a >= evse.min_a) & (loss.battery_kw(circuit.power_kw(current_a, used)) > 0)
    return as_given(np.where(useful, current_a, 0.0), available_a)


def weakest_link(circuit: Circuit, evse: Evse, vehicle: Vehicle, *, available_a: float | None = None) -> Limit:
    """Find the most that circuit, EVSE and car together let through.

    Parameters
    ----------
    circuit, evse, vehicle : Circuit, Evse, Vehicle
        The three links.
    available_a : float, optional
        Amperes that are left for the car on each phase when something else runs on the circuit, with the
        continuous-load rule already applied. Negative means none.

    Returns
    -------
    Limit
        The current, the power, and why it is no more.

    Raises
    ------
    InputError
        If `available_a` is not a number.

    References
    ----------
    NFPA 70 (2023) 625.42 and 210.20(A) for the circuit; SAE J1772 for the 6 A below which charging is off.

    Examples
    --------
    >>> from chargeplan.charging import Consumption
    >>> car = Vehicle(60, onboard_a=48, consumption=Consumption(15, "battery"))
    >>> limit = weakest_link(Circuit(50, volts=240), Evse(48), car)
    >>> limit.current_a, limit.wall_kw, limit.because
    (40.0, 9.6, 'limited by the circuit: 40 A of a 50 A breaker')
    >>> print(limit.warnings[0])
    the EVSE can draw 48 A, but the circuit may carry 40 A for hours: it must be set to 40 A; a licensed electrician
    and the local code decide
    """
    if available_a is not None:
        check_number("available_a", available_a, remedy="write the amperes that are left, like 20, or leave it out")
    used = vehicle.phases_used(circuit.phases)
    links = _ac_links(circuit, evse, vehicle, available_a)
    # The onboard charger is not bound to steps; the other links are, and of two with one step the tighter is named.
    amperes = [x.current_a if x.name == "onboard charger" else evse.floor_to_step(x.current_a) for x in links]
    weakest = min(range(len(links)), key=lambda i: (amperes[i], links[i].current_a))
    current_a = current_limit_a(circuit, evse, vehicle, math.inf if available_a is None else float(available_a))
    level = charging_level(circuit.phase_volts, used)
    loss = vehicle.loss(level)
    wall_kw = circuit.power_kw(current_a, used)
    return Limit(
        current_a=current_a,
        min_a=float(evse.min_a),
        kw_per_a=circuit.power_kw(1.0, used),
        volts=circuit.volts_text,
        phases=used,
        level=level,
        wall_kw=wall_kw,
        battery_kw=loss.battery_kw(wall_kw),
        gain=loss.gain(wall_kw),
        by=links[weakest].name,
        because=_because(links[weakest], amperes[weakest], current_a, evse, circuit),
        warnings=_warnings(circuit, evse, vehicle),
        links=links,
        step_a=float(evse.step_a),
    )


def dc_limit(power_kw: float, vehicle: Vehicle) -> Limit:
    """Find the most that a DC station gives to a car; the onboard charger is bypassed.

    Parameters
    ----------
    power_kw : float
        Power of the station, in kW.
    vehicle : Vehicle
        The car; it must state `dc_max_kw`.

    Returns
    -------
    Limit
        Wall power is what the station delivers to the car. The currents are NaN, as they follow the battery's
        voltage; the taper, which decides most of a fast charge, is not in it.

    Raises
    ------
    InputError
        If the power is not positive, or the car does not state what it takes.

    Examples
    --------
    >>> from chargeplan.charging import Consumption
    >>> limit = dc_limit(150, Vehicle(60, consumption=Consumption(15, "battery"), dc_max_kw=100))
    >>> limit.wall_kw, limit.because
    (100.0, 'limited by the DC limit of the car: 100 kW')
    """
    check_number("power_kw", power_kw, above=0, remedy="write the kW of the DC station, like 150")
    if vehicle.dc_max_kw is None:
        raise InputError("this car does not say what it takes from a DC station; add dc_max_kw, like 100")
    links = (
        Link("DC station", math.nan, float(power_kw), "its rating"),
        Link("DC limit of the car", math.nan, float(vehicle.dc_max_kw), "as stated"),
    )
    weakest = min(links, key=lambda link: link.wall_kw)
    loss = vehicle.loss("dc")
    useful = loss.battery_kw(weakest.wall_kw) > 0
    wall_kw = weakest.wall_kw if useful else 0.0
    because = f"limited by the {weakest.name}: {number_text(weakest.wall_kw)} kW"
    return Limit(
        current_a=math.nan,
        min_a=0.0,
        kw_per_a=math.nan,
        volts="direct current",
        phases=0,
        level="dc",
        wall_kw=wall_kw,
        battery_kw=loss.battery_kw(wall_kw),
        gain=loss.gain(wall_kw),
        by=weakest.name,
        because=because if useful else f"no charging: {number_text(weakest.wall_kw)} kW is no more than the car loses",
        warnings=(),
        links=links,
    )


def _ac_links(circuit: Circuit, evse: Evse, vehicle: Vehicle, available_a: float | None) -> tuple[Link, ...]:
    used = vehicle.phases_used(circuit.phases)

    def link(name: LinkName, current_a: float, rating: str) -> Link:
        return Link(name, float(current_a), circuit.power_kw(float(current_a), used), rating)

    at = circuit.volts_text if circuit.phases == 1 else f"{circuit.volts_text}, {used} of {circuit.phases} phases"
    onboard_a = vehicle.onboard_limit_a(circuit.phase_volts, circuit.phases)
    onboard = f"{number_text(circuit.power_kw(onboard_a, used))} kW at {at}"
    links = [
        link(
            "circuit",
            circuit.continuous_a,
            f"{number_text(circuit.continuous_a)} A of a {circuit.breaker_a:g} A breaker",
        )
    ]
    if available_a is not None:
        links.append(link("what is left on the circuit", max(available_a, 0.0), "beside everything else that runs"))
    links.append(link("EVSE", evse.max_a, f"set to at most {evse.max_a:g} A"))
    links.append(
        link("onboard charger", onboard_a, "not stated, taken as no limit" if math.isinf(onboard_a) else onboard)
    )
    return tuple(links)


def _because(weakest: Link, step_a: float, current_a: float, evse: Evse, circuit: Circuit) -> str:
    amperes, kw = number_text(weakest.current_a), number_text(weakest.wall_kw)
    named = weakest.name if weakest.name.startswith("what") else f"the {weakest.name}"
    if current_a == 0 and step_a < evse.min_a:
        return f"no charging: {named} allows {amperes} A, below the {evse.min_a:g} A under which the EVSE stops"
    if current_a == 0:
        return f"no charging: {kw} kW, all that {named} allows, is no more than the car loses"
    if weakest.name == "onboard charger":
        return f"limited by {named}: {kw} kW ({amperes} A at {circuit.volts_text})"
    reason = f"limited by {named}: {number_text(current_a)} A"
    if weakest.name == "circuit":
        reason += f" of a {circuit.breaker_a:g} A breaker"
    if current_a < weakest.current_a:
        reason += f" ({amperes} A in steps of {evse.step_a:g} A)"
    return reason


def _warnings(circuit: Circuit, evse: Evse, vehicle: Vehicle) -> tuple[str, ...]:
    found: list[str] = []
    if evse.max_a > circuit.continuous_a:
        setting_a = evse.floor_to_step(circuit.continuous_a)
        remedy = f"it must be set to {setting_a:g} A" if setting_a else "it must not be used on this circuit"
        found.append(
            f"the EVSE can draw {evse.max_a:g} A, but the circuit may carry {number_text(circuit.continuous_a)} A "
            f"for hours: {remedy}; a licensed electrician and the local code decide"
        )
    if not circuit.is_standard_breaker:
        found.append(f"{circuit.breaker_a:g} A is no standard rating of a breaker; read it off the breaker again")
    between = circuit.volts_between_phases
    if between is not None and 215 < between < 260:
        found.append(
            f"{between:g} V between phases is {between / math.sqrt(3):.0f} V to neutral; "
            "if it is 230 V to neutral, write volts_to_neutral=230"
        )
    if vehicle.onboard_kw is None and vehicle.onboard_a is None:
        found.append("the onboard charger is not stated; if it is weaker than the rest, add onboard_kw or onboard_a")
    return tuple(found)
