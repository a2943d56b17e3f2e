"""Yearly bills of open rate records for a home with and without solar power, against published bills.

The records, the load and the bills are test data of the utility bill report of OpenStudio-HPXML, of a national
laboratory of the United States: hourly use of 5,289 kWh, solar arrays of 1 and 10 kW, and the bills of an independent
program, which the source accepts to a dollar per line. The sheets are typed here from the records; load and hourly
prices are read from the folder ``rates/pairs`` of the folder named by the environment variable CHARGEPLAN_REFERENCE.
Beside each published figure stands what its rule gives exactly, worked out apart from this library.

January 1 is a Monday, there is no leap day, no holiday and no change of clocks: 2018 at UTC-5.
"""

import json
import os
from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest

from chargeplan.tariff import load_tariff

FOLDER = Path(os.environ.get("CHARGEPLAN_REFERENCE", "")) / "rates" / "pairs"
pytestmark = pytest.mark.skipif(
    "CHARGEPLAN_REFERENCE" not in os.environ or not (FOLDER / "hpxml-load.csv").exists(),
    reason="load and hourly prices are not here: CHARGEPLAN_REFERENCE does not name a folder that has them",
)

TOP = """
name: Open rate record
currency: USD
timezone: Etc/GMT+5
billing: {rounding: none}
"""
SUMMER_PEAK = """
seasons: {summer: Jun - Aug, rest of year: rest}
periods: {peak: 11:00-20:00 on weekdays in summer, off-peak: rest}
"""
FLAT = """
prices: 0.1195179675994109
fixed: {basic: 8 per month}
"""
SHEETS = {
    "flat": FLAT,
    "flat, fixed daily": FLAT.replace("8 per month", "0.25 per day"),
    "flat, minimum monthly": FLAT + "minimum: 15 per month\n",
    "flat, minimum yearly": FLAT + "minimum: 200 per year\n",
    "tiered": """
prices: 0.09 up to 150 then 0.11 up to 300 then 0.13
fixed: {basic: 9 per month}
""",
    "time of use": SUMMER_PEAK
    + """
prices: {peak: 0.11, off-peak: 0.07}
fixed: {basic: 9 per month}
""",
    "tiered time of use": SUMMER_PEAK
    + """
prices: {peak: 0.09 up to 150 then 0.11 up to 300 then 0.13, off-peak: 0.06 up to 150 then 0.08}
fixed: {basic: 9 per month}
""",
    "hourly prices": """
market: {file: prices.csv, per: kWh}
fixed: {basic: 9 per month}
""",
}
SETTLE = {"user": "0.03", "retail": "paid", "zero": "lost"}


@pytest.fixture(scope="module")
def meter():
    """Hourly use and solar output; the stamps of the file are ends of hours."""
    table = pd.read_csv(FOLDER / "hpxml-load.csv")
    assert list(table["Date/Time"].str.strip().iloc[[0, -1]]) == ["01/01  01:00:00", "12/31  24:00:00"]
    table.index = pd.date_range("2018-01-01", periods=8760, freq="h", tz="Etc/GMT+5")
    columns = {"Electricity [kWh]": "use", "PV_1kW [kWh]": "1kW", "PV_10kW [kWh]": "10kW"}
    return table.rename(columns=columns)[list(columns.values())]


def bought_and_sold(meter, solar):
    """What the home buys and the array sells. In eight hours the array of the file takes 0.0001 to 0.001 kWh."""
    return meter["use"] + (-meter[solar]).clip(lower=0), meter[solar].clip(lower=0)


@pytest.fixture
def tariff_of(tmp_path):
    """Make tariffs, with the market prices of the hourly record beside them."""

    def make(record, more=""):
        if record == "hourly prices":
            prices = json.loads((FOLDER / "hpxml-rtp.json").read_text(encoding="utf-8"))["items"][0]["realtimepricing"]
            start = pd.date_range("2018-01-01", periods=8760, freq="h", tz="Etc/GMT+5").map(pd.Timestamp.isoformat)
            pd.DataFrame({"start": start, "price": prices}).to_csv(tmp_path / "prices.csv", index=False)
        path = tmp_path / "sheet.yaml"
        path.write_text(TOP + SHEETS[record] + more, encoding="utf-8")
        return load_tariff(path)

    return make


def added_up(bills):
    """The lines of a year's twelve bills, and their total."""
    assert len(bills) == 12
    lines: dict[str, Decimal] = {}
    for bill in bills:
        for name, amount in bill.lines.items():
            lines[name] = lines.get(name, Decimal(0)) + amount
    return {name: float(amount) for name, amount in lines.items()}, float(sum(bill.total for bill in bills))


def test_load(meter):
    """OpenStudio-HPXML: 5289.084 kWh used, 1482.21 and 14872.68 kWh from the arrays."""
    assert dict(meter.sum().round(2)) == {"use": 5289.08, "1kW": 1482.21, "10kW": 14872.68}


@pytest.mark.parametrize(
    ("record", "fixed", "energy", "exactly"),
    [
        ("flat", 96, 632, 632.141),
        ("flat, fixed daily", 91.25, 632, 632.141),
        ("flat, minimum monthly", 96, 632, 632.141),
        ("flat, minimum yearly", 96, 632, 632.141),
        ("tiered", 108, 580, 579.581),
        ("time of use", 108, 393, 393.317),
        ("hourly prices", 108, 354, 353.481),
    ],
)
def test_year_without_solar(record, fixed, energy, exactly, meter, tariff_of):
    """OpenStudio-HPXML, bills without solar power; the minimum is never reached."""
    lines, total = added_up(list(tariff_of(record).bills(meter["use"])))
    found = lines["market" if record == "hourly prices" else "energy"]
    assert found == pytest.approx(energy, abs=1)
    assert found == pytest.approx(exactly, abs=0.001)
    assert lines["basic"] == pytest.approx(fixed, abs=1e-9)
    assert lines.get("minimum", 0) == 0
    assert total == pytest.approx(exactly + fixed, abs=0.001)


