"""Several households' cars on one panel: limits, shares and mistakes of the file."""

import itertools
import json
import os
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import jsonschema
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.errors import FileError, InputError
from chargeplan.household import load_household, plan_tonight
from chargeplan.household.household import example_folder
from chargeplan.household.panel_file import load_panel
from chargeplan.household.together import plan_together
from chargeplan.output.json_schema import SCHEMAS
from chargeplan.output.together_text import together_data, together_text

PANEL = """
name: Two cars in one garage
timezone: America/Denver
circuits:
  panel: {breaker: 100 A}
  garage: {breaker: 50 A, fed_by: panel}
other_load:
  panel: {00:00: 6 A, 06:30: 25 A, 09:00: 10 A, 17:00: 45 A, 22:30: 8 A}
margin: 20 %
cars:
  - {household: demo, fed_by: garage, name: left}
  - {household: demo, fed_by: garage, name: right}
"""
#: Examples of the properties; more for a long run by hand.
EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "15"))
NIGHT = {"now": "2026-11-25 20:00", "soc": {"left": "20 %", "right": "35 %"}}


def panel(tmp_path, text=PANEL):
    (tmp_path / "panel.yaml").write_text(text, encoding="utf-8")
    return load_panel(tmp_path / "panel.yaml")


def mistakes(tmp_path, *changes):
    text = PANEL
    for old, new in changes:
        assert text.count(old) == 1
        text = text.replace(old, new)
    with pytest.raises(FileError) as caught:
        panel(tmp_path, text)
    return [str(mistake).split("panel.yaml:")[1] for mistake in caught.value.mistakes]


def test_two_cars_share_a_circuit(tmp_path):
    """A 50 A breaker may carry 40 A for hours (NFPA 70, 210.20(A)): 32 and 8, never 64; both reach their target.

    Alone each would draw 32 A from 23:00, 67.7 kWh in all. At 8 A the overhead weighs more, so 1.5 to 2 % more is
    drawn; at 9.6 kW that takes less than the 8 cheap hours, so nothing is charged at a dearer price.
    """
    plan = plan_together(panel(tmp_path), **NIGHT)
    shared = plan.shared
    assert shared.certificate.feasible
    assert shared.certificate.optimal
    assert float(shared.node_a[1].max()) == pytest.approx(40.0)
    assert not plan.short
    alone = [plan_tonight(load_household("demo"), soc=soc, now=NIGHT["now"]).schedule for soc in ("20 %", "35 %")]
    assert 1.01 < shared.total_cost / sum(schedule.total_cost for schedule in alone) < 1.03
    assert shared.total_cost == pytest.approx(0.182678 * shared.wall_kwh.sum(), rel=1e-4)
    text = " ".join(together_text(plan).split())
    assert "Limit garage: at least 40 A for cars, at most 40 A used used up Wed 23:00" in text
    assert "a licensed electrician and the local code" in text


def test_what_else_runs_is_left_alone(tmp_path):
    """In the evening 45 A and a margin of 20 % are 54 of 80 A: 26 are left for cars; at night 8 leave 70.4."""
    text = PANEL.replace("garage: {breaker: 50 A", "garage: {breaker: 100 A")
    plan = plan_together(panel(tmp_path, text), **NIGHT)
    shared = plan.shared
    zone = ZoneInfo("America/Denver")
    for slot, start_s in enumerate(shared.start_s):
        local = datetime.fromtimestamp(int(start_s), zone)
        evening = (
            timedelta(hours=17) <= timedelta(hours=local.hour, minutes=local.minute) < timedelta(hours=22, minutes=30)
        )
        if evening:
            assert shared.problem.left_a[0, slot, 0] == pytest.approx(26.0)
        elif local.hour == 23:
            assert shared.problem.left_a[0, slot, 0] == pytest.approx(70.4)
    assert (shared.node_a[0] <= shared.problem.left_a[0] + 1e-9).all()


def test_who_falls_short_falls_short_alike(tmp_path):
    """Four hours cannot serve both: the worse of the two shares, measured by what can be had alone, is least."""
    plan = plan_together(panel(tmp_path), now="2026-11-26 03:00", soc=NIGHT["soc"], plugged_in=True)
    assert plan.short
    relative = [departure.relative_shortfall for departure in plan.shared.departures]
    assert relative[0] == pytest.approx(relative[1], abs=1e-6)
    text = " ".join(together_text(plan).split())
    assert "even if it were alone" in text
    assert "because others charge too" in text


