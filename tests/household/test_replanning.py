"""Planning again from the present: without anything new, what is left of a plan stays as it was."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from household_cases import EXAMPLES
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.household import load_household, plan_tonight

PREFER = ("as needed", "earliest", "latest")


@settings(deadline=None, max_examples=60, suppress_health_check=list(HealthCheck))
@given(
    name=st.sampled_from(EXAMPLES),
    prefer=st.sampled_from(PREFER),
    hour=st.integers(0, 24 * 364),
    soc=st.integers(0, 90),
    part=st.floats(0, 1),
)
def test_a_plan_does_not_flap(name, prefer, hour, soc, part):
    """At any quarter hour of the night, with the battery as planned, the rest of the plan is planned again.

    The same energy in the same slots, so the same windows, cost and level at departure; nights of a clock change too.
    """
    home = load_household(name)
    start = datetime(2026, 1, 2, tzinfo=UTC) + timedelta(hours=hour)
    plan = plan_tonight(home, soc=f"{soc} %", now=start, plugged_in=True, prefer=prefer)
    schedule, stay = plan.schedule, plan.itinerary.stays[0]
    slot = int(part * (schedule.start_s.size - 1))
    if slot == 0:
        return
    level = float(schedule.level_kwh[slot - 1]) / home.vehicle.usable_kwh
    later = datetime.fromtimestamp(int(schedule.start_s[slot]), UTC)
    again = plan_tonight(home, soc=level, now=later, plugged_in=True, prefer=prefer, leave=stay.end).schedule
    np.testing.assert_array_equal(again.start_s, schedule.start_s[slot:])
    np.testing.assert_allclose(again.wall_kwh, schedule.wall_kwh[slot:], atol=1e-6)
    assert again.total_cost == pytest.approx(float(schedule.cost[slot:].sum()), abs=1e-6)
    assert again.level_kwh[-1] == pytest.approx(schedule.level_kwh[-1], abs=1e-6)


def test_the_same_question_has_the_same_answer():
    """Asked twice, also with a solver, the same plan comes back to the last digit."""
    home = load_household("demo")
    for solver in ("auto", "highs"):
        plans = [plan_tonight(home, soc="31 %", now="2026-11-25 20:00", solver=solver).schedule for _ in range(2)]
        assert (plans[0].wall_kwh == plans[1].wall_kwh).all()
