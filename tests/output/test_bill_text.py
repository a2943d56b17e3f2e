"""Bills as text: every item with its amount, sums that add up, lines that fit a mail."""

import re
import sys
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.output.bill_text import amount_text, bill_text, bills_text
from chargeplan.tariff.bill import Bill, Carried

sys.path.insert(0, str(Path(__file__).parent))
from bill_cases import BILL, ITEMS, JUNE, bills, item

MONEY = r"(-?\d+\.\d\d)"


def test_a_whole_bill():
    """Head, items by line with subtotals, credits below zero, total, what is carried, and notes."""
    assert (
        bill_text(BILL)
        == """\
Ridgeline Valley example
Wed 1 Jun 2022 - Thu 30 Jun 2022, 30 days
730.5 kWh bought, 120 kWh sold; amounts in USD

                           quantity    price  amount
energy
  peak / summer / tier 1    200 kWh    0.123   24.60
  peak / tier 2            30.5 kWh  0.14754    4.50
  off-peak                  500 kWh    0.075   37.50
  subtotal energy                              66.60
service                     1 month       12   12.00
meter                       30 days     0.05    1.50
on-peak demand                 8 kW     7.09   56.72
export                      120 kWh     0.08   -9.60
low income                                     -5.00
city tax                  of 136.82      5 %    6.84

Total                                         129.06

Credit carried to the next bill: 3.50 USD

Note: the demand is taken from hourly data, so it may be lower than the meter's"""
    )


def test_where_prices_stand():
    """With `where`, each item is followed by its file and line; the rest is the same."""
    text = bill_text(BILL, where=True)
    assert [line.strip() for line in text.splitlines() if ".yaml:" in line] == [one.place for one in ITEMS]
    assert "\n".join(line for line in text.splitlines() if ".yaml:" not in line) == bill_text(BILL)
    assert "service                     1 month       12   12.00\n  sheet.yaml:20\n" in text


def test_the_currency_is_named_once():
    """Amounts stand without it."""
    plain = replace(BILL, carried=Carried())
    assert bill_text(plain).count("USD") == bills_text([plain, plain]).count("USD") == 1


@pytest.mark.parametrize(
    ("total", "expected"), [("12.30", "Total "), ("0.00", "Total "), ("-0.01", "Total, owed to you")]
)
def test_a_total_below_zero_is_owed_to_the_customer(total, expected):
    """A minus alone is easily overlooked."""
    bill = Bill("Flat", "USD", *JUNE, (item("energy", "energy", total, 1, "kWh", 1.0),), Decimal(total))
    last = bill_text(bill).splitlines()[-1]
    assert last.startswith(expected)
    assert last.endswith(f" {total}")


@pytest.mark.parametrize(
    ("amount", "expected"),
    [
        *[("70.30", "70.30"), ("70", "70"), ("-9.6", "-9.6"), ("1E+3", "1000"), ("0E-2", "0.00")],
        *[("-0.00", "0.00"), ("0.1234567", "0.123457"), ("-0.0000001", "0.000000"), ("1E-9", "0.000000")],
    ],
)
def test_amounts_keep_their_decimals(amount, expected):
    """As rounded by the sheet, yen without decimals as well; unrounded ones to six; zero without a minus."""
    assert amount_text(Decimal(amount)) == expected


def test_long_labels_wrap():
    """A name as long as three lines leaves the numbers in their columns, beside its first line."""
    name = "a delivery charge of the grid company with a name that goes on for quite a while and then some"
    lines = (item(name, "energy", "1234567.89", 123456.789, "kWh", 0.123456), ITEMS[3])
    text = bill_text(Bill("Flat", "USD", *JUNE, lines, Decimal("1234579.89")))
    table = text.splitlines()[4:]
    assert max(map(len, table)) <= 80
    assert table[0].endswith("quantity     price      amount")
    numbers = "  123456.789 kWh  0.123456  1234567.89"
    assert table[1].endswith(numbers)
    rest = table[2 : next(number for number, row in enumerate(table) if row.startswith("service "))]
    assert len(rest) >= 2
    assert all(row.startswith("  ") for row in rest)
    assert " ".join([table[1].removesuffix(numbers).strip(), *map(str.strip, rest)]) == name


