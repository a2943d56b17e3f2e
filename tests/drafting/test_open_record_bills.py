"""Yearly bills of drafted records against bills that an independent program printed for the same load.

Records, load and bills are test data of the utility bill report of OpenStudio-HPXML, of a national laboratory of the
United States, in ``rates/pairs`` of the reference data; the source accepts a dollar a line. Sheets typed by hand from
these records are billed in ``tests/published``; here the sheets are drafted from the records themselves.

January 1 is a Monday, there is no leap day, no holiday and no change of clocks: 2018 in UTC.
"""

import pandas as pd
import pytest
import yaml
from record_cases import FOLDER, HAS_REFERENCE, NO_REFERENCE

from chargeplan.drafting.draft import draft_sheet
from chargeplan.tariff import read_tariff

PAIRS = FOLDER / "pairs"
pytestmark = pytest.mark.skipif(not HAS_REFERENCE, reason=NO_REFERENCE)
BILLS = yaml.safe_load((PAIRS / "EXPECTED.yaml").read_text(encoding="utf-8"))["bills"] if HAS_REFERENCE else {}
#: The record of hourly prices has no structure to draft a sheet from.
HOURLY = "hpxml-rtp.json"
WITHOUT = [case for case in BILLS.get("no_solar", []) if case["record"] != HOURLY]
CREDITS = BILLS.get("solar_credit_net_metering", {}).get("cases", [])
SETTLE = {"user": "0.03", "retail": "paid", "zero": "lost"}


@pytest.fixture(scope="module")
def meter():
    """Hourly use and solar output; the stamps of the file are ends of hours."""
    table = pd.read_csv(PAIRS / "hpxml-load.csv")
    table.index = pd.date_range("2018-01-01", periods=8760, freq="h", tz="UTC")
    columns = {"Electricity [kWh]": "use", "PV_1kW [kWh]": "1kW", "PV_10kW [kWh]": "10kW"}
    return table.rename(columns=columns)[list(columns.values())]


def year_of(sheet, bought, sold=None):
    """The lines of a year's twelve bills, and their total."""
    bills = list(sheet.bills(bought, export=sold))
    assert len(bills) == 12
    lines = pd.DataFrame([bill.lines for bill in bills]).astype(float).sum()
    return lines, float(sum(bill.total for bill in bills))


def sheet_of(record, more=""):
    return read_tariff(draft_sheet(PAIRS / record, timezone="UTC").text + more)


def test_load(meter):
    assert dict(meter.sum().round(2)) == {"use": 5289.08, "1kW": 1482.21, "10kW": 14872.68}


@pytest.mark.parametrize("case", WITHOUT, ids=lambda case: case["record"])
def test_year_without_solar(case, meter):
    lines, total = year_of(sheet_of(case["record"]), meter["use"])
    assert lines["fixed"] == pytest.approx(case["fixed"], abs=1e-9)
    assert lines.get("minimum", 0) == 0
    assert total == pytest.approx(lines["fixed"] + lines["energy"], abs=1e-9)
    if "DO_NOT_USE" in case:  # the printed 377 leaves kWh uncharged; one total for all periods gives 409.532
        assert lines["energy"] == pytest.approx(409.532, abs=0.06)
    else:
        assert lines["energy"] == pytest.approx(case["energy"], abs=1)
        assert lines["energy"] == pytest.approx(case.get("recomputed_energy", case["energy"]), abs=0.2)


@pytest.mark.parametrize(
    "case",
    [case for case in CREDITS if case["record"] != HOURLY],
    ids=lambda case: "-".join(map(str, case.values()))[:60],
)
def test_credit_of_net_metering(case, meter):
    """What the bill falls by; the records do not say how a surplus is settled, so the line is added here."""
    rule = f"net_metering: {{carry: money, true_up: Dec, surplus: {SETTLE[case['settle']]}}}\n"
    _, without = year_of(sheet_of(case["record"]), meter["use"])
    solar = meter[case["solar"]]
    lines, with_solar = year_of(
        sheet_of(case["record"], rule), meter["use"] + (-solar).clip(lower=0), solar.clip(lower=0)
    )
    if "fixed" in case:  # the minimum is due beside the credit
        assert lines["fixed"] + lines["minimum"] == pytest.approx(case["fixed"], abs=1)
        without += case["fixed"] - lines["fixed"]
    assert without - with_solar == pytest.approx(case["credit"], abs=1)


@pytest.mark.parametrize("case", BILLS.get("feed_in_012_per_kwh_gross", []), ids=lambda case: case["solar"])
def test_feed_in_of_all_solar_power(case, meter):
    record = WITHOUT[0]["record"]
    lines, _ = year_of(sheet_of(record, "export: 0.12\n"), meter["use"], meter[case["solar"]].clip(lower=0))
    assert -lines["export"] == pytest.approx(case["credit"], abs=1)
