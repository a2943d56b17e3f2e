"""The weakest link: which one, how much, and in which words."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.charging import (
    ChargingLoss,
    Circuit,
    Consumption,
    Evse,
    Vehicle,
    current_limit_a,
    dc_limit,
    weakest_link,
)
from chargeplan.errors import InputError

DISPLAY = Consumption(15.0, "battery")


def car(**onboard):
    return Vehicle(60, consumption=DISPLAY, **onboard)


HOME = Circuit(60, volts=240)


@pytest.mark.parametrize(
    ("circuit", "evse", "onboard", "current_a", "wall_kw", "by", "rest"),
    [
        (Circuit(50, volts=240), Evse(48), {"onboard_a": 48}, 40, 9.6, "circuit", "40 A of a 50 A breaker"),
        (HOME, Evse(32), {"onboard_a": 48}, 32, 7.68, "EVSE", "32 A"),
        (HOME, Evse(48), {"onboard_kw": 7.2}, 30, 7.2, "onboard charger", "7.2 kW (30 A at 240 V)"),
        (HOME, Evse(48), {"onboard_a": 32}, 32, 7.68, "onboard charger", "7.68 kW (32 A at 240 V)"),
        (Circuit(15, volts=120), Evse(12), {}, 12, 1.44, "circuit", "12 A of a 15 A breaker"),
        (Circuit(20, volts=120), Evse(16), {}, 16, 1.92, "circuit", "16 A of a 20 A breaker"),
        (Circuit(100, volts=240), Evse(80), {}, 80, 19.2, "circuit", "80 A of a 100 A breaker"),
        (Circuit(16, volts=230), Evse(16), {}, 12, 2.76, "circuit", "12 A of a 16 A breaker (12.8 A in steps of 1 A)"),
        (HOME, Evse(13.5), {}, 13, 3.12, "EVSE", "13 A (13.5 A in steps of 1 A)"),
    ],
)
def test_each_link_in_words(circuit, evse, onboard, current_a, wall_kw, by, rest):
    """SAE J1772: 1.44 kW (12 A) and 1.92 kW (16 A) at level 1, 19.2 kW (80 A) at level 2; NFPA 70 (2023) 625.42 for the
    circuits; 7.2 kW is 30 A at 240 V, US DOE Alternative Fuels Data Center. The words are this project's own."""
    limit = weakest_link(circuit, evse, car(**onboard))
    assert limit.current_a == pytest.approx(current_a)
    assert limit.wall_kw == pytest.approx(wall_kw)
    assert (limit.by, limit.because) == (by, f"limited by the {by}: {rest}")
    assert limit.battery_kw == pytest.approx(0.925 * wall_kw - 0.2)  # the default losses, cited in losses.py


def test_the_onboard_charger_is_not_floored():
    """6.6 kW at 240 V is 27.5 A: the EVSE announces 32 A and the car draws 27.5, not 27."""
    limit = weakest_link(Circuit(40, volts=240), Evse(32), car(onboard_kw=6.6))
    assert limit.current_a == pytest.approx(27.5)
    assert limit.wall_kw == pytest.approx(6.6)


def test_the_step_decides_which_link_is_named():
    """By hand: the circuit leaves 12.8 A, of which 12 can be announced, and that is below the 12.5 A of the car."""
    limit = weakest_link(Circuit(16, volts=230), Evse(16), car(onboard_a=12.5))
    assert (limit.current_a, limit.by) == (12, "circuit")


def test_three_phases_and_a_car_for_one():
    """230 V x 16 A on each phase, by hand: 11.04 kW on three, 3.68 on one, 7.36 on two; at least 4.14 kW on three."""
    circuit = Circuit(16, phases=3, volts_to_neutral=230, continuous_factor=1.0)
    three = weakest_link(circuit, Evse(16), car(onboard_kw=11.04))
    assert (three.phases, three.level) == (3, "three-phase")
    assert three.wall_kw == pytest.approx(11.04)
    assert three.min_wall_kw == pytest.approx(4.14)
    one = weakest_link(circuit, Evse(16), car(onboard_kw=7.36, onboard_phases=1))
    assert (one.phases, one.level) == (1, "level 2")
    assert one.wall_kw == pytest.approx(3.68)
    two = weakest_link(circuit, Evse(16), car(onboard_kw=7.36, onboard_phases=2))
    assert two.phases == 2
    assert two.wall_kw == pytest.approx(7.36)


