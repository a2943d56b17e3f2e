"""Runs the `checks:` of a rate sheet: instants, shares of the hours and bills whose result its author knows."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import ROUND_HALF_UP, Decimal
from math import gcd
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from chargeplan.clock import day_number, instant_s
from chargeplan.errors import InputError, Mistake
from chargeplan.reading import Document, KeyPath
from chargeplan.tariff.bill import Bill, Carried
from chargeplan.tariff.check_models import AtCheck, BillCase, BillCheck, ShareCheck, check_label
from chargeplan.tariff.rates import COLUMNS
from chargeplan.tariff.tariff import Tariff

if TYPE_CHECKING:
    from chargeplan.tariff.check_models import Energy

#: Two prices per kWh that differ by less than this print alike on any bill.
TOLERANCE: Final = 5e-7

_REMEDY: Final = "correct the check or the sheet"
#: Where an expectation stands within its check, what is wrong with it, and what would be right.
_Failure = tuple[KeyPath, str, str]


def failed_checks(tariff: Tariff, document: Document) -> list[Mistake]:
    """Run all the checks a sheet carries.

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
    positions = range(len(tariff.sheet.checks))
    return [mistake for position in positions for mistake in run_check(tariff, document, position)]


def run_check(tariff: Tariff, document: Document, position: int) -> list[Mistake]:
    """Run one check of a sheet.

    Parameters
    ----------
    tariff : Tariff
        The sheet, ready to price.
    document : Document
        The file it was read from, for the places of messages.
    position : int
        Which of the checks, from 0.

    Returns
    -------
    list of Mistake
        One for every expectation of the check that is not met, at the place of the expectation.

    Examples
    --------
    >>> from chargeplan.reading import read_document
    >>> from chargeplan.tariff import read_tariff
    >>> text = '''
    ... name: Evening peak
    ... currency: USD
    ... timezone: America/Denver
    ... periods: {peak: 16:00-21:00, other: rest}
    ... prices: {peak: 0.5, other: 0.2}
    ... checks: [{year: 2026, share: {peak: 20.8 %, other: 79 %}}]
    ... '''
    >>> run_check(read_tariff(text), read_document("evening.yaml", text=text), 0)
    []
    """
    check = tariff.sheet.checks[position]
    failures: Iterator[_Failure]
    if isinstance(check, AtCheck):
        failures = _at_failures(tariff, check)
    elif isinstance(check, ShareCheck):
        failures = _share_failures(tariff, check)
    else:
        failures = _bill_failures(tariff, check)
    return [document.mistake(("checks", position, *path), what, remedy) for path, what, remedy in failures]


def _refused(error: InputError, remedy: str) -> tuple[str, str]:
    what, _, better = str(error).partition("; ")
    return what, better or remedy


def _at_failures(tariff: Tariff, check: AtCheck) -> Iterator[_Failure]:
    try:
        start_s = instant_s(check.at, tariff.timezone) // 60 * 60
        period, season = tariff.period_at(start_s)
        price, subject = float(tariff.price_array(np.array([start_s]), 60)[0]), "price"
        if check.line is not None:
            lines = _line_prices(tariff, start_s)
            if check.line not in lines:
                known = " and ".join(f"`{name}`" for name in lines)
                yield ("line",), f"`{check.line}` is no line of the price per kWh", f"the lines are {known}"
                return
            price, subject = lines[check.line], f"price of `{check.line}`"
    except InputError as error:
        yield ("at",), *_refused(error, "choose another time")
        return
    if check.price is not None and abs(price - check.price) > TOLERANCE:
        yield ("price",), f"at {check.at} the {subject} is {price:.7g}, not {check.price:.7g}", _REMEDY
    for label, expected, found in (("period", check.period, period), ("season", check.season, season)):
        if expected is not None and expected != found:
            yield (label,), f"at {check.at} the {label} is `{found}`, not `{expected}`", _REMEDY


def _line_prices(tariff: Tariff, start_s: int) -> dict[str, float]:
    start = datetime.fromtimestamp(start_s, UTC)
    frame = tariff.frame(start, start + timedelta(minutes=1), 1)
    return {name: float(frame[name].iloc[0]) for name in frame.columns if name not in COLUMNS}


def _share_failures(tariff: Tariff, check: ShareCheck) -> Iterator[_Failure]:
    try:
        found = _percent_by_period(tariff, *check.days)
    except InputError as error:
        yield ("year" if check.year else "from",), *_refused(error, "choose other days")
        return
    known = {name for rates in tariff.versions for name in rates.tables[0].periods}
    for name, expected in check.share.items():
        if name not in known:
            yield ("share", name), f"`{name}` is no period of the sheet", f"the periods are {', '.join(sorted(known))}"
            continue
        percent = found.get(name, 0.0)
        if abs(percent - expected.percent) > 0.5 * 10.0**-expected.decimals + 1e-9:
            shown = f"{percent:.{max(2, expected.decimals)}f} %"
            yield ("share", name), f"{check_label(check)}: {name} is {shown}, not {expected}", _REMEDY


