"""The `checks:` of a rate sheet: instants whose period, season and price its author knows."""

from __future__ import annotations

import numpy as np

from chargeplan.clock import instant_s
from chargeplan.errors import InputError, Mistake
from chargeplan.reading import Document, KeyPath
from chargeplan.tariff.tariff import Tariff

#: Two prices per kWh that differ by less than this print alike on any bill.
TOLERANCE = 5e-7
#: A price per kWh above this is more likely cents typed as whole units, in the currencies named.
DEAR = 2.0
_LARGE_UNITS = ("USD", "CAD", "AUD", "NZD", "EUR", "GBP", "CHF")


def failed_checks(tariff: Tariff, document: Document) -> list[Mistake]:
    """Run the checks a sheet carries.

    Parameters
    ----------
    tariff : Tariff
        The sheet, ready to price.
    document : Document
        The file it was read from, for the places of messages.

    Returns
    -------
    list of Mistake
        One for every expectation that is not met.

    Examples
    --------
    >>> from chargeplan.reading import read_document
    >>> from chargeplan.tariff import read_tariff
    >>> text = '''
    ... name: Flat
    ... currency: USD
    ... timezone: America/Denver
    ... prices: 0.2
    ... checks: [{at: 2026-07-04 17:00, price: 0.3}]
    ... '''
    >>> print(failed_checks(read_tariff(text), read_document("flat.yaml", text=text))[0])
    flat.yaml:6:33: at 2026-07-04 17:00 the price is 0.2, not 0.3; correct the check or the sheet
    """
    failures: list[Mistake] = []

    def complain(path: KeyPath, what: str, remedy: str = "correct the check or the sheet") -> None:
        failures.append(document.mistake(path, what, remedy))

    for position, check in enumerate(tariff.sheet.checks):
        path: KeyPath = ("checks", position)
        try:
            start_s = instant_s(check.at, tariff.timezone) // 60 * 60
            price = float(tariff.price_array(np.array([start_s]), 60)[0])
            period, season = tariff.period_at(start_s)
        except InputError as error:
            what, _, remedy = str(error).partition("; ")
            complain((*path, "at"), what, remedy or "choose another time")
            continue
        if check.price is not None and abs(price - check.price) > TOLERANCE:
            complain((*path, "price"), f"at {check.at} the price is {price:.7g}, not {check.price:.7g}")
        for label, expected, found in (("period", check.period, period), ("season", check.season, season)):
            if expected is not None and expected != found:
                complain((*path, label), f"at {check.at} the {label} is `{found}`, not `{expected}`")
    return failures


def oddities(tariff: Tariff, document: Document) -> list[Mistake]:
    """Find what is allowed but unlikely to be meant.

    Parameters
    ----------
    tariff : Tariff
        The sheet.
    document : Document
        The file it was read from.

    Returns
    -------
    list of Mistake
        Warnings; the sheet can be used all the same.
    """
    warnings: list[Mistake] = []
    for position, rates in enumerate(tariff.versions):
        field = "prices" if tariff.sheet.prices is not None else "components"
        path: KeyPath = (field,) if position == 0 else ("versions", position - 1, field)
        dearest = float(np.nanmax(np.tensordot(rates.factors(), rates.price, axes=1)))
        if tariff.currency in _LARGE_UNITS and dearest > DEAR:
            what = f"{dearest:.4g} {tariff.currency} per kWh is very dear"
            warnings.append(document.mistake(path, what, "if the prices are in cents, add `price_unit: cents`"))
    return warnings
