"""Reasons under rules or a taper: every claim against all plans, or against the program with one more row.

Nothing here uses what the reasons use: no preferred hours, no forbidden ones.
"""

import os
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st
from rule_cases import best_of, cell_problems, patterns
from scipy.optimize import linprog
from scipy.sparse import csr_matrix

from chargeplan.plan import Drive, Itinerary, Spell, Stay, plan, problem_from, reach
from chargeplan.plan.conflicts import Wish, conflict_of
from chargeplan.plan.program import linear_program
from chargeplan.plan.rules import ChargerRules
from chargeplan.plan.why import explain, is_tied

#: Examples of each law; CHARGEPLAN_EXAMPLES asks for more.
EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "40"))
SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}
#: Enough for any case here, so that nothing is left out.
AT_LENGTH = {"most": 99, "limit_s": 600.0}


def hourly(problem):
    """The same night in slots of one hour."""
    cells = np.repeat(np.arange(problem.slots), np.round(problem.hours).astype(int))
    within = np.concatenate([np.arange(count) for count in np.round(problem.hours).astype(int)])
    return replace(
        problem,
        start_s=problem.start_s[cells] + 3600 * within,
        hours=np.ones(cells.size),
        stay=problem.stay[cells],
        price_per_kwh=problem.price_per_kwh[cells],
        max_kwh=(problem.max_kwh / problem.hours)[cells],
        gain=problem.gain[cells],
        step_s=3600,
    )


def itinerary_of(problem):
    """The stays behind a problem of hours; where nothing can be had, it is forbidden."""
    stays = []
    for number in range(problem.stays):
        own = np.flatnonzero(problem.stay == number)
        kw, begin = float(problem.max_kwh[own].max()), problem.start_s[own].tolist()
        off = [start for start, slot in zip(begin, own, strict=True) if problem.max_kwh[slot] == 0]
        stays.append(
            Stay(
                f"place {number}",
                datetime.fromtimestamp(begin[0], UTC),
                datetime.fromtimestamp(begin[-1] + 3600, UTC),
                wall_kw=kw,
                gain=float(problem.gain[own[0]]),
                price_per_kwh=problem.price_per_kwh[own],
                need_kwh=float(problem.need_kwh[number]),
                spells=[Spell(start, start + 3600, 0.0, because="never") for start in off] if kw else [],
                rules=problem.rules[number],
            )
        )
    drives = [Drive(float(kwh)) for kwh in problem.drive_kwh]
    return Itinerary(problem.level_kwh, problem.capacity_kwh, stays, drives, problem.floor_kwh)


def slots_of(problem, stretch):
    return (problem.stay == stretch.stay) & (problem.start_s >= stretch.start_s) & (problem.start_s < stretch.end_s)


def fullest(problem, energy):
    """The highest level of a plan; drives take what is there."""
    level, top = problem.level_kwh, problem.level_kwh
    for slot in range(problem.slots):
        level += energy[slot]
        top = max(top, level)
        if slot + 1 == problem.slots or problem.stay[slot + 1] != problem.stay[slot]:
            level = max(0.0, level - problem.drive_kwh[problem.stay[slot]])
    return top


# --------------------------------------------------------------------------------------- rules, all patterns of hours


