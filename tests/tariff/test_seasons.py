"""Seasons: days of the year, days between yearly rules, and days of daylight time; and which of them prices go by."""

import re
from contextlib import suppress
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from chargeplan.clock import day_number, day_of_number
from chargeplan.errors import InputError
from chargeplan.tariff.calendar import NOTHING, SEVERAL, Calendar
from chargeplan.tariff.day_table import DayTable
from chargeplan.tariff.holiday_set import HolidaySet
from chargeplan.tariff.seasons import SeasonDays, Seasons, season_days
from chargeplan.tariff.windows import Window

MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
NTH = ("first", "second", "third", "fourth")


def dates(first, last):
    return [first + timedelta(days=n) for n in range((last - first).days + 1)]


def mask(text, first, last, timezone=None):
    return season_days(text).mask(day_number(first), day_number(last), timezone).tolist()


def leap_year_days(first, last):
    """(month, day) from one date of the leap year 2024 to another, both included; past New Year if need be."""
    days = [date(2024, 1, 1) + timedelta(days=n) for n in range(366)]
    begin, end = days.index(date(2024, *first)), days.index(date(2024, *last))
    chosen = days[begin : end + 1] if begin <= end else days[begin:] + days[: end + 1]
    return {(day.month, day.day) for day in chosen}


@pytest.mark.parametrize(
    ("text", "days"),
    [
        ("Jun 1 - Sep 30", leap_year_days((6, 1), (9, 30))),
        ("Jun 1-Sep 30", leap_year_days((6, 1), (9, 30))),
        ("Jun 1 – Sep 30", leap_year_days((6, 1), (9, 30))),
        ("Jun 1 to Sep 30", leap_year_days((6, 1), (9, 30))),
        ("1 June - 30 September", leap_year_days((6, 1), (9, 30))),
        ("june - sept", leap_year_days((6, 1), (9, 30))),
        ("Jun-Sep", leap_year_days((6, 1), (9, 30))),
        ("Apr 16 - Oct 15", leap_year_days((4, 16), (10, 15))),
        ("Oct 16 - Apr 15", leap_year_days((10, 16), (4, 15))),  # past New Year
        ("Nov - Apr", leap_year_days((11, 1), (4, 30))),
        ("Dec - Feb", leap_year_days((12, 1), (2, 29))),
        ("Feb", leap_year_days((2, 1), (2, 29))),
        ("Feb 29", {(2, 29)}),
        ("Dec 31 - Jan 1", {(12, 31), (1, 1)}),
        ("May, Jun, Sep - Oct", leap_year_days((5, 1), (6, 30)) | leap_year_days((9, 1), (10, 31))),
        ("Jan 1 - Dec 31", leap_year_days((1, 1), (12, 31))),
    ],
)
def test_seasons(text, days):
    """Both ends belong to a season; counted day by day through the leap year 2024."""
    assert season_days(text) == SeasonDays(frozenset(days))


@given(st.dates(date(2024, 1, 1), date(2024, 12, 31)), st.dates(date(2024, 1, 1), date(2024, 12, 31)))
def test_any_two_days_make_a_season(first, last):
    """For any two days, the season between them is the days that a calendar shows between them."""
    text = f"{MONTHS[first.month - 1]} {first.day} - {last.day} {MONTHS[last.month - 1][:3]}"
    assert season_days(text) == SeasonDays(frozenset(leap_year_days((first.month, first.day), (last.month, last.day))))


