"""What would make a target reachable that is not: leave later, or charge with more current."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, timedelta

from chargeplan.plan.problem import problem_from
from chargeplan.plan.reach import reach
from chargeplan.plan.stops import Itinerary, Stay

#: No remedy is looked for beyond a week, and beyond the current of the largest dwelling services.
LONGEST_MIN = 7 * 24 * 60
MOST_MORE_A = 400


@dataclass(frozen=True)
class Fix:
    """The least change of one stay that makes its target reachable.

    Parameters
    ----------
    stay : int
        Number of the stay, from 0.
    place : str
        Where.
    shortfall_kwh : float
        What is missing at departure.
    leave_later_min : int or None
        Least whole minutes to leave later; None if no delay helps, as when the battery is full or
        the next stay begins before. Later stays are not looked at.
    more_a : int or None
        Least whole amperes more, at the same gain; None if no current helps or none is known.
    """

    stay: int
    place: str
    shortfall_kwh: float
    leave_later_min: int | None
    more_a: int | None


def find_fix(itinerary: Itinerary, number: int, arrival_kwh: float, shortfall_kwh: float, step_min: int = 15) -> Fix:
    """Find the least delay, and the least current, that repair one departure.

    Parameters
    ----------
    itinerary : Itinerary
        As planned.
    number : int
        The stay with the shortfall.
    arrival_kwh : float
        Highest level it can be reached with (see `reach`).
    shortfall_kwh : float
        What is missing at its departure.
    step_min : int
        Slot length of the plan; it matters with a taper.

    Returns
    -------
    Fix

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> stay = Stay("home", datetime(2026, 1, 5, 20, tzinfo=timezone.utc),
    ...             datetime(2026, 1, 5, 22, tzinfo=timezone.utc),
    ...             wall_kw=3.6, gain=1.0, need_kwh=10.0, volts=225, current_a=16)
    >>> fix = find_fix(Itinerary(0, 60, [stay]), 0, 0.0, 2.8)
    >>> fix.leave_later_min, fix.more_a
    (47, 7)
    """
    stay = itinerary.stays[number]

    def reachable(changed: Stay) -> bool:
        alone = replace(
            itinerary,
            level_kwh=arrival_kwh,
            stays=[replace(changed, price_per_kwh=0.0)],
            drives=itinerary.drives[number : number + 1],
        )
        return bool(reach(problem_from(alone, step_min)).shortfall_kwh[0] <= 1e-9)

    later = amperes = None
    if stay.wall_kw > 0:
        longest = LONGEST_MIN
        if number + 1 < len(itinerary.stays):
            gap_s = itinerary.stays[number + 1].start.timestamp() - stay.end.timestamp()
            longest = min(longest, int(gap_s // 60))
        later = _least(lambda n: reachable(_leaving_later(stay, n)), longest)
        if stay.current_a is not None:
            amperes = _least(lambda n: reachable(_with_more_current(stay, n)), MOST_MORE_A)
    return Fix(number, stay.place, shortfall_kwh, later, amperes)


def _leaving_later(stay: Stay, minutes: int) -> Stay:
    """Depart later by elapsed minutes; across a clock change wall-clock sums would be an hour off."""
    end = (stay.end.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(stay.end.tzinfo)
    return replace(stay, end=end)


def _with_more_current(stay: Stay, amperes: int) -> Stay:
    current = float(stay.current_a or math.nan)
    return replace(stay, current_a=current + amperes, wall_kw=stay.wall_kw * (current + amperes) / current)


def _least(works: Callable[[int], bool], most: int) -> int | None:
    """Least number from 1 to `most` that works; whatever is above one that works does so too."""
    high = 1
    while high < most and not works(high):
        high *= 2
    high = min(high, most)
    if not works(high):
        return None
    low = high // 2  # does not work, or is 0
    while high - low > 1:
        middle = (low + high) // 2
        if works(middle):
            high = middle
        else:
            low = middle
    return high
