"""Study files: what each line means, by hand; what the examples answer; and every kind of mistake with its place."""

import json
import os
from datetime import date, timedelta

import jsonschema
import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.charging import Circuit, Evse
from chargeplan.errors import FileError, InputError
from chargeplan.household import load_household
from chargeplan.household.household import example_folder
from chargeplan.reading import read_document
from chargeplan.study.cell import unit_rows
from chargeplan.study.cold import Cold, MonthlyMeans
from chargeplan.study.compare import Elsewhere, Gasoline
from chargeplan.study.driving import Away, Driving, LongTrips
from chargeplan.study.equipment import Equipment
from chargeplan.study.file import StudyFile, load_study, read_study, study_examples, study_folder
from chargeplan.study.house_load import UsualLoad
from chargeplan.study.logged_driving import LoggedDriving
from chargeplan.study.model import study_schema
from chargeplan.study.rates import break_even
from chargeplan.study.rebates import Rebate
from chargeplan.study.spending import Terms
from chargeplan.study.study import RoadCharging, Study, units
from chargeplan.tariff import load_tariff

EXAMPLES = ("demo", "outlet", "work-stop")
HOUSEHOLD = (example_folder() / "demo.yaml").read_text(encoding="utf-8")
MI, FT, GAL = 1.609344, 0.3048, 3.785411784

BASE = """\
name: Which rate
from: 2026-01-01
seed: 3
drawn_years: 2
aim: enough
households: demo
house: {per_day: 24 kWh}
tariffs: [flat, two-period]
equipment:
  as it is:
  wall box:
    circuit: {breaker: 60 A, volts: 240 V}
    evse: {max_current: 48 A}
    purchase: 550
    wire: {length: 40 ft, price: 6.50 per ft}
    labor: 400
    permit: 90
    rebates:
      state: {share: 30 %, at_most: 1000, of: [purchase]}
      utility: {amount: 200, after_others: true}
    lifetime: 12 years
    replacement: 500
    upkeep: 1.50 per month
driving:
  usual: {spread: 40 %}
  far:
    weekdays: 40 mi
    weekends: 20 mi
    scale: 150 %
    stays_home: 5 %
    long_trips: {per_year: 6, distance: 250 mi, days: Sat}
    away: [{from: 2026-07-04, to: 2026-07-18, distance: 900 mi}]
    cold:
      temperature: [-1 °C, 1 °C, 5 °C, 9 °C, 14 °C, 20 °C, 23 °C, 22 °C, 17 °C, 10 °C, 4 °C, 30.2 °F]
      consumption: {20 °C: 100 %, 14 °F: 140 %}
today: {tariff: flat, equipment: as it is}
panel: {breaker: 100 A, volts: 240 V, other_load: [45 A, 38 A], basis: measured}
road: {price: 0.55, dc_power: 60 kW}
public:
  street: {price: 0.32, power: 7 kW}
  fast: {price: 0.55, dc_power: 50 kW}
gasoline: {price: 3.60 per gal, consumption: 31 mi/gal}
money: {horizon: 10 years, discount_rate: 5 %, price_growth: -1 %, price_spread: 8 %, reliability: 95 %}
"""


def changed(*changes, text=BASE):
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
        text = text.replace(old, new)
    return text


def mistakes_of(text, name="study.yaml"):
    """The mistakes as they are printed, one string each."""
    with pytest.raises(FileError) as caught:
        read_study(text, str(name))
    lines = str(caught.value).splitlines()
    assert lines == [str(mistake) for mistake in caught.value.mistakes]
    return lines


def small(rest="", **more):
    """A study of one household and one rate, with something added."""
    said = {"name": "Small", "from": "2026-01-01", "households": "demo", "tariffs": "flat"} | more
    return read_study("".join(f"{key}: {value}\n" for key, value in said.items()) + rest)


# -------------------------------------------------------------------------------------------------- what it means


def test_every_line_means_what_it_says():
    """All quantities by hand: 1 mi is 1.609344 km, 1 ft 0.3048 m, 1 US gallon 3.785411784 L; 14 °F are -10 °C."""
    found = read_study(BASE)
    study = found.study
    assert (study.name, study.first, study.days, study.seed, study.draws, study.aim) == (
        *("Which rate", date(2026, 1, 1), 365, 3, 2, "enough"),
    )
    assert list(study.households) == ["demo"]
    assert list(study.tariffs) == ["flat", "two-period"]
    assert study.house == {"demo": UsualLoad("America/Denver", 24.0)}
    assert study.road == RoadCharging(0.55, 60.0)
    assert study.equipment["as it is"] is None
    box = study.equipment["wall box"]
    assert box == Equipment(
        "wall box",
        Circuit(60, volts=240),
        Evse(48),
        purchase=550,
        wire_run_m=box.wire_run_m,
        wire_per_m=box.wire_per_m,
        labor=400,
        permit=90,
        rebates=(Rebate("state", 0.3, 1000, of=("purchase",)), Rebate("utility", amount=200, after_others=True)),
        lifetime_years=12,
        replacement=500,
        yearly=18,
    )
    assert box.wire_run_m == pytest.approx(40 * FT)
    assert box.wire_run_m * box.wire_per_m == pytest.approx(260)
    assert box.outlay == pytest.approx(550 + 260 + 400 + 90 - 165 - 200)
    means = (-1.0, 1.0, 5.0, 9.0, 14.0, 20.0, 23.0, 22.0, 17.0, 10.0, 4.0, -1.0)
    assert study.driving["usual"] == Driving(spread=0.4)
    assert study.driving["far"] == Driving(
        weekday_km=40 * MI,
        weekend_km=20 * MI,
        scale=1.5,
        stays_home=0.05,
        long_trips=LongTrips(6, 250 * MI, "Sat"),
        away=(Away(date(2026, 7, 4), date(2026, 7, 18), 900 * MI),),
        cold=Cold(MonthlyMeans(means), ((-10.0, 1.4), (20.0, 1.0))),
    )
    question = found.question
    assert (question.tariff, question.equipment, question.reliability) == ("flat", "as it is", 0.95)
    assert question.terms == Terms(10, 0.05, price_growth=-0.01)
    assert (question.doubt.price_spread, question.doubt.outlay_spread, question.doubt.seed) == (0.08, 0.0, 3)
    assert question.elsewhere == (Elsewhere("street", 0.32, 7.0, dc=False), Elsewhere("fast", 0.55, 50.0, dc=True))
    fuel = question.gasoline
    assert isinstance(fuel, Gasoline)
    assert (fuel.price_per_l, fuel.l_per_100km) == pytest.approx((3.60 / GAL, 100 / (31 * MI / GAL)))
    assert found.warnings == ()
    # The fullest leg counts: 80 % of 100 A less 45 A, both measured.
    assert found.panel.room([box]).left_a == 35.0


