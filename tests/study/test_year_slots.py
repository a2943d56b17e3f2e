"""A planned year slot by slot: against its row, the tariff's own bill, and nights by hand."""

from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np
import pytest

import chargeplan
from chargeplan import household
from chargeplan.charging import Circuit, Evse
from chargeplan.errors import InputError
from chargeplan.study.cell import unit_rows
from chargeplan.study.driving import Driving
from chargeplan.study.equipment import Equipment
from chargeplan.study.house_load import UsualLoad
from chargeplan.study.study import RoadCharging, Study, one_unit, units
from chargeplan.study.unusual import LongTrips
from chargeplan.study.year_slots import house_and_car, year_slots

DEMO = chargeplan.load_household("demo")
RATES = {name: chargeplan.load_tariff(name) for name in ("flat", "summer-peak", "half-hours", "whole-bill")}
OUTLET = Equipment("outlet", Circuit(15, volts=120), Evse(12))
FAR = Driving(spread=0.4, long_trips=LongTrips(8, 300.0))


def study(**changed):
    """Ten weeks over a change of the clock, under four rates and with two choices of equipment."""
    given = {
        "households": {"demo": DEMO, "no stop": replace(DEMO, stops=())},
        "tariffs": RATES,
        "first": date(2026, 2, 1),
        "days": 70,
        "equipment": {"as it is": None, "outlet": OUTLET},
        "driving": {"usual": Driving(), "far": FAR},
        "house": {"demo": UsualLoad(DEMO.timezone, 24.0)},
        "road": RoadCharging(0.5),
        "seed": 3,
    }
    return Study("test", **{**given, **changed})


@pytest.mark.parametrize("tariff", list(RATES))
@pytest.mark.parametrize("strategy", ["optimal", "timer", "at once"])
def test_slots_add_up_to_the_row_of_the_study(tariff, strategy):
    """Another way to the numbers of a row: the slots summed, and the load billed by the tariff itself."""
    for equipment in ("as it is", "outlet"):
        unit = one_unit(study(), household="demo", driving="far", tariffs=tariff, equipment=equipment)
        row = next(row for row in unit_rows(unit) if row.strategy == strategy)
        slots, load = year_slots(unit, strategy), house_and_car(unit, strategy)
        home = slots[slots.place == "home"]
        away = slots[slots.place == "workplace"]
        assert set(slots.place) == {"home", "workplace"}
        assert home.wall_kwh.sum() == pytest.approx(row.home_kwh)
        assert away.wall_kwh.sum() == pytest.approx(row.stops_kwh)
        assert float(away.wall_kwh @ away.price_per_kwh) == pytest.approx(row.stops_cost)
        assert load.car_kwh.sum() == pytest.approx(row.home_kwh)
        assert float(RATES[tariff].bills(load.house_kwh + load.car_kwh).total) == pytest.approx(row.bill, abs=0.005)
        assert float(RATES[tariff].bills(load.house_kwh).total) == pytest.approx(row.house_bill, abs=0.005)
        assert min(slots.soc.min(), slots.soc_before.min()) == pytest.approx(row.lowest_soc, abs=1e-9)


def test_levels_follow_charging_and_driving():
    """Within a stay the battery gains what is drawn less the loss; between stays a leg takes its share of the day."""
    unit = one_unit(study(), household="demo", driving="usual", tariffs="summer-peak", equipment="as it is")
    slots = year_slots(unit)
    vehicle = DEMO.vehicle
    gain = slots.place.map({"home": DEMO.limit.gain, "workplace": DEMO.stops[0].limit.gain})
    gained = slots.wall_kwh * gain / vehicle.usable_kwh
    assert (slots.soc - slots.soc_before).to_numpy() == pytest.approx(gained.to_numpy(), abs=1e-9)
    left = slots.groupby(slots.stay).soc.last()
    came = slots.groupby(slots.stay).soc_before.first()
    driven = left.to_numpy()[:-1] - came.to_numpy()[1:]
    # Monday 2 February: 29 miles without a stop; Tuesday: the same in two legs.
    day = vehicle.drive_kwh(29 * 1.609344) / vehicle.usable_kwh
    ends = slots.groupby(slots.stay).tail(1).index.strftime("%a %H")
    assert driven[list(ends).index("Mon 07")] == pytest.approx(day, abs=1e-9)
    assert driven[list(ends).index("Tue 07")] == pytest.approx(day / 2, abs=1e-9)
    leaves = slots.groupby(slots.stay).tail(1).query("place == 'home'").iloc[:-1]
    assert (leaves.soc >= 0.8 - 1e-9).all()


