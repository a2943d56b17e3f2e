"""Which wishes contradict one another when a departure is short: a smallest set of them.

Each wish is given up in turn while the others stand. If the departure is still short without it, it does not
belong to the conflict and stays given up; what remains is a set that cannot be met together, while giving up
any one of it would do.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

import numpy as np

from chargeplan.plan.preconditioning import PRECONDITIONING
from chargeplan.plan.problem import Problem, problem_from
from chargeplan.plan.reach import reach
from chargeplan.plan.reasons import spell_names
from chargeplan.plan.ruled import reached
from chargeplan.plan.solvers import solve
from chargeplan.plan.stops import Itinerary

#: What can be wished for: a level at departure, the energy of a drive, a floor after it, and what limits
#: charging before: the time and the current of a stay, how full the battery may get, a rule of the charger.
WishKind: TypeAlias = Literal["target", "drive", "floor", "stay", "earlier drive", "rule"]
_SHORT_KWH: Final = 1e-6
#: Longest search for one answer under a charger's rules; what is not found by then counts as out of reach.
_SEARCH_S: Final = 3.0
#: Rules about switching; all others are spells, times in which less can be drawn.
_SWITCHING: Final = ("min_on", "min_off", "most_starts", "one_block")
#: What is not in the owner's hands is given up first, and so named last.
_LAST_NAMED: Final = ("derating", "load_control")


@dataclass(frozen=True)
class Wish:
    """One of the things that cannot be had together.

    Parameters
    ----------
    kind : str
        ``target`` (level wanted at the departure), ``drive`` and ``floor`` (what the drive after it takes, and
        what must be left then), ``stay`` (its hours and its current), ``earlier drive``, or ``rule``.
    stay : int
        Number of the stay it belongs to; of a drive, the stay before it.
    rule : str
        Key of the rule in a household file.

    Examples
    --------
    >>> Wish("target", 0)
    Wish(kind='target', stay=0, rule='')
    """

    kind: WishKind
    stay: int
    rule: str = ""


#: Gives the problem without the spells of some rules, each named by stay and key.
Relaxed: TypeAlias = Callable[[frozenset[tuple[int, str]]], Problem]


def conflict_of(
    itinerary: Itinerary, problem: Problem, number: int, *, until: float = float("inf")
) -> tuple[Wish, ...] | None:
    """Find a smallest set of wishes that make one departure short, forbidden hours and other rules among them.

    Parameters
    ----------
    itinerary : Itinerary
        What was planned.
    problem : Problem
        The same on slots.
    number : int
        The stay with the shortfall, from 0.
    until : float
        After this time of the monotonic clock no more is tried.

    Returns
    -------
    tuple of Wish, or None
        None if the time is over before it is found.

    Examples
    --------
    Four kWh can be had in two hours at 2 kW, but only two of them when the second hour is forbidden:

    >>> from datetime import datetime, timezone
    >>> from chargeplan.plan.spells import Spell
    >>> from chargeplan.plan.stops import Stay
    >>> begin = datetime(2026, 1, 5, 20, tzinfo=timezone.utc)
    >>> hour = int(begin.timestamp()) + 3600
    >>> stay = Stay("home", begin, datetime(2026, 1, 5, 22, tzinfo=timezone.utc), wall_kw=2.0, gain=1.0, need_kwh=3.0,
    ...             spells=[Spell(hour, hour + 3600, 0.0, because="never")])
    >>> asked = Itinerary(0, 60, [stay])
    >>> [(wish.kind, wish.rule) for wish in conflict_of(asked, problem_from(asked), 0)]
    [('target', ''), ('rule', 'never'), ('stay', '')]
    """
    begin_s, end_s = int(problem.start_s[0]), int(problem.start_s[-1]) + round(3600 * float(problem.hours[-1]))
    named = [spell_names(stay, begin_s, end_s) for stay in itinerary.stays]

    def relaxed(given_up: frozenset[tuple[int, str]]) -> Problem:
        stays = [
            replace(
                stay,
                spells=[spell for spell in stay.spells if (place, spell.because) not in given_up],
                preconditioning=None if (place, PRECONDITIONING) in given_up else stay.preconditioning,
            )
            for place, stay in enumerate(itinerary.stays)
        ]
        return problem_from(replace(itinerary, stays=stays), problem.step_s // 60)

    try:
        return conflict(problem, number, spells=named, relaxed=relaxed, until=until)
    except TimeoutError:
        return None


def conflict(
    problem: Problem,
    number: int,
    *,
    spells: Sequence[Sequence[str]] = (),
    relaxed: Relaxed | None = None,
    until: float = float("inf"),
) -> tuple[Wish, ...]:
    """Find a smallest set of wishes that make one departure short.

    Parameters
    ----------
    problem : Problem
        With a shortfall at the departure.
    number : int
        The stay, from 0.
    spells : sequence of sequence of str
        For each stay, the rules by whose spells less can be drawn.
    relaxed : callable, optional
        Gives the problem without some of them.
    until : float
        After this time of the monotonic clock no more is tried.

    Returns
    -------
    tuple of Wish
        Cannot be met together, and giving up any one of them would mend the departure. Empty if the
        departure is not short.

    Raises
    ------
    TimeoutError
        If the time is over.

    Examples
    --------
    Two kWh can be had in an hour at 2 kW, and five are wanted:

    >>> from chargeplan.plan.problem import night
    >>> [wish.kind for wish in conflict(night([0.1] * 4, max_kw=2.0, need_kwh=5.0), 0)]
    ['target', 'stay']
    """
    if not _is_short(problem, number):
        return ()
    # What lies nearest to the departure is tried last, so it is most likely to be named.
    wishes = [Wish("earlier drive", stay) for stay in range(number) if problem.drive_kwh[stay] > 0]
    for stay in range(number):
        wishes += [*_rules(problem, stay, spells), Wish("stay", stay)]
    rules = _rules(problem, number, spells)
    wishes += [Wish("floor", number), Wish("drive", number), Wish("target", number), *rules, Wish("stay", number)]
    given_up: list[Wish] = []
    before = -1
    while before < len(given_up):
        before = len(given_up)
        for wish in wishes:
            if time.monotonic() > until:
                raise TimeoutError("no time is left to look for contradictions")
            if wish not in given_up and _is_short_without(problem, number, [*given_up, wish], relaxed):
                given_up.append(wish)
        # More room never hurts, so once through is enough, but for least times on, which may need less of it.
        if not problem.ruled:
            break
    return tuple(wish for wish in wishes if wish not in given_up)


def _rules(problem: Problem, stay: int, spells: Sequence[Sequence[str]]) -> list[Wish]:
    by_hour = sorted(spells[stay] if stay < len(spells) else (), key=lambda name: name not in _LAST_NAMED)
    rules = problem.rules[stay] if problem.rules else None
    return [Wish("rule", stay, name) for name in (*by_hour, *(rules.names if rules is not None else ()))]


def _is_short(problem: Problem, number: int) -> bool:
    """Tell whether the plan with the least shortfall is short at a departure; what comes after it does not count."""
    if not any(stay <= number for stay in problem.ruled):
        return bool(reach(problem).shortfall_kwh[number] > _SHORT_KWH)
    alone = replace(_part(problem, 0, number + 1), price_per_kwh=np.zeros(int(problem.last[number]) + 1))
    if not alone.price_per_kwh.size:
        return False
    best = reach(alone)
    if best.shortfall_kwh[number] > _SHORT_KWH:
        return True
    found = solve(alone, best=best, time_limit_s=_SEARCH_S)
    return bool(reached(alone, found.battery_kwh).shortfall_kwh[number] > _SHORT_KWH)


def _part(problem: Problem, first: int, after: int) -> Problem:
    """Keep some stays of a problem."""
    here = slice(int(problem.first[first]), int(problem.last[after - 1]) + 1)
    return replace(
        problem,
        start_s=problem.start_s[here],
        hours=problem.hours[here],
        stay=problem.stay[here] - first,
        price_per_kwh=problem.price_per_kwh[here],
        max_kwh=problem.max_kwh[here],
        gain=problem.gain[here],
        need_kwh=problem.need_kwh[first:after],
        drive_kwh=problem.drive_kwh[first:after],
        rules=problem.rules[first:after],
    )


def _is_short_without(problem: Problem, number: int, wishes: list[Wish], relaxed: Relaxed | None) -> bool:
    """Tell whether a departure is short when some wishes are given up."""
    spells = frozenset((wish.stay, wish.rule) for wish in wishes if wish.kind == "rule" and wish.rule not in _SWITCHING)
    changed = relaxed(spells) if spells and relaxed is not None else problem
    need, drive, floor = changed.need_kwh.copy(), changed.drive_kwh.copy(), changed.floor_kwh
    rules = list(problem.rules)
    for wish in wishes:
        if wish.kind == "target":
            need[wish.stay] = 0.0
        elif wish.kind in ("drive", "earlier drive"):
            drive[wish.stay] = 0.0
        elif wish.kind == "floor":
            floor = 0.0
        elif wish.kind == "rule" and wish.rule in _SWITCHING and (kept := rules[wish.stay]) is not None:
            rules[wish.stay] = kept.without(wish.rule)
    changed = replace(changed, need_kwh=need, drive_kwh=drive, floor_kwh=floor, rules=tuple(rules))
    full = max((wish.stay for wish in wishes if wish.kind == "stay"), default=-1)
    if full < 0:
        return _is_short(changed, number)
    # A stay without limits is left with a full battery, so what came before it does not matter.
    if full == number:
        return bool(changed.wanted_kwh[number] > changed.capacity_kwh + _SHORT_KWH)
    rest = _part(changed, full + 1, changed.stays)
    rest = replace(rest, level_kwh=max(0.0, changed.capacity_kwh - float(drive[full])))
    return _is_short(rest, number - full - 1)
