"""What charging without a plan would have cost, on the same prices."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.reach import highest_gain


@dataclass(frozen=True, eq=False)
class Unmanaged:
    """A habit to compare a plan with.

    Parameters
    ----------
    name : str
        The habit, in words.
    wall_kwh : array, shape (n,)
        Energy drawn in each slot.
    cost : float
        What that costs, with what is drawn anyway.
    saving : float
        What the plan costs less; negative if the habit was cheaper, which can only be where it
        ended short, or waited although the battery was below the floor.
    short_kwh : array, shape (m,)
        Battery energy missing at each departure, against the level of the plan.
    """

    name: str
    wall_kwh: Floats
    cost: float
    saving: float
    short_kwh: Floats


def on_plug_in(problem: Problem, departure_kwh: Floats, cost: float, *, anyway: float = 0.0) -> Unmanaged:
    """Start on plug-in, at full power, until the level the plan leaves with.

    Parameters
    ----------
    problem : Problem
        Slots and prices.
    departure_kwh : array, shape (m,)
        Level of the plan at each departure.
    cost : float
        Cost of the plan.
    anyway : float
        What of it is paid in any case, as for preconditioning.

    Returns
    -------
    Unmanaged

    Examples
    --------
    >>> import numpy as np
    >>> from chargeplan.plan.problem import night
    >>> habit = on_plug_in(night([0.4, 0.1], max_kw=4.0, need_kwh=1.0), np.array([1.0]), cost=0.1)
    >>> habit.cost, round(habit.saving, 2)
    (0.4, 0.3)
    """
    habit = _habit("charging at once on plug-in", problem, problem.first, departure_kwh, cost - anyway)
    return replace(habit, cost=habit.cost + anyway)


def by_timer(problem: Problem, departure_kwh: Floats, cost: float, *, anyway: float = 0.0) -> Unmanaged:
    """Start when the cheapest price of the stay first applies, and run until the level of the plan.

    A timer knows nothing else: it does not pause at dear hours, and it may run out of time.

    Parameters
    ----------
    problem, departure_kwh, cost, anyway
        As for `on_plug_in`.

    Returns
    -------
    Unmanaged

    Examples
    --------
    >>> import numpy as np
    >>> from chargeplan.plan.problem import night
    >>> habit = by_timer(night([0.4, 0.3, 0.1], max_kw=4.0, need_kwh=2.0), np.array([2.0]), cost=0.4)
    >>> habit.cost, habit.short_kwh.tolist()
    (0.1, [1.0])
    """
    # Where nothing may be charged, the price says nothing.
    price = np.where(problem.max_kwh > 0, problem.unit_cost, np.inf)
    is_cheapest = price <= np.minimum.reduceat(price, problem.first)[problem.stay]
    start = np.flatnonzero(is_cheapest)
    start = start[np.searchsorted(start, problem.first)]
    habit = _habit("a timer set to the cheapest price", problem, start, departure_kwh, cost - anyway)
    return replace(habit, cost=habit.cost + anyway)


def _habit(name: str, problem: Problem, start: Ints, target_kwh: Floats, plan_cost: float) -> Unmanaged:
    """Charge in each stay from a slot on, at full power, until a level."""
    energy, short, level = np.zeros(problem.slots), np.zeros(problem.stays), problem.level_kwh
    most_kwh, targets, drives = problem.max_battery_kwh, target_kwh.tolist(), problem.drive_kwh.tolist()
    for number, (first, last) in enumerate(zip(start.tolist(), problem.last.tolist(), strict=True)):
        here, missing = slice(first, last + 1), targets[number] - level
        if problem.taper.size:
            energy[here] = _with_taper(problem, here, level, missing)
        elif missing > 0:
            # Bare ufuncs: of a year of short stays, clip, cumsum and sum would take twice the time around them.
            most = most_kwh[here]
            energy[here] = np.minimum(np.maximum(missing - (np.add.accumulate(most) - most), 0.0), most)
        level += float(np.add.reduce(energy[here]))
        short[number] = max(targets[number] - level, 0.0)
        level = max(level - drives[number], 0.0)
    short[short < 1e-6] = 0.0
    wall = energy / problem.gain
    cost = float(wall @ problem.price_per_kwh)
    return Unmanaged(name, wall, cost, cost - plan_cost, short)


def _with_taper(problem: Problem, here: slice, level: float, missing: float) -> list[float]:
    gained = []
    for hours, most in zip(problem.hours[here].tolist(), problem.max_battery_kwh[here].tolist(), strict=True):
        gained.append(max(min(highest_gain(problem, level, hours, most), missing), 0.0))
        level += gained[-1]
        missing -= gained[-1]
    return gained
