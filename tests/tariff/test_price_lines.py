"""Lines of a price, worked by hand: components, adders, taxes, export, cents."""

from datetime import date, timedelta

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.tariff import read_tariff

HEAD = "name: Test\ncurrency: USD\ntimezone: {zone}\n"


def tariff_of(text, zone="America/Denver"):
    return read_tariff(HEAD.format(zone=zone) + text)


def test_adders_in_some_hours():
    """An adder follows its own hours, across the boundaries of the periods; windows of one adder may overlap."""
    tariff = tariff_of("""
holidays: [Nov 26]
seasons: {summer: Jun - Aug, winter: rest}
periods: {peak: 16:00-21:00, other: rest}
prices: {peak: 0.40, other: 0.20}
adders:
  levy: 0.01
  discount: {price: -0.05, hours: [22:00-06:00 on weekdays, 05:00-07:00]}
  holiday: {price: 0.10, hours: 15:00-17:00 on holidays}
  summer: {price: 9, hours: all day in summer}
""")
    wednesday = tariff.prices("2026-11-25", "2026-11-26", "1 h").tolist()
    assert wednesday == pytest.approx([0.16] * 7 + [0.21] * 9 + [0.41] * 5 + [0.21] + [0.16] * 2)
    thursday = tariff.prices("2026-11-26 14:00", "2026-11-26 18:00", "1 h").tolist()
    assert thursday == pytest.approx([0.21, 0.31, 0.51, 0.41])
    assert tariff.prices("2026-08-03 12:00", "2026-08-03 13:00", "1 h").item() == pytest.approx(9.21)
    frame = tariff.frame("2026-11-26 14:00", "2026-11-26 18:00", "1 h")
    assert list(frame["holiday"]) == [0, 0.10, 0.10, 0]


def test_taxes_with_bases():
    """Worked by hand on 0.20 energy, 0.10 delivery and an adder of 0.02.

    Sales tax, 5 % of all: 0.016. City, 8 % of delivery: 0.008. Levy, 10 % of energy and the city's tax: 0.0208.
    Together 0.32 + 0.016 + 0.008 + 0.0208 = 0.3648.
    """
    tariff = tariff_of("""
components: {energy: 0.20, delivery: 0.10}
adders: {rider: 0.02}
taxes: {sales: 5 %, city: 8 % of delivery, levy: "10 % of energy and city"}
""")
    frame = tariff.frame("2026-11-25", "2026-11-25 01:00", "1 h")
    line = frame.iloc[0]
    assert line["sales"] == pytest.approx(0.016)
    assert line["city"] == pytest.approx(0.008)
    assert line["levy"] == pytest.approx(0.0208)
    assert line["price_per_kwh"] == pytest.approx(0.3648)
    assert list(frame.columns) == [
        *("period", "season", "day_type", "energy", "delivery", "rider", "sales", "city", "levy"),
        *("price_per_kwh", "export_per_kwh"),
    ]


@pytest.mark.parametrize(("quebec", "together"), [("8.5", 13.925), ("9.5", 14.975)])
def test_tax_on_tax(quebec, together):
    """Revenu Quebec (from memory): until 2012 the sales tax of the province was taken on the price and the federal 5 %.

    8.5 % in 2011 made 13.925 % together, 9.5 % in 2012 made 14.975 %.
    """
    tariff = tariff_of(f"prices: 100\ntaxes: {{gst: 5 %, qst: '{quebec} % of energy, gst'}}\n", "America/Toronto")
    assert tariff.prices("2026-11-25", "2026-11-26", "24 h").item() == pytest.approx(100 + together)


def test_a_tax_on_an_adder_of_some_hours_holds_in_those_hours():
    """20 % of an adder of 1 from 22:00: 1.2 more in the night, and nothing by day."""
    tariff = tariff_of("prices: 1\nadders: {night: {price: 1, hours: 22:00-06:00}}\ntaxes: {vat: 20 % of night}\n")
    assert tariff.prices("2026-11-25 20:00", "2026-11-26", "1 h").tolist() == pytest.approx([1, 1, 2.2, 2.2])


