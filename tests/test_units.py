"""Quantities and times of day as people write them."""

import math
import re

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.units import KM_PER_MILE, UNITS, clock_text, power_factor, quantity, time_of_day


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        ("50 A", "current", 50),
        ("16000 mA", "current", 16),
        ("240 V", "voltage", 240),
        ("0.4 kV", "voltage", 400),
        ("7.7 kW", "power", 7.7),
        ("1440 W", "power", 1.44),
        ("0.0072 MW", "power", 7.2),
        ("60 kWh", "energy", 60),
        ("500 Wh", "energy", 0.5),
        ("1.5e3 Wh", "energy", 1.5),
        ("47 km", "distance", 47),
        ("800 m", "distance", 0.8),
        ("90 min", "duration", 90),
        ("12 h", "duration", 720),
        ("1 d", "duration", 1440),
        ("30 s", "duration", 0.5),
        ("80 %", "share", 0.8),
        ("80%", "share", 0.8),
        ("0 %", "share", 0),
        ("7 %", "share", 0.07),
        (0.5, "share", 0.5),
        (1, "share", 1),
        ("  .5   kW ", "power", 0.5),
        ("+5 kW", "power", 5),
    ],
)
def test_units_of_the_international_system(text, kind, value):
    """SI prefixes (SI brochure, table 7, from memory); 60 minutes an hour, 24 hours a day; to the last digit."""
    assert quantity(text, kind) == value


@pytest.mark.parametrize(
    ("miles", "km"),
    [(1, 1.609344), (100, 160.9344), (26.21875, 42.19498), (3.1068559611867, 5.0)],
)
def test_miles(miles, km):
    """International mile, 1609.344 m exactly (NIST SP 811, table B.9, from memory); marathon 26 miles 385 yards."""
    assert quantity(f"{miles} mi", "distance") == pytest.approx(km, rel=1e-6)
    assert quantity(f"{miles} miles", "distance") == quantity(f"{miles} mi", "distance")


@pytest.mark.parametrize(
    ("text", "kwh_per_100km"),
    [
        ("25 kWh/100 mi", 25 / 1.609344),
        ("25 kWh/100mi", 25 / 1.609344),
        ("16 kWh/100 km", 16),
        ("160 Wh/km", 16),
        ("0.16 kWh/km", 16),
        ("250 Wh/mi", 25 / 1.609344),
        ("0.25 kWh/mi", 25 / 1.609344),
        ("4 mi/kWh", 25 / 1.609344),
        ("6.25 km/kWh", 16),
        # US Department of Energy arithmetic (FAQ of Plug In America): 33 and 27 kWh per 100 miles.
        ("33 kWh/100 mi", 20.5052),
        ("27 kWh/100 mi", 16.7770),
    ],
)
def test_consumption(text, kwh_per_100km):
    """All ways to write one consumption agree, by the mile of 1.609344 km."""
    assert quantity(text, "consumption") == pytest.approx(kwh_per_100km, rel=1e-5)


