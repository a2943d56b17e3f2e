"""Plans under a charger's rules: equal to enumeration, to other solvers, and never against a rule."""

import os
import time
import warnings
from dataclasses import replace

import numpy as np
import pulp
import pytest
from hypothesis import assume, event, given, settings
from hypothesis import strategies as st
from plan_cases import make_problem, problems
from rule_cases import best_in_continuous_time, best_of, cell_problems, patterns, rules

from chargeplan.errors import InputError
from chargeplan.plan import certify, night, reach, solve, write_model
from chargeplan.plan.engines import pulp_solver
from chargeplan.plan.rule_proof import certify_ruled
from chargeplan.plan.ruled import first_plan, keeps_rules, late_kwh_h, reached
from chargeplan.plan.rules import ChargerRules, breaches

#: Examples of each law; CHARGEPLAN_EXAMPLES asks for more.
EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "60"))
TIE_BREAKS = st.sampled_from(["earliest", "as needed", "latest", "fewest starts"])
SOLVERS = st.sampled_from(["auto", "highs"])
ONE_BLOCK = ChargerRules(most_starts=1)


def proven(problem, solver="auto", tie_break="earliest"):
    """Solve, prove, and give what the plan comes to: shortfall, time below the floor, cost."""
    solution = solve(problem, solver, tie_break)
    best = reach(problem)
    certificate = certify_ruled(problem, solution.wall_kwh, solution.ruled, best)
    assert certificate.feasible, certificate
    assert certificate.optimal, (certificate, solution.method)
    short = float(reached(problem, solution.battery_kwh).shortfall_kwh.sum())
    return (short, late_kwh_h(problem, best, solution.battery_kwh), certificate.cost), solution


def with_rules(problem, *every):
    return replace(problem, rules=every * problem.stays if len(every) == 1 else every)


# --------------------------------------------------------------------------------------- against enumeration


@settings(max_examples=2 * EXAMPLES)
@given(cell_problems(), SOLVERS, TIE_BREAKS)
def test_equals_every_pattern_of_hours(problem, solver, tie_break):
    """No pattern of up to ten hours on and off that keeps the rules is shorter, sooner at the floor, or cheaper."""
    short, late, cost = best_of(patterns(problem))
    event(f"short {short > 0}, late {late > 0}, {problem.rules[0].names}")
    found, _ = proven(problem, solver, tie_break)
    assert found[0] == pytest.approx(short, abs=1e-6)
    assert found[1] == pytest.approx(late, abs=1e-5)
    assert found[2] == pytest.approx(cost, abs=1e-6)


@settings(max_examples=EXAMPLES)
@given(cell_problems(max_stays=3, floor=False), SOLVERS, TIE_BREAKS)
def test_equals_every_pattern_of_several_stays(problem, solver, tie_break):
    """The same over stays with drives between, some of them without rules: the total shortfall is least."""
    short, _, cost = best_of(patterns(problem))
    found, _ = proven(problem, solver, tie_break)
    assert found[0] == pytest.approx(short, abs=1e-6)
    assert found[2] == pytest.approx(cost, abs=1e-6)


