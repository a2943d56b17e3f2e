"""Days, seasons and weekdays as rate sheets print them."""

import re
from contextlib import suppress
from datetime import date, timedelta

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.tariff.dates import DayRule, month_day, month_of, season_days, weekday_of

MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def leap_year_days(first, last):
    """(month, day) from one date of the leap year 2024 to another, both included; past New Year if need be."""
    days = [date(2024, 1, 1) + timedelta(days=n) for n in range(366)]
    begin, end = days.index(date(2024, *first)), days.index(date(2024, *last))
    chosen = days[begin : end + 1] if begin <= end else days[begin:] + days[: end + 1]
    return {(day.month, day.day) for day in chosen}


@pytest.mark.parametrize("number", range(12))
def test_months(number):
    """The names of the Gregorian calendar, whole or by three letters, in any case, with or without a point."""
    name = MONTHS[number]
    for word in (name, name[:3], name.upper(), name[:3].lower(), f" {name[:3]}. "):
        assert month_of(word) == number + 1
    assert month_of("Sept") == 9


@pytest.mark.parametrize("number", range(7))
def test_weekdays(number):
    """Monday is day 0, as in Python's `date.weekday`."""
    name = WEEKDAYS[number]
    assert date(2026, 11, 23 + number).weekday() == number
    for word in (name, name[:3], name + "s", name.upper(), name[:3].lower() + "."):
        assert weekday_of(word) == number


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
    assert season_days(text) == days


@given(st.dates(date(2024, 1, 1), date(2024, 12, 31)), st.dates(date(2024, 1, 1), date(2024, 12, 31)))
def test_any_two_days_make_a_season(first, last):
    """For any two days, the season between them is the days that a calendar shows between them."""
    text = f"{MONTHS[first.month - 1]} {first.day} - {last.day} {MONTHS[last.month - 1][:3]}"
    assert season_days(text) == leap_year_days((first.month, first.day), (last.month, last.day))


@pytest.mark.parametrize(
    ("rule", "year", "day"),
    [
        # 5 U.S.C. 6103(a), on the calendar of 2026 and of a leap year (from memory).
        ("third Monday of January", 2026, "2026-01-19"),
        ("third Monday of February", 2026, "2026-02-16"),
        ("last Monday of May", 2026, "2026-05-25"),
        ("first Monday in September", 2026, "2026-09-07"),
        ("second Monday of October", 2026, "2026-10-12"),
        ("Fourth Thursday of November", 2026, "2026-11-26"),
        ("fourth thursday of nov", 2024, "2024-11-28"),
        ("last Monday of May", 2024, "2024-05-27"),
        ("fifth Sunday of March", 2026, "2026-03-29"),
        ("last Sunday of February", 2032, "2032-02-29"),
        ("Jul 4", 2026, "2026-07-04"),
        ("4 July", 2026, "2026-07-04"),
        ("Feb 29", 2028, "2028-02-29"),
        ("2026-12-24", 2026, "2026-12-24"),
    ],
)
def test_rules(rule, year, day):
    """Each kind of rule gives its date."""
    assert DayRule.parse(rule).dates(year) == (date.fromisoformat(day),)


@pytest.mark.parametrize(
    ("rule", "year"), [("fifth Monday of February", 2026), ("Feb 29", 2026), ("Feb 29", 2100), ("2026-12-24", 2027)]
)
def test_years_without_the_day(rule, year):
    """Where a year has no such day there is none: February 2026 has four Mondays, 2100 is no leap year."""
    assert DayRule.parse(rule).dates(year) == ()


@given(st.sampled_from(range(5)), st.sampled_from(range(7)), st.sampled_from(range(12)), st.integers(1971, 2199))
def test_nth_weekday(which, weekday, month, year):
    """The nth weekday of a month by walking through the month; the last one is the last of that walk."""
    rule = f"{('first', 'second', 'third', 'fourth', 'fifth')[which]} {WEEKDAYS[weekday]} of {MONTHS[month]}"
    days = [date(year, month + 1, 1) + timedelta(days=n) for n in range(31)]
    fitting = [day for day in days if day.month == month + 1 and day.weekday() == weekday]
    assert DayRule.parse(rule).dates(year) == tuple(fitting[which : which + 1])
    assert DayRule.parse(f"last {WEEKDAYS[weekday]} of {MONTHS[month]}").dates(year) == (fitting[-1],)


SHORT = "write Jan, Feb ... or the whole name"
DAY = "write Mon, Tue ... Sun, weekdays, weekends or holidays"
RULE = "is not a day; write for example Jul 4, last Monday of May, Easter Monday or 2026-12-24"


@pytest.mark.parametrize(
    ("read", "text", "message"),
    [
        (month_of, "Juni", f"`Juni` is not a month; {SHORT}"),
        (month_of, "", f"`` is not a month; {SHORT}"),
        (month_of, "Jn", f"`Jn` is not a month; {SHORT}"),
        (weekday_of, "Mo", f"`Mo` is not a day; {DAY}"),
        (weekday_of, "workdays", f"`workdays` is not a day; {DAY}"),
        (month_day, "Jun 31", "`Jun 31` does not exist; that month has 30 days at most"),
        (month_day, "Feb 30", "`Feb 30` does not exist; that month has 29 days at most"),
        (month_day, "Jun 0", "`Jun 0` does not exist; that month has 30 days at most"),
        (month_day, "6/1", "`6/1` is not a day of the year; write for example Jun 1"),
        (month_day, "Jun ١", "`Jun ١` is not a day of the year; write for example Jun 1"),
        (
            season_days,
            "Jun 1 - Jul 1 - Aug 1",
            "`Jun 1 - Jul 1 - Aug 1` is not a season; write for example Jun 1 - Sep 30, or Jun - Sep",
        ),
        (season_days, "- Aug", "`- Aug` is not a season; write for example Jun 1 - Sep 30, or Jun - Sep"),
        (season_days, "Jun, ", "`` is not a season; write for example Jun 1 - Sep 30, or Jun - Sep"),
        (season_days, "summer", f"`summer` is not a month; {SHORT}"),
        (DayRule.parse, "2026-02-29", "`2026-02-29` does not exist; write a date such as 2026-12-24"),
        (DayRule.parse, "sixth Monday of May", f"`sixth Monday of May` {RULE}"),
        (DayRule.parse, "first Monday", f"`first Monday` {RULE}"),
        (DayRule.parse, "firſt Monday of May", f"`firſt Monday of May` {RULE}"),
        (DayRule.parse, "Christmas", f"`Christmas` {RULE}"),
        (DayRule.parse, "first Mo of May", f"`Mo` is not a day; {DAY}"),
        (DayRule.parse, "first Monday of Mai", f"`Mai` is not a month; {SHORT}"),
        (DayRule.parse, "", f"`` {RULE}"),
    ],
)
def test_each_mistake(read, text, message):
    """Each mistake has one sentence with a remedy."""
    with pytest.raises(InputError, match=f"^{re.escape(message)}$"):
        read(text)


@given(st.one_of(st.text(max_size=30), st.from_regex(r"\A[a-z0-9 .,–-]{0,30}\Z")))
@example("laſt Monday of May")
@example("1 KAN")
@example("²⁰²⁶-01-01")
@example("99 days before Easter")
def test_any_text_is_read_or_refused(text):
    """No text brings another kind of error."""
    for read in (month_of, weekday_of, month_day, season_days, DayRule.parse):
        with suppress(InputError):
            found = read(text)
            if isinstance(found, DayRule):
                assert all(day.year in (2025, 2026, 2027) for day in found.dates(2026))
