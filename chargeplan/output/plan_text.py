"""A plan as plain text that reads well in a terminal and in a mail."""

from __future__ import annotations

from chargeplan.charging.supply import PILOT_MAX_A
from chargeplan.household import HouseholdPlan
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
from chargeplan.plan.breaks import breaks_of
from chargeplan.plan.remedies import Fix, needed_a
from chargeplan.plan.schedule import Departure
from chargeplan.plan.unmanaged import Unmanaged

#: Less battery energy than this is rounding, not a shortfall.
_SHORT_KWH = 1e-6
_CENT = 0.01
#: What would have to be stronger where the link has no name of its own for that.
_STRONGER = {"what is left on the circuit": "circuit"}


#: By rule of the charger: what would have to be done about it.
_RELAXED = {
    "never": "charge in the hours of `never`",
    "load_control": "get out of `load_control` for once, if its terms allow that",
    "derating": "keep the EVSE cooler, so that `derating` allows more",
    "one_block": "allow more than one block (`one_block`)",
    "most_starts": "allow more `most_starts`",
    "min_on": "allow a shorter `min_on`",
    "min_off": "allow a shorter `min_off`",
    "preconditioning": "do without `preconditioning`",
}


def _heading(plan: HouseholdPlan) -> list[str]:
    household = plan.household
    return [*wrapped(f"{household.name}: {household.vehicle_name}"), *wrapped(household.tariff.name), ""]


def night_text(plan: HouseholdPlan) -> str:
    """Write tonight's plan.

    Parameters
    ----------
    plan : HouseholdPlan
        What `plan_tonight` returned.

    Returns
    -------
    str
        Lines of at most 80 characters, without colour.

    Examples
    --------
    >>> from chargeplan.household import load_household, plan_tonight
    >>> night = plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00")
    >>> print(night_text(night).splitlines()[5])
    Charge       Wed 23:00 - Thu 01:07   32 A   16.1 kWh   2.95 USD
    """
    household, schedule = plan.household, plan.schedule
    departure, stay = schedule.departures[0], plan.itinerary.stays[0]
    reached = departure.level_kwh / household.vehicle.usable_kwh
    zone = clock_changes(stay.start, stay.end)
    lines = _heading(plan)
    lines += labelled(
        "Plugged in",
        f"{moment_text(stay.start, with_zone=zone)} at {percent_text(plan.soc.share)} ({plan.soc.because})",
    )
    leaves = "Ready by" if plan.ready_min else "Leaves"
    lines += labelled(
        leaves, f"{moment_text(stay.end, with_zone=zone)} at {percent_text(reached)}, {_target_words(plan, departure)}"
    )
    lines += window_lines(plan, departure)
    lines += ["", *summary_lines(plan)]
    return "\n".join(lines)


def days_text(plan: HouseholdPlan) -> str:
    """Write the plan of the coming days.

    Parameters
    ----------
    plan : HouseholdPlan
        What `plan_days` returned.

    Returns
    -------
    str
        A paragraph for every stay: when, what is charged, and the level at departure.
    """
    household, schedule = plan.household, plan.schedule
    lines = _heading(plan)
    lines += labelled("Begins", f"at {percent_text(plan.soc.share)} ({plan.soc.because})")
    for stay, departure in zip(plan.itinerary.stays, schedule.departures, strict=True):
        zone = clock_changes(stay.start, stay.end)
        level = percent_text(departure.level_kwh / household.vehicle.usable_kwh)
        times = f"{moment_text(stay.start, with_zone=zone)} - {moment_text(stay.end, with_zone=zone)}"
        lines += ["", *wrapped(f"{stay.place}, {times}, leaves at {level}")]
        lines += [f"  {line}" for line in window_lines(plan, departure)]
        if departure.shortfall_kwh > _SHORT_KWH:
            lines += [f"  short of the {percent_text(departure.need_kwh / household.vehicle.usable_kwh)} needed"]
    return "\n".join([*lines, "", *summary_lines(plan)])


def window_lines(plan: HouseholdPlan, departure: Departure) -> list[str]:
    """Write one line for every block of charging before a departure."""
    windows = [window for window in plan.schedule.windows if window.stay == departure.stay]
    if not windows:
        return [f"{'Charge':<{LABEL}}not {'possible' if departure.shortfall_kwh > _SHORT_KWH else 'needed'}"]
    lines = []
    for position, window in enumerate(windows):
        first, last = whole_minute(window.start), whole_minute(window.end, up=True)
        zone = clock_changes(first, last)
        start = f"{first:%a} {time_text(first, with_zone=zone)}"
        end = f"{last:%a} {time_text(last, with_zone=zone)}"
        amount = current_text(window.current_a, plan.limits[window.stay].wall_kw)
        cost = money_text(window.cost, plan.household.tariff.currency)
        label = "Charge" if position == 0 else ""
        lines.append(f"{label:<{LABEL}}{start} - {end}   {amount}   {window.wall_kwh:.1f} kWh   {cost}")
        if window.falls_to_a is not None:
            low = current_text(window.falls_to_a, 0.0)
            if low != amount:
                lines += labelled("", f"falling to {low} as the battery fills")
    return lines


