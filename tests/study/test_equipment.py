"""What equipment costs to have, what a panel has room for, and which is the least that is enough."""

import os
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.charging import STANDARD_BREAKERS_A, Circuit, Consumption, Evse, Vehicle, weakest_link
from chargeplan.errors import InputError
from chargeplan.study.equipment import Equipment, usual_circuits
from chargeplan.study.panel_room import room_on
from chargeplan.study.rebates import PARTS, Rebate
from chargeplan.study.sufficient import least_sufficient
from chargeplan.units import KM_PER_MILE, quantity

MANY = settings(deadline=None, max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "200")))

# A small sedan that takes 48 A and uses 26.4 kWh per 100 miles at the wall (see tests/charging/test_range_per_hour.py).
SEDAN = Vehicle(60, onboard_a=48, consumption=Consumption(quantity("26.4 kWh/100mi", "consumption"), "wall"))
AMOUNTS = st.integers(0, 500_000).map(lambda cents: cents / 100)


def equipment(**more):
    return Equipment("any", Circuit(50, volts=240), Evse(40), **more)


# Invented prices, held to what is common practice, no source: an installed receptacle costs from about 50 (own work)
# to 2,000 (long wire run); hard-wired supply equipment about 500 more, for about 14 more miles in an hour.
OWN_WORK = Equipment("receptacle, own work", Circuit(40, volts=240), Evse(32), purchase=22, wire_run_m=4, wire_per_m=7)
LONG_RUN = Equipment(
    "receptacle, long run",
    Circuit(40, volts=240),
    Evse(32),
    purchase=60,
    wire_run_m=40,
    wire_per_m=22,
    labor=900,
    permit=160,
)
HARD_WIRED = Equipment("hard-wired", Circuit(60, volts=240), Evse(48), purchase=460, wire_run_m=10, wire_per_m=19)
RECEPTACLE = Equipment("receptacle", Circuit(40, volts=240), Evse(32), purchase=20, wire_run_m=10, wire_per_m=13)


def test_demo_prices_lie_where_installed_receptacles_do():
    """By hand: 22 + 4 x 7 = 50; 60 + 40 x 22 + 900 + 160 = 2,000; 460 + 190 less 20 + 130 is 500 more."""
    assert OWN_WORK.outlay == 50
    assert LONG_RUN.outlay == 2000
    assert HARD_WIRED.outlay - RECEPTACLE.outlay == 500


def test_hard_wired_equipment_gains_about_14_miles_more_in_an_hour():
    """Common practice, no source: about 14; within 10 % as the other figures of that kind."""
    gained = [x.limit_for(SEDAN).range_km_per_hour(SEDAN) / KM_PER_MILE for x in (RECEPTACLE, HARD_WIRED)]
    assert gained[1] - gained[0] == pytest.approx(14, rel=0.10)


def test_limit_is_the_weakest_link():
    assert RECEPTACLE.limit_for(SEDAN) == weakest_link(Circuit(40, volts=240), Evse(32), SEDAN)
    slow = Vehicle(60, onboard_kw=3.6, consumption=Consumption(15, "battery"))
    assert HARD_WIRED.limit_for(slow).by == "onboard charger"


@pytest.mark.parametrize(("cost", "credit"), [(1000, 300), (2000, 600), (3333, 999.9), (3334, 1000), (9000, 1000)])
def test_a_percentage_with_a_cap(cost, credit):
    """26 U.S.C. 30C(a), (b): 30 % of the cost of refuelling property at a home, at most 1,000 dollars (from memory)."""
    made = equipment(purchase=cost, rebates=(Rebate("tax credit", 0.3, 1000),))
    assert made.outlay == pytest.approx(cost - credit, abs=1e-9)
    assert made.outlay_items()[-1].amount == pytest.approx(-credit, abs=1e-9)


def test_rebates_one_after_the_other():
    """By hand. Cost 1,000: a fixed 400, then half of the cost before rebates (500) or of what is left (300)."""
    fixed = Rebate("utility", amount=400)
    assert equipment(labor=1000, rebates=(fixed, Rebate("half", 0.5))).outlay == 100
    assert equipment(labor=1000, rebates=(fixed, Rebate("half", 0.5, after_others=True))).outlay == 300
    assert equipment(labor=1000, rebates=(Rebate("half", 0.5, after_others=True), fixed)).outlay == 100