def test_a_file_reckons_as_the_same_study_made_by_hand():
    """The rows of a file are those of the objects it stands for, to the last digit."""
    read = read_study(BASE).study
    home, rates = load_household("demo"), {name: load_tariff(name) for name in ("flat", "two-period")}
    box = Equipment("wall box", Circuit(60, volts=240), Evse(48))
    made = Study(
        "by hand",
        {"demo": home},
        rates,
        date(2026, 1, 1),
        365,
        equipment={"as it is": None, "wall box": box},
        driving={"usual": Driving(spread=0.4)},
        house={"demo": UsualLoad("America/Denver", 24.0)},
        road=RoadCharging(0.55, 60.0),
        aim="enough",
        seed=3,
        draws=2,
    )
    by_file = [row for unit in units(read) if unit.driving_name == "usual" for row in unit_rows(unit)]
    assert by_file == [row for unit in units(made) for row in unit_rows(unit)]


def test_what_is_left_out():
    """A year from the first day; one way of driving; what the household has; the rate of the household today."""
    found = read_study("{name: a, from: 2024-03-01, households: demo, tariffs: [flat, two-period]}")
    assert (found.study.days, found.study.draws, found.study.aim, found.study.road) == (365, 1, "target", None)
    assert found.study.equipment == {"as it is": None}
    assert found.study.driving == {"usual": Driving()}
    assert found.study.house == {}
    assert found.panel is None
    assert (found.question.tariff, found.question.equipment) == ("flat", "as it is")
    assert found.question.terms == Terms(10, 0.05)
    own = read_study("{name: a, from: 2026-01-01, households: demo, tariffs: [flat, summer-peak]}")
    assert own.question.tariff == "summer-peak", "the rate sheet of the household file"


@pytest.mark.parametrize(
    ("first", "last", "days"),
    [
        ("2026-01-01", None, 365),
        ("2028-01-01", None, 366),
        ("2027-07-01", None, 366),
        ("2028-02-29", None, 366),
        ("2026-05-01", "2026-05-01", 1),
        ("2026-05-01", "2029-05-02", 1098),
    ],
)
def test_days(first, last, days):
    """Both days belong to it; a year ends on the day before that of the same date, or on the 28th of February."""
    assert small(**{"from": first} | ({"to": last} if last else {})).study.days == days


def test_a_time_that_is_no_year_is_pointed_out():
    """What is reckoned as a year would not be one."""
    warnings = small(to="2026-06-30").warnings
    assert [str(warning) for warning in warnings] == [
        "study.yaml:5:1: the study has 181 days, so what it calls a year is not one; leave `to` out for a year"
    ]


def test_households_and_their_houses(tmp_path):
    """The entry of a household goes before the study, and the study before the household's own file."""
    use = "house_use: {so_far: 100 kWh, per_day: 11 kWh}\n"
    (tmp_path / "home.yaml").write_text(HOUSEHOLD + use, encoding="utf-8")
    months = ", ".join(["50 %"] * 6 + ["150 %"] * 6)
    households = f"""
households:
  own file: home.yaml
  own entry: {{household: home.yaml, house: {{per_day: 33 kWh, by_month: [{months}]}}, stops: none}}
  example: demo
"""
    head = "name: a\nfrom: 2026-01-01\ntariffs: flat\n"
    bare = read_study(head + households, str(tmp_path / "study.yaml")).study
    by_month = (0.5,) * 6 + (1.5,) * 6
    zone = "America/Denver"
    assert bare.house == {"own file": UsualLoad(zone, 11.0), "own entry": UsualLoad(zone, 33.0, by_month)}
    assert [len(home.stops) for home in bare.households.values()] == [1, 0, 1]
    said = read_study(head + "house: {per_day: 22 kWh}" + households, str(tmp_path / "study.yaml")).study
    assert [said.house[name].per_day_kwh for name in said.households] == [22.0, 33.0, 22.0]