@settings(deadline=None, max_examples=EXAMPLES, suppress_health_check=list(HealthCheck))
@given(
    breaker=st.sampled_from([15, 20, 30, 40, 50, 60, 100]),
    other=st.integers(0, 60),
    socs=st.lists(st.integers(0, 95), min_size=3, max_size=3),
    hour=st.integers(0, 23),
)
def test_no_limit_is_exceeded_at_any_moment(tmp_path_factory, breaker, other, socs, hour):
    """Whatever the panel, what else runs, and the batteries: limits, least currents and levels hold in every slot."""
    text = PANEL.replace("breaker: 50 A", f"breaker: {breaker} A").replace("17:00: 45 A", f"17:00: {other} A")
    text += "  - {household: plain-outlet, fed_by: panel, name: small}\n"
    names = ("left", "right", "small")
    soc = {name: f"{value} %" for name, value in zip(names, socs, strict=True)}
    made = panel(tmp_path_factory.mktemp("panel"), text)
    plan = plan_together(made, now=f"2026-11-25 {hour:02d}:07", soc=soc, plugged_in=True, time_limit_s=5)
    shared = plan.shared
    current = shared.current_a
    limits = [0.8 * 100, 0.8 * breaker]
    assert (current[:2].sum(axis=0) <= limits[1] + 1e-6).all()
    assert (current.sum(axis=0) <= limits[0] + 1e-6).all()
    for row, alone, car in zip(current, plan.alone, made.cars, strict=True):
        limit = alone.limits[0]
        assert ((row < 1e-6) | (row >= limit.min_a - 1e-6)).all()
        assert (row <= limit.current_a + 1e-6).all()
        assert alone.household is car.household
    assert np.nanmax(shared.level_kwh) <= max(car.household.vehicle.usable_kwh for car in made.cars) + 1e-6
    data = together_data(plan)
    jsonschema.validate(json.loads(json.dumps(data, allow_nan=False)), SCHEMAS["together"])
    assert all(len(line) <= 80 for line in together_text(plan).splitlines())
    assert sum(window["wall_kwh"] for car in data["cars"] for window in car["windows"]) == pytest.approx(
        data["wall_kwh"]
    )


def test_whole_amperes(tmp_path):
    """With `step: 1 A` every current is a whole number of amperes."""
    plan = plan_together(panel(tmp_path, PANEL + "step: 1 A\n"), **NIGHT)
    assert np.allclose(plan.shared.current_a, np.round(plan.shared.current_a), atol=1e-6)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        (
            [("fed_by: panel}", "fed_by: house}")],
            "there is no circuit `house`; name one of panel, or leave `fed_by` out",
        ),
        (
            [("panel: {breaker: 100 A}", "panel: {breaker: 100 A, fed_by: garage}")],
            "panel feeds itself (panel > garage > panel); one of these must be at the top",
        ),
        ([("breaker: 50 A", "breaker: 0 A")], "breaker is out of range; write its rating, like 50 A"),
        ([("garage, name: left", "garage, name: left, phases: [2]")], "there is no phase 2: the supply has 1"),
        ([("garage, name: left", "garage, name: left, phases: [1, 1]")], "a phase is named twice"),
        (
            [("garage, name: left", "garage, name: left, phases: 1")],
            "phases: `1` stands where a list is wanted; write a list, like `[1]`",
        ),
        (
            [("household: demo, fed_by: garage, name: left", "household: three-phase, fed_by: garage, name: left")],
            "the car loads 3 phases, but the supply of the panel has 1; write `phases: 3` above",
        ),
        ([("fed_by: garage, name: left", "fed_by: barn, name: left")], "there is no circuit `barn`"),
        ([("name: right", "name: left")], "two cars are called left"),
        (
            [("household: demo, fed_by: garage, name: right", "household: here.yaml, fed_by: garage, name: right")],
            "there is no household `here.yaml`",
        ),
        ([("  panel: {00:00: 6 A, 06:30", "  panel: {01:00: 6 A, 06:30")], "what runs at midnight is not said"),
        ([("  panel: {00:00: 6 A", "  barn: {00:00: 6 A")], "there is no circuit `barn`"),
        ([("breaker: 50 A", "breaker: 50 V")], "'V' is not a unit of current"),
        ([("margin: 20 %", "margin: 20")], "'20' has no unit"),
    ],
)
def test_mistakes_of_the_file(tmp_path, changes, words):
    """Each is told with its line, and what would be right."""
    found = mistakes(tmp_path, *changes)
    assert any(words in line for line in found), found
    assert all(line[0].isdigit() for line in found)


def test_all_mistakes_at_once(tmp_path):
    """Three mistakes in three places are three messages."""
    assert (
        len(
            mistakes(
                tmp_path,
                ("fed_by: panel}", "fed_by: house}"),
                ("name: right", "name: left"),
                ("margin: 20 %", "margin: x"),
            )
        )
        == 3
    )


