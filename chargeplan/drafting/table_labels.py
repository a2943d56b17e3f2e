"""What stands around a table of months and hours: its title, a row of hours, a column of months."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Final

from chargeplan.errors import InputError
from chargeplan.tariff.dates import month_of

WEEKDAY, WEEKEND, ALL_DAYS = "weekdays", "weekends", "all days"
_DAYS: Final = {
    WEEKDAY: re.compile(
        r"week-?\s?days?|work(?:ing)?\s?days?|mon(?:day)?s?\s*(?:-|–|to|through)\s*fri(?:day)?s?", re.I
    ),
    WEEKEND: re.compile(r"week-?\s?ends?|sat(?:urday)?s?\s*(?:-|–|/|,|&|and|to)\s*sun(?:day)?s?", re.I),
}
_ALL: Final = re.compile(r"all days|every ?day|all week", re.I)
_HOUR: Final = re.compile(
    r"(?:h|he|hr|hour)?\s*(\d{1,2})(?:\.0|:00|h)?\s*([ap]m)?"
    r"(?:\s*(?:-|–|to)\s*\d{1,2}(?::00|:59|h)?\s*(?:[ap]m)?)?",
    re.IGNORECASE | re.ASCII,
)
_FROM_0, _FROM_1 = list(range(24)), list(range(1, 25))


def days_of_title(text: str) -> str:
    """Read from a title for which days a table is.

    Parameters
    ----------
    text : str
        Such as ``Weekday prices`` or ``Sat-Sun``.

    Returns
    -------
    str
        ``weekdays``, ``weekends``, ``all days``; empty if it does not say.

    Examples
    --------
    >>> [days_of_title(text) for text in ("Weekday", "Sat/Sun", "Weekdays and weekends", "Prices 2026")]
    ['weekdays', 'weekends', 'all days', '']
    """
    found = [days for days, words in _DAYS.items() if words.search(text)]
    if _ALL.search(text) or len(found) > 1:
        return ALL_DAYS
    return found[0] if found else ""


def hours_of_labels(labels: Sequence[str]) -> list[int] | None:
    """Read a row of 24 hours.

    Parameters
    ----------
    labels : sequence of str
        Such as ``0``, ``00:00``, ``12 am``, ``0-1`` or ``HE1``.

    Returns
    -------
    list of int or None
        The hours as they are written; None if these are none.

    Examples
    --------
    >>> hours_of_labels(["12 AM", "1 AM", "12 PM", "1 PM"]), hours_of_labels(["0.12", "0.30"])
    ([0, 1, 12, 13], None)
    """
    found = []
    for label in labels:
        match = _HOUR.fullmatch(label.strip())
        if match is None or int(match[1]) > 24 or (match[2] and not 1 <= int(match[1]) <= 12):
            return None
        hour = int(match[1])
        found.append(hour % 12 + 12 * (match[2].lower() == "pm") if match[2] else hour)
    return found


def hours_begin(hours: Sequence[int]) -> int | None:
    """Tell whether hours count from 0 or from 1; None if they are no day from midnight to midnight.

    Examples
    --------
    >>> hours_begin(range(24)), hours_begin(range(1, 25)), hours_begin([*range(6, 24), *range(6)])
    (0, 1, None)
    """
    # In the form 1, 2, ... 23, 0 the last hour ends at midnight.
    return 0 if [*hours] == _FROM_0 else 1 if [*hours] in (_FROM_1, [*_FROM_1[:-1], 0]) else None


def months_of_labels(labels: Sequence[str]) -> list[int | None]:
    """Read names or numbers of months; None for what is no month.

    Examples
    --------
    >>> months_of_labels(["Jan", "february", "3", "Mars"])
    [1, 2, 3, None]
    """
    found: list[int | None] = []
    for label in labels:
        text = label.strip().removesuffix(".0")
        if text.isdecimal():
            found.append(int(text) if 1 <= int(text[:3]) <= 12 and len(text) <= 2 else None)
            continue
        try:
            found.append(month_of(text))
        except InputError:
            found.append(None)
    return found
