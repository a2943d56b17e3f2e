"""The report of a plan, read as the person would who gets it by mail."""

import json
import re
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from household_cases import EXAMPLES, changed, read_sheet, sheets
from hypothesis import given, settings
from hypothesis import strategies as st
from plan_text_cases import NAMES, NOW, REPORT, SOC, check_form

from chargeplan.household import load_household, plan_days, plan_tonight, read_household
from chargeplan.output.data import plan_data
from chargeplan.output.plan_text import days_text, night_text
from chargeplan.tariff import load_tariff


@settings(REPORT, max_examples=150)
@given(name=st.sampled_from(EXAMPLES), now=NOW, soc=SOC | st.none(), target=SOC | st.none(), away=st.booleans())
def test_the_report_of_a_night(name, now, soc, target, away):
    """README: plain ASCII at most 80 columns, for every example and present; and it says what the JSON says."""
    now = now.replace(microsecond=0, tzinfo=UTC)
    plan = plan_tonight(load_household(name), now=now, soc=soc, target=target, plugged_in=not away)
    text = night_text(plan)
    check_form(text)
    data = plan_data(plan)
    assert text.count("Charge  ") == 1
    assert f"Cost         {data['cost']:.2f} {data['currency']} for {data['wall_kwh']:.1f} kWh from" in text
    shown = re.findall(r"(\d+\.\d) kWh   (\d+\.\d\d) [A-Z]{3}$", text, re.MULTILINE)
    assert shown == [(f"{w['wall_kwh']:.1f}", f"{w['cost']:.2f}") for w in data["windows"]]
    assert ("Charge       not needed" in text) == (not data["windows"] and data["reachable"])
    assert ("Charge       not possible" in text) == (not data["windows"] and not data["reachable"])
    assert ("\nShort        by " in text) == (not data["reachable"])
    assert ("short of the target" in text) == (not data["reachable"])
    assert "proven optimal" in text
    for said in ("nan", "inf", "None", "-0.00"):
        assert not re.search(rf"(?<![a-z]){said}(?![a-z])", text)


@settings(REPORT, max_examples=60)
@given(name=st.sampled_from(EXAMPLES), now=NOW, soc=SOC | st.none(), days=st.integers(1, 9))
def test_the_report_of_the_days(name, now, soc, days):
    """A paragraph for every stay, in 80 columns of ASCII, with every window of the JSON in it."""
    plan = plan_days(load_household(name), days, now=now.replace(microsecond=0, tzinfo=UTC), soc=soc)
    text = days_text(plan)
    check_form(text)
    data = plan_data(plan)
    assert len(re.findall(r"leaves at [\d.]+ %$", text, re.MULTILINE)) == len(data["stays"])
    assert len(re.findall(r" kWh   \d+\.\d\d [A-Z]{3}$", text, re.MULTILINE)) == len(data["windows"])
    assert len(re.findall(r"^  short of the", text, re.MULTILINE)) == len(data["fixes"])
    assert len(re.findall(r"^Short        by ", text, re.MULTILINE)) == len(data["fixes"])


@settings(REPORT, max_examples=100)
@given(sheet=sheets(), names=st.tuples(NAMES, NAMES), place=NAMES.map(lambda name: name[:40]), now=NOW, soc=SOC)
def test_names_of_any_kind(sheet, names, place, now, soc, sheet_folder):
    """Long names are broken and control characters left out, so a name can neither widen nor colour a report."""
    sheet["name"], sheet["vehicle"]["name"] = names
    sheet["stops"] = [{"place": place, "from": "11:00", "to": "11:30", "dc_power": "50 kW", "price": 0.6}]
    sheet["vehicle"]["dc_max"] = "100 kW"
    sheet["habits"].update({"plug_in": "18:00", "leave": "07:00"})
    home = read_sheet(sheet, sheet_folder)
    now = now.replace(microsecond=0, tzinfo=UTC)
    check_form(night_text(plan_tonight(home, now=now, soc=soc)), ascii_only=False)
    check_form(days_text(plan_days(home, 2, now=now, soc=soc)), ascii_only=False)


