"""Cheapest feasible slots first: exact, and fast enough for a year at once.

Sweep the stays in time. What a stay offers is held as options on energy. At a departure

* an overfull battery drops the dearest options held: no plan could keep them all, and those held
  are interchangeable, because every limit still to come counts them alike;
* a need commits the cheapest options held, for the same reason.

At the end the options with a negative price are committed as well. Exchanging one held option for
another of lower rank never breaks a limit and never costs more, so the result is a cheapest plan.
With the rank ordered by price and then by time it is also the earliest (or latest) cheapest plan:
the one with the least sum of energy x slot number (counted from the end for "latest"). Energy at
price 0 that nobody needs is not bought.

A stay adds sorted ranks to a sorted pool, which the list sort of Python merges in linear time; the
pool is small, because the battery is. Should it grow long, two heaps take over, so that the whole
stays within n log n even for a battery without limit.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from chargeplan.errors import InputError
from chargeplan.plan.pool import HeapPool, SortedPool
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.runs import spread

#: Ranks merged per option before heaps are the better choice.
_MERGE_LIMIT = 16


def merit_order(problem: Problem, best: Reach | None = None, tie_break: str = "earliest") -> Floats:
    """Cheapest energy per slot for a problem without taper.

    Parameters
    ----------
    problem : Problem
        Stays, needs and prices.
    best : Reach, optional
        The repaired needs, if already computed.
    tie_break : {"earliest", "as needed", "latest"}
        Which of the cheapest plans.

    Returns
    -------
    array, shape (n,)
        Battery kWh gained in each slot.

    Raises
    ------
    InputError
        With a taper or another tie-break, which need the program.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> merit_order(night([0.3, 0.1, 0.2, 0.1], max_kw=8.0, need_kwh=5.0)).tolist()
    [0.0, 2.0, 1.0, 2.0]
    """
    if problem.taper.size or tie_break not in ("earliest", "as needed", "latest"):
        raise InputError("merit order knows no taper and cannot count starts; choose solver 'auto'")
    best = reach(problem) if best is None else best
    cost, stay = problem.unit_cost, problem.stay
    room = problem.max_battery_kwh - best.forced_kwh

    # Neighbouring slots at one price are one option.
    fresh = np.ones(problem.slots, dtype=bool)
    fresh[1:] = (cost[1:] != cost[:-1]) | (stay[1:] != stay[:-1])
    start = np.flatnonzero(fresh)
    amount, option_cost = np.add.reduceat(room, start), cost[start]
    usable = _usable(problem, best, start, amount, _ranking(option_cost, stay[start], tie_break))
    taken = np.zeros(start.size)
    negative = int(np.count_nonzero(option_cost[usable] < 0))
    taken[usable] = _sweep(problem, best, stay[start[usable]], amount[usable], negative)
    late = np.full(start.size, tie_break == "latest")
    return best.forced_kwh + spread(taken, amount, room, start, late)


def _ranking(cost: Floats, stay: Ints, tie_break: str) -> Ints:
    """Options in order of price, then of the tie-break."""
    if tie_break != "earliest":
        preferred = preference(stay, tie_break)
        return preferred[_ranking(cost[preferred], stay, "earliest")]
    # Two fast sorts are much quicker than one stable sort: by price, then by (price group, time).
    order = np.argsort(cost)
    group = np.zeros(cost.size, dtype=np.int64)
    group[1:] = np.cumsum(np.diff(cost[order]) != 0)
    return np.sort(group * cost.size + order) - group * cost.size


def preference(stay: Ints, tie_break: str) -> Ints:
    """Put slots, or options, of equal price into the order in which a tie-break takes them.

    Parameters
    ----------
    stay : int array, shape (n,)
        Number of the stay of each, rising.
    tie_break : {"earliest", "as needed", "latest"}
        "as needed" takes the last stay first, and in it the earliest.

    Returns
    -------
    int array, shape (n,)
        Positions.

    Examples
    --------
    >>> preference(np.array([0, 0, 1, 1]), "as needed").tolist()
    [2, 3, 0, 1]
    """
    if tie_break == "as needed":
        return np.argsort(-stay, kind="stable")
    forward = np.arange(stay.size)
    return forward[::-1] if tie_break == "latest" else forward


def _usable(problem: Problem, best: Reach, start: Ints, amount: Floats, ranking: Ints) -> Ints:
    """Options in order of rank, without those too dear for the battery to hold even in their own stay."""
    stay_of_rank = problem.stay[start][ranking]
    small = np.uint16 if problem.stays < 2**16 else np.int64  # 16-bit integers sort by radix
    by_stay = np.argsort(stay_of_rank.astype(small), kind="stable")
    stay, offered = stay_of_rank[by_stay], amount[ranking[by_stay]]
    before = np.cumsum(offered) - offered
    before -= before[np.searchsorted(stay, np.arange(problem.stays))][stay]
    # No plan arrives below the repaired need less the drive, so no stay can take in more than this.
    lowest_arrival = np.concatenate(([problem.level_kwh], (best.need_kwh - best.served_kwh)[:-1]))
    keep = (before < problem.capacity_kwh - lowest_arrival[stay] + 1e-6) & (offered > 0)
    return ranking[np.sort(by_stay[keep])]


def _sweep(problem: Problem, best: Reach, stay: Ints, amount: Floats, negative: int) -> Floats:
    """Commit and drop options stay by stay; return the energy committed of each option, in order of rank."""
    small = np.uint16 if problem.stays < 2**16 else np.int64
    by_stay = np.argsort(stay.astype(small), kind="stable")
    bounds = np.searchsorted(stay[by_stay], np.arange(problem.stays + 1)).tolist()
    offered = np.bincount(stay, weights=amount, minlength=problem.stays).tolist()
    forced = np.add.reduceat(best.forced_kwh, problem.first).tolist()
    ranks, capacity = by_stay.tolist(), problem.capacity_kwh
    pool: SortedPool | HeapPool = SortedPool(amount.tolist())
    sure, held = problem.level_kwh, 0.0  # level from what is committed, and energy held as options
    for number, (need, served) in enumerate(zip(best.need_kwh.tolist(), best.served_kwh.tolist(), strict=True)):
        pool.add(ranks[bounds[number] : bounds[number + 1]])
        held += offered[number]
        sure += forced[number]
        if sure + held > capacity:
            held -= pool.drop(sure + held - capacity)
        if sure < need:
            bought = pool.commit(need - sure)
            sure += bought
            held -= bought
        sure -= served
        if pool.work > _MERGE_LIMIT * (stay.size + problem.stays):
            pool = HeapPool(pool) if isinstance(pool, SortedPool) else pool
    pool.commit_below(negative)
    return np.array(pool.taken_kwh)


def merit_order_nights(
    price_per_kwh: ArrayLike,
    max_kwh: ArrayLike,
    need_kwh: ArrayLike,
    *,
    room_kwh: ArrayLike | None = None,
    tie_break: str = "earliest",
) -> Floats:
    """Many independent nights in one sort.

    Parameters
    ----------
    price_per_kwh : array, shape (nights, slots)
        Price of each slot.
    max_kwh : array, broadcast to (nights, slots)
        Most wall energy per slot.
    need_kwh : array, broadcast to (nights,)
        Wall energy to add in each night; where the slots cannot give it, all they can.
    room_kwh : array, broadcast to (nights,), optional
        Wall energy that fits in the battery, used beyond the need at negative prices
        (default: no more than the need).
    tie_break : {"earliest", "as needed", "latest"}
        Which of equally priced slots first; a night is one stay, so the first two are the same.

    Returns
    -------
    array, shape (nights, slots)
        Wall kWh in each slot.

    Raises
    ------
    InputError
        If a price is missing, an energy is negative, or the tie-break is unknown.

    Examples
    --------
    >>> merit_order_nights([[0.3, 0.1, 0.2], [0.1, 0.1, 0.1]], 2.0, [3.0, 3.0]).tolist()
    [[0.0, 2.0, 1.0], [2.0, 1.0, 0.0]]
    """
    price = np.atleast_2d(np.asarray(price_per_kwh, dtype=np.float64))
    most = np.broadcast_to(np.asarray(max_kwh, dtype=np.float64), price.shape)
    need = np.broadcast_to(np.asarray(need_kwh, dtype=np.float64), price.shape[:1])
    room = np.maximum(need, need if room_kwh is None else np.asarray(room_kwh, dtype=np.float64))
    if tie_break not in ("earliest", "as needed", "latest"):
        raise InputError(f"{tie_break!r} is not a tie-break here; choose 'earliest', 'as needed' or 'latest'")
    if not np.isfinite(price).all() or not (most >= 0).all() or not (need >= 0).all():
        raise InputError("prices must be finite, and max_kwh and need_kwh must be 0 or more")
    if tie_break == "latest":
        return merit_order_nights(price[:, ::-1], most[:, ::-1], need, room_kwh=room)[:, ::-1]
    order = np.argsort(price, axis=1, kind="stable")
    sorted_most = np.take_along_axis(most, order, axis=1)
    paid = np.where(np.take_along_axis(price, order, axis=1) < 0, sorted_most, 0.0).sum(axis=1)
    total = np.minimum(room, np.maximum(need, paid))
    before = np.cumsum(sorted_most, axis=1) - sorted_most
    share = np.clip(total[:, None] - before, 0.0, sorted_most)
    energy = np.empty_like(price)
    np.put_along_axis(energy, order, share, axis=1)
    return energy
