"""The use of electricity that a bill charges: intervals or totals, on the sheet's clock, by version and cell."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray
from chargeplan.errors import InputError
from chargeplan.tariff.calendar import MINUTES
from chargeplan.tariff.lines import EnergyLine, FloatArray, PeriodTable
from chargeplan.tariff.price_arrays import ALL_HOURS
from chargeplan.tariff.rates import Rates, Slots
from chargeplan.tariff.timeline import Timeline


@dataclass(frozen=True, eq=False)
class Metered:
    """Energy per interval, for one household or for many.

    Parameters
    ----------
    start_s : int64 array, shape (n,)
        UTC seconds; the intervals follow one another.
    step_s : int
        Length of an interval; no boundary of the sheet divides one.
    day, minute : int64 arrays, shape (n,)
        On the sheet's clock.
    bought, sold : float arrays, shape (n, households)
        kWh.
    read_step_s : int
        Length of the intervals as they were read.
    """

    start_s: IntArray
    step_s: int
    day: IntArray
    minute: IntArray
    bought: FloatArray = field(repr=False)
    sold: FloatArray = field(repr=False)
    read_step_s: int = 0

    @classmethod
    def build(cls, timeline: Timeline, start_s: IntArray, step_s: int, bought: FloatArray, sold: FloatArray) -> Metered:
        """Cut intervals at the boundaries of a sheet, each part with its share of the energy."""
        start_s, part_s, day, minute = timeline.cut(start_s, step_s)
        parts = step_s // part_s
        if parts > 1:
            bought, sold = np.repeat(bought / parts, parts, axis=0), np.repeat(sold / parts, parts, axis=0)
        return cls(start_s, part_s, day, minute, bought, sold, step_s)

    @cached_property
    def sells(self) -> bool:
        """Whether anything is sold at all; sums of nothing but zeros are left out, which halves the work."""
        return bool(self.sold.any())


class Use(Protocol):
    """The use of one bill."""

    day: IntArray
    version: IntArray

    @property
    def bought_kwh(self) -> FloatArray:
        """Energy bought, shape (households,)."""

    @property
    def sold_kwh(self) -> FloatArray:
        """Energy sold, shape (households,)."""

    def sums(self, version: int, table: int) -> tuple[NDArray[np.bool_], FloatArray, FloatArray]:
        """Give which cells of a table occur, and the energy bought and sold in each, shape (cells, households)."""

    def order(self, version: int, table: int) -> tuple[IntArray, FloatArray, FloatArray] | None:
        """Give the cell, and the energy bought and sold, of every interval in time order; None without intervals."""

    def slots(self, version: int) -> Slots | None:
        """Give where the intervals lie; None without intervals."""


class IntervalUse:
    """The use of one bill, by intervals.

    Parameters
    ----------
    timeline : Timeline
        The versions of the sheet.
    metered : Metered
        All intervals there are.
    first_day, last_day : int
        Day numbers of the bill.
    """

    def __init__(self, timeline: Timeline, metered: Metered, first_day: int, last_day: int) -> None:
        first, end = np.searchsorted(metered.day, [first_day, last_day + 1])
        self.timeline, self.metered, self.span = timeline, metered, slice(int(first), int(end))
        self.day = np.arange(first_day, last_day + 1, dtype=np.int64)
        self.version = timeline.version_of(self.day)
        slot_version = timeline.version_of(metered.day[self.span])
        self.parts: dict[int, slice] = {}
        for version in np.unique(self.version):
            begin, stop = np.searchsorted(slot_version, [version, version + 1])
            self.parts[int(version)] = slice(int(first) + int(begin), int(first) + int(stop))
        self._slots: dict[int, Slots] = {}
        self._sums: dict[tuple[int, int], tuple[NDArray[np.bool_], FloatArray, FloatArray]] = {}

    @cached_property
    def bought_kwh(self) -> FloatArray:
        """Energy bought, shape (households,)."""
        return np.asarray(sum(self.sums(version, 0)[1].sum(axis=0) for version in self.parts))

    @cached_property
    def sold_kwh(self) -> FloatArray:
        """Energy sold, shape (households,)."""
        return np.asarray(sum(self.sums(version, 0)[2].sum(axis=0) for version in self.parts))

    def slots(self, version: int) -> Slots | None:
        """Give where the intervals of a version lie."""
        part = self.parts[version]
        if part.stop <= part.start:
            return None
        if version not in self._slots:
            metered = self.metered
            where = metered.day[part], metered.minute[part], metered.start_s[part], metered.step_s
            self._slots[version] = self.timeline.versions[version].slots(*where)
        return self._slots[version]

    def where(self, version: int) -> slice:
        """Give where the intervals of a version lie among those of the bill."""
        part, begin = self.parts[version], self.span.start
        return slice(part.start - begin, part.stop - begin)

    def order(self, version: int, table: int) -> tuple[IntArray, FloatArray, FloatArray] | None:
        """Give cell and energy of every interval."""
        slots, part = self.slots(version), self.parts[version]
        codes = np.zeros(0, np.int64) if slots is None else slots.cell(table)
        return codes, self.metered.bought[part], self.metered.sold[part]

    def sums(self, version: int, table: int) -> tuple[NDArray[np.bool_], FloatArray, FloatArray]:
        """Add the energy up by cell."""
        key = version, table
        if key not in self._sums:
            codes, bought, sold = self.order(version, table) or (np.zeros(0, np.int64), np.zeros(0), np.zeros(0))
            cells = int(np.prod(self.timeline.versions[version].tables[table].shape))
            one = (codes == np.arange(cells)[:, None]).astype(np.float64)
            summed = one @ bought
            self._sums[key] = one.any(axis=1), summed, one @ sold if self.metered.sells else np.zeros_like(summed)
        return self._sums[key]


class TotalUse:
    """The use of one bill as totals, spread over its days.

    Parameters
    ----------
    timeline : Timeline
        The versions of the sheet.
    day : int64 array, shape (days,)
        Day numbers of the bill.
    bought, sold : mapping of period to float array, shape (days,)
        kWh of every day, by period; an empty name for all hours.
    """

    def __init__(
        self, timeline: Timeline, day: IntArray, bought: Mapping[str, FloatArray], sold: Mapping[str, FloatArray]
    ) -> None:
        self.timeline, self.day, self.version = timeline, day, timeline.version_of(day)
        self._bought, self._sold = bought, sold
        versions = [timeline.versions[int(version)] for version in np.unique(self.version)]
        self._main = {name for rates in versions for name in rates.tables[0].periods}
        known = {name for rates in versions for table in rates.tables for name in table.periods}
        for name in (*bought, *sold):
            if name and name not in known:
                listed = ", ".join(sorted(known - {"otherwise"}))
                raise InputError(f"`{name}` is not a period of this sheet; known are {listed}")
        self.bought_kwh = self._total(bought)
        self.sold_kwh = self._total(sold)

    def _total(self, given: Mapping[str, FloatArray]) -> FloatArray:
        """Add up the totals of one table: of the sheet's own where it has any."""
        names = [name for name in given if not name or name in self._main] or list(given)
        return np.array([sum(float(given[name].sum()) for name in names)])

    def slots(self, version: int) -> Slots | None:
        """There are no intervals."""
        return None

    def order(self, version: int, table: int) -> tuple[IntArray, FloatArray, FloatArray] | None:
        """There is no order."""
        return None

    def sums(self, version: int, table: int) -> tuple[NDArray[np.bool_], FloatArray, FloatArray]:
        """Lay the totals on the cells of a table."""
        rates = self.timeline.versions[version]
        hours = rates.tables[table]
        seasons, periods = hours.shape
        here = self.version == version
        season = hours.calendar.price_season(int(self.day[0]), int(self.day[-1]))[here]
        result = []
        for side, given in (("bought", self._bought), ("sold", self._sold)):
            cells = np.zeros((seasons, periods, 1))
            chosen = {name: kwh for name, kwh in given.items() if name in hours.periods}
            chosen = chosen or {name: kwh for name, kwh in given.items() if not name or name in self._main}
            if given and not chosen:
                chosen = {"": np.sum(list(given.values()), axis=0)}
            for name, kwh in chosen.items():
                if kwh[here].any():
                    np.add.at(cells[:, self._column(name, version, table, side), 0], season, kwh[here])
            result.append(cells.reshape(-1, 1))
        present = (result[0][:, 0] != 0) | (result[1][:, 0] != 0)
        return present, result[0], result[1]

    def _column(self, name: str, version: int, table: int, side: str) -> int:
        """Find the only period of a table that a total can belong to."""
        rates = self.timeline.versions[version]
        hours, main = rates.tables[table], rates.tables[0]
        if name in hours.periods:
            return hours.periods.index(name)
        if (period := equal_period(rates, table, side)) is not None:
            return period
        days = self.day[self.version == version]
        met = _codes(hours, days)
        if name:
            met = met[_codes(main, days) == main.periods.index(name)] if name in main.periods else met[:0]
        found = np.unique(met)
        if found.size <= 1:
            return int(found[0]) if found.size else 0
        line = next((line.name for line in lines_for(rates, table, side)), "demand")
        what = "the use" if side == "bought" else "what is sold"
        if not name:
            raise InputError(
                f"`{line}` costs differently by the hour, so one total is not enough; give {what} by period "
                f"({', '.join(hours.periods)}), or by intervals"
            )
        raise InputError(
            f"`{line}` costs differently within `{name}`; say as well how much of {what} is "
            f"{' and how much '.join(f'`{period}`' for period in hours.periods)} of its own hours, or give {what} by "
            "intervals"
        )


