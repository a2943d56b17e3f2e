"""The checks that a sheet carries: instants, shares of the hours, bills."""

import pytest

from chargeplan.errors import FileError
from chargeplan.reading import read_document
from chargeplan.tariff import load_tariff, read_tariff, shipped_sheets
from chargeplan.tariff.check_models import check_label
from chargeplan.tariff.checks import failed_checks, run_check
from chargeplan.tariff.loading import shipped_folder

SHEET = """\
name: Checked
currency: {currency}
timezone: America/Denver
until: 2026-12-31
seasons: {{summer: Jun - Sep, winter: rest}}
periods: {{peak: 16:00-21:00, other: rest}}
prices: {{summer: {{peak: {peak}, other: 0.2}}, winter: 0.1}}
checks:
  - {{{check}}}
"""


def checked(check, currency="USD", peak="0.5"):
    return sheet_of(SHEET.format(currency=currency, peak=peak, check=check))


def sheet_of(text):
    return read_tariff(text, "a.yaml"), read_document("a.yaml", text=text)


def messages_of(text):
    """What is wrong, each with its place, without the remedy that is always the same."""
    return [str(mistake).removesuffix("; correct the check or the sheet") for mistake in failed_checks(*sheet_of(text))]


@pytest.mark.parametrize(
    "check",
    [
        "at: 2026-07-04 17:00, period: peak, season: summer, price: 0.5",
        "at: 2026-07-04 15:59, period: other, price: 0.2",
        "at: 2026-01-04 17:00, season: winter, price: 0.1",
        "at: 2026-07-04T23:00Z, period: peak",
        "at: 2026-07-04, period: other",
    ],
)
def test_checks_that_hold(check):
    """Period, season and price, worked by hand from the sheet above, bring no message."""
    assert failed_checks(*checked(check)) == []


@pytest.mark.parametrize(
    ("check", "messages"),
    [
        (
            "at: 2026-07-04 17:00, period: other, season: winter, price: 0.4",
            [
                "a.yaml:9:28: at 2026-07-04 17:00 the period is `peak`, not `other`; correct the check or the sheet",
                "a.yaml:9:43: at 2026-07-04 17:00 the season is `summer`, not `winter`; correct the check or the sheet",
                "a.yaml:9:59: at 2026-07-04 17:00 the price is 0.5, not 0.4; correct the check or the sheet",
            ],
        ),
        (
            "at: 2027-01-01, price: 0.1",
            [
                "a.yaml:9:6: the sheet `Checked` ends on 2026-12-31, but 2027-01-01 was asked for; choose another time",
            ],
        ),
        (
            "at: 2026-03-08 02:30, price: 0.1",
            [
                "a.yaml:9:6: 2026-03-08 02:30 is skipped that day, when the clock goes forward; "
                "choose a time before or after",
            ],
        ),
        (
            "at: noon, price: 0.1",
            [
                "a.yaml:9:6: `noon` is not a date or time; "
                "write for example 2026-03-08 18:30 or 2026-03-08T18:30-06:00",
            ],
        ),
    ],
)
def test_checks_that_fail(check, messages):
    """Each expectation that is not met has its own message at its own place."""
    assert sorted(str(mistake) for mistake in failed_checks(*checked(check))) == messages


# ------------------------------------------------------------------------------------------------ one line of the price

PARTS = """\
name: Parts
currency: USD
timezone: America/Denver
periods: {peak: 16:00-21:00, other: rest}
components: {delivery: {peak: 0.1, other: 0.05}, supply: 0.2}
adders: {night credit: {price: -0.015, hours: 00:00-06:00}}
taxes: {city tax: 10 % of delivery}
checks:
"""


def test_the_price_of_one_line():
    """Worked by hand: at 17:00 delivery 0.1, supply 0.2, no night credit, and 10 % tax of delivery alone."""
    at = "  - {at: 2026-07-03 17:00, line: "
    lines = {"delivery": 0.1, "supply": 0.2, "night credit": 0, "city tax": 0.01}
    assert messages_of(PARTS + "".join(f"{at}{name}, price: {price}}}\n" for name, price in lines.items())) == []
    assert messages_of(PARTS + "  - {at: 2026-07-03 05:59, line: night credit, price: -0.015}") == []
    assert messages_of(PARTS + at + "delivery, price: 0.31}\n" + at + "supplly, price: 0.2}") == [
        "a.yaml:9:44: at 2026-07-03 17:00 the price of `delivery` is 0.1, not 0.31",
        "a.yaml:10:28: `supplly` is no line of the price per kWh; "
        "the lines are `delivery` and `supply` and `night credit` and `city tax`",
    ]


