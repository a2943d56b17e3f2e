"""Published holiday rules as dated cases: what hours a day has, in a whole sheet, because it is a holiday or is not.

The dates that `holidays:` alone brings are tested in tests/tariff/test_holidays.py; here the hours follow from them.

A warning for whoever looks for more dates: the help of the open rate database (openei.org,
Help:Utility_Rate_Data_Entry/Time_of_Use) says that half-hour boundaries and seasons that change in mid-month are
entered as the closer whole hour or month, and that schedules from Monday to Saturday are told in words only; its
tables of weekdays and weekends have no field for holidays. So it confirms nothing about them, and none of it is here.
"""

from datetime import date, timedelta
from pathlib import Path

import pytest

from chargeplan.errors import FileError
from chargeplan.tariff import load_tariff, read_tariff

FOLDER = Path(__file__).parent

SIX = "[Jan 1, last Monday of May, Jul 4, first Monday of September, fourth Thursday of November, Dec 25]"
EIGHT = (
    "[Jan 1, third Monday of February, last Monday of May, Jul 4, first Monday of September, Nov 11, "
    "fourth Thursday of November, Dec 25]"
)
ELEVEN = (
    "[Jan 1, Jun 19, Jul 4, Nov 11, Dec 25, third Monday of January, third Monday of February, last Monday of May, "
    "first Monday of September, second Monday of October, fourth Thursday of November]"
)


def sheet(holidays, zone="America/Chicago"):
    """A sheet with on-peak hours on weekdays that are no holidays."""
    return read_tariff(f"""
name: Holidays
currency: USD
timezone: {zone}
{holidays}
periods: {{on-peak: 13:00-20:00 on weekdays except holidays, off-peak: rest}}
prices: {{on-peak: 2, off-peak: 1}}
""")


def periods_at(tariff, hour, first, last):
    """Period of every day of a span at one hour of the clock, by date; both ends count."""
    hours = tariff.frame(first, last + timedelta(days=1), "1 h")
    hours = hours[hours.index.hour == hour]
    return dict(zip(hours.index.date, hours["period"], strict=True))


def idle_weekdays(tariff, hour, first, last, off_peak="off-peak"):
    """Every date from Monday to Friday that is off-peak at an hour of the clock."""
    found = periods_at(tariff, hour, date.fromisoformat(first), date.fromisoformat(last))
    return sorted(str(day) for day, period in found.items() if period == off_peak and day.weekday() < 5)


def hours_on(tariff, day):
    """The periods of the hours of a day, each as the first letter of its name."""
    start = date.fromisoformat(day)
    return "".join(period[0] for period in tariff.frame(start, start + timedelta(days=1), "1 h")["period"])


# ------------------------------------------------------------------------------------- Sunday moves, Saturday stays


def test_six_days_of_2010_and_2011():
    """NERC, additional off-peak days 2010-2015: Sunday to the Monday after; Saturday stays and leaves Friday alone.

    Printed for 2010: 1 January, 31 May, 5 July, 6 September, 25 November and 25 December, a Saturday; for 2011: 1
    January, a Saturday, and 30 May. So no other weekday is off-peak, neither 24 nor 31 December 2010.
    """
    tariff = sheet(f"holidays: {{days: {SIX}, shift: sunday to monday}}")
    assert idle_weekdays(tariff, 15, "2010-01-01", "2011-06-30") == [
        *("2010-01-01", "2010-05-31", "2010-07-05", "2010-09-06", "2010-11-25"),
        "2011-05-30",
    ]
    for saturday in ("2010-12-25", "2011-01-01"):
        assert tariff.is_holiday(date.fromisoformat(saturday))
    assert not tariff.is_holiday(date(2010, 7, 4))


@pytest.mark.parametrize(
    ("day", "on_peak_hours"),
    [
        ("2024-05-27", 0),  # Memorial Day
        ("2024-07-04", 0),
        ("2024-09-02", 0),  # Labor Day
        ("2024-11-28", 0),  # Thanksgiving
        ("2024-12-25", 0),
        ("2024-01-15", 7),  # a federal holiday that is not in the list
        ("2024-06-19", 7),
        ("2024-10-14", 7),
        ("2024-11-11", 7),
        ("2024-11-29", 7),  # the day after Thanksgiving
    ],
)
def test_holidays_not_in_the_list_keep_their_hours(day, on_peak_hours):
    """Lansing Board of Water & Light: the six days have no on-peak hours; other holidays keep theirs, 13:00-20:00."""
    tariff = sheet(f"holidays: {{days: {SIX}, shift: sunday to monday}}", zone="America/Detroit")
    frame = tariff.frame(date.fromisoformat(day), date.fromisoformat(day) + timedelta(days=1), "1 h")
    assert list(frame.index[frame["period"] == "on-peak"].hour) == list(range(13, 13 + on_peak_hours))


