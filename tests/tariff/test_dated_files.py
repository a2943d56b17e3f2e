"""Files beside a rate sheet: called days, and market prices in CSV and Parquet; and what is said of bad ones."""

import importlib
from datetime import UTC, date, datetime, timedelta, timezone
from decimal import Decimal

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.errors import FileError, InputError
from chargeplan.tariff.dated_files import beside, read_called_days, read_called_rows, read_market_prices

STAMP = "write for example 2026-01-14T06:00+01:00 or 2026-01-14T05:00Z"
COMMAS = "write commas between them and points in numbers"
DATE = "write for example 2026-01-14"


def utc_s(text):
    return int(datetime.fromisoformat(text).timestamp())


@pytest.fixture
def write(tmp_path, monkeypatch):
    """Write a file into an empty folder and stand in it, so that messages have its bare name."""
    monkeypatch.chdir(tmp_path)

    def written(content, name="a.csv"):
        (tmp_path / name).write_bytes(content if isinstance(content, bytes) else content.encode())
        return name

    return written


def messages(reader, *arguments, **options):
    with pytest.raises(FileError) as caught:
        reader(*arguments, **options)
    return str(caught.value).splitlines()


# Where the file is


def test_beside_starts_from_the_folder_of_the_sheet(tmp_path, monkeypatch):
    (tmp_path / "data").mkdir()
    for place in ("called.csv", "data/called.csv"):
        (tmp_path / place).write_text("date\n")
    assert beside(tmp_path / "sheet.yaml", "called.csv") == tmp_path / "called.csv"
    assert beside(str(tmp_path / "sheet.yaml"), "data/called.csv").samefile(tmp_path / "data" / "called.csv")
    assert beside(tmp_path / "data" / "sheet.yaml", "../called.csv").samefile(tmp_path / "called.csv")
    assert beside("elsewhere/sheet.yaml", str(tmp_path / "called.csv")) == tmp_path / "called.csv"
    monkeypatch.chdir(tmp_path / "data")
    assert beside("sheet.yaml", "called.csv").samefile(tmp_path / "data" / "called.csv")


@pytest.mark.parametrize("name", ["no.csv", "folder", "", "x\0y", "x\ny", "\x1b[31m"])
def test_beside_refuses_what_is_not_a_file(tmp_path, monkeypatch, name):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "folder").mkdir()
    shown = {"x\0y": "x y", "x\ny": "x y", "\x1b[31m": "[31m"}.get(name, name)
    with pytest.raises(InputError) as caught:
        beside("sheet.yaml", name)
    assert str(caught.value) == (
        f"there is no file `{shown}` in the folder of the sheet; put it there, or write the way to it from that folder"
    )


# Called days


@pytest.mark.parametrize(
    "text",
    [
        "date,kind\n2026-01-14,critical\n2026-02-03,\n",
        "\ufeffdate,kind\r\n2026-01-14,critical\r\n2026-02-03,\r\n",
        "Kind , DATE\ncritical, 2026-01-14\n\n ,2026-02-03",
        'date,note,kind\n2026-01-14,"cold, windy",critical\n"2026-02-03",, ""\n',
        "date,kind\n2026-01-14,critical\n2026-02-03,\n2026-01-14,critical\n",
        "\n\ndate,kind\r2026-01-14,critical\r2026-02-03,\r",
    ],
)
def test_called_days(write, text):
    assert read_called_days(write(text)) == [(date(2026, 1, 14), "critical"), (date(2026, 2, 3), "")]


def test_plain_list_of_called_days(write):
    assert read_called_days(write("2026-02-03\n 2026-01-14 \n")) == [(date(2026, 2, 3), ""), (date(2026, 1, 14), "")]


def test_no_day_was_called_yet(write):
    assert read_called_days(write("date,kind\n")) == []


def test_one_day_may_be_of_two_kinds(write):
    """Which of them counts is for the sheet to say."""
    rows = read_called_days(write("date,kind\n2026-01-14,critical\n2026-01-14,high\n"))
    assert [kind for _, kind in rows] == ["critical", "high"]


def test_called_days_know_their_lines(write):
    rows = read_called_rows(write("date\n\n2026-01-14\n2026-01-15\n2026-01-14\n"))
    assert [(row.day.day, row.line, row.column) for row in rows] == [(14, 3, 1), (15, 4, 1)]
    rows = read_called_rows(write("kind,date\n,2026-01-14\ncritical,2026-01-15\n"))
    assert [(row.line, row.column) for row in rows] == [(2, 2), (3, 10)]


