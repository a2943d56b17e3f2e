"""The highest trajectory, and least shortfalls."""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from plan_cases import enumerate_plans, make_problem, problems, whole_problems
from scipy.optimize import linprog

from chargeplan.plan import reach, solve


def least_total_shortfall(problem):
    """Solve a dense linear program: energies, departure levels, shortfalls; drives all served."""
    n, m = problem.slots, problem.stays
    balance, right = np.zeros((m, n + 2 * m)), np.zeros(m)
    for j in range(m):
        balance[j, :n] = -(problem.stay == j).astype(float)
        balance[j, n + j] = 1.0
        if j:
            balance[j, n + j - 1] = -1.0
        right[j] = problem.level_kwh if j == 0 else -problem.drive_kwh[j - 1]
    short = np.hstack((np.zeros((m, n)), -np.eye(m), -np.eye(m)))
    cost = np.concatenate((np.zeros(n + m), np.ones(m)))
    least = np.concatenate((np.zeros(n), problem.drive_kwh * (np.arange(m) < m - 1), np.zeros(m)))
    most = np.concatenate((problem.max_kwh * problem.gain, np.full(m, problem.capacity_kwh), np.full(m, np.inf)))
    return linprog(cost, short, -problem.wanted_kwh, balance, right, np.column_stack((least, most)), method="highs")


@settings(max_examples=300)
@given(problems())
def test_total_shortfall_equals_a_linear_program(problem):
    """The sum of shortfalls equals the least one found by a linear program that minimises it."""
    best = reach(problem)
    assume(best.unserved_kwh[:-1].sum() == 0)
    result = least_total_shortfall(problem)
    assert result.status == 0
    assert best.shortfall_kwh.sum() == pytest.approx(result.fun, abs=1e-6)


@settings(max_examples=300)
@given(whole_problems())
def test_no_plan_is_less_short_at_any_departure(problem):
    """Also where drives cannot be served: no enumerated plan has less total shortfall."""
    assert reach(problem).shortfall_kwh.sum() == enumerate_plans(problem).shortfall.min()


@settings(max_examples=300)
@given(problems(taper=True), st.randoms(use_true_random=False))
def test_no_plan_gets_higher(problem, random):
    """A random plan that keeps to limits and taper is never above the highest trajectory."""
    best = reach(problem)
    level = problem.level_kwh
    for j in range(problem.stays):
        assert level <= best.arrival_kwh[j] + 1e-9
        for t in range(problem.first[j], problem.last[j] + 1):
            low, high = 0.0, min(problem.max_battery_kwh[t], problem.capacity_kwh - level)
            for _ in range(60):  # largest energy whose power is accepted at both levels, by bisection
                middle = (low + high) / 2
                ends = [(s * x / problem.capacity_kwh + b) for s, b in problem.taper for x in (level, level + middle)]
                low, high = (middle, high) if middle <= problem.hours[t] * min(ends) + 1e-15 else (low, middle)
            level += low * random.choice([1.0, 1.0, random.random()])
        assert level <= best.departure_kwh[j] + 1e-9
        level = max(0.0, level - problem.drive_kwh[j])


@settings(max_examples=200)
@given(problems())
def test_floor_first(problem):
    """Below the floor charging runs at full power whatever the price, until the floor is reached."""
    best = reach(problem)
    energy = solve(problem, "auto").battery_kwh
    before = problem.levels(energy, best.served_kwh) - energy
    due = np.minimum(problem.floor_kwh - before, problem.max_battery_kwh)
    assert (energy >= due - 1e-9).all()


def test_floor_by_hand():
    """Level 1, floor 4, 2 kWh per slot: the first slot is full, the second half used, at any price."""
    problem = make_problem(
        [4], hours=[1] * 4, price=[9, 9, 1, 1], kw=[2], gain=[1], need=[6], drive=[0], level=1, capacity=10, floor=4
    )
    assert reach(problem).forced_kwh.tolist() == [2, 1, 0, 0]
    assert solve(problem).battery_kwh.tolist() == [2, 1, 2, 0]


def test_unserved_drive_by_hand():
    """A drive of 9 kWh with 5 kWh in the battery leaves it at 0, and 4 kWh are reported."""
    problem = make_problem(
        [1, 1], hours=[1, 1], price=[1, 1], kw=[2, 2], gain=[1, 1], need=[0, 0], drive=[9, 0], level=3, capacity=10
    )
    best = reach(problem)
    assert best.unserved_kwh.tolist() == [4, 0]
    assert best.shortfall_kwh.tolist() == [4, 0]
    assert best.arrival_kwh.tolist() == [3, 0]
