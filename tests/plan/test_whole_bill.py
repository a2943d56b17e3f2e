"""Plans against whole bills: brute force, another solver, and the bound that no plan undercuts."""

import os
from functools import partial

import numpy as np
import pytest
from billed_cases import bills_of
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from plan_cases import enumerate_plans, problems, whole_problems

from chargeplan.plan.certificate import certify
from chargeplan.plan.engines import run_pulp
from chargeplan.plan.merit_order import merit_order
from chargeplan.plan.problem import night
from chargeplan.plan.reach import reach
from chargeplan.plan.whole_bill import BilledSlots, plan_whole_bill, total_cost
from chargeplan.tariff.bill_shape import BillShape, PeakShape, TierShape

#: Examples per test; more for a long run by hand.
EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "60"))
SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}


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
    """HiGHS and CBC agree on problems with real numbers, and the plan keeps every limit.

    Prices chosen by a total jump at a limit, which the digits of CBC's files do not hit.
    """
    problem = data.draw(problems(max_stays=3, floor=False))
    bills = data.draw(bills_of(problem, choices_too=False))
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
def test_a_taper_is_kept(data):
    """With a taper too the plan is proven cheapest, another solver agrees, and no slot takes more than it lets in."""
    problem = data.draw(problems(max_stays=2, max_slots=5, floor=False, taper=True))
    bills = data.draw(bills_of(problem, choices_too=False))
    assume(bills)
    found = plan_whole_bill(problem, bills)
    assert found.optimal, found.cost - found.bound
    assert certify(problem, found.wall_kwh).feasible
    other = plan_whole_bill(problem, bills, engine=partial(run_pulp, name="CBC"))
    assert other.cost == pytest.approx(found.cost, abs=1e-4)


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
