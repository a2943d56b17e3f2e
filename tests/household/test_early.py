"""Early departures: the chance that is asked for, against simulated departures; and what the insurance costs."""

import random
from datetime import timedelta

import pytest
from household_cases import changed, mistakes_of
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.household import load_household, plan_days, plan_tonight, read_household
from chargeplan.household.early import Early
from chargeplan.output.data import plan_data
from chargeplan.output.plan_text import night_text

CHANCES = st.dictionaries(st.integers(1, 300).map(float), st.integers(1, 30).map(lambda n: n / 100), max_size=3)


@given(CHANCES, st.integers(0, 100).map(lambda n: n / 100))
def test_the_least_time_that_is_sure_enough(chances, sure):
    """Ready at that time the chance is met; ready at any later of the times it is not."""
    early = Early.of(chances, sure)
    assert early.met(early.ready_min) >= sure - 1e-9
    for minutes in (0.0, *chances):
        if minutes < early.ready_min:
            assert early.met(minutes) < sure


def test_ten_thousand_departures():
    """Departures drawn with these chances find the target met as often as is said, within 1 %."""
    early = Early.of({30.0: 0.08, 60.0: 0.02}, sure=0.95)
    draw = random.Random(7)
    left = draw.choices([0.0, 30.0, 60.0], [0.90, 0.08, 0.02], k=10_000)
    met = sum(minutes <= early.ready_min for minutes in left) / 10_000
    assert met == pytest.approx(early.met(early.ready_min), abs=0.01)
    assert met >= 0.95


@pytest.mark.parametrize(
    ("chances", "sure", "words"),
    [
        ({0.0: 0.1}, 1.0, "0 min early cannot be"),
        ({900.0: 0.1}, 1.0, "900 min early cannot be"),
        ({30.0: 0.0}, 1.0, "a chance of 0 % cannot be"),
        ({30.0: 0.6, 60.0: 0.6}, 1.0, "come to 120 %"),
        ({30.0: 0.1}, 1.5, "150 % sure cannot be"),
    ],
)
def test_what_cannot_be(chances, sure, words):
    """Each with one message."""
    with pytest.raises(InputError, match=words):
        Early.of(chances, sure)


def early_home(lines):
    return read_household(changed(("  floor: 20 %", f"  floor: 20 %\n{lines}")))


def test_a_night_that_may_end_early():
    """From 55 % the night of the demo needs 2 h 7 min and has 8 cheap hours: to be ready early costs nothing there.

    A target of 100 % from 20 % takes 6 h 43 min of the 8 cheap hours from 23:00: ready by 05:15 there are only 6 h
    15 min, so half an hour of dear energy is needed.
    """
    usual = plan_tonight(load_household("demo"), soc="20 %", target="100 %", now="2026-11-25 20:00")
    plan = plan_tonight(early_home("  early: 2 h\n"), soc="20 %", target="100 %", now="2026-11-25 20:00")
    leave = usual.itinerary.stays[0].end
    assert plan.ready_min == 120
    assert plan.itinerary.stays[0].end == leave - timedelta(hours=2)
    assert plan.insurance_cost == pytest.approx(plan.schedule.total_cost - usual.schedule.total_cost)
    assert plan.insurance_cost > 0
    assert all(window.end <= leave - timedelta(hours=2) for window in plan.schedule.windows)
    text = " ".join(night_text(plan).split())
    assert "Ready by Thu 26 Nov 2026 05:15 at 100 %, the target" in text
    assert (
        "Insured ready 120 min before the usual departure, in time for 100 % of departures; that costs "
        f"{plan.insurance_cost:.2f} USD" in text
    )
    assert plan_data(plan)["early"] == {"ready_min": 120.0, "met": 1.0, "cost": plan.insurance_cost}


def test_as_sure_as_asked():
    """95 % are met half an hour early, all of them an hour early."""
    lines = "  early: {30 min: 8 %, 60 min: 2 %}\n"
    for sure, ready in (("95 %", 30), ("100 %", 60), ("90 %", 0)):
        plan = plan_tonight(early_home(f"{lines}  sure: {sure}\n"), soc="55 %", now="2026-11-25 20:00")
        assert plan.ready_min == ready
    assert plan_data(plan)["early"]["cost"] == 0


def test_every_departure_of_some_days_is_insured():
    """Stays at home end early, the others do not."""
    plan = plan_days(early_home("  early: 30 min\n"), 3, soc="55 %", now="2026-11-25 20:00")
    usual = plan_days(load_household("demo"), 3, soc="55 %", now="2026-11-25 20:00")
    for stay, other in zip(plan.itinerary.stays, usual.itinerary.stays, strict=True):
        early = 30 if stay.place == "home" else 0
        assert stay.end == other.end - timedelta(minutes=early)
    assert plan.insurance_cost >= -1e-9


def test_a_stay_too_short_to_be_early():
    """Who comes home within the time in which the car should be ready charges until the departure."""
    plan = plan_tonight(early_home("  early: 2 h\n"), soc="55 %", now="2026-11-26 06:00", plugged_in=True)
    assert plan.itinerary.stays[0].end.hour == 7


def test_mistakes():
    """Each at its place."""
    assert "home.yaml" in mistakes_of(changed(("  floor: 20 %", "  floor: 20 %\n  early: 20 h")))[0]
    (said,) = mistakes_of(changed(("  floor: 20 %", "  floor: 20 %\n  early: {30 min: 80 %, 1 h: 30 %}")))
    assert "the chances of leaving early come to 110 %" in said
    (said,) = mistakes_of(changed(("  floor: 20 %", "  floor: 20 %\n  sure: 95 %")))
    assert "`sure` says nothing without `early`" in said


def test_a_car_that_is_short_is_not_made_shorter():
    """With too little time even until the usual departure, every minute of it is used, and that is said."""
    usual = plan_tonight(load_household("demo"), soc="5 %", now="2026-11-24 18:00", leave="22:00", plugged_in=True)
    plan = plan_tonight(early_home("  early: 2 h\n"), soc="5 %", now="2026-11-24 18:00", leave="22:00", plugged_in=True)
    assert plan.ready_min == 0
    assert plan.itinerary.stays[0].end == usual.itinerary.stays[0].end
    assert plan.schedule.level_kwh[-1] == pytest.approx(usual.schedule.level_kwh[-1])
    text = " ".join(night_text(plan).split())
    assert "there is too little time to be ready 120 min early" in text
    assert "Insured" not in text
