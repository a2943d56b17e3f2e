"""The versions of a sheet in time: which one holds when, and values per slot across them."""

from __future__ import annotations

from dataclasses import dataclass
from math import gcd
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import DAY_S, IntArray, day_of_number
from chargeplan.errors import InputError
from chargeplan.tariff.lines import FloatArray
from chargeplan.tariff.rates import Rates, Slots

if TYPE_CHECKING:
    from chargeplan.tariff.sheet_clock import SheetClock


class SlotValue(Protocol):
    """Works a value out for the slots of one version."""

    def __call__(self, rates: Rates, slots: Slots, /) -> FloatArray:
        """Give one value per slot."""


@dataclass(frozen=True, eq=False)
class Timeline:
    """The versions of a sheet on its clock.

    Parameters
    ----------
    name : str
        Name of the sheet, for messages.
    clock : SheetClock
        On which its hours and dates are read.
    versions : tuple of Rates
        Oldest first.
    last_day : int or None
        Day number of the last day of the sheet, None if it has no end.
    """

    name: str
    clock: SheetClock
    versions: tuple[Rates, ...]
    last_day: int | None = None

    @property
    def resolution_min(self) -> int:
        """The greatest number of minutes that divides every boundary of every version."""
        return int(np.gcd.reduce([rates.resolution_min for rates in self.versions]))

    def local(self, start_s: IntArray) -> tuple[IntArray, IntArray]:
        """Read the sheet's clock: local day numbers and minutes after midnight."""
        local = self.clock.local_seconds(start_s)
        day = local // DAY_S
        return day, (local - day * DAY_S) // 60

    def version_of(self, day: IntArray) -> IntArray:
        """Find the position of the version that holds on each day."""
        firsts = np.array([rates.first_day for rates in self.versions[1:]], dtype=np.int64)
        return np.searchsorted(firsts, day, side="right")

    def check_dates(self, first: int, last: int) -> None:
        """Raise an `InputError` if a day number lies outside the dates of the sheet."""
        if first < self.versions[0].first_day:
            begins = day_of_number(self.versions[0].first_day)
            raise InputError(f"the sheet `{self.name}` begins on {begins}, but {day_of_number(first)} was asked for")
        if self.last_day is not None and last > self.last_day:
            ends = day_of_number(self.last_day)
            raise InputError(f"the sheet `{self.name}` ends on {ends}, but {day_of_number(last)} was asked for")

    def values(self, start_s: IntArray, step_s: int, value: SlotValue) -> FloatArray:
        """Work out a value per slot, each with the version of its date, averaged over the slot.

        Parameters
        ----------
        start_s : int64 array, shape (n,)
            UTC seconds, rising.
        step_s : int
            Length of each slot.
        value : callable
            Gives the values of slots that no boundary divides.

        Returns
        -------
        float array, shape (n,)
            The means over time.
        """
        if start_s.size == 0:
            return np.zeros(0)
        start_s, part_s, day, minute = self.cut(start_s, step_s)
        parts = step_s // part_s
        self.check_dates(int(day.min()), int(day.max()))
        if len(self.versions) == 1:
            rates = self.versions[0]
            result = value(rates, rates.slots(day, minute, start_s, part_s))
        else:
            result = np.empty(day.size)
            version = self.version_of(day)
            for position in np.unique(version):
                here = version == position
                rates = self.versions[position]
                result[here] = value(rates, rates.slots(day[here], minute[here], start_s[here], part_s))
        return result.reshape(-1, parts).mean(axis=1) if parts > 1 else result

    def cut(self, start_s: IntArray, step_s: int) -> tuple[IntArray, int, IntArray, IntArray]:
        """Cut slots into equal parts that no boundary of the sheet divides.

        Parameters
        ----------
        start_s : int64 array, shape (n,)
            UTC seconds, rising.
        step_s : int
            Length of each slot.

        Returns
        -------
        tuple of (int64 array, int, int64 array, int64 array)
            Start of every part, their length, and their local day numbers and minutes after midnight.
        """
        day, minute = self.local(start_s)
        part_s = self.part_s(start_s, step_s, minute)
        if part_s < step_s:
            start_s = (start_s[:, None] + np.arange(0, step_s, part_s)).reshape(-1)
            day, minute = self.local(start_s)
        return start_s, part_s, day, minute

    def part_s(self, start_s: IntArray, step_s: int, minute: IntArray) -> int:
        """Find into which equal parts to cut the slots so that no part straddles a boundary."""
        if step_s == 60:
            return 60
        in_a_row = start_s[-1] - start_s[0] == step_s * (start_s.size - 1)
        end = self.local((start_s[-1:] if in_a_row else start_s) + step_s)[1]
        phase = np.r_[minute, end] * 60 % step_s
        if (phase == phase[0]).all():
            return gcd(step_s, 60 * self.resolution_min, int(phase[0]))
        return 60

    def labels(self, day: IntArray, minute: IntArray) -> tuple[NDArray[np.object_], ...]:
        """Name the period, the season of the prices and the kind of day of local minutes."""
        self.check_dates(int(day.min()), int(day.max()))
        labels = tuple(np.empty(day.size, dtype=object) for _ in range(3))
        version = self.version_of(day)
        for position in np.unique(version):
            here = version == position
            rates = self.versions[position]
            slots = rates.slots(day[here], minute[here], day[here], 60)
            table = rates.tables[0]
            labels[0][here] = np.array(table.periods, dtype=object)[slots.period()]
            seasons = table.seasons if table.seasons != ("",) else ("all year",)
            labels[1][here] = np.array(seasons, dtype=object)[slots.season()[slots.since]]
            pattern, calendar = slots.patterns()[1:][slots.since], table.calendar
            kind = np.where(calendar.weekday_of(pattern) >= 5, "weekend", "weekday").astype(object)
            kind[calendar.is_holiday(pattern)] = "holiday"
            for bit, called in enumerate(calendar.called, start=1):
                kind[(pattern >> bit) % 2 == 1] = called.name
            labels[2][here] = kind
        return labels
