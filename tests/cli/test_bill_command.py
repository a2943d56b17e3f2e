"""The command `bill`: from the words of the command line to `Tariff.bill`, and what it prints."""

import csv
import io
import json
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from zoneinfo import ZoneInfo

import jsonschema
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.output.json_schema import SCHEMAS
from chargeplan.tariff.bill import Bill

TORONTO = ZoneInfo("America/Toronto")
JUNE = ("--from", "2022-06-01", "--to", "2022-06-30")
USED = ("--use", "700", "--export", "50", "--demand", "8", *JUNE)
SHEET = """\
name: Two tiers
currency: CAD
timezone: America/Toronto
prices: 0.098 up to 600 then 0.115
fixed: {service: 12 per month}
export: 0.08
demand: {peak demand: {price: 2, hours: 07:00-19:00}}
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A folder with a sheet, and hourly loads of June and July 2022: 1 kWh in each hour, half a kWh sold at noon."""
    folder = tmp_path_factory.mktemp("bills")
    (folder / "sheet.yaml").write_text(SHEET)
    first, last = (datetime(2022, month, 1, tzinfo=TORONTO).astimezone(UTC) for month in (6, 8))
    hours = [first + number * timedelta(hours=1) for number in range((last - first) // timedelta(hours=1))]
    local = [hour.astimezone(TORONTO) for hour in hours]
    rows = [f"{at.isoformat()},1,{0.5 if at.hour == 12 else 0}" for at in local]
    (folder / "load.csv").write_text("\n".join(["start,kwh,export_kwh", *rows]))
    naive = [f"{at:%Y-%m-%d %H:%M},1000" for at in local]
    (folder / "local.csv").write_text("\n".join(["start,wh", *naive]))
    return folder


@pytest.fixture
def bill(invoke, folder, monkeypatch):
    """Run `chargeplan bill sheet.yaml` in the folder, and give what it prints."""
    monkeypatch.chdir(folder)

    def run(*arguments, code=0):
        result = invoke("bill", "sheet.yaml", *arguments)
        assert result.exit_code == code, result.stderr
        assert (result.stdout == "") == (code == 2)
        assert (result.stderr == "") == (code == 0)
        return result.stderr if code else result.stdout

    return run


# ------------------------------------------------------------------------------------------------ what is asked


class Asked:
    """A tariff that remembers what it was asked, and has a bill of nothing."""

    timezone = "America/Toronto"

    def __init__(self):
        self.calls = []

    def bill(self, load, **terms):
        self.calls.append((load, terms))
        return Bill("None", "CAD", date(2022, 6, 1), date(2022, 6, 30), (), Decimal(0))

    def bills(self, load, **terms):
        return [self.bill(load, **terms)]


@pytest.fixture
def asked(monkeypatch):
    """Put in place of every tariff that is loaded."""
    import chargeplan.tariff

    tariff = Asked()
    monkeypatch.setattr(chargeplan.tariff, "load_tariff", lambda name: tariff)
    return tariff


@pytest.mark.parametrize(
    ("arguments", "load", "terms"),
    [
        (["--use", "700"], 700.0, {}),
        (["--use", "0"], 0.0, {}),
        (["--use", "0.7 MWh"], 700.0, {}),
        (["--use", "7e2"], 700.0, {}),
        (["--use", "peak=100", "--use", "off-peak=600 kWh"], {"peak": 100.0, "off-peak": 600.0}, {}),
        (
            ["--use", "2022-06-01=350", "--use", "2022-06-16=360"],
            [(date(2022, 6, 1), 350.0), (date(2022, 6, 16), 360.0)],
            {},
        ),
        (["--use", "1", "--export", "2"], 1.0, {"export": 2.0}),
        (["--use", "1", "--export", "peak=2"], 1.0, {"export": {"peak": 2.0}}),
        (["--use", "1", "--demand", "8"], 1.0, {"demand_kw": 8.0}),
        (
            ["--use", "1", "--demand", "on-peak=8 kW", "--demand", "any=9"],
            1.0,
            {"demand_kw": {"on-peak": 8.0, "any": 9.0}},
        ),
        (["--use", "1", "--power-factor", "0.9"], 1.0, {"power_factor": 0.9}),
        (["--use", "1", "--power-factor", "90 %"], 1.0, {"power_factor": 0.9}),
        (["--use", "1", "--contracted", "4.5kW"], 1.0, {"contracted_kw": 4.5}),
        (
            ["--use", "1", "--contracted", "4.5kW", "--contracted", "40 A"],
            1.0,
            {"contracted_kw": 4.5, "contracted_a": 40.0},
        ),
    ],
)
def test_what_is_asked_of_the_tariff(bill, asked, arguments, load, terms):
    """Each option becomes the argument of `Tariff.bill` that is named like it, in its units; no other is given."""
    bill(*arguments, *JUNE)
    (found, given) = asked.calls[0]
    assert found == load
    given = {name: value for name, value in given.items() if value is not None}
    assert given == {"start": date(2022, 6, 1), "end": date(2022, 6, 30), **terms}


def test_what_is_asked_about_a_file(bill, asked):
    """The columns of the file, indexed by the zone of the sheet; days and terms only as far as they are given."""
    bill("--load", "load.csv")
    bill("--load", "local.csv", "--stamps", "local", "--to", "2022-06-30", "--demand", "8")
    bill("--load", "local.csv", "--stamps", "Etc/GMT+4")
    (first, terms), (second, more), (third, _) = asked.calls
    assert first.index[0] == datetime(2022, 6, 1, tzinfo=TORONTO)
    assert first.sum() == len(first) == 61 * 24
    assert terms.pop("export").sum() == 61 / 2
    assert terms == {}
    pd.testing.assert_series_equal(first, second)
    pd.testing.assert_series_equal(first, third)
    assert more == {"export": None, "end": date(2022, 6, 30), "demand_kw": 8.0}


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ([], "say what was used: either --use 700 --from "),
        (["--use", "700", "--load", "load.csv"], "say what was used: either --use 700 --from "),
        (["--use", "700"], "--use needs the days of the bill; add --from 2022-06-01 --to 2022-06-30\n"),
        (["--use", "700", "--from", "2026-06-01"], "--use needs the days of the bill; add --to 2026-06-30\n"),
        (["--use", "700", "--to", "2026-06-30"], "--use needs the days of the bill; add --from 2026-06-01\n"),
        (["--use", "700", "--from", "", "--to", ""], "`` is not a date; write for example "),
        (["--use", "700", "--from", "1 June", "--to", "2022-06-30"], "`1 June` is not a date; write for example "),
        (["--use", "700", *JUNE, "--stamps", "local"], "--stamps and --each go with --load; leave them out"),
        (["--use", "700", *JUNE, "--each"], "--stamps and --each go with --load; leave them out"),
        (["--load", "load.csv", "--export", "5"], "--export goes with --use; "),
        (["--load", "load.csv", "--stamps", "here"], "`here` is not a time zone; "),
        (["--use", "700", "--use", "100", *JUNE], "--use 700 has no name; write --use 700, or --use NAME=700 for each"),
        (["--use", "peak=700", "--use", "100", *JUNE], "--use 100 has no name; write "),
        (["--use", "=700", *JUNE], "--use =700 has no name; write "),
        (["--use", "a=1", "--use", "a=2", *JUNE], "--use a is given twice; keep one of them"),
        (["--use=-700", *JUNE], "'-700 kWh' is no energy that can be used; write a number of 0 or more"),
        (["--use", "700 km", *JUNE], "'km' is not a unit of energy; write "),
        (["--use", "many", *JUNE], "'many' is no energy; write "),
        (["--use", "nan", *JUNE], "'nan' is no energy; write "),
        (["--use", "1e999", *JUNE], "'1e999 kWh' is no energy that can be used; write "),
        (["--use", "1", *JUNE, "--demand", "8 kVA"], "'kVA' is not a unit of power; write "),
        (["--use", "1", *JUNE, "--power-factor", "1.2"], "`1.2` is no power factor, which lies above 0 and up to 1; "),
        (["--use", "1", *JUNE, "--contracted", "40"], "'40' has no unit; write "),
        (["--use", "1", *JUNE, "--contracted", "4 kW", "--contracted", "5 kW"], "--contracted is given twice; give "),
    ],
)  # fmt: skip
def test_a_mistake_ends_with_2_and_one_line(bill, asked, arguments, words):
    """README: 2 is a mistake on the command line; one line says what is wrong, and what would be right."""
    said = bill(*arguments, code=2)
    assert said.startswith(f"chargeplan: {words}")
    assert said.count("\n") == 1
    assert asked.calls == []


