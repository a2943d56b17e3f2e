"""Published rate schedules, retyped in our language, against the hours and prices that their publishers print.

The source of every schedule stands at the top of its YAML file. What is expected is typed here from that source, one
letter for each hour of the wall clock, and never read from the sheet.
"""

from datetime import date, timedelta
from pathlib import Path

import pytest

from chargeplan.errors import InputError
from chargeplan.reading import read_document
from chargeplan.tariff import load_tariff
from chargeplan.tariff.checks import failed_checks

FOLDER = Path(__file__).parent
SHEETS = sorted(FOLDER.glob("*.yaml"))


def hours_of(name, day):
    """Period and price of every hour of a local day, in order."""
    tariff = load_tariff(FOLDER / f"{name}.yaml")
    frame = tariff.frame(day, day + timedelta(days=1), "1 h")
    return list(frame["period"]), list(frame["price_per_kwh"]), list(frame["season"]), list(frame["day_type"])


def check_day(name, day, letters, periods, prices):
    expected = letters.replace(" ", "")
    found_periods, found_prices, *_ = hours_of(name, date.fromisoformat(day))
    assert len(expected) == len(found_periods) == 24
    assert found_periods == [periods[letter] for letter in expected]
    assert found_prices == pytest.approx([prices[letter] for letter in expected], abs=1e-12)


# ---------------------------------------------------------------------------------------------- Ontario, time of use

OFF_ALL_DAY = "ffffff ffffff ffffff ffffff"
ONTARIO_SUMMER = "fffffff mmmm nnnnnn mm fffff"
ONTARIO_WINTER = "fffffff nnnn mmmmmm nn fffff"
ONTARIO = {"f": "off-peak", "m": "mid-peak", "n": "on-peak"}
ONTARIO_2024 = {"f": 0.076, "m": 0.122, "n": 0.158}
ONTARIO_2023 = {"f": 0.087, "m": 0.122, "n": 0.182}
ONTARIO_2022 = {"f": 0.074, "m": 0.102, "n": 0.151}


@pytest.mark.parametrize(
    ("day", "letters", "prices"),
    [
        ("2025-07-16", ONTARIO_SUMMER, ONTARIO_2024),  # Wednesday
        ("2025-07-19", OFF_ALL_DAY, ONTARIO_2024),  # Saturday
        ("2025-07-20", OFF_ALL_DAY, ONTARIO_2024),  # Sunday
        ("2025-07-01", OFF_ALL_DAY, ONTARIO_2024),  # Canada Day, a Tuesday
        ("2025-01-15", ONTARIO_WINTER, ONTARIO_2024),  # Wednesday
        ("2025-01-18", OFF_ALL_DAY, ONTARIO_2024),  # Saturday
        ("2025-01-19", OFF_ALL_DAY, ONTARIO_2024),  # Sunday
        ("2024-12-25", OFF_ALL_DAY, ONTARIO_2024),  # Christmas, a Wednesday
        ("2024-12-26", OFF_ALL_DAY, ONTARIO_2024),  # Boxing Day, a Thursday
        ("2025-04-18", OFF_ALL_DAY, ONTARIO_2024),  # Good Friday
        # The last weekdays of a season and the first of the next.
        ("2025-04-30", ONTARIO_WINTER, ONTARIO_2024),
        ("2025-05-01", ONTARIO_SUMMER, ONTARIO_2024),
        ("2025-10-31", ONTARIO_SUMMER, ONTARIO_2024),
        ("2025-11-03", ONTARIO_WINTER, ONTARIO_2024),
        # The days before and after each effective date.
        ("2024-11-01", ONTARIO_WINTER, ONTARIO_2024),
        ("2024-10-31", ONTARIO_SUMMER, ONTARIO_2023),
        ("2023-11-01", ONTARIO_WINTER, ONTARIO_2023),
        ("2023-10-31", ONTARIO_SUMMER, ONTARIO_2022),
        ("2022-11-01", ONTARIO_WINTER, ONTARIO_2022),
        ("2018-05-01", ONTARIO_SUMMER, {"f": 0.065, "m": 0.094, "n": 0.132}),
        ("2016-05-02", ONTARIO_SUMMER, {"f": 0.087, "m": 0.132, "n": 0.18}),
        ("2016-04-29", ONTARIO_WINTER, {"f": 0.083, "m": 0.128, "n": 0.175}),
        ("2015-11-02", ONTARIO_WINTER, {"f": 0.083, "m": 0.128, "n": 0.175}),
        # Canada Day 2023 is a Saturday, so that Monday 3 July is off-peak; Tuesday is not.
        ("2023-07-03", OFF_ALL_DAY, ONTARIO_2022),
        ("2023-07-04", ONTARIO_SUMMER, ONTARIO_2022),
        # Christmas 2022 is a Sunday and Boxing Day a Monday: the next free weekday is Tuesday 27 December.
        ("2022-12-26", OFF_ALL_DAY, ONTARIO_2022),
        ("2022-12-27", OFF_ALL_DAY, ONTARIO_2022),
        ("2022-12-28", ONTARIO_WINTER, ONTARIO_2022),
    ],
)
def test_ontario_time_of_use(day, letters, prices):
    """Hydro Hawkesbury, Time of Use rates: on-peak and mid-peak change places with the season; six effective dates.

    Observed holidays: from memory.
    """
    check_day("ontario_time_of_use", day, letters, ONTARIO, prices)


