"""What a change of rates changes: hours, prices, lines of the sheet."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, timedelta
from math import gcd
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray
from chargeplan.errors import InputError
from chargeplan.reading import Document
from chargeplan.tariff.changed_hours import ChangedHours, changed_hours
from chargeplan.tariff.changed_lines import LineChange, changed_lines
from chargeplan.tariff.stretches import Stretch, stretch_on, stretches, tariff_of
from chargeplan.tariff.tariff import Tariff
from chargeplan.tariff.year_grid import NONE, Cell, YearGrid, year_grid

#: Means of prices are taken over so many minutes at a time.
_STEP_MIN: Final = 60


@dataclass(frozen=True)
class HourChange:
    """Some hours of the year that have another period or price than before.

    Parameters
    ----------
    days, dates, hours : str
        When: ``weekdays``, ``Jun-Sep``, ``16:00-17:00``. No days and hours mean all hours of the period.
    old, new : Cell
        Period and price before and after.
    """

    days: str
    dates: str
    hours: str
    old: Cell
    new: Cell


@dataclass(frozen=True, eq=False)
class Difference:
    """What changes from one sheet to another.

    Parameters
    ----------
    old, new : Tariff
        The terms compared, as sheets that hold at all times.
    since : tuple of two datetime.date or None
        First day of the terms compared.
    year : int
        The year on which both are laid out.
    moved : tuple of HourChange
        Hours that are in another period.
    moved_hours : float
        How many there are in the year.
    repriced : tuple of HourChange
        Hours that stay in their period and have another price.
    renamed : tuple of (str, str)
        Periods that only have another name: they are not among the hours moved.
    lines : tuple of LineChange
        Whatever is written otherwise.
    mean : tuple of two float
        Price per kWh before and after, everything included, averaged over all hours of the year.
    holidays_apart : bool
        Whether days of the week are meant without holidays, because those change otherwise.
    """

    old: Tariff
    new: Tariff
    since: tuple[date | None, date | None]
    year: int
    moved: tuple[HourChange, ...]
    moved_hours: float
    repriced: tuple[HourChange, ...]
    renamed: tuple[tuple[str, str], ...]
    lines: tuple[LineChange, ...]
    mean: tuple[float, float]
    holidays_apart: bool

    @property
    def nothing(self) -> bool:
        """Whether both are the same."""
        return not (self.moved or self.repriced or self.renamed or self.lines)


def difference(
    old: Document,
    new: Document | None = None,
    *,
    old_day: date | None = None,
    new_day: date | None = None,
    year: int | None = None,
) -> Difference:
    """Compare two sheets, or a sheet on two dates.

    Parameters
    ----------
    old, new : Document
        Sheets without mistakes; without a new one, the old one on another date.
    old_day, new_day : datetime.date, optional
        On which date their terms are taken. Without it: of two sheets the last terms of each, of one
        sheet the last terms and those before.
    year : int, optional
        The year to lay both out on. Without it, the one in which the new terms begin, or this year.

    Returns
    -------
    Difference
        Both taken as if they held for the whole year.

    Raises
    ------
    InputError
        If the currencies differ, or a sheet is not in force on the date.

    Examples
    --------
    >>> from chargeplan.reading import read_document
    >>> text = '''
    ... {name: A, currency: USD, timezone: America/Denver, effective: 2026-01-01,
    ...  periods: {peak: "16:00-21:00 on weekdays", off-peak: rest}, prices: {peak: 0.42, off-peak: 0.18},
    ...  versions: [{from: 2026-07-01, periods: {peak: "17:00-21:00 on weekdays", off-peak: rest}}]}
    ... '''
    >>> for change in difference(read_document("a.yaml", text=text)).moved:
    ...     print(change.days, change.dates, change.hours, change.old.period, "->", change.new.period)
    weekdays all year 16:00-17:00 peak -> off-peak
    """
    before, after = _chosen(old, new, old_day, new_day)
    one, other = tariff_of(old, before), tariff_of(new or old, after)
    if one.currency != other.currency:
        raise InputError(
            f"one sheet is in {one.currency}, the other in {other.currency}; compare sheets of one currency"
        )
    chosen = year or (after.first.year if after.first else date.today().year)
    grids = year_grid(one, chosen), year_grid(other, chosen)
    pairs = _pairs(*grids)
    moved, repriced, apart = _hour_changes(pairs, *grids)
    moving = [code for code in pairs.cells if not pairs.stays(code)]
    return Difference(
        one,
        other,
        (before.first, after.first),
        chosen,
        tuple(moved),
        _hours_of(grids[0], np.isin(pairs.code, moving)),
        tuple(repriced),
        tuple(pairs.renamed.items()),
        changed_lines(before.terms, after.terms),
        (_mean(one, chosen), _mean(other, chosen)),
        apart,
    )


def _chosen(old: Document, new: Document | None, old_day: date | None, new_day: date | None) -> tuple[Stretch, Stretch]:
    last = stretches(new or old)[-1]
    after = stretch_on(new or old, new_day) if new_day else last
    if old_day is not None:
        return stretch_on(old, old_day), after
    if new is not None:
        return stretches(old)[-1], after
    if after.first is None or after.first == stretches(old)[0].first:
        raise InputError(
            f"{old.file} has no terms before those of {new_day or 'today'}; name a second sheet, or give two dates"
        )
    return stretch_on(old, after.first - timedelta(days=1)), after


def _mean(tariff: Tariff, year: int) -> float:
    return float(tariff.prices(date(year, 1, 1), date(year + 1, 1, 1), _STEP_MIN).mean())


@dataclass(frozen=True, eq=False)
class _Pairs:
    """What every part of the year is before and after."""

    code: IntArray
    cells: dict[int, tuple[Cell, Cell]]
    renamed: dict[str, str]

    def stays(self, code: int) -> bool:
        """Tell whether such hours stay in their period."""
        was, now = self.cells[code]
        return self.renamed.get(was.period, was.period) == now.period

    def same(self, code: int) -> bool:
        """Tell whether such hours are as they were."""
        was, now = self.cells[code]
        return was.price_per_kwh == now.price_per_kwh and self.stays(code)

    def whole(self, code: int, days: NDArray[np.bool_]) -> bool:
        """Tell whether on some days such hours are all hours of their period, before and after."""
        return self.stays(code) and not np.isin(self.code[days], self.others(code)).any()

    def others(self, code: int) -> list[int]:
        """List what else hours of the same period become, or were."""
        was, now = self.cells[code]
        return [
            other
            for other, (old, new) in self.cells.items()
            if other != code and (old.period == was.period or new.period == now.period)
        ]


def _pairs(old: YearGrid, new: YearGrid) -> _Pairs:
    step_min = gcd(old.step_min, new.step_min)
    one, other = (np.repeat(grid.code, grid.step_min // step_min, axis=1) for grid in (old, new))
    width = len(new.cells)
    code = np.where((one != NONE) & (other != NONE), one * width + other, NONE)
    found = [int(number) for number in np.unique(code) if number != NONE]
    cells = {number: (old.cells[number // width], new.cells[number % width]) for number in found}
    return _Pairs(code, cells, _renamed(list(cells.values())))


def _hour_changes(pairs: _Pairs, old: YearGrid, new: YearGrid) -> tuple[list[HourChange], list[HourChange], bool]:
    """Tell the hours that are in another period, and those that are in the same at another price."""
    same = [code for code in pairs.cells if pairs.same(code)]
    changes, apart = changed_hours(
        np.where(np.isin(pairs.code, same), same[0], pairs.code) if same else pairs.code,
        old.first,
        old.holiday | new.holiday,
        old.odd | new.odd,
        turns=old.turns() | new.turns(),
        unchanged=frozenset(same),
    )
    moved: list[HourChange] = []
    repriced: list[HourChange] = []
    for code in dict.fromkeys(change.code for change in changes):
        ours = [change for change in changes if change.code == code]
        dates = {change.dates: change.ranges for change in ours if not change.single}
        if pairs.stays(code) and not pairs.others(code):
            ours = [ChangedHours(code, "", "all year", "")]
        elif len(dates) == 1 and pairs.whole(code, _days(old, *dates.values())):
            ours = [ChangedHours(code, "", next(iter(dates)), "")]
        found = [HourChange(change.days, change.dates, change.hours, *pairs.cells[code]) for change in ours]
        (repriced if pairs.stays(code) else moved).extend(found)
    return moved, repriced, apart


def _hours_of(grid: YearGrid, marked: NDArray[np.bool_]) -> float:
    """Add up the time of some parts of a year, which may be finer than those of the grid."""
    times = int(marked.shape[1]) // int(grid.minutes.shape[1])
    return float((np.repeat(grid.minutes, times, axis=1) * marked).sum()) / times / 60


def _days(grid: YearGrid, ranges: tuple[tuple[date, date], ...]) -> NDArray[np.bool_]:
    """Mark the rows of a grid that lie in some spans of dates."""
    marked = np.zeros(len(grid.code), dtype=bool)
    for first, last in ranges:
        marked[(first - grid.first).days : (last - grid.first).days + 1] = True
    return marked


def _renamed(pairs: list[tuple[Cell, Cell]]) -> dict[str, str]:
    """Find the periods of which every hour is in one period of the new sheet, and the other way round."""
    found: dict[str, str] = {}
    for was, now in pairs:
        forth = {new.period for old, new in pairs if old.period == was.period}
        back = {old.period for old, new in pairs if new.period == now.period}
        names = {old.period for old, _ in pairs}, {new.period for _, new in pairs}
        new_name = was.period not in names[1] and now.period not in names[0]
        if new_name and len(forth) == len(back) == 1:
            found[was.period] = now.period
    return found
