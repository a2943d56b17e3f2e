"""Laws that bills keep whatever the sheet: they add up, they scale, more demand costs no less."""

import json
import os
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from chargeplan.tariff import read_tariff
from chargeplan.testing.strategies import loads, sheets

EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "24"))
SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}
UNTIERED = ("periods", "seasons", "holidays", "versions", "overrides", "clock", "components", "adders", "own hours")
EXACT = {"billing": {"rounding": "none"}}


def tariff_of(sheet, **changes):
    return read_tariff(json.dumps(sheet | changes))


def amounts(bill):
    return {name: float(amount) for name, amount in bill.lines.items()}


def year_of(sheet, pattern):
    """A load of a calendar year from a short pattern."""
    zone = sheet["timezone"] if sheet.get("clock", "wall") == "wall" else "UTC"
    index = pd.date_range("2026-01-01", "2027-01-01", freq="60min", tz=zone, inclusive="left")
    return pd.Series(np.resize(np.array(pattern, dtype=float), len(index)), index)


@settings(max_examples=EXAMPLES // 2, **SLOW)
@given(
    sheets(features=[name for name in (*UNTIERED, "fixed", "taxes", "export") if name != "clock"]),
    st.lists(st.integers(0, 5), min_size=1, max_size=30),
    st.integers(1, 28),
)
def test_bills_add_up_to_the_year(sheet, pattern, reading_day):
    """Bills per billing month of a year, first and last not whole, add up to the bill of the year."""
    sheet = sheet | {"billing": {"rounding": "none", "reading_day": reading_day}}
    if "fixed" in sheet and any(word in str(sheet["fixed"]) for word in ("by_use", "unused")):
        del sheet["fixed"]  # these depend on the use of each bill
    if "fixed" in sheet and any(
        "fixed" in change for change in (*sheet.get("versions", ()), *sheet.get("overrides", ()))
    ):
        sheet = sheet | {"fixed": "1 per day"}  # a month of a bill is shared among versions by the days of that bill
        for change in (*sheet.get("versions", ()), *sheet.get("overrides", ())):
            change.pop("fixed", None)
    sheet["taxes"] = {"tax": "7 %"}
    tariff = tariff_of(sheet)
    load = year_of(sheet, pattern)
    bills = list(tariff.bills(load))
    whole = tariff.bill(load)
    assert len(bills) == (12 if reading_day == 1 else 13)
    assert bills[0].start == whole.start
    assert bills[-1].end == whole.end
    assert all(b.start - a.end == timedelta(days=1) for a, b in pairwise(bills))
    assert float(sum(bill.total for bill in bills)) == pytest.approx(float(whole.total), rel=1e-9, abs=1e-6)


@settings(max_examples=EXAMPLES, **SLOW)
@given(sheets(features=UNTIERED), st.data(), st.sampled_from([0.0, 0.5, 3.0, 1024.0]))
def test_untiered_bills_scale(sheet, data, times):
    """Without tiers, so many times the use costs so many times as much, line by line."""
    tariff = tariff_of(sheet, **EXACT)
    load = data.draw(loads(sheet))
    once, often = amounts(tariff.bill(load)), amounts(tariff.bill(times * load))
    for name in once.keys() | often.keys():
        assert often.get(name, 0.0) == pytest.approx(times * once.get(name, 0.0), rel=1e-9, abs=1e-9)


@settings(max_examples=EXAMPLES, **SLOW)
@given(sheets(features=("periods", "seasons", "versions", "components", "tiers", "losses")), st.data())
def test_marginal_tiers_are_continuous(sheet, data):
    """A little more use costs a little more, never more than at the highest price of the sheet."""
    tariff = tariff_of(sheet, **EXACT)
    load = data.draw(loads(sheet, most_days=35, steps_min=(60,)))
    slot = data.draw(st.integers(0, len(load) - 1))
    totals = []
    for step in range(6):
        more = load.copy()
        more.iloc[slot] += step * data.draw(st.sampled_from([1 / 64, 1.0, 20.0]), label="more use") / 5
        totals.append((float(more.sum()), float(tariff.bill(more).total)))
    totals.sort()
    for (use_a, total_a), (use_b, total_b) in pairwise(totals):
        # Three components of at most 0.5, the tiers of other hours moved by at most as much, and the losses.
        assert abs(total_b - total_a) <= 2 * 3 * 0.75 * 1.2 * (use_b - use_a) + 1e-9


@settings(max_examples=EXAMPLES, **SLOW)
@given(sheets(features=("periods", "seasons", "holidays", "versions", "demand")), st.data())
def test_demand_only_rises_with_load(sheet, data):
    """More use in any slot never lowers a highest demand, and less never raises it."""
    for line in sheet.get("demand", {}).values():
        line.pop("measure", None)
    assume("demand" in sheet)
    tariff = tariff_of(sheet, **EXACT)
    load = data.draw(loads(sheet, most_days=35))
    more = load.copy()
    more.iloc[data.draw(st.integers(0, len(load) - 1))] += data.draw(st.sampled_from([0.25, 1.0, 8.0]))
    low, high = amounts(tariff.bill(load)), amounts(tariff.bill(more))
    for name in sheet["demand"]:
        assert high.get(name, 0.0) >= low.get(name, 0.0) - 1e-9


@settings(max_examples=EXAMPLES, **SLOW)
@given(sheets(features=(*UNTIERED, "taxes", "fixed", "demand")), st.data())
def test_days_of_one_kind_may_change_places(sheet, data):
    """Two days in which every slot has the same period and price swap their use: the bill stays the same."""
    tariff = tariff_of(sheet, **EXACT)
    load = data.draw(loads(sheet, most_days=35, steps_min=(60,)))
    slots = 24
    days = len(load) // slots
    assume(days > 1 and len(load) % slots == 0)
    frame = tariff.frame(load.index[0], load.index[-1] + pd.Timedelta("1h"), "60 min")
    kinds = [frame.iloc[n * slots : (n + 1) * slots].astype(str).to_numpy().tolist() for n in range(days)]
    first = data.draw(st.integers(0, days - 1))
    same = [n for n in range(days) if n != first and kinds[n] == kinds[first]]
    assume(same)
    other = data.draw(st.sampled_from(same))
    assume(not any("demand" in change for change in sheet.get("versions", ())))
    use = load.to_numpy().copy().reshape(days, slots)
    use[[first, other]] = use[[other, first]]
    swapped = pd.Series(use.reshape(-1), load.index)
    for lines in sheet.get("demand", {}).values():
        assume("hours" not in lines and "periods" not in lines)  # these need not be the same on the two days
    assert amounts(tariff.bill(swapped)) == pytest.approx(amounts(tariff.bill(load)), rel=1e-9, abs=1e-9)


@settings(max_examples=EXAMPLES, **SLOW)
@given(sheets(features=("periods", "tiers", "components", "fixed", "demand")), st.data())
def test_taxes_are_linear(sheet, data):
    """Twice the percentage is twice the tax, two taxes are their sum, and a tax of all is one of every line."""
    load = data.draw(loads(sheet, most_days=35))
    taxes = {"one": "4 %", "two": "8 %", "three": "12 % of charges", "listed": "4 %"}
    lines = [*amounts(tariff_of(sheet, **EXACT).bill(load))]
    taxes["listed"] += " of " + ", ".join(lines)
    bill = amounts(tariff_of(sheet, taxes=taxes, **EXACT).bill(load))
    charges = sum(bill[name] for name in lines)
    expected = {
        "one": 0.04 * charges,
        "two": 2 * bill["one"],
        "three": bill["one"] + bill["two"],
        "listed": bill["one"],
    }
    assert {name: bill[name] for name in taxes} == pytest.approx(expected, rel=1e-9, abs=1e-8)


@settings(max_examples=EXAMPLES, **SLOW)
@given(
    sheets(features=(*UNTIERED, "own periods", "tiers", "all units", "cases", "fixed", "minimum", "taxes", "losses")),
    st.data(),
)
def test_the_zone_of_a_series_does_not_matter(sheet, data):
    """The same instants written in another time zone are the same use."""
    tariff = tariff_of(sheet)
    load = data.draw(loads(sheet, most_days=35))
    elsewhere = load.tz_convert(data.draw(st.sampled_from(["Asia/Tokyo", "UTC", "America/St_Johns"])))
    assert tariff.bill(elsewhere).items == tariff.bill(load).items


@settings(max_examples=EXAMPLES, **SLOW)
@given(sheets(features=(*UNTIERED, "tiers", "all units", "cases", "fixed", "taxes", "losses"), grid_min=60), st.data())
def test_hours_of_quarters_cost_the_same_energy(sheet, data):
    """Where everything changes on the hour, use by quarters of an hour costs what its hours cost."""
    tariff = tariff_of(sheet, **EXACT)
    load = data.draw(loads(sheet, most_days=35, steps_min=(15,)))
    assume(len(load) % 4 == 0)
    hours = pd.Series(load.to_numpy().reshape(-1, 4).sum(axis=1), load.index[::4])
    assert amounts(tariff.bill(hours)) == pytest.approx(amounts(tariff.bill(load)), rel=1e-9, abs=1e-9)


@settings(max_examples=EXAMPLES // 2, **SLOW)
@given(
    sheets(
        features=(*UNTIERED, "tiers", "all units", "cases", "fixed", "demand", "minimum", "credits", "taxes", "losses")
    ),
    st.data(),
)
def test_a_table_of_households_is_their_single_bills(sheet, data):
    """The bills of many households at once are those of each alone."""
    tariff = tariff_of(sheet)
    load = data.draw(loads(sheet, most_days=65))
    frame = pd.DataFrame({name: load * times for name, times in (("a", 1.0), ("b", 0.25), ("c", 0.0), ("d", 4.0))})
    table = tariff.bill_table(frame)
    for name in frame:
        total = float(sum(bill.total for bill in tariff.bills(frame[name])))
        assert float(table[name].sum()) == pytest.approx(total, abs=1e-9)
