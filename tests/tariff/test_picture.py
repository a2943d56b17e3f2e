"""The picture of a sheet tells the truth on every day of the year; checked against the prices of each day."""

from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.tariff import load_tariff, read_tariff, shipped_sheets
from chargeplan.tariff.day_panels import panels
from chargeplan.tariff.day_words import dates_text, days_text
from chargeplan.tariff.picture import picture
from chargeplan.tariff.year_grid import nearest_year, year_grid

PUBLISHED = Path(__file__).parents[1] / "published"
HEAD = "name: S\ncurrency: USD\ntimezone: America/Denver\n"


def row_on(shown, day):
    """What the picture says of a day, as a reader finds it: days of their own, then holidays, then the weekday."""
    for panel in shown.panels:
        for row in panel.rows:
            if panel.single and row.first <= day <= row.last:
                return row.code
    for panel in shown.panels:
        if panel.single or not (panel.holidays if day in shown.holidays else day.weekday() in panel.weekdays):
            continue
        for row in panel.rows:
            if row.first <= day <= row.last:
                return row.code
    return None


def assert_true_every_day(tariff, year):
    """Every minute of every day with 24 hours has the period and price that the picture shows."""
    shown = picture(tariff, year)
    assert not shown.averaged
    names = np.array([step.periods[0] for step in shown.steps])
    prices = np.array([step.low for step in shown.steps])
    first, last = tariff.sheet.effective or date.min, tariff.sheet.until or date.max
    drawn = 0
    for n in range((date(year + 1, 1, 1) - date(year, 1, 1)).days):
        day = date(year, 1, 1) + timedelta(days=n)
        if not first <= day <= last:
            assert day not in shown.holidays
            continue
        runs = tariff.day(day)
        if runs[-1].end_s - runs[0].start_s != 86400:
            continue
        code = row_on(shown, day)
        assert code is not None, day
        code = np.repeat(code, shown.step_min)
        for run in runs:
            said = code[(run.start_s - runs[0].start_s) // 60 : (run.end_s - runs[0].start_s) // 60]
            assert set(names[said]) == {run.period}, day
            np.testing.assert_allclose(prices[said], run.price_per_kwh, atol=1e-6)
        drawn += 1
    assert drawn
    return shown


@pytest.mark.parametrize("name", shipped_sheets())
@pytest.mark.parametrize("year", [2026, 2028])
def test_shipped_sheets(name, year):
    """The picture agrees with the day's prices, in an ordinary and a leap year."""
    shown = assert_true_every_day(load_tariff(name), year)
    assert len(shown.panels) <= 4


DAYS = st.sampled_from(
    [
        *["weekdays", "weekdays except holidays", "weekends", "weekends and holidays", "every day", "holidays"],
        *["Mon-Thu", "Fri", "Sat", "Sun and holidays", "Tue, Thu except holidays"],
    ]
)


@st.composite
def sheets(draw):
    """Sheets with seasons and versions that begin anywhere, nights that belong to another day, and holidays."""
    step = draw(st.sampled_from([60, 30, 15]))
    edges = sorted(draw(st.sets(st.integers(0, 1440 // step - 1), min_size=2, max_size=4)))
    times = [f"{edge * step // 60:02d}:{edge * step % 60:02d}" for edge in edges]
    begin, end = sorted(draw(st.sets(st.dates(date(2026, 1, 2), date(2026, 12, 30)), min_size=2, max_size=2)))
    word = draw(st.sampled_from(["on", "starting"]))
    seasons = draw(st.sampled_from(["", " in summer", " in winter"]))
    windows = [f"{times[0]}-{times[1]} {word} {draw(DAYS)}{seasons}"]
    if len(times) > 3:
        windows.append(f"{times[2]}-{times[3]} on {draw(DAYS)}")
    text = HEAD + (
        "holidays: [Jan 1, last Monday of May, Jul 3, Jul 4, Dec 25, 2026-10-12]\n"
        f"seasons: {{summer: {begin:%b} {begin.day} - {end:%b} {end.day}, winter: rest}}\n"
        f"periods: {{peak: {windows}, off-peak: rest}}\n"
        f"prices: {{summer: {{peak: 0.5, off-peak: 0.2}}, winter: {{peak: {draw(st.sampled_from([0.5, 0.4]))},"
        f" off-peak: {draw(st.sampled_from([0.2, 0.1]))}}}}}\n"
    )
    if draw(st.booleans()):
        day = draw(st.dates(date(2026, 1, 2), date(2026, 12, 31)))
        change = draw(st.sampled_from(["prices: 0.3", f"periods: {{peak: '{times[0]}-{times[1]}', off-peak: rest}}"]))
        text += f"versions: [{{from: {day}, {change}}}]\n"
    return text


@settings(
    max_examples=60,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(text=sheets())
def test_any_sheet_is_drawn_truly(text):
    """Whatever begins in the middle of a month or week, each day is drawn as it is."""
    assert_true_every_day(read_tariff(text), 2026)


def test_published_hours_of_ontario():
    """On-peak 11-17 in summer and 7-11, 17-19 in winter, weekends and holidays off-peak all day.

    Source: Hydro Hawkesbury, Time of Use rates (see tests/published/ontario_time_of_use.yaml).
    """
    shown = picture(load_tariff(PUBLISHED / "ontario_time_of_use.yaml"), 2024)
    assert [panel.days for panel in shown.panels] == ["weekdays", "weekends and holidays"]
    weekdays, weekends = shown.panels
    peak = {
        row.first.month: [n / 2 for n, step in enumerate(row.code) if shown.steps[step].periods == ("on-peak",)]
        for row in weekdays.rows
    }
    summer, winter = np.arange(11, 17, 0.5), np.r_[np.arange(7, 11, 0.5), np.arange(17, 19, 0.5)]
    assert len(peak) == 12
    for month, hours in peak.items():
        assert hours == (summer if 5 <= month <= 10 else winter).tolist()
    assert {shown.steps[step].periods for row in weekends.rows for step in row.code} == {("off-peak",)}


def test_a_season_that_begins_in_the_middle_of_a_month():
    """April 16 and October 16 split their months (published summer of a Carolina rate); other months have one row."""
    shown = picture(load_tariff(PUBLISHED / "carolina_super_time_of_use.yaml"), 2026)
    labels = [dates_text(row.first, row.last) for row in shown.panels[0].rows]
    assert labels == [
        *["Jan", "Feb", "Mar", "Apr 1-15", "Apr 16-30", "May", "Jun", "Jul", "Aug", "Sep"],
        *["Oct 1-15", "Oct 16-31", "Nov", "Dec"],
    ]


@pytest.mark.parametrize("day", [date(2026, 8, 1), date(2026, 8, 15), date(2026, 5, 1), date(2026, 11, 1)])
def test_the_date_of_a_change_is_the_one_of_the_sheet(day):
    """A version that begins on a Saturday, a holiday or the day of a clock change, is not dated to the Monday after."""
    text = HEAD + "holidays: [May 1]\nperiods: {peak: 16:00-21:00 on weekdays except holidays, off-peak: rest}\n"
    text += f"prices: {{peak: 0.5, off-peak: 0.2}}\nversions: [{{from: {day}, prices: {{peak: 0.6, off-peak: 0.2}}}}]\n"
    shown = assert_true_every_day(read_tariff(text), 2026)
    weekdays = shown.panels[0]
    changed = [row.first for before, row in zip(weekdays.rows, weekdays.rows[1:], strict=False)
               if not np.array_equal(before.code, row.code)]  # fmt: skip
    assert changed == [day]


def test_the_dates_of_an_override():
    """Four weeks in which all hours are off-peak, from a Saturday to a Friday: both ends as the sheet says."""
    text = HEAD + "periods: {peak: 16:00-21:00 on weekdays, off-peak: rest}\nprices: {peak: 0.5, off-peak: 0.2}\n"
    text += "overrides: [{from: 2026-08-08, days: 28, period: off-peak}]\n"
    shown = assert_true_every_day(read_tariff(text), 2026)
    labels = [dates_text(row.first, row.last) for row in shown.panels[0].rows]
    assert labels[7:] == ["Aug 1-7", "Aug 8-31", "Sep 1-4", "Sep 5-30", "Oct", "Nov", "Dec"]


def test_holidays_unlike_any_other_day_have_a_panel():
    """A peak on holidays only: their own panel, a row for each month with holidays."""
    text = HEAD + "holidays: [Jan 1, Jul 4]\nperiods: {peak: 10:00-12:00 on holidays except Mon, off-peak: rest}\n"
    text = text.replace(" except Mon", "") + "prices: {peak: 0.5, off-peak: 0.2}\n"
    shown = assert_true_every_day(read_tariff(text), 2026)
    assert [panel.days for panel in shown.panels] == ["every day", "holidays"]
    assert [row.first for row in shown.panels[1].rows] == [date(2026, 1, 1), date(2026, 7, 4)] == list(shown.holidays)


def test_holidays_that_change_nothing_are_not_spoken_of():
    """Holidays named by a sheet whose hours ignore them."""
    text = HEAD + "holidays: [Jan 1]\nperiods: {peak: 10:00-12:00, off-peak: rest}\nprices: {peak: 0.5, off-peak: 0.2}"
    shown = assert_true_every_day(read_tariff(text), 2026)
    assert [panel.days for panel in shown.panels] == ["every day"]
    assert shown.holidays == ()


def test_the_night_after_a_holiday_is_an_other_day():
    """A night that begins on a holiday reaches into an ordinary day, which then is unlike the others."""
    text = HEAD + "holidays: [2026-07-15]\nperiods: {night: 22:00-06:00 starting holidays, day: rest}\n"
    shown = assert_true_every_day(read_tariff(text + "prices: {night: 0.1, day: 0.3}"), 2026)
    assert {panel.days: [row.first for row in panel.rows] for panel in shown.panels if panel.single} == {
        "holidays": [date(2026, 7, 15)],
        "other days": [date(2026, 7, 16)],
    }


def test_a_sheet_of_a_part_of_a_year():
    """Only the days of the sheet are drawn; a year without any names the nearest one."""
    tariff = load_tariff(PUBLISHED / "sacramento_summer_2021.yaml")
    assert nearest_year(tariff, 2026) == nearest_year(tariff, 2021) == 2021
    shown = assert_true_every_day(tariff, 2021)
    assert [(row.first, row.last) for row in (shown.panels[0].rows[0], shown.panels[0].rows[-1])] == [
        (date(2021, 6, 1), date(2021, 6, 30)),
        (date(2021, 9, 1), date(2021, 9, 30)),
    ]
    assert (shown.begins, shown.ends) == (date(2021, 6, 1), date(2021, 9, 30))
    with pytest.raises(InputError, match="ends on 2021-09-30, so there is nothing of 2026; choose 2021"):
        picture(tariff, 2026)
    with pytest.raises(InputError, match="begins on 2021-06-01, so there is nothing of 2020; choose 2021"):
        picture(tariff, 2020)


def test_steps_are_cheapest_first_and_each_a_period_at_a_price():
    """Two periods at one price are two steps, one period at two prices as well."""
    text = HEAD + "periods: {a: 00:00-08:00, b: 08:00-16:00, c: rest}\nprices: {a: 0.2, b: 0.2, c: 0.1}\n"
    text += "adders: {night: {price: 0.05, hours: 22:00-24:00}}"
    steps = picture(read_tariff(text), 2026).steps
    assert [round(step.low, 6) for step in steps] == [0.1, 0.15, 0.2, 0.2]
    assert [step.periods for step in steps[:2]] == [("c",), ("c",)]
    assert {step.periods for step in steps[2:]} == {("a",), ("b",)}
    assert [step.mark for step in steps] == ["1", "2", "3", "4"]


def test_many_prices_are_shown_as_means():
    """24 hourly prices in each of two versions are more than there are signs: bands of the monthly means."""
    hours = ", ".join(f"h{n}: '{n:02d}:00-{n + 1:02d}:00'" for n in range(24))
    first, second = (", ".join(f"h{n}: {base + n / 100}" for n in range(24)) for base in (0.1, 0.5))
    text = HEAD + f"periods: {{{hours}}}\nprices: {{{first}}}\nversions: [{{from: 2026-07-16, prices: {{{second}}}}}]"
    shown = picture(read_tariff(text), 2026)
    assert shown.averaged
    assert [panel.days for panel in shown.panels] == ["weekdays", "weekends"]
    for row, low in ((shown.panels[0].rows[0], 0.1), (shown.panels[0].rows[11], 0.5)):
        for n, step in enumerate(row.code.tolist()):
            price = low + n // 2 / 100
            assert shown.steps[step].low - 1e-9 <= price <= shown.steps[step].high + 1e-9
    # July: 11 weekdays of the old prices (1, 2, 3, 6-10, 13-15) and 12 of the new.
    july = shown.panels[0].rows[6].code.tolist()
    mean = (11 * 0.1 + 12 * 0.5) / 23
    assert shown.steps[july[0]].low - 1e-9 <= mean <= shown.steps[july[0]].high + 1e-9


def test_the_grid_on_the_days_of_a_clock_change():
    """15 U.S.C. 260a: on 8 March 2026 Denver has no 02:00-03:00, on 1 November it has 01:00-02:00 twice."""
    grid = year_grid(load_tariff("two-period"), 2026)
    spring, autumn = (date(2026, 3, 8) - grid.first).days, (date(2026, 11, 1) - grid.first).days
    assert np.flatnonzero(grid.code[spring] < 0).tolist() == [4, 5]
    assert np.flatnonzero(grid.odd).tolist() == [spring, autumn]
    assert (np.delete(grid.code, spring, axis=0) >= 0).all()


def test_names_of_days():
    """Runs of three days or more are written with a dash."""
    assert days_text(range(7)) == "every day"
    assert days_text([5, 6]) == "weekends"
    assert days_text([0, 1, 2, 4]) == "Mon-Wed, Fri"
    assert days_text([5]) == "Sat"


@settings(max_examples=100, deadline=None, database=None)
@given(
    code=st.lists(st.integers(0, 2), min_size=1, max_size=60),
    first=st.dates(date(2026, 1, 1), date(2026, 10, 1)),
)
def test_panels_of_any_days_lose_nothing(code, first):
    """Days in any order whatever: each is in a panel with its own code."""
    rows = np.array(code)[:, None]
    none = np.zeros(len(code), dtype=bool)
    found = panels(rows, first, none, none)
    for n, expected in enumerate(code):
        day = first + timedelta(days=n)
        single = [r for p in found if p.single for r in p.rows if r.first <= day <= r.last]
        usual = [r for p in found if day.weekday() in p.weekdays for r in p.rows if r.first <= day <= r.last]
        assert [r.code[0] for r in single or usual] == [expected]
