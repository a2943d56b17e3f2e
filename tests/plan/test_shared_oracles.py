"""Shared plans against enumeration, against other solvers, and against an independent bisection."""

import itertools
import os
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from shared_cases import best_by_enumeration, car_problem, goals, kept, own_most_a, room, shared_nights, split, wishes

from chargeplan.charging.other_load import OtherLoad
from chargeplan.charging.panel import Node, PowerTree
from chargeplan.plan import ChargerRules, solve
from chargeplan.plan.shared import SharedCar, lay_out, plan_shared, shared_grid_s

#: Examples of the quicker properties; more for a long run by hand.
EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "80"))


@st.composite
def tiny_more(draw, spans, gain):
    """Another limit for an hour, a taper, or rules about switching; of one or two kinds."""
    kinds, found = (
        draw(st.lists(st.sampled_from(["spells", "taper", "rules"]), min_size=1, max_size=2, unique=True)),
        {},
    )
    if "spells" in kinds:
        first = 60 * draw(st.integers(spans[0][0], spans[-1][1])) + draw(st.sampled_from([0, 0, 20]))
        found["spells"] = [(first, first + 60, draw(st.sampled_from([0.0, 1.2])))]
    if "taper" in kinds:
        full_kw = 2.4 * gain
        end = draw(st.sampled_from([0.0, 0.4])) * full_kw
        found["taper"] = [(2 * (end - full_kw), 2 * full_kw - end)]  # full power until half full
        if draw(st.booleans()):
            found["taper"].append((3 * full_kw, 0.6 * full_kw))
    if "rules" in kinds:
        least, pause = draw(st.sampled_from([(0, 0), (80, 0), (120, 0), (0, 80), (0, 120)]))
        starts = draw(st.sampled_from([1, 1, 2]))
        found["rules"] = ChargerRules(least, pause, None if least + pause and draw(st.booleans()) else starts)
    return found


@st.composite
def tiny_nights(draw, more=False):
    """Two cars, three or four slots, currents of 0, 6, 9 and 12 A: few enough to try every plan.

    With `more` there are times with a lower limit (6 A or none, one of them within a slot), a taper, or rules.
    """
    slots = draw(st.integers(3, 4))
    price = draw(st.lists(st.sampled_from([-0.1, 0.1, 0.2, 0.25]), min_size=slots, max_size=slots))
    cars = []
    for number in range(2):
        gain = draw(st.sampled_from([0.8, 1.0]))
        unit = 0.2 * gain * 3  # battery kWh of one step in one slot of an hour
        capacity = unit * draw(st.sampled_from([4, 8, 8.5, 12, 20]))
        two = slots == 4 and draw(st.booleans())
        level = draw(st.sampled_from([0.0, 1.0, 2.5])) * unit
        share = st.integers(0, 6)
        spans = [(0, 1), (2, slots - 1)] if two else [(draw(st.integers(0, 1)), slots - 1)]
        stays = [
            (a, b, 0, 0, min(capacity, draw(share) * unit), draw(share) * unit if two and n == 0 else 0.0)
            for n, (a, b) in enumerate(spans)
        ]
        floor = min(capacity, draw(st.sampled_from([0, 0, 3])) * unit)
        own = draw(tiny_more(spans, gain)) if more else {}
        problem = car_problem(
            stays,
            **own,
            price=price,
            power_kw=2.4,
            gain=gain,
            level=min(level, capacity),
            capacity=capacity,
            floor=floor,
            step_s=3600,
        )
        cars.append(SharedCar(problem, 0.2, f"evse {number}", (1,), 6.0, 3.0, f"car {number}"))
    tree = PowerTree(
        [
            Node("panel", draw(st.sampled_from([9, 15, 18, 30]))),
            Node("evse 0", 12, "panel"),
            Node("evse 1", draw(st.sampled_from([6, 12])), "panel"),
        ]
    )
    house = draw(st.lists(st.sampled_from([0.0, 3.0]), min_size=slots, max_size=slots))
    first, last = shared_grid_s(cars)[[0, -1]] // 3600
    return cars, tree, [OtherLoad("panel", house[first : last + 1])]


