"""Clocks of sheets and meters that do not follow the wall clock."""

import re
from datetime import UTC, date, datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.tariff.dates import DayRule
from chargeplan.tariff.sheet_clock import SheetClock
from chargeplan.tariff.windows import Window

OLD_RULE = {"forward": "first Sunday of April", "back": "last Sunday of October"}
EPOCH = datetime(1970, 1, 1)
CLOCKS = (
    ("America/Denver", "wall"),
    ("Australia/Lord_Howe", "wall"),
    ("America/Denver", "standard"),
    ("Europe/Dublin", "standard"),
    ("Australia/Lord_Howe", "standard"),
    ("Asia/Almaty", "standard"),
    ("Europe/London", "UTC"),
    ("Asia/Kolkata", "UTC+5:30"),
    ("America/New_York", "UTC-5"),
    ("America/Los_Angeles", OLD_RULE),
    ("Australia/Sydney", {"forward": "last Sunday of October", "back": "last Sunday of March"}),
)


def moments(clock, first, last):
    """Every 15 minutes of the wall-clock days from first to last: (datetime on the wall clock, one on the clock)."""
    zone = ZoneInfo(clock.timezone)
    begin = int(datetime(first.year, first.month, first.day, tzinfo=zone).timestamp())
    end = int(datetime(last.year, last.month, last.day, 23, 59, tzinfo=zone).timestamp()) + 60
    utc_s = np.arange(begin, end, 900)
    shown = clock.local_seconds(utc_s)
    return [
        (datetime.fromtimestamp(int(second), zone), EPOCH + timedelta(seconds=int(local)))
        for second, local in zip(utc_s, shown, strict=True)
    ]


@cache
def minutes_covered(text, weekday):
    window = Window.parse(text)
    spans = window.minutes()[0] if window.covers_day(weekday, False, None) else []
    return {minute for start, end in spans for minute in range(start, end)}


def covered(texts, moment):
    return any(moment.hour * 60 + moment.minute in minutes_covered(text, moment.weekday()) for text in texts)


# ------------------------------------------------------------------------------------------ what others have published

SUMMER = {
    "peak": (["13:00-19:00 on weekdays"], ["14:00-20:00 on weekdays"]),
    "partial": (
        ["10:00-13:00, 19:00-21:00 on weekdays", "17:00-20:00 on weekends"],
        ["11:00-14:00, 20:00-22:00 on weekdays", "18:00-21:00 on weekends"],
    ),
}


@pytest.mark.parametrize(
    ("first", "last", "on_meter", "on_wall"),
    [
        ("2014-03-09", "2014-04-05", ["17:00-20:00 on weekdays"], ["18:00-21:00 on weekdays"]),
        ("2014-04-06", "2014-04-30", ["17:00-20:00 on weekdays"], ["17:00-20:00 on weekdays"]),
        ("2014-05-01", "2014-10-25", SUMMER["peak"][0], SUMMER["peak"][0]),
        ("2014-05-01", "2014-10-25", SUMMER["partial"][0], SUMMER["partial"][0]),
        ("2014-10-26", "2014-10-31", *SUMMER["peak"]),
        ("2014-10-26", "2014-10-31", *SUMMER["partial"]),
    ],
)
def test_meters_set_to_the_old_change_days(first, last, on_meter, on_wall):
    """The four dated rows of shifted hours follow from the meter's own change days.

    Source: Pacific Gas and Electric, "Extension of daylight saving time" (schedule E-6, 2014).
    """
    clock = SheetClock.build("America/Los_Angeles", OLD_RULE)
    for wall, meter in moments(clock, date.fromisoformat(first), date.fromisoformat(last)):
        assert covered(on_meter, meter) == covered(on_wall, wall)


def test_the_spans_in_which_old_meters_differ():
    """The meter is an hour behind the wall clock from 9 March to 5 April and 26 October to 1 November 2014, only.

    Source: as above. The changes are at 02:00, so the first and the last day of a span are so in part.
    """
    clock = SheetClock.build("America/Los_Angeles", OLD_RULE)
    differ = {}
    for wall, meter in moments(clock, date(2014, 1, 1), date(2014, 12, 31)):
        behind = wall.replace(tzinfo=None) - meter
        differ.setdefault(behind, set()).add(wall.date())
    spring = {date(2014, 3, 9) + timedelta(days=n) for n in range(28)}
    autumn = {date(2014, 10, 26) + timedelta(days=n) for n in range(7)}
    assert set(differ) == {timedelta(), timedelta(hours=1)}
    changes = {date(2014, 4, 6), date(2014, 11, 2)}
    assert differ[timedelta(hours=1)] == spring | autumn | changes
    assert not (differ[timedelta()] & (spring | autumn) - {date(2014, 3, 9), date(2014, 10, 26)})