def test_a_car_that_is_not_there(tmp_path):
    """A state of charge for nobody is a mistake, not ignored."""
    with pytest.raises(InputError, match="there is no car `lft` on this panel; known are left, right"):
        plan_together(panel(tmp_path), soc={"lft": "20 %"})


def test_what_reaches_the_battery_at_few_amperes(tmp_path):
    """On a 10 A breaker a car charges at 8 A: 0.925 x 1.92 - 0.2 = 1.576 kW reach the battery, not the share of 32 A.

    Five points of 58 kWh are 2.9 kWh: 1.84 h, 3.53 kWh from the wall, as an EVSE set to 8 A would draw.
    """
    one = PANEL.replace("garage: {breaker: 50 A", "garage: {breaker: 10 A").replace(
        "  - {household: demo, fed_by: garage, name: right}\n", ""
    )
    plan = plan_together(panel(tmp_path, one), now="2026-11-25 20:00", soc={"left": "75 %"})
    assert not plan.short
    assert plan.battery_kwh[0] == pytest.approx(2.9, abs=0.06)
    assert float(plan.shared.wall_kwh.sum()) == pytest.approx(2.9 / (0.925 - 0.2 / 1.92), abs=0.08)


def with_right(tmp_path, extra, change=("", "")):
    """The panel, in which the household of the right car has something more."""
    text = (example_folder() / "demo.yaml").read_text(encoding="utf-8").replace(*change)
    (tmp_path / "own.yaml").write_text(text + extra, encoding="utf-8")
    other = "household: own.yaml, fed_by: garage, name: right"
    return panel(tmp_path, PANEL.replace("household: demo, fed_by: garage, name: right", other))


def minutes(plan, number):
    """Current of a car in each minute, by the wall clock of Denver, from its windows."""
    found = {}
    for window in plan.windows[number]:
        moment = window.start
        while moment.timestamp() < window.end.timestamp():
            found[moment.replace(second=0)] = window.current_a
            moment = datetime.fromtimestamp(moment.timestamp() + 60, moment.tzinfo)
    return found


@settings(deadline=None, max_examples=EXAMPLES, suppress_health_check=list(HealthCheck))
@given(
    never=st.tuples(st.integers(0, 23), st.integers(0, 59), st.integers(1, 5), st.integers(0, 59)),
    control=st.tuples(st.integers(0, 22), st.integers(1, 59), st.sampled_from([0, 4, 10, 16])),
    derated=st.sampled_from([6, 13, 20, 32]),
    socs=st.lists(st.integers(5, 90), min_size=2, max_size=2),
    hour=st.integers(0, 23),
)
def test_hours_of_the_charger_hold_in_every_minute(tmp_path_factory, never, control, derated, socs, hour):
    """Off in forbidden hours, no more than load control and derating allow, and the circuit keeps its limit too."""
    start, length = 60 * never[0] + never[1], 60 * never[2] + never[3]
    end = (start + length) % 1440
    off = f"{start // 60:02d}:{start % 60:02d}-{end // 60:02d}:{end % 60:02d}"
    held = f"{control[0]:02d}:{control[1]:02d}-{control[0] + 1:02d}:{control[1]:02d}"
    extra = (
        f"charging:\n  never: '{off}'\n  load_control: {{hours: '{held}', current: {control[2]} A}}\n"
        f"  derating: {{current: {{00:00: 32 A, 02:00: {derated} A, 04:00: 32 A}}, between: steps}}\n"
    )
    made = with_right(tmp_path_factory.mktemp("panel"), extra)
    soc = {"left": f"{socs[0]} %", "right": f"{socs[1]} %"}
    plan = plan_together(made, now=f"2026-11-25 {hour:02d}:07", soc=soc, plugged_in=True, time_limit_s=5)
    assert plan.shared.certificate.feasible
    left, right = minutes(plan, 0), minutes(plan, 1)
    for moment, current in right.items():
        minute = 60 * moment.hour + moment.minute
        assert (minute - start) % 1440 >= length
        if (minute - 60 * control[0] - control[1]) % 1440 < 60:
            assert control[2] >= 6
            assert current <= control[2] + 1e-3
        if 120 <= minute < 240:
            assert current <= derated + 1e-3
        assert current >= 6 - 1e-6
        assert current + left.get(moment, 0.0) <= 40 + 1e-3  # a window sets alike what differs by less
    assert plan.moment_a.sum(axis=0).max() <= 40 + 1e-6
    data = together_data(plan)
    jsonschema.validate(json.loads(json.dumps(data, allow_nan=False)), SCHEMAS["together"])
    starts = [datetime.fromisoformat(text).timestamp() for text in data["slots"]["start"]]
    for moment, current in right.items():
        at = max(number for number, begin in enumerate(starts) if begin <= moment.timestamp())
        assert data["slots"]["current_a"][1][at] == pytest.approx(current, abs=2e-3)
    assert sum(window.wall_kwh for window in plan.windows[1]) == pytest.approx(plan.shared.wall_kwh[1].sum())