def test_files_beside_the_study_go_first(tmp_path):
    """A file of that name beside the study is meant, with or without a suffix, also in a folder below."""
    (tmp_path / "rates").mkdir()
    sheet = "{name: Mine, currency: USD, timezone: America/Denver, prices: 0.1}"
    for name in ("flat", "rates/mine.yaml", "rates/other.yml"):
        (tmp_path / name).write_text(sheet, encoding="utf-8")
    text = changed(("[flat, two-period]", "[flat, rates/mine.yaml, rates/other.yml, two-period]"))
    (tmp_path / "study.yaml").write_text(text, encoding="utf-8")
    tariffs = load_study(tmp_path / "study.yaml").study.tariffs
    assert {name: tariff.name for name, tariff in tariffs.items()} == {
        **dict.fromkeys(("flat", "mine", "other"), "Mine"),
        "two-period": "Ridgeline Valley two-period",
    }


def test_names_given_in_the_file(tmp_path):
    found = small(tariffs="{now: flat, later: two-period}", households="{we: demo}", today="{tariff: now}")
    assert list(found.study.tariffs) == ["now", "later"]
    assert list(found.study.households) == ["we"]
    assert found.question.tariff == "now"


# ------------------------------------------------------------------------------------------------ no home charging


def test_nothing_at_home():
    """Without circuit and EVSE nothing flows at home, whatever the rules of the charger, and it costs nothing."""
    nothing = small("equipment: {nothing: none, kept: as it is}").study.equipment
    assert nothing == {"nothing": Equipment("nothing"), "kept": None}
    home = load_household("demo")
    assert (nothing["nothing"].limit_for(home.vehicle).wall_kw, nothing["nothing"].demand_kw) == (0.0, 0.0)
    assert (nothing["nothing"].outlay, nothing["nothing"].demand_a) == (0.0, 0.0)


def test_nothing_at_home_with_rules_of_a_charger(tmp_path):
    """All energy comes from the stop at work and from the road; rules for a charger that is not there do no harm."""
    (tmp_path / "home.yaml").write_text(HOUSEHOLD + "charging: {one_block: true}\n", encoding="utf-8")
    text = """
name: a
from: 2026-03-01
to: 2026-04-30
households: home.yaml
tariffs: flat
aim: enough
equipment: {nothing: none}
road: {price: 0.5}
"""
    study = read_study(text, str(tmp_path / "study.yaml")).study
    for unit in units(study):
        for row in unit_rows(unit):
            assert row.home_kwh == 0
            assert row.stops_kwh > 100
            assert row.bill == row.house_bill


def test_equipment_has_both_links_or_none():
    for circuit, evse in ((Circuit(20, volts=120), None), (None, Evse(12))):
        with pytest.raises(InputError, match=r"^(circuit|evse) of half is None; write for example"):
            Equipment("half", circuit, evse)


# ---------------------------------------------------------------------------------------------------------- a log


def log_of(tmp_path, days, name="drives.csv"):
    """Weekday drives of 29 mi, from the first Monday of 2026 on."""
    rows = ["leave,back,distance"]
    for number in range(days):
        day = date(2026, 1, 5) + timedelta(days=number)
        if day.weekday() < 5:
            rows.append(f"{day} 07:15,{day} 18:15,29 mi")
    (tmp_path / name).write_text("\n".join(rows), encoding="utf-8")
    return rows[1:]


def test_a_log_is_driven_as_it_is(tmp_path):
    """The distance is that of the log, which is planned once, and `scale` and break-evens multiply it."""
    rows = log_of(tmp_path, 360)
    text = changed(("  usual: {spread: 40 %}", "  log: {log: drives.csv}\n  twice: {log: drives.csv, scale: 200 %}"))
    study = read_study(text, str(tmp_path / "study.yaml")).study
    assert isinstance(study.driving["log"], LoggedDriving)
    driven = {}
    for unit in units(study):
        if unit.driving_name != "far" and "flat" in unit.tariffs:
            row = unit_rows(unit)[0]
            driven[unit.driving_name, unit.draw] = row.distance_km
    assert driven["log", 0] == pytest.approx(len(rows) * 29 * MI)
    assert set(driven) == {("log", 0), ("twice", 0)}, "there is nothing to draw"
    assert {(unit.driving_name, unit.draw) for unit in units(study)} == {*driven, ("far", 0), ("far", 1)}
    assert study.cells == sum(len(unit.tariffs) * len(unit.equipment) for unit in units(study))
    assert driven["twice", 0] == pytest.approx(2 * driven["log", 0])
    unit = next(unit for unit in units(study) if unit.driving_name == "log")
    rates = {name: load_tariff(name) for name in ("flat", "two-period")}
    both = Study(
        "log",
        {"demo": unit.household},
        rates,
        study.first,
        study.days,
        driving={"log": study.driving["log"]},
        house=study.house,
    )
    one = next(iter(units(both)))
    object.__setattr__(one, "tariffs", rates)
    assert break_even(one, "flat", "two-period", scales=(0.5, 1.0)) == ()


def test_a_log_of_another_span_is_refused(tmp_path):
    """The journeys are of the span and the clock they were read for."""
    log_of(tmp_path, 360)
    way = read_study(
        "{name: a, from: 2026-01-01, households: demo, tariffs: flat, driving: {a: {log: drives.csv}}}",
        str(tmp_path / "study.yaml"),
    ).study.driving["a"]
    home = load_household("demo")
    for zone, first, days in (
        ("America/Boise", date(2026, 1, 1), 365),
        ("America/Denver", date(2026, 1, 2), 365),
        ("America/Denver", date(2026, 1, 1), 364),
    ):
        with pytest.raises(InputError, match=r"^the driving log was read for 365 days from 2026-01-01 in America/De"):
            way.journeys(home.habits, zone, first, days)
    with pytest.raises(InputError, match=r"^scale is -1, which cannot be"):
        LoggedDriving(way.log, -1.0)


