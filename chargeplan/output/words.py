"""Small pieces of text that every report writes the same way: times, money, energy."""

from __future__ import annotations

import textwrap
from datetime import UTC, datetime
from math import isnan

#: Widest line of a report; a mail shows it unbroken.
WIDTH = 80
#: Column at which the text of a labelled line begins.
LABEL = 13


def plain_text(text: str) -> str:
    r"""Keep line breaks and terminal codes of a name out of a report.

    Examples
    --------
    >>> plain_text("our\nhouse")
    'our house'
    """
    return "".join(character if character.isprintable() else " " for character in text)


def wrapped(text: str, label: str = "") -> list[str]:
    """Break a text into lines, with a label before the first and the others under it.

    Examples
    --------
    >>> wrapped("7.68 kW", "Limit        ")
    ['Limit        7.68 kW']
    """
    return textwrap.wrap(plain_text(text), WIDTH, initial_indent=label, subsequent_indent=" " * len(label)) or [""]


def labelled(label: str, text: str) -> list[str]:
    """Write a text beside a label, all labels of a report being equally wide.

    Examples
    --------
    >>> labelled("Limit", "7.68 kW")
    ['Limit        7.68 kW']
    """
    return wrapped(text, f"{label:<{LABEL}}")


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


def moment_text(moment: datetime, *, with_zone: bool = False) -> str:
    """Write a date and a time of day.

    Examples
    --------
    >>> moment_text(datetime(2026, 11, 26, 3, 12))
    'Thu 26 Nov 2026 03:12'
    """
    return f"{day_text(moment)} {time_text(moment, with_zone=with_zone)}"


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


def shown_twice(moment: datetime) -> bool:
    """Tell whether the clock shows a local time twice that day, because it goes back.

    Examples
    --------
    >>> from zoneinfo import ZoneInfo
    >>> shown_twice(datetime(2026, 11, 1, 1, 30, tzinfo=ZoneInfo("America/Denver")))
    True
    """
    return moment.replace(fold=0).utcoffset() > moment.replace(fold=1).utcoffset()  # type: ignore[operator]


def money_text(amount: float, currency: str) -> str:
    """Write an amount of money.

    Examples
    --------
    >>> money_text(-0.001, "USD"), money_text(5.893, "USD")
    ('0.00 USD', '5.89 USD')
    """
    return f"{round(amount, 2) + 0.0:.2f} {currency}"


def current_text(current_a: float | None, wall_kw: float) -> str:
    """Write the current of a window, never more than it is, or its power where there is no current to set.

    Examples
    --------
    >>> current_text(32.08, 7.7), current_text(None, 50.0)
    ('32 A', '50 kW')
    """
    return f"{wall_kw:g} kW" if current_a is None or isnan(current_a) else f"{int(current_a * 10 + 1e-6) / 10:g} A"


def percent_text(share: float) -> str:
    """Write a share as a percentage, whole where it is whole.

    Examples
    --------
    >>> percent_text(0.8), percent_text(0.4255)
    ('80 %', '42.5 %')
    """
    return f"{int(share * 1000 + 1e-6) / 10:g} %"
