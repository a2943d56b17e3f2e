"""The reasons for a plan, as the person would read them."""

import json
from dataclasses import replace
from datetime import UTC

import jsonschema
import pytest
from household_cases import EXAMPLES, changed
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from plan_text_cases import NOW, SOC, check_form

from chargeplan.household import load_household, plan_days, plan_tonight, read_household
from chargeplan.household.reasons import explain_plan
from chargeplan.output.data import plan_data
from chargeplan.output.json_schema import SCHEMAS
from chargeplan.output.why_text import why_data, why_text


def words(plan, stays=(0,)):
    why = explain_plan(plan, stays)
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
    conflicts = explain_plan(plan).conflicts
    assert any([wish.kind for wish in wishes] == ["drive"] for wishes in conflicts.values())
    assert "is more than the battery may hold, whatever is charged" in words(plan)


def with_rules(rules, taper=False):
    taper = "  daily_limit: 90 %\n  taper: {0 %: 11 kW, 85 %: 11 kW, 100 %: 3 kW}" if taper else ""
    more = [("  daily_limit: 90 %", taper)] if taper else []
    return read_household(changed(*more, *([("habits:", f"charging: {{{rules}}}\nhabits:")] if rules else [])))


def test_with_a_taper_other_plans_tell_why():
    """With a taper no value of a kWh is claimed; what an evening hour would cost more is planned anew.

    From 20:00 to 21:00 7.68 kWh at 0.3943 take the place of as many at 0.18268.
    """
    text = words(plan_tonight(with_rules("", taper=True), soc="55 %", now="2026-11-25 20:00"))
    assert f"charging 7.7 kWh here instead would cost {7.68 * (0.3943 - 0.18268):.2f} USD more" in text
    assert "A kWh" not in text
    assert "a target 5 points lower would save" in text
    assert "one kWh less at departure would save 0.20 USD" in text


def test_under_rules_other_plans_tell_why():
    """One block from 23:00 on; a block from the evening on would be dearer, and what is forbidden is named."""
    text = words(plan_tonight(with_rules("one_block: yes, never: 02:00-03:00"), soc="60 %", now="2026-11-25 20:00"))
    assert "charging 12.9 kWh here instead would cost 1.50 USD more" in text
    assert "Thu 02:00 - 03:00 cannot charge: forbidden hours (`never`)" in text
    assert "charging 12.9 kWh here instead would cost the same" in text


def test_a_block_that_cannot_reach():
    """Below the floor the one block begins at once; it ends where charging is forbidden, and cannot go on later."""
    text = words(plan_tonight(with_rules("one_block: yes, never: 02:00-03:00"), soc="10 %", now="2026-11-25 20:00"))
    assert "Thu 03:00 - 07:00 waits: the one block cannot reach here (`one_block`)" in text


def test_what_is_done_for_the_floor():
    """Below the floor the one block begins at 20:00 and ends at 22:00; later hours would be cheaper and are not used.

    It ends short of the target, so that the hours from 23:00 on wait is because of the block, not of need.
    """
    home = with_rules("one_block: yes, never: '22:00-23:00'")
    text = words(plan_tonight(home, soc="10 %", now="2026-11-25 20:00", leave="01:00"))
    assert "Wed 20:00 - 21:00 charges at any price, because the battery is below the floor" in text
    assert "to be above the floor sooner; without these hours the plan would cost" in text
    assert "Wed 23:00 - Thu 01:00 waits: the one block cannot reach here (`one_block`)" in text


def test_contradicting_rules_are_named():
    """Ten hours of which one is forbidden would do, but not in one block: four wishes, and the nearest plan."""
    home = with_rules("one_block: yes, never: 01:00-02:00")
    text = words(plan_tonight(home, soc="10 %", now="2026-11-25 22:00", leave="05:00"))
    assert (
        "Conflict 80 % on leaving home, off 01:00-02:00 (`never`), one unbroken block (`one_block`) and 7.0 h" in text
    )
    assert "cannot be had together; giving up one would do. The nearest plan leaves at" in text


def test_another_current_is_another_line():
    """Where the hour from 01:00 on has 24 A only, its line says so, and the others say 32 A."""
    home = with_rules("derating: {current: {'00:00': 32 A, '01:00': 24 A, '02:00': 32 A}, between: steps}")
    text = words(plan_tonight(home, soc="20 %", now="2026-11-25 20:00", leave="02:30"))
    assert "Thu 01:00 - 02:00 charges with 24 A" in text
    assert "Thu 01:00 charges with 32 A" in text


HOMES = st.sampled_from(
    [
        *(load_household(name) for name in EXAMPLES),
        *(with_rules("one_block: yes"), with_rules("min_on: 1 h, never: 01:00-02:00"), with_rules("", taper=True)),
    ]
)


@settings(deadline=None, max_examples=25, suppress_health_check=[HealthCheck.too_slow])
@given(HOMES, NOW, SOC)
def test_the_form(home, now, soc):
    """80 columns, plain characters; every sentence of the text is in the data, which is plain JSON."""
    plan = plan_tonight(home, soc=soc, now=now.replace(tzinfo=UTC))
    why = explain_plan(plan, (0,))
    check_form(why_text(plan, why))
    data = json.loads(json.dumps(why_data(plan, why), allow_nan=False))
    jsonschema.validate(plan_data(plan) | {"why": data}, SCHEMAS["plan"])
    text = " ".join(why_text(plan, why).split())
    for entry in (*data["hours"], *data["changes"], *data["conflicts"]):
        assert entry["text"] in text
    assert all(note in text for note in data["notes"])


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