@settings(max_examples=EXAMPLES)
@given(st.one_of(tiny_nights(), tiny_nights(more=True)))
def test_whole_steps_equal_the_enumerated_best(night):
    """In whole steps every goal has the value of the best of all plans."""
    cars, tree, loads = night
    expected = best_by_enumeration(cars, tree, loads)
    plan = plan_shared(cars, tree, loads, time_limit_s=60)
    proof = plan.certificate
    assert proof.feasible
    found = (proof.below_floor_kwh, proof.worst_shortfall, proof.shortfall_kwh, proof.cost)
    assert found == pytest.approx(expected, abs=2e-6)
    bounds = (proof.below_floor_bound, proof.worst_bound, proof.shortfall_bound)
    assert all(bound <= value + 1e-6 for bound, value in zip(bounds, expected, strict=False))
    assert proof.bound <= expected[3] + 1e-6


@settings(max_examples=EXAMPLES)
@given(st.one_of(shared_nights(max_cars=3, max_slots=7), shared_nights(max_cars=3, max_slots=7, more=True)))
def test_highs_and_cbc_agree(night):
    """Two solvers reach the same value in every goal."""
    cars, tree, loads = night
    one = plan_shared(cars, tree, loads, time_limit_s=60).certificate
    other = plan_shared(cars, tree, loads, solver="pulp:CBC", time_limit_s=60).certificate
    assert one.feasible
    assert other.feasible
    for name in ("below_floor_kwh", "worst_shortfall", "shortfall_kwh", "cost"):
        assert getattr(one, name) == pytest.approx(getattr(other, name), abs=2e-5)


@settings(max_examples=EXAMPLES)
@given(
    st.one_of(
        shared_nights(max_cars=4, min_a=(0.0,), floors=False),
        shared_nights(max_cars=4, min_a=(0.0,), floors=False, more=True),
    )
)
def test_the_worst_shortfall_is_least(night):
    """Bisection over programs that only ask whether a shortfall can be had finds the same worst one."""
    cars, tree, loads = night
    cars = [replace(car, problem=replace(car.problem, rules=()), min_a=0.0) for car in cars]
    assume(all(car.problem.stays == 1 for car in cars))
    plan = plan_shared(cars, tree, loads)
    left = room(tree, loads, cars)
    most = [own_most_a(car, tree, left) for car in cars]
    wished = [wishes(car, own)[0] for car, own in zip(cars, most, strict=True)]
    low, high = 0.0, 1.0
    if _can_serve(cars, tree, left, most, wished, 0.0):
        high = 0.0
    while high - low > 1e-7:
        middle = (low + high) / 2
        low, high = (low, middle) if _can_serve(cars, tree, left, most, wished, middle) else (middle, high)
    assert plan.certificate.worst_shortfall == pytest.approx(high, abs=1e-6)
    assert plan.certificate.worst_bound == pytest.approx(high, abs=1e-6)
    assert plan.certificate.optimal


def _can_serve(cars, tree, left, most, wished, worst):
    """Whether every car can get all but a share of what it wanted."""
    needs = [need - worst * max(energy, 0.0) for ((need, energy),) in wished]
    return cheapest(cars, tree, left, needs, [[(0, limit) for limit in own] for own in most]) is not None


def cheapest(cars, tree, left, needs, bounds):
    """Least cost with every need met and every current between its bounds, or None; cars with one stay."""
    parent = {node.name: node.parent for node in tree.nodes}
    columns = [(number, k) for number, car in enumerate(cars) for k in range(car.problem.slots)]
    place = {key: column for column, key in enumerate(columns)}
    kwh = [car.powers[0] * car.problem.hours for car in cars]
    at = {}
    for number, k in columns:
        car = cars[number]
        slot, node = int(car.problem.start_s[k]) // car.problem.step_s, car.nodes[0]
        while node is not None:
            for phase in car.phases:
                at.setdefault((node, slot, phase), {}).setdefault(number, []).append(place[number, k])
            node = parent[node]
    rows, limits = [], []
    for key, pieces in at.items():
        for inside in itertools.product(*pieces.values()):  # pieces of one car in one slot are never drawn together
            row = np.zeros(len(columns))
            row[list(inside)] = 1
            rows.append(row)
            limits.append(left[key])
    for number, car in enumerate(cars):
        row = np.zeros(len(columns))
        for k in range(car.problem.slots):
            row[place[number, k]] = kwh[number][k] * car.problem.gain[k]
        rows += [row, -row]
        limits += [car.problem.capacity_kwh - car.problem.level_kwh, car.problem.level_kwh - needs[number]]
        own, first = car.problem, place[number, 0]
        for k, hours in enumerate(own.hours.tolist()):
            for slope, power_kw in own.taper.tolist():
                accepted = np.zeros(len(columns))  # before the slot where it rises, after it where it falls
                until = first + k + (slope < 0)
                accepted[first:until] = hours * slope / own.capacity_kwh * row[first:until]
                charged = np.zeros(len(columns))
                charged[first + k] = row[first + k]
                rows.append(charged - accepted)
                limits.append(hours * (power_kw + slope * own.level_kwh / own.capacity_kwh))
    cost = [kwh[number][k] * cars[number].problem.price_per_kwh[k] for number, k in columns]
    flat = [bounds[number][k] for number, k in columns]
    answer = linprog(cost, A_ub=np.array(rows), b_ub=limits, bounds=flat)
    return answer.fun if answer.status == 0 else None


