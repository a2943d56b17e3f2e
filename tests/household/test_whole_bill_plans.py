"""Plans against the whole bill: their cost is the difference of two bills, with and without the car."""

from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from test_house_use import HOUSE

from chargeplan.household import plan_days, plan_tonight, read_household
from chargeplan.output.data import plan_data
from chargeplan.output.plan_text import night_text
from chargeplan.tariff import read_tariff

HEAD = "name: S\ncurrency: USD\ntimezone: America/Denver\nperiods: {peak: 16:00-21:00 on weekdays, off-peak: rest}\n"
SHEETS = {
    "tiers": "prices: {peak: 0.30 up to 500 then 0.36, off-peak: 0.10 up to 500 then 0.16}\ntaxes: {tax: 10 %}\n",
    "three tiers by season": "seasons: {cold: Nov - Mar, warm: rest}\n"
    "prices: {cold: 0.1 up to 300 then 0.2 up to 600 then 0.3, warm: 0.1 up to 500 then 0.25}\n",
    "demand": "prices: 0.08\ndemand: {evening: {price: 17, hours: 16:00-21:00 on weekdays, interval: 60 min}}\n",
    "two demands": "prices: 0.08\nfixed: 9 per month\ndemand: {top: {price: 0 up to 3 then 9.5, interval: 30 min}, "
    "daily: {price: 4, measure: mean of daily highest, interval: 15 min}}\ntaxes: {tax: 5 % of top}\n",
    "minimum": "prices: {peak: 0.3, off-peak: 0.1}\nminimum: {charge: 60 per month, of: [energy]}\ntaxes: {tax: 5 %}\n",
    "versions": "prices: 0.1 up to 500 then 0.2\nversions:\n  - {from: 2026-11-26, prices: 0.12 up to 450 then 0.3}\n",
}


def household(tmp_path, terms, house, more=""):
    (tmp_path / "tiers.yaml").write_text(HEAD + terms, encoding="utf-8")
    return read_household(f"{HOUSE}house_use: {house}\n{more}", str(tmp_path / "house.yaml"))


