"""Rules about switching together with a taper: equal to enumeration and to other solvers, and proven or bounded."""

import itertools
import os
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st
from plan_cases import problems

from chargeplan.plan import night, reach, solve
from chargeplan.plan.rule_proof import certify_ruled
from chargeplan.plan.ruled import keeps_rules, reached
from chargeplan.plan.rules import ChargerRules
from chargeplan.plan.tapered import energy_of_runs, without_idle_taper
from chargeplan.plan.tapered_block import cheapest_tapered_block, least_cost_of_a_tapered_block

#: Examples of each law; CHARGEPLAN_EXAMPLES asks for more.
EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "40"))
ONE_BLOCK = ChargerRules(most_starts=1)
TWO_STARTS = ChargerRules(most_starts=2)
TIMED = ChargerRules(20, 20, 2)
RULES = st.sampled_from([ONE_BLOCK, TWO_STARTS, ChargerRules(min_on_min=20), ChargerRules(min_off_min=25), TIMED])


def with_rules(problem, *every):
    return replace(problem, rules=every * problem.stays if len(every) == 1 else every)


def certified(problem, solver="auto", tie_break="earliest", **options):
    solution = solve(problem, solver, tie_break, **options)
    certificate = certify_ruled(problem, solution.wall_kwh, solution.ruled, reach(problem))
    assert certificate.feasible, certificate
    return solution, certificate


def accepted_kw(problem, slot, level):
    """What limit and taper accept at a level, straight from their definition."""
    powers = [slope * level / problem.capacity_kwh + power for slope, power in problem.taper]
    return min(problem.max_kwh[slot] * problem.gain[slot] / problem.hours[slot], *powers)


def gained(problem, slot, level, hours):
    """Energy at the greatest constant power that is accepted at both ends of a run, by halving."""
    low, high = 0.0, hours * problem.max_kwh[slot] * problem.gain[slot] / problem.hours[slot]
    for _ in range(60):
        middle = (low + high) / 2
        power = middle / hours
        good = min(accepted_kw(problem, slot, level), accepted_kw(problem, slot, level + middle)) >= power
        low, high = (middle, high) if good else (low, middle)
    return low


def simulated(problem, start_s, end_s):
    """Energy of each slot of one stay under blocks, and the level at its end."""
    level, energy = problem.level_kwh, np.zeros(problem.slots)
    for slot in range(problem.slots):
        begin, end = problem.start_s[slot], problem.start_s[slot] + 3600 * problem.hours[slot]
        run = sum(max(0.0, min(b, end) - max(a, begin)) for a, b in zip(start_s, end_s, strict=True)) / 3600
        if run > 0:
            energy[slot] = gained(problem, slot, level, run)
            level += energy[slot]
    return energy, level


# --------------------------------------------------------------------------------------- one block


@st.composite
def tapered_nights(draw, *, slots=8):
    count = draw(st.integers(2, slots))
    capacity = draw(st.floats(4, 12))
    tapers = [(-draw(st.floats(2, 20)), draw(st.floats(20, 23))), (0.0, draw(st.floats(3, 9)))]
    if draw(st.booleans()):
        tapers.append((draw(st.floats(1, 15)), draw(st.floats(0.5, 5))))
    prices = st.sampled_from([-0.1, 0.0, 0.1, 0.2, 0.3]) if draw(st.booleans()) else st.floats(-0.1, 0.5)
    one = night(
        [round(draw(prices), 5) for _ in range(count)],
        draw(st.sampled_from([2.0, 7.2, 11.0])),
        round(capacity * draw(st.floats(0.1, 1)), 3),
        level_kwh=round(capacity * draw(st.floats(0, 0.5)), 3),
        capacity_kwh=capacity,
        gain=draw(st.sampled_from([0.85, 1.0])),
        taper=tapers,
    )
    off = np.array([draw(st.sampled_from([False] * 9 + [True])) for _ in range(count)])
    return replace(one, max_kwh=np.where(off, 0.0, one.max_kwh))