# ------------------------------------------------------------------------------------------------ shares of the hours


def shares(check, periods, zone="America/Denver", more=""):
    return messages_of(
        f"name: A\ncurrency: USD\ntimezone: {zone}\n{more}periods: {periods}\nprices: 1\nchecks:\n  - {{{check}}}\n"
    )


@pytest.mark.parametrize(
    ("check", "periods"),
    [
        # 5 of 24 hours; the days on which the clock changes lose and gain an hour of the night.
        ("year: 2026, share: {peak: 20.83 %, rest of it: 79.17 %}", "{peak: 16:00-21:00, rest of it: rest}"),
        ("year: 2026, share: {peak: 20.8 %}", "{peak: 16:00-21:00, off: rest}"),
        ("year: 2026, share: {peak: 21 %}", "{peak: 16:00-21:00, off: rest}"),
        # 261 weekdays of 2026 (a common year that begins on a Thursday): 261 x 5 = 1305 of 8760 hours.
        ("year: 2026, share: {peak: 14.897 %}", "{peak: 16:00-21:00 on weekdays, off: rest}"),
        # A leap year has 8784 hours; 29 February 2024 is 24 of them.
        ("year: 2024, share: {once: 0.2732 %}", "{once: all day in leap, off: rest}"),
        # The hour from 02:00 is missing on 8 March: 364 of 8760 hours. That from 01:00 comes twice on 1 November: 366.
        ("year: 2026, share: {two: 4.1553 %, one: 4.1781 %}", "{one: 01:00-02:00, two: 02:00-03:00, off: rest}"),
        # 23 hours: 5 of them.
        ("from: 2026-03-08, to: 2026-03-08, share: {peak: 21.739 %}", "{peak: 16:00-21:00, off: rest}"),
        ("from: 2026-11-01, to: 2026-11-01, share: {peak: 20 %}", "{peak: 16:00-21:00, off: rest}"),
        # Minutes count: 7 of 1440.
        ("from: 2026-07-01, to: 2026-07-02, share: {odd: 0.486 %, off: 99.514 %}", "{odd: 12:07-12:14, off: rest}"),
        # Three days that straddle two years.
        ("from: 2026-12-31, to: 2027-01-02, share: {off: 33.33 %}", "{busy: all day on Thu and Fri, off: rest}"),
    ],
)
def test_shares_that_hold(check, periods):
    """Hours counted by hand on the wall clock of Denver, and compared to the digits that are written."""
    leap = "seasons: {leap: Feb 29, common: rest}\n" if "in leap" in periods else ""
    assert shares(check, periods, more=leap) == []


def test_shares_on_a_meter_clock():
    """A clock that never changes has every hour 365 times a year, unlike the wall clock: 365 of 8760 hours."""
    periods = "{two: 02:00-03:00, off: rest}"
    check = "year: 2026, share: {two: 4.1667 %}"
    assert shares(check, periods, more="clock: standard\n") == []
    assert shares(check, periods) == ["a.yaml:7:26: share 2026: two is 4.1553 %, not 4.1667 %"]


