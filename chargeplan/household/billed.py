"""Which slots of a plan are on the household's bills, together with what the house uses."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from chargeplan.household.house_use import HouseUse, billing_month_end, house_metered
from chargeplan.tariff import Tariff

if TYPE_CHECKING:
    from chargeplan.plan.bill_slots import BilledSlots
    from chargeplan.plan.problem import Problem
    from chargeplan.tariff.bill_rise import BillRise


def billed_slots(
    tariff: Tariff,
    house: HouseUse,
    now_s: int,
    problem: Problem,
    home: list[bool],
    *,
    drawn_kwh: NDArray[np.float64] | None = None,
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
    drawn_kwh : array, shape (n,), optional
        What the car draws in each slot in any case, for preconditioning.

    Returns
    -------
    list of BilledSlots, or None
        None where prices by the hour say all there is, or where the slots do not fit the intervals of the meter.
        Where arrays cannot say all of the sheet (see `bill_shapes`), one `RisenSlots` for all bills.
    """
    from chargeplan.plan.bill_slots import BilledSlots
    from chargeplan.tariff.bill_rise import BillRise
    from chargeplan.tariff.bill_shaping import BillFormError, bill_shapes
    from chargeplan.tariff.billing import Known

    at_home = np.flatnonzero(np.array(home)[problem.stay])
    if not at_home.size:
        return None
    known = tariff.as_known(datetime.fromtimestamp(now_s, UTC))
    last = int(known.timeline.local(problem.start_s[at_home[-1:]])[0][0])
    found = house_metered(known, house, now_s, billing_month_end(known, last), problem.step_s)
    begin_s = int(found.start_s[0])
    if begin_s % problem.step_s:
        return None
    rise = BillRise(known.desk, found, Known(reached_kw=house.highest_kw, reached_later_kw=house.highest_kw))
    interval = (problem.start_s[at_home] - begin_s) // problem.step_s
    drawn = np.zeros(rise.intervals)
    if drawn_kwh is not None:
        np.add.at(drawn, interval, drawn_kwh[at_home])
    if found.step_s != problem.step_s:
        return [_risen(rise, at_home, interval, drawn, "the sheet divides the intervals of the plan")]
    try:
        shapes = bill_shapes(known.desk, rise.with_more(drawn), rise.known)
    except BillFormError as error:
        return [_risen(rise, at_home, interval, drawn, error.because)]
    if all(shape.by_the_hour for shape in shapes):
        return None
    bills = []
    for shape in shapes:
        here = (problem.start_s[at_home] - shape.start_s) // shape.step_s
        inside = (here >= 0) & (here < shape.price.size)
        if inside.any():
            own = np.zeros(drawn.size)
            own[interval[inside]] = drawn[interval[inside]]
            bills.append(BilledSlots(shape, at_home[inside], here[inside], rise.cost(own)))
    return bills


def _risen(
    rise: BillRise, slot: NDArray[np.int64], interval: NDArray[np.int64], drawn_kwh: NDArray[np.float64], because: str
) -> BilledSlots:
    from chargeplan.plan.bill_slots import RisenSlots
    from chargeplan.tariff.bill_shape import BillShape

    price = rise.next_kwh(drawn_kwh)
    found = rise.found
    shape = BillShape(int(found.start_s[0]), found.read_step_s, price, np.zeros(price.size), (), (), None)
    return RisenSlots(shape, slot, interval, rise=rise, drawn_kwh=drawn_kwh, because=because)