def test_negative_prices_and_rebates():
    """Prices, adders and taxes may be negative."""
    tariff = tariff_of(
        "periods: {noon: 11:00-13:00, other: rest}\nprices: {noon: -0.05, other: 0.1}\ntaxes: {rebate: -10 %}\n"
    )
    assert tariff.prices("2026-11-25 10:00", "2026-11-25 12:00", "1 h").tolist() == pytest.approx([0.09, -0.045])


def test_export():
    """What a kWh sold earns has its own table; taxes and adders do not touch it; a sheet without it pays nothing."""
    tariff = tariff_of("""
periods: {peak: 16:00-21:00, other: rest}
prices: 0.3
export: {peak: 0.08, other: 0.03}
adders: {levy: 0.1}
taxes: {vat: 20 %}
versions: [{from: 2026-12-01, export: 0.02}]
""")
    assert tariff.export_prices("2026-11-25 15:30", "2026-11-25 17:30", "1 h").tolist() == pytest.approx([0.055, 0.08])
    assert tariff.export_prices("2026-12-01", "2026-12-02", "24 h").tolist() == [0.02]
    assert set(tariff_of("prices: 1\n").export_prices("2026-11-25", "2026-11-26")) == {0.0}


def test_cents():
    """`price_unit: cents` divides every amount per kWh by 100, in versions too, and no percentage."""
    text = """
periods: {peak: 16:00-21:00, other: rest}
components: {supply: {peak: %s, other: %s}}
adders: {levy: %s, night: {price: %s, hours: 22:00-06:00}}
taxes: {vat: 10 %%}
export: %s
versions: [{from: 2026-12-01, components: {supply: %s}}]
"""
    cents = tariff_of("price_unit: cents\n" + text % (30, 10, 2, -1, 4, 50))
    whole = tariff_of(text % ("0.30", "0.10", "0.02", "-0.01", "0.04", "0.50"))
    for ask in ("prices", "export_prices"):
        found = getattr(cents, ask)("2026-11-30", "2026-12-02")
        pd.testing.assert_series_equal(found, getattr(whole, ask)("2026-11-30", "2026-12-02"))
    assert cents.prices("2026-11-30 16:00", "2026-11-30 17:00", "1 h").item() == pytest.approx(0.352)
    assert cents.prices("2026-12-01 23:00", "2026-12-02", "1 h").item() == pytest.approx(0.561)


AMOUNT = st.decimals(-5, 5, places=4).map(str)


@settings(max_examples=80, deadline=None)
@given(
    st.lists(AMOUNT, min_size=1, max_size=4),
    st.lists(st.tuples(AMOUNT, st.integers(0, 23), st.integers(1, 23)), max_size=3),
    st.lists(st.tuples(st.decimals(-20, 30, places=2).map(str), st.integers(0, 2**8)), max_size=4),
    st.integers(0, 365),
    st.sampled_from(["15 min", "1 h", "90 min"]),
)
def test_the_parts_add_up(components, adders, taxes, day, step):
    """Whatever the components, adders and taxes on taxes: the columns of a frame add up to the price."""
    lines, names = ["components:"], []
    for n, amount in enumerate(components):
        names.append(f"part {n}")
        lines.append(f"  part {n}: {{peak: {amount}, other: {n / 8}}}")
    lines.append("adders:" if adders else "")
    for n, (amount, start, length) in enumerate(adders):
        names.append(f"adder {n}")
        lines.append(f"  adder {n}: {{price: {amount}, hours: '{start:02}:00-{(start + length) % 24:02}:00'}}")
    lines.append("taxes:" if taxes else "")
    for n, (percent, bits) in enumerate(taxes):
        bases = [name for place, name in enumerate(names) if bits >> place & 1]
        lines.append(f"  tax {n}: '{percent} %{' of ' + ', '.join(bases) if bases else ''}'")
        names.append(f"tax {n}")
    tariff = tariff_of("periods: {peak: 16:20-21:00, other: rest}\n" + "\n".join(lines) + "\n")
    start = date(2026, 1, 1) + timedelta(days=day)
    frame = tariff.frame(start, start + timedelta(days=1), step)
    assert list(frame[names].sum(axis=1)) == pytest.approx(list(frame["price_per_kwh"]), abs=1e-9)
