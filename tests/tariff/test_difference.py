"""What changes from sheet to sheet: checked minute by minute against the runs of each day."""

import re
from datetime import date, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.reading import read_document
from chargeplan.tariff import shipped_sheets
from chargeplan.tariff.changed_lines import LineChange, changed_lines
from chargeplan.tariff.difference import difference
from chargeplan.tariff.loading import shipped_folder

HEAD = "name: S\ncurrency: USD\ntimezone: America/Denver\n"
WEEK = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"]
MONTHS = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]


def document(text, name="a.yaml"):
    return read_document(name, text=text)


def days_of(text):
    """Days of the week and whether holidays belong to them, read from words."""
    if text == "every day":
        return set(range(7)), True
    named, _, _ = text.partition(" and holidays")
    found = set()
    for part in {"weekdays": "Mon-Fri", "weekends": "Sat-Sun"}.get(named, named).split(", "):
        first, _, last = part.partition("-")
        found |= set(range(WEEK.index(first), WEEK.index(last or first) + 1))
    return found, text.endswith("holidays")


def dates_of(text, year):
    """Days of a year, read from words such as `Jun-Sep`, `Jun 16 - Sep 30`, `Jan 1, Jul 4`, `all year`."""
    days = [date(year, 1, 1) + timedelta(days=n) for n in range((date(year + 1, 1, 1) - date(year, 1, 1)).days)]
    if text == "all year":
        return set(days)
    found = set()
    for part in text.split(", "):
        ends = re.fullmatch(r"(\w{3})(?: (\d+))?(?: ?- ?(?:(\w{3}) ?)?(\d+)?)?", part)
        month, day, last_month, last_day = ends.groups()
        first = date(year, MONTHS.index(month) + 1, int(day or 1))
        end_month = MONTHS.index(last_month or month) + 1
        if last_day or (day and not last_month):
            last = date(year, end_month, int(last_day or day))
        else:
            last = date(year + end_month // 12, end_month % 12 + 1, 1) - timedelta(days=1)
        found |= {d for d in days if (first <= d <= last if first <= last else d >= first or d <= last)}
    return found


def minutes_of(text):
    found = np.zeros(1440, dtype=bool)
    for span in ["00:00-24:00"] if text == "all day" else text.split(", "):
        (a, b), (c, d) = (map(int, end.split(":")) for end in span.split("-"))
        found[60 * a + b : 60 * c + d] = True
    return found


def day_arrays(tariff, day):
    """Period and price of each minute of a day of 24 hours."""
    runs = tariff.day(day)
    if runs[-1].end_s - runs[0].start_s != 86400:
        return None
    lengths = [(run.end_s - run.start_s) // 60 for run in runs]
    periods = np.repeat(np.array([run.period for run in runs], dtype=object), lengths)
    return periods, np.repeat([round(run.price_per_kwh, 7) for run in runs], lengths)


def assert_told_exactly(found):
    """Each minute that changes is in just the lines that say so, and no other minute is."""
    renamed = dict(found.renamed)
    lines = [
        (change, *(days_of(change.days) if change.days not in ("", "holidays", "other days") else (None, None)))
        for change in (*found.moved, *found.repriced)
    ]
    dates = [dates_of(change.dates, found.year) if change.dates else None for change, *_ in lines]
    moved_minutes = 0
    for n in range(365):
        day = date(found.year, 1, 1) + timedelta(days=n)
        old, new = day_arrays(found.old, day), day_arrays(found.new, day)
        if old is None or new is None:
            continue
        holiday = found.old.is_holiday(day) or found.new.is_holiday(day)
        told = np.zeros(1440, dtype=int)
        for (change, weekdays, with_holidays), span in zip(lines, dates, strict=True):
            exact = (
                (old[0] == change.old.period)
                & (new[0] == change.new.period)
                & np.isclose(old[1], change.old.price_per_kwh)
                & np.isclose(new[1], change.new.price_per_kwh)
            )
            if day not in span:
                continue
            if change.days == "":
                told += exact
                assert np.array_equal(exact, old[0] == change.old.period), "all hours of the period"
            elif weekdays is None or (
                (with_holidays or not holiday or day.weekday() in weekdays)
                if holiday and not found.holidays_apart
                else with_holidays
                if holiday
                else day.weekday() in weekdays
            ):
                minutes = minutes_of(change.hours)
                assert exact[minutes].all(), (day, change)
                told += minutes
        names = np.array([renamed.get(name, name) for name in old[0]], dtype=object)
        changes = (names != new[0]) | ~np.isclose(old[1], new[1])
        assert np.array_equal(told, changes.astype(int)), day
        moved_minutes += int((names != new[0]).sum())
    return moved_minutes / 60


@pytest.mark.parametrize(("one", "other"), [*pairwise(shipped_sheets()), ("summer-peak", "night-owl")])
def test_shipped_sheets_against_each_other(one, other):
    """What is told of two sheets of one currency is all that changes."""
    paths = [shipped_folder() / f"{name}.yaml" for name in (one, other)]
    old, new = map(read_document, paths)
    if old.data["currency"] != new.data["currency"]:
        with pytest.raises(InputError, match="compare sheets of one currency"):
            difference(old, new, year=2026)
        return
    found = difference(old, new, year=2026)
    # Days of a clock change have other hours than 24 and are not compared here.
    assert 0 <= found.moved_hours - assert_told_exactly(found) <= 4 * 24


DAYS = st.sampled_from(["weekdays", "weekdays except holidays", "weekends and holidays", "every day", "Mon-Thu", "Sat"])


@st.composite
def sheets(draw):
    start = draw(st.integers(0, 22))
    end = draw(st.integers(start + 1, 24))
    season = draw(st.sampled_from(["Jun - Sep", "May 16 - Oct 15", "Nov - Mar"]))
    name = draw(st.sampled_from(["peak", "dear"]))
    return HEAD + (
        f"holidays: [Jan 1, Jul 3, Dec 25]\nseasons: {{summer: {season}, winter: rest}}\n"
        f"periods: {{{name}: '{start:02d}:00-{end:02d}:00 on {draw(DAYS)}', off-peak: rest}}\n"
        f"prices: {{summer: {{{name}: {draw(st.sampled_from([0.4, 0.5]))}, off-peak: 0.2}},"
        f" winter: {{{name}: 0.4, off-peak: {draw(st.sampled_from([0.1, 0.2]))}}}}}\n"
    )


@settings(max_examples=15, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])
@given(old=sheets(), new=sheets())
def test_any_two_sheets(old, new):
    """Seasons, days and hours that differ anyhow: all minutes that change are told once, and no others."""
    found = difference(document(old), document(new), year=2026)
    assert 0 <= found.moved_hours - assert_told_exactly(found) <= 4 * 24
    back = difference(document(new), document(old), year=2026)
    assert back.moved_hours == found.moved_hours
    assert back.mean == found.mean[::-1]
    assert difference(document(old), document(old), year=2026).nothing


def test_published_change_of_hours_in_colorado():
    """On-peak 15-19 becomes 17-21, and the mid-peak before it ends, on 1 November 2025.

    Source: Xcel Energy Colorado as reported by Westword, see tests/published/colorado_time_of_use.yaml.
    """
    text = HEAD + (
        "seasons: {summer: Jun - Sep, winter: rest}\n"
        "periods: {on-peak: 15:00-19:00 on weekdays, mid-peak: 13:00-15:00 on weekdays, off-peak: rest}\n"
        "prices:\n  summer: {off-peak: 0.099, mid-peak: 0.189, on-peak: 0.279}\n"
        "  winter: {off-peak: 0.099, mid-peak: 0.136, on-peak: 0.173}\n"
        "versions:\n  - from: 2025-11-01\n    periods: {on-peak: 17:00-21:00 on weekdays, off-peak: rest}\n"
        "    prices:\n      summer: {off-peak: 0.099, on-peak: 0.279}\n"
        "      winter: {off-peak: 0.099, on-peak: 0.173}\n"
    )
    found = difference(document(text))
    assert found.since == (None, date(2025, 11, 1))
    assert found.year == 2025
    assert {(c.days, c.dates, c.hours, c.old.period, c.new.period) for c in found.moved} == {
        ("weekdays", dates, hours, old, new)
        for dates in ("Oct-May", "Jun-Sep")
        for hours, old, new in (
            ("13:00-15:00", "mid-peak", "off-peak"),
            ("15:00-17:00", "on-peak", "off-peak"),
            ("19:00-21:00", "off-peak", "on-peak"),
        )
    }
    # 2025 has 261 weekdays; six hours of each move.
    assert found.moved_hours == 261 * 6
    assert found.repriced == ()


def test_terms_on_two_dates():
    """Each date takes the version in force; terms before the first or after the last day are refused."""
    text = HEAD + (
        "effective: 2026-01-01\nuntil: 2028-12-31\nprices: 0.2\n"
        "versions: [{from: 2026-07-01, prices: 0.3}, {from: 2027-01-01, prices: 0.4}]"
    )
    sheet = document(text)
    for days, mean in (
        ((date(2026, 6, 30), date(2026, 7, 1)), (0.2, 0.3)),
        ((date(2026, 1, 1), date(2028, 12, 31)), (0.2, 0.4)),
        ((None, date(2026, 12, 31)), (0.2, 0.3)),
        ((date(2026, 1, 1), None), (0.2, 0.4)),
        ((None, None), (0.3, 0.4)),
    ):
        assert difference(sheet, old_day=days[0], new_day=days[1]).mean == pytest.approx(mean)
    with pytest.raises(InputError, match=r"begins on 2026-01-01, after 2025-12-31; choose a later date"):
        difference(sheet, old_day=date(2025, 12, 31))
    with pytest.raises(InputError, match=r"ends on 2028-12-31, before 2029-01-01; choose an earlier date"):
        difference(sheet, new_day=date(2029, 1, 1))
    with pytest.raises(InputError, match="no terms before those of 2026-06-30; name a second sheet"):
        difference(sheet, new_day=date(2026, 6, 30))
    with pytest.raises(InputError, match="no terms before those of today; name a second sheet, or give two dates"):
        difference(document(HEAD + "prices: 0.2"))


def test_a_version_that_gives_components_takes_prices_away():
    """As in the sheet itself, `components` of a version replace `prices`."""
    text = HEAD + "prices: 0.2\nversions: [{from: 2026-07-01, components: {grid: 0.1, energy: 0.15}}]"
    found = difference(document(text))
    assert found.mean == pytest.approx((0.2, 0.25))
    assert [(line.line, line.old, line.new) for line in found.lines] == [
        ("components / grid", None, "0.1"),
        ("components / energy", None, "0.15"),
        ("prices", "0.2", None),
    ]


def test_a_period_that_only_has_another_name():
    """No hour moves if all hours of one period have one other name; the new price is told."""
    old = HEAD + "periods: {peak: 16:00-21:00, off-peak: rest}\nprices: {peak: 0.4, off-peak: 0.2}"
    found = difference(document(old), document(old.replace("off-peak", "night").replace("0.2", "0.1")), year=2026)
    assert (found.moved, found.moved_hours, found.renamed) == ((), 0.0, (("off-peak", "night"),))
    (change,) = found.repriced
    assert (change.days, change.dates, change.hours) == ("", "all year", "")
    assert (change.old.price_per_kwh, change.new.price_per_kwh) == (0.2, 0.1)


def test_two_periods_that_change_places_are_not_renamed():
    """Peak and off-peak exchanged: the names stay, so every hour moves."""
    old = HEAD + "periods: {peak: 16:00-21:00, off-peak: rest}\nprices: {peak: 0.4, off-peak: 0.2}"
    new = HEAD + "periods: {off-peak: 16:00-21:00, peak: rest}\nprices: {peak: 0.4, off-peak: 0.2}"
    found = difference(document(old), document(new), year=2026)
    assert found.renamed == ()
    assert found.moved_hours == 8760


def test_the_mean_price_worked_by_hand():
    """Five of 24 hours at 0.42 and the others at 0.18 have the mean 0.23; 365 days of 24 hours less nothing."""
    old = HEAD.replace("America/Denver", "America/Phoenix")
    old += "periods: {peak: 16:00-21:00, off-peak: rest}\nprices: {peak: 0.42, off-peak: 0.18}"
    found = difference(document(old), document(old.replace("0.18", "0.2")), year=2026)
    assert found.mean == pytest.approx(((5 * 0.42 + 19 * 0.18) / 24, (5 * 0.42 + 19 * 0.2) / 24), abs=1e-12)


@pytest.mark.parametrize(
    ("old", "new", "changes"),
    [
        ({"fixed": "1 per day"}, {"fixed": "1  per day"}, []),
        ({"prices": 0.2}, {"prices": 0.20}, []),
        ({"periods": {"a": ["x"]}}, {"periods": {"a": "x"}}, []),
        ({"name": "A"}, {"name": "B"}, []),
        ({}, {"taxes": {"city": "5 %"}}, [LineChange("taxes / city", None, "5 %")]),
        (
            {"demand": {"d": {"price": 7.09, "interval": "30 min"}}},
            {"demand": {"d": {"price": 8, "interval": "30 min"}}},
            [LineChange("demand / d / price", "7.09", "8")],
        ),
        (
            {"adders": {"a": {"price": 1, "hours": "x"}}},
            {},
            [LineChange("adders / a", "price: 1, hours: x", None)],
        ),
        (
            {"prices": "0.1 up to 600 then 0.2"},
            {"prices": {"peak": 0.3}},
            [LineChange("prices", "0.1 up to 600 then 0.2", "peak: 0.3")],
        ),
    ],
)
def test_lines_as_they_are_written(old, new, changes):
    """Whatever a line is about, its keys and what is written are told; spaces and trailing zeros are no change."""
    assert list(changed_lines(old, new)) == changes