def test_one_unbroken_block_beside_another_car(tmp_path):
    """Cheap from 23:00 to 07:00 with a gap for the right car: it charges in one block all the same.

    Without the rule it would charge before and after the gap.
    """
    gap = "charging: {never: '01:00-02:00'"
    free = plan_together(with_right(tmp_path, gap + "}\n"), **NIGHT)
    ruled = plan_together(with_right(tmp_path, gap + ", one_block: yes}\n"), **NIGHT)
    assert not ruled.short
    assert ruled.shared.certificate.feasible

    def blocks(plan):
        windows = plan.windows[1]
        return 1 + sum(after.start > before.end for before, after in itertools.pairwise(windows))

    assert blocks(free) == 2
    assert blocks(ruled) == 1
    assert "one unbroken block (`one_block`)" in " ".join(together_text(ruled).split())


def test_a_taper_beside_another_car(tmp_path):
    """A battery that takes less from 40 % on, and less than 0.925 x 7.68 - 0.2 = 6.904 kW from 64.6 % on.

    So currents fall towards 80 %, where it takes 11 - 10 x 40 / 60 = 4.33 kW; in 8 h at the cheap price it gets there.
    """
    change = ("  usable_battery:", "  taper: {0 %: 11 kW, 40 %: 11 kW, 100 %: 1 kW}\n  usable_battery:")
    plan = plan_together(with_right(tmp_path, "", change), **NIGHT)
    assert plan.shared.certificate.feasible
    assert not plan.short
    problem, shared = plan.shared.problem.cars[1].problem, plan.shared
    own = shared.problem.car == 1
    level = problem.level_kwh
    usable = plan.panel.cars[1].household.vehicle.usable_kwh
    for current, hours in zip(shared.piece_a[own].tolist(), problem.hours.tolist(), strict=True):
        kw = max(0.0, 0.925 * 0.24 * current - 0.2) if current > 0 else 0.0
        level += kw * hours
        accepted = np.interp(level / usable, [0, 0.4, 1.0], [11, 11, 1])
        assert kw <= accepted * 1.01 + 1e-6
    assert len(plan.windows[1]) > 2


def test_the_latest_hours_are_preferred(tmp_path):
    """At one price from 23:00 to 07:00 the right car charges as late as it can, the left one as early."""
    plan = plan_together(
        with_right(tmp_path, "prefer: latest\n"), now=NIGHT["now"], soc={"left": "70 %", "right": "70 %"}
    )
    assert plan.windows[0][0].start.hour == 23
    assert plan.windows[1][-1].end.hour == 7
    words = " ".join(together_text(plan_together(with_right(tmp_path, "prefer: fewest starts\n"), **NIGHT)).split())
    assert "right: `prefer: fewest starts` is not considered" in words


def test_what_is_left_out_of_a_household_is_said(tmp_path):
    """Charges for the highest power are not reckoned with here, so they are named; what gets hot is minded."""
    derated = "charging: {derating: {current: {25 °C: 32 A, 40 °C: 24 A}, ambient: 20 °C}}\n"
    made = with_right(tmp_path, derated, ("tariff: summer-peak", "tariff: whole-bill"))
    words = " ".join(together_text(plan_together(made, **NIGHT)).split())
    assert "right: the derating is the table as given" in words
    assert "right: this rate also charges for the highest power" in words
    assert "left:" not in words


def test_what_is_missing_is_not_called_the_target(tmp_path):
    """Less than a step of current is missing, so no car is short; but 79.9 % are not said to be the target of 80 %."""
    plan = plan_together(panel(tmp_path, PANEL + "step: 1 A\n"), **NIGHT)
    wanted = [
        0.8 * car.household.vehicle.usable_kwh - alone.itinerary.level_kwh
        for car, alone in zip(plan.panel.cars, plan.alone, strict=True)
    ]
    exact = replace(plan, battery_kwh=np.array(wanted))
    near = replace(plan, battery_kwh=np.array(wanted) - np.array([0.04, 0.0]))
    assert together_text(exact).count("at 80 %, the target") == 2
    assert "at 79.9 %, as near to the target of 80 % as the currents allow" in " ".join(together_text(near).split())
    assert together_text(near).count(", the target") == 1