def test_eight_days_for_business():
    """PG&E, TOU holidays: eight days; a Saturday designates no weekday, a Sunday the Monday after.

    25 December 2021 and 1 January 2022 are Saturdays, 4 July 2021, 25 December 2022 and 1 January 2023 Sundays, 11
    November 2023 a Saturday.
    """
    tariff = sheet(f"holidays: {{days: {EIGHT}, shift: sunday to monday}}", zone="America/Los_Angeles")
    assert idle_weekdays(tariff, 17, "2021-01-01", "2021-12-31") == [
        *("2021-01-01", "2021-02-15", "2021-05-31", "2021-07-05", "2021-09-06", "2021-11-11", "2021-11-25")
    ]
    assert idle_weekdays(tariff, 17, "2022-01-01", "2022-12-31") == [
        *("2022-02-21", "2022-05-30", "2022-07-04", "2022-09-05", "2022-11-11", "2022-11-24", "2022-12-26")
    ]
    assert idle_weekdays(tariff, 17, "2023-01-01", "2023-12-31") == [
        *("2023-01-02", "2023-02-20", "2023-05-29", "2023-07-04", "2023-09-04", "2023-11-23", "2023-12-25")
    ]


@pytest.mark.parametrize("holidays", ["", "holidays: []", f"holidays: {{days: {EIGHT}, shift: sunday to monday}}"])
def test_no_holidays_for_homes(holidays):
    """PG&E, TOU holidays: residential schedules have no exception for weekday holidays, whatever days business has."""
    tariff = read_tariff(f"""
name: Home
currency: USD
timezone: America/Los_Angeles
{holidays}
periods: {{on-peak: 16:00-21:00 on weekdays, off-peak: rest}}
prices: {{on-peak: 2, off-peak: 1}}
""")
    assert idle_weekdays(tariff, 17, "2021-01-01", "2023-12-31") == []


# ---------------------------------------------------------------------------------------------- Sunday adds Monday

WEEKEND_TABLE = """
name: Weekend table on holidays
currency: USD
timezone: America/Los_Angeles
holidays: {days: %s, shift: sunday adds monday, as: Sunday}
periods:
  on-peak: 16:00-21:00
  super off-peak: [00:00-06:00 on weekdays, 00:00-14:00 on weekends]
  mid-peak: rest
prices: {on-peak: 3, super off-peak: 1, mid-peak: 2}
"""
WORKDAY, WEEKEND = "s" * 6 + "m" * 10 + "o" * 5 + "m" * 3, "s" * 14 + "m" * 2 + "o" * 5 + "m" * 3


@pytest.mark.parametrize(
    ("day", "letters", "holiday"),
    [
        ("2026-07-03", WORKDAY, False),  # Friday: an ordinary day
        ("2026-07-04", WEEKEND, True),  # Saturday
        ("2026-07-05", WEEKEND, False),  # Sunday
        ("2026-07-06", WORKDAY, False),  # Monday
        ("2027-07-02", WORKDAY, False),  # Friday
        ("2027-07-03", WEEKEND, False),  # Saturday
        ("2027-07-04", WEEKEND, True),  # Sunday
        ("2027-07-05", WEEKEND, True),  # Monday: a holiday too
        ("2027-07-06", WORKDAY, False),  # Tuesday
        ("2026-09-07", WEEKEND, True),  # Labor Day
    ],
)
def test_the_weekend_table_on_saturday_sunday_and_monday(day, letters, holiday):
    """Page restating SDG&E Electric Rule 1, updated 2026-06-22: a holiday has the weekend's hours, 16-21 stays on-peak.

    Saturday 2026-07-04 leaves Friday alone; with Sunday 2027-07-04 the Monday is a holiday as well. The eight days and
    the hours before 16:00 are from memory.
    """
    tariff = read_tariff(WEEKEND_TABLE % EIGHT)
    assert hours_on(tariff, day) == letters
    assert tariff.is_holiday(date.fromisoformat(day)) is holiday


@pytest.mark.parametrize(("year", "count"), [(2026, 8), (2027, 9)])
def test_eight_holidays_and_one_more(year, count):
    """Page restating SDG&E Electric Rule 1: eight holidays; in 2027 the Monday after 4 July is added."""
    tariff = read_tariff(WEEKEND_TABLE % EIGHT)
    days = [date(year, 1, 1) + timedelta(days=number) for number in range(365)]
    assert sum(map(tariff.is_holiday, days)) == count


# ---------------------------------------------------------------------------------------------- never moved


