"""Less current while a car preconditions, where what it draws raises the highest power that a bill charges."""

from __future__ import annotations

from collections.abc import Callable

from chargeplan.plan.schedule import Schedule
from chargeplan.plan.stops import Itinerary

#: So many currents are tried at first, evenly spread; then those beside the best.
_AT_FIRST = 5
_CENT = 0.01
_SHORT_KWH = 1e-6

Planned = tuple[Itinerary, Schedule | None]


def preconditioning_raises_power(schedule: Schedule) -> bool:
    """Tell whether what preconditioning draws costs more than its energy, as it raises the highest power.

    Parameters
    ----------
    schedule : Schedule
        A plan.
    """
    drawn = schedule.preconditioning_kwh
    for bill in getattr(schedule, "bills", ()):
        own = drawn[bill.slot]
        if bill.shape.peaks and own.any() and bill.anyway > float(bill.shape.price[bill.interval] @ own) + _CENT / 2:
            return True
    return False


def cheapest_of(currents: list[float], planned: Callable[[float], Planned], first: Planned) -> Planned:
    """Plan with less current while the car preconditions, and take the cheapest.

    Parameters
    ----------
    currents : list of float
        Rising.
    planned : callable
        Plans with a current.
    first : tuple
        The plan without less; it stays unless another is cheaper by a cent and leaves no more short.

    Returns
    -------
    tuple of Itinerary and Schedule
    """
    found = {len(currents): first}
    spread = {round(n * (len(currents) - 1) / (_AT_FIRST - 1)) for n in range(_AT_FIRST)}

    def rank(number: int) -> float:
        schedule = found[number][1]
        if schedule is None or _short_kwh(schedule) > _short_kwh(first[1]) + _SHORT_KWH:
            return float("inf")
        return schedule.total_cost - (_CENT if number == len(currents) else 0.0)

    for number in sorted(spread):
        found[number] = planned(currents[number])
    while True:
        best = min(found, key=rank)
        beside = [number for number in (best - 1, best + 1) if 0 <= number < len(currents) and number not in found]
        if not beside:
            return found[best]
        for number in beside:
            found[number] = planned(currents[number])


def _short_kwh(schedule: Schedule | None) -> float:
    return 0.0 if schedule is None else sum(departure.shortfall_kwh for departure in schedule.departures)
