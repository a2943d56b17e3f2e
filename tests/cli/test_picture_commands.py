"""The commands `picture` and `difference`, and the warnings of `check`: what is printed, JSON, files, exit codes."""

import json
from datetime import UTC, datetime
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.cli import main
from chargeplan.output.difference_text import difference_text
from chargeplan.output.json_schema import SCHEMAS
from chargeplan.output.picture_text import picture_text
from chargeplan.reading import read_document
from chargeplan.tariff import load_tariff, shipped_sheets
from chargeplan.tariff.difference import difference
from chargeplan.tariff.loading import shipped_folder
from chargeplan.tariff.picture import picture

HEAD = "name: S\ncurrency: USD\ntimezone: America/Denver\n"


def data_of(result, name):
    """The JSON of a result, held to its schema."""
    data = json.loads(result.stdout)
    jsonschema.validate(data, SCHEMAS[name], jsonschema.Draft202012Validator)
    return data


@pytest.mark.parametrize("sheet", shipped_sheets())
def test_picture_of_every_sheet(invoke, sheet):
    """The text is that of the library; JSON follows its schema, and its rows cover each day of the year once.

    Days that are unlike the rest of their week, such as called ones, have a panel of their own with these days only.
    """
    result = invoke("picture", sheet, "--year", "2026")
    assert (result.exit_code, result.stderr) == (0, "")
    shown = picture(load_tariff(sheet), 2026)
    assert result.stdout == picture_text(shown) + "\n"
    data = data_of(invoke("picture", sheet, "--year", "2026", "--json"), "picture")
    assert [panel["days"] for panel in data["panels"]] == [panel.days for panel in shown.panels]
    for panel in data["panels"]:
        for row in panel["rows"]:
            assert (row["spans"][0]["start"], row["spans"][-1]["end"]) == ("00:00", "24:00")
            ends = [span["end"] for span in row["spans"]]
            assert [span["start"] for span in row["spans"][1:]] == ends[:-1]
        firsts, lasts = zip(*((row["first"], row["last"]) for row in panel["rows"]), strict=True)
        if panel["days"] == "other days":
            assert firsts == lasts == ("2026-01-14", "2026-01-21", "2026-12-03")
        else:
            assert (firsts[0], lasts[-1]) == ("2026-01-01", "2026-12-31")


def test_picture_into_a_file(invoke, tmp_path):
    """With --out the file is drawn and named; with --json as well, only the data are printed."""
    file = tmp_path / "a.svg"
    result = invoke("picture", "flat", "--year", "2026", "--out", str(file))
    assert (result.exit_code, result.stdout) == (0, f"{file}: Ridgeline Valley standard, 2026\n")
    assert "Ridgeline Valley standard, 2026" in file.read_text(encoding="utf-8")
    both = tmp_path / "b.png"
    data = data_of(invoke("picture", "flat", "--year", "2026", "--out", str(both), "--json"), "picture")
    assert data["year"] == 2026
    assert both.read_bytes()[:4] == b"\x89PNG"


