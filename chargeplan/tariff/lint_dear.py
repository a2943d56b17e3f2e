"""Prices and charges so high that they are more likely in another unit than the one they are read in."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final

import numpy as np

from chargeplan.clock import day_number
from chargeplan.reading import Document, KeyPath
from chargeplan.tariff.line_models import FixedLong
from chargeplan.tariff.lines import MarketLine
from chargeplan.tariff.lint_finding import Finding
from chargeplan.tariff.phrases import Fixed, Tiers
from chargeplan.tariff.stretches import Stretch, stretches
from chargeplan.tariff.tables import LONG_AGO
from chargeplan.tariff.tariff import Tariff

#: Currencies whose unit is worth about as much as a dollar or a euro; of others nothing is told.
LARGE_UNITS: Final = ("USD", "CAD", "AUD", "NZD", "EUR", "GBP", "CHF")
#: A price per kWh above this is more likely cents typed as whole units.
DEAR_PER_KWH: Final = 2.0
#: The same of a charge per kW, kVA or ampere, by what it is charged per.
DEAR_PER_KW: Final = {"day": 100 / 30, "month": 100.0, "year": 1200.0}
#: The same of a charge that does not depend on use.
DEAR_FIXED: Final = {"day": 20.0, "month": 500.0, "year": 6000.0}
#: A market may have very dear hours; a file in which this share of the prices is so has them in another unit.
_SHARE: Final = 0.25
_LIMIT: Final = re.compile(r"up\s+to\s+[\d.]+(\s*kWh)?(\s+per\s+\d+)?", re.IGNORECASE)
_NUMBER: Final = re.compile(r"\d+(?:\.\d+)?", re.ASCII)


def dear_prices(tariff: Tariff, stretch: Stretch, dearest: float = 0.0) -> Iterator[Finding]:
    """Find a very high price of a kWh bought.

    Parameters
    ----------
    tariff : Tariff
        The sheet.
    stretch : Stretch
        Its terms at some time.
    dearest : float
        The highest price of a year laid out, everything included.

    Yields
    ------
    Finding
        At most one ``dear price``. What is written counts as well: tiers beyond the first, and days still to be
        called, may not occur in the year laid out.
    """
    key = "prices" if "prices" in stretch.terms else "components"
    price = max(dearest, _highest(stretch.terms.get(key, 0.0)) / (100 if _in_cents(tariff) else 1))
    if tariff.currency in LARGE_UNITS and price > DEAR_PER_KWH:
        what = f"{price:.4g} {tariff.currency} per kWh is very dear"
        yield Finding("dear price", stretch.path(key), what, _remedy_per_kwh(tariff))


def dear_charges(tariff: Tariff, document: Document) -> Iterator[Finding]:
    """Find whatever else is very high: market prices, what a kWh sold earns, fixed charges and those for demand.

    Parameters
    ----------
    tariff : Tariff
        The sheet.
    document : Document
        The file it was read from.

    Yields
    ------
    Finding
        ``dear price``, each at the place of what is dear.
    """
    if tariff.currency not in LARGE_UNITS:
        return
    for stretch in stretches(document):
        begin = LONG_AGO if stretch.first is None else day_number(stretch.first)
        lines = (rates.market for rates in tariff.versions if rates.first_day == begin)
        if (market := next(lines, None)) is not None:
            yield from _market(tariff, stretch, market)
        yield from _export(tariff, stretch)
        for name, given in _mapping(stretch.terms.get("demand")).items():
            price, per = _highest([given.get("price"), given.get("prices")]), given.get("per", "month")
            if price > DEAR_PER_KW[per]:
                what = f"{price:,g} {tariff.currency} per {given.get('unit', 'kW')} and {per} is very dear"
                yield Finding("dear price", stretch.path("demand", name), what, _remedy_of_charge(tariff))
        yield from _fixed(tariff, stretch)


def _market(tariff: Tariff, stretch: Stretch, market: MarketLine) -> Iterator[Finding]:
    given = stretch.terms["market"]
    factor = float(np.max(market.line.cases[0].price))
    often = factor * float(np.quantile(market.prices.price, 1 - _SHARE))
    if often > DEAR_PER_KWH:
        what = f"a quarter of the prices in `{market.file}` are {often:.4g} {tariff.currency} per kWh or more"
        remedy = "if the file holds prices per MWh, write `per: MWh`"
        if given.get("per") == "MWh":
            remedy = "they were read as prices per MWh, as `per` says; check the file"
        yield Finding("dear price", stretch.path("market", "per"), f"{what}, which is very dear", remedy)
    if market.missing is not None and market.missing > DEAR_PER_KWH:
        what = f"{market.missing:.4g} {tariff.currency} per kWh is very dear"
        remedy = "`missing` is a price per kWh, whatever `per` says of the file"
        yield Finding("dear price", stretch.path("market", "missing"), what, remedy)


def _export(tariff: Tariff, stretch: Stretch) -> Iterator[Finding]:
    for key in ("export", "export_components"):
        price = _highest(stretch.terms.get(key, 0.0)) / (100 if _in_cents(tariff) else 1)
        if price > DEAR_PER_KWH:
            what = f"{price:.4g} {tariff.currency} for a kWh sold is very much"
            yield Finding("dear price", stretch.path(key), what, _remedy_per_kwh(tariff))


def _fixed(tariff: Tariff, stretch: Stretch) -> Iterator[Finding]:
    given = stretch.terms.get("fixed")
    charges: dict[KeyPath, Any] = {(): given}
    if isinstance(given, dict) and not any(key in FixedLong.model_fields for key in given):
        charges = {(name,): charge for name, charge in given.items()}
    for path, charge in charges.items():
        for amount, per, of in _amounts_of(charge):
            if amount > (DEAR_PER_KW if of else DEAR_FIXED)[per]:
                unit = f"{of} and {per}" if of else per
                what = f"{amount:,g} {tariff.currency} per {unit} is very dear"
                yield Finding("dear price", stretch.path("fixed", *path), what, _remedy_of_charge(tariff))


def _amounts_of(charge: Any) -> Iterator[tuple[float, str, str]]:
    """List the amounts of a fixed charge as it is written, each with what it is charged per and multiplied by."""
    if isinstance(charge, str):
        fixed = Fixed.parse(charge)
        yield fixed.amount, fixed.per, fixed.of
    elif isinstance(charge, dict):
        yield from _amounts_of(charge.get("charge"))
        if charge.get("by_use") is not None:
            yield max(Tiers.parse(charge["by_use"]).prices), charge.get("per", "month"), ""


def _in_cents(tariff: Tariff) -> bool:
    return tariff.sheet.price_unit == "cents"


def _remedy_per_kwh(tariff: Tariff) -> str:
    if _in_cents(tariff):
        return "the sheet says `price_unit: cents`; if the prices are in whole units, take that out"
    return "if the prices are in cents, add `price_unit: cents`"


def _remedy_of_charge(tariff: Tariff) -> str:
    return f"if it is in cents, write it in {tariff.currency}, since `price_unit` is for prices per kWh only"


def _mapping(given: Any) -> dict[str, Any]:
    return given if isinstance(given, dict) else {}


def _highest(written: Any) -> float:
    return max(_numbers(written), default=0.0)


def _numbers(written: Any) -> Iterator[float]:
    """List the prices of a table as they are written, without the limits of tiers and without percentages."""
    if isinstance(written, dict):
        for key, value in written.items():
            if key not in ("up_to", "hours", "periods", "seasons"):
                yield from _numbers(value)
    elif isinstance(written, list):
        for item in written:
            yield from _numbers(item)
    elif isinstance(written, str):
        if "%" not in written:
            yield from map(float, _NUMBER.findall(_LIMIT.sub("", written)))
    elif isinstance(written, int | float):
        yield float(written)
