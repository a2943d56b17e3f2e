"""A plan for several cars as text that reads well in a mail, and as data."""

from __future__ import annotations

from datetime import datetime
from typing import Any, Final

import numpy as np

from chargeplan.household.together import SharedWindow, TogetherPlan
from chargeplan.output.plan_text import preconditioning_words
from chargeplan.output.words import (
    LABEL,
    clock_changes,
    current_text,
    labelled,
    moment_text,
    money_text,
    percent_text,
    time_text,
    whole_minute,
    wrapped,
)

TOGETHER_SCHEMA: Final = "chargeplan.together/1"
_SHORT_KWH: Final = 1e-6


def together_text(plan: TogetherPlan) -> str:
    """Write tonight's plan for several cars.

    Parameters
    ----------
    plan : TogetherPlan
        What `plan_together` returned.

    Returns
    -------
    str
        A paragraph for every car, then what all share; lines of at most 80 characters.
    """
    lines = [*wrapped(plan.panel.name)]
    shared = plan.shared
    for number, (car, alone) in enumerate(zip(plan.panel.cars, plan.alone, strict=True)):
        stay, departure = alone.itinerary.stays[0], shared.departures[number]
        usable, currency = car.household.vehicle.usable_kwh, car.household.tariff.currency
        zone = clock_changes(stay.start, stay.end)
        lines += ["", *wrapped(car.name)]
        lines += labelled("Plugged in", f"{moment_text(stay.start, with_zone=zone)} at {percent_text(alone.soc.share)}")
        missing = plan.shortfall_kwh(number)
        short = missing > 0
        level, target = percent_text(plan.level_kwh(number) / usable), percent_text(alone.target)
        said = f"short of the target of {target}" if short else "the target"
        if not short and plan.level_kwh(number) / usable < alone.target and level != target:
            said = f"as near to the target of {target} as the currents allow"
        lines += labelled(
            "Ready by" if alone.ready_min else "Leaves", f"{moment_text(stay.end, with_zone=zone)} at {level}, {said}"
        )
        for rule in alone.rules:
            lines += labelled("Limit", rule)
        if not plan.windows[number]:
            lines += labelled("Charge", "not possible" if short else "not needed")
        for position, window in enumerate(plan.windows[number]):
            lines.append(_window_line("" if position else "Charge", window, currency))
        if own_use := preconditioning_words(plan.alone[number]):
            lines += labelled("Precondition", own_use)
        if short:
            own = min(departure.alone_shortfall_kwh, missing)
            why = f", {own:.1f} kWh of it even if it were alone" if own > _SHORT_KWH else ", because others charge too"
            lines += labelled("Short", f"by {missing:.1f} kWh{why}")
    lines += ["", *_shared_lines(plan)]
    return "\n".join(lines)


def _shared_lines(plan: TogetherPlan) -> list[str]:
    shared = plan.shared
    currencies = {car.household.tariff.currency for car in plan.panel.cars}
    lines: list[str] = []
    if len(currencies) == 1:
        currency = currencies.pop()
        alone = sum(single.schedule.total_cost for single in plan.alone)
        cost = money_text(plan.total_cost, currency)
        lines += labelled(
            "Cost",
            f"{cost} for {plan.total_wall_kwh:.1f} kWh; alone on the panel, each on its own, {alone:.2f}",
        )
    for number, node in enumerate(plan.panel.tree.nodes):
        left = shared.problem.left_a[number]
        used = float(shared.node_a[number].max(initial=0.0))
        lines += labelled(
            "Limit",
            f"{node.name}: at least {current_text(float(left.min()), 0.0)} for cars, at most {_amperes(used)} used",
        )
        if float(left.min()) <= 0:
            lines += labelled("Caution", f"at times what else runs needs all that {node.name} may carry, or more")
        for text in _binding(plan, number):
            lines += labelled("", text)
    lines += labelled(
        "Caution",
        "the tree of circuits, their ratings and what else runs are as you wrote them; only a load management that "
        "measures and acts, and a licensed electrician and the local code, can say that no circuit is overloaded",
    )
    for warning in (*plan.cautions, *plan.panel.tree.warnings):
        lines += labelled("Caution", warning)
    proof = f"{shared.status}, with the losses that go with these currents; {shared.method}"
    return [*lines, *labelled("Proof", proof)]


