"""Present worth and payback, against textbook examples, an independent library and loops in exact fractions."""

import math
import os
from fractions import Fraction

import numpy as np
import numpy_financial as npf
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from chargeplan.charging import Circuit, Evse
from chargeplan.errors import InputError
from chargeplan.study.equipment import Equipment
from chargeplan.study.payback import internal_rate, lasting_payback_years, payback_years
from chargeplan.study.rebates import Rebate
from chargeplan.study.spending import Spending, Terms
from chargeplan.study.worth import (
    annualised,
    net_present_cost,
    present_value,
    price_path,
)

MANY = settings(deadline=None, max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "200")))
RATES = st.integers(-5, 30).map(lambda percent: percent / 100)
AMOUNTS = st.integers(0, 300_000).map(lambda cents: cents / 100)

# Brigham and Ehrhardt, Financial Management: Theory and Practice, chapter on the basics of capital budgeting:
# projects S and L, outlay 1,000, cost of capital 10 % (printed results from memory, and worked again by hand).
SHORT, LONG = [500, 400, 300, 100], [100, 300, 400, 600]


def test_projects_s_and_l():
    """Textbook above: NPV 78.82 and 49.18, payback 2.33 and 3.33, discounted 2.95 and 3.88, IRR 14.5 % and 11.8 %."""
    savings = np.array([SHORT, LONG], dtype=float)
    assert present_value(savings, 0.10) - 1000 == pytest.approx([78.82, 49.18], abs=0.005)
    assert payback_years(1000, savings) == pytest.approx([2.33, 3.33], abs=0.005)
    assert payback_years(1000, savings, 0.10) == pytest.approx([2.95, 3.88], abs=0.005)
    assert internal_rate(1000, savings) == pytest.approx([0.145, 0.118], abs=0.0005)


def test_project_of_a_library_manual():
    """Documentation of numpy-financial, npv, after Gitman: 40,000 for 5,000, 8,000, 12,000, 30,000 at 8 %."""
    assert present_value(np.array([5e3, 8e3, 12e3, 30e3]), 0.08) - 40e3 == pytest.approx(3065.22267, abs=1e-5)


@pytest.mark.parametrize(
    ("rate", "years", "factor"), [(0.03, 10, 0.11723), (0.05, 10, 0.12950), (0.08, 15, 0.11683), (0.10, 5, 0.26380)]
)
def test_capital_recovery_factors(rate, years, factor):
    """Compound interest tables at the end of textbooks of engineering economy, A/P (from memory)."""
    assert annualised(1.0, Terms(years, rate)) == pytest.approx(factor, abs=6e-6)


def test_present_worth_of_a_growing_yearly_cost():
    """Growing annuity: C / (d - g) x (1 - ((1 + g) / (1 + d)) ** n), Brealey, Myers and Allen, chapter 2."""
    found = net_present_cost(Spending(0, 800), Terms(15, 0.06, price_growth=0.03))
    assert found == pytest.approx(800 / 0.03 * (1 - (1.03 / 1.06) ** 15), rel=1e-12)


def test_replacement_and_what_is_left_by_hand():
    """Lifetime 4 of 10 years: bought at 0, 4, 8; half of the last life is left. No interest: 3 x 100 - 50."""
    bought = Spending(100, 0, lifetime_years=4)
    assert net_present_cost(bought, Terms(10, 0.0)) == pytest.approx(250)
    assert net_present_cost(bought, Terms(10, 0.0, residual=False)) == pytest.approx(300)
    worth = 100 + 100 / 1.05**4 + 100 / 1.05**8 - 50 / 1.05**10
    assert net_present_cost(bought, Terms(10, 0.05)) == pytest.approx(worth)
    # A replacement of another price, which grows: 40 today is 40 x 1.02 ** 8 when bought, half of that is left.
    grown = 100 + 40 * 1.02**4 / 1.05**4 + 40 * 1.02**8 / 1.05**8 - 20 * 1.02**8 / 1.05**10
    cheap = Spending(100, 0, lifetime_years=4, replacement=40)
    assert net_present_cost(cheap, Terms(10, 0.05, work_growth=0.02)) == pytest.approx(grown)


def test_a_life_that_ends_with_the_horizon():
    """No replacement at the very end, and nothing left; a third of life is left of 15 years after 10."""
    assert net_present_cost(Spending(90, 0, lifetime_years=10), Terms(10, 0.0)) == 90
    assert net_present_cost(Spending(90, 0, lifetime_years=5), Terms(10, 0.0)) == 180
    assert net_present_cost(Spending(90, 0, lifetime_years=10 / 3), Terms(10, 0.0)) == pytest.approx(270)
    assert net_present_cost(Spending(90, 0, lifetime_years=15), Terms(10, 0.0)) == pytest.approx(60)
    assert net_present_cost(Spending(90, 0), Terms(10, 0.0)) == 90


