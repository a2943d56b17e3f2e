"""Reasons for plans of households: against the whole bill, under rules, and in a time that can be waited for."""

from dataclasses import replace

import numpy as np
import pytest
from household_cases import changed
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st
from test_whole_bill_plans import SHEETS, household

from chargeplan.household import plan_days, plan_tonight, read_household
from chargeplan.household.planning import bills_of
from chargeplan.household.reasons import explain_plan
from chargeplan.plan.engines import run_highs
from chargeplan.plan.problem import problem_from
from chargeplan.plan.whole_bill import plan_whole_bill

#: Forms whose cheapest plan one linear program finds.
CONVEX = ("tiers", "three tiers by season", "minimum")


def with_row(row, low, high):
    """An engine that keeps one more row; it knows nothing of how reasons are found."""

    def engine(program):
        used = np.flatnonzero(row)
        more = replace(
            program,
            rows=np.concatenate((program.rows, np.full(used.size, program.row_lower.size))),
            columns=np.concatenate((program.columns, used)),
            values=np.concatenate((program.values, row[used])),
            row_lower=np.append(program.row_lower, low),
            row_upper=np.append(program.row_upper, high),
        )
        answer = run_highs(more)
        return replace(answer, row_duals=answer.row_duals[:-1])

    return engine


@pytest.mark.parametrize("name", CONVEX)
@settings(deadline=None, max_examples=8, suppress_health_check=list(HealthCheck))
@given(so_far=st.integers(0, 700), per_day=st.integers(0, 60), hour=st.integers(0, 23), soc=st.integers(5, 70))
def test_against_a_bill_what_is_said_of_hours_is_so(tmp_path_factory, name, so_far, per_day, hour, soc):
    """With one more row in the program of the bill, the plan costs what is said; a kWh more or less likewise."""
    house = f"{{so_far: {so_far} kWh, per_day: {per_day} kWh, highest: 2 kW}}"
    made = household(tmp_path_factory.mktemp("bills"), SHEETS[name], house)
    plan = plan_tonight(made, soc=f"{soc} %", now=f"2026-11-25 {hour:02d}:10", plugged_in=True, leave="07:15")
    schedule = plan.schedule
    assert schedule.whole_bill
    assume(not schedule.fixes)
    why = explain_plan(plan, limit_s=300.0)
    assert why.stretches

    def costs(itinerary, row=None, low=-np.inf, high=np.inf):
        problem = problem_from(itinerary, 15)
        bills = bills_of(made, itinerary, problem, plan.now_s)
        engine = run_highs if row is None else with_row(row / problem.gain, low, high)
        return plan_whole_bill(problem, bills, engine=engine).cost

    start_s = problem_from(plan.itinerary, 15).start_s
    for stretch in why.stretches:
        event(stretch.reason)
        inside = ((start_s >= stretch.start_s) & (start_s < stretch.end_s)).astype(float)
        if stretch.reason in ("dearer", "equal") and stretch.instead.proven:
            least = costs(plan.itinerary, inside, low=stretch.instead.wall_kwh - 1e-7)
            assert schedule.total_cost + stretch.instead.cost == pytest.approx(least, abs=1e-4)
        elif stretch.reason in ("needed", "either") and stretch.instead.shortfall_kwh < 1e-6:
            least = costs(plan.itinerary, inside, high=0.0)
            assert schedule.total_cost + stretch.instead.cost == pytest.approx(least, abs=1e-4)
    stay = plan.itinerary.stays[0]
    for change in why.changes[0]:
        step = {"one_kwh_less": -1.0, "one_kwh_more": 1.0}.get(change.key)
        if step is not None:
            other = replace(plan.itinerary, stays=[replace(stay, need_kwh=stay.need_kwh + step)])
            assert schedule.total_cost + change.cost == pytest.approx(costs(other), abs=1e-4)


def test_every_form_of_a_bill_has_reasons(tmp_path):
    """Demand charges, falling tiers, cases: each plan is explained, and what is not proven is said to be so."""
    for name, sheet in SHEETS.items():
        made = household(tmp_path, sheet, "{so_far: 420 kWh, per_day: 12 kWh, highest: 3 kW}")
        plan = plan_tonight(made, soc="35 %", now="2026-11-25 15:10", plugged_in=True, leave="07:15")
        why = explain_plan(plan)
        assert {change.key for change in why.changes[0]} >= {"one_kwh_less", "target_lower"}, name
        assert any(stretch.charges for stretch in why.stretches), name
        assert any("not proven" in note for note in why.notes) == (not plan.schedule.certificate.optimal), name


RULES = (
    "charging: {one_block: yes, never: 02:00-03:00}",
    "charging: {min_on: 45 min, min_off: 30 min, most_starts: 2}",
    "charging: {min_on: 1 h, derating: {current: {'00:00': 32 A, '01:00': 24 A, '02:00': 32 A}}}",
)


@pytest.mark.parametrize("rules", RULES)
def test_a_bounded_number_of_plans(monkeypatch, rules):
    """A week under rules takes no more plans than stretches, changes and a few more tries; the rest is said."""
    import chargeplan.plan.instead as instead

    made = 0
    honest = instead.plan

    def counted(*args, **options):
        nonlocal made
        made += 1
        return honest(*args, **options)

    monkeypatch.setattr(instead, "plan", counted)
    plan = plan_days(read_household(changed(("habits:", f"{rules}\nhabits:"))), 7, soc="55 %", now="2026-11-25 20:00")
    why = explain_plan(plan, most=6)
    asked = [stretch for stretch in why.stretches if stretch.reason not in ("off", "unknown", "floor")]
    assert len(asked) <= 6
    assert made <= 6 * 7 + 5 * len(plan.itinerary.stays)
    assert any("not explained" in note for note in why.notes)


def test_no_time_at_all():
    """Without time nothing is made up: every stretch says that it is not explained."""
    home = read_household(changed(("habits:", "charging: {one_block: yes}\nhabits:")))
    why = explain_plan(plan_tonight(home, soc="20 %", now="2026-11-25 20:00"), limit_s=0.0)
    assert {stretch.reason for stretch in why.stretches} == {"unknown"}
    assert why.changes == {0: ()}
    assert any("not explained" in note for note in why.notes)


def test_hours_of_another_current_are_apart():
    """From 01:00 to 02:00 only 24 A are allowed: a line of its own, with and without rules that tie hours."""
    for more in ("", "min_on: 1 h, "):
        derating = "derating: {current: {'00:00': 32 A, '01:00': 24 A, '02:00': 32 A}, between: steps}"
        home = read_household(changed(("habits:", f"charging: {{{more}{derating}}}\nhabits:")))
        plan = plan_tonight(home, soc="5 %", now="2026-11-25 20:00", leave="05:00")
        found = [stretch for stretch in explain_plan(plan).stretches if stretch.charges]
        hours = {(stretch.start_s - plan.now_s) // 3600: stretch.current_a for stretch in found}
        assert hours[5] == 24.0
        assert hours[6] == 32.0


def test_forbidden_hours_are_named():
    """Hours of `never` wait for that reason, by their key."""
    home = read_household(changed(("habits:", "charging: {never: 02:00-03:00}\nhabits:")))
    found = explain_plan(plan_tonight(home, soc="20 %", now="2026-11-25 20:00")).stretches
    assert [stretch.because for stretch in found if stretch.reason == "off"] == [("never",)]
