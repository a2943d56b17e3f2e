"""The laws offered to people who test their own sheets: sound tariffs keep them, and each finds what breaks it."""

import json
import os
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

import chargeplan.testing
from chargeplan.tariff import Tariff, load_tariff, read_tariff, shipped_sheets
from chargeplan.testing import LAWS, check_all, example_load, loads, sheets

EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "20"))

SHEET = """\
name: Everything
currency: USD
timezone: America/Denver
seasons: {summer: Jun - Sep, winter: rest}
periods: {peak: 16:00-21:00 on weekdays, other: rest}
components:
  energy: {summer: {peak: 0.3, other: 0.1}, winter: 0.12 up to 300 then 0.15}
  delivery: {peak: 0.05, other: 0.02}
adders: {night credit: {price: -0.015, hours: 00:00-06:00}}
fixed: {service: 12 per month}
demand: {evening: {price: 7, hours: 16:00-21:00, interval: 30 min}}
taxes: {tax: 5 %}
export: 0.08
"""
ALWAYS = ["every_minute_has_a_price", "cuts_do_not_matter"]


def kept_by(text):
    tariff = read_tariff(text)
    return check_all(tariff, example_load(tariff, days=70))


def test_a_sound_sheet_keeps_all_laws():
    """A sheet with periods, seasons, tiers, a demand charge and a discount by the hour keeps what it promises."""
    assert kept_by(SHEET) == list(LAWS)


@pytest.mark.parametrize("name", shipped_sheets())
def test_shipped_sheets_keep_the_laws(name):
    """All sheets that come with the package; one has a demand charge, and tiers that fall in winter."""
    absent = {"whole-bill": "more_use_costs_no_less"}.get(name, "demand_rises_with_load")
    assert set(check_all(load_tariff(name))) == set(LAWS) - {absent}


@settings(max_examples=EXAMPLES, deadline=None, suppress_health_check=list(HealthCheck))
@given(sheets(), st.data())
def test_random_sheets_keep_the_laws(sheet, data):
    """Whatever a sheet says and whatever is used, no law is broken."""
    kept = check_all(read_tariff(json.dumps(sheet)), data.draw(loads(sheet, most_days=40)) + 1 / 16)
    assert set(kept) >= set(ALWAYS)


@pytest.mark.parametrize(
    ("more", "absent"),
    [
        ("prices: 0.1 up to 300 then 0.2", {"bills_add_up", "bill_scales_with_load", "demand_rises_with_load"}),
        ("prices: -0.1", {"more_use_costs_no_less", "demand_rises_with_load"}),
        # Of two adders one takes more than there is to take.
        (
            "prices: 0.1\nadders: {a: {price: -0.2, hours: 00:00-06:00}}",
            {"more_use_costs_no_less", "demand_rises_with_load"},
        ),
        # 1 kWh more than 100 makes all of them cheaper.
        (
            "components: {energy: {tiers: all units, price: 0.3 up to 100 then 0.1}}",
            {"more_use_costs_no_less", "bills_add_up", "bill_scales_with_load", "demand_rises_with_load"},
        ),
        # A cheap kWh before noon moves a dear one of the afternoon into the second tier.
        (
            "periods: {am: 00:00-12:00, pm: rest}\nprices: {am: 0.1 up to 100 then 0.1, pm: 0.4 up to 100 then 0.1}",
            {"more_use_costs_no_less", "bills_add_up", "bill_scales_with_load", "demand_rises_with_load"},
        ),
        # Falling tiers alone do no harm.
        ("prices: 0.4 up to 100 then 0.1", {"bills_add_up", "bill_scales_with_load", "demand_rises_with_load"}),
        ("prices: 0.1\ndemand: {peak: {price: -1}}", {"more_use_costs_no_less", "demand_rises_with_load"}),
        ("prices: 0.1\ntaxes: {discount: -5 %}", {"more_use_costs_no_less", "demand_rises_with_load"}),
        (
            "components: {energy: {price: 0.123, rounding: down}}",
            {"next_kwh_is_the_slope", "demand_rises_with_load"},
        ),
    ],
)
def test_laws_apply_only_where_the_sheet_promises_them(more, absent):
    """What a sheet says decides on what may be expected of its bills."""
    assert set(kept_by(f"name: A\ncurrency: USD\ntimezone: UTC\n{more}\n")) == set(LAWS) - absent


