"""The `charging:` mapping of a household: what it promises of the plan, what it says, and its mistakes."""

import json
import os
import re
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import jsonschema
import pytest
import yaml
from household_cases import changed, clock, mistakes_of, read_sheet, sheets
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.household import plan_days, plan_tonight, read_household
from chargeplan.household.model import household_schema
from chargeplan.output.data import plan_data, plan_rows
from chargeplan.output.json_schema import SCHEMAS
from chargeplan.output.plan_text import days_text, night_text

EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "60"))
PROMISE = settings(deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow], max_examples=EXAMPLES)
DAYS = {
    "": range(7),
    " on weekdays": range(5),
    " on weekends": (5, 6),
    " on Mon-Wed": range(3),
    " except Sat": (0, 1, 2, 3, 4, 6),
}
#: Ordinary presents, and days around the clock changes of 2026.
PRESENT = (
    st.datetimes(datetime(2026, 2, 1), datetime(2026, 12, 20))
    | st.datetimes(datetime(2026, 10, 31, 12), datetime(2026, 11, 1, 12))
    | st.datetimes(datetime(2026, 3, 7, 12), datetime(2026, 3, 8, 12))
    | st.datetimes(datetime(2026, 10, 24, 12), datetime(2026, 10, 25, 12))
).map(lambda t: t.replace(microsecond=0, tzinfo=UTC))

_SCHEMA = household_schema()
VALIDATOR = jsonschema.Draft202012Validator({**_SCHEMA["$defs"]["ChargingPart"], "$defs": _SCHEMA["$defs"]})


def home(charging, *changes, name="demo"):
    """An example household with a `charging:` mapping, given as lines or as data."""
    text = charging if isinstance(charging, str) else yaml.safe_dump(charging, allow_unicode=True)
    lines = "".join(f"  {line}\n" for line in text.strip().splitlines())
    return changed(*changes, name=name).rstrip() + f"\ncharging:\n{lines}"


def tonight(charging, *changes, **given_):
    options = {"soc": "40 %", "now": "2026-11-25 18:30", **given_}
    return plan_tonight(read_household(home(charging, *changes), "home.yaml"), **options)


def spans(plan):
    """Blocks of charging as instants, from the printed windows, of which one ends where the current changes."""
    data = json.loads(json.dumps(plan_data(plan)))
    found = []
    for window in data["windows"]:
        start, end = (datetime.fromisoformat(window[key]) for key in ("start", "end"))
        found.append((found.pop()[0], end) if found and found[-1][1] == start else (start, end))
    return found


def minutes(start, end):
    """Every whole minute of which some of the span is part, in UTC."""
    moment = start.astimezone(UTC).replace(second=0, microsecond=0)
    while moment < end.astimezone(UTC):
        yield moment
        moment += timedelta(minutes=1)


# --------------------------------------------------------------------------------------- promises


@st.composite
def chargings(draw):
    """A `charging:` mapping, and its forbidden hours and load control in plain numbers."""
    found, never, held = {}, [], []

    def hours():
        start = draw(st.integers(0, 1439))
        end = (start + draw(st.integers(1, 400))) % 1440
        words = draw(st.sampled_from(sorted(DAYS)))
        return f"{clock(start)}-{clock(end)}{words}", (start, end, set(DAYS[words]))

    for _ in range(draw(st.integers(0, 2))):
        text, numbers = hours()
        found.setdefault("never", []).append(text)
        never.append(numbers)
    for _ in range(draw(st.integers(0, 2))):
        text, numbers = hours()
        amperes = draw(st.integers(0, 20))
        found.setdefault("load_control", []).append({"hours": text, "current": f"{amperes} A"})
        held.append((*numbers, amperes))
    if draw(st.booleans()):
        found["one_block"] = True
    elif draw(st.booleans()):
        found["most_starts"] = draw(st.integers(1, 3))
    for key in ("min_on", "min_off"):
        if draw(st.integers(0, 2)) == 0:
            found[key] = f"{draw(st.integers(1, 90))} min"
    return found, never, held


