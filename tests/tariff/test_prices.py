"""Prices, worked by hand: seasons, versions, slots across boundaries, adders, taxes, export, cents."""

import re
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.clock import day_start_s
from chargeplan.errors import InputError
from chargeplan.tariff import read_tariff
from chargeplan.tariff.spans import step_seconds

HEAD = "name: Test\ncurrency: USD\ntimezone: {zone}\n"


def tariff_of(text, zone="America/Denver"):
    return read_tariff(HEAD.format(zone=zone) + text)


# ------------------------------------------------------------------------------------------------ slots


def test_one_price():
    """A flat price holds in all 96 quarter hours of a day, and the index is in the sheet's zone."""
    series = tariff_of("prices: 0.31\n").prices("2026-11-25", "2026-11-26")
    assert len(series) == 96
    assert set(series) == {0.31}
    assert series.name == "price_per_kwh"
    assert series.index[0].isoformat() == "2026-11-25T00:00:00-07:00"
    assert series.index[-1].isoformat() == "2026-11-25T23:45:00-07:00"


BOUNDARY = """
periods: {peak: 16:20-21:00, off-peak: rest}
prices: {peak: 0.60, off-peak: 0.12}
"""


def test_a_slot_across_a_boundary_has_the_mean_over_time():
    """16:00-17:00 is 20 minutes at 0.12 and 40 at 0.60: (20 x 0.12 + 40 x 0.60) / 60 = 0.44, by hand."""
    tariff = tariff_of(BOUNDARY)
    assert list(tariff.prices("2026-11-25 15:00", "2026-11-25 18:00", "1 h")) == pytest.approx([0.12, 0.44, 0.60])
    # 16:15-16:30 is 5 minutes at 0.12 and 10 at 0.60.
    assert list(tariff.prices("2026-11-25 16:15", "2026-11-25 16:45")) == pytest.approx([0.44, 0.60])
    # The day holds 4 h 40 min of peak: (280 x 0.60 + 1160 x 0.12) / 1440.
    assert tariff.prices("2026-11-25", "2026-11-26", "24 h").item() == pytest.approx(307.2 / 1440)
    # Slots that begin off the hour: 15:50-16:50 is 30 minutes of each.
    assert tariff.prices("2026-11-25 15:50", "2026-11-25 16:50", "1 h").item() == pytest.approx(0.36)


@pytest.mark.parametrize(
    ("hours", "resolution", "price_at_six"),
    [
        ("00:00-06:30", 30, 0.5),
        ("06:45-24:00", 45, 0.25),
        ("05:00-06:01", 1, 1 / 60),
        ("12:00-06:20 starting Tue", 20, 1 / 3),
    ],
)
def test_both_ends_of_a_window_cut_a_slot(hours, resolution, price_at_six):
    """The hour from 6:00 of a Wednesday is cut where a window begins or ends, even if nothing else begins there."""
    tariff = tariff_of(f"periods: {{one: {hours}, zero: rest}}\nprices: {{one: 1, zero: 0}}\n")
    assert tariff.resolution_min == resolution
    assert tariff.prices("2026-11-25 06:00", "2026-11-25 07:00", "1 h").item() == pytest.approx(price_at_six)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(["America/Denver", "Asia/Kathmandu", "Australia/Lord_Howe", "Europe/London"]),
    st.integers(0, 366 * 1440),
    st.sampled_from([2, 5, 10, 15, 20, 30, 60, 90, 120, 240, 720, 1440]),
    st.integers(1, 12),
)
def test_a_longer_step_is_the_mean_of_its_minutes(zone, first_minute, step_min, count):
    """Any slots of any length, anywhere in a year of clock changes, have the mean of the prices minute by minute."""
    tariff = tariff_of(
        """
holidays: [Jul 4, Dec 25]
periods: {peak: "16:20-21:00 on weekdays except holidays", night: "22:45-05:10 starting Fri, Sun", other: rest}
prices: {peak: 0.60, night: 0.05, other: 0.12}
adders: {morning: {price: 0.03, hours: 04:55-07:05}}
versions: [{from: 2026-07-01, prices: {peak: 0.70, night: 0.06, other: 0.15}}]
""",
        zone,
    )
    first = int(datetime(2026, 1, 1, tzinfo=UTC).timestamp()) + 60 * first_minute
    slots = tariff.price_array(first + 60 * step_min * np.arange(count), 60 * step_min)
    minutes = tariff.price_array(first + 60 * np.arange(step_min * count), 60)
    assert slots == pytest.approx(minutes.reshape(count, step_min).mean(axis=1), abs=1e-12)
    # Slots need not follow one another.
    apart = tariff.price_array(first + 60 * step_min * np.arange(count)[::2], 60 * step_min)
    assert apart == pytest.approx(slots[::2], abs=1e-12)


