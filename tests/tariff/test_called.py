"""Days that somebody calls: which count, which may be called, and what they do to the calendar."""

import re
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from dateutil.easter import easter
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.clock import day_number
from chargeplan.errors import InputError
from chargeplan.tariff.calendar import Calendar, find_fault
from chargeplan.tariff.called import CalledDays, CallLimits, called_name, parse_notice
from chargeplan.tariff.dates import DayRule
from chargeplan.tariff.day_table import DayTable
from chargeplan.tariff.holiday_set import HolidaySet
from chargeplan.tariff.seasons import Seasons, season_days
from chargeplan.tariff.sheet_clock import SheetClock
from chargeplan.tariff.windows import Window, kind_key

#: Days on which no event is called. Source: Hydro-Quebec, "Dynamic pricing", winter 2019-20.
NEVER = ("Dec 24", "Dec 25", "Dec 26", "Dec 31", "Jan 1", "Jan 2", "Good Friday", "Easter Monday")
EVENTS = CallLimits.parse("weekdays", "Dec 1 - Mar 31", NEVER, 33)
CHRISTMAS = HolidaySet(days=(DayRule.parse("Dec 25"), DayRule.parse("Jan 1")))


def dates(first, last):
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def allowed_by_hand(day):
    """The published limits of the events, read with the standard library."""
    never = {(12, 24), (12, 25), (12, 26), (12, 31), (1, 1), (1, 2)}
    moving = {easter(day.year) - timedelta(days=2), easter(day.year) + timedelta(days=1)}
    return (
        day.weekday() < 5 and (day.month in (12, 1, 2, 3)) and (day.month, day.day) not in never and day not in moving
    )


@given(st.dates(date(2015, 1, 1), date(2060, 1, 1)), st.integers(0, 500))
def test_which_days_may_be_called(first, length):
    """Weekdays from December to March, but not the days around Christmas, New Year and Easter.

    Source: Hydro-Quebec, "Rate D; dynamic options" and "Dynamic pricing".
    """
    last = first + timedelta(days=length)
    kind = CalledDays("event", frozenset(), limits=EVENTS)
    found = kind.allowed(day_number(first), day_number(last))
    assert found.tolist() == [allowed_by_hand(day) for day in dates(first, last)]


def test_each_published_exception_is_a_mistake_when_listed():
    """In winter 2023-24 Good Friday is 29 March; Easter Monday, 1 April, is out of the season anyway."""
    listed = [date(2023, 12, day) for day in (22, 24, 25, 26, 31)]
    listed += [date(2024, 1, 1), date(2024, 1, 2), date(2024, 3, 29), date(2024, 4, 1), date(2024, 1, 15)]
    kind = CalledDays("event", frozenset(listed), limits=EVENTS)
    messages = {position: what for position, what, _ in kind.complaints(listed)}
    assert messages == {
        1: "2023-12-24 is a Sunday, but `event` days are called only on weekdays",
        2: "2023-12-25 is Dec 25, on which `event` days are never called",
        3: "2023-12-26 is Dec 26, on which `event` days are never called",
        4: "2023-12-31 is a Sunday, but `event` days are called only on weekdays",
        5: "2024-01-01 is Jan 1, on which `event` days are never called",
        6: "2024-01-02 is Jan 2, on which `event` days are never called",
        7: "2024-03-29 is Good Friday, on which `event` days are never called",
        8: "2024-04-01 is outside, but `event` days are called only in Dec 1 - Mar 31",
    }


def test_holidays_among_the_limits():
    """A holiday is no weekday `except holidays`, and the day `holidays` names; the sheet must name holidays then."""
    listed = [date(2026, 12, 24), date(2026, 12, 25)]
    without = CalledDays("event", frozenset(listed), limits=CallLimits.parse("weekdays Except holidays"))
    assert without.complaints(listed) == (
        (
            None,
            "`weekdays Except holidays` speaks of holidays, but the sheet names none",
            "add `holidays:`, for example `holidays: {country: US}`, or leave the word out",
        ),
    )
    named = CalledDays("event", frozenset(listed), limits=without.limits, holidays=CHRISTMAS)
    what = "2026-12-25 is a holiday, but `event` days are called only on weekdays Except holidays"
    assert named.complaints(listed) == ((1, what, "take it out, or change `only_on`"),)
    only = CalledDays("event", frozenset(listed), limits=CallLimits.parse("holidays"), holidays=CHRISTMAS)
    what = "2026-12-24 is a Thursday, but `event` days are called only on holidays"
    assert only.complaints(listed) == ((0, what, "take it out, or change `only_on`"),)