def test_losses_of_the_level_in_use():
    """A car for one phase has the losses of one phase, also on a three-phase circuit."""
    own = {"level 2": ChargingLoss(0.8), "three-phase": ChargingLoss(0.9)}
    circuit = Circuit(16, phases=3, volts_to_neutral=230, continuous_factor=1.0)
    assert weakest_link(circuit, Evse(16), car(losses=own)).gain == pytest.approx(0.9)
    assert weakest_link(circuit, Evse(16), car(losses=own, onboard_phases=1)).gain == pytest.approx(0.8)


@pytest.mark.parametrize(
    ("available_a", "current_a", "because"),
    [
        (17.9, 17, "limited by what is left on the circuit: 17 A (17.9 A in steps of 1 A)"),
        (20.0, 20, "limited by what is left on the circuit: 20 A"),
        (5.5, 0, "no charging: what is left on the circuit allows 5.5 A, below the 6 A under which the EVSE stops"),
        (-3.0, 0, "no charging: what is left on the circuit allows 0 A, below the 6 A under which the EVSE stops"),
        (90.0, 40, "limited by the circuit: 40 A of a 50 A breaker"),
    ],
)
def test_what_is_left_on_the_circuit(available_a, current_a, because):
    """By hand; 6 A is the least that SAE J1772 can announce. The words are this project's own."""
    limit = weakest_link(Circuit(50, volts=240), Evse(40), car(), available_a=available_a)
    assert limit.current_a == current_a
    assert limit.because == because
    if current_a == 0:
        assert limit.wall_kw == limit.battery_kw == limit.gain == limit.range_km_per_hour(car()) == 0


def test_shared_circuit_of_the_code():
    """NFPA 70 (2023) 625.42(A), worked example on a training page: three units of 30 A on a 100 A circuit; one or two
    draw 30 A each, and a third is left 20 of the 80 A."""
    circuit, evse = Circuit(100, volts=240), Evse(30)
    drawn_a = 0.0
    for expected_a in (30, 30, 20):
        limit = weakest_link(circuit, evse, car(), available_a=circuit.continuous_a - drawn_a)
        assert limit.current_a == expected_a
        drawn_a += limit.current_a
    assert drawn_a == 80
    assert weakest_link(circuit, evse, car(), available_a=circuit.continuous_a - drawn_a).current_a == 0


def test_an_evse_too_large_is_a_hazard():
    """NFPA 70 (2023) 625.42: 48 A needs a 60 A breaker; on 50 A it must be set down to 40 A, on 60 A it need not."""
    (warning,) = weakest_link(Circuit(50, volts=240), Evse(48), car(onboard_a=48)).warnings
    assert "must be set to 40 A" in warning
    assert "licensed electrician and the local code decide" in warning
    assert weakest_link(Circuit(60, volts=240), Evse(48), car(onboard_a=48)).warnings == ()
    (warning,) = weakest_link(Circuit(50, volts=240), Evse(80, min_a=41), car(onboard_a=48)).warnings
    assert "must not be used on this circuit" in warning


def test_an_evse_too_large_is_a_hazard_also_behind_a_small_car():
    """The next car may be larger, so the warning does not depend on the car."""
    assert "must be set to 40 A" in weakest_link(Circuit(50, volts=240), Evse(48), car(onboard_a=16)).warnings[0]


def test_other_warnings():
    """230 V between phases is a rare supply, 133 V to neutral, and a common slip (common practice, no source)."""
    circuit = Circuit(30, phases=3, volts_between_phases=230)
    slip, unstated = weakest_link(circuit, Evse(16), car()).warnings
    assert "133 V to neutral" in slip
    assert "onboard charger is not stated" in unstated
    assert weakest_link(Circuit(30, phases=3, volts_between_phases=208), Evse(16), car(onboard_a=16)).warnings == ()