def _binding(plan: TogetherPlan, node: int) -> list[str]:
    """Say when a limit is used up while a car below it could take more."""
    shared = plan.shared
    full = np.flatnonzero(shared.binding[node].any(axis=1))
    zone = plan.alone[0].itinerary.stays[0].start.tzinfo
    step_s = shared.problem.cars[0].problem.step_s
    found = []
    for block in np.split(full, np.flatnonzero(np.diff(full) > 1) + 1) if full.size else []:
        start = datetime.fromtimestamp(int(shared.start_s[block[0]]), zone)
        end = datetime.fromtimestamp(int(shared.start_s[block[-1]]) + step_s, zone)
        found.append(f"used up {start:%a} {time_text(start)} - {end:%a} {time_text(end)}")
    return found


def together_data(plan: TogetherPlan) -> dict[str, Any]:
    """Turn a plan for several cars into plain data.

    Parameters
    ----------
    plan : TogetherPlan
        What `plan_together` returned.

    Returns
    -------
    dict
        Ready for JSON; see `chargeplan schema together`.
    """
    shared = plan.shared
    certificate = shared.certificate
    return {
        "schema": TOGETHER_SCHEMA,
        "panel": plan.panel.name,
        "reachable": not plan.short,
        "cost": plan.total_cost,
        "wall_kwh": plan.total_wall_kwh,
        "cars": [
            {
                "name": car.name,
                "currency": car.household.tariff.currency,
                "circuit": car.node,
                "plugged_in": alone.itinerary.stays[0].start.isoformat(),
                "leaves": alone.itinerary.stays[0].end.isoformat(),
                "state_of_charge": alone.soc.share,
                "target": alone.target,
                "rules": list(alone.rules),
                "state_of_charge_at_departure": plan.level_kwh(number) / car.household.vehicle.usable_kwh,
                "shortfall_kwh": plan.shortfall_kwh(number),
                "shortfall_alone_kwh": departure.alone_shortfall_kwh,
                "windows": [
                    {
                        "start": window.start.isoformat(),
                        "end": window.end.isoformat(),
                        "current_a": window.current_a,
                        "wall_kwh": window.wall_kwh,
                        "cost": window.cost,
                    }
                    for window in plan.windows[number]
                ],
            }
            for number, (car, alone, departure) in enumerate(
                zip(plan.panel.cars, plan.alone, shared.departures, strict=True)
            )
        ],
        "slots": {
            "start": [
                datetime.fromtimestamp(int(s), plan.alone[0].itinerary.stays[0].start.tzinfo).isoformat()
                for s in plan.moments_s
            ],
            "current_a": [[round(float(value), 6) for value in row] for row in plan.moment_a],
        },
        "circuits": [
            {
                "name": node.name,
                "left_a": float(shared.problem.left_a[number].min()),
                "used_a": float(shared.node_a[number].max(initial=0.0)),
                "used_up_slots": int(shared.binding[number].any(axis=1).sum()),
            }
            for number, node in enumerate(plan.panel.tree.nodes)
        ],
        "proof": {
            "optimal": bool(certificate.optimal),
            "feasible": bool(certificate.feasible),
            "status": shared.status,
            "method": shared.method,
        },
    }


def _window_line(label: str, window: SharedWindow, currency: str) -> str:
    first, last = whole_minute(window.start), whole_minute(window.end, up=True)
    zone = clock_changes(first, last)
    times = f"{first:%a} {time_text(first, with_zone=zone)} - {last:%a} {time_text(last, with_zone=zone)}"
    current = current_text(window.current_a, 0.0)
    return f"{label:<{LABEL}}{times}   {current}   {window.wall_kwh:.1f} kWh   {money_text(window.cost, currency)}"


def _amperes(value: float) -> str:
    return f"{round(value, 1):g} A"