# ------------------------------------------------------------------------------------------------ what is printed


def test_a_bill(bill):
    """600 kWh at 9.8 and 100 at 11.5 cents are 58.80 and 11.50, as printed on a bill of Oakville Hydro, June 2022.

    The rest is made up: service 12.00 a month; 8 kW at 2.00; 50 kWh at 8 cents are 4.00 earned.
    """
    text = bill(*USED, "--where")
    assert text.startswith("Two tiers\nWed 1 Jun 2022 - Thu 30 Jun 2022, 30 days\n700 kWh bought, 50 kWh sold; ")
    rows = [line.split() for line in text.splitlines()]
    assert [row[-1] for row in rows if row[:1] in (["service"], ["export"])] == ["12.00", "-4.00"]
    assert [row[-1] for row in rows if row[:1] == ["tier"]] == ["58.80", "11.50"]
    assert ["Total", "94.30"] in rows
    places = {line.strip() for line in text.splitlines() if "sheet.yaml:" in line}
    assert places == {f"sheet.yaml:{line}" for line in (4, 5, 6, 7)}
    assert "sheet.yaml:" not in bill(*USED)


def test_a_bill_as_data(bill):
    """JSON by its schema, and CSV whose amounts are those of the JSON."""
    data = json.loads(bill(*USED, "--json"))
    jsonschema.validate(data, SCHEMAS["bill"], jsonschema.Draft202012Validator)
    assert data["lines"] == {"energy": 70.3, "service": 12.0, "peak demand": 16.0, "export": -4.0}
    assert data["total"] == 94.3
    rows = list(csv.DictReader(io.StringIO(bill(*USED, "--csv"))))
    assert [float(row["amount"]) for row in rows] == [item["amount"] for item in data["items"]]
    assert sum(Decimal(row["amount"]) for row in rows) == Decimal("94.30")


