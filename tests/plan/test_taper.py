"""With a taper: never above it at any moment, cheapest by an independent program, and proven."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import problems
from scipy.optimize import linprog

from chargeplan.plan import Itinerary, certify, merit_order, night, plan, reach, solve
from chargeplan.plan.certificate import accepted_kwh
from chargeplan.plan.unmanaged import on_plug_in


def accepted_kw(problem, level):
    """Power the taper accepts at battery levels, straight from its definition."""
    segments = np.array(problem.taper)
    return (segments[:, :1] * np.atleast_1d(level) / problem.capacity_kwh + segments[:, 1:]).min(axis=0)


@settings(max_examples=300)
@given(problems(taper=True), st.sampled_from(["earliest", "as needed", "latest"]))
def test_never_above_the_taper_at_any_moment(problem, tie_break):
    """Simulated in 200 steps per slot, charging power is never above the taper nor the limit."""
    best = reach(problem)
    solution = solve(problem, "auto", tie_break, best=best)
    level = problem.levels(solution.battery_kwh, best.served_kwh)
    before = level - solution.battery_kwh
    allowed = accepted_kwh(problem, before, level)
    for t in np.flatnonzero(solution.wall_kwh > 1e-9):
        run_h = problem.hours[t] * solution.battery_kwh[t] / allowed[t]
        power_kw = solution.battery_kwh[t] / run_h
        assert run_h <= problem.hours[t] * (1 + 1e-9)
        assert power_kw <= problem.max_battery_kwh[t] / problem.hours[t] + 1e-9
        moments = before[t] + power_kw * np.linspace(0, run_h, 200)
        assert (power_kw <= accepted_kw(problem, moments) + 1e-6).all()


@settings(max_examples=300)
@given(problems(taper=True), st.sampled_from(["earliest", "as needed", "latest"]))
def test_proven_optimal(problem, tie_break):
    """The duals of HiGHS close the gap of the plan as it stands after clipping to the taper."""
    solution = solve(problem, tie_break=tie_break)
    assert certify(problem, solution.wall_kwh, row_duals=solution.row_duals).optimal


@settings(max_examples=200)
@given(problems(taper=True))
def test_cost_equals_a_dense_program(problem):
    """The cost equals a program written without levels, as dense cumulative sums."""
    best, n = reach(problem), problem.slots
    total = np.tril(np.ones((n, n)))  # level at the end of slot t = given[t] + total[t] @ y
    drives = np.zeros(n)
    drives[problem.first[1:]] = best.served_kwh[:-1]
    given = problem.level_kwh - np.cumsum(drives)
    rows, limits = [total], [problem.capacity_kwh - given]
    rows.append(-total[problem.last])
    limits.append(given[problem.last] - best.need_kwh + 1e-9)
    for slope, power in problem.taper:
        at = total if slope < 0 else total - np.eye(n)
        per_kwh = (problem.hours * slope / problem.capacity_kwh)[:, None]
        rows.append(np.eye(n) - per_kwh * at)
        limits.append(problem.hours * power + per_kwh[:, 0] * given)
    bounds = np.column_stack((best.forced_kwh, problem.max_battery_kwh))
    result = linprog(problem.unit_cost, np.vstack(rows), np.concatenate(limits), bounds=bounds, method="highs")
    assert result.status == 0
    assert problem.unit_cost @ solve(problem).battery_kwh == pytest.approx(result.fun, abs=1e-6)


@settings(max_examples=200)
@given(problems(), st.sampled_from(["earliest", "as needed", "latest"]))
def test_a_taper_that_never_binds_changes_nothing(problem, tie_break):
    """With a taper far above the limit the program gives the plan of merit order, tie-break included."""
    from dataclasses import replace

    wide = replace(problem, taper=np.array([[-1.0, 1e4], [0.0, 5e3]]))
    assert solve(wide, "auto", tie_break).battery_kwh == pytest.approx(merit_order(problem, None, tie_break), abs=1e-6)


def test_greatest_level_by_hand():
    """One hour, 10 kWh battery, power 10 kW x (1 - soc), from empty: y = 10 (1 - y/10) gives y = 5."""
    problem = night([1.0], 20.0, 9.0, capacity_kwh=10.0, step_min=60, taper=[(-10.0, 10.0)])
    assert reach(problem).departure_kwh.tolist() == [5.0]
    assert solve(problem).battery_kwh == pytest.approx([5.0], abs=1e-9)


def test_conservative_by_little():
    """Against the exact exponential approach to full, 1-minute slots lose under 1 % of the energy.

    dL/dt = 10 (1 - L/10) from 0 gives L(1 h) = 10 (1 - 1/e).
    """
    problem = night(np.ones(60), 20.0, 9.9, capacity_kwh=10.0, step_min=1, taper=[(-10.0, 10.0)])
    exact = 10 * (1 - np.exp(-1))
    level = reach(problem).departure_kwh[0]
    assert exact * 0.99 < level < exact


@settings(max_examples=100)
@given(problems(taper=True))
def test_plug_in_reaches_the_level_of_the_plan(problem):
    """Charging at once keeps to the taper as well, and reaches the plan's level at every departure."""
    best = reach(problem)
    energy = solve(problem, best=best).battery_kwh
    departure = problem.levels(energy, best.served_kwh)[problem.last]
    habit = on_plug_in(problem, departure, 0.0)
    assert habit.short_kwh.max() <= 1e-6
    gained = habit.wall_kwh * problem.gain
    level = problem.levels(gained, best.served_kwh)
    assert (gained <= accepted_kwh(problem, level - gained, level) + 1e-6).all()


def test_schedule_names_the_current_of_the_taper(evening):
    """Where the taper binds, the current falls below the limit and never rises above it."""
    tapered = Itinerary(evening.level_kwh, evening.capacity_kwh, evening.stays, taper=[(-12.0, 13.0)])
    schedule = plan(tapered)
    assert schedule.certificate.optimal
    assert schedule.current_a.max() <= 30 + 1e-9
    on = schedule.current_a[schedule.wall_kwh > 1e-9]
    assert on.min() < 29
    assert schedule.run_hours.max() <= 0.25 + 1e-12