@settings(max_examples=EXAMPLES // 3)
@given(cell_problems(max_cells=5, powers=(0, 1, 2, 3), floor=False, hours=2), SOLVERS)
def test_equals_the_best_in_continuous_time(problem, solver):
    """Blocks may begin and end at any moment and at any power: a linear program for every pair of slots agrees."""
    assume(problem.rules[0].most_starts in (1, 2))
    short, cost = best_in_continuous_time(problem)
    found, _ = proven(problem, solver)
    assert found[0] == pytest.approx(short, abs=1e-6)
    assert found[2] == pytest.approx(cost, abs=1e-6)


# --------------------------------------------------------------------------------------- against other solvers

ONE_RULE = st.sampled_from(
    [
        ONE_BLOCK,
        ChargerRules(most_starts=2),
        ChargerRules(min_on_min=20),
        ChargerRules(min_off_min=25),
        ChargerRules(min_on_min=20, min_off_min=20, most_starts=2),
    ]
)


@settings(max_examples=EXAMPLES)
@given(problems(max_stays=2, max_slots=8, one_gain=True), ONE_RULE)
def test_highs_and_cbc_agree(problem, rule):
    """HiGHS and CBC through PuLP find the same shortfall, lateness and cost on the same night; so does our own way."""
    ruled = with_rules(problem, rule)
    found = [proven(ruled, solver)[0] for solver in ("auto", "highs", "pulp:CBC")]
    for other in found[1:]:
        assert other == pytest.approx(found[0], abs=2e-6)


# --------------------------------------------------------------------------------------- promises


@st.composite
def limited(draw, **options):
    """A problem with real numbers, rules, and hours in which nothing may be charged."""
    problem = draw(problems(**options))
    off = np.array(draw(st.lists(st.booleans(), min_size=problem.slots, max_size=problem.slots)))
    every = tuple(draw(st.none() | rules(hours=1)) for _ in range(problem.stays))
    scaled = tuple(r and ChargerRules(r.min_on_min / 3, r.min_off_min / 3, r.most_starts) for r in every)
    lower = np.where(off & draw(st.booleans()), 0.0, problem.max_kwh)
    return replace(problem, max_kwh=lower, rules=scaled if any(scaled) else (ONE_BLOCK,) * problem.stays)


@settings(max_examples=2 * EXAMPLES)
@given(limited(max_stays=3), SOLVERS, TIE_BREAKS)
def test_promises(problem, solver, tie_break):
    """Blocks keep every rule to the second, lie in usable time of their stay, hold the energy, cost what is said."""
    _, solution = proven(problem, solver, tie_break)
    ruled, wall = solution.ruled, solution.wall_kwh
    end = problem.start_s + 3600 * problem.hours
    assert (wall >= 0).all()
    assert (wall <= problem.max_kwh + 1e-9).all()
    charged = np.zeros(problem.slots)
    for block_start, block_end, stay in zip(ruled.start_s, ruled.end_s, ruled.stay, strict=True):
        inside = 0.0
        for t in np.flatnonzero(problem.stay == stay):
            overlap = max(0.0, min(block_end, end[t]) - max(block_start, problem.start_s[t]))
            if problem.max_kwh[t] > 0:
                inside += overlap
            charged[t] += problem.max_kwh[t] * overlap / (3600 * problem.hours[t])
        assert inside == pytest.approx(block_end - block_start, abs=1e-3)
    assert charged == pytest.approx(wall, abs=1e-6)
    for number, rule in enumerate(problem.rules):
        if rule is None:
            continue
        own = ruled.stay == number
        starts, ends = ruled.start_s[own], ruled.end_s[own]
        assert (ends - starts >= 60 * rule.min_on_min - 1e-2).all()
        assert (starts[1:] - ends[:-1] >= 60 * rule.min_off_min - 1e-2).all()
        assert rule.most_starts is None or starts.size <= rule.most_starts
    level = problem.level_kwh
    for t in range(problem.slots):
        level += wall[t] * problem.gain[t]
        assert level <= problem.capacity_kwh + 1e-6
        if t == problem.last[problem.stay[t]]:
            level = max(0.0, level - problem.drive_kwh[problem.stay[t]])
    cost = sum(wall[t] * problem.price_per_kwh[t] for t in range(problem.slots))
    assert certify_ruled(problem, wall, ruled, reach(problem)).cost == pytest.approx(cost, abs=1e-9)


@settings(max_examples=EXAMPLES)
@given(limited(max_stays=2), st.data())
def test_more_freedom_never_costs_more(problem, data):
    """One rule less, or a weaker one, never ends shorter, and where it ends alike and as soon it never costs more."""
    number = data.draw(st.sampled_from([n for n, rule in enumerate(problem.rules) if rule is not None]))
    rule = problem.rules[number]
    freer = data.draw(
        st.sampled_from(
            [
                *(rule.without(name) for name in rule.names),
                replace(rule, min_on_min=rule.min_on_min / 2, min_off_min=rule.min_off_min / 2),
                replace(rule, most_starts=rule.most_starts and rule.most_starts + 1),
            ]
        )
    )
    strict = proven(problem)[0]
    every = [freer if n == number else rule for n, rule in enumerate(problem.rules)]
    solution = solve(replace(problem, rules=tuple(every)))
    energy, best = solution.battery_kwh, reach(problem)
    short = float(reached(problem, energy).shortfall_kwh.sum())
    late = late_kwh_h(problem, best, energy)
    cost = float(solution.wall_kwh @ problem.price_per_kwh)
    assert short <= strict[0] + 1e-6
    if short >= strict[0] - 1e-6:
        assert late <= strict[1] + 1e-5
        if late >= strict[1] - 1e-5:
            assert cost <= strict[2] + 1e-5


@settings(max_examples=EXAMPLES)
@given(problems(max_stays=2, max_slots=6), TIE_BREAKS)
def test_rules_that_forbid_nothing_change_nothing(problem, tie_break):
    """A thousand starts allowed is no rule: the cost and the shortfall are those of the planner without."""
    found, _ = proven(with_rules(problem, ChargerRules(most_starts=1000)), "highs", tie_break)
    plain = solve(problem)
    assert found[0] == pytest.approx(float(reach(problem).shortfall_kwh.sum()), abs=1e-6)
    assert found[2] == pytest.approx(certify(problem, plain.wall_kwh).cost, abs=2e-6)


@settings(max_examples=EXAMPLES)
@given(limited(max_stays=3))
def test_the_plan_to_fall_back_on_keeps_the_rules(problem):
    """Charging at once in one block is a plan under any rules, and never better than the plan."""
    plan = first_plan(problem)
    assert keeps_rules(problem, plan)
    assert (plan.battery_kwh <= problem.max_battery_kwh + 1e-9).all()
    own = reached(problem, plan.battery_kwh)
    assert (own.departure_kwh <= problem.capacity_kwh + 1e-6).all()
    assert proven(problem)[0][0] <= float(own.shortfall_kwh.sum()) + 1e-6


# --------------------------------------------------------------------------------------- by hand


def hours(price, need, rule, *, kw=1.0, capacity=None, level=0.0, floor=0.0):
    problem = make_problem(
        [len(price)],
        hours=[1] * len(price),
        price=price,
        kw=[kw],
        gain=[1],
        need=[need],
        drive=[0],
        level=level,
        capacity=capacity or need,
        floor=floor,
    )
    return replace(problem, rules=(rule,))


def test_one_block_ends_where_the_energy_puts_it():
    """Prices 3, 1, 2, 1 for 1.5 hours: 01:00 to 02:30 costs 2, as does 02:30 to 04:00; the earlier one is taken."""
    solution = solve(hours([3, 1, 2, 1], 1.5, ONE_BLOCK))
    assert solution.wall_kwh.tolist() == [0, 1, 0.5, 0]
    assert solution.method == "one block: every start that can be best was tried"
    latest = solve(hours([3, 1, 2, 1], 1.5, ONE_BLOCK), tie_break="latest")
    assert latest.wall_kwh.tolist() == [0, 0, 0.5, 1]


def test_the_cheapest_plan_that_keeps_the_rules_anyway_needs_no_search():
    """Two cheap hours in a row are one block by themselves."""
    solution = solve(hours([3, 1, 1, 2], 2, ONE_BLOCK))
    assert solution.method.startswith("merit order")
    assert certify_ruled(*_certified(hours([3, 1, 1, 2], 2, ONE_BLOCK), solution)).words == "proven optimal"


def _certified(problem, solution):
    return problem, solution.wall_kwh, solution.ruled, reach(problem)


def test_a_pause_in_the_middle_of_a_run():
    """Cheap, dear, cheap hours, 2.5 kWh, on at least 75 minutes: both blocks reach a quarter into the dear hour."""
    solution = solve(hours([1, 5, 1], 2.5, ChargerRules(min_on_min=75, min_off_min=30)))
    assert solution.wall_kwh == pytest.approx([1, 0.5, 1], abs=1e-9)
    assert (solution.ruled.start_s / 3600).tolist() == pytest.approx([0, 1.75])
    assert (solution.ruled.end_s / 3600).tolist() == pytest.approx([1.25, 3])


def test_a_rule_can_make_a_target_unreachable():
    """Three kWh in four hours with the second one off, in one block: two can be had, one is missing."""
    problem = hours([1, 1, 1, 2], 3, ONE_BLOCK)
    problem = replace(problem, max_kwh=np.array([1.0, 0, 1, 1]))
    (short, _, cost), solution = proven(problem)
    assert (short, cost) == (1, 3)
    assert solution.wall_kwh.tolist() == [0, 0, 1, 1]


def test_a_block_that_would_overfill_the_battery_is_not_begun():
    """Half a kWh of room, and on for at least an hour at 1 kW: nothing can be charged."""
    (short, _, _), solution = proven(hours([1, 1], 2, ChargerRules(min_on_min=60), capacity=2, level=1.5))
    assert short == 0.5
    assert solution.wall_kwh.tolist() == [0, 0]


def test_below_the_floor_the_block_begins_at_once():
    """Level 0, floor 1: one block begins at 00:00 however dear, and goes on to the target."""
    (_, late, _), solution = proven(hours([9, 1, 1, 1], 2, ONE_BLOCK, floor=1))
    assert late == 0
    assert solution.wall_kwh.tolist() == [1, 1, 0, 0]


def test_a_negative_price_pays_for_a_longer_block():
    """At -1 in the third hour, a fuller battery pays more than the dear hour before it costs."""
    problem = hours([2, 0.5, -1, 3], 1, ONE_BLOCK, capacity=3)
    (_, _, cost), solution = proven(problem)
    assert cost == -1
    assert solution.wall_kwh.tolist() == [0, 0, 1, 0]


def test_no_time_at_all_still_gives_a_plan_and_its_gap():
    """With no time to search the best plan known is given, with what it may cost too much; never an error."""
    random = np.random.default_rng(3)
    rule = ChargerRules(45, 30, 2)
    problem = with_rules(night(random.normal(0.2, 0.1, 96), 7.2, 20.0, gain=0.9, capacity_kwh=60), rule)
    solution = solve(problem, time_limit_s=0.0)
    certificate = certify_ruled(*_certified(problem, solution))
    assert certificate.feasible
    assert not certificate.optimal
    assert 0 < certificate.gap < np.inf
    assert certificate.words == f"not proven optimal: at most {certificate.gap:.2f} dearer than the best plan"
    best = proven(problem)[0]
    assert certificate.bound <= best[2] <= certificate.cost


@settings(max_examples=EXAMPLES)
@given(limited(max_stays=3), st.sampled_from([0.0, 0.001, 0.004]))
def test_any_time_limit_gives_a_plan_that_keeps_the_rules(problem, time_limit_s):
    """However little time there is, the plan keeps the rules and is no shorter than charging at once in one block."""
    solution = solve(problem, "highs", time_limit_s=time_limit_s)
    certificate = certify_ruled(*_certified(problem, solution))
    assert certificate.feasible, certificate
    short = reached(problem, solution.battery_kwh).shortfall_kwh.sum()
    assert short <= reached(problem, first_plan(problem).battery_kwh).shortfall_kwh.sum() + 1e-6
    best = proven(problem)[0]
    if short <= best[0] + 1e-6 and certificate.optimal:
        assert certificate.cost <= best[2] + 1e-5


def test_the_time_limit_holds():
    """A search that would take longer ends near its limit."""
    random = np.random.default_rng(5)
    problem = night(random.normal(0.2, 0.1, 400), 7.2, 40.0, gain=0.9, capacity_kwh=60, step_min=5)
    problem = with_rules(problem, ChargerRules(45, 30, 3))
    began = time.monotonic()
    solution = solve(problem, time_limit_s=0.5)
    assert time.monotonic() - began < 20
    assert certify_ruled(*_certified(problem, solution)).feasible


# --------------------------------------------------------------------------------------- the certificate


@settings(max_examples=EXAMPLES)
@given(cell_problems(powers=(1,), prices=(1, 6), floor=False), st.data())
def test_the_certificate_calls_no_worse_plan_optimal(problem, data):
    """Of all patterns that keep the rules, those with more shortfall or cost than the best are never called optimal."""
    found = patterns(problem)
    best = best_of(found)
    worse = [one for one in found if (round(one[0], 9), one[2]) > (best[0], best[2] + 1e-3)]
    assume(worse)
    _, _, _, energy = data.draw(st.sampled_from(worse))
    _, solution = proven(problem, "highs")
    full = energy >= problem.max_battery_kwh
    assume((full | (energy == 0)).all())
    edges = np.diff(np.concatenate(([0], full.astype(int), [0])))
    ends = np.append(problem.start_s, problem.start_s[-1] + 3600 * problem.hours[-1]).astype(float)
    ruled = replace(
        solution.ruled,
        battery_kwh=energy,
        start_s=ends[edges == 1],
        end_s=ends[edges == -1],
        stay=np.zeros(int((edges == 1).sum()), dtype=int),
    )
    certificate = certify_ruled(problem, energy / problem.gain, ruled, reach(problem))
    assert not certificate.optimal


@pytest.mark.parametrize(
    ("start_s", "end_s", "rule", "what"),
    [
        ([0, 7200], [3600, 10800], ChargerRules(most_starts=1), "0 s and 1 starts"),
        ([0, 7200], [3600, 10800], ChargerRules(min_on_min=90), "1.8e+03 s and 0 starts"),
        ([0, 7200], [3600, 10800], ChargerRules(min_off_min=61), "60 s and 0 starts"),
        ([0, 12600], [3600, 16200], ChargerRules(most_starts=2), "1.8e+03 s and 0 starts"),
    ],
)
def test_the_certificate_names_broken_rules(start_s, end_s, rule, what):
    """Two blocks of an hour with an hour between; the last case charges half an hour where the limit is 0."""
    problem = hours([1, 1, 1, 1, 1], 2, rule)
    problem = replace(problem, max_kwh=np.array([1.0, 1, 1, 0, 1]))
    solution = solve(with_rules(problem, ChargerRules(most_starts=9)))
    energy = np.zeros(5)
    for a, b in zip(start_s, end_s, strict=True):
        for t in range(5):
            energy[t] += max(0, min(b, 3600 * t + 3600) - max(a, 3600 * t)) / 3600 * problem.max_kwh[t]
    ruled = replace(
        solution.ruled,
        battery_kwh=energy,
        start_s=np.array(start_s, dtype=float),
        end_s=np.array(end_s, dtype=float),
        stay=np.array([0, 0]),
    )
    certificate = certify_ruled(problem, energy, ruled, reach(problem))
    assert not certificate.feasible
    assert not certificate.optimal
    assert certificate.words.endswith(f"the charger's rules are broken by {what}")


def test_energy_without_its_block_is_found():
    """Blocks that do not hold the energy are no plan."""
    problem = hours([1, 2, 1], 2, ONE_BLOCK)
    solution = solve(problem)
    moved = replace(solution.ruled, start_s=solution.ruled.start_s + 600, end_s=solution.ruled.end_s + 600)
    assert not certify_ruled(problem, solution.wall_kwh, moved, reach(problem)).feasible


def test_proven_by_whom():
    """A search says whose bound it leans on."""
    problem = hours([1, 5, 1, 4, 1], 3, ChargerRules(most_starts=2))
    solution = solve(problem, "highs")
    certificate = certify_ruled(*_certified(problem, solution))
    assert certificate.optimal
    assert certificate.bound_by == "HiGHS"
    assert certificate.words == "proven optimal by HiGHS's bound"
    solution = solve(problem, "pulp:CBC")
    assert certify_ruled(*_certified(problem, solution)).words == "proven optimal by CBC through PuLP's bound"


def test_the_model_that_is_written_is_the_one_with_the_rules(tmp_path):
    """An .lp file of a night under rules has whole numbers in it, and CBC finds the cost of the plan from it."""
    problem = hours([1, 5, 1, 4, 1], 3, ChargerRules(most_starts=2))
    path = write_model(problem, tmp_path / "night.mps")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # PuLP's notices on its version 4
        _, model = pulp.LpProblem.fromMPS(str(path))
        model.solve(pulp_solver("CBC"))
    assert any(variable.cat == "Integer" for variable in model.variables())
    assert pulp.value(model.objective) == pytest.approx(proven(problem)[0][2], abs=1e-6)


# --------------------------------------------------------------------------------------- what is refused


def test_rules_out_of_range():
    """Each number has its range; the message says what would be right."""
    with pytest.raises(InputError, match="min_on_min is -1, which cannot be; write 0 to 1440 minutes"):
        ChargerRules(min_on_min=-1)
    with pytest.raises(InputError, match="min_off_min is 2000"):
        ChargerRules(min_off_min=2000)
    with pytest.raises(InputError, match="most_starts is 0, which cannot be; write a whole number of 1 or more"):
        ChargerRules(most_starts=0)
    with pytest.raises(InputError, match="most_starts is True"):
        ChargerRules(most_starts=True)


def test_what_cannot_be_planned_together():
    """Merit order beside rules is refused with what to choose instead."""
    with pytest.raises(InputError, match="choose solver auto, highs or pulp:CBC"):
        solve(with_rules(night([0.1, 0.2], 4.0, 1.0), ONE_BLOCK), "merit order")
    with pytest.raises(InputError, match="rules has 2 entries; it must have 1, one per stay, or none"):
        replace(night([0.1], 4.0, 1.0), rules=(None, None))


def test_breaches_join_blocks_that_meet():
    """Two blocks that meet are one of two hours."""
    assert breaches(ChargerRules(120, 10, 1), [0, 3600], [3600, 7200]).starts == 0
    assert breaches(ChargerRules(120, 10, 1), [0, 3600], [3600, 7200]).on_s == 0
    assert breaches(ChargerRules(120, 10, 1), [], []).starts == 0
