"""Where hours of a table really begin: tables know whole hours only, rates often change at half past."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from chargeplan.errors import InputError
from chargeplan.units import clock_text, time_of_day

#: Minute of the day at which each whole hour of a table begins, from 0 to 24.
Edges = tuple[int, ...]
#: The table read as it stands.
WHOLE_HOURS: Edges = tuple(60 * hour for hour in range(25))


def parse_edges(texts: Iterable[str]) -> Edges:
    """Read which boundaries of a table are moved.

    Parameters
    ----------
    texts : iterable of str
        Each as ``17=17:30`` or ``17:00=17:30``: what the table has at 17:00 is at 17:30.

    Returns
    -------
    tuple of int, length 25
        Minute of the day at which each hour of the table begins; the last is the end of the day.

    Raises
    ------
    InputError
        If one cannot be read, is given twice, is midnight, or passes the hour before or after it.

    Examples
    --------
    >>> parse_edges(["17=17:30"])[16:19]
    (960, 1050, 1080)
    """
    moved: dict[int, int] = {}
    for text in texts:
        hour, minute = _edge(text)
        if hour in moved:
            raise InputError(f"the boundary at {hour:02d}:00 is moved twice; keep one of them")
        moved[hour] = minute
    return _in_order(moved)


def _edge(text: str) -> tuple[int, int]:
    shown = text.strip()[:40]
    remedy = "write for example 17=17:30, for what the table has at 17:00 and the rate at 17:30"
    before, equals, after = text.partition("=")
    hour = f"{before.strip()}:00" if before.strip().isdigit() else before
    try:
        found = time_of_day(hour), time_of_day(after)
    except InputError:
        found = -1, -1
    if not equals or found[0] < 0:
        raise InputError(f"`{shown}` does not say where a boundary of hours moves; {remedy}")
    if found[0] % 60:
        raise InputError(f"`{shown}`: a table has no boundary at {clock_text(found[0])}; {remedy}")
    if found[0] % 1440 == 0 or found[1] % 1440 == 0:
        raise InputError(f"`{shown}`: midnight cannot be moved, another day begins there; correct the sheet by hand")
    return found[0] // 60, found[1]


def _in_order(moved: Mapping[int, int]) -> Edges:
    edges = tuple(moved.get(hour, 60 * hour) for hour in range(25))
    for hour in moved:
        if not (edges[hour - 1] < edges[hour] < edges[hour + 1]):
            what = f"the boundary at {hour:02d}:00 cannot be at {clock_text(edges[hour])}"
            between = f"{clock_text(edges[hour - 1])} and {clock_text(edges[hour + 1])}"
            raise InputError(f"{what}, past the next whole hour; write a time between {between}")
    return edges