def covers(window, local):
    start, end, weekdays = window[:3]
    minute = 60 * local.hour + local.minute
    inside = start <= minute < end if start < end else (minute >= start or minute < end)
    return inside and local.weekday() in weekdays


@PROMISE
@given(sheet=sheets(), now=PRESENT, soc=st.integers(0, 100), charging=chargings())
def test_a_night_keeps_every_rule(sheet, now, soc, charging, sheet_folder):
    """Minute by minute: never in forbidden hours, never above load control; and every rule about switching.

    Everything is read from the printed JSON and CSV, and from the rules as numbers.
    """
    mapping, never, held = charging
    plan = plan_tonight(read_sheet({**sheet, "charging": mapping}, sheet_folder), soc=f"{soc} %", now=now)
    zone = ZoneInfo(sheet["timezone"])
    assert plan.schedule.certificate.feasible, plan.schedule.certificate
    assert plan.schedule.certificate.optimal, plan.schedule.status
    found = spans(plan)
    for start, end in found:
        for moment in minutes(start, end - timedelta(seconds=1)):
            local = moment.astimezone(zone)
            assert not any(covers(window, local) for window in never), local
    for window in plan.schedule.windows:
        # In UTC, where a second before a clock change is a second before it.
        for moment in minutes(window.start.astimezone(UTC), window.end.astimezone(UTC) - timedelta(seconds=1)):
            allowed = [w[3] for w in held if covers(w, moment.astimezone(zone))]
            assert window.current_a <= min(allowed, default=80) + 1e-6, "the current that is printed is never too high"
    header, rows = plan_rows(plan)
    for row in rows:
        slot = dict(zip(header, row, strict=True))
        if slot["current_a"]:
            begin = datetime.fromisoformat(slot["start"])
            for moment in minutes(begin, begin + timedelta(hours=slot["hours"], seconds=-1)):
                allowed = [w[3] for w in held if covers(w, moment.astimezone(zone))]
                assert slot["current_a"] <= min(allowed, default=80) + 1e-6
    on = int(mapping.get("min_on", "0 min").split()[0])
    off = int(mapping.get("min_off", "0 min").split()[0])
    most = 1 if mapping.get("one_block") else mapping.get("most_starts", 10**6)
    assert len(found) <= most
    # Printed to the second.
    assert all((end - start).total_seconds() >= 60 * on - 2 for start, end in found)
    assert all((after[0] - before[1]).total_seconds() >= 60 * off - 2 for before, after in pairwise(found))
    jsonschema.validate(json.loads(json.dumps(plan_data(plan))), SCHEMAS["plan"])
    assert all(len(line) <= 80 for line in night_text(plan).splitlines())