def test_ontario_begins_with_its_first_effective_date():
    """The first price seen is of 2015-11-01: before that there is an error, not a guess."""
    tariff = load_tariff(FOLDER / "ontario_time_of_use.yaml")
    with pytest.raises(InputError, match=r"begins on 2015-11-01, but 2015-10-31 was asked for"):
        tariff.prices("2015-10-31 23:00", "2015-11-02")


# ------------------------------------------------------------------------------------- Ontario, ultra-low overnight

ULTRA_WEEKDAY = "uuuuuuu mmmmmmmmm nnnnn mm u"
ULTRA_WEEKEND = "uuuuuuu ffff ffff ffff ffff u"
ULTRA = {"u": "ultra-low", "m": "mid-peak", "n": "on-peak", "f": "weekend off-peak"}
ULTRA_2023 = {"u": 0.028, "f": 0.087, "m": 0.122, "n": 0.286}
ULTRA_2024 = {"u": 0.028, "f": 0.076, "m": 0.122, "n": 0.284}


@pytest.mark.parametrize(
    ("day", "letters", "prices"),
    [
        ("2024-07-17", ULTRA_WEEKDAY, ULTRA_2023),  # Wednesday
        ("2024-07-20", ULTRA_WEEKEND, ULTRA_2023),  # Saturday
        ("2024-07-21", ULTRA_WEEKEND, ULTRA_2023),  # Sunday
        ("2024-07-01", ULTRA_WEEKEND, ULTRA_2023),  # Canada Day, a Monday: its last hour is ultra-low, not off-peak
        ("2024-10-31", ULTRA_WEEKDAY, ULTRA_2023),
        ("2024-11-01", ULTRA_WEEKDAY, ULTRA_2024),
        ("2025-01-15", ULTRA_WEEKDAY, ULTRA_2024),
        ("2025-01-18", ULTRA_WEEKEND, ULTRA_2024),
        ("2025-01-19", ULTRA_WEEKEND, ULTRA_2024),
        ("2025-01-01", ULTRA_WEEKEND, ULTRA_2024),  # New Year's Day, a Wednesday
    ],
)
def test_ontario_ultra_low(day, letters, prices):
    """Hydro Hawkesbury, Ultra-Low Overnight: 23:00-07:00 every day of the week, the rest by weekday."""
    check_day("ontario_ultra_low_overnight", day, letters, ULTRA, prices)


# ---------------------------------------------------------------------------------------------- Sacramento

