"""Plans against charges for the highest power beside the same household under one more restriction."""

import os

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from chargeplan.household import plan_days, plan_tonight, read_household
from chargeplan.output.plan_text import days_text, night_text

#: Examples per test; more for a long run by hand.
EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "25"))

SHEET = """name: A demand rate
currency: USD
timezone: America/Chicago
holidays: {country: US, shift: nearest weekday}
seasons: {summer: Jun 1 - Sep 30, winter: rest}
periods: {peak: 15:00-20:00 on weekdays except holidays, off-peak: rest}
prices:
  summer: {peak: 0.1450, off-peak: 0.0750}
  winter: {peak: 0.1150, off-peak: 0.0700}
demand:
  highest hour: {prices: {summer: 9.50, winter: 6.00}, hours: 15:00-20:00 on weekdays except holidays, interval: 60 min}
  any time: {price: 2.25, interval: 60 min}
"""
HOME = """name: Ash Lane
timezone: America/Chicago
tariff: demand.yaml
circuit: {breaker: 40 A, volts: 240 V}
evse: {EVSE}
vehicle:
  name: wagon
  usable_battery: 64 kWh
  onboard_charger: 7.2 kW
  consumption: 27 kWh/100 mi
  measured_at: battery
  losses: {level 1: {efficiency: 88 %, overhead: 280 W}, level 2: {efficiency: 92 %, overhead: 180 W}}
  daily_limit: 90 %TAPER
habits:
  plug_in: 17:45
  leave: {weekdays: 07:00, Sat: 10:00, Sun: stays home}
  distance: {weekdays: 34 mi, Sat: 52 mi}
  target: 80 %
  floor: 15 %
house_use: {so_far: 480 kWh, per_day: PER_DAY kWh, highest: HIGHEST kW}
"""
TAPER = "\n  taper: {0 %: 7 kW, 70 %: 7 kW, 100 %: 2 kW}"


WARM = "\n  preconditioning: {energy: 1.5 kWh, takes: 25 min}"


def home(folder, *, highest=3.1, per_day=28, most=32, least=6, charging="", taper="", warm=""):
    (folder / "demand.yaml").write_text(SHEET, encoding="utf-8")
    text = HOME.replace("EVSE", f"max_current: {most} A, min_current: {least} A").replace("TAPER", taper)
    text = (
        text.replace("  floor: 15 %", f"  floor: 15 %{warm}")
        .replace("PER_DAY", f"{per_day}")
        .replace("HIGHEST", f"{highest}")
    )
    more = f"charging: {{{charging}}}\n" if charging else ""
    return read_household(text + more, str(folder / "home.yaml"))


def comparable(one, other):
    """Whether both leave as little short, so that their costs are those of the same."""
    return one.level_kwh[-1] == pytest.approx(other.level_kwh[-1], abs=1e-3)


def check_no_dearer(free, held, slack=0.0):
    """A plan is no dearer than one under a restriction, but for the fifth that is paid for not switching."""
    if not comparable(free, held):
        event("not comparable")
        return
    most = held.total_cost
    if held.in_parts and free.slowly:
        event("the restricted one switches")
        most += 0.2 * abs(most)
    event(f"slowly: {free.slowly}, in parts: {free.in_parts}")
    assert free.total_cost <= most + 0.005 + slack * abs(most)
    assert held.total_cost >= free.certificate.bound - 1e-6


@settings(deadline=None, max_examples=EXAMPLES, suppress_health_check=list(HealthCheck))
@given(
    highest=st.sampled_from([1.5, 2, 2.5, 3.1, 3.6, 4.2, 5, 6.5]),
    per_day=st.sampled_from([8, 18, 28, 40]),
    soc=st.integers(20, 75),
    now=st.sampled_from(["2026-07-13 17:50", "2026-12-14 16:00", "2026-07-11 19:00", "2026-02-10 17:45"]),
    taper=st.sampled_from(["", "", TAPER]),
    held=st.one_of(
        st.builds(lambda most: {"most": most}, st.integers(9, 31)),
        st.builds(lambda least: {"least": least}, st.integers(7, 30)),
        st.builds(lambda least, more: {"least": least, "most": least + more}, st.integers(6, 14), st.integers(0, 6)),
        st.sampled_from(
            [{"charging": f"never: {times}"} for times in ("15:00-20:00 on weekdays", '"23:00-01:00"', '"18:00-22:30"')]
        ),
    ),
)
def test_no_restriction_makes_a_plan_cheaper(tmp_path_factory, highest, per_day, soc, now, taper, held):
    """Less current, a higher least current, or hours without charging never make the cheapest plan cheaper."""
    folder = tmp_path_factory.mktemp("held")
    given_ = {"highest": highest, "per_day": per_day, "taper": taper}
    free, other = (
        plan_tonight(home(folder, **given_, **more), soc=f"{soc} %", now=now).schedule for more in ({}, held)
    )
    check_no_dearer(free, other)


