"""The reasons for a plan in sentences, and as data."""

from __future__ import annotations

from datetime import datetime
from math import isfinite
from typing import Any, Final

from chargeplan.household import HouseholdPlan
from chargeplan.output.words import (
    clock_changes,
    current_text,
    labelled,
    money_text,
    percent_text,
    time_text,
    whole_minute,
)
from chargeplan.plan.conflicts import Wish
from chargeplan.plan.reasons import Reason, Stretch
from chargeplan.plan.why import Why
from chargeplan.plan.worth import Change

_SHORT_KWH: Final = 1e-6


def why_text(plan: HouseholdPlan, why: Why) -> str:
    """Write why a plan is as it is.

    Parameters
    ----------
    plan : HouseholdPlan
        The plan.
    why : Why
        Its reasons.

    Returns
    -------
    str
        Lines of at most 80 characters, a sentence each.

    Examples
    --------
    >>> from chargeplan.household import load_household, plan_tonight
    >>> from chargeplan.plan.why import explain
    >>> night = plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00")
    >>> print(why_text(night, explain(night.schedule)).splitlines()[0])
    Why          Wed 20:00 - 23:00 waits: 0.2991 to 0.3943 is more than 0.1827, what
    """
    lines: list[str] = []
    for stretch in why.stretches:
        lines += labelled("" if lines else "Why", stretch_text(plan, stretch, with_current=_several_currents(why)))
    for note in why.notes:
        lines += labelled("" if lines else "Why", note)
    if why.values is not None:
        for position, number in enumerate(why.changes):
            lines += labelled("" if position else "A kWh", _worth_text(plan, why, number))
    for number, found in why.changes.items():
        where = _where(plan, why, number)
        said = [change_text(change, plan.household.tariff.currency) for change in found if not where or _counts(change)]
        for position, text in enumerate(said):
            lines += labelled("" if position else "If", f"{where}{text}")
    for number, wishes in why.conflicts.items():
        lines += labelled("Conflict", conflict_text(plan, number, wishes))
    return "\n".join(lines)


def why_data(plan: HouseholdPlan, why: Why) -> dict[str, Any]:
    """Turn the reasons for a plan into plain data, with the sentences beside them."""
    stays = plan.itinerary.stays
    return {
        "value_of_a_kwh": [
            {"stay": number, "saved": _finite(saved), "paid": _finite(paid)}
            for number, (saved, paid) in enumerate(zip(why.values.saved, why.values.paid, strict=True))
        ]
        if why.values is not None
        else [],
        "hours": [
            {
                "stay": stretch.stay,
                "start": _moment(plan, stretch.stay, stretch.start_s).isoformat(),
                "end": _moment(plan, stretch.stay, stretch.end_s).isoformat(),
                "charges": stretch.charges,
                "reason": stretch.reason,
                "least_price": stretch.low,
                "greatest_price": stretch.high,
                "worth": _finite(stretch.worth),
                "current_a": _finite(stretch.current_a),
                "instead": {
                    "wall_kwh": stretch.instead.wall_kwh,
                    "cost": stretch.instead.cost,
                    "shortfall_kwh": stretch.instead.shortfall_kwh,
                    "on_top_kwh": stretch.instead.on_top_kwh,
                    "proven": stretch.instead.proven,
                }
                if stretch.instead is not None
                else None,
                "because": list(stretch.because),
                "in_parts": stretch.in_parts,
                "text": stretch_text(plan, stretch, with_current=_several_currents(why)),
            }
            for stretch in why.stretches
        ],
        "changes": [
            {
                "stay": number,
                "change": change.key,
                "cost": change.cost,
                "shortfall_kwh": change.shortfall_kwh,
                "proven": change.proven,
                "text": change_text(change, plan.household.tariff.currency),
            }
            for number, found in why.changes.items()
            for change in found
        ],
        "conflicts": [
            {
                "stay": number,
                "place": stays[number].place,
                "wishes": [
                    {"kind": wish.kind, "stay": wish.stay, "rule": wish.rule or None, "text": _wish_text(plan, wish)}
                    for wish in wishes
                ],
                "text": conflict_text(plan, number, wishes),
            }
            for number, wishes in why.conflicts.items()
        ],
        "notes": list(why.notes),
    }


