"""A plan against whole bills, with what it is compared with billed alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from chargeplan.plan.certificate import certify
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.reach import reach
from chargeplan.plan.schedule import Schedule
from chargeplan.plan.stops import Itinerary
from chargeplan.plan.unmanaged import Unmanaged, by_timer, on_plug_in
from chargeplan.plan.whole_bill import BilledSlots, plan_whole_bill, total_cost


@dataclass(frozen=True, eq=False, repr=False)
class BilledSchedule(Schedule):
    """A plan whose cost is what bills rise by.

    The price of a slot, as the tables and windows show it, is its price by the hour and an even share of what
    the plan adds to tiers, demand and minimum, so that the costs of all slots come to the rise of the bills.

    Parameters
    ----------
    asked : Problem
        The problem with the prices of slots that are on no bill.
    bills : tuple of BilledSlots
        The bills.
    """

    asked: Problem | None = None
    bills: tuple[BilledSlots, ...] = ()

    @property
    def whole_bill(self) -> bool:
        """Whether the cost is what a whole bill rises by: it is."""
        return True

    @property
    def in_parts(self) -> bool:
        """Whether it charges for parts of several slots of which the bill charges the mean power."""
        count = 0
        for bill in self.bills:
            most, used = self.problem.max_kwh[bill.slot], self.wall_kwh[bill.slot]
            partly = (used > 1e-6) & (used < most - 1e-6)
            looked_at = np.zeros(bill.slot.size, dtype=bool)
            for peak in bill.shape.peaks:
                looked_at |= peak.block[bill.interval] >= 0
            count += int((partly & looked_at).sum())
        return count > 1

    @cached_property
    def on_plug_in(self) -> Unmanaged:
        """The same levels by charging at once on plug-in, billed alike."""
        return self._billed(on_plug_in(self.problem, self.level_kwh[self.problem.last], self.total_cost))

    @cached_property
    def by_timer(self) -> Unmanaged:
        """The same levels, as far as they get, by a timer set to the cheapest price by the hour, billed alike."""
        return self._billed(by_timer(self.problem, self.level_kwh[self.problem.last], self.total_cost))

    def _billed(self, habit: Unmanaged) -> Unmanaged:
        assert self.asked is not None
        cost = total_cost(self.asked, self.bills, habit.wall_kwh)
        return replace(habit, cost=cost, saving=cost - self.total_cost)


def plan_billed(
    itinerary: Itinerary, problem: Problem, bills: Sequence[BilledSlots], *, tie_break: str = "earliest"
) -> BilledSchedule:
    """Plan the charging by which whole bills rise least.

    Parameters
    ----------
    itinerary, problem : Itinerary, Problem
        What is asked, without a taper.
    bills : sequence of BilledSlots
        Which slots are on which bill.
    tie_break : {"earliest", "as needed", "latest"}
        Which of the cheapest plans.

    Returns
    -------
    BilledSchedule
        With its certificate: limits checked from the energy alone, cost added up by the bills, bound from duals.
    """
    best = reach(problem)
    found = plan_whole_bill(problem, bills, best=best, tie_break=tie_break)
    priced = replace(problem, price_per_kwh=_shown_prices(problem, bills, found.wall_kwh))
    level = problem.levels(found.battery_kwh, best.served_kwh)
    checked = certify(priced, found.wall_kwh, level_kwh=level, best=best)
    certificate = replace(
        checked,
        optimal=checked.feasible and found.optimal,
        cost=found.cost,
        bound=found.bound,
        gap=found.cost - found.bound,
    )
    return BilledSchedule(
        itinerary=itinerary,
        problem=priced,
        best=best,
        wall_kwh=found.wall_kwh,
        battery_kwh=found.battery_kwh,
        level_kwh=level,
        certificate=certificate,
        method="linear program over the whole bill, solved by HiGHS",
        tie_break=tie_break,
        asked=problem,
        bills=tuple(bills),
    )


def _shown_prices(problem: Problem, bills: Sequence[BilledSlots], wall_kwh: Floats) -> Floats:
    """Spread over the slots of each bill what it rises by beyond the prices by the hour."""
    price = problem.price_per_kwh.copy()
    for bill in bills:
        by_hour = bill.shape.price[bill.interval]
        used = wall_kwh[bill.slot]
        more = bill.cost(wall_kwh) - float(by_hour @ used)
        price[bill.slot] = by_hour + (more / float(used.sum()) if used.any() else 0.0)
    return np.asarray(price)
