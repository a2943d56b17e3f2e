"""Warnings of prices and charges in the wrong unit, and of seasons and holidays that nothing refers to."""

import pytest

from chargeplan.reading import read_document
from chargeplan.tariff import read_tariff
from chargeplan.tariff.lint import warnings_of

HEAD = "name: S\ncurrency: USD\ntimezone: America/Denver\n"
FLAT = "prices: 0.2\n"
CENTS = "if it is in cents, write it in USD, since `price_unit` is for prices per kWh only (warning: dear price)"


def found(text, name="a.yaml"):
    return list(map(str, warnings_of(read_tariff(text, name), read_document(name, text=text))))


def ids(text, name="a.yaml"):
    return [line.rpartition("(warning: ")[2].rstrip(")") for line in found(text, name)]


# ------------------------------------------------------------------------------------------------ market prices


@pytest.fixture
def market(tmp_path, monkeypatch):
    """Write a day of market prices, one for each hour, and stand beside them."""
    monkeypatch.chdir(tmp_path)

    def written(prices, header="start,price\n"):
        rows = "".join(f"2026-06-01T{hour:02}:00Z,{price}\n" for hour, price in enumerate(prices))
        (tmp_path / "day.csv").write_text(header + rows)

    return written


def test_market_prices_per_mwh_taken_as_per_kwh(market):
    """A file of one day, without `missing`, is enough to see it; the remedy is about `per`, at its place."""
    market(range(20, 44))
    text = HEAD + "market: {file: day.csv, per: kWh}\ncomponents: {grid: 0.1}\n"
    # Of 20, 21 ... 43 the upper quartile is 20 + 0.75 x 23.
    remedy = "which is very dear; if the file holds prices per MWh, write `per: MWh` (warning: dear price)"
    told = f"a quarter of the prices in `day.csv` are 37.25 USD per kWh or more, {remedy}"
    assert found(text) == [f"a.yaml:4:25: {told}"]
    assert found(text.replace(", per: kWh", "")) == [f"a.yaml:4:1: {told}"]
    assert found(text.replace(", per: kWh", ", missing: 0.1")) == [f"a.yaml:4:1: {told}"]
    assert found(text.replace("kWh", "MWh")) == []
    assert found(text.replace("USD", "JPY")) == []
    # The author converts by hand.
    assert found(text.replace("per: kWh", "times: 0.001")) == []
    market(range(20_000, 44_000, 1000))
    (line,) = found(text.replace("kWh", "MWh"))
    assert "they were read as prices per MWh, as `per` says; check the file" in line


def test_a_market_may_have_dear_hours(market):
    """Five hours of a day at 9 USD per kWh, as in a cold spell, are a price, and no slip."""
    market([0.05] * 19 + [9.0] * 5)
    text = HEAD + "market: {file: day.csv}\n"
    assert found(text) == []
    assert found(text.replace("csv}", "csv, missing: 0.2}")) == []


def test_the_price_of_missing_hours(market):
    """`missing` is per kWh, whatever `per` says; what is written beside the market still counts."""
    market(range(20, 44))
    text = HEAD + "market: {file: day.csv, per: MWh, missing: 30}\ncomponents: {grid: 12}\n"
    assert found(text) == [
        "a.yaml:4:35: 30 USD per kWh is very dear; `missing` is a price per kWh, whatever `per` says of the file "
        "(warning: dear price)",
        "a.yaml:5:1: 12 USD per kWh is very dear; if the prices are in cents, add `price_unit: cents` "
        "(warning: dear price)",
    ]


def test_a_file_with_gaps_does_not_hide_the_other_warnings(market):
    """Without `missing` the hours cannot be priced, but they can be laid out."""
    market([30] * 24)
    text = HEAD + (
        "effective: 2026-06-01\nuntil: 2026-08-31\nseasons: {summer: Jun - Sep, winter: rest}\n"
        "periods: {a: all day in summer, b: all day in winter}\nmarket: {file: day.csv, per: MWh}\nadders: {levy: 0}\n"
    )
    assert ids(text) == ["unused season", "unused period", "unused component"]


# ------------------------------------------------------------------------------------------------ other charges