def test_tiers_with_time_of_use_have_one_running_total(meter, tariff_of):
    """One total of the month over all periods decides the tier, hour by hour: 409.532.

    The published 377 comes out only if what a period uses in a tier that it does not list costs nothing: no check.
    A total for each period would give 395.437. All three are worked out apart from this library.
    """
    lines, _ = added_up(list(tariff_of("tiered time of use").bills(meter["use"])))
    assert lines["energy"] == pytest.approx(409.532, abs=0.001)
    assert lines["basic"] == pytest.approx(108, abs=1e-9)


def test_tiers_with_time_of_use_in_proportion(meter, tariff_of):
    """With the month's use by period only, the periods share the tiers in proportion: 409.212, worked out apart."""
    tariff, energy = tariff_of("tiered time of use"), 0.0
    frame = tariff.frame("2018-01-01", "2019-01-01", "1 h")
    by_month = meter["use"].groupby([meter.index.month, frame["period"].to_numpy()]).sum()
    for month in range(1, 13):
        start = pd.Timestamp(2018, month, 1)
        kwh = {name: float(amount) for name, amount in by_month[month].items()}
        energy += float(
            tariff.bill(kwh, start=start.date(), end=(start + pd.offsets.MonthEnd()).date()).lines["energy"]
        )
    assert energy == pytest.approx(409.212, abs=0.001)


@pytest.mark.parametrize(
    ("record", "solar", "settle", "credit", "exactly"),
    [
        ("flat", "1kW", "user", 177, 177.15),
        ("flat", "10kW", "user", 920, 919.65),
        ("flat", "10kW", "retail", 1777, 1777.55),
        ("flat", "10kW", "zero", 632, 632.14),
        ("time of use", "1kW", "user", 112, 112.407),
        ("time of use", "10kW", "user", 681, 680.824),
        ("time of use", "10kW", "retail", 1127, 1127.939),
        ("time of use", "10kW", "zero", 393, 393.317),
        ("tiered", "1kW", "user", 190, 190.03),
        ("tiered", "10kW", "user", 867, 867.09),  # a month with more sold than bought is at the price of the first tier
        ("tiered", "10kW", "retail", 1443, 1442.10),
        ("tiered", "10kW", "zero", 580, 579.58),
        ("hourly prices", "1kW", "user", 106, 105.63),
        ("hourly prices", "10kW", "user", 641, 640.99),
        ("hourly prices", "10kW", "retail", 1060, 1059.88),
        ("hourly prices", "10kW", "zero", 354, 353.48),
    ],
)
def test_credit_of_net_metering(record, solar, settle, credit, exactly, meter, tariff_of):
    """OpenStudio-HPXML, net metering: what the bill falls by.

    A month's net use is priced by the rate, the fixed charge is due always, and credit goes on to the next month. At
    the end of the year the surplus is paid at 0.03 (user), at its money's worth (retail), or lost (zero).
    """
    more = f"net_metering: {{carry: money, true_up: Dec, surplus: {SETTLE[settle]}}}\n"
    _, without = added_up(list(tariff_of(record).bills(meter["use"])))
    bought, sold = bought_and_sold(meter, solar)
    _, with_solar = added_up(list(tariff_of(record, more).bills(bought, export=sold)))
    assert without - with_solar == pytest.approx(credit, abs=1)
    assert without - with_solar == pytest.approx(exactly, abs=0.006)


@pytest.mark.parametrize(
    ("record", "fixed"),
    [("flat, minimum monthly", 180), ("flat, minimum yearly", 200)],
)
def test_minimum_under_net_metering(record, fixed, meter, tariff_of):
    """OpenStudio-HPXML: with the large array the minimum of 15 per month, or 200 per year, is due beside the credit."""
    more = "net_metering: {carry: money, true_up: Dec, surplus: 0.03}\n"
    base, without = added_up(list(tariff_of(record).bills(meter["use"])))
    bought, sold = bought_and_sold(meter, "10kW")
    lines, with_solar = added_up(list(tariff_of(record, more).bills(bought, export=sold)))
    assert lines["basic"] + lines["minimum"] == pytest.approx(fixed, abs=0.001)
    energy_after = with_solar - lines["basic"] - lines["minimum"]
    assert base["energy"] - energy_after == pytest.approx(919.65, abs=0.006)
    assert without == pytest.approx(728.14, abs=0.006)


@pytest.mark.parametrize(("solar", "credit", "exactly"), [("1kW", 178, 177.865), ("10kW", 1785, 1784.722)])
def test_feed_in_of_all_solar_power(solar, credit, exactly, meter, tariff_of):
    """OpenStudio-HPXML, feed-in at 0.12 for all that the array makes, while all that is used is bought."""
    _, sold = bought_and_sold(meter, solar)
    lines, total = added_up(list(tariff_of("flat", "export: 0.12\n").bills(meter["use"], export=sold)))
    assert -lines["export"] == pytest.approx(credit, abs=1)
    assert -lines["export"] == pytest.approx(exactly, abs=0.001)
    assert total == pytest.approx(632.141 + 96 - exactly, abs=0.002)