def test_every_bad_row_of_called_days_is_named(write):
    text = (
        "kind,date\ncritical,14.01.2026\ncritical,2026-02-30\n,\ncritical\ncritical,2026-01-14,x\n"
        'critical,2026-01-14\n"critical,2026-01-15\ncritical,2026-01-16T00:00\ncritical,1850-01-01\n'
        "critical,２０２６-01-14\ncritical,20260114\n"
    )
    counts = "separate them by commas, and name them in the first line: `date,kind`"
    assert messages(read_called_days, write(text)) == [
        f"a.csv:2:10: `14.01.2026` is not a date; {DATE}",
        f"a.csv:3:10: `2026-02-30` is not a date; {DATE}",
        f"a.csv:4:2: the date is empty; {DATE}",
        f"a.csv:5:1: the number of columns is 1, not 2; {counts}",
        f"a.csv:6:1: the number of columns is 3, not 2; {counts}",
        "a.csv:8:1: the quotes on this line are not in pairs; close each one, or remove them",
        f"a.csv:9:10: `2026-01-16T00:00` is not a date; {DATE}",
        "a.csv:10:10: the year 1850 is out of range; write a year from 1971 to 2199",
        f"a.csv:11:10: `２０２６-01-14` is not a date; {DATE}",
        f"a.csv:12:10: `20260114` is not a date; {DATE}",
    ]


def test_hundreds_of_bad_called_days_are_all_named(write):
    assert len(messages(read_called_days, write("date\n" + "soon\n" * 300))) == 300


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "1:1: the file is empty; if no day was called yet, write `date` in its first line"),
        (" \n\n", "1:1: the file is empty; if no day was called yet, write `date` in its first line"),
        ("day\n2026-01-14\n", "1:1: no column is called `date`; begin with the line `date` or `date,kind`"),
        ("\nday\n2026-01-14\n", "2:1: no column is called `date`; begin with the line `date` or `date,kind`"),
        ("2026-01-14\nsoon\n", f"2:1: `soon` is not a date; {DATE}"),
        ("14.1.2026\n2026-01-14\n", f"1:1: `14.1.2026` is not a date; {DATE}"),
        (
            "2026-01-14,critical\n",
            "1:1: the number of columns is 2, not 1; "
            "separate them by commas, and name them in the first line: `date,kind`",
        ),
        ("date;kind\n2026-01-14;critical\n", f"1:5: the columns are separated by `;`; {COMMAS}"),
        ("date\tkind\n2026-01-14\tcritical\n", f"1:5: the columns are separated by tabs; {COMMAS}"),
        (b"date,kind\n2026-01-14,\xe9t\xe9\n", "2:1: the file is not UTF-8 text; save it as UTF-8"),
        ("date\n\x1b[2J\x00\n", f"2:1: `[2J` is not a date; {DATE}"),
        ("date\n" + "9" * 90 + "\n", f"2:1: `{'9' * 37}...` is not a date; {DATE}"),
        (
            "date\n" + "2026-01-14\n" * 20_001,
            "20002:1: the file has more than 20,000 rows; keep the years that are needed",
        ),
        ("date\n" + " " * 1_000_000, "1:1: the file is larger than 1 MB; keep the years that are needed"),
    ],
)
def test_called_days_that_cannot_be_read(write, text, message):
    assert messages(read_called_days, write(text)) == [f"a.csv:{message}"]


def test_as_many_called_days_as_may_be(write):
    days = [date(1971, 1, 1) + timedelta(days=number) for number in range(20_000)]
    assert read_called_days(write("date\n" + "\n".join(map(str, days)) + "\n")) == [(day, "") for day in days]


@pytest.mark.parametrize("reader", [read_called_days, read_market_prices])
def test_files_that_are_none(tmp_path, monkeypatch, reader):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "folder").mkdir()
    assert messages(reader, "folder") == ["folder:1:1: this is not a file; name a file"]
    (message,) = messages(reader, "no.csv")
    assert message.startswith("no.csv:1:1: cannot read the file: ")


# Market prices in CSV


PRICES = "2026-01-14T00:00+01:00,0.25\n2026-01-14T01:00+01:00,-0.5\n"


