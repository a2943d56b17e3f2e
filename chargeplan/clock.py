"""The wall clock: between UTC seconds and local time, for whole arrays, clock changes included.

The time zone data are the standard library's ``zoneinfo``; what is added here is asking it once per
year for the moments at which the clock changes, so that a year of slots costs one table lookup.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from functools import lru_cache
from typing import Final
from zoneinfo import ZoneInfo, available_timezones

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import InputError

IntArray = NDArray[np.int64]

DAY_S: Final = 86_400
#: The zone is asked for its offset this often; no zone has changed its clock twice within it.
_PROBE_S: Final = 6 * 3600
_EPOCH: Final = date(1970, 1, 1)
#: Years outside are refused: zone data say nothing useful about them.
FIRST_YEAR, LAST_YEAR = 1971, 2199


@lru_cache(maxsize=256)
def zone(name: str) -> ZoneInfo:
    """Find a time zone by its name in the IANA database.

    Parameters
    ----------
    name : str
        For example ``America/Denver``.

    Returns
    -------
    zoneinfo.ZoneInfo
        The zone.

    Raises
    ------
    InputError
        If there is no such zone; the message names the nearest ones.

    Examples
    --------
    >>> zone("America/Denver").key
    'America/Denver'
    """
    try:
        return ZoneInfo(name)
    except (OSError, ValueError, KeyError):
        close = difflib.get_close_matches(name, available_timezones(), 2, 0.6)
        hint = f"did you mean {' or '.join(close)}?" if close else "write a name like America/Denver or Europe/Berlin"
        raise InputError(f"`{name[:60]}` is not a time zone; {hint}") from None


def _offset(name: str, utc_s: int) -> int:
    offset = datetime.fromtimestamp(utc_s, zone(name)).utcoffset()
    assert offset is not None
    return int(offset.total_seconds())


@lru_cache(maxsize=4096)
def _changes_of_year(name: str, year: int) -> tuple[tuple[int, int], ...]:
    """List the first instant of a year and every clock change in it, each with the offset from then on."""
    first = int(datetime(year, 1, 1, tzinfo=UTC).timestamp())
    last = int(datetime(year + 1, 1, 1, tzinfo=UTC).timestamp())
    found = [(first, _offset(name, first))]
    for probe in range(first + _PROBE_S, last + 1, _PROBE_S):
        offset = _offset(name, probe)
        if offset != found[-1][1]:
            before, after = probe - _PROBE_S, probe
            while after - before > 1:
                middle = (before + after) // 2
                before, after = (before, middle) if _offset(name, middle) == offset else (middle, after)
            if after < last:
                found.append((after, offset))
    return tuple(found)


def local_seconds(name: str, utc_s: IntArray) -> IntArray:
    """Read the wall clock at many instants.

    Parameters
    ----------
    name : str
        Time zone.
    utc_s : int64 array, shape (n,)
        Instants, seconds since 1970-01-01 00:00 UTC, in rising order.

    Returns
    -------
    int64 array, shape (n,)
        What the wall clock shows, as seconds since 1970-01-01 00:00 on that clock.

    Raises
    ------
    InputError
        If an instant lies outside the years 1971 to 2199.

    Examples
    --------
    Across the spring change of 2026 in Denver the clock goes from 01:59 to 03:00:

    >>> local = local_seconds("America/Denver", np.array([1772960340, 1772960400]))
    >>> (local % 86400 // 60).tolist()
    [119, 180]
    """
    if utc_s.size == 0:
        return utc_s.copy()
    years = [datetime.fromtimestamp(int(utc_s[i]), UTC).year for i in (0, -1) if 0 <= int(utc_s[i]) < 2**33]
    if len(years) < 2 or years[0] < FIRST_YEAR or years[1] > LAST_YEAR:
        raise InputError(f"the time lies outside the years {FIRST_YEAR} to {LAST_YEAR}")
    changes = [change for year in range(years[0], years[1] + 1) for change in _changes_of_year(name, year)]
    if len(changes) == 1:
        return utc_s + changes[0][1]
    starts = np.array([start for start, _ in changes], dtype=np.int64)
    offsets = np.array([offset for _, offset in changes], dtype=np.int64)
    return utc_s + np.repeat(offsets, np.diff(np.searchsorted(utc_s, starts, side="left"), append=utc_s.size))


def day_number(day: date) -> int:
    """Count the days from 1970-01-01 to a date.

    Examples
    --------
    >>> day_number(date(1970, 1, 2))
    1
    """
    return (day - _EPOCH).days


def day_of_number(number: int) -> date:
    """Turn a day number back into a date.

    Examples
    --------
    >>> day_of_number(1)
    datetime.date(1970, 1, 2)
    """
    return _EPOCH + timedelta(days=int(number))


def day_start_s(name: str, day: date) -> int:
    """Find the first instant of a local day, in UTC seconds.

    Parameters
    ----------
    name : str
        Time zone.
    day : datetime.date
        The local date.

    Returns
    -------
    int
        Where midnight is skipped by a clock change, the instant of the change.

    Examples
    --------
    The day of the spring change has 23 hours:

    >>> (day_start_s("America/Denver", date(2026, 3, 9)) - day_start_s("America/Denver", date(2026, 3, 8))) / 3600
    23.0
    """
    return wall_s(name, day, 0)


def wall_s(name: str, day: date, minute: int) -> int:
    """Find the instant at which the wall clock shows a time of day.

    Parameters
    ----------
    name : str
        Time zone.
    day : datetime.date
        The local date.
    minute : int
        Minutes after midnight, 0 to 1440.

    Returns
    -------
    int
        UTC seconds. A time shown twice means the first; a time skipped means the clock change
        plus what is missing (02:30 on the spring day is 03:30), as alarm clocks do.

    Examples
    --------
    >>> wall_s("America/Denver", date(2026, 11, 25), 1080) - day_start_s("America/Denver", date(2026, 11, 25))
    64800
    """
    if not FIRST_YEAR - 1 <= day.year <= LAST_YEAR + 1:
        raise InputError(f"the time lies outside the years {FIRST_YEAR} to {LAST_YEAR}")
    if minute == 1440:
        day, minute = day + timedelta(days=1), 0
    return int(datetime(day.year, day.month, day.day, minute // 60, minute % 60, tzinfo=zone(name)).timestamp())


def walls_s(name: str, day: IntArray, minute: int | IntArray) -> IntArray:
    """Find the instants at which the wall clock shows a time of day, on many days at once.

    Parameters
    ----------
    name : str
        Time zone.
    day : int64 array, shape (n,)
        Local dates as day numbers, see `day_number`, in any order.
    minute : int or int64 array, shape (n,)
        Minutes after midnight.

    Returns
    -------
    int64 array, shape (n,)
        UTC seconds, as `wall_s` gives them for each day.

    Raises
    ------
    InputError
        If a day lies outside the years 1971 to 2199.

    Examples
    --------
    >>> day = np.array([day_number(date(2026, 3, 7)), day_number(date(2026, 3, 8))])
    >>> (np.diff(walls_s("America/Denver", day, 1080)) / 3600).tolist()
    [23.0]
    """
    local = np.asarray(day, dtype=np.int64) * DAY_S + 60 * np.asarray(minute, dtype=np.int64)
    if local.size == 0:
        return local
    years = [day_of_number(int(number)).year for number in (np.min(day), np.max(day))]
    if years[0] < FIRST_YEAR or years[1] > LAST_YEAR:
        raise InputError(f"the time lies outside the years {FIRST_YEAR} to {LAST_YEAR}")
    found = [change for year in range(years[0] - 1, years[1] + 1) for change in _changes_of_year(name, year)]
    starts, offsets = np.array(found, dtype=np.int64).T
    # A time shown twice means the first, so the old offset holds until the new one is sure.
    turns = starts[1:] + np.maximum(offsets[1:], offsets[:-1])
    result: IntArray = local - offsets[np.searchsorted(turns, local, side="right")]
    return result


_DATE = re.compile(r"\d{4}-\d{2}-\d{2}\Z", re.ASCII)


def instant_s(value: str | date | datetime, name: str) -> int:
    """Read an instant as a person gives it.

    Parameters
    ----------
    value : str, datetime.date or zone-aware datetime
        Text such as ``2026-03-08``, ``2026-03-08 18:30`` or ``2026-03-08T18:30-07:00``. Without an
        offset it is the wall clock of the zone; a date alone is its first instant.
    name : str
        Time zone for values without an offset.

    Returns
    -------
    int
        UTC seconds.

    Raises
    ------
    InputError
        If the text is no instant, or a wall-clock time that is skipped or shown twice that day, or
        if a ``datetime`` has no zone.

    Examples
    --------
    >>> instant_s("2026-03-08 18:30", "America/Denver") == instant_s("2026-03-08T18:30-06:00", "America/Denver")
    True
    """
    if isinstance(value, datetime):
        if value.tzinfo is None or value.utcoffset() is None:
            raise InputError(f"{value} has no time zone; give it one, or write it as text for the local wall clock")
        return int(value.timestamp())
    if isinstance(value, date):
        return day_start_s(name, value)
    text = str(value).strip()
    example = "write for example 2026-03-08 18:30 or 2026-03-08T18:30-06:00"
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        raise InputError(f"`{text[:60]}` is not a date or time; {example}") from None
    if moment.tzinfo is not None:
        return int(moment.timestamp())
    if _DATE.match(text):
        return day_start_s(name, moment.date())
    first, second = (int(moment.replace(tzinfo=zone(name), fold=fold).timestamp()) for fold in (0, 1))
    if first < second:
        example = moment.replace(tzinfo=zone(name)).isoformat(" ", "minutes")
        raise InputError(f"{text} comes twice that day, when the clock goes back; add the offset, as in {example}")
    if first > second:
        raise InputError(f"{text} is skipped that day, when the clock goes forward; choose a time before or after")
    return first


def local_datetimes(name: str, utc_s: Sequence[int] | IntArray) -> list[datetime]:
    """Turn instants into zone-aware datetimes of a zone.

    Examples
    --------
    >>> local_datetimes("America/Denver", [1772960400])[0].isoformat()
    '2026-03-08T03:00:00-06:00'
    """
    return [datetime.fromtimestamp(int(second), zone(name)) for second in utc_s]
