"""Promises kept by every plan, and laws that connect plans of changed problems."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from plan_cases import DAY_S, problems

from chargeplan.plan import Problem, certify, merit_order, reach, solve
from chargeplan.plan.unmanaged import by_timer, on_plug_in

METHODS = st.sampled_from(
    [(solver, tie_break) for solver in ("auto", "highs") for tie_break in ("earliest", "as needed", "latest")]
)


def cost_of(problem, energy):
    return float(energy / problem.gain @ problem.price_per_kwh)


@settings(max_examples=400)
@given(problems(), METHODS)
def test_promises(problem, method):
    """Within every limit and the battery, every drive served as far as possible, energy balanced, floor kept."""
    solution = solve(problem, *method)
    wall, best = solution.wall_kwh, reach(problem)
    assert (wall >= 0).all()
    assert (wall <= problem.max_kwh).all()
    assert solution.battery_kwh == pytest.approx(wall * problem.gain, abs=1e-9)
    level, reached = problem.level_kwh, problem.level_kwh >= problem.floor_kwh
    for t in range(problem.slots):  # one slot after the other, as a meter would count
        level += wall[t] * problem.gain[t]
        assert level <= problem.capacity_kwh + 1e-6
        reached = reached or level >= problem.floor_kwh - 1e-9
        if reached and best.shortfall_kwh.sum() == 0:
            assert level >= problem.floor_kwh - 1e-6
        j = problem.stay[t]
        if t == problem.last[j]:
            assert level >= min(problem.wanted_kwh[j], best.departure_kwh[j]) - 1e-6
            level = max(0.0, level - problem.drive_kwh[j])
    assert certify(problem, wall).cost == pytest.approx(sum(wall * problem.price_per_kwh), abs=1e-9)


@settings(max_examples=200)
@given(problems(positive=True, one_gain=True), st.floats(0.01, 1))
def test_dearer_by_a_constant(problem, constant):
    """With positive prices and one gain, a constant added to all prices adds constant x energy, no more."""
    energy = merit_order(problem)
    dearer = replace(problem, price_per_kwh=problem.price_per_kwh + constant)
    expected = cost_of(problem, energy) + constant * float((energy / problem.gain).sum())
    assert cost_of(dearer, merit_order(dearer)) == pytest.approx(expected, abs=1e-7)


@settings(max_examples=200)
@given(problems(), st.floats(0.01, 100))
def test_scaled_prices_scale_the_cost(problem, factor):
    """Another currency changes the cost by the rate, and nothing else."""
    scaled = replace(problem, price_per_kwh=problem.price_per_kwh * factor)
    expected = factor * cost_of(problem, merit_order(problem))
    assert cost_of(scaled, merit_order(scaled)) == pytest.approx(expected, rel=1e-9, abs=1e-7)


@settings(max_examples=100)
@given(problems(), st.integers(-1000, 1000), METHODS)
def test_shifted_in_time(problem, days, method):
    """The same stays and prices on other days have the same plan."""
    shifted = replace(problem, start_s=problem.start_s + DAY_S * days)
    assert solve(shifted, *method).battery_kwh.tolist() == solve(problem, *method).battery_kwh.tolist()


@settings(max_examples=200)
@given(problems(floor=False), st.data())
def test_one_more_slot_never_costs_more(problem, data):
    """Where all needs are met, plugging in for one more slot, at any price, never costs more."""
    assume(reach(problem).shortfall_kwh.sum() == 0)
    at = data.draw(st.integers(0, problem.slots - 1))
    price = data.draw(st.floats(-1, 1))
    arrays = {
        name: np.insert(getattr(problem, name), at, getattr(problem, name)[at])
        for name in ("start_s", "hours", "stay", "max_kwh", "gain")
    }
    longer = replace(problem, price_per_kwh=np.insert(problem.price_per_kwh, at, price), **arrays)
    assert cost_of(longer, merit_order(longer)) <= cost_of(problem, merit_order(problem)) + 1e-7


@settings(max_examples=200)
@given(problems(floor=False), st.randoms(use_true_random=False))
def test_order_within_a_stay_does_not_matter(problem, random):
    """Without a floor, slots of a stay in any other order cost the same."""
    order = []
    for j in range(problem.stays):
        slots = list(range(problem.first[j], problem.last[j] + 1))
        random.shuffle(slots)
        order += slots
    arrays = {name: getattr(problem, name)[order] for name in ("hours", "price_per_kwh", "max_kwh", "gain")}
    other = replace(problem, **arrays)
    assert cost_of(other, merit_order(other)) == pytest.approx(cost_of(problem, merit_order(problem)), abs=1e-7)


@settings(max_examples=200)
@given(problems())
def test_a_cut_slot_costs_the_same(problem):
    """Cutting every slot in two halves changes nothing: partial slots are exact."""
    twice = {name: np.repeat(getattr(problem, name), 2) for name in ("stay", "price_per_kwh", "gain")}
    halves = {name: np.repeat(getattr(problem, name) / 2, 2) for name in ("hours", "max_kwh")}
    start = np.repeat(problem.start_s, 2) + np.tile([0, 1], problem.slots)
    cut = replace(problem, start_s=start, **twice, **halves)
    assert cost_of(cut, merit_order(cut)) == pytest.approx(cost_of(problem, merit_order(problem)), abs=1e-7)


@settings(max_examples=300)
@given(problems())
def test_no_habit_beats_the_plan(problem):
    """Charging on plug-in reaches the same levels and never costs less; a timer that ends full neither."""
    best = reach(problem)
    energy = merit_order(problem, best)
    cost = cost_of(problem, energy)
    departure = problem.levels(energy, best.served_kwh)[problem.last]
    at_once, timer = on_plug_in(problem, departure, cost), by_timer(problem, departure, cost)
    assert at_once.short_kwh.max() == 0
    assert at_once.saving >= -1e-7
    for habit in (at_once, timer):
        assert (habit.wall_kwh <= problem.max_kwh + 1e-12).all()
        assert habit.cost == pytest.approx(float(habit.wall_kwh @ problem.price_per_kwh))
        assert habit.saving == pytest.approx(habit.cost - cost)
    if timer.short_kwh.max() == 0 and not problem.floor_kwh:
        assert timer.saving >= -1e-7


def test_levels_stay_exact_over_a_decade():
    """After 3,650 days and 350,400 slots the certificate still closes: rounding does not grow with time."""
    days, per_day = 3650, 96
    slot = np.arange(days * per_day)
    hour = slot % per_day / 4
    problem = Problem(
        start_s=900 * slot,
        hours=np.full(slot.size, 0.25),
        stay=slot // per_day,
        price_per_kwh=np.where(hour < 7, 0.12, np.where((hour >= 16) & (hour < 21), 0.5, 0.3)),
        max_kwh=np.full(slot.size, 1.8),
        gain=np.full(slot.size, 0.9),
        need_kwh=np.full(days, 30.0),
        drive_kwh=5 + 20 * (np.arange(days) * 0.618 % 1),
        level_kwh=30.0,
        capacity_kwh=60.0,
    )
    certificate = certify(problem, merit_order(problem) / problem.gain)
    assert certificate.optimal
    assert certificate.worst_need_kwh < 1e-8