@pytest.mark.parametrize(
    ("zone", "rules", "first", "last"),
    [
        # Energy Policy Act of 2005, sec. 110: second Sunday of March to first Sunday of November, from 2007.
        ("America/Denver", "second Sunday of March - day before first Sunday of November", 2007, 2037),
        # Uniform Time Act as amended in 1986: first Sunday of April to last Sunday of October, 1987 to 2006.
        ("America/New_York", "first Sunday of April - day before last Sunday of October", 1987, 2006),
        # Directive 2000/84/EC: last Sunday of March to last Sunday of October.
        ("Europe/Berlin", "last Sunday of March - day before last Sunday of October", 1996, 2037),
        # Irish law calls summer time the standard time; the clock is forward in summer all the same.
        ("Europe/Dublin", "last Sunday of March - day before last Sunday of October", 1996, 2037),
        # Standard Time Amendment (Daylight Saving) Act 2007 of New South Wales: first Sundays of October and April.
        ("Australia/Sydney", "first Sunday of October - Saturday before first Sunday of April", 2009, 2037),
        # Half an hour only on Lord Howe Island.
        ("Australia/Lord_Howe", "first Sunday of October - Saturday before first Sunday of April", 2009, 2037),
    ],
)
def test_daylight_time_is_what_the_law_says(zone, rules, first, last):
    """The days of daylight time are those between the days of the law (from memory); a change day has the new time."""
    begin, end = date(first, 1, 1), date(last, 12, 31)
    by_law = mask(rules, begin, end)
    assert mask("daylight time", begin, end, zone) == by_law
    assert mask("Daylight saving time", begin, end, zone) == by_law
    assert mask("standard time", begin, end, zone) == [not day for day in by_law]
    assert mask("standard time, daylight time", begin, end, zone) == [True] * len(by_law)
    noons = [datetime(day.year, day.month, day.day, 12, tzinfo=ZoneInfo(zone)) for day in dates(begin, end)]
    lowest = {noon.year: noon.utcoffset() for noon in sorted(noons, key=datetime.utcoffset, reverse=True)}
    assert [noon.utcoffset() > lowest[noon.year] for noon in noons] == by_law


@pytest.mark.parametrize("zone", ["America/Phoenix", "Pacific/Honolulu", "Etc/UTC"])
def test_zones_without_daylight_time(zone):
    """Arizona and Hawaii do not change the clock (common practice, no source)."""
    assert not any(mask("daylight time", date(2024, 1, 1), date(2026, 12, 31), zone))
    assert all(mask("standard time", date(2024, 1, 1), date(2026, 12, 31), zone))


def test_a_season_by_the_clock_needs_the_zone():
    """Without a zone nobody knows when the clock changes."""
    with pytest.raises(InputError, match="needs a time zone"):
        mask("daylight time", date(2026, 1, 1), date(2026, 1, 2))


@pytest.mark.parametrize(
    ("text", "inside", "outside"),
    [
        # The last Saturdays of October 2025 and 2026, the first Sundays of May 2026, from a calendar.
        ("first Sunday of May - last Saturday of October", ("2026-05-03", "2026-10-31"), ("2026-05-02", "2026-11-01")),
        ("last Saturday of October - first Sunday of May", ("2025-10-25", "2026-05-03"), ("2025-10-24", "2026-05-04")),
        ("last Monday of May - Sep 30", ("2026-05-25", "2026-09-30"), ("2026-05-24", "2026-10-01")),
        ("Nov - last Sunday of March", ("2025-11-01", "2026-03-29"), ("2025-10-31", "2026-03-30")),
        ("last Sunday of October to Feb", ("2027-10-31", "2028-02-29"), ("2027-10-30", "2028-03-01")),
        ("last Sunday of October - Feb 29", ("2025-10-26", "2026-02-28"), ("2025-10-25", "2026-03-01")),
        ("Easter - Easter Monday", ("2026-04-05", "2026-04-06"), ("2026-04-04", "2026-04-07")),
        ("Good Friday", ("2026-04-03", "2026-04-03"), ("2026-04-02", "2026-04-04")),
        (
            "Monday before May 25–first Monday of September",
            ("2026-05-18", "2026-09-07"),
            ("2026-05-17", "2026-09-08"),
        ),
        ("day after Dec 30 - day before Jan 3", ("2025-12-31", "2026-01-02"), ("2025-12-30", "2026-01-03")),
        ("Feb, first Monday of May - Jun 5, Dec 31", ("2026-05-04", "2026-06-05"), ("2026-05-03", "2026-06-06")),
    ],
)
def test_seasons_between_rules(text, inside, outside):
    """Both ends belong to the season, and every day between; the days next to them do not."""
    first, last = map(date.fromisoformat, inside)
    assert all(mask(text, first, last))
    for day in map(date.fromisoformat, outside):
        assert mask(text, day, day) == [False]


