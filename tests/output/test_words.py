"""The small pieces of text: rounding that never promises too much."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.output.words import (
    current_text,
    day_text,
    money_text,
    percent_text,
    plain_text,
    shown_twice,
    time_text,
    whole_minute,
    wrapped,
)

DENVER = ZoneInfo("America/Denver")
WORDS = settings(deadline=None, database=None)


@WORDS
@given(st.datetimes(datetime(2026, 1, 1), datetime(2027, 1, 1), timezones=st.sampled_from([UTC, DENVER])))
def test_whole_minutes_hold_the_window(moment):
    """A start goes down and an end up to the minute, so the printed minutes hold the charging, but for 0.5 s."""
    first, last = whole_minute(moment), whole_minute(moment, up=True)
    assert (first.timestamp() % 60, last.timestamp() % 60) == (0, 0)
    assert -0.5 <= moment.timestamp() - first.timestamp() < 60
    assert -0.5 <= last.timestamp() - moment.timestamp() < 60
    assert first.tzinfo is last.tzinfo is moment.tzinfo


def test_whole_minutes_across_a_clock_change():
    """The minute after 01:59 MDT on 1 November 2026 is 01:00 MST (15 U.S.C. 260a), not 02:00."""
    last = datetime(2026, 11, 1, 7, 59, 40, tzinfo=UTC).astimezone(DENVER)
    assert time_text(whole_minute(last, up=True), with_zone=True) == "01:00 MST"
    assert time_text(whole_minute(last), with_zone=True) == "01:59 MDT"


@WORDS
@given(st.floats(0, 1))
def test_a_percentage_is_never_more_than_there_is(share):
    """A battery at 79.99 % does not read 80 %: the figure is cut, not rounded up, and is within a tenth."""
    shown = float(percent_text(share).removesuffix(" %"))
    assert shown <= 100 * share + 1e-6
    assert shown > 100 * share - 0.1 - 1e-9


@WORDS
@given(st.integers(0, 1000))
def test_tenths_of_a_percent_stay(tenths):
    """What has one decimal is printed as it is, although 0.29 times 100 is not 29 in binary."""
    assert percent_text(tenths / 1000) == f"{tenths / 10:g} %"


@WORDS
@given(st.floats(-1e6, 1e6))
def test_money_has_two_decimals_and_no_negative_nothing(amount):
    """Amounts are rounded to hundredths, and -0.00 never appears."""
    text = money_text(amount, "EUR")
    assert text != "-0.00 EUR"
    assert float(text.removesuffix(" EUR")) == pytest.approx(amount, abs=0.00501)


@WORDS
@given(st.text(max_size=300))
def test_wrapped_lines(text):
    """Any text becomes printable lines of at most 80 characters that hold all its words."""
    lines = wrapped(text, "Label        ")
    assert lines
    assert all(len(line) <= 80 and line.isprintable() for line in lines)
    kept = "".join("".join(lines).removeprefix("Label").split())
    assert kept == "".join(plain_text(text).split())


@WORDS
@given(st.floats(6, 80))
def test_a_current_is_never_more_than_the_limit(current):
    """Who sets the current that is printed stays within the limit, by less than a tenth of an ampere."""
    shown = float(current_text(current, 7.0).removesuffix(" A"))
    assert current - 0.1 - 1e-9 < shown <= current + 1e-6


def test_small_texts():
    """Dates as people write them, currents to a tenth, power where there is no current."""
    assert day_text(datetime(2026, 2, 1)) == "Sun 1 Feb 2026"
    assert current_text(15.942, 11.0) == "15.9 A"
    assert current_text(float("nan"), 50.0) == "50 kW"
    assert plain_text("a\x1b[31mb\nc\u200b") == "a [31mb c "
    assert [shown_twice(datetime(2026, 11, 1, hour, 30, tzinfo=DENVER)) for hour in (0, 1, 2)] == [False, True, False]
    assert not shown_twice(datetime(2026, 3, 8, 2, 30, tzinfo=DENVER) + timedelta(0))
