"""Published facts, cases worked by hand, promises kept by every shared plan, and wrong inputs."""

import os
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shared_cases import car_problem, flows, kept, room, shared_nights, split, trajectory

from chargeplan.charging import Circuit, Evse, pilot_current_a
from chargeplan.charging.other_load import OtherLoad
from chargeplan.charging.panel import Node, PowerTree
from chargeplan.errors import InputError
from chargeplan.plan import ChargerRules, night
from chargeplan.plan.shared import (
    Proposals,
    SharedCar,
    Values,
    certify_shared,
    lay_out,
    plan_shared,
    shared_grid_s,
    solve_shared,
)

EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "80"))


def on_one_circuit(breaker_a, ratings, need_kwh, slots=4):
    """Cars at 240 V on one shared circuit, hungry all the time."""
    circuit = Circuit(breaker_a, volts=240)
    nodes = [Node.of("circuit", circuit)]
    cars = []
    for number, rating in enumerate(ratings):
        nodes.append(Node(f"unit {number}", rating, "circuit"))
        problem = night([0.2] * slots, 0.24 * rating, need_kwh, capacity_kwh=60)
        cars.append(SharedCar(problem, 0.24, f"unit {number}"))
    return cars, PowerTree(nodes)


# NFPA 70 (2023) 625.42 and 210.20(A): a shared circuit of 100 A carries 80 A for hours; of three units of 30 A
# one or two may run at their rating, all three together at 80 A (the last by arithmetic from the 80 % rule).
@pytest.mark.parametrize(("active", "together_a"), [(1, 30.0), (2, 60.0), (3, 80.0)])
def test_three_units_on_a_shared_circuit(active, together_a):
    """Table above: hungry cars use all that is allowed, and no more, in every slot."""
    cars, tree = on_one_circuit(100, [30.0] * active, need_kwh=60)
    plan = plan_shared(cars, tree)
    np.testing.assert_allclose(plan.current_a.sum(axis=0), together_a, atol=1e-6)
    assert tree.limit_a[0, 0] == 80
    assert plan.certificate.optimal
    assert plan.binding[0].all() == (active == 3)


def test_two_managed_units_count_as_one():
    """VDE-AR-N 4100, as distribution operators summarise it: two units of 11 kVA, managed together at 11 kVA."""
    tree = PowerTree([Node("pair", 16.0), Node("left", 16.0, "pair"), Node("right", 16.0, "pair")], phases=3)
    cars = [
        SharedCar(night([0.2] * 8, 11.04, 40, capacity_kwh=60), 0.69, name, (1, 2, 3)) for name in ("left", "right")
    ]
    plan = plan_shared(cars, tree)
    power_kw = plan.wall_kwh.sum(axis=0) / 0.25
    np.testing.assert_allclose(power_kw, 11.04, rtol=1e-9)  # 3 x 230 V x 16 A


# Balanced three-phase power, textbook: kW = 3 x V to neutral x A; 16 A at 230 V is 11.04 kW, 32 A is 22.08 kW, and
# the least, at 6 A, is 4.14 kW.
@pytest.mark.parametrize(("amperes", "kw"), [(6, 4.14), (10, 6.9), (16, 11.04), (32, 22.08)])
def test_three_phase_power(amperes, kw):
    """Table above: a panel that leaves so many amperes on each phase gives a three-phase car that power."""
    supply = Circuit(63, phases=3, volts_to_neutral=230, continuous_factor=1.0)
    car = SharedCar(night([0.2] * 4, kw, 60), supply.power_kw(1.0), "panel", (1, 2, 3))
    plan = plan_shared([car], PowerTree([Node("panel", float(amperes))], phases=3))
    np.testing.assert_allclose(plan.wall_kwh, kw / 4)
    np.testing.assert_allclose(plan.node_a[0], amperes)


