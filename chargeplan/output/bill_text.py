"""A bill as plain text that reads well in a mail, and a line for each of many bills."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Final

from chargeplan.errors import InputError
from chargeplan.output.bill_data import line_sums
from chargeplan.output.words import WIDTH, day_text, plain_text, wrapped
from chargeplan.tariff.bill import Bill, BillItem

_GAP: Final = "  "
_INDENT: Final = "  "
#: However wide the numbers are, a label has so many characters on each of its lines.
_NARROWEST: Final = 16
#: Units that are words, and have a plural.
_WORDS: Final = ("day", "month", "year")
#: An amount that is not rounded is shown to so many decimals.
_DECIMALS: Final = 6


@dataclass(frozen=True)
class _Row:
    """One line of a table: a label, cells that stand right-aligned beside it, and a remark below."""

    label: str
    cells: tuple[str, ...]
    remark: str = ""


def bill_text(bill: Bill, *, where: bool = False) -> str:
    """Write a bill.

    Parameters
    ----------
    bill : Bill
        What `Tariff.bill` returned.
    where : bool
        Below each item, say in which file and line of the sheet its price stands.

    Returns
    -------
    str
        Lines of at most 80 characters, without colour. Items of one line of the sheet stand together
        with a subtotal; credits are negative.

    Examples
    --------
    >>> from datetime import date
    >>> items = (
    ...     BillItem("energy", "energy", Decimal("58.80"), 600, "kWh", 0.098, tier=1),
    ...     BillItem("energy", "energy", Decimal("11.50"), 100, "kWh", 0.115, tier=2),
    ...     BillItem("service", "fixed", Decimal("31.62"), 1, "month", 31.62),
    ... )
    >>> june = Bill("Two tiers", "CAD", date(2022, 6, 1), date(2022, 6, 30), items, Decimal("101.92"), 700)
    >>> print(bill_text(june))
    Two tiers
    Wed 1 Jun 2022 - Thu 30 Jun 2022, 30 days
    700 kWh bought; amounts in CAD
    <BLANKLINE>
                       quantity  price  amount
    energy
      tier 1            600 kWh  0.098   58.80
      tier 2            100 kWh  0.115   11.50
      subtotal energy                    70.30
    service             1 month  31.62   31.62
    <BLANKLINE>
    Total                               101.92
    """
    sold = f", {_number_text(bill.sold_kwh, 3)} kWh sold" if bill.sold_kwh else ""
    lines = [
        *wrapped(bill.sheet),
        f"{_day(bill.start)} - {_day(bill.end)}, {_count_text(bill.days, 'day')}",
        *wrapped(f"{_number_text(bill.bought_kwh, 3)} kWh bought{sold}; amounts in {bill.currency}"),
        "",
    ]
    rows: list[_Row | None] = [_Row("", ("quantity", "price", "amount"))]
    for name, items in _by_name(bill).items():
        if len(items) == 1:
            rows.append(_item_row(items[0], items[0].label, bill.currency, where))
            continue
        rows.append(_Row(name, ("", "", "")))
        for item in items:
            label = item.label.removeprefix(f"{name} / ")
            rows.append(_item_row(item, _INDENT + label, bill.currency, where))
        rows.append(_Row(f"{_INDENT}subtotal {name}", ("", "", amount_text(bill.lines[name]))))
    rows += [None, _total_row(bill.total, 3)]
    lines += _table(rows)
    lines += _carried_lines(bill)
    lines += _note_lines(bill.notes)
    return "\n".join(lines)


def bills_text(bills: Iterable[Bill], *, each: bool = False, where: bool = False) -> str:
    """Write several bills of one tariff.

    Parameters
    ----------
    bills : iterable of Bill
        What `Tariff.bills` returned.
    each : bool
        Write every bill in full first.
    where : bool
        In these, say where in the sheet each price stands.

    Returns
    -------
    str
        One line per bill, then what each line of the sheet comes to over all of them, and the total.

    Raises
    ------
    InputError
        If there are none.

    Examples
    --------
    >>> from datetime import date
    >>> item = BillItem("energy", "energy", Decimal("70.30"), 700, "kWh", 0.1004)
    >>> june = Bill("Flat", "USD", date(2022, 6, 1), date(2022, 6, 30), (item,), Decimal("70.30"), 700)
    >>> july = Bill("Flat", "USD", date(2022, 7, 1), date(2022, 7, 31), (item,), Decimal("70.30"), 700)
    >>> print(bills_text([june, july]))
    Flat
    Wed 1 Jun 2022 - Sun 31 Jul 2022, 2 bills
    1400 kWh bought; amounts in USD
    <BLANKLINE>
                              days  kWh bought  amount
    1 Jun 2022 - 30 Jun 2022    30         700   70.30
    1 Jul 2022 - 31 Jul 2022    31         700   70.30
    <BLANKLINE>
    energy                                      140.60
    <BLANKLINE>
    Total                                       140.60
    """
    many = tuple(bills)
    if not many:
        raise InputError("there is no bill; give the use of one day at least")
    first, last = many[0], many[-1]
    lines = [line for bill in many for line in (bill_text(bill, where=where), "", "")] if each else []
    bought_kwh, sold_kwh = sum(bill.bought_kwh for bill in many), sum(bill.sold_kwh for bill in many)
    sells = any(bill.sold_kwh for bill in many)
    sold = f", {_number_text(sold_kwh, 3)} kWh sold" if sells else ""
    lines += [
        *wrapped(first.sheet),
        f"{_day(first.start)} - {_day(last.end)}, {_count_text(len(many), 'bill')}",
        *wrapped(f"{_number_text(bought_kwh, 3)} kWh bought{sold}; amounts in {first.currency}"),
        "",
    ]
    rows: list[_Row | None] = [_Row("", ("days", "kWh bought", *(["kWh sold"] if sells else []), "amount"))]
    for bill in many:
        energy = (bill.bought_kwh, bill.sold_kwh) if sells else (bill.bought_kwh,)
        cells = (str(bill.days), *(_number_text(kwh, 1) for kwh in energy), amount_text(bill.total))
        rows.append(_Row(f"{_short_day(bill.start)} - {_short_day(bill.end)}", cells))
    blank = ("",) * (3 if sells else 2)
    rows += [None, *(_Row(name, (*blank, amount_text(amount))) for name, amount in line_sums(many).items())]
    rows += [None, _total_row(sum((bill.total for bill in many), Decimal(0)), len(blank) + 1)]
    lines += _table(rows)
    lines += _carried_lines(last)
    lines += _note_lines(_counted(many))
    return "\n".join(lines)


def amount_text(amount: Decimal) -> str:
    """Write an amount of money with the decimals it has, at most six.

    Examples
    --------
    >>> amount_text(Decimal("70.30")), amount_text(Decimal("-0.00")), amount_text(Decimal("0.1234567"))
    ('70.30', '0.00', '0.123457')
    """
    exponent = amount.as_tuple().exponent
    decimals = min(max(-exponent, 0), _DECIMALS) if isinstance(exponent, int) else 0
    text = f"{amount:.{decimals}f}"
    return text.removeprefix("-") if not text.strip("-0.") else text


def _by_name(bill: Bill) -> dict[str, list[BillItem]]:
    found: dict[str, list[BillItem]] = {}
    for item in bill.items:
        found.setdefault(item.name, []).append(item)
    return found


def _item_row(item: BillItem, label: str, currency: str, where: bool) -> _Row:
    if item.unit == currency and item.kind in ("carried", "export"):
        quantity = price = ""  # money that is carried or paid out, not a share of it
    elif item.unit == currency:
        quantity, price = f"of {_number_text(item.quantity, 2, least=2)}", f"{_number_text(item.price * 100, 4)} %"
    elif item.unit:
        quantity, price = _count_text(item.quantity, item.unit), _number_text(item.price, _DECIMALS)
    else:
        quantity = price = ""
    return _Row(label, (quantity, price, amount_text(item.amount)), item.place if where else "")


def _total_row(total: Decimal, cells: int) -> _Row:
    label = "Total, owed to you" if total < 0 else "Total"
    return _Row(label, (*[""] * (cells - 1), amount_text(total)))


def _table(rows: list[_Row | None]) -> list[str]:
    """Set rows under one another, the cells right-aligned; None is an empty line, and a long label wraps."""
    filled = [row for row in rows if row is not None]
    widths = [max(map(len, column)) for column in zip(*(row.cells for row in filled), strict=True)]
    room = max(WIDTH - sum(widths) - len(_GAP) * len(widths), _NARROWEST)
    label_width = min(max(len(row.label) for row in filled), room)
    lines: list[str] = []
    for row in rows:
        if row is None:
            lines.append("")
            continue
        indent = _INDENT if row.label.startswith(_INDENT) else ""
        label = _wrapped_label(row.label.strip(), indent, label_width)
        cells = "".join(f"{_GAP}{cell:>{width}}" for cell, width in zip(row.cells, widths, strict=True))
        lines += [f"{label[0]:<{label_width}}{cells}".rstrip(), *map(str.rstrip, label[1:])]
        if row.remark:
            lines += wrapped(row.remark, f"{indent}{_INDENT}")
    return lines


def _wrapped_label(label: str, indent: str, width: int) -> list[str]:
    from textwrap import wrap

    text = plain_text(label)
    return wrap(text, width, initial_indent=indent, subsequent_indent=indent + _INDENT) or [""]


def _carried_lines(bill: Bill) -> list[str]:
    carried = bill.carried
    if not round(carried.credit, 2):
        return []
    return ["", *wrapped(f"Credit carried to the next bill: {carried.credit:.2f} {bill.currency}")]


def _note_lines(notes: Iterable[str]) -> list[str]:
    lines = [line for note in notes for line in wrapped(note, "Note: ")]
    return ["", *lines] if lines else []


def _counted(bills: tuple[Bill, ...]) -> list[str]:
    """Collect the notes of bills, each once, with how many bills have it."""
    count: dict[str, int] = {}
    for bill in bills:
        for note in dict.fromkeys(bill.notes):
            count[note] = count.get(note, 0) + 1
    return [
        note if number == len(bills) else f"{note} (in {_count_text(number, 'bill')})" for note, number in count.items()
    ]


def _count_text(number: float, unit: str) -> str:
    plural = "s" if unit in (*_WORDS, "bill") and number != 1 else ""
    return f"{_number_text(number, 3)} {plain_text(unit)}{plural}"


def _number_text(number: float, decimals: int, *, least: int = 0) -> str:
    """Write a number without needless zeros, keeping the least number of decimals."""
    whole, _, part = f"{round(float(number), decimals) + 0.0:.{decimals}f}".partition(".")
    part = part.rstrip("0").ljust(least, "0")
    return f"{whole}.{part}" if part else whole


def _day(day: date) -> str:
    return day_text(datetime.combine(day, datetime.min.time()))


def _short_day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"
