"""Bills as plain data, for programs: the shape of `chargeplan bill --json` and `--csv`.

Amounts are numbers with the decimals to which the bill is rounded, in the currency that is named once.
A sum of them may be off by a millionth of a cent, as sums of binary fractions are: the sums of the bill
itself are in the data as well.
"""

from __future__ import annotations

from collections.abc import Iterable
from decimal import Decimal
from typing import Any, Final

from chargeplan.errors import InputError
from chargeplan.tariff.bill import KINDS, Bill, BillItem, Carried

BILL_SCHEMA: Final = "chargeplan.bill/1"
BILLS_SCHEMA: Final = "chargeplan.bills/1"


def bill_data(bill: Bill) -> dict[str, Any]:
    """Turn a bill into data.

    Parameters
    ----------
    bill : Bill
        What `Tariff.bill` returned.

    Returns
    -------
    dict
        Schema ``chargeplan.bill/1``.

    Examples
    --------
    >>> from datetime import date
    >>> item = BillItem("energy", "energy", Decimal("70.30"), 700, "kWh", 0.1004)
    >>> bill = Bill("Flat", "USD", date(2022, 6, 1), date(2022, 6, 30), (item,), Decimal("70.30"), 700)
    >>> data = bill_data(bill)
    >>> data["schema"], data["end"], data["days"], data["lines"], data["total"]
    ('chargeplan.bill/1', '2022-06-30', 30, {'energy': 70.3}, 70.3)
    """
    return {
        "schema": BILL_SCHEMA,
        "tariff": bill.sheet,
        "currency": bill.currency,
        "start": bill.start.isoformat(),
        "end": bill.end.isoformat(),
        "days": bill.days,
        "bought_kwh": float(bill.bought_kwh),
        "sold_kwh": float(bill.sold_kwh),
        "items": [_item(item) for item in bill.items],
        "lines": {name: float(amount) for name, amount in bill.lines.items()},
        "total": float(bill.total),
        "notes": list(bill.notes),
        "carried": _carried(bill.carried),
    }


def bills_data(bills: Iterable[Bill]) -> dict[str, Any]:
    """Turn several bills of one tariff into data.

    Parameters
    ----------
    bills : iterable of Bill
        What `Tariff.bills` returned.

    Returns
    -------
    dict
        Schema ``chargeplan.bills/1``: the bills, the sum of each line over all of them, and the total.

    Raises
    ------
    InputError
        If there are none.
    """
    many = tuple(bills)
    if not many:
        raise InputError("there is no bill; give the use of one day at least")
    return {
        "schema": BILLS_SCHEMA,
        "tariff": many[0].sheet,
        "currency": many[0].currency,
        "start": many[0].start.isoformat(),
        "end": many[-1].end.isoformat(),
        "bought_kwh": float(sum(bill.bought_kwh for bill in many)),
        "sold_kwh": float(sum(bill.sold_kwh for bill in many)),
        "bills": [bill_data(bill) for bill in many],
        "lines": {name: float(amount) for name, amount in line_sums(many).items()},
        "total": float(sum((bill.total for bill in many), Decimal(0))),
    }


def line_sums(bills: Iterable[Bill]) -> dict[str, Decimal]:
    """Add up each line over several bills, in the order in which a bill prints them.

    Examples
    --------
    >>> from datetime import date
    >>> item = BillItem("energy", "energy", Decimal("70.30"), 700, "kWh", 0.1004)
    >>> june = Bill("Flat", "USD", date(2022, 6, 1), date(2022, 6, 30), (item,), Decimal("70.30"))
    >>> line_sums([june, june])
    {'energy': Decimal('140.60')}
    """
    sums: dict[str, Decimal] = {}
    kinds: dict[str, int] = {}
    for bill in bills:
        for item in bill.items:
            sums[item.name] = sums.get(item.name, Decimal(0)) + item.amount
            kinds.setdefault(item.name, KINDS.index(item.kind))
    return dict(sorted(sums.items(), key=lambda line: kinds[line[0]]))


def bill_rows(bills: Iterable[Bill]) -> tuple[tuple[str, ...], list[tuple[object, ...]]]:
    """Turn bills into rows, one per item.

    Parameters
    ----------
    bills : iterable of Bill
        One or several.

    Returns
    -------
    tuple of header and rows
        First and last day of the bill, then what the item is, ``amount`` with its decimals as the bill
        has them, the currency, and the place in the sheet.
    """
    header = (
        *("start", "end", "name", "kind", "period", "season", "tier", "version"),
        *("quantity", "unit", "price", "amount", "currency", "place"),
    )
    rows: list[tuple[object, ...]] = [
        (
            *(bill.start.isoformat(), bill.end.isoformat(), item.name, item.kind, item.period, item.season),
            *(item.tier or None, item.version, _rounded(item.quantity), item.unit, _rounded(item.price)),
            *(f"{item.amount:f}", bill.currency, item.place),
        )
        for bill in bills
        for item in bill.items
    ]
    return header, rows


def _item(item: BillItem) -> dict[str, Any]:
    return {
        "label": item.label,
        "name": item.name,
        "kind": item.kind,
        "period": item.period or None,
        "season": item.season or None,
        "tier": item.tier or None,
        "version": item.version or None,
        "quantity": float(item.quantity),
        "unit": item.unit,
        "price": float(item.price),
        "amount": float(item.amount),
        "place": item.place or None,
    }


def _carried(carried: Carried) -> dict[str, Any]:
    return {
        "credit": float(carried.credit),
        "surplus_kwh": float(carried.surplus_kwh),
        "demands": [
            {"name": name, "last_day": day.isoformat(), "season": season or None, "kw": float(kw)}
            for name, past in carried.demand_kw.items()
            for day, season, kw in past
        ],
    }


def _rounded(number: float) -> float:
    return round(float(number), 9) + 0.0