@MANY
@given(AMOUNTS, AMOUNTS, AMOUNTS, st.integers(1, 25), RATES, RATES, RATES, st.none() | st.integers(1, 30), AMOUNTS)
def test_against_numpy_financial(outlay, yearly, upkeep, years, rate, growth, work_growth, lifetime, again):
    """The yearly flows laid out one by one, and the library's npv."""
    terms = Terms(years, rate, price_growth=growth, work_growth=work_growth)
    flows = [float(outlay)] + [0.0] * years
    for year in range(1, years + 1):
        flows[year] += yearly * (1 + growth) ** (year - 1) + upkeep * (1 + work_growth) ** (year - 1)
    if lifetime is not None:
        last, cost = 0, outlay
        for year in range(lifetime, years, lifetime):
            last, cost = year, again * (1 + work_growth) ** year
            flows[year] += cost
        flows[years] -= cost * (lifetime - (years - last)) / lifetime
    spending = Spending(outlay, yearly, upkeep=upkeep, lifetime_years=lifetime, replacement=again)
    found = float(net_present_cost(spending, terms))
    assert found == pytest.approx(npf.npv(rate, flows), rel=1e-9, abs=1e-6)
    assert float(annualised(found, terms)) == pytest.approx(-npf.pmt(rate, years, found), rel=1e-9, abs=1e-6)


def exact_payback(outlay, savings, rate):
    """Year by year, in fractions."""
    left, growth = Fraction(outlay), 1 + Fraction(rate)
    if left <= 0:
        return 0.0
    for year, saving in enumerate(savings):
        worth = Fraction(saving) / growth ** (year + 1)
        if worth >= left:
            return float(year + left / worth)
        left -= worth
    return math.inf


@MANY
@given(st.integers(-500, 5000), st.lists(st.integers(-400, 900), min_size=1, max_size=15), st.integers(0, 3))
def test_payback_against_a_loop(outlay, savings, fourths):
    """Rates of 0, 25, 50 and 75 % are exact in binary."""
    found = float(payback_years(outlay, np.array(savings, dtype=float), fourths / 4))
    assert found == pytest.approx(exact_payback(outlay, savings, fourths / 4), rel=1e-6, abs=1e-9)


@pytest.mark.parametrize(
    ("replacement", "life", "paid_back"),
    [
        # 634.40 against savings of 80.17 a year, 2.5 % more each, and 6 of upkeep: 8 years bring 652.37, 9 then 743.05.
        (3000, 8, math.inf),  # 12 years bring 1033.99, and 3,634.40 are paid
        (
            320,
            8,
            11.2,
        ),  # 954.40 paid, of which 842.84 are back after 10 years and 937.29 after 11: the rest in the 12th
        (0, 8, 7.8),
        (320, None, 7.8),
    ],
)
def test_payback_with_replacements_by_hand(replacement, life, paid_back):
    """The ledger of a receptacle: the last year in which the sum is below zero, the rest in proportion."""
    terms = Terms(12, 0.04, price_growth=0.025)
    prices = 1.025 ** np.arange(12)
    base = Spending(0, 338.26)
    other = Spending(634.40, 258.09, upkeep=6, lifetime_years=life, replacement=replacement)
    found = float(lasting_payback_years(base, other, terms, (338.26 * prices, 258.09 * prices)))
    assert found == pytest.approx(paid_back, abs=0.05)


def test_payback_of_a_base_that_is_replaced():
    """100 saved a year of 600; that the base would have been replaced for 150 after two years pays at once."""
    terms = Terms(10, 0.0)
    base, other = Spending(0, 0, lifetime_years=2.5, replacement=150), Spending(600, 0)
    flows = (np.full(10, 100.0), np.zeros(10))
    # 250 + 150 by year 2.5; 500 + 150 only by year 5, with 500 + 150 >= 600 from year 4.5 on.
    assert float(lasting_payback_years(base, other, terms, flows)) == pytest.approx(4.5)
    late = Spending(0, 0, lifetime_years=3.5, replacement=900)
    assert float(lasting_payback_years(late, other, terms, flows)) == 3.5, "with the step itself"
    never = Spending(50, 0, lifetime_years=9.5, replacement=2000)
    assert float(lasting_payback_years(Spending(0, 0), never, terms, flows)) == math.inf
    assert float(lasting_payback_years(Spending(60, 0), Spending(50, 0), terms, flows)) == 0


def test_payback_at_a_year_end_does_not_slip():
    """Ten times 0.1 is not 1 in binary, but it is paid back after ten years."""
    assert payback_years(1.0, np.full(10, 0.1)) == pytest.approx(10)
    assert payback_years(1.001, np.full(10, 0.1)) == math.inf


@MANY
@given(st.integers(1, 5000), st.lists(st.integers(0, 2000), min_size=1, max_size=15))
@example(39, [1])  # all in the first year: the rate is the end of where it is looked for
def test_internal_rate_makes_the_worth_zero(outlay, savings):
    assume(sum(savings) > 0)
    rate = float(internal_rate(outlay, np.array(savings, dtype=float)))
    assert present_value(np.array(savings, dtype=float), rate) == pytest.approx(outlay, rel=1e-6)


