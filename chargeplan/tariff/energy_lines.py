"""Makes the lines per kWh of one version: components, adders, the market's prices, and what is sold."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import FileError, InputError
from chargeplan.reading import KeyPath
from chargeplan.tariff.calendar import PeriodHours
from chargeplan.tariff.complaints import Complaints
from chargeplan.tariff.dated_files import beside, read_market_prices
from chargeplan.tariff.line_models import Demand, Line
from chargeplan.tariff.lines import Case, EnergyLine, FloatArray, MarketLine
from chargeplan.tariff.price_arrays import ALL_HOURS, PriceReader, Prices
from chargeplan.tariff.rates import EXPORT, MARKET
from chargeplan.tariff.tables import TableMaker
from chargeplan.tariff.windows import Window
from chargeplan.units import quantity

#: Name of the only component where a sheet gives `prices` and no `components`.
ENERGY: Final = "energy"
#: The two periods of a line that is charged in some hours only.
APPLIES: Final = "applies"


@dataclass
class LineMaker:
    """Makes the lines of one version.

    Parameters
    ----------
    complaints : Complaints
        Where mistakes go.
    maker : TableMaker
        The version's tables; lines with hours of their own add to them.
    scale : float
        0.01 where prices are in hundredths of the currency.
    """

    complaints: Complaints
    maker: TableMaker
    scale: float

    def bought(self) -> tuple[EnergyLine, ...]:
        """Make the lines of what is bought, in the order of the sheet."""
        terms = self.maker.terms
        if terms.prices is not None and terms.components is not None:
            what = "both `prices` and `components` are given"
            self.complaints.add(("components",), what, "keep one; adders may stay")
        nothing = terms.prices is None and not terms.components and terms.market is None
        broken = any(self.complaints.is_broken(name) for name in ("prices", "components", "market"))
        if nothing and not broken:
            self.complaints.add(("prices",), "there are no prices", "add for example `prices: 0.31`, per kWh")
        found = [] if terms.prices is None else [self._line(ENERGY, terms.prices, ("prices",))]
        for kind in ("components", "adders"):
            for name, given in (getattr(terms, kind) or {}).items():
                if kind == "adders" and name in [line.name for line in found]:
                    what = f"`{name}` is a component already"
                    self.complaints.add((kind, name), what, "give the adder another name")
                found.append(self._line(name, given, (kind, name)))
        return tuple(found)

    def sold(self) -> tuple[EnergyLine, ...]:
        """Make the lines of what is sold."""
        terms = self.maker.terms
        if terms.export is not None and terms.export_components is not None:
            self.complaints.add(("export_components",), "both `export` and `export_components` are given", "keep one")
        found = [] if terms.export is None else [self._line(EXPORT, terms.export, ("export",))]
        for name, given in (terms.export_components or {}).items():
            line = self._line(name, given, ("export_components", name))
            if line.counts == "bought":
                what = "a line for what is sold cannot count what is bought"
                self.complaints.add(("export_components", name, "counts"), what, "leave `counts` out")
            found.append(line)
        return tuple(found)

    def market(self) -> MarketLine | None:
        """Make the line of the market's prices and read their file."""
        given = self.maker.terms.market
        if given is None or self.complaints.is_broken("market", "file"):
            return None
        try:
            resolution = None if given.resolution is None else round(60 * quantity(given.resolution, "duration"))
        except InputError as error:
            self.complaints.add_error(("market", "resolution"), error)
            return None
        factors = self._reader(0, 1.0).read(given.times, ("market", "times"))
        if factors.per:
            self.complaints.add(("market", "times"), "a factor cannot have tiers", "write one number for each period")
        try:
            path: Path = beside(self.complaints.document.file, given.file)
            prices = read_market_prices(path, per=given.per, resolution_s=resolution)
        except FileError as error:
            self.complaints.mistakes += error.mistakes
            return None
        except InputError as error:
            self.complaints.add_error(("market", "file"), error)
            return None
        line = EnergyLine(MARKET, 0, (_case(factors, None),), factors.charged, factors.places)
        return MarketLine(line, prices, given.missing, given.file)

    def _line(self, name: str, given: Any, path: KeyPath) -> EnergyLine:
        if not isinstance(given, Line):
            prices = self._reader(0).read(given, path)
            return EnergyLine(name, 0, (_case(prices, None),), prices.charged, prices.places, _per(prices))
        table, only = self.table_of(given, path)
        self._check_form(given, path)
        line = self._long(name, given, path, table)
        if only:
            line = _only_in_first_period(line)
        if given.tiers == "all units":
            if given.cases is not None or len(line.cases[0].limits[0]) == 0:
                self.complaints.add((*path, "tiers"), "`all units` needs tiers", "write for example 1 up to 50 then 2")
            else:
                line = _all_units(line)
        return line

    def _check_form(self, given: Line, path: KeyPath) -> None:
        stated = [key for key in ("price", "prices", "cases") if getattr(given, key) is not None]
        broken = any(self.complaints.is_broken(*path, key) for key in ("price", "prices", "cases"))
        if not stated and not broken:
            self.complaints.add(path, "there is no price", "add for example `price: 0.05`, per kWh")
        elif len(stated) > 1:
            what = f"both `{stated[0]}` and `{stated[1]}` are given"
            self.complaints.add((*path, stated[1]), what, "keep one of them")

    def _long(self, name: str, given: Line, path: KeyPath, table: int) -> EnergyLine:
        reader = self._reader(table)
        if given.cases is None:
            key = "price" if given.price is not None else "prices"
            priced = reader.read(given.price if key == "price" else (given.prices or 0.0), (*path, key))
            cases = [_case(priced, None)]
        else:
            cases, priced = self._cases(given, path, reader)
        shape = priced.charged, priced.places, _per(priced)
        return EnergyLine(name, table, tuple(cases), *shape, given.counts, rounding=given.rounding)

    def _cases(self, given: Line, path: KeyPath, reader: PriceReader) -> tuple[list[Case], Prices]:
        cases, units = [], set()
        given_cases = given.cases or []
        below = 0.0
        for position, case in enumerate(given_cases):
            here: KeyPath = (*path, "cases", position)
            last = position == len(given_cases) - 1
            if last and case.up_to is not None:
                self.complaints.add(here, "the last case has a limit too", "leave `up_to` out in the last one")
            elif not last and case.up_to is None:
                self.complaints.add(here, "`up_to` is missing", "only the last case can be without a limit")
            elif case.up_to is not None and case.up_to <= below:
                what = f"{case.up_to:g} is not more than the case before it"
                self.complaints.add((*here, "up_to"), what, "let the limits rise")
            below = case.up_to or below
            priced = reader.read(case.prices, (*here, "prices"))
            units |= {priced.per} - {""}
            cases.append(_case(priced, case.up_to))
        if units - {"month"}:
            what = "the limits of cases are per month"
            self.complaints.add((*path, "cases"), what, "leave `per` out")
        if not given_cases:
            self.complaints.add((*path, "cases"), "there are no cases", "add for example {prices: 0.31}")
            priced = reader.read(0.0, path)
            cases.append(_case(priced, None))
        return cases, priced

    def table_of(self, given: Line | Demand, path: KeyPath) -> tuple[int, bool]:
        """Find, or make, the table that a line goes by; also tell whether only its first period is charged."""
        if given.hours is not None and given.periods is not None:
            what = "both `hours` and `periods` are given"
            self.complaints.add((*path, "periods"), what, "keep one of them")
        if given.hours is not None:
            hours: dict[str, tuple[Window, ...] | None] = {APPLIES: given.hours, "otherwise": None}
            return self.maker.add(hours, given.seasons, (*path, "hours")), True
        if given.periods is not None or given.seasons is not None:
            periods: PeriodHours = given.periods or self.maker.terms.periods or {ALL_HOURS: None}
            key = "periods" if given.periods is not None else "seasons"
            return self.maker.add(periods, given.seasons, (*path, key)), False
        return 0, False

    def demand_table(self, given: Demand, path: KeyPath) -> tuple[int, bool]:
        """Find the table of a demand line; one whose prices name no periods counts all hours alike."""
        if given.hours is None and given.periods is None:
            table = given.prices if isinstance(given.prices, dict) else {}
            named = {*table, *(name for row in table.values() if isinstance(row, dict) for name in row)}
            if not named & set(self.maker.tables[0].periods):
                return self.maker.add({ALL_HOURS: None}, given.seasons, path), False
        return self.table_of(given, path)

    def _reader(self, table: int, scale: float | None = None) -> PriceReader:
        hours, occurs = self.maker.tables[table], self.maker.occurs[table]
        return PriceReader(self.complaints, hours, occurs, self.scale if scale is None else scale)

    def demand_prices(self, given: Demand, path: KeyPath, table: int) -> Prices:
        """Read the prices of a demand line, which need not name every period."""
        key = "price" if given.price is not None else "prices"
        if (given.price is None) == (given.prices is None) and not self.complaints.is_broken(*path):
            what = "there is no price" if given.price is None else "both `price` and `prices` are given"
            self.complaints.add(
                path, what, "add for example `price: 7.09`, per kW" if given.price is None else "keep one"
            )
        table_of_prices = given.price if given.price is not None else given.prices
        prices = self._reader(table, 1.0).read(table_of_prices or 0.0, (*path, key), complete=False)
        if prices.per not in ("", "month"):
            self.complaints.add((*path, key), "tiers of a demand are limits in kW", "leave `per` out")
        return prices


