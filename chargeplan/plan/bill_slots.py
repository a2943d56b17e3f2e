"""Which slots of a plan are on which bill, and what the plan costs with them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.tariff.bill_shape import BillShape
from chargeplan.tariff.bill_slope import next_kwh_price

#: Differences of bills are sums of some thousand numbers with 16 digits.
_COST_DECIMALS = 10


@dataclass(frozen=True, eq=False)
class BilledSlots:
    """Slots of a plan whose energy is on one bill.

    Parameters
    ----------
    shape : BillShape
        What the bill rises by.
    slot : int array, shape (k,)
        Slots of the plan.
    interval : int array, shape (k,)
        The interval of the bill in which each lies.
    anyway : float
        What the bill rises by for what the car draws in any case.
    """

    shape: BillShape
    slot: Ints
    interval: Ints
    anyway: float = 0.0

    def more_kwh(self, wall_kwh: Floats) -> Floats:
        """Lay the energy of a plan on the intervals of the bill."""
        more = np.bincount(self.interval, weights=wall_kwh[self.slot], minlength=self.shape.price.size)
        return more.astype(np.float64)

    def cost(self, wall_kwh: Floats) -> float:
        """Give what the bill rises by for a plan."""
        return self.anyway + self.shape.cost(self.more_kwh(wall_kwh))

    def next_kwh(self, wall_kwh: Floats) -> Floats:
        """Price one more kWh in each of the slots beside a plan, shape (k,), without charges for the highest power."""
        return next_kwh_price(self.shape, self.more_kwh(wall_kwh))[self.interval]


class Rise(Protocol):
    """What bills rise by, as the sheet itself works it out."""

    def cost(self, more_kwh: Floats) -> float:
        """Give what they rise by for energy on top in each interval."""

    def next_kwh(self, more_kwh: Floats) -> Floats:
        """Give the price of one kWh more in each interval, beside energy on top."""


@dataclass(frozen=True, eq=False)
class RisenSlots(BilledSlots):
    """Slots on bills that are billed anew for every plan, as there are no arrays that say all of them.

    Parameters
    ----------
    shape, slot, interval, anyway
        As of `BilledSlots`; the shape has nothing but the prices of one more kWh.
    rise : Rise
        The bills.
    drawn_kwh : array, shape (intervals,)
        What the car draws in any case.
    because : str
        What of the sheet prevents arrays, in words.
    """

    rise: Rise = field(kw_only=True)
    drawn_kwh: Floats = field(kw_only=True)
    because: str = field(kw_only=True)

    def cost(self, wall_kwh: Floats) -> float:
        """Give what the bills rise by for a plan."""
        return self.rise.cost(self.drawn_kwh + self.more_kwh(wall_kwh))

    def next_kwh(self, wall_kwh: Floats) -> Floats:
        """Price one more kWh in each of the slots beside a plan, as the sheet itself does."""
        return self.rise.next_kwh(self.drawn_kwh + self.more_kwh(wall_kwh))[self.interval]


def total_cost(problem: Problem, bills: Sequence[BilledSlots], wall_kwh: Floats) -> float:
    """Add up what a plan costs: the rise of each bill, and the price of slots on none of them."""
    elsewhere = np.ones(problem.slots, dtype=bool)
    for bill in bills:
        elsewhere[bill.slot] = False
    paid = float((problem.price_per_kwh * wall_kwh)[elsewhere].sum()) + sum(bill.cost(wall_kwh) for bill in bills)
    return round(paid, _COST_DECIMALS) + 0.0  # what is nothing but rounding is not shown as less than nothing


def looked_at(problem: Problem, bills: Sequence[BilledSlots]) -> NDArray[np.bool_]:
    """Mark the slots of which a charge for the highest power takes the mean, shape (n,)."""
    found = np.zeros(problem.slots, dtype=bool)
    for bill in bills:
        for peak in bill.shape.peaks:
            found[bill.slot] |= peak.block[bill.interval] >= 0
    return found