@pytest.mark.parametrize(
    ("line", "least"),
    [
        ("export: {}", 2),
        ("export_components: {{feed: 0.01, bonus: {{price: {}, hours: 00:00-06:00}}}}", 2),
        ("demand: {{d: {{price: {}}}}}", 100),
        ("demand: {{d: {{prices: {{all: 1, other: {}}}, periods: {{all: 07:00-21:00, other: rest}}}}}}", 100),
        ("demand: {{d: {{price: 0 up to 500 then {}}}}}", 100),
        ("demand: {{d: {{price: {}, per: year}}}}", 1200),
        ("demand: {{d: {{price: {}, per: day}}}}", 100 / 30),
        ("fixed: {} per month", 500),
        ("fixed: {} per day", 20),
        ("fixed: {} per year", 6000),
        ("fixed: {{meter: 2 per month, basic: {} per month}}", 500),
        ("fixed: {{charge: {} per day}}", 20),
        ("fixed: {{basic: {{charge: {} per day, unused: 50 %}}}}", 20),
        ("fixed: {{by_use: 5 up to 1000 then {}, per: month}}", 500),
        ("fixed: {{by_use: 5 up to 1000 then {}, per: day}}", 20),
        ("contracted: {{power: 4 kW}}\nfixed: {} per kW per month", 100),
    ],
)
def test_charges_that_may_be_in_cents(line, least):
    """Each kind has a limit; below it, and in currencies of small units, nothing is told."""
    text = HEAD + FLAT + line
    assert ids(text.format(f"{least * 1.01:.4f}")) == ["dear price"]
    assert found(text.format(f"{least * 0.99:.4f}")) == []
    for currency in ("JPY", "EGP", "INR", "NAD"):
        assert found(text.format(f"{least * 10:.4f}").replace("USD", currency)) == []


def test_what_is_said_of_dear_charges():
    """At the place of each, in its own words; `price_unit` is proposed only where it would help."""
    text = HEAD + FLAT + (
        "export: 6\nfixed: {basic: 1450 per month, pole: 12000 per year}\n"
        "demand: {peak: {price: 709, unit: kVA}, small: {price: 7}}\n"
    )  # fmt: skip
    assert found(text) == [
        "a.yaml:5:1: 6 USD for a kWh sold is very much; if the prices are in cents, add `price_unit: cents` "
        "(warning: dear price)",
        f"a.yaml:6:9: 1,450 USD per month is very dear; {CENTS}",
        f"a.yaml:6:32: 12,000 USD per year is very dear; {CENTS}",
        f"a.yaml:7:10: 709 USD per kVA and month is very dear; {CENTS}",
    ]
    cents = "price_unit: cents\n" + text.replace("0.2", "20")
    assert [line.split(":")[1] for line in found(cents)] == ["7", "7", "8"]
    (line,) = found(HEAD + "price_unit: cents\nprices: 420\n")
    assert "the sheet says `price_unit: cents`; if the prices are in whole units, take that out" in line


def test_a_dear_charge_of_a_version_is_told_once_at_its_place():
    """The charge of a version, and not again for the versions that keep it."""
    text = (
        HEAD + FLAT + "versions:\n  - {from: 2026-05-01, fixed: 1450 per month}\n  - {from: 2026-07-01, prices: 0.3}\n"
    )
    assert [line.split(": ")[0] for line in found(text)] == ["a.yaml:6:24"]


# ------------------------------------------------------------------------------------------------ holidays

PERIODS = "periods: {{peak: 16:00-21:00 on {}, other: rest}}\nprices: {{peak: 0.4, other: 0.2}}\n"
UNUSED = (
    "the holidays change nothing: no hours are `on holidays` or `except holidays`, and `as` names no other day; "
    "write for example `16:00-21:00 on weekdays except holidays`, or take them out (warning: unused holidays)"
)


@pytest.mark.parametrize("holidays", ["[Jul 4]", "{country: US}", "{days: [Jul 4], shift: nearest weekday}"])
def test_holidays_that_no_hours_refer_to(holidays):
    """Listed, but every window goes by days of the week."""
    text = HEAD + f"holidays: {holidays}\n" + PERIODS.format("weekdays")
    assert found(text) == [f"a.yaml:4:1: {UNUSED}"]
    assert found(HEAD + f"holidays: {holidays}\n" + FLAT) == [f"a.yaml:4:1: {UNUSED}"]