def _per(prices: Prices) -> Any:
    return prices.per or "month"


def _case(prices: Prices, up_to: float | None) -> Case:
    limit = np.inf if up_to is None else up_to
    return Case(np.full(prices.limits.shape[0], limit), prices.price, prices.limits)


def first_period_only(charged: NDArray[np.bool_], price: FloatArray) -> tuple[NDArray[np.bool_], FloatArray]:
    """Charge nothing outside the first period of a table."""
    charged, price = charged.copy(), price.copy()
    charged[:, 1:] = False
    price[:, :, 1:] = 0.0
    return charged, price


def _only_in_first_period(line: EnergyLine) -> EnergyLine:
    charged = line.charged
    cases = []
    for case in line.cases:
        charged, price = first_period_only(line.charged, case.price)
        cases.append(Case(case.up_to, price, case.limits))
    return replace(line, cases=tuple(cases), charged=charged)


def _all_units(line: EnergyLine) -> EnergyLine:
    """Turn tiers into cases: the tier that the total reaches prices everything."""
    case = line.cases[0]
    none = np.zeros((case.limits.shape[0], 0))
    ends = np.hstack([case.limits, np.full((case.limits.shape[0], 1), np.inf)])
    cases = tuple(Case(ends[:, tier], case.price[tier : tier + 1], none) for tier in range(case.price.shape[0]))
    return replace(line, cases=cases, all_units=True)