def test_slots_that_do_not_follow_one_another():
    """A day of 23 hours and a day in June, asked for alone: the first reaches an hour into Monday, by hand 25."""
    tariff = tariff_of("periods: {sunday: all day on Sun, other: rest}\nprices: {sunday: 24, other: 48}\n")
    days = [date(2026, 3, 8), date(2026, 6, 1)]
    start_s = np.array([day_start_s("America/Denver", day) for day in days])
    assert tariff.price_array(start_s, 86_400).tolist() == [25.0, 48.0]  # (23 x 24 + 1 x 48) / 24


def test_zones_off_the_hour():
    """Kathmandu is 5:45 ahead of UTC: slots on whole hours of UTC are cut where the wall clock says."""
    tariff = tariff_of("periods: {peak: 17:00-20:00, other: rest}\nprices: {peak: 4, other: 0}\n", "Asia/Kathmandu")
    hour = 3600
    first = int(datetime(2026, 11, 25, 10, tzinfo=UTC).timestamp())  # 15:45 in Kathmandu
    assert tariff.price_array(first + hour * np.arange(6), hour).tolist() == [0, 3, 4, 4, 1, 0]
    local = tariff.prices("2026-11-25 16:00", "2026-11-25 21:00", "1 h")
    assert local.tolist() == [0, 4, 4, 4, 0]
    assert str(local.index[0]) == "2026-11-25 16:00:00+05:45"


def test_lord_howe():
    """Lord Howe Island turns its clock back by half an hour at 02:00 on 2026-04-05: 01:30-02:00 comes twice."""
    tariff = tariff_of(
        "periods: {late: 01:30-02:00, other: rest}\nprices: {late: 2, other: 0}\n", "Australia/Lord_Howe"
    )
    assert tariff.prices("2026-04-05", "2026-04-05 04:00", "30 min").tolist() == [0, 0, 0, 2, 2, 0, 0, 0, 0]
    # Whole hours from midnight: 1:00-1:59 half late, then 1:30 (again) - 2:30, half late once more.
    assert tariff.prices("2026-04-05", "2026-04-05 03:30", "1 h").tolist() == [0, 1, 1, 0]
    assert len(tariff.prices("2026-04-05", "2026-04-06", "30 min")) == 49
    assert len(tariff.prices("2026-10-04", "2026-10-05", "30 min")) == 47


@pytest.mark.parametrize(
    ("step", "seconds"),
    [
        ("15 min", 900),
        ("15min", 900),
        ("1 h", 3600),
        ("60 s", 60),
        ("1 d", 86_400),
        (5, 300),
        (timedelta(hours=2), 7200),
    ],
)
def test_steps(step, seconds):
    """Lengths of a slot, as text, minutes or timedelta."""
    assert step_seconds(step) == seconds
    assert len(tariff_of("prices: 1\n").prices("2026-11-25", "2026-11-26", step)) == 86_400 / seconds


@pytest.mark.parametrize(
    "step",
    [0, 7, 1441, 2880, 0.5, -15, float("nan"), float("inf"), "0 min", "90 s", "7 min", "2 d", timedelta(seconds=59)],
)
def test_steps_that_do_not_fit(step):
    """Whole minutes that divide a day, or an error."""
    message = f"a step of {step} does not fit; write whole minutes that divide a day, like 15 min or 1 h"
    with pytest.raises(InputError, match=f"^{re.escape(message)}$"):
        step_seconds(step)