def difference_of_bills(home, plan, first, last):
    """Bill the house with and without the plan, unrounded, by series of quarter hours."""
    text = HEAD + "billing: {rounding: none}\n" + home.terms
    tariff, house = read_tariff(text), home.house_use
    index = pd.date_range(first, last, freq="15min", tz="America/Denver", inclusive="left").tz_convert("UTC")
    kwh = np.full(len(index), house.per_day_kwh / 96)
    past = index < datetime.fromtimestamp(plan.now_s, UTC)
    kwh[past] = house.so_far_kwh / past.sum()
    load = pd.Series(kwh, index)
    car = pd.Series(0.0, index)
    starts = pd.to_datetime(plan.schedule.start_s // 900 * 900, unit="s", utc=True)
    at_home = np.array([stay.place == "home" for stay in plan.itinerary.stays])[plan.schedule.stay]
    for start, energy, here in zip(starts, plan.schedule.wall_kwh, at_home, strict=True):
        car[start] += energy if here else 0.0
    bills = [tariff.bills(use) for use in (load, load + car)]
    return float(bills[1].total - bills[0].total)


class Home:
    """A household, and the terms of its sheet."""

    def __init__(self, made, terms):
        self.made, self.terms, self.house_use = made, terms, made.house_use


@pytest.mark.parametrize("name", SHEETS)
@settings(deadline=None, max_examples=12, suppress_health_check=list(HealthCheck))
@given(
    so_far=st.integers(0, 700),
    per_day=st.integers(0, 60),
    hour=st.integers(0, 23),
    day=st.integers(20, 30),
    soc=st.integers(5, 95),
)
def test_the_cost_is_the_difference_of_two_bills(tmp_path_factory, name, so_far, per_day, hour, day, soc):
    """For every kind of line, whatever the house uses: proven cheapest, and no habit makes the bills rise less."""
    folder = tmp_path_factory.mktemp("bills")
    made = household(folder, SHEETS[name], f"{{so_far: {so_far} kWh, per_day: {per_day} kWh}}")
    plan = plan_tonight(made, soc=f"{soc} %", now=f"2026-11-{day:02d} {hour:02d}:10", plugged_in=True, leave="07:15")
    schedule = plan.schedule
    event(f"whole bill: {schedule.whole_bill}")
    assert schedule.whole_bill
    assert schedule.certificate.optimal, schedule.status
    rise = difference_of_bills(
        Home(made, SHEETS[name]), plan, "2026-11-01", "2027-01-01" if day == 30 else "2026-12-01"
    )
    assert schedule.total_cost == pytest.approx(rise, abs=1e-5)
    assert schedule.on_plug_in.cost >= schedule.total_cost - 1e-5
    if not schedule.by_timer.short_kwh.any():
        assert schedule.by_timer.cost >= schedule.total_cost - 1e-5
    assert sum(window.cost for window in schedule.windows) == pytest.approx(schedule.total_cost, abs=1e-6)


def test_a_demand_charge_is_avoided(tmp_path):
    """A Wednesday from 18:00: at once costs 17 for each kW of the evening beside 0.08 a kWh, and waiting nothing."""
    made = household(tmp_path, SHEETS["demand"], "{so_far: 400 kWh, per_day: 20 kWh}")
    plan = plan_tonight(made, soc="30 %", now="2026-07-15 18:00", plugged_in=True)
    assert [(window.start.day, window.start.hour) for window in plan.schedule.windows] == [(15, 21)]
    assert plan.schedule.total_cost == pytest.approx(0.08 * plan.schedule.total_wall_kwh)
    # The house has had 400 kWh in 354 h, and has 20 / 24 kW now.
    assert plan.schedule.on_plug_in.saving == pytest.approx(17 * (7.68 + 20 / 24 - 400 / 354))
    text = " ".join(night_text(plan).split())
    assert "linear program over the whole bill" in text
    assert "the highest power of the house so far, which `evening` may charge already, is not known" in text


def test_a_highest_power_that_is_paid_already(tmp_path):
    """With 9 kW reached this month the evening costs nothing more, so charging at once is as cheap; yet it waits.

    The house may use more in the evening than is expected of it, so of equals the hours outside are taken.
    """
    made = household(tmp_path, SHEETS["demand"], "{so_far: 400 kWh, per_day: 20 kWh, highest: 9 kW}")
    plan = plan_tonight(made, soc="30 %", now="2026-07-15 18:00", plugged_in=True, prefer="earliest")
    assert plan.schedule.on_plug_in.saving == pytest.approx(0.0, abs=1e-6)
    assert plan.schedule.windows[0].start.hour == 21
    assert plan.cautions == ()


def test_a_minimum_makes_the_first_kwh_free(tmp_path):
    """200 kWh at 0.1 are 20 of a minimum of 60: what the car takes is free until 60 are reached."""
    terms = "prices: 0.1\nminimum: 60 per month\n"
    made = household(tmp_path, terms, "{so_far: 150 kWh, per_day: 10 kWh}")
    plan = plan_tonight(made, soc="30 %", now="2026-11-25 18:00", plugged_in=True)
    assert plan.schedule.total_cost == pytest.approx(0.0, abs=1e-6)


def test_what_cannot_be_planned_as_a_whole_is_said(tmp_path):
    """Falling tiers are planned by the price of one more kWh, as before, and that is said."""
    made = household(tmp_path, "prices: 0.2 up to 500 then 0.1\n", "{so_far: 400 kWh, per_day: 10 kWh}")
    plan = plan_tonight(made, soc="30 %", now="2026-11-25 18:00", plugged_in=True)
    assert not plan.schedule.whole_bill
    assert any("priced as the next one" in caution for caution in plan.cautions)


def test_prices_by_the_hour_keep_the_fast_way(tmp_path):
    """Where no line depends on many hours together, merit order is exact and stays."""
    made = household(tmp_path, "prices: {peak: 0.3, off-peak: 0.1}\n", "{so_far: 400 kWh, per_day: 10 kWh}")
    plan = plan_tonight(made, soc="30 %", now="2026-11-25 18:00", plugged_in=True)
    assert plan.schedule.method.startswith("merit order")


def test_several_days_with_a_free_workplace(tmp_path):
    """What is charged elsewhere is on no bill of the household."""
    circuit = "circuit: {breaker: 20 A, volts: 120 V}"
    stop = f"stops:\n  - {{place: work, days: weekdays, from: 08:05, to: 16:45, {circuit}, price: 0}}\n"
    made = household(tmp_path, SHEETS["tiers"], "{so_far: 480 kWh, per_day: 10 kWh}", stop)
    plan = plan_days(made, 4, soc="50 %", now="2026-11-23 18:00", plugged_in=True)
    rise = difference_of_bills(Home(made, SHEETS["tiers"]), plan, "2026-11-01", "2026-12-01")
    assert plan.schedule.total_cost == pytest.approx(rise, abs=1e-5)
    assert plan_data(plan)["proof"]["optimal"]


def test_charging_in_parts_is_said(tmp_path):
    """In a night all of whose hours are charged for, the plan keeps the mean of each quarter hour low, and says how."""
    terms = "prices: 0.1\ndemand: {top: {price: 5, interval: 15 min}}\n"
    made = household(tmp_path, terms, "{so_far: 400 kWh, per_day: 20 kWh}")
    plan = plan_tonight(made, soc="30 %", now="2026-11-24 18:00", plugged_in=True)
    assert any("charging for a part of each interval" in caution for caution in plan.cautions)
    flat = household(tmp_path, SHEETS["tiers"], "{so_far: 400 kWh, per_day: 20 kWh}")
    assert plan_tonight(flat, soc="30 %", now="2026-11-24 18:00").cautions == ()
