"""Small pieces of text that every report writes the same way: times, money, energy."""

from __future__ import annotations

from datetime import UTC, datetime
from math import isnan

#: Widest line of a report; a mail shows it unbroken.
WIDTH = 80


def day_text(moment: datetime) -> str:
    """Write a date.

    Examples
    --------
    >>> day_text(datetime(2026, 11, 25))
    'Wed 25 Nov 2026'
    """
    return f"{moment:%a} {moment.day} {moment:%b %Y}"


def whole_minute(moment: datetime, *, up: bool = False) -> datetime:
    """Round an instant to the minute.

    Parameters
    ----------
    moment : datetime
        Zone-aware instant.
    up : bool
        To the next minute, for an end that must not come too early; otherwise down.

    Examples
    --------
    >>> whole_minute(datetime(2026, 11, 25, 23, 59, 42, tzinfo=UTC), up=True).isoformat()
    '2026-11-26T00:00:00+00:00'
    """
    # In UTC, since sums on the wall clock are wrong across a change; half a second is rounding, not time.
    seconds = moment.timestamp() + (59.5 if up else 0.5)
    return datetime.fromtimestamp(seconds // 60 * 60, UTC).astimezone(moment.tzinfo)


def time_text(moment: datetime, *, with_zone: bool = False) -> str:
    """Write a time of day.

    Parameters
    ----------
    moment : datetime
        The instant.
    with_zone : bool
        Add the zone's abbreviation, for days on which the clock changes.

    Examples
    --------
    >>> time_text(datetime(2026, 11, 26, 3, 12))
    '03:12'
    """
    return f"{moment:%H:%M %Z}" if with_zone else f"{moment:%H:%M}"


def clock_changes(first: datetime, last: datetime) -> bool:
    """Tell whether the clock changes between two local times.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> denver = ZoneInfo("America/Denver")
    >>> clock_changes(datetime(2026, 3, 7, tzinfo=denver), datetime(2026, 3, 9, tzinfo=denver))
    True
    """
    return first.utcoffset() != last.utcoffset()


def money_text(amount: float, currency: str) -> str:
    """Write an amount of money.

    Examples
    --------
    >>> money_text(-0.001, "USD"), money_text(5.893, "USD")
    ('0.00 USD', '5.89 USD')
    """
    return f"{round(amount, 2) + 0.0:.2f} {currency}"


def current_text(current_a: float | None, wall_kw: float) -> str:
    """Write the current of a window, or its power where there is no current to set.

    Examples
    --------
    >>> current_text(32.0, 7.68), current_text(None, 50.0)
    ('32 A', '50 kW')
    """
    return f"{wall_kw:g} kW" if current_a is None or isnan(current_a) else f"{round(current_a, 1):g} A"


def percent_text(share: float) -> str:
    """Write a share as a percentage, whole where it is whole.

    Examples
    --------
    >>> percent_text(0.8), percent_text(0.4255)
    ('80 %', '42.5 %')
    """
    return f"{int(share * 1000 + 1e-6) / 10:g} %"
