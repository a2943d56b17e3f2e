"""Why slots charge or wait: what is said of a slot must be so, on plans of all kinds."""

import numpy as np
from hypothesis import event, given, settings
from plan_cases import problems

from chargeplan.plan.problem import night
from chargeplan.plan.reach import reach
from chargeplan.plan.reasons import reasons
from chargeplan.plan.solvers import solve
from chargeplan.plan.worth import values_of_energy


def explained(problem):
    best = reach(problem)
    energy = solve(problem, best=best).battery_kwh
    return best, energy, reasons(problem, best, energy, values_of_energy(problem, best, energy))


@settings(deadline=None, max_examples=300)
@given(problems())
def test_what_is_said_is_so(problem):
    """The stretches cover every slot once, and each statement holds for each of its slots."""
    best, energy, found = explained(problem)
    level = problem.levels(energy, best.served_kwh)
    end_s = problem.start_s + np.round(3600 * problem.hours).astype(int)
    covered = 0
    for stretch in found:
        event(stretch.reason)
        inside = (problem.start_s >= stretch.start_s) & (end_s <= stretch.end_s) & (problem.stay == stretch.stay)
        covered += int(inside.sum())
        price, used = problem.price_per_kwh[inside], energy[inside] > 2e-9
        assert used.all() if stretch.charges else not used.any()
        assert (stretch.low, stretch.high) == (price.min(), price.max())
        mine = problem.stay == stretch.stay
        used_here = mine & (energy > best.forced_kwh + 2e-9)
        if stretch.reason == "floor":
            assert (best.forced_kwh[inside] > 0).all()
        elif stretch.reason == "short":
            assert best.shortfall_kwh[stretch.stay] > 0
        elif stretch.reason in ("cheap", "last"):
            assert (problem.price_per_kwh[inside] <= stretch.worth + 1e-6).all() or np.isnan(stretch.worth)
        elif stretch.reason == "off":
            assert (problem.max_kwh[inside] == 0).all()
        elif stretch.reason == "full":
            assert (level[inside] >= problem.capacity_kwh - 1e-6).all()
        elif stretch.reason == "dear" and used_here.any():
            dearest = problem.unit_cost[used_here].max()
            assert (problem.unit_cost[inside] > dearest - 1e-9).all()
        elif stretch.reason == "equal":
            assert np.allclose(problem.price_per_kwh[inside], stretch.worth, atol=1e-6)
    assert covered == problem.slots


def test_a_night_by_hand():
    """Dear in the evening, cheap at night, cheap and not needed in the morning, at a price between at breakfast."""
    one = night([0.39, 0.18, 0.18, 0.18, 0.25], max_kw=4.0, need_kwh=1.5)
    assert [(s.charges, s.reason, s.low) for s in explained(one)[2]] == [
        (False, "dear", 0.39),
        (True, "last", 0.18),
        (False, "equal", 0.18),
        (False, "dear", 0.25),
    ]


def test_a_battery_that_needs_nothing():
    """With the target in the battery already, no price is called dear: nothing is needed."""
    one = night([0.3, 0.1], max_kw=4.0, need_kwh=5.0, level_kwh=6.0, capacity_kwh=10.0)
    assert [(s.charges, s.reason) for s in explained(one)[2]] == [(False, "none")]


def test_prices_below_zero_fill_the_battery():
    """At -0.05 all that fits is taken; when the battery is full, the last slot waits for that reason."""
    one = night([0.1, -0.05, -0.05, -0.05], max_kw=4.0, need_kwh=0.0, capacity_kwh=2.0)
    assert [(s.charges, s.reason) for s in explained(one)[2]][-1] == (False, "full")
