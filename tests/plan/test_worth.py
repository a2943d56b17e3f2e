"""What a kWh is worth, against the cost of plans with a little more or less of it; and what changes of a night do."""

import os
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import assume, given, settings
from plan_cases import problems

from chargeplan.errors import InputError
from chargeplan.plan.problem import night
from chargeplan.plan.reach import reach
from chargeplan.plan.solvers import solve
from chargeplan.plan.stops import Drive, Itinerary, Stay
from chargeplan.plan.worth import changes, value_of_power, values_of_energy

#: Small enough to stay on one piece of the cost, large enough to be seen beside rounding.
STEP_KWH = 1e-6
MANY = settings(deadline=None, max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "200")))


def cost_of(problem):
    """The least cost; only where nothing is short, since a shortfall changes what is asked."""
    best = reach(problem)
    assume(best.shortfall_kwh.max() <= 1e-9)
    assume(best.unserved_kwh.max() <= 1e-9)
    return float(solve(problem, best=best).wall_kwh @ problem.price_per_kwh)


def found_for(problem):
    best = reach(problem)
    return values_of_energy(problem, best, solve(problem, best=best).battery_kwh)


@MANY
@given(problems(floor=False))
def test_values_are_the_slopes_of_the_cost(problem):
    """A kWh that is in the battery at the first arrival saves, and one that is missing costs, what the values say."""
    cost, values = cost_of(problem), found_for(problem)
    if np.isfinite(values.saved[0]) and problem.level_kwh + STEP_KWH <= problem.capacity_kwh:
        more = replace(problem, level_kwh=problem.level_kwh + STEP_KWH)
        assert (cost - cost_of(more)) / STEP_KWH == pytest.approx(values.saved[0], abs=1e-4)
    if np.isfinite(values.paid[0]) and problem.level_kwh >= STEP_KWH:
        less = replace(problem, level_kwh=problem.level_kwh - STEP_KWH)
        if reach(less).shortfall_kwh.max() <= 1e-9:
            assert (cost_of(less) - cost) / STEP_KWH == pytest.approx(values.paid[0], abs=1e-4)


@MANY
@given(problems(floor=False))
def test_values_of_later_stays(problem):
    """The same for a drive that takes a little less, or more, before a later stay."""
    cost, values = cost_of(problem), found_for(problem)
    for number in range(1, problem.stays):
        drive = problem.drive_kwh.copy()
        if problem.need_kwh[number - 1] < drive[number - 1] + STEP_KWH:
            continue  # the drive itself sets what is needed before it
        if np.isfinite(values.saved[number]) and drive[number - 1] >= STEP_KWH:
            drive[number - 1] -= STEP_KWH
            less = cost_of(replace(problem, drive_kwh=drive))
            assert (cost - less) / STEP_KWH == pytest.approx(values.saved[number], abs=1e-4)


@MANY
@given(problems(floor=False))
def test_values_of_room(problem):
    """One slot that lets a little more through saves what it is said to."""
    cost = cost_of(problem)
    values = found_for(problem)
    room = value_of_power(problem, values)
    for slot in range(0, problem.slots, 3):
        if not np.isfinite(values.saved[problem.stay[slot]]):
            continue
        most = problem.max_kwh.copy()
        most[slot] += STEP_KWH / problem.gain[slot]
        saved = (cost - cost_of(replace(problem, max_kwh=most))) / STEP_KWH
        assert saved == pytest.approx(room[slot], abs=1e-4)


@given(problems(taper=True).filter(lambda problem: problem.taper.size))
@settings(max_examples=3)
def test_no_values_with_a_taper(problem):
    """A taper makes a kWh worth another amount at every level, so none is claimed."""
    with pytest.raises(InputError, match="with a taper"):
        values_of_energy(problem, reach(problem), np.zeros(problem.slots))


def test_a_night_by_hand():
    """Two hours at 4 kW for 0.30 then 0.10, six kWh wanted: the cheap four are full, two of the dear ones are used."""
    one = night([0.3, 0.1], max_kw=4.0, need_kwh=6.0, step_min=60)
    values = found_for(one)
    assert (values.saved.tolist(), values.paid.tolist()) == ([0.3], [0.3])
    assert value_of_power(one, values).tolist() == [0.0, pytest.approx(0.2)]


def evening(**changed):
    stay = Stay(
        "home",
        datetime(2026, 1, 5, 20, tzinfo=UTC),
        datetime(2026, 1, 5, 22, tzinfo=UTC),
        wall_kw=4.0,
        gain=1.0,
        need_kwh=6.0,
        current_a=16.0,
        price_per_kwh=lambda start_s, step_s: 0.1 + 0.2 * (start_s % 86400 < 21 * 3600),
    )
    return Itinerary(0.0, 60.0, [replace(stay, **changed)])


def test_changes_by_hand():
    """One kWh more is dear: 0.30. 17 A are 4.25 kW: 0.25 kWh move from 0.30 to 0.10. An hour later two more do.

    Five points of 60 kWh are 3: two dear ones and a cheap one.
    """
    found = {change.key: change for change in changes(evening(), 0)}
    assert {key: round(change.cost, 9) for key, change in found.items()} == {
        "one_kwh_more": 0.3,
        "one_ampere_more": -0.05,
        "one_hour_later": -0.4,
        "target_lower": -0.7,
    }
    assert all(change.shortfall_kwh == 0 for change in found.values())


def test_changes_of_a_night_that_is_short():
    """Eight kWh can be had and nine are wanted: a kWh more is missing, and an ampere more gives half a kWh of it."""
    found = {change.key: change for change in changes(evening(need_kwh=9.0), 0)}
    assert found["one_kwh_more"].shortfall_kwh == pytest.approx(1.0)
    assert found["one_kwh_more"].cost == pytest.approx(0.0)
    assert found["one_ampere_more"].shortfall_kwh == pytest.approx(-0.5)
    assert found["one_hour_later"].shortfall_kwh == pytest.approx(-1.0)


def test_changes_that_cannot_be_are_left_out():
    """No kWh above the battery, no ampere of a direct current, no target below nothing, no hour into the next stay."""
    full = replace(evening(need_kwh=60.0, current_a=None), capacity_kwh=60.0)
    assert [change.key for change in changes(full, 0)] == ["one_hour_later", "target_lower"]
    assert "target_lower" not in [change.key for change in changes(evening(need_kwh=1.0), 0)]
    first = evening().stays[0]
    second = replace(first, start=first.end, end=datetime(2026, 1, 5, 23, tzinfo=UTC))
    two = Itinerary(0.0, 60.0, [first, second], [Drive(0.0)])
    assert "one_hour_later" not in [change.key for change in changes(two, 0)]
    assert "one_hour_later" in [change.key for change in changes(two, 1)]
