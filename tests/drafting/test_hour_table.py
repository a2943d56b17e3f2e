"""Tables of months and hours from spreadsheets: every hour keeps its price, and what does not fit has its place."""

import csv
import io
from datetime import date, timedelta
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.drafting.hour_table import hour_table_data, read_hour_table
from chargeplan.drafting.price_unit import PriceUnit, parse_unit
from chargeplan.drafting.terms import DraftTerms, draft_terms
from chargeplan.drafting.writing import sheet_text
from chargeplan.errors import FileError, InputError
from chargeplan.tariff import read_tariff

MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
#: Dear from 17:00 to 21:00, on weekdays of the four months of summer more so.
EVENING = [["0.10"] * 17 + ["0.50" if month in (5, 6, 7, 8) else "0.30"] * 4 + ["0.10"] * 3 for month in range(12)]
WEEKEND = [["0.08"] * 24 for _ in range(12)]


@pytest.fixture
def save(tmp_path):
    """Write cells or text into a file, and give its path."""

    def write(content, separator=",", name="table.csv", encoding="utf-8"):
        path = tmp_path / name
        if not isinstance(content, str):
            content = "".join(separator.join(row) + "\n" for row in content)
        path.write_bytes(content.encode(encoding))
        return path

    return write


def floats(table):
    return [[float(cell) for cell in row] for row in table]


def prices_of(path, *others, unit=None, **terms):
    """The tariff that a table becomes, by the text of its sheet."""
    terms = draft_terms("America/Denver", **terms)
    data, notes = hour_table_data(read_hour_table(path, *others), name="A", terms=terms, unit=unit)
    return read_tariff(sheet_text(data, notes, ["Draft"]))


def year_of(tariff, year=2026):
    """The price of every hour, by month, kind of day and hour as the wall clock shows it: one set each."""
    series = tariff.prices(f"{year}-01-01", f"{year + 1}-01-01", "1 h")
    found = {}
    for moment, price in series.items():
        found.setdefault((moment.month - 1, moment.weekday() >= 5, moment.hour), set()).add(round(price, 9))
    return found


def assert_same(tariff, weekday, weekend):
    for (month, is_weekend, hour), prices in year_of(tariff).items():
        assert prices == {round(float((weekend if is_weekend else weekday)[month][hour]), 9)}, (month, hour)


# ------------------------------------------------------------------------------------------------ forms


def with_labels(table, corner="", months=MONTHS, hours=range(24)):
    return [[corner, *map(str, hours)], *([name, *row] for name, row in zip(months, table, strict=True))]


def turned(rows):
    return [list(column) for column in zip(*rows, strict=True)]


@pytest.mark.parametrize(
    ("rows", "separator"),
    [
        (EVENING, ","),
        (EVENING, ";"),
        (EVENING, "\t"),
        ([[cell.replace(".", ",") for cell in row] for row in EVENING], ";"),
        ([[cell.replace(".", ",") for cell in row] for row in EVENING], "\t"),
        (with_labels(EVENING), ","),
        (with_labels(EVENING, corner="month", hours=[f"{hour:02d}:00" for hour in range(24)]), ","),
        (with_labels(EVENING, corner="all days", months=[f"{n}" for n in range(1, 13)], hours=range(1, 25)), ","),
        (with_labels(EVENING, hours=[f"{n or 12} {half}" for half in ("AM", "pm") for n in range(12)]), ","),
        (with_labels(EVENING, hours=[f"{n}-{n + 1}" for n in range(24)]), ";"),
        (with_labels(EVENING, hours=[f"HE{n}" for n in range(1, 25)]), ";"),
        (with_labels(EVENING)[1:], ","),
        ([row[1:] for row in with_labels(EVENING)], ","),
        ([["Prices per kWh, 2026"], [], *with_labels(EVENING)], ";"),
        ([[*row, "", ""] for row in EVENING] + [[""] * 26], ","),
        (turned(EVENING), ","),
        (turned(with_labels(EVENING)), ","),
        (turned(with_labels(EVENING, hours=[f"{hour}:00" for hour in range(24)])), ";"),
        (turned(with_labels(EVENING, months=[f"{n}" for n in range(1, 13)])), ";"),
        ([*turned(EVENING), []], ","),
    ],
)  # fmt: skip
def test_one_table_in_many_forms(save, rows, separator):
    """Separators, decimal commas, hours and months around it, turned around, a title: all are the same table."""
    table = read_hour_table(save(rows, separator))
    assert floats(table.weekday) == floats(table.weekend) == floats(EVENING)


