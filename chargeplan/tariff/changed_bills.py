"""What a change of rates does to the bills of a year."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

import numpy as np

from chargeplan.errors import InputError
from chargeplan.tariff.sheet_clock import SheetClock
from chargeplan.tariff.tariff import Tariff

if TYPE_CHECKING:
    import pandas as pd

#: More in one month is a slip of units.
_MOST_KWH = 1e9


@dataclass(frozen=True)
class LineAmounts:
    """A line of the bills before and after.

    Parameters
    ----------
    name : str
        The line.
    old, new : Decimal or None
        Its amounts added up; None where the bills do not have it.
    """

    name: str
    old: Decimal | None
    new: Decimal | None

    @property
    def change(self) -> Decimal:
        """How much more the new bills ask for."""
        return (self.new or Decimal(0)) - (self.old or Decimal(0))


@dataclass(frozen=True)
class BillChange:
    """The bills of some use by two sheets.

    Parameters
    ----------
    first, last : datetime.date
        First and last day.
    bought_kwh, sold_kwh : float
        Energy of all bills.
    lines : tuple of LineAmounts
        In the order of the new bills, then what is gone.
    total : LineAmounts
        What is due for all bills together.
    notes : tuple of str
        What the bills say of themselves, such as a demand taken from hourly data.
    """

    first: date
    last: date
    bought_kwh: float
    sold_kwh: float
    lines: tuple[LineAmounts, ...]
    total: LineAmounts
    notes: tuple[str, ...] = ()


def even_use(kwh_per_month: float, year: int, clock: SheetClock) -> pd.Series[float]:
    """Spread the use of a month evenly over its hours, for every month of a year.

    Parameters
    ----------
    kwh_per_month : float
        Energy of every calendar month in kWh.
    year : int
        Calendar year.
    clock : SheetClock
        The clock by which months begin.

    Returns
    -------
    pandas.Series
        kWh of every hour, indexed by its start.

    Raises
    ------
    InputError
        If the energy is negative, or larger than anybody uses.

    Examples
    --------
    >>> load = even_use(700, 2026, SheetClock.build("America/Denver"))
    >>> len(load), float(load.sum().round(6)), float(load.loc["2026-02"].sum().round(6))
    (8760, 8400.0, 700.0)
    """
    import pandas as pd

    if not 0 <= kwh_per_month <= _MOST_KWH:
        raise InputError(f"a use of {kwh_per_month:g} kWh a month cannot be; write for example 700")
    starts = np.array([clock.day_start_s(date(year, month, 1)) for month in range(1, 13)])
    grid_s = np.arange(starts[0], clock.day_start_s(date(year + 1, 1, 1)), 3600)
    month = np.searchsorted(starts, grid_s, side="right") - 1
    index = pd.to_datetime(grid_s, unit="s", utc=True).tz_convert(clock.timezone).rename("start")
    return pd.Series(kwh_per_month / np.bincount(month)[month], index=index, name="kwh")


def bill_change(
    old: Tariff,
    new: Tariff,
    load: pd.Series[float],
    export: pd.Series[float] | None = None,
    *,
    old_load: pd.Series[float] | None = None,
) -> BillChange:
    """Compare the bills of the same use by two sheets.

    Parameters
    ----------
    old, new : Tariff
        The sheets; each must hold for all days of the load.
    load, export : pandas.Series
        kWh bought and sold in every interval, as `Tariff.bills` takes them.
    old_load : pandas.Series, optional
        What is bought by the old sheet, where its days begin at other instants.

    Returns
    -------
    BillChange
        Every line added up over the bills.
    """
    loads = (load if old_load is None else old_load), load
    bills = [list(tariff.bills(kwh, export=export)) for tariff, kwh in zip((old, new), loads, strict=True)]
    sums: list[dict[str, Decimal]] = [{}, {}]
    for found, of in zip(sums, bills, strict=True):
        for bill in of:
            for name, amount in bill.lines.items():
                found[name] = found.get(name, Decimal(0)) + amount
    names = dict.fromkeys((*sums[1], *sums[0]))
    totals = [sum((bill.total for bill in of), Decimal(0)) for of in bills]
    return BillChange(
        min(bill.start for of in bills for bill in of),
        max(bill.end for of in bills for bill in of),
        float(load.sum()),
        float(export.sum()) if export is not None else 0.0,
        tuple(LineAmounts(name, sums[0].get(name), sums[1].get(name)) for name in names),
        LineAmounts("total", *totals),
        tuple(dict.fromkeys(note for of in bills for bill in of for note in bill.notes)),
    )
