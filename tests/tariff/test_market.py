"""The series of market prices: how long a price holds, means over slots, and gaps."""

import subprocess
import sys
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.tariff.market import MarketPrices

MINUTE, QUARTER, HOUR, DAY = 60, 900, 3600, 86_400
#: A midnight UTC.
NEW_YEAR = int(datetime(2026, 1, 1, tzinfo=UTC).timestamp())


def seconds(*values):
    return np.array(values, dtype=np.int64)


def minutes_each(starts_min, resolution_s=None):
    """How many minutes each price holds, for starts in minutes after a midnight UTC."""
    starts = NEW_YEAR + MINUTE * seconds(*starts_min)
    prices = MarketPrices.build(starts, np.arange(starts.size, dtype=float), resolution_s)
    return ((prices.end_s - prices.start_s) // MINUTE).tolist()


def test_a_half_hourly_price_with_a_factor_and_a_charge_at_the_peak():
    """D + Q + W x P with D = 5, Q = 2, W = 15, P = 1.2 from 16:00 to 19:00 is 25 pence a kWh.

    Help page of a UK licensed electricity supplier on its half-hourly business tariff, "How half-hourly
    unit prices are formed" (name left out). Its example for the other hours is not used: it contradicts itself.
    """
    starts = NEW_YEAR + 30 * MINUTE * np.arange(48)
    hour = (starts - NEW_YEAR) / HOUR
    peak = (hour >= 16) & (hour < 19)
    market = MarketPrices.build(starts, np.where(peak, 15.0, 8.0))
    wholesale, known = market.mean(starts, 30 * MINUTE)
    unit_price = 5 + np.where(peak, 2, 0) + wholesale * np.where(peak, 1.2, 1.0)
    assert known.all()
    assert unit_price[peak].tolist() == [25.0] * 6


# How long a price holds. The rule is that of the rate sheets; expected minutes are counted by hand from its words.


@pytest.mark.parametrize(
    ("starts_min", "expected"),
    [
        ([0, 60, 120], [60, 60, 60]),
        ([0, 15, 30, 60], [15, 15, 15, 15]),  # 00:45 is missing
        ([0, 30, 90, 120], [30, 30, 30, 30]),
        ([0, 180, 360], [60, 60, 60]),  # at most an hour
        ([720], [60]),  # alone in the file
        ([0, 1440, 2880], [60, 60, 60]),  # one a day
        ([1380, 1440, 1455], [15, 15, 15]),  # alone in its day: as the day after
        ([1410, 1425, 1440], [15, 15, 15]),  # alone in its day: as the day before
        ([1380, 1410, 1440, 2880, 2895], [30, 30, 15, 15, 15]),  # between two days: the finer one
        ([0, 15, 2880], [15, 15, 60]),  # the neighbour is a day further on, which is no neighbour
        ([0, 60, 1435], [60, 60, 60]),
        ([0, 60, 1435, 1440, 1500], [60, 60, 5, 60, 60]),  # until the next start, though that is nearer
    ],
)
def test_how_long_a_price_holds(starts_min, expected):
    assert minutes_each(starts_min) == expected


@pytest.mark.parametrize(
    ("resolution_s", "expected"),
    [(900, [15, 15, 15, 15]), (3600, [15, 15, 30, 60]), (1800, [15, 15, 30, 30]), (86_400, [15, 15, 30, 1440])],
)
def test_a_given_resolution_goes_first(resolution_s, expected):
    assert minutes_each([0, 15, 30, 60], resolution_s) == expected


def test_from_hourly_to_quarter_hourly_at_midnight_utc():
    """An hourly day, then one of quarter hours: no gap, each as fine as it is (common practice, no source)."""
    starts = NEW_YEAR + np.concatenate([HOUR * np.arange(24), DAY + QUARTER * np.arange(96)])
    prices = MarketPrices.build(starts, np.arange(120.0))
    assert ((prices.end_s - prices.start_s) // MINUTE).tolist() == [60] * 24 + [15] * 96
    assert prices.spans().tolist() == [[NEW_YEAR, NEW_YEAR + 2 * DAY]]
    assert prices.resolution_min == 15


def test_from_quarter_hourly_to_hourly_at_midnight_utc():
    """And the other way round (common practice, no source)."""
    starts = NEW_YEAR + np.concatenate([QUARTER * np.arange(96), DAY + HOUR * np.arange(24)])
    prices = MarketPrices.build(starts, np.arange(120.0))
    assert ((prices.end_s - prices.start_s) // MINUTE).tolist() == [15] * 96 + [60] * 24


def local_midnight_switch():
    """Hourly until the local midnight in Central Europe that ends 2025-09-30, quarter hours from then on."""
    berlin = ZoneInfo("Europe/Berlin")
    first, switch, last = (int(datetime(2025, *day, tzinfo=berlin).timestamp()) for day in ((9, 30), (10, 1), (10, 2)))
    return first, switch, last, np.concatenate([np.arange(first, switch, HOUR), np.arange(switch, last, QUARTER)])


def test_a_switch_within_a_utc_day_is_a_gap_rather_than_a_guess():
    """The European day-ahead market went to quarter hours at local midnight, 22:00 UTC (from memory).

    That UTC day has quarter hours in it, so by the rule its hourly prices hold for a quarter of an hour: the
    rest is a gap, which is reported, and never priced by guess.
    """
    first, switch, last, starts = local_midnight_switch()
    prices = MarketPrices.build(starts, np.ones(starts.size))
    utc_midnight = int(datetime(2025, 9, 30, tzinfo=UTC).timestamp())
    assert prices.first_gap(first, last) == (utc_midnight + QUARTER, utc_midnight + HOUR)
    assert prices.first_gap(switch, last) is None


def test_a_given_resolution_reads_a_switch_within_a_utc_day():
    """With an hour given, hourly prices hold an hour and the others until the next (common practice, no source)."""
    first, switch, last, starts = local_midnight_switch()
    prices = MarketPrices.build(starts, np.arange(starts.size, dtype=float), HOUR)
    assert prices.first_gap(first, last) is None
    assert np.unique((prices.end_s - prices.start_s)[starts < switch]).tolist() == [HOUR]
    assert np.unique((prices.end_s - prices.start_s)[starts >= switch][:-1]).tolist() == [QUARTER]


@pytest.mark.parametrize(("day", "hours"), [((2026, 3, 29), 23), ((2026, 10, 25), 25), ((2026, 7, 4), 24)])
@pytest.mark.parametrize("step", [HOUR, QUARTER])
def test_days_of_the_clock_change(day, hours, step):
    """A day of 23, 24 or 25 hours in Central Europe is one span, and each price has the same weight.

    The dates follow Directive 2000/84/EC: last Sundays of March and October, 01:00 UTC (from memory).
    """
    berlin = ZoneInfo("Europe/Berlin")
    midnight = datetime(*day, tzinfo=berlin)
    first, last = (int(moment.timestamp()) for moment in (midnight, midnight + timedelta(days=1)))
    starts = np.arange(first, last, step)
    assert starts.size == hours * HOUR // step
    price = np.sin(np.arange(starts.size))
    prices = MarketPrices.build(starts, price)
    assert prices.spans().tolist() == [[first, last]]
    mean, known = prices.mean(seconds(first), hours * HOUR)
    assert known.tolist() == [True]
    assert mean[0] == pytest.approx(price.sum() / price.size, rel=1e-12, abs=1e-15)


# The mean against a reading minute by minute, written from the words of the rule and in exact fractions.


def minute_prices(rows):
    """The price of every minute that has one; `rows` are minutes and prices, in order, from a midnight UTC."""
    spacings = {}
    for (minute, _), (following, _) in pairwise(rows):
        if minute // 1440 == following // 1440:
            day = minute // 1440
            spacings[day] = min(spacings.get(day, following - minute), following - minute)
    result = {}
    for number, (minute, price) in enumerate(rows):
        day = minute // 1440
        neighbours = [spacings[other] for other in (day - 1, day + 1) if other in spacings]
        resolution = min(spacings.get(day, min(neighbours, default=60)), 60)
        for passed in range(resolution):
            if number + 1 < len(rows) and minute + passed == rows[number + 1][0]:
                break
            result[minute + passed] = Fraction(price)
    return result


ROWS = st.dictionaries(
    # Around a midnight, on the quarter hours mostly.
    st.one_of(st.integers(80, 110).map(lambda n: 15 * n), st.integers(1200, 1650), st.integers(4200, 4400)),
    st.integers(-500, 500).map(lambda n: n / 1000),
    min_size=1,
    max_size=25,
).map(lambda rows: sorted(rows.items()))


@given(ROWS, st.lists(st.tuples(st.integers(1100, 1700), st.integers(1, 200)), min_size=1, max_size=10))
def test_mean_against_minute_by_minute(rows, slots):
    slow = minute_prices(rows)
    prices = MarketPrices.build(
        NEW_YEAR + MINUTE * seconds(*(minute for minute, _ in rows)), np.array([price for _, price in rows])
    )
    starts, steps = (MINUTE * seconds(*values) for values in zip(*slots, strict=True))
    mean, known = prices.mean(NEW_YEAR + starts, steps)
    for (start, length), value, has_price in zip(slots, mean, known, strict=True):
        parts = [slow.get(minute) for minute in range(start, start + length)]
        assert has_price == (None not in parts)
        if has_price:
            assert value == pytest.approx(float(sum(parts) / length), rel=1e-12, abs=1e-14)
        else:
            assert np.isnan(value)


@given(ROWS)
def test_at_spans_and_gaps_against_minute_by_minute(rows):
    slow = minute_prices(rows)
    starts = NEW_YEAR + MINUTE * seconds(*(minute for minute, _ in rows))
    prices = MarketPrices.build(starts, np.array([price for _, price in rows]))
    minutes = np.arange(1100, 4500)
    for within in (0, 59):
        price, known = prices.at(NEW_YEAR + MINUTE * minutes + within)
        assert known.tolist() == [minute in slow for minute in minutes.tolist()]
        assert price[known].tolist() == [float(slow[minute]) for minute in minutes.tolist() if minute in slow]
        assert np.isnan(price[~known]).all()
    spans = (prices.spans() - NEW_YEAR) // MINUTE
    assert sorted(slow) == [minute for first, end in spans.tolist() for minute in range(first, end)]
    missing = [minute for minute in minutes.tolist() if minute not in slow]
    gap = prices.first_gap(NEW_YEAR + 1100 * MINUTE, NEW_YEAR + 4500 * MINUTE)
    assert gap is not None
    assert gap[0] == NEW_YEAR + MINUTE * missing[0]
    first, end = ((instant - NEW_YEAR) // MINUTE for instant in gap)
    assert all(minute not in slow for minute in range(first, end))
    assert end == 4500 or end in slow


@given(ROWS)
def test_no_price_changes_inside_a_part_of_the_resolution(rows):
    slow = minute_prices(rows)
    starts = NEW_YEAR + MINUTE * seconds(*(minute for minute, _ in rows))
    part = MarketPrices.build(starts, np.array([price for _, price in rows])).resolution_min
    assert 1440 % part == 0
    for minute in range(1100, 4500):
        if minute % part:
            assert slow.get(minute) == slow.get(minute - 1)


@pytest.mark.parametrize(
    ("starts_min", "expected"),
    [([0, 60], 60), ([0, 15], 15), ([30, 90], 30), ([0, 60, 1440, 1455], 15), ([720, 740], 20), ([7], 1)],
)
def test_resolution(starts_min, expected):
    """By hand: every start and end is a multiple of it."""
    starts = NEW_YEAR + MINUTE * seconds(*starts_min)
    assert MarketPrices.build(starts, np.ones(starts.size)).resolution_min == expected


@pytest.mark.parametrize("step", ["15min", "30min", "1h"])
def test_against_reindexing_by_pandas(step):
    """On a series without gaps the price is that of ``reindex(method="ffill")``, and the mean that of ``resample``."""
    index = pd.date_range("2026-03-28", "2026-03-31", freq=step, tz="UTC", inclusive="left", unit="s")
    series = pd.Series(np.random.default_rng(5).normal(0.1, 0.2, index.size), index)
    starts = index.as_unit("s").asi8
    prices = MarketPrices.build(starts, series.to_numpy())

    minutes = pd.date_range("2026-03-28", "2026-03-31", freq="1min", tz="UTC", inclusive="left", unit="s")
    filled = series.reindex(minutes, method="ffill")
    price, known = prices.at(minutes.asi8)
    assert known.all()
    assert np.array_equal(price, filled.to_numpy())

    for slot in ("10min", "45min", "2h", "1D"):
        expected = filled.resample(slot).mean()
        mean, known = prices.mean(expected.index.as_unit("s").asi8, int(pd.Timedelta(slot).total_seconds()))
        assert known.all()
        np.testing.assert_allclose(mean, expected.to_numpy(), rtol=1e-11, atol=1e-14)


def test_a_price_that_stays_the_same_keeps_its_last_digit():
    """Else two slots of one price would differ by rounding, and a plan would prefer one of them."""
    starts = NEW_YEAR + QUARTER * np.arange(35_040)
    for price in (0.1, 0.07, 1 / 3, -0.0123):
        mean, _ = MarketPrices.build(starts, np.full(starts.size, price)).mean(starts[:-8] + 420, 5400)
        assert np.unique(mean).tolist() == [price]
    for price in np.random.default_rng(3).normal(0, 0.2, 50).tolist():  # right up to where it changes
        changing = MarketPrices.build(starts[:9], np.array([9.0] + [price] * 7 + [9.0]))
        assert changing.mean(starts[1:2], 7 * QUARTER)[0].tolist() == [price]


def test_the_mean_is_as_exact_after_years_of_dear_prices():
    """Ten years at 90,000 per kWh, then prices of thousandths: compared with exact fractions."""
    starts = NEW_YEAR + QUARTER * np.arange(350_400)
    price = np.full(starts.size, 90_000.1)
    price[-96:] = np.random.default_rng(1).normal(0, 0.001, 96)
    slots = starts[-92:-4]
    mean, _ = MarketPrices.build(starts, price).mean(slots, HOUR)
    for number, value in enumerate(mean.tolist()):
        parts = [Fraction(part) for part in price[number - 92 + starts.size :][:4].tolist()]
        assert value == pytest.approx(float(sum(parts) / 4), rel=1e-9, abs=1e-15)


def test_order_and_equal_rows_do_not_matter():
    starts = NEW_YEAR + HOUR * np.arange(24)
    price = np.linspace(-0.1, 0.3, 24)
    mixed = np.random.default_rng(2).permutation(np.append(np.arange(24), [3, 3, 20]))
    one, other = MarketPrices.build(starts, price), MarketPrices.build(starts[mixed], price[mixed])
    for name in ("start_s", "end_s", "price"):
        assert np.array_equal(getattr(one, name), getattr(other, name))
    assert len(other) == 24


def test_instants_may_be_asked_in_any_order():
    prices = MarketPrices.build(NEW_YEAR + HOUR * np.arange(3), np.array([1.0, 2.0, 3.0]))
    asked = NEW_YEAR + seconds(2 * HOUR, 0, HOUR - 1, -1, 3 * HOUR)
    assert prices.at(asked)[0].tolist()[:3] == [3.0, 1.0, 1.0]
    assert prices.at(asked)[1].tolist() == [True, True, True, False, False]
    assert prices.at(seconds())[0].size == 0
    assert prices.mean(seconds(), HOUR)[0].size == 0


def test_first_gap_at_the_edges():
    prices = MarketPrices.build(NEW_YEAR + HOUR * np.arange(3), np.ones(3))
    end = NEW_YEAR + 3 * HOUR
    assert prices.first_gap(NEW_YEAR, end) is None
    assert prices.first_gap(NEW_YEAR - 1, end) == (NEW_YEAR - 1, NEW_YEAR)
    assert prices.first_gap(NEW_YEAR, end + 1) == (end, end + 1)
    assert prices.first_gap(NEW_YEAR - 50, NEW_YEAR - 20) == (NEW_YEAR - 50, NEW_YEAR - 20)
    assert prices.first_gap(end + 20, end + 50) == (end + 20, end + 50)
    assert prices.first_gap(end + 20, end + 20) is None


def test_what_was_given_stays_free_and_the_prices_are_fixed():
    starts, price = NEW_YEAR + HOUR * np.arange(3), np.ones(3)
    prices = MarketPrices.build(starts, price)
    price[0] = starts[0] = 7
    assert prices.price[0] == 1
    with pytest.raises(ValueError, match="read-only"):
        prices.price[0] = 2


@pytest.mark.parametrize(
    ("starts", "price", "message"),
    [
        ([], [], "there are no market prices; give at least one"),
        ([NEW_YEAR], [1.0, 2.0], r"starts of shape (1,) and prices of shape (2,) do not go together"),
        ([[NEW_YEAR]], [[1.0]], r"starts of shape (1, 1) and prices of shape (1, 1) do not go together"),
        ([NEW_YEAR + 0.5], [1.0], "starts of type float64 cannot be read; give whole UTC seconds"),
        ([NEW_YEAR + 30], [1.0], "a market price does not start at a whole minute"),
        ([0], [1.0], "a market price lies outside the years 1971 to 2199"),
        ([NEW_YEAR * 1000], [1.0], "a market price lies outside the years 1971 to 2199"),
        ([NEW_YEAR], [np.nan], "a market price is not a number from -100000 to 100000 per kWh"),
        ([NEW_YEAR], [-np.inf], "a market price is not a number from -100000 to 100000 per kWh"),
        ([NEW_YEAR], [100_001.0], "a market price is not a number from -100000 to 100000 per kWh"),
        (
            [NEW_YEAR + HOUR, NEW_YEAR, NEW_YEAR],
            [3.0, 1.0, 2.0],
            "two market prices start at 2026-01-01 00:00+00:00: 1 and 2",
        ),
    ],
)
def test_what_cannot_be_built(starts, price, message):
    with pytest.raises(InputError) as caught:
        MarketPrices.build(np.array(starts) if starts else seconds(), np.array(price))
    assert str(caught.value) == message


@pytest.mark.parametrize("resolution_s", [0, -900, 59, 90, 86_460])
def test_resolutions_that_cannot_be(resolution_s):
    with pytest.raises(InputError, match=r"a resolution of -?[0-9]+ s cannot be; give whole minutes, 1 to 1440"):
        MarketPrices.build(seconds(NEW_YEAR), np.ones(1), resolution_s)


@pytest.mark.parametrize("step_s", [0, -60])
def test_slots_that_last_no_time(step_s):
    with pytest.raises(InputError, match="a slot must last at least one second"):
        MarketPrices.build(seconds(NEW_YEAR), np.ones(1)).mean(seconds(NEW_YEAR), step_s)


def test_reading_prices_needs_no_pandas(tmp_path):
    """Planning tonight on a market price has to start fast."""
    file = tmp_path / "prices.csv"
    file.write_text("2026-01-01T00:00Z,0.1\n")
    program = (
        "import sys\nfrom chargeplan.tariff.dated_files import read_market_prices\n"
        f"read_market_prices({str(file)!r})\n"
        "print([name for name in ('pandas', 'scipy', 'pyarrow', 'pulp', 'matplotlib') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