def test_shares_that_fail():
    """The place is that of the share, the period and both figures are named; what is found has two decimals or more."""
    peak = "{peak: 16:00-21:00, off: rest}"
    assert shares("year: 2026, share: {off: 79.17 %, peak: 35 %}", peak) == [
        "a.yaml:7:40: share 2026: peak is 20.83 %, not 35 %"
    ]
    assert shares("from: 2026-01-01, to: 2026-01-31, share: {peak: 20.834 %}", peak) == [
        "a.yaml:7:48: share 2026-01-01 to 2026-01-31: peak is 20.833 %, not 20.834 %"
    ]
    assert shares("year: 2026, share: {peek: 20.83 %}", peak) == [
        "a.yaml:7:26: `peek` is no period of the sheet; the periods are off, peak"
    ]
    assert shares("year: 2026, share: {peak: 20.83 %}", peak, more="until: 2026-06-30\n") == [
        "a.yaml:8:6: the sheet `A` ends on 2026-06-30, but 2026-12-31 was asked for; choose other days"
    ]
    # tz database: Samoa crossed the date line and had no 30 December 2011.
    assert shares("from: 2011-12-30, to: 2011-12-30, share: {peak: 20.83 %}", peak, "Pacific/Apia") == [
        "a.yaml:7:6: the clock skipped 2011-12-30, so it has no hours; choose other days"
    ]


def test_a_period_that_only_one_version_has():
    """It is known all the same, and has no hours in a time in which it does not exist."""
    text = (
        "name: A\ncurrency: USD\ntimezone: America/Denver\neffective: 2025-01-01\nprices: 1\n"
        "versions: [{from: 2026-01-01, periods: {peak: 16:00-21:00, off: rest}, prices: 1}]\n"
        "checks: [{year: 2025, share: {peak: 0 %}}, {year: 2026, share: {peak: 20.83 %}}]\n"
    )
    assert messages_of(text) == []


# ------------------------------------------------------------------------------------------------ bills

BILLED = """\
name: Billed
currency: CAD
timezone: America/Toronto
periods: {day: 08:00-20:00, night: rest}
components:
  energy: 0.098 up to 600 then 0.115
  delivery: {day: 0.02, night: 0.01}
fixed: {service: 31.62 per month, panel: 2 per kW per month, ampere: 0.5 per A per month}
demand:
  summer peak: {price: 3, at_least: 50 % of the last 3 months}
contracted: {power: 1 kW, current: 4 A}
taxes: {tax: 5 % of energy}
checks:
"""


def billed(check):
    return messages_of(f"{BILLED}  - {check}\n")


JUNE = "bill: {from: 2022-06-01, to: 2022-06-30, use: {day: 500, night: 200}, demand: 10}"


def test_a_bill_that_holds():
    """The tiers are those of Oakville Hydro, Understanding your bill (tiered), May to October 2022: 58.80 and 11.50.

    The rest by hand: 500 x 0.02 + 200 x 0.01 = 12.00; 31.62 + 2 x 1 + 0.5 x 4; 10 kW x 3; 5 % of 70.30 = 3.515,
    which is 3.52 rounded half up, or 2.94 + 0.58 item by item; in all 151.44.
    """
    lines = (
        "{energy: 70.30, energy / tier 1: 58.80, energy / tier 2: 11.50, delivery: 12, delivery / day: 10.00, "
        "delivery / night: 2, service: 31.62, panel: 2, ampere: 2, summer peak: 30, tax: 3.52}"
    )
    assert billed(f"{{{JUNE}, lines: {lines}, total: 151.44}}") == []


def test_a_bill_that_fails():
    """Each amount is compared to the cent, and the message is at its place."""
    assert billed(f"{{{JUNE}, lines: {{energy / tier 2: 11.51, service: 31.62}}, total: 151.4}}") == [
        "a.yaml:14:97: bill 2022-06-01 to 2022-06-30: energy / tier 2 is 11.50, not 11.51",
        "a.yaml:14:138: bill 2022-06-01 to 2022-06-30: total is 151.44, not 151.40",
    ]
    assert billed(f"{{{JUNE}, total: 151.4401}}") == [
        "a.yaml:14:89: bill 2022-06-01 to 2022-06-30: total is 151.44, not 151.4401"
    ]


def test_lines_that_a_bill_does_not_have():
    """Nothing is expected of a line without an item, unless the sheet has no such line at all."""
    small = "bill: {from: 2022-06-01, to: 2022-06-30, use: {day: 100}, demand: 0}"
    assert billed(f"{{{small}, lines: {{energy / tier 2: 0, minimum: 0, summer peak: 0, delivery / night: 0}}}}") == []
    for label in ("enrgy", "energy / tier 2"):
        (message,) = billed(f"{{{small}, lines: {{{label}: 1}}}}")
        assert message.startswith(f"a.yaml:14:84: bill 2022-06-01 to 2022-06-30: there is no `{label}`; the bill has ")
        assert "energy / day / tier 1" in message
    (message,) = billed(f"{{{small}, lines: {{enrgy: 0}}}}")
    assert "there is no `enrgy`" in message