def test_a_night_by_hand():
    """At once from 18:15 at 7.68 kW: 29 miles at 26.4 kWh/100 mi from the wall are just under an hour."""
    alone = study(households={"demo": replace(DEMO, stops=())}, driving={"usual": Driving()})
    slots = year_slots(one_unit(alone, tariffs="summer-peak", equipment="as it is"), "at once")
    monday = slots.loc["2026-02-02 18:00":"2026-02-03 07:15"].query("wall_kwh > 0")
    assert monday.index.strftime("%H:%M").tolist() == ["18:15", "19:00"]
    assert monday.hours.tolist() == [0.75, 1.0]
    assert monday.wall_kwh.sum() == pytest.approx(DEMO.vehicle.drive_kwh(29 * 1.609344) / DEMO.limit.gain)
    assert monday.wall_kwh.sum() == pytest.approx(29 * 0.264, rel=0.005)  # the label counts losses at another power
    assert monday.wall_kwh.iloc[0] == pytest.approx(0.75 * 7.68)
    assert monday.price_per_kwh.tolist() == pytest.approx([0.381 * 1.035] * 2)


def test_days_of_23_hours_and_instants():
    """The load has an interval for every hour that passes, and slots are shown on the household's clock."""
    unit = one_unit(study(), household="demo", driving="usual", tariffs="summer-peak", equipment="as it is")
    load = house_and_car(unit)
    assert str(load.index.tz) == "America/Denver"
    assert load.loc["2026-03-08"].shape[0] == 23
    assert load.shape[0] == 70 * 24 - 1
    assert np.all(np.diff(load.index.tz_convert("UTC").tz_localize(None).to_numpy()) == np.timedelta64(1, "h"))
    prices = RATES["summer-peak"].prices("2026-02-03", "2026-02-04", "1 h")
    assert load.loc["2026-02-03"].price_per_kwh.tolist() == pytest.approx(prices.tolist())


def test_rules_of_a_charger_cut_slots():
    """With a time in which nothing may be drawn, no slot in it draws, and the sum is still that of the row."""
    text = (Path(household.__file__).parent / "examples" / "demo.yaml").read_text(encoding="utf-8")
    ruled = chargeplan.read_household(text + "charging:\n  never: 01:20-03:00\n")
    only = study(households={"demo": ruled}, driving={"far": FAR})
    unit = one_unit(only, tariffs="summer-peak", equipment="as it is")
    slots = year_slots(unit)
    home = slots[slots.place == "home"]
    never = home.between_time("01:20", "03:00", inclusive="left")
    assert "01:20" in set(home.index.strftime("%H:%M"))
    assert len(never) > 60
    assert not never.wall_kwh.any()
    row = next(row for row in unit_rows(unit) if row.strategy == "optimal")
    assert home.wall_kwh.sum() == pytest.approx(row.home_kwh)
    assert house_and_car(unit).car_kwh.sum() == pytest.approx(row.home_kwh)


def test_one_unit_has_the_driving_of_the_study():
    """The same journeys as in the rows of the whole study: same seed, same numbers."""
    whole = study(draws=2)
    rows = [row for unit in units(whole) for row in unit_rows(unit)]
    picked = one_unit(whole, household="no stop", driving="far", tariffs="flat", equipment="outlet", draw=1)
    wanted = [
        row
        for row in rows
        if (row.household, row.driving, row.tariff, row.equipment, row.draw) == ("no stop", "far", "flat", "outlet", 1)
    ]
    assert unit_rows(picked) == wanted
    assert list(one_unit(whole, household="demo", driving="far").tariffs) == list(RATES)
    assert list(one_unit(whole, household="demo", driving="far", tariffs=["flat", "half-hours"]).tariffs) == [
        "flat",
        "half-hours",
    ]


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({}, "several households; name one of `demo`, `no stop`"),
        ({"household": "demo"}, "several ways of driving; name one of `usual`, `far`"),
        ({"household": "here", "driving": "far"}, "no household `here` in the study; name one of `demo`, `no stop`"),
        ({"household": "demo", "driving": "far", "tariffs": "night"}, "no rate `night`"),
        ({"household": "demo", "driving": "far", "tariffs": ["flat", "night"]}, "no rate `night`"),
        ({"household": "demo", "driving": "far", "equipment": "box"}, "no equipment `box`"),
        ({"household": "demo", "driving": "far", "draw": 1}, "no drawn year 1 in the study; give 0"),
    ],
)
def test_what_is_not_in_the_study(given, message):
    with pytest.raises(InputError, match=message):
        one_unit(study(), **given)


def test_one_rate_and_one_choice_of_equipment():
    unit = one_unit(study(), household="demo", driving="usual")
    with pytest.raises(InputError, match="one rate and one choice of equipment at a time"):
        year_slots(unit)
    one = one_unit(study(), household="demo", driving="usual", tariffs="flat", equipment="outlet")
    with pytest.raises(InputError, match="'cheapest' is no strategy; choose `optimal`, `timer` or `at once`"):
        house_and_car(one, "cheapest")
