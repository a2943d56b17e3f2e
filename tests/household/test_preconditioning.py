"""What a car draws before it leaves: promises of the plan, by day, with every other rule, and mistakes of the file."""

import json
import os
from datetime import UTC, datetime, timedelta

import jsonschema
import numpy as np
import pandas as pd
import pytest
import yaml
from household_cases import changed, mistakes_of, read_sheet, sheets
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st
from test_house_use import HOUSE

from chargeplan.household import plan_days, plan_tonight, read_household
from chargeplan.household.model import household_schema
from chargeplan.household.panel_file import load_panel
from chargeplan.household.together import plan_together
from chargeplan.output.data import plan_data, plan_rows
from chargeplan.output.json_schema import SCHEMAS
from chargeplan.output.plan_text import days_text, night_text
from chargeplan.output.together_text import together_data
from chargeplan.plan import Itinerary, Stay, plan
from chargeplan.plan.preconditioning import Limits, Preconditioning
from chargeplan.plan.spells import Spell
from chargeplan.plan.worth import changes
from chargeplan.tariff import read_tariff

EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "40"))
PROMISE = settings(deadline=None, database=None, suppress_health_check=list(HealthCheck), max_examples=EXAMPLES)
PRESENT = (
    st.datetimes(datetime(2026, 2, 1), datetime(2026, 12, 20))
    | st.datetimes(datetime(2026, 10, 31, 12), datetime(2026, 11, 1, 12))
    | st.datetimes(datetime(2026, 3, 7, 12), datetime(2026, 3, 8, 12))
).map(lambda t: t.replace(microsecond=0, second=0, tzinfo=UTC))


def home(said, *changes, more=""):
    text = changed(("  target: 80 %", f"  preconditioning: {said}\n  target: 80 %"), *changes)
    return read_household(f"{text.rstrip()}\n{more}", "home.yaml")


def tonight(said, *changes, more="", **given_):
    return plan_tonight(home(said, *changes, more=more), **{"soc": "55 %", "now": "2026-11-25 20:00", **given_})


# --------------------------------------------------------------------------------------- by hand


def test_it_costs_what_it_costs_then():
    """1.2 kWh in 20 min before 07:15 are 3.6 kW: five minutes at the night's price, fifteen at the day's."""
    made = tonight("{energy: 1.2 kWh, takes: 20 min}")
    usual = plan_tonight(read_household(changed(), "home.yaml"), soc="55 %", now="2026-11-25 20:00")
    price = made.schedule.price_per_kwh
    assert made.schedule.preconditioning_cost == pytest.approx(3.6 * (5 / 60 * price[-3] + 15 / 60 * price[-1]))
    assert price[-3] != price[-1]
    assert made.schedule.preconditioning_cost == pytest.approx(made.schedule.total_cost - usual.schedule.total_cost)
    assert made.schedule.on_plug_in.saving == pytest.approx(usual.schedule.on_plug_in.saving)
    assert made.schedule.by_timer.saving == pytest.approx(usual.schedule.by_timer.saving)
    assert made.schedule.departures[0].level_kwh == pytest.approx(usual.schedule.departures[0].level_kwh)
    assert made.schedule.certificate.optimal
    text = night_text(made)
    assert "Precondition 1.2 kWh from the wall in the 20 min before leaving home, 0.32 USD\n" in text
    assert all(len(line) <= 80 for line in text.splitlines())
    assert "Precondition" not in night_text(usual)


def test_it_leaves_less_for_charging():
    """Of 32 A it takes 15 A: 17 A are left, with the losses of 17 A; below 6 A nothing is charged."""
    made = tonight("{energy: 1.2 kWh, takes: 20 min}", now="2026-11-26 06:40")
    windows = made.schedule.windows
    assert [(w.start.minute, w.end.minute, w.current_a) for w in windows] == [(40, 55, 32.0), (55, 15, 17.0)]
    loss = made.household.vehicle.loss("level 2")
    assert windows[1].battery_kwh == pytest.approx(loss.battery_kw(17 * 0.24) * 20 / 60)
    made = tonight("{energy: 2.2 kWh, takes: 20 min}", now="2026-11-26 06:40")
    assert [(w.start.minute, w.end.minute) for w in made.schedule.windows] == [(40, 55)]


