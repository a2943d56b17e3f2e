"""Wishes that contradict one another, against a simulation that knows nothing of the planner."""

from itertools import combinations

import pytest
from hypothesis import assume, event, given, settings
from plan_cases import make_problem, problems

from chargeplan.plan.conflicts import Wish, conflict


def is_short(problem, number, kept):
    """Charge at the limit all the time, without what is not among the wishes that are kept."""
    level = problem.level_kwh
    for stay in range(number + 1):
        need = problem.need_kwh[stay] if stay < number or Wish("target", number) in kept else 0.0
        drive = problem.drive_kwh[stay]
        if stay < number and Wish("earlier drive", stay) not in kept and drive > 0:
            drive = 0.0
        if stay == number and Wish("drive", number) not in kept:
            drive = 0.0
        floor = problem.floor_kwh if stay < number or Wish("floor", number) in kept else 0.0
        gained = sum(
            float(most * gain)
            for most, gain, where in zip(problem.max_kwh, problem.gain, problem.stay, strict=True)
            if where == stay
        )
        level = min(problem.capacity_kwh, level + gained)
        if Wish("stay", stay) not in kept:
            level = problem.capacity_kwh
        wanted = max(need, drive + floor)
        if stay == number:
            return wanted - level > 1e-6
        level = max(0.0, level - drive)
    raise AssertionError


@settings(deadline=None, max_examples=300)
@given(problems(max_stays=4))
def test_a_conflict_is_one_and_is_smallest(problem):
    """What is named cannot be met together; without any one of it, the departure can be met."""
    for number in range(problem.stays):
        found = conflict(problem, number)
        everything = {
            *(Wish("stay", stay) for stay in range(number + 1)),
            *(Wish("earlier drive", stay) for stay in range(number)),
            *(Wish(kind, number) for kind in ("target", "drive", "floor")),
        }
        assert bool(found) == is_short(problem, number, everything)
        if not found:
            continue
        event(f"{len(found)} wishes")
        assert is_short(problem, number, set(found))
        for fewer in combinations(found, len(found) - 1):
            assert not is_short(problem, number, set(fewer))


@pytest.mark.parametrize(
    ("need", "drive", "floor", "kinds"),
    [
        (8.0, 0.0, 0.0, ["target", "stay"]),
        (0.0, 8.0, 0.0, ["drive", "stay"]),
        (0.0, 5.0, 3.0, ["floor", "drive", "stay"]),
        (0.0, 11.0, 0.0, ["drive"]),
    ],
)
def test_conflicts_by_hand(need, drive, floor, kinds):
    """Three kWh in the battery of ten and two hours at 1 kW: five can be had. A drive of eleven fits no battery."""
    one = make_problem(
        [2], hours=[1, 1], price=[1, 1], kw=[1], gain=[1], need=[need], drive=[drive], level=3, capacity=10, floor=floor
    )
    assert [wish.kind for wish in conflict(one, 0)] == kinds


@settings(max_examples=20)
@given(problems(taper=True, max_stays=2))
def test_a_taper_belongs_to_its_stay(problem):
    """With a taper too, a stay that is given up ends with a full battery."""
    for number in range(problem.stays):
        found = conflict(problem, number)
        assume(found)
        assert all(wish.stay <= number for wish in found)
