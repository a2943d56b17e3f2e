"""A made-up household to try a tariff on, and what it uses if it uses a little more."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from chargeplan.clock import IntArray
from chargeplan.tariff.tariff import Tariff

if TYPE_CHECKING:
    import pandas as pd


def example_load(tariff: Tariff, days: int = 365) -> pd.Series[float]:
    """Make up the use of a household, the same every time.

    Parameters
    ----------
    tariff : Tariff
        Whose first days are meant; days of 2026 for a sheet without a beginning. A sheet with market prices may have
        none for those days; make a load of days that the file of prices covers.
    days : int
        How many days, fewer if the sheet ends before.

    Returns
    -------
    pandas.Series
        kWh per half hour, from midnight to midnight on the sheet's clock.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> load = example_load(load_tariff("flat"), days=2)
    >>> len(load), load.index[0].isoformat()
    (96, '2026-01-01T00:00:00-07:00')
    """
    import pandas as pd

    first = tariff.sheet.effective or date(2026, 1, 1)
    last = min(first + timedelta(days=days - 1), tariff.sheet.until or date.max)
    clock = tariff.timeline.clock
    start_s = np.arange(clock.day_start_s(first), clock.day_start_s(last + timedelta(days=1)), 1800)
    random = np.random.default_rng(0)
    hour = start_s // 3600 % 24
    # Sixty-fourths of a kWh are exact in a computer, and so are their sums.
    use_kwh = (
        8 + 24 * (np.abs(hour - 12) > 5) * random.random(start_s.size) // 1 + random.integers(0, 8, start_s.size)
    ) / 64
    index = pd.to_datetime(start_s, unit="s", utc=True).tz_convert(tariff.timezone)
    return pd.Series(use_kwh, index=index.rename("start"), name="kwh")


def step(load: pd.Series[float]) -> timedelta:
    """Length of an interval."""
    length: timedelta = (load.index[1] - load.index[0]).to_pytimedelta()
    return length


def span(load: pd.Series[float]) -> tuple[datetime, datetime]:
    """First and last instant of a load, in UTC so that a time shown twice is meant as it is."""
    start: datetime = load.index[0].to_pydatetime().astimezone(UTC)
    end: datetime = load.index[-1].to_pydatetime().astimezone(UTC)
    return start, end + step(load)


def first_days(tariff: Tariff, load: pd.Series[float], days: int) -> pd.Series[float]:
    """Cut a load after some days of the sheet's clock."""
    import pandas as pd

    start_s: IntArray = pd.DatetimeIndex(load.index).as_unit("s").asi8
    day = tariff.timeline.local(start_s)[0]
    return load.iloc[: int(np.count_nonzero(day < day[0] + days))]


def with_more(load: pd.Series[float], slot: int, more_kwh: float) -> pd.Series[float]:
    """Add to the use in one interval."""
    changed = load.astype(float)
    changed.iloc[slot] += more_kwh
    return changed


def more_use(load: pd.Series[float]) -> Iterable[tuple[str, pd.Series[float]]]:
    """Give loads that are nowhere less than a load, each with words for what has become more."""
    highest = int(load.to_numpy().argmax())
    yield "when all use grows by an eighth", load * 1.125
    yield "when every interval uses a little more", load + 1 / 16
    yield "when the interval of the highest use uses more", with_more(load, highest, 1.0)
    yield "when the first interval uses more", with_more(load, 0, 1.0)