rule_ends = st.tuples(st.sampled_from((*NTH, "last")), st.sampled_from(WEEKDAYS), st.sampled_from(range(1, 13)))


def rule_date(rule, year):
    """Walk through the month; standard library only."""
    which, weekday, month = rule
    days = [day for day in dates(date(year, month, 1), date(year, month, 28) + timedelta(days=3)) if day.month == month]
    fitting = [day for day in days if day.strftime("%A") == weekday]
    return fitting[-1] if which == "last" else fitting[NTH.index(which)]


@given(rule_ends, rule_ends | st.tuples(st.integers(1, 12), st.integers(1, 28)), st.integers(1980, 2100))
def test_any_two_rules_make_a_season(first, last, year):
    """A day is in the season if a start is at or before it and no end since lies before the day, day by day."""
    fixed = len(last) == 2
    names = [
        f"{which} {weekday} of {MONTHS[month - 1]}" for which, weekday, month in ([first] if fixed else [first, last])
    ]
    text = f"{names[0]} - {f'{MONTHS[last[0] - 1]} {last[1]}' if fixed else names[1]}"
    starts, ends = {}, {}
    for near in range(year - 2, year + 3):
        starts[near] = rule_date(first, near)
        ends[near] = date(near, *last) if fixed else rule_date(last, near)
    try:
        found = mask(text, date(year, 1, 1), date(year, 12, 31))
    except InputError:
        # Refused only where the order of the ends differs from year to year.
        cycle = range(2024, 2052)
        of_year = [date(n, *last) if fixed else rule_date(last, n) for n in cycle]
        assert {rule_date(first, n) <= end for n, end in zip(cycle, of_year, strict=True)} == {True, False}
        return
    for day, here in zip(dates(date(year, 1, 1), date(year, 12, 31)), found, strict=True):
        start = max(start for start in starts.values() if start <= day)
        assert here == (not any(start <= end < day for end in ends.values()))


SHORT = "write Jan, Feb ... or the whole name"
SEASON = "is not a season; write for example Jun 1 - Sep 30, or Jun - Sep"


@pytest.mark.parametrize(
    ("read", "text", "message"),
    [
        (
            season_days,
            "Jun 1 - Jul 1 - Aug 1",
            "`Jun 1 - Jul 1 - Aug 1` is not a season; write for example Jun 1 - Sep 30, or Jun - Sep",
        ),
        (season_days, "- Aug", "`- Aug` is not a season; write for example Jun 1 - Sep 30, or Jun - Sep"),
        (season_days, "Jun, ", "`` is not a season; write for example Jun 1 - Sep 30, or Jun - Sep"),
        (season_days, "summer", f"`summer` is not a month; {SHORT}"),
        (season_days, "6/1 - 9/30", "`6/1` is not a day of the year; write for example Jun 1"),
        (season_days, "Jun 1 - Sep 31", "`Sep 31` does not exist; that month has 30 days at most"),
        (
            season_days,
            "fifth Sunday of May - Sep 30",
            "`fifth Sunday of May` does not come every year; write for example last Sunday of October",
        ),
        (season_days, "2026-06-01 - 2026-09-30", f"`2026-06-01 - 2026-09-30` {SEASON}"),
        (
            season_days,
            "first Sunday in Moy - Sep 30",
            f"`Moy` is not a month; {SHORT}",
        ),
        (
            season_days,
            "Easter - Apr 10",
            "`Easter - Apr 10` lasts until the next year when it begins in 2025, but not always; "
            "give ends that keep their order every year",
        ),
    ],
)
def test_each_mistake(read, text, message):
    """Each mistake has one sentence with a remedy."""
    with pytest.raises(InputError, match=f"^{re.escape(message)}$"):
        read(text)