@settings(max_examples=2 * EXAMPLES)
@given(tapered_nights(), st.data())
def test_no_other_block_is_cheaper(problem, data):
    """No block at any moment, followed by halving, reaches as much for less; what is said of it is so."""
    solution, certificate = certified(with_rules(problem, ONE_BLOCK))
    assert certificate.optimal, certificate
    ruled = solution.ruled
    assert ruled.start_s.size <= 1
    energy, level = simulated(problem, ruled.start_s, ruled.end_s)
    assert energy == pytest.approx(solution.battery_kwh, abs=1e-6)
    assert level <= problem.capacity_kwh + 1e-6
    last = float(problem.start_s[-1]) + 3600 * float(problem.hours[-1])
    start = data.draw(st.floats(0, last))
    for end in np.linspace(start, last, 40)[1:]:
        inside = [
            max(0.0, min(end, s + 3600 * h) - max(start, s))
            for s, h in zip(problem.start_s, problem.hours, strict=True)
        ]
        if any(run > 0 and problem.max_kwh[slot] == 0 for slot, run in enumerate(inside)):
            continue
        other, reaches = simulated(problem, [start], [end])
        if reaches <= problem.capacity_kwh and reaches >= min(level, problem.wanted_kwh[0]):
            assert other @ problem.unit_cost >= certificate.cost - 1e-6


@settings(max_examples=4 * EXAMPLES)
@given(tapered_nights(slots=14), st.booleans())
def test_two_ways_find_one_cost(problem, latest):
    """Every corner tried backward, and functions of the energy followed forward, come to the same cost."""
    block = cheapest_tapered_block(problem, latest=latest)
    cost = 0.0 if block is None else float(block.battery_kwh @ problem.unit_cost)
    assert cost == pytest.approx(least_cost_of_a_tapered_block(problem), abs=1e-9)


# --------------------------------------------------------------------------------------- all rules


@settings(max_examples=EXAMPLES)
@given(problems(max_stays=2, max_slots=5, taper=True, one_gain=True), RULES)
def test_highs_and_cbc_agree(problem, rule):
    """HiGHS, CBC through PuLP and our own way: nobody finds less than the bound of another."""
    ruled = with_rules(problem, rule)
    found = [certified(ruled, solver, time_limit_s=20.0)[1] for solver in ("auto", "highs", "pulp:CBC")]
    best = min(one.cost for one in found if one.short_gap_kwh <= 1e-6) if any(f.optimal for f in found) else None
    event(f"{sum(one.optimal for one in found)} of 3 proven, {rule.names}")
    if not rule.min_on_min and not rule.min_off_min:
        assert all(one.optimal for one in found), found
    for one, other in itertools.permutations(found, 2):
        if one.optimal and other.short_gap_kwh <= 1e-6 and other.feasible:
            assert one.cost <= other.cost + 1e-5
    if best is not None and all(one.optimal for one in found):
        assert [one.cost for one in found] == pytest.approx([best] * 3, abs=1e-5)


@settings(max_examples=EXAMPLES)
@given(
    problems(max_stays=3, max_slots=5, taper=True),
    RULES,
    st.lists(st.booleans(), min_size=3, max_size=3),
    st.sampled_from(["earliest", "latest", "fewest starts"]),
)
def test_promises(problem, rule, everywhere, tie_break):
    """Blocks keep the rules to the second; each slot gains what limit and taper accept in the time it runs.

    Some of the stays may be without rules.
    """
    every = [rule if here else None for here in everywhere[: problem.stays]]
    assume(any(every))
    ruled = with_rules(problem, *every) if problem.stays > 1 else with_rules(problem, rule)
    solution, certificate = certified(ruled, "auto", tie_break, time_limit_s=10.0)
    event(f"{'proven' if certificate.optimal else 'gap'} {rule.names}")
    assert keeps_rules(ruled, solution.ruled)
    level = problem.level_kwh
    for slot in range(problem.slots):
        begin, end = problem.start_s[slot], problem.start_s[slot] + 3600 * problem.hours[slot]
        blocks = zip(solution.ruled.start_s, solution.ruled.end_s, solution.ruled.stay, strict=True)
        own = [(a, b) for a, b, stay in blocks if stay == problem.stay[slot]]
        run = sum(max(0.0, min(b, end) - max(a, begin)) for a, b in own) / 3600
        most = gained(problem, slot, level, run) if run > 1e-9 else 0.0
        assert solution.battery_kwh[slot] == pytest.approx(most, abs=2e-6)
        level += solution.battery_kwh[slot]
        assert level <= problem.capacity_kwh + 1e-6
        if slot == problem.last[problem.stay[slot]]:
            level = max(0.0, level - problem.drive_kwh[problem.stay[slot]])


