"""What the rest of the house uses: it decides which tier of the bill the car's energy falls in."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import lru_cache, partial
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import DAY_S, IntArray, day_number, day_of_number
from chargeplan.tariff import Tariff

if TYPE_CHECKING:
    from chargeplan.plan.schedule import Schedule
    from chargeplan.tariff.usage import Metered

PriceArray = Callable[[IntArray, int], NDArray[np.float64]]


@dataclass(frozen=True)
class HouseUse:
    """Energy of the house in the billing months at hand.

    Parameters
    ----------
    so_far_kwh : float
        What was bought since the last reading, the car included.
    per_day_kwh : float
        What is expected on each day to come, without what is planned; what the car will use on other days belongs to
        it.
    highest_kw : float
        Highest power since the last reading, for rates that charge for it; the guess for the bills after as well.
    """

    so_far_kwh: float
    per_day_kwh: float
    highest_kw: float = 0.0


def price_at(tariff: Tariff, house: HouseUse | None, now_s: int) -> Tariff | PriceArray:
    """Give the prices a plan should reckon with at an instant.

    Parameters
    ----------
    tariff : Tariff
        The rate at home.
    house : HouseUse or None
        What the house uses; None prices every kWh as the first of its bill.
    now_s : int
        UTC seconds.

    Returns
    -------
    Tariff or callable
        The tariff as it is known then; or, where a house is given, the price of one more kWh in every
        slot, by the tiers, minimum and taxes of the bill that the house would have without the car.
        Charges for the highest power are left out.
    """
    known = tariff.as_known(datetime.fromtimestamp(now_s, UTC))
    if house is None:
        return known

    # A plan asks for the same months again and again: for every stay, and for what it is compared with.
    months = lru_cache(maxsize=8)(partial(_next_kwh, known, house, now_s))

    def prices(start_s: IntArray, step_s: int) -> NDArray[np.float64]:
        last = int(known.timeline.local(start_s[-1:] + step_s - 1)[0][0])
        begin_s, price = months(billing_month_end(known, last), step_s)
        return np.asarray(price[np.clip((start_s - begin_s) // step_s, 0, price.size - 1)])

    return prices


def left_out(tariff: Tariff, house: HouseUse | None, *, whole: bool = False, because: str = "") -> tuple[str, ...]:
    """Say what of a rate the prices of a plan do not reckon with.

    Parameters
    ----------
    tariff : Tariff
        The rate at home.
    house : HouseUse or None
        What the house uses.
    whole : bool
        Whether the cost is the difference of two whole bills.
    because : str
        Why, even so, the plan was found by the price of one more kWh; empty if it was not.

    Returns
    -------
    tuple of str
        A sentence each; none for a rate that only has prices by the hour.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> left_out(load_tariff("summer-peak"), None)
    ()
    """
    found = []
    versions = tariff.timeline.versions
    demand = dict.fromkeys(line.name for rates in versions for line in rates.demand)
    names = ", ".join(f"`{name}`" for name in demand)
    if whole:
        if because:
            found.append(
                f"the cost is the difference of two bills, but the plan was found by the price of one more kWh, since "
                f"it cannot be planned against the whole bill with {because}; another plan may be cheaper"
            )
        if demand and house is not None and not house.highest_kw:
            found.append(
                f"the highest power of the house so far, which {names} may charge already, is not known; say `highest` "
                "under `house_use`"
            )
        if demand and house is not None and house.per_day_kwh:
            found.append(
                "`per_day` of `house_use` is spread evenly over the hours of a day; where the house alone has a higher "
                f"power at times, what {names} charges may be more than reckoned with, or the car may add less to it"
            )
        if any(rates.net is not None for rates in versions):
            found.append("`net_metering`: the plan does not know what the house sells, and reckons with nothing")
        return tuple(found)
    if demand:
        found.append(
            f"this rate also charges for the highest power ({names}); the plan leaves that out, so the bill may rise "
            "by much more than the cost shown"
        )
    if house is None and any(line.tiered for rates in versions for line in rates.lines):
        found.append(
            "every kWh is priced in the first tier; say `house_use` in the household file to plan with the tier "
            "that is reached"
        )
    elif house is not None and any(line.tiered for rates in versions for line in rates.lines):
        found.append(
            "every kWh is priced as the next one of the house's own bill; where the car itself reaches another tier, "
            "the bill rises by another amount than the cost shown"
        )
    return tuple(found)


def this_time_alone(schedule: Schedule) -> tuple[str, ...]:
    """Say what to mind where the cost of a plan depends on what else is on the bill.

    Parameters
    ----------
    schedule : Schedule
        The plan.

    Returns
    -------
    tuple of str
        A sentence if tiers, prices by use or a minimum that is not reached are at work; else none.
    """
    shapes = [bill.shape for bill in getattr(schedule, "bills", ())]
    tiers = any(shape.tiers or shape.crossings or shape.choices for shape in shapes)
    minimum = any(shape.minimum is not None and shape.minimum.missing > 0 for shape in shapes)
    named = " and ".join(name for name, is_there in (("tiers", tiers), ("the minimum", minimum)) if is_there)
    if not named:
        return ()
    return (
        f"{named} depend{'' if tiers else 's'} on all of the bill, of which only this plan, `so_far` and `per_day` are "
        "known; let `per_day` hold what the car will use on its other days, too",
    )


def mean_power_kept_low(schedule: Schedule, currency: str) -> tuple[str, ...]:
    """Say what to mind of a plan that keeps the mean power low, since the bill charges it.

    Parameters
    ----------
    schedule : Schedule
        The plan.
    currency : str
        That of the bill.

    Returns
    -------
    tuple of str
        A sentence each; none where the plan charges at the limit.
    """
    if schedule.slowly:
        less = schedule.certificate.gap
        switching = f"; switching on and off within these times might save up to {less:.2f} {currency}"
        return (
            "while the bill charges the highest mean power, the plan keeps it low with less current; more raises the "
            f"bill by more than is saved{switching if 0.005 <= less < np.inf else ''}",
        )
    if schedule.in_parts:
        steady, more = schedule.steady_cost, ""
        if steady is not None and steady - schedule.total_cost >= 0.005:
            more = f"; without switching on and off it would cost {steady - schedule.total_cost:.2f} {currency} more"
        return (
            "while the bill charges the highest mean power, the plan keeps it low by charging for a part of each "
            f"interval; keep to its times, as more raises the bill by more than is saved{more}",
        )
    return ()


def billing_month_end(tariff: Tariff, day: int) -> date:
    """Find the last day of the billing month of a day number."""
    from chargeplan.tariff.bill_days import add_months, billing_months

    first = day_of_number(day)
    return billing_months(first, add_months(first, 2), tariff.sheet.billing.reading_day)[0][1]


def _next_kwh(tariff: Tariff, house: HouseUse, now_s: int, end: date, step_s: int) -> tuple[int, NDArray[np.float64]]:
    """Price one more kWh in every slot from the last reading to the end of a billing month."""
    from chargeplan.tariff.billing import Known
    from chargeplan.tariff.next_kwh import next_kwh_metered

    metered = house_metered(tariff, house, now_s, end, step_s)
    return int(metered.start_s[0]), next_kwh_metered(tariff.desk, metered, Known(demand_kw=0.0))


def house_metered(tariff: Tariff, house: HouseUse, now_s: int, end: date, step_s: int) -> Metered:
    """Lay what the house uses on a grid, from the last reading to the end of a billing month.

    Parameters
    ----------
    tariff : Tariff
        The rate at home.
    house : HouseUse
        Its use, spread evenly before and after the present.
    now_s : int
        UTC seconds.
    end : datetime.date
        Last day.
    step_s : int
        Length of an interval.

    Returns
    -------
    Metered
        Without the car.
    """
    from chargeplan.tariff.bill_days import add_months
    from chargeplan.tariff.usage import Metered

    timeline = tariff.timeline
    reading_day = tariff.sheet.billing.reading_day
    today = day_of_number(int(timeline.local(np.array([now_s]))[0][0]))
    first = today.replace(day=reading_day)
    first = first if first <= today else add_months(first, -1)
    begin_s, end_s = timeline.clock.day_start_s(first), timeline.clock.day_start_s(day_of_number(day_number(end) + 1))
    grid = np.arange(begin_s, end_s, step_s, dtype=np.int64)
    kwh = np.full(grid.size, house.per_day_kwh * step_s / DAY_S)
    past = grid < now_s
    kwh[past] = house.so_far_kwh / max(1, int(past.sum()))
    return Metered.build(timeline, grid, step_s, kwh[:, None], np.zeros((grid.size, 1)))
