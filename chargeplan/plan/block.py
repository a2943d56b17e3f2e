"""One unbroken block in one stay: the cheapest, found by trying every start that can be best.

Count the energy that could be had from the start of a stretch of slots that can be used without a
pause. A block is then an interval from x to y on that scale, and it costs ``g(y) - g(x)``, where g,
the cost of all energy up to there, is piecewise linear with a corner at each slot boundary. What
is asked is ``least <= y - x <= most``. The best value of a piecewise linear function over such a
strip is at a corner of its pieces: a start or an end on a slot boundary with the least or the most
energy between, or both on slot boundaries. Nothing is rounded to slots: the other end falls where
the energy puts it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chargeplan.plan.problem import Floats, Ints, Problem

#: Costs this near, relative to the money turned over, are the same with another rounding.
_SAME_COST = 1e-11
_MEET_S = 1e-3
_SLACK_KWH = 1e-9


@dataclass(frozen=True, eq=False)
class Block:
    """One block of charging.

    Parameters
    ----------
    start_s, end_s : float
        Exact instants, UTC seconds.
    battery_kwh : array, shape (n,)
        Energy gained in each slot of the problem.
    """

    start_s: float
    end_s: float
    battery_kwh: Floats


def stretches(problem: Problem, stay: int = 0) -> list[slice]:
    """List the runs of slots of a stay that can be used without a pause.

    Parameters
    ----------
    problem : Problem
        Slots.
    stay : int
        Which stay.

    Returns
    -------
    list of slice

    Examples
    --------
    >>> from dataclasses import replace
    >>> from chargeplan.plan.problem import night
    >>> stretches(replace(night([0.1] * 4, 4.0, 1.0), max_kwh=np.array([1.0, 0.0, 1.0, 1.0])))
    [slice(0, 1, None), slice(2, 4, None)]
    """
    first, last = int(problem.first[stay]), int(problem.last[stay])
    slots = np.arange(first, last + 1)
    usable = problem.max_kwh[slots] > 0
    end_s = problem.start_s[slots] + 3600 * problem.hours[slots]
    opens = usable.copy()
    opens[1:] &= ~usable[:-1] | (np.abs(end_s[:-1] - problem.start_s[slots[1:]]) > _MEET_S)
    begin = slots[opens]
    group = np.cumsum(opens) - 1
    return [slice(int(at), int(slots[usable & (group == number)][-1]) + 1) for number, at in enumerate(begin)]


def least_and_room(problem: Problem, parts: list[slice]) -> tuple[float, float]:
    """Energy that one block must bring, at best, to the first departure, and the most that fits in.

    Parameters
    ----------
    problem : Problem
        With one stay.
    parts : list of slice
        Its `stretches`.

    Returns
    -------
    least, room : float
        Battery kWh.
    """
    room = problem.capacity_kwh - problem.level_kwh
    longest = max((float(problem.max_battery_kwh[part].sum()) for part in parts), default=0.0)
    wanted = float(problem.wanted_kwh[0]) - problem.level_kwh
    return max(0.0, min(wanted, longest, room)), room


def cheapest_block(problem: Problem, *, latest: bool = False, forced_kwh: float | None = None) -> Block | None:
    """Find the cheapest block that leaves the least shortfall, in a problem of one stay without taper.

    Parameters
    ----------
    problem : Problem
        With one stay.
    latest : bool
        Of equally cheap blocks, the one with the least energy x slot number counted from the end, instead of
        from the start.
    forced_kwh : float, optional
        Only blocks that bring as much in the first slot that can be used, as below the floor.

    Returns
    -------
    Block or None
        None where nothing needs to be charged, or nothing can be, or no block that begins in the first
        slot brings as much as a later one.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> block = cheapest_block(night([0.3, 0.1, 0.2, 0.1], max_kw=4.0, need_kwh=1.5))
    >>> block.start_s / 60, block.end_s / 60, block.battery_kwh.tolist()
    (15.0, 37.5, [0.0, 1.0, 0.5, 0.0])
    """
    parts = stretches(problem)
    least, room = least_and_room(problem, parts)
    turnover = float(np.abs(problem.unit_cost) @ problem.max_battery_kwh)
    weight = np.arange(problem.slots, dtype=np.float64)
    weight = weight[::-1] + 1 if latest else weight + 1
    found: tuple[float, float, float, slice, float, float] | None = None
    at_once = forced_kwh is not None
    if least <= 0 and not at_once:
        found = (0.0, 0.0, 0.0, slice(0, 0), 0.0, 0.0)
    for part in parts[:1] if at_once else parts:
        most_kwh = problem.max_battery_kwh[part]
        edge = np.concatenate(([0.0], np.cumsum(most_kwh)))
        if edge[-1] < least * (1 - 1e-12):
            continue
        price = problem.unit_cost[part]
        begin, end = _candidates(edge, least, min(room, float(edge[-1])), pays=bool((price <= 0).any()))
        if forced_kwh is not None:
            begin, end = _beginning_by(float(edge[1]) - forced_kwh, edge, (begin, end), (least, room))
        cost = _between(edge, price * most_kwh, begin, end)
        late = _between(edge, weight[part] * most_kwh, begin, end)
        cheap = np.flatnonzero(cost <= cost.min() + _SAME_COST * (1 + turnover))
        best = cheap[np.lexsort((begin[cheap], np.round(late[cheap], 9)))[0]]
        new = (float(cost[best]), float(late[best]), float(problem.start_s[part.start]), part)
        if found is None or _before(new[0], found[0], turnover, new[1], found[1]):
            found = (*new, float(begin[best]), float(end[best]))
    if found is None or found[5] <= found[4]:
        return None
    return _block(problem, found[3], found[4], found[5])


def _before(cost: float, other: float, turnover: float, late: float, other_late: float) -> bool:
    if abs(cost - other) <= _SAME_COST * (1 + turnover):
        return late < other_late - 1e-9
    return cost < other


def _candidates(edge: Floats, least: float, most: float, *, pays: bool) -> tuple[Floats, Floats]:
    """List starts and ends, on the scale of energy, among which a best block is."""
    begins, ends = [], []
    for length in (least, most):
        begins += [edge, edge - length]
        ends += [edge + length, edge]
    if pays:
        # More than the least is worth having only where energy costs nothing, or pays.
        for number, at in enumerate(edge):
            begins.append(np.full(edge.size - number, at))
            ends.append(edge[number:])
    return _allowed(np.concatenate(begins), np.concatenate(ends), edge, (least, most))


def _beginning_by(
    last: float, edge: Floats, found: tuple[Floats, Floats], lengths: tuple[float, float]
) -> tuple[Floats, Floats]:
    """Keep the starts up to a place on the scale of energy, which is a corner of its own."""
    least, most = lengths
    own = np.concatenate((edge, [last + least, last + most]))
    begin, end = np.concatenate((found[0], np.full(own.size, last))), np.concatenate((found[1], own))
    early = begin <= last + 1e-12 * (1 + float(edge[-1]))
    return _allowed(begin[early], end[early], edge, lengths)


def _allowed(begin: Floats, end: Floats, edge: Floats, lengths: tuple[float, float]) -> tuple[Floats, Floats]:
    """Keep what lies on the scale and has a length in range."""
    slack = 1e-12 * (1 + float(edge[-1]))
    between = end - begin
    kept = (begin >= -slack) & (end <= edge[-1] + slack)
    kept &= (between >= lengths[0] - slack) & (between <= lengths[1] + slack)
    return np.maximum(begin[kept], 0.0), np.minimum(end[kept], edge[-1])


def _between(edge: Floats, amount: Floats, begin: Floats, end: Floats) -> Floats:
    """Amount between two places on the scale of energy, spread evenly within each slot."""
    total = np.concatenate(([0.0], np.cumsum(amount)))
    return np.asarray(np.interp(end, edge, total) - np.interp(begin, edge, total))


def _block(problem: Problem, part: slice, begin: float, end: float) -> Block:
    most = problem.max_battery_kwh[part]
    edge = np.concatenate(([0.0], np.cumsum(most)))
    energy = np.zeros(problem.slots)
    energy[part] = np.clip(end - edge[:-1], 0.0, most) - np.clip(begin - edge[:-1], 0.0, most)
    used = np.flatnonzero(energy[part] > 1e-12)
    starts = problem.start_s[part]
    long_s = 3600 * problem.hours[part]
    first, last = int(used[0]), int(used[-1])
    head = max(0.0, begin - edge[first]) / most[first]
    tail = min(1.0, (end - edge[last]) / most[last])
    return Block(float(starts[first] + head * long_s[first]), float(starts[last] + tail * long_s[last]), energy)


def least_cost_of_a_block(problem: Problem, *, forced_kwh: float | None = None) -> float:
    """Prove what one block costs at least, another way than `cheapest_block` finds it.

    For every pair of slots in which a block could begin and end, everything between is fixed, and
    how much of the two is used is a linear program in two numbers, solved here by its formula.

    Parameters
    ----------
    problem : Problem
        With one stay, without taper.
    forced_kwh : float, optional
        Of blocks only that bring as much in the first slot that can be used, if one of them brings what any can.

    Returns
    -------
    float
        No block that leaves the least shortfall costs less.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> round(least_cost_of_a_block(night([0.3, 0.1, 0.2, 0.1], max_kw=4.0, need_kwh=1.5)), 9)
    0.2
    """
    parts = stretches(problem)
    least, room = least_and_room(problem, parts)
    at_once = forced_kwh is not None and bool(parts)
    at_once = at_once and float(problem.max_battery_kwh[parts[0]].sum()) >= least - _SLACK_KWH
    bound = 0.0 if least <= 0 and not at_once else np.inf
    sure = forced_kwh if forced_kwh is not None and at_once else 0.0
    for part in parts[:1] if at_once else parts:
        most, price = problem.max_battery_kwh[part], problem.unit_cost[part]
        energy = np.concatenate(([0.0], np.cumsum(most)))
        money = np.concatenate(([0.0], np.cumsum(most * price)))
        for first in range(1 if at_once else most.size):
            last = np.arange(first + 1, most.size)
            within = energy[last] - energy[first + 1] + sure
            spent = money[last] - money[first + 1] + sure * price[first]
            left = np.where(np.arange(most.size) == first, most - sure, most)
            between = _least_of_two((first, last), left, price, need=least - within, room=room - within, spent=spent)
            bound = min(bound, between)
            # Begin and end in one slot: one number.
            if most[first] >= least - _SLACK_KWH:
                amount = min(room, most[first]) if price[first] < 0 else least
                bound = min(bound, float(price[first] * amount))
    return float(bound)


def _least_of_two(
    slots: tuple[int, Ints], most: Floats, price: Floats, *, need: Floats, room: Floats, spent: Floats
) -> float:
    """Least cost of energy from two slots, between `need` and `room`, for many last slots at once."""
    first, last = slots
    one_first = price[first] <= price[last]
    cheap, dear = np.minimum(price[first], price[last]), np.maximum(price[first], price[last])
    cheap_most = np.where(one_first, most[first], most[last])
    dear_most = np.where(one_first, most[last], most[first])
    feasible = (room >= -_SLACK_KWH) & (need <= cheap_most + dear_most + _SLACK_KWH)
    need, room = np.maximum(need, 0.0), np.maximum(room, 0.0)
    from_cheap = np.minimum(cheap_most, np.where(cheap < 0, room, need))
    from_dear = np.where(dear < 0, np.minimum(dear_most, room - from_cheap), np.maximum(need - from_cheap, 0.0))
    cost = np.where(feasible, spent + cheap * from_cheap + dear * from_dear, np.inf)
    return float(cost.min(initial=np.inf))
