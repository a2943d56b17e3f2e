"""Bills from what people have: a series of intervals, totals by period, or readings."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Any

import numpy as np

from chargeplan.clock import IntArray, day_number, day_of_number, local_datetimes
from chargeplan.errors import InputError
from chargeplan.tariff.bill import Bill, Carried
from chargeplan.tariff.bill_days import BillDays, billing_months
from chargeplan.tariff.billing import BillMaker, Known
from chargeplan.tariff.lines import FloatArray
from chargeplan.tariff.timeline import Timeline
from chargeplan.tariff.usage import IntervalUse, Metered, TotalUse, Use
from chargeplan.units import calendar_date

if TYPE_CHECKING:
    import pandas as pd

    from chargeplan.tariff.sheet import Billing, Sheet

    Load = pd.Series[float] | float | Mapping[str, float] | Sequence[tuple[date | str, float]]

#: A load may be this long.
_MAX_DAYS = 36_600


def is_series(load: object) -> bool:
    """Tell whether something is a pandas Series or DataFrame, without importing pandas."""
    return hasattr(load, "index") and hasattr(load, "to_numpy")


def metered(timeline: Timeline, load: Any, export: Any = None) -> Metered:
    """Read a load series, or a frame with a column per household, as arrays.

    Parameters
    ----------
    timeline : Timeline
        The versions of the sheet.
    load : pandas.Series or pandas.DataFrame
        kWh per interval, with a zone-aware index of interval starts, uniform and without gaps.
    export : pandas.Series or pandas.DataFrame, optional
        The same for what is sold.

    Returns
    -------
    Metered
        Cut at the boundaries of the sheet.

    Raises
    ------
    InputError
        If the index or a value cannot be used.
    """
    start_s, step_s = _instants(load)
    bought = _values(load, start_s)
    if export is None:
        sold = np.zeros_like(bought)
    else:
        other_s, _ = _instants(export)
        if other_s.size != start_s.size or (other_s != start_s).any():
            raise InputError("what is sold has other intervals than what is bought; give both for the same ones")
        sold = _values(export, start_s)
        if sold.shape != bought.shape:
            raise InputError("what is sold has other columns than what is bought; give both for the same households")
    return Metered.build(timeline, start_s, step_s, bought, sold)


def _instants(load: Any) -> tuple[IntArray, int]:
    import pandas as pd

    index = load.index
    if not isinstance(index, pd.DatetimeIndex) or index.tz is None:
        raise InputError("the load has no time zone; give it an index of zone-aware starts, as with tz_localize")
    if len(index) < 2:
        raise InputError("the load has fewer than two intervals, so their length is not known; give more")
    start_s = index.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[s]").astype(np.int64)
    steps = np.diff(start_s)
    step_s = int(np.min(steps)) if (steps > 0).all() else int(steps[0])
    wrong = np.flatnonzero(steps != step_s)
    if wrong.size:
        here = local_datetimes("UTC", [int(start_s[wrong[0]])])[0]
        minutes = steps[wrong[0]] / 60
        raise InputError(
            f"after {here:%Y-%m-%d %H:%M} UTC the next interval begins {minutes:g} min later, elsewhere "
            f"{step_s / 60:g} min; give every interval once, in order, without gaps"
        )
    if step_s % 60 or start_s[0] % 60 or 86_400 % step_s:
        raise InputError(f"intervals of {step_s} s cannot be used; give whole minutes that divide a day")
    if start_s.size * step_s > _MAX_DAYS * 86_400:
        raise InputError("the load is longer than a hundred years; give less")
    return start_s, step_s


def _values(load: Any, start_s: IntArray) -> FloatArray:
    try:
        values = np.asarray(load.to_numpy(), dtype=np.float64).reshape(start_s.size, -1)
    except (TypeError, ValueError):
        raise InputError("the load holds something that is no number; give kWh of every interval") from None
    if values.min() >= 0 and np.isfinite(values.sum()):  # a NaN is in both
        return values
    bad = np.flatnonzero(~np.isfinite(values).all(axis=1) | (values < 0).any(axis=1))
    if bad.size:
        here = local_datetimes("UTC", [int(start_s[bad[0]])])[0]
        raise InputError(
            f"the energy from {here:%Y-%m-%d %H:%M} UTC is {values[bad[0]].min():g}; give kWh of 0 or more, and what "
            "is sold as `export`"
        )
    return values


def totals(timeline: Timeline, first: date, last: date, load: Any, export: Any = None) -> TotalUse:
    """Spread totals, totals by period, or readings over the days of a bill."""
    days = np.arange(day_number(first), day_number(last) + 1, dtype=np.int64)
    return TotalUse(timeline, days, _spread(load, days, "use"), _spread(export, days, "export"))


def _spread(load: Any, days: IntArray, what: str) -> dict[str, FloatArray]:
    if load is None:
        return {}
    if isinstance(load, Mapping):
        return {str(name): _even(kwh, days.size, what) for name, kwh in load.items()}
    if isinstance(load, Sequence) and not isinstance(load, str):
        result = np.zeros(days.size)
        starts = [day_number(calendar_date(day)) - int(days[0]) for day, _ in load]
        if not starts or starts[0] != 0 or any(a >= b for a, b in zip(starts, [*starts[1:], days.size], strict=True)):
            raise InputError("readings must begin with the first day of the bill, and rise; give the first day of each")
        for (_, kwh), begin, end in zip(load, starts, [*starts[1:], days.size], strict=True):
            result[begin:end] = _even(kwh, end - begin, what)
        return {"": result}
    return {"": _even(load, days.size, what)}


def _even(kwh: Any, count: int, what: str) -> FloatArray:
    if isinstance(kwh, bool) or not isinstance(kwh, int | float) or not np.isfinite(kwh) or kwh < 0:
        raise InputError(f"the {what} of {kwh!r} cannot be billed; give kWh of 0 or more")
    return np.full(count, kwh / count)


@dataclass(frozen=True, eq=False)
class BillDesk:
    """Makes the bills of one sheet.

    Parameters
    ----------
    sheet : Sheet
        What the file says.
    timeline : Timeline
        Its versions.
    """

    sheet: Sheet
    timeline: Timeline

    @property
    def billing(self) -> Billing:
        """How bills are cut and rounded."""
        return self.sheet.billing

    def use_of(self, load: Any, start: Any, end: Any, export: Any) -> tuple[Use, date, date]:
        """Find the use and the days of one bill."""
        if is_series(load):
            found = metered(self.timeline, load, export)
            first, last = self.days_of(found, start, end)
            return IntervalUse(self.timeline, found, day_number(first), day_number(last)), first, last
        if start is None or end is None:
            raise InputError("without intervals a bill needs its first and last day; give `start` and `end`")
        first, last = calendar_date(start), calendar_date(end)
        self._check(first, last)
        return totals(self.timeline, first, last, load, export), first, last

    def days_of(self, found: Metered, start: Any = None, end: Any = None) -> tuple[date, date]:
        """Find first and last day of a load, or of a part of it."""
        begins, ends = day_of_number(int(found.day[0])), day_of_number(int(found.day[-1]))
        first = begins if start is None else calendar_date(start)
        last = ends if end is None else calendar_date(end)
        if first < begins or last > ends:
            raise InputError(
                f"the load covers {begins} to {ends}, not {first} to {last}; give more of it, or other days"
            )
        self._check(first, last)
        return first, last

    def _check(self, first: date, last: date) -> None:
        if last < first:
            raise InputError(f"the last day {last} is before the first day {first}; give a later one")
        if (last - first).days > _MAX_DAYS:
            raise InputError("the bill is longer than a hundred years; give less")
        self.timeline.check_dates(day_number(first), day_number(last))

    def maker(self, use: Use, first: date, last: date, known: Known, months: float | None = None) -> BillMaker:
        """Prepare one bill."""
        return BillMaker(self.timeline, self.billing, use, BillDays(first, last, self.billing, months), known)

    def one(self, load: Any, start: Any, end: Any, *, export: Any, known: Known, months: float | None) -> Bill:
        """Make one bill."""
        use, first, last = self.use_of(load, start, end, export)
        return self.maker(use, first, last, known, months).bill(self.sheet.name, self.sheet.currency)

    def many(self, load: Any, start: Any, end: Any, export: Any, known: Known) -> Bills:
        """Make a bill for every billing month of a load, each handing on to the next."""
        found = metered(self.timeline, load, export)
        first, last = self.days_of(found, start, end)
        bills = []
        for begin, finish in billing_months(first, last, self.billing.reading_day):
            use = IntervalUse(self.timeline, found, day_number(begin), day_number(finish))
            bill = self.maker(use, begin, finish, known).bill(self.sheet.name, self.sheet.currency)
            known = replace(known, carried=bill.carried)
            bills.append(bill)
        return Bills(tuple(bills))

    def table(self, load: pd.DataFrame, export: pd.DataFrame | None, known: Known) -> pd.DataFrame:
        """Make the bills of many households at once."""
        import pandas as pd

        demands = [line for rates in self.timeline.versions for line in rates.demand]
        if any(line.floor is not None and line.floor.share for line in demands):
            raise InputError("a demand that depends on past bills is billed one household at a time; use `bills`")
        found = metered(self.timeline, load, export)
        first, last = self.days_of(found)
        rows, ends = [], []
        for begin, finish in billing_months(first, last, self.billing.reading_day):
            use = IntervalUse(self.timeline, found, day_number(begin), day_number(finish))
            worked = self.maker(use, begin, finish, known).work()
            known = replace(known, carried=worked.carried)
            rows.append(worked.total)
            ends.append(finish)
        columns = load.columns if hasattr(load, "columns") else None
        return pd.DataFrame(np.vstack(rows), index=pd.Index(ends, name="last_day"), columns=columns)


@dataclass(frozen=True)
class Bills:
    """The bills of a span, one for every billing month.

    Parameters
    ----------
    bills : tuple of Bill
        In time.
    """

    bills: tuple[Bill, ...]

    def __iter__(self) -> Iterator[Bill]:
        """Go through the bills in time."""
        return iter(self.bills)

    def __len__(self) -> int:
        """Count the bills."""
        return len(self.bills)

    def __getitem__(self, position: int) -> Bill:
        """Take one bill."""
        return self.bills[position]

    @property
    def total(self) -> Decimal:
        """What all of them come to."""
        return sum((bill.total for bill in self.bills), Decimal(0))

    @property
    def lines(self) -> dict[str, Decimal]:
        """The amount of every line over all bills."""
        sums: dict[str, Decimal] = {}
        for bill in self.bills:
            for name, amount in bill.lines.items():
                sums[name] = sums.get(name, Decimal(0)) + amount
        return sums

    def frame(self) -> pd.DataFrame:
        """Make one table of all items, with the last day of their bill."""
        import pandas as pd

        return pd.concat({bill.end: bill.frame() for bill in self.bills}, names=["last_day", "item"])


def opening(
    carried: Carried | None,
    demand_kw: Any = None,
    power_factor: float | None = None,
    contracted_kw: float | None = None,
    contracted_a: float | None = None,
) -> Known:
    """Put together what is known of a bill besides its energy."""
    if isinstance(demand_kw, Mapping):
        demand_kw = {str(name): float(kw) for name, kw in demand_kw.items()}
    return Known(demand_kw, power_factor, contracted_kw, contracted_a, carried or Carried())
