"""A year of a rate sheet day by day: in which period, at which price, every part of each hour is."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from math import gcd
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray, day_number, day_of_number
from chargeplan.errors import InputError
from chargeplan.tariff.tariff import Tariff

#: A time that the clock skips, or a day on which the sheet is not in force.
NONE: Final = -1
#: Prices per kWh that differ by less print alike on any bill.
_DIGITS: Final = 7
#: Boundaries on another clock than the wall clock lie on quarters of an hour: no zone is offset by less.
_QUARTER_MIN: Final = 15


#: Where a sheet gives no date.
_SOME_DAY: Final = date(2026, 1, 1)


@dataclass(frozen=True)
class Cell:
    """What holds at some time.

    Parameters
    ----------
    period : str
        Name of the period.
    price_per_kwh : float
        Everything included.
    """

    period: str
    price_per_kwh: float


@dataclass(frozen=True, eq=False)
class YearGrid:
    """A year laid out by days and by the time that the wall clock shows.

    Parameters
    ----------
    first : datetime.date
        The day of the first row.
    step_min : int
        Minutes of a column; it divides half an hour.
    code : int array, shape (days, 1440 / step_min)
        Position in `cells`, `NONE` for a time that the clock skips and for days without the sheet. Of a
        time shown twice it is the first.
    cells : tuple of Cell
        What the codes mean: dearest first.
    holiday : bool array, shape (days,)
        Whether the day is a holiday of the sheet.
    odd : bool array, shape (days,)
        Whether the clock changes on the day.
    season : int array, shape (days,)
        Which of `seasons` the day begins in.
    seasons : tuple of str
        Names of the seasons that occur.
    minutes : int array, shape (days, 1440 / step_min)
        How long each part lasts: 0 for a time that the clock skips, double for one that it shows twice.
    """

    first: date
    step_min: int
    code: IntArray = field(repr=False)
    cells: tuple[Cell, ...]
    holiday: NDArray[np.bool_] = field(repr=False)
    odd: NDArray[np.bool_] = field(repr=False)
    season: IntArray = field(repr=False)
    seasons: tuple[str, ...]
    minutes: IntArray = field(repr=False)

    def day(self, position: int) -> date:
        """Give the date of a row."""
        return self.first + timedelta(days=int(position))

    def prices(self) -> NDArray[np.float64]:
        """Give the price of every cell of the grid, NaN where there is none."""
        price = np.array([*(cell.price_per_kwh for cell in self.cells), np.nan])
        return price[self.code]

    def turns(self) -> frozenset[int]:
        """List the rows on which a season begins."""
        return frozenset((np.flatnonzero(np.diff(self.season)) + 1).tolist())


def in_force(tariff: Tariff) -> tuple[date | None, date | None]:
    """Give the first and the last day of a sheet, None where it has none."""
    return tariff.sheet.effective, tariff.sheet.until


def nearest_year(tariff: Tariff, year: int) -> int:
    """Find the year nearest to another in which a sheet is in force.

    Examples
    --------
    >>> from chargeplan.tariff import read_tariff
    >>> text = "{name: A, currency: USD, timezone: America/Denver, effective: 2030-05-01, prices: 0.2}"
    >>> nearest_year(read_tariff(text), 2026)
    2030
    """
    first, last = in_force(tariff)
    if first is not None and year < first.year:
        return first.year
    return last.year if last is not None and year > last.year else year


def cut_to_years(first: date | None, last: date | None, years: int) -> tuple[date, date]:
    """Choose days between two dates, not more than some years of them.

    Parameters
    ----------
    first, last : datetime.date or None
        The dates; None where there is no limit.
    years : int
        How many years.

    Returns
    -------
    tuple of datetime.date
        First and last day.

    Examples
    --------
    >>> begin, end = cut_to_years(date(2020, 2, 29), None, 1)
    >>> str(begin), str(end)
    ('2020-02-29', '2021-02-27')
    """
    length = timedelta(days=int(365.25 * years) - 1)
    if first is None:
        first = _SOME_DAY if last is None or last >= _SOME_DAY + length else last - length
    return first, first + length if last is None else min(last, first + length)


def year_grid(tariff: Tariff, year: int) -> YearGrid:
    """Lay out a year of a sheet.

    Parameters
    ----------
    tariff : Tariff
        The sheet.
    year : int
        Calendar year on the wall clock of the sheet's time zone.

    Returns
    -------
    YearGrid
        One row for every day of the year.

    Raises
    ------
    InputError
        If the sheet is not in force on any day of the year.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> grid = year_grid(load_tariff("two-period"), 2026)
    >>> grid.code.shape, grid.cells[0]
    ((365, 48), Cell(period='peak', price_per_kwh=0.318))
    """
    first, last = date(year, 1, 1), date(year, 12, 31)
    begins, ends = in_force(tariff)
    begin, end = max(first, begins or first), min(last, ends or last)
    if begin > end:
        dates = f"{'begins on ' + str(begins) if begins and begins > last else 'ends on ' + str(ends)}"
        raise InputError(
            f"the sheet `{tariff.name}` {dates}, so there is nothing of {year}; choose {nearest_year(tariff, year)}"
        )
    return day_grid(tariff, begin, end, first, last)


def day_grid(tariff: Tariff, begin: date, end: date, first: date | None = None, last: date | None = None) -> YearGrid:
    """Lay out some days of a sheet.

    Parameters
    ----------
    tariff : Tariff
        The sheet.
    begin, end : datetime.date
        First and last day, on which the sheet must be in force.
    first, last : datetime.date, optional
        First and last row of the grid, if it is to have days without the sheet.

    Returns
    -------
    YearGrid
        One row for every day.
    """
    import pandas as pd

    first, last = first or begin, last or end
    step_min = gcd(tariff.resolution_min, 30)
    if getattr(tariff.sheet, "clock", "wall") != "wall":
        step_min = gcd(step_min, _QUARTER_MIN)
    frame = tariff.frame(begin, end + timedelta(days=1), step_min)
    index = pd.DatetimeIndex(frame.index)
    local_min = index.tz_localize(None).to_numpy().astype("datetime64[m]").astype(np.int64)
    day = local_min // 1440 - day_number(first)
    days = (last - first).days + 1
    # Parts of a day that a sheet's own clock adds before or after are of no row.
    slot, inside = local_min % 1440 // step_min, (day >= 0) & (day < days)
    label = np.asarray(frame["period"].astype(str), dtype=object)
    price = np.round(frame["price_per_kwh"].to_numpy(dtype=float), _DIGITS) + 0.0
    names, period = np.unique(label.astype(str), return_inverse=True)
    kinds, code = np.unique(np.column_stack([-price, period]), axis=0, return_inverse=True)
    grid = np.full((days, 1440 // step_min), NONE, dtype=np.int64)
    back = np.flatnonzero(inside)[::-1]  # backwards, so that of a time shown twice the first stays
    grid[day[back], slot[back]] = code.reshape(-1)[back]
    minutes = np.zeros_like(grid)
    np.add.at(minutes, (day[inside], slot[inside]), step_min)
    length = minutes.sum(axis=1)
    seasons, season = np.unique(np.asarray(frame["season"].astype(str), dtype=str), return_inverse=True)
    by_day = np.full(days, NONE, dtype=np.int64)
    by_day[day[back]] = season.reshape(-1)[back]
    return YearGrid(
        first,
        step_min,
        grid,
        tuple(Cell(str(names[int(kind[1])]), float(-kind[0]) + 0.0) for kind in kinds),
        np.array([tariff.is_holiday(day_of_number(day_number(first) + n)) for n in range(days)], dtype=bool),
        (length != 1440) & (length != 0),
        by_day,
        tuple(map(str, seasons)),
        minutes,
    )
