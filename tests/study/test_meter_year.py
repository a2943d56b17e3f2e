"""A year of studies with the open hourly meter sample as the house.

The file is a sample of the Energy Services Provider Interface (NAESB REQ.21): "Inland single family 2011", version 0.7
(EnergyOS.org, Apache licence 2.0), 8,760 hourly readings. It is looked for in the folder ``greenbutton`` of the folder
named by the environment variable CHARGEPLAN_REFERENCE. Sums below are of its readings, not of its summary block.
"""

import gzip
import os
from dataclasses import replace
from datetime import date
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

import chargeplan
from chargeplan.study.cell import unit_rows
from chargeplan.study.driving import Driving
from chargeplan.study.house_load import meter_load
from chargeplan.study.study import Study, units

FILE = Path(os.environ.get("CHARGEPLAN_REFERENCE", "")) / "greenbutton" / "espi_hourly_1year_single_family.xml.gz"
ESPI = "{http://naesb.org/espi}"
ZONE = "America/Los_Angeles"
RATE = """
name: Four periods of the coast
currency: USD
timezone: America/Los_Angeles
seasons: {summer: Jun 1 - Sep 30, winter: rest}
periods: {peak: 16:00-21:00 on weekdays, night: 00:00-06:00, rest: rest}
prices:
  summer: {peak: 0.48, rest: 0.29, night: 0.17}
  winter: {peak: 0.33, rest: 0.25, night: 0.16}
fixed: 9 per month
"""

pytestmark = pytest.mark.skipif(
    "CHARGEPLAN_REFERENCE" not in os.environ or not FILE.exists(),
    reason="the sample meter file is not here: CHARGEPLAN_REFERENCE does not name a folder that has it",
)


@pytest.fixture(scope="module")
def readings():
    """Energy of every hour in kWh, by start."""
    with gzip.open(FILE) as file:
        tree = ElementTree.parse(file)
    rows = {}
    for reading in tree.iter(f"{ESPI}IntervalReading"):
        start = int(reading.find(f"{ESPI}timePeriod/{ESPI}start").text)
        rows[start] = float(reading.find(f"{ESPI}value").text) / 1000
    index = pd.DatetimeIndex(np.array(sorted(rows), dtype="datetime64[s]"), tz="UTC").tz_convert(ZONE)
    return pd.Series([rows[start] for start in sorted(rows)], index=index, name="kwh")


@pytest.fixture(scope="module")
def load(readings, tmp_path_factory):
    """The same through a file of a meter's values."""
    path = tmp_path_factory.mktemp("meter") / "meter.csv"
    stamps = [moment.isoformat() for moment in readings.index]
    pd.DataFrame({"start": stamps, "kwh": readings.to_numpy()}).to_csv(path, index=False)
    return meter_load(path, ZONE)


def row_of(load, first, strategy="optimal"):
    home = replace(chargeplan.load_household("demo"), timezone=ZONE, stops=())
    study = Study(
        "meter",
        {"home": home},
        {"coast": chargeplan.read_tariff(RATE)},
        first,
        365,
        driving={"usual": Driving(spread=0.4)},
        house={"home": load},
    )
    rows = [row for unit in units(study) for row in unit_rows(unit)]
    return next(row for row in rows if row.strategy == strategy)


def test_the_readings_are_those_published(readings):
    """8,760 readings, 8,343,306 Wh in all, 508 to 2,370 Wh, and three of its months."""
    assert readings.size == 8760
    assert round(1000 * readings.sum()) == 8_343_306
    assert (round(1000 * readings.min()), round(1000 * readings.max())) == (508, 2370)
    months = readings.groupby(readings.index.strftime("%Y-%m")).sum()
    found = {month: round(1000 * months[month]) for month in ("2011-10", "2011-11", "2011-12")}
    assert found == {"2011-10": 641_298, "2011-11": 626_714, "2011-12": 771_137}


def test_the_house_of_2011_is_billed_as_pandas_adds_it_up(readings, load):
    """Twelve months by a group-by of month and hour, each item in whole cents."""
    local = readings.index
    hour, summer = local.hour, local.month.isin([6, 7, 8, 9])
    peak = (hour >= 16) & (hour < 21) & (local.day_of_week < 5)
    night = hour < 6
    price = np.select([summer & peak, summer & night, summer, peak, night], [0.48, 0.17, 0.29, 0.33, 0.16], 0.25)
    parts = readings * price
    labels = np.select([peak, night], ["peak", "night"], "rest")
    cents = parts.groupby([local.month, summer, labels]).sum()
    total = sum(round(value * 100 + 1e-9) for value in cents) / 100 + 12 * 9
    row = row_of(load, date(2011, 1, 1))
    assert row.house_bill == pytest.approx(total, abs=0.02)
    assert row.bill > row.house_bill


def test_the_same_house_in_2026(readings, load):
    """Laid on another year it uses as much, within what a few other weekdays make; the plan still saves."""
    first = date(2026, 1, 1)
    grid = pd.date_range("2026-01-01", "2027-01-01", freq="h", tz=ZONE, inclusive="left")
    start_s = grid.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[s]").astype(np.int64)
    assert load.kwh(start_s, 3600).sum() == pytest.approx(readings.sum(), rel=0.005)
    plan, at_once = row_of(load, first), row_of(load, first, "at once")
    assert plan.house_bill == at_once.house_bill
    assert plan.car_cost < 0.7 * at_once.car_cost
    assert plan.missed == 0