def test_a_rebate_of_some_parts_only():
    """By hand: half of the purchase of 600 is 300; a fixed 500 for the permit of 80 is cut to 80."""
    made = equipment(
        purchase=600,
        labor=300,
        permit=80,
        rebates=(Rebate("equipment", 0.5, of=("purchase",)), Rebate("city", amount=500, of=("permit",))),
    )
    assert [(x.what, x.amount) for x in made.outlay_items()] == [
        ("purchase", 600),
        ("wire run, 0 m", 0),
        ("labor", 300),
        ("permit", 80),
        ("rebate: equipment", -300),
        ("rebate: city", -80),
    ]
    assert made.outlay == 600


def exact_outlay(parts, rebates):
    """The same in fractions: every rebate off its own parts, in proportion to what is left of them."""
    gross = {name: Fraction(value) for name, value in parts.items()}
    left = dict(gross)
    for rebate in rebates:
        base = sum((left if rebate.after_others else gross)[name] for name in rebate.of)
        wanted = Fraction(rebate.amount) if rebate.share is None else Fraction(rebate.share) * base
        if rebate.cap is not None:
            wanted = min(wanted, Fraction(rebate.cap))
        there = sum(left[name] for name in rebate.of)
        keep = 1 - min(wanted, there) / there if there else Fraction(1)
        for name in rebate.of:
            left[name] *= keep
    return float(sum(left.values()))


@st.composite
def any_rebate(draw):
    shared = draw(st.booleans())
    return Rebate(
        "r",
        draw(st.integers(0, 100)) / 100 if shared else None,
        draw(st.none() | AMOUNTS),
        amount=None if shared else draw(AMOUNTS),
        of=tuple(draw(st.lists(st.sampled_from(PARTS), min_size=1, unique=True))),
        after_others=draw(st.booleans()),
    )


@MANY
@given(st.fixed_dictionaries(dict.fromkeys(PARTS, AMOUNTS)), st.lists(any_rebate(), max_size=4))
def test_outlay_is_never_below_zero_and_is_the_sum_of_its_items(parts, rebates):
    made = Equipment(
        "any",
        Circuit(50, volts=240),
        Evse(40),
        purchase=parts["purchase"],
        wire_run_m=1,
        wire_per_m=parts["wire"],
        labor=parts["labor"],
        permit=parts["permit"],
        rebates=tuple(rebates),
    )
    assert made.outlay == pytest.approx(exact_outlay(parts, rebates), abs=1e-6)
    assert made.outlay >= 0
    items = made.outlay_items()
    assert len(items) == len(PARTS) + len(rebates)
    assert sum(item.amount for item in items) == pytest.approx(made.outlay, abs=1e-6)
    assert all(item.amount <= 0 for item in items[len(PARTS) :])


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Rebate("r"), "neither"),
        (lambda: Rebate("r", 0.3, amount=5), "both"),
        (lambda: Rebate("r", 30), "share"),
        (lambda: Rebate("r", 0.3, of=("wires",)), "'wires'"),
        (lambda: Rebate("r", 0.3, of=()), "no part"),
        (lambda: Rebate("r", 0.3, of=("wire", "wire")), "twice"),
        (lambda: equipment(purchase=-1), "purchase"),
        (lambda: equipment(lifetime_years=0), "lifetime_years"),
        (lambda: equipment(rebates=(0.3,)), "a rebate of any is 0.3"),
        (lambda: Equipment(" ", Circuit(50, volts=240), Evse(40)), "name"),
        (lambda: Equipment("x", 50, Evse(40)), "Circuit"),
        (lambda: Equipment("x", Circuit(50, volts=240), 40), "Evse"),
    ],
)
def test_mistakes(make, message):
    with pytest.raises(InputError, match=message):
        make()


def test_usual_circuits():
    """NFPA 70 (2023) table 240.6(A) has all the ratings; SAE J1772: 16 A at 120 V and 80 A at 240 V are the most."""
    circuits = usual_circuits()
    single = [x for x in circuits if x.phases == 1]
    assert all(x.breaker_a in STANDARD_BREAKERS_A and x.continuous_a == 0.8 * x.breaker_a for x in single)
    assert (single[0].volts, single[0].breaker_a) == (120, 15)
    assert max(x.continuous_a for x in single if x.volts == 120) == 16
    assert max(x.continuous_a for x in single if x.volts == 240) == 80
    assert all(x.is_standard_breaker for x in circuits)
    # IEC 61851-1 mode 3 at 230/400 V: 16 A are 11 kW, 32 A are 22 kW, as they are commonly called.
    assert [round(x.power_kw(x.continuous_a)) for x in circuits if x.phases == 3] == [11, 22]
    assert len(set(circuits)) == len(circuits)


