"""Holidays: published calendars, and what rate sheets do with one that falls on a weekend."""

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.tariff import read_tariff
from chargeplan.tariff.dates import DayRule, easter_sunday
from chargeplan.tariff.holiday_set import SHIFTS, HolidaySet, country_dates

SHEET = """
name: Holidays
currency: USD
timezone: America/New_York
holidays: {holidays}
periods: {{holiday: all day on holidays, other: rest}}
prices: {{holiday: 1, other: 2}}
"""


def holidays_in(holidays, year):
    """Every holiday of a year that a sheet with these `holidays:` sees, read back from its day types."""
    tariff = read_tariff(SHEET.format(holidays=holidays))
    noons = tariff.frame(date(year, 1, 1), date(year + 1, 1, 1), "12 h")
    return {start.date() for start, kind in noons["day_type"].items() if kind == "holiday"}


def dates(*texts):
    return {date.fromisoformat(text) for text in texts}


# US Office of Personnel Management, federal holidays (the days on which most federal employees have off); retyped from
# memory. New Year's Day 2022 is in the list of 2022 and lies on 2021-12-31. Inauguration Day 2021 is for the capital's
# area only and left out.
FEDERAL = {
    2021: dates(
        *("2021-01-01", "2021-01-18", "2021-02-15", "2021-05-31", "2021-06-18", "2021-07-05", "2021-09-06"),
        *("2021-10-11", "2021-11-11", "2021-11-25", "2021-12-24", "2021-12-31"),
    ),
    2022: dates(
        *("2022-01-17", "2022-02-21", "2022-05-30", "2022-06-20", "2022-07-04", "2022-09-05"),
        *("2022-10-10", "2022-11-11", "2022-11-24", "2022-12-26"),
    ),
    2023: dates(
        *("2023-01-02", "2023-01-16", "2023-02-20", "2023-05-29", "2023-06-19", "2023-07-04", "2023-09-04"),
        *("2023-10-09", "2023-11-10", "2023-11-23", "2023-12-25"),
    ),
}


@pytest.mark.parametrize("year", sorted(FEDERAL))
def test_federal_holidays(year):
    """US Office of Personnel Management, federal holidays 2021 to 2023, from memory: on the nearest weekday."""
    assert holidays_in("{country: US, shift: nearest weekday}", year) == FEDERAL[year]


# gov.uk, bank holidays of England and Wales, from memory: substitute days, the Jubilee on 3 June 2022, the funeral on
# 19 September 2022 and the coronation on 8 May 2023.
ENGLAND = {
    2021: dates(
        *("2021-01-01", "2021-04-02", "2021-04-05", "2021-05-03", "2021-05-31", "2021-08-30"),
        *("2021-12-27", "2021-12-28"),
    ),
    2022: dates(
        *("2022-01-03", "2022-04-15", "2022-04-18", "2022-05-02", "2022-06-02", "2022-06-03", "2022-08-29"),
        *("2022-09-19", "2022-12-26", "2022-12-27"),
    ),
    2023: dates(
        *("2023-01-02", "2023-04-07", "2023-04-10", "2023-05-01", "2023-05-08", "2023-05-29", "2023-08-28"),
        *("2023-12-25", "2023-12-26"),
    ),
}


@pytest.mark.parametrize("year", sorted(ENGLAND))
def test_bank_holidays_of_england(year):
    """gov.uk, bank holidays, from memory: Christmas and Boxing Day on a weekend take the next two free weekdays."""
    assert holidays_in("{country: GB, subdivision: ENG, shift: next free weekday}", year) == ENGLAND[year]


@pytest.mark.parametrize(
    ("year", "sunday", "friday", "monday", "ascension", "whit_monday"),
    [
        (2024, "2024-03-31", "2024-03-29", "2024-04-01", "2024-05-09", "2024-05-20"),
        (2025, "2025-04-20", "2025-04-18", "2025-04-21", "2025-05-29", "2025-06-09"),
        (2026, "2026-04-05", "2026-04-03", "2026-04-06", "2026-05-14", "2026-05-25"),
    ],
)
def test_easter(year, sunday, friday, monday, ascension, whit_monday):
    """Easter Mondays as in the Spanish 2.0TD page, the Hera leaflet and EDF; the days around them from memory.

    Germany has all of them as holidays, and Italy the Monday only.
    """
    assert easter_sunday(year) == date.fromisoformat(sunday)
    for rule, day in (
        ("Easter", sunday),
        ("Good Friday", friday),
        ("2 days before Easter", friday),
        ("Easter Monday", monday),
        ("1 day after Easter", monday),
        ("Ascension Day", ascension),
        ("39 days after Easter", ascension),
        ("Whit Monday", whit_monday),
        ("50 days after Easter Sunday", whit_monday),
    ):
        assert DayRule.parse(rule).dates(year) == (date.fromisoformat(day),)
        assert DayRule.parse(rule.upper()).dates(year) == (date.fromisoformat(day),)
    german = country_dates("DE", None, ("public",), year)
    assert dates(friday, monday, ascension, whit_monday) <= german
    italian = country_dates("IT", None, ("public",), year)
    assert date.fromisoformat(monday) in italian
    assert date.fromisoformat(friday) not in italian


