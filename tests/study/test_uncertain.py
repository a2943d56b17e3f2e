"""Futures drawn at random, against what is certain and against what can be worked out."""

import math
import os
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.study.spending import Spending, Terms
from chargeplan.study.uncertain import Doubt, Range, outlook
from chargeplan.study.worth import net_present_cost, price_path

MANY = settings(deadline=None, max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "100")))
RATES = st.integers(-4, 12).map(lambda percent: percent / 100)
AMOUNTS = st.integers(0, 200_000).map(lambda cents: cents / 100)
#: So many standard errors may a drawn value be away; of normal errors one in 16,000 is further.
FAR = 4
OUTCOMES = ("base_cost", "alternative_cost", "saving", "payback_years", "discounted_payback_years")


def ledger(bought, saved, years, rate):
    """Go back from the horizon, year by year, to the last time at which the sum was below zero."""

    def jump(year):
        return sum(amount * (1 + rate) ** -year for when, amount in bought if when == year)

    tolerance = 1e-9 * max(1e-3, abs(bought[0][1]))
    sums, total = [], 0.0
    for year in range(years):
        total += jump(year)
        after = total
        total += saved[year] * (1 + rate) ** -(year + 1)
        sums.append((after, total))
    if total < -tolerance:
        return math.inf
    for year in reversed(range(years)):
        after, before_next = sums[year]
        if before_next < -tolerance:
            return year + 1.0
        if after < -tolerance:
            return year + min(1.0, -after / (before_next - after))
    return 0.0


@MANY
@given(AMOUNTS, AMOUNTS, AMOUNTS, AMOUNTS, st.integers(1, 20), RATES, RATES, st.none() | st.integers(2, 25))
def test_without_spread_it_is_the_certain_value(first, second, old, new, years, rate, growth, lifetime):
    """To the last digit."""
    terms = Terms(years, rate, price_growth=growth, work_growth=0.01)
    base = Spending(first, old, upkeep=3.0, lifetime_years=lifetime, replacement=20.0)
    other = Spending(second, new, lifetime_years=lifetime)
    found = outlook(base, other, terms, Doubt(draws=7))
    costs = [float(net_present_cost(x, terms)) for x in (base, other)]
    saved = (old - new) * price_path(growth, years) + 3.0 * price_path(0.01, years)
    # (when, amount) of all but what comes evenly over the years.
    bought = [(0.0, first - second)]
    if lifetime is not None:
        again = [(k * lifetime, 1.01 ** (k * lifetime)) for k in range(1, years + 1) if k * lifetime < years]
        bought += [(year, growth * (20.0 - second)) for year, growth in again]
    paid = [ledger(bought, saved, years, r) for r in (0.0, rate)]
    for name, value in zip(OUTCOMES, [*costs, costs[0] - costs[1], *paid], strict=True):
        got = getattr(found, name)
        exact = name.endswith("cost")
        assert (got.low, got.middle, got.high, got.mean) == pytest.approx((value,) * 4, rel=0 if exact else 1e-9, abs=0)
    assert found.pays == (1.0 if costs[0] - costs[1] > 1e-9 * sum(map(abs, costs)) else 0.0)


@MANY
@given(
    st.lists(st.tuples(AMOUNTS, AMOUNTS), min_size=1, max_size=6),
    AMOUNTS,
    st.integers(0, 30),
    st.integers(0, 50),
    st.integers(0, 2**32),
)
def test_laws(years_of_cost, outlay, spread, outlay_spread, seed):
    costs = np.array(years_of_cost)
    doubt = Doubt(draws=60, price_spread=spread / 100, outlay_spread=outlay_spread / 100, seed=seed)
    terms = Terms(8, 0.05, price_growth=0.02)
    found = outlook(Spending(0, costs[:, 0]), Spending(outlay, costs[:, 1]), terms, doubt)
    for name in OUTCOMES:
        part = getattr(found, name)
        assert part.low <= part.middle <= part.high
    assert 0 <= found.pays <= 1
    assert found.pays_error == pytest.approx(math.sqrt(found.pays * (1 - found.pays) / 60))
    assert found == outlook(Spending(0, costs[:, 0]), Spending(outlay, costs[:, 1]), terms, doubt)
    # The same with everything ten times as dear is ten times as much.
    tenfold = outlook(Spending(0, 10 * costs[:, 0]), Spending(10 * outlay, 10 * costs[:, 1]), terms, doubt)
    assert tenfold.saving.middle == pytest.approx(10 * found.saving.middle, rel=1e-9, abs=1e-6)
    assert tenfold.payback_years.middle == pytest.approx(found.payback_years.middle, rel=1e-6, abs=1e-9)