@pytest.mark.parametrize("years", [(1987, 1989), (2000, 2002), (2005, 2006)])
@pytest.mark.parametrize("zone", ["America/Los_Angeles", "America/New_York", "America/Denver"])
def test_the_old_change_days_while_they_were_law(years, zone):
    """From 1987 to 2006 these change days were the law (Uniform Time Act as amended in 1986; the IANA database)."""
    clock = SheetClock.build(zone, OLD_RULE)
    begin, end = (int(datetime(year, 1, 1, tzinfo=UTC).timestamp()) for year in (years[0], years[1] + 1))
    utc_s = np.arange(begin, end, 900)
    assert (clock.local_seconds(utc_s) == SheetClock(zone).local_seconds(utc_s)).all()


def test_midnight_to_seven_in_winter_time():
    """00:00-07:00 on a clock of winter time is 01:00-08:00 by British Summer Time.

    Source: Which? with the answer of Co-operative Energy, "Economy 7 energy meters".
    """
    for value in ("UTC", "standard"):
        clock = SheetClock.build("Europe/London", value)
        for wall, meter in moments(clock, date(2026, 6, 30), date(2026, 7, 2)):
            assert covered(["00:00-07:00"], meter) == covered(["01:00-08:00"], wall)
        for wall, meter in moments(clock, date(2026, 1, 14), date(2026, 1, 15)):
            assert covered(["00:00-07:00"], meter) == covered(["00:00-07:00"], wall)


def test_an_irish_night_meter():
    """One meter clock explains both published rows: 23:00-08:00 in winter time and 00:00-09:00 in summer time.

    Source: Electric Ireland, "All you need to know about the NightSaver meter".
    """
    for value in ("standard", "UTC"):
        clock = SheetClock.build("Europe/Dublin", value)
        for first, last, on_wall in (
            (date(2025, 10, 27), date(2026, 3, 28), "23:00-08:00"),
            (date(2026, 3, 30), date(2026, 10, 24), "00:00-09:00"),
        ):
            for wall, meter in moments(clock, first, last):
                assert covered(["23:00-08:00"], meter) == covered([on_wall], wall)


def test_a_hot_water_meter_in_eastern_standard_time():
    """A meter in Eastern Standard Time switches from 00:00 to 08:00, not 23:00 to 07:00, in daylight saving.

    Source: Energy and Water Ombudsman Victoria, case 2017/27265.
    """
    for value in ("UTC+10", "standard"):
        clock = SheetClock.build("Australia/Melbourne", value)
        for wall, meter in moments(clock, date(2017, 1, 10), date(2017, 1, 12)):
            assert covered(["23:00-07:00"], meter) == covered(["00:00-08:00"], wall)


@pytest.mark.parametrize(
    ("value", "day", "hours", "night"),
    [
        ("wall", "2026-03-08", 23, 3),
        ("wall", "2026-11-01", 25, 5),
        ("standard", "2026-03-08", 24, 4),
        ("standard", "2026-11-01", 24, 4),
        (OLD_RULE, "2026-04-05", 23, 3),
        (OLD_RULE, "2026-10-25", 25, 5),
        (OLD_RULE, "2026-03-08", 24, 4),
        ("UTC-7", "2026-11-01", 24, 4),
    ],
)
def test_hours_of_the_days_of_a_change(value, day, hours, night):
    """A change day has 23 or 25 hours, and 3 or 5 from 00:00 to 04:00; in standard time 24 and 4 (from memory)."""
    clock = SheetClock.build("America/Denver", value)
    day = date.fromisoformat(day)
    begin, end = clock.day_start_s(day), clock.day_start_s(day + timedelta(days=1))
    shown = clock.local_seconds(np.arange(begin, end, 1800)) % 86_400
    assert (shown.size / 2, (shown < 4 * 3600).sum() / 2) == (hours, night)