def _percent_by_period(tariff: Tariff, first: date, last: date) -> dict[str, float]:
    """Count the hours of every period from the first day to the last, on the sheet's own clock."""
    minutes: dict[str, int] = {}
    clock = tariff.timeline.clock
    # All clocks differ from UTC by whole quarters of an hour.
    step_s = 60 * gcd(tariff.resolution_min, 15)
    # A year at a time, so that the memory needed does not grow with the span.
    for year in range(first.year, last.year + 1):
        begin, end = max(first, date(year, 1, 1)), min(last, date(year, 12, 31))
        end_s = clock.day_start_s(end + timedelta(days=1))
        start_s = np.arange(clock.day_start_s(begin), end_s, step_s, dtype=np.int64)
        if not start_s.size:  # a date that the clock skipped, such as 2011-12-30 in Samoa
            continue
        labels = tariff.timeline.labels(*tariff.timeline.local(start_s))
        periods, counts = np.unique(labels[0].astype(str), return_counts=True)
        for name, count in zip(periods, counts, strict=True):
            minutes[str(name)] = minutes.get(str(name), 0) + int(count)
    total = sum(minutes.values())
    if not total:
        raise InputError(f"the clock skipped {first}, so it has no hours; choose other days")
    return {name: 100 * count / total for name, count in minutes.items()}


def _bill_failures(tariff: Tariff, check: BillCheck) -> Iterator[_Failure]:
    try:
        bill = _bill(tariff, check.bill)
    except InputError as error:
        yield ("bill",), *_refused(error, _REMEDY)
        return
    decimals = tariff.sheet.billing.decimals
    subject = check_label(check)
    for label, expected in check.lines.items():
        items = bill.matching(label)
        if not items and not (expected == 0 and label.split(" / ")[0].strip() in _line_names(tariff, bill)):
            known = ", ".join(dict.fromkeys(part for item in bill.items for part in (item.name, item.label)))
            yield ("lines", label), f"{subject}: there is no `{label}`", f"the bill has {known or 'no lines'}"
            continue
        yield from _differs(("lines", label), f"{subject}: {label}", sum(i.amount for i in items), expected, decimals)
    if check.total is not None:
        yield from _differs(("total",), f"{subject}: total", bill.total, check.total, decimals)


def _differs(path: KeyPath, subject: str, found: Decimal | int, expected: float, decimals: int) -> Iterator[_Failure]:
    """Compare an amount of a bill with what is expected, to the digits of the currency."""
    unit = Decimal(1).scaleb(-decimals)
    due, wanted = Decimal(found).quantize(unit, ROUND_HALF_UP), Decimal(str(expected))
    if due != wanted:
        shown = wanted.quantize(unit) if wanted == wanted.quantize(unit) else wanted
        yield path, f"{subject} is {due}, not {shown}", _REMEDY


def _line_names(tariff: Tariff, bill: Bill) -> set[str]:
    """Name all lines that bills of a sheet may have, whether or not this one has them."""
    names = {"energy", "export", "market", "minimum", *bill.lines}
    for terms in (tariff.sheet, *tariff.sheet.versions):
        for field in ("components", "adders", "export_components", "fixed", "demand", "credits", "taxes"):
            lines = getattr(terms, field, None)
            names |= set(lines) if isinstance(lines, dict) else set()
    return names


def _bill(tariff: Tariff, case: BillCase) -> Bill:
    contracted = case.contracted
    opening = None
    if case.past_demand:
        opening = Carried(
            demand_kw={name: _past_demand(tariff, case.from_, kw) for name, kw in case.past_demand.items()}
        )
    return tariff.bill(
        _load(case.use),
        start=case.from_,
        end=case.to,
        export=None if case.export is None else _load(case.export),
        demand_kw=case.demand,
        power_factor=case.power_factor,
        contracted_kw=None if contracted is None else contracted.power,
        contracted_a=None if contracted is None else contracted.current,
        opening=opening,
    )


def _load(energy: Energy) -> Any:
    if isinstance(energy, list):
        return [(reading.from_, reading.use) for reading in energy]
    return dict(energy) if isinstance(energy, dict) else energy


def _past_demand(tariff: Tariff, first: date, demand_kw: list[float]) -> tuple[tuple[date, str, float], ...]:
    """Give every demand of the months before a bill the last day of its month and the season of that day."""
    from dateutil.relativedelta import relativedelta

    months = range(len(demand_kw) - 1, -1, -1)
    lasts = [first - relativedelta(months=month) - timedelta(days=1) for month in months]
    return tuple((last, _season(tariff, last), kw) for last, kw in zip(lasts, demand_kw, strict=True))


def _season(tariff: Tariff, day: date) -> str:
    """Name the season of a day, also of one before the sheet begins."""
    number = day_number(day)
    version = int(tariff.timeline.version_of(np.array([number], dtype=np.int64))[0])
    table = tariff.versions[version].tables[0]
    return table.seasons[int(table.calendar.price_season(number, number)[0])]
