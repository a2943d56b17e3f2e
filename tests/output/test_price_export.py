"""Tables of prices as CSV, JSON and Parquet: what stands in them is what the sheet says, in all three alike."""

import csv
import io
import json
import os
import stat
from datetime import datetime, timedelta

import jsonschema
import numpy as np
import pandas as pd
import pytest
from pyarrow import parquet

import chargeplan
from chargeplan.errors import InputError
from chargeplan.output.json_schema import SCHEMAS
from chargeplan.output.price_files import (
    PRICE_TABLE_SCHEMA,
    csv_text,
    format_of,
    json_text,
    parquet_content,
    price_table_data,
    write_prices,
)
from chargeplan.output.price_table import price_table
from chargeplan.tariff import load_tariff, read_tariff, shipped_sheets

HEAD = "name: Own\ncurrency: EUR\ntimezone: {}\n"
YEAR = ("2026-01-01", "2027-01-01")


def own(text, zone="Europe/Berlin"):
    return read_tariff(HEAD.format(zone) + text)


def rows_of(table):
    return list(csv.DictReader(io.StringIO(csv_text(table)), strict=True))


# ------------------------------------------------------------------------------------------------ what it says


def test_the_prices_of_a_printed_sheet():
    """Figures by hand from tariffs/summer-peak.yaml: 0.524 and 3.5 % at a summer peak, 0.189 and 3.5 % at night."""
    table = price_table(load_tariff("summer-peak"), "2026-07-06", "2026-07-07", "1 h", parts=True)
    rows = rows_of(table)
    assert rows[16] == {
        "start": "2026-07-06T16:00:00-06:00",
        "end": "2026-07-06T17:00:00-06:00",
        "price_per_kwh": "0.54234",
        "period": "peak",
        "season": "summer",
        "day_type": "weekday",
        "part_per_kwh.energy": "0.524",
        "part_per_kwh.city tax": "0.01834",
    }
    assert rows[0]["price_per_kwh"] == "0.195615"
    assert [row["period"] for row in rows] == ["overnight"] * 7 + ["shoulder"] * 9 + ["peak"] * 5 + [
        *["shoulder"] * 2,
        "overnight",
    ]


def test_what_a_kwh_sold_earns():
    """tariffs/winter-evenings.yaml: 0.0410 in winter, 0.0330 from April on; without `export` there is no column."""
    table = price_table(load_tariff("winter-evenings"), "2026-03-31", "2026-04-02", "1 h")
    assert table.names == ("start", "end", "price_per_kwh", "export_per_kwh")
    assert [row["export_per_kwh"] for row in rows_of(table)] == ["0.041"] * 24 + ["0.033"] * 24
    assert price_table(load_tariff("flat"), *YEAR, "1 h").names == ("start", "end", "price_per_kwh")
    netted = own("prices: 0.3\nnet_metering: {carry: money}\n")
    assert rows_of(price_table(netted, "2026-05-01", "2026-05-02", "1 h"))[0]["export_per_kwh"] == "0.3"
    later = own("prices: 0.3\nversions: [{from: 2026-05-02, export: 0.1}]\n")
    earned = [row["export_per_kwh"] for row in rows_of(price_table(later, "2026-05-01", "2026-05-03", "1 h"))]
    assert earned == ["0.0"] * 24 + ["0.1"] * 24


