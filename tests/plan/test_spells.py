"""Spells cut the slots to the second, and keep the fast way."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.plan import Itinerary, Stay, plan, problem_from
from chargeplan.plan.block import cheapest_block, least_cost_of_a_block
from chargeplan.plan.problem import night
from chargeplan.plan.rules import ChargerRules
from chargeplan.plan.spells import Spell, cut_slots

START = datetime(2026, 1, 5, 18, 7, tzinfo=UTC)
START_S = int(START.timestamp())


def stay(*spells, hours=5, **more):
    """Plugged in for some hours from 18:07, at 7.2 kW and 30 A."""
    given_ = {"wall_kw": 7.2, "gain": 0.9, "need_kwh": 10.0, "current_a": 30, **more}
    return Stay("home", START, START + timedelta(hours=hours), spells=spells, **given_)


@st.composite
def some_spells(draw):
    """Spells in order, not overlapping, some of them outside the stay."""
    edges = sorted(draw(st.sets(st.integers(-7200, 25200), min_size=2, max_size=10)))
    return [
        Spell(START_S + a, START_S + b, draw(st.sampled_from([0.0, 1.0, 3.6])), 0.8)
        for a, b in zip(edges[::2], edges[1::2], strict=False)
    ]


@settings(max_examples=200)
@given(some_spells())
def test_every_second_has_its_limit(spells):
    """The most energy of the slots is that of the seconds: each at the limit of its spell, or of the stay."""
    problem = problem_from(Itinerary(0, 60, [stay(*spells)]))
    end = problem.start_s + np.round(3600 * problem.hours).astype(int)
    assert problem.start_s[0] == START_S
    assert end[-1] == START_S + 5 * 3600
    assert (problem.start_s[1:] == end[:-1]).all()
    for start_s, hours, most, gain in zip(problem.start_s, problem.hours, problem.max_kwh, problem.gain, strict=True):
        limits = set()
        for second in (start_s, start_s + round(3600 * hours) - 1):
            inside = [s for s in spells if s.start_s <= second < s.end_s]
            limits.add((inside[0].wall_kw, inside[0].gain) if inside else (7.2, 0.9))
        assert len(limits) == 1
        kw, expected = limits.pop()
        assert most == pytest.approx(kw * hours)
        assert gain == expected


@settings(max_examples=100)
@given(some_spells())
def test_spells_without_effect_change_no_plan(spells):
    """Cutting alone, at the usual limit, changes neither the cost nor the energy of a window by more than rounding."""
    usual = [replace(spell, wall_kw=7.2, gain=0.9) for spell in spells]

    def price(start_s, step_s):
        return 0.3 - 0.2 * (start_s % 86400 >= 20 * 3600)

    plain, cut = (plan(Itinerary(0, 60, [stay(*s, price_per_kwh=price)])) for s in ((), usual))
    assert cut.total_cost == pytest.approx(plain.total_cost, abs=1e-9)
    assert [(w.start, w.wall_kwh) for w in cut.windows] == [(w.start, pytest.approx(w.wall_kwh)) for w in plain.windows]


def test_the_fast_way_is_kept():
    """Spells alone are no reason for a search; nothing is charged in them, and the current follows the power."""
    schedule = plan(
        Itinerary(0, 60, [stay(Spell(START_S, START_S + 1800, 0.0), Spell(START_S + 3600, START_S + 7200, 3.6, 0.9))])
    )
    assert schedule.method == "merit order: the cheapest feasible slots first"
    assert schedule.certificate.optimal
    found = [((w.start - START).total_seconds() / 60, w.current_a) for w in schedule.windows]
    assert found == [(30, pytest.approx(30)), (60, pytest.approx(15)), (120, pytest.approx(30))], "a current each"
    assert set(schedule.current_a.round(9)) == {0.0, 15.0, 30.0}


def test_prices_of_a_stay_are_one_per_slot_before_the_cut():
    """An array of prices has one for each slot of 15 minutes, whatever the spells."""
    one = stay(Spell(START_S + 60, START_S + 120, 0.0), hours=1, price_per_kwh=[0.1, 0.2, 0.3, 0.4, 0.5])
    problem = problem_from(Itinerary(0, 60, [one]))
    assert problem.price_per_kwh.tolist() == [0.1, 0.1, 0.1, 0.2, 0.3, 0.4, 0.5]


def test_bad_spells_are_refused():
    """An end before its start, an overlap, and numbers out of range say what would be right."""
    with pytest.raises(InputError, match="give a later end"):
        Spell(10, 10, 0.0)
    with pytest.raises(InputError, match="write 0 kW or more"):
        Spell(0, 10, -1.0)
    with pytest.raises(InputError, match="give them in order of time, without overlap"):
        stay(Spell(0, 20, 0.0), Spell(10, 30, 0.0))


def test_cutting_whole_slots_keeps_their_hours():
    """A slot that is not cut keeps its length to the last digit."""
    _, _, hours = cut_slots(np.array([0, 900]), np.array([0.25, 1 / 3]), [Spell(0, 900, 0.0)])
    assert hours.tolist() == [0.25, 1 / 3]


@settings(max_examples=300)
@given(st.data())
def test_two_ways_to_the_cheapest_block_agree(data):
    """Trying every start, and the formula for every pair of slots, find one cost; the certificate uses the second."""
    slots = data.draw(st.integers(1, 12))

    def each(strategy):
        return np.array(data.draw(st.lists(strategy, min_size=slots, max_size=slots)), dtype=float)

    capacity = data.draw(st.floats(0.5, 12).map(lambda x: round(x, 3)))
    level = round(data.draw(st.floats(0, 1)) * capacity, 3)
    problem = night(
        each(st.integers(-2, 5)) / 10,
        4.0,
        round(data.draw(st.floats(0, 1)) * capacity, 3),
        level_kwh=level,
        capacity_kwh=capacity,
        gain=0.5,
    )
    problem = replace(problem, max_kwh=each(st.sampled_from([0, 0.5, 1, 1, 2])), rules=(ChargerRules(most_starts=1),))
    block = cheapest_block(problem)
    cost = 0.0 if block is None else float(problem.unit_cost @ block.battery_kwh)
    bound = least_cost_of_a_block(problem)
    assert cost == pytest.approx(bound if np.isfinite(bound) else 0.0, abs=1e-7)
