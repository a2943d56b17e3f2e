"""Single lines of a rate sheet that cannot be read, and the exact sentence for each."""

import pytest

from chargeplan.errors import FileError
from chargeplan.tariff import read_tariff

HEAD = "name: A\ncurrency: USD\ntimezone: America/Denver\n"

NUMBER = "is not a number; write digits with at most one dot, like 0.31"
NAME = "cannot be a name; use words without commas and not on, in, except, starting"
LINE_NAME = "cannot be the name of a line; use at most 60 characters and no comma"
FORM = "see the examples in the README for the form"
HOURS = "write for example 16:00-21:00 on weekdays"


def messages_of(text):
    with pytest.raises(FileError) as caught:
        read_tariff(text, "a.yaml")
    return str(caught.value).splitlines()


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("periods: {peak: 16:00-25:00, other: rest}", "11: peak: 25:00 is not a time of day; write 00:00 to 24:00"),
        ("periods: {peak: 16:00-21:00; 7-9, other: rest}", "11: peak: 7 is not a time of day; write 00:00 to 24:00"),
        ("periods: {peak: 16, other: rest}", f"11: peak: `16` cannot stand here; {HOURS}"),
        ("periods: {peak: [16:00-21:00, 5], other: rest}", f"31: peak: `5` cannot stand here; {HOURS}"),
        ("periods: {peak: [], other: rest}", f"11: peak: no hours are given; {HOURS}"),
        ("periods: {peak: , other: rest}", f"11: peak: nothing cannot stand here; {HOURS}"),
        ("periods: {on peak: 16:00-21:00, other: rest}", f"11: on peak: `on peak` {NAME}"),
        ("periods: {'': 16:00-21:00, other: rest}", f"11: : `` {NAME}"),
        (
            "periods: {peak: '" + "16:00-21:00;" * 201 + "', other: rest}",
            "11: peak: 201 spans of hours are too many; 200 can be read",
        ),
        ("periods: 16:00-21:00", f"1: periods: `16:00-21:00` stands where a mapping is wanted; {FORM}"),
        (
            "seasons: {" + ", ".join(f"s{day}: Jan {day}" for day in range(1, 26)) + "}",
            "1: seasons: 25 entries are too many; 24 can be read",
        ),
        ("prices: .nan", f"1: prices: `.nan` {NUMBER}"),
        ("prices: NaN", f"1: prices: `NaN` {NUMBER}"),
        ("prices: -.inf", f"1: prices: `-.inf` {NUMBER}"),
        ("prices: 1e999", f"1: prices: `inf` {NUMBER}"),
        ("prices: " + "9" * 400, f"1: prices: `{'9' * 56}...` {NUMBER}"),
        ("prices: 1e6", "1: prices: `1000000.0` is out of range; it must be less than or equal to 100000"),
        ("prices: -100001", "1: prices: `-100001` is out of range; it must be greater than or equal to -100000"),
        ("prices: $0.42", f"1: prices: `$0.42` {NUMBER}"),
        ("prices: 0,42", f"1: prices: `0,42` {NUMBER}"),
        ("prices: '0.42'", f"1: prices: `0.42` {NUMBER}"),
        ("prices: true", f"1: prices: `True` {NUMBER}"),
        ("prices: [1, 2]", f"1: prices: a list {NUMBER}"),
        ("price: 1", "1: `price` is not known here; did you mean `prices`?"),
        ("season: {}", "1: `season` is not known here; did you mean `seasons`?"),
        (
            "wattage: 1",
            "1: `wattage` is not known here; known are accept, adders, billing, called, checks, clock, components, "
            "contracted, credits, currency, demand, effective, export, export_components, fixed, holidays, losses, "
            "market, minimum, name, net_metering, notes, overrides, periods, power_factor, price_season_by, "
            "price_seasons, price_unit, prices, seasons, source, taxes, timezone, until, versions",
        ),
        ("adders: {a: {hours: 00:00-06:00}}", "10: there is no price; add for example `price: 0.05`, per kWh"),
        ("adders: {'a, b': {hours: 00:00-06:00}}", f"10: a, b: `a, b` {LINE_NAME}"),
        ("fixed: {'a, b': 12 per month}", f"9: a, b: `a, b` {LINE_NAME}"),
        (f"taxes: {{{'x' * 61}: 5 %}}", f"9: {'x' * 61}: `{'x' * 60}` {LINE_NAME}"),
        (
            "adders: {a: {price: 1, hours: 16:00-21:00 on holidays}}",
            "24: `16:00-21:00 on holidays` speaks of holidays, but the sheet "
            "names none; add `holidays:`, for example `holidays: {country: US}`, or leave the word out",
        ),
        (
            "taxes: {vat: 5 percent}",
            "9: vat: `5 percent` is not a percentage; write for example 5 % or 5 % of delivery",
        ),
        ("taxes: {vat: 0.05}", "9: vat: `0.05` cannot stand here; write for example 5 %"),
        (
            "taxes: {vat: '5 % of energy, energy'}",
            "9: vat: `5 % of energy, energy` names a line twice; name each line once",
        ),
        ("taxes: {vat: 1000000 %}", "9: vat: `1000000` is out of range; it must be between -100,000 and 100,000"),
        ("fixed: 3", "1: fixed: `3` cannot stand here; write for example 0.42 per day"),
        (
            "fixed: 3 per week",
            "1: fixed: `3 per week` is not a fixed charge; write for example 0.42 per day, 12 per month "
            "or 8 per A per month",
        ),
        ("price_unit: cent", "1: price_unit: `cent` is not known; write one of 'whole' or 'cents'"),
        ("effective: 06/01/2026", "1: effective: `06/01/2026` is not a date; write for example 2026-01-31"),
        ("effective: Jan 31", "1: effective: `Jan 31` is not a date; write for example 2026-01-31"),
        ("effective: 2026-02-30", "1: effective: `2026-02-30` does not exist; write a date such as 2026-12-24"),
        ("effective: 1492-10-12", "1: effective: 1492-10-12 is out of range; write a date of the years 1971 to 2199"),
        ("effective: 9999-12-31", "1: effective: 9999-12-31 is out of range; write a date of the years 1971 to 2199"),
        ("effective: 2026", "1: effective: `2026` cannot stand here; write for example 2026-01-31"),
        ("holidays: {country: ZZ}", "12: no holiday data for country `ZZ`; write an ISO code such as US, CA or DE"),
        (
            "holidays: {country: utils}",
            "12: no holiday data for country `utils`; write an ISO code such as US, CA or DE",
        ),
        (
            "holidays: {country: US, subdivision: Texas!}",
            "25: `Texas!` is no subdivision of US with holiday data; known are AK, AL, "
            "AR, AS, AZ, CA, CO, CT, DC, DE, FL, GA ...",
        ),
        ("holidays: {subdivision: TX}", "12: a subdivision needs a country; add for example `country: US`"),
        (
            "holidays: {country: US, categories: [bank]}",
            "25: holiday category not known for US: Category is not supported: bank; "
            "leave `categories` out for public holidays",
        ),
        (
            "holidays: {country: US, categories: []}",
            "25: no category is given; leave `categories` out for public holidays",
        ),
        (
            "holidays: {country: US, shift: sideways}",
            "25: shift: `sideways` is not known; write one of 'never', 'sunday to monday', "
            "'sunday adds monday', 'nearest weekday' or 'next free weekday'",
        ),
        (
            "holidays: {country: US, as: Sumday}",
            "25: `Sumday` is not a day; write Mon, Tue ... Sun, weekdays, weekends or holidays",
        ),
        (
            "holidays: [Jul 4, Christmas]",
            "19: `Christmas` is not a day; write for example Jul 4, last Monday of May, Easter Monday or 2026-12-24",
        ),
        ("holidays: US", f"1: holidays: `US` stands where a mapping is wanted; {FORM}"),
        ("checks: [{price: 1}]", "10: `at` in item 1 of `checks` is missing; add for example `at: 2026-07-04 17:00`"),
    ],
)
def test_lines(line, message):
    """One wrong line, number four, in a sheet that is otherwise right: one message about that line."""
    rest = "" if line.startswith("prices") else "prices: 1\n"
    assert messages_of(f"{HEAD}{line}\n{rest}") == [f"a.yaml:4:{message}"]


