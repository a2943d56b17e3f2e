"""A battery taper as rows: what is charged in a slot, less a share of the level after it, is at most a constant."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.reach import highest_gain

#: A segment that accepts this much more than a slot can give at all its levels needs no row (kWh).
_IDLE_KWH = 1e-9


@dataclass(frozen=True, eq=False)
class TaperRows:
    """What batteries accept, one row for each slot and segment that can bind.

    The power is constant in a slot, and the battery must accept it at the level before and after it; the taper is
    concave, so every level between accepts it too. A falling segment binds after the slot, ``y <= h (s L / C +
    b)``; a rising one before it, where the level is ``L - y``. Both are ``per_charged y - per_level L <= most``.

    Parameters
    ----------
    slot : array of int, shape (rows,)
        Which slot.
    per_charged, per_level : array, shape (rows,)
        Weights of the battery kWh charged in it, and of the level after it.
    most_kwh : array, shape (rows,)
        The most.
    """

    slot: Ints
    per_charged: Floats
    per_level: Floats
    most_kwh: Floats


def taper_rows(problem: Problem, lowest_kwh: Floats, first_slot: int) -> TaperRows:
    """Write the rows of one car.

    Parameters
    ----------
    problem : Problem
        With or without taper.
    lowest_kwh : array, shape (n,)
        A level that no plan is below, for each slot.
    first_slot : int
        Number of its first slot among those of all cars.

    Returns
    -------
    TaperRows

    Examples
    --------
    At 8 kW and a taper of 10 kW x (1 - state of charge), a row for each of two slots of an hour:

    >>> from chargeplan.plan.problem import night
    >>> rows = taper_rows(night([0.3, 0.1], 8.0, 5.0, step_min=60, taper=[(-10.0, 10.0)]), np.zeros(2), 0)
    >>> rows.slot.tolist(), rows.per_charged.tolist(), rows.per_level.tolist(), rows.most_kwh.tolist()
    ([0, 1], [1.0, 1.0], [-2.0, -2.0], [10.0, 10.0])
    """
    parts = []
    for slope, power_kw in problem.taper.tolist():
        per_level, most = problem.hours * slope / problem.capacity_kwh, problem.hours * power_kw
        least = most + per_level * (problem.capacity_kwh if slope < 0 else lowest_kwh)
        slot = np.flatnonzero((least < problem.max_battery_kwh + _IDLE_KWH) & (problem.max_battery_kwh > 0))
        per_level = per_level[slot]
        parts.append((first_slot + slot, 1 + np.maximum(per_level, 0.0), per_level, most[slot]))
    if not parts:
        return TaperRows(np.empty(0, dtype=np.int64), np.empty(0), np.empty(0), np.empty(0))
    return TaperRows(*(np.concatenate(column) for column in zip(*parts, strict=True)))


def fastest_kwh(problem: Problem, arrival_kwh: Floats) -> Floats:
    """Energy gained in each slot when charging as fast as limit and taper allow, shape (n,).

    Parameters
    ----------
    problem : Problem
        With or without taper.
    arrival_kwh : array, shape (m,)
        Level at each arrival.
    """
    if not problem.taper.size:
        return problem.max_battery_kwh
    found, level = np.zeros(problem.slots), 0.0
    for slot, (stay, hours, most) in enumerate(
        zip(problem.stay.tolist(), problem.hours.tolist(), problem.max_battery_kwh.tolist(), strict=True)
    ):
        level = float(arrival_kwh[stay]) if slot == problem.first[stay] else level
        found[slot] = highest_gain(problem, level, hours, most)
        level += found[slot]
    return found


def within_taper(problem: Problem, gained_kwh: Floats) -> Floats:
    """Cut what is charged in each slot to what the battery accepts at the level it then has, shape (n,).

    Parameters
    ----------
    problem : Problem
        With or without taper.
    gained_kwh : array, shape (n,)
        Battery energy of each slot.
    """
    if not problem.taper.size:
        return gained_kwh
    found, level = np.array(gained_kwh, dtype=np.float64), problem.level_kwh
    for slot, hours in enumerate(problem.hours.tolist()):
        stay = int(problem.stay[slot])
        found[slot] = min(found[slot], highest_gain(problem, level, hours, float(problem.max_battery_kwh[slot])))
        level += found[slot]
        if slot == problem.last[stay]:
            level = max(0.0, level - float(problem.drive_kwh[stay]))
    return found