def stretch_text(plan: HouseholdPlan, stretch: Stretch, *, with_current: bool = False) -> str:
    """Say why some hours charge or wait."""
    start, end = (_moment(plan, stretch.stay, instant) for instant in (stretch.start_s, stretch.end_s))
    zone = clock_changes(start, end)
    begin, finish = whole_minute(start), whole_minute(end, up=True)
    day = "" if begin.date() == finish.date() else f"{finish:%a} "
    when = f"{begin:%a} {time_text(begin, with_zone=zone)} - {day}{time_text(finish, with_zone=zone)}"
    least, most = _price(stretch.low), _price(stretch.high)
    price = least if least == most else f"{least} to {most}"
    charges = "charges"
    if with_current and isfinite(stretch.current_a):
        up_to = "up to " if plan.schedule.problem.taper.size else ""
        charges = f"charges with {up_to}{current_text(stretch.current_a, 0.0)}"
    if stretch.in_parts:
        charges += " in parts"
    said: dict[Reason, str] = {
        "floor": f"{charges} at any price, because the battery is below the floor",
        "short": f"{charges}, because every hour is needed to come as near to the target as can be",
        "cheap": f"{charges}: {price} is less than {_price(stretch.worth)}, what a kWh is worth",
        "last": f"{charges}, at {price}, because no cheaper hours are left",
        "needed": f"{charges}, at {price}: without these hours {_instead_text(plan, stretch)}",
        "either": f"{charges}, at {price}, though other hours would do at the same cost",
        "off": f"cannot charge: {_off_text(stretch)}",
        "full": f"waits, though {price} would pay, because the battery holds all it may",
        "none": "waits: nothing more is needed",
        "equal": f"waits: {price} is as cheap as the hours used, but no more is needed",
        "dear": f"waits: {price} is more than {_price(stretch.worth)}, what a kWh is worth",
        "dearer": f"waits, at {price}: charging {_kwh(stretch)} {_instead_text(plan, stretch)}",
        "rules": f"waits: {' and '.join(_HINDERS.get(name, name) for name in stretch.because)}",
        "unknown": f"{charges if stretch.charges else 'waits'}; no other plan was proven in time",
    }
    if stretch.reason == "full" and not isfinite(stretch.worth):
        return f"{when} waits: the battery holds all it may"
    if stretch.reason == "floor" and stretch.instead is not None:
        otherwise = f"without these hours {_instead_text(plan, stretch)}"
        return f"{when} {charges}, at {price}, to be above the floor sooner; {otherwise}"
    if stretch.reason == "equal" and stretch.instead is not None:
        return f"{when} waits, at {price}: charging {_kwh(stretch)} would cost the same"
    return f"{when} {said[stretch.reason]}"


#: By rule of the charger: how it keeps hours from being used.
_HINDERS: Final = {
    "one_block": "the one block cannot reach here (`one_block`)",
    "most_starts": "that would take another start (`most_starts`)",
    "min_on": "it cannot be on for long enough here (`min_on`)",
    "min_off": "it cannot be off for long enough around that (`min_off`)",
}
#: By rule of the charger: why nothing can be drawn.
_OFF: Final = {
    "never": "forbidden hours (`never`)",
    "load_control": "held back by `load_control`",
    "derating": "too hot for the least current (`derating`)",
    "preconditioning": "all of the power goes into `preconditioning`",
}


def _off_text(stretch: Stretch) -> str:
    return " and ".join(_OFF.get(name, name) for name in stretch.because) or "nothing is delivered then"


def _kwh(stretch: Stretch) -> str:
    instead = stretch.instead
    if instead is None:
        return "more"
    on_top = f", {instead.on_top_kwh:.1f} kWh of it on top of what is needed," if instead.on_top_kwh > 0.05 else ""
    return f"{instead.wall_kwh:.1f} kWh here{on_top or ' instead'}"


def _instead_text(plan: HouseholdPlan, stretch: Stretch) -> str:
    instead = stretch.instead
    if instead is None:
        return ""
    # A plan that is not proven may be dearer than another.
    least = "" if instead.proven else "at most " if instead.cost >= 0 else "at least "
    money = f"cost {least}{money_text(abs(instead.cost), plan.household.tariff.currency)} {_more(instead.cost)}"
    if instead.shortfall_kwh <= _SHORT_KWH:
        return f"the plan would {money}" if stretch.charges else f"would {money}"
    missing = f"{instead.shortfall_kwh:.1f} kWh more would be missing"
    return missing if stretch.charges else f"would leave {instead.shortfall_kwh:.1f} kWh more missing"