@pytest.mark.parametrize(
    ("case", "expected"),
    [
        ("use: {day: 650, night: 50}, demand: 0", "lines: {energy: 70.30, delivery: 13.50}"),
        ("use: 0, demand: 0, contracted: {power: 2.5 kW}", "lines: {panel: 5.00}"),
        ("use: 0, demand: 0, contracted: {current: 10 A}", "lines: {ampere: 5.00}"),
        ("use: 0, demand: {summer peak: 4}", "lines: {summer peak: 12.00}"),
        # Half of the highest of the last three months, 12 kW, is more than 4 kW; the 40 kW were four months ago.
        ("use: 0, demand: 4, past_demand: {summer peak: [40, 8, 12, 6]}", "lines: {summer peak: 18.00}"),
    ],
)
def test_what_a_bill_is_made_for(case, expected):
    """Each key of `bill`, by hand from the sheet above."""
    assert billed(f"{{bill: {{from: 2022-06-01, to: 2022-06-30, {case}}}, {expected}}}") == []


def test_readings():
    """300 kWh until the price rises on 11 June and 400 from then on: 300 x 0.1 = 30.00 and 400 x 0.2 = 80.00."""
    text = (
        "name: A\ncurrency: USD\ntimezone: UTC\neffective: 2022-01-01\nprices: 0.1\n"
        "versions: [{from: 2022-06-11, prices: 0.2}]\nchecks:\n"
        "  - bill: {from: 2022-06-01, to: 2022-06-30, use: [{from: 2022-06-01, use: 300}, "
        "{from: 2022-06-11, use: 400}]}\n"
        "    total: 110.00\n"
    )
    assert messages_of(text) == []


def test_export_and_power_factor():
    """120 kWh sold at 0.08 are 9.60 credited; 8 kW at a power factor of 0.8 are 10 kVA at 2."""
    text = (
        "name: A\ncurrency: USD\ntimezone: UTC\nprices: 0.1\nexport: 0.08\n"
        "demand: {apparent: {price: 2, unit: kVA}}\nchecks:\n"
        "  - bill: {from: 2026-06-01, to: 2026-06-30, use: 700, export: 120, demand: 8, power_factor: 0.8}\n"
        "    lines: {energy: 70, export: -9.60, apparent: 20}\n    total: 80.40\n"
    )
    assert messages_of(text) == []


def test_digits_of_the_currency():
    """A sheet with `decimals: 0` prints whole units: 12.5 kWh at 0.1 per kWh are 1 (1.25)."""
    text = "name: A\ncurrency: JPY\ntimezone: UTC\nbilling: {decimals: 0}\nprices: 0.1\nchecks:\n"
    bill = "  - {bill: {from: 2026-06-01, to: 2026-06-30, use: 12.5}, total: "
    assert messages_of(text + bill + "1}") == []
    assert messages_of(text + bill + "1.25}") == ["a.yaml:7:59: bill 2026-06-01 to 2026-06-30: total is 1, not 1.25"]


def test_a_bill_that_cannot_be_made():
    """What the sheet cannot bill is said at `bill`, with what would be right."""
    (message,) = billed("{bill: {from: 2022-06-01, to: 2022-06-30, use: {day: 5, evening: 2}}, total: 1}")
    assert message.startswith("a.yaml:14:6: ")
    assert "`evening`" in message


# ------------------------------------------------------------------------------------------------ what may be written


