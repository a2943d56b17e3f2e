"""What a change of rates does to a year's bills: amounts worked by hand."""

from datetime import date
from decimal import Decimal

import pandas as pd
import pytest

from chargeplan.errors import InputError
from chargeplan.tariff import read_tariff
from chargeplan.tariff.changed_bills import LineAmounts, bill_change, even_use
from chargeplan.tariff.sheet_clock import SheetClock

DENVER = SheetClock.build("America/Denver")
HEAD = "name: S\ncurrency: USD\ntimezone: America/Denver\n"


def test_a_flat_rate_that_rises():
    """700 kWh a month at 0.20 and 0.25 are 140.00 and 175.00; 365 days at 0.42 and 0.45 are 153.30 and 164.25."""
    old = read_tariff(HEAD + "prices: 0.20\nfixed: {service: 0.42 per day}\n")
    new = read_tariff(HEAD + "prices: 0.25\nfixed: {service: 0.45 per day}\n")
    found = bill_change(old, new, even_use(700, 2026, DENVER))
    assert (found.first, found.last) == (date(2026, 1, 1), date(2026, 12, 31))
    assert found.bought_kwh == pytest.approx(8400)
    assert found.sold_kwh == 0
    assert found.lines == (
        LineAmounts("energy", Decimal("1680.00"), Decimal("2100.00")),
        LineAmounts("service", Decimal("153.30"), Decimal("164.25")),
    )
    assert found.total == LineAmounts("total", Decimal("1833.30"), Decimal("2264.25"))
    assert found.total.change == Decimal("430.95")


def test_tiers_that_change_and_a_line_that_goes():
    """600 kWh at 0.10 and 100 at 0.20 are 80.00; all 700 at 0.11 are 77.00; a tax of 5 % of 80.00 is 4.00."""
    old = read_tariff(HEAD + "prices: 0.10 up to 600 then 0.20\ntaxes: {city: 5 %}\n")
    new = read_tariff(HEAD + "prices: 0.11\nfixed: 5 per month\n")
    found = bill_change(old, new, even_use(700, 2026, DENVER))
    assert {line.name: (line.old, line.new, line.change) for line in found.lines} == {
        "energy": (Decimal("960.00"), Decimal("924.00"), Decimal("-36.00")),
        "fixed": (None, Decimal("60.00"), Decimal("60.00")),
        "city": (Decimal("48.00"), None, Decimal("-48.00")),
    }
    assert found.total.change == Decimal("-24.00")


def test_sheets_with_other_clocks():
    """A year is twelve months by the clock of each sheet: 12 x 14.50 = 174.00 whatever the other sheet's zone."""
    old = read_tariff(HEAD + "prices: 0.20\nfixed: 14.50 per month\n")
    new = read_tariff(HEAD.replace("Denver", "New_York") + "clock: standard\nprices: 0.20\nfixed: 14.50 per month\n")
    loads = [even_use(700, 2026, tariff.timeline.clock) for tariff in (old, new)]
    found = bill_change(old, new, loads[1], old_load=loads[0])
    assert (found.first, found.last) == (date(2026, 1, 1), date(2026, 12, 31))
    assert {(line.old, line.new) for line in found.lines if line.name == "fixed"} == {(Decimal("174.00"),) * 2}
    assert found.total.change == 0


def test_a_load_of_some_days_with_export():
    """Ten days of 24 kWh at 0.2 and 0.3 a kWh, and 1 kWh a day sold at 0.1 and 0.05."""
    index = pd.date_range("2026-06-01", "2026-06-11", freq="h", tz="America/Denver", inclusive="left", name="start")
    load, export = pd.Series(1.0, index=index), pd.Series(1 / 24, index=index)
    old, new = (read_tariff(HEAD + f"prices: {buy}\nexport: {sell}\n") for buy, sell in ((0.2, 0.1), (0.3, 0.05)))
    found = bill_change(old, new, load, export)
    assert (found.first, found.last) == (date(2026, 6, 1), date(2026, 6, 10))
    assert found.sold_kwh == pytest.approx(10)
    assert {line.name: (line.old, line.new) for line in found.lines} == {
        "energy": (Decimal("48.00"), Decimal("72.00")),
        "export": (Decimal("-1.00"), Decimal("-0.50")),
    }


@pytest.mark.parametrize("zone", ["America/Denver", "Europe/Vienna", "Etc/UTC"])
def test_even_use(zone):
    """Each calendar month of the zone has its kWh, whatever its days and clock changes; all hours of it the same."""
    load = even_use(650, 2028, SheetClock.build(zone))
    assert len(load) == 366 * 24
    by_month = load.groupby(load.index.month)
    assert by_month.sum().tolist() == pytest.approx([650] * 12)
    assert (by_month.max() == by_month.min()).all()


@pytest.mark.parametrize("kwh", [-1, float("nan"), float("inf"), 1e12])
def test_uses_that_cannot_be(kwh):
    """Negative, endless or no number."""
    with pytest.raises(InputError, match="kWh a month cannot be; write for example 700"):
        even_use(kwh, 2026, DENVER)