SACRAMENTO = {"d": "off-peak", "f": "off-peak", "m": "mid-peak", "p": "peak"}
SACRAMENTO_OFF = "dddddd ffffff ffffff ffffff"
SACRAMENTO_SUMMER = "dddddd ffffff mmmmm ppp mmmm"
SACRAMENTO_OTHER = "dddddd ffffff fffff ppp ffff"
#: d: off-peak less the discount of 0.015 from midnight to 6.
SACRAMENTO_SUMMER_PRICES = {"d": 0.1275, "f": 0.1425, "m": 0.1967, "p": 0.3462}
SACRAMENTO_OTHER_PRICES = {"d": 0.1033, "f": 0.1183, "p": 0.1633}


@pytest.mark.parametrize(
    ("day", "letters", "prices"),
    [
        ("2022-07-13", SACRAMENTO_SUMMER, SACRAMENTO_SUMMER_PRICES),  # Wednesday
        ("2022-07-16", SACRAMENTO_OFF, SACRAMENTO_SUMMER_PRICES),  # Saturday
        ("2022-07-17", SACRAMENTO_OFF, SACRAMENTO_SUMMER_PRICES),  # Sunday
        ("2022-07-04", SACRAMENTO_OFF, SACRAMENTO_SUMMER_PRICES),  # Monday, Independence Day
        ("2022-09-05", SACRAMENTO_OFF, SACRAMENTO_SUMMER_PRICES),  # Monday, Labor Day
        ("2022-06-19", SACRAMENTO_OFF, SACRAMENTO_SUMMER_PRICES),  # Juneteenth, a Sunday
        ("2022-06-20", SACRAMENTO_SUMMER, SACRAMENTO_SUMMER_PRICES),  # no observed day: an ordinary Monday
        ("2022-06-01", SACRAMENTO_SUMMER, SACRAMENTO_SUMMER_PRICES),  # first day of summer
        ("2022-09-30", SACRAMENTO_SUMMER, SACRAMENTO_SUMMER_PRICES),  # its last
        ("2022-10-03", SACRAMENTO_OTHER, SACRAMENTO_OTHER_PRICES),  # Monday
        ("2022-10-12", SACRAMENTO_OTHER, SACRAMENTO_OTHER_PRICES),  # Wednesday
        ("2022-10-15", SACRAMENTO_OFF, SACRAMENTO_OTHER_PRICES),  # Saturday
        ("2022-10-16", SACRAMENTO_OFF, SACRAMENTO_OTHER_PRICES),  # Sunday
        ("2022-10-10", SACRAMENTO_OFF, SACRAMENTO_OTHER_PRICES),  # second Monday of October
        ("2022-11-11", SACRAMENTO_OFF, SACRAMENTO_OTHER_PRICES),  # Veterans Day, a Friday
        ("2022-11-24", SACRAMENTO_OFF, SACRAMENTO_OTHER_PRICES),  # Thanksgiving
        ("2022-12-25", SACRAMENTO_OFF, SACRAMENTO_OTHER_PRICES),  # Christmas, a Sunday
        ("2022-12-26", SACRAMENTO_OTHER, SACRAMENTO_OTHER_PRICES),  # no observed day
    ],
)
def test_sacramento_time_of_day(day, letters, prices):
    """SMUD, Time-of-Day rate details: mid-peak exists in summer only, the discount lies inside off-peak."""
    check_day("sacramento_time_of_day", day, letters, SACRAMENTO, prices)


@pytest.mark.parametrize(
    ("day", "letters"),
    [
        ("2021-07-14", "ffffff ffffff mmmmm ppp mmmm"),  # Wednesday
        ("2021-07-17", OFF_ALL_DAY),  # Saturday
        ("2021-07-18", OFF_ALL_DAY),  # Sunday
        ("2021-07-04", OFF_ALL_DAY),  # Independence Day, a Sunday
        ("2021-07-05", "ffffff ffffff mmmmm ppp mmmm"),  # no observed day
        ("2021-09-06", OFF_ALL_DAY),  # Labor Day
        ("2021-06-01", "ffffff ffffff mmmmm ppp mmmm"),
        ("2021-09-30", "ffffff ffffff mmmmm ppp mmmm"),
    ],
)
def test_sacramento_summer_2021(day, letters):
    """ABC10, SMUD time-of-day rates, summer 2021: 12.77, 17.65 and 31.05 cents."""
    check_day("sacramento_summer_2021", day, letters, SACRAMENTO, {"f": 0.1277, "m": 0.1765, "p": 0.3105})