# ------------------------------------------------------------------------------------------ against datetime, by minute


def slow_reading(timezone, value, moment):
    """What the clock shows, by the standard library alone."""
    wall = moment.astimezone(ZoneInfo(timezone))
    if value == "wall":
        return wall.replace(tzinfo=None)
    if isinstance(value, str) and value != "standard":
        hours, _, minutes = value.removeprefix("UTC").partition(":")
        return moment.replace(tzinfo=None) + timedelta(hours=int(hours or 0), minutes=int(minutes or 0))
    # Standard time is the smaller offset around the instant: no zone below stays forward for ten months.
    near = [(moment + timedelta(days=n)).astimezone(ZoneInfo(timezone)) for n in range(-160, 161, 20)]
    standard = {"Asia/Almaty": wall.utcoffset()}.get(timezone, min(other.utcoffset() for other in near))
    shown = moment.replace(tzinfo=None) + standard
    if value == "standard":
        return shown
    forward, back = (
        datetime.combine(DayRule.parse(value[key]).dates(shown.year)[0], datetime.min.time()) + timedelta(hours=hour)
        for key, hour in (("forward", 2), ("back", 1))
    )
    summer = forward <= shown < back if forward < back else not back <= shown < forward
    return shown + timedelta(hours=summer)


@given(st.sampled_from(CLOCKS), st.datetimes(datetime(2008, 1, 1), datetime(2036, 12, 30)), st.integers(1, 2900))
def test_every_minute_is_read_as_datetime_reads_it(clock, start, length):
    """Up to two days of minutes, against the standard library; a zone that changed its standard time among them."""
    timezone, value = clock
    begin = int(start.replace(second=0, microsecond=0, tzinfo=UTC).timestamp())
    utc_s = begin + 60 * np.arange(length)
    shown = SheetClock.build(timezone, value).local_seconds(utc_s)
    for position in {0, length // 3, length // 2, length - 1}:
        moment = datetime.fromtimestamp(int(utc_s[position]), UTC)
        assert EPOCH + timedelta(seconds=int(shown[position])) == slow_reading(timezone, value, moment)


@pytest.mark.parametrize(("timezone", "value"), CLOCKS)
@pytest.mark.parametrize("year", [2024, 2026])
def test_a_whole_year_by_minutes(timezone, value, year):
    """Every quarter of an hour of a year, and every minute of the days on which anything changes."""
    clock = SheetClock.build(timezone, value)
    begin, end = (int(datetime(y, 1, 1, tzinfo=UTC).timestamp()) for y in (year, year + 1))
    utc_s = np.arange(begin, end, 60)
    shown = clock.local_seconds(utc_s)
    jumps = np.flatnonzero(np.diff(shown) != 60)
    near_jump = {int(p) for jump in jumps for p in range(max(0, jump - 90), min(utc_s.size, jump + 90))}
    for position in sorted(near_jump | set(range(0, utc_s.size, 7 * 60))):
        moment = datetime.fromtimestamp(int(utc_s[position]), UTC)
        assert EPOCH + timedelta(seconds=int(shown[position])) == slow_reading(timezone, value, moment)


@given(st.sampled_from(CLOCKS), st.dates(date(2008, 1, 2), date(2100, 12, 30)), st.integers(0, 1440))
@example(CLOCKS[0], date(2026, 3, 8), 150)
@example(CLOCKS[1], date(2026, 10, 4), 135)
@example(CLOCKS[9], date(2026, 4, 5), 150)
@example(CLOCKS[9], date(2026, 10, 25), 90)
@example(CLOCKS[10], date(2026, 10, 25), 120)
def test_the_instant_of_a_time_is_read_back(clock, day, minute):
    """The instant found shows the time asked for, and is the first that does; a skipped time is later by the gap."""
    timezone, value = clock
    clock = SheetClock.build(timezone, value)
    asked = (day - EPOCH.date()).days * 86_400 + minute * 60
    instant = clock.wall_s(day, minute)
    around = np.arange(instant - 7200, instant + 1, 60)
    shown = clock.local_seconds(around)
    if asked in shown:
        assert shown[-1] == asked
        assert (shown == asked).sum() == 1
    else:
        gap = shown[-1] - asked
        assert gap in (1800, 3600)
        assert np.diff(shown).max() == 60 + gap
    assert clock.day_start_s(day) == clock.wall_s(day, 0)


@given(st.dates(date(1971, 6, 1), date(2199, 1, 1)), st.integers(0, 1439))
def test_the_wall_clock_is_that_of_datetime(day, minute):
    """`wall` is the clock of the zone, with everything as before."""
    expected = datetime(day.year, day.month, day.day, minute // 60, minute % 60, tzinfo=ZoneInfo("Europe/Dublin"))
    assert SheetClock("Europe/Dublin").wall_s(day, minute) == int(expected.timestamp())


def test_a_clock_of_the_south():
    """Where the clock is forward over New Year it is so on both sides of it, in the first year too."""
    rules = {"forward": "first Sunday of October", "back": "first Sunday of April"}
    clock = SheetClock.build("Australia/Sydney", rules)
    utc_s = np.array([int(datetime(2025, 12, 31, hour, tzinfo=UTC).timestamp()) for hour in (12, 13, 14)])
    assert (clock.local_seconds(utc_s) - utc_s == 11 * 3600).all()
    assert (clock.local_seconds(utc_s) == SheetClock("Australia/Sydney").local_seconds(utc_s)).all()


def test_nothing_gives_nothing_and_far_years_are_refused():
    """An empty array is read as one; instants outside the years of the zone data are refused as for the wall clock."""
    for value in ("wall", "standard", "UTC+1", OLD_RULE):
        clock = SheetClock.build("America/Denver", value)
        assert clock.local_seconds(np.zeros(0, dtype=np.int64)).size == 0
        for second in (0, -1, 2**33 + 1):
            with pytest.raises(InputError, match="outside the years 1971 to 2199"):
                clock.local_seconds(np.array([second]))
        with pytest.raises(InputError, match="outside the years 1971 to 2199"):
            clock.wall_s(date(1900, 1, 1), 0)


@pytest.mark.parametrize(
    ("value", "kind", "offset_s", "fixed"),
    [
        ("wall", "wall", 0, False),
        (" Standard", "standard", 0, False),
        ("UTC", "offset", 0, True),
        ("utc+10", "offset", 36_000, True),
        ("UTC-5", "offset", -18_000, True),
        ("UTC+5:30", "offset", 19_800, True),
        ("UTC-03:30", "offset", -12_600, True),
        (OLD_RULE, "rules", 0, False),
        ({"forward": DayRule.parse("Apr 1"), "back": DayRule.parse("Oct 1")}, "rules", 0, False),
    ],
)
def test_each_form(value, kind, offset_s, fixed):
    """Each way of naming a clock."""
    clock = SheetClock.build("America/Denver", value)
    assert (clock.kind, clock.offset_s, clock.fixed) == (kind, offset_s, fixed)


FORMS = "write wall, standard, UTC, UTC+10 or {forward: first Sunday of April, back: last Sunday of October}"


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ("summer", f"`summer` is not a clock; {FORMS}"),
        ("UTC+", f"`UTC+` is not a clock; {FORMS}"),
        ("GMT", f"`GMT` is not a clock; {FORMS}"),
        (10, f"`10` is not a clock; {FORMS}"),
        (None, f"`None` is not a clock; {FORMS}"),
        ("UTC+15", "`UTC+15` is not a clock of this world; write UTC-12 to UTC+14"),
        ("UTC-13", "`UTC-13` is not a clock of this world; write UTC-12 to UTC+14"),
        ("UTC+5:60", "`UTC+5:60` is not a clock of this world; write UTC-12 to UTC+14"),
        (
            {"forward": "Apr 1"},
            f"a clock with change days of its own needs `forward` and `back`, no more; {FORMS}",
        ),
        (
            {"forward": "fifth Sunday of April", "back": "Oct 1"},
            "`fifth Sunday of April` does not come every year; write for example last Sunday of October",
        ),
        (
            {"forward": "Apr 1", "back": "2026-10-25"},
            "`2026-10-25` does not come every year; write for example last Sunday of October",
        ),
        (
            {"forward": "April", "back": "Oct 1"},
            "`April` is not a day; write for example Jul 4, last Monday of May, Easter Monday or 2026-12-24",
        ),
    ],
)
def test_each_mistake(value, message):
    """Each mistake has one sentence with a remedy."""
    with pytest.raises(InputError, match=f"^{re.escape(message)}$"):
        SheetClock.build("America/Denver", value)
