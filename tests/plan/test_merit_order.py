"""Merit order is exact: against enumeration, HiGHS, CBC, and itself on one night at a time."""

import subprocess
import sys

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from plan_cases import best_plans, make_problem, problems, whole_problems

from chargeplan.errors import InputError
from chargeplan.plan import certify, merit_order, merit_order_nights, night, reach, solve
from chargeplan.plan.engines import run_highs, run_pulp
from chargeplan.plan.program import linear_program


@settings(max_examples=600)
@given(whole_problems(), st.sampled_from(["earliest", "as needed", "latest"]))
def test_equals_enumeration(problem, tie_break):
    """Least shortfall, then least cost, then the tie-break: the one best of all whole-numbered plans.

    Whole data have whole optimal plans, because the limits are intervals of time, which form a
    totally unimodular matrix (interval matrices: Schrijver, Theory of Linear and Integer
    Programming, 1986, section 19.4, from memory).
    """
    weight = np.arange(1, problem.slots + 1)
    weight = weight[::-1] if tie_break == "latest" else weight
    if tie_break == "as needed":  # the slots of the last stay count first, and in it the early ones
        weight = np.array([1 + sum(problem.stay > s) + sum(problem.stay[:k] == s) for k, s in enumerate(problem.stay)])
    best = best_plans(problem)
    energy = merit_order(problem, tie_break=tie_break)
    assert energy == pytest.approx(best.energy[np.argmin(best.energy @ weight)], abs=1e-9)
    level = problem.levels(energy, reach(problem).served_kwh)[problem.last]
    assert np.maximum(problem.wanted_kwh - level, 0).sum() == pytest.approx(best.shortfall[0], abs=1e-9)


@settings(max_examples=500)
@given(problems(), st.sampled_from(["earliest", "as needed", "latest"]))
def test_equals_highs(problem, tie_break):
    """Cost and plan equal HiGHS on the linear program with a level per stay, tie-break included."""
    ours, theirs = (solve(problem, solver, tie_break) for solver in ("merit order", "highs"))
    assert ours.wall_kwh @ problem.price_per_kwh == pytest.approx(theirs.wall_kwh @ problem.price_per_kwh, abs=1e-7)
    assert ours.battery_kwh == pytest.approx(theirs.battery_kwh, abs=1e-6)


@settings(max_examples=300)
@given(problems())
def test_equals_highs_with_a_level_per_slot(problem):
    """The cost equals HiGHS on the other formulation, which checks the capacity in every slot."""
    best = reach(problem)
    program = linear_program(problem, best, level_per_slot=True)
    answer = run_highs(program)
    assert problem.unit_cost @ merit_order(problem, best) == pytest.approx(program.cost @ answer.x, abs=1e-7)


@settings(max_examples=40)
@given(problems(max_stays=4))
def test_equals_cbc(problem):
    """The cost equals CBC, another solver by other people; its text file carries 8 digits."""
    best = reach(problem)
    program = linear_program(problem, best)
    answer = run_pulp(program, "CBC")
    assert problem.unit_cost @ merit_order(problem, best) == pytest.approx(program.cost @ answer.x, abs=1e-5)


@settings(max_examples=600)
@given(problems(max_stays=12, max_slots=12, for_solver=False), st.sampled_from(["earliest", "as needed", "latest"]))
def test_always_certified(problem, tie_break):
    """Every merit-order plan is proven optimal by its certificate."""
    energy = merit_order(problem, tie_break=tie_break)
    assert certify(problem, energy / problem.gain).optimal


@settings(max_examples=300)
@given(problems(max_stays=8, for_solver=False))
def test_heaps_and_list_agree(problem):
    """The pool of heaps for a long pool gives the same plan as the sorted list for a short one."""
    module = sys.modules["chargeplan.plan.merit_order"]
    short = merit_order(problem)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "_MERGE_LIMIT", -1)
        assert merit_order(problem) == pytest.approx(short, abs=1e-9)


