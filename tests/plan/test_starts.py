"""Fewest starts, and the placing of partly used slots."""

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_cases import best_plans, blocks_of, fewest_blocks, make_problem, problems, whole_problems

from chargeplan.plan import certify, reach, solve


@settings(max_examples=300)
@given(problems(max_stays=3, max_slots=4), st.data(), st.booleans())
def test_placing_gives_the_fewest_blocks(problem, data, latest):
    """For any energies, placing slots by the greedy rule gives as few blocks as the best of all placings."""
    share = data.draw(st.lists(st.sampled_from([0.0, 0.4, 1.0]), min_size=problem.slots, max_size=problem.slots))
    forced = reach(problem).forced_kwh
    energy = np.maximum(problem.max_battery_kwh * np.array(share), forced)
    found = blocks_of(problem, energy, latest=latest)
    assert found.first.size == fewest_blocks(problem, energy, forced)


@settings(max_examples=300)
@given(problems(), st.booleans())
def test_blocks_hold_the_energy(problem, latest):
    """Blocks lie inside their slots, do not overlap, and last as long as charging runs."""
    energy = solve(problem, "auto", "latest" if latest else "earliest").battery_kwh
    found = blocks_of(problem, energy, latest=latest)
    most = problem.max_battery_kwh
    hours = np.divide(energy, most, out=np.zeros_like(energy), where=most > 0) * problem.hours
    for first, last, start, end in zip(found.first, found.last, found.start_s, found.end_s, strict=True):
        assert start >= problem.start_s[first] - 1e-3
        assert end <= problem.start_s[last] + 3600 * problem.hours[last] + 1e-3
        assert end - start == pytest.approx(3600 * hours[first : last + 1].sum(), abs=1e-3)
    assert (found.start_s[1:] >= found.end_s[:-1] - 1e-3).all()
    assert hours.sum() == pytest.approx((found.end_s - found.start_s).sum() / 3600, abs=1e-6)


def run_numbers(problem):
    """Number the price runs: neighbouring slots of a stay at one price and power."""
    key = list(zip(problem.stay, problem.price_per_kwh, problem.max_kwh > 0, strict=True))
    return np.cumsum([0] + [a != b for a, b in itertools.pairwise(key)]) + 1


@settings(max_examples=200)
@given(whole_problems(max_slots=5, prices=(0, 1)))
def test_fewest_starts_equals_enumeration(problem):
    """Among all enumerated cheapest plans none has fewer blocks, nor as few and earlier price runs."""
    forced = reach(problem).forced_kwh
    best = best_plans(problem)
    counts = np.array([fewest_blocks(problem, energy, forced) for energy in best.energy])
    energy = solve(problem, "auto", "fewest starts").battery_kwh
    assert blocks_of(problem, energy).first.size == counts.min()
    weight = run_numbers(problem)
    assert energy @ weight == pytest.approx((best.energy[counts == counts.min()] @ weight).min(), abs=1e-6)


@settings(max_examples=60)
@given(problems(max_stays=4), st.sampled_from(["auto", "highs"]))
def test_fewest_starts_is_still_cheapest(problem, solver):
    """The plan with the fewest starts is proven optimal, and has no more blocks than the earliest plan."""
    best = reach(problem)
    solution = solve(problem, solver, "fewest starts", best=best)
    assert certify(problem, solution.wall_kwh).optimal
    earliest = solve(problem, "auto", best=best).battery_kwh
    assert blocks_of(problem, solution.battery_kwh).first.size <= blocks_of(problem, earliest).first.size


@settings(max_examples=40)
@given(problems(max_stays=2, max_slots=5, taper=True))
def test_fewest_starts_with_a_taper_is_still_cheapest(problem):
    """With a taper the search keeps to the optimal plans as well."""
    solution = solve(problem, "auto", "fewest starts")
    assert certify(problem, solution.wall_kwh, row_duals=solution.row_duals).optimal


def test_fewest_starts_by_hand():
    """Cheap, dear, cheap x 2: for two kWh the earliest plan starts twice, the one with fewest starts once."""
    problem = make_problem(
        [4], hours=[1] * 4, price=[1, 2, 1, 1], kw=[1], gain=[1], need=[2], drive=[0], level=0, capacity=4
    )
    assert solve(problem).battery_kwh.tolist() == [1, 0, 1, 0]
    assert solve(problem, tie_break="fewest starts").battery_kwh.tolist() == [0, 0, 1, 1]


def test_a_partial_run_before_another_is_put_at_its_end():
    """Three kWh at one price, then a fourth cheaper: the block must end where the cheap slot begins."""
    problem = make_problem(
        [4], hours=[1] * 4, price=[2, 2, 2, 1], kw=[1], gain=[1], need=[2.5], drive=[0], level=0, capacity=4
    )
    solution = solve(problem, tie_break="fewest starts")
    assert solution.battery_kwh.tolist() == [0, 0.5, 1, 1]
    found = blocks_of(problem, solution.battery_kwh)
    assert (found.start_s / 3600).tolist() == [1.5]
    assert (found.end_s / 3600).tolist() == [4]


def test_what_the_floor_forces_cannot_be_moved_to_touch_what_follows():
    """Half the first slot is forced at once, so the second would start anew; the fourth touches the fifth."""
    problem = make_problem(
        [5], hours=[1] * 5, price=[4, 2, 3, 2, 1], kw=[2], gain=[1], need=[4], drive=[0], level=0, capacity=6, floor=1
    )
    energy = solve(problem, tie_break="fewest starts").battery_kwh
    assert energy.tolist() == [1, 0, 0, 1, 2]
    assert blocks_of(problem, energy).first.size == 2


def test_a_partly_used_run_does_not_join_two_blocks():
    """One kWh leaves a pause in the gap of two hours, but fills the later gap of one hour: three blocks, not four."""
    problem = make_problem(
        [7],
        hours=[1, 2, 1, 1, 1, 1, 1],
        price=[1, 2, 1, 3, 1, 2, 1],
        kw=[1],
        gain=[1],
        need=[5],
        drive=[0],
        level=0,
        capacity=8,
    )
    energy = solve(problem, tie_break="fewest starts").battery_kwh
    assert energy.tolist() == [1, 0, 1, 0, 1, 1, 1]
    assert blocks_of(problem, energy).first.size == 3
