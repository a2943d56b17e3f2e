"""What each kWh costs: price tables, adders and taxes as arrays, for one version of a sheet."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray
from chargeplan.tariff.calendar import MINUTES, Calendar, DayTable

if TYPE_CHECKING:
    from chargeplan.tariff.sheet import Fixed

FloatArray = NDArray[np.float64]

#: Columns of a priced span besides those of the components and taxes, which may not be called so.
COLUMNS: Final = ("period", "season", "day_type", "price_per_kwh", "export_per_kwh")


@dataclass(frozen=True, eq=False)
class TimedLine:
    """An amount per kWh that applies in some hours only.

    Parameters
    ----------
    position : int
        Which of the components of the rates it is.
    price : float
        Amount per kWh.
    table : DayTable
        Two periods: when it applies (0) and when not (1).
    """

    position: int
    price: float
    table: DayTable


@dataclass(frozen=True, eq=False)
class Rates:
    """One version of a sheet, worked out.

    Parameters
    ----------
    first_day : int
        Day number from which it holds.
    calendar : Calendar
        Seasons and holidays.
    table : DayTable
        Hours of the periods.
    components : tuple of str
        Names of the parts of the price per kWh.
    price : float array, shape (components, seasons, periods)
        Amount per kWh; NaN where a period has no hours in a season; 0 for timed lines.
    timed : tuple of TimedLine
        Parts that apply in some hours only.
    taxes : tuple of str
        Names of the taxes.
    tax : float array, shape (taxes, components)
        Share of each component that each tax takes, taxes on taxes worked out.
    export : float array, shape (seasons, periods), or None
        What a kWh sold earns.
    fixed : mapping of name to Fixed
        Charges that do not depend on use.
    """

    first_day: int
    calendar: Calendar
    table: DayTable
    components: tuple[str, ...]
    price: FloatArray = field(repr=False)
    timed: tuple[TimedLine, ...] = ()
    taxes: tuple[str, ...] = ()
    tax: FloatArray = field(default_factory=lambda: np.zeros((0, 0)), repr=False)
    export: FloatArray | None = field(default=None, repr=False)
    fixed: tuple[tuple[str, Fixed], ...] = ()

    @property
    def resolution_min(self) -> int:
        """The greatest number of minutes that divides every boundary."""
        return int(np.gcd.reduce([self.table.resolution_min, *(line.table.resolution_min for line in self.timed)]))

    def factors(self) -> FloatArray:
        """Give the amount paid, taxes included, per unit of each component."""
        return 1.0 + self.tax.sum(axis=0) if len(self.taxes) else np.ones(len(self.components))

    def slots(self, day: IntArray, minute: IntArray) -> Slots:
        """Look up many local minutes at once.

        Parameters
        ----------
        day : int64 array, shape (n,)
            Local day numbers.
        minute : int64 array, shape (n,)
            Local minutes after midnight.

        Returns
        -------
        Slots
            Season, period and timed lines of every minute.
        """
        first, last = int(day.min()), int(day.max())
        patterns = self.calendar.patterns(first - 1, last)
        since = day - first
        timed = tuple(
            line.table.code.reshape(-1)[(line.table.rows(patterns) * MINUTES)[since] + minute] == 0
            for line in self.timed
        )
        pattern = patterns[1:]
        period = self.table.code.reshape(-1)[(self.table.rows(patterns) * MINUTES)[since] + minute]
        return Slots(pattern, since, period, timed)

    def price_per_kwh(self, slots: Slots) -> FloatArray:
        """Price the slots, everything included.

        Parameters
        ----------
        slots : Slots
            What `slots` returned.

        Returns
        -------
        float array, shape (n,)
            Amount per kWh bought.
        """
        factors = self.factors()
        flat = np.tensordot(factors, self.price, axes=1).reshape(-1)
        total: FloatArray = flat[self._cell(slots)]
        for line, applies in zip(self.timed, slots.timed, strict=True):
            total = total + factors[line.position] * line.price * applies
        return total

    def component_prices(self, slots: Slots) -> FloatArray:
        """Price the slots part by part.

        Returns
        -------
        float array, shape (components + taxes, n)
            Amounts per kWh, taxes last; their sum is `price_per_kwh`.
        """
        parts = self.price.reshape(len(self.components), -1)[:, self._cell(slots)]
        for line, applies in zip(self.timed, slots.timed, strict=True):
            parts[line.position] += line.price * applies
        return np.vstack([parts, self.tax @ parts]) if len(self.taxes) else parts

    def export_per_kwh(self, slots: Slots) -> FloatArray:
        """Give what a kWh sold earns in every slot, 0 where the sheet says nothing of it."""
        if self.export is None:
            return np.zeros(slots.period.size)
        earned: FloatArray = self.export.reshape(-1)[self._cell(slots)]
        return earned

    def _cell(self, slots: Slots) -> IntArray:
        cell: IntArray = (slots.pattern // 14 * self.price.shape[2])[slots.since] + slots.period
        return cell


@dataclass(frozen=True, eq=False)
class Slots:
    """Where many local minutes lie in the calendar of a sheet.

    Parameters
    ----------
    pattern : int64 array, shape (days,)
        Pattern of every date of the span.
    since : int64 array, shape (n,)
        Days since the first date of the span.
    period : int array, shape (n,)
        Position of the period.
    timed : tuple of bool array, shape (n,)
        Whether each timed line applies.
    """

    pattern: IntArray
    since: IntArray
    period: NDArray[np.int16]
    timed: tuple[NDArray[np.bool_], ...]