@settings(max_examples=200)
@given(
    st.integers(1, 6).flatmap(
        lambda slots: st.lists(
            st.tuples(
                st.lists(st.integers(-2, 4), min_size=slots, max_size=slots),
                st.lists(st.integers(0, 3), min_size=slots, max_size=slots),
                st.integers(0, 10),
                st.integers(0, 10),
            ),
            min_size=1,
            max_size=5,
        )
    ),
    st.sampled_from(["earliest", "as needed", "latest"]),
)
def test_nights_at_once(nights, tie_break):
    """Many nights in one sort equal one night at a time."""
    price, most, need, extra = (np.array(part, dtype=float) for part in zip(*nights, strict=True))
    energy = merit_order_nights(price, most, need, room_kwh=need + extra, tie_break=tie_break)
    for k in range(len(nights)):
        one = make_problem(
            [price.shape[1]],
            hours=np.ones(price.shape[1]),
            price=price[k],
            kw=[1.0],
            gain=[1.0],
            need=[need[k]],
            drive=[0.0],
            level=0.0,
            capacity=need[k] + extra[k],
        )
        one.max_kwh[:] = most[k]
        assert energy[k] == pytest.approx(merit_order(one, tie_break=tie_break), abs=1e-9)


def test_as_needed_by_hand():
    """Two nights at one price: 'earliest' fills the battery in the first, 'as needed' only what each drive asks.

    From 2 kWh, 1 kWh a slot. The first departure wants 3, so 1 is charged before it. Its drive takes 2 and the second
    departure wants 4, so 4 are charged in all; the second night has room for the other 3. Within a night the early
    slots come first.
    """
    problem = make_problem(
        [4, 3],
        hours=[1] * 7,
        price=[2] * 7,
        kw=[1, 1],
        gain=[1, 1],
        need=[3, 4],
        drive=[2, 0],
        level=2,
        capacity=6,
    )
    assert merit_order(problem, tie_break="earliest").tolist() == [1, 1, 1, 1, 0, 0, 0]
    assert merit_order(problem, tie_break="as needed").tolist() == [1, 0, 0, 0, 1, 1, 1]
    assert merit_order(problem, tie_break="latest").tolist() == [0, 0, 0, 1, 1, 1, 1]
    for tie_break in ("earliest", "as needed", "latest"):
        assert solve(problem, "highs", tie_break).battery_kwh == pytest.approx(merit_order(problem, None, tie_break))


@example(price=[0.1 + 0.2, 0.3])
@given(price=st.lists(st.floats(-1, 1), min_size=2, max_size=2))
def test_prices_equal_but_for_rounding_tie(price):
    """0.1 + 0.2 and 0.3 are one price: the earlier slot is taken; otherwise the cheaper one is."""
    energy = merit_order(night(price, max_kw=4.0, need_kwh=1.0))
    first = price[0] < price[1] + 6e-13
    if abs(price[0] - price[1]) > 2e-12 or price[0] == 0.1 + 0.2:
        assert energy.tolist() == ([1.0, 0.0] if first else [0.0, 1.0])


def test_free_energy_nobody_needs_is_not_bought():
    """At price 0 only what is needed is bought; below 0 the battery is filled."""
    assert merit_order(night([0.0, 0.0], 4.0, 0.0, capacity_kwh=9)).sum() == 0
    assert merit_order(night([0.0, -0.1, 0.0], 4.0, 0.0, capacity_kwh=9)).tolist() == [0, 1, 0]


def test_what_it_cannot_do_is_said():
    """A taper and unknown tie-breaks are refused, with the way out."""
    with pytest.raises(InputError, match="auto"):
        merit_order(night([0.1], 4.0, 1.0, taper=[(0, 3)]))
    with pytest.raises(InputError, match="earliest"):
        merit_order_nights([[0.1]], 1.0, [1.0], tie_break="soonest")
    with pytest.raises(InputError, match="finite"):
        merit_order_nights([[np.nan]], 1.0, [1.0])


def test_needs_no_heavy_library():
    """A plan by merit order imports neither scipy nor pandas nor pulp."""
    code = (
        "import sys; from datetime import datetime, timedelta, timezone; from chargeplan.plan import *\n"
        "t = datetime(2026, 1, 5, 18, 37, tzinfo=timezone.utc)\n"
        "s = plan(Itinerary(0, 60, [Stay('home', t, t + timedelta(hours=9), 7.2, 0.9, 0.2, 20)]))\n"
        "s.windows, s.departures, s.on_plug_in, s.by_timer, s.fixes, s._repr_html_()\n"
        "assert s.certificate.optimal\n"
        "print(sorted({'scipy', 'pandas', 'pulp', 'highspy', 'matplotlib'} & set(sys.modules)))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"
