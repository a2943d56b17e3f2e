"""The prices of a span of time, slot by slot, as columns for other programs.

The columns are always ``start``, ``end`` and ``price_per_kwh``; ``export_per_kwh`` where the sheet says what a kWh
sold earns; and, if the parts are wanted, ``period``, ``season``, ``day_type`` and one column for every component
and tax. Within a version of the schema columns are only ever added.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray, instant_s, local_seconds
from chargeplan.errors import InputError
from chargeplan.tariff import Tariff
from chargeplan.tariff.lines import FloatArray
from chargeplan.tariff.spans import step_seconds
from chargeplan.tariff.tariff import Instant

if TYPE_CHECKING:
    import pandas as pd

#: Every format rounds to so many decimals, so that all three say the same and 0.189 is not 0.18900000000000003.
DECIMALS: Final = 9
#: More would be a slip of the pen: these are 142 years of quarter hours.
MAX_SLOTS: Final = 5_000_000
LABELS: Final = ("period", "season", "day_type")
#: Before the name of a component or tax, so that no name of a sheet can be taken for another column.
PART: Final = "part_per_kwh."
_HOUR_S: Final = 3600

Column = FloatArray | NDArray[np.object_]


@dataclass(frozen=True, eq=False)
class PriceTable:
    """Prices slot by slot.

    Parameters
    ----------
    tariff, currency, timezone : str
        Of the sheet.
    step_s : int
        Length of every slot in seconds.
    start_s : int64 array, shape (slots,)
        Start of every slot, UTC seconds, rising without a gap.
    columns : mapping of str to array, shape (slots,)
        What stands beside start and end: numbers per kWh, and text.
    """

    tariff: str
    currency: str
    timezone: str
    step_s: int
    start_s: IntArray = field(repr=False)
    columns: Mapping[str, Column] = field(repr=False)

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all columns."""
        return ("start", "end", *self.columns)

    def stamps(self, utc_s: IntArray) -> list[str]:
        """Write instants as text: the wall clock of the sheet's zone, and its offset from UTC."""
        local = local_seconds(self.timezone, utc_s)
        offsets, which = np.unique(local - utc_s, return_inverse=True)
        epoch = datetime(1970, 1, 1, tzinfo=UTC)
        texts = [epoch.astimezone(timezone(timedelta(seconds=int(o)))).isoformat()[19:] for o in offsets]
        wall = np.datetime_as_string(local.astype("datetime64[s]"))
        return [moment + texts[offset] for moment, offset in zip(wall.tolist(), which.tolist(), strict=True)]

    def lists(self) -> list[list[object]]:
        """Give every column as a list: stamps as text, numbers as they print shortest."""
        ends = self.start_s + self.step_s
        return [
            self.stamps(self.start_s),
            self.stamps(ends),
            *(column.tolist() for column in self.columns.values()),
        ]

    def frame(self) -> pd.DataFrame:
        """Give the table as a pandas DataFrame, start and end zone-aware."""
        import pandas as pd

        def moments(utc_s: IntArray) -> pd.DatetimeIndex:
            return pd.DatetimeIndex(utc_s.astype("datetime64[s]"), tz="UTC").tz_convert(self.timezone)

        times = {"start": moments(self.start_s), "end": moments(self.start_s + self.step_s)}
        return pd.DataFrame({**times, **self.columns})


def price_table(
    tariff: Tariff, start: Instant, end: Instant, step: str | int | timedelta = "15 min", *, parts: bool = False
) -> PriceTable:
    """Price a span of time slot by slot.

    Parameters
    ----------
    tariff : Tariff
        The rate.
    start, end : str, date or zone-aware datetime
        The span, end excluded. Text and dates without an offset are the sheet's own wall clock.
    step : str, int or timedelta
        Length of a slot: whole minutes that divide an hour. A number means minutes.
    parts : bool
        Whether to say why: period, season, day type, and the price of every component and tax.

    Returns
    -------
    PriceTable
        Days with a clock change have 23 or 25 hours. Prices are rounded to nine decimals; a slot in which
        the price changes has the mean over time. With tiers it is the price of the first kWh.

    Raises
    ------
    InputError
        If the span is empty, no whole number of slots, longer than 5,000,000 of them, or outside the sheet.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> table = price_table(load_tariff("two-period"), "2026-03-08", "2026-03-09", "1 h")
    >>> table.names, len(table.start_s)
    (('start', 'end', 'price_per_kwh'), 23)
    >>> table.lists()[0][2]
    '2026-03-08T03:00:00-06:00'
    """
    remedy = "write what divides an hour: 5 min, 15 min, 30 min or 1 h"
    if isinstance(step, str) and not any(map(str.isdigit, step)):
        raise InputError(f"a step of {step[:40]} is no length of time; {remedy}")
    step_s = step_seconds(step)
    if _HOUR_S % step_s:
        raise InputError(f"a step of {step} does not divide an hour; {remedy}")
    first_s, end_s = instant_s(start, tariff.timezone), instant_s(end, tariff.timezone)
    if end_s <= first_s:
        raise InputError(f"the end {end} is not after the start {start}; give a later end")
    if first_s % 60:
        raise InputError(f"the start {start} is not on a whole minute; leave the seconds out")
    if (end_s - first_s) % step_s:
        raise InputError(f"from {start} to {end} is no whole number of steps of {step}; choose a shorter step")
    if (end_s - first_s) // step_s > MAX_SLOTS:
        raise InputError(f"these would be more than {MAX_SLOTS:,} prices; choose fewer days or a longer step")
    start_s = np.arange(first_s, end_s, step_s, dtype=np.int64)
    columns: dict[str, Column] = {"price_per_kwh": _rounded(tariff.price_array(start_s, step_s))}
    if sells(tariff):
        columns["export_per_kwh"] = _rounded(tariff.export_array(start_s, step_s))
    if parts:
        frame = tariff.frame(start, end, step)
        columns |= {name: frame[name].to_numpy(dtype=object) for name in LABELS}
        names = [name for name in frame.columns if name not in (*LABELS, "price_per_kwh", "export_per_kwh")]
        columns |= {f"{PART}{name}": _rounded(frame[name].to_numpy(dtype=np.float64)) for name in names}
    return PriceTable(tariff.name, tariff.currency, tariff.timezone, step_s, start_s, columns)


def sells(tariff: Tariff) -> bool:
    """Tell whether a sheet says what a kWh sold earns, in any of its versions."""
    return any(rates.sold or rates.net is not None for rates in tariff.versions)


def _rounded(values: FloatArray) -> FloatArray:
    # Adding nothing turns a minus zero into zero.
    return np.round(values, DECIMALS) + 0.0
