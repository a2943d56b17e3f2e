"""The wall clock: hours in change days, zones of all kinds, against the standard library and published rules."""

import re
from contextlib import suppress
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.clock import (
    FIRST_YEAR,
    LAST_YEAR,
    day_number,
    day_of_number,
    day_start_s,
    instant_s,
    local_datetimes,
    local_seconds,
    wall_s,
    walls_s,
    zone,
)
from chargeplan.errors import InputError

ZONES = sorted(available_timezones())
DENVER = "America/Denver"


def hours_in_day(name, day):
    return (day_start_s(name, day + timedelta(days=1)) - day_start_s(name, day)) / 3600


@pytest.mark.parametrize(
    ("name", "day", "hours"),
    [
        # US Energy Policy Act of 2005: second Sunday of March to first Sunday of November, at 02:00.
        ("America/New_York", "2026-03-08", 23),
        ("America/New_York", "2026-11-01", 25),
        ("America/Denver", "2026-03-08", 23),
        ("America/Denver", "2026-11-01", 25),
        ("America/Los_Angeles", "2027-03-14", 23),
        ("America/Los_Angeles", "2027-11-07", 25),
        # Before 2007, first Sunday of April to last Sunday of October; both rules as PG&E gives them for 2014.
        ("America/Los_Angeles", "2014-03-09", 23),
        ("America/Los_Angeles", "2014-11-02", 25),
        ("America/Los_Angeles", "2006-04-02", 23),
        ("America/Los_Angeles", "2006-10-29", 25),
        # EU directive 2000/84/EC: last Sundays of March and October, at 01:00 UTC (from memory).
        ("Europe/Berlin", "2026-03-29", 23),
        ("Europe/Berlin", "2026-10-25", 25),
        ("Europe/Dublin", "2026-03-29", 23),
        ("Europe/London", "2026-10-25", 25),
        # Lord Howe Island changes by half an hour only (from memory).
        ("Australia/Lord_Howe", "2026-04-05", 24.5),
        ("Australia/Lord_Howe", "2026-10-04", 23.5),
        ("Australia/Sydney", "2026-04-05", 25),
        ("Australia/Sydney", "2026-10-04", 23),
        # Arizona and Hawaii keep standard time (Salt River Project, Hawaiian Electric; from memory).
        ("America/Phoenix", "2026-03-08", 24),
        ("America/Phoenix", "2026-11-01", 24),
        ("Pacific/Honolulu", "2026-03-08", 24),
        ("Pacific/Honolulu", "2026-11-01", 24),
        ("Asia/Kathmandu", "2026-03-29", 24),
        # Chile, Cuba and Lebanon change at midnight (from memory).
        ("America/Santiago", "2026-09-06", 23),
        ("America/Santiago", "2026-04-04", 25),
        ("America/Havana", "2026-03-08", 23),
        ("America/Havana", "2026-11-01", 25),
        ("Asia/Beirut", "2026-03-29", 23),
        ("Asia/Beirut", "2026-10-24", 25),
        # Samoa went over the date line and had no 30 December 2011 (from memory).
        ("Pacific/Apia", "2011-12-29", 24),
        ("Pacific/Apia", "2011-12-30", 0),
        ("Pacific/Apia", "2011-12-31", 24),
    ],
)
def test_hours_of_change_days(name, day, hours):
    """23 hours in spring and 25 in autumn, on the dates that law and custom set."""
    assert hours_in_day(name, date.fromisoformat(day)) == hours


@pytest.mark.parametrize(("name", "year"), [("America/Phoenix", 2026), ("Pacific/Honolulu", 2027), ("Etc/UTC", 2026)])
def test_zones_without_changes(name, year):
    """Salt River Project and Hawaiian Electric (from memory): no day of 23 or 25 hours in the whole year."""
    days = [date(year, 1, 1) + timedelta(days=n) for n in range(365)]
    assert {hours_in_day(name, day) for day in days} == {24}


