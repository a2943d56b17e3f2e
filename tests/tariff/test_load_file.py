"""Interval energy from files: read as pandas reads it, or refused with the place of every fault."""

import sys
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from chargeplan.errors import FileError, InputError
from chargeplan.tariff import load_table
from chargeplan.tariff.load_file import MAX_MISTAKES, read_load

DENVER = "America/Denver"
FUZZ = {"deadline": None, "suppress_health_check": [HealthCheck.function_scoped_fixture, HealthCheck.too_slow]}


@pytest.fixture
def write(tmp_path):
    """Put lines into a file, named load.csv unless said otherwise, and give its path."""

    def write(*lines, name="load.csv", end="\n"):
        path = tmp_path / name
        path.write_bytes((end.join(lines) + end).encode())
        return path

    return write


def mistakes(path, **options):
    """What is wrong with a file, each without the name of the file, which is held to be there."""
    with pytest.raises(FileError) as caught:
        read_load(path, DENVER, **options)
    assert all(mistake.file == str(path) for mistake in caught.value.mistakes)
    return [str(mistake).removeprefix(f"{path}:") for mistake in caught.value.mistakes]


def hours(count, first="2026-07-01T00:00-06:00", step=timedelta(hours=1)):
    """Stamps with the offset of Denver, by adding up in UTC (pandas is not asked)."""
    moment = datetime.fromisoformat(first).astimezone(UTC)
    return [(moment + number * step).astimezone(ZoneInfo(DENVER)).isoformat() for number in range(count)]


# ------------------------------------------------------------------------------------------------ what is read


def test_a_file_as_pandas_reads_it(write):
    """The same instants and numbers as `pandas.read_csv` and `pandas.to_datetime` give, with an index in the zone."""
    stamps, kwh = hours(50, "2026-10-31T12:00-06:00"), [f"{number / 8}" for number in range(50)]
    path = write("start,kwh", *map(",".join, zip(stamps, kwh, strict=True)))
    load = read_load(path, DENVER)
    reference = pd.read_csv(path)
    assert load.columns.tolist() == ["kwh"]
    assert load["kwh"].tolist() == reference["kwh"].tolist()
    assert (load.index == pd.to_datetime(reference["start"], utc=True)).all()
    assert str(load.index.tz) == DENVER
    assert load.index.name == "start"


@pytest.mark.parametrize(
    ("header", "row", "expected"),
    [
        ("start,kwh", "0.5", {"kwh": 0.5}),
        ("start,import_kwh", "0.5", {"kwh": 0.5}),
        ("start,Import (kWh)", "0.5", {"kwh": 0.5}),
        ("start,wh", "500", {"kwh": 0.5}),
        ("start,kw", "2", {"kwh": 0.5}),
        ("start,kwh,export_kwh", "0.5,0.25", {"kwh": 0.5, "export_kwh": 0.25}),
        ("start,kw,export_wh", "2,250", {"kwh": 0.5, "export_kwh": 0.25}),
        ("start,export_kw,import_wh", "1,500", {"kwh": 0.5, "export_kwh": 0.25}),
        ("start,kwh,quality,temperature_c", "0.5,A,-3", {"kwh": 0.5}),
    ],
)
def test_columns_and_units(write, header, row, expected):
    """1 kWh is 1000 Wh, and 1 kW held for a quarter of an hour is 0.25 kWh (by the definition of the units, SI)."""
    stamps = hours(2, step=timedelta(minutes=15))
    load = read_load(write(header, *(f"{stamp},{row}" for stamp in stamps)), DENVER)
    assert load.to_dict("list") == {name: [value, value] for name, value in expected.items()}


@pytest.mark.parametrize("end", ["\n", "\r\n"])
@pytest.mark.parametrize("separator", [",", ";", "\t", ", "])
@pytest.mark.parametrize("quote", ["", '"'])
def test_forms_of_csv(write, end, separator, quote):
    """Quotes and both line ends of RFC 4180, the other usual separators, blank lines, and a byte order mark."""
    rows = [("start", "kwh"), *((stamp, "1e-1") for stamp in hours(3))]
    lines = [separator.join(f"{quote}{cell}{quote}" for cell in row) for row in rows]
    path = write("\ufeff" + lines[0], "", *lines[1:], end=end)
    assert read_load(path, DENVER)["kwh"].tolist() == [0.1, 0.1, 0.1]


