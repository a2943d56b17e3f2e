"""Random use of electricity for Hypothesis, near what may go wrong in a rate sheet: clock changes, new versions."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, time, timedelta
from typing import TYPE_CHECKING, Any, Final
from zoneinfo import ZoneInfo

import numpy as np
from hypothesis import strategies as st

from chargeplan.tariff.dates import DayRule

if TYPE_CHECKING:
    import pandas as pd

#: Days of the sheets drawn, and of loads.
FIRST, LAST = date(2026, 1, 1), date(2027, 12, 31)
#: Days near which clocks change in the zones of the sheets drawn.
_NOTABLE: Final = (date(2026, 3, 8), date(2026, 11, 1), date(2027, 3, 28), date(2026, 10, 25), date(2026, 4, 5))


def one_in(draw: st.DrawFn, n: int) -> bool:
    """Draw a yes in one of ``n`` cases."""
    return draw(st.integers(1, n)) == n


def days_drawn() -> st.SearchStrategy[date]:
    """Draw a day from `FIRST` to `LAST`."""
    return st.integers(0, (LAST - FIRST).days).map(lambda n: FIRST + timedelta(days=n))


def midnight(sheet: Mapping[str, Any], day: date) -> datetime:
    """Find when a day of a sheet begins, on the clock that the sheet is read on.

    Parameters
    ----------
    sheet : mapping
        A sheet as plain data.
    day : datetime.date
        A day of the sheet.

    Returns
    -------
    datetime.datetime
        The instant, in UTC.

    Examples
    --------
    >>> midnight({"timezone": "America/Denver", "clock": "standard"}, date(2026, 7, 1)).isoformat()
    '2026-07-01T07:00:00+00:00'
    """
    zone, clock = ZoneInfo(sheet["timezone"]), sheet.get("clock", "wall")
    start = datetime.combine(day, time())
    if clock == "wall":
        return start.replace(tzinfo=zone).astimezone(UTC)
    if isinstance(clock, str) and clock.startswith("UTC"):
        hours, _, minutes = clock[4:].partition(":")
        offset = timedelta(hours=int(hours or 0), minutes=int(minutes or 0)) * (-1 if "-" in clock else 1)
    else:
        both = [datetime(day.year, month, 1, tzinfo=zone).utcoffset() or timedelta() for month in (1, 7)]
        offset = min(both)
    if isinstance(clock, Mapping):
        forward, back = (DayRule.parse(clock[end]).dates(day.year)[0] for end in ("forward", "back"))
        ahead = forward < day <= back if forward < back else not back < day <= forward
        offset += timedelta(hours=int(ahead))
    return (start - offset).replace(tzinfo=UTC)


@st.composite
def loads(
    draw: st.DrawFn, sheet: Mapping[str, Any], *, most_days: int = 70, steps_min: Sequence[int] = (15, 30, 60)
) -> pd.Series[float]:
    """Draw what a household may use, in whole days of a sheet's clock.

    Parameters
    ----------
    sheet : mapping
        A sheet as plain data, such as `sheets` draws.
    most_days : int
        Length in days, at most.
    steps_min : sequence of int
        Lengths of an interval in minutes to choose from.

    Returns
    -------
    strategy of pandas.Series
        Energy per interval in kWh, in sixteenths, indexed by the zone-aware start of every interval.

    Examples
    --------
    >>> from hypothesis import given, settings
    >>> @settings(max_examples=5, deadline=None)
    ... @given(loads({"timezone": "America/Denver"}, most_days=3))
    ... def energy_is_never_negative(load):
    ...     assert load.min() >= 0
    >>> energy_is_never_negative()
    """
    import pandas as pd

    step_min = draw(st.sampled_from(list(steps_min)))
    days = draw(st.one_of(st.integers(1, min(3, most_days)), st.integers(1, most_days)))
    notable = [*_NOTABLE]
    for change in (*sheet.get("versions", ()), *sheet.get("overrides", ())):
        notable += [date.fromisoformat(change["from"])] * 3
    first = draw(days_drawn())
    if one_in(draw, 2):
        first = draw(st.sampled_from(notable)) - timedelta(days=draw(st.integers(0, days - 1)))
    if one_in(draw, 4):  # a whole billing month
        first = first.replace(day=sheet.get("billing", {}).get("reading_day", 1))
        days = min(most_days, ((first + timedelta(days=32)).replace(day=first.day) - first).days)
    start, end = midnight(sheet, first), midnight(sheet, first + timedelta(days=days))
    index = pd.date_range(start, end, freq=f"{step_min}min", inclusive="left", name="start")
    pattern = np.array(draw(st.lists(st.integers(0, draw(st.sampled_from([4, 32, 100]))), min_size=1, max_size=20)))
    energy_kwh = np.resize(pattern, len(index)) * step_min / 60 / 16
    return pd.Series(energy_kwh, index.tz_convert(draw(st.sampled_from([sheet["timezone"], "UTC"]))), name="kwh")