def test_internal_rate_against_numpy_financial():
    flows = [-1200.0, 100, 250, 300, 300, 420, 180]
    assert float(internal_rate(1200.0, np.array(flows[1:]))) == pytest.approx(npf.irr(flows), abs=1e-9)


def test_no_internal_rate():
    """Nothing laid out, nothing saved, or a year that costs more: no single rate can be named."""
    assert np.isnan(internal_rate([0.0, 10.0, 10.0], np.array([[5.0, 5.0], [0.0, 0.0], [30.0, -5.0]]))).all()


def test_leading_axes():
    outlay = np.array([[0.0], [650.0]])
    yearly = np.array([400.0, 500.0, 600.0])
    terms = Terms(12, 0.04, price_growth=0.02)
    found = net_present_cost(Spending(outlay, yearly, lifetime_years=10, replacement=np.array([[0.0], [400.0]])), terms)
    assert found.shape == (2, 3)
    for row, (first, again) in enumerate([(0.0, 0.0), (650.0, 400.0)]):
        for column in range(3):
            alone = Spending(first, yearly[column], lifetime_years=10, replacement=again)
            assert found[row, column] == pytest.approx(float(net_present_cost(alone, terms)), rel=1e-12)
    assert payback_years(outlay, np.ones((3, 5)) * 200).shape == (2, 3)
    assert annualised(found, terms).shape == (2, 3)


def test_price_path():
    assert price_path(0.5, 3).tolist() == [1.0, 1.5, 2.25]
    assert price_path(np.array([[0.5, 0.0], [0.0, 1.0]]), 3).tolist() == [[1.0, 1.5, 1.5], [1.0, 1.0, 2.0]]
    assert price_path(0.5, 1).tolist() == [1.0]


def test_500_more_for_faster_charging():
    """By hand, with invented yearly costs: 500 more for 80 a year. 500 / 80 = 6.25 years; 10 years at 4 % with level
    prices are worth 80 x 8.1109 = 648.87, so 148.87 is gained; at 12 % only 80 x 5.6502 = 452.02, so 47.98 is lost."""
    plain, fast = Spending(150, 480), Spending(650, 400)
    gains = [float(net_present_cost(plain, Terms(10, r)) - net_present_cost(fast, Terms(10, r))) for r in (0.04, 0.12)]
    assert gains == pytest.approx([148.87, -47.98], abs=0.01)
    assert payback_years(500, np.full(10, 80.0)) == 6.25


def test_own_work_against_a_long_wire_run():
    """By hand: 1,950 more, spread over 10 years at 5 % (A/P 0.12950, as above), must save 252.53 a year."""
    needed = float(annualised(2000 - 50, Terms(10, 0.05)))
    assert needed == pytest.approx(252.53, abs=0.01)
    plain, far = Spending(50, 700), Spending(2000, 700 - needed)
    assert net_present_cost(far, Terms(10, 0.05)) == pytest.approx(net_present_cost(plain, Terms(10, 0.05)))
    assert payback_years(1950, np.full(10, needed), 0.05) == pytest.approx(10)
    assert internal_rate(1950, np.full(10, needed)) == pytest.approx(0.05)


def test_spending_of_equipment():
    """By hand: 700 + 300 less half of 700 is 650 now; after 6 of 10 years 700 again, of which a third is left."""
    rebate = Rebate("half", 0.5, of=("purchase",))
    more = {"purchase": 700, "labor": 300, "rebates": (rebate,), "lifetime_years": 6, "yearly": 5}
    wall_box = Equipment("wall box", Circuit(60, volts=240), Evse(48), **more)
    found = net_present_cost(Spending.of(wall_box, [400.0, 500.0]), Terms(10, 0.0))
    assert found == pytest.approx([650 + 700 * (2 / 3) + 50 + 4000, 650 + 700 * (2 / 3) + 50 + 5000])


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Terms(0, 0.05), "years"),
        (lambda: Terms(2.5, 0.05), "years"),
        (lambda: Terms(True, 0.05), "years"),
        (lambda: Terms(10, 5), "discount_rate"),
        (lambda: Terms(10, -1), "discount_rate"),
        (lambda: Terms(10, 0.05, price_growth=3), "price_growth"),
        (lambda: Spending(math.nan, 1), "outlay"),
        (lambda: Spending(-5, 1), "outlay"),
        (lambda: Spending(5, math.inf), "yearly"),
        (lambda: Spending(5, 1, lifetime_years=0), "lifetime_years"),
        (lambda: Spending(5, 1, replacement=-1), "replacement"),
        (lambda: Spending(5, "much"), "yearly"),
        (lambda: price_path([0.1, 0.1], 5), "4"),
        (lambda: present_value(np.array([1.0]), -1.0), "discount_rate"),
        (lambda: payback_years(5, 3.0), "year"),
    ],
)
def test_mistakes(make, message):
    with pytest.raises(InputError, match=message):
        make()
