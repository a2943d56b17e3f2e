"""What an outlet at work is worth, against arithmetic by hand."""

from dataclasses import replace
from datetime import date

import pytest

import chargeplan
from chargeplan.charging import Circuit, Evse, weakest_link
from chargeplan.errors import InputError
from chargeplan.household.household import Stop
from chargeplan.study.driving import Driving
from chargeplan.study.stop_worth import stop_worth
from chargeplan.study.study import Study, units
from chargeplan.tariff.windows import DaySet

DEMO = chargeplan.load_household("demo")
RATE = chargeplan.read_tariff("name: plain\ncurrency: USD\ntimezone: America/Denver\nprices: 0.20\n")


def unit(household, **changed):
    given = {"households": {"home": household}, "tariffs": {"plain": RATE}, "first": date(2026, 1, 1), "days": 364}
    return next(units(Study("stops", **{**given, **changed})))


def test_free_energy_is_worth_what_it_would_have_cost_at_home():
    """At one price around the clock: the battery energy gained at work, drawn at home instead, at 0.20."""
    found = stop_worth(unit(DEMO), "workplace")[0]
    gained = found.kwh * DEMO.stops[0].limit.gain
    assert found.worth == pytest.approx(0.20 * gained / DEMO.limit.gain, abs=0.15)  # twelve bills in whole cents
    assert found.missed == found.missed_without == 0


def test_a_dear_stop_is_worth_nothing():
    dear = replace(DEMO, stops=(replace(DEMO.stops[0], price=0.9),))
    found = stop_worth(unit(dear), "workplace")[0]
    assert (found.kwh, found.worth) == (0, 0)


def test_one_240_volt_stop_a_week_is_enough_for_16_miles_a_day():
    """Common practice, no source: with a daily round trip of 16 miles one 8-hour 240 V stop a week at work is enough.

    Nothing is charged at home: its limit is an outlet below the least current.
    """
    vehicle = DEMO.vehicle
    nothing = weakest_link(Circuit(15, volts=120), Evse(12), vehicle, available_a=0.0)
    assert nothing.wall_kw == 0
    circuit = weakest_link(Circuit(40, volts=240), Evse(32), vehicle)
    stop = Stop("workplace", DaySet.parse("Wed"), 8 * 60 + 30, 16 * 60 + 30, circuit, 0.0)
    habits = replace(DEMO.habits, floor=0.1)
    home = replace(DEMO, limit=nothing, stops=(stop,), habits=habits)
    driving = {"usual": Driving(weekday_km=16 * 1.609344, weekend_km=16 * 1.609344)}
    found = stop_worth(unit(home, driving=driving, aim="enough"), "workplace")[0]
    assert found.missed == 0
    assert found.missed_without > 250
    assert found.kwh * circuit.gain == pytest.approx(float(vehicle.drive_kwh(16 * 1.609344)) * 312, rel=0.02)


def test_a_place_that_is_not_there():
    with pytest.raises(InputError, match="no stop `gym`; its stops are: `workplace`"):
        stop_worth(unit(DEMO), "gym")
