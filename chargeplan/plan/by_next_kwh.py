"""Plans by the price of one more kWh, for bills that no program can say: found that way, billed as they are.

The price of one more kWh holds beside what is used already. What the car itself uses changes it: the plan is billed,
the next kWh is priced beside it, and it is planned again, a few times. The cheapest by the bill is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from chargeplan.plan.bill_slots import BilledSlots, RisenSlots, total_cost
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.schedule import Schedule, plan
from chargeplan.plan.stops import Itinerary

#: How often it is planned again, and for how long that may take.
_ROUNDS, _LIMIT_S = 3, 8.0


def plan_by_next_kwh(
    itinerary: Itinerary, problem: Problem, bills: Sequence[BilledSlots], *, tie_break: str, solver: str
) -> Schedule:
    """Plan by prices of one more kWh.

    Parameters
    ----------
    itinerary, problem : Itinerary, Problem
        What is asked, priced by one more kWh of the house alone.
    bills : sequence of BilledSlots
        Which slots are on which bill.
    tie_break, solver : str
        As for `chargeplan.plan.schedule.plan`.

    Returns
    -------
    Schedule
        Not billed yet.
    """
    step_min = problem.step_s // 60
    best = plan(itinerary, step_min=step_min, solver=solver, tie_break=tie_break)
    cost, last = total_cost(problem, bills, best.wall_kwh), best
    for _ in range(_ROUNDS if any(isinstance(bill, RisenSlots) for bill in bills) else 0):
        priced = _priced_beside(itinerary, problem, bills, last.wall_kwh)
        last = plan(priced, step_min=step_min, solver=solver, tie_break=tie_break, time_limit_s=_LIMIT_S)
        new = total_cost(problem, bills, last.wall_kwh)
        if new >= cost - 1e-9 or not _as_good(last, best):
            break
        best, cost = last, new
    return best


def _as_good(one: Schedule, other: Schedule) -> bool:
    """Whether a plan leaves no more short than another."""
    short = [sum(departure.shortfall_kwh for departure in found.departures) for found in (one, other)]
    return short[0] <= short[1] + 1e-6


def _priced_beside(itinerary: Itinerary, problem: Problem, bills: Sequence[BilledSlots], wall_kwh: Floats) -> Itinerary:
    """Price the stays on bills by one more kWh beside a plan."""
    stays = list(itinerary.stays)
    for bill in bills:
        if not isinstance(bill, RisenSlots):
            continue
        price = bill.rise.next_kwh(bill.drawn_kwh + bill.more_kwh(wall_kwh))
        prices = _from_table(price, bill.shape.start_s)
        for number in np.unique(problem.stay[bill.slot]).tolist():
            stays[number] = replace(stays[number], price_per_kwh=prices)
    return replace(itinerary, stays=stays)


def _from_table(price: Floats, begin_s: int) -> Callable[[Ints, int], Floats]:
    def prices(start_s: Ints, step_s: int) -> Floats:
        return np.asarray(price[np.clip((start_s - begin_s) // step_s, 0, price.size - 1)])

    return prices
