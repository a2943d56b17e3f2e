"""Prices of a fixed clock against two open sample meter files that hold energy and cost of every interval.

The files are samples of the Energy Services Provider Interface (NAESB REQ.21), published under the Apache licence 2.0:
``TestGBDataHourlyNineDaysBinnedDaily.xml``, version 0.7 of 2013-09-20 (EnergyOS.org), 216 hours with cost, and
``test_usage_data.xml`` (Green Button Alliance, EnergyOS.org), 1,340 quarter-hours with cost across a change of clocks.
They are looked for in the folder ``greenbutton`` of the folder named by the environment variable CHARGEPLAN_REFERENCE.

No price is printed in them. The table below is inferred from energy and cost: nine steps up and down the day in hours
of UTC-5, the weekend's on days that are Saturday or Sunday in UTC. As 19:00 at UTC-5 is midnight in UTC, the evening of
a Friday already has the weekend's prices, and that of a Sunday the weekday's.
"""

import os
from dataclasses import dataclass
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pandas as pd
import pytest

from chargeplan.tariff import read_tariff

FOLDER = Path(os.environ.get("CHARGEPLAN_REFERENCE", "")) / "greenbutton"
HOURLY, QUARTERS = "espi_hourly_9days_with_cost.xml", "espi_15min_14days_across_dst_with_cost.xml"
ESPI = "{http://naesb.org/espi}"

pytestmark = pytest.mark.skipif(
    "CHARGEPLAN_REFERENCE" not in os.environ or not (FOLDER / HOURLY).exists() or not (FOLDER / QUARTERS).exists(),
    reason="the sample meter files are not here: CHARGEPLAN_REFERENCE does not name a folder that has them",
)

#: On the zone's standard time, with the evenings of Fridays and Sundays named.
STANDARD_TIME = """
name: Nine steps on standard time
currency: USD
timezone: America/New_York
clock: standard
billing: {rounding: none}
periods:
  3 cents: [23:00-06:00 starting Sun-Thu, 22:00-06:00 starting Fri-Sat]
  6 cents: [06:00-14:00, 22:00-23:00 on Sun-Thu, 21:00-22:00 on Fri-Sat]
  9 cents: [14:00-15:00 on Sat-Sun, 20:00-21:00 on Fri-Sat]
  12 cents: [14:00-15:00 on Mon-Fri, 15:00-16:00 on Sat-Sun, 21:00-22:00 on Sun-Thu, 19:00-20:00 on Fri-Sat]
  15 cents: 16:00-19:00 on Sat-Sun
  18 cents: [15:00-16:00 on Mon-Fri, 20:00-21:00 on Sun-Thu]
  24 cents: [16:00-17:00 on Mon-Fri, 19:00-20:00 on Sun-Thu]
  30 cents: 17:00-19:00 on Mon-Fri
price_unit: cents
prices: {3 cents: 3, 6 cents: 6, 9 cents: 9, 12 cents: 12, 15 cents: 15, 18 cents: 18, 24 cents: 24, 30 cents: 30}
"""
#: The same on UTC: every hour five later, and the days of the week are those of UTC.
UTC = """
name: Nine steps on UTC
currency: USD
timezone: America/New_York
clock: UTC
billing: {rounding: none}
periods:
  3 cents: [04:00-11:00 on weekdays, 03:00-11:00 on weekends]
  6 cents: [11:00-19:00, 03:00-04:00 on weekdays, 02:00-03:00 on weekends]
  9 cents: 01:00-02:00, 19:00-20:00 on weekends
  12 cents: [02:00-03:00 on weekdays, 19:00-20:00 on weekdays, 00:00-01:00 on weekends, 20:00-21:00 on weekends]
  15 cents: 21:00-24:00 on weekends
  18 cents: 01:00-02:00, 20:00-21:00 on weekdays
  24 cents: 00:00-01:00, 21:00-22:00 on weekdays
  30 cents: 22:00-24:00 on weekdays
price_unit: cents
prices: {3 cents: 3, 6 cents: 6, 9 cents: 9, 12 cents: 12, 15 cents: 15, 18 cents: 18, 24 cents: 24, 30 cents: 30}
"""
#: What one would write first: the hours on the wall clock.
WALL_CLOCK = STANDARD_TIME.replace("clock: standard\n", "")
#: The hours of UTC-5 with the local days of the week.
LOCAL_DAYS = STANDARD_TIME.replace("Sun-Thu", "Mon-Fri").replace("on Fri-Sat", "on Sat-Sun")
LOCAL_DAYS = LOCAL_DAYS.replace("23:00-06:00 starting Mon-Fri, 22:00-06:00 starting Fri-Sat", "").replace(
    "[]", "[00:00-06:00, 23:00-24:00 on Mon-Fri, 22:00-24:00 on Sat-Sun]"
)
BOTH_SHEETS = pytest.mark.parametrize("sheet", [STANDARD_TIME, UTC], ids=["standard time", "UTC"])


