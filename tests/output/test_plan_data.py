"""JSON and CSV: strict, as their schemas say, and of one mind."""

import csv
import io
import json
from datetime import UTC, date, datetime

import jsonschema
import pytest
from click.testing import CliRunner
from household_cases import EXAMPLES, changed, read_sheet, sheets
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.cli import main
from chargeplan.cli.printing import print_csv, print_json
from chargeplan.household import load_household, plan_days, plan_tonight, read_household
from chargeplan.output.data import plan_data, plan_rows, prices_data, prices_rows
from chargeplan.output.json_schema import SCHEMAS
from chargeplan.tariff import load_tariff, shipped_sheets

DATA = settings(deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])
PLAN_HEADER = (
    *("start", "hours", "place", "price_per_kwh", "current_a", "wall_kwh", "battery_kwh", "cost", "state_of_charge"),
    "preconditioning_kwh",
)


def run(*arguments):
    """Standard output and exit code of the command."""
    result = CliRunner().invoke(main, arguments)
    assert isinstance(result.exception, SystemExit | None), result.exception
    return result.stdout, result.exit_code


def no_constants(text):
    raise AssertionError(f"{text} is not JSON (RFC 8259, 6)")


def strictly(text):
    """Read JSON as RFC 8259 has it: no NaN, no infinity, no key twice."""

    def once(pairs):
        assert len(dict(pairs)) == len(pairs)
        return dict(pairs)

    return json.loads(text, parse_constant=no_constants, object_pairs_hook=once)


def test_what_is_no_number_is_not_printed():
    """RFC 8259, 6: infinity and NaN are not JSON, so printing them is an error rather than a broken document."""
    for value in (float("nan"), float("inf")):
        with pytest.raises(ValueError, match="not JSON compliant"):
            print_json({"cost": value})


def check(name, data):
    """Hold data to the schema that the command prints; every format is checked by hand below."""
    schema = strictly(run("schema", name)[0])
    jsonschema.Draft202012Validator.check_schema(schema)
    jsonschema.validate(data, schema, jsonschema.Draft202012Validator)


def instants(data):
    """Every instant in a document."""
    if isinstance(data, dict):
        for key, value in data.items():
            if key in ("start", "end", "now") and isinstance(value, str):
                yield value
            yield from instants(value)
    elif isinstance(data, list):
        for value in data:
            yield from instants(value)


@pytest.mark.parametrize("name", ["tariff", "household", "plan", "prices", "check"])
def test_schemas_are_schemas(name):
    """Each schema is valid JSON Schema, draft 2020-12, as its `$schema` says (checked by the jsonschema package)."""
    schema = strictly(run("schema", name)[0])
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("name", EXAMPLES)
def test_examples_follow_the_household_schema(name):
    """The schema for editors accepts what the library accepts, and refuses a misspelled key and a bare number."""
    from household_cases import text_of

    from chargeplan.reading import read_document

    schema = strictly(run("schema", "household")[0])
    data = read_document("x", text=text_of(name)).data
    jsonschema.validate(data, schema, jsonschema.Draft202012Validator)
    for wrong in ({**data, "flor": 1}, {**data, "evse": {"max_current": 32}}, {**data, "habits": {}}):
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(wrong, schema, jsonschema.Draft202012Validator)


@pytest.mark.parametrize("name", EXAMPLES)
@pytest.mark.parametrize("command", ["tonight", "days"])
@pytest.mark.parametrize("soc", ["3 %", "55 %", "100 %"])
def test_printed_plans_follow_their_schema(name, command, soc):
    """What `--json` prints is strict JSON, follows `chargeplan schema plan`, and goes with the exit code."""
    text, code = run(command, name, "--json", "--now", "2026-11-25T22:00-07:00", "--soc", soc)
    data = strictly(text)
    check("plan", data)
    assert data["schema"] == "chargeplan.plan/1"
    assert code == (0 if data["reachable"] else 3)
    assert text.endswith("}\n")
    assert text.isascii()
    for moment in instants(data):
        assert datetime.fromisoformat(moment).utcoffset() is not None


def test_a_missing_key_breaks_the_schema():
    """README: within a version keys are only ever added, so the schema demands every one there is now."""
    data = plan_data(plan_tonight(load_household("demo"), soc="5 %", now="2026-11-25 23:40", target="100 %"))
    validator = jsonschema.Draft202012Validator(SCHEMAS["plan"])

    def parts(value, path=()):
        if isinstance(value, dict):
            for key in value:
                yield (*path, key)
                yield from parts(value[key], (*path, key))
        elif isinstance(value, list):
            for position, item in enumerate(value):
                yield from parts(item, (*path, position))

    assert validator.is_valid(data)
    everything = list(parts(data))
    assert len(everything) > 40
    for path in everything:
        copy = json.loads(json.dumps(data))
        owner = copy
        for key in path[:-1]:
            owner = owner[key]
        del owner[path[-1]]
        assert not validator.is_valid(copy), f"{path} may be missing"
    assert validator.is_valid({**data, "later": 1})


