"""Plans against the whole bill: their cost is the difference of two bills, with and without the car."""

from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from test_house_use import HOUSE

from chargeplan.household import plan_days, plan_tonight, read_household
from chargeplan.household.reasons import explain_plan
from chargeplan.output.data import plan_data, plan_rows
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
    "falling": "prices: {peak: 0.3 up to 480 then 0.2, off-peak: 0.1 up to 480 then 0.07}\ntaxes: {tax: 5 %}\n",
    "steps by period": "prices: {peak: 0.30 up to 400 then 0.36 up to 500 then 0.5, "
    "off-peak: 0.10 up to 400 then 0.25 up to 500 then 0.2}\n",
    "losses": "losses: 5 %\ncomponents: {energy: {price: 0.1 up to 450 then 0.2, counts: losses}, base: 0.1}\n",
    "all units": "components: {energy: {price: 0.2 up to 500 then 0.15 up to 600 then 0.3, tiers: all units}}\n"
    "fixed: {meter: {by_use: 1 up to 450 then 5, per: month}}\n",
    "falling demand": "prices: 0.08\ndemand: {top: {price: 9.5 up to 3 then 2, interval: 30 min}}\n",
    "net metering": "prices: {peak: 0.30 up to 500 then 0.36, off-peak: 0.1}\nnet_metering: {true_up: Nov}\n",
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
    """For every kind of line, whatever the house uses: proven cheapest, and no habit makes the bills rise less.

    Where it charges more slowly to be switched on less often, a plan that switches may cost as much less as it says.
    """
    folder = tmp_path_factory.mktemp("bills")
    made = household(folder, SHEETS[name], f"{{so_far: {so_far} kWh, per_day: {per_day} kWh}}")
    plan = plan_tonight(made, soc=f"{soc} %", now=f"2026-11-{day:02d} {hour:02d}:10", plugged_in=True, leave="07:15")
    schedule = plan.schedule
    event(f"whole bill: {schedule.whole_bill}")
    assert schedule.whole_bill
    assert schedule.certificate.optimal or schedule.slowly, schedule.status
    rise = difference_of_bills(
        Home(made, SHEETS[name]), plan, "2026-11-01", "2027-01-01" if day == 30 else "2026-12-01"
    )
    assert schedule.total_cost == pytest.approx(rise, abs=1e-5)
    assert schedule.on_plug_in.cost >= schedule.total_cost - 1e-5
    if not schedule.by_timer.short_kwh.any():
        assert schedule.by_timer.cost >= schedule.total_cost - 1e-5
    assert sum(window.cost for window in schedule.windows) == pytest.approx(schedule.total_cost, abs=1e-6)


@pytest.mark.parametrize(
    ("terms", "house", "price"),
    [
        ("prices: 0.1 up to 500 then 0.2\ntaxes: {tax: 10 %}\n", "{so_far: 480 kWh, per_day: 30 kWh}", 0.22),
        ("prices: 0.1\nminimum: 90 per month\n", "{so_far: 150 kWh, per_day: 5 kWh}", 0.0),
        ("prices: {peak: 0.3, off-peak: 0.1}\ndemand: {top: {price: 2}}\n", "{so_far: 480 kWh, per_day: 30 kWh}", None),
    ],
)
def test_prices_that_are_shown_are_those_of_the_tier_that_is_reached(tmp_path, terms, house, price):
    """Reasons name the price of one more kWh; a slot that waits shows a price of the sheet, and all costs add up."""
    made = household(tmp_path, terms, house)
    plan = plan_tonight(made, soc="40 %", now="2026-11-16 18:00", plugged_in=True)
    header, rows = plan_rows(plan)
    rows = [dict(zip(header, row, strict=True)) for row in rows]
    assert sum(row["cost"] for row in rows) == pytest.approx(plan.schedule.total_cost, abs=1e-4)
    idle = {row["price_per_kwh"] for row in rows if not row["wall_kwh"]}
    assert idle <= ({0.3, 0.1} if price is None else {price})
    assert idle
    why = explain_plan(plan)
    shown = {round(value, 9) for stretch in why.stretches for value in (stretch.low, stretch.high)}
    assert shown <= ({0.3, 0.1} if price is None else {price})
    assert any("at the tier that is reached" in note for note in why.notes) == (price is not None)


def test_what_else_is_on_the_bill_is_minded(tmp_path):
    """Tiers and a minimum that is not reached depend on the car's other nights; prices by the hour do not."""

    def cautions(terms, house="{so_far: 150 kWh, per_day: 5 kWh}"):
        found = plan_tonight(household(tmp_path, terms, house), soc="40 %", now="2026-11-16 18:00", plugged_in=True)
        return [text for text in found.cautions if "`per_day`" in text]

    assert [text.split(" on ")[0] for text in cautions("prices: 0.1\nminimum: 90 per month\n")] == [
        "the minimum depends"
    ]
    assert [text.split(" on ")[0] for text in cautions("prices: 0.1 up to 500 then 0.2\n")] == ["tiers depend"]
    assert cautions("prices: 0.1\nminimum: 9 per month\n") == []
    assert cautions("prices: {peak: 0.3, off-peak: 0.1}\n") == []


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
    (caution,) = plan.cautions
    assert "spread evenly" in caution