@pytest.mark.parametrize(
    ("check", "message"),
    [
        ("at: 2026-07-04 17:00", "9:5: the check expects nothing; add `period:`, `season:` or `price:`"),
        ("at: 2026-07-04, line: a", "9:5: the check names the line `a` but no price; add `price:`, what it costs then"),
        ("year: 2026, share: {}", "9:5: the check expects nothing; add the share of a period"),
        ("year: 2026", "9:5: `share` in item 1 of `checks` is missing"),
        ("period: peak", "9:5: `at` in item 1 of `checks` is missing"),
        (
            "share: {peak: 20 %}",
            "9:5: it is not said of which days the share is; add `year: 2026`, or `from:` and `to:`",
        ),
        ("from: 2026-05-01, share: {peak: 20 %}", "9:5: it is not said of which days the share is"),
        ("year: 2026, to: 2026-05-01, share: {peak: 20 %}", "9:5: `year` and `to` exclude one another"),
        (
            "from: 2026-05-01, to: 2026-04-30, share: {peak: 20 %}",
            "9:5: `to: 2026-04-30` lies before `from: 2026-05-01`",
        ),
        ("year: 2026, share: {peak: 20}", "9:26: peak: `20` cannot stand here; write for example 34.93 %"),
        ("year: 2026, share: {peak: 101 %}", "9:26: peak: `101 %` is not a share of the hours"),
        (
            "bill: {from: 2022-06-01, to: 2022-06-30, use: 1}",
            "9:5: the check expects nothing; add `total:` or `lines:`",
        ),
        ("bill: {from: 2022-06-01, to: 2022-06-30}, total: 1", "9:6: `use` under `bill` is missing"),
        ("bill: {from: 2022-06-01, to: 2022-05-31, use: 1}, total: 1", "9:6: bill: `to: 2022-05-31` lies before"),
        ("bill: {from: 2022-06-01, to: 2022-06-30, use: -1}, total: 1", "9:47: use: `-1` is out of range"),
        ("bill: {from: 2022-06-01, to: 2022-06-30, use: []}, total: 1", "9:6: bill: the readings of `use` do not fit"),
        (
            "bill: {from: 2022-06-01, to: 2022-06-30, use: [{from: 2022-06-02, use: 1}]}, total: 1",
            "9:6: bill: the readings of `use` do not fit the bill; begin with 2022-06-01",
        ),
        (
            "bill: {from: 2022-06-01, to: 2022-06-30, use: 1, contracted: {power: 4}}, total: 1",
            "9:68: power: '4' has no unit",
        ),
        ("at: 2026-07-04, perid: peak", "9:22: `perid` is not known here; did you mean `period`?"),
        ("yaer: 2026, share: {peak: 20 %}", "9:6: `yaer` is not known here; did you mean `year`?"),
    ],
)
def test_checks_that_make_no_sense(check, message):
    """A check that says nothing, or what cannot be, is a mistake of the sheet with its place."""
    with pytest.raises(FileError) as caught:
        checked(check)
    (mistake,) = caught.value.mistakes
    assert str(mistake).startswith(f"a.yaml:{message}")


def test_labels():
    """Names of checks for people: what was asked, not what was expected."""
    text = PARTS + (
        "  - {at: 2026-07-03 17:00, period: peak}\n  - {at: 2026-07-03 17:00, line: supply, price: 0.2}\n"
        "  - {year: 2026, share: {peak: 20.83 %}}\n  - {from: 2026-01-01, to: 2026-03-31, share: {peak: 21 %}}\n"
        "  - {bill: {from: 2022-06-01, to: 2022-06-30, use: {peak: 0}}, total: 0}\n"
    )
    tariff, document = sheet_of(text)
    assert [check_label(check) for check in tariff.sheet.checks] == [
        "at 2026-07-03 17:00",
        "at 2026-07-03 17:00, supply",
        "share 2026",
        "share 2026-01-01 to 2026-03-31",
        "bill 2022-06-01 to 2022-06-30",
    ]
    assert [run_check(tariff, document, position) for position in range(5)] == [[]] * 5


# ------------------------------------------------------------------------------------------------ shipped sheets


@pytest.mark.parametrize("name", shipped_sheets())
def test_shipped_sheets(name):
    """Every sheet that comes with the package is found by name, and holds its own checks."""
    tariff = load_tariff(name)
    folder = shipped_folder()
    document = read_document(folder / f"{name}.yaml")
    assert failed_checks(tariff, document) == []
    assert len(load_tariff(folder / f"{name}.yaml").versions) == len(tariff.versions)