def test_a_log_that_ends_early_is_pointed_out(tmp_path):
    log_of(tmp_path, 100)
    text = "{name: a, from: 2026-01-01, households: demo, tariffs: flat, driving: {a: {log: drives.csv}}}"
    (warning,) = read_study(text, str(tmp_path / "study.yaml")).warnings
    assert "the log goes from 2026-01-05 to 2026-04-14, else the car stays at home; take" in str(warning)


def test_a_log_is_of_one_clock(tmp_path):
    log_of(tmp_path, 360)
    text = (
        "{name: a, from: 2026-01-01, households: [demo, plain-outlet], tariffs: flat, driving: {a: {log: drives.csv}}}"
    )
    (line,) = mistakes_of(text, tmp_path / "study.yaml")
    assert "the households have 2 time zones, and a log is of one" in line


# -------------------------------------------------------------------------------------------------- files it names


def test_a_meter_file(tmp_path):
    """A year of a meter, with offsets or on the local clock; the sum of a year is that of the file."""
    hours = np.arange(np.datetime64("2026-01-01T07"), np.datetime64("2027-01-01T07"), np.timedelta64(1, "h"))
    rows = [f"{hour}:00+00:00,{0.5 + 0.1 * (n % 24)}" for n, hour in enumerate(hours)]
    (tmp_path / "meter.csv").write_text("start,kwh\n" + "\n".join(rows), encoding="utf-8")
    text = changed(("{per_day: 24 kWh}", "{load: meter.csv}"))
    load = read_study(text, str(tmp_path / "study.yaml")).study.house["demo"]
    start_s = hours.astype("datetime64[s]").astype(np.int64)
    assert load.kwh(start_s, 3600).sum() == pytest.approx(365 * (24 * 0.5 + 0.1 * 276))
    naive = ["start,kwh"] + [f"{str(hour)[:13]}:00,1" for hour in hours[:48]]
    (tmp_path / "meter.csv").write_text("\n".join(naive), encoding="utf-8")
    lines = mistakes_of(text, tmp_path / "study.yaml")
    assert all(line.startswith(f"{tmp_path / 'meter.csv'}:") for line in lines)
    assert lines[0].endswith("or say that the stamps show the local clock (`stamps: local`)")
    local = changed(("{per_day: 24 kWh}", "{load: meter.csv, stamps: local}"))
    (line,) = mistakes_of(local, tmp_path / "study.yaml")
    assert line.startswith(
        f"{tmp_path / 'study.yaml'}:7:9: the house load covers 1 days, neither the days of the study"
    )


def test_mistakes_of_all_files_at_once(tmp_path):
    """Those of a household, its car, a rate sheet, a log, temperatures and a meter, each under its own name."""
    (tmp_path / "home.yaml").write_text(HOUSEHOLD.replace("breaker: 50 A", "breaker: 50"), encoding="utf-8")
    (tmp_path / "rate.yaml").write_text("{name: R, currency: USD, timezone: America/Denver}", encoding="utf-8")
    (tmp_path / "drives.csv").write_text("leave,back,distance\n2026-01-05 07:15,x,29 mi", encoding="utf-8")
    (tmp_path / "days.csv").write_text("date,temperature_c\n2026-01-01,cold", encoding="utf-8")
    (tmp_path / "meter.csv").write_text("start,kwh\n2026-01-01T00:00-07:00,much", encoding="utf-8")
    text = """\
name: a
from: 2026-01-01
households: {one: demo, other: home.yaml}
house: {load: meter.csv}
tariffs: [flat, rate.yaml]
driving:
  log: {log: drives.csv}
  cold: {cold: {temperature: days.csv, consumption: {20 °C: 100 %}}}
equipment: {a: {circuit: {breaker: 50 A}}}
today: {tariff: rate, equipment: a}
"""
    lines = mistakes_of(text, tmp_path / "study.yaml")
    places = sorted(":".join(line.removeprefix(f"{tmp_path}/").split(":")[:3]) for line in lines)
    assert places == [
        *("days.csv:2:12", "drives.csv:2:18", "home.yaml:7:3", "meter.csv:2:1", "meter.csv:2:24"),
        *("rate.yaml:1:1", "study.yaml:9:17"),
    ]


# ------------------------------------------------------------------------------------------------ single mistakes