# ------------------------------------------------------------------------------------------------ broken tariffs


class PriceWithAHole(Tariff):
    def frame(self, start, end, step="15 min"):
        frame = super().frame(start, end, step)
        frame.loc[frame.index[7], "price_per_kwh"] = np.nan
        return frame


class PeriodFromNowhere(Tariff):
    def frame(self, start, end, step="15 min"):
        return super().frame(start, end, step).astype({"period": str}).replace({"period": {"peak": "peek"}})


class FirstSlotIsDear(Tariff):
    def prices(self, start, end, step="15 min"):
        prices = super().prices(start, end, step)
        return prices + np.where(np.arange(len(prices)) == 0, 1.0, 0.0)


class EveryBillHasAnExtra(Tariff):
    """One cent more of every line, in every bill: it neither adds up nor scales."""

    def bill(self, load, **options):
        bill = super().bill(load, **options)
        cent = type(bill.total)("0.01")
        return replace(bill, items=tuple(replace(item, amount=item.amount + cent) for item in bill.items))


class DiscountForHeavyUse(Tariff):
    """The more is used, the less of everything is charged."""

    def bill(self, load, **options):
        bill = super().bill(load, **options)
        share = type(bill.total)(str(10 / float(load.sum())))
        items = tuple(replace(item, amount=item.amount * share) for item in bill.items)
        return replace(bill, items=items, total=bill.total * share)


class NextKwhIsTheAverage(Tariff):
    def next_kwh(self, load, **options):
        return super().next_kwh(load, **options) * 0 + float(self.bill(load).total) / load.sum()


@pytest.mark.parametrize(
    ("broken", "law", "message"),
    [
        (PriceWithAHole, "every_minute_has_a_price", "at 2026-01-01 01:45 the price_per_kwh is nan"),
        (PeriodFromNowhere, "every_minute_has_a_price", "at 2026-01-01 16:00 there is no period of the sheet"),
        (FirstSlotIsDear, "cuts_do_not_matter", "in a span that begins on 2026-01-07"),
        (EveryBillHasAnExtra, "bills_add_up", "of `delivery`, but the bill says"),
        (EveryBillHasAnExtra, "bill_scales_with_load", "three times the use should cost"),
        (DiscountForHeavyUse, "demand_rises_with_load", "the demand charge `evening` falls from"),
        (DiscountForHeavyUse, "more_use_costs_no_less", "when all use grows by an eighth, the bill falls from"),
        (NextKwhIsTheAverage, "next_kwh_is_the_slope", "one more kWh is said to cost"),
    ],
)
def test_each_law_finds_what_breaks_it(broken, law, message):
    """A tariff spoilt on purpose in one way breaks the law made for it, and the message says where."""
    sound = read_tariff(SHEET)
    spoilt = broken(**{name: getattr(sound, name) for name in sound.__dataclass_fields__})
    load = example_load(sound, days=70)
    assert LAWS[law](sound, load)
    with pytest.raises(AssertionError, match=message):
        LAWS[law](spoilt, load)
    with pytest.raises(AssertionError, match=f"^{law.replace('_', ' ')}: .*{message}|\n{law.replace('_', ' ')}: "):
        check_all(spoilt, load)


# ------------------------------------------------------------------------------------------------ the example load


def test_the_example_load():
    """It is the same every time, lies within the sheet, and begins and ends at midnight of the sheet's clock."""
    text = "{name: A, currency: USD, timezone: America/Denver, clock: UTC, prices: 1, "
    text += "effective: 2026-03-01, until: 2026-03-31}"
    load = example_load(read_tariff(text))
    assert load.index[0] == datetime(2026, 3, 1, tzinfo=UTC)
    assert load.index[-1] == datetime(2026, 3, 31, 23, 30, tzinfo=UTC)
    assert load.min() > 0
    assert load.nunique() > 10
    pd.testing.assert_series_equal(load, example_load(read_tariff(text)))
    year = example_load(load_tariff("flat"))
    assert len(year) == 2 * 8760
    assert 2000 < year.sum() < 10000


def test_the_names_of_the_package():
    """Every name that is offered is there, and no other is."""
    assert chargeplan.testing.__all__ == dir(chargeplan.testing)
    for name in chargeplan.testing.__all__:
        assert getattr(chargeplan.testing, name) is not None
    with pytest.raises(AttributeError, match="has no attribute 'lows'"):
        _ = chargeplan.testing.lows