@pytest.mark.parametrize(
    ("value", "kind", "message"),
    [
        ("40", "current", "'40' has no unit; write for example 32 A"),
        (40, "current", "'40' has no unit; write for example 32 A"),
        ("40 amps", "current", "'amps' is not a unit of current; write for example 32 A"),
        ("40 kW", "current", "'kW' is not a unit of current; write for example 32 A"),
        ("7.7 kw", "power", "'kw' is not a unit of power; write for example 7.7 kW"),
        ("-3 kW", "power", "'-3 kW' is no power that can be used; write a number of 0 or more, like 7.7 kW"),
        ("1e999 kW", "power", "'1e999 kW' is no power that can be used; write a number of 0 or more, like 7.7 kW"),
        ("1e308 MW", "power", "'1e308 MW' is too large; write for example 7.7 kW"),
        ("much", "energy", "'much' is no energy; write for example 60 kWh"),
        ("7,7 kW", "power", "',7kW' is not a unit of power; write for example 7.7 kW"),
        ("nan kW", "power", "'nan kW' is no power; write for example 7.7 kW"),
        (float("nan"), "share", "'nan' is no share; write for example 80 %"),
        (float("inf"), "share", "'inf' is no share; write for example 80 %"),
        (True, "share", "True is no share; write for example 80 %"),
        (None, "share", "None is no share; write for example 80 %"),
        ([80], "share", "[80] is no share; write for example 80 %"),
        (80, "share", "'80' has no unit; write 80 % if you mean percent"),
        ("80", "share", "'80' has no unit; write 80 % if you mean percent"),
        ("", "distance", "'' is no distance; write for example 29 mi or 47 km"),
        (
            "0 mi/kWh",
            "consumption",
            "'0 mi/kWh' means no distance for any energy; write for example 25 kWh/100 mi, 16 kWh/100 km, 250 Wh/mi or "
            "4 mi/kWh",
        ),
        (
            "5e-324 mi/gal",
            "fuel consumption",
            "'5e-324 mi/gal' means no distance for any fuel; write for example 31 mi/gal or 7.5 L/100 km",
        ),
        ("22", "price of length", "'22' has no unit; write for example 22 per m or 6.50 per ft"),
        (
            "22 per h",
            "price of length",
            "'/h' is not a unit of price of length; write for example 22 per m or 6.50 per ft",
        ),
        ("12", "time span", "'12' has no unit; write for example 10 years"),
        ("40 ft", "distance", "'ft' is not a unit of distance; write for example 29 mi or 47 km"),
    ],
)
def test_what_is_no_quantity(value, kind, message):
    """Each wrong value is refused with what would be right; amperes are never taken for percent."""
    with pytest.raises(InputError) as caught:
        quantity(value, kind)
    assert str(caught.value) == message


@pytest.mark.parametrize("value", ["3", 3, "0", 0.0, "1.001", "101 %", "-0.9", "high", "", "0.9 kW"])
def test_what_is_no_power_factor(value):
    """A number without a unit is no slip here, but 3 is, and 0."""
    with pytest.raises(InputError) as caught:
        power_factor(value)
    shown = f"`{value}` is no power factor, which lies above 0 and up to 1; write for example 0.9"
    assert str(caught.value) == shown


@given(st.floats(0, 1, exclude_min=True, allow_subnormal=False))
def test_power_factors(factor):
    """As a number or as text, and 90 % is 0.9."""
    assert power_factor(factor) == power_factor(repr(factor)) == factor
    assert power_factor("90 %") == 0.9


@pytest.mark.parametrize(
    ("text", "kind", "value"),
    [
        # NIST SP 811, table B.9 (from memory): 1 ft is 0.3048 m, 1 US gallon is 3.785411784 L, both exact.
        ("12 m", "length", 12),
        ("250 cm", "length", 2.5),
        ("40 ft", "length", 12.192),
        ("22 per m", "price of length", 22),
        ("22/m", "price of length", 22),
        ("6.096 per ft", "price of length", 20),
        ("3.785411784 per gal", "price of fuel", 1),
        ("1.65 per L", "price of fuel", 1.65),
        ("7.5 L/100 km", "fuel consumption", 7.5),
        ("7.5 l/100km", "fuel consumption", 7.5),
        ("12.5 km/L", "fuel consumption", 8),
        # US Environmental Protection Agency label (40 CFR 600.302, from memory): 25 mi/gal are 4.0 gal/100 mi; the
        # usual factor for litres per 100 km is 235.214583 over miles per gallon.
        ("25 mi/gal", "fuel consumption", 235.214583 / 25),
        ("25 mpg", "fuel consumption", 235.214583 / 25),
        ("4 gal/100 mi", "fuel consumption", 235.214583 / 25),
        ("12 years", "time span", 12),
        ("1 year", "time span", 1),
        ("18 months", "time span", 1.5),
        ("20 per year", "yearly cost", 20),
        ("2.50 per month", "yearly cost", 30),
    ],
)
def test_units_of_wire_fuel_and_years(text, kind, value):
    """What a study needs beside the car: lengths and their prices, gasoline, and years."""
    assert quantity(text, kind) == pytest.approx(value, rel=1e-6)