def test_what_the_wall_does_not_give_comes_from_the_battery():
    """9 kW of which the EVSE gives 7.68: a third of an hour of 1.32 kW, as much as would pass the onboard charger."""
    made = tonight("{energy: 3 kWh, takes: 20 min}")
    schedule, loss = made.schedule, made.household.vehicle.loss("level 2")
    drained = (9 - 7.68) / 3 * loss.efficiency
    assert made.itinerary.stays[0].drained_kwh == pytest.approx(drained)
    assert schedule.preconditioning_kwh.sum() == pytest.approx(7.68 / 3)
    assert schedule.departures[0].level_kwh == pytest.approx(0.8 * 58)
    assert schedule.departures[0].shortfall_kwh == 0
    assert schedule.level_kwh[-1] == pytest.approx(0.8 * 58 + drained)
    assert "and 0.4 kWh from the" in night_text(made)
    off = tonight("{energy: 1.2 kWh, takes: 20 min}", more="charging: {never: 07:00-07:05}")
    assert off.itinerary.stays[0].drained_kwh == pytest.approx(3.6 * 5 / 60 * loss.efficiency)
    assert off.schedule.preconditioning_kwh.sum() == pytest.approx(3.6 * 15 / 60)
    held = tonight(
        "{energy: 1.2 kWh, takes: 20 min}", more="charging: {load_control: {hours: 06:00-08:00, current: 10 A}}"
    )
    assert held.schedule.preconditioning_kwh.sum() == pytest.approx(2.4 / 3)


def test_a_full_battery_leaves_with_less():
    """At a target of 100 % what the battery gives before the departure cannot be charged before; the plan says so."""
    made = tonight("{energy: 3 kWh, takes: 20 min}", target="100 %")
    drained = made.itinerary.stays[0].drained_kwh
    assert made.schedule.departures[0].shortfall_kwh == pytest.approx(drained, abs=1e-6)
    assert made.schedule.departures[0].level_kwh == pytest.approx(58 - drained, abs=1e-6)
    assert made.schedule.fixes[0].rules == (("preconditioning",),)
    assert "do without `preconditioning`" in " ".join(night_text(made).split())


def test_by_day():
    """On weekdays only: two of the departures of a Friday to Tuesday are without."""
    made = plan_days(
        home("{energy: {weekdays: 1.2 kWh, weekends: 0 kWh}, takes: 20 min}"), 5, soc="55 %", now="2026-11-26 20:00"
    )
    days = [
        (stay.end.weekday() < 5, stay.preconditioning is not None)
        for stay in made.itinerary.stays
        if stay.place == "home"
    ]
    assert {(True, True), (False, False)} >= set(days)
    count = sum(held for _, held in days)
    assert made.schedule.preconditioning_kwh.sum() == pytest.approx(1.2 * count)
    assert f"{1.2 * count:.1f} kWh from the wall" in " ".join(days_text(made).split())
    assert made.schedule.certificate.optimal


def test_early_departures():
    """The car is made ready sooner, and so is its cabin."""
    made = tonight("{energy: 1.2 kWh, takes: 20 min}\n  early: 30 min")
    starts = made.schedule.start_s[made.schedule.preconditioning_kwh > 0]
    ends = made.itinerary.stays[0].end.timestamp()
    assert made.itinerary.stays[0].end.strftime("%H:%M") == "06:45"
    assert starts.min() == ends - 1200


