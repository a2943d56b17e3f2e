"""Studies under any rate sheet: the bills are the tariff's own, and the plan is never beaten where hours decide."""

import json
import os
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import event, given, settings
from hypothesis import strategies as st

import chargeplan
from chargeplan.study.cell import unit_rows
from chargeplan.study.driving import Driving
from chargeplan.study.house_load import UsualLoad
from chargeplan.study.study import Study, one_unit
from chargeplan.study.whole_bill_year import charges_power
from chargeplan.study.year_bills import hangs_on_use
from chargeplan.study.year_slots import house_and_car
from chargeplan.testing import sheets

EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "40"))
HOME = replace(chargeplan.load_household("demo"), stops=())


@settings(deadline=None, max_examples=EXAMPLES)
@given(sheets(), st.dates(date(2024, 1, 1), date(2027, 6, 1)), st.integers(3, 40), st.integers(0, 9))
def test_bills_are_the_tariffs_own_and_the_plan_is_the_cheapest(sheet, first, days, seed):
    """House and car of each way of charging laid out by interval, and billed by the tariff anew."""
    tariff = chargeplan.read_tariff(json.dumps(sheet))
    home = replace(HOME, timezone=tariff.timezone)
    study = Study(
        "any",
        {"home": home},
        {"t": tariff},
        first,
        days,
        driving={"usual": Driving(spread=0.4)},
        house={"home": UsualLoad(tariff.timezone, 18.0)},
        seed=seed,
    )
    unit = one_unit(study)
    rows = {row.strategy: row for row in unit_rows(unit)}
    event("planned and billed, " + rows["optimal"].method)
    for strategy, row in rows.items():
        load = house_and_car(unit, strategy)
        index = pd.DatetimeIndex(load.index)
        both = pd.Series((load.house_kwh + load.car_kwh).to_numpy(), index=index)
        assert row.bill == pytest.approx(float(tariff.bills(both).total), abs=0.02)
        house = pd.Series(load.house_kwh.to_numpy(), index=index)
        assert row.house_bill == pytest.approx(float(tariff.bills(house).total), abs=0.02)
    if not hangs_on_use(tariff) and not charges_power(tariff):
        cents = 0.02 * (days / 28 + 2) * 12  # every line of every bill is rounded
        for other in ("timer", "at once"):
            if rows[other].missed == rows["optimal"].missed:
                assert rows["optimal"].car_cost <= rows[other].car_cost + cents
    assert np.isfinite([row.car_cost for row in rows.values()]).all()