def test_single_phase_cars_load_one_phase():
    """Three cars of 16 A on one phase each fit where three on one phase do not."""
    tree = PowerTree([Node("panel", 16.0)], phases=3)

    def cars(phases):
        return [SharedCar(night([0.2], 3.68, 3.68 / 4), 0.23, "panel", (phase,)) for phase in phases]

    assert plan_shared(cars((1, 2, 3)), tree).shortfall_kwh.sum() == 0
    crowded = plan_shared(cars((1, 1, 1)), tree)
    assert crowded.node_a[0, 0].tolist() == pytest.approx([16, 0, 0])
    # 16 A for three of at least 6 A each: one gets nothing, and no better worst shortfall can be had.
    assert crowded.certificate.worst_shortfall == pytest.approx(1.0)
    assert crowded.shortfall_kwh.sum() == pytest.approx(2 * 3.68 / 4)


def test_pilot_minimum():
    """SAE J1772 and IEC 61851-1 annex A: 6 A is the least a pilot announces (8 % to 10 % duty), below it is off."""
    assert pilot_current_a(10.0) == Evse(32).min_a == 6
    # Each of two cars wants the energy of 4 A; half of them at a time is allowed, 4 A never.
    cars = [SharedCar(night([0.2, 0.2], 7.68, 2 * 0.06 * 4, capacity_kwh=9), 0.24) for _ in range(2)]
    plan = plan_shared(cars)
    on = plan.current_a[plan.current_a > 0]
    assert on.min() >= 6
    assert plan.total_cost == pytest.approx(2 * 0.2 * 2 * 0.06 * 4)
    assert plan.certificate.optimal


def test_worst_shortfall_by_hand():
    """30 A for an hour, cars that want 15 A and 25 A: both get three quarters, 11.25 A and 18.75 A."""
    cars = [
        SharedCar(night([0.3], 7.68, kwh, step_min=60), 0.24, "panel", name=name)
        for name, kwh in (("small", 3.6), ("big", 6.0))
    ]
    plan = plan_shared(cars, PowerTree([Node("panel", 30.0)]))
    assert plan.current_a[:, 0] == pytest.approx([11.25, 18.75])
    assert [departure.relative_shortfall for departure in plan.departures] == pytest.approx([0.25, 0.25])
    assert plan.shortfall_kwh == pytest.approx([0.9, 1.5])
    assert plan.certificate.optimal
    assert plan.binding.all()
    assert "short" in repr(plan)


def test_a_wish_out_of_reach_takes_nothing_from_others():
    """A car that wants more than it could have alone is treated as if it wanted just that."""
    tree = PowerTree([Node("panel", 20.0)])

    def currents(wish):
        cars = [SharedCar(night([0.3], 4.8, kwh, step_min=60), 0.24, "panel") for kwh in (4.8, wish)]
        return plan_shared(cars, tree)

    modest, greedy = currents(4.8), currents(40.0)
    assert modest.current_a == pytest.approx(greedy.current_a)
    assert greedy.departures[1].alone_shortfall_kwh == pytest.approx(35.2)
    assert greedy.departures[1].shortfall_kwh == pytest.approx(37.6)


def test_floor_first():
    """A car below its floor charges at once at the dear price, and the other waits for the cheap one."""
    low = night([0.5, 0.5, 0.1, 0.1], 4.8, 4.0, step_min=60, floor_kwh=2.4, capacity_kwh=20)
    other = night([0.5, 0.5, 0.1, 0.1], 4.8, 4.0, step_min=60, capacity_kwh=20)
    tree = PowerTree([Node("panel", 20.0)])
    plan = plan_shared([SharedCar(low, 0.24, "panel"), SharedCar(other, 0.24, "panel")], tree)
    assert plan.current_a[:, 0] == pytest.approx([10, 0])
    assert plan.level_kwh[0, 0] == pytest.approx(2.4)
    assert plan.certificate.optimal
    # With two of them the room is not enough: in the first hour as much as the tree allows, the rest at once after.
    both = plan_shared([SharedCar(low, 0.24, "panel"), SharedCar(low, 0.24, "panel")], replace_limit(tree, 16.0))
    assert both.current_a[:, 0].sum() == pytest.approx(16)
    assert both.current_a[:, 1].sum() >= 4 - 1e-9
    assert both.certificate.below_floor_kwh == pytest.approx(4 * 0.24)


