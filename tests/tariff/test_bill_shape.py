"""What a bill rises by, taken apart into arrays, against the difference of two bills."""

import json
import os

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from chargeplan.tariff import load_tariff, read_tariff, shipped_sheets
from chargeplan.tariff.bill_rise import BillRise
from chargeplan.tariff.bill_shaping import BillFormError, bill_shapes
from chargeplan.tariff.billing import Known
from chargeplan.tariff.bills import metered
from chargeplan.testing import loads, sheets
from chargeplan.testing.strategies import FEATURES as ALL_FEATURES

FEATURES = (
    *("periods", "seasons", "versions", "overrides", "components", "tiers", "losses", "own hours", "own periods"),
    *("adders", "fixed", "demand", "minimum", "credits", "taxes", "cents", "holidays", "clock", "billing", "cases"),
    *("price seasons", "all units", "called", "net metering"),
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
    try:
        shapes = shapes_of(tariff, load)
    except BillFormError as error:
        event(f"not of this form: {error}")
        return
    step_s = int((load.index[1] - load.index[0]).total_seconds())
    if any(shape.step_s != step_s for shape in shapes):
        return  # the sheet cuts the hours of the load
    draw = np.random.default_rng(data.draw(st.integers(0, 10**6)))
    kwh = np.where(draw.random(len(load)) < 0.3, draw.uniform(0, 8, len(load)), 0.0)
    more = pd.Series(kwh, load.index)
    for found in shapes[0].parts:
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


def test_the_step_of_the_hour_that_crosses_by_hand():
    """80 kWh a night so far of a limit of 100: of 30 more at noon 20 are below it, and 10 cost 0.4 instead of 0.3.

    The house's 10 kWh of the evening come after that, at the off-peak hours' own step: 0.05 each.
    """
    tariff = read_tariff(
        "{name: A, currency: USD, timezone: UTC, billing: {rounding: none}, periods: {day: '08:00-20:00', night: rest},"
        "prices: {day: 0.3 up to 100 then 0.4, night: 0.1 up to 100 then 0.15}}"
    )
    index = pd.date_range("2026-06-01", "2026-07-01", freq="h", tz="UTC", inclusive="left")
    load = pd.Series(0.0, index)
    load.iloc[2], load.iloc[21] = 80.0, 10.0
    (shape,) = shapes_of(tariff, load)
    more = np.zeros(720)
    more[12] = 30.0
    assert shape.cost(more) == pytest.approx(20 * 0.3 + 10 * 0.4 + 10 * 0.05)
    more[12], more[22] = 0.0, 30.0
    assert shape.cost(more) == pytest.approx(10 * 0.1 + 20 * 0.15)


def test_all_units_and_charges_by_use_by_hand():
    """90 kWh at 0.2; the 101st makes all cost 0.1, and the meter 2 instead of 1: 20 more are 110 x 0.1 - 18 + 1."""
    tariff = read_tariff(
        "{name: A, currency: USD, timezone: UTC, billing: {rounding: none}, fixed: {meter: {by_use: 1 up to 100 then 2,"
        " per: month}}, components: {energy: {price: 0.2 up to 100 then 0.1, tiers: all units}}}"
    )
    index = pd.date_range("2026-06-01", "2026-07-01", freq="h", tz="UTC", inclusive="left")
    (shape,) = shapes_of(tariff, pd.Series(90 / 720, index))
    assert shape.cost(np.full(720, 20 / 720)) == pytest.approx(11.0 - 18.0 + 1.0)
    assert shape.cost(np.full(720, 10 / 720)) == pytest.approx(2.0)


@settings(max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "60")), **SLOW)
@given(sheets(features=tuple(name for name in ALL_FEATURES if name != "line rounding")), st.data())
def test_the_sheet_itself_says_what_bills_rise_by(sheet, data):
    """With every feature of a sheet that is not rounded: the rise is what two rows of bills differ by."""
    tariff = read_tariff(json.dumps(unrounded(sheet)))
    load = data.draw(loads(sheet, steps_min=(30, 60)))
    draw = np.random.default_rng(data.draw(st.integers(0, 10**6)))
    kwh = np.where(draw.random(len(load)) < 0.3, draw.uniform(0, 8, len(load)), 0.0)
    rise = BillRise(tariff.desk, metered(tariff.timeline, load, None), Known())
    before, after = (float(tariff.bills(use).total) for use in (load, load + pd.Series(kwh, load.index)))
    assert rise.intervals == len(load)
    assert rise.cost(kwh) == pytest.approx(after - before, abs=1e-6)


def test_a_power_reached_already_by_hand():
    """9 kW were reached before the first interval: 10 for each kW above, in the first bill, and all in the second."""
    tariff = read_tariff(
        "{name: A, currency: USD, timezone: UTC, prices: 0, billing: {rounding: none}, demand: {top: {price: 10}}}"
    )
    index = pd.date_range("2026-06-01", "2026-08-01", freq="h", tz="UTC", inclusive="left")
    found = metered(tariff.timeline, pd.Series(2.0, index), None)
    known = Known(reached_kw=9.0)
    rise, (june, july) = BillRise(tariff.desk, found, known), bill_shapes(tariff.desk, found, known)
    more = np.zeros(len(index))
    more[100], more[1000] = 10.0, 1.0
    assert rise.cost(more) == pytest.approx(30.0 + 10.0)
    assert june.cost(more[:720]) + july.cost(more[720:]) == pytest.approx(30.0 + 10.0)


@pytest.mark.parametrize(
    ("terms", "names"),
    [
        ("components: {energy: {cases: [{up_to: 100, prices: 0.1 up to 50 then 0.2}, {prices: 0.3}]}}", "`energy`"),
        ("prices: -0.1\nnet_metering: {true_up: Mar}", "`net_metering`"),
    ],
)
def test_what_is_not_of_this_form(terms, names):
    """Nothing is invented: the line that prevents it is named."""
    tariff = read_tariff(
        "name: A\ncurrency: USD\ntimezone: UTC\nperiods: {peak: 16:00-21:00, off-peak: rest}\n" + terms + "\n"
    )
    index = pd.date_range("2026-06-01", "2026-07-01", freq="h", tz="UTC", inclusive="left")
    with pytest.raises(BillFormError, match=names):
        shapes_of(tariff, pd.Series(1.0, index))


def test_shipped_sheets_are_of_this_form():
    """All sheets that come with the package."""
    for name in shipped_sheets():
        tariff = load_tariff(name)
        index = pd.date_range("2026-11-01", "2026-12-01", freq="h", tz=tariff.timezone, inclusive="left")
        assert shapes_of(tariff, pd.Series(1.0, index)), name
