"""What a bill rises by when more is bought: prices by the hour, and what depends on many hours together.

A bill of a load is turned into arrays from which the rise for any further energy follows without billing
again: a price for every interval; tiers, where the sum of some intervals decides; the highest power over some
intervals; the minimum. Tiers that rise by one step in all periods are convex, which is what a linear program can be
made of. Where steps differ by period or fall, it matters when the running total crosses a limit; where the use of
the whole bill chooses the prices, it matters which it chooses.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chargeplan.clock import IntArray
from chargeplan.tariff.lines import FloatArray

#: A total this little above a limit still counts as within it, as on every bill.
WITHIN_KWH = 1e-9


@dataclass(frozen=True, eq=False)
class TierShape:
    """Tiers that count the energy of some intervals together.

    Parameters
    ----------
    share : float array, shape (n,)
        Counted kWh for each kWh of an interval; 0 where it does not count.
    kwh : float
        Counted already.
    limits : float array, shape (k,)
        Cumulative limits.
    rise : float array, shape (k,)
        By how much the price is higher above each limit than below it; not negative.
    weight, in_minimum : float
        What the bill, and what the lines a minimum tops up, rise by with each unit of money.
    """

    share: FloatArray
    kwh: float
    limits: FloatArray
    rise: FloatArray
    weight: float
    in_minimum: float

    @property
    def charge_already(self) -> float:
        """What the tiers add without anything on top."""
        return float(self.rise @ np.maximum(self.kwh - self.limits, 0.0))

    def cost(self, more_kwh: FloatArray) -> float:
        """Give what the tiers add for energy bought on top, before weights."""
        total = self.kwh + float(self.share @ more_kwh)
        above = np.maximum(total - self.limits, 0.0) - np.maximum(self.kwh - self.limits, 0.0)
        return float(self.rise @ above)


@dataclass(frozen=True, eq=False)
class CrossingShape:
    """One limit of tiers whose step differs by interval, or falls: the running total crosses it in one of them.

    Parameters
    ----------
    share : float array, shape (n,)
        Counted kWh for each kWh of an interval; 0 where it does not count.
    house_kwh : float array, shape (n,)
        Counted already, by interval.
    limit : float
        The running total above which the price is another.
    step : float array, shape (n,)
        By how much the price of each interval is higher above the limit than below it; may be negative.
    weight, in_minimum : float
        As of `TierShape`.
    """

    share: FloatArray
    house_kwh: FloatArray
    limit: float
    step: FloatArray
    weight: float
    in_minimum: float

    @property
    def charge_already(self) -> float:
        """What the limit comes to without anything on top."""
        return self.charge(self.house_kwh)

    def cost(self, more_kwh: FloatArray) -> float:
        """Give what the limit adds for energy bought on top, before weights."""
        return self.charge(self.house_kwh + self.share * more_kwh) - self.charge_already

    def charge(self, counted_kwh: FloatArray) -> float:
        """Give what the energy above the limit costs more, for counted energy by interval."""
        above = np.maximum(np.cumsum(counted_kwh) - self.limit, 0.0)
        return float(self.step @ np.diff(above, prepend=0.0))


@dataclass(frozen=True, eq=False)
class ChoiceShape:
    """A line whose prices are chosen by the total of the whole bill: cases, prices of all units, charges by use.

    Parameters
    ----------
    share : float array, shape (n,)
        As of `CrossingShape`.
    house_kwh : float array, shape (n,)
        Counted already, by interval.
    limits : float array, shape (k,)
        Total up to which each choice but the last holds.
    price : float array, shape (k + 1, n)
        Price of a counted kWh under each choice, by interval.
    amount : float array, shape (k + 1,)
        What each choice costs whatever is used.
    weight, in_minimum : float
        As of `TierShape`.
    """

    share: FloatArray
    house_kwh: FloatArray
    limits: FloatArray
    price: FloatArray
    amount: FloatArray
    weight: float
    in_minimum: float

    @property
    def charge_already(self) -> float:
        """What the line comes to without anything on top."""
        return self.charge(self.house_kwh)

    def cost(self, more_kwh: FloatArray) -> float:
        """Give what the line rises by for energy bought on top, before weights."""
        return self.charge(self.house_kwh + self.share * more_kwh) - self.charge_already

    def chosen(self, total_kwh: float) -> int:
        """Tell which choice a total makes."""
        return int(np.searchsorted(self.limits, total_kwh - WITHIN_KWH, side="left"))

    def charge(self, counted_kwh: FloatArray) -> float:
        """Give what the line costs for counted energy by interval."""
        number = self.chosen(float(counted_kwh.sum()))
        return float(self.amount[number]) + float(self.price[number] @ counted_kwh)


@dataclass(frozen=True, eq=False)
class PeakShape:
    """A charge for the highest mean power over some intervals.

    Parameters
    ----------
    block : int array, shape (n,)
        Number of the averaging time of each interval; -1 where it is not charged.
    kw : float array, shape (blocks,)
        Mean power of each already.
    day : int array, shape (blocks,)
        Number of the day of each, from 0; all 0 where one highest power counts.
    hours : float
        Length of an averaging time.
    least_kw : float
        The least power that is billed, in real kW.
    limits, price : float arrays, shapes (k,) and (k + 1,)
        Cumulative limits in real kW, and the price of each tier per kW.
    weight, in_minimum : float
        As of `TierShape`.
    """

    block: IntArray
    kw: FloatArray
    day: IntArray
    hours: float
    least_kw: float
    limits: FloatArray
    price: FloatArray
    weight: float
    in_minimum: float

    @property
    def charge_already(self) -> float:
        """What the charge comes to without anything on top."""
        return self.charge(self.billed_kw(np.zeros(self.block.size)))

    def cost(self, more_kwh: FloatArray) -> float:
        """Give what the charge rises by for energy bought on top, before weights."""
        return self.charge(self.billed_kw(more_kwh)) - self.charge_already

    def billed_kw(self, more_kwh: FloatArray) -> float:
        """Give the power that is billed for energy bought on top."""
        inside = self.block >= 0
        more = np.bincount(self.block[inside], weights=more_kwh[inside], minlength=self.kw.size) / self.hours
        highest = np.zeros(int(self.day.max()) + 1)
        np.maximum.at(highest, self.day, self.kw + more)
        return max(float(highest.mean()), self.least_kw)

    def charge(self, billed_kw: float) -> float:
        """Give the charge for a billed power, before weights."""
        bounds = np.r_[0.0, self.limits, np.inf]
        return float(self.price @ np.clip(billed_kw - bounds[:-1], 0.0, np.diff(bounds)))

    @property
    def rises(self) -> bool:
        """Whether no tier is cheaper than the one below it, so that the charge is convex."""
        return bool((np.diff(self.price, prepend=0.0) >= 0).all())


Part = TierShape | CrossingShape | ChoiceShape | PeakShape


@dataclass(frozen=True)
class MinimumShape:
    """A least amount for some lines.

    Parameters
    ----------
    missing : float
        By how much the lines fall short of it already; negative if they are above.
    weight : float
        What the bill rises by with each unit of money that is topped up.
    """

    missing: float
    weight: float


@dataclass(frozen=True, eq=False)
class BillShape:
    """What one bill rises by for energy bought on top of a load.

    Parameters
    ----------
    start_s : int
        UTC seconds of the first interval.
    step_s : int
        Length of each.
    price, in_minimum : float arrays, shape (n,)
        What a kWh adds to the bill, and to the lines a minimum tops up, whatever else is bought.
    tiers : tuple of TierShape
        What depends on sums, and is convex.
    crossings, choices : tuples of CrossingShape and ChoiceShape
        What depends on sums, and is not.
    peaks : tuple of PeakShape
        What depends on highest powers.
    minimum : MinimumShape or None
        The least amount.
    """

    start_s: int
    step_s: int
    price: FloatArray
    in_minimum: FloatArray
    tiers: tuple[TierShape, ...]
    peaks: tuple[PeakShape, ...]
    minimum: MinimumShape | None
    crossings: tuple[CrossingShape, ...] = ()
    choices: tuple[ChoiceShape, ...] = ()

    @property
    def parts(self) -> tuple[Part, ...]:
        """All that depends on many intervals together, but for the minimum."""
        return (*self.tiers, *self.crossings, *self.choices, *self.peaks)

    @property
    def by_the_hour(self) -> bool:
        """Whether prices by the hour say all there is."""
        return not self.parts and self.minimum is None

    def cost(self, more_kwh: FloatArray) -> float:
        """Give what the unrounded bill rises by.

        Parameters
        ----------
        more_kwh : float array, shape (n,)
            Energy bought on top in each interval, not negative.

        Returns
        -------
        float
        """
        total, counted = float(self.price @ more_kwh), float(self.in_minimum @ more_kwh)
        for part in self.parts:
            cost = part.cost(more_kwh)
            total += part.weight * cost
            counted += part.in_minimum * cost
        if self.minimum is not None:
            missing = self.minimum.missing
            total += self.minimum.weight * (max(0.0, missing - counted) - max(0.0, missing))
        return total