def test_the_empty_cells_of_a_spreadsheet_are_left_out(write):
    """Trailing separators and rows of nothing but separators are no cells."""
    first, second = hours(2)
    assert len(read_load(write("start,kwh", f"{first},1,,", f"{second},1", ",,", ","), DENVER)) == 2


@pytest.mark.parametrize("text", ["2026-07-01T06:00Z", "2026-07-01 00:00:00-06:00", "20260701T000000-0600"])
def test_forms_of_a_stamp(write, text):
    """Extended and basic forms of ISO 8601, all the same instant."""
    load = read_load(write("start,kwh", f"{text},1", f"{hours(2)[1]},1"), DENVER)
    assert load.index[0] == datetime(2026, 7, 1, 6, tzinfo=UTC)


@pytest.mark.parametrize("kind", ["column", "index", "text"])
def test_parquet(tmp_path, kind):
    """What pandas writes as Parquet is read back; the stamps as a column, as the index, or as text."""
    pytest.importorskip("pyarrow")
    index = pd.date_range("2026-03-08", periods=23 * 4, freq="15min", tz="UTC", name="start").tz_convert(DENVER)
    frame = pd.DataFrame({"kwh": np.arange(92) / 8, "export_kwh": 0.0, "note": "x"}, index=index)
    written = frame if kind == "index" else frame.reset_index()
    if kind == "text":
        written["start"] = written["start"].map(lambda moment: moment.isoformat())
    written.to_parquet(tmp_path / "load.parquet")
    load = read_load(tmp_path / "load.parquet", DENVER)
    assert (load.index == index).all()
    assert load["kwh"].tolist() == frame["kwh"].tolist()
    assert load["export_kwh"].tolist() == [0.0] * 92


# ------------------------------------------------------------------------------------------------ local clock


