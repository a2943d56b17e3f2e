"""The reasons for a plan, as the person would read them."""

import json
from dataclasses import replace
from datetime import UTC

import jsonschema
import pytest
from household_cases import EXAMPLES, changed
from hypothesis import HealthCheck, given, settings
from plan_text_cases import NOW, SOC, check_form

from chargeplan.household import load_household, plan_days, plan_tonight, read_household
from chargeplan.output.data import plan_data
from chargeplan.output.json_schema import SCHEMAS
from chargeplan.output.why_text import why_data, why_text
from chargeplan.plan.why import explain


def words(plan, stays=(0,)):
    why = explain(plan.schedule, stays, usable_kwh=plan.household.vehicle.usable_kwh)
    return " ".join(why_text(plan, why).split())


def test_a_night_by_hand():
    """Evening dear, night cheap and more of it than needed. 5 % of 58 kWh are 2.9 in the battery.

    A battery kWh at 32 A takes 1 / (0.925 - 0.2 / 7.68) = 1.1124 kWh from the wall, at 0.18268 each.
    """
    plan = plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00")
    text = words(plan)
    assert "Wed 20:00 - 23:00 waits: 0.2991 to 0.3943 is more than 0.1827, what a kWh is worth" in text
    assert "Wed 23:00 - Thu 01:15 charges, at 0.1827, because no cheaper hours are left" in text
    assert "Thu 01:15 - 07:00 waits: 0.1827 is as cheap as the hours used, but no more is needed" in text
    assert "one less in the battery saves 0.2032, one more costs 0.2032" in text
    assert f"a target 5 points lower would save {2.9 * 0.2032:.2f} USD" in text


def test_what_contradicts_what():
    """80 % cannot be reached in an hour: the target and the hour contradict, and the nearest plan is named."""
    plan = plan_tonight(load_household("demo"), soc="20 %", now="2026-11-25 20:00", leave="21:00")
    text = words(plan)
    assert (
        "80 % on leaving home and 1.0 h at home (Wed 20:00 - 21:00) with 32 A cannot be had together; giving up one "
        "would do. The nearest plan leaves at 31.9 %" in text
    )
    assert "one ampere more would leave 0.2 kWh less missing" in text
    assert "charges, because every hour is needed" in text


def test_a_drive_that_no_battery_holds():
    """A drive of 300 mi each way takes more than the battery holds: that alone is the contradiction."""
    home = read_household(changed(("weekdays: 29 mi", "weekdays: 600 mi")))
    plan = plan_days(home, 2, soc="55 %", now="2026-11-25 20:00")
    conflicts = explain(plan.schedule).conflicts
    assert any([wish.kind for wish in wishes] == ["drive"] for wishes in conflicts.values())
    assert "is more than the battery may hold, whatever is charged" in words(plan)


def test_a_taper_is_not_explained_hour_by_hour():
    """With a taper no value of a kWh is claimed; what changes would do is planned anew all the same."""
    home = read_household(changed(("  daily_limit: 90 %", "  daily_limit: 90 %\n  taper: {0 %: 11 kW, 100 %: 3 kW}")))
    text = words(plan_tonight(home, soc="55 %", now="2026-11-25 20:00"))
    assert "with a taper hours depend on one another" in text
    assert "A kWh" not in text
    assert "a target 5 points lower would save" in text


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(NOW, SOC)
def test_the_form(now, soc):
    """80 columns, plain characters; every sentence of the text is in the data, which is plain JSON."""
    for name in EXAMPLES:
        plan = plan_tonight(load_household(name), soc=soc, now=now.replace(tzinfo=UTC))
        why = explain(plan.schedule)
        check_form(why_text(plan, why))
        data = json.loads(json.dumps(why_data(plan, why), allow_nan=False))
        jsonschema.validate(plan_data(plan) | {"why": data}, SCHEMAS["plan"])
        text = " ".join(why_text(plan, why).split())
        for entry in (*data["hours"], *data["changes"], *data["conflicts"]):
            assert entry["text"] in text


def test_all_stays_of_some_days():
    """Over several days each stay is named, and what would change nothing is left out."""
    plan = plan_days(load_household("demo"), 3, soc="55 %", now="2026-11-25 20:00")
    text = words(plan, tuple(range(len(plan.itinerary.stays))))
    assert "workplace until Thu 16:45: one less in the battery saves 0.0000" in text
    assert "change nothing" not in text


@pytest.mark.parametrize("soc", ["10 %", "79 %"])
def test_below_the_floor_and_at_the_target(soc):
    """Below the floor it charges at any price; near the target little is needed."""
    plan = plan_tonight(load_household("demo"), soc=soc, now="2026-11-25 20:00")
    text = words(replace(plan))
    assert ("charges at any price, because the battery is below the floor" in text) == (soc == "10 %")
