"""Prices where the clock changes: published cases, and every zone of the database against a slow reading."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
import pytest

from chargeplan.tariff import read_tariff

NIGHT = """
name: Night
currency: USD
timezone: {zone}
periods: {{night: 00:00-04:00, day: rest}}
prices: {{night: 1, day: 0}}
"""


@pytest.mark.parametrize(
    ("zone", "day", "slots", "night_hours"),
    [
        ("America/New_York", "2026-03-08", 46, 3),
        ("America/New_York", "2026-11-01", 50, 5),
        ("America/Los_Angeles", "2026-03-08", 46, 3),
        ("America/Los_Angeles", "2026-11-01", 50, 5),
        ("America/New_York", "2026-07-01", 48, 4),
        ("America/Phoenix", "2026-03-08", 48, 4),
        ("America/Phoenix", "2026-11-01", 48, 4),
        ("Pacific/Honolulu", "2026-03-08", 48, 4),
        ("Etc/GMT+5", "2026-03-08", 48, 4),  # standard time all year: always four hours
        ("Etc/GMT+5", "2026-11-01", 48, 4),
        ("Europe/Berlin", "2026-03-29", 46, 3),
        ("Europe/Berlin", "2026-10-25", 50, 5),
    ],
)
def test_hours_in_change_days(zone, day, slots, night_hours):
    """46 half hours in spring and 50 in autumn; a window 00:00-04:00 has 3 hours and 5 (US change at 02:00).

    General knowledge, from memory; Salt River Project and Hawaiian Electric for the zones without change.
    """
    first = date.fromisoformat(day)
    series = read_tariff(NIGHT.format(zone=zone)).prices(first, first + timedelta(days=1), "30 min")
    assert len(series) == slots
    assert series.sum() / 2 == night_hours


def test_a_night_rate_in_greenwich_time():
    """Which?, Economy 7: midnight to 07:00 GMT is 01:00-08:00 on the wall clock of summer."""
    tariff = read_tariff(NIGHT.format(zone="Etc/GMT").replace("04:00", "07:00"))
    july = tariff.prices("2026-07-14", "2026-07-16", "1 h").tz_convert("Europe/London")
    assert sorted({start.hour for start, price in july.items() if price == 1}) == [1, 2, 3, 4, 5, 6, 7]
    january = tariff.prices("2026-01-14", "2026-01-16", "1 h").tz_convert("Europe/London")
    assert sorted({start.hour for start, price in january.items() if price == 1}) == [0, 1, 2, 3, 4, 5, 6]


def test_a_switch_that_stays_on_standard_time():
    """EWOV case 2017/27265: a switch at 23:00-07:00 standard time shows 00:00-08:00 in daylight saving time."""
    tariff = read_tariff(NIGHT.format(zone="Etc/GMT-10").replace("00:00-04:00", "23:00-07:00"))
    summer = tariff.prices("2017-01-14", "2017-01-16", "1 h").tz_convert("Australia/Melbourne")
    assert sorted({start.hour for start, price in summer.items() if price == 1}) == [0, 1, 2, 3, 4, 5, 6, 7]
    winter = tariff.prices("2017-07-14", "2017-07-16", "1 h").tz_convert("Australia/Melbourne")
    assert sorted({start.hour for start, price in winter.items() if price == 1}) == [0, 1, 2, 3, 4, 5, 6, 23]


# A meter programmed before 2007: its clock follows the old change dates, so that in the weeks between the periods are
# an hour late on the wall clock. Rows of PG&E, Extension of daylight saving time, schedule E-6, 2014.
LEGACY = """
name: Periods shifted for the weeks between the old and the new change dates
currency: USD
timezone: America/Los_Angeles
effective: 2014-03-09
until: 2014-10-31
periods: {partial: 18:00-21:00 on weekdays, off: rest}
prices: {partial: 2, off: 1}
versions:
  - from: 2014-04-06
    periods: {partial: 17:00-20:00 on weekdays, off: rest}
  - from: 2014-05-01
    periods:
      peak: 13:00-19:00 on weekdays
      partial: [10:00-13:00 on weekdays, 19:00-21:00 on weekdays, 17:00-20:00 on weekends]
      off: rest
    prices: {peak: 3, partial: 2, off: 1}
  - from: 2014-10-26
    periods:
      peak: 14:00-20:00 on weekdays
      partial: [11:00-14:00 on weekdays, 20:00-22:00 on weekdays, 18:00-21:00 on weekends]
      off: rest
