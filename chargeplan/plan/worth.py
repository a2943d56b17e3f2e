"""What a kWh is worth during a stay, and what a little more of anything would change.

The values are duals of the plan. In every stay they lie between the dearest energy that is used and the
cheapest that is not; at a departure where nothing binds they stay the same, where the need binds they may
only fall, where the battery is full only rise. Such a chain of intervals has a least and a greatest
solution, and these are the two one-sided slopes: one kWh less to charge saves the least value, one kWh more
costs the greatest. What a whole ampere, hour or percentage point changes is no slope; it is planned anew. So is
a whole kWh where hours depend on one another, under rules about switching, a taper or a whole bill.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, timedelta
from functools import partial
from typing import TypeAlias

import numpy as np

from chargeplan.errors import InputError
from chargeplan.plan.certificate import value_links
from chargeplan.plan.problem import Floats, Problem, problem_from
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.schedule import preconditioning_kwh
from chargeplan.plan.solvers import solve
from chargeplan.plan.stops import Itinerary, Stay

#: By how many points of a hundred the target is lowered.
_POINTS = 5


@dataclass(frozen=True, eq=False)
class Values:
    """What a kWh in the battery is worth during each stay.

    Parameters
    ----------
    saved : array, shape (m,)
        What one kWh less to charge would save, per battery kWh.
    paid : array, shape (m,)
        What one kWh more would cost; infinite where no more can be had before the need.
    """

    saved: Floats
    paid: Floats


def values_of_energy(problem: Problem, best: Reach, battery_kwh: Floats) -> Values:
    """Find the least and the greatest value of a battery kWh in each stay, from a cheapest plan without taper.

    Parameters
    ----------
    problem, best : Problem, Reach
        What was asked, with repaired needs.
    battery_kwh : array, shape (n,)
        A cheapest plan.

    Returns
    -------
    Values

    Raises
    ------
    InputError
        With a taper, where a kWh has another value at every level.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> one = night([0.3, 0.1, 0.2], max_kw=8.0, need_kwh=2.0)
    >>> found = values_of_energy(one, reach(one), np.array([0.0, 2.0, 0.0]))
    >>> found.saved.tolist(), found.paid.tolist()
    ([0.1], [0.2])
    """
    if problem.taper.size:
        raise InputError("with a taper a kWh has another value at every level; plan without it to see values")
    least, most, may_fall, may_rise = value_links(problem, best, battery_kwh)
    low, high = [float(value) for value in least], [float(value) for value in most]
    after_low, after_high = 0.0, 0.0  # after the last departure energy is worth nothing
    for number in reversed(range(problem.stays)):
        if not may_rise[number]:
            low[number] = max(low[number], after_low)
        if not may_fall[number]:
            high[number] = min(high[number], after_high)
        after_low, after_high = low[number], high[number]
    for number in range(1, problem.stays):
        if not may_fall[number - 1]:
            low[number] = max(low[number], low[number - 1])
        if not may_rise[number - 1]:
            high[number] = min(high[number], high[number - 1])
    return Values(np.array(low), np.array(high))


def value_of_power(problem: Problem, values: Values) -> Floats:
    """Find what one more battery kWh of room in each slot would save; nothing in a slot that is not full.

    Parameters
    ----------
    problem : Problem
        What was asked.
    values : Values
        Of its cheapest plan.

    Returns
    -------
    array, shape (n,)
    """
    worth = np.where(np.isfinite(values.saved), values.saved, 0.0)[problem.stay]
    return np.maximum(worth - problem.unit_cost, 0.0)


@dataclass(frozen=True)
class Change:
    """What a plan would cost if something were a little different.

    Parameters
    ----------
    what : str
        What is different, in words.
    key : str
        The same as a name for programs.
    cost : float
        How much more the plan would cost; negative for a saving.
    shortfall_kwh : float
        How much more energy would be missing at the departures; negative if less.
    proven : bool
        Whether no plan would cost less; else it costs at most that.
    """

    what: str
    key: str
    cost: float
    shortfall_kwh: float
    proven: bool = True


#: Cost of the plan of an itinerary, what is missing, and whether it is proven; None where none was found in time.
Outcome: TypeAlias = Callable[[Itinerary], tuple[float, float, bool] | None]


def changes(
    itinerary: Itinerary,
    number: int,
    *,
    step_min: int = 15,
    usable_kwh: float | None = None,
    outcome: Outcome | None = None,
    less: bool = False,
) -> tuple[Change, ...]:
    """Plan anew with one thing changed at one stay: a kWh, an ampere, an hour, some points of the target.

    Parameters
    ----------
    itinerary : Itinerary
        As planned.
    number : int
        Which stay, from 0.
    step_min : int
        Slot length of the plan.
    usable_kwh : float, optional
        What 100 % of the battery are, if that is not the capacity of the itinerary.
    outcome : callable, optional
        Plans an itinerary; without it the prices of the stays are all that is paid.
    less : bool
        Ask for one kWh less as well, for plans in which a kWh has no value of its own.

    Returns
    -------
    tuple of Change
        Those that can be: no ampere where the current is not known, no kWh above what the battery holds.

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> stay = Stay("home", datetime(2026, 1, 5, 20, tzinfo=timezone.utc),
    ...             datetime(2026, 1, 5, 22, tzinfo=timezone.utc), wall_kw=4.0, gain=1.0, need_kwh=6.0,
    ...             price_per_kwh=lambda start_s, step_s: 0.1 + 0.2 * (start_s % 86400 < 21 * 3600))
    >>> for change in changes(Itinerary(0, 60, [stay]), 0):
    ...     print(f"{change.what}: {change.cost:+.2f}")
    one kWh more at departure: +0.30
    leaving one hour later: -0.40
    a target 5 points lower: -0.70
    """
    stay = itinerary.stays[number]
    work = outcome or partial(_outcome, step_min=step_min)
    asked: list[tuple[str, str, Stay]] = []
    if less and stay.need_kwh >= 1.0:
        asked.append(("one kWh less at departure", "one_kwh_less", replace(stay, need_kwh=stay.need_kwh - 1.0)))
    if stay.need_kwh + 1.0 <= itinerary.capacity_kwh:
        asked.append(("one kWh more at departure", "one_kwh_more", replace(stay, need_kwh=stay.need_kwh + 1.0)))
    if stay.current_a and stay.wall_kw > 0:
        asked.append(("one ampere more", "one_ampere_more", stay.at_current(stay.current_a + 1.0)))
    # A list of prices ends with its stay.
    priced = callable(stay.price_per_kwh) or np.ndim(stay.price_per_kwh) == 0
    if priced and _is_free(itinerary, number, timedelta(hours=1)):
        asked.append(("leaving one hour later", "one_hour_later", _an_hour_later(stay)))
    lower = _POINTS / 100 * (itinerary.capacity_kwh if usable_kwh is None else usable_kwh)
    if stay.need_kwh >= lower:
        what = f"a target {_POINTS} points lower"
        asked.append((what, "target_lower", replace(stay, need_kwh=stay.need_kwh - lower)))
    now, found = work(itinerary) if asked else None, []
    for what, key, other in asked:
        stays = [other if i == number else same for i, same in enumerate(itinerary.stays)]
        then = work(replace(itinerary, stays=stays)) if now is not None else None
        if now is not None and then is not None:
            found.append(Change(what, key, then[0] - now[0], then[1] - now[1], then[2]))
    return tuple(found)


def _outcome(itinerary: Itinerary, step_min: int) -> tuple[float, float, bool]:
    problem = problem_from(itinerary, step_min)
    best = reach(problem)
    wall_kwh = solve(problem, best=best).wall_kwh
    drawn_kwh = wall_kwh + preconditioning_kwh(itinerary, problem)
    return float(drawn_kwh @ problem.price_per_kwh), float(best.shortfall_kwh.sum()), True


def _an_hour_later(stay: Stay) -> Stay:
    end = (stay.end.astimezone(UTC) + timedelta(hours=1)).astimezone(stay.end.tzinfo)
    return replace(stay, end=end)


def _is_free(itinerary: Itinerary, number: int, time: timedelta) -> bool:
    """Whether a stay can be longer without touching the next one."""
    if number + 1 >= len(itinerary.stays):
        return True
    return itinerary.stays[number].end.astimezone(UTC) + time <= itinerary.stays[number + 1].start.astimezone(UTC)
