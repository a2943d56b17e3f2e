"""The price of one more kWh: the derivative of a bill by what is bought in each interval."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from chargeplan.clock import IntArray, day_number
from chargeplan.tariff.bill_days import billing_months
from chargeplan.tariff.billing import BillMaker, Known, Worked
from chargeplan.tariff.bills import BillDesk, metered
from chargeplan.tariff.demand_charges import Powers
from chargeplan.tariff.energy_charges import Cells, Group, case_of, groups_of, pieces_of
from chargeplan.tariff.lines import FloatArray
from chargeplan.tariff.rates import CARRIED, MARKET, MINIMUM, Rates
from chargeplan.tariff.usage import IntervalUse, Metered


def next_kwh_array(desk: BillDesk, load: Any, export: Any, known: Known) -> FloatArray:
    """Give the price of one more kWh in every interval of a load.

    Parameters
    ----------
    desk : BillDesk
        The sheet.
    load, export : pandas.Series
        kWh per interval.
    known : Known
        What else is known.

    Returns
    -------
    float array, shape (intervals,)
        Amount per kWh by which the unrounded bill of the interval's billing month would rise. At a
        kink, such as the limit of a tier, what the next kWh costs.
    """
    return next_kwh_metered(desk, metered(desk.timeline, load, export), known)


def next_kwh_metered(desk: BillDesk, found: Metered, known: Known) -> FloatArray:
    """Give the price of one more kWh in every interval; the same from arrays."""
    result = np.zeros(found.start_s.size)
    first, last = desk.days_of(found)
    for begin, finish in billing_months(first, last, desk.billing.reading_day):
        use = IntervalUse(desk.timeline, found, day_number(begin), day_number(finish))
        maker = desk.maker(use, begin, finish, known)
        maker.unrounded = True
        worked = maker.work()
        result[use.span] = _Slope(maker, use, worked).slope()
        known = replace(known, carried=worked.carried, reached_kw=known.reached_later_kw)
    parts = found.read_step_s // found.step_s
    return np.asarray(result.reshape(-1, parts).mean(axis=1))


class _Slope:
    """Derivative of one bill."""

    def __init__(self, maker: BillMaker, use: IntervalUse, worked: Worked) -> None:
        self.maker, self.use, self.worked = maker, use, worked
        versions = np.unique(use.version)
        self.last: Rates = use.timeline.versions[int(versions[-1])]
        self.weights = self._weights()

    def slope(self) -> FloatArray:
        """Add the derivatives of all lines, each with what other lines take of it."""
        total = np.zeros(self.use.span.stop - self.use.span.start)
        pieces = pieces_of(self.use.timeline, self.use, "bought")
        netted = np.zeros_like(total)
        for name, parts in pieces.items():
            own = np.zeros_like(total)
            for group in groups_of(parts, self.use, self.maker.days):
                self._energy(own, group)
            total += self.weights.get(name, 1.0) * own
            netted += own if parts[-1].line.counts != "bought" else 0.0
        for version in np.unique(self.use.version):
            rates, slots = self.use.timeline.versions[int(version)], self.use.slots(int(version))
            if slots is None:
                continue
            where = self.use.where(int(version))
            if rates.market is not None:
                price = rates.market_prices(slots)
                total[where] += self.weights.get(MARKET, 1.0) * price
                netted[where] += price
        return total + self._demand() + self._carried(netted)

    def _weights(self) -> dict[str, float]:
        """Work out by how much the bill rises with each line: itself, and all that is taken of it."""
        weights = self.last.weights
        minimum = next((charge for charge in self.worked.charges if charge.name == MINIMUM), None)
        if self.last.minimum is not None and minimum is not None and minimum.amount[0] > 0:
            own = weights.get(MINIMUM, 1.0)
            for base in self.last.minimum.of:
                weights[base] = weights.get(base, 1.0) - own
        return weights

    # ------------------------------------------------------------------------------------------------ energy

    def _energy(self, own: FloatArray, group: Group) -> None:
        net = self.last.net is not None
        cells = Cells.build(group, self.use, "bought", net)
        for piece, seasons in group.pieces:
            slots = self.use.slots(piece.version)
            if slots is None:
                continue
            line, table = piece.line, piece.rates.tables[piece.line.table]
            codes = slots.cell(line.table)
            inside = np.isin(codes // len(table.periods), sorted(seasons)) & line.charged.reshape(-1)[codes]
            here = np.flatnonzero(inside) + self.use.where(piece.version).start
            if not line.tiered:
                own[here] += line.first_price(piece.rates.loss_share).reshape(-1)[codes[inside]]
        if group.pieces[0][0].line.tiered and cells.keys:
            self._tiers(own, group, cells)

    def _tiers(self, own: FloatArray, group: Group, cells: Cells) -> None:
        loss = np.array([piece.line.with_losses(piece.rates.loss_share) for piece, _ in cells.keys])
        losses_only = group.pieces[0][0].line.counts == "losses"
        where = np.concatenate([kept + self.use.where(version).start for version, kept in cells.where])
        code = cells.order[0] if cells.order is not None else np.zeros(0, np.int64)
        slope = self._tier_slope(group, cells, loss) * loss[code]
        if losses_only:
            slope = slope - self._tier_slope(group, cells, np.ones_like(loss))
        own[where] += slope

    def _tier_slope(self, group: Group, cells: Cells, factor: FloatArray) -> FloatArray:
        """Price of one more counted kWh in every charged interval."""
        assert cells.order is not None
        code, flow = cells.order[0], cells.order[1][:, 0]
        season = min(group.pieces[0][1])
        kwh = cells.kwh[:, 0] * factor
        total = float(kwh.sum())
        first = case_of(group.pieces[0][0].line.cases, season, group.scale, total)
        number = next(i for i, case in enumerate(group.pieces[0][0].line.cases) if case is first)
        limits = first.limits[season][np.isfinite(first.limits[season])] * group.scale
        price = np.stack(
            [
                piece.line.cases[number].price[: limits.size + 1].reshape(limits.size + 1, -1)[:, cell]
                for piece, cell in cells.keys
            ],
            axis=1,
        )
        if limits.size and len(cells.keys) > 1 and cells.in_time[0]:
            after = np.cumsum(flow * factor[code])
            slope = price[np.searchsorted(limits, after, side="right"), code]
            for tier, limit in enumerate(limits):
                if limit < total:
                    crossing = int(np.searchsorted(after, limit, side="right"))
                    step = price[tier + 1, code[crossing]] - price[tier, code[crossing]]
                    slope = slope + np.where(np.arange(after.size) < crossing, step, 0.0)
            return np.asarray(slope)
        tier = int(np.searchsorted(limits, total, side="right")) if total > 0 else 0
        if total <= 0:
            return np.asarray(price[0, code])
        bounds = np.r_[0.0, limits, np.inf]
        share = (np.clip(total, bounds[:-1], bounds[1:]) - bounds[:-1]) / total
        change = (np.eye(limits.size + 1)[tier] - share) / total
        return np.asarray((share @ price)[code] + float(change @ (price @ kwh)))

    # ------------------------------------------------------------------------------------------------ demand

    def _demand(self) -> FloatArray:
        """Spread what one more kWh does to each highest power over the intervals that make it."""
        total = np.zeros(self.use.span.stop - self.use.span.start)
        known = self.maker.known
        if known.demand_kw is not None:
            return total
        demands = self.maker.demands()
        for group in demands.groups():
            line, part = group.line, group.parts[-1]
            times = demands.times(group)
            weight = self.weights.get(line.name, 1.0) * self.maker.days.count(line.per) * group.weight
            for period in np.flatnonzero(line.charged[part.season]).tolist():
                daily = demands.daily_highest(group, period)
                if daily is None:
                    continue
                billed = float(daily.mean() if line.mean else daily.max()) * times
                if billed < demands.least_kw(group):
                    continue
                price = line.price[int(np.searchsorted(group.limits, billed, side="right")), part.season, period]
                rise = weight * price * times * (1.0 / daily.shape[0] if line.mean else 1.0)
                for its_part, found, inside in demands.measured_in(group, period):
                    where = self.use.where(its_part.version)
                    total[where] += self._of_highest(found, inside, rise, None if line.mean else float(daily.max()))
        return total

    def _of_highest(self, found: Powers, inside: IntArray, rise: float, highest: float | None) -> FloatArray:
        """Give the intervals of the highest power, or of each day's highest, what a kW more costs, per kWh."""
        kw, day = found.kw[inside, 0], found.day[inside]
        if highest is None:
            first = np.flatnonzero(np.r_[True, np.diff(day) != 0]) if day.size else np.zeros(0, np.int64)
            least = np.repeat(np.maximum.reduceat(kw, first), np.diff(np.r_[first, kw.size])) if day.size else kw
        else:
            least = np.full(kw.size, highest)
        slope = np.zeros(found.first.size)
        slope[inside] = np.where(kw >= least, rise / found.hours, 0.0)
        return slope[found.interval]

    # ------------------------------------------------------------------------------------------------ net metering

    def _carried(self, netted: FloatArray) -> FloatArray:
        """Work out what a kWh changes in the credit that is used, carried or settled."""
        if self.last.net is None:
            return np.zeros_like(netted)
        total = float(self.worked.netted[0])
        before = self.maker.known.carried.credit
        offsets = total < 0 or total < before
        if self.last.net.carry == "nothing":
            offsets = total < 0
        result = -self.weights.get(CARRIED, 1.0) * netted if offsets else np.zeros_like(netted)
        settled = any(charge.name == "surplus" for charge in self.worked.charges)
        if settled and self.last.net.surplus == "paid" and offsets:
            result = result + netted
        elif settled and isinstance(self.last.net.surplus, float | int):
            result = result + float(self.last.net.surplus)
        return result