# ---------------------------------------------------------------------------------------------- Colorado

COLORADO = {"f": "off-peak", "m": "mid-peak", "n": "on-peak"}
COLORADO_OLD = "ffffff ffffff f mm nnnn fffff"
COLORADO_SUMMER = {"f": 0.099, "m": 0.189, "n": 0.279}
COLORADO_WINTER = {"f": 0.099, "m": 0.136, "n": 0.173}


@pytest.mark.parametrize(
    ("day", "letters", "prices"),
    [
        ("2022-07-13", COLORADO_OLD, COLORADO_SUMMER),  # Wednesday
        ("2022-07-16", OFF_ALL_DAY, COLORADO_SUMMER),  # Saturday
        ("2022-07-17", OFF_ALL_DAY, COLORADO_SUMMER),  # Sunday
        ("2022-07-04", OFF_ALL_DAY, COLORADO_SUMMER),  # Independence Day, a Monday
        ("2022-01-12", COLORADO_OLD, COLORADO_WINTER),  # Wednesday
        ("2022-01-15", OFF_ALL_DAY, COLORADO_WINTER),  # Saturday
        ("2022-01-16", OFF_ALL_DAY, COLORADO_WINTER),  # Sunday
        ("2022-11-24", OFF_ALL_DAY, COLORADO_WINTER),  # Thanksgiving
        ("2022-05-31", COLORADO_OLD, COLORADO_WINTER),  # last day of the winter
        ("2022-06-01", COLORADO_OLD, COLORADO_SUMMER),
        ("2022-09-30", COLORADO_OLD, COLORADO_SUMMER),
        ("2022-10-03", COLORADO_OLD, COLORADO_WINTER),
        ("2025-10-31", COLORADO_OLD, COLORADO_WINTER),  # Friday, the last day of the old hours, in the middle of winter
        ("2025-11-03", "ffffff ffffff fffff nnnn fff", COLORADO_WINTER),  # Monday, with the new hours
    ],
)
def test_colorado_time_of_use(day, letters, prices):
    """Westword, March 2022: 15-19 on-peak, 13-15 mid-peak; from 2025-11-01 17-21, mid-peak abolished."""
    check_day("colorado_time_of_use", day, letters, COLORADO, prices)


# ---------------------------------------------------------------------------------------------- Italy

BANDS = {"1": "F1", "2": "F2", "3": "F3"}
WORKDAY = "3333333 2 11111111111 2222 3"
SATURDAY = "3333333 2222222222222222 3"
SUNDAY = "333333 333333 333333 333333"


@pytest.mark.parametrize(
    ("day", "letters"),
    [
        ("2026-03-25", WORKDAY),  # Wednesday
        ("2026-03-28", SATURDAY),
        ("2026-04-05", SUNDAY),  # Easter Sunday
        ("2026-04-03", WORKDAY),  # Good Friday is no holiday in Italy
        ("2026-04-06", SUNDAY),  # Easter Mondays: Spanish 2.0TD page, Hera leaflet and EDF, dates recomputed
        ("2025-04-21", SUNDAY),
        ("2024-04-01", SUNDAY),
        ("2026-04-07", WORKDAY),
        ("2026-04-25", SUNDAY),  # 25 April, a Saturday: the holiday counts
        ("2026-04-27", WORKDAY),  # and is not moved to Monday
        ("2025-11-01", SUNDAY),  # 1 November, a Saturday
        ("2025-06-02", SUNDAY),  # 2 June, a Monday
        ("2026-01-06", SUNDAY),  # 6 January, a Tuesday
        ("2026-08-15", SUNDAY),  # 15 August, a Saturday
        ("2026-08-22", SATURDAY),
    ],
)
def test_italian_bands(day, letters):
    """Hera leaflet, April 2012, decision 181/06: Saturday is a day of its own; eleven holidays that never move."""
    check_day("italy_bands", day, letters, BANDS, {"1": 1, "2": 2, "3": 3})


# ---------------------------------------------------------------------------------------------- Carolina