@pytest.mark.parametrize(
    ("year", "month", "day"),
    [(1818, 3, 22), (1943, 4, 25), (2000, 4, 23), (2008, 3, 23), (2011, 4, 24), (2019, 4, 21), (2038, 4, 25)],
)
def test_easter_sundays_far_apart(year, month, day):
    """US Naval Observatory, dates of Easter, from memory: with the earliest and latest possible."""
    assert easter_sunday(year) == date(year, month, day)


SIX_DAYS = (
    "[Jan 1, last Monday of May, Jul 4, first Monday of September, fourth Thursday of November, Dec 25], "
    "shift: sunday to monday"
)


def test_sunday_to_monday():
    """NERC, additional off-peak days 2010-2015: the six dates printed for 2010, and two for 2011.

    4 July 2010 was a Sunday: Monday instead. 25 December 2010 and 1 January 2011 were Saturdays: they stay.
    """
    assert holidays_in(f"{{days: {SIX_DAYS}}}", 2010) == dates(
        "2010-01-01", "2010-05-31", "2010-07-05", "2010-09-06", "2010-11-25", "2010-12-25"
    )
    assert dates("2011-01-01", "2011-05-30") <= holidays_in(f"{{days: {SIX_DAYS}}}", 2011)
    assert date(2010, 12, 31) not in holidays_in(f"{{days: {SIX_DAYS}}}", 2010)


def test_sunday_adds_monday():
    """Page restating SDG&E Electric Rule 1: Saturday 2026-07-04 leaves Friday alone; Sunday 2027-07-04 adds Monday."""
    rule = "{days: [Jul 4], shift: sunday adds monday}"
    assert holidays_in(rule, 2026) == dates("2026-07-04")
    assert holidays_in(rule, 2027) == dates("2027-07-04", "2027-07-05")


def test_never():
    """SMUD, rate details and holidays: a fixed date on a weekend gives no observed weekday; eleven holidays a year."""
    eleven = (
        "{days: [Jan 1, Jun 19, Jul 4, Nov 11, Dec 25, third Monday of January, third Monday of February, "
        "last Monday of May, first Monday of September, second Monday of October, fourth Thursday of November], "
        "shift: never}"
    )
    assert holidays_in(eleven, 2022) == dates(
        *("2022-01-01", "2022-01-17", "2022-02-21", "2022-05-30", "2022-06-19", "2022-07-04", "2022-09-05"),
        *("2022-10-10", "2022-11-11", "2022-11-24", "2022-12-25"),
    )


def test_business_and_home_of_one_utility():
    """PG&E, TOU holidays: Saturday gives no weekday, Sunday the Monday after; home schedules have no holidays at all.

    Of the eight days, Veterans Day 2023 was a Saturday and New Year's Day 2023 a Sunday.
    """
    eight = (
        "{days: [Jan 1, third Monday of February, last Monday of May, Jul 4, first Monday of September, Nov 11, "
        "fourth Thursday of November, Dec 25], shift: sunday to monday}"
    )
    assert holidays_in(eight, 2023) == dates(
        *("2023-01-02", "2023-02-20", "2023-05-29", "2023-07-04", "2023-09-04", "2023-11-11"),
        *("2023-11-23", "2023-12-25"),
    )
    home = read_tariff("{name: Home, currency: USD, timezone: America/Los_Angeles, prices: 1}")
    assert set(home.frame("2023-07-04", "2023-07-05", "1 h")["day_type"]) == {"weekday"}


@pytest.mark.parametrize(
    ("shift", "saturday", "sunday", "tuesday"),
    [
        ("never", ["2026-07-04"], ["2027-07-04"], ["2028-07-04"]),
        ("sunday to monday", ["2026-07-04"], ["2027-07-05"], ["2028-07-04"]),
        ("sunday adds monday", ["2026-07-04"], ["2027-07-04", "2027-07-05"], ["2028-07-04"]),
        ("nearest weekday", ["2026-07-03"], ["2027-07-05"], ["2028-07-04"]),
        ("next free weekday", ["2026-07-06"], ["2027-07-05"], ["2028-07-04"]),
    ],
)
def test_each_shift(shift, saturday, sunday, tuesday):
    """What each rule makes of 4 July on a Saturday, a Sunday and a Tuesday (common practice, no source)."""
    holidays = HolidaySet(days=(DayRule.parse("Jul 4"),), shift=shift)
    assert [sorted(map(str, holidays.dates(year))) for year in (2026, 2027, 2028)] == [saturday, sunday, tuesday]


def test_new_year_moves_into_the_year_before():
    """OPM: New Year's Day 2022, a Saturday, is observed on 2021-12-31; 2022 has none of its own (from memory)."""
    assert date(2021, 12, 31) in holidays_in("{days: [Jan 1], shift: nearest weekday}", 2021)
    assert holidays_in("{days: [Jan 1], shift: nearest weekday}", 2022) == set()


