"""Dated prices as sheets: what chargeplan writes comes back unchanged; what is wrong in a file has its place."""

import json
from datetime import UTC, datetime, timedelta

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.drafting.dated_prices import read_dated_prices
from chargeplan.drafting.price_draft import draft_prices, kind_of
from chargeplan.drafting.price_unit import PriceUnit, parse_unit
from chargeplan.errors import FileError, InputError
from chargeplan.output.price_files import write_prices
from chargeplan.tariff import load_tariff, read_tariff, shipped_sheets

YEAR = ("2026-01-01", "2027-01-01")
ROWS = ["start,price", "2026-01-14T00:00+01:00,0.10", "2026-01-14T01:00+01:00,0.20", "2026-01-14T02:00+01:00,0.30"]


@pytest.fixture
def save(tmp_path):
    """Write lines into a file, and give its path."""

    def write(lines, name="dated.csv"):
        path = tmp_path / name
        path.write_text(lines if isinstance(lines, str) else "\n".join(lines) + "\n", encoding="utf-8")
        return path

    return write


def sheet_of(path, folder, **options):
    """Draft a sheet, save it in a folder, and load it from there as a person would."""
    draft = draft_prices(path, folder=folder, **options)
    sheet = folder / f"{path.stem}.yaml"
    sheet.write_text(draft.text, encoding="utf-8")
    return load_tariff(sheet)


# ------------------------------------------------------------------------------------------------ round trips


@pytest.mark.parametrize("sheet", shipped_sheets())
@pytest.mark.parametrize("step", ["15 min", "30 min", "1 h"])
def test_export_import_export_changes_nothing(sheet, step, tmp_path):
    """A year with both clock changes: CSV byte for byte, Parquet and JSON value for value.

    Some sheets change at half past; then hours have mean prices, and these come back as well.
    """
    tariff = load_tariff(sheet)
    first = {suffix: tmp_path / f"first.{suffix}" for suffix in ("csv", "parquet", "json")}
    for path in first.values():
        write_prices(tariff, path, *YEAR, step)
    for suffix in ("csv", "parquet") if step == "1 h" else ("csv",):
        # A Parquet file says the rest of itself.
        options = {"timezone": tariff.timezone, "currency": tariff.currency, "name": tariff.name}
        again = sheet_of(first[suffix], tmp_path, **(options if suffix == "csv" else {}))
        assert (again.name, again.currency, again.timezone) == (tariff.name, tariff.currency, tariff.timezone)
        for other, path in first.items():
            second = tmp_path / f"second-{suffix}.{other}"
            write_prices(again, second, *YEAR, step)
            if other == "parquet":
                pd.testing.assert_frame_equal(pd.read_parquet(second), pd.read_parquet(path), check_exact=True)
            elif other == "json":
                assert json.loads(second.read_text("utf-8")) == json.loads(path.read_text("utf-8"))
            assert second.read_bytes() == path.read_bytes(), (suffix, other)


@pytest.mark.parametrize("step", ["5 min", "10 min"])
def test_short_steps_too(step, tmp_path):
    write_prices(load_tariff("half-hours"), tmp_path / "a.csv", "2026-03-01", "2026-04-01", step)
    again = sheet_of(tmp_path / "a.csv", tmp_path, timezone="America/Toronto", currency="CAD")
    write_prices(again, tmp_path / "b.csv", "2026-03-01", "2026-04-01", step)
    assert (tmp_path / "b.csv").read_bytes() == (tmp_path / "a.csv").read_bytes()


def test_the_parts_are_for_reading_only(tmp_path):
    """A table with `--parts` is understood as well: its prices come back, its parts do not."""
    tariff = load_tariff("whole-bill")
    write_prices(tariff, tmp_path / "a.csv", *YEAR, "1 h", parts=True)
    again = sheet_of(tmp_path / "a.csv", tmp_path, timezone=tariff.timezone)
    for name in ("b", "c"):
        write_prices(tariff if name == "b" else again, tmp_path / f"{name}.csv", *YEAR, "1 h")
    assert (tmp_path / "b.csv").read_bytes() == (tmp_path / "c.csv").read_bytes()