def test_eleven_days_never_moved():
    """SMUD, rate details and holidays: eleven days; a fixed date on a weekend gives no observed weekday.

    In 2022, 1 January is a Saturday, 19 June and 25 December are Sundays; in 2023, 1 January is a Sunday and 11
    November a Saturday.
    """
    tariff = sheet(f"holidays: {{days: {ELEVEN}, shift: never}}", zone="America/Los_Angeles")
    assert idle_weekdays(tariff, 17, "2022-01-01", "2022-12-31") == [
        *("2022-01-17", "2022-02-21", "2022-05-30", "2022-07-04", "2022-09-05", "2022-10-10", "2022-11-11"),
        "2022-11-24",
    ]
    assert idle_weekdays(tariff, 17, "2023-01-01", "2023-12-31") == [
        *("2023-01-16", "2023-02-20", "2023-05-29", "2023-06-19", "2023-07-04", "2023-09-04", "2023-10-09"),
        *("2023-11-23", "2023-12-25"),
    ]


def test_eleven_days_of_italy():
    """Hera leaflet, decision 181/06: eleven days, Easter Monday among them, not moved; all day F3.

    In 2026, 25 April, 15 August and 26 December are Saturdays and 1 November is a Sunday: no weekday stands in.
    """
    tariff = load_tariff(FOLDER / "italy_bands.yaml")
    assert idle_weekdays(tariff, 12, "2026-01-01", "2026-12-31", "F3") == [
        *("2026-01-01", "2026-01-06", "2026-04-06", "2026-05-01", "2026-06-02", "2026-12-08", "2026-12-25")
    ]
    mondays = ["2024-04-01", "2025-04-21", "2026-04-06"]
    for day in mondays:
        assert set(periods_at(tariff, 12, date.fromisoformat(day), date.fromisoformat(day)).values()) == {"F3"}


SPAIN = """
name: Three periods in Spain
currency: EUR
timezone: Europe/Madrid
holidays: [Jan 1, Jan 6, May 1, Aug 15, Oct 12, Nov 1, Dec 6, Dec 8, Dec 25]
periods:
  peak: 10:00-14:00, 18:00-22:00 on weekdays except holidays
  flat: 08:00-10:00, 14:00-18:00, 22:00-24:00 on weekdays except holidays
  valley: [00:00-08:00 on weekdays except holidays, all day on weekends and holidays]
prices: {peak: 3, flat: 2, valley: 1}
"""


def test_national_holidays_and_the_sixth_of_january():
    """Spanish 2.0TD page: national holidays and 6 January have the valley's price all day; nothing of moved days.

    Which holidays are national, and the hours of working days, are from memory. In 2026, 15 August is a Saturday, 1
    November and 6 December are Sundays.
    """
    tariff = read_tariff(SPAIN)
    assert idle_weekdays(tariff, 12, "2026-01-01", "2026-12-31", "valley") == [
        *("2026-01-01", "2026-01-06", "2026-05-01", "2026-10-12", "2026-12-08", "2026-12-25")
    ]
    assert hours_on(tariff, "2026-01-06") == "v" * 24
    assert hours_on(tariff, "2026-11-02") == "vvvvvvvvffppppffffppppff"


# ---------------------------------------------------------------------------------------------- told by somebody else


@pytest.mark.parametrize(
    ("holiday", "monday"), [("2021-07-04", "2021-07-05"), ("2022-12-25", "2022-12-26"), ("2023-01-01", "2023-01-02")]
)
def test_sunday_with_its_federal_monday(holiday, monday):
    """We Energies, Time-of-Use terms: a holiday on a Sunday whose federal holiday is on Monday makes Monday off-peak.

    The federal days are those of the US Office of Personnel Management, from memory.
    """
    tariff = sheet(f"holidays: {{days: {SIX}, shift: sunday to monday}}")
    federal = sheet("holidays: {country: US, shift: nearest weekday}")
    assert date.fromisoformat(holiday).weekday() == 6
    assert federal.is_holiday(date.fromisoformat(monday))
    assert hours_on(tariff, monday) == "o" * 24 == hours_on(tariff, holiday)


def test_saturday_with_its_federal_friday():
    """We Energies, Time-of-Use terms: the rule speaks of Sundays only, so Friday 2026-07-03 keeps its on-peak hours."""
    tariff = sheet(f"holidays: {{days: {SIX}, shift: sunday to monday}}")
    federal = sheet("holidays: {country: US, shift: nearest weekday}")
    assert federal.is_holiday(date(2026, 7, 3))
    assert idle_weekdays(tariff, 15, "2026-07-01", "2026-07-31") == []