def test_below_the_minimum_and_useless_power():
    """By hand: 5 A is below 6 A; 120 V x 8 A x 0.5 = 0.48 kW is less than an overhead of 0.5 kW."""
    limit = weakest_link(Circuit(40, volts=240), Evse(32), car(onboard_a=5))
    assert limit.current_a == 0
    assert limit.because == "no charging: the onboard charger allows 5 A, below the 6 A under which the EVSE stops"
    wasteful = car(onboard_a=8, losses={"level 1": ChargingLoss(0.5, 0.5)})
    limit = weakest_link(Circuit(15, volts=120), Evse(12), wasteful)
    assert limit.current_a == 0
    assert limit.because == "no charging: 0.96 kW, all that the onboard charger allows, is no more than the car loses"


def test_explain_has_one_line_for_each_link():
    lines = weakest_link(Circuit(50, volts=240), Evse(32), car(onboard_a=48), available_a=36).explain().splitlines()
    assert lines == [
        "circuit: 40 A, 9.6 kW (40 A of a 50 A breaker)",
        "what is left on the circuit: 36 A, 8.64 kW (beside everything else that runs)",
        "EVSE: 32 A, 7.68 kW (set to at most 32 A) <- the weakest link",
        "onboard charger: 48 A, 11.52 kW (11.52 kW at 240 V)",
    ]
    assert weakest_link(Circuit(50, volts=240), Evse(32), car()).explain().endswith("not stated, taken as no limit")


def test_direct_current_bypasses_the_onboard_charger():
    """By hand with the default of losses.py: 0.98 x 50 - 0.2 = 48.8 kW, though the onboard charger is of 3.6 kW."""
    limit = dc_limit(50, car(onboard_kw=3.6, dc_max_kw=100))
    assert (limit.by, limit.level, limit.phases, limit.min_wall_kw) == ("DC station", "dc", 0, 0)
    assert limit.battery_kw == pytest.approx(48.8)
    assert math.isnan(limit.current_a)
    limit = dc_limit(150, car(dc_max_kw=100))
    assert (limit.wall_kw, limit.by) == (100, "DC limit of the car")
    assert limit.explain().splitlines() == [
        "DC station: 150 kW (its rating)",
        "DC limit of the car: 100 kW (as stated) <- the weakest link",
    ]
    with pytest.raises(InputError, match="dc_max_kw"):
        dc_limit(50, car())
    with pytest.raises(InputError, match="power_kw"):
        dc_limit(0, car(dc_max_kw=100))
    assert dc_limit(0.1, car(dc_max_kw=100)).wall_kw == 0


@pytest.mark.parametrize("available_a", [math.nan, "20 A"])
def test_missing_measurements_are_refused(available_a):
    with pytest.raises(InputError, match="available_a"):
        weakest_link(Circuit(50, volts=240), Evse(32), car(), available_a=available_a)


breakers = st.sampled_from([10, 15, 16, 20, 30, 32, 40, 50, 60, 100]) | st.floats(6, 120)
circuits = st.builds(
    Circuit, breakers, volts=st.sampled_from([120, 208, 230, 240]), continuous_factor=st.sampled_from([0.8, 1.0])
) | st.builds(Circuit, breakers, phases=st.just(3), volts_to_neutral=st.sampled_from([120, 230]))
equipment = st.builds(Evse, st.integers(6, 80) | st.floats(6, 80), step_a=st.sampled_from([0.1, 1.0]))
cars = st.builds(
    Vehicle,
    st.just(60),
    consumption=st.just(DISPLAY),
    onboard_kw=st.none() | st.floats(1, 22),
    onboard_a=st.none() | st.floats(3, 80),
    onboard_phases=st.sampled_from([None, 1, 2, 3]),
)
left = st.none() | st.floats(-10, 120)