def test_the_sheet_that_comes_out(save, tmp_path):
    """A short sheet that names the file, with what was assumed as comments."""
    draft = draft_prices(save(ROWS), timezone="Europe/Berlin", currency="EUR", folder=tmp_path, unit="kWh")
    assert [line for line in draft.text.splitlines() if line and not line.startswith("#")] == [
        "name: dated",
        "currency: EUR",
        "timezone: Europe/Berlin",
        "market: {file: dated.csv}",
    ]
    assert "# assumed: the file has a price for every time from 2026-01-14 00:00 to 2026-01-14 03:00;" in draft.text
    assert draft.tariff.prices("2026-01-14", "2026-01-14 03:00", "1 h").tolist() == [0.1, 0.2, 0.3]
    with pytest.raises(InputError, match=r"dated\.csv has no price for 2026-01-14 02:00 UTC"):
        draft.tariff.prices("2026-01-14", "2026-01-14 04:00", "1 h")


def test_the_file_is_found_from_the_folder_of_the_sheet(save, tmp_path):
    (tmp_path / "sheets").mkdir()
    path = save(ROWS)
    assert 'file: "../dated.csv"' in draft_prices(path, timezone="UTC", folder=tmp_path / "sheets").text
    assert sheet_of(path, tmp_path / "sheets", timezone="UTC").name == "dated"


# ------------------------------------------------------------------------------------------------ units


@pytest.mark.parametrize(
    ("column", "unit", "expected"),
    [
        ("price", None, PriceUnit()),
        ("price_per_kwh", None, PriceUnit()),
        ("price", "MWh", PriceUnit("MWh")),
        ("price", "cents", PriceUnit(cents=True)),
        ("price", "cents per MWh", PriceUnit("MWh", cents=True)),
        ("price_per_mwh", None, PriceUnit("MWh")),
        ("price_per_mwh", "MWh", PriceUnit("MWh")),
        ("EUR/MWh", None, PriceUnit("MWh", currency="EUR")),
        ("Price (ct/kWh)", None, PriceUnit(cents=True)),
    ],
)
def test_units_by_column_or_by_word(save, column, unit, expected, tmp_path):
    """93.5 in whatever unit is the price per kWh that it means."""
    rows = [f"start,{column}", "2026-01-14T00:00Z,93.5", "2026-01-14T01:00Z,-4"]
    path = save(rows)
    found = read_dated_prices(path, None if unit is None else parse_unit(unit))
    assert found.unit == expected
    tariff = sheet_of(path, tmp_path, timezone="UTC", unit=unit)
    scale = (0.001 if expected.per == "MWh" else 1) * (0.01 if expected.cents else 1)
    assert tariff.prices("2026-01-14", "2026-01-14 02:00", "1 h").tolist() == pytest.approx([93.5 * scale, -4 * scale])
    assert tariff.currency == (expected.currency or "USD")


def test_a_unit_that_nobody_said_is_noted(save):
    draft = draft_prices(save(ROWS), timezone="UTC")
    assert "unclear: the unit is stated nowhere, so it is USD per kWh; the highest price is 0.3" in map(
        str, draft.notes
    )
    assert "assumed: the currency is stated nowhere, so it is USD" in map(str, draft.notes)
    assert "unit" not in " ".join(map(str, draft_prices(save(ROWS), timezone="UTC", unit="USD/kWh").notes))


@pytest.mark.parametrize(
    ("names", "said"),
    [
        ("price_per_kwh,price ct", "the column `price_per_kwh`; `price ct` may have prices too, and is not read"),
        ("EUR/MWh a,EUR/MWh b", "the column `eur/mwh a`; `eur/mwh b` may have prices too, and is not read"),
        ("price,volume", ""),
        ("price,export_per_kwh", ""),
    ],
)
def test_of_several_columns_the_one_taken_is_named(save, names, said):
    """Of two columns that may have prices the first is taken, and that is noted; what chargeplan writes is clear."""
    rows = [f"start,{names}", *(f"2026-01-14T{hour:02d}:00+01:00,0.1,0.2" for hour in range(3))]
    draft = draft_prices(save(rows), timezone="Europe/Berlin", unit="MWh" if "MWh" in names else None)
    found = [note.text for note in draft.notes if "taken from" in note.text]
    assert found == ([f"the prices are taken from {said}"] if said else [])


