"""What would make a target reachable that is not: leave later, charge with more current, or relax a rule."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import dataclass, replace
from datetime import UTC, timedelta

from chargeplan.plan.preconditioning import PRECONDITIONING
from chargeplan.plan.problem import problem_from
from chargeplan.plan.reach import reach
from chargeplan.plan.rule_search import reaches_target
from chargeplan.plan.stops import Itinerary, Stay

#: No remedy is looked for beyond a week, and beyond the current of the largest dwelling services.
LONGEST_MIN = 7 * 24 * 60
MOST_MORE_A = 400
#: Longest search for one answer under a charger's rules.
_SEARCH_S = 5.0


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
        Least whole amperes more, with what is lost at that current; None if no current helps or none is known.
    rules : tuple of tuple of str
        Rules of the charger, and `preconditioning`, named as in a household file, each of which alone stands in
        the way; if none does alone, one set of which every one does; empty if the target is out of reach anyway.
    """

    stay: int
    place: str
    shortfall_kwh: float
    leave_later_min: int | None
    more_a: int | None
    rules: tuple[tuple[str, ...], ...] = ()


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
        problem = problem_from(alone, step_min)
        if problem.ruled:
            return reaches_target(problem, _SEARCH_S)
        return bool(reach(problem).shortfall_kwh[0] <= 1e-9)

    later = amperes = None
    if stay.wall_kw > 0:
        longest = LONGEST_MIN
        if number + 1 < len(itinerary.stays):
            gap_s = itinerary.stays[number + 1].start.timestamp() - stay.end.timestamp()
            longest = min(longest, int(gap_s // 60))
        later = _least(lambda n: reachable(_leaving_later(stay, n)), longest)
        if stay.current_a is not None:
            amperes = _least(lambda n: reachable(stay.at_current(needed_a(stay, n))), MOST_MORE_A)
    return Fix(number, stay.place, shortfall_kwh, later, amperes, _in_the_way(stay, reachable))


def needed_a(stay: Stay, more_a: int) -> float:
    """Add whole amperes to the limit current of a stay: of a broken current to the next whole one.

    Parameters
    ----------
    stay : Stay
        With a current.
    more_a : int
        How many, 1 or more.

    Returns
    -------
    float
        What an EVSE can be set to.

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> stay = Stay("home", datetime(2026, 1, 5, 20, tzinfo=timezone.utc),
    ...             datetime(2026, 1, 5, 22, tzinfo=timezone.utc), wall_kw=7.7, gain=0.9, current_a=32.08)
    >>> needed_a(stay, 1), needed_a(stay, 3)
    (33.0, 35.0)
    """
    return math.floor(float(stay.current_a or 0.0) + 1e-9) + float(more_a)


def _in_the_way(stay: Stay, reachable: Callable[[Stay], bool]) -> tuple[tuple[str, ...], ...]:
    """Rules without which the target would be reached."""
    from_spells = tuple(dict.fromkeys(spell.because for spell in stay.spells if spell.because))
    from_rules = stay.rules.names if stay.rules is not None else ()
    names = (*from_spells, *from_rules, *(() if stay.preconditioning is None else (PRECONDITIONING,)))
    if not names or not reachable(_without(stay, names)):
        return ()
    alone = tuple((name,) for name in names if reachable(_without(stay, (name,))))
    if alone:
        return alone
    # What is not in the owner's hands stays if it can.
    together = set(names)
    for name in sorted(names, key=lambda name: name not in ("load_control", "derating")):
        if reachable(_without(stay, together - {name})):
            together.discard(name)
    return (tuple(name for name in names if name in together),)


def _without(stay: Stay, names: Collection[str]) -> Stay:
    rules = stay.rules
    for name in names:
        rules = rules.without(name) if rules is not None else None
    spells = tuple(spell for spell in stay.spells if spell.because not in names)
    own = None if PRECONDITIONING in names else stay.preconditioning
    return replace(stay, spells=spells, rules=rules, preconditioning=own)


def _leaving_later(stay: Stay, minutes: int) -> Stay:
    """Depart later by elapsed minutes; across a clock change wall-clock sums would be an hour off."""
    end = (stay.end.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(stay.end.tzinfo)
    return replace(stay, end=end)


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