def test_a_minimum_makes_the_first_kwh_free(tmp_path):
    """200 kWh at 0.1 are 20 of a minimum of 60: what the car takes is free until 60 are reached."""
    terms = "prices: 0.1\nminimum: 60 per month\n"
    made = household(tmp_path, terms, "{so_far: 150 kWh, per_day: 10 kWh}")
    plan = plan_tonight(made, soc="30 %", now="2026-11-25 18:00", plugged_in=True)
    assert plan.schedule.total_cost == pytest.approx(0.0, abs=1e-6)


def test_what_cannot_be_planned_as_a_whole_is_said(tmp_path):
    """With tiers within cases the plan is found by the price of one more kWh; its cost is that of two bills."""
    terms = "components: {energy: {cases: [{up_to: 450, prices: 0.2 up to 400 then 0.3}, {prices: 0.1}]}}\n"
    made = household(tmp_path, terms, "{so_far: 400 kWh, per_day: 1 kWh}")
    plan = plan_tonight(made, soc="30 %", now="2026-11-25 18:00", plugged_in=True)
    assert plan.schedule.whole_bill
    assert not plan.schedule.certificate.optimal
    assert any("with tiers within the `cases` of `energy`; another plan" in caution for caution in plan.cautions)
    rise = difference_of_bills(Home(made, terms), plan, "2026-11-01", "2026-12-01")
    assert plan.schedule.total_cost == pytest.approx(rise, abs=1e-5)


def test_falling_tiers_are_exact(tmp_path):
    """400 kWh so far and some 55 to come of a limit of 500: what is above it costs 0.1 instead of 0.2, proven."""
    terms = "prices: 0.2 up to 500 then 0.1\n"
    made = household(tmp_path, terms, "{so_far: 420 kWh, per_day: 10 kWh}")
    plan = plan_tonight(made, soc="30 %", now="2026-11-25 18:00", plugged_in=True)
    # 420 + 52.5 kWh of the house leave 27.5 below the limit; the house's own are not moved by more.
    wall = plan.schedule.total_wall_kwh
    assert plan.schedule.total_cost == pytest.approx(0.2 * 27.5 + 0.1 * (wall - 27.5))
    assert plan.schedule.certificate.optimal
    (caution,) = plan.cautions
    assert caution.startswith("tiers depend on all of the bill, of which only this plan, `so_far` and `per_day` are")


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
    """A wall box that only switches keeps the mean of each quarter hour low in parts of it, and the plan says how."""
    terms = "prices: 0.1\ndemand: {top: {price: 5, interval: 15 min}}\n"
    (tmp_path / "tiers.yaml").write_text(HEAD + terms, encoding="utf-8")
    house = HOUSE.replace("{max_current: 32 A}", "{max_current: 32 A, min_current: 32 A}")
    made = read_household(f"{house}house_use: {{so_far: 400 kWh, per_day: 20 kWh}}\n", str(tmp_path / "house.yaml"))
    plan = plan_tonight(made, soc="30 %", now="2026-11-24 18:00", plugged_in=True)
    assert any("charging for a part of each interval" in caution for caution in plan.cautions)
    assert plan.schedule.certificate.optimal
    flat = household(tmp_path, SHEETS["tiers"], "{so_far: 400 kWh, per_day: 20 kWh}")
    (caution,) = plan_tonight(flat, soc="30 %", now="2026-11-24 18:00").cautions
    assert caution.startswith("tiers depend on all of the bill")


def test_less_current_instead_of_switching(tmp_path):
    """All hours of the night are charged for: one block at 11 A, with the losses of 11 A, instead of 26 blocks at 32 A.

    By hand: 29 kWh in 13.25 h are 2.189 kW into the battery, (2.189 + 0.2) / 0.925 = 2.582 kW from the wall, which is
    10.76 A at 240 V. At 11 A, 2.64 kW, 2.242 kW reach the battery: 12.935 h.
    """
    terms = "prices: 0.1\ndemand: {top: {price: 5, interval: 15 min}}\n"
    made = household(tmp_path, terms, "{so_far: 400 kWh, per_day: 20 kWh}")
    plan = plan_tonight(made, soc="30 %", now="2026-11-24 18:00", plugged_in=True)
    (window,) = plan.schedule.windows
    assert window.current_a == pytest.approx(11.0)
    assert (window.end - window.start).total_seconds() == pytest.approx(29 / 2.242 * 3600, abs=1)
    assert window.wall_kwh == pytest.approx(2.64 * 29 / 2.242)
    house_kw = 400 / 570  # since the first of the month; 20 / 24 kW are expected from now on
    rise = 5 * (20 / 24 + 2.64 - max(house_kw, 20 / 24))
    assert plan.schedule.total_cost == pytest.approx(0.1 * window.wall_kwh + rise)
    assert set(plan.schedule.table().current_a.round(6)) == {0.0, 11.0}
    assert plan_data(plan)["windows"][0]["current_a"] == pytest.approx(11.0)
    assert "11 A" in night_text(plan)
    assert any("with less current" in caution for caution in plan.cautions)
    assert not plan.schedule.certificate.optimal
    assert plan.schedule.certificate.feasible


