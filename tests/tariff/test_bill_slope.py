"""The price of one more kWh beside what is bought, against what the arrays of the bill rise by for a little more."""

import json
import os
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from chargeplan.tariff import read_tariff
from chargeplan.tariff.bill_rise import BillRise
from chargeplan.tariff.bill_shaping import BillFormError, bill_shapes
from chargeplan.tariff.bill_slope import next_kwh_price
from chargeplan.tariff.billing import Known
from chargeplan.tariff.bills import metered
from chargeplan.testing import loads, sheets

FEATURES = (
    "periods",
    "seasons",
    "components",
    "tiers",
    "losses",
    "own hours",
    "minimum",
    "taxes",
    "cases",
    "all units",
)
SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}
LITTLE_KWH = 1e-5
HEAD = "name: A\ncurrency: USD\ntimezone: UTC\nbilling: {rounding: none}\nperiods: {peak: 16:00-21:00, off: rest}\n"
JUNE = pd.date_range("2026-06-01", "2026-07-01", freq="h", tz="UTC", inclusive="left")


@settings(max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "60")), **SLOW)
@given(sheets(features=FEATURES), st.data())
def test_it_is_what_a_little_more_costs(sheet, data):
    """Random sheets and energies: a little more in some intervals raises the bill by its price there."""
    tariff = read_tariff(json.dumps(sheet | {"billing": sheet.get("billing", {}) | {"rounding": "none"}}))
    load = data.draw(loads(sheet, steps_min=(60,)))
    draw = np.random.default_rng(data.draw(st.integers(0, 10**6)))
    try:
        shapes = bill_shapes(tariff.desk, metered(tariff.timeline, load, None), Known())
    except BillFormError:
        assume(False)
    for shape in shapes:
        more = np.where(draw.random(shape.price.size) < 0.3, draw.uniform(0, 8, shape.price.size), 0.0)
        price, before = next_kwh_price(shape, more), shape.cost(more)
        for interval in draw.integers(0, more.size, 4).tolist():
            little = more.copy()
            little[interval] += LITTLE_KWH
            rise = shape.cost(little) - before
            if abs(rise) < 1e-3:  # a step of a charge by use lies between the two: no price says that
                assert rise / LITTLE_KWH == pytest.approx(price[interval], abs=1e-4)


@pytest.mark.parametrize(
    "terms",
    [
        "prices: 0.1 up to 400 then 0.2 up to 900 then 0.3",
        "prices: {peak: 0.3 up to 400 then 0.2, off: 0.1 up to 400 then 0.15}",
        "prices: 0.1\nminimum: 60 per month\ntaxes: {t: 5 %}",
        "components: {energy: {prices: 0.1 up to 500 then 0.2, tiers: all units}}",
    ],
)
@pytest.mark.parametrize("more_kwh", [0.0, 0.4, 1.3])
def test_two_whole_bills_differ_by_it(terms, more_kwh):
    """The bills themselves, worked out by the sheet with and without a little more, which no array is asked for."""
    tariff = read_tariff(HEAD + terms)
    found = metered(tariff.timeline, pd.Series(0.5, JUNE), None)
    (shape,), rise = bill_shapes(tariff.desk, found, Known()), BillRise(tariff.desk, found, Known())
    more = np.full(len(JUNE), more_kwh)
    price = next_kwh_price(shape, more)
    for interval in (0, 18, 400, 719):
        little = more.copy()
        little[interval] += 1e-3
        assert (rise.cost(little) - rise.cost(more)) / 1e-3 == pytest.approx(price[interval], abs=1e-6)


def test_what_the_highest_power_costs_is_not_in_it():
    """A kWh on top raises the highest hour, but its price here stays that of energy."""
    tariff = read_tariff(HEAD + "prices: 0.1\ndemand: {top: {price: 10, interval: 60 min}}")
    (shape,) = bill_shapes(tariff.desk, metered(tariff.timeline, pd.Series(0.5, JUNE), None), Known())
    assert next_kwh_price(shape, np.zeros(720)) == pytest.approx(np.full(720, 0.1))
    assert shape.cost(np.eye(720)[5]) == pytest.approx(10.1)
    assert replace(shape, peaks=()).cost(np.eye(720)[5]) == pytest.approx(0.1)