CAROLINA = {"s": "super off-peak", "f": "off-peak", "n": "on-peak"}
CAROLINA_SUMMER = "sssss fffffffff nnnn ffff ss"
CAROLINA_WINTER = "sssss f nnn fffffffffffff ss"
CAROLINA_OFF = "sssss ffffffff fffffffff ss"
CAROLINA_SUMMER_PRICES = {"s": 0.0397, "f": 0.0477, "n": 0.4388}
CAROLINA_WINTER_PRICES = {"s": 0.0397, "f": 0.0477, "n": 0.3379}


@pytest.mark.parametrize(
    ("day", "letters", "prices"),
    [
        ("2024-07-17", CAROLINA_SUMMER, CAROLINA_SUMMER_PRICES),  # Wednesday
        ("2024-07-20", CAROLINA_OFF, CAROLINA_SUMMER_PRICES),  # Saturday
        ("2024-07-21", CAROLINA_OFF, CAROLINA_SUMMER_PRICES),  # Sunday
        ("2024-07-04", CAROLINA_OFF, CAROLINA_SUMMER_PRICES),  # Thursday, a federal holiday
        ("2024-06-19", CAROLINA_OFF, CAROLINA_SUMMER_PRICES),  # Wednesday, a federal holiday
        ("2024-01-17", CAROLINA_WINTER, CAROLINA_WINTER_PRICES),  # Wednesday
        ("2024-01-20", CAROLINA_OFF, CAROLINA_WINTER_PRICES),  # Saturday
        ("2024-01-21", CAROLINA_OFF, CAROLINA_WINTER_PRICES),  # Sunday
        ("2024-01-15", CAROLINA_WINTER, CAROLINA_WINTER_PRICES),  # a federal holiday: no exception in winter
        # The seasons change in mid-month.
        ("2024-04-15", CAROLINA_WINTER, CAROLINA_WINTER_PRICES),
        ("2024-04-16", CAROLINA_SUMMER, CAROLINA_SUMMER_PRICES),
        ("2024-10-15", CAROLINA_SUMMER, CAROLINA_SUMMER_PRICES),
        ("2024-10-16", CAROLINA_WINTER, CAROLINA_WINTER_PRICES),
        ("2024-12-31", CAROLINA_WINTER, CAROLINA_WINTER_PRICES),
        ("2024-02-29", CAROLINA_WINTER, CAROLINA_WINTER_PRICES),
    ],
)
def test_carolina_super_time_of_use(day, letters, prices):
    """South River EMC, super time-of-use: seasons from 16 April and 16 October."""
    check_day("carolina_super_time_of_use", day, letters, CAROLINA, prices)


# ---------------------------------------------------------------------------------------------- Minnesota

MINNESOTA_DAY = "fffffff nnnnnn nnnnnn fffff"
MINNESOTA = {"f": "off-peak", "n": "on-peak"}
MINNESOTA_SUMMER = {"n": 0.19839, "f": 0.07352}
MINNESOTA_OTHER = {"n": 0.16512, "f": 0.06894}


@pytest.mark.parametrize(
    ("day", "letters", "prices"),
    [
        ("2024-07-15", MINNESOTA_DAY, MINNESOTA_SUMMER),  # Monday
        ("2024-07-18", MINNESOTA_DAY, MINNESOTA_SUMMER),  # Thursday
        ("2024-07-19", MINNESOTA_DAY, MINNESOTA_SUMMER),  # Friday
        ("2024-07-20", OFF_ALL_DAY, MINNESOTA_SUMMER),  # Saturday
        ("2024-07-21", OFF_ALL_DAY, MINNESOTA_SUMMER),  # Sunday
        ("2024-01-15", MINNESOTA_DAY, MINNESOTA_OTHER),  # Monday
        ("2024-01-17", MINNESOTA_DAY, MINNESOTA_OTHER),  # Wednesday
        ("2024-01-20", OFF_ALL_DAY, MINNESOTA_OTHER),  # Saturday
        ("2024-01-21", OFF_ALL_DAY, MINNESOTA_OTHER),  # Sunday
        ("2024-12-25", MINNESOTA_DAY, MINNESOTA_OTHER),  # the page names no holidays
        ("2024-05-31", MINNESOTA_DAY, MINNESOTA_OTHER),
        ("2024-09-30", MINNESOTA_DAY, MINNESOTA_SUMMER),
    ],
)
def test_minnesota(day, letters, prices):
    """City of Chaska: on-peak Mon-Fri 7-19."""
    check_day("minnesota_electric_vehicles", day, letters, MINNESOTA, prices)


