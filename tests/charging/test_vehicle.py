"""The car: consumption from label or display, onboard charger on one phase and on three, losses by level."""

import math
import pickle

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.charging import DEFAULT_LOSSES, LEVELS, ChargingLoss, Consumption, Taper, Vehicle
from chargeplan.errors import InputError
from chargeplan.units import KM_PER_MILE, quantity

DISPLAY = Consumption(15.0, "battery")


def wall_kwh_per_100mi(vehicle, level, wall_kw):
    """Energy from the wall for 100 miles, when charged at that level and power."""
    return vehicle.drive_kwh(100 * KM_PER_MILE) / vehicle.loss(level).gain(wall_kw)


@given(st.floats(0.6, 1), st.floats(0, 0.4))
def test_a_label_figure_is_not_divided_again(efficiency, overhead_kw):
    """40 CFR 600.311-12: 33.7 kWh per 100 miles is 100 MPGe, in energy from the wall. Charged as for the label, a car
    with that label takes 33.7 kWh from the wall for 100 miles whatever its losses are."""
    loss = ChargingLoss(efficiency, overhead_kw)
    car = Vehicle(
        60, consumption=Consumption(quantity("33.7 kWh/100mi", "consumption"), "wall"), losses={"level 2": loss}
    )
    assert wall_kwh_per_100mi(car, "level 2", 7.2) == pytest.approx(33.7)
    # A display figure of the same size costs more at the wall: it is divided by the gain, once.
    car = Vehicle(60, consumption=Consumption(car.consumption.kwh_per_100km, "battery"), losses={"level 2": loss})
    assert wall_kwh_per_100mi(car, "level 2", 7.2) == pytest.approx(33.7 / (efficiency - overhead_kw / 7.2))


def test_the_reference_of_a_label_can_be_stated():
    """By hand: at 11 kW the gain is 0.9 - 0.22 / 11 = 0.88, and 0.88 x 20 = 17.6."""
    label = Consumption(20, "wall", label_level="three-phase", label_kw=11)
    car = Vehicle(60, consumption=label, losses={"three-phase": ChargingLoss(0.9, 0.22)})
    assert car.drive_kwh(100) == pytest.approx(17.6)


def test_average_day():
    """US FHWA: 36.9 miles a day per driver; at 30 kWh/100 mi from the wall 11.07 kWh, 7.69 h at 1.44 kW and 1.44 h at
    7.68 kW if the power did not change the losses (by hand). Without an overhead it does not."""
    label = Consumption(quantity("30 kWh/100mi", "consumption"), "wall")
    loss = ChargingLoss(0.9)
    car = Vehicle(60, consumption=label, losses=dict.fromkeys(LEVELS, loss))
    wall_kwh = car.drive_kwh(36.9 * KM_PER_MILE) / loss.gain(7.68)
    assert wall_kwh == pytest.approx(11.07)
    assert wall_kwh / 1.44 == pytest.approx(7.69, abs=0.005)
    assert wall_kwh / 7.68 == pytest.approx(1.44, abs=0.005)


@given(st.floats(1, 100), st.floats(0, 2000))
def test_range_inverts_drive(kwh_per_100km, distance_km):
    car = Vehicle(60, consumption=Consumption(kwh_per_100km, "battery"))
    assert car.drive_kwh(distance_km) == pytest.approx(kwh_per_100km * distance_km / 100)
    assert car.range_km(car.drive_kwh(distance_km)) == pytest.approx(distance_km)
    np.testing.assert_allclose(car.range_km(car.drive_kwh(np.array([[distance_km]]))), [[distance_km]], atol=1e-12)


