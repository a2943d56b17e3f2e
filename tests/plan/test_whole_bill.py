"""Plans against whole bills: brute force, another solver, and the bound that no plan undercuts."""

import os
from functools import partial

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st
from plan_cases import enumerate_plans, problems, whole_problems

from chargeplan.plan.engines import run_pulp
from chargeplan.plan.merit_order import merit_order
from chargeplan.plan.problem import night
from chargeplan.plan.reach import reach
from chargeplan.plan.whole_bill import BilledSlots, plan_whole_bill, total_cost
from chargeplan.tariff.bill_shape import BillShape, MinimumShape, PeakShape, TierShape

#: Examples per test; more for a long run by hand.
EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "60"))
SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}


@st.composite
def bills_of(draw, problem, *, plain=False):
    """Bills for the slots of a problem, each slot an interval of its own; some slots may be on none."""
    on = np.array(draw(st.lists(st.sampled_from([True, True, False]), min_size=problem.slots, max_size=problem.slots)))
    cut = draw(st.integers(0, problem.slots))
    found = []
    for chosen in (np.arange(problem.slots) < cut, np.arange(problem.slots) >= cut):
        slot = np.flatnonzero(chosen & on)
        if not slot.size:
            continue
        size = int(slot.size)
        price = np.array(draw(st.lists(st.sampled_from([0.05, 0.1, 0.1, 0.3]), min_size=size, max_size=size)))
        weight = draw(st.sampled_from([1.0, 1.05]))
        tiers, peaks, minimum = [], [], None
        if not plain and draw(st.booleans()):
            limits = np.sort(np.array(draw(st.lists(st.integers(1, 12), min_size=1, max_size=2, unique=True)), float))
            rise = np.array(
                draw(st.lists(st.sampled_from([0.0, 0.1, 0.25]), min_size=limits.size, max_size=limits.size))
            )
            share = np.array(draw(st.lists(st.sampled_from([0.0, 1.0, 1.05]), min_size=size, max_size=size)))
            tiers.append(TierShape(share, float(draw(st.integers(0, 8))), limits, rise, weight, 1.0))
        if not plain and draw(st.booleans()):
            block = np.array(draw(st.lists(st.integers(-1, 3), min_size=size, max_size=size)))
            block = np.unique(block, return_inverse=True)[1] - (1 if -1 in block else 0)
            if block.max() >= 0:
                count = int(block.max()) + 1
                kw = np.array(draw(st.lists(st.sampled_from([0.0, 1.0, 3.0]), min_size=count, max_size=count)))
                day = np.arange(count) // 2 if draw(st.booleans()) else np.zeros(count, dtype=int)
                limits = np.array([2.0]) if draw(st.booleans()) else np.zeros(0)
                tier_price = np.cumsum(np.r_[draw(st.sampled_from([0.5, 4.0])), np.full(limits.size, 3.0)])
                least = draw(st.sampled_from([0.0, 2.5]))
                peaks.append(PeakShape(block, kw, day, 1.0, least, limits, tier_price, weight, 1.0))
        if not plain and draw(st.booleans()):
            minimum = MinimumShape(draw(st.sampled_from([-1.0, 0.4, 3.0])), 1.0)
        shape = BillShape(0, 900, weight * price, price, tuple(tiers), tuple(peaks), minimum)
        event(f"tiers {len(tiers)}, peaks {len(peaks)}, minimum {minimum is not None}")
        found.append(BilledSlots(shape, slot, np.arange(size)))
    return found


@settings(max_examples=2 * EXAMPLES, **SLOW)
@given(st.data())
def test_no_plan_is_cheaper(data):
    """Of all plans in whole kWh with as little missing, none costs less; and the plan found is proven cheapest."""
    problem = data.draw(whole_problems())
    bills = data.draw(bills_of(problem))
    found = plan_whole_bill(problem, bills)
    assert found.optimal, found.cost - found.bound
    assert found.cost == pytest.approx(total_cost(problem, bills, found.wall_kwh))
    best = reach(problem)
    every = enumerate_plans(problem)
    least = every.keep(every.shortfall <= every.shortfall.min() + 1e-9)
    for energy in least.energy:
        level = problem.levels(energy.astype(float), best.served_kwh)[problem.last]
        if (energy >= best.forced_kwh - 1e-9).all() and (level >= best.need_kwh - 1e-9).all():
            assert total_cost(problem, bills, energy / problem.gain) >= found.cost - 1e-6