#: old text, new text, line:column, what must be said, what would be right there.
MISTAKES = {
    "no date": ("from: 2026-01-01", "from: 2026-02-30", "2:1", "from: `2026-02-30` is not a date", "2026-07-04"),
    "long ago": ("from: 2026-01-01", "from: 1066-10-14", "2:1", "1066-10-14 is too far away", "2026-01-01"),
    "backwards": ("seed: 3", "to: 2025-12-31", "3:1", "ends on 2025-12-31, before it begins", "swap"),
    "too long": ("seed: 3", "to: 2029-12-31", "3:1", "1461 days are too long", "1098"),
    "seed": ("seed: 3", "seed: 1.5", "3:1", "seed: `1.5` is not a whole number", "3"),
    "seed below 0": ("seed: 3", "seed: -1", "3:1", "seed: `-1` is out of range", "0"),
    "no years": ("drawn_years: 2", "drawn_years: 0", "4:1", "drawn_years: `0` is out of range", "1"),
    "years": ("drawn_years: 2", "drawn_years: 5 years", "4:1", "`5 years` is not a whole number", "digits"),
    "aim": ("aim: enough", "aim: full", "5:1", "aim: `full` is not known", "target"),
    "nobody": ("households: demo", "households: nobody", "6:1", "there is no household `nobody`", "plain-outlet"),
    "none at all": ("households: demo", "households: []", "6:1", "there are no households to compare", "one"),
    "twice": ("households: demo", "households: [demo, demo]", "6:20", "two households are called `demo`", "names"),
    "stops": ("demo\nh", "{a: {household: demo, stops: no}}\nh", "6:35", "stops: `no` is not known", "none"),
    "house bare": ("{per_day: 24 kWh}", "{per_day: 24}", "7:9", "'24' has no unit", "kWh"),
    "house empty": ("{per_day: 24 kWh}", "{}", "7:1", "no `per_day` and no `load`", "per_day: 24 kWh"),
    "house twice": ("24 kWh}", "24 kWh, load: m.csv}", "7:26", "a `per_day` and a `load`", "one of the two"),
    "no meter": ("{per_day: 24 kWh}", "{load: m.csv}", "7:9", "there is no file `m.csv`", "beside"),
    "two months": ("24 kWh}", "24 kWh, by_month: [9 %, 9 %]}", "7:26", "twelve values, not 2", "January"),
    "no sheet": ("two-period]", "two-periods]", "8:17", "there is no rate sheet `two-periods`", "two-period"),
    "sheet twice": ("two-period]", "flat]", "8:17", "two tariffs are called `flat`", "names"),
    "other currency": ("two-period]", "drei-zeiten]", "8:17", "`drei-zeiten` is in EUR, not in USD as `flat`", "none"),
    "too early": ("[flat, two-period]", "[flat, half-hours.yaml]", "8:17", "there is no rate sheet", "half-hours"),
    "empty": ("  as it is:\n", "  as it is:\n  outlet:\n", "11:3", "`outlet` is empty", "`as it is`"),
    "nonsense": ("  as it is:\n", "  as it is:\n  outlet: nothing\n", "11:3", "'nothing' is no equipment", "`none`"),
    "reserved": ("  as it is:\n", "  as it is: none\n", "10:3", "stands for what the household file says", "another"),
    "no voltage": ("60 A, volts: 240 V", "60 A", "12:5", "the voltage is missing", "volts: 240 V"),
    "EVSE": ("48 A", "100 A", "13:12", "max_current is out of range", "32 A"),
    "priced in words": ("purchase: 550", "purchase: 550 USD", "14:5", "`550 USD` is not a number", "like 550"),
    "negative": ("labor: 400", "labor: -400", "16:5", "labor: `-400` is out of range", "0"),
    "wire bare": ("length: 40 ft", "length: 40", "15:12", "length: '40' has no unit", "12 m"),
    "wire price": ("6.50 per ft", "6.50", "15:27", "price: '6.5' has no unit", "22 per m"),
    "wire in miles": ("40 ft", "40 mi", "15:12", "'mi' is not a unit of length", "40 ft"),
    "rebate of both": ("amount: 200", "amount: 200, share: 3 %", "20:7", "has both a share and an amount", "share: 30"),
    "rebate of none": ("amount: 200, ", "", "20:7", "has neither a share nor an amount", "amount: 250"),
    "rebate of 130 %": ("share: 30 %", "share: 130 %", "19:15", "130 % is more than 100 %", "100 %"),
    "rebate of what": ("of: [purchase]", "of: [wires]", "19:48", "`wires` is not known", "wire"),
    "lifetime bare": ("lifetime: 12 years", "lifetime: 12", "21:5", "lifetime: '12' has no unit", "10 years"),
    "lifetime 0": ("lifetime: 12 years", "lifetime: 0 years", "21:5", "lifetime is out of range", "12 years"),
    "upkeep bare": ("1.50 per month", "1.50", "23:5", "upkeep: '1.5' has no unit", "20 per year"),
    "spread": ("{spread: 40 %}", "{spread: 40}", "25:11", "spread: '40' has no unit", "40 %"),
    "spread 900 %": ("{spread: 40 %}", "{spread: 900 %}", "25:11", "spread is out of range", "40 %"),
    "misspelt": ("{spread: 40 %}", "{spraed: 40 %}", "25:11", "`spraed` is not known here", "spread"),
    "scale bare": ("scale: 150 %", "scale: 1.5", "29:5", "'1.5' has no unit", "%"),
    "trips": ("per_year: 6", "per_year: 200", "31:5", "2026 has 52 days for 200 long trips", "fewer"),
    "trips of 400": ("per_year: 6", "per_year: 400", "31:18", "per_year is out of range", "6"),
    "trip days": ("days: Sat", "days: Sun", None, None, None),
    "no such day": ("days: Sat", "days: Caturday", "31:49", "`caturday` is not a day", "weekends"),
    "away backwards": ("to: 2026-07-18", "to: 2026-07-03", "32:12", "ends before it begins", "swap"),
    "away twice": ("900 mi}]", "9 mi}, {from: 2026-07-18, to: 2026-07-20}]", "32:5", "share 2026-07-18", "one"),
    "eleven months": ("4 °C, 30.2 °F]", "4 °C]", "34:7", "twelve values, not 11", "each"),
    "no file": (
        *("[-1 °C, 1 °C, 5 °C, 9 °C, 14 °C, 20 °C, 23 °C, 22 °C, 17 °C, 10 °C, 4 °C, 30.2 °F]", "t.csv"),
        *("34:7", "there is no file `t.csv`", "beside"),
    ),
    "as bare": ("14 °F: 140 %", "14: 140 %", "35:35", "'14' is no temperature", "30 °C"),
    "one place twice": ("14 °F: 140 %", "68 °F: 140 %", "35:7", "a temperature is given twice", "one"),
    "factor": ("14 °F: 140 %", "14 °F: 1400 %", "35:7", "consumption is out of range", "140 %"),
    "rate of today": ("tariff: flat", "tariff: flatt", "36:9", "there is no tariff `flatt` in this study", "`flat`"),
    "rate of today by another path": ("tariff: flat", "tariff: x/flat.yaml", "36:9", "no tariff `x/flat", "`flat`"),
    "house of a file": ("{per_day: 24 kWh}", "house.csv", "7:1", "`house.csv` stands", "`house: {load: house.csv}`"),
    "today's box": ("equipment: as it is}", "equipment: box}", "36:23", "there is no equipment `box`", "wall box"),
    "panel voltage": ("volts: 240 V, other", "other", "37:1", "the voltage is missing", "volts: 240 V"),
    "three legs": ("[45 A, 38 A]", "[45 A, 38 A, 2 A]", "37:39", "the other load has 3 values", "one"),
    "basis": (", basis: measured", "", "37:1", "`basis` under `panel` is missing", "measured"),
    "no power": ("dc_power: 60 kW", "dc_power: 0 kW", "38:21", "of 0 kW nothing reaches the battery", "50 kW"),
    "hardly any": ("power: 7 kW", "power: 100 W", "40:25", "of 0.1 kW nothing reaches the battery", "7 kW"),
    "both powers": ("0.32, power", "0.32, dc_power: 9 kW, power", "40:3", "a `power` and a `dc_power`", "one"),
    "neither": ("0.32, power: 7 kW", "0.32", "40:3", "no `power` and no `dc_power`", "dc_power: 50 kW"),
    "fuel bare": ("3.60 per gal", "3.60", "42:12", "price: '3.6' has no unit", "per gal"),
    "free fuel": ("3.60 per gal", "0 per gal", "42:12", "price is out of range", "3.60 per gal"),
    "engine": ("31 mi/gal", "31 kWh", "42:33", "'kWh' is not a unit of fuel consumption", "31 mi/gal"),
    "horizon bare": ("horizon: 10 years", "horizon: 10", "43:9", "horizon: '10' has no unit", "10 years"),
    "half a year": ("horizon: 10 years", "horizon: 6 months", "43:9", "a horizon of 0.5 years cannot be", "whole"),
    "rate": ("discount_rate: 5 %", "discount_rate: 500 %", "43:28", "discount_rate is out of range", "5 %"),
    "rate bare": ("discount_rate: 5 %", "discount_rate: -5", "43:28", "'5' has no unit", "%"),
    "sure": ("reliability: 95 %", "reliability: 195 %", "43:87", "195 % is more than 100 %", "100 %"),
    "unknown": ("seed: 3", "tarifs: 3", "3:1", "`tarifs` is not known here", "did you mean `tariffs`"),
    "key": ("seed: 3", "sead: 3", "3:1", "`sead` is not known here; did you mean `seed`?", ""),
}  # fmt: skip