@pytest.mark.parametrize(
    ("said", "what"),
    [
        ("{energy: 1.2 kWh, takes: 0 min}", "`takes` is 0 min, which cannot be; write 1 min to 3 h, like 20 min"),
        ("{energy: 1.2 kWh, takes: 4 h}", "`takes` is 240 min, which cannot be"),
        ("{energy: 30 kWh, takes: 20 min}", "`energy` is 30 kWh, which cannot be; write 0 to 20 kWh, like 1.2 kWh"),
        ("{energy: {weekdays: 1 kWh}, takes: 20 min}", "nothing is said for Sat, Sun; add a line for Sat"),
        ("{energy: 1.2 kWh}", "`takes` under `preconditioning` is missing; add for example `takes: 20 min`"),
        ("{energy: 1.2, takes: 20 min}", "kWh"),
    ],
)
def test_mistakes(said, what):
    """One message for each, at its line, with what would be right."""
    text = changed(("  target: 80 %", f"  preconditioning: {said}\n  target: 80 %"))
    (message,) = mistakes_of(text)
    assert what in message


# --------------------------------------------------------------------------------------- promises


@st.composite
def said(draw):
    takes = draw(st.integers(1, 180))
    kwh = st.integers(0, 40).map(lambda tenths: f"{tenths / 10} kWh")
    energy = draw(kwh | st.fixed_dictionaries({"weekdays": kwh, "weekends": kwh}))
    return {"energy": energy, "takes": f"{takes} min"}


CHARGING = st.fixed_dictionaries(
    {},
    optional={
        "never": st.sampled_from(["06:00-07:00", "05:30-06:10 on weekdays", "22:00-02:00"]),
        "load_control": st.just({"hours": "05:00-08:00", "current": "8 A"}),
        "one_block": st.just(True),
        "derating": st.just({"current": {"00:00": "16 A", "06:00": "10 A"}, "between": "steps"}),
    },
)


@PROMISE
@given(sheet=sheets(), now=PRESENT, soc=st.integers(0, 100), warm=said(), charging=CHARGING, days=st.integers(0, 2))
def test_promises(sheet, now, soc, warm, charging, days, sheet_folder):
    """Read from the printed JSON and CSV: energy, cost, and never more current than there is, minute by minute."""
    sheet["habits"]["preconditioning"] = warm
    if charging:
        sheet["charging"] = charging
    made = read_sheet(sheet, sheet_folder)
    given_ = {"soc": f"{soc} %", "now": now}
    found = plan_days(made, days, **given_) if days else plan_tonight(made, **given_)
    schedule = found.schedule
    data = json.loads(json.dumps(plan_data(found)))
    jsonschema.validate(data, SCHEMAS["plan"])
    header, rows = plan_rows(found)
    rows = [dict(zip(header, row, strict=True)) for row in rows]
    takes = float(warm["takes"].split()[0])
    printed = 1e-6 + 0.5e-6 * len(rows)  # rows have six decimals
    wall = drained = 0.0
    for stay in found.itinerary.stays:
        if stay.place != "home":
            continue
        energy = warm["energy"]
        if isinstance(energy, dict):
            energy = energy["weekdays" if stay.end.weekday() < 5 else "weekends"]
        power = float(energy.split()[0]) / takes * 60
        time_h = min(takes / 60, stay.hours)
        given_kwh = sum(
            row["preconditioning_kwh"]
            for row in rows
            if stay.start.timestamp() <= datetime.fromisoformat(row["start"]).timestamp() < stay.end.timestamp()
        )
        loss = made.vehicle.loss(made.limit.level)
        assert given_kwh + stay.drained_kwh / loss.efficiency == pytest.approx(power * time_h, abs=printed)
        wall, drained = wall + given_kwh, drained + stay.drained_kwh
    event(f"drained {drained > 0}, wall {wall > 0}")
    assert data["preconditioning"]["wall_kwh"] == pytest.approx(wall, abs=printed)
    assert data["preconditioning"]["battery_kwh"] == pytest.approx(drained)
    assert sum(row["cost"] for row in rows) == pytest.approx(data["cost"], abs=printed)
    assert sum(row["wall_kwh"] for row in rows) == pytest.approx(data["wall_kwh"], abs=printed)
    windows = sum(window["cost"] for window in data["windows"])
    assert windows + data["preconditioning"]["cost"] == pytest.approx(data["cost"], abs=1e-6)
    for row, limit in zip(rows, np.array([made.limit.wall_kw])[schedule.stay * 0], strict=True):
        if row["place"] == "home" and row["hours"]:
            assert row["wall_kwh"] / row["hours"] <= limit + 1e-3
    assert schedule.certificate.feasible