@pytest.mark.parametrize(
    "text",
    [
        PRICES,
        "start,price\n" + PRICES,
        "\ufeffstart,price\r\n" + PRICES.replace("\n", "\r\n"),
        "hour,EUR\n" + PRICES,
        "price_per_kwh,area,Start\n0.25,north,2026-01-13T23:00Z\n-0.5,north,2026-01-14 00:00:00+00:00\n",
        "start,end,price_per_mwh\n2026-01-13 23:00Z,,250\n2026-01-14 00:00Z,,-5e2\n",
        "start,price\n2026-01-13T20:00-04:00,-.5\n2026-01-13T23:00Z,+.25\n",
        'start,price\n"2026-01-13T23:00Z", "0.25"\n\n2026-01-14T00:00Z,-0.50\n2026-01-14T00:00Z,-0.5\n',
        "2026-01-14T04:30+05:30,0.25\n2026-01-14T05:30+05:30,-0.5",
    ],
)
def test_market_prices(write, text):
    prices = read_market_prices(write(text))
    assert prices.start_s.tolist() == [utc_s("2026-01-13T23:00Z"), utc_s("2026-01-14T00:00Z")]
    assert prices.end_s.tolist() == [utc_s("2026-01-14T00:00Z"), utc_s("2026-01-14T01:00Z")]
    assert prices.price.tolist() == [0.25, -0.5]


def test_prices_per_mwh(write):
    """The sheet may say what the prices are for, or the name of their column; both must agree."""
    plain, named = write(PRICES), write("start,price_per_mwh\n" + PRICES, "b.csv")
    assert read_market_prices(plain, per="MWh").price.tolist() == [0.00025, -0.0005]
    assert read_market_prices(named, per="MWh").price.tolist() == [0.00025, -0.0005]
    assert read_market_prices(named).price.tolist() == [0.00025, -0.0005]
    assert read_market_prices(plain, per="kWh").price.tolist() == [0.25, -0.5]
    assert messages(read_market_prices, named, per="kWh") == [
        "b.csv:1:7: the column is called `price_per_mwh`, and the sheet says per kWh; correct one of the two"
    ]
    with pytest.raises(InputError, match="prices per `GWh` cannot be read; write kWh or MWh"):
        read_market_prices(plain, per="GWh")


def test_the_resolution_is_handed_on(write):
    file = write("2026-01-14T00:00Z,1\n2026-01-14T00:15Z,2\n2026-01-14T01:00Z,3\n")
    assert read_market_prices(file).spans().shape == (2, 2)
    assert read_market_prices(file, resolution_s=3600).spans().shape == (1, 2)


@pytest.mark.parametrize(("day", "hours"), [("2026-03-29", 23), ("2026-10-25", 25)])
def test_a_day_of_the_clock_change_with_its_offsets(write, day, hours):
    """Stamps of Central Europe: 02:00 is left out in spring, and there twice in autumn, told apart by the offset.

    Directive 2000/84/EC (from memory): the clock changes at 01:00 UTC on the last Sundays of March and October.
    """
    before, after = ("+01:00", "+02:00") if hours == 23 else ("+02:00", "+01:00")
    early = range(2) if hours == 23 else range(3)
    late = range(3, 24) if hours == 23 else range(2, 24)
    stamps = [f"{day}T{hour:02}:00{before}" for hour in early] + [f"{day}T{hour:02}:00{after}" for hour in late]
    prices = read_market_prices(write("".join(f"{stamp},{number}\n" for number, stamp in enumerate(stamps))))
    assert len(prices) == hours
    assert prices.price.tolist() == list(range(hours))
    assert np.diff(prices.spans()).tolist() == [[3600 * hours]]