def replace_limit(tree, limit_a):
    return PowerTree([replace(node, limit_a=limit_a) for node in tree.nodes], tree.phases)


def test_house_load_leaves_the_rest():
    """A panel of 48 A with 20 A, a quarter more and 2 A: 21 A for the car."""
    cars = [SharedCar(night([0.2, 0.2], 7.68, 60), 0.24, "panel")]
    plan = plan_shared(cars, PowerTree([Node("panel", 48.0)]), [OtherLoad("panel", [20.0, 60.0], 0.25, 2.0)])
    assert plan.current_a.tolist() == [[21.0, 0.0]]
    assert plan.binding[0, :, 0].tolist() == [True, True]
    table = plan.binding_table()
    assert table["left_a"].tolist() == [21.0, 0.0]
    assert (table["node"] == "panel").all()


def test_a_part_of_a_slot_counts_as_the_whole():
    """One car leaves after 5 minutes and one comes after 10: they never meet, but they share the slot."""
    leaves = car_problem([(0, 0, 0, 10, 9, 0)], price=[0.2], power_kw=7.68, gain=1, level=0, capacity=9)
    comes = car_problem([(0, 0, 10, 0, 9, 0)], price=[0.2], power_kw=7.68, gain=1, level=0, capacity=9)
    plan = plan_shared(
        [SharedCar(leaves, 0.24, "panel"), SharedCar(comes, 0.24, "panel")], PowerTree([Node("panel", 32)])
    )
    assert plan.current_a.sum() == pytest.approx(32)
    assert plan.wall_kwh.sum() == pytest.approx(32 * 0.24 / 12)


def test_pieces_of_one_car_in_one_slot_count_once():
    """A car that leaves for a minute and comes back may use the limit before and after."""
    problem = car_problem(
        [(0, 0, 0, 8, 0, 0), (0, 0, 8, 0, 9, 0)], price=[0.2], power_kw=7.68, gain=1, level=0, capacity=9
    )
    plan = plan_shared([SharedCar(problem, 0.24, "panel")], PowerTree([Node("panel", 32)]))
    assert plan.piece_a == pytest.approx([32, 32])
    assert plan.certificate.optimal


def test_the_value_of_a_shared_limit_is_split_over_pieces():
    """Where pieces of one car and another car crowd the cheap slot, the bound meets the cost and is not above it."""
    same = {"price": [0.1, 0.4], "gain": 1, "level": 0, "capacity": 9}
    comes_back = car_problem([(0, 0, 0, 7, 0, 0), (0, 1, 8, 0, 2.5, 0)], power_kw=8.0, **same)
    stays = car_problem([(0, 1, 0, 0, 1.5, 0)], power_kw=7.68, **same)
    cars = [SharedCar(comes_back, 0.25, "panel", min_a=0.0), SharedCar(stays, 0.24, "panel", min_a=0.0)]
    plan = plan_shared(cars, PowerTree([Node("panel", 40.0)]))
    assert plan.certificate.shortfall_kwh == 0
    # In the cheap slot an ampere saves more in the car of 250 V, which takes 32 A in both its pieces.
    assert plan.piece_a[:2] == pytest.approx([32, 32])
    cheap_kwh = (32 * 0.25 + 8 * 0.24) / 4
    assert plan.total_cost == pytest.approx(0.1 * cheap_kwh + 0.4 * (4 - cheap_kwh))
    assert plan.certificate.bound == pytest.approx(plan.total_cost, abs=1e-9)


