"""Years under rates that charge for the highest power: against brute force, and never dearer than a habit."""

from dataclasses import replace
from datetime import date
from itertools import product

import numpy as np
import pandas as pd
import pytest

import chargeplan
from chargeplan.plan.problem import Problem
from chargeplan.study.cell import unit_rows
from chargeplan.study.driving import Driving
from chargeplan.study.house_load import UsualLoad
from chargeplan.study.study import Study, units
from chargeplan.study.whole_bill_year import plan_whole_bill_year
from chargeplan.study.year_bills import bill_grid, bills_with
from chargeplan.study.year_plan import plan_year

HOME = replace(chargeplan.load_household("demo"), stops=())
HEAD = "name: power\ncurrency: USD\ntimezone: America/Denver\n"
POWER = chargeplan.read_tariff(
    HEAD + "periods: {night: '22:00-06:00', rest: rest}\nprices: {night: 0.10, rest: 0.12}\n"
    "demand: {all hours: {price: 9, interval: 60 min}}\n"
)
FALLING = chargeplan.read_tariff(HEAD + "prices: 0.30 up to 400 then 0.10\ndemand: {all hours: {price: 9}}\n")


def rows_of(tariff, **changed):
    given = {"households": {"demo": HOME}, "tariffs": {"t": tariff}, "first": date(2026, 1, 1), "days": 90}
    house = {"demo": UsualLoad(HOME.timezone, 24.0)}
    study = Study("power", **{**given, "house": house, "driving": {"usual": Driving(spread=0.4)}, **changed})
    return pd.DataFrame([row.as_dict() for unit in units(study) for row in unit_rows(unit)])


def test_the_plan_with_the_whole_bill_is_the_cheapest():
    """By much: charging at full current adds kilowatts to the bill that the plan spreads over the night."""
    rows = rows_of(POWER).set_index("strategy")
    assert rows.method["optimal"] == "whole bill"
    assert rows.missed["optimal"] == rows.missed["at once"] == 0
    assert rows.bill["optimal"] + 100 < rows.bill["at once"]
    assert rows.bill["optimal"] + 100 < rows.bill["timer"]


def test_brute_force_on_one_evening():
    """Three hours of 0, 2 or 4 kWh each in every combination that fills the battery, billed by the tariff itself."""
    first = date(2026, 3, 2)
    bills = bill_grid(POWER, first, 1, UsualLoad(HOME.timezone, 24.0), 60)
    start_s = bills.start_s[19:22]
    problem = Problem(
        start_s=start_s,
        hours=np.ones(3),
        stay=np.zeros(3, dtype=np.int64),
        price_per_kwh=POWER.price_array(start_s, 3600),
        max_kwh=np.full(3, 4.0),
        gain=np.ones(3),
        need_kwh=np.array([6.0]),
        drive_kwh=np.zeros(1),
        level_kwh=0.0,
        capacity_kwh=6.0,
        step_s=3600,
    )
    plan = plan_whole_bill_year(problem, bills, np.ones(3, dtype=bool), "earliest")

    def billed(wall_kwh):
        return float(bills_with(bills, bills.car_kwh(start_s, np.asarray(wall_kwh))[:, None])[1][0])

    steps = np.arange(0, 4.01, 0.25)
    least = min(billed(wall) for wall in product(steps, repeat=3) if abs(sum(wall) - 6) < 1e-9)
    assert billed(plan.wall_kwh) == pytest.approx(least, abs=0.13)  # as near as quarters of a kWh get
    assert billed(plan.wall_kwh) <= least + 0.011
    assert billed(plan_year(problem).wall_kwh) > least + 0.5  # one day of a month: a thirty-first of the charge


def test_where_arrays_cannot_say_the_sheet_the_price_of_the_next_kwh_decides():
    """Falling tiers: the bill is the tariff's own all the same."""
    rows = rows_of(FALLING, strategies=("optimal",))
    assert rows.method[0] in {"merit order", "whole bill"}
    assert rows.bill[0] > rows.house_bill[0]