@pytest.mark.parametrize(
    ("start", "end", "message"),
    [
        ("2026-11-25", "2026-11-25", "the end 2026-11-25 is not after the start 2026-11-25; give a later end"),
        ("2026-11-26", "2026-11-25", "the end 2026-11-25 is not after the start 2026-11-26; give a later end"),
        (
            "2026-11-25 12:00:30",
            "2026-11-26",
            "the start 2026-11-25 12:00:30 is not on a whole minute; leave the seconds out",
        ),
    ],
)
def test_spans_that_do_not_fit(start, end, message):
    """An empty span or a start between minutes is an error that says so."""
    with pytest.raises(InputError, match=f"^{re.escape(message)}$"):
        tariff_of("prices: 1\n").prices(start, end)


def test_no_slots_no_prices():
    """An empty array gives an empty array."""
    assert tariff_of("prices: 1\n").price_array(np.zeros(0, dtype=np.int64), 900).size == 0


# ------------------------------------------------------------------------------------------------ seasons and years

NEW_YEAR = """
holidays: [Jan 1]
seasons: {winter: Nov 16 - Feb 29, summer: Mar 1 - Nov 15}
periods:
  party: 22:00-02:00 starting Thu in winter
  morning: 02:00-06:00 on holidays
  other: rest
prices:
  winter: {party: 5, morning: 3, other: 1}
  summer: {party: 50, morning: 30, other: 10}
"""


def test_a_season_and_a_night_over_new_year():
    """2026-12-31 is a Thursday: its night runs into 2027, in one season, and the holiday's morning follows."""
    tariff = tariff_of(NEW_YEAR)
    eve, day = tariff.prices("2026-12-31", "2027-01-01", "1 h"), tariff.prices("2027-01-01", "2027-01-02", "1 h")
    assert eve.tolist() == [1] * 22 + [5] * 2
    assert day.tolist() == [5] * 2 + [3] * 4 + [1] * 18
    assert set(tariff.frame("2026-12-30", "2027-01-03", "1 h")["season"]) == {"winter"}


def test_leap_days():
    """29 February belongs to the season it is named in, in 2028; in 2027 the season ends on the 28th."""
    tariff = tariff_of(NEW_YEAR)
    leap = tariff.frame("2028-02-28", "2028-03-02", "24 h")
    assert list(leap["season"]) == ["winter", "winter", "summer"]
    assert [str(start.date()) for start in leap.index] == ["2028-02-28", "2028-02-29", "2028-03-01"]
    assert list(tariff.frame("2027-02-28", "2027-03-02", "24 h")["season"]) == ["winter", "summer"]
    # 2100 is no leap year: 28 February is a Sunday and 1 March a Monday.
    assert list(tariff.frame("2100-02-28", "2100-03-02", "24 h")["season"]) == ["winter", "summer"]


def test_the_last_night_of_a_season():
    """2030-02-28 is a Thursday: its night is a night of winter, and after midnight has the price of summer.

    Prices follow the date, as bills do (common practice, no source); the Friday night is no `party`.
    """
    tariff = tariff_of(NEW_YEAR)
    assert tariff.prices("2030-02-28 20:00", "2030-03-01 04:00", "1 h").tolist() == [1, 1, 5, 5, 50, 50, 10, 10]
    assert tariff.prices("2030-03-07 20:00", "2030-03-08 04:00", "1 h").tolist() == [10] * 8


def test_prices_by_season_only_and_by_season_and_period():
    """A season may have one price for all its periods."""
    tariff = tariff_of("""
seasons: {summer: Jun - Aug, winter: rest}
periods: {peak: 16:00-21:00, other: rest}
prices: {summer: {peak: 4, other: 2}, winter: 1}
""")
    assert tariff.prices("2026-08-31 15:00", "2026-08-31 17:00", "1 h").tolist() == [2, 4]
    assert tariff.prices("2026-09-01 15:00", "2026-09-01 17:00", "1 h").tolist() == [1, 1]
    seasons_only = tariff_of("seasons: {summer: Jun - Aug, winter: rest}\nprices: {summer: 2, winter: 1}\n")
    assert seasons_only.prices("2026-08-31", "2026-09-02", "24 h").tolist() == [2, 1]


# ------------------------------------------------------------------------------------------------ versions