def rules_kept(car, pattern):
    """Whether the slots that are on keep the rules about switching."""
    return kept(replace(car, problem=replace(car.problem, taper=np.empty((0, 2)))), [low for low, _ in pattern])


@settings(max_examples=max(5, EXAMPLES // 4))
@given(
    st.one_of(
        shared_nights(max_cars=2, max_slots=3, min_a=(6.0,), floors=False),
        shared_nights(max_cars=2, max_slots=3, min_a=(6.0,), floors=False, more=True),
    )
)
def test_a_minimum_current_equals_the_best_of_all_patterns(night):
    """Trying every choice of slots that are on, as far as rules allow it, as a linear program, finds the same cost."""
    cars, tree, loads = night
    assume(all(car.problem.stays == 1 for car in cars))
    assume(sum(car.problem.slots for car in cars) <= 10)
    plan = plan_shared(cars, tree, loads, time_limit_s=60)
    assume(np.array_equal(plan.problem.need_kwh, lay_out(cars, tree, loads).need_kwh))  # no wish is out of reach
    left = room(tree, loads, cars)
    most = [own_most_a(car, tree, left) for car in cars]
    needs = [wishes(car, own)[0][0][0] for car, own in zip(cars, most, strict=True)]
    choices = [[[(0, 0)] + ([(6.0, limit)] if limit else []) for limit in own] for own in most]
    per_car = [
        [p for p in itertools.product(*own) if rules_kept(car, p)] for car, own in zip(cars, choices, strict=True)
    ]
    costs = [cheapest(cars, tree, left, needs, pattern) for pattern in itertools.product(*per_car)]
    served = [cost for cost in costs if cost is not None]
    assert bool(served) == (plan.certificate.shortfall_kwh == 0)
    if served:
        assert plan.total_cost == pytest.approx(min(served), abs=1e-6)


@settings(max_examples=EXAMPLES)
@given(shared_nights(max_cars=1, min_a=(0.0,)))
def test_one_car_alone_costs_what_the_planner_of_one_car_says(night):
    """Without a minimum current the plan costs what merit order finds, and is proven; so it is alone on a tree."""
    (car,), tree, loads = night
    plan = plan_shared([SharedCar(car.problem, car.kw_per_a, min_a=0.0)])
    alone = solve(car.problem)
    assert plan.total_cost == pytest.approx(float(alone.wall_kwh @ car.problem.price_per_kwh), abs=1e-8)
    assert plan.certificate.optimal
    most_kwh = np.array(own_most_a(car, tree, room(tree, loads, [car]))) * np.array(car.powers)[0] * car.problem.hours
    narrow = replace(car.problem, max_kwh=np.minimum(most_kwh, car.problem.max_kwh))
    on_tree = plan_shared([car], tree, loads)
    assert on_tree.total_cost == pytest.approx(float(solve(narrow).wall_kwh @ narrow.price_per_kwh), abs=1e-8)
    assert on_tree.certificate.optimal


@settings(max_examples=EXAMPLES)
@given(shared_nights(max_cars=3))
def test_goals_are_what_plain_loops_say(night):
    """Below-floor sum, shortfalls and cost of the certificate, added up again from the currents."""
    cars, tree, loads = night
    plan = plan_shared(cars, tree, loads)
    left = room(tree, loads, cars)
    wished = [wishes(car, own_most_a(car, tree, left)) for car in cars]
    proof = plan.certificate
    found = (proof.below_floor_kwh, proof.worst_shortfall, proof.shortfall_kwh, proof.cost)
    assert found == pytest.approx(goals(cars, wished, split(plan)), abs=1e-4)
