"""The command `prices` with a span: what it prints and writes, and what it refuses."""

import json

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.output.price_files import csv_text, json_text
from chargeplan.output.price_table import price_table
from chargeplan.tariff import load_tariff

SPAN = ("--from", "2026-03-01", "--to", "2026-03-31")


@pytest.fixture
def table():
    """The table of the span, its last day included."""
    return price_table(load_tariff("summer-peak"), "2026-03-01", "2026-04-01", "1 h")


def test_what_is_printed_is_what_is_written(invoke, table, tmp_path):
    """`--csv` and `--json` print what `--out` writes; the last day belongs to the table, 31 days less an hour."""
    for form, text in (("csv", csv_text(table)), ("json", json_text(table))):
        printed = invoke("prices", "summer-peak", *SPAN, "--step", "1 h", f"--{form}")
        assert (printed.exit_code, printed.stderr, printed.stdout) == (0, "", text)
        path = tmp_path / f"p.{form}"
        written = invoke("prices", "summer-peak", *SPAN, "--step", "1h", "--out", str(path))
        assert (written.exit_code, written.stderr) == (0, "")
        assert written.stdout == f"{path}: Ridgeline Valley home time-of-use, 743 prices, 2026-03-01 to 2026-03-31\n"
        assert path.read_bytes() == text.encode()
    path = tmp_path / "p.parquet"
    assert invoke("prices", "summer-peak", *SPAN, "--step", "1 h", "--out", str(path)).exit_code == 0
    pd.testing.assert_frame_equal(pd.read_parquet(path), table.frame(), check_dtype=False)


def test_quarters_of_an_hour_unless_stated(invoke):
    assert invoke("prices", "flat", *SPAN, "--csv").stdout.count("\n") == 1 + 4 * 743
    assert json.loads(invoke("prices", "flat", *SPAN, "--json").stdout)["step_min"] == 15


def test_the_parts(invoke):
    head = invoke("prices", "summer-peak", *SPAN, "--parts", "--csv").stdout.split("\n")[0]
    assert head == "start,end,price_per_kwh,period,season,day_type,part_per_kwh.energy,part_per_kwh.city tax"


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        ((*SPAN,), "say where the table goes"),
        ((*SPAN[:2], "--csv"), "give both --from and --to"),
        ((*SPAN[2:], "--csv"), "give both --from and --to"),
        (("--from", "2026-03-31", "--to", "2026-03-01", "--csv"), "--to 2026-03-01 lies before --from 2026-03-31"),
        (("--from", "March", "--to", "2026-03-01", "--csv"), "`March` is not a date"),
        (("--from", "2026-03-01", "--to", "9999-12-31", "--csv"), "--to 9999-12-31 is out of range"),
        (("--from", "0001-01-01", "--to", "2026-03-01", "--csv"), "--from 0001-01-01 is out of range"),
        ((*SPAN, "--csv", "--out", "a.csv"), "--out and --csv exclude one another"),
        ((*SPAN, "--csv", "--force"), "--force goes with --out"),
        ((*SPAN, "--csv", "--date", "2026-03-01"), "--date and --now go without --from"),
        ((*SPAN, "--csv", "--step", "2 h"), "does not divide an hour"),
        ((*SPAN, "--csv", "--step", "soon"), "soon"),
        ((*SPAN, "--out", "a.xlsx"), "end its name in .csv, .json or .parquet"),
        (("--out", "a.csv"), "--out goes with --from"),
        (("--step", "1 h"), "--step goes with --from"),
        (("--parts",), "--parts goes with --from"),
        (("--force",), "--force goes with --from"),
        (("--from", "2025-03-01", "--to", "2026-03-01", "--csv"), "begins on 2026-01-01"),
    ],
)
def test_what_is_mistyped(invoke, arguments, what, tmp_path, monkeypatch):
    """Exit code 2, one line that says what is wrong and what would be right, and no file."""
    monkeypatch.chdir(tmp_path)
    result = invoke("prices", "summer-peak", *arguments)
    assert (result.exit_code, result.stdout) == (2, "")
    assert what in result.stderr
    assert result.stderr.startswith("chargeplan: ")
    assert result.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_replaced_only_with_force(invoke, tmp_path):
    path = tmp_path / "prices.json"
    path.write_text("mine")
    refused = invoke("prices", "flat", *SPAN, "--out", str(path))
    assert (refused.exit_code, path.read_text()) == (2, "mine")
    assert "add --force" in refused.stderr
    assert invoke("prices", "flat", *SPAN, "--out", str(path), "--force").exit_code == 0
    assert json.loads(path.read_text(encoding="utf-8"))["tariff"] == load_tariff("flat").name


def test_the_day_is_shown_as_before(invoke):
    """Without a span, `--json` gives the runs of one day, schema chargeplan.prices/1."""
    data = json.loads(invoke("prices", "flat", "--date", "2026-03-08", "--json").stdout)
    assert (data["schema"], len(data["runs"])) == ("chargeplan.prices/1", 1)


