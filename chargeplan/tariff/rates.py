"""What each kWh costs in one version of a sheet: its tables and lines, and a look-up for many minutes at once."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Final

import numpy as np

from chargeplan.clock import IntArray, local_datetimes
from chargeplan.errors import InputError
from chargeplan.tariff.calendar import MINUTES
from chargeplan.tariff.lines import (
    CreditLine,
    DemandLine,
    EnergyLine,
    FixedLine,
    FloatArray,
    MarketLine,
    MinimumLine,
    NetRule,
    PercentLine,
    PeriodTable,
)

#: Columns of a priced span besides those of the components and taxes, which may not be called so.
COLUMNS: Final = ("period", "season", "day_type", "price_per_kwh", "export_per_kwh")
#: Names that stand for something in `of`, or for a line the sheet does not name itself.
MARKET, MINIMUM, CHARGES, EXPORT, CARRIED = "market", "minimum", "charges", "export", "carried"


@dataclass(frozen=True, eq=False)
class Rates:
    """One version of a sheet, worked out.

    Parameters
    ----------
    first_day : int
        Day number from which it holds.
    tables : tuple of PeriodTable
        The sheet's own table first.
    lines, sold : tuple of EnergyLine
        What a kWh bought costs and what a kWh sold earns, part by part.
    percents : tuple of PercentLine
        Taxes and the like, each after all that it names; names of groups written out.
    fixed, demand, credits : tuples of lines
        The other charges.
    minimum : MinimumLine, optional
        The least the charges come to.
    market : MarketLine, optional
        Prices from a file.
    net : NetRule, optional
        Whether, and how, what is sold counts against what is bought.
    loss_share : float
        Line losses.
    contracted_kw, contracted_a : float, optional
        Contract of the sheet.
    power_factor : float
        Real over apparent power.
    """

    first_day: int
    tables: tuple[PeriodTable, ...]
    lines: tuple[EnergyLine, ...] = ()
    sold: tuple[EnergyLine, ...] = ()
    percents: tuple[PercentLine, ...] = ()
    fixed: tuple[FixedLine, ...] = ()
    demand: tuple[DemandLine, ...] = ()
    credits: tuple[CreditLine, ...] = ()
    minimum: MinimumLine | None = None
    market: MarketLine | None = None
    net: NetRule | None = None
    loss_share: float = 0.0
    contracted_kw: float | None = None
    contracted_a: float | None = None
    power_factor: float = 1.0

    @cached_property
    def resolution_min(self) -> int:
        """The greatest number of minutes that divides every boundary."""
        return int(np.gcd.reduce([table.table.resolution_min for table in self.tables]))

    @property
    def bought(self) -> tuple[EnergyLine, ...]:
        """All lines for kWh bought, the market's last."""
        return (*self.lines, self.market.line) if self.market else self.lines

    @property
    def weights(self) -> dict[str, float]:
        """By how much a bill rises with each line: itself, and all that is taken of it; 1 for those not named."""
        weights: dict[str, float] = {}
        for percent in reversed(self.percents):
            own = weights.get(percent.name, 1.0)
            for base in percent.of:
                weights[base] = weights.get(base, 1.0) + percent.share * own
        return weights

    @property
    def charges(self) -> tuple[str, ...]:
        """Names of all charges: energy, fixed, demand, the minimum and what net metering carries."""
        names = [line.name for line in self.bought] + [line.name for line in self.fixed]
        names += [line.name for line in self.demand]
        names += [MINIMUM] if self.minimum else []
        return (*names, CARRIED) if self.net else tuple(names)

    @cached_property
    def shares(self) -> dict[str, FloatArray]:
        """Share of each energy line that each percentage takes, percentages of percentages worked out.

        Returns
        -------
        dict of name to float array, shape (bought lines + sold lines,)
            In the order of `percents`.
        """
        names = [line.name for line in (*self.bought, *self.sold)]
        found: dict[str, FloatArray] = {}
        for percent in self.percents:
            row = np.zeros(len(names))
            for base in percent.of:
                if base in names:
                    row[names.index(base)] += 1
                elif base in found:
                    row = row + found[base]
            found[percent.name] = percent.share * row
        return found

    @cached_property
    def factors(self) -> FloatArray:
        """Amount paid, percentages included, per unit of each bought and each sold line."""
        total: FloatArray = np.ones(len(self.bought) + len(self.sold))
        for row in self.shares.values():
            total = total + row
        return total

    def slots(self, day: IntArray, minute: IntArray, start_s: IntArray, step_s: int) -> Slots:
        """Look up many local minutes at once.

        Parameters
        ----------
        day : int64 array, shape (n,)
            Local day numbers.
        minute : int64 array, shape (n,)
            Local minutes after midnight.
        start_s : int64 array, shape (n,)
            The same instants in UTC seconds.
        step_s : int
            Length of each slot in seconds.

        Returns
        -------
        Slots
            Where they lie in every table.
        """
        return Slots(self, int(day.min()), int(day.max()), day, minute, start_s, step_s)

    def price_per_kwh(self, slots: Slots) -> FloatArray:
        """Price the slots, everything included, tiers at their first price.

        Parameters
        ----------
        slots : Slots
            What `slots` returned.

        Returns
        -------
        float array, shape (n,)
            Amount per kWh bought.
        """
        return self._sum(slots, self.lines, self.factors)

    def export_per_kwh(self, slots: Slots) -> FloatArray:
        """Give what a kWh sold earns in every slot, 0 where the sheet says nothing of it."""
        if self.net is not None and not self.sold:
            return self.price_per_kwh(slots)
        return self._sum(slots, self.sold, self.factors[len(self.bought) :], market=False)

    def component_prices(self, slots: Slots) -> dict[str, FloatArray]:
        """Price the slots part by part.

        Returns
        -------
        dict of name to float array, shape (n,)
            Amounts per kWh bought, percentages last; their sum is `price_per_kwh`.
        """
        parts = {
            line.name: line.first_price(self.loss_share).reshape(-1)[slots.cell(line.table)] for line in self.lines
        }
        if self.market is not None:
            parts[MARKET] = self.market_prices(slots)
        names = list(parts)
        for name, row in self.shares.items():
            parts[name] = sum((row[i] * parts[names[i]] for i in range(len(names)) if row[i]), np.zeros(slots.day.size))
        return parts

    def market_prices(self, slots: Slots) -> FloatArray:
        """Give the prices of the market file times their factor in every slot."""
        market = self.market
        assert market is not None
        price, known = market.prices.mean(slots.start_s, slots.step_s)
        if not known.all():
            if market.missing is None:
                first = local_datetimes("UTC", [int(slots.start_s[np.flatnonzero(~known)[0]])])[0]
                raise InputError(
                    f"{market.file} has no price for {first:%Y-%m-%d %H:%M} UTC; add it, or say "
                    "`missing:` with a price per kWh under `market:`"
                )
            price = np.where(known, price, market.missing)
        factor = market.line.cases[0].price[0].reshape(-1)
        priced: FloatArray = price * factor[slots.cell(market.line.table)]
        return priced

    def _sum(self, slots: Slots, lines: Iterable[EnergyLine], factors: FloatArray, market: bool = True) -> FloatArray:
        """Add up lines; those of one table are added before they are looked up."""
        by_table: dict[int, FloatArray] = {}
        for line, factor in zip(lines, factors, strict=False):
            by_table[line.table] = by_table.get(line.table, 0.0) + factor * line.first_price(self.loss_share)
        total = np.zeros(slots.day.size)
        for number, flat in by_table.items():
            total = total + flat.reshape(-1)[slots.cell(number)]
        if market and self.market is not None:
            total = total + factors[len(self.lines)] * self.market_prices(slots)
        return total