def test_a_night_in_full():
    """One report by the letter. 25 % of 58 kWh at 7.68 kW with 7.5 % and 200 W lost: 0.925 - 0.2 / 7.68 = 0.89896.

    14.5 kWh into the battery are 16.13 kWh from the wall, 2 h 6 min from 23:00, when the price is 0.1830 (night rate
    of the sheet); at once they cost 0.4018 until 21:00 and 0.2972 after that (shoulder), as the sheet says.
    """
    text = night_text(plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00"))
    wall = 0.25 * 58 / (0.925 - 0.2 / 7.68)
    lines = text.split("\n")
    assert lines[:2] == ["Ridgeline Valley demo: small sedan", "Ridgeline Valley home time-of-use"]
    assert lines[3] == "Plugged in   Wed 25 Nov 2026 20:00 at 55 % (given)"
    assert lines[4] == "Leaves       Thu 26 Nov 2026 07:15 at 80 %, the target"
    prices = {run.period: run.price_per_kwh for run in load_household("demo").tariff.day(datetime(2026, 11, 25).date())}
    assert lines[5] == (
        f"Charge       Wed 23:00 - Thu 01:07   32 A   {wall:.1f} kWh   {wall * prices['overnight']:.2f} USD"
    )
    assert lines[7] == (
        f"Cost         {wall * prices['overnight']:.2f} USD for {wall:.1f} kWh from the wall, 14.5 kWh of it into the"
    )
    assert "Limit        7.68 kW, limited by the EVSE: 32 A" in lines


def test_a_night_of_a_clock_change_names_the_zone():
    """In the night of 1 November 2026 (15 U.S.C. 260a) 01:30 comes twice, so times say MDT or MST; others do not."""
    autumn = night_text(plan_tonight(load_household("demo"), soc="25 %", now="2026-10-31 20:00", leave="07:15"))
    assert "Plugged in   Sat 31 Oct 2026 20:00 MDT" in autumn
    assert "Leaves       Sun 1 Nov 2026 07:15 MST" in autumn
    assert "Charge       Sat 23:00 MDT - Sun 02:38 MST" in autumn
    plain = night_text(plan_tonight(load_household("demo"), soc="25 %", now="2026-11-25 20:00"))
    assert "MST" not in plain


def test_a_target_out_of_reach_is_said_with_ways_to_mend_it():
    """README: how short it falls, and what would mend it; more current only with the electrician's word beside it."""
    changes = ("onboard_charger: 7.7 kW", "onboard_charger: 19.2 kW"), ("breaker: 50 A", "breaker: 100 A")
    home = read_household(changed(*changes))
    plan = plan_tonight(home, soc="5 %", now="2026-11-25 23:40", target="100 %")
    text = night_text(plan)
    (fix,) = plan.schedule.fixes
    words = " ".join(text.split())
    assert "short of the target of 100 %" in words
    more = f"have {fix.more_a} A more ({32 + fix.more_a} A) from a stronger EVSE"
    assert f"leave {fix.leave_later_min} min later or {more}" in words
    assert "if a licensed electrician and the local code agree" in words


def test_current_that_the_car_does_not_take_is_no_remedy():
    """The onboard charger of the demo takes 32 A at 240 V, whatever the EVSE gives: only time mends a short night."""
    plan = plan_tonight(load_household("demo"), soc="20 %", now="2026-11-25 20:00", leave="21:00")
    words = " ".join(night_text(plan).split())
    assert plan.schedule.fixes[0].more_a > 0
    assert "to reach it, leave 4 h" in words
    assert "but this car takes 32 A at most" in words
    assert "stronger" not in words


def test_current_that_no_evse_gives_is_no_remedy():
    """SAE J1772 and IEC 61851-1 end at 80 A."""
    changes = ("onboard_charger: 7.7 kW", "onboard_charger: 60 kW"), ("breaker: 50 A", "breaker: 100 A")
    home = read_household(changed(*changes))
    words = " ".join(night_text(plan_tonight(home, soc="20 %", now="2026-11-25 20:00", leave="21:00")).split())
    assert "no EVSE gives more than 80 A" in words


def test_both_links_that_are_too_weak_are_named():
    """An EVSE of 32 A on a circuit that may carry 40 A: 50 A need another circuit as well."""
    home = read_household(changed(("onboard_charger: 7.7 kW", "onboard_charger: 60 kW")))
    words = " ".join(night_text(plan_tonight(home, soc="55 %", now="2026-11-25 20:00", leave="21:20")).split())
    assert "from a stronger circuit and a stronger EVSE, if a licensed electrician and the local code agree" in words


def test_savings_are_what_a_reader_finds_who_subtracts():
    """Both costs are printed to the cent, and so is their difference."""
    for soc in range(20, 60, 3):
        plan = plan_tonight(load_household("demo"), soc=f"{soc} %", now="2026-11-25 20:00")
        line = next(line for line in night_text(plan).splitlines() if line.startswith("Saves"))
        saved, cost = re.findall(r"\d+\.\d\d", line)
        assert float(saved) == pytest.approx(float(cost) - float(f"{plan.schedule.total_cost:.2f}"), abs=1e-9)


def test_what_a_plan_leaves_out_of_a_rate_is_said():
    """A plan goes by prices per kWh: a charge for the highest power, or a tier that is reached, is said beside it."""
    home = replace(load_household("demo"), tariff=load_tariff("whole-bill"))
    plan = plan_tonight(home, soc="55 %", now="2026-11-25 20:00")
    words = " ".join(night_text(plan).split())
    assert "charges for the highest power" in words
    assert "every kWh is priced in the first tier" in words
    assert plan_data(plan)["cautions"] == list(plan.cautions)
    assert load_household("demo").house_use is None
    assert plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00").cautions == ()


def test_a_timer_that_ignores_the_floor_is_no_negative_saving():
    """At 10 %, below the floor of 20 %, the plan charges at once and pays more than a timer that waits for 23:00.

    README: below the floor charging starts at once, whatever the price. The report says so instead of "saves -1.37".
    """
    plan = plan_tonight(load_household("demo"), soc="10 %", now="2026-11-25 20:00")
    text = night_text(plan)
    assert plan.schedule.by_timer.cost < plan.schedule.total_cost
    assert "Charge       Wed 20:00 - " in text
    words = " ".join(text.split())
    assert (
        f"a timer set to the cheapest price would pay {plan.schedule.by_timer.cost:.2f} but wait below the floor"
        in words
    )
    assert " -" not in words.split("Saves")[1].split("Limit")[0]


@pytest.mark.parametrize(
    ("rules", "night", "broken"),
    [
        ("one_block: yes, never: 02:00-03:00, min_on: 90 min", ("25 %", "80 %", "07:15"), ["one_block"]),
        ("min_on: 100 min, never: 00:00-01:00", ("56 %", "79 %", "02:30"), ["min_on"]),
        ("min_on: 100 min, one_block: yes, never: 00:00-01:00", ("56 %", "79 %", "02:30"), ["min_on", "one_block"]),
    ],
)
def test_a_timer_that_breaks_rules_is_told_by_their_names(rules, night, broken):
    """Above the floor of 20 % the timer begins at 23:00, and is cut in two by the forbidden hour.

    From 23:00 to 00:00 are 60 min and from 01:00 to 02:30 are 90, less than 100; the plan charges in the evening.
    """
    soc, target, leave = night
    home = read_household(changed(("habits:", f"charging: {{{rules}}}\nhabits:")))
    plan = plan_tonight(home, soc=soc, now="2026-11-25 20:00", target=target, leave=leave)
    timer = plan.schedule.by_timer
    assert timer.cost < plan.schedule.total_cost - 0.01
    assert not timer.short_kwh.any()
    words = " ".join(night_text(plan).split())
    named = " and ".join(f"`{rule}`" for rule in broken)
    assert f"a timer set to the cheapest price would pay {timer.cost:.2f} but not keep {named}" in words
    assert plan_data(plan)["compared_with"]["timer"]["breaks"] == broken


def test_a_cheaper_habit_without_a_reason_gets_none():
    """Where nothing is broken, as beside a plan that is not proven, only the figures are told."""
    plan = plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00")
    dearer = replace(plan.schedule, certificate=replace(plan.schedule.certificate, cost=plan.schedule.total_cost + 1))
    words = " ".join(night_text(replace(plan, schedule=dearer)).split())
    cost = plan.schedule.total_cost
    assert f"a timer set to the cheapest price would pay {cost:.2f}, which is less than the plan costs" in words


def test_a_falling_current_is_told():
    """7 kW up to 70 %, then less: at 90 % (2 + 5 / 3) kW, of which 0.925 - 0.2 / 7.68 reaches the battery.

    From the wall that is 4.079 kW, or 17.0 A of 240 V, in the last quarter of an hour, which ends there.
    """
    taper = "  daily_limit: 90 %\n  taper: {0 %: 7 kW, 70 %: 7 kW, 100 %: 2 kW}"
    home = read_household(changed(("  daily_limit: 90 %", taper)))
    plan = plan_tonight(home, soc="60 %", target="90 %", now="2026-11-25 20:00")
    (window,) = plan_data(plan)["windows"]
    assert window["falls_to_a"] == pytest.approx((2 + 5 / 3) / (0.925 - 0.2 / 7.68) / 0.24, rel=1e-4)
    assert window["current_a"] > 30
    said = f"             falling to {int(window['falls_to_a'] * 10) / 10:g} A as the battery fills\n"
    assert said in night_text(plan)
    plain = plan_tonight(load_household("demo"), soc="60 %", target="90 %", now="2026-11-25 20:00")
    assert plan_data(plain)["windows"][0]["falls_to_a"] is None
    assert "falling" not in night_text(plain)


def test_a_circuit_that_cannot_charge_says_so():
    """A 7 A breaker may carry 5.6 A for hours (NFPA 70, 210.20(A)), below the 6 A of SAE J1772: nothing is charged."""
    home = read_household(changed(("breaker: 50 A", "breaker: 7 A")))
    text = " ".join(night_text(plan_tonight(home, soc="50 %", now="2026-11-25 20:00")).split())
    assert "no charging: the circuit allows 5.6 A, below the 6 A under which the EVSE stops" in text
    assert "Charge not possible" in text
    assert "short of the target of 80 %" in text


def test_two_circuits_at_one_place_are_both_named():
    """A workplace with two outlets has two limits; the report shows each with its current."""
    second = """  - place: workplace
    days: Fri
    from: 08:05
    to: 16:45
    circuit: {breaker: 50 A, volts: 240 V}
    evse: {max_current: 24 A}
    price: 0
"""
    home = read_household(changed(("    price: 0                 # per kWh\n", "    price: 0\n" + second)))
    text = days_text(plan_days(home, 7, soc="55 %", now="2026-11-25 20:00"))
    assert "workplace: 1.92 kW, limited by the circuit: 16 A of a 20 A breaker" in text
    assert "workplace: 5.76 kW, limited by the EVSE: 24 A" in text


def test_cautions_reach_the_reader():
    """An EVSE that is set above what the circuit may carry is cautioned about in the report and in the JSON."""
    home = read_household(changed(("max_current: 32 A", "max_current: 48 A")))
    plan = plan_tonight(home, soc="55 %", now="2026-11-25 20:00")
    words = " ".join(night_text(plan).split())
    assert "Caution the EVSE can draw 48 A, but the circuit may carry 40 A for hours: it must be set to 40 A" in words
    assert json.dumps(plan_data(plan)["stays"][0]["limit"]["cautions"]).count("48 A") == 1


@pytest.mark.parametrize("name", EXAMPLES)
def test_a_full_battery_needs_nothing(name):
    """A car that is fuller than its target is left alone: nothing charged, nothing paid, no shortfall."""
    text = night_text(plan_tonight(load_household(name), soc="97.5 %", now="2026-11-25 20:00+00:00"))
    assert "at 97.5 %, above the target of" in text
    assert "Charge       not needed" in text
    assert re.search(r"^Cost         0\.00 (USD|EUR) for 0\.0 kWh", text, re.MULTILINE)
