"""Days of the year and of the week as rate sheets print them."""

import re
from contextlib import suppress
from datetime import date, timedelta

import holidays
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.tariff.dates import DayRule, month_day, month_of, weekday_of

MONTHS = (
    *("January", "February", "March", "April", "May", "June"),
    *("July", "August", "September", "October", "November", "December"),
)
WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


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


@pytest.mark.parametrize(
    ("rule", "country", "subdivision", "holiday"),
    [
        # Holidays Act, R.S.C. 1985, c. H-5: the first Monday immediately preceding May 25 (from memory).
        ("Monday before May 25", "CA", "ON", "Victoria Day"),
        ("Monday on or before May 24", "CA", "ON", "Victoria Day"),
        ("MONDAY  On or Before 24 May", "CA", "ON", "Victoria Day"),
        # Midsummer Day and All Saints' Day of Finland, Saturdays since 1955 (from memory).
        ("Saturday on or after Jun 20", "FI", None, "Juhannuspäivä"),
        ("Saturday after Jun 19", "FI", None, "Juhannuspäivä"),
        ("day after Friday on or after Jun 19", "FI", None, "Juhannuspäivä"),
        ("Saturday on or after Oct 31", "FI", None, "Pyhäinpäivä"),
        # The Wednesday before 23 November (Saxony).
        ("Wednesday before Nov 23", "DE", "SN", "Buß- und Bettag"),
        ("day after Good Friday", "AU", "NSW", "Easter Saturday"),
    ],
)
def test_rules_that_count_from_a_day(rule, country, subdivision, holiday):
    """Holidays named by a weekday near a day, against the open holiday data of the `holidays` package."""
    years = range(1996, 2060)
    language = {"FI": "fi", "DE": "de"}.get(country, "en_US")
    data = holidays.country_holidays(country, subdiv=subdivision, years=years, observed=False, language=language)
    named = {day for day, name in data.items() if holiday in name.split("; ")}
    assert len(named) == len(years)
    assert {day for year in years for day in DayRule.parse(rule).dates(year)} == named


@pytest.mark.parametrize(
    ("rule", "days"),
    [
        # 2 U.S.C. 7: "the Tuesday next after the 1st Monday in November"; the days of four elections (from memory).
        ("Tuesday after first Monday of November", ("2018-11-06", "2020-11-03", "2022-11-08", "2024-11-05")),
        ("day after first Monday in November", ("2018-11-06", "2020-11-03", "2022-11-08", "2024-11-05")),
        ("day after fourth Thursday of November", ("2024-11-29", "2025-11-28", "2026-11-27")),
        ("The day before Jan 1", ("2025-12-31", "2026-12-31")),
        ("day after Dec 31", ("2026-01-01", "2027-01-01")),
        ("day after day before Jul 4", ("2026-07-04",)),
        ("Friday on or after Oct 10", ("2025-10-10", "2026-10-16")),
        ("Friday after Oct 10", ("2025-10-17", "2026-10-16")),
        ("day before Feb 29", ("2028-02-28",)),
    ],
)
def test_each_form_of_rules_that_count_from_a_day(rule, days):
    """Dates from a calendar; each belongs to the year in which it lies."""
    for day in map(date.fromisoformat, days):
        assert DayRule.parse(rule).dates(day.year) == (day,)


def test_a_year_may_have_a_day_twice_or_not_at_all():
    """1 January is a Friday in 2027, and so is 31 December; 2028 ends on a Sunday, and 1 January 2029 is a Monday."""
    rule = DayRule.parse("Friday on or before Jan 1")
    assert rule.dates(2027) == (date(2027, 1, 1), date(2027, 12, 31))
    assert rule.dates(2028) == (date(2028, 12, 29),)
    assert DayRule.parse("Friday on or after Dec 31").dates(2028) == ()


@given(
    st.sampled_from(range(7)),
    st.dates(date(1971, 1, 10), date(2198, 12, 20)),
    st.sampled_from((("before", -1, 1), ("on or before", -1, 0), ("after", 1, 1), ("on or after", 1, 0))),
)
def test_the_nearest_weekday(weekday, day, words):
    """The nearest such weekday, found by walking from the day; for the day before and after too."""
    word, step, first = words
    text = f"{MONTHS[day.month - 1]} {day.day}"
    walk = [day + timedelta(days=step * n) for n in range(first, 8)]
    found = next(other for other in walk if other.weekday() == weekday)
    assert found in DayRule.parse(f"{WEEKDAYS[weekday]} {word} {text}").dates(found.year)
    if first:
        assert walk[0] in DayRule.parse(f"day {word} {text}").dates(walk[0].year)


@pytest.mark.parametrize(
    ("rule", "yearly"),
    [
        ("Jul 4", True),
        ("Feb 29", False),
        ("last Monday of May", True),
        ("fifth Monday of May", False),
        ("Easter Monday", True),
        ("2026-12-24", False),
        ("Monday after Jul 4", True),
        ("day after fifth Monday of May", False),
        ("day before Feb 29", False),
    ],
)
def test_days_that_come_every_year(rule, yearly):
    """A day comes every year if each of the 28 years of the calendar's cycle has one."""
    parsed = DayRule.parse(rule)
    assert parsed.yearly == yearly
    assert yearly == all(parsed.dates(year) for year in range(2024, 2052))


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
        (DayRule.parse, "2026-02-29", "`2026-02-29` does not exist; write a date such as 2026-12-24"),
        (DayRule.parse, "sixth Monday of May", f"`sixth Monday of May` {RULE}"),
        (DayRule.parse, "first Monday", f"`first Monday` {RULE}"),
        (DayRule.parse, "firſt Monday of May", f"`firſt Monday of May` {RULE}"),
        (DayRule.parse, "Christmas", f"`Christmas` {RULE}"),
        (DayRule.parse, "first Mo of May", f"`Mo` is not a day; {DAY}"),
        (DayRule.parse, "first Monday of Mai", f"`Mai` is not a month; {SHORT}"),
        (DayRule.parse, "", f"`` {RULE}"),
        (DayRule.parse, "day after", f"`day after` {RULE}"),
        (DayRule.parse, "day after Christmas", f"`Christmas` {RULE}"),
        (DayRule.parse, "Mo before May 25", f"`Mo` is not a day; {DAY}"),
        (DayRule.parse, "Monday near May 25", f"`Monday near May 25` {RULE}"),
        (DayRule.parse, "Monday on May 25", f"`Monday on May 25` {RULE}"),
        (DayRule.parse, "Monday before May 35", "`May 35` does not exist; that month has 31 days at most"),
        (
            DayRule.parse,
            "day after 2026-12-24",
            "`day after 2026-12-24` is one date; write that date itself, such as 2026-12-24",
        ),
        (
            DayRule.parse,
            "day after day after day after Jul 4",
            "`day after Jul 4` counts from too many days; name the day more simply, like Jul 4",
        ),
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
@example("day before " * 40 + "Jul 4")
@example("Monday after 99 days after Easter")
def test_any_text_is_read_or_refused(text):
    """No text brings another kind of error."""
    for read in (month_of, weekday_of, month_day, DayRule.parse):
        with suppress(InputError):
            found = read(text)
            if isinstance(found, DayRule):
                assert all(day.year in (2025, 2026, 2027) for day in found.dates(2026))
