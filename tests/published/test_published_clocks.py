"""Published cases of clocks: meters that follow another clock than the wall's, and the days that change it.

Every case is a whole sheet with a `clock:`; what is expected is typed from the source, in hours of the wall clock.
"""

from datetime import date, timedelta

import numpy as np
import pandas as pd
import pytest

from chargeplan.tariff import read_tariff


def letters_on(tariff, day):
    """The periods of the hours of a local day, each as the first letter of its name."""
    start = date.fromisoformat(day)
    return "".join(period[0] for period in tariff.frame(start, start + timedelta(days=1), "1 h")["period"])


def hours(*spans):
    """The letters of a day of 24 hours: off-peak, but for spans of hours that have another letter."""
    day = ["o"] * 24
    for letter, first, last in spans:
        day[first:last] = [letter] * (last - first)
    return "".join(day)


# ------------------------------------------------------------------------------------- meters with the old change dates

LEGACY = "clock: {forward: first Sunday of April, back: last Sunday of October}"
THREE_PERIODS = """
name: Three periods
currency: USD
timezone: America/Los_Angeles
%s
seasons: {summer: May 1 - Oct 31, winter: Nov 1 - Apr 30}
periods:
  peak: 13:00-19:00 on weekdays in summer
  half: # partial-peak
    - 10:00-13:00, 19:00-21:00 on weekdays in summer
    - 17:00-20:00 on weekends in summer
    - 17:00-20:00 on weekdays in winter
  off-peak: rest
prices: {peak: 3, half: 2, off-peak: 1}
"""
WINTER_DAY = hours(("h", 17, 20))
WINTER_LATE = hours(("h", 18, 21))
SUMMER_DAY = hours(("h", 10, 13), ("p", 13, 19), ("h", 19, 21))
SUMMER_LATE = hours(("h", 11, 14), ("p", 14, 20), ("h", 20, 22))


@pytest.mark.parametrize(
    ("day", "letters"),
    [
        ("2014-03-07", WINTER_DAY),  # Friday, before the wall clock goes forward
        # Row 2014-03-09 to 2014-04-05: partial-peak 18-21 on weekdays.
        ("2014-03-10", WINTER_LATE),
        ("2014-03-26", WINTER_LATE),
        ("2014-04-04", WINTER_LATE),
        ("2014-03-15", hours()),  # Saturday
        ("2014-04-05", hours()),
        # Row 2014-04-06 to 2014-04-30: 17-20.
        ("2014-04-07", WINTER_DAY),
        ("2014-04-30", WINTER_DAY),
        ("2014-04-12", hours()),
        # Row 2014-05-01 to 2014-10-25: peak 13-19, partial-peak 10-13 and 19-21, on weekends 17-20.
        ("2014-05-01", SUMMER_DAY),
        ("2014-07-16", SUMMER_DAY),
        ("2014-10-24", SUMMER_DAY),
        ("2014-05-03", WINTER_DAY),
        ("2014-10-25", WINTER_DAY),
        # Row 2014-10-26 to 2014-10-31: everything an hour later.
        ("2014-10-26", WINTER_LATE),  # Sunday
        ("2014-10-27", SUMMER_LATE),
        ("2014-10-31", SUMMER_LATE),
        # The row after 31 October was cut off; both clocks agree again from 2 November.
        ("2014-11-03", WINTER_DAY),
    ],
)
def test_meters_with_the_old_change_dates(day, letters):
    """PG&E, Extension of daylight saving time, schedule E-6, 2014: four dated rows of hours, as printed.

    One rule explains them all: the meter changes its clock on the first Sunday of April and the last of October. The
    days from Monday 10 March to Friday 31 October are those of the rows; the first and the last are from memory.
    """
    assert letters_on(read_tariff(THREE_PERIODS % LEGACY), day) == letters


def days_that_differ(first, second, year):
    """Spans of dates on which two sheets do not price every hour alike."""
    one, other = (tariff.prices(f"{year}-01-01", f"{year + 1}-01-01", "1 h") for tariff in (first, second))
    days = sorted(set(one.index[one.to_numpy() != other.to_numpy()].date))
    starts = [day for day in days if day - timedelta(days=1) not in days]
    ends = [day for day in days if day + timedelta(days=1) not in days]
    return [(str(start), str(end)) for start, end in zip(starts, ends, strict=True)]


