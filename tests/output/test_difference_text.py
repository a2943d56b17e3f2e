"""What changes, in words: whole texts worked by hand, and any two sheets within 80 columns."""

from itertools import product

import pytest

from chargeplan.output.difference_text import difference_text
from chargeplan.reading import read_document
from chargeplan.tariff import load_tariff, shipped_sheets
from chargeplan.tariff.difference import difference
from chargeplan.tariff.loading import shipped_folder

HEAD = "name: Home\ncurrency: USD\ntimezone: America/Phoenix\n"
OLD = (
    HEAD
    + """\
effective: 2026-01-01
seasons: {summer: Jun - Sep, winter: rest}
periods: {peak: 16:00-21:00 on weekdays, mid-peak: 07:00-16:00 on weekdays, off-peak: rest}
prices:
  summer: {peak: 0.42, mid-peak: 0.31, off-peak: 0.18}
  winter: {peak: 0.36, mid-peak: 0.25, off-peak: 0.18}
fixed: {service: 0.42 per day}
versions:
  - from: 2026-05-01
    periods:
      peak: 17:00-21:00 on weekdays
      mid-peak: 07:00-17:00 on weekdays
      off-peak: rest
    prices:
      summer: {peak: 0.42, mid-peak: 0.31, off-peak: 0.20}
      winter: {peak: 0.36, mid-peak: 0.25, off-peak: 0.20}
    fixed: {service: 0.45 per day}
    taxes: {city tax: 0 %}
"""
)


def test_a_notice():
    """Worked by hand: 2026 has 261 weekdays, 88 of them in June to September.

    Of the week's hours 5 x 14 are peak or mid-peak; all others rise by 0.02. Hours 16-17 fall from 0.42 to 0.31 in
    summer and from 0.36 to 0.25 in winter.
    """
    summer, winter = 88, 261 - 88
    rest = 8760 - 261 * 14
    old = summer * (5 * 0.42 + 9 * 0.31) + winter * (5 * 0.36 + 9 * 0.25) + rest * 0.18
    new = summer * (4 * 0.42 + 10 * 0.31) + winter * (4 * 0.36 + 10 * 0.25) + rest * 0.20
    assert difference_text(difference(read_document("a.yaml", text=OLD))) == (
        "Change of rates\n"
        "  from  Home, in force since 2026-01-01\n"
        "  to    Home, in force since 2026-05-01\n"
        "Both are laid out on 2026. Prices are USD per kWh, all included.\n"
        "\n"
        "Hours that change their period: 261 of 8760 in 2026\n"
        "  weekdays Oct-May 16:00-17:00: peak 0.3600 -> mid-peak 0.2500\n"
        "  weekdays Jun-Sep 16:00-17:00: peak 0.4200 -> mid-peak 0.3100\n"
        "\n"
        "Hours that keep their period and change their price\n"
        "  off-peak 0.1800 -> 0.2000 (+11.1 %)\n"
        "\n"
        f"The mean price of all hours goes from {old / 8760:.4f} to {new / 8760:.4f} USD per kWh "
        f"({100 * (new / old - 1):+.1f} %).\n"
        "\n"
        "Lines of the sheet that change\n"
        "  periods / peak: 16:00-21:00 on weekdays -> 17:00-21:00 on weekdays\n"
        "  periods / mid-peak: 07:00-16:00 on weekdays -> 07:00-17:00 on weekdays\n"
        "  prices / summer / off-peak: 0.18 -> 0.2\n"
        "  prices / winter / off-peak: 0.18 -> 0.2\n"
        "  fixed / service: 0.42 per day -> 0.45 per day\n"
        "  taxes / city tax: new: 0 %"
    )


def test_nothing_changes():
    """The same sheet twice."""
    sheet = read_document("a.yaml", text=HEAD + "prices: 0.2")
    assert difference_text(difference(sheet, sheet)).endswith("\n\nNothing changes.")


def test_holidays_apart():
    """Holidays without peak do not change, so days of the week are meant without them."""
    text = HEAD + "holidays: [Jan 1]\nperiods: {peak: 16:00-21:00 on weekdays except holidays, off-peak: rest}\n"
    text += "prices: {peak: 0.4, off-peak: 0.2}\n"
    old, new = (read_document("a.yaml", text=part) for part in (text, text.replace("16:00", "17:00")))
    said = difference_text(difference(old, new, year=2026))
    # 261 weekdays, of which 1 January 2026, a Thursday, is a holiday.
    assert (
        "Hours that change their period: 260 of 8760 in 2026\n  weekdays 16:00-17:00: peak 0.4000 -> off-peak" in said
    )
    assert "Days of the week are meant without holidays." in " ".join(said.split())


def test_only_another_name_and_other_lines():
    """A period renamed and a fixed charge: no hour moves, no price changes."""
    text = HEAD + "periods: {peak: 16:00-21:00, off-peak: rest}\nprices: {peak: 0.4, off-peak: 0.2}\n"
    old, new = (read_document("a.yaml", text=t) for t in (text, text.replace("off-peak", "night") + "fixed: 1 per day"))
    said = difference_text(difference(old, new, year=2026))
    assert "Periods that only have another name\n  off-peak -> night\n\nNo hour changes its period.\n\nThe mean" in said
    assert "The mean price of all hours stays 0.2417 USD per kWh." in said
    assert said.endswith("  fixed: new: 1 per day")


CURRENCY = {name: load_tariff(name).currency for name in shipped_sheets()}
PAIRS = [pair for pair in product(CURRENCY, repeat=2) if CURRENCY[pair[0]] == CURRENCY[pair[1]]]


@pytest.mark.parametrize(("one", "other"), PAIRS)
def test_any_two_sheets_fit_the_page(one, other):
    """80 columns, ASCII, no space at the end of lines."""
    old, new = (read_document(shipped_folder() / f"{name}.yaml") for name in (one, other))
    text = difference_text(difference(old, new, year=2026))
    assert text.isascii()
    assert all(len(line) <= 80 and line == line.rstrip() for line in text.split("\n"))
    assert ("Nothing changes." in text) == (one == other)