def test_the_year_of_a_picture(invoke, tmp_path, monkeypatch):
    """This year; if the sheet is not in force then, the nearest year in which it is."""
    monkeypatch.chdir(tmp_path)
    Path("past.yaml").write_text(HEAD + "effective: 2019-03-01\nuntil: 2021-09-30\nprices: 0.2\n")
    assert data_of(invoke("picture", "past.yaml", "--json"), "picture")["year"] == 2021
    assert data_of(invoke("picture", "flat", "--json"), "picture")["year"] == datetime.now(UTC).year


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("picture", "past.yaml", "--year", "2022"), "so there is nothing of 2022; choose 2021"),
        (("picture", "flat", "--year", "1900"), "the year 1900 is out of range; choose one from 1971 to 2198"),
        (("picture", "flat", "--year", "2026", "--out", "a.gif"), "end its name in .png or .svg"),
        (("picture", "none.yaml"), "none.yaml:1:1: cannot read the file"),
        (("difference", "flat", "none.yaml"), "none.yaml:1:1: cannot read the file"),
        (("difference", "flat", "drei-zeiten"), "one sheet is in USD, the other in EUR"),
        (("difference", "flat"), "no terms before those of today; name a second sheet, or give two dates"),
        (("difference", "past.yaml", "flat", "--at", "2022-01-01"), "ends on 2021-09-30, before 2022-01-01"),
        (("difference", "flat", "two-period", "--at", "May"), "`May` is not a date"),
        (("difference", "flat", "two-period", "--year", "3000"), "the year 3000 is out of range"),
    ],
)
def test_mistakes_end_with_2(invoke, tmp_path, monkeypatch, arguments, message):
    """One line on standard error says what is wrong and what would be right, and no file is left."""
    monkeypatch.chdir(tmp_path)
    Path("past.yaml").write_text(HEAD + "effective: 2019-03-01\nuntil: 2021-09-30\nprices: 0.2\n")
    result = invoke(*arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert message in result.stderr
    assert result.stderr.count("\n") == 1
    assert [path.name for path in tmp_path.iterdir()] == ["past.yaml"]


def test_difference_of_two_sheets(invoke):
    """Text and JSON are those of the library."""
    paths = [shipped_folder() / f"{name}.yaml" for name in ("two-period", "summer-peak")]
    found = difference(*map(read_document, paths), year=2026)
    result = invoke("difference", "two-period", "summer-peak", "--year", "2026")
    assert (result.exit_code, result.stderr) == (0, "")
    assert result.stdout == difference_text(found) + "\n"
    data = data_of(invoke("difference", "two-period", "summer-peak", "--year", "2026", "--json"), "difference")
    assert data["moved_hours"] == found.moved_hours > 0
    assert len(data["moved"]) == len(found.moved)
    assert {"line": "fixed / service", "old": None, "new": "0.42 per day"} in data["lines"]


def test_difference_of_two_dates(invoke):
    """The versions of `half-hours`: prices change in May, hours in November (as its file says)."""
    dated = ("difference", "half-hours", "--at", "2026-04-30", "--and", "2026-05-01", "--json")
    data = data_of(invoke(*dated), "difference")
    assert (data["old"]["since"], data["new"]["since"]) == ("2025-11-01", "2026-05-01")
    assert (data["moved"], data["moved_hours"]) == ([], 0)
    assert {(c["old"]["period"], c["old"]["price_per_kwh"], c["new"]["price_per_kwh"]) for c in data["repriced"]} == {
        *[("on-peak", 0.203, 0.211), ("mid-peak", 0.157, 0.16), ("off-peak", 0.098, 0.096)]
    }
    data = data_of(invoke("difference", "half-hours", "--json"), "difference")
    assert {(c["hours"], c["old"]["period"], c["new"]["period"]) for c in data["moved"]} == {
        *[("06:30-07:00", "on-peak", "off-peak"), ("16:30-17:00", "on-peak", "mid-peak")]
    }


def test_difference_of_bills(invoke, tmp_path, monkeypatch):
    """700 kWh a month at 0.20 and 0.25: 1680 and 2100 a year; a load of two days, 48 kWh: 9.60 and 12.00."""
    monkeypatch.chdir(tmp_path)
    Path("old.yaml").write_text(HEAD + "prices: 0.20\n")
    Path("new.yaml").write_text(HEAD + "prices: 0.25\n")
    sheets = ("difference", "old.yaml", "new.yaml", "--year", "2026")
    for use in ("700", "700 kWh"):
        data = data_of(invoke(*sheets, "--use", use, "--json"), "difference")["bills"]
        assert data["total"] == {"name": "total", "old": 1680.0, "new": 2100.0, "change": 420.0}
        assert (data["first"], data["last"]) == ("2026-01-01", "2026-12-31")
    said = invoke(*sheets, "--use", "700").stdout
    assert "Bills from 2026-01-01 to 2026-12-31, 8,400 kWh bought, in USD\n" in said
    assert said.endswith("  total   1680.00  2100.00  +420.00 (+25.0 %)\n")
    hours = [f"2026-06-{1 + n // 24:02d}T{n % 24:02d}:00-06:00,1" for n in range(48)]
    Path("load.csv").write_text("start,kwh\n" + "\n".join(hours) + "\n")
    data = data_of(invoke(*sheets, "--load", "load.csv", "--json"), "difference")["bills"]
    assert (data["total"]["old"], data["total"]["new"], data["bought_kwh"]) == (9.6, 12.0, 48.0)
    assert data_of(invoke(*sheets, "--json"), "difference")["bills"] is None
    for arguments in (("--use", "much"), ("--use", "-5"), ("--load", "none.csv"), ("--use", "1", "--load", "load.csv")):
        result = invoke(*sheets, *arguments)
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr


@settings(max_examples=40, deadline=None, database=None)
@given(
    command=st.sampled_from(["picture", "difference"]),
    sheets=st.lists(st.sampled_from([*shipped_sheets(), "", ".", "none.yaml", "demo"]), min_size=1, max_size=2),
    year=st.none() | st.integers(-5, 4000) | st.sampled_from([2026, 2027]),
    at=st.none() | st.dates().map(str) | st.text(max_size=8),
)
def test_anything_ends_with_0_or_2(command, sheets, year, at):
    """Any sheet, year and date: an exit code and a message, never a traceback."""
    arguments = [command, *sheets[: 1 if command == "picture" else 2]]
    arguments += [f"--year={year}"] if year is not None else []
    arguments += [f"--at={at}"] if at is not None and command == "difference" else []
    result = CliRunner().invoke(main, arguments)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code in (0, 2)
    assert result.stdout if result.exit_code == 0 else result.stderr


def test_check_names_its_warnings(invoke, tmp_path, monkeypatch):
    """A warning has its name, which the sheet can accept; it does not make the sheet bad."""
    monkeypatch.chdir(tmp_path)
    Path("a.yaml").write_text(HEAD + "until: 2020-12-31\nprices: 31\n")
    result = invoke("check", "a.yaml")
    assert (result.exit_code, result.stdout) == (0, "a.yaml: good\n")
    first, second = result.stderr.splitlines()
    assert first.startswith("a.yaml:4:1: the sheet ended on 2020-12-31, before today")
    assert first.endswith("(warning: expired sheet)")
    assert second.startswith("a.yaml:5:1: 31 USD per kWh is very dear")
    assert second.endswith("(warning: dear price)")
    (file,) = data_of(invoke("check", "a.yaml", "--json"), "check")["files"]
    assert [(warning["id"], warning["line"]) for warning in file["warnings"]] == [
        *[("expired sheet", 4), ("dear price", 5)]
    ]


def test_check_of_what_a_sheet_accepts(invoke, tmp_path, monkeypatch):
    """Accepted warnings are not printed; a name that is no warning is a mistake."""
    monkeypatch.chdir(tmp_path)
    Path("a.yaml").write_text(HEAD + "prices: 31\naccept: [{warning: dear price, because: invented}]\n")
    result = invoke("check", "a.yaml")
    assert (result.exit_code, result.stdout, result.stderr) == (0, "a.yaml: good\n", "")
    Path("a.yaml").write_text(HEAD + "prices: 31\naccept: [{warning: deer price, because: invented}]\n")
    result = invoke("check", "a.yaml")
    assert result.exit_code == 2
    assert "`deer price` is not a warning; did you mean `dear price`?" in result.stderr