@pytest.mark.parametrize("name", MISTAKES)
def test_a_mistake_has_its_place_and_a_remedy(name):
    """One mistake gives one line at the value that is wrong, and nothing that only follows from it."""
    old, new, place, what, remedy = MISTAKES[name]
    text = changed((old, new))
    if place is None:
        assert isinstance(read_study(text), StudyFile)
        return
    (line,) = mistakes_of(text)
    assert line.startswith(f"study.yaml:{place}: "), line
    said, _, right = line.removeprefix(f"study.yaml:{place}: ").partition("; ")
    assert what in line
    assert remedy in right, line
    assert said


@pytest.mark.parametrize("key", ["name", "from", "households", "tariffs"])
def test_what_is_needed(key):
    """Each missing line is said once, with an example, and nothing follows from it."""
    lines = [line for line in BASE.splitlines(keepends=True) if not line.startswith(f"{key}:")]
    (said,) = mistakes_of("".join(lines))
    assert said.startswith(f"study.yaml:1:1: `{key}` is missing; add for example `{key}: ")


def test_dates_that_a_sheet_does_not_cover():
    """The sheet begins on 2026-01-01; on the clock of Vienna the year begins while it is 2025 in Denver."""
    (line,) = mistakes_of(
        changed(("from: 2026-01-01", "from: 2025-12-31"), ("[flat, two-period]", "[flat, summer-peak]"))
    )
    assert line.startswith("study.yaml:8:17: the sheet `Ridgeline Valley home time-of-use` begins on 2026-01-01, but ")
    assert line.endswith("2025-12-31 was asked for; change `from` and `to`, or take another sheet")
    (line,) = mistakes_of("{name: a, from: 2026-01-01, households: three-phase, tariffs: [summer-peak]}")
    assert "begins on 2026-01-01, but 2025-12-31 was asked for" in line


def test_driving_that_the_habits_do_not_allow(tmp_path):
    """The household stays at home at weekends, so a distance there has no time to leave at."""
    home = HOUSEHOLD.replace("Sat: 09:30, Sun: stays home", "weekends: stays home").replace(", Sat: 46 mi", "")
    (tmp_path / "home.yaml").write_text(home, encoding="utf-8")
    (line,) = mistakes_of(changed(("households: demo", "households: home.yaml")), tmp_path / "study.yaml")
    assert line == (
        f"{tmp_path / 'study.yaml'}:28:5: `weekends` is a distance, but by the habits the car stays at home from "
        "Saturday to Sunday; say in the household file when it leaves"
    )