@pytest.mark.parametrize(
    "rows",
    [
        [*EVENING, [], *WEEKEND],
        [["Weekday"], *EVENING, ["Weekend"], *WEEKEND],
        [["Sat-Sun"], *WEEKEND, [], ["Mon-Fri"], [], *EVENING],
        [*with_labels(EVENING, corner="weekdays"), *with_labels(WEEKEND, corner="weekends")],
        [["Working days", *[""] * 24], *with_labels(EVENING), [""] * 25, ["WEEK-END"], *with_labels(WEEKEND)],
        [*with_labels(EVENING), *with_labels(WEEKEND)],
        [["Weekend"], *turned(WEEKEND), ["Prices of other days"], *EVENING],
    ],
)
def test_two_tables_in_one_file(save, rows):
    """By their titles, or the first for weekdays; each may lie its own way."""
    table = read_hour_table(save(rows))
    assert (floats(table.weekday), floats(table.weekend)) == (floats(EVENING), floats(WEEKEND))


def test_two_files(save):
    """One file for weekdays and one for weekends, whichever separators they have."""
    table = read_hour_table(save(EVENING), save(WEEKEND, ";", "weekend.csv"))
    assert (floats(table.weekday), floats(table.weekend)) == (floats(EVENING), floats(WEEKEND))
    titled = save([["weekend"], *WEEKEND], name="titled.csv")
    assert floats(read_hour_table(save(EVENING), titled).weekend) == floats(WEEKEND)
    with pytest.raises(FileError, match=r"titled\.csv:1:1: the file has prices of weekends; give one file"):
        read_hour_table(titled, titled)
    with pytest.raises(FileError, match=r"the file has prices of weekdays"):
        read_hour_table(save(EVENING), save([["weekday"], *EVENING], name="wrong.csv"))


def test_a_mark_at_the_beginning_and_windows_lines(save):
    text = "\ufeff" + "".join(",".join(row) + "\r\n" for row in with_labels(EVENING))
    assert floats(read_hour_table(save(text)).weekday) == floats(EVENING)


def test_what_is_assumed_is_said(save):
    def notes(rows):
        return " / ".join(map(str, read_hour_table(save(rows)).notes))

    assert "for which days" in notes(EVENING)
    assert "no labels" in notes(EVENING)
    assert notes([["weekdays"], *with_labels(EVENING), ["weekends"], *with_labels(WEEKEND)]) == ""
    assert "the first is for weekdays" in notes([*EVENING, [], *WEEKEND])
    assert "hour 1 is 00:00-01:00" in notes(with_labels(EVENING, hours=range(1, 25)))
    foreign = ["Januar", "Februar", "März", "avril", "mai", "juin", "juil", "août", "sept", "okt", "nov", "dez"]
    assert "unclear" not in notes(with_labels(EVENING, months=MONTHS))
    foreign[4:5], foreign[8:9], foreign[10:11] = ["mei"], ["setiembre"], ["noviembre"]
    assert "`Januar` to `dez` are taken for January to December" in notes(with_labels(EVENING, months=foreign))


# ------------------------------------------------------------------------------------------------ lossless


def test_the_sheet_of_a_printed_table(save):
    """Seasons and hours are said as a printed rate says them; the prices are the table's, to the digit."""
    data, _ = hour_table_data(
        read_hour_table(save([["weekdays"], *EVENING, ["weekends"], *WEEKEND])),
        name="A", terms=DraftTerms("America/Denver"),
    )  # fmt: skip
    assert data["seasons"] == {"summer": "Jun - Sep", "winter": "Oct - May"}
    assert data["periods"]["peak"] == "17:00-21:00 on weekdays"
    tariff = read_tariff(sheet_text(data, [], ["Draft"]))
    assert_same(tariff, EVENING, WEEKEND)
    assert tariff.prices("2026-07-06 17:00", "2026-07-06 18:00", "1 h").tolist() == [0.5]


