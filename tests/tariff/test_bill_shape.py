"""What a bill rises by, taken apart into arrays, against the difference of two bills."""

import json
import os

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from chargeplan.tariff import load_tariff, read_tariff, shipped_sheets
from chargeplan.tariff.bill_shape import bill_shapes
from chargeplan.tariff.billing import Known
from chargeplan.tariff.bills import metered
from chargeplan.testing import loads, sheets

FEATURES = (
    *("periods", "seasons", "versions", "overrides", "components", "tiers", "losses", "own hours", "own periods"),
    *("adders", "fixed", "demand", "minimum", "credits", "taxes", "cents", "holidays", "clock", "billing", "cases"),
)
SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}


def unrounded(sheet):
    return sheet | {"billing": sheet.get("billing", {}) | {"rounding": "none"}}


def shapes_of(tariff, load):
    return bill_shapes(tariff.desk, metered(tariff.timeline, load, None), Known())


def risen(shapes, more):
    """The rise of all bills for energy on top, given by the instants of the shapes."""
    total = 0.0
    for shape in shapes:
        index = pd.to_datetime(shape.start_s + shape.step_s * np.arange(shape.price.size), unit="s", utc=True)
        total += shape.cost(more.reindex(index).to_numpy())
    return total


@settings(max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "120")), **SLOW)
@given(sheets(features=FEATURES), st.data())
def test_the_rise_is_the_difference_of_two_bills(sheet, data):
    """For random sheets, loads, and energy on top: the arrays give what two bills differ by."""
    tariff = read_tariff(json.dumps(unrounded(sheet)))
    load = data.draw(loads(sheet, steps_min=(30, 60)))
    shapes = shapes_of(tariff, load)
    event(f"of this form: {shapes is not None}")
    if shapes is None:
        return
    step_s = int((load.index[1] - load.index[0]).total_seconds())
    if any(shape.step_s != step_s for shape in shapes):
        return  # the sheet cuts the hours of the load
    draw = np.random.default_rng(data.draw(st.integers(0, 10**6)))
    kwh = np.where(draw.random(len(load)) < 0.3, draw.uniform(0, 8, len(load)), 0.0)
    more = pd.Series(kwh, load.index)
    for found in (*shapes[0].tiers, *shapes[0].peaks):
        event(type(found).__name__)
    event(f"minimum: {shapes[0].minimum is not None}")
    before, after = (float(tariff.bills(use).total) for use in (load, load + more))
    assert risen(shapes, more.tz_convert("UTC")) == pytest.approx(after - before, abs=1e-6)


def test_a_bill_by_hand():
    """600 kWh so far of a limit of 700, and 300 more: 100 at 0.10 and 200 at 0.15; 5 % tax on all of it: 42.00."""
    tariff = read_tariff(
        "{name: A, currency: USD, timezone: UTC, prices: 0.10 up to 700 then 0.15, taxes: {city: 5 %}, "
        "billing: {rounding: none}}"
    )
    index = pd.date_range("2026-06-01", "2026-07-01", freq="h", tz="UTC", inclusive="left")
    (shape,) = shapes_of(tariff, pd.Series(600 / 720, index))
    assert shape.cost(np.full(720, 300 / 720)) == pytest.approx(42.00)
    assert shape.price == pytest.approx(np.full(720, 0.105))


def test_a_demand_by_hand():
    """5 kW at 17:00 where the house has 2 raise a demand of 3 kW in the evening to 7: 4 x 10 = 40; at noon nothing."""
    tariff = read_tariff(
        "{name: A, currency: USD, timezone: UTC, prices: 0, billing: {rounding: none}, "
        "demand: {evening: {price: 10, hours: '16:00-21:00'}}}"
    )
    index = pd.date_range("2026-06-01", "2026-07-01", freq="h", tz="UTC", inclusive="left")
    load = pd.Series(2.0, index)
    load.iloc[18] = 3.0
    (shape,) = shapes_of(tariff, load)
    more = np.zeros(720)
    more[12] = 5.0
    assert shape.cost(more) == 0.0
    more[24 + 17] = 5.0
    assert shape.cost(more) == pytest.approx(40.0)


def test_a_minimum_by_hand():
    """20 kWh at 0.10 are 2.00 of a minimum of 15.00: the first 130 kWh more cost nothing, the next 0.10 each."""
    tariff = read_tariff(
        "{name: A, currency: USD, timezone: UTC, prices: 0.10, minimum: 15 per month, billing: {rounding: none}}"
    )
    index = pd.date_range("2026-06-01", "2026-07-01", freq="h", tz="UTC", inclusive="left")
    (shape,) = shapes_of(tariff, pd.Series(20 / 720, index))
    assert shape.cost(np.full(720, 130 / 720)) == pytest.approx(0.0, abs=1e-9)
    assert shape.cost(np.full(720, 140 / 720)) == pytest.approx(1.00)


@pytest.mark.parametrize(
    "terms",
    [
        "prices: 0.2 up to 100 then 0.1",
        "prices: {peak: 0.3 up to 100 then 0.4, off-peak: 0.1 up to 100 then 0.15}",
        "components: {energy: {price: 0.1 up to 100 then 0.2, tiers: all units}}",
        "prices: 0.1\nfixed: {meter: {by_use: 1 up to 50 then 2, per: month}}",
        "prices: 0.1\nnet_metering: {true_up: Mar}",
    ],
)
def test_what_is_not_of_this_form(terms):
    """Falling tiers, steps that differ by period, all units, charges by use, net metering: None, nothing invented."""
    tariff = read_tariff(
        "name: A\ncurrency: USD\ntimezone: UTC\nperiods: {peak: 16:00-21:00, off-peak: rest}\n" + terms + "\n"
    )
    index = pd.date_range("2026-06-01", "2026-07-01", freq="h", tz="UTC", inclusive="left")
    assert shapes_of(tariff, pd.Series(1.0, index)) is None


def test_shipped_sheets_are_of_this_form():
    """All sheets that come with the package, but for the one whose losses are charged in tiers of their own."""
    for name in shipped_sheets():
        tariff = load_tariff(name)
        index = pd.date_range("2026-11-01", "2026-12-01", freq="h", tz=tariff.timezone, inclusive="left")
        assert (shapes_of(tariff, pd.Series(1.0, index)) is None) == (name == "whole-bill"), name