@pytest.mark.parametrize("file", [("load.csv",), ("local.csv", "--stamps", "local")])
def test_bills_of_a_file(bill, file):
    """June and July with 1 kWh an hour, by hand: 720 and 744 kWh, of which 600 at 9.8 cents and the rest at 11.5.

    58.80 + 13.80 and 58.80 + 16.56, service 12.00, 1 kW of demand 2.00 a month; 15 and 15.5 kWh sold at 8 cents.
    """
    text = bill("--load", *file)
    sold = (Decimal("1.20"), Decimal("1.24")) if file[0] == "load.csv" else (Decimal(0), Decimal(0))
    totals = (Decimal("86.60") - sold[0], Decimal("89.36") - sold[1])
    rows = [line.split() for line in text.splitlines() if line]
    assert [row[-1] for row in rows if row[:3] in (["1", "Jun", "2022"], ["1", "Jul", "2022"])] == list(
        map(str, totals)
    )
    assert ["energy", "147.96"] in rows
    assert ["service", "24.00"] in rows
    assert ["peak", "demand", "4.00"] in rows
    assert ["Total", str(sum(totals))] in rows
    full = bill("--load", *file, "--each")
    assert full.endswith(text)
    assert full.count("\nTotal ") == 3
    data = json.loads(bill("--load", *file, "--json"))
    jsonschema.validate(data, SCHEMAS["bills"], jsonschema.Draft202012Validator)
    assert [found["total"] for found in data["bills"]] == list(map(float, totals))
    table = list(csv.DictReader(io.StringIO(bill("--load", *file, "--csv"))))
    assert {row["start"] for row in table} == {"2022-06-01", "2022-07-01"}
    assert sum(Decimal(row["amount"]) for row in table) == sum(totals)


def test_days_cut_a_file(bill):
    """With --from and --to only the bills of these days."""
    data = json.loads(bill("--load", "load.csv", "--from", "2022-07-01", "--to", "2022-07-31", "--json"))
    assert [(found["start"], found["end"]) for found in data["bills"]] == [("2022-07-01", "2022-07-31")]
    assert data["bought_kwh"] == 744


def test_a_file_with_mistakes(bill, folder):
    """All mistakes of a file, each with its place, and exit code 2."""
    lines = (folder / "load.csv").read_text().splitlines()
    lines[3], lines[9] = "2022-06-01T02:00-04:00,-1,0", "x,1,1"
    (folder / "bad.csv").write_text("\n".join(lines))
    said = bill("--load", "bad.csv", code=2).splitlines()
    assert [line.split(": ")[0] for line in said] == ["bad.csv:4:24", "bad.csv:10:1"]
    assert "--stamps local" in bill("--load", "local.csv", code=2)
    assert bill("--load", "none.csv", code=2).startswith("none.csv:1:1: cannot read the file: ")