def _codes(hours: PeriodTable, days: IntArray) -> NDArray[np.int16]:
    """Period of every minute of some days that follow one another."""
    patterns = hours.calendar.patterns(int(days[0]) - 1, int(days[-1]))
    codes: NDArray[np.int16] = hours.table.code.reshape(-1, MINUTES)[hours.table.rows(patterns)]
    return codes


def equal_period(rates: Rates, table: int, side: str) -> int | None:
    """Give the first period of a table if the lines of one side cost the same in all its periods."""
    hours = rates.tables[table]
    return 0 if all(_same_in_all(line, hours) for line in lines_for(rates, table, side)) else None


def lines_for(rates: Rates, table: int, side: str) -> Iterator[EnergyLine]:
    """Yield the lines of a table that count what is bought, or what is sold."""
    # Under net metering what is sold also counts in most lines of what is bought.
    net = rates.net is not None
    yield from (line for line in rates.sold if side == "sold" and line.table == table)
    for line in rates.bought:
        if line.table == table and (side == "bought" or (net and line.counts != "bought")):
            yield line


def _same_in_all(line: EnergyLine, hours: PeriodTable) -> bool:
    if not line.charged.all() or hours.periods == (ALL_HOURS,):
        return bool(line.charged.all())
    return all(bool((case.price == case.price[:, :, :1]).all()) for case in line.cases)
