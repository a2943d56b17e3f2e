"""Which slots of a plan are on the household's bills, together with what the house uses."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np

from chargeplan.household.house_use import HouseUse, billing_month_end, house_metered
from chargeplan.tariff import Tariff

if TYPE_CHECKING:
    from chargeplan.plan.problem import Problem
    from chargeplan.plan.whole_bill import BilledSlots


def billed_slots(
    tariff: Tariff, house: HouseUse, now_s: int, problem: Problem, home: list[bool]
) -> list[BilledSlots] | None:
    """Put the slots at home on the bills of the billing months they lie in.

    Parameters
    ----------
    tariff : Tariff
        The rate at home.
    house : HouseUse
        What the house uses.
    now_s : int
        UTC seconds; called days are known as they are then.
    problem : Problem
        Slots of the plan.
    home : list of bool
        For each stay, whether it is on the household's bill.

    Returns
    -------
    list of BilledSlots, or None
        None where prices by the hour say all there is, or where the bill is not of the form that can be
        planned as a whole; see `bill_shapes`.
    """
    from chargeplan.plan.whole_bill import BilledSlots
    from chargeplan.tariff.bill_shape import bill_shapes
    from chargeplan.tariff.billing import Known

    at_home = np.flatnonzero(np.array(home)[problem.stay])
    if not at_home.size:
        return None
    known = tariff.as_known(datetime.fromtimestamp(now_s, UTC))
    last = int(known.timeline.local(problem.start_s[at_home[-1:]])[0][0])
    found = house_metered(known, house, now_s, billing_month_end(known, last), problem.step_s)
    begin_s = int(found.start_s[0])
    if found.step_s != problem.step_s or begin_s % problem.step_s:
        return None
    shapes = bill_shapes(known.desk, found, Known(demand_kw=house.highest_kw or None))
    if shapes is None or not any(shape.tiers or shape.peaks or shape.minimum for shape in shapes):
        return None
    bills = []
    for shape in shapes:
        interval = (problem.start_s[at_home] - shape.start_s) // shape.step_s
        inside = (interval >= 0) & (interval < shape.price.size)
        if inside.any():
            bills.append(BilledSlots(shape, at_home[inside], interval[inside]))
    return bills
