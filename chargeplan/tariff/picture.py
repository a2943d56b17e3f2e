"""What an hours-by-months picture of a rate sheet shows, as arrays."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray
from chargeplan.tariff.day_panels import Panel, Row, panels
from chargeplan.tariff.day_words import days_text
from chargeplan.tariff.tariff import Tariff
from chargeplan.tariff.traits import Traits, traits_of
from chargeplan.tariff.year_grid import NONE, YearGrid, year_grid

#: One sign for each step, cheapest first.
MARKS: Final = "123456789abcdefghijklmnopqrstuvwxyz"
#: Where there are more prices than signs, the means of the months are drawn in so many bands.
_BANDS: Final = 9


@dataclass(frozen=True)
class Step:
    """One shade of the picture.

    Parameters
    ----------
    mark : str
        The sign that stands for it.
    periods : tuple of str
        Names of the periods that are drawn so.
    low, high : float
        Least and greatest price per kWh, everything included.
    """

    mark: str
    periods: tuple[str, ...]
    low: float
    high: float


@dataclass(frozen=True, eq=False)
class Picture:
    """The hours of a year, by months.

    Parameters
    ----------
    name, currency, timezone : str
        Of the sheet.
    year : int
        The year shown.
    step_min : int
        Minutes of a column of a row's `code`; it divides half an hour.
    steps : tuple of Step
        Cheapest first; the codes of the rows are positions in it.
    panels : tuple of Panel
        Days that are alike, each with its rows in time.
    holidays : tuple of datetime.date
        Holidays of the year, where the sheet treats them unlike other days of their week.
    averaged : bool
        Whether there are more prices than signs, so that every row shows the mean of its month in bands.
    begins, ends : datetime.date or None
        First and last day of the sheet, if a part of the year lies outside.
    traits : Traits
        What prices by the hour do not tell.
    """

    name: str
    currency: str
    timezone: str
    year: int
    step_min: int
    steps: tuple[Step, ...]
    panels: tuple[Panel, ...]
    holidays: tuple[date, ...] = ()
    averaged: bool = False
    begins: date | None = None
    ends: date | None = None
    traits: Traits = field(default_factory=Traits)


def picture(tariff: Tariff, year: int) -> Picture:
    """Work out the picture of a sheet.

    Parameters
    ----------
    tariff : Tariff
        The sheet.
    year : int
        Calendar year.

    Returns
    -------
    Picture
        One panel for all days that are alike. A month in which the hours or prices change has a row
        for each of its parts.

    Raises
    ------
    InputError
        If the sheet is not in force in that year.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> shown = picture(load_tariff("summer-peak"), 2026)
    >>> [(panel.days, len(panel.rows)) for panel in shown.panels]
    [('weekdays', 12), ('weekends and holidays', 12)]
    >>> shown.steps[0]
    Step(mark='1', periods=('overnight',), low=0.1826775, high=0.1826775)
    """
    grid = year_grid(tariff, year)
    averaged = len(grid.cells) > len(MARKS)
    if averaged:
        steps, found = _averaged(grid)
    else:
        # The cells of the grid have the dearest first, the steps the cheapest.
        code = np.where(grid.code == NONE, NONE, len(grid.cells) - 1 - grid.code)
        found = panels(code, grid.first, grid.holiday, grid.odd, turning_days(tariff, grid))
        steps = tuple(
            Step(mark, (cell.period,), cell.price_per_kwh, cell.price_per_kwh)
            for mark, cell in zip(MARKS, reversed(grid.cells), strict=False)
        )
    named = np.flatnonzero(grid.holiday & (grid.code >= 0).any(axis=1)).tolist()
    unlike = any("holidays" in panel.days for panel in found)
    begins, ends = tariff.sheet.effective, tariff.sheet.until
    return Picture(
        tariff.name,
        tariff.currency,
        tariff.timezone,
        year,
        grid.step_min,
        steps,
        found,
        tuple(map(grid.day, named)) if unlike else (),
        averaged,
        begins if begins and begins > grid.first else None,
        ends if ends and ends < date(year, 12, 31) else None,
        traits_of(tariff),
    )


def turning_days(tariff: Tariff, grid: YearGrid) -> frozenset[int]:
    """List the rows on which a season, a version or an override of the sheet begins, or an override ends."""
    begins: list[date] = [version.from_ for version in tariff.sheet.versions]
    for part in tariff.sheet.overrides:
        after = part.to + timedelta(days=1) if part.to else part.from_ + timedelta(days=part.days or 0)
        begins += [part.from_, after]
    rows = ((day - grid.first).days for day in begins)
    return grid.turns() | {row for row in rows if 0 <= row < len(grid.code)}


def _averaged(grid: YearGrid) -> tuple[tuple[Step, ...], tuple[Panel, ...]]:
    """Shade by the mean price of each time of day, by month."""
    price = grid.prices()
    counts = (grid.code >= 0).any(axis=1)
    days = [grid.day(n) for n in range(len(price))]
    weekend = np.array([day.weekday() >= 5 for day in days])
    month = np.array([day.month for day in days])
    means: list[tuple[int, Row, NDArray[np.float64]]] = []
    for panel, chosen in enumerate((~weekend, weekend)):
        for number in range(1, 13):
            here = np.flatnonzero(chosen & (month == number) & counts)
            if here.size:
                whole = np.flatnonzero((month == number) & counts)
                row = Row(days[int(whole[0])], days[int(whole[-1])], np.zeros(0, dtype=np.int64))
                means.append((panel, row, np.nanmean(price[here], axis=0)))
    everything = np.concatenate([mean for *_, mean in means])
    low, high = float(everything.min()), float(everything.max())
    edges = np.linspace(low, high, _BANDS + 1)
    rows: list[list[Row]] = [[], []]
    for panel, row, mean in means:
        band: IntArray = np.clip(np.searchsorted(edges, mean, side="right") - 1, 0, _BANDS - 1)
        rows[panel].append(Row(row.first, row.last, band))
    steps = tuple(Step(MARKS[n], (), float(edges[n]), float(edges[n + 1])) for n in range(_BANDS))
    names = days_text(range(5)), days_text((5, 6))
    return steps, tuple(Panel(name, tuple(part)) for name, part in zip(names, rows, strict=True) if part)
