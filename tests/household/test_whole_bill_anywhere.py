"""Plans with any rate sheet, and with all that a household may say: what they cost is the difference of two bills."""

import json
import os

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from test_house_use import HOUSE
from test_whole_bill_plans import HEAD, SHEETS

from chargeplan.household import plan_days, plan_tonight, read_household
from chargeplan.output.data import plan_data
from chargeplan.tariff import read_tariff
from chargeplan.testing import sheets
from chargeplan.testing.strategies import FEATURES

#: Examples per test; more for a long run by hand.
EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "25"))
SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}

#: All that two bills can differ by without rounding, with days that begin at midnight.
ANY = tuple(name for name in FEATURES if name not in {"line rounding", "export", "clock"})
CHARGING = (
    *("", "", "{one_block: yes}", "{min_on: 30 min}", "{never: 16:00-21:00 on weekdays}"),
    *("{load_control: {hours: 22:00-24:00, current: 10 A}}", "{one_block: yes, never: 01:00-02:00}"),
    "{derating: {current: {06:00: 32 A, 12:00: 24 A}}}",
)
HABITS = ("", "", ", floor: 30 %", ", early: 30 min", ", preconditioning: {energy: 1.2 kWh, takes: 20 min}")
TAPER = ", taper: {0 %: 11 kW, 60 %: 7 kW, 100 %: 1 kW}"


def billing_span(sheet, now, end):
    """First day of the billing month of a day, and the first day after that of another."""
    day = (sheet.get("billing") or {}).get("reading_day", 1)
    first = now.replace(day=day) - pd.DateOffset(months=0 if now.day >= day else 1)
    last = end.replace(day=day) + pd.DateOffset(months=1 if end.day >= day else 0)
    return first.normalize(), last.normalize()