def test_bad_rows_of_market_prices_are_named(write):
    text = (
        "start,price\n2026-01-14T00:00,0.1\n2026-01-14,0.1\n14.1.2026 00:00,0.1\n,0.1\n2026-01-14T00:00:30Z,0.1\n"
        '1850-01-14T00:00Z,0.1\n2026-01-14T01:00Z,"0,12"\n2026-01-14T02:00Z,0,12\n2026-01-14T03:00Z,\n'
        "2026-01-14T04:00Z,NaN\n2026-01-14T05:00Z,-inf\n2026-01-14T06:00Z,1e999\n2026-01-14T07:00Z,1_000\n"
        "2026-01-14T09:00Z,100000.5\n2026-01-14T10:00Z,0.3\n2026-01-14T11:00+01:00,0.4\n"
    )
    dot = "write digits with at most one dot, or remove the line"
    wide = "prices lie from -100000 to 100000 per kWh"
    assert messages(read_market_prices, write(text)) == [
        f"a.csv:2:1: `2026-01-14T00:00` does not say its offset from UTC; {STAMP}",
        f"a.csv:3:1: `2026-01-14` does not say its offset from UTC; {STAMP}",
        f"a.csv:4:1: `14.1.2026 00:00` is not a date with a time; {STAMP}",
        f"a.csv:5:1: the start is empty; {STAMP}",
        "a.csv:6:1: `2026-01-14T00:00:30Z` is not a whole minute; let each price start at a whole minute",
        "a.csv:7:1: the year 1850 is out of range; write a year from 1971 to 2199",
        "a.csv:8:19: `0,12` has a decimal comma; write 0.12",
        "a.csv:9:1: the number of columns is 3, not 2; separate them by commas, and write a point in numbers",
        "a.csv:10:19: the price is empty; write the price, or remove the line",
        "a.csv:11:19: `NaN` is not a price; write the price of that time; without its line the price is missing, see "
        "`missing` of `market`",
        f"a.csv:12:19: `-inf` is not a price; {dot}",
        f"a.csv:13:19: `1e999` is out of range; {wide}",
        f"a.csv:14:19: `1_000` is not a price; {dot}",
        f"a.csv:15:19: `100000.5` is out of range; {wide}",
        "a.csv:17:1: this instant has another price on line 16; keep one of the two rows",
    ]
    assert messages(read_market_prices, write('2026-01-14T08:00Z,"1,234.5"\n')) == [
        f"a.csv:1:19: `1,234.5` is not a price; {dot}"
    ]


def test_a_mistake_in_every_row_is_named_three_times(write):
    """A file without offsets says so three times, and in how many more rows, as files of a load do."""
    good, bad = "2026-01-14T00:00Z,0.1\n", "".join(f"2026-01-14T{hour:02}:00,0.1\n" for hour in range(24))
    assert messages(read_market_prices, write(good + bad * 50)) == [
        f"a.csv:2:1: `2026-01-14T00:00` does not say its offset from UTC; {STAMP}",
        f"a.csv:3:1: `2026-01-14T01:00` does not say its offset from UTC; {STAMP}",
        f"a.csv:4:1: `2026-01-14T02:00` does not say its offset from UTC (and so 1,197 more rows); {STAMP}",
    ]
    lines = bad.splitlines(keepends=True)
    assert len(messages(read_market_prices, write(good + "".join(lines[:3])))) == 3
    assert "(and so" not in messages(read_market_prices, write(good + "".join(lines[:3])))[-1]
    assert (
        messages(read_market_prices, write(good + "".join(lines[:4])))[-1]
        .split("; ")[0]
        .endswith("(and so 1 more row)")
    )
    # Another mistake among them is not lost, nor are two prices for one instant, which are noticed last.
    other = messages(read_market_prices, write(good + good.replace("0.1", "0.2") + bad + "2026-01-15T00:00Z,low\n"))
    assert [line.split(":")[1] for line in other] == ["2", "3", "4", "5", "27"]


def test_mistakes_beyond_twenty_are_counted(write):
    """Of seven kinds of mistakes, forty times each, twenty lines, and a last one with all that they do not speak of."""
    bad = (
        "2026-01-14T00:00,0.1\nsoon,0.1\n,0.1\n2026-01-14T00:00Z,\n2026-01-14T00:00Z,low\n2026-01-14T00:00Z,1,2\n"
        "1850-01-14T00:00Z,1\n"
    )
    listed = messages(read_market_prices, write(bad * 40))
    assert len(listed) == 21
    # Of the 280, the first 14 are told one by one, and the next six speak of 38 each: 280 - 14 - 6 * 38 = 38.
    assert [line.count("(and so 37 more rows)") for line in listed] == [0] * 14 + [1] * 6 + [0]
    assert listed[20] == "a.csv:21:1: ... and 38 more"
    assert len(messages(read_market_prices, write(bad * 2))) == 14


