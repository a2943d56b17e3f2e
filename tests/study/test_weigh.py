"""Which equipment pays, with invented prices in ranges of common practice, against arithmetic by hand."""

from dataclasses import replace
from datetime import date

import numpy as np
import numpy_financial as npf
import pandas as pd
import pytest

import chargeplan
from chargeplan.charging import Circuit, Evse
from chargeplan.errors import InputError
from chargeplan.study.cell import unit_rows
from chargeplan.study.driving import Driving
from chargeplan.study.equipment import CAUTION, Equipment
from chargeplan.study.spending import Terms
from chargeplan.study.study import Study, units
from chargeplan.study.uncertain import Doubt
from chargeplan.study.weigh import weigh_equipment

OUTLET = Equipment("outlet", Circuit(15, volts=120), Evse(12))
RECEPTACLE = Equipment("receptacle", Circuit(50, volts=240), Evse(40), purchase=300, labor=250, permit=50)
WIRED = Equipment("hard-wired", Circuit(60, volts=240), Evse(48), purchase=800, labor=250, permit=50)
EQUIPMENT = {"outlet": OUTLET, "receptacle": RECEPTACLE, "hard-wired": WIRED}
HOME = replace(chargeplan.load_household("demo"), stops=())
RATES = {"summer-peak": HOME.tariff}


def rows_of(**changed):
    given = {"households": {"demo": HOME}, "tariffs": RATES, "first": date(2026, 1, 1), "days": 365}
    study = Study("w", **{**given, "equipment": EQUIPMENT, "strategies": ("optimal",), **changed})
    return pd.DataFrame([row.as_dict() for unit in units(study) for row in unit_rows(unit)])


@pytest.fixture(scope="module")
def rows():
    return rows_of(draws=3, driving={"usual": Driving(spread=0.5)})


def test_present_cost_is_that_of_numpy_financial(rows):
    """Outlay and ten growing yearly costs, discounted by numpy-financial's `npv`."""
    terms = Terms(10, 0.05, price_growth=0.02)
    found = weigh_equipment(rows, EQUIPMENT, HOME, terms, Doubt(draws=50), today="outlet")
    for choice in found.choices:
        yearly = rows[rows.equipment == choice.name].car_cost.mean()
        flows = [EQUIPMENT[choice.name].outlay, *(yearly * 1.02**year for year in range(10))]
        assert choice.present_cost == pytest.approx(float(npf.npv(0.05, flows)))
        assert choice.annual_cost == pytest.approx(-float(npf.pmt(0.05, 10, choice.present_cost)))
    assert [c.present_cost for c in found.choices] == sorted(c.present_cost for c in found.choices)
    assert found.caution == CAUTION
    assert "licensed electrician" in CAUTION


def test_payback_by_hand():
    """A receptacle for 600 that saves 100 a year at steady prices is paid back after six years."""
    base = rows_of(days=28)
    made = pd.concat([base[base.equipment == name] for name in ("outlet", "receptacle")])
    made = made.assign(car_cost=[500.0, 400.0])
    some = {name: EQUIPMENT[name] for name in ("outlet", "receptacle")}
    found = weigh_equipment(made, some, HOME, Terms(10, 0.05), Doubt(draws=20), today="outlet")
    by_name = {choice.name: choice for choice in found.choices}
    assert by_name["receptacle"].payback_years == pytest.approx(6.0)
    assert by_name["receptacle"].outlook.payback_years.middle == pytest.approx(6.0)
    assert by_name["outlet"].payback_years == 0
    assert by_name["outlet"].outlook is None


def test_the_plain_outlet_is_enough_for_the_family_and_the_receptacle_never_pays(rows):
    """29 miles a day: common practice, no source, says that 120 V is enough under 40 miles with some nine hours."""
    found = weigh_equipment(rows, EQUIPMENT, HOME, Terms(10, 0.05), Doubt(draws=100), today="outlet", reliability=0.9)
    by_name = {choice.name: choice for choice in found.choices}
    assert found.least in {"outlet", "receptacle"}
    assert by_name["receptacle"].share_met == 1
    assert by_name["outlet"].share_met < 1  # days are uneven: some nights are too short after a long day
    assert by_name["outlet"].lowest_soc > 0.2
    miles = [
        choice.limit.wall_kw * choice.limit.gain / HOME.vehicle.battery_kwh_per_km / 1.609344
        for choice in (by_name["receptacle"], by_name["hard-wired"])
    ]
    assert miles[1] >= miles[0]


def test_what_is_there_costs_nothing_more(rows):
    """None stands for the household's own circuit and EVSE, with the limit of its file."""
    both = rows_of(equipment={"as it is": None, "hard-wired": WIRED}, days=60)
    found = weigh_equipment(
        both, {"as it is": None, "hard-wired": WIRED}, HOME, Terms(10, 0.05), Doubt(draws=20), today="as it is"
    )
    by_name = {choice.name: choice for choice in found.choices}
    assert (by_name["as it is"].outlay, by_name["as it is"].limit) == (0, HOME.limit)
    assert found.least == "as it is"
    assert by_name["hard-wired"].payback_years == np.inf
    assert len(found.frame()) == 2


def test_mistakes(rows):
    terms, doubt = Terms(10, 0.05), Doubt(draws=5)
    with pytest.raises(InputError, match="the equipment `sun` is not in the study; name one of outlet, receptacle"):
        weigh_equipment(rows, EQUIPMENT, HOME, terms, doubt, today="sun")
    two = pd.concat([rows, rows.assign(household="other")])
    with pytest.raises(InputError, match="one household, way of driving and rate at a time"):
        weigh_equipment(two, EQUIPMENT, HOME, terms, doubt, today="outlet")
