"""A stay with another current: what a stronger circuit and EVSE would deliver, with what is lost then."""

from __future__ import annotations

from dataclasses import replace

from chargeplan.charging import Limit, Vehicle
from chargeplan.charging.supply import PILOT_MAX_A
from chargeplan.household.charger import HOME, HomeCharger
from chargeplan.plan.stops import Stay


def at_current(limit: Limit, vehicle: Vehicle, charger: HomeCharger | None, stay: Stay, current_a: float) -> Stay:
    """Give a stay with another limit current.

    The fixed part of the losses weighs less at a higher power, so the gain rises with the current. Hours of
    load control and derating keep their own limits, which a weaker circuit may have hidden.

    Parameters
    ----------
    limit : Limit
        The limit now.
    vehicle : Vehicle
        The car, for what it loses.
    charger : HomeCharger, optional
        How the charger at home may be used.
    stay : Stay
        The stay.
    current_a : float
        Amperes on each phase, whatever circuit, EVSE and car allow now.

    Returns
    -------
    Stay

    Examples
    --------
    At 16 A the demo car loses a greater share than at 32 A:

    >>> from chargeplan.household import load_household, plan_tonight
    >>> home = load_household("demo")
    >>> stay = plan_tonight(home, soc="55 %", now="2026-11-25 20:00").itinerary.stays[0]
    >>> less = at_current(home.limit, home.vehicle, None, stay, 16.0)
    >>> less.wall_kw, round(less.gain, 4), round(stay.gain, 4)
    (3.84, 0.8729, 0.899)
    """
    wall_kw = limit.kw_per_a * current_a
    other = replace(limit, current_a=current_a, wall_kw=wall_kw, gain=vehicle.loss(limit.level).gain(wall_kw))
    changed = replace(stay, current_a=current_a, wall_kw=wall_kw, gain=other.gain)
    if charger is None or stay.place != HOME:
        return changed
    free = replace(
        charger,
        circuit=replace(charger.circuit, breaker_a=current_a / charger.circuit.continuous_factor),
        evse=replace(charger.evse, max_a=max(charger.evse.max_a, min(current_a, PILOT_MAX_A))),
        vehicle=replace(vehicle, onboard_a=None, onboard_kw=None),
    )
    (found,) = free.on_stays(other, [changed])
    return replace(changed, spells=found.spells)