def test_the_lower_limit_and_what_is_drawn_by_a_slow_sum():
    """Second by second over random spells: the limit that is left, and the energy of both sources."""
    random = np.random.default_rng(5)
    for _ in range(40):
        edges = np.sort(random.choice(np.arange(1, 4000), 4, replace=False))
        spells = (
            Spell(int(edges[0]), int(edges[1]), 1.5, 0.8, "a"),
            Spell(int(edges[2]), int(edges[3]), 0.0, 1.0, "b"),
        )
        warm = Preconditioning(float(random.uniform(0.5, 6)), int(random.integers(60, 5000)), battery_per_wall=0.9)
        stay = Limits(0, 4000, 4.0, 0.9, spells)
        second = np.arange(4000)
        allowed = np.full(4000, 4.0)
        for spell in spells:
            allowed[spell.start_s : spell.end_s] = spell.wall_kw
        own = np.where(second >= 4000 - warm.takes_s, warm.wall_kw, 0.0)
        left = np.full(4000, 4.0)
        for spell in warm.spells(stay):
            left[spell.start_s : spell.end_s] = spell.wall_kw
        assert left == pytest.approx(np.maximum(allowed - own, 0.0))
        slots = np.array([0, 700, 1300, 3900])
        hours = np.array([700, 600, 2600, 100]) / 3600
        drawn = np.minimum(own, allowed) / 3600
        assert warm.drawn_kwh(stay, slots, hours) == pytest.approx([p.sum() for p in np.split(drawn, slots[1:])])
        assert warm.drained_kwh(stay) == pytest.approx(0.9 * np.maximum(own - allowed, 0.0).sum() / 3600)


def test_a_plan_without_a_household():
    """Plain values: two hours at 4 kW, of which the last takes 3 kW for itself."""
    stay = Stay(
        "home",
        datetime(2026, 1, 5, 20, tzinfo=UTC),
        datetime(2026, 1, 5, 22, tzinfo=UTC),
        wall_kw=4.0,
        gain=1.0,
        need_kwh=5.0,
        price_per_kwh=0.1,
        preconditioning=Preconditioning(3.0, 3600),
    )
    found = plan(Itinerary(0, 60, [stay]))
    assert found.wall_kwh.reshape(2, 4).sum(axis=1) == pytest.approx([4.0, 1.0])
    assert found.total_cost == pytest.approx(0.8)
    assert found.on_plug_in.cost == pytest.approx(0.8)
    # Another hour is charged at the full limit, as the preconditioning comes in the last one.
    longer = plan(Itinerary(0, 60, [stay.__class__(**{**vars(stay), "end": stay.end + timedelta(hours=1)})]))
    assert longer.wall_kwh.sum() == pytest.approx(5.0)
    assert longer.problem.max_kwh.sum() == pytest.approx(9.0)


def test_leaving_later_moves_it():
    """An hour later it is drawn at another price, which is part of what leaving later costs."""
    made = tonight("{energy: 1.2 kWh, takes: 20 min}", leave="06:45")
    (later,) = [change for change in changes(made.itinerary, 0) if change.key == "one_hour_later"]
    other = tonight("{energy: 1.2 kWh, takes: 20 min}", leave="07:45")
    assert later.cost == pytest.approx(other.schedule.total_cost - made.schedule.total_cost)
    assert later.cost > 0.05


# --------------------------------------------------------------------------------------- with the rest