def test_what_the_sheet_cannot_bill(bill):
    """A period that the sheet has not, days in the wrong order: one line each."""
    for arguments in (
        ("--use", "noon=1", *JUNE),
        ("--use", "1", "--from", "2022-06-30", "--to", "2022-06-01"),
        ("--use", "1", "--from", "1950-06-01", "--to", "1950-06-30"),
        ("--load", "load.csv", "--from", "2023-01-01"),
        ("--load", "load.csv", "--from", "2022-07-01", "--to", "2022-06-01"),
    ):
        said = bill(*arguments, code=2)
        assert said.startswith("chargeplan: "), arguments
        assert said.count("\n") == 1


def test_a_shipped_sheet_and_one_that_is_none(invoke, tmp_path, monkeypatch):
    """Sheets that come with the package are named without a path; a missing file is a mistake."""
    monkeypatch.chdir(tmp_path)
    assert invoke("bill", "flat", "--use", "100", "--from", "2026-06-01", "--to", "2026-06-30").exit_code == 0
    result = invoke("bill", "none.yaml", "--use", "100", *JUNE)
    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr.startswith("none.yaml:1:1: ")


WORDS = st.sampled_from(
    ["700", "0", "day=1", "night=2", "2022-06-01=3", "2022-06-16=4", "8 kW", "40 A", "0.9", "local"]
)
DAYS = st.sampled_from(["2022-06-01", "2022-06-30", "2022-07-15", "1970-01-01", "9999-12-31", "0001-01-01"])
OPTIONS = {
    **dict.fromkeys(["--use", "--export", "--demand", "--power-factor", "--contracted"], WORDS | st.text(max_size=8)),
    **dict.fromkeys(["--from", "--to"], DAYS | st.dates().map(str) | st.text(max_size=8)),
    "--load": st.sampled_from(["load.csv", "local.csv", "sheet.yaml", ".", "none.csv"]),
    "--stamps": WORDS | st.text(max_size=8),
}


@settings(
    max_examples=150,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
@given(
    st.lists(
        st.sampled_from(sorted(OPTIONS)).flatmap(lambda name: OPTIONS[name].map(lambda text: f"{name}={text}")),
        max_size=5,
    ),
    st.lists(st.sampled_from(["--json", "--csv", "--each", "--where"]), max_size=2),
    st.booleans(),
)
def test_any_options(invoke, folder, monkeypatch, options, flags, whole):
    """Any options at all: a bill, or a message and exit code 2; never a traceback."""
    monkeypatch.chdir(folder)
    known = ["--use=700", "--from=2022-06-01", "--to=2022-06-30"] if whole else []
    result = invoke("bill", "sheet.yaml", *known, *options, *flags)
    assert result.exit_code in (0, 2)
    assert bool(result.stdout) == (result.exit_code == 0)
    assert bool(result.stderr) == (result.exit_code == 2)
    assert result.stderr.replace("\n", "").isprintable() or "Usage: " in result.stderr


def test_nothing_is_written(bill, folder):
    """The folder stays as it was."""
    before = sorted(Path(folder).iterdir())
    bill("--load", "load.csv", "--each")
    assert sorted(Path(folder).iterdir()) == before


def test_messages_name_the_options(invoke, tmp_path, monkeypatch):
    """What the library would have as use by period or demand in kW is said in the words of the command line."""
    monkeypatch.chdir(tmp_path)
    head = "name: A\ncurrency: USD\ntimezone: UTC\n"
    hours = "periods: {peak: 16:00-21:00, off peak: rest}\nprices: {peak: 0.3, off peak: 0.1}\n"
    (tmp_path / "hours.yaml").write_text(head + hours, encoding="utf-8")
    (tmp_path / "demand.yaml").write_text(f"{head}prices: 0.1\ndemand: {{top: {{price: 5}}}}\n", encoding="utf-8")
    (tmp_path / "export.yaml").write_text(head + hours.replace("prices", "export") + "prices: 0.1\n", encoding="utf-8")
    days = ("--from", "2026-06-01", "--to", "2026-06-30")
    said = invoke("bill", "hours.yaml", "--use", "700", *days)
    assert said.exit_code == 2
    assert "as in --use peak=100 --use 'off peak=100', or by intervals with --load load.csv\n" in said.stderr
    assert invoke("bill", "hours.yaml", "--use", "peak=100", "--use", "off peak=100", *days).exit_code == 0
    said = invoke("bill", "demand.yaml", "--use", "700", *days)
    assert (said.exit_code, "; add --demand '8 kW', or " in said.stderr) == (2, True)
    assert invoke("bill", "demand.yaml", "--use", "700", "--demand", "8 kW", *days).exit_code == 0
    said = invoke("bill", "export.yaml", "--use", "700", "--export", "50", *days)
    assert (said.exit_code, "as in --export peak=100" in said.stderr) == (2, True)