@pytest.mark.parametrize(
    ("only_in", "listed", "wrong", "within"),
    [
        (None, ["2026-02-01", "2026-12-31", "2026-06-01", "2027-01-01", "2026-07-01"], 1, "of 2026, but 3"),
        # One winter is from December to March: the days of two calendar years count together, those of one do not.
        ("Dec - Mar", ["2026-12-01", "2026-12-02", "2026-03-02", "2027-03-31", "2027-01-02"], 3, "from 2026-12-01"),
        ("Dec - Mar", ["2026-12-01", "2026-03-02", "2026-12-31", "2026-01-02", "2027-03-31"], None, ""),
        ("Jan - Dec", ["2026-01-01", "2026-02-01", "2026-03-01", "2026-12-31", "2027-03-31"], 3, "from 2026-01-01"),
        ("daylight time", ["2026-03-08", "2026-05-01", "2026-07-01", "2026-10-31", "2027-04-01"], 3, "from 2026-03-08"),
    ],
)
def test_how_many_may_be_called(only_in, listed, wrong, within):
    """The day too many is the first, in time, of a year or of one span of the season (2026-03-08: from a calendar)."""
    listed = list(map(date.fromisoformat, listed))
    limits = CallLimits.parse(None, only_in, (), "3 days")
    kind = CalledDays("event", frozenset(listed), limits=limits, timezone="America/Denver")
    found = kind.complaints([*listed, listed[0]])  # a day that is listed twice counts once
    assert [position for position, _, _ in found] == ([] if wrong is None else [wrong])
    if wrong is not None:
        assert found[0][1].startswith(f"{listed[wrong]} is day 4 of the `event` days {within}")


# ------------------------------------------------------------------------------------------------- what is known when

notices = st.tuples(st.integers(0, 3), st.integers(0, 1439))