@given(circuits, equipment, cars, left)
def test_never_above_any_link(circuit, evse, vehicle, available_a):
    """The promise of a limit: none of the four is exceeded, and the numbers fit each other."""
    limit = weakest_link(circuit, evse, vehicle, available_a=available_a)
    rounding = 1e-8
    assert 0 <= limit.current_a <= circuit.continuous_factor * circuit.breaker_a + rounding
    assert limit.current_a <= evse.max_a + rounding
    phases = min(circuit.phases, vehicle.onboard_phases or 3)
    assert limit.phases == phases
    volts = circuit.volts or circuit.volts_to_neutral
    assert limit.wall_kw == pytest.approx(phases * volts * limit.current_a / 1000)
    assert limit.wall_kw <= (vehicle.onboard_kw or math.inf) + rounding
    assert limit.current_a <= (vehicle.onboard_a or math.inf) + rounding
    if available_a is not None:
        assert limit.current_a <= max(available_a, 0) + rounding
    assert limit.current_a == 0 or limit.current_a >= limit.min_a == 6
    if limit.current_a > 0:
        assert 0 < limit.gain <= 1
        assert limit.battery_kw == pytest.approx(limit.gain * limit.wall_kw)
        assert limit.because.startswith("limited by")
    else:
        assert limit.because.startswith("no charging")
    assert limit.by in {link.name for link in limit.links}


@given(circuits, equipment, cars, left)
def test_the_named_link_is_the_one_that_binds(circuit, evse, vehicle, available_a):
    """No link lets through less than a step below the named one: the limit is that link's own current, in steps."""
    limit = weakest_link(circuit, evse, vehicle, available_a=available_a)
    named = next(link for link in limit.links if link.name == limit.by)
    if limit.current_a > 0:
        assert named.current_a - evse.step_a < limit.current_a <= named.current_a + 1e-8
    else:
        assert named.current_a < 6 or evse.floor_to_step(named.current_a) == 0


@given(circuits, equipment, cars, st.floats(0, 120), st.floats(0, 40))
def test_a_stronger_link_never_lowers_the_limit(circuit, evse, vehicle, available_a, more):
    """Monotone in each link: what is left, the breaker, the EVSE, the onboard charger."""
    limit_a = weakest_link(circuit, evse, vehicle, available_a=available_a).current_a

    def with_more(**changed):
        parts = {"circuit": circuit, "evse": evse, "vehicle": vehicle, "available_a": available_a} | changed
        return weakest_link(**parts).current_a + 1e-8

    volts = {"volts": circuit.volts} if circuit.phases == 1 else {"volts_to_neutral": circuit.volts_to_neutral}
    factor = circuit.continuous_factor
    larger = Circuit(circuit.breaker_a + more, **volts, phases=circuit.phases, continuous_factor=factor)
    stronger = Evse(min(evse.max_a + more, 80), step_a=evse.step_a)
    onboard = {
        "onboard_kw": vehicle.onboard_kw and vehicle.onboard_kw + more,
        "onboard_a": vehicle.onboard_a and vehicle.onboard_a + more,
        "onboard_phases": vehicle.onboard_phases,
    }
    assert with_more(available_a=available_a + more) >= limit_a
    assert with_more(circuit=larger) >= limit_a
    assert with_more(evse=stronger) >= limit_a
    assert with_more(vehicle=car(**onboard)) >= limit_a


@given(circuits, equipment, cars, st.lists(st.floats(-10, 120), min_size=1, max_size=8))
def test_many_slots_at_once(circuit, evse, vehicle, available_a):
    """An array gives what each of its values gives alone."""
    many = current_limit_a(circuit, evse, vehicle, np.array(available_a))
    assert many.tolist() == [weakest_link(circuit, evse, vehicle, available_a=a).current_a for a in available_a]


def test_a_breaker_of_no_standard_size_is_warned_of():
    """55 A is not among the standard ratings of NFPA 70 table 240.6(A); 50 A is, and 32 A in Europe."""
    car = Vehicle(60, onboard_a=32, consumption=Consumption(15, "battery"))
    warned = "55 A is no standard rating of a breaker; read it off the breaker again"
    assert weakest_link(Circuit(55, volts=240), Evse(32), car).warnings == (warned,)
    assert weakest_link(Circuit(50, volts=240), Evse(32), car).warnings == ()
    assert weakest_link(Circuit(32, volts=230, continuous_factor=1.0), Evse(32), car).warnings == ()