def test_base_and_alternative_stay_paired():
    """An alternative that saves 100 in every planned year saves that in every future, however the years fall."""
    planned = np.array([300.0, 500.0, 900.0])
    terms = Terms(10, 0.05)
    found = outlook(Spending(0, planned), Spending(400, planned - 100), terms, Doubt(draws=500, seed=3))
    certain = 100 * (1 - 1.05**-10) / 0.05 - 400
    assert found.saving.low == pytest.approx(certain)
    assert found.saving.high == pytest.approx(certain)
    assert found.payback_years.high == pytest.approx(4)
    assert found.base_cost.low < found.base_cost.high
    assert found.pays == 1


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize("draws", [4000, 8000, 16000])
def test_lognormal_prices(draws, seed):
    """Two years, the second at 1.05 x exp(s z - s^2 / 2): mean 1.05, variance 1.05^2 (exp(s^2) - 1), known quantiles.

    Johnson, Kotz and Balakrishnan, Continuous Univariate Distributions 1, chapter 14 (lognormal). The error of a
    sample quantile is sqrt(q (1 - q) / n) / density there."""
    spread, growth, cost = 0.2, 0.05, 600.0
    terms = Terms(2, 0.0, price_growth=growth)
    found = outlook(Spending(0, cost), Spending(0, 0), terms, Doubt(draws, price_spread=spread, seed=seed)).base_cost
    deviation = cost * (1 + growth) * math.sqrt(math.expm1(spread**2))
    assert abs(found.mean - cost * (2 + growth)) < FAR * deviation / math.sqrt(draws)
    normal = NormalDist()
    for share, got in ((0.05, found.low), (0.5, found.middle), (0.95, found.high)):
        z = normal.inv_cdf(share)
        second = cost * (1 + growth) * math.exp(spread * z - spread**2 / 2)
        density = normal.pdf(z) / (spread * second)
        assert abs(got - cost - second) < FAR * math.sqrt(share * (1 - share) / draws) / density


@pytest.mark.parametrize("draws", [4000, 8000, 16000])
def test_prices_over_many_years_keep_their_mean(draws):
    """Independent steps: the mean price of year t is (1 + g)^(t - 1), so the mean worth is that of certain growth.

    Its deviation from the covariance of the path: E[p_s p_t] = (1 + g)^(s + t) exp(s^2 min(s, t)), from 0."""
    spread, growth, rate, years = 0.1, 0.03, 0.05, 12
    terms = Terms(years, rate, price_growth=growth)
    found = outlook(Spending(0, 100.0), Spending(0, 0), terms, Doubt(draws, price_spread=spread, seed=11)).base_cost
    number = np.arange(years)
    mean = (1 + growth) ** number
    together = np.outer(mean, mean) * np.expm1(spread**2 * np.minimum.outer(number, number))
    discount = (1 + rate) ** -(number + 1.0)
    deviation = 100 * math.sqrt(discount @ together @ discount)
    assert abs(found.mean - 100 * mean @ discount) < FAR * deviation / math.sqrt(draws)


@pytest.mark.parametrize("draws", [4000, 8000])
def test_planned_years_are_drawn_evenly(draws):
    """Bootstrap (Efron and Tibshirani 1993, chapter 6): mean of the planned years, variance of them over n years."""
    planned = np.array([420.0, 510.0, 480.0, 700.0])
    found = outlook(Spending(0, planned), Spending(0, 0), Terms(5, 0.0), Doubt(draws, seed=5)).base_cost
    deviation = math.sqrt(5 * planned.var())
    assert abs(found.mean - 5 * planned.mean()) < FAR * deviation / math.sqrt(draws)
    # 5 draws of 4 values: the chance of the dearest year five times in a row is 1 in 1,024, so it is no 95 % case.
    assert found.high < 5 * 700


@pytest.mark.parametrize("draws", [4000, 8000])
def test_outlays_spread_evenly(draws):
    """Uniform on 1,000 +/- 20 %: mean 1,000, quantiles 820, 1,000 and 1,180."""
    doubt = Doubt(draws, outlay_spread=0.2, seed=8)
    found = outlook(Spending(0, 0), Spending(1000, 0), Terms(5, 0.03), doubt).alternative_cost
    assert abs(found.mean - 1000) < FAR * 400 / math.sqrt(12 * draws)
    for share, got in ((0.05, found.low), (0.5, found.middle), (0.95, found.high)):
        assert abs(got - (800 + 400 * share)) < FAR * math.sqrt(share * (1 - share) / draws) * 400