def test_a_unit_that_contradicts_the_column(save):
    path = save(["start,price_per_mwh", *ROWS[1:]])
    with pytest.raises(
        FileError, match=r"dated\.csv:1:1: the column `price_per_mwh` is per MWh, and --unit says per kWh"
    ):
        draft_prices(path, timezone="UTC", unit="kWh")


# ------------------------------------------------------------------------------------------------ export


def dated(price_of, first, days, zone="Europe/Berlin"):
    """Rows of every hour of some local days, with what a kWh sold earns."""
    lines = ["start,price_per_kwh,export_per_kwh"]
    moment = pd.Timestamp(first, tz=zone)
    end = moment + pd.DateOffset(days=days)
    while moment < end:
        lines.append(f"{moment.isoformat()},0.3,{price_of(moment)}")
        moment = (moment.tz_convert("UTC") + timedelta(hours=1)).tz_convert(zone)
    return lines


@pytest.mark.parametrize(
    ("price_of", "key"),
    [
        (lambda moment: "0.05", "export"),
        (lambda moment: "0.05" if 11 <= moment.hour < 15 else "0.08", "export_components"),
        (lambda moment: f"0.{moment.month:02d}" if moment.weekday() < 5 else "0.2", "export_components"),
        (lambda moment: "0.05" if moment.strftime("%m-%d") < "06-15" else "0.04", "versions"),
    ],
)
def test_what_a_kwh_sold_earns(save, tmp_path, price_of, key):
    """One price, by months, weekends and hours, or from some date on: all come back hour by hour."""
    path = save(dated(price_of, "2026-01-01", 365))
    tariff = sheet_of(path, tmp_path, timezone="Europe/Berlin")
    assert getattr(tariff.sheet, key)
    found = tariff.export_prices(*YEAR, "1 h")
    assert [round(price, 9) for price in found] == [float(price_of(moment)) for moment in found.index]


def test_what_a_sheet_cannot_say_of_export_is_said(save):
    """Other prices every day and hour: left out, and said so on top of the sheet."""
    path = save(dated(lambda moment: f"0.{moment.day:02d}{moment.hour:02d}", "2026-01-01", 60))
    draft = draft_prices(path, timezone="Europe/Berlin")
    assert [note.kind for note in draft.notes].count("left out") == 1
    assert "# - left out: `export_per_kwh` follows neither months and hours nor a few dates" in draft.text
    assert draft.tariff.sheet.export is None


@pytest.mark.parametrize("text", ["", "x", "nan", "inf", "1e308", "1_0"])
def test_bad_numbers_of_export(save, text):
    rows = ["start,price_per_kwh,export_per_kwh", "2026-01-14T00:00Z,0.1,0.1", f"2026-01-14T01:00Z,0.1,{text}"]
    with pytest.raises(FileError, match=r"dated\.csv:3:23: `export_per_kwh` .*; write a number in every row"):
        read_dated_prices(save(rows))


# ------------------------------------------------------------------------------------------------ mistakes


def mistakes_of(path, **options):
    with pytest.raises(FileError) as caught:
        draft_prices(path, timezone="UTC", kind="dated", **options)
    return [(m.line, m.column, m.what) for m in caught.value.mistakes]