def test_minnesota_minutes_around_seven():
    """City of Chaska prints 7:01 pm and 6:59 am: 18:59 is still on-peak, 19:00 off-peak, and 7:00 on-peak again."""
    tariff = load_tariff(FOLDER / "minnesota_electric_vehicles.yaml")
    evening = tariff.frame("2024-07-15 18:58", "2024-07-15 19:02", "1 min")["period"]
    morning = tariff.frame("2024-07-15 06:58", "2024-07-15 07:02", "1 min")["period"]
    assert list(evening) == ["on-peak", "on-peak", "off-peak", "off-peak"]
    assert list(morning) == ["off-peak", "off-peak", "on-peak", "on-peak"]


# ---------------------------------------------------------------------------------------------- California, generation

CALIFORNIA_DAY = "ffffffff ffffffff nnnnn fff"


@pytest.mark.parametrize(
    ("day", "on_peak", "off_peak", "supplier_on", "supplier_off"),
    [
        ("2024-07-17", 0.20163, 0.12693, 0.18948, 0.11478),  # Wednesday
        ("2024-07-20", 0.20163, 0.12693, 0.18948, 0.11478),  # Saturday
        ("2024-07-21", 0.20163, 0.12693, 0.18948, 0.11478),  # Sunday
        ("2024-07-04", 0.20163, 0.12693, 0.18948, 0.11478),  # no exception for holidays
        ("2024-06-01", 0.20163, 0.12693, 0.18948, 0.11478),
        ("2024-09-30", 0.20163, 0.12693, 0.18948, 0.11478),
        ("2024-10-01", 0.14758, 0.12357, 0.13543, 0.11142),
        ("2024-05-31", 0.14758, 0.12357, 0.13543, 0.11142),
        ("2024-01-17", 0.14758, 0.12357, 0.13543, 0.11142),  # Wednesday
        ("2024-01-20", 0.14758, 0.12357, 0.13543, 0.11142),  # Saturday
        ("2024-01-21", 0.14758, 0.12357, 0.13543, 0.11142),  # Sunday
        ("2024-12-25", 0.14758, 0.12357, 0.13543, 0.11142),
    ],
)
def test_california_generation(day, on_peak, off_peak, supplier_on, supplier_off):
    """Peninsula Clean Energy, E-TOU-C: four prices with and without the surcharges, both columns as printed."""
    check_day(
        "california_generation", day, CALIFORNIA_DAY, {"f": "off-peak", "n": "on-peak"}, {"f": off_peak, "n": on_peak}
    )
    start = date.fromisoformat(day)
    frame = load_tariff(FOLDER / "california_generation.yaml").frame(start, start + timedelta(days=1), "1 h")
    assert list(frame["supplier"]) == [supplier_on if 16 <= hour < 21 else supplier_off for hour in range(24)]
    assert set(frame["surcharges"]) == {0.01215}


# ---------------------------------------------------------------------------------------------- Arizona

ARIZONA = {"s": "super off-peak", "f": "off-peak", "n": "on-peak"}
ARIZONA_SUMMER = "sssss fffffffff nnnnnn fff s"
ARIZONA_WINTER = "sssss nnnn ffffffff nnnn ff s"
ARIZONA_OFF = "sssss ffffffff ffffffffff s"