def test_control_characters_of_names():
    """Line breaks and terminal codes of names do not reach the terminal."""
    bad = "a\nb\x1b[31m"
    lines = (replace(ITEMS[0], name=bad, period=bad, unit=bad, place=bad), replace(ITEMS[1], name=bad), ITEMS[3])
    bill = replace(BILL, sheet=bad, items=lines, notes=(bad,), currency="USD")
    for text in (bill_text(bill, where=True), bills_text([bill], each=True, where=True)):
        assert all(line.isprintable() for line in text.splitlines())


# ------------------------------------------------------------------------------------------------ many bills


def test_many_bills():
    """One line per bill, each line of the sheet over all, notes once with how often."""
    july = replace(BILL, start=date(2022, 7, 1), end=date(2022, 7, 31), notes=(), carried=Carried(), sold_kwh=0.5)
    assert (
        bills_text([BILL, july])
        == """\
Ridgeline Valley example
Wed 1 Jun 2022 - Sun 31 Jul 2022, 2 bills
1461 kWh bought, 120.5 kWh sold; amounts in USD

                          days  kWh bought  kWh sold  amount
1 Jun 2022 - 30 Jun 2022    30       730.5       120  129.06
1 Jul 2022 - 31 Jul 2022    31       730.5       0.5  129.06

energy                                                133.20
service                                                24.00
meter                                                   3.00
on-peak demand                                        113.44
export                                                -19.20
low income                                            -10.00
city tax                                               13.68

Total                                                 258.12

Note: the demand is taken from hourly data, so it may be lower than the meter's
      (in 1 bill)"""
    )


def test_each_bill_in_full():
    """With `each`, every bill stands before the summary as it would alone."""
    july = replace(BILL, start=date(2022, 7, 1), end=date(2022, 7, 31))
    text = bills_text([BILL, july], each=True, where=True)
    full = [bill_text(bill, where=True) for bill in (BILL, july)]
    assert text == "\n\n\n".join([*full, bills_text([BILL, july])])


def test_no_bill_at_all():
    """Nothing to say is said."""
    with pytest.raises(InputError, match="there is no bill"):
        bills_text([])


# ------------------------------------------------------------------------------------------------ promises


@settings(deadline=None, max_examples=150)
@given(bills(), st.booleans())
def test_lines_fit_a_mail(bill, where):
    """At most 80 columns of ASCII for ASCII names, nothing trailing, whatever the names and numbers."""
    for text in (bill_text(bill, where=where), bills_text([bill, bill], each=where)):
        assert text.isascii()
        assert max(map(len, text.splitlines())) <= 80
        assert all(line == line.rstrip() for line in text.splitlines())
        assert not text.endswith("\n")


@settings(deadline=None, max_examples=150)
@given(bills(names=st.text("abcdefg", min_size=1, max_size=8), amounts=st.decimals(-999, 999, places=2)))
def test_what_is_printed_adds_up(bill):
    """By Python's decimal module: items of a line make its subtotal, lines and subtotals make the total."""
    text = bill_text(replace(bill, notes=(), carried=Carried()))
    table = text.split("\n\n", 1)[1].split("\n\n")[0].splitlines()[1:]
    inner, outer = Decimal(0), Decimal(0)
    for line in table:
        amount = re.search(rf" {MONEY}$", line)
        if amount is None:
            continue  # the name of a line with several items, or the rest of a long label
        if line.startswith("  subtotal "):
            assert Decimal(amount[1]) == inner
            outer += inner
            inner = Decimal(0)
        elif line.startswith("  "):
            inner += Decimal(amount[1])
        else:
            outer += Decimal(amount[1])
    assert inner == 0
    printed = re.search(rf"\nTotal.* {MONEY}$", text)
    assert Decimal(printed[1]) == outer == bill.total


@settings(deadline=None, max_examples=100)
@given(st.lists(bills(names=st.sampled_from("abc"), amounts=st.decimals(-999, 999, places=2)), min_size=1, max_size=5))
def test_a_summary_adds_up(many):
    """The amounts of the bills, and the sums of the lines, both make the total."""
    plain = [replace(bill, notes=(), carried=Carried()) for bill in many]
    _, rows, lines, total = bills_text(plain).split("\n\n")
    sums = [
        sum(Decimal(line.split()[-1]) for line in part.splitlines()[skip:]) for part, skip in ((rows, 1), (lines, 0))
    ]
    assert sums[0] == sums[1] == Decimal(total.split()[-1])
    assert len(rows.splitlines()) == len(many) + 1