@settings(DATA, max_examples=80)
@given(sheet=sheets(), now=st.datetimes(datetime(2026, 2, 1), datetime(2026, 12, 1)), soc=st.integers(0, 100))
def test_random_plans_follow_their_schema_and_rows(sheet, now, soc, sheet_folder):
    """Strict JSON by the schema for any household, and CSV rows whose sums are the totals of the JSON."""
    home = read_sheet(sheet, sheet_folder)
    sheet["evse"]["max_current"] = "16 A"
    for plan in (
        plan_tonight(home, now=now.replace(tzinfo=UTC), soc=f"{soc} %"),
        plan_days(home, 2, now=now.replace(tzinfo=UTC), soc=f"{soc} %"),
    ):
        data = strictly(json.dumps(plan_data(plan), allow_nan=False))
        jsonschema.validate(data, SCHEMAS["plan"], jsonschema.Draft202012Validator)
        check_rows(plan, data)


def check_rows(plan, data):
    """Rows of a plan against the JSON of the same plan."""
    header, rows = plan_rows(plan)
    rows = [dict(zip(header, row, strict=True)) for row in rows]
    assert header == PLAN_HEADER
    slack = 1e-6 * len(rows) + 1e-6
    for key in ("wall_kwh", "battery_kwh", "cost"):
        assert sum(row[key] for row in rows) == pytest.approx(data[key], abs=slack)
    hours = sum(
        (datetime.fromisoformat(stay["end"]) - datetime.fromisoformat(stay["start"])).total_seconds() / 3600
        if datetime.fromisoformat(stay["end"]).utcoffset() == datetime.fromisoformat(stay["start"]).utcoffset()
        else (datetime.fromisoformat(stay["end"]).timestamp() - datetime.fromisoformat(stay["start"]).timestamp())
        / 3600
        for stay in data["stays"]
    )
    assert sum(row["hours"] for row in rows) == pytest.approx(hours, abs=slack)
    assert rows[-1]["state_of_charge"] == pytest.approx(data["stays"][-1]["departure"]["state_of_charge"], abs=2e-6)
    assert {row["place"] for row in rows} == {stay["place"] for stay in data["stays"]}
    starts = [datetime.fromisoformat(row["start"]).timestamp() for row in rows]
    assert starts == sorted(set(starts))
    for window in data["windows"]:
        first, last = (datetime.fromisoformat(window[key]).timestamp() for key in ("start", "end"))
        inside = [
            row for row, start in zip(rows, starts, strict=True)
            if row["wall_kwh"] > 0 and first - 900 <= start < last + 1 and start + 3600 * row["hours"] > first
        ]  # fmt: skip
        assert sum(row["wall_kwh"] for row in inside) >= window["wall_kwh"] - slack


@pytest.mark.parametrize("command", ["tonight", "days"])
def test_printed_csv(command):
    """RFC 4180 with line feeds: one header, every row as many fields; the numbers are those of the JSON."""
    arguments = (command, "demo", "--now", "2026-11-25 20:00", "--soc", "55 %")
    text, code = run(*arguments, "--csv")
    data = strictly(run(*arguments, "--json")[0])
    rows = list(csv.reader(io.StringIO(text), strict=True))
    assert code == 0
    assert tuple(rows[0]) == PLAN_HEADER
    assert {len(row) for row in rows} == {len(PLAN_HEADER)}
    assert text.count("\n") == len(rows)
    assert b"\r" not in CliRunner().invoke(main, [*arguments, "--csv"]).stdout_bytes
    column = PLAN_HEADER.index("cost")
    assert sum(float(row[column]) for row in rows[1:]) == pytest.approx(data["cost"], abs=1e-5 * len(rows))


def test_names_with_commas_and_quotes_in_csv():
    """RFC 4180, 2.6 and 2.7: a field with a comma or a quotation mark is quoted, so columns stay columns."""
    text = changed(("place: workplace", "place: 'work, \"north\" lot'"))
    plan = plan_days(read_household(text), 2, soc="55 %", now="2026-11-25 20:00")
    runner = CliRunner()
    with runner.isolation() as (out, *_):
        print_csv(*plan_rows(plan))
        printed = out.getvalue().decode()
    rows = list(csv.reader(io.StringIO(printed), strict=True))
    assert {len(row) for row in rows} == {len(PLAN_HEADER)}
    assert 'work, "north" lot' in {row[2] for row in rows}