@given(st.one_of(st.text(max_size=40), st.from_regex(r"\A[a-z0-9 .,–-]{0,40}\Z")))
@example("daylight time, Jun")
@example("easter - easter")
def test_any_text_is_read_or_refused(text):
    """No text brings another kind of error."""
    with suppress(InputError):
        season_days(text).mask(0, 400, "Etc/UTC")


# -------------------------------------------------------------------------------------------------- seasons of a sheet


def build(**days):
    return Seasons.build({name: season_days(text) if text else None for name, text in days.items()}, "America/Denver")


@pytest.mark.parametrize(
    ("days", "fault", "day"),
    [
        ({"summer": "Jun - Sep", "winter": None}, None, None),
        ({"summer": "Jun - Sep", "winter": "Oct - May"}, None, None),
        ({"summer": "Jun - Sep", "winter": "Oct - Feb 28, Mar - May"}, (2, 29, NOTHING), date(2024, 2, 29)),
        ({"summer": "Jun - Sep", "winter": "Oct - Jun 1"}, (6, 1, SEVERAL), date(2024, 6, 1)),
        ({"summer": "Jun - Sep", "winter": "Oct - Apr"}, (5, 1, NOTHING), date(2024, 5, 1)),
        ({"summer": "daylight time", "winter": "standard time"}, None, None),
        ({"summer": "daylight time", "winter": None}, None, None),
        # The clock goes forward on 8 March in 2026 first, but on 7 March it is standard time in every year.
        ({"summer": "daylight time", "winter": "standard time, Mar 7"}, None, None),
        ({"summer": "daylight time", "winter": "standard time, Mar 8"}, (3, 8, SEVERAL), date(2026, 3, 8)),
        ({"summer": "first Sunday of May - Oct 31", "winter": "Nov - Apr"}, (5, 1, NOTHING), date(2024, 5, 1)),
        ({"summer": "first Sunday of May - Oct 31", "winter": "Nov - May 1"}, (5, 2, NOTHING), date(2024, 5, 2)),
        ({"summer": "first Sunday of May - Oct 31, May", "winter": "Nov - Apr"}, None, None),
        # The first Sunday of May is 5 May in 2024, 1 May in 2033 first.
        ({"summer": "first Sunday of May - Oct 31", "spring": "May 5", "winter": None}, (5, 5, SEVERAL), None),
        (
            {"summer": "first Sunday of May - Oct 31", "spring": "May 1", "winter": None},
            (5, 1, SEVERAL),
            date(2033, 5, 1),
        ),
    ],
)
def test_faults(days, fault, day):
    """The first day, from 2024, that is in no season or in several: found again by looking at every day."""
    seasons = build(**days)
    walk = dates(date(2024, 1, 1), date(2051, 12, 31))
    masks = [mask(text, walk[0], walk[-1], "America/Denver") for text in days.values() if text]
    claims = np.sum(masks, axis=0)
    bad = np.flatnonzero((claims > 1) | ((claims == 0) & (None not in days.values())))
    expected = (walk[bad[0]], NOTHING if claims[bad[0]] == 0 else SEVERAL) if bad.size else None
    assert seasons.fault_date() == expected
    assert seasons.fault() == (expected and (expected[0].month, expected[0].day, expected[1]))
    if day is not None:
        assert (seasons.fault_date(), seasons.fault()) == ((day, fault[2]), fault)
    assert seasons.ruled == any("Sunday" in (text or "") or "time" in (text or "") for text in days.values())