@pytest.mark.parametrize("sheet", shipped_sheets())
@pytest.mark.parametrize("step", [5, 15, 30, 60])
def test_every_slot_is_the_mean_of_its_minutes(sheet, step):
    """The runs of `Tariff.day`, laid out minute by minute, give every slot; days with clock changes among them."""
    tariff = load_tariff(sheet)
    for day in ("2026-03-08", "2026-03-29", "2026-07-04", "2026-10-25", "2026-11-01", "2026-12-28"):
        first = datetime.fromisoformat(day).date()
        table = price_table(tariff, first, first + timedelta(days=1), step, parts=True)
        runs = tariff.day(first)
        minutes = np.concatenate([np.full((run.end_s - run.start_s) // 60, run.price_per_kwh) for run in runs])
        assert table.columns["price_per_kwh"] == pytest.approx(minutes.reshape(-1, step).mean(axis=1), abs=1e-9)
        parts = sum(column for name, column in table.columns.items() if name.startswith("part_per_kwh."))
        assert parts == pytest.approx(table.columns["price_per_kwh"], abs=5e-9)
        stamps = [datetime.fromisoformat(row["start"]).timestamp() for row in rows_of(table)]
        assert stamps == table.start_s.tolist()
        assert (stamps[0], stamps[-1] + 60 * step) == (runs[0].start_s, runs[-1].end_s)


@pytest.mark.parametrize(
    ("zone", "day", "hours", "third", "last"),
    [
        # Days of 23 and 25 hours: 15 U.S.C. 260a in America, Directive 2000/84/EC in Europe.
        ("America/Denver", "2026-03-08", 23, "2026-03-08T03:00:00-06:00", "2026-03-08T23:00:00-06:00"),
        ("America/Denver", "2026-11-01", 25, "2026-11-01T01:00:00-07:00", "2026-11-01T23:00:00-07:00"),
        ("Europe/Berlin", "2026-03-29", 23, "2026-03-29T03:00:00+02:00", "2026-03-29T23:00:00+02:00"),
        ("Europe/Berlin", "2026-10-25", 25, "2026-10-25T02:00:00+02:00", "2026-10-25T23:00:00+01:00"),
    ],
)
def test_days_of_23_and_25_hours(zone, day, hours, third, last):
    """One row for every hour that passes, with the offset of that hour; the last ends at midnight."""
    first = datetime.fromisoformat(day).date()
    rows = rows_of(price_table(own("prices: 0.2\n", zone), first, first + timedelta(days=1), "1 h"))
    assert (len(rows), rows[2]["start"], rows[-1]["start"]) == (hours, third, last)
    assert [row["start"] for row in rows[1:]] == [row["end"] for row in rows[:-1]]
    assert rows[-1]["end"][:19] == f"{first + timedelta(days=1)}T00:00:00"


def test_versions_and_overrides():
    """What changes on a date changes in the table on that date, by the hour."""
    tariff = own(
        "periods: {day: 08:00-20:00, night: rest}\nprices: {day: 0.3, night: 0.1}\n"
        "versions: [{from: 2026-05-02, prices: {day: 0.4, night: 0.2}}]\n"
        "overrides: [{from: 2026-05-03, days: 1, period: night}]\n"
    )
    rows = rows_of(price_table(tariff, "2026-05-01", "2026-05-05", "1 h"))
    cheap, dear = ["0.1"] * 8 + ["0.3"] * 12 + ["0.1"] * 4, ["0.2"] * 8 + ["0.4"] * 12 + ["0.2"] * 4
    assert [row["price_per_kwh"] for row in rows] == cheap + dear + ["0.2"] * 24 + dear


def test_names_of_components_are_kept_apart_from_columns():
    """A component may have nearly any name; in the table it cannot be taken for another column."""
    tariff = own("components: {start: 0.1, step_min: 0.2}\n")
    table = price_table(tariff, "2026-05-01", "2026-05-02", "1 h", parts=True)
    assert table.names[-2:] == ("part_per_kwh.start", "part_per_kwh.step_min")
    assert rows_of(table)[0]["part_per_kwh.start"] == "0.1"
    assert json.loads(json_text(table))["prices"][0]["part_per_kwh"] == {"start": 0.1, "step_min": 0.2}


def test_offsets_with_seconds_and_halves_of_hours():
    """Zones whose offset is no whole hour; those of Liberia had seconds until 1972 (tz database)."""
    rows = rows_of(price_table(own("prices: 1\n", "Asia/Kathmandu"), "2026-05-01", "2026-05-02", "1 h"))
    assert rows[0]["start"] == "2026-05-01T00:00:00+05:45"
    tariff = own("prices: 1\n", "Africa/Monrovia")
    assert rows_of(price_table(tariff, "1971-05-01T00:44+00:00", "1971-05-01T01:44+00:00"))[0]["start"].endswith(
        "-00:44:30"
    )


# ------------------------------------------------------------------------------------------------ formats


@pytest.mark.parametrize("sheet", shipped_sheets())
@pytest.mark.parametrize("parts", [False, True])
def test_three_formats_say_the_same(sheet, parts, tmp_path):
    """CSV, JSON and Parquet of a year, read by other programs, give the same stamps, labels and numbers."""
    tariff = load_tariff(sheet)
    files = {suffix: tmp_path / f"prices.{suffix}" for suffix in ("csv", "json", "parquet")}
    for path in files.values():
        table = write_prices(tariff, path, *YEAR, "1 h", parts=parts)
    assert len(table.start_s) == 8760
    from_csv = pd.read_csv(files["csv"])
    data = json.loads(files["json"].read_text(encoding="utf-8"))
    from_json = pd.json_normalize(data["prices"])
    from_parquet = pd.read_parquet(files["parquet"])
    assert tuple(from_csv.columns) == tuple(from_json.columns) == tuple(from_parquet.columns) == table.names
    for name in ("start", "end"):
        assert str(from_parquet[name].dt.tz) == tariff.timezone
        stamps = from_parquet[name].map(pd.Timestamp.isoformat).tolist()
        assert stamps == from_csv[name].tolist() == from_json[name].tolist()
    for name in table.names[2:]:
        assert from_csv[name].tolist() == from_json[name].tolist() == from_parquet[name].tolist()
    pd.testing.assert_frame_equal(table.frame(), from_parquet, check_dtype=False)


def test_json_follows_its_schema():
    """With parts and without, with export and without; it is what `price_table_data` gives."""
    for sheet in ("whole-bill", "flat"):
        for parts in (False, True):
            table = price_table(load_tariff(sheet), "2026-05-01", "2026-05-02", "1 h", parts=parts)
            data = json.loads(json_text(table))
            jsonschema.Draft202012Validator(SCHEMAS["price-table"]).validate(data)
            assert data == price_table_data(table)
            assert list(data) == ["schema", "tariff", "currency", "timezone", "unit", "step_min", "prices"]
            assert (data["schema"], data["step_min"], data["unit"]) == (PRICE_TABLE_SCHEMA, 60, "USD per kWh")


def test_parquet_says_what_it_holds():
    """Currency, zone, unit and schema stand in the metadata; prices are never null; two runs are alike."""
    table = price_table(load_tariff("drei-zeiten"), "2026-05-01", "2026-05-02")
    content = parquet_content(table)
    assert content == parquet_content(table)
    schema = parquet.read_schema(io.BytesIO(content))
    about = {key.decode(): value.decode() for key, value in schema.metadata.items()}
    assert about == {
        "schema": PRICE_TABLE_SCHEMA,
        "tariff": table.tariff,
        "currency": "EUR",
        "timezone": "Europe/Vienna",
        "unit": "EUR per kWh",
        "step_min": "15",
    }
    field = schema.field("price_per_kwh")
    assert (str(field.type), field.nullable, field.metadata[b"unit"]) == ("double", False, b"EUR per kWh")
    assert str(schema.field("start").type) == "timestamp[ms, tz=Europe/Vienna]"


def test_numbers_print_as_a_person_would_write_them():
    """0.18 and 5 % are 0.189, not 0.18900000000000001; nothing earned is 0.0, not -0.0; a third has nine digits."""
    tariff = own("components: {a: 0.18}\ntaxes: {t: 5 %}\nexport_components: {e: -0.0}\n")
    row = rows_of(price_table(tariff, "2026-05-01", "2026-05-02", "1 h"))[0]
    assert (row["price_per_kwh"], row["export_per_kwh"]) == ("0.189", "0.0")
    third = own("periods: {a: 00:00-00:20, b: rest}\nprices: {a: 1, b: 0}\n")
    assert rows_of(price_table(third, "2026-05-01", "2026-05-02", "1 h"))[0]["price_per_kwh"] == "0.333333333"


# ------------------------------------------------------------------------------------------------ mistakes


@pytest.mark.parametrize(
    ("start", "end", "step", "what"),
    [
        ("2026-05-02", "2026-05-02", "1 h", "is not after the start"),
        ("2026-05-01", "2026-05-02", "2 h", "does not divide an hour"),
        ("2026-05-01", "2026-05-02", "7 min", "does not fit"),
        ("2026-05-01", "2026-05-02", "day", "a step of day is no length of time; write what divides an hour: 5 min"),
        ("2026-05-01 00:00:30", "2026-05-02", "1 h", "whole minute"),
        ("2026-05-01 00:30", "2026-05-02", "1 h", "no whole number of steps"),
        ("1980-01-01", "2190-01-01", 1, "5,000,000"),
        ("2026-05-01", "2226-05-02", "1 h", "1971 to 2199"),
        ("2025-12-31", "2026-05-02", "1 h", "begins on 2026-01-01"),
    ],
)
def test_spans_that_do_not_fit(start, end, step, what):
    with pytest.raises(InputError, match=what):
        price_table(load_tariff("summer-peak"), start, end, step)


def test_the_name_says_the_format(tmp_path):
    """Any case will do; another ending is refused before anything is worked out."""
    assert format_of("a.CSV") == ".csv"
    for name in ("prices", "prices.xlsx", "prices.csv.gz", ".csv"):
        with pytest.raises(InputError, match=r"end its name in \.csv, \.json or \.parquet"):
            write_prices(None, tmp_path / name, *YEAR)
    assert list(tmp_path.iterdir()) == []


def test_a_file_is_replaced_only_if_asked(tmp_path):
    path = tmp_path / "prices.csv"
    path.write_text("mine")
    with pytest.raises(InputError, match="there already"):
        write_prices(load_tariff("flat"), path, *YEAR)
    assert path.read_text() == "mine"
    write_prices(load_tariff("flat"), path, "2026-05-01", "2026-05-02", "1 h", force=True)
    assert path.read_text(encoding="utf-8").count("\n") == 25
    assert list(tmp_path.iterdir()) == [path]
    umask = os.umask(0)
    os.umask(umask)
    assert stat.S_IMODE(path.stat().st_mode) == 0o666 & ~umask


def test_nothing_is_left_of_what_fails(tmp_path, monkeypatch):
    """A span outside the sheet, a folder that is none, a disk that is full: a message, and no file."""
    with pytest.raises(InputError, match="begins on"):
        write_prices(load_tariff("summer-peak"), tmp_path / "a.csv", "2020-01-01", "2020-01-02")
    with pytest.raises(InputError, match=r"cannot write .*none/a\.csv"):
        write_prices(load_tariff("flat"), tmp_path / "none" / "a.csv", "2026-01-01", "2026-01-02")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(InputError, match="No space left"):
        write_prices(load_tariff("flat"), tmp_path / "a.csv", "2026-01-01", "2026-01-02")
    assert list(tmp_path.iterdir()) == []


def test_without_pyarrow(tmp_path, monkeypatch):
    """The message names the extra; CSV goes without it."""
    monkeypatch.setitem(__import__("sys").modules, "pyarrow", None)
    with pytest.raises(InputError, match=r"pip install '\.\[parquet\]'"):
        write_prices(load_tariff("flat"), tmp_path / "a.parquet", "2026-01-01", "2026-01-02")
    write_prices(load_tariff("flat"), tmp_path / "a.csv", "2026-01-01", "2026-01-02")


def test_the_public_names():
    assert chargeplan.price_table is price_table
    assert chargeplan.write_prices is write_prices