@dataclass(frozen=True, eq=False)
class Slots:
    """Where many local minutes lie in the calendar of a version.

    Parameters
    ----------
    rates : Rates
        The version.
    first, last : int
        First and last local day number.
    day, minute : int64 arrays, shape (n,)
        Local day numbers and minutes after midnight.
    start_s : int64 array, shape (n,)
        UTC seconds.
    step_s : int
        Length of each slot.
    """

    rates: Rates
    first: int
    last: int
    day: IntArray
    minute: IntArray
    start_s: IntArray
    step_s: int
    _cells: dict[int, IntArray] = field(default_factory=dict, repr=False)
    _periods: dict[int, IntArray] = field(default_factory=dict, repr=False)

    def patterns(self, table: int = 0) -> IntArray:
        """Pattern of every date of the span, from the day before the first."""
        return self.rates.tables[table].calendar.patterns(self.first - 1, self.last)

    @cached_property
    def since(self) -> IntArray:
        """Days since the first date of the span."""
        return self.day - self.first

    def period(self, table: int = 0) -> IntArray:
        """Position of the period of every slot in a table."""
        if table not in self._periods:
            days = self.rates.tables[table].table
            base = days.rows(self.patterns(table)) * MINUTES
            self._periods[table] = days.code.reshape(-1)[base[self.since] + self.minute]
        return self._periods[table]

    def season(self, table: int = 0) -> IntArray:
        """Position of the season of the prices for every date of the span."""
        return self.rates.tables[table].calendar.price_season(self.first, self.last)

    def cell(self, table: int = 0) -> IntArray:
        """Position of every slot in a flattened array over seasons and periods."""
        if table not in self._cells:
            width = len(self.rates.tables[table].periods)
            self._cells[table] = (self.season(table) * width)[self.since] + self.period(table)
        return self._cells[table]