@pytest.mark.parametrize("minutes", [15, 30, 60])
@pytest.mark.parametrize(("day", "count"), [("2026-03-08", 23), ("2026-11-01", 25)])
def test_stamps_of_the_local_clock(write, day, count, minutes):
    """Days of a clock change without offsets: 23 and 25 hours long (US Energy Policy Act of 2005, sec. 110)."""
    first = datetime.fromisoformat(day).replace(tzinfo=ZoneInfo(DENVER)).isoformat()
    stamps = hours(count * 60 // minutes, first, timedelta(minutes=minutes))
    path = write("start,kwh", *(f"{stamp[:19]},1" for stamp in stamps))
    load = read_load(path, DENVER, naive_zone=DENVER)
    assert [moment.isoformat() for moment in load.index] == stamps
    assert len(load) == count * 60 / minutes


def test_stamps_of_a_clock_that_never_changes(write):
    """A meter on standard time all year: the same files, with a zone of fixed offset."""
    stamps = [moment.replace("T", " ") for moment in ("2026-07-01T23:00", "2026-07-02T00:00")]
    load = read_load(write("start,kwh", *(f"{stamp},1" for stamp in stamps)), DENVER, naive_zone="Etc/GMT+7")
    assert load.index[1].isoformat() == "2026-07-02T01:00:00-06:00"


def test_offsets_are_kept_beside_local_stamps(write):
    """A stamp with an offset means what it says, wherever the others are taken to be."""
    path = write("start,kwh", "2026-07-01T00:00,1", "2026-07-01T07:00Z,1")
    assert read_load(path, DENVER, naive_zone=DENVER).index[1].hour == 1


def test_local_stamps_are_refused_unless_asked_for(write):
    """Without an offset nobody knows the instant, and the message says how to say."""
    found = mistakes(write("start,kwh", *(f"{stamp[:16]},1" for stamp in hours(40))))
    assert len(found) == 3
    assert found[0].startswith("2:1: 2026-07-01T00:00 has no offset from UTC; write for example ")
    assert found[0].endswith("(--stamps local)")
    assert "4:1: 2026-07-01T02:00 has no offset from UTC (and so 37 more rows); " in found[2]


def test_local_stamps_that_do_not_say_which(write):
    """An hour shown twice but there once, and one that is skipped, are named; nothing is guessed."""
    rows = [f"2026-11-01 {hour},1" for hour in ("00:00", "01:00", "02:00", "03:00")]
    assert mistakes(write("start,kwh", *rows), naive_zone=DENVER) == [
        "3:1: 2026-11-01 01:00 comes twice that day, when the clock goes back; here it is once; "
        "give the stamps with their offsets"
    ]
    rows = [f"2026-03-08 {hour},1" for hour in ("00:00", "01:00", "02:00", "03:00", "04:00")]
    assert mistakes(write("start,kwh", *rows), naive_zone=DENVER) == [
        "4:1: 2026-03-08 02:00 is skipped that day, when the clock goes forward; give the stamps with their offsets"
    ]
    mixed = ["00:30", "01:00", "01:00", "01:30", "01:30", "02:00"]
    found = mistakes(write("start,kwh", *(f"2026-11-01 {hour},1" for hour in mixed)), naive_zone=DENVER)
    assert "5:1: the row lies 30 min before the row above it; put the rows in order of time" in found
    thrice = ["01:00", "01:00", "01:00", "02:00"]
    assert mistakes(write("start,kwh", *(f"2026-11-01 {hour},1" for hour in thrice)), naive_zone=DENVER)


def test_a_zone_that_is_none(write):
    """A misspelt zone is named before the file is looked at."""
    with pytest.raises(InputError, match="is not a time zone"):
        read_load(write("start,kwh"), DENVER, naive_zone="locale")
    with pytest.raises(InputError, match="did you mean"):
        read_load(write("start,kwh"), "America/Denvr")


# ------------------------------------------------------------------------------------------------ what is refused


def rows_with(**changes):
    """Lines of a good file of ten hours, with some rows (from 0) written otherwise; None leaves one out."""
    lines = [f"{stamp},1" for stamp in hours(10)]
    changed = [changes.get(f"row{number}", line) for number, line in enumerate(lines)]
    return ["start,kwh", *(line for line in changed if line is not None)]


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        (
            rows_with(row4=None),
            "6:1: between the row above and this one 1 interval is missing; rows follow every 1 h; fill the gap",
        ),
        (
            rows_with(row4=None, row5=None),
            "6:1: between the row above and this one 2 intervals are missing; rows follow every 1 h; fill the gap",
        ),
        (
            rows_with(row9="2026-07-01T09:20-06:00,1"),
            "11:1: the row comes 80 min after the row above it; rows follow every 1 h; make the intervals equal",
        ),
        (rows_with(row0="2026-07-01T01:00-06:00,1"), "3:1: the row has the time of the row above it; keep one of them"),
        (
            rows_with(row9="2026-07-01T00:00-06:00,1"),
            "11:1: the row lies 8 h before the row above it; put the rows in order of time",
        ),
        (
            rows_with(row3="2026-07-01T03:00-06:00,-0.5"),
            "5:24: `kwh` -0.5 is negative; write 0 or more; what is sold goes into `export_kwh`",
        ),
        (
            rows_with(row3="2026-07-01T03:00-06:00,"),
            "5:24: `kwh` is missing; a number is needed in every row; 0 if there was none",
        ),
        (
            rows_with(row3="2026-07-01T03:00-06:00,NaN"),
            "5:24: `kwh` NaN is missing; a number is needed in every row; 0 if there was none",
        ),
        *(
            (
                rows_with(row3=f"2026-07-01T03:00-06:00,{text}"),
                f"5:24: `kwh` {text} is not a number; write digits with at most one dot, like 0.25",
            )
            for text in ("1_000", "inf", "1e999", "one", "1.2.3", "0x10")
        ),
        (rows_with(row3="2026-07-01T03:00-06:00,1e10"), "5:24: `kwh` 1e10 is too large; is the unit right?"),
        *(
            (
                rows_with(row3=f"{text},1"),
                f"5:1: `{text}` is not a date and time; write for example 2026-03-08T18:30-06:00",
            )
            for text in ("1 July 2026 03:00", "07/01/2026 03:00", "2026-07-01T25:00-06:00", "2026-02-30T03:00-06:00")
        ),
        (
            rows_with(row3="2026-07-01T03:00:30-06:00,1"),
            "5:1: 2026-07-01T03:00:30-06:00 is not a whole minute; write for example 2026-03-08T18:30-06:00",
        ),
        (
            rows_with(row3="1926-07-01T03:00-06:00,1"),
            "5:1: the time lies outside the years 1971 to 2199; write for example 2026-03-08T18:30-06:00",
        ),
        (
            rows_with(row3="2026-07-01T03:00-06:00,0,5"),
            "5:1: the row has 3 cells, but there are 2 columns; "
            "give each row a cell for every column, and write decimals with a dot",
        ),
    ],
)
def test_one_fault_one_message(write, lines, expected):
    """A good file with one fault in it: exactly this message, at the line and column where the fault was put."""
    assert mistakes(write(*lines)) == [expected]