@pytest.mark.parametrize(
    "line",
    [
        "holidays: [Jul 4]\n" + PERIODS.format("weekdays except holidays"),
        "holidays: [Jul 4]\n" + PERIODS.format("weekdays and holidays"),
        "holidays: {days: [Jul 4], as: Sunday}\n" + PERIODS.format("weekdays"),
        "holidays: []\n" + PERIODS.format("weekdays"),
        "holidays: [Jul 4]\nprices: 0.2\nadders: {night: {price: 0.1, hours: [00:00-06:00 on holidays]}}\n",
        "holidays: [Jul 4]\nprices: 0.2\nadders: {a: {periods: {x: 10:00-12:00 on holidays, y: rest}, "
        "prices: {x: 0.1, y: 0.2}}}\n",
        "holidays: [Jul 4]\nprices: 0.2\ndemand: {d: {price: 5, hours: 14:00-19:00 except holidays}}\n",
        "holidays: [Jul 4]\ncalled: {hot: {days: [2026-07-02], only_on: [weekdays, holidays]}}\n"
        + PERIODS.format("hot"),
        "holidays: [Jul 4]\n"
        + PERIODS.format("weekdays")
        + "versions: [{from: 2026-05-01, periods: {peak: 16:00-21:00 except holidays, other: rest}}]\n",
        "holidays: [Jul 4]\n"
        + PERIODS.format("weekdays")
        + "overrides: [{from: 2026-05-01, days: 5, periods: {peak: 16:00-21:00 except holidays, other: rest}}]\n",
    ],
)
def test_holidays_that_are_used(line):
    """By any window, by days that may be called, by the day whose hours they take, in any version."""
    assert found(HEAD + line) == []


def test_holidays_of_a_version_that_nothing_refers_to():
    """Each list is looked at where it is in force."""
    text = (
        HEAD
        + "holidays: [Jul 4]\n"
        + PERIODS.format("weekdays except holidays")
        + ("versions: [{from: 2026-05-01, holidays: [Dec 25], periods: {peak: 16:00-21:00, other: rest}}]\n")
    )
    assert [line.split(": ")[0] for line in found(text)] == ["a.yaml:7:31"]


# ------------------------------------------------------------------------------------------------ seasons

SEASONS = "seasons: {summer: Jun - Sep, spring: Mar - May, winter: rest}\n"


def test_seasons_that_nothing_refers_to():
    """Neither a price by season nor a window `in` one."""
    text = HEAD + SEASONS + PERIODS.format("weekdays")
    assert found(text) == [
        "a.yaml:4:1: nothing refers to `summer`, `spring` and `winter`: neither prices nor hours are by season; give "
        "prices by season, write for example `16:00-21:00 in summer`, or take the seasons out (warning: unused season)"
    ]
    assert ids(HEAD + "price_" + SEASONS + PERIODS.format("weekdays")) == ["unused season"]
    own = (
        "adders: {a: {seasons: {hot: Jul, cold: rest}, periods: {x: 10:00-12:00, y: rest}, prices: {x: 0.1, y: 0.2}}}\n"
    )
    (line,) = found(HEAD + FLAT + own)
    assert line.startswith("a.yaml:5:14: nothing refers to `hot` and `cold`")


@pytest.mark.parametrize(
    "line",
    [
        "prices: {summer: 0.3, spring: 0.2, winter: 0.2}\n",
        PERIODS.format("weekdays in summer"),
        PERIODS.format("weekdays in spring and winter"),
        PERIODS.format("weekdays in winter except Sat"),
        "prices: 0.2\nexport: {summer: 0.1, spring: 0.1, winter: 0.1}\n",
        "prices: 0.2\nadders: {a: {price: 0.1, hours: 10:00-12:00 in summer and spring}}\n",
        "prices: 0.2\ndemand: {d: {price: 5, at_least: 60 % of the last 12 months in winter}}\n",
        "prices: 0.2\ncalled: {hot: {days: [], only_in: summer}}\n",
        "prices: 0.2\nversions: [{from: 2026-05-01, prices: {summer: 0.3, spring: 0.2, winter: 0.2}}]\n",
        "prices: 0.2\noverrides: [{from: 2026-05-01, days: 9, prices: {summer: 0.3, spring: 0.2, winter: 0.2}}]\n",
    ],
)
def test_seasons_that_are_used(line):
    """One that is referred to is enough: the others fill the year."""
    assert found(HEAD + SEASONS + line) == []