@pytest.mark.parametrize("draws", [4000, 8000])
def test_a_replacement_is_as_dear_as_the_quote(draws):
    """1,000 now and 500 after 3 of 6 years, one factor for both: uniform on 1,500 +/- 20 %."""
    bought = Spending(1000, 0, lifetime_years=3, replacement=500)
    found = outlook(Spending(0, 0), bought, Terms(6, 0.0), Doubt(draws, outlay_spread=0.2, seed=9)).alternative_cost
    for share, got in ((0.05, found.low), (0.5, found.middle), (0.95, found.high)):
        assert abs(got - (1200 + 600 * share)) < FAR * math.sqrt(share * (1 - share) / draws) * 600


@pytest.mark.parametrize("draws", [4000, 8000])
def test_two_quotes_are_drawn_apart(draws):
    """The difference of two uniform values is triangular on +/- 400: 5 % lie below -400 + 400 sqrt(0.1)."""
    doubt = Doubt(draws, outlay_spread=0.2, seed=10)
    found = outlook(Spending(1000, 0), Spending(1000, 0), Terms(1, 0.0), doubt).saving
    edge = 400 * (1 - math.sqrt(0.1))
    density = (400 - edge) / 400**2
    for wanted, got in ((-edge, found.low), (edge, found.high)):
        assert abs(got - wanted) < FAR * math.sqrt(0.05 * 0.95 / draws) / density


@pytest.mark.parametrize("draws", [4000, 8000])
def test_doubts_are_independent(draws):
    """A year that costs 500 or 700 and a quote of 1,000 +/- 20 %: 1,300 to 1,700 or 1,500 to 1,900, evenly."""
    found = outlook(
        Spending(0, 0), Spending(1000, [500.0, 700.0]), Terms(1, 0.0), Doubt(draws, outlay_spread=0.2, seed=12)
    ).alternative_cost
    # Below 1,500 the density is half of 1 / 400, so 5 % lie below 1,340, and likewise 5 % above 1,860.
    for wanted, got in ((1340, found.low), (1860, found.high)):
        assert abs(got - wanted) < FAR * math.sqrt(0.05 * 0.95 / draws) * 800


def test_the_chance_that_it_pays():
    """One year, no growth: 1,000 +/- 20 % for 1,100 saved pays in three of four futures."""
    found = outlook(Spending(0, 1100), Spending(1000, 0), Terms(1, 0.0), Doubt(8000, outlay_spread=0.2, seed=2))
    assert abs(found.pays - 0.75) < FAR * math.sqrt(0.75 * 0.25 / 8000)
    # In the other quarter it is not paid back within the year.
    assert found.payback_years.high == math.inf
    assert found.payback_years.mean == math.inf


def test_purposes_do_not_disturb_each_other():
    """The planned years that are drawn do not depend on whether prices and outlays are in doubt too."""
    planned = np.array([400.0, 600.0])
    base, other, terms = Spending(0, planned), Spending(500, planned * 0.7), Terms(6, 0.04)
    plain = outlook(base, other, terms, Doubt(300, seed=4))
    quoted = outlook(base, other, terms, Doubt(300, outlay_spread=0.3, seed=4))
    assert quoted.base_cost == plain.base_cost
    assert quoted.saving != plain.saving
    assert outlook(base, other, terms, Doubt(300, seed=5)).base_cost != plain.base_cost


def test_ranges():
    """By hand: of 1 to 20 the least value with at least 5 %, 50 % and 95 % of all at or below it."""
    assert Range.of(np.arange(20.0, 0.0, -1.0)) == Range(1.0, 10.0, 19.0, 10.5)
    assert Range.of(np.array([2.0, math.inf])) == Range(2.0, 2.0, math.inf, math.inf)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Doubt(0), "draws"),
        (lambda: Doubt(10.5), "draws"),
        (lambda: Doubt(10, price_spread=-0.1), "price_spread"),
        (lambda: Doubt(10, outlay_spread=1.5), "outlay_spread"),
        (lambda: Doubt(10, seed=-1), "seed"),
        (lambda: outlook(Spending(0, [1.0, 2.0]), Spending(0, [1.0, 2.0, 3.0]), Terms(5, 0.0), Doubt(10)), "2 and 3"),
        (lambda: outlook(Spending(0, [[1.0]]), Spending(0, [1.0]), Terms(5, 0.0), Doubt(10)), "one value"),
        (lambda: outlook(Spending([0, 1], 1.0), Spending(0, 1.0), Terms(5, 0.0), Doubt(10)), "outlay"),
    ],
)
def test_mistakes(make, message):
    with pytest.raises(InputError, match=message):
        make()