"""


@pytest.mark.parametrize(
    ("day", "hours"),
    [
        ("2014-04-04", "111111 111111 111111 222 111"),  # Friday, the last week of the first row
        ("2014-04-07", "111111 111111 11111 222 1111"),  # Monday of the second
        ("2014-04-30", "111111 111111 11111 222 1111"),
        ("2014-05-01", "1111111111 222 333333 22 111"),
        ("2014-10-24", "1111111111 222 333333 22 111"),
        ("2014-10-25", "11111111111111111 222 1111"),  # Saturday
        ("2014-10-26", "111111111111111111 222 111"),  # Sunday, old change date
        ("2014-10-27", "11111111111 222 333333 22 11"),  # Monday
    ],
)
def test_legacy_meters(day, hours):
    """PG&E, Extension of daylight saving time (schedule E-6, 2014): four rows of dated windows as versions."""
    first = date.fromisoformat(day)
    found = read_tariff(LEGACY).prices(first, first + timedelta(days=1), "1 h")
    assert "".join(str(int(price)) for price in found) == hours.replace(" ", "")


# ---------------------------------------------------------------------------------- every zone that changes its clock

EVERYWHERE = """
name: Everywhere
currency: USD
timezone: {zone}
holidays: [Mar 29, Nov 1]
seasons: {{first: Dec 16 - Apr 4, second: rest}}
periods:
  late: ["22:30-02:15 starting Sat, Sun", 23:45-24:00 on Mon-Fri]
  early: [00:30-03:15 on Tue-Sat, "02:15-03:15 on Sun, Mon"]
  noon: 11:00-13:00 on holidays
  other: rest
prices: {{first: {{late: 1, early: 2, noon: 3, other: 4}}, second: {{late: 5, early: 6, noon: 7, other: 8}}}}
"""


def price_at(local):
    """The sheet above, read by a person: what a minute of the wall clock costs."""
    minute, weekday = 60 * local.hour + local.minute, local.weekday()
    first = (local.month, local.day) >= (12, 16) or (local.month, local.day) <= (4, 4)
    weekend_night = (weekday in (5, 6) and minute >= 1350) or (weekday in (6, 0) and minute < 135)
    if weekend_night or (weekday < 5 and minute >= 1425):
        period = 1
    elif (weekday in (1, 2, 3, 4, 5) and 30 <= minute < 195) or (weekday in (6, 0) and 135 <= minute < 195):
        period = 2
    elif (local.month, local.day) in ((3, 29), (11, 1)) and 660 <= minute < 780:
        period = 3
    else:
        period = 4
    return period if first else period + 4


def changes_of(zone, years):
    """Every change of the clock, found with the standard library alone."""
    at = datetime(years[0], 1, 1, tzinfo=UTC)
    found = []
    while at.year <= years[-1]:
        later = at + timedelta(hours=12)
        if at.astimezone(zone).utcoffset() != later.astimezone(zone).utcoffset():
            before, after = at, later
            while after - before > timedelta(minutes=1):
                middle = before + (after - before) // 2
                middle = middle.replace(second=0, microsecond=0)
                same = middle.astimezone(zone).utcoffset() == before.astimezone(zone).utcoffset()
                before, after = (middle, after) if same else (before, middle)
            found.append(after)
        at = later
    return found


def test_every_zone_that_changes_its_clock():
    """In all zones of the database, around each change of 2026 and 2027, prices and the number of slots are right.

    The reference is `price_at`, minute by minute on the clock of the standard library: 30 hours around each change by
    minutes, and the days of the change by quarter hours.
    """
    zones = {}
    for name in sorted(available_timezones()):
        changes = changes_of(ZoneInfo(name), (2026, 2027))
        if changes:
            zones[name] = changes
    assert len(zones) > 150
    assert {len(changes) for changes in zones.values()} >= {4}
    for name, changes in zones.items():
        clock = ZoneInfo(name)
        tariff = read_tariff(EVERYWHERE.format(zone=name))
        for change in changes:
            first = int(change.timestamp()) - 15 * 3600
            minutes = [datetime.fromtimestamp(first + 60 * n, clock) for n in range(30 * 60)]
            expected = [price_at(local) for local in minutes]
            found = tariff.price_array(first + 60 * np.arange(30 * 60), 60)
            assert found.tolist() == expected, (name, change)
            quarters = tariff.price_array(first + 900 * np.arange(120), 900)
            assert quarters.tolist() == np.reshape(expected, (120, 15)).mean(axis=1).tolist(), (name, change)
        # The days of the last change, the day before and the day after: as many quarter hours as have their date.
        middle = changes[-1].astimezone(clock).date()
        for day in (middle - timedelta(days=1), middle, middle + timedelta(days=1)):
            noon = datetime(day.year, day.month, day.day, 12, tzinfo=UTC)
            near = [noon + timedelta(minutes=15 * n) for n in range(-4 * 40, 4 * 40)]
            dates = [moment.astimezone(clock).date() for moment in near]
            runs = tariff.day(day)
            assert (runs[-1].end_s - runs[0].start_s) / 900 == dates.count(day), (name, day)
