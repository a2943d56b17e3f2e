"""A year planned against whole bills, where a rate charges for the highest power."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import SolverError
from chargeplan.plan.bill_slots import BilledSlots
from chargeplan.plan.problem import Problem
from chargeplan.plan.whole_bill import plan_whole_bill
from chargeplan.study.year_bills import BillGrid
from chargeplan.study.year_plan import YearPlan, outcome_of
from chargeplan.tariff import Tariff
from chargeplan.tariff.bill_shaping import BillFormError, bill_shapes
from chargeplan.tariff.billing import Known
from chargeplan.tariff.usage import Metered

#: How it is called where the results say how a year was planned.
WHOLE_BILL: Final = "whole bill"


def charges_power(tariff: Tariff) -> bool:
    """Tell whether a rate charges for the highest power, which prices by the hour cannot say.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> charges_power(load_tariff("summer-peak")), charges_power(load_tariff("whole-bill"))
    (False, True)
    """
    return any(rates.demand for rates in tariff.versions)


def plan_whole_bill_year(
    problem: Problem, bills: BillGrid, at_home: NDArray[np.bool_], tie_break: str
) -> YearPlan | None:
    """Plan a year so that the bills of house and car together come to the least.

    Parameters
    ----------
    problem : Problem
        Of a year, without a taper and without rules about switching.
    bills : BillGrid
        The rate and the house.
    at_home : bool array, shape (n,)
        Which slots are on these bills.
    tie_break : str
        Which of equally cheap plans.

    Returns
    -------
    YearPlan or None
        One linear program for all bills of the year. None where arrays cannot say all of the sheet, where the tier
        depends on the order of the hours, or where the solver does not prove its answer.
    """
    house = bills.house_kwh[:, None]
    found = Metered.build(bills.tariff.timeline, bills.start_s, bills.step_s, house, np.zeros_like(house))
    if found.step_s != bills.step_s:
        return None
    try:
        shapes = bill_shapes(bills.tariff.desk, found, Known())
    except BillFormError:
        return None
    if any(shape.crossings or shape.choices for shape in shapes):
        return None
    slots = np.flatnonzero(at_home)
    interval = bills.intervals_of(problem.start_s[slots])
    billed = []
    for shape in shapes:
        here = interval - (shape.start_s - int(bills.start_s[0])) // bills.step_s
        inside = (here >= 0) & (here < shape.price.size)
        if inside.any():
            billed.append(BilledSlots(shape, slots[inside], here[inside]))
    order = "as needed" if tie_break == "fewest starts" else tie_break
    with suppress(SolverError):
        plan = plan_whole_bill(problem, billed, tie_break=order)
        if plan.optimal:
            return replace(outcome_of("optimal", WHOLE_BILL, problem, plan.battery_kwh), wall_kwh=plan.wall_kwh)
    return None