@st.composite
def tables(draw):
    """Twelve rows of 24 prices from a few, in runs of hours and of months; sometimes quite at random."""
    prices = draw(st.lists(st.decimals("-5", "20", places=draw(st.integers(0, 6))), min_size=1, max_size=7))
    kinds = draw(st.integers(1, 4))
    if draw(st.integers(0, 3)) == 0:
        rows = st.lists(st.sampled_from(prices), min_size=24, max_size=24)
        shapes = [draw(rows) for _ in range(kinds)]
    else:
        shapes = []
        for _ in range(kinds):
            edges = sorted(draw(st.sets(st.integers(1, 23), max_size=5)))
            shapes.append([])
            for start, end in zip([0, *edges], [*edges, 24], strict=True):
                shapes[-1] += [draw(st.sampled_from(prices))] * (end - start)
    return [shapes[draw(st.integers(0, kinds - 1))] for _ in range(12)]


@given(weekday=tables(), weekend=tables(), apart=st.booleans(), turn=st.booleans(), comma=st.booleans())
def test_every_hour_keeps_its_price(tmp_path_factory, weekday, weekend, apart, turn, comma):
    """Any table of few prices, through a file and the text of a sheet, gives the table again hour by hour."""
    weekend = weekend if apart else weekday

    def rows(table):
        texts = [[f"{cell:f}".replace(".", "," if comma else ".") for cell in row] for row in table]
        return turned(texts) if turn else texts

    stream = io.StringIO()
    content = [["weekdays"], *rows(weekday), ["weekends"], *rows(weekend)] if apart else rows(weekday)
    csv.writer(stream, delimiter=";" if comma else ",").writerows(content)
    path = tmp_path_factory.mktemp("tables") / "table.csv"
    path.write_text(stream.getvalue(), encoding="utf-8")
    assert_same(prices_of(path), weekday, weekend)


def test_twenty_four_different_prices_in_a_month(save):
    """As many as there are hours, and again others in every month: still every hour keeps its price."""
    table = [[f"{month}.{hour:02d}" for hour in range(24)] for month in range(12)]
    assert_same(prices_of(save(table)), table, table)


def test_more_prices_than_a_sheet_has_periods(save):
    table = [[f"1.{hour:02d}" for hour in range(24)] for _ in range(12)]
    other = [[f"2.{hour:02d}" for hour in range(24)] for _ in range(12)]
    with pytest.raises(InputError, match="a month has 48 periods; a rate sheet can have 24"):
        prices_of(save([*table, [], *other]))


def test_noise_of_a_spreadsheet_is_no_price_of_its_own(save):
    """0.1 + 0.2 as a spreadsheet saves it, 0.30000000000000004, is 0.3."""
    table = [["0.3"] * 12 + ["0.30000000000000004"] * 12 for _ in range(12)]
    data, _ = hour_table_data(read_hour_table(save(table)), name="A", terms=DraftTerms("UTC"))
    assert data["prices"] == Decimal("0.3")
    assert "periods" not in data


@pytest.mark.parametrize(
    ("unit", "written"), [("MWh", "312.5"), ("cents", "31.25"), ("cents per kWh", "31.25"), ("EUR/MWh", "312.5")]
)
def test_units(save, unit, written):
    tariff = prices_of(save([[written] * 24] * 12), unit=parse_unit(unit))
    assert tariff.prices("2026-07-06", "2026-07-07", "24 h").tolist() == [0.3125]