SERVICE = Circuit(200, volts=240)


def option(breaker_a, evse_a, volts=240):
    return Equipment(f"{breaker_a} A", Circuit(breaker_a, volts=volts), Evse(evse_a))


def test_three_chargers_on_one_circuit():
    """NFPA 70 (2023) 625.42, worked example of a training page: 80 A of a 100 A circuit; two of 30 A leave 20 A."""
    room = room_on(Circuit(100, volts=240), 60, [option(40, 30)], basis="measured")
    assert room.left_a == 20
    assert not room.fits[0].fits
    assert room.fits[0].set_to_a == 20
    assert room_on(Circuit(100, volts=240), 30, [option(40, 30)], basis="measured").fitting


def test_measured_and_calculated():
    """By hand, 200 A: 1.25 x 100 + 1.25 x 60 measured (NFPA 70 220.87, from memory), 100 + 1.25 x 80 calculated."""
    assert room_on(SERVICE, 100, basis="measured").left_a == pytest.approx(60)
    assert room_on(SERVICE, 100, basis="calculated").left_a == pytest.approx(80)
    assert room_on(SERVICE, 100, basis="measured").breaker_a == 70  # 56 A for hours; 80 A would need 64
    assert room_on(SERVICE, 100, basis="calculated").breaker_a == 100
    assert room_on(SERVICE, 199, basis="measured").breaker_a is None


@MANY
@given(
    st.sampled_from((60, 100, 125, 150, 200)),
    st.integers(0, 2500),
    st.sampled_from((15, 20, 30, 40, 50, 60, 80, 100)),
    st.integers(6, 80),
    st.sampled_from(("measured", "calculated")),
)
def test_room_against_whole_amperes(service_a, tenths, breaker_a, evse_a, basis):
    """Count up from 0 A while the sum, in exact fractions, stays within the rating."""
    other = Fraction(tenths, 10)
    counted = other * (Fraction(5, 4) if basis == "measured" else 1)
    room = room_on(Circuit(service_a, volts=240), tenths / 10, [option(breaker_a, evse_a)], basis=basis)
    fits = [a for a in range(1, 201) if counted + Fraction(5, 4) * a <= service_a]
    most = max(fits, default=0)
    assert most <= room.left_a + 1e-9
    assert room.left_a < most + 1
    needs = min(Fraction(4, 5) * breaker_a, evse_a)
    found = room.fits[0]
    assert found.demand_a == pytest.approx(float(needs))
    assert found.fits == (counted + Fraction(5, 4) * needs <= service_a)
    settings_a = [a for a in fits if 6 <= a <= needs]
    assert found.set_to_a == max(settings_a, default=0)
    assert room.fitting == ((found.equipment,) if found.fits else ())
    bigger = [a for a in STANDARD_BREAKERS_A if a <= 100 and counted + a <= service_a]
    assert room.breaker_a == max(bigger, default=None)


def test_what_just_fits():
    """By hand: 100 A less 1.25 x 48 A leave 40 A, which are 1.25 x 32 A."""
    room = room_on(Circuit(100, volts=240), 48, [option(40, 32), option(50, 33)], basis="measured")
    assert [fit.fits for fit in room.fits] == [True, False]


def test_the_fullest_leg_counts():
    assert room_on(SERVICE, [60, 100], basis="calculated").left_a == pytest.approx(80)
    three = Circuit(63, phases=3, volts_to_neutral=230, continuous_factor=1.0)
    assert room_on(three, [20, 31, 40], basis="measured").left_a == pytest.approx(23)


def test_what_the_panel_cannot_feed():
    three = Equipment("three", Circuit(16, phases=3, volts_to_neutral=230, continuous_factor=1.0), Evse(16))
    found = room_on(SERVICE, 0, [three, option(20, 16, 120), option(50, 40, 208)], basis="measured").fits
    assert [x.fits for x in found] == [False, True, False]
    assert "three phases" in found[0].because
    assert "208 V" in found[2].because
    assert found[0].set_to_a == found[2].set_to_a == 0
    network = Circuit(225, phases=3, volts_to_neutral=120)
    found = room_on(network, 0, [option(50, 40, 208), option(20, 16, 120), option(50, 40)], basis="measured").fits
    assert [x.fits for x in found] == [True, True, False]