@pytest.mark.parametrize(
    ("onboard", "volts", "phases", "used", "limit_a"),
    [
        ({"onboard_kw": 7.2}, 240, 1, 1, 30),
        ({"onboard_kw": 7.2}, 120, 1, 1, 60),
        ({"onboard_a": 32}, 208, 1, 1, 32),
        ({"onboard_kw": 7.2, "onboard_a": 32}, 208, 1, 1, 32),
        ({"onboard_kw": 7.2, "onboard_a": 32}, 240, 1, 1, 30),
        ({"onboard_kw": 11.04}, 230, 3, 3, 16),
        ({"onboard_kw": 7.36, "onboard_phases": 1}, 230, 3, 1, 32),
        ({"onboard_kw": 7.36, "onboard_phases": 2}, 230, 3, 2, 16),
        ({"onboard_kw": 11.04, "onboard_phases": 3}, 230, 1, 1, 16),
        ({"onboard_kw": 11.04, "onboard_phases": 3, "onboard_a": 32}, 230, 1, 1, 32),
        ({"onboard_kw": 11.04, "onboard_phases": 3, "onboard_a": 32}, 230, 3, 3, 16),
        ({}, 240, 1, 1, math.inf),
    ],
)
def test_onboard_charger(onboard, volts, phases, used, limit_a):
    """By hand, kW = phases x V x A; 30 A at 240 V for 7.2 kW is also the example of the US DOE Alternative Fuels Data
    Center. An 11 kW charger for three phases gives a third of that on one, unless its current is stated."""
    car = Vehicle(60, consumption=DISPLAY, **onboard)
    assert car.phases_used(phases) == used
    assert car.onboard_limit_a(volts, phases) == pytest.approx(limit_a)


def test_losses_by_level():
    own = ChargingLoss(0.88, 0.25)
    car = Vehicle(60, consumption=DISPLAY, losses={"level 1": own})
    assert car.loss("level 1") == own
    for level in ("level 2", "three-phase", "dc"):
        assert car.loss(level) == DEFAULT_LOSSES[level]
    with pytest.raises(InputError, match="'level 3' is no level"):
        car.loss("level 3")


def test_a_car_does_not_change_afterwards():
    """What was given may change later without changing the car; a car can be hashed, compared and pickled."""
    losses = {"level 1": ChargingLoss(0.88, 0.25)}
    car = Vehicle(60, consumption=DISPLAY, losses=losses, taper=Taper([(0, 50), (1, 10)]))
    losses["level 1"] = ChargingLoss(0.5)
    assert car.loss("level 1").efficiency == 0.88
    copy = pickle.loads(pickle.dumps(car))
    assert copy == car
    assert hash(copy) == hash(car)


@pytest.mark.parametrize(
    "wrong",
    [
        {"usable_kwh": 0},
        {"usable_kwh": "60 kWh"},
        {"consumption": 15},
        {"onboard_kw": 0},
        {"onboard_a": -1},
        {"onboard_phases": 4},
        {"onboard_phases": True},
        {"dc_max_kw": math.nan},
        {"daily_limit": 80},
        {"daily_limit": 0},
        {"taper": [(0, 50), (1, 10)]},
        {"losses": [0.9]},
        {"losses": {"level 3": ChargingLoss(0.9)}},
        {"losses": {"level 2": 0.9}},
    ],
)
def test_impossible_cars(wrong):
    with pytest.raises(InputError, match="write"):
        Vehicle(**({"usable_kwh": 60, "consumption": DISPLAY} | wrong))


@pytest.mark.parametrize(
    "wrong", [(0, "wall"), (16, "plug"), (16, "wall", "level 3"), (16, "wall", "level 2", 0), ("16", "wall")]
)
def test_impossible_consumptions(wrong):
    with pytest.raises(InputError, match="write"):
        Consumption(*wrong)


def test_a_label_at_no_power_is_refused():
    """By hand: 0.9 x 0.2 kW is less than an overhead of 0.3 kW."""
    car = Vehicle(60, consumption=Consumption(16, "wall", label_kw=0.2), losses={"level 2": ChargingLoss(0.9, 0.3)})
    with pytest.raises(InputError, match="label_kw"):
        car.drive_kwh(10.0)