def test_many_mistakes_at_once():
    """In the order of the lines, each once."""
    lines = mistakes_of(
        changed(
            ("seed: 3", "seed: x"),
            ("{per_day: 24 kWh}", "{per_day: 24 kW}"),
            ("two-period]", "nowhere]"),
            ("60 A, volts: 240 V", "60 A"),
            ("length: 40 ft", "length: 40"),
            ("share: 30 %, ", ""),
            ("{spread: 40 %}", "{spread: 40}"),
            ("to: 2026-07-18", "to: 2026-07-03"),
            ("tariff: flat", "tariff: flats"),
            ("basis: measured", "basis: guessed"),
            ("0.55, dc_power: 60 kW", "free"),
            ("3.60 per gal", "3.60"),
            ("horizon: 10 years", "horizon: 10.5 years"),
        )
    )
    found = [int(line.split(":")[1]) for line in lines]
    assert found == [3, 7, 8, 12, 15, 19, 25, 32, 36, 37, 38, 42, 43], "\n".join(lines)


# -------------------------------------------------------------------------------------------------------- warnings


def test_what_may_not_be_meant():
    """Another clock, tiers without a house, an EVSE above its circuit, a time away in another year."""
    found = small(
        """
equipment: {small: {circuit: {breaker: 20 A, volts: 120 V}, evse: {max_current: 32 A}}}
driving: {away: {away: [{from: 2025-07-01, to: 2025-07-08}]}}
""",
        tariffs="[flat, night-owl, whole-bill]",
    )
    said = [(warning.line, warning.what.partition(",")[0]) for warning in found.warnings]
    assert said == [
        (4, "`night-owl` goes by the clock of America/Los_Angeles"),
        (4, "`whole-bill` goes by the clock of America/New_York"),
        (4, "under `whole-bill` the cost of the car depends on what the house uses"),
        (6, "the EVSE can draw 32 A"),
        (7, "the time away from 2025-07-01 to 2025-07-08 lies outside the days of the study"),
    ]


def test_clocks_that_show_the_same_are_the_same(tmp_path):
    """Denver and Boise have shown the same time since 1974 (tz database)."""
    sheet = "{name: Mine, currency: USD, timezone: America/Boise, prices: 0.1}"
    (tmp_path / "boise.yaml").write_text(sheet, encoding="utf-8")
    text = "{name: a, from: 2026-01-01, households: demo, tariffs: [flat, boise.yaml]}"
    assert read_study(text, str(tmp_path / "study.yaml")).warnings == ()


# -------------------------------------------------------------------------------------------------------- examples


def rows_of(name, **only):
    """The rows of an example, of what is chosen."""
    study = load_study(name).study
    return [
        row
        for unit in units(study)
        if all(getattr(unit, key) == value for key, value in only.items())
        for row in unit_rows(unit)
    ]


def test_the_examples_are_those_that_are_tested():
    assert study_examples() == EXAMPLES


@pytest.mark.parametrize("name", EXAMPLES)
def test_every_example_loads_without_a_word(name):
    found = load_study(name)
    assert found.warnings == ()
    assert found.study.days == 365
    assert found.question.tariff in found.study.tariffs
    assert found.question.equipment in found.study.equipment


def test_prices_of_the_demo_lie_where_they_commonly_do():
    """Common practice, no source: a receptacle costs 50 (own work) to 2,000 (long run), hard-wired equipment about 500
    more; a fast station costs nearly double what home does. Rebates by hand: half of 1,625 up to 400, then 30 %."""
    found = load_study("demo")
    own, long, hard = (
        found.study.equipment[name]
        for name in ("own work at the panel", "receptacle at the drive", "hard-wired at the drive")
    )
    before = [sum(item.amount for item in x.outlay_items() if item.amount > 0) for x in (own, long, hard)]
    assert before == pytest.approx([50, 1835, 2335])
    assert [own.outlay, long.outlay, hard.outlay] == pytest.approx([50, 0.7 * (1835 - 400), 0.7 * (2335 - 400)])
    home = load_tariff("flat").prices("2026-01-01", "2026-01-02").mean()
    fast = next(place for place in found.question.elsewhere if place.dc)
    assert 1.7 < fast.price_per_kwh / home < 2
    assert found.study.road.price_per_kwh == fast.price_per_kwh
    assert [fit.fits for fit in found.panel.room([own, long, hard]).fits] == [True, True, False]


def test_a_plain_outlet_is_enough_for_40_miles_a_day():
    """By hand: 40 mi at 3.9 mi/kWh are 10.26 kWh in the battery; 0.925 x 1.44 kW - 0.2 kW are 1.132 kW: 9.06 h.

    Common practice, no source: about 9 hours for less than 40 miles. Sixty miles take 13.6 h, of 13 h at home."""
    limit = load_household("plain-outlet").limit
    assert 40 / 3.9 / limit.battery_kw == pytest.approx(9.06, abs=0.01)
    met = {}
    for row in rows_of("outlet"):
        if row.strategy == "optimal" and row.equipment == "as it is":
            met[row.driving] = 1 - row.missed / row.departures
            if row.driving == "40 miles a day":
                assert row.home_kwh / 1.44 / 365 == pytest.approx(9.06, abs=0.05)
    assert met["usual"] >= 0.98
    assert met["40 miles a day"] >= 0.98
    assert met["60 miles a day"] == 0