def test_a_drive_takes_its_energy_although_the_car_left_short():
    """Leaving 1.2 kWh short, the car still drives 1 kWh of its 1.2, and buys that again where it goes."""
    panel = PowerTree([Node("panel", 10.0)])
    stays = [(0, 0, 0, 0, 2.4, 1.0), (1, 2, 0, 0, 3.0, 0.0)]
    settings_ = {"price": [0.2, 0.5, 0.1], "gain": 1, "level": 0, "capacity": 9, "step_s": 3600}
    short = SharedCar(car_problem(stays, power_kw=4.8, **settings_), 0.24, "panel", min_a=0.0)
    other = SharedCar(car_problem([(0, 0, 0, 0, 2.4, 0)], power_kw=4.8, **settings_), 0.24, "panel", min_a=0.0)
    plan = plan_shared([short, other], panel)
    assert plan.level_kwh[0] == pytest.approx([1.2, 0.6, 3.0])
    assert plan.shortfall_kwh == pytest.approx([1.2, 1.2])
    assert plan.certificate.worst_shortfall == pytest.approx(0.5)


def test_whole_steps():
    """In steps of 1 A a need of 10.5 A for an hour becomes 11 A; with a battery just as large, 10 A."""
    for capacity, amperes in ((9.0, 11.0), (2.52, 10.0)):
        problem = night([0.2], 7.68, 2.52, step_min=60, capacity_kwh=capacity)
        plan = plan_shared([SharedCar(problem, 0.24, step_a=1.0)])
        assert plan.current_a[0, 0] == amperes
        assert plan.certificate.optimal
    assert plan.departures[0].alone_shortfall_kwh == pytest.approx(0.12)


def test_a_floor_after_a_drive_is_kept_where_steps_leave_less_for_it():
    """In steps of 3 A a car leaves with 4.5 of the 4.8 kWh it wants: after 3 kWh of driving it is below its floor.

    So it charges at once when it is back, although the hour after that is paid for being used.
    """
    stays = [(0, 1, 0, 0, 3.0, 3.0), (2, 3, 0, 0, 2.4, 0.0)]
    same = {"gain": 1.0, "level": 1.5, "capacity": 4.8, "floor": 1.8, "step_s": 3600}
    problem = car_problem(stays, price=[0.25, -0.1, 0.25, -0.1], power_kw=2.4, **same)
    plan = plan_shared([SharedCar(problem, 0.2, step_a=3.0)])
    assert plan.level_kwh[0, :2] == pytest.approx([2.7, 4.5])
    assert plan.level_kwh[0, 2] >= 1.8 - 1e-9
    assert plan.certificate.below_floor_kwh == 0


def test_a_time_without_charging_within_a_slot():
    """Off for the last 5 minutes of a quarter of an hour: 10 minutes at 32 A, and the limit is kept by piece."""
    problem = car_problem(
        [(0, 1, 0, 0, 9, 0)], price=[0.2, 0.2], power_kw=7.68, gain=1, level=0, capacity=9, spells=[(10, 20, 0.0)]
    )
    plan = plan_shared([SharedCar(problem, 0.24, "panel")], PowerTree([Node("panel", 32)]))
    assert plan.piece_a == pytest.approx([32, 0, 0, 32])
    assert plan.wall_kwh == pytest.approx(7.68 / 6 * np.ones((1, 2)))


def test_a_taper_by_hand():
    """10 kW x (1 - level / 10 kWh) for two hours from empty: y = 10 - y, then y = 5 - y: 5 kWh and 2.5 kWh.

    A second car gets what the first leaves of 30 A at 0.25 kW each: 10 A, then 20 A.
    """
    tapered = night([0.2, 0.2], 8.0, 9.0, capacity_kwh=10.0, step_min=60, taper=[(-10.0, 10.0)])
    other = night([0.2, 0.2], 8.0, 7.5, capacity_kwh=20.0, step_min=60)
    cars = [SharedCar(tapered, 0.25, "panel"), SharedCar(other, 0.25, "panel")]
    plan = plan_shared(cars, PowerTree([Node("panel", 30)]))
    assert plan.current_a == pytest.approx(np.array([[20.0, 10.0], [10.0, 20.0]]))
    assert plan.departures[0].alone_shortfall_kwh == pytest.approx(1.5)
    assert plan.certificate.optimal
    broken = certify_shared(plan.problem, np.array([20.0, 12.0, 10.0, 18.0]), Proposals())
    assert not broken.feasible
    assert broken.worst_taper_kwh == pytest.approx(1.0)  # 3 kWh from 5 kWh: 10 - 8 = 2 kW are accepted after it