def summary_lines(plan: HouseholdPlan) -> list[str]:
    """Write what the plan costs, what it saves, what limits it, and how well it is proven."""
    household, schedule = plan.household, plan.schedule
    currency = household.tariff.currency
    cost = money_text(schedule.total_cost, currency)
    wall, battery = schedule.total_wall_kwh, schedule.total_battery_kwh
    lines = labelled("Cost", f"{cost} for {wall:.1f} kWh from the wall, {battery:.1f} kWh of it into the battery")
    if own := preconditioning_words(plan):
        lines += labelled("Precondition", own)
    at_once, timer = schedule.on_plug_in, schedule.by_timer
    lines += labelled("Saves", _habit_words(plan, at_once, "charging at once on plug-in"))
    lines += labelled("", _habit_words(plan, timer, "a timer set to the cheapest price"))
    if plan.ready_min:
        lines += labelled("Insured", _insured_words(plan))
    places = [stay.place for stay in plan.itinerary.stays]
    for place, limit in dict.fromkeys(zip(places, plan.limits, strict=True)):
        where = "" if len(places) == 1 else f"{place}: "
        lines += labelled("Limit", f"{where}{limit.wall_kw:.2f} kW, {limit.because}")
        for warning in limit.warnings:
            lines += labelled("Caution", warning)
    for rule in plan.rules:
        lines += labelled("Limit", rule if len(set(places)) == 1 else f"home: {rule}")
    for caution in plan.cautions:
        lines += labelled("Caution", caution)
    lines += labelled("Proof", f"{schedule.certificate.words_in(currency)}; {schedule.method}")
    for fix in schedule.fixes:
        lines += labelled("Short", fix_text(plan, fix))
    return lines


def _habit_words(plan: HouseholdPlan, habit: Unmanaged, name: str) -> str:
    """Say what is saved against a habit, or what is wrong with one that costs less."""
    schedule, missing = plan.schedule, float(habit.short_kwh.sum())
    if missing > _SHORT_KWH:
        return f"{name} would pay {habit.cost:.2f} but end {missing:.1f} kWh short"
    if habit.saving < -_CENT / 2:
        broken = breaks_of(schedule, habit)
        rules = " and ".join(f"`{rule}`" for rule in broken if rule != "floor")
        wrong = ["wait below the floor"] if "floor" in broken else []
        wrong += [f"not keep {rules}"] if rules else []
        but = f" but {' and '.join(wrong)}" if wrong else ", which is less than the plan costs"
        return f"{name} would pay {habit.cost:.2f}{but}"
    saved = money_text(_saved(habit.cost, schedule.total_cost), plan.household.tariff.currency)
    return f"{saved} against {name} (costs {habit.cost:.2f})"


def preconditioning_words(plan: HouseholdPlan) -> str:
    """Say what the car draws for itself before it leaves; nothing where it draws nothing.

    Parameters
    ----------
    plan : HouseholdPlan
        Of one car.

    Returns
    -------
    str
    """
    usual = plan.household.habits.preconditioning
    if usual is None or not any(stay.preconditioning for stay in plan.itinerary.stays):
        return ""
    cost = money_text(plan.schedule.preconditioning_cost, plan.household.tariff.currency)
    text = f"{plan.schedule.preconditioning_kwh.sum():.1f} kWh from the wall"
    drained_kwh = sum(stay.drained_kwh for stay in plan.itinerary.stays)
    if drained_kwh > _SHORT_KWH:
        text += f" and {drained_kwh:.1f} kWh from the battery"
    return f"{text} in the {usual.takes_min:g} min before leaving home, {cost} of the cost"


def _insured_words(plan: HouseholdPlan) -> str:
    early = plan.household.habits.early
    met = 1.0 if early is None else early.met(plan.ready_min)
    cost = money_text(max(0.0, plan.insurance_cost), plan.household.tariff.currency)
    return (
        f"ready {plan.ready_min:g} min before the usual departure, in time for {percent_text(met)} of departures; "
        f"that costs {cost}"
    )


def _saved(cost: float, plan_cost: float) -> float:
    """Subtract what is printed, so that a reader who subtracts finds the same."""
    return round(cost, 2) - round(plan_cost, 2)


def fix_text(plan: HouseholdPlan, fix: Fix) -> str:
    """Say how short a departure is, and what would mend it."""
    stay = plan.itinerary.stays[fix.stay]
    short = fix.shortfall_kwh / plan.household.vehicle.usable_kwh
    text = f"by {fix.shortfall_kwh:.1f} kWh ({percent_text(short)}) on leaving {stay.place}, {moment_text(stay.end)}"
    ways, current = [], "more current would not mend it"
    relaxed = [" and ".join(_RELAXED.get(name, name) for name in together) for together in fix.rules]
    if fix.leave_later_min is not None:
        hours, minutes = divmod(fix.leave_later_min, 60)
        ways.append(f"leave {f'{hours} h {minutes} min' if hours else f'{minutes} min'} later")
    if fix.more_a is not None and stay.current_a is not None:
        total_a = needed_a(stay, fix.more_a)
        total = current_text(total_a, 0.0)
        weak = [link for link in plan.limits[fix.stay].links if link.current_a < total_a]
        onboard = next((link for link in weak if link.name == "onboard charger"), None)
        if onboard is not None:
            current = f"in time it takes {total}, but this car takes {current_text(onboard.current_a, 0.0)} at most"
        elif total_a > PILOT_MAX_A:
            current = f"in time it takes {total}, but no EVSE gives more than {PILOT_MAX_A:g} A"
        else:
            names = " and a stronger ".join(_STRONGER.get(link.name, link.name) for link in weak)
            agree = "if a licensed electrician and the local code agree"
            ways.append(f"have {fix.more_a} A more ({total}) from a stronger {names}, {agree}")
            current = ""
    ways += relaxed
    if not ways:
        return f"{text}; more time would not mend it; {current}"
    return f"{text}; to reach it, {' or '.join(ways)}{f'; {current}' if current else ''}"


def _target_words(plan: HouseholdPlan, departure: Departure) -> str:
    if departure.shortfall_kwh <= _SHORT_KWH:
        above = departure.level_kwh / plan.household.vehicle.usable_kwh > plan.target + 0.005
        return f"above the target of {percent_text(plan.target)}" if above else "the target"
    return f"short of the target of {percent_text(plan.target)}"