# ------------------------------------------------------------------------------------------------ and back: import


@pytest.fixture
def hours(tmp_path):
    """A table of months and hours, dear from 17:00 to 21:00."""
    path = tmp_path / "hours.csv"
    path.write_text((";".join(["0,10"] * 17 + ["0,30"] * 4 + ["0,10"] * 3) + "\n") * 12, encoding="utf-8")
    return str(path)


@pytest.mark.parametrize("suffix", ["csv", "parquet"])
def test_export_import_export_by_commands(invoke, tmp_path, suffix):
    """What a person types: the prices of the drafted sheet are written again, byte for byte."""
    first, sheet, second = (str(tmp_path / name) for name in (f"a.{suffix}", "a.yaml", "b.csv"))
    assert invoke("prices", "whole-bill", *SPAN, "--out", first).exit_code == 0
    known = ("--timezone", "America/New_York") if suffix == "csv" else ()
    imported = invoke("import", first, *known, "--out", sheet)
    assert (imported.exit_code, imported.stdout) == (0, f"{sheet}: {load_tariff(sheet).name}\n")
    assert "assumed (market): " in imported.stderr
    assert invoke("check", sheet).exit_code == 0
    assert invoke("prices", sheet, *SPAN, "--out", second).exit_code == 0
    assert (tmp_path / "b.csv").read_text() == invoke("prices", "whole-bill", *SPAN, "--csv").stdout


def test_a_table_of_hours_by_command(invoke, hours, tmp_path):
    """Read from a file with decimal commas; printed without `--out`, and good as it is printed."""
    printed = invoke("import", hours, "--timezone", "America/Denver", "--unit", "EUR/kWh", "--name", "Evening rate")
    assert printed.exit_code == 0
    assert "assumed (prices): the table has no labels" in printed.stderr
    sheet = tmp_path / "evening.yaml"
    sheet.write_text(printed.stdout, encoding="utf-8")
    tariff = load_tariff(sheet)
    assert (tariff.name, tariff.currency) == ("Evening rate", "EUR")
    assert tariff.prices("2026-07-06 16:00", "2026-07-06 18:00", "1 h").tolist() == [0.1, 0.3]
    moved = invoke("import", hours, "--timezone", "America/Denver", "--edge", "17=17:30", "--weekend", hours)
    assert "17:30-21:00" in moved.stdout


@pytest.mark.parametrize(
    ("arguments", "what"),
    [
        ((), "does not say its time zone; add one, as in --timezone"),
        (("--timezone", "UTC", "--label", "x"), "--out-dir and --label are for records"),
        (("--timezone", "UTC", "--out-dir", "."), "--out-dir and --label are for records"),
        (("--timezone", "UTC", "--unit", "bananas"), "`bananas` is not a unit of prices; write kWh"),
        (("--timezone", "UTC", "--kind", "dated"), "hours.csv:1:5: the columns are separated by `;`"),
        (("--timezone", "UTC", "--weekend", "none.csv"), "none.csv:1:1: cannot read the file"),
        (("--timezone", "UTC", "--unit", "kWh", "--kind", "record"), "--unit is for files of prices"),
        (("--timezone", "UTC", "--kind", "record"), "not valid JSON"),
        (("--timezone", "UTC", "--currency", "euros"), "not a currency"),
        (("--timezone", "UTC", "--edge", "25=1:00"), "25=1:00"),
    ],
)
def test_what_is_mistyped_with_import(invoke, hours, arguments, what, tmp_path):
    """Exit code 2, one line, and no sheet."""
    sheet = tmp_path / "a.yaml"
    out = () if "--out-dir" in arguments else ("--out", str(sheet))
    result = invoke("import", hours, *arguments, *out)
    assert (result.exit_code, result.stdout) == (2, "")
    assert what in result.stderr
    assert result.stderr.count("\n") == 1
    assert not sheet.exists()


DAYS = st.sampled_from(
    ["2026-03-08", "2026-11-01", "2011-12-30", "1971-01-01", "2199-12-31", "0001-01-01", "9999-12-31", "", "x"]
)


@settings(deadline=None, max_examples=80)
@given(
    *(DAYS, DAYS),
    st.sampled_from(["1 h", "15min", "7 min", "2 h", "0", "-1 h", "1e9 h", ""]),
    st.sampled_from(["--csv", "--json", "--parts"]),
)
def test_any_span_and_step(invoke, first, last, step, flag):
    """Whatever days and step: a table, or one line that says what is wrong; spans of years are not for this test."""
    if last[:4] > first[:4]:
        last = first
    result = invoke("prices", "half-hours", f"--from={first}", f"--to={last}", f"--step={step}", flag)
    assert result.exit_code in (0, 2)
    assert (result.stderr.count("\n"), bool(result.stdout)) == ((0, True) if result.exit_code == 0 else (1, False))