@pytest.mark.parametrize("sheet", shipped_sheets())
@pytest.mark.parametrize(
    ("day", "zones"),
    [
        # Days of 23 and 25 hours: 15 U.S.C. 260a in America, Directive 2000/84/EC in Europe.
        *[(date(2026, 3, 8), {"America": 23}), (date(2026, 11, 1), {"America": 25})],
        *[(date(2026, 3, 29), {"Europe": 23}), (date(2026, 10, 25), {"Europe": 25}), (date(2028, 2, 29), {})],
    ],
)
def test_prices_of_a_day(sheet, day, zones):
    """Runs follow each other over the whole local day of 23, 24 or 25 hours; JSON, CSV and `Tariff.day` agree."""
    tariff = load_tariff(sheet)
    text, code = run("prices", sheet, "--date", day.isoformat(), "--json")
    data = strictly(text)
    check("prices", data)
    assert code == 0
    assert data == prices_data(tariff, tariff.day(day))
    starts = [datetime.fromisoformat(found["start"]).timestamp() for found in data["runs"]]
    ends = [datetime.fromisoformat(found["end"]).timestamp() for found in data["runs"]]
    assert starts[1:] == ends[:-1]
    assert (ends[-1] - starts[0]) / 3600 == zones.get(tariff.timezone.split("/")[0], 24)
    rows = list(csv.DictReader(io.StringIO(run("prices", sheet, "--date", day.isoformat(), "--csv")[0]), strict=True))
    assert tuple(rows[0]) == prices_rows(tariff, [])[0]
    assert [{**row, "price_per_kwh": float(row["price_per_kwh"])} for row in rows] == data["runs"]


def test_checks_follow_their_schema(tmp_path):
    """Good files, mistakes, failed checks and oddities, all in one document by `chargeplan schema check`."""
    (tmp_path / "odd.yaml").write_text(
        "name: Cents\ncurrency: USD\ntimezone: America/Denver\nprices: 14.5\n"
        "checks: [{at: 2026-07-04 17:00, price: 14.6}, {at: 2026-07-04 17:00, price: 14.5}]\n"
    )
    (tmp_path / "home.yaml").write_text(changed(("target: 80 %", "target: 180 %")), encoding="utf-8")
    names = (
        "summer-peak",
        "demo",
        str(tmp_path / "odd.yaml"),
        str(tmp_path / "home.yaml"),
        str(tmp_path / "none.yaml"),
    )
    text, code = run("check", "--json", *names)
    data = strictly(text)
    check("check", data)
    assert code == 2
    assert not data["good"]
    assert [(found["file"], found["good"]) for found in data["files"]] == list(
        zip(names, (True, True, False, False, False), strict=True)
    )
    assert [found["checks"] for found in data["files"]] == [4, 0, 2, 0, 0]
    assert [(m["line"], m["column"]) for m in data["files"][2]["mistakes"]] == [(5, 33)]
    assert "cents" in json.dumps(data["files"][2]["warnings"])
    assert [(m["line"], m["what"]) for m in data["files"][3]["mistakes"]] == [(24, "target: 180 % is more than 100 %")]


def test_direct_current_has_no_amperes():
    """A DC stop has power but no current to set: null in JSON, empty or not a number nowhere else."""
    text = changed(
        ("    circuit: {breaker: 20 A, volts: 120 V}\n    evse: {max_current: 16 A}\n", "    dc_power: 50 kW\n"),
        ("daily_limit: 90 %", "daily_limit: 90 %\n  dc_max: 100 kW"),
    )
    plan = plan_days(read_household(text), 2, soc="30 %", now="2026-11-25 20:00")
    data = strictly(json.dumps(plan_data(plan), allow_nan=False))
    jsonschema.validate(data, SCHEMAS["plan"], jsonschema.Draft202012Validator)
    work = [window for window in data["windows"] if window["place"] == "workplace"]
    assert work
    assert {window["current_a"] for window in work} == {None}
    assert {stay["limit"]["current_a"] for stay in data["stays"]} == {32.0, None}
    header, rows = plan_rows(plan)
    currents = {(row[header.index("place")], row[header.index("current_a")]) for row in rows}
    assert currents == {("home", 0.0), ("home", 32.0), ("workplace", 0.0), ("workplace", None)}