def test_dates_written_out_are_final():
    """A date with its year is never shifted, and taken out even if a shift brought it (a rule of this language)."""
    assert holidays_in("{days: [2026-07-04], shift: nearest weekday}", 2026) == dates("2026-07-04")
    both = "{days: [Jul 4], except: [2026-07-03], shift: nearest weekday}"
    assert holidays_in(both, 2026) == set()
    assert holidays_in(both, 2027) == dates("2027-07-05")


def test_except_takes_rules_out_before_the_shift():
    """`except` with a rule takes the day itself out, so that no observed day comes of it (a rule of this language)."""
    without = "{country: US, except: [second Monday of October, Jun 19], shift: nearest weekday}"
    assert holidays_in(without, 2021) == FEDERAL[2021] - dates("2021-10-11", "2021-06-18")


def test_a_list_alone_is_a_list_of_days():
    """`holidays: [...]` is short for `holidays: {days: [...]}`, never shifted."""
    assert holidays_in("[Jul 4, Feb 29]", 2026) == dates("2026-07-04")
    assert holidays_in("[Jul 4, Feb 29]", 2028) == dates("2028-07-04", "2028-02-29")


def test_holidays_take_the_hours_of_another_day():
    """Page restating SDG&E Electric Rule 1: a holiday uses the weekend table, so 16-21 stays on-peak."""
    tariff = read_tariff("""
name: Weekend table on holidays
currency: USD
timezone: America/Los_Angeles
holidays: {days: [Jul 4], shift: sunday adds monday, as: Sunday}
periods:
  on-peak: 16:00-21:00
  super off-peak: [00:00-06:00 on weekdays, 00:00-14:00 on weekends]
  off-peak: rest
prices: {on-peak: 3, super off-peak: 1, off-peak: 2}
""")
    monday = tariff.frame("2027-07-05", "2027-07-06", "1 h")
    assert list(monday["price_per_kwh"]) == [1] * 14 + [2] * 2 + [3] * 5 + [2] * 3
    assert set(monday["day_type"]) == {"holiday"}
    ordinary = tariff.prices("2027-07-12", "2027-07-13", "1 h")
    assert list(ordinary) == [1] * 6 + [2] * 10 + [3] * 5 + [2] * 3


def test_the_holiday_is_the_local_date():
    """A holiday lasts from local midnight to local midnight, also where that is far from UTC."""
    for zone in ("Pacific/Kiritimati", "Pacific/Honolulu", "Asia/Kathmandu"):
        tariff = read_tariff(SHEET.format(holidays="[Jul 4]").replace("America/New_York", zone))
        assert [(r.period, r.end_s - r.start_s) for r in tariff.day(date(2026, 7, 4))] == [("holiday", 86_400)]
        assert {r.period for day in (3, 5) for r in tariff.day(date(2026, 7, day))} == {"other"}
        assert tariff.is_holiday(date(2026, 7, 4))
        assert not tariff.is_holiday(date(2026, 7, 3))


def test_states_and_categories():
    """Texas has the day after Thanksgiving in no federal list; a category asks for more than public holidays.

    Checked against Texas Government Code 662.003, from memory: Friday after Thanksgiving is a state holiday.
    """
    friday = date(2025, 11, 28)
    assert friday not in holidays_in("{country: US}", 2025)
    assert friday in holidays_in("{country: US, subdivision: TX, categories: [public, government]}", 2025)


@pytest.mark.parametrize(
    "country", ["USA", "us", "utils", "HolidayBase", "country_holidays", "__doc__", "", "US\n", "NYSE"]
)
def test_only_iso_codes_are_looked_up(country):
    """Any word but a two-letter code is refused before the holiday package looks it up among its own functions."""
    with pytest.raises(InputError, match="no holiday data for country"):
        country_dates(country, None, ("public",), 2026)


@given(
    st.lists(st.tuples(st.integers(1, 12), st.integers(1, 28)), min_size=1, max_size=6, unique=True),
    st.sampled_from(SHIFTS),
    st.integers(1990, 2090),
)
def test_shifts_keep_their_promises(days, shift, year):
    """Whatever the days: no shift loses a holiday, and the weekday rules leave none on a weekend.

    `nearest weekday` may put two holidays on one day; `next free weekday` never does.
    """
    names = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    rules = tuple(DayRule.parse(f"{names[month - 1]} {day}") for month, day in days)
    found = HolidaySet(days=rules, shift=shift).dates(year)
    easter = {easter_sunday(year) + timedelta(days=n) for n in (0, 49)}
    wanted = [date(year, month, day) for month, day in days]
    for day in wanted:
        if day.weekday() < 5 or day in easter or shift == "never":
            assert day in found
    if shift in ("nearest weekday", "next free weekday"):
        assert all(day.weekday() < 5 for day in found - easter)
    if all(2 <= month <= 11 for month, _ in days):
        fewer, more = shift in ("nearest weekday", "sunday to monday"), shift == "sunday adds monday"
        assert len(found) == len(days) or (fewer and len(found) < len(days)) or (more and len(found) > len(days))
