"""The bills of a year: the house with and without the car, many cars at once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from math import gcd

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import DAY_S, IntArray
from chargeplan.study.house_load import HouseLoad
from chargeplan.tariff import Tariff

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class BillGrid:
    """The intervals that the bills of a span count.

    Parameters
    ----------
    tariff : Tariff
        By which they are made.
    start_s : int array, shape (n,)
        Starts of intervals that follow one another, UTC seconds.
    step_s : int
        Length of each; nothing that the sheet tells apart lies within one.
    house_kwh : array, shape (n,)
        What the house uses.
    """

    tariff: Tariff
    start_s: IntArray
    step_s: int
    house_kwh: Floats

    def intervals_of(self, start_s: IntArray) -> IntArray:
        """Find the interval in which each instant lies; before the first, that, and after the last, that."""
        found: IntArray = np.clip((start_s - self.start_s[0]) // self.step_s, 0, self.start_s.size - 1)
        return found

    def car_kwh(self, start_s: IntArray, wall_kwh: Floats) -> Floats:
        """Add up what is drawn in slots that begin at some instants, by interval.

        Parameters
        ----------
        start_s : int array, shape (k,)
            Starts of slots, none of which reaches beyond its interval.
        wall_kwh : array, shape (k,)
            Energy of each.

        Returns
        -------
        array, shape (n,)
        """
        found = np.bincount(self.intervals_of(start_s), weights=wall_kwh, minlength=self.start_s.size)
        return found.astype(np.float64)


def step_min(tariff: Tariff, first: date, days: int) -> int:
    """Give the longest slot, in minutes and at most an hour, within which a tariff tells nothing apart.

    Parameters
    ----------
    tariff : Tariff
        Its hours, and the intervals over which it measures power.
    first : datetime.date
        First day.
    days : int
        Number of days. A clock that is half an hour from UTC has half-hour slots, as slots are counted in UTC.

    Returns
    -------
    int

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> [step_min(load_tariff(name), date(2026, 1, 1), 365) for name in ("summer-peak", "half-hours")]
    [60, 30]
    """
    powers = [line.interval_s // 60 for rates in tariff.versions for line in rates.demand]
    clock = tariff.timeline.clock
    # An offset holds for weeks at least, so one instant a week meets all of them.
    weeks = clock.day_start_s(first) + 7 * DAY_S * np.arange(days // 7 + 2)
    offsets = np.unique(clock.local_seconds(weeks) - weeks) // 60
    return gcd(60, tariff.resolution_min, *powers, *offsets.tolist())


def bill_grid(tariff: Tariff, first: date, days: int, house: HouseLoad | None, step: int) -> BillGrid:
    """Lay whole days on intervals of a tariff's clock.

    Parameters
    ----------
    tariff : Tariff
        By which bills are made.
    first : datetime.date
        First day.
    days : int
        Number of days.
    house : HouseLoad, optional
        What the house uses; nothing without.
    step : int
        Length of an interval in minutes.

    Returns
    -------
    BillGrid
    """
    clock = tariff.timeline.clock
    begin_s, end_s = clock.day_start_s(first), clock.day_start_s(first + timedelta(days=days))
    start_s = np.arange(begin_s, end_s, 60 * step, dtype=np.int64)
    used = np.zeros(start_s.size) if house is None else house.kwh(start_s, 60 * step)
    return BillGrid(tariff, start_s, 60 * step, used)


def bills_with(grid: BillGrid, car_kwh: Floats) -> tuple[float, Floats]:
    """Work out the bills of the house alone, and with each of some cars.

    Parameters
    ----------
    grid : BillGrid
        Intervals and house.
    car_kwh : array, shape (n, cars)
        What each car draws on top of it.

    Returns
    -------
    house : float
        What the bills of the house alone come to.
    with_car : array, shape (cars,)
        The same with each car: the sum of the tariff's own bills, rounded as the sheet says.
    """
    import pandas as pd

    index = pd.DatetimeIndex(grid.start_s.astype("datetime64[s]"), tz="UTC", name="start")
    load = grid.house_kwh[:, None] + np.column_stack([np.zeros(grid.start_s.size), car_kwh])
    if any(line.floor is not None and line.floor.share for rates in grid.tariff.versions for line in rates.demand):
        # What past bills had decides, so each household goes through its bills alone.
        totals = [float(grid.tariff.bills(pd.Series(column, index=index)).total) for column in load.T]
    else:
        totals = grid.tariff.bill_table(pd.DataFrame(load, index=index)).sum().tolist()
    return totals[0], np.array(totals[1:])


def hangs_on_use(tariff: Tariff) -> bool:
    """Tell whether the price of a kWh depends on what else is bought: by tiers, a minimum, or net metering.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> hangs_on_use(load_tariff("summer-peak")), hangs_on_use(load_tariff("whole-bill"))
    (False, True)
    """
    return any(
        any(line.tiered or len(line.cases) > 1 for line in rates.lines)
        or rates.minimum is not None
        or rates.net is not None
        for rates in tariff.versions
    )


def slot_prices(grid: BillGrid, slot_s: IntArray, step_s: int) -> Floats:
    """Give the price that one more kWh has in each slot, by the tariff and the house's own bill.

    Parameters
    ----------
    grid : BillGrid
        Intervals and house.
    slot_s : int array, shape (k,)
        Starts of whole slots in order of time, UTC seconds.
    step_s : int
        Their length.

    Returns
    -------
    array, shape (k,)
        Where tiers or a minimum make it depend on what else is bought, the price of the next kWh beside what the
        house uses; charges for the highest power are left out.
    """
    if not hangs_on_use(grid.tariff) or not grid.house_kwh.any():
        return grid.tariff.price_array(slot_s, step_s)
    from chargeplan.tariff.billing import Known
    from chargeplan.tariff.next_kwh import next_kwh_metered
    from chargeplan.tariff.usage import Metered

    house = grid.house_kwh[:, None]
    metered = Metered.build(grid.tariff.timeline, grid.start_s, grid.step_s, house, np.zeros_like(house))
    return next_kwh_metered(grid.tariff.desk, metered, Known(demand_kw=0.0))[grid.intervals_of(slot_s)]