@pytest.mark.parametrize(
    ("header", "expected"),
    [
        ("start,energy", "there is no column `kwh`; name the energy bought `kwh`, `wh`, or `kw` for the mean power"),
        ("time,kwh", "there is no column `start`; name the columns in the first line, like `start,kwh`"),
        ("start,kwh,exprot_kwh", "the column `exprot_kwh` is not known; did you mean `export_kwh`?"),
        ("start,kwh,solar_mwh", "the column `solar_mwh` is not known; name it `kwh` or `export_kwh`, or take it away"),
        ("start,kwh,import_kw", "`kwh` and `import_kw` mean the same; keep one of them"),
        ("start,kwh,kwh", "there are two columns `kwh`; keep one of them"),
    ],
)
def test_columns_that_are_wrong(write, header, expected):
    """A column of energy that is misspelt would change the bill in silence; so it is refused."""
    cells = "1" + ",1" * (header.count(",") - 1)
    assert mistakes(write(header, *(f"{stamp},{cells}" for stamp in hours(3)))) == [f"1:1: {expected}"]


def test_all_mistakes_at_once(write):
    """Faults of many kinds are told together, in the order of the lines, and never more than twenty."""
    lines = rows_with(row1="x,1", row3="2026-07-01T03:00-06:00,-1", row5=None, row7="2026-07-01T07:00-06:00,?")
    assert [text.split(":")[0] for text in mistakes(write(*lines))] == ["3", "5", "7", "8"]
    many = [f"{stamp},{kwh}" for stamp, kwh in zip(hours(90), ["", "-1", "x"] * 30, strict=True)]
    shuffled = [line for number, line in enumerate(many) if number % 7] + [f"{number},1" for number in range(9)]
    shuffled += [f"{stamp[:16]},1" for stamp in hours(5)] + [f"{hours(3)[2]},1"] * 4 + ["1901-01-01T00:00Z,1"] * 4
    found = mistakes(write("start,kwh", *shuffled))
    assert 15 <= len(found) <= MAX_MISTAKES
    assert [int(text.split(":")[0]) for text in found] == sorted(int(text.split(":")[0]) for text in found)


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "1:1: the file has no rows; write a line `start,kwh` and below it one row per interval"),
        (b"start,kwh\n", "1:1: the file has no rows; write a line `start,kwh` and below it one row per interval"),
        (
            b"start,kwh\n2026-07-01T00:00-06:00,1\n",
            "2:1: no two rows follow one another in time, so the length of the intervals is unknown; "
            "write at least two rows, in order of time",
        ),
        (
            b"start,kwh\n2026-07-01T00:00Z,1\n2026-08-01T00:00Z,1\n2026-09-01T00:00Z,1\n",
            "3:1: the rows are 744 h apart; "
            "write one row per interval, all of a length that divides a day, like 15 min or 1 h",
        ),
        ("start,kwh\n".encode("utf-16"), "1:1: the file is not UTF-8 text; save it as CSV in UTF-8"),
        (b"start,kwh\n2026-07-01T00:00-06:00,1\n\xff", "3:1: the file is not UTF-8 text; save it as CSV in UTF-8"),
    ],
)
def test_files_without_a_load(tmp_path, content, expected):
    """Nothing, too little, monthly values, another encoding."""
    path = tmp_path / "load.csv"
    path.write_bytes(content)
    assert mistakes(path) == [expected]


