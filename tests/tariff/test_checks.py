"""The checks that a sheet carries, and what is odd about it."""

import pytest

from chargeplan.reading import read_document
from chargeplan.tariff import load_tariff, read_tariff, shipped_sheets
from chargeplan.tariff.checks import failed_checks, oddities
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
    text = SHEET.format(currency=currency, peak=peak, check=check)
    return read_tariff(text, "a.yaml"), read_document("a.yaml", text=text)


@pytest.mark.parametrize(
    "check",
    [
        "at: 2026-07-04 17:00, period: peak, season: summer, price: 0.5",
        "at: 2026-07-04 15:59, period: other, price: 0.2",
        "at: 2026-01-04 17:00, season: winter, price: 0.1",
        "at: 2026-07-04T23:00Z, period: peak",
        "at: 2026-07-04",
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


def test_dear_prices():
    """Above 2 per kWh the prices may be cents, in currencies of large units; yen are never dear."""
    (warning,) = oddities(*checked("at: 2026-07-04", peak="50"))
    assert str(warning) == (
        "a.yaml:7:1: 50 USD per kWh is very dear; if the prices are in cents, add `price_unit: cents`"
    )
    assert oddities(*checked("at: 2026-07-04", peak="1.99")) == []
    assert oddities(*checked("at: 2026-07-04", currency="JPY", peak="50")) == []


@pytest.mark.parametrize("name", shipped_sheets())
def test_shipped_sheets(name):
    """Every sheet that comes with the package is found by name, holds its own checks and is not odd."""
    tariff = load_tariff(name)
    folder = shipped_folder()
    document = read_document(folder / f"{name}.yaml")
    assert failed_checks(tariff, document) == []
    assert oddities(tariff, document) == []
    assert len(load_tariff(folder / f"{name}.yaml").versions) == len(tariff.versions)