def test_one_stop_a_week_is_enough_for_16_miles_a_day():
    """By hand: 7 x 16 mi x 26.4 kWh / 100 mi are 29.6 kWh a week at the wall, and 8 h x 5.76 kW are 46 kWh.

    Without the stop, and with nothing at home, all has to come from stations on the way."""
    rows = [row for row in rows_of("work-stop") if row.strategy == "optimal" and row.equipment == "nothing at home"]
    for row in rows:
        assert row.home_kwh == 0
        assert row.bill == row.house_bill
        if row.household == "one stop":
            assert (row.missed, row.unserved, row.road_kwh) == (0, 0, 0.0)
            assert row.stops_kwh == pytest.approx(365 * 16 * 0.264, rel=0.05)
            assert row.lowest_soc >= 0.15 - 1e-9
        else:
            assert row.stops_kwh == 0
            assert row.missed > 300
            assert row.road_kwh > 1000
    assert {row.household for row in rows} == {"one stop", "no stop"}


def test_a_file_goes_before_an_example_of_its_name(tmp_path, monkeypatch):
    (tmp_path / "demo").write_text(changed(("name: Which rate", "name: My own")), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    # A file `demo` would now be the household too.
    with pytest.raises(FileError, match="demo:"):
        load_study("demo")
    (tmp_path / "demo").rename(tmp_path / "outlet")
    assert load_study("outlet").study.name == "My own"


# --------------------------------------------------------------------------------------------------------- schema


@pytest.mark.parametrize("text", [BASE, *[(study_folder() / f"{name}.yaml").read_text("utf-8") for name in EXAMPLES]])
def test_the_schema_takes_what_the_reader_takes(text):
    """JSON Schema draft 2020-12, checked by another library."""
    schema = study_schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    data = read_document("study.yaml", text=text).data
    assert list(validator.iter_errors(data)) == []
    assert list(validator.iter_errors(data | {"sead": 1}))
    assert list(validator.iter_errors(data | {"driving": {"a": {"sprad": "4 %"}}}))
    assert list(validator.iter_errors({key: value for key, value in data.items() if key != "tariffs"}))


# ---------------------------------------------------------------------------------------------------- anything at all

FUZZ = settings(
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow],
    max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "100")),
)
ANY_VALUE = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8)
    | st.sampled_from(["50 A", "0 A", "1e300 kWh", "80 %", "2026-01-01", "demo", "flat", "240 V", "29 mi", "as it is",
                       "none", "12 m", "3 per m", "1e308 years", "-10 °C", "0 per gal", "1e300 %", "1e300 mi"]),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["a", "as it is", "log"]), inner),
    max_leaves=5,
)  # fmt: skip


@FUZZ
@given(st.data())
def test_any_value_under_any_key(data):
    """A study or located mistakes, in one line each; nothing else is ever raised."""
    document = read_document("x", text=BASE)
    sheet = json.loads(json.dumps(document.data))
    for _ in range(data.draw(st.integers(1, 3))):
        part = sheet
        while True:
            key = data.draw(st.sampled_from(sorted(part)) if isinstance(part, dict) and part else st.just("name"))
            inner = part.get(key)
            inner = inner[0] if isinstance(inner, list) and inner else inner
            if isinstance(inner, dict) and inner and data.draw(st.booleans()):
                part = inner
                continue
            if data.draw(st.integers(0, 4)) == 0:
                part.pop(key, None)
            else:
                part[key] = data.draw(ANY_VALUE)
            break
    mistakes = None
    try:
        found = read_study(json.dumps(sheet), "fuzz.yaml")
    except FileError as error:
        mistakes = error.mistakes
    else:
        assert isinstance(found, StudyFile)
    for mistake in mistakes or ():
        assert mistake.what
        assert mistake.line == 1
        assert str(mistake).isprintable()
    assert mistakes is None or mistakes


def test_the_rate_of_today_as_it_stands_in_the_list(tmp_path):
    """A path that names a rate of the study means that rate; one beside it is a mistake."""
    (tmp_path / "rates").mkdir()
    for name in ("mine", "other"):
        (tmp_path / "rates" / f"{name}.yaml").write_text(
            f"name: {name}\ncurrency: USD\ntimezone: America/Denver\nprices: 0.2\n", encoding="utf-8"
        )
    listed = ("tariffs: [flat, two-period]", "tariffs: [rates/mine.yaml, rates/other.yaml]")
    for today in ("rates/other.yaml", "other"):
        text = changed(listed, ("{tariff: flat,", f"{{tariff: {today},"))
        assert read_study(text, str(tmp_path / "study.yaml")).question.tariff == "other"
    with pytest.raises(FileError, match=r"no tariff `rates/othr.yaml` in this study; did you mean `other`\?"):
        read_study(changed(listed, ("{tariff: flat,", "{tariff: rates/othr.yaml,")), str(tmp_path / "study.yaml"))


def test_a_rebate_of_more_than_there_is_to_pay():
    """A fixed amount above what is left is cut, and the file is told so; a cap above it is no reason."""
    text = changed(("{amount: 200, after_others: true}", "{amount: 5000, after_others: true}"))
    (warning,) = read_study(text).warnings
    # 550 + 260 + 400 + 90 less 30 % of 550.
    assert "of the rebate utility, 5000, only 1135.00 counts" in str(warning)
    assert str(warning).startswith("study.yaml:20:")
    assert read_study(BASE).warnings == ()
