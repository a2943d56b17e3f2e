"""The certificate accepts what is optimal and nothing else, and its bound is never too high."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from plan_cases import best_plans, make_problem, problems, whole_problems

from chargeplan.plan import certify, night, reach, solve
from chargeplan.plan.certificate import FEASIBLE_KWH, lower_bound, lower_bound_with_taper, value_of_energy
from chargeplan.plan.engines import run_highs
from chargeplan.plan.program import linear_program


@settings(max_examples=300)
@given(whole_problems())
def test_accepts_exactly_the_enumerated_optimum(problem):
    """Every enumerated best plan is proven optimal; its cost is the bound."""
    best = best_plans(problem)
    for energy in best.energy[:5]:
        certificate = certify(problem, energy / problem.gain)
        assert certificate.optimal
        assert certificate.bound == pytest.approx(best.cost[0], abs=1e-9)


@settings(max_examples=400)
@given(problems(), st.data())
def test_rejects_a_worse_plan(problem, data):
    """Energy moved from a used slot to a dearer free one of the same stay is never called optimal."""
    energy = solve(problem).battery_kwh.copy()
    forced, unit = reach(problem).forced_kwh, problem.price_per_kwh / problem.gain
    pairs = [
        (a, b)
        for a in np.flatnonzero(energy > forced + 1e-3)
        for b in np.flatnonzero(energy < problem.max_battery_kwh - 1e-3)
        if problem.stay[a] == problem.stay[b] and unit[b] > unit[a] + 1e-4
    ]
    assume(pairs)
    a, b = data.draw(st.sampled_from(pairs))
    moved = data.draw(st.floats(1e-3, min(energy[a] - forced[a], problem.max_battery_kwh[b] - energy[b])))
    energy[a] -= moved
    energy[b] += moved
    certificate = certify(problem, energy / problem.gain)
    assert not certificate.optimal
    assert certificate.gap >= moved * (unit[b] - unit[a]) - 1e-9


@settings(max_examples=400)
@given(problems(), st.data())
def test_rejects_a_broken_plan(problem, data):
    """A slot above its limit or below 0, or a changed level, is found and never called optimal."""
    wall = solve(problem).wall_kwh.copy()
    level = problem.levels(wall * problem.gain, reach(problem).served_kwh)
    slot, amount = data.draw(st.integers(0, problem.slots - 1)), data.draw(st.floats(1e-3, 5))
    kind = data.draw(st.sampled_from(["above", "below", "level", "missing"]))
    if kind == "above":
        wall[slot] = problem.max_kwh[slot] + amount
    elif kind == "below":
        wall[slot] = -amount
    elif kind == "level":
        level[slot] += amount
    else:
        wall[slot] = np.nan
    certificate = certify(problem, wall, level_kwh=level)
    assert not certificate.feasible
    assert not certificate.optimal


@pytest.mark.parametrize(
    ("energy", "measure"),
    [
        ([0.0, 1.0, 0.0, 0.0], "worst_need_kwh"),
        ([2.0, 2.0, 2.0, 2.0], "worst_capacity_kwh"),
        ([0.0, 0.0, 2.0, 2.0], "worst_floor_kwh"),
        ([2.0, -0.5, 2.0, 0.5], "worst_limit_kwh"),
    ],
)
def test_each_limit_is_measured(energy, measure):
    """Level 1, floor 2, need 5, capacity 6: each plan breaks one limit, and that one is named."""
    problem = make_problem(
        [4], hours=[1] * 4, price=[2, 1, 1, 1], kw=[2], gain=[1], need=[5], drive=[0], level=1, capacity=6, floor=2
    )
    certificate = certify(problem, np.array(energy))
    assert getattr(certificate, measure) >= 0.5
    assert not certificate.feasible
    assert "not feasible" in certificate.words


@settings(max_examples=400)
@given(problems(), st.data())
def test_any_values_give_a_valid_bound(problem, data):
    """Weak duality: for random values of energy the bound is never above the optimal cost."""
    best = reach(problem)
    answer = run_highs(linear_program(problem, best))
    optimum = float(problem.unit_cost @ answer.x[: problem.slots])
    value = st.floats(-1, 1)
    values = np.array(data.draw(st.lists(value, min_size=problem.stays, max_size=problem.stays)))
    assert lower_bound(problem, best, values) <= optimum + 1e-7
    found = value_of_energy(problem, best, solve(problem).battery_kwh)
    assert lower_bound(problem, best, found) == pytest.approx(optimum, abs=1e-7)


@settings(max_examples=200)
@given(problems(taper=True), st.data())
def test_any_duals_give_a_valid_bound_with_a_taper(problem, data):
    """Weak duality with a taper: random duals, of whatever sign, never give a bound above the optimum."""
    best = reach(problem)
    answer = run_highs(linear_program(problem, best))
    optimum = float(problem.unit_cost @ answer.x[: problem.slots])
    size = answer.row_duals.size
    seed = data.draw(st.integers(0, 2**32 - 1))
    noise = np.random.default_rng(seed).normal(0, data.draw(st.sampled_from([0.001, 0.1, 1.0])), size)
    assert lower_bound_with_taper(problem, best, answer.row_duals + noise) <= optimum + 1e-7
    assert lower_bound_with_taper(problem, best, answer.row_duals) == pytest.approx(optimum, abs=1e-7)


def test_without_duals_a_taper_plan_is_not_called_optimal():
    """Nothing is proven without a bound."""
    problem = night([0.1, 0.2], 4.0, 1.0, taper=[(-1.0, 5.0)])
    certificate = certify(problem, solve(problem).wall_kwh)
    assert certificate.feasible
    assert not certificate.optimal
    assert "not proven optimal" in certificate.words


def test_tolerance_is_far_below_one_wrong_slot():
    """A millionth of a kWh in a slot dearer by a hundredth of a cent is seen."""
    problem = night([0.1, 0.1001], 4.0, 0.5)
    moved = 2e-5
    assert moved > FEASIBLE_KWH
    assert certify(problem, np.array([0.5, 0.0])).optimal
    assert not certify(problem, np.array([0.5 - moved, moved])).optimal