@settings(max_examples=EXAMPLES, **SLOW)
@given(st.data())
def test_another_solver_finds_the_same_cost(data):
    """HiGHS and CBC agree on problems with real numbers, and the plan keeps every limit."""
    problem = data.draw(problems(max_stays=3, floor=False))
    bills = data.draw(bills_of(problem))
    assume(bills)
    found = plan_whole_bill(problem, bills)
    other = plan_whole_bill(problem, bills, engine=partial(run_pulp, name="CBC"))
    assert found.optimal
    assert other.cost == pytest.approx(found.cost, abs=1e-4)
    best = reach(problem)
    level = problem.levels(found.battery_kwh, best.served_kwh)
    assert (found.wall_kwh <= problem.max_kwh + 1e-9).all()
    assert (level <= problem.capacity_kwh + 1e-6).all()
    assert (level[problem.last] >= best.need_kwh - 1e-6).all()


@settings(max_examples=EXAMPLES, **SLOW)
@given(st.data())
def test_a_bill_of_prices_alone_is_merit_order(data):
    """Without tiers, demand and minimum the plan costs what the fast way finds at the same prices."""
    from dataclasses import replace

    problem = data.draw(problems(max_stays=3))
    bills = data.draw(bills_of(problem, plain=True))
    price = problem.price_per_kwh.copy()
    for bill in bills:
        price[bill.slot] = bill.shape.price
    same = replace(problem, price_per_kwh=price)
    cost = float(merit_order(same) @ same.unit_cost)
    assert plan_whole_bill(problem, bills).cost == pytest.approx(cost, abs=1e-6)


def test_a_tier_moves_charging_to_the_next_bill():
    """One kWh is left below the limit of this bill: the other comes after midnight, on the next, at 0.15, not 0.3.

    By hand: 1 at 0.1 and 1 at 0.15 are 0.25; both before midnight were 0.1 + 0.3.
    """
    one = night([0.0, 0.0, 0.0, 0.0], max_kw=1.0, need_kwh=2.0, step_min=60)
    tier = TierShape(np.ones(2), 599.0, np.array([600.0]), np.array([0.2]), 1.0, 0.0)
    first = BillShape(0, 3600, np.full(2, 0.1), np.zeros(2), (tier,), (), None)
    second = BillShape(0, 3600, np.full(2, 0.15), np.zeros(2), (), (), None)
    bills = [BilledSlots(first, np.arange(2), np.arange(2)), BilledSlots(second, np.arange(2, 4), np.arange(2))]
    found = plan_whole_bill(one, bills)
    assert found.wall_kwh.round(6).tolist() == [1.0, 0.0, 1.0, 0.0]
    assert (round(found.cost, 6), found.optimal) == (0.25, True)


def test_a_demand_that_is_charged_spreads_the_night():
    """4 kWh in four hours beside a house of 1, 1, 3 and 1 kW at 10 per kW above its 3 kW: nothing need be added.

    By hand: 2 + 2 + 0 + 0 stays at 3 kW; the third hour has no room.
    """
    one = night([0.0] * 4, max_kw=4.0, need_kwh=4.0, step_min=60)
    house = np.array([1.0, 1.0, 3.0, 1.0])
    peak = PeakShape(np.arange(4), house, np.zeros(4, int), 1.0, 0.0, np.zeros(0), np.array([10.0]), 1.0, 0.0)
    shape = BillShape(0, 3600, np.zeros(4), np.zeros(4), (), (peak,), None)
    found = plan_whole_bill(one, [BilledSlots(shape, np.arange(4), np.arange(4))])
    assert found.wall_kwh.round(6).tolist() == [2.0, 2.0, 0.0, 0.0]
    assert (round(found.cost, 6), found.optimal) == (0.0, True)