def test_everything_that_is_wrong_at_once(save):
    """A naive stamp, a word, a gap, an instant with two prices, a decimal comma: each with its line and column."""
    rows = [
        *["start,price", "2026-01-14T00:00Z,0.1", "2026-01-14T01:00,0.1", "2026-01-14T02:00Z,cheap"],
        *["2026-01-14T06:00Z,0.1", "2026-01-14T06:00Z,0.2", '2026-01-14T07:00Z,"0,3"', "2026-01-14T08:00Z,NaN"],
        *["2026-01-14T09:00Z,", "soon,0.1", "2026-01-14T10:00:30Z,1e308"],
    ]
    assert mistakes_of(save(rows)) == [
        (3, 1, "`2026-01-14T01:00` does not say its offset from UTC"),
        (4, 19, "`cheap` is not a price"),
        (5, 1, "3 h before this row have no price"),
        (6, 1, "this instant has another price on line 5"),
        (7, 19, "`0,3` has a decimal comma"),
        (8, 19, "`NaN` is not a price"),
        (9, 19, "the price is empty"),
        (10, 1, "`soon` is not a date with a time"),
        (11, 1, "`2026-01-14T10:00:30Z` is not a whole minute"),
    ]


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("", (1, 1, "the file holds no prices")),
        ("start,price\n", (1, 1, "the file holds no prices")),
        ("start;price\n2026-01-14T00:00Z;0,1\n", (1, 6, "the columns are separated by `;`")),
        ("start,note\n2026-01-14T00:00Z,a\n", (2, 19, "`a` is not a price")),
        ("start\n2026-01-14T00:00Z\n", (1, 1, "no column has the prices")),
        ("start,end,EUR/MWh\n2026-01-14T00:00Z,x,1\n", (1, 1, "the prices seem to be in the column `eur/mwh`")),
        ("start,price,price_per_mwh\n2026-01-14T00:00Z,1,2\n", (1, 13, "more than one column has prices by its name")),
        ("start,price\n2026-01-14T00:00Z,1\n2026-01-14T00:30Z,1\n2026-01-14T01:15Z,1\n", (4, 1, "15 min before this")),
    ],
)
def test_files_that_are_wrong_as_a_whole(save, rows, expected):
    line, column, what = expected
    found = mistakes_of(save(rows))[0]
    assert found[:2] == (line, column)
    assert found[2].startswith(what)


def test_very_many_mistakes_are_cut(save):
    """Twenty rows are named, and how many more there are."""
    found = mistakes_of(save(["start,price"] + [f"2026-01-14T{n:02d}:00,x" for n in range(24)] * 3))
    assert len(found) <= 22
    assert "more" in found[-1][2]


def test_prices_further_apart_than_an_hour(save, tmp_path):
    """Prices every four hours hold for four hours, which the sheet says; one that is missing is a gap."""
    rows = ["start,price", *(f"2026-01-{14 + n // 6}T{n % 6 * 4:02d}:00Z,{n}" for n in range(12))]
    path = save(rows)
    assert "resolution: 240 min" in draft_prices(path, timezone="UTC").text
    tariff = sheet_of(path, tmp_path, timezone="UTC")
    assert tariff.prices("2026-01-14", "2026-01-16", "4 h").tolist() == list(range(12))
    assert mistakes_of(save(rows[:5] + rows[6:])) == [(6, 1, "4 h before this row have no price")]


def test_what_the_file_does_not_say(save):
    path = save(ROWS)
    with pytest.raises(InputError, match="does not say its time zone; add one, as in --timezone America/Denver"):
        draft_prices(path)
    with pytest.raises(InputError, match="not a time zone"):
        draft_prices(path, timezone="Denver")
    with pytest.raises(InputError, match="not a currency"):
        draft_prices(path, timezone="UTC", currency="euros")
    with pytest.raises(InputError, match="dated prices have no weekends, holidays or boundaries"):
        draft_prices(path, timezone="UTC", holidays="US")
    with pytest.raises(FileError, match="cannot read the file: No such file"):
        draft_prices(path.with_name("none.csv"), timezone="UTC")


# ------------------------------------------------------------------------------------------------ Parquet


