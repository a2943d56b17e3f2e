"""A plan against whole bills, with what it is compared with billed alike."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from functools import cached_property

import numpy as np

from chargeplan.plan.bill_columns import by_the_hour
from chargeplan.plan.bill_slots import BilledSlots, RisenSlots, total_cost
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.schedule import Schedule
from chargeplan.plan.slower import in_parts
from chargeplan.plan.unmanaged import Unmanaged, by_timer, on_plug_in

#: A limit that is lower by more than this is another one.
_PART_KWH = 1e-6


@dataclass(frozen=True, eq=False, repr=False)
class BilledSchedule(Schedule):
    """A plan whose cost is what bills rise by.

    The price of a slot, as the tables and windows show it, is its price by the hour and an even share of what
    the plan adds to tiers, demand and minimum, so that the costs of all slots come to the rise of the bills.
    Where nothing is drawn it is the price of one more kWh, without what the highest power adds.

    Parameters
    ----------
    asked : Problem
        The problem with the limits and prices of slots that were asked; in that of the plan the current is lower
        where it charges more slowly.
    bills : tuple of BilledSlots
        The bills.
    unproven : str
        Why the plan was found by the price of one more kWh, which need not give the cheapest; else empty.
    steadily : float, optional
        What the plan would cost without switching on and off within the times of which the mean power is charged,
        where that is much more.
    """

    asked: Problem | None = None
    bills: tuple[BilledSlots, ...] = ()
    unproven: str = ""
    steadily: float | None = None

    @property
    def whole_bill(self) -> bool:
        """Whether the cost is what a whole bill rises by: it is."""
        return True

    @property
    def because(self) -> str:
        """Why the plan was found by the price of one more kWh; empty if it was not."""
        return self.unproven

    @property
    def steady_cost(self) -> float | None:
        """What it would cost without charging for parts of the times of which the mean is charged, if much more."""
        return self.steadily

    @property
    def in_parts(self) -> bool:
        """Whether it charges for parts of several times of which the bill charges the mean power."""
        return in_parts(self.problem, self.bills, self.battery_kwh, self.level_kwh) > 1

    @property
    def slowly(self) -> bool:
        """Whether the current is kept low where the bill charges the mean power."""
        assert self.asked is not None
        return bool((self.problem.max_kwh < self.asked.max_kwh - _PART_KWH).any())

    @cached_property
    def on_plug_in(self) -> Unmanaged:
        """The same levels by charging at once on plug-in, billed alike."""
        return self._billed(on_plug_in(self._by_the_hour, self._departing, self.total_cost))

    @cached_property
    def by_timer(self) -> Unmanaged:
        """The same levels, as far as they get, by a timer set to the cheapest price by the hour, billed alike."""
        return self._billed(by_timer(self._by_the_hour, self._departing, self.total_cost))

    @property
    def _departing(self) -> Floats:
        return np.asarray(self.level_kwh[self.problem.last])

    @property
    def _by_the_hour(self) -> Problem:
        assert self.asked is not None
        return by_the_hour(self.asked, self.bills)

    def _billed(self, habit: Unmanaged) -> Unmanaged:
        assert self.asked is not None
        cost = total_cost(self.asked, self.bills, habit.wall_kwh)
        return replace(habit, cost=cost, saving=cost - self.total_cost)


def against_bills(
    schedule: Schedule, asked: Problem, bills: Sequence[BilledSlots], *, bound: float, closed: float, bound_by: str = ""
) -> BilledSchedule:
    """Bill a plan, however it was found.

    Parameters
    ----------
    schedule : Schedule
        The plan.
    asked : Problem
        What was asked.
    bills : sequence of BilledSlots
        The bills.
    bound : float
        What any plan with as little missing costs at least; minus infinity if that is not known.
    closed : float
        A gap below this is none.
    bound_by : str
        Whose bound it is.

    Returns
    -------
    BilledSchedule
        It is called optimal only if the bound closes.
    """
    cost = total_cost(asked, bills, schedule.wall_kwh)
    own = schedule.certificate
    optimal = own.feasible and cost - bound <= closed
    certificate = replace(
        own, optimal=optimal, cost=cost, bound=bound, gap=cost - bound, tolerance=closed, bound_by=bound_by
    )
    given = {item.name: getattr(schedule, item.name) for item in fields(Schedule)}
    price = _shown_prices(schedule, asked, bills)
    given |= {"problem": replace(schedule.problem, price_per_kwh=price), "certificate": certificate}
    return BilledSchedule(**given, asked=asked, bills=tuple(bills))


def _shown_prices(schedule: Schedule, asked: Problem, bills: Sequence[BilledSlots]) -> Floats:
    """Spread over the slots of each bill what it rises by beyond the prices by the hour."""
    price = asked.price_per_kwh.copy()
    drawn = schedule.drawn_kwh
    for bill in bills:
        hourly = bill.shape.price[bill.interval]
        used = drawn[bill.slot]
        more = bill.cost(schedule.wall_kwh) - float(hourly @ used)
        share = more / float(used.sum()) if used.any() else 0.0
        # Where nothing is drawn the price is that of one more kWh; a bill worked out anew for each is too slow for it.
        idle = hourly if isinstance(bill, RisenSlots) else bill.next_kwh(schedule.wall_kwh)
        price[bill.slot] = np.where(used > 0, hourly + share, idle)
    return np.asarray(price)