def test_the_column_of_a_mistake_counts_quoted_commas_as_text(write):
    text = 'area,start,price\n"north, east",2026-01-14T00:00Z,low\n'
    assert messages(read_market_prices, write(text)) == [
        "a.csv:2:33: `low` is not a price; write digits with at most one dot, or remove the line"
    ]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "1:1: the file holds no prices; write lines such as 2026-01-14T06:00+01:00,0.12"),
        ("start,price\n", "1:1: the file holds no prices; write lines such as 2026-01-14T06:00+01:00,0.12"),
        ("start;price\n2026-01-14T00:00Z;0,1\n", f"1:6: the columns are separated by `;`; {COMMAS}"),
        ("2026-01-14T00:00Z;0,1\n", f"1:18: the columns are separated by `;`; {COMMAS}"),
        ("start\n2026-01-14T00:00Z\n", "1:1: no column has the prices; name the columns `start` and `price`"),
        ("value,start\n1,2026-01-14T00:00Z\n", "1:1: no column has the prices; name the columns `start` and `price`"),
        (
            "start,price,price_per_mwh\n2026-01-14T00:00Z,1,2\n",
            "1:13: more than one column has prices by its name; keep one of them",
        ),
        (
            "2026-01-14T00:00Z,0,12\n",  # a decimal comma in a file without header
            "1:1: the number of columns is 3, not 2; separate them by commas, and write a point in numbers",
        ),
        (b"start,price\n\xff\xfe", "2:1: the file is not UTF-8 text; save it as UTF-8"),
        ("\n" * 600_002, "600002:1: the file has more than 600,000 rows; keep the years that are needed"),
        (b"\n" * 50_000_001, "1:1: the file is larger than 50 MB; keep the years that are needed"),
    ],
)
def test_market_prices_that_cannot_be_read(write, text, message):
    assert messages(read_market_prices, write(text)) == [f"a.csv:{message}"]