@settings(max_examples=EXAMPLES, **SLOW)
@given(cell_problems(max_cells=8, floor=False, prices=(1, 5)) | cell_problems(max_cells=8, max_stays=2, floor=False))
def test_under_rules_what_is_said_of_hours_is_so(problem):
    """Of all patterns of hours on and off: without a stretch, or with as much in it, none is better than is said."""
    problem = hourly(problem)
    schedule = plan(itinerary_of(problem), step_min=60)
    assume(is_tied(schedule))
    why = explain(schedule, (), **AT_LENGTH)
    every = patterns(problem)
    short, _, cost = best_of(every)
    assert schedule.total_cost == pytest.approx(cost, abs=1e-6)
    good = [(paid, energy) for missing, _, paid, energy in every if missing < short + 1e-6]
    top = max(float(schedule.level_kwh.max()), *(problem.need_kwh))
    covered = np.zeros(problem.slots, dtype=int)
    for stretch in why.stretches:
        event(stretch.reason)
        inside = slots_of(problem, stretch)
        covered += inside
        charged = schedule.battery_kwh[inside]
        assert (charged > 1e-9).all() if stretch.charges else not (charged > 1e-9).any()
        assert (stretch.low, stretch.high) == (problem.price_per_kwh[inside].min(), problem.price_per_kwh[inside].max())
        instead = stretch.instead
        if stretch.reason in ("needed", "either"):
            others = [(round(missing, 9), paid) for missing, _, paid, energy in every if not energy[inside].any()]
            least, cheapest = min(others)
            assert instead.shortfall_kwh == pytest.approx(least - short, abs=1e-5)
            assert instead.cost == pytest.approx(cheapest - cost, abs=1e-5)
            assert (stretch.reason == "either") == (least - short < 1e-5 and cheapest - cost < 0.005)
        elif stretch.reason in ("dearer", "equal"):
            wanted = instead.wall_kwh * float(problem.gain[inside][0])
            there = [(paid, energy) for paid, energy in good if energy[inside].sum() >= wanted - 1e-6]
            no_fuller = [paid for paid, energy in there if fullest(problem, energy) <= top + 1e-9]
            assert cost + instead.cost <= min(no_fuller, default=np.inf) + 1e-5
            if abs(wanted - round(wanted)) < 1e-6:
                assert cost + instead.cost >= min(paid for paid, _ in there) - 1e-5
            assert instead.shortfall_kwh == pytest.approx(0.0, abs=1e-5)
        elif stretch.reason == "rules":
            assert all(not energy[inside].any() for _, energy in good)
            assert set(stretch.because) <= set(problem.rules[stretch.stay].names)
            assert stretch.because
        elif stretch.reason in ("none", "full"):
            used = float(schedule.battery_kwh.sum())
            others = [energy for _, energy in good if energy.sum() <= used + 1e-9 and fullest(problem, energy) <= top]
            # Where energy costs nothing or pays, more of it is charged on top, which is not needed.
            assert problem.price_per_kwh.min() <= 0 or all(not energy[inside].any() for energy in others)
        elif stretch.reason == "short":
            assert problem.rules[stretch.stay] is None
            assert schedule.departures[stretch.stay].shortfall_kwh > 0
        else:
            assert stretch.reason == "off"
            assert not problem.max_kwh[inside].any()
    assert (covered == 1).all()


@settings(max_examples=EXAMPLES, **SLOW)
@given(cell_problems(max_cells=8, floor=False))
def test_under_rules_changes_are_differences_of_all_patterns(problem):
    """One kWh more or less, and five points of 20 kWh, against every pattern of the changed night."""
    problem = hourly(problem)
    schedule = plan(itinerary_of(problem), step_min=60)
    assume(is_tied(schedule))
    why = explain(schedule, (0,), usable_kwh=20.0, most=0, limit_s=600.0)
    short, _, cost = best_of(patterns(problem))
    found = {change.key: change for change in why.changes[0]}
    need = float(problem.need_kwh[0])
    assert set(found) == {
        *(("one_kwh_less", "target_lower") if need >= 1 else ()),
        *(("one_kwh_more",) if need + 1 <= problem.capacity_kwh else ()),
    }
    for key, change in found.items():
        event(f"{key}, {'other cost' if change.cost else 'same cost'}, {'short' if short else 'reached'}")
        other = replace(problem, need_kwh=problem.need_kwh + (1.0 if key == "one_kwh_more" else -1.0))
        then = best_of(patterns(other))
        assert change.shortfall_kwh == pytest.approx(then[0] - short, abs=1e-5)
        assert change.cost == pytest.approx(then[2] - cost, abs=1e-5)


# --------------------------------------------------------------------------------------- contradictions under rules


def reachable(problem, kept):
    """Whether a pattern of hours meets what is kept of the wishes of a night."""
    if Wish("stay", 0) not in kept:
        best = problem.capacity_kwh
        need = problem.need_kwh[0] if Wish("target", 0) in kept else 0.0
        drive = problem.drive_kwh[0] if Wish("drive", 0) in kept else 0.0
        return max(need, drive + (problem.floor_kwh if Wish("floor", 0) in kept else 0.0)) <= best
    rules = problem.rules[0]
    for name in rules.names:
        if Wish("rule", 0, name) not in kept:
            rules = rules.without(name)
    most = problem.max_kwh if Wish("rule", 0, "never") in kept else np.full(problem.slots, problem.max_kwh.max())
    changed = replace(
        problem,
        rules=(rules,),
        max_kwh=most,
        need_kwh=problem.need_kwh * (Wish("target", 0) in kept),
        drive_kwh=problem.drive_kwh * (Wish("drive", 0) in kept),
        floor_kwh=problem.floor_kwh * (Wish("floor", 0) in kept),
    )
    return best_of(patterns(changed))[0] <= 1e-6


