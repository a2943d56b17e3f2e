"""Runs under a taper: how much is gained in a time, and how long it takes to gain so much.

A slot is charged at one power, which the battery must accept at the level at the start of the slot and at
that at its end (the taper is concave, so every level between accepts it too). Of a slot that is used in part
the same holds for the time that is used.
"""

from __future__ import annotations

from dataclasses import replace
from math import isnan

import numpy as np

from chargeplan.plan.certificate import accepted_kwh
from chargeplan.plan.problem import Floats, Problem


def without_idle_taper(problem: Problem) -> Problem:
    """Leave out a taper that accepts the full power at every level, which makes a problem much easier.

    Parameters
    ----------
    problem : Problem
        Perhaps with a taper.

    Returns
    -------
    Problem
        The same problem if the taper can ever bind.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> tapered = night([0.1], max_kw=7.0, need_kwh=40.0, capacity_kwh=48.0, taper=[(-10.0, 17.0)])
    >>> without_idle_taper(tapered).taper.size, without_idle_taper(replace(tapered, max_kwh=np.array([2.0]))).taper.size
    (0, 2)
    """
    if not problem.taper.size:
        return problem
    most_kw = float((problem.max_battery_kwh / problem.hours).max())
    ends = problem.taper[:, 1], problem.taper[:, 0] + problem.taper[:, 1]  # at empty and at full; straight between
    if min(float(end.min()) for end in ends) >= most_kw:
        return replace(problem, taper=np.empty((0, 2)))
    return problem


def gained_in(problem: Problem, slot: int, level_kwh: float, hours: float) -> float:
    """Energy that a run of some hours within a slot gains from a level, be the battery full meanwhile or not."""
    most = hours / float(problem.hours[slot]) * float(problem.max_battery_kwh[slot])
    for slope, power_kw in problem.taper.tolist():
        per_kwh = hours * slope / problem.capacity_kwh
        accepted = hours * power_kw + per_kwh * level_kwh
        most = min(most, accepted / (1 - per_kwh) if slope < 0 else accepted)
    return max(most, 0.0)


def run_hours(problem: Problem, battery_kwh: Floats, level_kwh: Floats) -> Floats:
    """Find how long charging runs in each slot, at what limit and taper accept, shape (n,).

    Parameters
    ----------
    problem : Problem
        With or without taper.
    battery_kwh, level_kwh : array, shape (n,)
        Energy gained in each slot, and the level at its end.
    """
    accepted = accepted_kwh(problem, level_kwh - battery_kwh, level_kwh)
    share = np.divide(battery_kwh, accepted, out=np.zeros_like(battery_kwh), where=accepted > 0)
    return np.where(share > 1 - 1e-9, 1.0, np.maximum(share, 0.0)) * problem.hours


def energy_of_runs(
    problem: Problem, hours: Floats, *, stops_full: bool = False, given_kwh: Floats | None = None
) -> Floats:
    """Follow the level through runs of given length, shape (n,).

    Parameters
    ----------
    problem : Problem
        With or without taper.
    hours : array, shape (n,)
        How long charging runs in each slot.
    stops_full : bool
        Whether charging stops by itself when the battery is full; otherwise the level may pass the capacity.
    given_kwh : array, shape (n,), optional
        Energy of slots in which it is known; NaN where it is not.

    Returns
    -------
    array, shape (n,)
        Energy gained in each slot.

    Examples
    --------
    One hour of 10 kW x (1 - state of charge) into an empty battery of 10 kWh, then half an hour:

    >>> from chargeplan.plan.problem import night
    >>> one = night([1.0, 1.0], 20.0, 9.0, capacity_kwh=10.0, step_min=60, taper=[(-10.0, 10.0)])
    >>> energy_of_runs(one, np.array([1.0, 0.5])).round(6).tolist()
    [5.0, 1.666667]
    """
    level, found = problem.level_kwh, np.zeros(problem.slots)
    drive = np.zeros(problem.slots)
    drive[problem.last] = problem.drive_kwh
    known = np.full(problem.slots, np.nan) if given_kwh is None else given_kwh
    columns = zip(hours.tolist(), drive.tolist(), known.tolist(), strict=True)
    for slot, (run, driven, given) in enumerate(columns):
        if not isnan(given):
            found[slot] = given
        elif run > 0:
            found[slot] = gained_in(problem, slot, level, run)
            if stops_full:
                found[slot] = min(found[slot], max(problem.capacity_kwh - level, 0.0))
        level = max(0.0, level + float(found[slot]) - driven)
    return found
