"""Works out one bill: energy, fixed charges, demand, then what refers to other lines, in a stated order."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from chargeplan.clock import day_of_number
from chargeplan.errors import InputError
from chargeplan.tariff.bill import KINDS, Bill, BillItem, Carried
from chargeplan.tariff.bill_days import BillDays
from chargeplan.tariff.charge import Charge, sum_of
from chargeplan.tariff.demand_charges import Demands
from chargeplan.tariff.energy_charges import energy_charges, market_charges, pieces_of
from chargeplan.tariff.lines import FixedLine, FloatArray
from chargeplan.tariff.net_metering import Net
from chargeplan.tariff.phrases import Fixed
from chargeplan.tariff.rates import MINIMUM, Rates
from chargeplan.tariff.rounding import as_decimal, rounded
from chargeplan.tariff.sheet import Billing
from chargeplan.tariff.timeline import Timeline
from chargeplan.tariff.usage import IntervalUse, Use


@dataclass(frozen=True)
class Known:
    """What is known of a bill besides its energy.

    Parameters
    ----------
    demand_kw : mapping, float or None
        Demands, in place of intervals.
    power_factor, contracted_kw, contracted_a : float or None
        In place of the sheet's.
    carried : Carried
        What earlier bills left.
    reached_kw : float
        A power that was reached already, which the intervals need not show: no demand is billed as less.
    reached_later_kw : float
        The same for the bills after the first: what they are expected to reach in any case.
    """

    demand_kw: Mapping[str, float] | float | None = None
    power_factor: float | None = None
    contracted_kw: float | None = None
    contracted_a: float | None = None
    carried: Carried = field(default_factory=Carried)
    reached_kw: float = 0.0
    reached_later_kw: float = 0.0


@dataclass(frozen=True, eq=False)
class Worked:
    """A bill as arrays, for one household or for many.

    Parameters
    ----------
    charges : list of Charge
        In the order in which they are printed.
    total : float array, shape (households,)
        What is due.
    carried : Carried
        For the next bill; of the first household.
    notes : tuple of str
        What a reader should know.
    netted : float array, shape (households,)
        Sum of the lines that count what is bought less what is sold.
    """

    charges: list[Charge]
    total: FloatArray
    carried: Carried
    notes: tuple[str, ...]
    netted: FloatArray


@dataclass(eq=False)
class BillMaker:
    """Works out one bill.

    Parameters
    ----------
    timeline : Timeline
        The versions of the sheet.
    billing : Billing
        How it cuts and rounds bills.
    use : Use
        The energy of the bill.
    days : BillDays
        The days of the bill.
    known : Known
        What else is known.
    unrounded : bool
        Leave every amount as it is, whatever the sheet says.
    """

    timeline: Timeline
    billing: Billing
    use: Use
    days: BillDays
    known: Known
    unrounded: bool = False

    def work(self) -> Worked:
        """Work the bill out."""
        self.households = self.use.bought_kwh.size
        self.decimals = self.billing.decimals if self.billing.rounding == "each line" and not self.unrounded else None
        versions = [int(version) for version in np.unique(self.use.version)]
        last = self.timeline.versions[versions[-1]]
        charges: list[Charge] = []
        netted = np.zeros(self.households)
        for charge, net in self._energy(last):
            charges.append(charge)
            netted = netted + charge.amount if net else netted
        charges += [charge.rounded(self.decimals) for charge in self._fixed()]
        past = dict(self.known.carried.demand_kw)
        for charge, billed, season in self.demands().charges():
            charges.append(charge.rounded(self.decimals))
            if charge.tier <= 1:
                past[charge.name] = (*past.get(charge.name, ()), (self.days.last, season, float(billed[0])))
        carried = replace(self.known.carried, demand_kw=past)
        if last.net is not None:
            settling = Net(last.net, self.days, self.use, self.decimals)
            extra, carried = settling.settle(netted, carried)
            charges += [charge.rounded(self.decimals) for charge in extra]
        charges += [charge.rounded(self.decimals) for charge in self._credits(last)]
        charges += self._derived(last, charges)
        charges.sort(key=lambda charge: KINDS.index(charge.kind))
        total = sum_of(charges, self.households)
        total = rounded(total, self._total_decimals())
        return Worked(charges, total, carried, self._notes(versions), netted)

    def demands(self) -> Demands:
        """Give the demand lines, with what is known of them."""
        known = self.known
        return Demands(
            self.timeline, self.use, self.days, known.demand_kw, known.power_factor, known.carried, known.reached_kw
        )

    def bill(self, sheet: str, currency: str) -> Bill:
        """Work the bill out for one household and write it down."""
        worked = self.work()
        decimals = self.decimals
        items = tuple(
            BillItem(
                charge.name,
                charge.kind,
                as_decimal(float(charge.amount[0]), charge.digits(decimals)),
                float(charge.quantity[0]),
                charge.unit or currency,
                charge.price,
                charge.period,
                charge.season,
                charge.tier,
                charge.place,
                charge.version,
            )
            for charge in worked.charges
        )
        total = as_decimal(float(worked.total[0]), self._total_decimals())
        energy = float(self.use.bought_kwh[0]), float(self.use.sold_kwh[0])
        return Bill(
            sheet, currency, self.days.first, self.days.last, items, total, *energy, worked.notes, worked.carried
        )

    def _total_decimals(self) -> int | None:
        return None if self.billing.rounding == "none" or self.unrounded else self.billing.decimals

    def _energy(self, last: Rates) -> Iterator[tuple[Charge, bool]]:
        net = last.net is not None
        for side in ("bought", "sold"):
            if side == "sold" and not self.use.sold_kwh.any():
                continue
            for name, pieces in pieces_of(self.timeline, self.use, side).items():
                counts_net = net and side == "bought" and pieces[-1].line.counts != "bought"
                for charge in energy_charges(name, pieces, self.use, self.days, side=side, net=net):
                    # What a line says of itself holds, even where the sheet rounds only the total.
                    decimals = self.billing.decimals if charge.rounding and not self.unrounded else self.decimals
                    yield charge.rounded(decimals, charge.rounding or "half up"), counts_net
            if side == "bought":
                for charge in market_charges(self.timeline, self.use, side, net):
                    yield charge.rounded(self.decimals), net

    def fixed_spans(self) -> Iterator[tuple[FixedLine, Rates, float]]:
        """Yield the fixed charges with their share of the days; what did not change with a version stands once."""
        spans: list[tuple[FixedLine, Rates, int]] = []
        for version in np.unique(self.use.version).tolist():
            rates = self.timeline.versions[version]
            count = int((self.use.version == version).sum())
            for line in rates.fixed:
                known = next((i for i, (other, _, _) in enumerate(spans) if _same(other, line)), None)
                if known is None:
                    spans.append((line, rates, count))
                else:
                    spans[known] = line, rates, spans[known][2] + count
        for line, rates, count in spans:
            yield line, rates, count / self.use.day.size

    def _fixed(self) -> Iterator[Charge]:
        """Yield what the fixed charges come to."""
        spans = list(self.fixed_spans())
        for line, rates, share in spans:
            factor = self.contract(line, rates)
            used = self.use.bought_kwh
            amount = np.full(self.households, line.charge.amount)
            if line.by_use is not None:
                scale = self.days.count(line.by_use.per)
                step = np.searchsorted(np.array(line.by_use.limits) * scale, used - 1e-9, side="left")
                amount = np.array(line.by_use.prices)[step]
            due = np.where(used > 0, 1.0, line.unused_share)
            quantity = np.full(self.households, self.days.count(line.charge.per) * share * factor) * due
            versions_of_name = [other.name for other, _, _ in spans].count(line.name)
            label = day_of_number(rates.first_day).isoformat() if versions_of_name > 1 and rates.first_day > 0 else ""
            unit = line.charge.per if not line.charge.of else f"{line.charge.of} x {line.charge.per}"
            price = float(amount[0])
            yield Charge(line.name, "fixed", quantity, unit, price, amount * quantity, place=line.place, version=label)

    def contract(self, line: FixedLine, rates: Rates) -> float:
        """Give what the amount of a fixed charge is multiplied by: the contracted power or current, or 1."""
        if not line.charge.of:
            return 1.0
        # Contracts are stated in kW; apparent power follows from the power factor.
        factor = (self.known.power_factor or rates.power_factor) if line.charge.of == "kVA" else 1.0
        if line.contracted is not None:
            return line.contracted / factor
        given = self.known.contracted_a if line.charge.of == "A" else self.known.contracted_kw
        own = rates.contracted_a if line.charge.of == "A" else rates.contracted_kw
        value = given if given is not None else own
        if value is None:
            what = "current" if line.charge.of == "A" else "power"
            raise InputError(
                f"`{line.name}` is charged per {line.charge.of} of contract, which is not known; say it in the sheet, "
                f"as `contracted: {{{what}: ...}}`, or give it with the use"
            )
        return value / factor

    def _credits(self, rates: Rates) -> Iterator[Charge]:
        for line in rates.credits:
            if isinstance(line.credit, Fixed):
                count, unit = self.days.count(line.credit.per), line.credit.per
            else:
                count, unit = float(sum(month in line.credit.months for month in self.days.month_ends)), "month"
            if count:
                quantity = np.full(self.households, count)
                amount = -line.credit.amount * quantity
                yield Charge(line.name, "credit", quantity, unit, -line.credit.amount, amount, place=line.place)

    def _derived(self, rates: Rates, charges: list[Charge]) -> list[Charge]:
        """Work out the minimum and the percentages, each after all that it names."""
        amounts: dict[str, FloatArray] = {}
        for charge in charges:
            amounts[charge.name] = amounts.get(charge.name, 0.0) + charge.amount
        zero = np.zeros(self.households)
        found = []
        if rates.minimum is not None:
            base = sum((amounts.get(name, zero) for name in rates.minimum.of), zero)
            count = self.days.count(rates.minimum.charge.per)
            least = rates.minimum.charge.amount * count
            top_up = np.maximum(0.0, least - base)
            quantity = np.full(self.households, count)
            charge = Charge(
                MINIMUM, "minimum", quantity, rates.minimum.charge.per, least, top_up, place=rates.minimum.place
            ).rounded(self.decimals)
            amounts[MINIMUM] = charge.amount
            if charge.amount.any():
                found.append(charge)
        for percent in rates.percents:
            base = sum((amounts.get(name, zero) for name in percent.of), zero)
            charge = Charge(
                percent.name, percent.kind, base, "", percent.share, percent.share * base, place=percent.place
            ).rounded(self.decimals)
            amounts[percent.name] = charge.amount
            found.append(charge)
        return found

    def _notes(self, versions: list[int]) -> tuple[str, ...]:
        notes = []
        if isinstance(self.use, IntervalUse):
            for version in versions:
                for line in self.timeline.versions[version].demand:
                    if self.use.metered.read_step_s > line.interval_s:
                        minutes = self.use.metered.read_step_s // 60
                        notes.append(
                            f"`{line.name}` is charged for {line.interval_s // 60} min averages; the use is known "
                            f"for {minutes} min only, so the true demand may be higher"
                        )
        last = self.timeline.versions[versions[-1]]
        if self.use.sold_kwh.any() and not last.sold and last.net is None:
            notes.append("what was sold earns nothing: the sheet has neither `export` nor `net_metering`")
        if self.known.demand_kw is not None and not any(self.timeline.versions[v].demand for v in versions):
            notes.append("a demand is given, but no line of the sheet charges for the highest power")
        return tuple(dict.fromkeys(notes))


def _same(one: FixedLine, other: FixedLine) -> bool:
    return replace(one, place="") == replace(other, place="")