@settings(deadline=None, max_examples=25, suppress_health_check=list(HealthCheck))
@given(
    name=st.sampled_from(["demand", "two demands", "falling demand"]),
    per_day=st.integers(0, 60),
    hour=st.integers(14, 23),
    soc=st.integers(5, 75),
    least=st.sampled_from([6, 6, 10, 32]),
    step=st.sampled_from([1, 0.5, 2]),
)
def test_every_current_can_be_set_and_loses_what_it_loses(tmp_path_factory, name, per_day, hour, soc, least, step):
    """Whatever is charged more slowly: multiples of the step from the least on, with the losses of that current."""
    folder = tmp_path_factory.mktemp("slow")
    (folder / "tiers.yaml").write_text(HEAD + SHEETS[name], encoding="utf-8")
    evse = f"{{max_current: 32 A, min_current: {least} A, step: {step} A}}"
    house = f"{HOUSE}house_use: {{so_far: 300 kWh, per_day: {per_day} kWh}}\n".replace("{max_current: 32 A}", evse)
    made = read_household(house, str(folder / "house.yaml"))
    plan = plan_tonight(made, soc=f"{soc} %", now=f"2026-11-24 {hour}:20", plugged_in=True)
    schedule, loss = plan.schedule, made.vehicle.loss("level 2")
    event(f"slowly: {schedule.slowly}, in parts: {schedule.in_parts}")
    current, hours = schedule.current_a, schedule.run_hours
    on = current > 0
    assert (current[on] >= least - 1e-9).all()
    assert np.abs(current[on] / step - np.round(current[on] / step)).max(initial=0.0) < 1e-6
    assert schedule.wall_kwh == pytest.approx(0.24 * current * hours, abs=1e-6)
    assert schedule.battery_kwh == pytest.approx(np.where(on, loss.battery_kw(0.24 * current), 0.0) * hours, abs=1e-6)
    assert schedule.certificate.bound <= schedule.total_cost + 1e-6
    assert not schedule.departures[0].shortfall_kwh
    rise = difference_of_bills(Home(made, SHEETS[name]), plan, "2026-11-01", "2026-12-01")
    assert schedule.total_cost == pytest.approx(rise, abs=1e-5)


@pytest.mark.parametrize("name", SHEETS)
@pytest.mark.parametrize("more", ["charging: {one_block: yes}\n", "prefer: fewest starts\n"])
def test_rules_against_the_bill(tmp_path, name, more):
    """One block, and the fewest starts: the cost is the difference of two bills, proven where the current stays."""
    made = household(tmp_path, SHEETS[name], "{so_far: 460 kWh, per_day: 10 kWh}", more)
    plan = plan_tonight(made, soc="40 %", now="2026-11-24 18:00", plugged_in=True)
    schedule = plan.schedule
    rise = difference_of_bills(Home(made, SHEETS[name]), plan, "2026-11-01", "2026-12-01")
    assert schedule.total_cost == pytest.approx(rise, abs=1e-5)
    assert schedule.certificate.feasible
    assert schedule.certificate.optimal or schedule.slowly, schedule.status
    assert len(schedule.windows) <= 2  # two currents at most, in one block
    assert schedule.windows[0].end == schedule.windows[-1].start or len(schedule.windows) == 1
    assert not schedule.because


@pytest.mark.parametrize(
    ("more", "keywords", "said"),
    [
        ("charging: {one_block: yes}\n", {"leave": "19:00", "soc": "20 %"}, None),
        ("charging: {min_on: 4 h}\n", {"leave": "23:30", "soc": "79 %"}, "rules about switching"),
        ("", {"solver": "pulp:CBC"}, "the solver pulp:CBC"),
    ],
)
def test_where_it_is_not_looked_for_the_cost_is_still_that_of_two_bills(tmp_path, more, keywords, said):
    """Rules that change what can be reached, or another solver: a plan by the next kWh, billed, and never proven."""
    terms = SHEETS["steps by period"]
    made = household(tmp_path, terms, "{so_far: 460 kWh, per_day: 10 kWh}", more)
    plan = plan_tonight(made, **({"soc": "40 %", "now": "2026-11-24 18:00", "plugged_in": True} | keywords))
    rise = difference_of_bills(Home(made, terms), plan, "2026-11-01", "2026-12-01")
    assert plan.schedule.total_cost == pytest.approx(rise, abs=1e-5)
    assert plan.schedule.whole_bill
    if said:
        assert not plan.schedule.certificate.optimal
        assert any(f"with {said}" in caution for caution in plan.cautions)