@pytest.mark.parametrize(
    ("head", "message"),
    [
        (
            "name: A\ncurrency: USD\ntimezone: America/Denvr\n",
            "a.yaml:3:1: timezone: `America/Denvr` is not a time zone; did you mean America/Denver or America/Detroit?",
        ),
        (
            "name: A\ncurrency: USD\ntimezone: +02:00\n",
            "a.yaml:3:1: timezone: `+02:00` is not a time zone; write a name like America/Denver or Europe/Berlin",
        ),
        (
            "name: A\ncurrency: dollars\ntimezone: UTC\n",
            "a.yaml:2:1: currency: `dollars` is not a currency; write its three-letter code, like USD, EUR or JPY",
        ),
        (
            "name: A\ncurrency: usd\ntimezone: UTC\n",
            "a.yaml:2:1: currency: `usd` is not a currency; write its three-letter code, like USD, EUR or JPY",
        ),
        (
            "name: ''\ncurrency: USD\ntimezone: UTC\n",
            "a.yaml:1:1: name: `` is too short; it should have at least 1 character",
        ),
        (
            f"name: {'x' * 201}\ncurrency: USD\ntimezone: UTC\n",
            f"a.yaml:1:1: name: `{'x' * 56}...` is too long; it should have at most 200 characters",
        ),
        (
            "name: 5\ncurrency: USD\ntimezone: UTC\n",
            "a.yaml:1:1: name: `5` is not text; put it in quotes if it is meant as text",
        ),
        ("name: A\ncurrency: USD\n", "a.yaml:1:1: `timezone` is missing; add for example `timezone: America/Denver`"),
    ],
)
def test_the_head_of_a_sheet(head, message):
    """Name, currency and zone."""
    assert messages_of(head + "prices: 1\n") == [message]