def test_a_cell_without_end(write):
    """A quote that is never closed swallows the rest; beyond what the reader takes, the line is named."""
    assert mistakes(write("start,kwh", '"' + "x" * 200_000))[0].startswith("2:1: the line cannot be read: field larger")


def test_what_cannot_be_opened(tmp_path):
    """A missing file and a folder end in a message, not a traceback."""
    assert mistakes(tmp_path / "none.csv") == ["1:1: cannot read the file: No such file or directory; check the name"]
    assert mistakes(tmp_path) == ["1:1: this is not a file; name a CSV or Parquet file"]


def test_files_that_are_too_large(write, tmp_path, monkeypatch):
    """More than 50 MB is refused before anything is made of it; of Parquet, too many rows."""
    assert load_table.MAX_BYTES == 50_000_000
    monkeypatch.setattr(load_table, "MAX_BYTES", 100)
    assert mistakes(write(*rows_with())) == ["1:1: the file is larger than 0 MB; cut it into several"]
    monkeypatch.undo()
    pytest.importorskip("pyarrow")
    pd.DataFrame({"start": hours(9), "kwh": 1.0}).to_parquet(tmp_path / "load.pq")
    monkeypatch.setattr(load_table, "MAX_ROWS", 8)
    assert mistakes(tmp_path / "load.pq") == ["1:1: the file has more than 8 rows; cut it into several"]


def test_parquet_that_is_none(tmp_path, monkeypatch):
    """Text with the name of a Parquet file; rows named by their number; and no pyarrow to read it with."""
    pytest.importorskip("pyarrow")
    (tmp_path / "text.parquet").write_text("start,kwh\n")
    assert mistakes(tmp_path / "text.parquet")[0].startswith("1:1: the file is not Parquet that can be read: ")
    path = tmp_path / "load.parquet"
    pd.DataFrame({"start": hours(3), "kwh": [1.0, float("nan"), -1.0]}).to_parquet(path)
    assert [text.split(";")[0] for text in mistakes(path)] == [
        "2:2: `kwh` nan is missing",
        "3:2: `kwh` -1.0 is negative",
    ]
    pd.DataFrame({"start": [], "kwh": []}).to_parquet(path)
    assert mistakes(path)[0].startswith("1:1: the file has no rows")
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    assert mistakes(path)[0].startswith("1:1: reading Parquet needs pyarrow; install ")


def test_no_control_characters_in_messages(write):
    """What a cell holds is quoted without its terminal codes."""
    found = mistakes(write("start,kwh\x1b[31m", "\x1b[31m,\x07"), naive_zone=DENVER)
    found += mistakes(write("start,kwh", "\x1b[31m,\x1bred", "\u202e,1"))
    assert all(text.isprintable() for text in found)


# ------------------------------------------------------------------------------------------------ promises


