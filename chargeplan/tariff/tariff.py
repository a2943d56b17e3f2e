"""A tariff: what a kWh costs at any time."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from chargeplan.clock import IntArray, day_number, day_start_s, instant_s
from chargeplan.errors import InputError
from chargeplan.tariff.lines import FloatArray
from chargeplan.tariff.rates import Rates, Slots
from chargeplan.tariff.sheet_clock import SheetClock
from chargeplan.tariff.spans import Run, step_seconds
from chargeplan.tariff.timeline import Timeline

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from chargeplan.tariff.bill import Bill, Carried
    from chargeplan.tariff.bills import BillDesk, Bills, Load
    from chargeplan.tariff.sheet import Sheet

Instant = str | date | datetime


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
    clock : SheetClock, optional
        On which the hours and dates of the sheet are read; the wall clock without.

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
    clock: SheetClock | None = None

    @cached_property
    def timeline(self) -> Timeline:
        """The versions in time."""
        return Timeline(self.name, self.clock or SheetClock(self.timezone), self.versions, self.last_day)

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
        return self.timeline.resolution_min

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
        return self.timeline.values(start_s, step_s, lambda rates, slots: rates.price_per_kwh(slots))

    def export_array(self, start_s: IntArray, step_s: int) -> FloatArray:
        """Give what a kWh sold earns in many slots; parameters and errors as for `price_array`."""
        return self.timeline.values(start_s, step_s, lambda rates, slots: rates.export_per_kwh(slots))

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
        labels = self.timeline.labels(*self.timeline.local(start_s))
        for label, column in zip(("period", "season", "day_type"), labels, strict=True):
            frame[label] = pd.Categorical(column)
        names = list(
            dict.fromkeys(
                name
                for rates in self.versions
                for name in (*(line.name for line in rates.bought), *(line.name for line in rates.percents))
            )
        )
        for name in names:
            frame[name] = self.timeline.values(
                start_s, step_s, lambda rates, slots, name=name: _part(rates, slots, name)
            )
        frame["price_per_kwh"] = self.price_array(start_s, step_s)
        frame["export_per_kwh"] = self.export_array(start_s, step_s)
        return frame

    @property
    def has_holidays(self) -> bool:
        """Whether the sheet names any holidays."""
        return any(rates.tables[0].calendar.holidays for rates in self.versions)

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
        calendar = self.versions[int(self.timeline.version_of(number)[0])].tables[0].calendar
        return bool(calendar.is_holiday(calendar.patterns(int(number[0]), int(number[0])))[0])

    def as_known(self, now: Instant) -> Tariff:
        """Give the tariff as it is known at an instant.

        Parameters
        ----------
        now : str, date or zone-aware datetime
            The instant. Called days whose notice is still to come then fall back as the sheet states.

        Returns
        -------
        Tariff
            The same sheet; itself where it has no called days with a notice.
        """
        now_s = instant_s(now, self.timezone)
        clock = self.timeline.clock

        def known(rates: Rates) -> Rates:
            tables = tuple(replace(table, calendar=table.calendar.as_known(now_s, clock)) for table in rates.tables)
            return replace(rates, tables=tables)

        if not any(rates.tables[0].calendar.called for rates in self.versions):
            return self
        return Tariff(self.sheet, tuple(map(known, self.versions)), self.last_day, self.clock)

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
        period, season, _ = self.timeline.labels(*self.timeline.local(np.array([utc_s], dtype=np.int64)))
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
        period, season, day_type = self.timeline.labels(*self.timeline.local(start_s))
        changed = (price[1:] != price[:-1]) | (period[1:] != period[:-1])
        first = np.flatnonzero(np.r_[True, changed])
        ends = np.r_[start_s[first[1:]], start_s[-1] + 60]
        return [
            Run(int(start_s[i]), int(end), str(period[i]), str(season[i]), str(day_type[i]), float(price[i]))
            for i, end in zip(first, ends, strict=True)
        ]

    def bill(
        self,
        load: Load,
        *,
        start: date | str | None = None,
        end: date | str | None = None,
        export: Load | None = None,
        demand_kw: float | Mapping[str, float] | None = None,
        power_factor: float | None = None,
        contracted_kw: float | None = None,
        contracted_a: float | None = None,
        months: float | None = None,
        opening: Carried | None = None,
    ) -> Bill:
        """Work out one bill.

        Parameters
        ----------
        load : pandas.Series, float, mapping or list
            kWh per interval with a zone-aware index of starts; or kWh in all; or by period; or a list of
            (first day, kWh) between readings. Without intervals the energy is spread evenly over the days.
        start, end : date or str, optional
            First and last day; needed without intervals.
        export : like load, optional
            What was sold.
        demand_kw : float or mapping, optional
            Highest power, for all demand lines or by name, where there are no intervals.
        power_factor, contracted_kw, contracted_a : float, optional
            In place of what the sheet says.
        months : float, optional
            How many months the bill counts as; found from its days without.
        opening : Carried, optional
            What the bill before has handed on, its ``carried``.

        Returns
        -------
        Bill
            Every item with its place in the sheet.

        Raises
        ------
        InputError
            If the load does not fit the sheet, or something is missing.

        Examples
        --------
        >>> from chargeplan.tariff import read_tariff
        >>> sheet = "{name: A, currency: CAD, timezone: America/Toronto, prices: 0.098 up to 600 then 0.115}"
        >>> bill = read_tariff(sheet).bill(700, start="2022-06-01", end="2022-06-30")
        >>> [(item.label, str(item.amount)) for item in bill.items]
        [('energy / tier 1', '58.80'), ('energy / tier 2', '11.50')]
        """
        from chargeplan.tariff.bills import opening as known_from

        known = known_from(
            opening, demand_kw, power_factor=power_factor, contracted_kw=contracted_kw, contracted_a=contracted_a
        )
        return self.desk.one(load, start, end, export=export, known=known, months=months)

    def bills(
        self,
        load: pd.Series[float],
        *,
        start: date | str | None = None,
        end: date | str | None = None,
        export: pd.Series[float] | None = None,
        demand_kw: float | Mapping[str, float] | None = None,
        power_factor: float | None = None,
        contracted_kw: float | None = None,
        contracted_a: float | None = None,
        opening: Carried | None = None,
    ) -> Bills:
        """Work out a bill for every billing month of a load; parameters as for `bill`.

        Returns
        -------
        Bills
            In time; each has what the one before handed on.
        """
        from chargeplan.tariff.bills import opening as known_from

        known = known_from(
            opening, demand_kw, power_factor=power_factor, contracted_kw=contracted_kw, contracted_a=contracted_a
        )
        return self.desk.many(load, start, end, export, known)

    def bill_table(self, load: pd.DataFrame, export: pd.DataFrame | None = None) -> pd.DataFrame:
        """Work out the monthly totals of many households at once.

        Parameters
        ----------
        load, export : pandas.DataFrame
            kWh per interval, a column for each household.

        Returns
        -------
        pandas.DataFrame
            What is due, by the last day of each billing month and household.
        """
        from chargeplan.tariff.billing import Known

        return self.desk.table(load, export, Known())

    def next_kwh(
        self, load: pd.Series[float], *, export: pd.Series[float] | None = None, opening: Carried | None = None
    ) -> pd.Series[float]:
        """Give the price of one more kWh in every interval, all else as it is.

        Parameters
        ----------
        load, export : pandas.Series
            kWh per interval, as for `bills`.
        opening : Carried, optional
            What the bill before has handed on.

        Returns
        -------
        pandas.Series
            What the bill, before rounding, would rise by per kWh: tiers, demand, minimum and taxes included.
        """
        import pandas as pd

        from chargeplan.tariff.bills import opening as known_from
        from chargeplan.tariff.next_kwh import next_kwh_array

        return pd.Series(
            next_kwh_array(self.desk, load, export, known_from(opening)), index=load.index, name="price_per_kwh"
        )

    @property
    def desk(self) -> BillDesk:
        """Where the bills of the sheet are made."""
        from chargeplan.tariff.bills import BillDesk

        return BillDesk(self.sheet, self.timeline)

    def __repr__(self) -> str:
        return f"Tariff({self.name!r}, {self.currency}, {self.timezone}, versions: {len(self.versions)})"

    def _repr_html_(self) -> str:
        from chargeplan.tariff.notebook_table import html_table

        return html_table(self)

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


def _part(rates: Rates, slots: Slots, name: str) -> FloatArray:
    part: FloatArray | None = rates.component_prices(slots).get(name)
    return np.zeros(slots.day.size) if part is None else part
