"""Derating by a table: what it says at its points, between, and outside."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.charging import Circuit, Consumption, Derating, Evse, Vehicle, current_limit_a
from chargeplan.charging.derating import MOST_POINTS
from chargeplan.errors import InputError

HOT = Derating(((25.0, 32.0), (40.0, 24.0), (50.0, 10.0)), "ambient temperature")
STEPS = Derating(HOT.points, "ambient temperature", "steps")


@pytest.mark.parametrize(
    ("at_c", "line_a", "steps_a"),
    [(-20, 32, 32), (25, 32, 32), (25.1, 31.9467, 24), (32.5, 28, 24), (40, 24, 24), (45, 17, 10), (50, 10, 10)],
)
def test_between_the_points(at_c, line_a, steps_a):
    """A straight line between two points; in steps the lower of both; the first current below the first point."""
    assert HOT.limit_a(float(at_c)) == pytest.approx(line_a, abs=1e-3)
    assert STEPS.limit_a(float(at_c)) == steps_a


def test_off_above_the_highest_temperature():
    """Nothing is known above 50 °C, so nothing is drawn."""
    assert HOT.limit_a(50.1) == 0
    assert STEPS.limit_a(50.1) == 0


@given(st.floats(30, 60), st.floats(61, 90), st.floats(0, 1))
def test_a_straight_line_errs_towards_less(low_c, rated_c, share):
    """Between two points of sqrt((rated - T) / (rated - 30)), NFPA 70 310.15(B), the line never allows more."""

    def law(at_c):
        return 32 * math.sqrt((rated_c - at_c) / (rated_c - 30))

    table = Derating(((30.0, 32.0), (low_c + 0.5, law(low_c + 0.5))), "ambient temperature")
    at_c = 30 + share * (low_c + 0.5 - 30)
    assert table.limit_a(at_c) <= law(at_c) + 1e-9


def test_by_the_hour_of_day_round_the_clock():
    """In steps a time holds until the next; on a line 18:00 to 06:00 passes midnight."""
    steps = Derating(((360.0, 32.0), (720.0, 20.0), (1080.0, 28.0)), "hour of day", "steps")
    assert steps.limit_a(np.array([0.0, 359, 360, 719, 720, 1080, 1439])).tolist() == [28, 28, 32, 32, 20, 28, 28]
    line = Derating(((360.0, 32.0), (1080.0, 20.0)), "hour of day")
    assert line.limit_a(np.array([0.0, 720, 1260])).tolist() == [26, 26, 23]


def test_the_least_within_each_minute():
    """Rising or falling, no moment of a minute allows less than the minute is given."""
    line = Derating(((360.0, 32.0), (1080.0, 20.0)), "hour of day")
    least = line.by_minute()
    for minute in range(0, 1440, 7):
        fine = line.limit_a((minute + np.linspace(0, 1, 11)) % 1440)
        assert (fine >= least[minute] - 1e-9).all()
        assert least[minute] == pytest.approx(fine.min())
    ambient = 20 + 35 * np.linspace(0, 1, 1441)
    hot = HOT.by_minute(ambient)
    assert hot[0] == 32
    assert hot[-1] == 0
    assert (np.diff(hot) <= 0).all()


def test_whole_steps_and_fixed_current_carry_through():
    """28.9 A becomes 28 A in steps of 1 A; an EVSE of fixed current, 32 to 32 A, is off below 32 A."""
    car = Vehicle(60, consumption=Consumption(16, "battery"))
    circuit = Circuit(50, volts=240)
    derated = np.array([40.0, 32.0, 28.9, 5.9])
    assert current_limit_a(circuit, Evse(32), car, derated).tolist() == [32, 32, 28, 0]
    assert current_limit_a(circuit, Evse(32, min_a=32), car, derated).tolist() == [32, 32, 0, 0]


@pytest.mark.parametrize(
    ("points", "by", "message"),
    [
        ((), "hour of day", "has 0 points; write 1 to 48"),
        (tuple((float(n), 6.0) for n in range(MOST_POINTS + 1)), "hour of day", "has 49 points"),
        (((30.0, 20.0), (40.0, 24.0)), "ambient temperature", "allows more current when it is hotter"),
        (((30.0, 20.0), (30.0, 10.0)), "ambient temperature", "a point twice or out of order"),
        (((30.0, -1.0),), "ambient temperature", "missing or negative; write 0 A or more"),
        (((200.0, 20.0),), "ambient temperature", "200 °C is no temperature of the air; write -60 to 90 °C"),
        (((1440.0, 20.0),), "hour of day", "from 00:00 to 23:59"),
    ],
)
def test_bad_tables_are_refused(points, by, message):
    """Each mistake says what would be right."""
    with pytest.raises(InputError, match=message):
        Derating(points, by)


def test_a_missing_temperature_is_refused():
    """NaN is no temperature, and a table by temperature needs one."""
    with pytest.raises(InputError, match="missing value"):
        HOT.limit_a(math.nan)
    with pytest.raises(InputError, match="needs the temperature"):
        HOT.by_minute()