def two_bills(tariff, sheet, made, plan):
    """Give what makes the difference of two rows of bills of some energy in the slots of a plan, by pandas alone."""
    schedule, house = plan.schedule, made.house_use
    zone, step_s = sheet["timezone"], schedule.problem.step_s
    times = [plan.now_s, int(schedule.problem.start_s[-1])]
    now, end = (pd.Timestamp(time, unit="s", tz="UTC").tz_convert(zone).tz_localize(None) for time in times)
    first, last = billing_span(sheet, now, end)
    index = pd.date_range(first, last, freq=f"{step_s}s", tz=zone, inclusive="left").tz_convert("UTC")
    kwh = np.full(len(index), house.per_day_kwh * step_s / 86400)
    past = index < pd.Timestamp(plan.now_s, unit="s", tz="UTC")
    kwh[past] = house.so_far_kwh / max(1, past.sum())
    load = pd.Series(kwh, index)
    starts = pd.to_datetime(schedule.start_s // step_s * step_s, unit="s", utc=True)

    def risen(wall_kwh):
        drawn = pd.Series(wall_kwh + schedule.preconditioning_kwh, starts)
        car = drawn.groupby(level=0).sum().reindex(index, fill_value=0.0)
        return float(tariff.bills(load + car).total - tariff.bills(load).total)

    return risen


def check(tariff, sheet, made, plan, *, compare):
    """Hold the plan, its slots and windows, and what it is compared with, against two bills."""
    schedule, risen = plan.schedule, two_bills(tariff, sheet, made, plan)
    assert schedule.certificate.feasible, schedule.status
    assert schedule.total_cost == pytest.approx(risen(schedule.wall_kwh), abs=1e-5)
    assert schedule.cost.sum() == pytest.approx(schedule.total_cost, abs=1e-5)
    assert sum(window.wall_kwh for window in schedule.windows) == pytest.approx(schedule.wall_kwh.sum(), abs=1e-5)
    assert schedule.certificate.bound <= schedule.total_cost + 1e-4
    for habit in (schedule.on_plug_in, schedule.by_timer):
        assert habit.cost == pytest.approx(risen(habit.wall_kwh), abs=1e-5)
        if compare and schedule.certificate.optimal and not habit.short_kwh.any():
            assert habit.cost >= schedule.total_cost - 1e-5


@settings(max_examples=EXAMPLES, **SLOW)
@given(sheet=sheets(features=ANY), data=st.data())
def test_with_any_sheet_the_cost_is_the_difference_of_two_bills(tmp_path_factory, sheet, data):
    """Whatever a sheet says, rules or not, and whichever way the plan is found; the habits are billed alike."""
    folder = tmp_path_factory.mktemp("any")
    sheet = sheet | {"billing": sheet.get("billing", {}) | {"rounding": "none"}}
    (folder / "tiers.yaml").write_text(json.dumps(sheet), encoding="utf-8")
    so_far, per_day = data.draw(st.integers(0, 500)), data.draw(st.integers(1, 30))
    more = data.draw(st.sampled_from(["", "", "charging: {one_block: yes}\n", "prefer: fewest starts\n"]))
    text = HOUSE.replace("America/Denver", sheet["timezone"])
    use = f"house_use: {{so_far: {so_far} kWh, per_day: {per_day} kWh}}\n"
    made = read_household(f"{text}{use}{more}", str(folder / "house.yaml"))
    month, day, hour = data.draw(st.integers(1, 12)), data.draw(st.integers(1, 28)), data.draw(st.integers(15, 23))
    now = f"2026-{month:02d}-{day:02d} {hour:02d}:10"
    plan = plan_tonight(made, soc=f"{data.draw(st.integers(5, 79))} %", now=now, plugged_in=True)
    schedule = plan.schedule
    event(f"whole bill: {schedule.whole_bill}, because: {schedule.because}, proven: {schedule.certificate.optimal}")
    if schedule.whole_bill or not {"demand", "net_metering"} & set(sheet):
        check(read_tariff(json.dumps(sheet)), sheet, made, plan, compare=not more.startswith("charging"))


@settings(max_examples=EXAMPLES, **SLOW)
@given(data=st.data())
def test_with_all_a_household_may_say(tmp_path_factory, data):
    """Rules, floor, early departures, preconditioning, a taper, several days: limits kept, and billed as it is."""
    folder = tmp_path_factory.mktemp("all")
    name, charging = data.draw(st.sampled_from(sorted(SHEETS))), data.draw(st.sampled_from(CHARGING))
    habits = data.draw(st.sampled_from(HABITS))
    ruled = "one_block" in charging or "min_on" in charging
    taper = "" if ruled else data.draw(st.sampled_from(["", "", TAPER]))
    prefer = data.draw(st.sampled_from(["as needed", "earliest", "latest", "fewest starts"]))
    so_far, per_day = data.draw(st.integers(0, 600)), data.draw(st.integers(0, 40))
    text = HOUSE.replace("target: 80 %}", f"target: 80 %{habits}}}").replace("at: wall}", f"at: wall{taper}}}")
    text += f"house_use: {{so_far: {so_far} kWh, per_day: {per_day} kWh}}\nprefer: {prefer}\n"
    text += f"charging: {charging}\n" if charging else ""
    (folder / "tiers.yaml").write_text(HEAD + SHEETS[name], encoding="utf-8")
    made = read_household(text, str(folder / "house.yaml"))
    day, hour = data.draw(st.integers(1, 30)), data.draw(st.integers(14, 23))
    given = {"now": f"2026-11-{day:02d} {hour}:07", "soc": f"{data.draw(st.integers(2, 85))} %", "plugged_in": True}
    days = data.draw(st.sampled_from([0, 0, 0, 3]))
    plan = plan_days(made, days, **given) if days else plan_tonight(made, **given)
    schedule = plan.schedule
    event(f"proven: {schedule.certificate.optimal}, slowly: {schedule.slowly}, ruled: {ruled}")
    assert schedule.whole_bill
    assert schedule.certificate.optimal or schedule.slowly or ruled, schedule.status
    sheet = {"timezone": "America/Denver"}
    whole = read_tariff(HEAD + "billing: {rounding: none}\n" + SHEETS[name])
    assert plan_data(plan)["cost"] == schedule.total_cost
    check(whole, sheet, made, plan, compare=not habits and not charging)
