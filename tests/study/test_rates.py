"""Ranking of rates, break-even distances and changes of price, against bills made anew."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest

import chargeplan
from chargeplan.errors import InputError
from chargeplan.study.cell import unit_rows
from chargeplan.study.driving import Driving
from chargeplan.study.house_load import UsualLoad
from chargeplan.study.rates import (
    SCALES,
    break_even,
    cheapest_by_distance,
    price_margin,
    rank_rates,
    with_prices_changed,
)
from chargeplan.study.study import Study, units

DEMO = chargeplan.load_household("demo")


def sheet(name, fixed, prices, periods=""):
    return chargeplan.read_tariff(
        f"name: {name}\ncurrency: USD\ntimezone: America/Denver\nfixed: {fixed} per month\n{periods}prices: {prices}\n"
    )


NIGHTS = "periods: {night: '23:00-07:00', rest: rest}\n"
RATES = {
    "plain": sheet("plain", 10, 0.20),
    "nights": sheet("nights", 16, "{night: 0.10, rest: 0.24}", NIGHTS),
    "members": sheet("members", 30, 0.16),
}


def study(rates=RATES, **changed):
    house = {"demo": UsualLoad(DEMO.timezone, 12.0)}
    given = {"households": {"demo": replace(DEMO, stops=())}, "tariffs": rates, "first": date(2026, 1, 1), "days": 365}
    return Study("rates", **{**given, "house": house, "driving": {"usual": Driving(spread=0.3)}, **changed})


def frame(of):
    return pd.DataFrame([row.as_dict() for unit in units(of) for row in unit_rows(unit)])


@pytest.fixture(scope="module")
def ranked():
    return rank_rates(frame(study()), today="plain")


def test_the_ranking_is_that_of_the_bills(ranked):
    """House and car together, each with the best hours of its own rate."""
    rows = frame(study()).query("strategy == 'optimal'").set_index("tariff")
    assert ranked.tariff.tolist() == rows.bill.sort_values().index.tolist()
    assert ranked["rank"].tolist() == [1, 2, 3]
    now = rows.bill["plain"]
    np.testing.assert_allclose(ranked.saves, [now - rows.bill[name] for name in ranked.tariff])
    np.testing.assert_allclose(ranked.above_cheapest, ranked.total - ranked.total.min())
    at_once = frame(study()).query("strategy == 'at once'").set_index("tariff").bill
    np.testing.assert_allclose(ranked.unshifted, [at_once[name] for name in ranked.tariff])


def test_a_flat_rate_costs_what_arithmetic_says(ranked):
    """12 months of 10 and 0.20 for every kWh of house and car; the house alone uses 12 kWh a day, but for the clock."""
    row = ranked.set_index("tariff").loc["plain"]
    kwh = frame(study()).query("strategy == 'optimal' and tariff == 'plain'").home_kwh.iloc[0]
    assert row.house_bill == pytest.approx(120 + 0.2 * 365 * 12, abs=0.1)
    assert row.bill - row.house_bill == pytest.approx(0.2 * kwh, abs=0.2)


def test_drawn_years_are_averaged_and_their_spread_shown():
    table = rank_rates(frame(study(draws=3, strategies=("optimal",))))
    assert (table.lowest < table.total).all()
    assert (table.total < table.highest).all()
    assert table.saves.isna().all()
    assert table.unshifted.isna().all()


def test_a_rate_of_today_that_is_not_there():
    with pytest.raises(InputError, match="`old`, is not in the study; name one of `plain`, `nights`, `members`"):
        rank_rates(frame(study(days=7)), today="old")


def test_prices_changed_are_bills_made_with_changed_prices(ranked):
    """Every amount of a sheet 7 % higher: the study made anew gives the totals that were reckoned."""
    dearer = {
        **RATES,
        "nights": sheet("nights", 16 * 1.07, f"{{night: {0.1 * 1.07:.5f}, rest: {0.24 * 1.07:.5f}}}", NIGHTS),
    }
    anew = rank_rates(frame(study(dearer))).set_index("tariff")
    reckoned = with_prices_changed(ranked, "nights", 0.07).set_index("tariff")
    for name in RATES:
        assert reckoned.total[name] == pytest.approx(anew.total[name], abs=0.15)
        assert reckoned["rank"][name] == anew["rank"][name]


def test_the_margin_is_where_the_ranking_turns(ranked):
    margin = price_margin(ranked)
    assert margin.tariff == ranked.tariff[0]
    assert margin.next_tariff == ranked.tariff[1]
    just_below = with_prices_changed(ranked, margin.tariff, margin.rise - 1e-6)
    just_above = with_prices_changed(ranked, margin.tariff, margin.rise + 1e-6)
    assert just_below.tariff[0] == margin.tariff
    assert just_above.tariff[0] == margin.next_tariff


def test_a_break_even_is_where_two_bills_meet():
    """Between plain and members both have one price, so the distance follows by arithmetic: 240 a year / 0.04."""
    unit = next(iter(units(study())))
    unit = replace(unit, tariffs=RATES, strategies=("optimal",))
    found = break_even(unit, "plain", "members")
    assert len(found) == 1
    assert (found[0].below, found[0].above) == ("plain", "members")
    rows = frame(study(strategies=("optimal",)))
    row = rows.query("tariff == 'plain'").iloc[0]
    per_km = row.home_kwh / row.distance_km
    house_kwh = UsualLoad(DEMO.timezone, 12.0)
    assert house_kwh.per_day_kwh == 12
    wanted_kwh = 240 / 0.04 - 365 * 12
    assert found[0].distance_km == pytest.approx(wanted_kwh / per_km, rel=2e-3)


def test_the_cheapest_along_the_distance():
    """Five rates on a dense grid of distances: which is cheapest there, by bills alone, and where that changes."""
    many = {
        **RATES,
        "steep": sheet("steep", 0, 0.32),
        "never": sheet("never", 40, 0.30),
        "all in": sheet("all in", 75, 0.07),
    }
    unit = replace(next(iter(units(study()))), tariffs=many, strategies=("optimal",))
    found = cheapest_by_distance(unit)
    assert len(found) >= 2
    assert [at.above for at in found[:-1]] == [at.below for at in found[1:]]
    assert [at.distance_km for at in found] == sorted(at.distance_km for at in found)
    for scale in np.linspace(0, SCALES[-1], 13):
        rows = unit_rows(replace(unit, driving=replace(unit.driving, scale=float(scale))))
        total = {row.tariff: row.bill + row.stops_cost + row.road_cost for row in rows}
        before = [at for at in found if at.distance_km <= rows[0].distance_km]
        told = before[-1].above if before else found[0].below
        assert total[told] <= min(total.values()) + 0.05, scale


def test_a_third_rate_between_two_distances():
    """Where two meet a third is cheaper already: both changes are found within one step of the scales."""
    unit = replace(next(iter(units(study()))), tariffs=RATES, strategies=("optimal",))
    coarse = cheapest_by_distance(unit, (0.0, 6.0))
    fine = cheapest_by_distance(unit, tuple(np.linspace(0.0, 6.0, 25)))
    assert [(at.below, at.above) for at in coarse] == [(at.below, at.above) for at in fine]
    assert [at.distance_km for at in coarse] == pytest.approx([at.distance_km for at in fine], rel=2e-3)


def test_no_break_even_where_one_rate_is_cheaper_all_along():
    unit = replace(next(iter(units(study()))), tariffs={"plain": RATES["plain"], "dear": sheet("dear", 20, 0.3)})
    assert break_even(unit, "plain", "dear") == ()
    with pytest.raises(InputError, match="must both be in the study"):
        break_even(unit, "plain", "members")