@settings(PROMISE, max_examples=max(10, EXAMPLES // 6))
@given(now=PRESENT, soc=st.integers(20, 90), charging=chargings())
def test_days_keep_the_rules_at_home_only(now, soc, charging):
    """Over a week the rules hold for each stay at home on its own, and the workplace has none."""
    mapping, never, _ = charging
    if not mapping:
        mapping = {"one_block": True}
    plan = plan_days(read_household(home(mapping), "home.yaml"), 5, soc=f"{soc} %", now=now)
    assert plan.schedule.certificate.feasible, plan.schedule.certificate
    most = 1 if mapping.get("one_block") else mapping.get("most_starts", 10**6)
    for number, stay in enumerate(plan.itinerary.stays):
        own = [window for window in plan.schedule.windows if window.stay == number]
        if stay.place != "home":
            assert stay.rules is None
            assert not stay.spells
            continue
        starts = [
            window
            for window, before in zip(own, [None, *own], strict=False)
            if not before or before.end != window.start
        ]
        assert len(starts) <= most
        for window in own:
            for moment in minutes(window.start, window.end - timedelta(seconds=1)):
                assert not any(covers(w, moment.astimezone(ZoneInfo("America/Denver"))) for w in never)
    assert days_text(plan)


# --------------------------------------------------------------------------------------- by hand


def test_forbidden_hours_hold_in_both_hours_of_the_autumn_change():
    """01:00 to 02:00 comes twice on 1 November 2026 in Denver: nothing is charged in either."""
    plan = tonight("never: 01:00-02:00", now="2026-10-31 18:30", soc="30 %", leave="2026-11-01 06:00")
    zone = ZoneInfo("America/Denver")
    for start, end in spans(plan):
        assert all(moment.astimezone(zone).hour != 1 for moment in minutes(start, end - timedelta(seconds=1)))
    assert plan.schedule.problem.max_kwh[plan.schedule.problem.max_kwh == 0].size
    off_h = plan.schedule.hours[plan.schedule.problem.max_kwh == 0].sum()
    assert off_h == pytest.approx(2)


def test_windows_that_pass_midnight():
    """Without `starting` 23:00-01:00 on Thu is both ends of Thursday, as in a rate sheet; with it, Thursday night."""
    on = tonight("never: 23:00-01:00 on Thu")
    assert [s.strftime("%a %H:%M") for s, _ in spans(on)] == ["Wed 23:00", "Thu 01:00"]
    starting = tonight("never: 23:00-01:00 starting Wed")
    assert [s.strftime("%a %H:%M") for s, _ in spans(starting)] == ["Thu 01:00"]


def test_holidays_are_those_of_the_rate_sheet():
    """26 November 2026 is Thanksgiving: a window for holidays holds, one for weekdays except holidays does not."""
    assert spans(tonight("never: 00:00-05:00 on holidays"))[-1][0].hour == 5
    usual = spans(tonight("never: 12:00-13:00"))
    assert spans(tonight("never: 00:00-05:00 on Thu except holidays")) == usual


def test_load_control_on_dates():
    """Off from 23:00 to 24:00 on 25 November only; the night after is as ever."""
    control = "load_control: {hours: 23:00-24:00, dates: [2026-11-25]}"
    assert spans(tonight(control))[0][0].strftime("%d %H:%M") == "26 00:00"
    later = tonight(control, now="2026-11-26 18:30")
    assert spans(later)[0][0].strftime("%d %H:%M") == "26 23:00"
    assert not later.rules


def test_a_lower_current_wastes_more():
    """At 10 A of 240 V, 2.4 kW, the overhead of level 2 counts more: the gain falls with the current."""
    plan = tonight("load_control: {hours: 17:00-24:00, current: 10 A}")
    lowered = plan.schedule.problem.max_kwh / plan.schedule.hours < 7
    assert (plan.schedule.problem.gain[lowered] < plan.schedule.problem.gain[~lowered].min()).all()
    assert plan.schedule.problem.max_kwh[lowered][0] / plan.schedule.hours[lowered][0] == pytest.approx(2.4)


def test_an_evse_of_fixed_current_is_off_where_it_is_held_to_less():
    """`min_current` at `max_current` is on or off only: held to 20 A, an EVSE of 32 A is off."""
    control = "load_control: {hours: 23:00-02:00, current: 20 A}"
    fixed = ("max_current: 32 A", "max_current: 32 A\n  min_current: 32 A")
    assert [s.strftime("%H:%M") for s, _ in spans(tonight(control, fixed))] == ["02:00"]
    assert set(tonight(control, fixed).schedule.current_a.tolist()) == {0.0, 32.0}
    assert 20.0 in tonight(control, leave="02:30").schedule.current_a.tolist()


def test_whole_amperes():
    """Derated to 28.9 A at 30 °C the EVSE announces 28 A; in steps of 0.1 A, 28.9 A."""
    table = "derating: {current: {20 °C: 32 A, 30 °C: 28.9 A}, ambient: 30 °C}"
    assert tonight(table).schedule.current_a.max() == 28
    tenths = ("max_current: 32 A", "max_current: 32 A\n  step: 0.1 A")
    assert tonight(table, tenths).schedule.current_a.max() == pytest.approx(28.9)


def test_derating_by_the_hour():
    """In steps, 16 A until 01:00 and 32 A from then on."""
    table = 'derating: {current: {"17:00": 16 A, "01:00": 32 A}, between: steps}'
    plan = tonight(table, leave="02:00")
    rows = [dict(zip(plan_rows(plan)[0], row, strict=True)) for row in plan_rows(plan)[1]]
    late = [row["current_a"] for row in rows if row["start"][11:13] == "01" and row["current_a"]]
    assert set(late) == {32.0}
    assert {row["current_a"] for row in rows if row["start"][11:13] != "01"} <= {0.0, 16.0}
    assert any("by hour of day (`derating`)" in rule for rule in plan.rules)
    assert any("a licensed electrician come first" in caution for caution in plan.cautions)


def test_fahrenheit_and_a_day_of_temperatures():
    """77 °F is 25 °C; between 06:00 and 15:00 the temperature rises in a straight line."""
    table = "derating: {current: {77 °F: 32 A, 113 °F: 16 A}, ambient: {06:00: 25 °C, 15:00: 45 °C}}"
    charger = read_household(home(table), "home.yaml").charger
    assert charger.derating_a[6 * 60] == pytest.approx(32, abs=0.05)
    assert charger.derating_a[15 * 60 - 1] == pytest.approx(16, abs=0.05)
    assert charger.derating_a[10 * 60 + 30] == pytest.approx(24, abs=0.05)


def test_what_is_printed():
    """The plan shows the rule's effect in its windows, and names each rule at work on a line of its own."""
    text = night_text(tonight("{never: 23:30-01:00, one_block: true, min_on: 30 min}"))
    assert "Charge       Thu 01:00 - Thu 04:22" in text
    assert "Limit        off 23:30-01:00 (`never`)" in text
    assert "Limit        one unbroken block (`one_block`)" in text
    assert "Limit        on for at least 30 min (`min_on`)" in text
    assert "min_off" not in text


def test_short_names_the_rule():
    """Eight hours with four of them forbidden in the middle: those hours alone are in the way, also in JSON."""
    plan = tonight("{never: 00:00-04:00, one_block: true}", soc="0 %", now="2026-11-25 22:00", leave="06:00")
    text = " ".join(night_text(plan).split())
    assert "charge in the hours of `never`" in text.split("Short")[1]
    assert "one_block" not in text.split("Short")[1]
    (fix,) = plan_data(plan)["fixes"]
    assert fix["rules"] == [["never"]]


def test_one_rule_alone_is_named_alone():
    """With room enough at either side, forbidding two blocks is all that is in the way."""
    plan = tonight("{never: 01:00-02:00, one_block: true}", soc="30 %", now="2026-11-25 22:00", leave="05:00")
    (fix,) = plan_data(plan)["fixes"]
    assert fix["rules"] == [["never"], ["one_block"]]
    assert fix["shortfall_kwh"] > 0
    assert plan.schedule.certificate.optimal


def test_without_the_mapping_nothing_is_said():
    """A household without `charging` has no rules, no spells and no more lines."""
    plan = plan_tonight(read_household(changed(), "home.yaml"), soc="40 %", now="2026-11-25 18:30")
    assert plan.rules == ()
    assert plan_data(plan)["rules"] == []
    assert night_text(plan).count("Limit  ") == 1


# --------------------------------------------------------------------------------------- mistakes

#: What stands in the mapping, the key at which the mistake is, what is said, and what would be right.
MISTAKES = {
    "unknown key": ("min_of: 10 min", "min_of", "is not known here", "min_off"),
    "no unit": ("min_on: 30", "min_on", "has no unit", "90 min"),
    "too long": ("min_on: 30 h", "min_on", "min_on is out of range", "0 min to 24 h"),
    "no starts": ("most_starts: 0", "most_starts", "most_starts", "1"),
    "half a start": ("most_starts: 1.5", "most_starts", "", "whole"),
    "two kinds of block": ("one_block: true\nmost_starts: 3", "most_starts", "starts once, not 3 times", "leave out"),
    "bad hours": ("never: 16-21", "never", "is not a", "00:00 to 24:00"),
    "no hours": ("never: 16:00-16:00", "never", "is empty", "all day"),
    "never ever": ("never: all day", "never", "nothing could ever be charged", "16:00-21:00"),
    "season": ("never: 16:00-21:00 in summer", "never", "no seasons", "leave `in`"),
    "called days": ("never: 16:00-21:00 on critical days", "never", "is not a day", "Mon, Tue"),
    "second of a list": ("never: [16:00-17:00, 18:00-x]", "never", "", "16:00-21:00"),
    "control without hours": ("load_control: {current: 10 A}", "load_control", "hours", "add"),
    "control in volts": ("load_control: {hours: 17:00-20:00, current: 10 V}", "load_control", "not a unit", "32 A"),
    "no such date": (
        *("load_control: {hours: 17:00-20:00, dates: [2026-02-30]}", "load_control"),
        *("is not a date", "2026-07-04"),
    ),
    "dates and days": (
        *("load_control: {hours: 17:00-20:00 on Mon, dates: [2026-07-14]}", "load_control"),
        *("`dates` as well", "leave out one"),
    ),
    "mixed table": ("derating: {current: {20 °C: 32 A, 14:00: 16 A}}", "derating", "mixes", "one kind"),
    "no temperature": ("derating: {current: {20 °C: 32 A}}", "derating", "needs the temperature", "ambient: 30 °C"),
    "useless temperature": (
        *("derating: {current: {14:00: 16 A}, ambient: 30 °C}", "derating"),
        *("has no use", "leave it out"),
    ),
    "bare temperature": ("derating: {current: {20 °C: 32 A}, ambient: 30}", "derating", "no temperature", "30 °C"),
    "more when hot": (
        *("derating: {current: {20 °C: 16 A, 30 °C: 32 A}, ambient: 30 °C}", "derating"),
        *("more current when it is hotter", "write less"),
    ),
    "a point that is none": ("derating: {current: {warm: 32 A}}", "derating", "neither a temperature", "14:00"),
    "no points": ("derating: {current: {}}", "derating", "", ""),
    "too hot": ("derating: {current: {300 °C: 6 A}, ambient: 30 °C}", "derating", "no temperature of the air", "90"),
    "between": ("derating: {current: {14:00: 16 A}, between: curve}", "derating", "not known", "steps"),
}


@pytest.mark.parametrize("case", MISTAKES.values(), ids=MISTAKES)
def test_each_mistake_is_said_at_its_place(case):
    """One message for each, at its line, with what is wrong and what would be right."""
    lines, key, what, remedy = case
    text = home(lines)
    (message,) = mistakes_of(text)
    found = re.match(r"home\.yaml:(\d+):(\d+): (.*)", message)
    assert found
    assert key in text.splitlines()[int(found[1]) - 1]
    assert what in found[3]
    assert remedy in found[3]


def test_all_mistakes_at_once():
    """Several mistakes of the mapping come together, each at its own line."""
    text = home("min_on: 30\nnever: 16-21\nderating: {current: {20 °C: 32 A}}")
    assert [int(line.split(":")[1]) for line in mistakes_of(text)] == [
        text.splitlines().index(next(x for x in text.splitlines() if word in x)) + 1
        for word in ("min_on", "never", "derating")
    ]


def test_rules_beside_a_taper():
    """A taper that binds below the target, with one unbroken block, and with hours without charging."""
    taper = ("  measured_at: wall ", "  taper: {0 %: 11 kW, 40 %: 7 kW, 100 %: 1 kW}\n  measured_at: wall ")
    plan = tonight("one_block: true", taper)
    assert plan.schedule.certificate.optimal
    assert len(spans(plan)) == 1
    start, end = spans(plan)[0]
    assert end - start > spans(tonight("one_block: true"))[0][1] - spans(tonight("one_block: true"))[0][0]
    plan = tonight("never: 23:00-01:00", taper)
    assert plan.schedule.certificate.optimal
    assert spans(plan)[0][0].hour == 1


def test_holidays_need_a_rate_sheet_that_names_them():
    """`holidays` in the hours is a mistake where the rate sheet has none, at the key it stands in."""
    (message,) = mistakes_of(home("never: 16:00-21:00 on holidays", ("tariff: summer-peak ", "tariff: flat ")))
    assert "the rate sheet names no holidays; leave `holidays` out of the hours" in message


@PROMISE
@given(charging=chargings())
def test_the_schema_takes_what_the_reader_takes(charging):
    """The JSON Schema of a household lets every mapping of these tests pass, and refuses a misspelt key."""
    sheet = yaml.safe_load(home(charging[0] or {"one_block": True}))
    assert not list(VALIDATOR.iter_errors(sheet["charging"]))
    assert list(VALIDATOR.iter_errors({**sheet["charging"], "min_of": "10 min"}))


def test_dates_are_dates():
    """Dates of a list are read as dates of the wall clock."""
    household = read_household(home("load_control: {hours: 17:00-20:00, dates: [2026-07-14, 2026-07-15]}"), "home.yaml")
    assert household.charger.load_control[0].dates == frozenset([date(2026, 7, 14), date(2026, 7, 15)])


def test_a_rule_is_named_as_it_was_written():
    """`most_starts: 1` is one unbroken block, but called by its own key in the plan, its remedies and its reasons."""
    for key, other in (("most_starts: 1", "one_block"), ("one_block: yes", "most_starts")):
        plan = tonight(f"{key}\nnever: 01:00-02:00", soc="10 %", now="2026-11-25 22:00", leave="05:00")
        name = key.partition(":")[0]
        assert f"one unbroken block (`{name}`)" in plan.rules
        (fix,) = plan.schedule.fixes
        assert any(name in together for together in fix.rules)
        said = json.dumps(plan_data(plan)) + night_text(plan)
        assert other not in said


def test_held_below_the_least_current_is_said_to_be_off():
    """5 A are less than the 6 A under which an EVSE stops, so the hours are off, and the plan says why."""
    plan = tonight("load_control: {hours: 23:00-02:00, current: 5 A}")
    assert any(rule.startswith("off (at most 5 A, and the EVSE stops below 6 A) 23:00-02:00") for rule in plan.rules), (
        plan.rules
    )
    assert any(rule.startswith("at most 6 A 23:00-02:00") for rule in tonight(_HELD_AT_6).rules)


_HELD_AT_6 = "load_control: {hours: 23:00-02:00, current: 6 A}"


def test_what_holds_outside_a_table_of_temperatures():
    """Colder than the first point its current holds, hotter than the last nothing is charged; the plan says so."""
    table = "derating: {current: {25 °C: 30 A, 40 °C: 20 A}, ambient: {'00:00': 10 °C, '03:00': 50 °C}}"
    plan = tonight(table, soc="5 %")
    assert any("colder than the first point of the table" in caution for caution in plan.cautions)
    allowed = plan.household.charger.derating_a
    assert (allowed[0], allowed[3 * 60]) == (30.0, 0.0)
    by_hour = tonight('derating: {current: {"17:00": 16 A, "01:00": 32 A}}')
    assert not any("colder" in caution for caution in by_hour.cautions)