@given(st.dates(date(1972, 1, 1), date(2150, 1, 1)), st.integers(0, 800))
def test_codes_by_date(first, length):
    """Every date has the season in which it lies, whether or not the seasons are the same every year."""
    last = first + timedelta(days=length)
    fixed = build(summer="Jun - Sep", winter=None).codes(day_number(first), day_number(last))
    assert fixed.tolist() == [0 if 6 <= day.month <= 9 else 1 for day in dates(first, last)]
    ruled = build(winter=None, summer="last Monday of May - Sep 30").codes(day_number(first), day_number(last))
    for day, code in zip(dates(first, last), ruled, strict=True):
        memorial = rule_date(("last", "Monday", 5), day.year)
        assert code == (1 if memorial <= day <= date(day.year, 9, 30) else 0)


def test_without_seasons_every_date_has_the_one_season():
    """A sheet without seasons has code 0 everywhere and no fault."""
    none = Seasons.build({})
    assert none.codes(0, 1000).tolist() == [0] * 1001
    assert none.fault() is none.fault_date() is None
    assert not none.ruled


# -------------------------------------------------------------------------------------------------- seasons of prices


@given(st.dates(date(1990, 1, 1), date(2100, 1, 1)), st.integers(0, 500), st.integers(1, 28))
def test_the_season_of_the_bill(first, length, reading_day):
    """The season of the next day after the date on which the meter is read, found by walking on."""
    last = first + timedelta(days=length)
    seasons = build(summer="Jun 1 - Sep 30", winter=None)
    found = Calendar(seasons, HolidaySet(), bill_day=reading_day).price_season(day_number(first), day_number(last))
    for day, code in zip(dates(first, last), found, strict=True):
        issued = next(later for later in dates(day, day + timedelta(days=40))[1:] if later.day == reading_day)
        assert code == (0 if 6 <= issued.month <= 9 else 1)


def test_seasons_of_prices_that_differ_from_those_of_hours():
    """Hours by daylight time, prices by month: the evening peak of winter hours also has a price in summer months."""
    hours = build(summer="daylight time", winter=None)
    prices = build(summer="Jun - Oct", mild="Nov 1 - Nov 30", winter=None)
    windows = {"peak": "17:00-20:00 in winter", "late peak": "18:00-21:00 in summer"}
    table = DayTable.build({**{n: (Window.parse(t),) for n, t in windows.items()}, "off-peak": None}, hours)
    calendar = Calendar(hours, HolidaySet(), price_seasons=prices)
    first, last = day_number(date(2026, 1, 1)), day_number(date(2026, 12, 31))
    assert calendar.price_season(first, last).tolist() == prices.codes(first, last).tolist()
    # The clock goes back between 1 and 7 November, and forward between 8 and 14 March.
    assert calendar.periods_in_price_season(table) == [{1, 2}, {0, 1, 2}, {0, 1, 2}]
    assert Calendar(hours, HolidaySet()).periods_in_price_season(table) == [{1, 2}, {0, 2}]
    july = Calendar(build(july="Jul", other=None), HolidaySet(), price_seasons=None, bill_day=10)
    table = DayTable.build({"hot": (Window.parse("17:00-20:00 in july"),), "off-peak": None}, july.seasons)
    # Days from 10 June are on July's bill, and the days from 10 July on August's.
    assert july.periods_in_price_season(table) == [{0, 1}, {0, 1}]
    assert [table.in_season(0), table.in_season(1)] == [{0, 1}, {1}]


def test_the_days_of_a_cycle():
    """The constants of the cycle are 28 whole years from 2024."""
    from chargeplan.tariff.seasons import CYCLE_FIRST, CYCLE_LAST, CYCLE_YEARS

    assert day_of_number(CYCLE_FIRST) == date(2024, 1, 1)
    assert day_of_number(CYCLE_LAST) == date(2024 + CYCLE_YEARS - 1, 12, 31)