def ruled_night(price, rules, **more):
    return SharedCar(replace(night(price, 7.68, 3.84, capacity_kwh=9), rules=(rules,)), 0.24, "panel", **more)


@pytest.mark.parametrize(
    ("rules", "on"),
    [
        (ChargerRules(), [32, 0, 32, 0]),
        (ChargerRules(most_starts=1), [32, 6, 26, 0]),
        (ChargerRules(most_starts=2), [32, 0, 32, 0]),
        (ChargerRules(min_off_min=30), [32, 6, 26, 0]),
        (ChargerRules(min_on_min=30), [32, 6, 26, 0]),
        (ChargerRules(min_on_min=30, most_starts=1), [32, 6, 26, 0]),
    ],
)
def test_rules_about_switching_by_hand(rules, on):
    """Two full quarters of an hour at 0.1, 0.3, 0.1, 0.25: the cheapest that the rules allow, by trying all by hand.

    A block over three of them draws the least current at the dear price: 32, 6 and 26 A cost (58 x 0.1 + 6 x 0.3) x
    0.06 = 0.456, less than 0.672 with half an hour off between two of them, and than 0.768 for the first two.
    """
    plan = plan_shared([ruled_night([0.1, 0.3, 0.1, 0.25], rules)], PowerTree([Node("panel", 32)]))
    assert plan.piece_a.tolist() == pytest.approx(on)
    assert plan.certificate.feasible
    assert plan.searched or plan.certificate.optimal


def test_broken_rules_are_found():
    """Two blocks of a quarter of an hour, 15 min apart, under each rule; and the words say what is broken."""
    current = np.array([32.0, 0.0, 32.0, 0.0])
    for rules, lack_s, over in (
        (ChargerRules(most_starts=1), 0, 1),
        (ChargerRules(min_on_min=20), 300, 0),
        (ChargerRules(min_off_min=25), 600, 0),
    ):
        shared = lay_out([ruled_night([0.1] * 4, rules)], PowerTree([Node("panel", 32)]))
        proof = certify_shared(shared, current, Proposals())
        assert (proof.worst_rule_s, proof.starts_over) == (pytest.approx(lack_s), over)
        assert not proof.feasible
        assert "a rule about switching is broken" in proof.words
        assert certify_shared(shared, np.array([0.0, 32.0, 32.0, 0.0]), Proposals()).feasible


def test_what_rules_forbid_is_not_missing_because_of_others():
    """Four quarters of an hour are wanted, and load control splits them: one block has two at most, alone too."""
    problem = car_problem(
        [(0, 4, 0, 0, 7.68, 0)],
        price=[0.2] * 5,
        power_kw=7.68,
        gain=1,
        level=0,
        capacity=9,
        spells=[(30, 45, 0.0)],
        rules=ChargerRules(most_starts=1),
    )
    plan = plan_shared([SharedCar(problem, 0.24, "panel")], PowerTree([Node("panel", 32)]))
    assert plan.departures[0].shortfall_kwh == pytest.approx(3.84)
    assert plan.departures[0].alone_shortfall_kwh == pytest.approx(3.84)
    assert plan.certificate.worst_shortfall == 0


def test_the_latest_hours_where_they_are_preferred():
    """At one price one car charges first and the other last."""
    cars = [SharedCar(night([0.2] * 4, 7.68, 1.92), 0.24, "panel", prefer=prefer) for prefer in ("latest", "earliest")]
    plan = plan_shared(cars, PowerTree([Node("panel", 32)]))
    assert plan.current_a.tolist() == [[0, 0, 0, 32], [32, 0, 0, 0]]


