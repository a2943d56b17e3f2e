"""Price runs: neighbouring slots of a stay at one price, which a solver may treat as one.

Which slots of a run are used changes no cost and no level at a departure, only the tie-break; and
every tie-break fills a run from one of its ends.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.pool import EPS_KWH
from chargeplan.plan.problem import Floats, Ints, Problem


def merge_runs(problem: Problem, *alike: Floats | Ints) -> tuple[Problem, Ints]:
    """Merge neighbouring slots of one stay, price and gain into one slot.

    Parameters
    ----------
    problem : Problem
        Without taper.
    *alike : array, shape (n,)
        Something else in which slots must not differ to be merged.

    Returns
    -------
    merged : Problem
        A slot per run.
    first : array of int, shape (runs,)
        First slot of each run.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> merged, first = merge_runs(night([0.3, 0.1, 0.1], max_kw=4.0, need_kwh=1.0))
    >>> merged.max_kwh.tolist(), first.tolist()
    ([1.0, 2.0], [0, 1])
    """
    end_s = problem.start_s + 3600 * problem.hours
    follows = np.abs(end_s[:-1] - problem.start_s[1:]) < 1e-3
    for values in (problem.stay, problem.unit_cost, problem.gain, problem.max_kwh > 0, *alike):
        follows &= values[1:] == values[:-1]
    first = np.concatenate(([0], np.flatnonzero(~follows) + 1))
    merged = replace(
        problem,
        start_s=problem.start_s[first],
        hours=np.add.reduceat(problem.hours, first),
        stay=problem.stay[first],
        price_per_kwh=problem.price_per_kwh[first],
        max_kwh=np.add.reduceat(problem.max_kwh, first),
        gain=problem.gain[first],
    )
    return merged, first


def spread(taken: Floats, amount: Floats, room: Floats, start: Ints, late: NDArray[np.bool_]) -> Floats:
    """Give the energy of each run to its slots, the first ones first (or the last ones).

    Parameters
    ----------
    taken, amount : array, shape (runs,)
        Energy of each run, and the most it could have.
    room : array, shape (n,)
        Most energy of each slot.
    start : array of int, shape (runs,)
        First slot of each run.
    late : array of bool, shape (runs,)
        Fill this run from its end.

    Returns
    -------
    array, shape (n,)
        Energy of each slot.

    Examples
    --------
    >>> one = np.array([True])
    >>> spread(np.array([3.0]), np.array([6.0]), np.full(3, 2.0), np.array([0]), one).tolist()
    [0.0, 1.0, 2.0]
    """
    length = np.diff(np.append(start, room.size))
    option = np.repeat(np.arange(start.size), length)
    energy = np.where((taken >= amount - EPS_KWH)[option], room, 0.0)
    partial = np.flatnonzero(((taken > EPS_KWH) & (taken < amount - EPS_KWH))[option])
    if partial.size:
        owner, most = option[partial], room[partial]
        # Running sums that start again with each option, so that rounding does not grow over a year.
        begin = np.flatnonzero(np.diff(owner, prepend=-1))
        change = most.copy()
        change[begin[1:]] -= np.add.reduceat(most, begin)[:-1]
        before = np.cumsum(change) - most
        before = np.where(late[owner], amount[owner] - before - most, before)
        share = np.clip(taken[owner] - before, 0.0, most)
        share[share < EPS_KWH] = 0.0
        energy[partial] = np.where(share > most - EPS_KWH, most, share)
    return energy
