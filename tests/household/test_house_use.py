"""Plans for rates with tiers and called days: the price of one more kWh, as the house's use leaves it."""

from datetime import date

import pytest

from chargeplan.household import plan_tonight, read_household

TIERS = """
name: Tiers
currency: USD
timezone: America/Denver
prices: 0.10 up to 500 then 0.20
taxes: {tax: 10 %}
"""
HOUSE = """
name: House
timezone: America/Denver
tariff: tiers.yaml
circuit: {breaker: 50 A, volts: 240 V}
evse: {max_current: 32 A}
vehicle:
  {name: car, usable_battery: 58 kWh, onboard_charger: 48 A, consumption: 26 kWh/100 mi, measured_at: wall}
habits: {plug_in: "18:15", leave: "07:15", distance: 29 mi, target: 80 %}
"""


def night(tmp_path, more="", sheet=TIERS, now="2026-11-25 20:00"):
    (tmp_path / "tiers.yaml").write_text(sheet, encoding="utf-8")
    home = read_household(HOUSE + more, str(tmp_path / "house.yaml"))
    return plan_tonight(home, soc="60 %", now=now).schedule


@pytest.mark.parametrize(
    ("so_far", "per_day", "price"),
    [
        # The month ends on the 30th: about five more days.
        (100, 10, 0.11),
        (480, 10, 0.22),  # the house alone passes 500 kWh before the month is over, so the car's kWh are dear
        (600, 10, 0.22),
        (400, 10, 0.11),
    ],
)
def test_the_tier_that_the_house_reaches_prices_the_car(tmp_path, so_far, per_day, price):
    """One price for all hours: what one more kWh costs is the price of the tier in which the month ends."""
    schedule = night(tmp_path, f"house_use: {{so_far: {so_far} kWh, per_day: {per_day} kWh}}\n")
    table = schedule.table()
    assert schedule.total_cost == pytest.approx(price * table.wall_kwh.sum(), rel=1e-9)


def test_without_the_house_the_first_tier_counts(tmp_path):
    """Nothing is known of the house, so every kWh costs what the first one does."""
    schedule = night(tmp_path)
    assert schedule.total_cost == pytest.approx(0.11 * schedule.table().wall_kwh.sum(), rel=1e-9)


def test_the_next_month_begins_anew(tmp_path):
    """In the night over a reading day the tier is left behind at midnight, so charging waits for it."""
    more = "house_use: {so_far: 700 kWh, per_day: 10 kWh}\n"
    schedule = night(tmp_path, more, now="2026-11-30 20:00")
    starts = [window.start.date() for window in schedule.windows]
    assert starts == [date(2026, 12, 1)]
    assert schedule.total_cost == pytest.approx(0.11 * schedule.table().wall_kwh.sum(), rel=1e-9)


CALLED = """
name: Called
currency: USD
timezone: America/Denver
called: {critical: {days: [2026-11-26], notice: 17:00 the day before, unknown: UNKNOWN}}
periods: {dear: 00:00-24:00 on critical, plain: rest}
prices: {dear: 0.90, plain: 0.10}
"""


@pytest.mark.parametrize(
    ("now", "unknown", "dear"),
    [
        ("2026-11-25 18:30", "not called", True),  # the notice was at 17:00
        ("2026-11-25 16:30", "not called", False),  # nothing is known yet
        ("2026-11-25 16:30", "called", True),
    ],
)
def test_a_called_day_counts_from_its_notice(tmp_path, now, unknown, dear):
    """What is called for tomorrow is avoided once it is known; before, the sheet says what to reckon with."""
    schedule = night(tmp_path, sheet=CALLED.replace("UNKNOWN", unknown), now=now)
    prices = set(schedule.table().price_per_kwh.round(6))
    assert prices == ({0.1, 0.9} if dear else {0.1})