def test_tables():
    """One row per plugged-in slot and car, in the zone asked for; sums are those of the plan; arrays are locked."""
    late = 1_767_657_600  # 6 January 2026, midnight UTC
    cars = [
        SharedCar(night([0.3, 0.1, 0.1], 7.68, 3, start_s=late), 0.24, "panel", name="left"),
        SharedCar(night([0.1, 0.3], 7.68, 1, start_s=late + 900), 0.24, "panel"),
    ]
    plan = plan_shared(cars, PowerTree([Node("panel", 40.0)]))
    table = plan.table("America/New_York")
    assert table.index.names == ["start", "car"]
    assert table.index[0][0].isoformat() == "2026-01-05T19:00:00-05:00"
    assert [name for _, name in table.index] == ["left", "left", "car 2", "left", "car 2"]
    assert table["cost"].sum() == pytest.approx(plan.total_cost)
    assert table["wall_kwh"].sum() == pytest.approx(plan.wall_kwh.sum())
    assert plan.battery_kwh.sum() == pytest.approx(4)
    assert np.isnan(plan.level_kwh[1, 0])
    assert [departure.time.isoformat() for departure in plan.departures] == ["2026-01-06T00:45:00+00:00"] * 2
    for name in ("current_a", "wall_kwh", "battery_kwh", "level_kwh", "cost", "node_a", "piece_a", "shortfall_kwh"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(plan, name)[0] = 1


def without_rules(nightly):
    """The same night without rules about switching, and without the least currents that come with them."""
    cars, tree, loads = nightly
    plain = [replace(car, problem=replace(car.problem, rules=()), min_a=0.0) for car in cars]
    return plain, tree, loads


@settings(max_examples=EXAMPLES)
@given(st.one_of(shared_nights(step_a=(0.0, 0.0, 2.0)), shared_nights(step_a=(0.0, 0.0, 2.0), more=True)))
def test_promises(nightly):
    """No limit exceeded, minimum and steps kept, battery between empty and full, energies and cost added again.

    Times with a lower limit are part of `max_kwh` of the pieces they cut; tapers and rules are kept.
    """
    cars, tree, loads = nightly
    plan = plan_shared(cars, tree, loads, time_limit_s=5)
    left = room(tree, loads, cars)
    for key, current in flows(cars, tree, split(plan)).items():
        assert current <= left[key] + 1e-6
    cost = 0.0
    for number, (car, amperes) in enumerate(zip(cars, split(plan), strict=True)):
        problem = car.problem
        assert kept(car, amperes)
        assert (amperes >= 0).all()
        assert ((amperes == 0) | (amperes >= car.min_a - 1e-6)).all()
        if car.step_a:
            assert np.abs(amperes / car.step_a - np.round(amperes / car.step_a)).max() < 1e-9
        wall = amperes * np.array(car.powers)[problem.stay] * problem.hours
        assert (wall <= problem.max_kwh + 1e-6).all()
        levels, departures = trajectory(car, amperes)
        assert max(levels) <= problem.capacity_kwh + 1e-6
        assert min(levels) >= -1e-9
        cost += float(wall @ problem.price_per_kwh)
        assert plan.wall_kwh[number].sum() == pytest.approx(wall.sum(), abs=1e-9)
        slot = (problem.start_s - plan.start_s[0]) // problem.step_s
        assert plan.level_kwh[number, slot[-1]] == pytest.approx(levels[-1])
        mine = [departure for departure in plan.departures if departure.car == number]
        assert [departure.level_kwh for departure in mine] == pytest.approx(departures)
        # A floor once reached is kept during a stay: levels only rise in it.
        assert (np.diff(levels)[np.diff(problem.stay) == 0] >= -1e-9).all()
    assert plan.total_cost == pytest.approx(cost, abs=1e-9)
    assert plan.certificate.feasible
    assert np.isnan(plan.level_kwh).sum() + len(plan.table()) == plan.level_kwh.size


@settings(max_examples=EXAMPLES)
@given(st.one_of(shared_nights(min_a=(0.0,)), shared_nights(min_a=(0.0,), more=True)))
def test_linear_plans_are_proven(nightly):
    """Without a minimum current every gap closes, unless a drive runs empty, which no linear program knows."""
    plan = plan_shared(*without_rules(nightly))
    assert plan.certificate.optimal or plan.problem.can_run_empty.any()
    # Shortfalls count as least up to a millionth of what is wanted, so a plan may be cheaper by the price of that.
    problem = plan.problem
    left_open = 1e-6 * problem.need_kwh.sum() * np.abs(problem.price_per_kwh).max() if plan.shortfall_kwh.any() else 0.0
    assert plan.certificate.gap >= -plan.certificate.tolerance - left_open - 1e-8


@settings(max_examples=EXAMPLES)
@given(shared_nights(max_cars=3, max_slots=7), st.sampled_from([1.0, 2.0, 8.0]))
def test_more_room_is_never_worse(nightly, more_a):
    """With more amperes at the panel no goal gets worse, and if all is served the cost does not rise."""
    cars, tree, loads = nightly
    wide = PowerTree(
        [replace(n, limit_a=n.limit_a[0] + more_a) if n.parent is None else n for n in tree.nodes], tree.phases
    )
    tight, roomy = plan_shared(cars, tree, loads), plan_shared(cars, wide, loads)
    # What a car could have alone grows with the room, so compare where that stays the same.
    if np.allclose(tight.problem.need_kwh, roomy.problem.need_kwh) and np.allclose(
        tight.problem.floor_kwh, roomy.problem.floor_kwh
    ):
        one, other = (
            (p.certificate.below_floor_kwh, p.certificate.worst_shortfall, p.certificate.shortfall_kwh, p.total_cost)
            for p in (tight, roomy)
        )
        for before, after in zip(one, other, strict=True):
            assert after <= before + 2e-5
            if after < before - 2e-5:
                break


@settings(max_examples=EXAMPLES)
@given(
    st.one_of(shared_nights(max_cars=3, min_a=(0.0,)), shared_nights(max_cars=3, more=True)),
    st.integers(0, 2**32 - 1),
    st.sampled_from([1e-3, 0.1, 3.0]),
)
def test_any_numbers_give_a_valid_bound(nightly, seed, size):
    """Weak duality: with random values no bound is above what the plan reaches."""
    shared = lay_out(*nightly)
    solution = solve_shared(shared)
    random = np.random.default_rng(seed)

    def shaken(values):
        if values is None:
            return None
        return Values(
            *(
                np.asarray(getattr(values, name)) + random.normal(0, size, np.shape(getattr(values, name)))
                for name in ("energy", "ampere", "short", "low", "share", "taper")
            )
        )

    names = ("low", "worst", "total", "cost")
    proof = certify_shared(
        shared, solution.current_a, Proposals(**{name: shaken(getattr(solution.proposals, name)) for name in names})
    )
    assert proof.bound <= proof.cost + 1e-6
    assert proof.below_floor_bound <= proof.below_floor_kwh + 1e-6
    assert proof.worst_bound <= proof.worst_shortfall + 1e-6
    assert proof.shortfall_bound <= proof.shortfall_kwh + 1e-6


@settings(max_examples=EXAMPLES)
@given(shared_nights(), st.data())
def test_a_broken_plan_is_found(nightly, data):
    """A current raised above a limit, put below the minimum, or a changed energy or level is never feasible."""
    cars, tree, loads = nightly
    plan = plan_shared(cars, tree, loads)
    shared, current = plan.problem, plan.piece_a.copy()
    slot = data.draw(st.integers(0, current.size - 1))
    wall, level = current * shared.kwh_per_a, shared.levels(current * shared.battery_per_a)
    kind = data.draw(st.sampled_from(["above", "below", "negative", "energy", "level"]))
    if kind == "above":
        current[slot] = 100.0
    elif kind == "below":
        current[slot] = shared.min_a[slot] / 2 if shared.min_a[slot] else -1.0
    elif kind == "negative":
        current[slot] = -2.0
    elif kind == "energy":
        wall[slot] += 0.01
    else:
        level[slot] += 0.01
    given_too = {"wall_kwh": wall, "level_kwh": level} if kind in ("energy", "level") else {}
    assert not certify_shared(shared, current, Proposals(), **given_too).feasible


def test_a_dearer_plan_is_not_called_optimal():
    """The same energy in the dear slot leaves a gap of the price difference."""
    shared = lay_out([SharedCar(night([0.3, 0.1], 7.68, 1.8), 0.24)])
    solution = solve_shared(shared)
    assert certify_shared(shared, solution.current_a, solution.proposals).optimal
    proof = certify_shared(shared, solution.current_a[::-1].copy(), solution.proposals)
    assert not proof.optimal
    assert proof.gap == pytest.approx(0.2 * 1.8)
    assert "dearer" in proof.words


def test_no_time_still_gives_a_plan_that_keeps_the_limits():
    """Without time for the search the plan is feasible and its gap or shortfall is stated."""
    cars = [SharedCar(night([0.2, 0.21, 0.22], 7.68, 2.0, capacity_kwh=9), 0.24, "panel") for _ in range(3)]
    tree = PowerTree([Node("panel", 33.0)])
    quick, slow = plan_shared(cars, tree, time_limit_s=0.0), plan_shared(cars, tree)
    assert quick.certificate.feasible
    assert quick.searched is False
    assert slow.certificate.worst_shortfall <= quick.certificate.worst_shortfall
    assert quick.certificate.optimal or "not proven" in quick.status


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"node": "cellar"}, "'cellar' is not a node of the tree; write one of 'panel', 'garage'"),
        ({"phases": (2,)}, "phase 2 of a supply with 1"),
        ({"phases": (1, 1)}, "write each once"),
        ({"kw_per_a": 0.0}, "kw_per_a of left"),
        ({"min_a": -1.0}, "min_a of left"),
        ({"step_a": float("nan")}, "step_a of left"),
        ({"node": ["panel", "panel"]}, "1 stays and 2 values of node"),
        ({"prefer": "late"}, "prefers 'late'"),
        ({"problem": replace(night([0.2], 7.2, 3), rules=(ChargerRules(30),)), "min_a": 0.0}, "no least current"),
        ({"problem": night([0.2], 7.2, 3, start_s=450)}, "lies across the grid of 900 s"),
    ],
)
def test_mistakes_of_a_car(change, message):
    """One clear message for each."""
    tree = PowerTree([Node("panel", 40.0), Node("garage", 32.0, "panel")])
    given_ = {"problem": night([0.2], 7.2, 3), "kw_per_a": 0.24, "node": "panel", "name": "left"} | change
    with pytest.raises(InputError, match=message):
        plan_shared([SharedCar(**given_)], tree)


def test_mistakes_of_a_plan():
    """No car, two grids, a node without a tree, a load without a tree, a misspelled solver."""
    car = SharedCar(night([0.2], 7.2, 3), 0.24)
    with pytest.raises(InputError, match="no car"):
        plan_shared([])
    with pytest.raises(InputError, match="900 and 3600 s"):
        plan_shared([car, SharedCar(night([0.2], 7.2, 3, step_min=60), 0.24)])
    with pytest.raises(InputError, match="there is no tree"):
        plan_shared([replace(car, node="panel")])
    with pytest.raises(InputError, match="need a tree"):
        plan_shared([car], None, [OtherLoad("panel", [1.0])])
    with pytest.raises(InputError, match="2 values for 1 slots"):
        plan_shared([car], PowerTree([Node("panel", 40)]), [OtherLoad("panel", [1.0, 1.0])])
    with pytest.raises(InputError, match="auto, highs or pulp:CBC"):
        plan_shared([car], solver="hihgs")
    assert shared_grid_s([car]).tolist() == [0]