VERSIONS = """
effective: 2026-01-01
until: 2026-12-31
periods: {peak: 16:00-21:00, other: rest}
prices: {peak: 3, other: 1}
adders: {levy: 0.5}
versions:
  - from: 2026-03-01
    prices: {peak: 4, other: 2}
  - from: 2026-06-15
    periods: {peak: 17:00-20:00, night: 00:00-06:00, other: rest}
    components: {supply: {peak: 5, night: 1, other: 3}, grid: 0.25}
    taxes: {vat: 20 %}
  - from: 2026-10-01
    prices: 7
    adders: {}
"""


def test_versions():
    """Each version says only what changes; the rest stays. Worked by hand at 18:00 and 03:00."""
    tariff = tariff_of(VERSIONS)

    def at(moment):
        return tariff.prices(moment, datetime.fromisoformat(moment + ":00-07:00") + timedelta(hours=1), "1 h").item()

    assert at("2026-02-28 18:00") == pytest.approx(3.5)
    assert at("2026-02-28 03:00") == pytest.approx(1.5)
    assert tariff.prices("2026-03-01 18:00", "2026-03-01 19:00", "1 h").item() == pytest.approx(4.5)
    assert tariff.prices("2026-06-14 03:00", "2026-06-14 04:00", "1 h").item() == pytest.approx(2.5)
    # (5 + 0.25 + 0.5) x 1.2 and (1 + 0.25 + 0.5) x 1.2, hours of the new table.
    evening = tariff.prices("2026-06-15 16:00", "2026-06-15 18:00", "1 h")
    assert evening.tolist() == pytest.approx([(3 + 0.75) * 1.2, 5.75 * 1.2])
    assert tariff.prices("2026-06-15 03:00", "2026-06-15 04:00", "1 h").item() == pytest.approx(1.75 * 1.2)
    # Prices instead of components, no adder any more, the tax stays.
    assert tariff.prices("2026-10-01", "2026-10-02", "24 h").item() == pytest.approx(8.4)


def test_a_span_across_versions():
    """The change is at local midnight; a slot across it has the mean of both."""
    tariff = tariff_of(VERSIONS)
    around = tariff.prices("2026-02-28 22:00", "2026-03-01 02:00", "1 h")
    assert around.tolist() == pytest.approx([1.5, 1.5, 2.5, 2.5])
    assert tariff.prices("2026-02-28 23:30", "2026-03-01 00:30", "1 h").item() == pytest.approx(2.0)
    frame = tariff.frame("2026-06-14 23:00", "2026-06-15 01:00", "1 h")
    assert list(frame["period"]) == ["other", "night"]
    assert list(frame["energy"]) == [2, 0]
    assert list(frame["supply"]) == [0, 1]
    assert list(frame["vat"]) == pytest.approx([0, 0.35])
    assert [run.period for run in tariff.day(date(2026, 6, 15))] == ["night", "other", "peak", "other"]


def test_a_version_of_the_seasons():
    """A version may change the seasons, and the prices that name them, together."""
    tariff = tariff_of("""
seasons: {summer: Jun - Aug, winter: rest}
prices: {summer: 2, winter: 1}
versions:
  - from: 2027-01-01
    seasons: {warm: May - Sep, cold: rest}
    prices: {warm: 20, cold: 10}
""")
    assert tariff.prices("2026-12-31", "2027-01-02", "24 h").tolist() == [1, 10]
    assert tariff.prices("2026-05-31", "2026-06-02", "24 h").tolist() == [1, 2]
    assert tariff.prices("2027-04-30", "2027-05-02", "24 h").tolist() == [10, 20]


@pytest.mark.parametrize(
    ("start", "end", "message"),
    [
        ("2025-12-31 23:45", "2026-01-01 01:00", "the sheet `Test` begins on 2026-01-01, but 2025-12-31 was asked for"),
        ("2026-12-31 23:00", "2027-01-01 00:15", "the sheet `Test` ends on 2026-12-31, but 2027-01-01 was asked for"),
        ("2030-01-01", "2030-01-02", "the sheet `Test` ends on 2026-12-31, but 2030-01-01 was asked for"),
    ],
)
def test_prices_outside_the_dates(start, end, message):
    """Before the first and after the last day there is an error and no guess, from every way to ask."""
    tariff = tariff_of(VERSIONS)
    for ask in (tariff.prices, tariff.export_prices, tariff.frame):
        with pytest.raises(InputError, match=f"^{re.escape(message)}$"):
            ask(start, end)