@settings(max_examples=300, deadline=None)
@given(
    st.sampled_from(ZONES),
    st.integers(FIRST_YEAR, LAST_YEAR - 3),
    st.lists(st.integers(0, 3 * 365 * 86_400), min_size=1, max_size=50),
)
def test_local_seconds(name, year, offsets):
    """At random instants of all zones of the database the clock shows what zoneinfo says."""
    first = int(datetime(year, 1, 1, tzinfo=UTC).timestamp())
    instants = sorted(first + offset for offset in offsets)
    clock = ZoneInfo(name)
    expected = [
        (datetime.fromtimestamp(s, clock).replace(tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds()
        for s in instants
    ]
    assert local_seconds(name, np.array(instants, dtype=np.int64)).tolist() == expected


def test_local_seconds_at_every_change():
    """Around every change of 2026 and 2027, in all zones, the offset turns at the very second of zoneinfo."""
    first = int(datetime(2026, 1, 1, tzinfo=UTC).timestamp())
    hours = [first + 3600 * n for n in range(0, 24 * 731, 4)]
    changing, wrong = set(), set()
    for name in ZONES:
        clock = ZoneInfo(name)
        offsets = [datetime.fromtimestamp(s, clock).utcoffset() for s in hours]
        seconds = {hours[0], hours[-1]}
        for n in range(1, len(hours)):
            if offsets[n] != offsets[n - 1]:
                changing.add(name)
                quarters = range(hours[n - 1], hours[n] + 1, 900)
                seconds.update(near for quarter in quarters for near in (quarter - 1, quarter))
        rising = sorted(seconds)
        expected = [s + int(datetime.fromtimestamp(s, clock).utcoffset().total_seconds()) for s in rising]
        if local_seconds(name, np.array(rising)).tolist() != expected:
            wrong.add(name)
    assert wrong == set()
    assert {"Africa/Casablanca", "America/Denver", "Australia/Lord_Howe", "Europe/Berlin"} <= changing


def test_local_seconds_of_nothing():
    """No instants, no answers."""
    assert local_seconds(DENVER, np.zeros(0, dtype=np.int64)).size == 0


@pytest.mark.parametrize("instant", [-1, 0, 31_535_999, 7_258_118_400, 2**40, -(2**40)])
def test_instants_far_off_are_refused(instant):
    """Outside 1971 to 2199 nothing is known; the first second inside is."""
    with pytest.raises(InputError, match=r"^the time lies outside the years 1971 to 2199$"):
        local_seconds(DENVER, np.array([instant]))
    assert local_seconds("UTC", np.array([31_536_000])).tolist() == [31_536_000]
    assert local_seconds("UTC", np.array([7_258_118_399])).tolist() == [7_258_118_399]


@pytest.mark.parametrize("day", [date.min, date.max, date(1969, 12, 31), date(2201, 1, 1)])
def test_days_far_off_are_refused(day):
    """The same holds for the start of a day, also at the ends of Python's calendar."""
    with pytest.raises(InputError, match="outside the years 1971 to 2199"):
        day_start_s(DENVER, day)
    with pytest.raises(InputError, match="outside the years 1971 to 2199"):
        wall_s(DENVER, day, 1440)


@given(st.dates(date(1971, 1, 1), date(2199, 12, 31)))
def test_day_numbers(day):
    """Days count from 1970-01-01 as Python's ordinals do."""
    assert day_number(day) == day.toordinal() - 719_163
    assert day_of_number(day_number(day)) == day


@pytest.mark.parametrize(
    ("name", "day", "minute", "shown"),
    [
        (DENVER, "2026-03-08", 90, "2026-03-08T01:30:00-07:00"),
        (DENVER, "2026-03-08", 120, "2026-03-08T03:00:00-06:00"),  # skipped: alarm clocks ring an hour later
        (DENVER, "2026-03-08", 150, "2026-03-08T03:30:00-06:00"),
        (DENVER, "2026-11-01", 90, "2026-11-01T01:30:00-06:00"),  # twice: the first
        (DENVER, "2026-11-01", 120, "2026-11-01T02:00:00-07:00"),
        (DENVER, "2026-12-31", 1440, "2027-01-01T00:00:00-07:00"),
        ("Australia/Lord_Howe", "2026-10-04", 135, "2026-10-04T02:45:00+11:00"),
        ("America/Santiago", "2026-09-06", 0, "2026-09-06T01:00:00-03:00"),  # midnight is skipped
        ("America/Havana", "2026-11-01", 0, "2026-11-01T00:00:00-04:00"),  # midnight comes twice
    ],
)
def test_wall_clock_times(name, day, minute, shown):
    """RFC 5545, 3.3.5 (from memory): a skipped time takes the offset before the gap, a doubled one is the first."""
    found = wall_s(name, date.fromisoformat(day), minute)
    assert datetime.fromtimestamp(found, ZoneInfo(name)).isoformat() == shown


@pytest.mark.parametrize("name", [DENVER, "Australia/Lord_Howe", "America/Santiago", "America/Havana", "Asia/Kolkata"])
def test_many_wall_clock_times_are_as_each_alone(name):
    """Three years of days at every quarter of an hour, clock changes among them."""
    first = day_number(date(2025, 1, 1))
    day, minute = (values.ravel() for values in np.meshgrid(np.arange(first, first + 1096), np.arange(0, 1441, 15)))
    found = walls_s(name, day, minute)
    each = [wall_s(name, day_of_number(d), m) for d, m in zip(day.tolist(), minute.tolist(), strict=True)]
    assert found.tolist() == each
    with pytest.raises(InputError, match="outside the years 1971 to 2199"):
        walls_s(name, np.array([day_number(date(2200, 1, 1))]), 0)


@pytest.mark.parametrize(
    ("text", "iso"),
    [
        ("2026-11-25", "2026-11-25T00:00:00-07:00"),
        (date(2026, 11, 25), "2026-11-25T00:00:00-07:00"),
        ("2026-11-25 18:30", "2026-11-25T18:30:00-07:00"),
        (" 2026-11-25T18:30 ", "2026-11-25T18:30:00-07:00"),
        ("2026-11-25T18:30-05:00", "2026-11-25T18:30:00-05:00"),
        ("2026-11-25T18:30Z", "2026-11-25T18:30:00+00:00"),
        ("2026-11-01 01:30-06:00", "2026-11-01T01:30:00-06:00"),
        ("2026-11-01 01:30-07:00", "2026-11-01T01:30:00-07:00"),
        (datetime(2026, 11, 25, 18, 30, tzinfo=UTC), "2026-11-25T18:30:00+00:00"),
        (datetime(2026, 11, 1, 1, 30, tzinfo=ZoneInfo(DENVER), fold=1), "2026-11-01T01:30:00-07:00"),
    ],
)
def test_instants(text, iso):
    """ISO 8601 texts, dates and aware datetimes name the instant that Python's own reading of `iso` gives."""
    assert instant_s(text, DENVER) == datetime.fromisoformat(iso).timestamp()


@pytest.mark.parametrize(
    ("value", "name", "message"),
    [
        (
            "2026-03-08 02:30",
            DENVER,
            "2026-03-08 02:30 is skipped that day, when the clock goes forward; choose a time before or after",
        ),
        (
            "2026-11-01 01:30",
            DENVER,
            "2026-11-01 01:30 comes twice that day, when the clock goes back; add the offset, as in "
            "2026-11-01 01:30-06:00",
        ),
        (
            "2026-10-25 02:30",
            "Europe/Berlin",
            "2026-10-25 02:30 comes twice that day, when the clock goes back; add the offset, "
            "as in 2026-10-25 02:30+02:00",
        ),
        (
            "tomorrow",
            DENVER,
            "`tomorrow` is not a date or time; write for example 2026-03-08 18:30 or 2026-03-08T18:30-06:00",
        ),
        (
            "2026-02-30",
            DENVER,
            "`2026-02-30` is not a date or time; write for example 2026-03-08 18:30 or 2026-03-08T18:30-06:00",
        ),
        ("", DENVER, "`` is not a date or time; write for example 2026-03-08 18:30 or 2026-03-08T18:30-06:00"),
        (
            datetime(2026, 3, 8),
            DENVER,
            "2026-03-08 00:00:00 has no time zone; give it one, or write it as text for the local wall clock",
        ),
        ("0001-01-01", DENVER, "the time lies outside the years 1971 to 2199"),
        (date.max, DENVER, "the time lies outside the years 1971 to 2199"),
    ],
)
def test_what_is_no_instant(value, name, message):
    """Times that are skipped, doubled or not times at all are refused with a remedy that works when followed."""
    with pytest.raises(InputError, match=f"^{re.escape(message)}$"):
        instant_s(value, name)
    if " as in " in message:
        remedy = message.split(" as in ")[1]
        assert datetime.fromtimestamp(instant_s(remedy, name), ZoneInfo(name)).isoformat(" ", "minutes") == remedy


@settings(deadline=None)
@given(
    st.one_of(
        st.text(max_size=30),
        st.from_regex(r"[0-9]{4}-[01][0-9]-[0-3][0-9][T ][0-2][0-9]:[0-5][0-9]", fullmatch=True),
    )
)
def test_any_text_is_an_instant_or_an_input_error(text):
    """No text brings another kind of error."""
    with suppress(InputError):
        assert isinstance(instant_s(text, "Europe/Berlin"), int)


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("", "`` is not a time zone; write a name like America/Denver or Europe/Berlin"),
        ("+02:00", "`+02:00` is not a time zone; write a name like America/Denver or Europe/Berlin"),
        (
            "../../etc/passwd",
            "`../../etc/passwd` is not a time zone; write a name like America/Denver or Europe/Berlin",
        ),
        ("/etc/passwd", "`/etc/passwd` is not a time zone; write a name like America/Denver or Europe/Berlin"),
        ("a\0b", "`a\0b` is not a time zone; write a name like America/Denver or Europe/Berlin"),
        ("x" * 300, f"`{'x' * 60}` is not a time zone; write a name like America/Denver or Europe/Berlin"),
    ],
)
def test_what_is_no_zone(name, message):
    """Unknown names are refused, the nearest ones named; a path cannot reach other files."""
    with pytest.raises(InputError) as caught:
        zone(name)
    assert str(caught.value) == message