def test_parquet_of_other_programs(tmp_path):
    """An index of stamps as pandas keeps it, without any metadata; nulls and naive stamps have their row and cell."""
    index = pd.date_range("2026-01-14", periods=3, freq="h", tz="Europe/Berlin", name="time")
    path = tmp_path / "p.parquet"
    pd.DataFrame({"price_per_mwh": [93.5, -4.0, 0.0]}, index=index).to_parquet(path)
    tariff = sheet_of(path, tmp_path, timezone="Europe/Berlin", currency="EUR")
    assert tariff.prices("2026-01-14", "2026-01-14 03:00", "1 h").tolist() == pytest.approx([0.0935, -0.004, 0])
    pd.DataFrame({"start": index.tz_localize(None), "price": [1.0, None, 2.0]}).to_parquet(path)
    found = mistakes_of(path)
    assert [place[:2] for place in found] == [(1, 1), (2, 1), (3, 1)]
    more = pd.date_range("2026-01-14", periods=6, freq="h", tz="Europe/Berlin").delete(3)
    pd.DataFrame({"start": more, "price": 1.0}).to_parquet(path)
    assert mistakes_of(path) == [(4, 1, "1 h before this row have no price")]
    path.write_bytes(b"PAR1 and nothing else")
    assert "not Parquet that can be read" in mistakes_of(path)[0][2]


# ------------------------------------------------------------------------------------------------ any file


@given(
    prices=st.lists(st.decimals("-900", "900", places=6), min_size=2, max_size=40),
    step=st.sampled_from([5, 15, 30, 60]),
    first=st.datetimes(datetime(2026, 1, 1), datetime(2026, 12, 1)),
    shuffle=st.randoms(use_true_random=False),
)
def test_any_prices_come_back(tmp_path_factory, prices, step, first, shuffle):
    """Any prices at any time of the year, in any order of rows: each slot has its own again."""
    folder = tmp_path_factory.mktemp("dated")
    start = first.replace(hour=first.hour, minute=0, second=0, microsecond=0, tzinfo=UTC)
    rows = [f"{(start + timedelta(minutes=step * n)).isoformat()},{price}" for n, price in enumerate(prices)]
    shuffle.shuffle(rows)
    path = folder / "dated.csv"
    path.write_text("\n".join(["start,price", *rows]), encoding="utf-8")
    tariff = sheet_of(path, folder, timezone="America/Denver")
    found = tariff.prices(start, start + timedelta(minutes=step * len(prices)), step)
    assert found.tolist() == [float(price) for price in prices]


@given(st.binary(max_size=300) | st.text('0123456789,;:TZ.-+\n"startpice_kwhm ', max_size=400).map(str.encode))
def test_any_file(tmp_path_factory, content):
    """Whatever the file holds: a sheet that loads, or plain messages."""
    path = tmp_path_factory.mktemp("any") / "t.csv"
    path.write_bytes(content)
    for kind in (None, "dated"):
        assert message_of(path, kind).replace("\n", "").isprintable()


def message_of(path, kind):
    """What is said of a file, nothing if it makes a sheet, which then loads."""
    try:
        draft = draft_prices(path, timezone="UTC", kind=kind, folder=path.parent)
    except (FileError, InputError) as error:
        return str(error)
    assert read_tariff(draft.text, str(path.parent / "a.yaml")).timezone == "UTC"
    return ""


def test_which_kind_a_file_is(save, tmp_path):
    """Dates in the first column, or a column `start`, make prices dated; a table of hours has neither."""
    assert kind_of(str(save(ROWS))) == "dated"
    assert kind_of(str(save(ROWS[1:]))) == "dated"
    assert kind_of(str(save(["time;price", "14.01.2026 00:00;0,1"]))) == "dated"
    assert kind_of(str(save([",".join(["0.1"] * 24)] * 12))) == "hours"
    assert kind_of(str(save(["Jan," + ",".join(["0.1"] * 24)] * 12))) == "hours"
    write_prices(load_tariff("flat"), tmp_path / "a.parquet", "2026-01-01", "2026-01-02")
    assert kind_of(str(tmp_path / "a.parquet")) == "dated"


def test_json_names_the_round_trip(tmp_path):
    """The schema of a table names what it is, so that nobody takes it for a record of a rate."""
    write_prices(load_tariff("flat"), tmp_path / "a.json", "2026-01-01", "2026-01-02")
    assert json.loads((tmp_path / "a.json").read_text())["schema"] == "chargeplan.price-table/1"