@given(st.sampled_from(sorted(UNITS)), st.floats(0, 1e9, allow_nan=False), st.data())
def test_units_scale(kind, number, data):
    """Any number with any known unit is that number times the factor, and never negative or infinite."""
    unit = data.draw(st.sampled_from(sorted(UNITS[kind])))
    assert quantity(f"{number!r} {unit}", kind) == pytest.approx(number * UNITS[kind][unit], rel=1e-12)


@given(
    st.one_of(st.text(max_size=30), st.integers(), st.floats(), st.none(), st.binary()), st.sampled_from(sorted(UNITS))
)
@example("٣ kW", "power")
@example("1 k\u212a", "power")
@example("1" + "0" * 400 + " kW", "power")
@example("1 \n kW", "power")
@example("1 kW\n", "power")
@example(10**400, "share")
def test_anything_is_a_quantity_or_an_input_error(value, kind):
    """No value brings another kind of error, and what is read is finite and not negative."""
    message, number = "", 0.0
    try:
        number = quantity(value, kind)
    except InputError as error:
        message = str(error)
    assert "; write " in message if message else math.isfinite(number)
    assert number >= 0


def test_one_mile_is_exact():
    """NIST SP 811, table B.9, from memory: 1 mile is 1.609344 km."""
    assert KM_PER_MILE == 1.609344


@pytest.mark.parametrize(
    ("text", "minutes"), [("00:00", 0), ("07:15", 435), ("7:15", 435), (" 23:59 ", 1439), ("24:00", 1440), ("0:05", 5)]
)
def test_times_of_day(text, minutes):
    """ISO 8601, from memory: 24-hour clock, 24:00 is the end of the day."""
    assert time_of_day(text) == minutes


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        *[(text, text) for text in ("24:01", "25:00", "12:60", "7", "7:5", "7.15", "07:15:00", "-1:00", "1715", "")],
        *[
            ("7:15 pm", "7:15 pm"),
            ("٠٧:١٥", "٠٧:١٥"),
            (435, "435"),
            (None, "None"),
            (16.0, "16.0"),
            (["07:15"], "['07:15']"),
        ],
    ],
)
def test_what_is_no_time_of_day(value, shown):
    """Anything else than HH:MM up to 24:00 is refused, with the remedy."""
    with pytest.raises(InputError, match=f"^{re.escape(shown)} is not a time of day; write 00:00 to 24:00$"):
        time_of_day(value)


def test_every_minute_is_written_and_read_back():
    """All 1441 times of a day survive writing and reading."""
    assert [time_of_day(clock_text(minute)) for minute in range(1441)] == list(range(1441))


def test_very_long_text_is_refused():
    """A hundred characters are enough for any quantity: long runs of blanks cost time in the square of their length."""
    with pytest.raises(InputError, match=r"^'1 x") as caught:
        quantity("1 x" + " " * 900_000 + "y", "power")
    assert str(caught.value).endswith("is no power; write for example 7.7 kW")
    assert len(str(caught.value)) < 200


def test_whole_percents_and_watts_are_exact():
    """35 % is 0.35 and 1009 W are 1.009 kW to the last digit, as a decimal reading of them is."""
    for number in range(101):
        assert quantity(f"{number} %", "share") == float(f"{number // 100}.{number % 100:02}")
        assert quantity(f"{1000 + number} W", "power") == float(f"1.{number:03}")
        assert quantity(f"{number} mA", "current") == float(f"0.{number:03}")
