"""The price of one more kWh, against the difference of the bills of two loads that differ a little in one slot.

A load of several billing months has several bills, and the price is what their sum rises by.
"""

import json
import os

import pytest
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from chargeplan.tariff import read_tariff
from chargeplan.testing.strategies import loads, sheets

EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "25"))
SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}
STEP_KWH = 1 / 1024
THEMES = {
    "tiers": ("periods", "seasons", "versions", "components", "adders", "own hours", "tiers", "losses", "clock"),
    "cases": ("periods", "components", "cases", "tiers", "fixed"),
    "other lines": ("periods", "tiers", "fixed", "minimum", "taxes", "credits", "versions"),
    "demand": ("periods", "seasons", "demand", "taxes", "adders", "minimum"),
}


def total(tariff, load):
    return float(sum(bill.total for bill in tariff.bills(load)))


@pytest.mark.parametrize("theme", THEMES)
def test_next_kwh_is_the_slope_of_the_bill(theme):
    """Away from the kinks of tiers the slopes to both sides agree; where a demand is highest, more use raises it."""

    @settings(max_examples=EXAMPLES, **SLOW)
    @given(sheets(features=THEMES[theme]), st.data())
    def check(sheet, data):
        sheet = sheet | {"billing": {"rounding": "none"}}
        load = data.draw(loads(sheet, most_days=35, steps_min=(60,) if theme == "demand" else (30, 60)))
        load = load + 1 / 64  # no slot without use, so that there is less to compare with
        tariff = read_tariff(json.dumps(sheet))
        slots = data.draw(st.lists(st.integers(0, len(load) - 1), min_size=1, max_size=4, unique=True))
        if theme == "demand":
            slots.append(int(load.to_numpy().argmax()))
        price = tariff.next_kwh(load)
        assert price.index.equals(load.index)
        middle = total(tariff, load)
        compared = 0
        for slot in slots:
            more, less = load.copy(), load.copy()
            more.iloc[slot] += STEP_KWH
            less.iloc[slot] -= STEP_KWH
            up = (total(tariff, more) - middle) / STEP_KWH
            down = (middle - total(tariff, less)) / STEP_KWH
            if theme == "demand" or up == pytest.approx(down, abs=5e-6):
                assert price.iloc[slot] == pytest.approx(up, abs=1e-5), slot
                compared += 1
        assume(compared)
        event(f"has a demand charge that this use raises: {theme == 'demand' and max(price) > 10}")

    check()


def test_next_kwh_by_hand():
    """A sheet small enough to work out: the second tier is reached, then the tax is added."""
    text = "{name: A, currency: USD, timezone: UTC, prices: 0.1 up to 10 then 0.2, taxes: {vat: 10 %}}"
    import pandas as pd

    index = pd.date_range("2026-06-01", periods=30 * 24, freq="h", tz="UTC")
    price = read_tariff(text).next_kwh(pd.Series(1.0, index))
    assert price.to_numpy() == pytest.approx(0.22)
