"""More amperes that would reach a target: a household with just that current reaches it, with one less it does not."""

import re
from dataclasses import replace

import pytest
from household_cases import changed
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st

from chargeplan.household import plan_tonight, read_household
from chargeplan.household.reasons import explain_plan
from chargeplan.output.data import plan_data
from chargeplan.plan.remedies import needed_a

NOW = "2026-11-25 20:00"
RULES = (
    "",
    "charging: {one_block: yes}",
    "charging: {load_control: {hours: '20:30-21:00', current: 40 A}}",
    "charging: {derating: {current: {25 °C: 60 A, 40 °C: 20 A}, ambient: 30 °C}}",
)


def home_with(amperes, losses, charging=""):
    """The demo with a circuit, an EVSE and a car for so many amperes, and losses of its own."""
    text = changed(("  daily_limit: 90 %", f"  losses:\n    level 2: {losses}\n  daily_limit: 90 %"))
    text = re.sub(r"max_current: \d+ A", f"max_current: {amperes} A", text)
    text = re.sub(r"breaker: \d+ A", f"breaker: {amperes * 5 / 4} A", text, count=1)
    text = re.sub(r"onboard_charger: .*", "onboard_charger: 200 A", text)
    return read_household(text.replace("habits:", f"{charging}\nhabits:"))


@settings(deadline=None, max_examples=60)
@given(
    st.integers(6, 30),
    st.integers(5, 65),
    st.integers(20, 150),
    st.sampled_from([300, 1500, 0]),
    st.sampled_from(RULES),
)
def test_the_current_is_the_least(amperes, soc, minutes, overhead_w, charging):
    """What is lost at the higher current is reckoned with, against plans of such households from their files."""
    losses = f"{{efficiency: 90 %, overhead: {overhead_w} W}}"
    home = home_with(amperes, losses, charging)
    assume(home.limit.wall_kw > 0)
    wanted = {
        "soc": f"{soc} %",
        "now": NOW,
        "leave": f"2026-11-25 {20 + (minutes // 60)}:{minutes % 60:02d}",
    }
    (fix,) = plan_tonight(home, **wanted).schedule.fixes or (None,)
    assume(fix is not None and fix.more_a is not None)
    total = amperes + fix.more_a
    assume(total <= 80)
    event(charging or "no rules")
    assert not plan_tonight(home_with(total, losses, charging), **wanted).schedule.fixes
    assert total == amperes + 1 or plan_tonight(home_with(total - 1, losses, charging), **wanted).schedule.fixes


def test_by_hand():
    """6 A at 240 V are 1.44 kW, of which 0.9 x 1.44 - 0.3 = 0.996 reach the battery; 3 kWh are wanted in an hour.

    0.9 P - 0.3 = 3 at P = 3.667 kW, which is 15.3 A: so 16 A, 10 A more. At the gain of 6 A it would be 19 A.
    """
    home = home_with(6, "{efficiency: 90 %, overhead: 300 W}")
    share = 0.8 - 3 / home.vehicle.usable_kwh
    (fix,) = plan_tonight(home, soc=share, now=NOW, leave="21:00").schedule.fixes
    assert fix.more_a == 10
    (said,) = plan_data(plan_tonight(home, soc=share, now=NOW, leave="21:00"))["fixes"]
    assert (said["more_a"], said["needed_a"]) == (10, 16.0)


def test_a_broken_current_becomes_whole():
    """An onboard charger of 7.7 kW takes 32.08 A at 240 V; one ampere more is 33 A, which can be set."""
    home = home_with(48, "{efficiency: 90 %}")
    night = plan_tonight(home, soc="10 %", now=NOW, leave="21:00")
    stay = replace(night.itinerary.stays[0], current_a=7700 / 240)
    assert needed_a(stay, 1) == 33.0
    assert stay.at_current(33.0).wall_kw == pytest.approx(33 * 0.24)


@settings(deadline=None, max_examples=30)
@given(st.integers(8, 40), st.integers(5, 70), st.sampled_from([300, 1500]), st.sampled_from(RULES[:2]))
def test_what_one_ampere_is_worth(amperes, soc, overhead_w, charging):
    """The change that is told is the difference to the plan of a household whose file has one ampere more."""
    losses = f"{{efficiency: 90 %, overhead: {overhead_w} W}}"
    homes = [home_with(current, losses, charging) for current in (amperes, amperes + 1)]
    assume(all(home.limit.wall_kw > 0 for home in homes))
    now, more = (plan_tonight(home, soc=f"{soc} %", now=NOW).schedule for home in homes)
    found = {change.key: change for change in explain_plan(plan_tonight(homes[0], soc=f"{soc} %", now=NOW)).changes[0]}
    short = [sum(departure.shortfall_kwh for departure in schedule.departures) for schedule in (now, more)]
    assert found["one_ampere_more"].cost == pytest.approx(more.total_cost - now.total_cost, abs=1e-6)
    assert found["one_ampere_more"].shortfall_kwh == pytest.approx(short[1] - short[0], abs=1e-6)
