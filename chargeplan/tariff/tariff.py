"""A tariff: what a kWh costs at any time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from math import gcd
from typing import TYPE_CHECKING, Protocol

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import DAY_S, IntArray, day_number, day_of_number, day_start_s, instant_s, local_seconds
from chargeplan.errors import InputError
from chargeplan.tariff.rates import FloatArray, Rates, Slots
from chargeplan.units import quantity

if TYPE_CHECKING:
    import pandas as pd

    from chargeplan.tariff.sheet import Sheet

Instant = str | date | datetime


def step_seconds(step: str | int | timedelta) -> int:
    """Read the length of a slot.

    Parameters
    ----------
    step : str, int or timedelta
        Text such as ``15 min`` or ``1 h``, or a number of minutes.

    Returns
    -------
    int
        Seconds; a whole number of minutes.

    Raises
    ------
    InputError
        If it is not a whole number of minutes from 1 to 1440 that divides a day.

    Examples
    --------
    >>> step_seconds("15min"), step_seconds(timedelta(hours=1))
    (900, 3600)
    """
    if isinstance(step, timedelta):
        minutes = step.total_seconds() / 60
    else:
        minutes = quantity(step, "duration") if isinstance(step, str) else float(step)
    if not 1 <= minutes <= 1440 or minutes != round(minutes) or 1440 % round(minutes):
        raise InputError(f"a step of {step} does not fit; write whole minutes that divide a day, like 15 min or 1 h")
    return 60 * round(minutes)


@dataclass(frozen=True, eq=False, repr=False)
class Tariff:
    """A rate sheet, ready to price any span of time.

    Make one with `load_tariff` or `read_tariff`.

    Parameters
    ----------
    sheet : Sheet
        What the file says.
    versions : tuple of Rates
        Its versions, oldest first.
    last_day : int or None
        Day number of the last day of the sheet, None if it has no end.

    Examples
    --------
    >>> from chargeplan.tariff import read_tariff
    >>> tariff = read_tariff('''
    ... name: Two periods
    ... currency: USD
    ... timezone: America/Denver
    ... periods: {peak: 16:00-21:00 on weekdays, off-peak: rest}
    ... prices: {peak: 0.42, off-peak: 0.18}
    ... ''')
    >>> tariff.prices("2026-11-25 15:00", "2026-11-25 17:00", "1 h").tolist()
    [0.18, 0.42]
    """

    sheet: Sheet
    versions: tuple[Rates, ...]
    last_day: int | None = None

    @property
    def name(self) -> str:
        """What the rate is called."""
        return self.sheet.name

    @property
    def currency(self) -> str:
        """Three-letter code of the currency."""
        return self.sheet.currency

    @property
    def timezone(self) -> str:
        """Name of the time zone whose wall clock the sheet follows."""
        return self.sheet.timezone

    @property
    def resolution_min(self) -> int:
        """The greatest number of minutes that divides every boundary of every version."""
        return int(np.gcd.reduce([rates.resolution_min for rates in self.versions]))

    def price_array(self, start_s: IntArray, step_s: int) -> FloatArray:
        """Price many slots of one length, from plain arrays.

        Parameters
        ----------
        start_s : int64 array, shape (n,)
            Start of every slot in UTC seconds, on whole minutes, rising.
        step_s : int
            Length of every slot in seconds.

        Returns
        -------
        float array, shape (n,)
            Amount per kWh, everything included. A slot in which the price changes has the mean
            price over time, which is what a steady load pays.

        Raises
        ------
        InputError
            If a slot lies outside the dates of the sheet.
        """
        return self._by_version(start_s, step_s, lambda rates, slots: rates.price_per_kwh(slots))

    def export_array(self, start_s: IntArray, step_s: int) -> FloatArray:
        """Give what a kWh sold earns in many slots; parameters and errors as for `price_array`."""
        return self._by_version(start_s, step_s, lambda rates, slots: rates.export_per_kwh(slots))

    def prices(self, start: Instant, end: Instant, step: str | int | timedelta = "15 min") -> pd.Series[float]:
        """Price a span of time.

        Parameters
        ----------
        start, end : str, date or zone-aware datetime
            The span, end excluded. Text and dates without an offset are the sheet's own wall clock.
        step : str, int or timedelta
            Length of a slot; a number means minutes.

        Returns
        -------
        pandas.Series
            Amount per kWh, indexed by the start of each slot in the sheet's time zone. A slot in
            which the price changes has the mean price over time. Days with a clock change have 23
            or 25 hours.

        Raises
        ------
        InputError
            If the span is empty or outside the dates of the sheet.
        """
        import pandas as pd

        start_s, step_s = self._grid(start, end, step)
        return pd.Series(self.price_array(start_s, step_s), index=self._index(start_s, step_s), name="price_per_kwh")

    def export_prices(self, start: Instant, end: Instant, step: str | int | timedelta = "15 min") -> pd.Series[float]:
        """Give what a kWh sold earns over a span of time; parameters and errors as for `prices`."""
        import pandas as pd

        start_s, step_s = self._grid(start, end, step)
        return pd.Series(self.export_array(start_s, step_s), index=self._index(start_s, step_s), name="export_per_kwh")

    def frame(self, start: Instant, end: Instant, step: str | int | timedelta = "15 min") -> pd.DataFrame:
        """Price a span of time and say why.

        Parameters and errors are those of `prices`.

        Returns
        -------
        pandas.DataFrame
            Indexed as `prices`, with ``period``, ``season`` and ``day_type`` (weekday, weekend or
            holiday) at the start of each slot, one column per component and tax, and
            ``price_per_kwh`` and ``export_per_kwh``.
        """
        import pandas as pd

        start_s, step_s = self._grid(start, end, step)
        frame = pd.DataFrame(index=self._index(start_s, step_s))
        day, minute = self._local(start_s)
        for label, column in zip(("period", "season", "day_type"), self._labels(day, minute), strict=True):
            frame[label] = pd.Categorical(column)
        names = list(dict.fromkeys(name for rates in self.versions for name in (*rates.components, *rates.taxes)))
        for name in names:
            frame[name] = self._by_version(start_s, step_s, lambda rates, slots, name=name: _part(rates, slots, name))
        frame["price_per_kwh"] = self.price_array(start_s, step_s)
        frame["export_per_kwh"] = self.export_array(start_s, step_s)
        return frame

    @property
    def has_holidays(self) -> bool:
        """Whether the sheet names any holidays."""
        return any(rates.calendar.holidays for rates in self.versions)

    def is_holiday(self, day: date) -> bool:
        """Tell whether a local date is a holiday of the sheet.

        Parameters
        ----------
        day : datetime.date
            The date.

        Returns
        -------
        bool
            By the version in force on that date; the first version before the sheet begins.
        """
        number = np.array([day_number(day)], dtype=np.int64)
        rates = self.versions[int(self._version(number)[0])]
        return bool(rates.calendar.patterns(int(number[0]), int(number[0]))[0] % 2)

    def period_at(self, utc_s: int) -> tuple[str, str]:
        """Tell the period and the season of an instant.

        Parameters
        ----------
        utc_s : int
            UTC seconds.

        Returns
        -------
        tuple of str
            Names of the period and of the season.

        Raises
        ------
        InputError
            If the instant lies outside the dates of the sheet.
        """
        period, season, _ = self._labels(*self._local(np.array([utc_s], dtype=np.int64)))
        return str(period[0]), str(season[0])

    def day(self, day: date) -> list[Run]:
        """List the runs of equal price of a local day.

        Parameters
        ----------
        day : datetime.date
            The date on the sheet's wall clock.

        Returns
        -------
        list of Run
            In time; on the days of a clock change they last 23 or 25 hours together.

        Examples
        --------
        >>> from chargeplan.tariff import read_tariff
        >>> flat = read_tariff("{name: Flat, currency: USD, timezone: America/Denver, prices: 0.2}")
        >>> [(run.end_s - run.start_s) / 3600 for run in flat.day(date(2026, 3, 8))]
        [23.0]
        """
        start_s = np.arange(day_start_s(self.timezone, day), day_start_s(self.timezone, day + timedelta(days=1)), 60)
        if start_s.size == 0:  # a date that the clock skipped, such as 2011-12-30 in Samoa
            return []
        price = self.price_array(start_s, 60)
        period, season, day_type = self._labels(*self._local(start_s))
        changed = (price[1:] != price[:-1]) | (period[1:] != period[:-1])
        first = np.flatnonzero(np.r_[True, changed])
        ends = np.r_[start_s[first[1:]], start_s[-1] + 60]
        return [
            Run(int(start_s[i]), int(end), str(period[i]), str(season[i]), str(day_type[i]), float(price[i]))
            for i, end in zip(first, ends, strict=True)
        ]

    def __repr__(self) -> str:
        return f"Tariff({self.name!r}, {self.currency}, {self.timezone}, versions: {len(self.versions)})"

    def _repr_html_(self) -> str:
        from html import escape

        rates = self.versions[-1]
        prices = np.tensordot(rates.factors(), rates.price, axes=1)
        seasons = rates.calendar.seasons.names or ("all year",)
        head = "".join(f"<th>{escape(name)}</th>" for name in rates.table.names)
        rows = "".join(
            f"<tr><th>{escape(season)}</th>"
            + "".join(f"<td>{'' if np.isnan(price) else f'{price:.4f}'}</td>" for price in row)
            + "</tr>"
            for season, row in zip(seasons, prices, strict=True)
        )
        title = f"{escape(self.name)} ({escape(self.currency)} per kWh, taxes included, {escape(self.timezone)})"
        return f"<table><caption>{title}</caption><tr><th></th>{head}</tr>{rows}</table>"

    def _grid(self, start: Instant, end: Instant, step: str | int | timedelta) -> tuple[IntArray, int]:
        step_s = step_seconds(step)
        first, last = instant_s(start, self.timezone), instant_s(end, self.timezone)
        if last <= first:
            raise InputError(f"the end {end} is not after the start {start}; give a later end")
        if first % 60:
            raise InputError(f"the start {start} is not on a whole minute; leave the seconds out")
        return np.arange(first, last, step_s, dtype=np.int64), step_s

    def _index(self, start_s: IntArray, step_s: int) -> pd.DatetimeIndex:
        import pandas as pd

        index = pd.DatetimeIndex(start_s.astype("datetime64[s]"), tz="UTC", name="start")
        return index.tz_convert(self.timezone)

    def _local(self, start_s: IntArray) -> tuple[IntArray, IntArray]:
        local = local_seconds(self.timezone, start_s)
        day = local // DAY_S
        return day, (local - day * DAY_S) // 60

    def _by_version(self, start_s: IntArray, step_s: int, value: _Value) -> FloatArray:
        """Work out a value per slot, each with the version of its date, averaged over the slot."""
        if start_s.size == 0:
            return np.zeros(0)
        day, minute = self._local(start_s)
        part_s = self._part_s(start_s, step_s, minute)
        parts = step_s // part_s
        if parts > 1:
            start_s = (start_s[:, None] + np.arange(0, step_s, part_s)).reshape(-1)
            day, minute = self._local(start_s)
        self._check_dates(int(day.min()), int(day.max()))
        if len(self.versions) == 1:
            result = value(self.versions[0], self.versions[0].slots(day, minute))
        else:
            result = np.empty(day.size)
            version = self._version(day)
            for position in np.unique(version):
                here = version == position
                rates = self.versions[position]
                result[here] = value(rates, rates.slots(day[here], minute[here]))
        return result.reshape(-1, parts).mean(axis=1) if parts > 1 else result

    def _part_s(self, start_s: IntArray, step_s: int, minute: IntArray) -> int:
        """Find into which equal parts to cut the slots so that no part straddles a boundary."""
        if step_s == 60:
            return 60
        in_a_row = start_s[-1] - start_s[0] == step_s * (start_s.size - 1)
        end = self._local((start_s[-1:] if in_a_row else start_s) + step_s)[1]
        phase = np.r_[minute, end] * 60 % step_s
        if (phase == phase[0]).all():
            return gcd(step_s, 60 * self.resolution_min, int(phase[0]))
        return 60

    def _version(self, day: IntArray) -> IntArray:
        firsts = np.array([rates.first_day for rates in self.versions[1:]], dtype=np.int64)
        return np.searchsorted(firsts, day, side="right")

    def _check_dates(self, first: int, last: int) -> None:
        if first < self.versions[0].first_day:
            begins = day_of_number(self.versions[0].first_day)
            raise InputError(f"the sheet `{self.name}` begins on {begins}, but {day_of_number(first)} was asked for")
        if self.last_day is not None and last > self.last_day:
            ends = day_of_number(self.last_day)
            raise InputError(f"the sheet `{self.name}` ends on {ends}, but {day_of_number(last)} was asked for")

    def _labels(self, day: IntArray, minute: IntArray) -> tuple[NDArray[np.object_], ...]:
        self._check_dates(int(day.min()), int(day.max()))
        labels = tuple(np.empty(day.size, dtype=object) for _ in range(3))
        version = self._version(day)
        for position in np.unique(version):
            here = version == position
            rates = self.versions[position]
            slots = rates.slots(day[here], minute[here])
            pattern = slots.pattern[slots.since]
            labels[0][here] = np.array(rates.table.names, dtype=object)[slots.period]
            labels[1][here] = np.array(rates.calendar.seasons.names or ("all year",), dtype=object)[pattern // 14]
            weekend = np.where(pattern // 2 % 7 >= 5, "weekend", "weekday")
            labels[2][here] = np.where(pattern % 2 == 1, "holiday", weekend)
        return labels


@dataclass(frozen=True)
class Run:
    """A stretch of time at one price.

    Parameters
    ----------
    start_s, end_s : int
        UTC seconds.
    period, season, day_type : str
        Where it lies in the sheet's calendar.
    price_per_kwh : float
        Everything included.
    """

    start_s: int
    end_s: int
    period: str
    season: str
    day_type: str
    price_per_kwh: float


class _Value(Protocol):
    """Type of the functions `Tariff._by_version` takes."""

    def __call__(self, rates: Rates, slots: Slots) -> FloatArray: ...


def _part(rates: Rates, slots: Slots, name: str) -> FloatArray:
    names = (*rates.components, *rates.taxes)
    if name not in names:
        return np.zeros(slots.period.size)
    part: FloatArray = rates.component_prices(slots)[names.index(name)]
    return part