@settings(deadline=None, max_examples=max(5, EXAMPLES // 5), suppress_health_check=list(HealthCheck))
@given(
    highest=st.sampled_from([2, 3.1, 4.2, 6.5]),
    per_day=st.sampled_from([8, 28, 40]),
    soc=st.integers(20, 75),
    rule=st.sampled_from(["one_block: yes", "most_starts: 2, min_on: 30 min"]),
    most=st.integers(9, 24),
)
def test_no_limit_makes_a_plan_under_rules_cheaper(tmp_path_factory, highest, per_day, soc, rule, most):
    """The same where the charger has rules about switching, to a twentieth: these searches end when time is up."""
    folder = tmp_path_factory.mktemp("ruled")
    free, other = (
        plan_tonight(
            home(folder, highest=highest, per_day=per_day, charging=rule, **more),
            soc=f"{soc} %",
            now="2026-07-13 17:50",
        ).schedule
        for more in ({}, {"most": most})
    )
    check_no_dearer(free, other, slack=0.05)


@settings(deadline=None, max_examples=max(5, EXAMPLES // 5), suppress_health_check=list(HealthCheck))
@given(
    highest=st.sampled_from([2, 3.1, 4.2, 6.5]),
    per_day=st.sampled_from([8, 28, 40]),
    soc=st.integers(30, 75),
    most=st.integers(8, 24),
)
def test_no_limit_makes_a_plan_with_preconditioning_cheaper(tmp_path_factory, highest, per_day, soc, most):
    """A lower limit also holds down what preconditioning draws, so the plan must do so of itself, where that pays."""
    folder = tmp_path_factory.mktemp("warm")
    free, held = (
        plan_tonight(
            home(folder, highest=highest, per_day=per_day, warm=WARM, **more), soc=f"{soc} %", now="2026-07-13 17:50"
        )
        for more in ({}, {"most": most})
    )
    # What the battery gives for it is charged before, so the levels compare once it has left.
    levels = [plan.schedule.departures[0].level_kwh for plan in (free, held)]
    if levels[0] != pytest.approx(levels[1], abs=1e-3):
        event("not comparable")
        return
    most_cost = held.schedule.total_cost
    if held.schedule.in_parts and free.schedule.slowly:
        most_cost += 0.2 * abs(most_cost)
    assert free.schedule.total_cost <= most_cost + 0.015


def test_less_is_drawn_for_preconditioning(tmp_path):
    """Beside a house of 1.67 kW that had 3.1, the 3.6 kW of preconditioning are held down, and it is said how."""
    made = home(tmp_path, per_day=40, warm=WARM)
    plan = plan_tonight(made, soc="70 %", now="2026-07-13 17:50")
    (stay,) = plan.itinerary.stays
    assert stay.preconditioning.most_kw < 3.6
    amperes = stay.preconditioning.most_kw / 0.24
    assert any(f"set the charger to at most {amperes:g} A" in caution for caution in plan.cautions)
    # The battery gives the rest, at 92 %, and the target is kept.
    drained = (3.6 - stay.preconditioning.most_kw) * 25 / 60 * 0.92
    assert stay.drained_kwh == pytest.approx(drained)
    assert plan.schedule.departures[0].level_kwh == pytest.approx(0.8 * 64, abs=1e-6)
    hour_kw = 40 / 24 + plan.schedule.drawn_kwh[plan.schedule.start_s >= plan.schedule.start_s[-1] // 3600 * 3600].sum()
    assert hour_kw <= 3.1 + 0.1


def test_the_hours_of_a_charge_are_left_alone(tmp_path):
    """At 40 % on a Monday evening: no current in the hours up to 20:00, which cost 9.5 for each kW, but what is free.

    By hand, without switching: 25.6 kWh into the battery in 11 h need 2.33 kW, so 11.35 A; 12 A last until 06:22, at
    0.075 for each kWh and 2.25 for each kW above 3.1. At 10 A from 18:00 it was 8.03.
    """
    plan = plan_tonight(home(tmp_path), soc="40 %", now="2026-07-13 17:50").schedule
    by_hand = 0.075 * 2.88 * 25.6 / (0.92 * 2.88 - 0.18) + 2.25 * (28 / 24 + 2.88 - 3.1)
    assert by_hand == pytest.approx(4.36, abs=0.02)
    assert plan.total_cost < by_hand
    steady = plan.steady_cost if plan.in_parts else plan.total_cost
    assert plan.total_cost <= steady < by_hand


def test_the_cautions_are_true_and_agree(tmp_path):
    """One sentence on how the mean power is kept low, with amounts in the currency, and what it costs the other way."""
    for made, soc in ((home(tmp_path), "40 %"), (home(tmp_path, highest=5), "25 %"), (home(tmp_path), "70 %")):
        plans = [
            (night_text, plan_tonight(made, soc=soc, now="2026-07-13 17:50")),
            (days_text, plan_days(made, 3, soc=soc, now="2026-07-13 17:50")),
        ]
        for text, plan in plans:
            said = [caution for caution in plan.cautions if "keeps it low" in caution]
            assert len(said) == (plan.schedule.slowly or plan.schedule.in_parts)
            printed = " ".join(text(plan).split())
            if plan.schedule.slowly:
                gap = f"{plan.schedule.certificate.gap:.2f} USD"
                assert f"might save up to {gap}" in said[0]
                assert f"at most {gap} dearer" in printed
            elif said and plan.schedule.steady_cost is not None:
                more = plan.schedule.steady_cost - plan.schedule.total_cost
                assert f"it would cost {more:.2f} USD more" in said[0]


def test_the_next_bill_is_expected_to_reach_as_much(tmp_path):
    """On the last evening of a month, 3.1 kW are taken to be reached in the next month too, as they were in this one.

    By hand: at 6 A, 1.44 kW, all night the house has 28 / 24 + 1.44 = 2.61 kW, which is not charged for.
    """
    plan = plan_tonight(home(tmp_path), soc="70 %", now="2026-07-31 20:00", plugged_in=True).schedule
    assert plan.total_cost == pytest.approx(0.075 * plan.total_wall_kwh, abs=1e-6)


def test_an_even_spread_is_said(tmp_path):
    """Where the highest power is charged, what is expected of a day says little of it."""
    plan = plan_tonight(home(tmp_path), soc="70 %", now="2026-07-13 20:00")
    assert any("`per_day` of `house_use` is spread evenly" in caution for caution in plan.cautions)