@pytest.mark.parametrize(
    ("day", "letters", "season", "tens"),
    [
        ("2024-05-01", ARIZONA_SUMMER, "summer", 20),  # Wednesday
        ("2024-06-28", ARIZONA_SUMMER, "summer", 20),  # Friday
        ("2024-07-01", ARIZONA_SUMMER, "summer peak", 30),  # Monday
        ("2024-08-30", ARIZONA_SUMMER, "summer peak", 30),  # Friday
        ("2024-09-03", ARIZONA_SUMMER, "summer", 20),  # Tuesday
        ("2024-10-31", ARIZONA_SUMMER, "summer", 20),  # Thursday
        ("2024-11-01", ARIZONA_WINTER, "winter", 10),  # Friday
        ("2024-04-30", ARIZONA_WINTER, "winter", 10),  # Tuesday
        ("2024-07-20", ARIZONA_OFF, "summer peak", 30),  # Saturday
        ("2024-07-21", ARIZONA_OFF, "summer peak", 30),  # Sunday
        ("2024-07-04", ARIZONA_OFF, "summer peak", 30),  # holiday
        ("2024-06-15", ARIZONA_OFF, "summer", 20),  # Saturday
        ("2024-09-02", ARIZONA_OFF, "summer", 20),  # Labor Day
        ("2024-01-20", ARIZONA_OFF, "winter", 10),  # Saturday
        ("2024-01-21", ARIZONA_OFF, "winter", 10),  # Sunday
        ("2024-12-25", ARIZONA_OFF, "winter", 10),  # holiday
        # The days on which most of the country changes its clock have 24 hours in Arizona.
        ("2026-03-08", ARIZONA_OFF, "winter", 10),
        ("2026-11-01", ARIZONA_OFF, "winter", 10),
    ],
)
def test_arizona_electric_vehicle(day, letters, season, tens):
    """Salt River Project, electric vehicle plan: three price seasons, one in two pieces, over two tables of hours.

    The prices are not in the source and only tell the cells apart.
    """
    check_day("arizona_electric_vehicle", day, letters, ARIZONA, {"n": tens + 1, "s": tens + 2, "f": tens + 3})
    assert set(hours_of("arizona_electric_vehicle", date.fromisoformat(day))[2]) == {season}


def test_arizona_export():
    """Salt River Project, export plans: 0.0281 for every kWh sold, at all hours."""
    tariff = load_tariff(FOLDER / "arizona_electric_vehicle.yaml")
    assert set(tariff.export_prices("2024-06-30", "2024-07-02", "1 h")) == {0.0281}


# ---------------------------------------------------------------------------------------------- Ireland


@pytest.mark.parametrize(
    ("day", "night_hours"),
    [
        ("2026-01-14", [*range(8), 23]),  # winter time: 23:00-08:00
        ("2026-01-17", [*range(8), 23]),
        ("2026-07-15", range(9)),  # summer time: 00:00-09:00
        ("2026-07-18", range(9)),
    ],
)
def test_ireland_night(day, night_hours):
    """Electric Ireland, NightSaver: the hours printed for each half of the year, on the clock in Dublin."""
    tariff = load_tariff(FOLDER / "ireland_night.yaml")
    start = date.fromisoformat(day)
    whole = tariff.prices(start - timedelta(days=1), start + timedelta(days=2), "1 h").tz_convert("Europe/Dublin")
    local = whole[[moment.date() == start for moment in whole.index]]
    assert len(local) == 24
    assert [hour for hour, price in enumerate(local) if price == 0.0915] == list(night_hours)
    assert {price for hour, price in enumerate(local) if hour not in night_hours} == {0.1852}


# ---------------------------------------------------------------------------------------------- all of them


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_every_sheet_names_its_source(path):
    """Every sheet here says who published it, under what title, when and where, and that it is history."""
    top = path.read_text(encoding="utf-8").split("name:")[0]
    for word in ("# Publisher: ", "# Title: ", "Date: ", "# URL: http"):
        assert word in top
    assert "history" in top or "hours" in top


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_every_minute_of_a_year_is_in_a_priced_period(path):
    """Whatever the sheet, each minute of its year has one period and a price that is a number."""
    tariff = load_tariff(path)
    begin = tariff.sheet.effective or date(2024, 1, 1)
    end = tariff.sheet.until or begin + timedelta(days=365)
    prices = tariff.prices(begin, end + timedelta(days=1), 1)
    assert prices.notna().all()
    assert not failed_checks(tariff, read_document(path))