@settings(max_examples=2 * EXAMPLES, **SLOW)
@given(cell_problems(max_cells=7))
def test_under_rules_a_conflict_is_one_and_is_smallest(problem):
    """What is named cannot be met together by any pattern of hours; without any one of it, it can."""
    problem = hourly(problem)
    assume(problem.max_kwh.any())
    itinerary = itinerary_of(problem)
    laid = problem_from(itinerary, 60)
    found = conflict_of(itinerary, laid, 0)
    names = [*problem.rules[0].names, *(["never"] if itinerary.stays[0].spells else [])]
    kinds = {Wish(kind, 0) for kind in ("target", "drive", "floor", "stay")}
    assert bool(found) != reachable(problem, kinds | {Wish("rule", 0, name) for name in names})
    if not found:
        return
    event(", ".join(wish.rule or wish.kind for wish in found))
    assert not reachable(problem, set(found))
    for fewer in combinations(found, len(found) - 1):
        assert reachable(problem, set(fewer))


def test_a_contradiction_of_rules_by_hand():
    """Six hours of which the third is forbidden leave a block of three; four kWh at 1 kW are wanted."""
    begin = datetime(2026, 1, 5, 18, tzinfo=UTC)
    third = int((begin + timedelta(hours=2)).timestamp())
    stay = Stay("home", begin, begin + timedelta(hours=6), 1.0, 1.0, need_kwh=4.0, rules=ChargerRules(most_starts=1))
    stay = replace(stay, spells=[Spell(third, third + 3600, 0.0, because="never")])
    asked = Itinerary(0.0, 10.0, [stay])
    found = conflict_of(asked, problem_from(asked, 60), 0)
    assert {wish.rule or wish.kind for wish in found} == {"target", "stay", "never", "one_block"}
    schedule = plan(asked, step_min=60)
    assert schedule.departures[0].shortfall_kwh == pytest.approx(1.0)
    assert explain(schedule).conflicts == {0: found}


@settings(max_examples=EXAMPLES, **SLOW)
@given(cell_problems(max_cells=8, max_stays=2, floor=False))
def test_over_two_stays_giving_up_one_wish_would_do(problem):
    """The last departure, planned anew without one target, drive or rule that is named, is not short any more."""
    problem = hourly(problem)
    number = problem.stays - 1
    itinerary = itinerary_of(problem)
    found = conflict_of(itinerary, problem_from(itinerary, 60), number)
    assert bool(found) == bool(plan(itinerary, step_min=60).departures[number].shortfall_kwh)
    # A stay that was given up is left with a full battery, which no plan shows.
    assume(all(Wish("stay", stay) in found for stay in range(problem.stays)))
    for wish in found:
        stays, drives = list(itinerary.stays), list(itinerary.drives)
        stay = stays[wish.stay]
        if wish.kind == "target":
            stays[wish.stay] = replace(stay, need_kwh=0.0)
        elif wish.kind in ("drive", "earlier drive"):
            drives[wish.stay] = Drive(0.0)
        elif wish.rule == "never":
            stays[wish.stay] = replace(stay, spells=())
        elif wish.kind == "rule":
            stays[wish.stay] = replace(stay, rules=stay.rules.without(wish.rule))
        else:
            continue
        event(wish.rule or wish.kind)
        # What does not belong to the contradiction was given up before, so it must not stand in the way here.
        for other in range(number + 1):
            if not {Wish("drive", other), Wish("earlier drive", other)} & set(found):
                drives[other] = Drive(0.0)
            if Wish("target", other) not in found:
                stays[other] = replace(stays[other], need_kwh=0.0)
            for name in problem.rules[other].names if problem.rules[other] else ():
                if Wish("rule", other, name) not in found and stays[other].rules is not None:
                    stays[other] = replace(stays[other], rules=stays[other].rules.without(name))
            if Wish("rule", other, "never") not in found:
                stays[other] = replace(stays[other], spells=())
        changed = replace(itinerary, stays=[replace(stay, price_per_kwh=0.0) for stay in stays], drives=drives)
        assert plan(changed, step_min=60).departures[number].shortfall_kwh < 1e-6


# --------------------------------------------------------------------------------------- tapers, one more row