def test_the_whole_bill(tmp_path):
    """With tiers, the cost is what the bills rise by with charging and preconditioning together."""
    terms = (
        "name: S\ncurrency: USD\ntimezone: America/Denver\nbilling: {rounding: none}\n"
        "periods: {peak: 16:00-21:00 on weekdays, off-peak: rest}\n"
        "prices: {peak: 0.30 up to 500 then 0.36, off-peak: 0.10 up to 500 then 0.16}\n"
    )
    (tmp_path / "tiers.yaml").write_text(terms, encoding="utf-8")
    sheet = yaml.safe_load(HOUSE) | {"house_use": {"so_far": "490 kWh", "per_day": "4 kWh"}}
    sheet["habits"]["preconditioning"] = {"energy": "3 kWh", "takes": "30 min"}
    made = read_household(yaml.safe_dump(sheet), str(tmp_path / "house.yaml"))
    found = plan_tonight(made, soc="75 %", now="2026-11-25 20:00", plugged_in=True)
    assert found.schedule.whole_bill
    assert found.schedule.certificate.optimal
    index = pd.date_range("2026-11-01", "2026-12-01", freq="15min", tz="America/Denver", inclusive="left")
    load = pd.Series(np.full(len(index), 4 / 96), index.tz_convert("UTC"))
    past = load.index < datetime.fromtimestamp(found.now_s, UTC)
    load[past] = 490 / past.sum()
    car = load * 0.0
    for start, kwh in zip(found.schedule.start_s, found.schedule.drawn_kwh, strict=True):
        car[pd.Timestamp(int(start) // 900 * 900, unit="s", tz="UTC")] += kwh
    assert found.schedule.preconditioning_kwh.sum() == pytest.approx(3.0)
    tariff = read_tariff(terms)
    rise = float(tariff.bills(load + car).total - tariff.bills(load).total)
    assert found.schedule.total_cost == pytest.approx(rise, abs=1e-6)
    assert found.schedule.on_plug_in.cost >= found.schedule.total_cost - 1e-9


PANEL = """
name: Two cars in one garage
timezone: America/Denver
circuits: {garage: {breaker: 50 A}}
cars:
  - {household: home.yaml, fed_by: garage, name: left}
  - {household: home.yaml, fed_by: garage, name: right}
"""


def test_several_cars(tmp_path):
    """On 40 A each car takes 15 A for itself in the last twenty minutes, which leaves 10 A for both."""
    text = changed(("  target: 80 %", "  preconditioning: {energy: 1.2 kWh, takes: 20 min}\n  target: 80 %"))
    (tmp_path / "home.yaml").write_text(text, encoding="utf-8")
    (tmp_path / "panel.yaml").write_text(PANEL, encoding="utf-8")
    panel = load_panel(tmp_path / "panel.yaml")
    found = plan_together(panel, now="2026-11-26 06:00", soc={"left": "20 %", "right": "20 %"}, plugged_in=True)
    late = found.shared.start_s >= datetime(2026, 11, 26, 14, 0, tzinfo=UTC).timestamp()
    assert found.shared.current_a[:, ~late].sum(axis=0).max() == pytest.approx(40.0, abs=0.01)
    assert found.shared.current_a[:, late].sum(axis=0).max() <= 10.01
    charging = found.shared.total_cost
    own = sum(one.schedule.preconditioning_cost for one in found.alone)
    assert together_data(found)["cost"] == pytest.approx(charging + own)


def test_the_schema_for_editors():
    """It takes one energy or one by day, and demands the time."""
    schema = household_schema()
    part = {**schema["$defs"]["PreconditioningPart"], "$defs": schema["$defs"]}
    jsonschema.validate({"energy": "1.2 kWh", "takes": "20 min"}, part)
    jsonschema.validate({"energy": {"weekdays": "1.2 kWh", "weekends": "0 kWh"}, "takes": "20 min"}, part)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate({"energy": "1.2 kWh"}, part)