@given(
    st.dictionaries(st.integers(0, 10**6), st.integers(-(10**7), 10**8), min_size=1, max_size=30),
    st.integers(-14 * 4, 14 * 4),
    st.randoms(use_true_random=False),
)
def test_written_prices_are_read_again(tmp_path_factory, rows, quarter_hours, random):
    """Whatever the order and the offset of the stamps; the reader of decimals to compare with is ``decimal``."""
    offset = timezone(timedelta(minutes=15 * quarter_hours))
    first = datetime(2020, 1, 1, tzinfo=UTC)
    lines = [
        f"{(first + timedelta(minutes=minute)).astimezone(offset).isoformat()},{Decimal(price).scaleb(-3)}\n"
        for minute, price in rows.items()
    ]
    random.shuffle(lines)
    file = tmp_path_factory.mktemp("prices") / "a.csv"
    file.write_text("start,price_per_mwh\n" + "".join(lines))
    prices = read_market_prices(file)
    ordered = sorted(rows.items())
    assert ((prices.start_s - int(first.timestamp())) // 60).tolist() == [minute for minute, _ in ordered]
    expected = [float(Decimal(price).scaleb(-6)) for _, price in ordered]
    np.testing.assert_allclose(prices.price, expected, rtol=4e-16)


# Market prices in Parquet


@pytest.fixture
def parquet(tmp_path, monkeypatch):
    """Write a frame as Parquet, with any name."""
    pytest.importorskip("pyarrow", minversion="16", reason="pyarrow, which reads Parquet, is not installed")
    monkeypatch.chdir(tmp_path)

    def written(frame, name="a.parquet"):
        frame.to_parquet(tmp_path / name)
        return name

    return written


STARTS = pd.date_range("2026-01-13T23:00Z", periods=2, freq="1h")


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
@pytest.mark.parametrize("zone", ["UTC", "Europe/Berlin", "America/Denver", "+05:30"])
def test_parquet(parquet, unit, zone):
    """Stamps of any zone and unit; as a column, as the index, as text; and beside other columns."""
    starts = STARTS.as_unit(unit).tz_convert(zone)
    frames = [
        pd.DataFrame({"hour": starts, "eur": [0.25, -0.5]}),
        pd.DataFrame({"price": [0.25, -0.5]}, index=starts),
        pd.DataFrame({"price": [0.25, -0.5]}, index=starts.rename("start")),
        pd.DataFrame({"area": ["n", "n"], "price_per_mwh": [250, -500], "start": starts}),
        pd.DataFrame({"start": [stamp.isoformat() for stamp in starts], "price": ["0.25", "-0.5"]}),
        pd.DataFrame({"start": starts, "price": [Decimal("0.25"), Decimal("-0.50")]}),
        pd.DataFrame({"start": starts[::-1], "price": np.array([-0.5, 0.25], dtype="float32")}),
    ]
    for frame in frames:
        prices = read_market_prices(parquet(frame, "prices.csv"))  # what is in it counts, not its name
        assert prices.start_s.tolist() == [utc_s("2026-01-13T23:00Z"), utc_s("2026-01-14T00:00Z")]
        assert prices.price.tolist() == [0.25, -0.5]


def test_parquet_and_csv_agree(parquet, tmp_path):
    """On a year of hours the two give the same arrays."""
    index = pd.date_range("2025-12-31T23:00Z", periods=8760, freq="1h").tz_convert("Europe/Berlin")
    frame = pd.DataFrame({"start": index, "price": np.random.default_rng(8).normal(80, 60, 8760)})
    frame.to_csv(tmp_path / "a.csv", index=False)
    one, other = read_market_prices("a.csv", per="MWh"), read_market_prices(parquet(frame), per="MWh")
    for name in ("start_s", "end_s", "price"):
        assert np.array_equal(getattr(one, name), getattr(other, name))


def test_bad_rows_of_parquet_are_named(parquet):
    """With row and column in place of line and column."""
    naive = pd.DataFrame({"start": STARTS.tz_localize(None), "price": [0.1, 0.2]})
    assert messages(read_market_prices, parquet(naive)) == [
        f"a.parquet:1:1: `2026-01-13 23:00:00` does not say its offset from UTC; {STAMP}",
        f"a.parquet:2:1: `2026-01-14 00:00:00` does not say its offset from UTC; {STAMP}",
    ]
    holes = pd.DataFrame({"start": [STARTS[0], pd.NaT, STARTS[1]], "price": [np.nan, 0.1, np.inf]})
    assert messages(read_market_prices, parquet(holes)) == [
        "a.parquet:1:2: the price is empty; write the price, or remove the line",
        f"a.parquet:2:1: the start is empty; {STAMP}",
        "a.parquet:3:2: `inf` is not a price; write digits with at most one dot, or remove the line",
    ]
    odd = pd.DataFrame({"start": STARTS + pd.Timedelta("1us"), "price": [0.1, 0.2]})
    assert messages(read_market_prices, parquet(odd))[0] == (
        "a.parquet:1:1: `2026-01-13 23:00:00.000001+00:00` is not a whole minute; "
        "let each price start at a whole minute"
    )
    assert messages(read_market_prices, parquet(pd.DataFrame({"start": STARTS, "price": [True, False]})))[0] == (
        "a.parquet:1:2: `True` is not a price; write digits with at most one dot, or remove the line"
    )
    numbers = pd.DataFrame({"start": [1, 2], "price": [0.1, 0.2]})
    assert messages(read_market_prices, parquet(numbers))[0] == (
        f"a.parquet:1:1: `1` is not a date with a time; {STAMP}"
    )


def test_parquet_that_cannot_be_read(parquet, write):
    broken = write(b"PAR1 and nothing else", "a.parquet")
    assert messages(read_market_prices, broken) == [
        "a.parquet:1:1: the file is not Parquet that can be read; write it again"
    ]
    wide = parquet(pd.DataFrame({f"c{number}": [1.0] for number in range(51)}))
    long = parquet(pd.DataFrame({"start": np.zeros(600_001), "price": np.zeros(600_001)}), "b.parquet")
    for file in (wide, long):
        assert messages(read_market_prices, file) == [
            f"{file}:1:1: the file has more than 600,000 rows or 50 columns; keep what is needed"
        ]
    empty = parquet(pd.DataFrame({"start": STARTS[:0], "price": []}))
    (message,) = messages(read_market_prices, empty)
    assert message.startswith("a.parquet:1:1: the file holds no prices; ")
    single = parquet(pd.DataFrame({"start": STARTS}))
    assert messages(read_market_prices, single) == [
        "a.parquet:1:1: no column has the prices; name the columns `start` and `price`"
    ]


def test_without_pyarrow_it_is_said_what_to_install(write, monkeypatch):
    import_module = importlib.import_module

    def without_pyarrow(name, package=None):
        if name.partition(".")[0] == "pyarrow":
            raise ModuleNotFoundError(name=name)
        return import_module(name, package)

    monkeypatch.setattr(importlib, "import_module", without_pyarrow)
    with pytest.raises(InputError) as caught:
        read_market_prices(write(b"PAR1", "prices.parquet"))
    assert str(caught.value) == (
        "prices.parquet is a Parquet file, and pyarrow is not installed; "
        "install chargeplan with its extra: pip install '.[parquet]', or save the prices as CSV"
    )
