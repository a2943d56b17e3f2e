"""Plans against whole bills under rules about switching, against every pattern of hours."""

import os

import numpy as np
import pytest
from billed_cases import bills_of
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from plan_cases import enumerate_plans, fewest_blocks, whole_problems
from rule_cases import cell_problems, patterns

from chargeplan.plan.bill_slots import total_cost
from chargeplan.plan.billed_rules import counting_starts, plan_rules_billed
from chargeplan.plan.reach import reach
from chargeplan.plan.rule_proof import certify_ruled
from chargeplan.plan.whole_bill import plan_whole_bill

#: Examples per test; more for a long run by hand.
EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "40"))
SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}


def as_good_as_without_rules(problem, best, energy):
    """Whether a plan leaves each departure, and the floor, as well as the best one without rules."""
    level = problem.levels(energy, best.served_kwh)
    return (energy >= best.forced_kwh - 1e-9).all() and (level[problem.last] >= best.need_kwh - 1e-9).all()


@settings(max_examples=EXAMPLES, **SLOW)
@given(st.data())
def test_no_pattern_of_hours_is_cheaper(data):
    """Of all patterns of whole hours that keep the rules none raises the bills less; the bound is below them all."""
    problem = data.draw(cell_problems(max_cells=8, max_stays=2))
    bills = data.draw(bills_of(problem))
    best = reach(problem)
    found = plan_rules_billed(problem, bills, best, tie_break="earliest", time_limit_s=60)
    event(f"found: {found is not None}")
    every = [
        total_cost(problem, bills, energy / problem.gain)
        for *_, energy in patterns(problem)
        if as_good_as_without_rules(problem, best, energy)
    ]
    if found is None:
        assert not every
        return
    found, slack = found
    cost = total_cost(problem, bills, found.battery_kwh / problem.gain)
    assert as_good_as_without_rules(problem, best, found.battery_kwh + 1e-7)
    assert certify_ruled(problem, found.battery_kwh / problem.gain, found, best).feasible
    assert found.bound <= cost + 1e-5
    assert cost - found.bound <= 1e-5 + slack
    assert plan_whole_bill(problem, bills).bound <= cost + 1e-6
    if every:
        assert cost <= min(every) + 1e-5 + slack


@settings(max_examples=EXAMPLES, **SLOW)
@given(st.data())
def test_no_cheapest_plan_starts_less_often(data):
    """Counting starts, the plan costs as little as without, and no plan in whole kWh as cheap starts less often."""
    problem = data.draw(whole_problems(max_stays=2, max_slots=5))
    bills = data.draw(bills_of(problem, choices_too=False))
    best, cheapest = reach(problem), plan_whole_bill(problem, bills)
    found, _ = plan_rules_billed(counting_starts(problem), bills, best, tie_break="fewest starts", time_limit_s=60)
    assert total_cost(problem, bills, found.battery_kwh / problem.gain) == pytest.approx(cheapest.cost, abs=1e-5)
    every = enumerate_plans(problem)
    for energy in every.energy:
        if as_good_as_without_rules(problem, best, energy):
            cost = total_cost(problem, bills, energy / problem.gain)
            if cost <= cheapest.cost + 1e-9 and np.count_nonzero(energy):
                assert found.start_s.size <= fewest_blocks(problem, energy, best.forced_kwh)
