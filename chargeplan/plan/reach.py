"""How high the battery can get, and what that leaves of the needs.

Let R be the trajectory that always charges at the limit, with levels cut at the capacity, and with
a drive that needs more than the battery holds leaving it at 0.

*R is the highest level reachable, at every moment.* A slot takes a level ``L`` to at most
``min(capacity, L + u)`` (with a taper: to the largest level whose power is accepted, see
`highest_gain`), a drive takes it to ``max(0, L - d)``. Both maps never decrease with ``L``, so by
induction over slots and drives no plan is ever above R.

*Hence all shortfalls are least at once.* At a departure a plan is at most R, so its shortfall is at
least ``need - R`` when that is positive; R attains this at every departure together. Replacing each
need by ``min(need, R)`` therefore demands exactly what can be had, and a plan that meets the
replaced needs minimises every shortfall (and every weighted sum of them).

*The floor forces the same energy in every such plan.* The need includes the drive and the floor
after it. If R meets it, every plan arrives at the next stay at or above the floor. If not, the
replaced need is R itself, so every plan departs, and arrives, exactly at R. What is charged before
the floor is reached is then R's own charging: a lower bound on the slots, known beforehand. For the
same reason a drive is served alike in every plan.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chargeplan.plan.problem import Floats, Problem


@dataclass(frozen=True, eq=False)
class Reach:
    """What can be reached, and the needs repaired accordingly.

    Parameters
    ----------
    arrival_kwh, departure_kwh : array, shape (m,)
        Highest level at each arrival and departure.
    need_kwh : array, shape (m,)
        Repaired needs: the wanted level, or the highest one where that is less.
    shortfall_kwh : array, shape (m,)
        What is missing at each departure at best.
    served_kwh, unserved_kwh : array, shape (m,)
        What each drive takes from the battery, and what it would have taken beyond that.
    forced_kwh : array, shape (n,)
        Battery energy that must be charged in each slot because the level is below the floor.
    """

    arrival_kwh: Floats
    departure_kwh: Floats
    need_kwh: Floats
    shortfall_kwh: Floats
    served_kwh: Floats
    unserved_kwh: Floats
    forced_kwh: Floats


def reach(problem: Problem) -> Reach:
    """Charge at the limit all the time, and repair the needs by what that reaches.

    Parameters
    ----------
    problem : Problem
        With or without a taper.

    Returns
    -------
    Reach

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> best = reach(night([0.3, 0.1, 0.2], max_kw=4.0, need_kwh=5.0))
    >>> best.departure_kwh.tolist(), best.shortfall_kwh.tolist()
    ([3.0], [2.0])
    """
    fastest = problem.max_battery_kwh
    if problem.taper.size:
        fastest = _fastest_with_taper(problem)
    most = np.add.reduceat(fastest, problem.first).tolist()
    drives, level = problem.drive_kwh.tolist(), problem.level_kwh
    arrival, departure = [], []
    for gained, drive in zip(most, drives, strict=True):
        arrival.append(level)
        level = min(problem.capacity_kwh, level + gained)
        departure.append(level)
        level = max(0.0, level - drive)
    best = np.array(departure)
    served = np.minimum(problem.drive_kwh, best)
    forced = np.zeros(problem.slots)
    for number in np.flatnonzero(np.array(arrival) < problem.floor_kwh):
        here = slice(problem.first[number], problem.last[number] + 1)
        before = np.cumsum(fastest[here]) - fastest[here]
        forced[here] = np.clip(problem.floor_kwh - arrival[number] - before, 0.0, fastest[here])
    return Reach(
        arrival_kwh=np.array(arrival),
        departure_kwh=best,
        need_kwh=np.minimum(problem.wanted_kwh, best),
        shortfall_kwh=np.maximum(problem.wanted_kwh - best, 0.0),
        served_kwh=served,
        unserved_kwh=problem.drive_kwh - served,
        forced_kwh=forced,
    )


def highest_gain(problem: Problem, level_kwh: float, hours: float, max_kwh: float) -> float:
    """Most battery energy one slot can add from a level, with the taper.

    Parameters
    ----------
    problem : Problem
        Capacity and taper.
    level_kwh : float
        Level at the start of the slot.
    hours, max_kwh : float
        Length of the slot, and its most battery energy at the limit.

    Notes
    -----
    The power is taken as allowed only if both the level at the start and the level at the end of
    the slot accept it; the taper is concave, so every level between accepts it too. A falling
    segment binds at the end, ``y <= h (s (L + y) / C + b)``, a rising one at the start.
    """
    most = min(max_kwh, problem.capacity_kwh - level_kwh)
    for slope, power_kw in problem.taper.tolist():
        per_kwh = hours * slope / problem.capacity_kwh
        accepted = hours * power_kw + per_kwh * level_kwh
        most = min(most, accepted / (1 - per_kwh) if slope < 0 else accepted)
    return max(most, 0.0)


def _fastest_with_taper(problem: Problem) -> Floats:
    """Battery energy gained in each slot when charging as fast as the taper allows, shape (n,)."""
    gained, level = [], problem.level_kwh
    departing = np.zeros(problem.slots)
    departing[problem.last] = problem.drive_kwh
    slots = zip(problem.hours.tolist(), problem.max_battery_kwh.tolist(), departing.tolist(), strict=True)
    for hours, most, drive in slots:
        gained.append(highest_gain(problem, level, hours, most))
        level = max(0.0, level + gained[-1] - drive)
    return np.array(gained)
