"""Less current where a bill charges the highest power: the slots at such currents, and the search for the cheapest.

The slots fall into regions: those that the same lines of the same bill look at. A plan at steady currents has one
current in each region, or none, in steps of the charger. Every common current is tried, with charging left out of
regions that can be done without, and then the current of each region for itself. What each costs is not known from
the current alone, so every one is planned and billed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.bill_slots import BilledSlots
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.reach import Reach
from chargeplan.plan.stops import Itinerary, Stay

_ROUNDING = 1e-9
#: Regions of which every choice to leave some out is tried; of more, one at a time.
_FEW_REGIONS = 3
#: Most currents of a region that are tried, most of all plans for a night, and what long plans leave of these.
_MOST_LEVELS, _MOST_PLANS, _LEAST_PLANS, _SLOTS = 60, 400, 40, 60_000
#: A common current is raised until so many in a row have been no cheaper.
_IN_VAIN = 8
#: So many steps lower are tried in the other regions.
_DOWN = 2

Levels = tuple[float, ...]


def at_currents(itinerary: Itinerary, problem: Problem, best: Reach, current_a: Floats) -> Problem:
    """Lower the current of slots, with what is lost at that current.

    Parameters
    ----------
    itinerary, problem : Itinerary, Problem
        What is asked.
    best : Reach
        What can be reached; what must be charged at once keeps its limit.
    current_a : array, shape (n,)
        Most current of each slot, what preconditioning draws included; infinite where it stays.

    Returns
    -------
    Problem
    """
    most, gain = problem.max_kwh.copy(), problem.gain.copy()
    kw = np.divide(problem.max_kwh, problem.hours)
    for number, stay in enumerate(itinerary.stays):
        if not stay.current_a or not stay.wall_kw:
            continue
        here = (problem.stay == number) & np.isfinite(current_a) & (best.forced_kwh <= 0)
        for amperes in np.unique(current_a[here]).tolist():
            for slots, left in _limits(problem, stay, here & (current_a == amperes), amperes):
                own_kw, own_gain = left
                lower = slots & (own_kw < kw - _ROUNDING)
                most[lower] = problem.hours[lower] * own_kw
                if own_kw > 0:
                    gain[lower] = own_gain
    return replace(problem, max_kwh=most, gain=gain)


def _limits(
    problem: Problem, stay: Stay, here: NDArray[np.bool_], amperes: float
) -> Iterator[tuple[NDArray[np.bool_], tuple[float, float]]]:
    """Give power and gain at a current, in the slots of preconditioning what that leaves."""
    own = stay.at_current(amperes).gain if amperes > 0 else 0.0
    kw = stay.wall_kw / (stay.current_a or 1.0) * amperes
    plain = np.ones(problem.slots, dtype=bool)
    if stay.preconditioning is not None:
        warm = stay.preconditioning
        plain = problem.start_s + 3600 * problem.hours <= stay.end.timestamp() - warm.takes_s + _ROUNDING
        left = warm.left(kw) if warm.left is not None else (max(0.0, kw - warm.wall_kw), min(own, 1.0))
        yield here & ~plain, left if amperes > 0 and left[1] > 0 else (0.0, 1.0)
    yield here & plain, (kw, min(own, 1.0)) if own > 0 else (0.0, 1.0)


def regions(problem: Problem, bills: Sequence[BilledSlots]) -> Ints:
    """Give each slot the number of its region, shape (n,); -1 where no line looks at its power."""
    lines = [(bill, peak.block >= 0) for bill in bills for peak in bill.shape.peaks]
    looked = np.zeros((problem.slots, len(lines)), dtype=bool)
    for column, (bill, inside) in enumerate(lines):
        looked[bill.slot, column] = inside[bill.interval]
    found = np.full(problem.slots, -1, dtype=np.int64)
    any_line = looked.any(axis=1)
    if any_line.any():
        found[any_line] = np.unique(looked[any_line], axis=0, return_inverse=True)[1].reshape(-1)
    return found


def laid(region: Ints, levels: Levels) -> Floats:
    """Lay the current of each region on its slots; infinite elsewhere, shape (n,)."""
    return np.where(region >= 0, np.array([*levels, np.inf])[region], np.inf)


def currents_of(itinerary: Itinerary, problem: Problem, region: Ints) -> list[float]:
    """List the currents that can be set in the regions, from the least to the limit."""
    found: set[float] = set()
    for number in np.unique(problem.stay[region >= 0]).tolist():
        stay = itinerary.stays[number]
        if stay.current_a and stay.wall_kw:
            step = stay.current_step_a
            first, last = np.ceil(stay.min_current_a / step - _ROUNDING), np.floor(stay.current_a / step + _ROUNDING)
            found |= set(np.round(np.arange(first, last + 1) * step, 9).tolist()) | {float(stay.current_a)}
    return sorted(found)


def tried(currents: list[float], count: int, slots: int, cost: Callable[[Levels], float]) -> dict[Levels, float]:
    """Try currents in regions.

    Parameters
    ----------
    currents : list of float
        Those that can be set, rising.
    count : int
        Number of regions.
    slots : int
        Length of the plan; of long ones fewer are tried.
    cost : callable
        ``f(levels)`` gives the cost of the plan with so much current in each region; infinite if it will not do.

    Returns
    -------
    dict of tuple of float to float
        What each costs that will do.
    """
    found: dict[Levels, float] = {}
    seen: dict[Levels, float] = {}
    most = int(np.clip(_SLOTS // slots, _LEAST_PLANS, _MOST_PLANS))

    def asked(levels: Levels) -> float:
        if levels not in seen:
            if len(found) >= most:
                return np.inf
            seen[levels] = cost(levels)
            if np.isfinite(seen[levels]):
                found[levels] = seen[levels]
        return seen[levels]

    ways = ways_to_leave_out(count)
    thin = currents[:: max(1, -(-len(currents) // max(4, min(_MOST_LEVELS, most // (2 * len(ways))))))]
    for way in ways:
        least, in_vain = np.inf, 0
        for current in thin:
            new = asked(tuple(current * on for on in way))
            if np.isfinite(new):
                in_vain = 0 if new < least - _ROUNDING else in_vain + 1
                least = min(least, new)
            if in_vain >= _IN_VAIN:
                break
    while found:
        best = min(found, key=lambda levels: (round(found[levels], 9), levels))
        # Charging in one region may leave less to the others, so these are tried some steps lower, too.
        for down in range(_DOWN + 1 if count > 1 else 1):
            others = tuple(_below(currents, level, down) for level in best)
            for number, at in product(range(count), [0.0, *_around(currents, best)]):
                asked((*others[:number], at, *others[number + 1 :]))
        if min(found.values()) >= found[best] - 1e-6:
            break
    return found


def ways_to_leave_out(count: int) -> list[tuple[bool, ...]]:
    """Give which regions to charge in: all, and without some."""
    if count <= _FEW_REGIONS:
        return sorted(product((True, False), repeat=count), reverse=True)
    one = [tuple(number != left for number in range(count)) for left in range(count)]
    return [(True,) * count, *one, *(tuple(not on for on in way) for way in one), (False,) * count]


def _below(currents: list[float], level: float, down: int) -> float:
    return currents[max(0, currents.index(level) - down)] if level > 0 else 0.0


def _around(currents: list[float], levels: Levels) -> list[float]:
    """Give all currents of few, and else those next to the ones at hand."""
    if len(currents) <= _MOST_LEVELS:
        return currents
    near = [int(np.searchsorted(currents, level)) for level in levels if level > 0]
    return sorted({currents[n] for at in near for n in range(max(0, at - 4), min(len(currents), at + 5))})