@pytest.mark.parametrize(
    ("shift", "idle_2026", "idle_2027"),
    [("nearest weekday", ["2026-07-03"], ["2027-07-05"]), ("sunday to monday", [], ["2027-07-05"])],
)
def test_the_day_designated_to_be_celebrated(shift, idle_2026, idle_2027):
    """River Falls Municipal Utilities: the day, or the day designated to be celebrated as such.

    Who designates is not said. If the federal government, Friday 2026-07-03 is off-peak; if a Saturday designates no
    other day, it is not. Both can be written; on Sunday 2027-07-04 they agree.
    """
    tariff = sheet(f"holidays: {{days: {SIX}, shift: {shift}}}")
    assert idle_weekdays(tariff, 15, "2026-07-01", "2026-07-31") == idle_2026
    assert idle_weekdays(tariff, 15, "2027-07-01", "2027-07-31") == idle_2027


# ---------------------------------------------------------------------------------------------- days that are called

EVENTS = """
name: Called days
currency: CAD
timezone: America/Toronto
called:
  event:
    days: [%s]
    only_in: Dec 1 - Mar 31
    never_on: [Dec 24, Dec 25, Dec 26, Dec 31, Jan 1, Jan 2, Good Friday, Easter Monday]
    %s
periods: {event: "06:00-09:00, 16:00-20:00 on event", base: rest}
prices: {event: 2, base: 1}
"""


@pytest.mark.parametrize(
    "day",
    [
        *("2019-12-24", "2019-12-25", "2019-12-26", "2019-12-31", "2020-01-01", "2020-01-02"),
        "2024-03-29",  # Good Friday; in 2020 it was on 10 April, after the season
        "2019-11-29",
        "2020-04-01",
    ],
)
@pytest.mark.parametrize("only_on", ["only_on: weekdays", ""])
def test_days_on_which_nothing_is_called(day, only_on):
    """Hydro-Quebec, dynamic pricing, 2019-20: no events on eight named days, nor outside 1 December to 31 March."""
    with pytest.raises(FileError, match=day):
        read_tariff(EVENTS % (day, only_on))


@pytest.mark.parametrize("day", ["2019-12-23", "2019-12-27", "2019-12-30", "2020-01-03", "2024-03-28", "2019-12-02"])
def test_days_beside_them_can_be_called(day):
    """Hydro-Quebec, dynamic pricing, 2019-20: the days next to those excluded have events of 3 and 4 hours."""
    tariff = read_tariff(EVENTS % (day, "only_on: weekdays"))
    assert hours_on(tariff, day) == "bbbbbbeeebbbbbbbeeeebbbb"


def test_easter_monday_within_the_season():
    """Hydro-Quebec, dynamic pricing: in 2008 Easter Monday was on 24 March, so that it matters (date from memory)."""
    with pytest.raises(FileError, match="2008-03-24"):
        read_tariff(EVENTS % ("2008-03-24", ""))
    assert hours_on(read_tariff(EVENTS % ("2008-03-25", "")), "2008-03-25").count("e") == 7


def test_weekends_by_option():
    """Hydro-Quebec, dynamic pricing, 2019-20: flex events from Monday to Friday only, winter credit on any day."""
    with pytest.raises(FileError, match="2020-01-11"):
        read_tariff(EVENTS % ("2020-01-11", "only_on: weekdays"))
    assert hours_on(read_tariff(EVENTS % ("2020-01-11", "")), "2020-01-11").count("e") == 7


COLOURS = """
name: Days of three colours
currency: EUR
timezone: Europe/Paris
holidays: {country: FR}
called:
  red: {days: [%s], only_on: weekdays except holidays}
  white: {days: [%s], only_on: Mon-Sat}
periods: {red: all day on red, white: all day on white, blue: rest}
prices: {red: 3, white: 2, blue: 1}
"""


@pytest.mark.parametrize(
    ("red", "white", "refused"),
    [
        ("2026-01-13", "2026-01-14", None),  # Tuesday and Wednesday
        ("2026-01-13", "2026-01-17", None),  # white on a Saturday
        ("2026-01-13", "2026-05-01", None),  # white on a public holiday
        ("2026-01-17", "2026-01-14", "2026-01-17"),  # red on a Saturday
        ("2026-01-18", "2026-01-14", "2026-01-18"),  # red on a Sunday
        ("2026-01-01", "2026-01-14", "2026-01-01"),  # red on New Year's Day, a Thursday
        ("2026-04-06", "2026-01-14", "2026-04-06"),  # red on Easter Monday
        ("2026-01-13", "2026-01-18", "2026-01-18"),  # white on a Sunday
    ],
)
def test_colours_of_days(red, white, refused):
    """EDF: red days never on weekends or public holidays, white never on Sunday."""
    text = COLOURS % (red, white)
    if refused:
        with pytest.raises(FileError, match=refused):
            read_tariff(text)
        return
    tariff = read_tariff(text)
    assert hours_on(tariff, red) == "r" * 24
    assert hours_on(tariff, white) == "w" * 24
    assert hours_on(tariff, "2026-01-19") == "b" * 24