@dataclass(frozen=True)
class Readings:
    """What a meter file holds, in time order."""

    start_s: np.ndarray
    step_s: int
    energy_wh: np.ndarray
    #: In 1/100,000 of a dollar.
    cost: np.ndarray
    tree: ElementTree.Element

    @property
    def index(self):
        return pd.DatetimeIndex(self.start_s.astype("datetime64[s]"), tz="UTC").tz_convert("America/New_York")

    @property
    def load(self):
        """Energy in kWh."""
        return pd.Series(self.energy_wh / 1000, index=self.index)

    def prices(self, sheet):
        """The prices of all intervals, in whole 1/100,000 of a dollar per Wh."""
        begin, end = self.index[0], self.index[-1] + pd.Timedelta(seconds=self.step_s)
        prices = read_tariff(sheet).prices(begin, end, self.step_s // 60)
        assert list(prices.index) == list(self.index)
        scaled = prices.to_numpy() * 100
        assert np.abs(scaled - np.rint(scaled)).max() < 1e-9
        return np.rint(scaled).astype(np.int64)

    def summary(self, name):
        """A number of the summary of the meter's billing period."""
        return int(
            self.tree.find(f".//{ESPI}ElectricPowerUsageSummary/" + "/".join(f"{ESPI}{part}" for part in name)).text
        )


def read(name):
    tree = ElementTree.parse(FOLDER / name).getroot()
    rows = []
    for reading in tree.iter(f"{ESPI}IntervalReading"):
        span = reading.find(f"{ESPI}timePeriod")
        numbers = (span.findtext(f"{ESPI}start"), span.findtext(f"{ESPI}duration"))
        rows.append(
            [int(text) for text in (*numbers, reading.findtext(f"{ESPI}value"), reading.findtext(f"{ESPI}cost"))]
        )
    start_s, step_s, energy_wh, cost = np.array(sorted(rows), dtype=np.int64).T
    assert len(set(step_s)) == 1
    assert set(np.diff(start_s)) == {step_s[0]}
    return Readings(start_s, int(step_s[0]), energy_wh, cost, tree)


def off_the_price(readings, sheet):
    """Start, Wh, cost and price x Wh of the readings whose cost is not that of their Wh, cut off after the last digit.

    The meter counts on below the whole Wh that it shows, so the cost is at least price x Wh and below price x (Wh + 1).
    """
    price, wh = readings.prices(sheet), readings.energy_wh
    off = (readings.cost < price * wh) | (readings.cost >= price * (wh + 1))
    rows = zip(readings.start_s[off], wh[off], readings.cost[off], (price * wh)[off], strict=True)
    return [tuple(int(number) for number in row) for row in rows]


@BOTH_SHEETS
def test_every_hourly_cost(sheet):
    """Sample of 216 hours: each cost is exactly the price times the Wh, and 22.05567 dollars in all."""
    readings = read(HOURLY)
    assert readings.energy_wh.size == 216
    assert (readings.prices(sheet) * readings.energy_wh == readings.cost).all()
    assert readings.cost.sum() == 2_205_567
    assert readings.energy_wh.sum() == 199_563 == readings.summary(["overallConsumptionLastPeriod", "value"])
    bill = read_tariff(sheet).bill(readings.load)
    assert float(bill.total) == pytest.approx(22.05567, abs=1e-9)
    assert bill.bought_kwh == pytest.approx(199.563, abs=1e-9)


@BOTH_SHEETS
def test_quarter_hour_costs(sheet):
    """Sample of 1,340 quarter-hours across a change of clocks: all but the first two costs are those of their Wh."""
    readings = read(QUARTERS)
    assert readings.energy_wh.size == 1340
    assert off_the_price(readings, sheet) == [(1330578000, 282, 974, 846), (1330578900, 323, 965, 969)]
    assert readings.cost.sum() == 14_999_132
    assert readings.energy_wh.sum() == 1_391_666
    total = float(read_tariff(sheet).bill(readings.load).total) * 100_000
    assert total == pytest.approx(float((readings.prices(sheet) * readings.energy_wh).sum()), abs=1e-4)
    # The bill knows whole Wh only: it is below the cost by less than one Wh per interval, but for the two bad readings.
    lacking = readings.cost.sum() - (974 - 846) - (965 - 969) - total
    assert 0 < lacking < readings.prices(sheet).sum()


def test_wall_clock_does_not_give_the_costs():
    """From the change of clocks on the steps are an hour later on the wall clock, so a sheet in its hours is wrong."""
    readings = read(QUARTERS)
    change_s = pd.Timestamp("2012-03-11 03:00", tz="America/New_York").timestamp()
    off = [start_s for start_s, *_ in off_the_price(readings, WALL_CLOCK)]
    assert off[:2] == [1330578000, 1330578900]
    assert len(off) > 100
    assert min(off[2:]) >= change_s
    assert (readings.prices(WALL_CLOCK) == readings.prices(STANDARD_TIME))[readings.start_s < change_s].all()


def test_local_days_of_the_week_do_not_give_the_costs():
    """With Saturday and Sunday taken locally, just the evenings of the Friday and the Sunday come out wrong."""
    readings = read(HOURLY)
    wrong = readings.index[readings.prices(LOCAL_DAYS) * readings.energy_wh != readings.cost]
    assert {(moment.day_name(), moment.hour >= 19) for moment in wrong} == {("Friday", True), ("Sunday", True)}


def test_quarter_hours_of_the_day_of_change():
    """The day of change, 2012-03-11 in New York, has 92 quarter-hours; the file and the sheet agree on which."""
    readings = read(QUARTERS)
    counts = pd.Series(1, index=readings.index.date).groupby(level=0).sum()
    for day, count in counts.items():
        prices = read_tariff(WALL_CLOCK).prices(day, day + pd.Timedelta(days=1), 15)
        assert list(prices.index) == list(readings.index[readings.index.date == day])
        assert len(prices) == count == (92 if str(day) == "2012-03-11" else 96)
    assert len(counts) == 14


def test_energy_of_the_billing_period():
    """The summary of the file gives 1,298,640 Wh for 13 local days of 311 hours, and 93,026 Wh for the day after."""
    readings = read(QUARTERS)
    assert readings.summary(["billingPeriod", "start"]) == readings.start_s[0]
    assert readings.summary(["billingPeriod", "duration"]) == 311 * 3600
    tariff = read_tariff(WALL_CLOCK)
    period = tariff.bill(readings.load, start="2012-03-01", end="2012-03-13")
    after = tariff.bill(readings.load, start="2012-03-14", end="2012-03-14")
    assert (period.days, after.days) == (13, 1)
    assert period.bought_kwh * 1000 == pytest.approx(1_298_640, abs=1e-6)
    assert after.bought_kwh * 1000 == pytest.approx(93_026, abs=1e-6)
    assert readings.summary(["overallConsumptionLastPeriod", "value"]) == 1_298_640
    assert readings.summary(["currentBillingPeriodOverAllConsumption", "value"]) == 93_026
