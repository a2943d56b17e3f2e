"""Which wishes contradict one another when a departure is short: a smallest set of them.

Each wish is given up in turn while the others stand. If the departure is still short without it, it does not
belong to the conflict and stays given up; what remains is a set that cannot be met together, while giving up
any one of it would do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from chargeplan.plan.problem import Problem
from chargeplan.plan.reach import reach

#: What can be wished for: a level at departure, the energy of a drive, a floor after it, and what limits
#: charging before: the time and the current of a stay, how full the battery may get.
WishKind: TypeAlias = Literal["target", "drive", "floor", "stay", "earlier drive"]
_SHORT_KWH = 1e-6


@dataclass(frozen=True)
class Wish:
    """One of the things that cannot be had together.

    Parameters
    ----------
    kind : str
        ``target`` (level wanted at the departure), ``drive`` and ``floor`` (what the drive after it takes, and
        what must be left then), ``stay`` (its hours and its current), or ``earlier drive``.
    stay : int
        Number of the stay it belongs to; of a drive, the stay before it.

    Examples
    --------
    >>> Wish("target", 0)
    Wish(kind='target', stay=0)
    """

    kind: WishKind
    stay: int


def conflict(problem: Problem, number: int) -> tuple[Wish, ...]:
    """Find a smallest set of wishes that make one departure short.

    Parameters
    ----------
    problem : Problem
        With a shortfall at the departure.
    number : int
        The stay, from 0.

    Returns
    -------
    tuple of Wish
        Cannot be met together, and giving up any one of them would mend the departure. Empty if the
        departure is not short.

    Examples
    --------
    Two kWh can be had in an hour at 2 kW, and five are wanted:

    >>> from chargeplan.plan.problem import night
    >>> [wish.kind for wish in conflict(night([0.1] * 4, max_kw=2.0, need_kwh=5.0), 0)]
    ['target', 'stay']
    """
    if not _is_short(problem, number):
        return ()
    wishes = [Wish("earlier drive", stay) for stay in range(number) if problem.drive_kwh[stay] > 0]
    wishes += [Wish("stay", stay) for stay in range(number)]
    wishes += [Wish("floor", number), Wish("drive", number), Wish("target", number), Wish("stay", number)]
    given_up: list[Wish] = []
    # What lies nearest to the departure is tried last, so it is most likely to be named.
    for wish in wishes:
        if _is_short_without(problem, number, [*given_up, wish]):
            given_up.append(wish)
    return tuple(wish for wish in wishes if wish not in given_up)


def _is_short(problem: Problem, number: int) -> bool:
    return bool(reach(problem).shortfall_kwh[number] > _SHORT_KWH)


def _is_short_without(problem: Problem, number: int, wishes: list[Wish]) -> bool:
    """Tell whether a departure is short when some wishes are given up."""
    need, drive, floor = problem.need_kwh.copy(), problem.drive_kwh.copy(), problem.floor_kwh
    for wish in wishes:
        if wish.kind == "target":
            need[wish.stay] = 0.0
        elif wish.kind in ("drive", "earlier drive"):
            drive[wish.stay] = 0.0
        elif wish.kind == "floor":
            floor = 0.0
    changed = replace(problem, need_kwh=need, drive_kwh=drive, floor_kwh=floor)
    full = max((wish.stay for wish in wishes if wish.kind == "stay"), default=-1)
    if full < 0:
        return _is_short(changed, number)
    # A stay without limits is left with a full battery, so what came before it does not matter.
    if full == number:
        return bool(changed.wanted_kwh[number] > changed.capacity_kwh + _SHORT_KWH)
    begin = int(changed.first[full + 1])
    rest = replace(
        changed,
        start_s=changed.start_s[begin:],
        hours=changed.hours[begin:],
        stay=changed.stay[begin:] - (full + 1),
        price_per_kwh=changed.price_per_kwh[begin:],
        max_kwh=changed.max_kwh[begin:],
        gain=changed.gain[begin:],
        need_kwh=need[full + 1 :],
        drive_kwh=drive[full + 1 :],
        level_kwh=max(0.0, changed.capacity_kwh - float(drive[full])),
    )
    return _is_short(rest, number - full - 1)