EVERY_DAY = """
name: Every day
currency: USD
timezone: America/Los_Angeles
%s
periods: {peak: 16:00-21:00, off-peak: rest}
prices: {peak: 2, off-peak: 1}
"""


@pytest.mark.parametrize(
    ("year", "spans"),
    [
        (2014, [("2014-03-09", "2014-04-05"), ("2014-10-26", "2014-11-01")]),  # as printed
        (2007, [("2007-03-11", "2007-03-31"), ("2007-10-28", "2007-11-03")]),  # from memory: the first year
        (2006, []),  # the meters had the dates of the law
    ],
)
def test_weeks_in_which_the_clocks_disagree(year, spans):
    """CPUC, Resolution E-3982, 2006-04-27: the weeks affected by the change of 2007, in all schedules of two utilities.

    PG&E prints the two spans of 2014.
    """
    assert days_that_differ(read_tariff(EVERY_DAY % LEGACY), read_tariff(EVERY_DAY % ""), year) == spans


def test_periods_that_respect_daylight_saving_time():
    """PG&E, TOU holidays page of today: periods respect daylight saving time, so a sheet says nothing of its clock."""
    tariff = read_tariff(THREE_PERIODS % "")
    for day in ("2014-03-10", "2014-04-04", "2014-04-07"):
        assert letters_on(tariff, day) == WINTER_DAY
    for day in ("2014-10-24", "2014-10-27", "2014-10-31"):
        assert letters_on(tariff, day) == SUMMER_DAY


# ---------------------------------------------------------------------------------------------- meters on standard time

NIGHT = """
name: Night meter
currency: AUD
timezone: Australia/Melbourne
%s
periods: {night: 23:00-07:00, day: rest}
prices: {night: 0.1, day: 0.3}
"""


@pytest.mark.parametrize("clock", ["standard", "UTC+10"])
@pytest.mark.parametrize(
    ("day", "night_hours"),
    [
        ("2017-07-17", [*range(7), 23]),  # standard time: 23:00-07:00
        ("2017-01-16", range(8)),  # daylight saving time: 00:00-08:00
        ("2017-04-01", range(8)),  # Saturday, the last day before the clock goes back
        ("2017-04-03", [*range(7), 23]),
        ("2017-10-02", range(8)),  # Monday, the first after it went forward
        ("2017-09-30", [*range(7), 23]),
    ],
)
def test_standard_time_in_victoria(clock, day, night_hours):
    """EWOV, case 2017/27265: meters keep Eastern Standard Time all year; 23:00-07:00 is 00:00-08:00 in summer."""
    expected = "".join("n" if hour in night_hours else "d" for hour in range(24))
    assert letters_on(read_tariff(NIGHT % f"clock: {clock}"), day) == expected


def test_metered_on_one_clock_and_billed_on_another():
    """EWOV, case 2017/27265: the bill had been converted to the designated times, so billing was right.

    A meter stamps its half-hours in UTC+10, the sheet's hours are those of the wall. In January the stamp 22:00 is
    23:00 on the wall, and night; the stamp 06:00 is 07:00, and day. 1, 2, 4 and 8 kWh tell the half-hours apart.
    """
    stamps = pd.date_range("2017-01-16", "2017-01-17", freq="30min", inclusive="left", tz="Etc/GMT-10")
    load = pd.Series(0.0, index=stamps)
    for stamp, kwh in {"05:30": 1, "06:00": 2, "21:30": 4, "22:00": 8}.items():
        load[pd.Timestamp(f"2017-01-16 {stamp}", tz="Etc/GMT-10")] = kwh
    for clock, night_kwh, day_kwh in (("", 1 + 8, 2 + 4), ("clock: standard", 1 + 2, 4 + 8)):
        prices = read_tariff(NIGHT % clock).prices("2017-01-16 01:00", "2017-01-17 01:00", "30 min")
        assert list(prices.index) == list(stamps)
        assert load[prices.to_numpy() == 0.1].sum() == night_kwh
        assert load[prices.to_numpy() == 0.3].sum() == day_kwh


# ---------------------------------------------------------------------------------------------- UTC all year