def test_no_equipment_at_all():
    """A car that is not charged at home: nothing is paid, drawn or in the way."""
    nothing = Equipment("none")
    assert (nothing.outlay, nothing.demand_a, nothing.demand_kw, nothing.links) == (0, 0, 0, None)
    assert (nothing.limit_for(SEDAN).current_a, nothing.limit_for(SEDAN).wall_kw) == (0, 0)
    assert room_on(SERVICE, 199, [nothing], basis="measured").fitting == (nothing,)
    with pytest.raises(InputError, match="evse of half"):
        Equipment("half", Circuit(50, volts=240))


def test_room_mistakes():
    with pytest.raises(InputError, match="basis"):
        room_on(SERVICE, 10, basis="guessed")
    with pytest.raises(InputError, match="other_a is -1"):
        room_on(SERVICE, -1, basis="measured")
    with pytest.raises(InputError, match="other_a is nan"):
        room_on(SERVICE, float("nan"), basis="measured")
    with pytest.raises(InputError, match="'60 A'"):
        room_on(SERVICE, "60 A", basis="measured")
    with pytest.raises(InputError, match="3 values"):
        room_on(SERVICE, [1, 2, 3], basis="measured")
    with pytest.raises(InputError, match="Circuit"):
        room_on(200, 10, basis="measured")


OPTIONS = [option(20, 16, 120), option(30, 24), option(50, 40), option(60, 48)]


def test_the_cheapest_that_is_enough():
    choice = least_sufficient(OPTIONS, [0.80, 0.97, 0.99, 1.0], 0.95, present_cost=[100, 900, 800, 1200])
    assert choice.equipment is OPTIONS[2]
    choice = least_sufficient(OPTIONS, [0.80, 0.97, 0.99, 1.0], 0.75, present_cost=[100, 900, 800, 1200])
    assert choice.equipment is OPTIONS[0]


def test_of_equal_costs_the_lower_current():
    choice = least_sufficient(OPTIONS, [0.8, 1.0, 1.0, 1.0], 0.95, present_cost=[1, 500.001, 500, 500])
    assert choice.equipment is OPTIONS[1]
    choice = least_sufficient(OPTIONS, [0.8, 1.0, 1.0, 1.0], 0.95, present_cost=[1, 500.02, 500.01, 500])
    assert choice.equipment is OPTIONS[3]


def test_a_share_exactly_at_the_reliability_is_enough():
    """The mean of three years, 100, 90 and 95 %, comes out below 0.95 in binary."""
    mean = (1.0 + 0.9 + 0.95) / 3
    assert mean < 0.95
    assert least_sufficient(OPTIONS[:1], [mean], 0.95, present_cost=[1]).equipment is OPTIONS[0]


def test_none_is_enough():
    choice = least_sufficient(OPTIONS, [0.80, 0.93, 0.934, 0.9], 0.95, present_cost=[1, 2, 3, 4])
    assert choice.equipment is None
    assert "95 %" in choice.reason
    assert "50 A" in choice.reason
    assert "93.4 %" in choice.reason


@MANY
@given(st.lists(st.tuples(st.integers(0, 20), st.integers(0, 4)), min_size=4, max_size=4), st.integers(0, 20))
def test_against_all_options(rows, twentieths):
    shares, costs = [n / 20 for n, _ in rows], [100.0 * c for _, c in rows]
    choice = least_sufficient(OPTIONS, shares, twentieths / 20, present_cost=costs)
    enough = [i for i in range(4) if rows[i][0] >= twentieths]
    if not enough:
        assert choice.equipment is None
    else:
        # The options are in order of current.
        assert choice.equipment is OPTIONS[min(enough, key=lambda i: (costs[i], i))]


def test_choice_mistakes():
    with pytest.raises(InputError, match="no equipment"):
        least_sufficient([], [], 0.9, present_cost=[])
    with pytest.raises(InputError, match="3 values"):
        least_sufficient(OPTIONS, [1, 1, 1], 0.9, present_cost=[1, 2, 3, 4])
    with pytest.raises(InputError, match="share_met"):
        least_sufficient(OPTIONS, [1, 1, 1, 95], 0.9, present_cost=[1, 2, 3, 4])
    with pytest.raises(InputError, match="missing"):
        least_sufficient(OPTIONS, [1, 1, 1, 1], 0.9, present_cost=[1, 2, 3, float("nan")])
    with pytest.raises(InputError, match="reliability"):
        least_sufficient(OPTIONS, [1, 1, 1, 1], 95, present_cost=[1, 2, 3, 4])
