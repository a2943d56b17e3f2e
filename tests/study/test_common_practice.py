"""What people who charge cars at home say from experience, asked of the studies that come with the package.

Every statement is common practice, without a source. The studies have invented prices of their own; their answers must
agree with the statements nevertheless.
"""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

import chargeplan
from chargeplan.charging import Circuit, Evse, weakest_link

KM_PER_MILE = 1.609344
PUBLISHED = ("demo", "outlet", "work-stop")


@pytest.fixture(scope="module")
def asked():
    """Each study worked out, with its answers and its rows under the best plan."""
    found = {}
    for name in PUBLISHED:
        file = chargeplan.load_study(name)
        rows = chargeplan.run_study(file.study, workers=1).frame()
        answers = chargeplan.answer_study(file.study, rows, file.question)
        best = rows[rows.strategy == "optimal"]
        found[name] = SimpleNamespace(file=file, study=file.study, rows=rows, best=best, answers=answers)
    return found


def named(asked, amperes):
    """The name of the 240 V equipment of the demo study with an EVSE of so many amperes."""
    return next(
        name
        for name, item in asked["demo"].study.equipment.items()
        if item.circuit.volts == 240 and item.evse.max_a == amperes
    )


def answer_for(asked, driving, tariff):
    """The answer about equipment for one way of driving under one rate."""
    return next(one for one in asked.answers.equipment if (one.driving, one.tariff) == (driving, tariff))


def test_an_outlet_is_enough_below_40_miles_a_day(asked):
    """120 V is enough for somebody who drives under 40 miles a day and has about 9 hours."""
    outlet = asked["outlet"]
    usual = outlet.best[(outlet.best.driving == "usual") & (outlet.best.equipment == "as it is")].iloc[0]
    assert usual.distance_km / KM_PER_MILE / 365 < 40
    found = answer_for(outlet, "usual", "night-owl")
    assert found.today == "as it is"
    choices = {choice.name: choice for choice in found.choices}
    assert choices["as it is"].limit.volts == "120 V"
    assert choices["as it is"].share_met >= outlet.file.question.reliability
    assert found.least == "as it is"


def test_forty_miles_take_about_nine_hours_at_120_volts(asked):
    """On every day the same 40 miles: the hours in which the plan draws, over those nights that are whole."""
    unit = chargeplan.one_unit(asked["outlet"].study, driving="40 miles a day", equipment="as it is")
    slots = chargeplan.year_slots(unit)
    nights = slots.assign(on=slots.hours.where(slots.wall_kwh > 1e-9, 0.0)).groupby("stay")
    limit = unit.household.limit
    hours = nights.wall_kwh.sum().iloc[1:-1] / limit.wall_kw
    assert hours.median() == pytest.approx(9, abs=0.7)
    assert hours.max() < 11  # after the short night in March
    assert (nights.soc.last().iloc[1:-1] > unit.household.habits.target - 1e-6).all()


def test_at_60_miles_a_day_the_outlet_is_not_enough(asked):
    """Much farther than that, and 120 V with 12 A is not enough while 240 V is."""
    found = answer_for(asked["outlet"], "60 miles a day", "night-owl")
    share = {choice.name: choice.share_met for choice in found.choices}
    assert share["as it is"] < 0.1
    assert share["dryer outlet"] == 1.0
    assert found.least == "dryer outlet"


def test_one_stop_a_week_is_enough_for_16_miles_a_day(asked):
    """With a daily round trip of 16 miles one 8-hour 240 V stop a week at work is enough, with nothing at home."""
    work = asked["work-stop"]
    rows = work.best[work.best.equipment == "nothing at home"].groupby("household")
    stop, no_stop = (rows.get_group(name) for name in ("one stop", "no stop"))
    assert np.allclose(stop.distance_km / KM_PER_MILE / 365, 16, rtol=0.06)
    assert (stop.home_kwh == 0).all()
    assert (stop.road_kwh == 0).all()
    assert (stop.missed == 0).all()
    assert (stop.lowest_soc >= work.study.households["one stop"].habits.floor - 1e-9).all()
    assert (no_stop.missed > 0.9 * no_stop.departures).all()
    slots = chargeplan.year_slots(chargeplan.one_unit(work.study, household="one stop", equipment="nothing at home"))
    at_work = slots[slots.place == "workplace"]
    assert work.study.households["one stop"].stops[0].limit.volts == "240 V"
    assert (at_work.groupby("stay").hours.sum() == 8).all()
    assert set(at_work.index.day_of_week) == {2}
    found = next(one for one in work.answers.equipment if one.household == "one stop")
    assert found.least == "nothing at home"


def test_what_equipment_costs(asked):
    """An installed receptacle costs about 50 (own work) to 2,000 (long wire run), hard-wired about 500 more."""
    equipment = asked["demo"].study.equipment
    own, long_run, wired = (replace(equipment[named(asked, amperes)], rebates=()).outlay for amperes in (16, 32, 48))
    assert own == pytest.approx(50, abs=10)
    assert long_run == pytest.approx(2000, rel=0.15)
    assert wired - long_run == pytest.approx(500, rel=0.1)
    assert all(item.outlay < replace(item, rebates=()).outlay for item in equipment.values() if item.rebates)


def test_hard_wired_gives_about_14_more_miles_per_hour(asked):
    """48 A instead of 32 A at 240 V, for a car whose onboard charger takes them; the demo's own takes 32 A."""
    demo = asked["demo"].study
    car = demo.households["demo"].vehicle
    able = replace(car, onboard_kw=11.5, onboard_a=None)
    per_mile = float(car.drive_kwh(KM_PER_MILE))

    def more_miles(vehicle):
        speeds = [demo.equipment[named(asked, amperes)].limit_for(vehicle).battery_kw for amperes in (32, 48)]
        return (speeds[1] - speeds[0]) / per_mile

    assert more_miles(able) == pytest.approx(14, abs=1.5)
    assert more_miles(car) < 0.2
    receptacle = weakest_link(Circuit(40, volts=240), Evse(32), able)
    assert receptacle.battery_kw == demo.equipment[named(asked, 32)].limit_for(able).battery_kw


def test_a_small_receptacle_pays_and_a_long_run_does_not_for_few_miles(asked):
    """Nobody who drives little gets 2,000 back: the charging that it makes cheaper costs too little."""
    found = {choice.name: choice for choice in answer_for(asked["demo"], "usual", "flat").choices}
    assert found[named(asked, 16)].payback_years < 3
    assert found[named(asked, 32)].payback_years == float("inf")
    assert found[named(asked, 48)].payback_years == float("inf")


def test_public_fast_charging_costs_nearly_double_of_home(asked):
    """Per kWh from the station against one at the flat rate at home."""
    demo = asked["demo"]
    fast = next(place for place in demo.file.question.elsewhere if place.name == "fast")
    home = demo.best[(demo.best.driving == "usual") & (demo.best.tariff == "flat")]
    per_kwh = (home.home_cost / home.home_kwh).mean()
    assert fast.price_per_kwh / per_kwh == pytest.approx(1.9, abs=0.2)
    # And so per distance, without the free outlet at work: the losses on the way into the battery differ.
    ways = demo.answers.ways
    cost = ways[(ways.driving == "usual") & (ways.tariff == "flat") & (ways.way == "fast")].cost
    without_stop = [stop.worth.without_it for stop in demo.answers.stops if stop.driving == "usual"]
    assert demo.file.question.tariff == "flat"
    assert 1.4 < cost.mean() / without_stop[0] < 2.1