@settings(max_examples=EXAMPLES)
@given(problems(max_stays=1, max_slots=5, taper=True, floor=False, positive=True), st.sampled_from([TWO_STARTS, TIMED]))
def test_no_pair_of_blocks_on_the_grid_is_cheaper(problem, rule):
    """Every set of blocks that begin and end at fifths of a slot: none that reaches as much is below the bound."""
    assume(problem.max_kwh.max() > 0 and problem.slots <= 4)
    ruled = with_rules(problem, rule)
    solution, certificate = certified(ruled, time_limit_s=10.0)
    short = float(reached(ruled, solution.battery_kwh).shortfall_kwh.sum())
    moments = np.unique(
        np.concatenate(
            [s + 3600 * h * np.linspace(0, 1, 4) for s, h in zip(problem.start_s, problem.hours, strict=True)]
        )
    )
    spans = list(itertools.combinations(moments, 2))
    sets = [(), *((one,) for one in spans), *((a, b) for a, b in itertools.combinations(spans, 2) if b[0] > a[1] + 1)]
    for blocks in sets:
        if any(60 * rule.min_on_min > b - a + 1e-6 for a, b in blocks):
            continue
        if len(blocks) == 2 and blocks[1][0] - blocks[0][1] < 60 * rule.min_off_min - 1e-6:
            continue
        energy, level = simulated(problem, [a for a, _ in blocks], [b for _, b in blocks])
        lacks = max(0.0, float(problem.wanted_kwh[0]) - level)
        if level > problem.capacity_kwh:
            continue
        assert lacks >= short - certificate.short_gap_kwh - 1e-5
        if lacks <= short + 1e-9:
            assert float(energy @ problem.unit_cost) >= certificate.bound - 1e-5


def test_time_that_runs_out_leaves_a_plan_and_its_gap():
    """With no time to search the best plan known is given, with what it may cost too much."""
    random = np.random.default_rng(3)
    one = night(
        random.normal(0.2, 0.1, 40), 7.2, 55.0, level_kwh=20.0, gain=0.9, capacity_kwh=60, taper=[(-30.0, 31.0)]
    )
    _, certificate = certified(with_rules(one, TWO_STARTS), time_limit_s=0.0)
    assert not certificate.optimal
    assert 0 < certificate.gap < np.inf


def test_a_taper_that_never_binds_is_left_out():
    """A curve above the limit at every level changes nothing, whatever the rules."""
    random = np.random.default_rng(4)
    one = with_rules(night(random.normal(0.2, 0.1, 24), 7.2, 20.0, gain=0.9, capacity_kwh=60), TIMED)
    wide = replace(one, taper=np.array([[-1.0, 20.0]]))
    assert not without_idle_taper(wide).taper.size
    assert certified(wide)[1].cost == pytest.approx(certified(one)[1].cost, abs=1e-9)


def test_half_an_hour_by_hand():
    """From empty, 10 kW x (1 - state of charge) at 10 kWh: y = 0.5 x (10 - y) is 10 / 3 in half an hour."""
    one = night([1.0], 20.0, 9.0, capacity_kwh=10.0, step_min=60, taper=[(-10.0, 10.0)])
    assert energy_of_runs(one, np.array([0.5])) == pytest.approx([10 / 3])


def test_one_block_may_not_idle_through_a_dear_hour():
    """Hours at 1, 9, 1 and one block: charging at less than is accepted in the dear hour is no way out."""
    one = night([1.0, 9.0, 1.0], 4.0, 6.0, capacity_kwh=10.0, step_min=60, taper=[(-10.0, 12.0)])
    for rule in (ONE_BLOCK, ChargerRules(min_off_min=120)):
        solution, certificate = certified(with_rules(one, rule), "highs")
        assert certificate.optimal
        # 4 kWh in the first hour at no taper, then 2 in the dear one: 22; or 2 in the dear one and 4 after it.
        assert certificate.cost == pytest.approx(22.0, abs=1e-6)
        assert solution.ruled.start_s.size == 1
