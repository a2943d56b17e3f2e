"""Taking bills apart into the arrays of `bill_shape`."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray, day_number
from chargeplan.tariff.bill_days import billing_months
from chargeplan.tariff.bill_shape import BillShape, ChoiceShape, CrossingShape, MinimumShape, PeakShape, TierShape
from chargeplan.tariff.billing import BillMaker, Known, Worked
from chargeplan.tariff.bills import BillDesk
from chargeplan.tariff.demand_charges import DemandGroup, Demands
from chargeplan.tariff.energy_charges import Group, Piece, groups_of, pieces_of
from chargeplan.tariff.lines import FloatArray
from chargeplan.tariff.rates import MARKET, MINIMUM, Rates
from chargeplan.tariff.usage import IntervalUse, Metered

#: Prices that differ by less are equal.
_SAME = 1e-12


class BillFormError(Exception):
    """What a bill rises by cannot be said by these arrays.

    Parameters
    ----------
    because : str
        The line of the sheet that prevents it, in words.
    """

    def __init__(self, because: str) -> None:
        super().__init__(because)
        self.because = because


def bill_shapes(desk: BillDesk, found: Metered, known: Known) -> list[BillShape]:
    """Find what the bills of a load rise by for energy on top of it.

    Parameters
    ----------
    desk : BillDesk
        The sheet.
    found : Metered
        The load; one household, whole billing months or the rest of one, nothing sold.
    known : Known
        What else is known of the first bill.

    Returns
    -------
    list of BillShape
        One for each billing month.

    Raises
    ------
    BillFormError
        If a line cannot be said so: tiers within cases, fixed charges that change with the first kWh, net metering
        with a credit, or demand that the next bill remembers.
    """
    first, last = desk.days_of(found)
    months = list(billing_months(first, last, desk.billing.reading_day))
    shapes = []
    for begin, finish in months:
        use = IntervalUse(desk.timeline, found, day_number(begin), day_number(finish))
        maker = desk.maker(use, begin, finish, known)
        maker.unrounded = True
        shapes.append(_Shaper(maker, use, maker.work(), alone=len(months) == 1).shape())
        known = replace(known, reached_kw=known.reached_later_kw)
    return shapes


@dataclass(eq=False)
class _Shaper:
    """Takes one bill apart."""

    maker: BillMaker
    use: IntervalUse
    worked: Worked
    alone: bool
    tiers: list[TierShape] = field(default_factory=list)
    crossings: list[CrossingShape] = field(default_factory=list)
    choices: list[ChoiceShape] = field(default_factory=list)
    peaks: list[PeakShape] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.last: Rates = self.use.timeline.versions[int(self.use.version[-1])]
        self.size = self.use.span.stop - self.use.span.start
        self.house = self.use.metered.bought[self.use.span, 0]
        self.weights = self.last.weights

    def shape(self) -> BillShape:
        """Give the arrays."""
        for line in self.last.fixed:
            if line.unused_share != 1 and self.use.bought_kwh[0] <= 0:
                raise BillFormError(f"`unused` of `{line.name}`, since nothing is used yet")
        price, counted = np.zeros(self.size), np.zeros(self.size)
        for name, pieces in pieces_of(self.use.timeline, self.use, "bought").items():
            own = np.zeros(self.size)
            for group in groups_of(pieces, self.use, self.maker.days):
                self._energy(own, group, name)
            self._refuse_credit(own, pieces[-1].line.counts != "bought")
            price += self._weight(name) * own
            counted += self._in_minimum(name) * own
        for version in np.unique(self.use.version):
            rates, slots = self.use.timeline.versions[int(version)], self.use.slots(int(version))
            if rates.market is not None and slots is not None:
                own = rates.market_prices(slots)
                self._refuse_credit(own, True)
                price[self.use.where(int(version))] += self._weight(MARKET) * own
                counted[self.use.where(int(version))] += self._in_minimum(MARKET) * own
        self._by_use()
        demands = self.maker.demands()
        for demand in demands.groups():
            self._demand(demands, demand)
        return BillShape(
            int(self.use.metered.start_s[self.use.span.start]),
            self.use.metered.step_s,
            price,
            counted,
            tuple(self.tiers),
            tuple(self.peaks),
            self._minimum(),
            tuple(self.crossings),
            tuple(self.choices),
        )

    def _refuse_credit(self, own: FloatArray, netted: bool) -> None:
        """Without anything sold net metering changes nothing, unless a line that is netted pays for what is used."""
        if self.last.net is not None and netted and (own.min(initial=0.0) < 0 or self.maker.known.carried.credit):
            raise BillFormError("`net_metering` with a credit that is left or with prices below 0")

    def _weight(self, name: str) -> float:
        return self.weights.get(name, 1.0)

    def _in_minimum(self, name: str) -> float:
        return float(self.last.minimum is not None and name in self.last.minimum.of)

    # ------------------------------------------------------------------------------------------------ energy

    def _energy(self, own: FloatArray, group: Group, name: str) -> None:
        """Add the price of the first tier of every interval, and note what lies above."""
        line = group.pieces[0][0].line
        if len(line.cases) > 1:
            self._cases(group, name)
            return
        season = min(group.pieces[0][1])
        limits = line.cases[0].limits[season]
        limits = limits[np.isfinite(limits)] * group.scale
        share, losses = np.zeros(self.size), np.zeros(self.size)
        step = np.zeros((limits.size, self.size))
        here_at_all = np.zeros(self.size, dtype=np.bool_)
        for piece, here, cell in self._places(group):
            own[here] += piece.line.first_price(piece.rates.loss_share).reshape(-1)[cell]
            share[here] = piece.line.with_losses(piece.rates.loss_share)
            losses[here] = 1.0 if piece.line.counts == "losses" else 0.0
            price = piece.line.cases[0].price[: limits.size + 1].reshape(limits.size + 1, -1)
            step[:, here] = np.diff(price, axis=0)[:, cell]
            here_at_all[here] = True
        if not limits.size or not here_at_all.any():
            return
        self._tiers(share, limits, step, here_at_all, name)
        if losses.any():
            # What is charged for losses is the use with them less the use, both in tiers.
            self._tiers(losses, limits, -step, here_at_all, name)

    def _tiers(
        self, share: FloatArray, limits: FloatArray, step: FloatArray, charged: NDArray[np.bool_], name: str
    ) -> None:
        weight, in_minimum = self._weight(name), self._in_minimum(name)
        kwh = share * self.house
        rise = step[:, int(np.flatnonzero(charged)[0])]
        if (rise >= 0).all() and np.abs(step[:, charged] - rise[:, None]).max() <= _SAME:
            self.tiers.append(TierShape(share, float(kwh.sum()), limits, rise, weight, in_minimum))
            return
        for limit, its_step in zip(limits.tolist(), step, strict=True):
            if its_step.any():
                self.crossings.append(CrossingShape(share, kwh, limit, its_step, weight, in_minimum))

    def _cases(self, group: Group, name: str) -> None:
        line = group.pieces[0][0].line
        season = min(group.pieces[0][1])
        if any(np.isfinite(case.limits[season]).any() for case in line.cases):
            raise BillFormError(f"tiers within the `cases` of `{name}`")
        share, losses = np.zeros(self.size), np.zeros(self.size)
        price = np.zeros((len(line.cases), self.size))
        for piece, here, cell in self._places(group):
            share[here] = piece.line.with_losses(piece.rates.loss_share)
            losses[here] = 1.0 if piece.line.counts == "losses" else 0.0
            price[:, here] = np.stack([case.price[0].reshape(-1)[cell] for case in piece.line.cases])
        limits = np.array([case.up_to[season] for case in line.cases[:-1]]) * group.scale
        for counted, sign in ((share, 1.0), (losses, -1.0)):
            if counted.any():
                self._choice(counted, limits, sign * price, np.zeros(len(line.cases)), name)

    def _choice(self, share: FloatArray, limits: FloatArray, price: FloatArray, amount: FloatArray, name: str) -> None:
        weight, in_minimum = self._weight(name), self._in_minimum(name)
        self.choices.append(ChoiceShape(share, share * self.house, limits, price, amount, weight, in_minimum))

    def _places(self, group: Group) -> Iterator[tuple[Piece, IntArray, IntArray]]:
        """Yield each piece of a group with its intervals, and their cells."""
        for piece, seasons in group.pieces:
            slots = self.use.slots(piece.version)
            if slots is None:
                continue
            width = len(piece.rates.tables[piece.line.table].periods)
            codes = slots.cell(piece.line.table)
            inside = np.isin(codes // width, sorted(seasons)) & piece.line.charged.reshape(-1)[codes]
            yield piece, np.flatnonzero(inside) + self.use.where(piece.version).start, codes[inside]

    def _by_use(self) -> None:
        """Note fixed charges that go by the use of the whole bill."""
        days = self.maker.days
        for line, rates, share in self.maker.fixed_spans():
            if line.by_use is None:
                continue
            limits = np.array(line.by_use.limits) * days.count(line.by_use.per)
            times = days.count(line.charge.per) * share * self.maker.contract(line, rates)
            amount = np.array(line.by_use.prices) * times
            self._choice(np.ones(self.size), limits, np.zeros((amount.size, self.size)), amount, line.name)

    # ------------------------------------------------------------------------------------------------ demand

    def _demand(self, demands: Demands, group: DemandGroup) -> None:
        line, part = group.line, group.parts[-1]
        if line.floor is not None and line.floor.share and not self.alone:
            raise BillFormError(f"`at_least` of `{line.name}`, by which one bill decides on the next")
        times = demands.times(group)
        least = demands.least_kw(group) / times
        for period in np.flatnonzero(line.charged[part.season]).tolist():
            price = line.price[: group.limits.size + 1, part.season, period] * times
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

    # ------------------------------------------------------------------------------------------------ minimum

    def _minimum(self) -> MinimumShape | None:
        minimum = self.last.minimum
        if minimum is None:
            return None
        base = sum(float(charge.amount[0]) for charge in self.worked.charges if charge.name in minimum.of)
        least = minimum.charge.amount * self.maker.days.count(minimum.charge.per)
        return MinimumShape(least - base, self._weight(MINIMUM))