def test_boundaries_at_half_past_and_holidays(save):
    """17:00 of the table is 17:30 of the rate; a holiday on a Monday has the hours of a Sunday."""
    path = save([*EVENING, [], *WEEKEND])
    tariff = prices_of(path, edges=["17=17:30"], holidays="Jul 6")
    assert tariff.prices("2026-07-07 17:00", "2026-07-07 18:00", "30 min").tolist() == [0.1, 0.5]
    assert set(tariff.prices("2026-07-06", "2026-07-07", "1 h")) == {0.08}
    with pytest.raises(InputError, match="no price of the table begins at 18:00; its boundaries are at: 17:00, 21:00"):
        prices_of(path, edges=["18=18:30"])


def test_days_of_the_clock_change(save):
    """Hours are those of the wall clock: the day of 23 hours lacks one, the day of 25 has one twice."""
    table = [[f"0.{hour + 10}" for hour in range(24)] for _ in range(12)]
    tariff = prices_of(save(table))
    for day, hours in ((date(2026, 3, 8), [0, 1, *range(3, 24)]), (date(2026, 11, 1), [0, 1, *range(1, 24)])):
        prices = tariff.prices(day, day + timedelta(days=1), "1 h").to_numpy()
        assert np.round(prices, 9).tolist() == [round(0.1 + hour / 100, 9) for hour in hours]


# ------------------------------------------------------------------------------------------------ mistakes


def changed(*cells, table=None):
    """The evening table with some cells written otherwise."""
    rows = [list(row) for row in table or EVENING]
    for row, column, text in cells:
        rows[row][column] = text
    return rows


def test_every_bad_cell_with_its_place(save):
    """Blank, text, NaN, infinite, far too large: one message each, all at once, by line and column."""
    bad = ["", "free", "NaN", "inf", "1e308", "0.1.2", "$0.10", "1_0", "٣", "-", "0.1 0", "9" * 38]
    rows = changed(*((position, 3, text) for position, text in enumerate(bad)))
    with pytest.raises(FileError) as caught:
        read_hour_table(save(rows))
    found = caught.value.mistakes
    assert [(m.line, m.column) for m in found] == [(n, 16) for n in range(1, 13)]
    assert found[0].what == "the price is empty"
    assert found[4].what == "`1e308` is out of range"
    assert [m.what for m in found[1:4] + found[5:-1]] == [f"`{text}` is not a price" for text in bad[1:4] + bad[5:-1]]
    assert all(m.remedy for m in found)


def test_a_page_of_mistakes_is_cut(save):
    """Twenty are listed, and how many more there are."""
    with pytest.raises(FileError) as caught:
        read_hour_table(save(changed(*((row, column, "x") for row in range(12) for column in range(1, 10)))))
    assert len(caught.value.mistakes) == 21
    assert caught.value.mistakes[-1].what == "... and 88 more"


@pytest.mark.parametrize(
    ("rows", "line", "column", "what"),
    [
        (EVENING[:11], 11, 1, "the table ends after 11 rows of 24, not 12"),
        ([*EVENING, EVENING[0]], 13, 1, "the table goes on for 13 rows of 24, not 12"),
        ([row[:23] for row in EVENING], 1, 1, "the table has 12 rows of 23 prices, not 24"),
        ([[*row, "0.1"] for row in EVENING], 1, 1, "the table has 12 rows of 25 prices, not 24"),
        ([row[1:] if n == 4 else row for n, row in enumerate(EVENING)], 5, 111, "the row has 23 prices, not 24"),
        ([[*row, "1"] if n == 4 else row for n, row in enumerate(EVENING)], 5, 121, "the row has 25 prices, not 24"),
        (turned(EVENING)[:23], 23, 1, "the table ends after 23 rows of 12, not 24"),
        ([row[:11] for row in turned(EVENING)], 1, 1, "the table has 24 rows of 11 prices, not 12"),
        ([*EVENING, *WEEKEND], 13, 1, "the table has 24 rows of 24 prices"),
        ([["1", "2"], ["3", "4"]], 1, 1, "the table has 2 rows of 2 prices"),
        ([["hello"], ["world"]], 1, 1, "the file has no table of numbers"),
        ([*EVENING, [], *EVENING, [], *EVENING], 27, 1, "this is table 3 of 3"),
        ([["weekdays"], *EVENING], 1, 1, "the file has only the prices of weekdays"),
        ([["weekend"], *EVENING], 1, 1, "the file has only the prices of weekends"),
        ([["weekday"], *EVENING, ["weekday"], *EVENING], 15, 1, "by their titles the two tables are not"),
        (with_labels(EVENING, months=[*MONTHS[3:], *MONTHS[:3]]), 2, 1, "`Apr` stands where month 1"),
        (with_labels(EVENING, hours=[*range(6, 24), *range(6)]), 1, 2, "the hours are `6` to `5`"),
        (turned(with_labels(EVENING, months=[*MONTHS[3:], *MONTHS[:3]])), 1, 2, "`Apr` stands where month 1"),
        (changed((0, 0, "0,10")), 1, 116, "the row has 25 prices, not 24"),
        ([[cell.replace(".", ",") for cell in row] for row in EVENING], 1, 1, "as if decimals were written with"),
        ([[f'"{cell.replace(".", ",")}"' for cell in row] for row in EVENING], 1, 1, "`0,10` has a decimal comma"),
    ],
)  # fmt: skip
def test_what_does_not_fit(save, rows, line, column, what):
    """Wrong shapes, orders and separators: a message at the place, in plain words."""
    with pytest.raises(FileError) as caught:
        read_hour_table(save(rows))
    first = caught.value.mistakes[0]
    assert first.what.startswith(what) or what in first.what
    assert first.line == line
    assert first.column == column