@given(notices, st.datetimes(datetime(2025, 10, 1), datetime(2026, 5, 1)), st.booleans(), st.booleans(), st.data())
def test_a_day_is_unknown_until_its_notice(notice, now, unknown_is_called, foresight, data):
    """Every day for a month: known if the wall clock has shown its notice time, read with the standard library."""
    zone = ZoneInfo("America/New_York")
    now = now.replace(tzinfo=UTC)
    walk = dates(now.date() - timedelta(days=5), now.date() + timedelta(days=25))
    listed = frozenset(data.draw(st.sets(st.sampled_from(walk), max_size=8)))
    kind = CalledDays("event", listed, unknown_is_called, notice, limits=CallLimits.parse("weekdays"))
    known = kind.as_known(int(now.timestamp()), SheetClock("America/New_York"), foresight)
    mask = known.mask(day_number(walk[0]), day_number(walk[-1]))
    for day, called in zip(walk, mask, strict=True):
        eve = day - timedelta(days=notice[0])
        told = datetime(eve.year, eve.month, eve.day, notice[1] // 60, notice[1] % 60, tzinfo=zone)
        if told.timestamp() <= now.timestamp():
            assert called == (day in listed)
        elif unknown_is_called and day.weekday() < 5:
            assert called
        else:
            assert called == (day in listed and foresight)


def test_without_notice_nothing_is_unknown():
    """A list without a time of notice is all that will ever be known; `unknown: called` then says nothing."""
    kind = CalledDays("event", frozenset({date(2026, 1, 14)}), unknown_is_called=True)
    assert kind.as_known(1_000_000_000, SheetClock("Etc/UTC"), foresight=False) == kind
    assert kind.mask(day_number(date(2026, 1, 14)), day_number(date(2026, 1, 15))).tolist() == [True, False]
    ((position, what, remedy),) = kind.complaints([date(2026, 1, 14)])
    assert position is None
    assert "without the time" in what
    assert remedy == "add for example `notice: 17:00 the day before`"


def test_when_all_days_are_called_no_more_can_come():
    """After the last day that may be called in a winter, unknown days of that winter are ordinary, of the next not."""
    listed = frozenset({date(2026, 1, 14), date(2026, 1, 15)})
    limits = CallLimits.parse(None, "Dec - Mar", (), 2)
    kind = CalledDays("event", listed, True, (1, 1020), date(2026, 1, 20), limits)
    for day, called in (("2026-01-15", 1), ("2026-01-21", 0), ("2026-03-31", 0), ("2026-04-01", 0), ("2026-12-01", 1)):
        number = day_number(date.fromisoformat(day))
        assert kind.mask(number, number).tolist() == [bool(called)]


@pytest.mark.parametrize(
    ("text", "notice"),
    [
        ("17:00 the day before", (1, 1020)),
        ("17:00 The Day  Before", (1, 1020)),
        ("17:00 on the day before", (1, 1020)),
        ("17:00 two days before", (2, 1020)),
        ("6:30 3 days before", (3, 390)),
        ("08:00 the same day", (0, 480)),
        ("00:00 one day before", (1, 0)),
    ],
)
def test_times_of_notice(text, notice):
    """Each way of naming a time of notice."""
    assert parse_notice(text) == notice


NAME = "use words of letters and digits, such as critical"
TAKEN = "is the name of days already; choose another, such as critical"
DAY = "is not a day; write Mon, Tue ... Sun, weekdays, weekends or holidays"
NOTICE = "is no time of notice; write for example 17:00 the day before"


@pytest.mark.parametrize(
    ("read", "text", "message"),
    [
        (parse_notice, "", f"`` {NOTICE}"),
        (parse_notice, "the day before", f"`the day before` {NOTICE}"),
        (parse_notice, "17:00", f"`17:00` {NOTICE}"),
        (parse_notice, "17:00 ten days before", f"`17:00 ten days before` {NOTICE}"),
        (parse_notice, "25:00 the day before", "25:00 is not a time of day; write 00:00 to 24:00"),
        (called_name, "super-peak", f"`super-peak` cannot name called days; {NAME}"),
        (called_name, "", f"`` cannot name called days; {NAME}"),
        (called_name, "hot and dry", f"`hot and dry` cannot name called days; {NAME}"),
        (called_name, "in", f"`in` cannot name called days; {NAME}"),
        (called_name, "Holidays", f"`Holidays` {TAKEN}"),
        (called_name, "Fri", f"`Fri` {TAKEN}"),
        (called_name, "every day", f"`every day` {TAKEN}"),
        (
            CallLimits.parse,
            "workdays",
            f"`workdays` {DAY}",
        ),
        (
            CallLimits.parse,
            "weekdays except Mon except Tue",
            "`except` comes twice in `weekdays except Mon except Tue`; join the days by commas",
        ),
    ],
)
def test_each_mistake(read, text, message):
    """Each mistake has one sentence with a remedy."""
    with pytest.raises(InputError, match=f"^{re.escape(message)}$"):
        read(text)


@pytest.mark.parametrize("at_most", ["many", "0", 0, "-3 days", "400 days", "3.5", True])
def test_numbers_of_days(at_most):
    """A number of days is a whole number from 1 to 366."""
    message = f"^`{at_most}` is no number of days to call; write for example 33 days$"
    with pytest.raises(InputError, match=message):
        CallLimits.parse(at_most=at_most)
    assert CallLimits.parse(at_most="1 day").at_most == CallLimits.parse(at_most=1).at_most == 1


def test_a_name_is_kept_as_written():
    """Windows find it in any case, with or without `days`."""
    assert called_name("  Critical  peak ") == "Critical peak"
    assert kind_key(called_name("Critical peak days")) == kind_key("critical peak") == "critical peak"


# ------------------------------------------------------------------------------------------------------ the calendar


def calendar(*called, seasons=None, **more):
    return Calendar(Seasons.build(seasons or {}), CHRISTMAS, called, **more)


@given(
    st.integers(0, 4),
    st.lists(st.sets(st.dates(date(2026, 11, 1), date(2027, 2, 28))), min_size=4, max_size=4),
    st.booleans(),
)
def test_patterns_come_apart_again(count, listed, seasonal):
    """Season, day of the week, holiday and calls of every date are those that went in, by one and by many."""
    kinds = [CalledDays(f"kind {n}", frozenset(days)) for n, days in enumerate(listed[:count])]
    seasons = {"winter": season_days("Nov - Jan"), "other": None} if seasonal else {}
    found = calendar(*kinds, seasons=seasons)
    assert found.kinds == 2 ** (1 + count)
    walk = dates(date(2026, 11, 1), date(2027, 2, 28))
    patterns = found.patterns(day_number(walk[0]), day_number(walk[-1]))
    assert patterns.max() < 7 * found.kinds * max(1, len(seasons))
    for day, pattern, names in zip(walk, patterns.tolist(), found.called_of(patterns), strict=True):
        assert found.season_of(pattern) == (1 if seasonal and day.month == 2 else 0)
        assert found.weekday_of(pattern) == day.weekday()
        assert found.is_holiday(pattern) == ((day.month, day.day) in ((12, 25), (1, 1)))
        assert names == found.called_of(pattern) == tuple(kind.name for kind in kinds if day in kind.days)
    assert (found.weekday_of(patterns) == [day.weekday() for day in walk]).all()
    assert found.is_holiday(patterns).sum() == 2
    assert found.season_of(patterns).sum() == (28 if seasonal else 0)


def periods(**hours):
    return {name: tuple(map(Window.parse, text.split("; "))) if text else None for name, text in hours.items()}


EVENT_HOURS = periods(
    critical="06:00-09:00, 16:00-20:00 on Critical days",
    peak="07:00-19:00 on weekdays except critical, holidays; 10:00-16:00 on critical",
    night="22:00-02:00 starting critical",
    rest=None,
)


@given(st.sets(st.dates(date(2026, 12, 1), date(2027, 1, 10))))
def test_periods_of_called_days(listed):
    """Every hour of six weeks, against the same sentences written as Python."""
    kind = CalledDays("Critical", frozenset(listed))
    found = calendar(kind)
    table = DayTable.build(EVENT_HOURS, found.seasons, ("Critical",))
    walk = dates(date(2026, 12, 2), date(2027, 1, 9))
    rows = table.rows(found.patterns(day_number(walk[0]) - 1, day_number(walk[-1])))
    codes = table.code.reshape(-1, 1440)[rows]
    for day, minutes in zip(walk, codes, strict=True):
        weekday = day.weekday() < 5 and (day.month, day.day) not in ((12, 25), (1, 1))
        for hour in range(24):
            if day in listed:
                name = "critical" if 6 <= hour < 9 or 16 <= hour < 20 else "peak" if 10 <= hour < 16 else "rest"
            else:
                name = "peak" if weekday and 7 <= hour < 19 else "rest"
            if (day in listed and hour >= 22) or (day - timedelta(days=1) in listed and hour < 2):
                name = "night"
            assert {table.names[code] for code in set(minutes[60 * hour : 60 * hour + 60].tolist())} == {name}
    assert table.resolution_min == 60
    assert table.in_season(0) == {0, 1, 2, 3}


MONTH_ENDS = tuple(
    zip(
        ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
        (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31),
        strict=True,
    )
)


def test_tables_that_name_no_called_days_stay_small():
    """With 24 seasons and 4 kinds there are 5376 patterns, but only as many days as the windows tell apart."""
    halves = {
        f"{month} {half}": season_days(f"{month} 1 - {month} 14" if half == 1 else f"{month} 15 - {month} {end}")
        for month, end in MONTH_ENDS
        for half in (1, 2)
    }
    seasons = Seasons.build(halves)
    assert seasons.fault() is None
    table = DayTable.build(periods(peak="16:00-21:00 on weekdays", rest=None), seasons, ("a", "b", "c", "d"))
    assert table.own.size == 24 * 7 * 32
    assert table.code.shape == (2, 1, 1440)


def fault(hours, *kinds, first=date(2026, 1, 1), last=None):
    found = calendar(*kinds)
    table = DayTable.build(hours, found.seasons, [kind.name for kind in kinds])
    return find_fault(found, table, hours, day_number(first), last and day_number(last))


def test_faults_of_days_that_are_not_called_yet():
    """A contradiction on called days shows before the first is called, but only on days that may be called."""
    overlap = periods(critical="06:00-09:00 on critical", peak="07:00-19:00 on weekdays", rest=None)
    found = fault(overlap, CalledDays("critical", frozenset()))
    assert (found.day, found.start, found.end) == (date(2026, 1, 1), 7 * 60, 9 * 60)
    assert (found.periods, found.called, found.holiday) == (("critical", "peak"), ("critical",), True)
    weekends = CalledDays("critical", frozenset(), limits=CallLimits.parse("weekends"))
    assert fault(overlap, weekends) is None
    february = CalledDays("critical", frozenset(), limits=CallLimits.parse("weekdays", "Feb"))
    assert fault(overlap, february).day == date(2026, 2, 2)
    assert fault(overlap, february, last=date(2026, 2, 1)) is None
    gap = periods(critical="06:00-09:00 on critical", rest="all day except critical; 00:00-06:00 on critical")
    found = fault(gap, february)
    assert (found.day, found.start, found.end, found.periods) == (date(2026, 2, 2), 9 * 60, 1440, ())


def test_a_night_that_runs_into_a_called_day():
    """The night begun on an ordinary day runs into the early hours of the called one, and they contradict."""
    hours = periods(night="22:00-06:00 starting weekdays", critical="05:00-09:00 on critical", rest=None)
    kind = CalledDays("critical", frozenset(), limits=CallLimits.parse("Wed"))
    found = fault(hours, kind, first=date(2026, 1, 5))
    assert (found.day, found.start, found.end) == (date(2026, 1, 7), 300, 360)
    assert (found.periods, found.called) == (("night", "critical"), ("critical",))


def test_a_called_night_that_runs_into_an_ordinary_day():
    """The night begun on a called day runs into the morning of the next, which nobody has called."""
    hours = periods(night="22:00-06:00 starting critical", morning="05:00-09:00 on Thu except critical", rest=None)
    kind = CalledDays("critical", frozenset(), limits=CallLimits.parse("Wed"))
    found = fault(hours, kind, first=date(2026, 1, 5))
    assert (found.day, found.start, found.end) == (date(2026, 1, 8), 300, 360)
    assert (found.periods, found.called) == (("night", "morning"), ())


def test_two_kinds_on_one_day():
    """Two kinds with the same hours contradict only where one day is listed as both."""
    hours = periods(hot="16:00-20:00 on hot", cold="16:00-20:00 on cold", rest=None)
    day = date(2026, 1, 14)
    hot, cold = (CalledDays(name, frozenset({day})) for name in ("hot", "cold"))
    assert fault(hours, hot, CalledDays("cold", frozenset({date(2026, 1, 15)}))) is None
    found = fault(hours, hot, cold)
    assert (found.day, found.called, found.periods) == (day, ("hot", "cold"), ("hot", "cold"))


def test_an_unknown_day_counts_in_the_patterns():
    """Before its notice a Wednesday is called by default; after it the list decides."""
    kind = CalledDays("critical", frozenset(), True, (1, 1020), limits=CallLimits.parse("Wed"))
    monday = int(datetime(2026, 1, 12, 12, tzinfo=UTC).timestamp())
    first, last = day_number(date(2026, 1, 13)), day_number(date(2026, 1, 15))
    for now_s, called in ((monday, [(), ("critical",), ()]), (monday + 2 * 86_400, [(), (), ()])):
        found = calendar(kind.as_known(now_s, SheetClock("Etc/UTC")))
        assert list(found.called_of(found.patterns(first, last))) == called
    assert not np.any(kind.mask(first, last))