@pytest.mark.parametrize(
    ("span", "january", "july"),
    [
        ("00:00-07:00", range(7), range(1, 8)),  # the case: midnight-07:00 GMT is 01:00-08:00 BST
        ("23:00-06:00", [*range(6), 23], range(7)),
        ("01:00-08:00", range(1, 8), range(2, 9)),
    ],
)
def test_seven_hours_of_utc_in_london(span, january, july):
    """Which?, Economy 7 hours, with the supplier's answer; Co-operative Energy: three spans of seven hours of GMT."""
    tariff = read_tariff(f"""
name: Seven hours
currency: GBP
timezone: Europe/London
clock: UTC
periods: {{night: "{span}", day: rest}}
prices: {{night: 0.1, day: 0.3}}
""")
    for day, night in (("2026-01-14", january), ("2026-07-15", july)):
        assert letters_on(tariff, day) == "".join("n" if hour in night else "d" for hour in range(24))
    year = tariff.prices("2026-01-01", "2027-01-01", "1 h")
    assert (year == 0.1).sum() == 7 * 365
    assert sorted(set(year.index[year == 0.1].tz_convert("UTC").hour)) == list(january)


# ---------------------------------------------------------------------------------------------- no change at all


@pytest.mark.parametrize("clock", ["", "clock: wall", "clock: standard", "clock: {offset}"])
@pytest.mark.parametrize(("zone", "offset"), [("America/Phoenix", "UTC-7"), ("Pacific/Honolulu", "UTC-10")])
def test_zones_without_daylight_saving(zone, offset, clock):
    """Salt River Project, Graham County Electric, Hawaiian Electric: in these zones (from memory) no day is special."""
    tariff = read_tariff(f"""
name: No change
currency: USD
timezone: {zone}
{clock.format(offset=offset)}
periods: {{peak: 17:00-21:00, off-peak: rest}}
prices: {{peak: 2, off-peak: 1}}
""")
    year = tariff.prices("2026-01-01", "2027-01-01", "1 h")
    assert list(year) == ([1.0] * 17 + [2.0] * 4 + [1.0] * 3) * 365
    assert list(year.index.hour) == list(range(24)) * 365


# ---------------------------------------------------------------------------------------------- the days of the change

SMALL_HOURS = """
name: Small hours
currency: USD
timezone: America/New_York
%s
periods: {night: 00:00-04:00, day: rest}
prices: {night: 1, day: 2}
"""


@pytest.mark.parametrize("zone", ["America/New_York", "America/Chicago", "America/Denver", "America/Los_Angeles"])
@pytest.mark.parametrize(
    ("day", "night_hours", "half_hours"), [("2026-03-08", 3, 46), ("2026-11-01", 5, 50), ("2026-06-10", 4, 48)]
)
def test_hours_of_a_change_day(zone, day, night_hours, half_hours):
    """From memory, recomputed with the tz database: 00:00-04:00 has 3 hours in spring and 5 in autumn, by the wall.

    The day has 46 or 50 half-hours. On standard time the four hours are four.
    """
    start = date.fromisoformat(day)
    wall = read_tariff(SMALL_HOURS.replace("America/New_York", zone) % "")
    prices = wall.prices(start, start + timedelta(days=1), "30 min")
    assert len(prices) == half_hours
    assert (prices == 1).sum() == 2 * night_hours
    assert list(prices[: 2 * night_hours]) == [1] * (2 * night_hours)
    standard = read_tariff(SMALL_HOURS.replace("America/New_York", zone) % "clock: standard")
    prices = standard.prices(start, start + timedelta(days=1), "30 min")
    assert len(prices) == half_hours
    assert (prices == 1).sum() == 8


def test_every_day_of_standard_time_has_four_night_hours():
    """From memory: on standard time 00:00-04:00 always has 4 hours; by the wall one day a year has 3, another 5."""
    for clock, expected in (("clock: standard", {}), ("", {date(2026, 3, 8): 3, date(2026, 11, 1): 5})):
        prices = read_tariff(SMALL_HOURS % clock).prices("2026-01-01", "2027-01-01", "1 h")
        night = prices.index[prices == 1]
        days = (night.tz_convert("Etc/GMT+5") if clock else night).date
        counts = dict(zip(*np.unique(days, return_counts=True), strict=True))
        assert len(counts) == 365
        assert {day: count for day, count in counts.items() if count != 4} == expected