@pytest.mark.parametrize("name", ["America", "zone.tab", "tzdata.zi", "Etc/../UTC", "\ud800", "."])
def test_folders_and_other_files_are_no_zones(name):
    """Parts of the zone database that are not zones are refused like unknown names."""
    with pytest.raises(InputError, match="is not a time zone"):
        zone(name)


@pytest.mark.parametrize(
    ("name", "nearest"),
    [("America/Denvr", "America/Denver"), ("europe/berlin", "Europe/Berlin"), ("Asia/Katmandou", "Asia/Katmandu")],
)
def test_the_nearest_zone_is_named(name, nearest):
    """A misspelled name brings the nearest zone of the database, perhaps with a second one."""
    with pytest.raises(InputError, match=rf"^`{name}` is not a time zone; did you mean {nearest}( or [A-Z]\S+)?\?$"):
        zone(name)


def test_datetimes_come_back():
    """Instants become datetimes of the zone, both of a doubled hour."""
    first = int(datetime(2026, 11, 1, 7, 30, tzinfo=UTC).timestamp())
    assert [moment.isoformat() for moment in local_datetimes(DENVER, [first, first + 3600])] == [
        "2026-11-01T01:30:00-06:00",
        "2026-11-01T01:30:00-07:00",
    ]


@pytest.mark.parametrize(
    ("name", "year", "changes"), [("Africa/Cairo", 2010, 4), ("Africa/Cairo", 2014, 4), ("Africa/Casablanca", 2025, 2)]
)
def test_changes_that_follow_one_another(name, year, changes):
    """Egypt and Morocco stop summer time for Ramadan (from memory): every hour of such a year agrees with zoneinfo."""
    clock = ZoneInfo(name)
    hours = int(datetime(year, 1, 1, tzinfo=UTC).timestamp()) + 3600 * np.arange(365 * 24)
    offsets = [int(datetime.fromtimestamp(int(s), clock).utcoffset().total_seconds()) for s in hours]
    assert sum(before != after for before, after in pairwise(offsets)) == changes
    assert (local_seconds(name, hours) - hours).tolist() == offsets
