"""What a bill rises by when more is bought: prices by the hour, and what depends on many hours together.

A bill of a load is turned into arrays from which the rise for any further energy follows without billing
again: a price for every interval; tiers, where the sum of some intervals decides; the highest power over some
intervals; the minimum. All of it is convex where tiers rise, which is what a linear program can be made of.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chargeplan.clock import IntArray, day_number
from chargeplan.tariff.bill_days import billing_months
from chargeplan.tariff.billing import BillMaker, Known, Worked
from chargeplan.tariff.bills import BillDesk
from chargeplan.tariff.demand_charges import DemandGroup, Demands, floor_kw
from chargeplan.tariff.energy_charges import Cells, Group, groups_of, pieces_of
from chargeplan.tariff.lines import FloatArray
from chargeplan.tariff.rates import MARKET, MINIMUM
from chargeplan.tariff.usage import IntervalUse, Metered

#: Prices that differ by less are equal.
_SAME = 1e-12


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

    def cost(self, more_kwh: FloatArray) -> float:
        """Give what the tiers add for energy bought on top, before weights."""
        total = self.kwh + float(self.share @ more_kwh)
        above = np.maximum(total - self.limits, 0.0) - np.maximum(self.kwh - self.limits, 0.0)
        return float(self.rise @ above)


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
        Cumulative limits in real kW, and the price of each tier per kW; rising.
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

    def cost(self, more_kwh: FloatArray) -> float:
        """Give what the charge rises by for energy bought on top, before weights."""
        inside = self.block >= 0
        more = np.bincount(self.block[inside], weights=more_kwh[inside], minlength=self.kw.size) / self.hours
        return self.charge(self.kw + more) - self.charge(self.kw)

    def charge(self, kw: FloatArray) -> float:
        """Give the charge for mean powers, before weights."""
        highest = np.zeros(int(self.day.max()) + 1)
        np.maximum.at(highest, self.day, kw)
        billed = max(float(highest.mean()), self.least_kw)
        bounds = np.r_[0.0, self.limits, np.inf]
        return float(self.price @ np.clip(billed - bounds[:-1], 0.0, np.diff(bounds)))


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
        What depends on sums.
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
        parts: tuple[TierShape | PeakShape, ...] = (*self.tiers, *self.peaks)
        for part in parts:
            cost = part.cost(more_kwh)
            total += part.weight * cost
            counted += part.in_minimum * cost
        if self.minimum is not None:
            missing = self.minimum.missing
            total += self.minimum.weight * (max(0.0, missing - counted) - max(0.0, missing))
        return total


def bill_shapes(desk: BillDesk, found: Metered, known: Known) -> list[BillShape] | None:
    """Find what the bills of a load rise by for energy on top of it.

    Parameters
    ----------
    desk : BillDesk
        The sheet.
    found : Metered
        The load; one household, whole billing months or the rest of one, nothing sold.
    known : Known
        What else is known.

    Returns
    -------
    list of BillShape, or None
        One for each billing month. None where the rise is not convex, or not of this form: falling
        tiers, tiers whose steps differ by period, lines that count losses in tiers, prices of all units
        by the tier reached, fixed charges by use, lines that weigh less than a minimum they count for, net
        metering.
    """
    first, last = desk.days_of(found)
    shapes = []
    for begin, finish in billing_months(first, last, desk.billing.reading_day):
        use = IntervalUse(desk.timeline, found, day_number(begin), day_number(finish))
        maker = desk.maker(use, begin, finish, known)
        maker.unrounded = True
        shape = _Shaper(maker, use, maker.work()).shape()
        if shape is None:
            return None
        shapes.append(shape)
    return shapes


class _Shaper:
    """Takes one bill apart."""

    def __init__(self, maker: BillMaker, use: IntervalUse, worked: Worked) -> None:
        self.maker, self.use, self.worked = maker, use, worked
        self.last = use.timeline.versions[int(use.version[-1])]
        self.size = use.span.stop - use.span.start
        self.weights = self.last.weights
        self.tiers: list[TierShape] = []
        self.peaks: list[PeakShape] = []

    def shape(self) -> BillShape | None:
        """Give the arrays, or None where they are not of this form."""
        if self.last.net is not None or any(line.by_use is not None for line in self.last.fixed):
            return None
        if self.use.bought_kwh[0] <= 0 and any(line.unused_share != 1 for line in self.last.fixed):
            return None
        price, counted = np.zeros(self.size), np.zeros(self.size)
        for name, pieces in pieces_of(self.use.timeline, self.use, "bought").items():
            own = np.zeros(self.size)
            for group in groups_of(pieces, self.use, self.maker.days):
                if not self._energy(own, group, name):
                    return None
            price += self._weight(name) * own
            counted += self._in_minimum(name) * own
        for version in np.unique(self.use.version):
            rates, slots = self.use.timeline.versions[int(version)], self.use.slots(int(version))
            if rates.market is not None and slots is not None:
                own = rates.market_prices(slots)
                price[self.use.where(int(version))] += self._weight(MARKET) * own
                counted[self.use.where(int(version))] += self._in_minimum(MARKET) * own
        demands = self.maker.demands()
        for demand in demands.groups():
            if not self._demand(demands, demand):
                return None
        minimum = self._minimum()
        parts: list[TierShape | PeakShape] = [*self.tiers, *self.peaks]
        # A line that weighs less than the minimum it counts for would be worth raising: not convex.
        if minimum is not None and any(part.in_minimum and part.weight < minimum.weight - _SAME for part in parts):
            return None
        start_s = int(self.use.metered.start_s[self.use.span.start])
        step_s = self.use.metered.step_s
        return BillShape(start_s, step_s, price, counted, tuple(self.tiers), tuple(self.peaks), minimum)

    def _weight(self, name: str) -> float:
        return self.weights.get(name, 1.0)

    def _in_minimum(self, name: str) -> float:
        return float(self.last.minimum is not None and name in self.last.minimum.of)

    def _energy(self, own: FloatArray, group: Group, name: str) -> bool:
        """Add the price of the first tier of every interval, and note what lies above."""
        line = group.pieces[0][0].line
        if line.all_units or len(line.cases) > 1 or (line.tiered and line.counts == "losses"):
            return False
        share = np.zeros(self.size)
        steps: list[FloatArray] = []
        season = min(group.pieces[0][1])
        limits = line.cases[0].limits[season]
        limits = limits[np.isfinite(limits)] * group.scale
        for piece, seasons in group.pieces:
            slots = self.use.slots(piece.version)
            if slots is None:
                continue
            width = len(piece.rates.tables[piece.line.table].periods)
            codes = slots.cell(piece.line.table)
            inside = np.isin(codes // width, sorted(seasons)) & piece.line.charged.reshape(-1)[codes]
            here = np.flatnonzero(inside) + self.use.where(piece.version).start
            own[here] += piece.line.first_price(piece.rates.loss_share).reshape(-1)[codes[inside]]
            share[here] = piece.line.with_losses(piece.rates.loss_share)
            price = piece.line.cases[0].price[: limits.size + 1].reshape(limits.size + 1, -1)
            steps += [np.diff(price[:, cell]) for cell in np.unique(codes[inside])]
        if not limits.size or not steps:
            return True
        rise = steps[0]
        if (rise < 0).any() or any(np.abs(other - rise).max() > _SAME for other in steps):
            return False
        cells = Cells.build(group, self.use, "bought", False)
        kwh = float(cells.kwh[:, 0] @ [piece.line.with_losses(piece.rates.loss_share) for piece, _ in cells.keys])
        self.tiers.append(TierShape(share, kwh, limits, rise, self._weight(name), self._in_minimum(name)))
        return True

    def _demand(self, demands: Demands, group: DemandGroup) -> bool:
        line, part = group.line, group.parts[-1]
        times = demands.times(group)
        least = floor_kw(line, self.maker.days.last, self.maker.known.carried) / times
        if isinstance(self.maker.known.demand_kw, float | int):
            least = max(least, float(self.maker.known.demand_kw))
        for period in np.flatnonzero(line.charged[part.season]).tolist():
            price = line.price[: group.limits.size + 1, part.season, period] * times
            if (np.diff(price) < 0).any() or (price < 0).any():
                return False
            block = np.full(self.size, -1, dtype=np.int64)
            kw: list[FloatArray] = []
            days: list[IntArray] = []
            count, hours = 0, 1.0
            for its_part, found, inside in demands.measured_in(group, period):
                number = np.full(found.first.size, -1, dtype=np.int64)
                number[inside] = count + np.arange(inside.size)
                block[self.use.where(its_part.version)] = number[found.interval]
                kw.append(found.kw[inside, 0])
                days.append(found.day[inside])
                count, hours = count + inside.size, found.hours
            if not count:
                continue
            day = np.concatenate(days)
            number_of_day = np.cumsum(np.r_[0, np.diff(day) != 0]) if line.mean else np.zeros(count, dtype=np.int64)
            weight = self.maker.days.count(line.per) * group.weight
            self.peaks.append(
                PeakShape(
                    block,
                    np.concatenate(kw),
                    number_of_day,
                    hours,
                    least,
                    group.limits / times,
                    price,
                    weight * self._weight(line.name),
                    weight * self._in_minimum(line.name),
                )
            )
        return True

    def _minimum(self) -> MinimumShape | None:
        minimum = self.last.minimum
        if minimum is None:
            return None
        base = sum(float(charge.amount[0]) for charge in self.worked.charges if charge.name in minimum.of)
        least = minimum.charge.amount * self.maker.days.count(minimum.charge.per)
        return MinimumShape(least - base, self._weight(MINIMUM))