def _more(amount: float) -> str:
    return "more" if amount >= 0 else "less"


def _several_currents(why: Why) -> bool:
    return len({round(stretch.current_a, 6) for stretch in why.stretches if isfinite(stretch.current_a)}) > 1


def change_text(change: Change, currency: str) -> str:
    """Say what a change would do to the cost and to what is missing."""
    if abs(change.shortfall_kwh) > _SHORT_KWH:
        more = "more" if change.shortfall_kwh > 0 else "less"
        missing = f"leave {abs(change.shortfall_kwh):.1f} kWh {more} missing"
        cost = f"{', for' if change.cost > 0 else ' and save'} {money_text(abs(change.cost), currency)}"
        return f"{change.what} would {missing}{cost if round(change.cost, 2) else ''}"
    if not _counts(change):
        return f"{change.what} would change nothing"
    verb = "cost" if change.cost > 0 else "save"
    if not change.proven:
        verb += " at most" if change.cost > 0 else " at least"
    return f"{change.what} would {verb} {money_text(abs(change.cost), currency)}"


def conflict_text(plan: HouseholdPlan, number: int, wishes: tuple[Wish, ...]) -> str:
    """Name the wishes that cannot be met together."""
    named = [_wish_text(plan, wish) for wish in wishes]
    if len(named) == 1:
        return f"{named[0]} is more than the battery may hold, whatever is charged"
    listed = f"{', '.join(named[:-1])} and {named[-1]}"
    reached = plan.schedule.departures[number].level_kwh / plan.household.vehicle.usable_kwh
    return (
        f"{listed} cannot be had together; giving up one would do. The nearest plan leaves at {percent_text(reached)}"
    )


def _wish_text(plan: HouseholdPlan, wish: Wish) -> str:
    usable, stay = plan.household.vehicle.usable_kwh, plan.itinerary.stays[wish.stay]
    limit = plan.limits[wish.stay]
    if wish.kind == "target":
        return f"{percent_text(stay.need_kwh / usable)} on leaving {stay.place}"
    if wish.kind in ("drive", "earlier drive"):
        return f"{plan.itinerary.drives[wish.stay].battery_kwh:.1f} kWh for the drive after {stay.place}"
    if wish.kind == "floor":
        return f"{percent_text(plan.household.habits.floor)} left as floor"
    if wish.kind == "rule":
        said = [text for text in plan.rules if text.endswith(f"(`{wish.rule}`)")]
        when = f" until {stay.end:%a} {time_text(stay.end)}" if len(plan.itinerary.stays) > 1 else ""
        return (" and ".join(said) or f"`{wish.rule}`") + when
    start, end = whole_minute(stay.start), whole_minute(stay.end)
    power = current_text(stay.current_a, limit.wall_kw)
    return f"{stay.hours:.1f} h at {stay.place} ({start:%a} {time_text(start)} - {time_text(end)}) with {power}"


def _worth_text(plan: HouseholdPlan, why: Why, number: int) -> str:
    assert why.values is not None
    saved, paid = float(why.values.saved[number]), float(why.values.paid[number])
    where = _where(plan, why, number)
    less = f"one less in the battery saves {_price(saved)}" if isfinite(saved) else "one less saves nothing"
    more = f"one more costs {_price(paid)}" if isfinite(paid) else "no more can be had"
    return f"{where}{less}, {more}"


def _where(plan: HouseholdPlan, why: Why, number: int) -> str:
    """Name the stay where several are spoken of."""
    stay = plan.itinerary.stays[number]
    return "" if len(why.changes) == 1 else f"{stay.place} until {stay.end:%a} {time_text(stay.end)}: "


def _counts(change: Change) -> bool:
    return abs(change.shortfall_kwh) > _SHORT_KWH or bool(round(change.cost, 2))


def _moment(plan: HouseholdPlan, number: int, instant_s: int) -> datetime:
    return datetime.fromtimestamp(instant_s, plan.itinerary.stays[number].start.tzinfo)


def _price(value: float) -> str:
    return f"{round(value, 4) + 0.0:.4f}"


def _finite(value: float) -> float | None:
    return float(value) if isfinite(value) else None