@pytest.mark.parametrize(
    ("content", "what"),
    [
        ("", "the file is empty"),
        ("\n , ,\n", "the file is empty"),
        ("x" * 1_000_001, "larger than 1,000 kB"),
        ("1\n" * 3000, "more than 2,000 lines"),
        ('"0.1,0.2\n' * 12, "cannot be read as CSV"),
        ("\x1b[2J\n", "no table of numbers"),
    ],
)
def test_what_is_no_table_at_all(save, content, what):
    with pytest.raises(FileError, match=what):
        read_hour_table(save(content))


def test_other_encodings(save):
    """UTF-16 and Latin-1, as some spreadsheets save, are named rather than misread."""
    for encoding in ("utf-16", "latin-1"):
        with pytest.raises(FileError, match="not UTF-8 text; save it as CSV in UTF-8"):
            read_hour_table(save("März\n" + "1,2\n" * 12, encoding=encoding))


@given(st.binary(max_size=400) | st.text("0123456789,;.\n\t\"'-eEJanwekds ", max_size=600).map(str.encode))
def test_any_file(tmp_path_factory, content):
    """Whatever the file holds: a table, or plain mistakes with places; nothing else."""
    path = tmp_path_factory.mktemp("any") / "t.csv"
    path.write_bytes(content)
    for mistake in mistakes_of(path):
        assert (mistake.line >= 1, mistake.column >= 1, str(mistake).isprintable()) == (True, True, True)


def mistakes_of(path):
    """The mistakes of a file; none if it is a table, which then is whole."""
    try:
        table = read_hour_table(path)
    except FileError as error:
        return error.mistakes
    assert [len(row) for row in (*table.weekday, *table.weekend)] == [24] * 24
    return []


@given(st.lists(st.tuples(st.integers(0, 11), st.integers(0, 23), st.text(max_size=6)), min_size=1, max_size=3))
def test_any_text_in_a_cell(tmp_path_factory, cells):
    """A good table with any texts put into cells: the table with these numbers, or plain mistakes."""
    stream = io.StringIO()
    csv.writer(stream).writerows(changed(*cells))
    path = tmp_path_factory.mktemp("any") / "t.csv"
    path.write_text(stream.getvalue(), encoding="utf-8", errors="replace", newline="")
    assert all(str(mistake).isprintable() for mistake in mistakes_of(path))


def test_units_that_are_none():
    for text in ("", "kg", "EUR/kWh/MWh", "kWh MWh", "\x1b", "dollars per kWh and more"):
        with pytest.raises(InputError, match="is not a unit of prices; write"):
            parse_unit(text)
    assert parse_unit("$/kWh") == PriceUnit()
