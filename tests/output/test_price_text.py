"""The table of a day's prices: complete, in 80 columns, right on the days of a clock change."""

import re
from datetime import date, timedelta
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.output.price_text import day_prices_text
from chargeplan.tariff import load_tariff, read_tariff, shipped_sheets

ROW = re.compile(r"(\d\d:\d\d)(?: \w+)?-(\d\d:\d\d)(?: \w+)?\s{2,}(.+?)\s{2,}(-?\d+\.\d{4})(?:  (#+))?\Z")


def rows_of(text):
    """The table's rows as (start, end, period, price, bar)."""
    lines = text.split("\n\n")[1].split("\n")
    found = [ROW.match(line) for line in lines]
    assert all(found), lines
    return [(m[1], m[2], m[3], float(m[4]), m[5] or "") for m in found]


@settings(max_examples=150, deadline=None, database=None)
@given(sheet=st.sampled_from(shipped_sheets()), day=st.dates(date(2026, 1, 1), date(2030, 12, 31)))
def test_a_table_of_any_day(sheet, day):
    """Rows follow each other from 00:00 to 24:00, show the prices of `Tariff.day`, and fit 80 columns of ASCII."""
    tariff = load_tariff(sheet)
    text = day_prices_text(tariff, day)
    assert text.isascii()
    for line in text.split("\n"):
        assert len(line) <= 80
        assert line.isprintable()
        assert line == line.rstrip()
    rows, runs = rows_of(text), tariff.day(day)
    assert [(period, price) for *_, period, price, _ in rows] == [
        (run.period, pytest.approx(run.price_per_kwh, abs=5.1e-5)) for run in runs
    ]
    assert rows[0][0] == "00:00"
    assert rows[-1][1] == "24:00"
    assert all(a[1] == b[0] for a, b in pairwise(rows))
    # The dearest has the longest bar, and bars are in proportion within one character.
    longest = max(len(bar) for *_, bar in rows)
    dearest = max(price for *_, price, _ in rows)
    assert all(abs(len(bar) - longest * price / dearest) <= 1 for *_, price, bar in rows)
    assert ("The clock changes on this day" in text) == (sum(run.end_s - run.start_s for run in runs) != 86400)


@pytest.mark.parametrize(
    ("sheet", "day", "hours"),
    [
        # 15 U.S.C. 260a: 8 March and 1 November 2026; Directive 2000/84/EC: 29 March and 25 October 2026.
        *[("summer-peak", date(2026, 3, 8), 23), ("summer-peak", date(2026, 11, 1), 25)],
        *[("drei-zeiten", date(2026, 3, 29), 23), ("drei-zeiten", date(2026, 10, 25), 25)],
    ],
)
def test_the_days_of_a_clock_change(sheet, day, hours):
    """A day of 23 or 25 hours says so; the day before has 24 and says nothing."""
    assert day_prices_text(load_tariff(sheet), day).endswith(f"The clock changes on this day: it has {hours} hours.")
    assert "clock" not in day_prices_text(load_tariff(sheet), day - timedelta(days=1))


def test_times_that_come_twice_name_the_zone():
    """Denver, 1 November 2026: a price that changes at 01:30 changes three times, each with its zone."""
    sheet = read_tariff(
        "{name: Half past one, currency: USD, timezone: America/Denver,"
        " periods: {early: '00:00-01:30', late: rest}, prices: {early: 0.1, late: 0.2}}"
    )
    text = day_prices_text(sheet, date(2026, 11, 1))
    times = [line.split("  ")[0] for line in text.split("\n\n")[1].split("\n")]
    assert times == ["00:00-01:30 MDT", "01:30 MDT-01:00 MST", "01:00 MST-01:30 MST", "01:30 MST-24:00"]
    assert "MST" not in day_prices_text(sheet, date(2026, 11, 2))


def test_a_midnight_that_is_skipped():
    """Chile puts the clock from 24:00 to 01:00 (6 September 2026, zone data): Saturday the 5th still ends at 24:00."""
    sheet = read_tariff("{name: S, currency: CLP, timezone: America/Santiago, prices: 100}")
    assert rows_of(day_prices_text(sheet, date(2026, 9, 5)))[0][:2] == ("00:00", "24:00")
    assert rows_of(day_prices_text(sheet, date(2026, 9, 6)))[0][:2] == ("01:00", "24:00")


def test_a_date_that_the_clock_skipped():
    """Samoa had no 30 December 2011 (zone data): a message instead of an empty table."""
    sheet = read_tariff("{name: S, currency: WST, timezone: Pacific/Apia, prices: 1}")
    with pytest.raises(InputError, match="the clock of Pacific/Apia skipped 2011-12-30; choose another date"):
        day_prices_text(sheet, date(2011, 12, 30))


def test_free_and_negative_prices_have_no_bar():
    """A bar shows how high a price is; nothing and less than nothing have none."""
    sheet = read_tariff(
        "{name: N, currency: EUR, timezone: Europe/Vienna,"
        " periods: {sunny: '11:00-15:00', night: '22:00-06:00', other: rest},"
        " prices: {sunny: -0.05, night: 0, other: 0.2}}"
    )
    bars = {period: bar for *_, period, _, bar in rows_of(day_prices_text(sheet, date(2026, 6, 1)))}
    assert bars["sunny"] == bars["night"] == ""
    assert len(bars["other"]) > 10
    free = read_tariff("{name: F, currency: EUR, timezone: Europe/Vienna, prices: 0}")
    assert day_prices_text(free, date(2026, 6, 1)).endswith("0.0000")


WORDS = st.lists(st.sampled_from(["peak", "off-peak", "nacht", "very", "long", "x" * 20]), min_size=1, max_size=9)


@settings(max_examples=60, deadline=None, database=None)
@given(
    names=st.lists(WORDS.map(" ".join).filter(lambda name: len(name) <= 60), min_size=3, max_size=3, unique=True),
    price=st.floats(-99999, 99999),
    name=st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=200),
)
def test_long_names_and_large_prices(names, price, name):
    """Names of periods up to 60 and of sheets up to 200 characters, and prices of five digits, stay in 80 columns."""
    import yaml

    text = yaml.safe_dump(
        {
            "name": name,
            "currency": "JPY",
            "timezone": "Asia/Tokyo",
            "seasons": {names[2]: "rest"},
            "periods": {names[0]: "07:00-21:00", names[1]: "rest"},
            "prices": {names[2]: {names[0]: price, names[1]: 0.5}},
        },
        width=1000,
    )
    table = day_prices_text(read_tariff(text), date(2026, 6, 1))
    assert all(len(line) <= 80 and line.isprintable() for line in table.split("\n"))
    assert f"{round(price, 4) + 0.0:.4f}" in table
    assert "-0.0000" not in table