@st.composite
def tapered(draw):
    """One or two stays of some quarters of an hour, with a taper; prices that tie, or all differ."""
    stays, time = [], datetime(2026, 1, 5, 18, tzinfo=UTC)
    steps = draw(st.booleans())
    price = st.sampled_from([0.1, 0.2, 0.3]) if steps else st.integers(1_000, 60_000).map(lambda k: k / 1e5)
    for number in range(draw(st.integers(1, 2))):
        slots = draw(st.integers(2, 9))
        prices = draw(st.lists(price, min_size=slots, max_size=slots))
        end = time + timedelta(minutes=15 * slots)
        need = draw(st.floats(0, 9).map(lambda kwh: round(kwh, 2)))
        stays.append(Stay(f"place {number}", time, end, draw(st.sampled_from([3.6, 7.2])), 0.9, prices, need))
        time = end + timedelta(hours=2)
    taper = draw(st.sampled_from([((-8.0, 9.0),), ((-3.0, 8.0), (0.0, 6.0)), ((6.0, 2.0), (-9.0, 10.0))]))
    drives = [Drive(draw(st.floats(0, 4).map(lambda kwh: round(kwh, 2)))) for _ in stays[1:]]
    return Itinerary(draw(st.floats(0, 9).map(lambda kwh: round(kwh, 2))), 10.0, stays, drives, 0.0, taper)


def cheapest_with(problem, inside, wall_kwh):
    """Least cost of the linear program with one more row: at least, or at most, so much energy in some slots."""
    program = linear_program(problem, reach(problem))
    size = program.row_lower.size
    matrix = csr_matrix((program.values, (program.rows, program.columns)), shape=(size, program.cost.size)).toarray()
    row = np.zeros(program.cost.size)
    row[: problem.slots] = inside / problem.gain
    lines = [*zip(matrix, program.row_lower, program.row_upper, strict=True), (row, *wall_kwh)]
    found = [(line, high) for line, _, high in lines if np.isfinite(high)]
    found += [(-line, -low) for line, low, _ in lines if np.isfinite(low)]
    bounds = np.column_stack((program.lower, program.upper))
    answer = linprog(program.cost, np.array([line for line, _ in found]), [limit for _, limit in found], bounds=bounds)
    return answer.fun if answer.status == 0 else None


@settings(max_examples=EXAMPLES, **SLOW)
@given(tapered())
def test_with_a_taper_what_is_said_of_hours_is_so(itinerary):
    """With as much in a stretch as is said, or nothing where it charges, the program costs what is said."""
    schedule = plan(itinerary)
    problem = schedule.problem
    why = explain(schedule, (), **AT_LENGTH)
    for stretch in why.stretches:
        event(stretch.reason)
        inside, instead = slots_of(problem, stretch), stretch.instead
        if stretch.reason in ("dearer", "equal"):
            least = cheapest_with(problem, inside, (instead.wall_kwh - 1e-7, np.inf))
            assert schedule.total_cost + instead.cost == pytest.approx(least, abs=1e-5)
        elif stretch.reason in ("needed", "either"):
            least = cheapest_with(problem, inside, (-np.inf, 1e-9))
            assert (least is None) == (instead.shortfall_kwh > 1e-6)
            if least is not None:
                assert schedule.total_cost + instead.cost == pytest.approx(least, abs=1e-5)
        elif stretch.reason == "short":
            assert schedule.departures[stretch.stay].shortfall_kwh > 0
        else:
            assert stretch.reason in ("none", "full")


@settings(max_examples=EXAMPLES, **SLOW)
@given(tapered())
def test_with_a_taper_changes_are_finite_differences(itinerary):
    """One kWh more or less at a departure, against the program with that need; the second kWh is never cheaper."""
    schedule = plan(itinerary)
    why = explain(schedule, tuple(range(len(itinerary.stays))), most=0, limit_s=600.0)
    for number, found in why.changes.items():
        slopes = {}
        for change in found:
            if change.key not in ("one_kwh_less", "one_kwh_more"):
                continue
            step = 1.0 if change.key == "one_kwh_more" else -1.0
            stay = itinerary.stays[number]
            stays = [*itinerary.stays]
            stays[number] = replace(stay, need_kwh=stay.need_kwh + step)
            other = problem_from(replace(itinerary, stays=stays))
            least = cheapest_with(other, np.zeros(other.slots), (-np.inf, np.inf))
            assert schedule.total_cost + change.cost == pytest.approx(least, abs=1e-5)
            slopes[step] = change.cost * step
        if len(slopes) == 2 and all(abs(change.shortfall_kwh) < 1e-6 for change in found):
            assert slopes[-1.0] <= slopes[1.0] + 1e-5