@settings(max_examples=60, **FUZZ)
@given(
    st.datetimes(datetime(1975, 1, 1), datetime(2036, 1, 1)),
    st.sampled_from([15, 30, 60]),
    st.sampled_from([DENVER, "Europe/Dublin", "Australia/Lord_Howe", "America/Santiago", "Asia/Kolkata"]),
    st.lists(st.integers(0, 10**6), min_size=2, max_size=60),
)
@example(datetime(2026, 10, 31, 23), 30, DENVER, list(range(60)))
@example(datetime(2026, 4, 4, 12), 30, "Australia/Lord_Howe", list(range(60)))
@example(datetime(2026, 10, 24, 12), 60, "Europe/Dublin", list(range(48)))
def test_what_is_written_is_read(tmp_path, first, minutes, name, wh):
    """Any load of a real time zone is read back to the instant and watt-hour: with offsets, and by the wall clock."""
    place = ZoneInfo(name)
    start = first.replace(minute=0, second=0, microsecond=0, tzinfo=UTC)
    stamps = [(start + number * timedelta(minutes=minutes)).astimezone(place) for number in range(len(wh))]
    path = tmp_path / "load.csv"
    path.write_text("start,wh\n" + "".join(f"{at.isoformat()},{x}\n" for at, x in zip(stamps, wh, strict=True)))
    load = read_load(path, name)
    assert [moment.to_pydatetime().timestamp() for moment in load.index] == [at.timestamp() for at in stamps]
    assert [round(kwh * 1000) for kwh in load["kwh"]] == wh
    local = [at.replace(tzinfo=None) for at in stamps]
    # Of an hour that is shown twice, the file must have both.
    at_twice = [at for at in stamps if at.replace(fold=0).utcoffset() > at.replace(fold=1).utcoffset()]
    if all(local.count(at.replace(tzinfo=None)) == 2 for at in at_twice):
        path.write_text("start,wh\n" + "".join(f"{at},{x}\n" for at, x in zip(local, wh, strict=True)))
        assert read_load(path, name, naive_zone=name).equals(load)


GOOD = "\n".join(rows_with()).encode()
PIECES = st.sampled_from(
    [b"\n", b"\r", b",", b";", b'"', b"\x00", b"\xff", b"-", b"nan", b"Z", b"T", b"0001-01-01", b"9999-12-31T23:59"]
)


@settings(max_examples=300, **FUZZ)
@given(st.data())
def test_any_content(tmp_path, data):
    """Random bytes, or a good file with some bytes changed: a load, or mistakes with a place in the file."""
    content = data.draw(st.just(GOOD) | st.just(GOOD) | st.binary(max_size=120))
    for _ in range(data.draw(st.integers(0, 4))):
        at, cut = data.draw(st.integers(0, len(content))), data.draw(st.integers(0, 8))
        content = content[:at] + data.draw(PIECES | st.binary(max_size=3)) + content[at + cut :]
    path = tmp_path / f"load.{data.draw(st.sampled_from(['csv', 'csv', 'csv', 'parquet']))}"
    path.write_bytes(content)
    try:
        load = read_load(path, DENVER, naive_zone=data.draw(st.sampled_from([None, DENVER])))
    except FileError as error:
        found = error.mistakes
    else:
        assert (load["kwh"] >= 0).all()
        steps = np.diff(load.index.tz_convert("UTC").as_unit("s").asi8)
        assert steps.min() == steps.max() > 0
        return
    assert 1 <= len(found) <= MAX_MISTAKES
    for mistake in found:
        assert str(mistake).isprintable()
        assert 1 <= mistake.line <= content.count(b"\n") + content.count(b"\r") + 1


@settings(max_examples=200, **FUZZ)
@given(
    st.lists(
        st.tuples(
            st.datetimes().map(str) | st.datetimes(timezones=st.timezones()).map(str) | st.text(max_size=8),
            st.floats().map(str) | st.text(max_size=5),
        ),
        min_size=1,
        max_size=5,
    ),
    st.sampled_from([None, DENVER, "Africa/Monrovia", "Pacific/Apia"]),
)
@example([("0001-01-01T00:00+23:59", "1"), ("9999-12-31T23:59-23:59", "1")], None)
def test_any_rows(tmp_path, rows, naive_zone):
    """Any dates, offsets and numbers at all: a load or a message, never a traceback."""
    path = tmp_path / "load.csv"
    path.write_bytes("\n".join(["start,kwh", *(f"{at},{kwh}" for at, kwh in rows)]).encode("utf-8", "surrogatepass"))
    found = ()
    try:
        read_load(path, DENVER, naive_zone=naive_zone)
    except FileError as error:
        found = error.mistakes
    assert all(str(mistake).isprintable() for mistake in found)