def test_the_first_and_the_last_day_are_included():
    """`effective` and `until` are both days of the sheet."""
    tariff = tariff_of(VERSIONS)
    assert tariff.prices("2026-01-01", "2026-01-02", "24 h").size == 1
    assert tariff.prices("2026-12-31", "2027-01-01", "24 h").size == 1
    for day in (date(2025, 12, 31), date(2027, 1, 1)):
        with pytest.raises(InputError, match="was asked for"):
            tariff.day(day)


# ------------------------------------------------------------------------------------------------ looking at a day


def test_the_runs_of_a_day():
    """Runs join equal prices of one period, in time, and cover the day whatever its length."""
    tariff = tariff_of("""
periods: {peak: 16:00-21:00 on weekdays, night: 22:00-06:00, other: rest}
prices: {peak: 3, night: 1, other: 1}
""")
    runs = tariff.day(date(2026, 11, 25))
    assert [(run.period, (run.end_s - run.start_s) / 3600, run.price_per_kwh) for run in runs] == [
        *[("night", 6, 1), ("other", 10, 1), ("peak", 5, 3), ("other", 1, 1), ("night", 2, 1)]
    ]
    assert [run.end_s for run in runs[:-1]] == [run.start_s for run in runs[1:]]
    for day, hours in ((date(2026, 3, 8), 23), (date(2026, 11, 1), 25)):
        runs = tariff.day(day)
        assert sum(run.end_s - run.start_s for run in runs) == hours * 3600
        assert {run.day_type for run in runs} == {"weekend"}
    assert tariff_of("prices: 1\n", "Pacific/Apia").day(date(2011, 12, 30)) == []


def test_labels():
    """A frame says for each slot in which period, season and kind of day it begins."""
    tariff = tariff_of("""
holidays: [Nov 26]
seasons: {summer: Jun - Aug, winter: rest}
periods: {peak: 16:00-21:00, other: rest}
prices: {summer: 2, winter: 1}
""")
    frame = tariff.frame("2026-11-25 16:30", "2026-11-29 16:30", "24 h")
    assert list(frame["period"]) == ["peak"] * 4
    assert list(frame["day_type"]) == ["weekday", "holiday", "weekday", "weekend"]
    assert list(frame["season"]) == ["winter"] * 4
    assert set(tariff_of("prices: 1\n").frame("2026-11-25", "2026-11-26")["period"]) == {"all hours"}
    assert tariff.has_holidays
    assert not tariff_of("prices: 1\n").has_holidays
    assert [tariff.is_holiday(date(2026, 11, day)) for day in (25, 26)] == [False, True]
    at = int(datetime(2026, 11, 25, 23, 59, 59, tzinfo=UTC).timestamp())  # 16:59:59 in Denver
    assert tariff.period_at(at) == ("peak", "winter")


def test_the_table_for_notebooks():
    """The HTML table names every season and period with prices, taxes included, and escapes what the sheet wrote."""
    html = tariff_of(
        "seasons: {s<1: Jun - Aug, winter: rest}\nperiods: {peak: 16:00-21:00, other: rest}\n"
        "prices: {s<1: {peak: 0.5, other: 0.25}, winter: 0.1}\ntaxes: {vat: 20 %}\n"
    )._repr_html_()
    assert "<th>s&lt;1</th><td>0.6000</td><td>0.3000</td>" in html
    assert "<th>winter</th><td>0.1200</td><td>0.1200</td>" in html
    assert "USD per kWh" in html


def test_importing_prices_needs_no_pandas():
    """Pricing arrays is part of the quick path: it loads neither pandas nor scipy (a promise of this project)."""
    import subprocess
    import sys

    code = (
        "import sys, numpy as np\n"
        "from chargeplan.tariff import read_tariff\n"
        "t = read_tariff('{name: A, currency: USD, timezone: America/Denver, prices: 1}')\n"
        "t.price_array(np.arange(1764115200, 1764201600, 900), 900)\n"
        "print(sorted({'pandas', 'scipy', 'pulp', 'matplotlib'} & set(sys.modules)))\n"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
