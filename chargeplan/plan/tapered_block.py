"""One unbroken block in one stay with a taper: the cheapest, and a bound found in another way.

How much a slot gains when it runs in full depends on the level ``L`` it begins with, and the level after it
is the least of a few rising straight lines in ``L`` (the limit, each line of the taper, the capacity). A block
that begins with the energy ``x`` in slot a therefore leaves every later slot at a level that is piecewise
linear in ``x``, and so is what it costs. Its least is at a corner: where the first slot is full, where some
slot passes from one line to the next, or where the wanted level is reached on a slot boundary. All corners
are found by going back from them to slot a, and every one is tried.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from chargeplan.plan.block import Block, stretches
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.tapered import energy_of_runs, run_hours

#: Costs this near, relative to the money turned over, are the same with another rounding.
_SAME_COST = 1e-11
_SLACK_KWH = 1e-9
_TINY_KWH = 1e-12


@dataclass(frozen=True, eq=False)
class _Lines:
    """Level after a slot that runs in full: the least of ``rise * level + base``, shape (lines, slots) each."""

    base: Floats
    rise: Floats
    capacity_kwh: float

    def after(self, slot: int, level: Floats) -> Floats:
        found = (self.base[:, slot, None] + self.rise[:, slot, None] * level).min(axis=0)
        return np.asarray(np.maximum(np.minimum(found, self.capacity_kwh), level))

    def before(self, slot: int, level: Floats) -> Floats:
        """Least level from which a slot in full leads to a level."""
        return np.asarray(((level - self.base[:, slot, None]) / self.rise[:, slot, None]).max(axis=0))

    def corners(self, slot: int) -> Floats:
        """Levels at the start of a slot at which two lines meet, the capacity among them."""
        base, rise = np.append(self.base[:, slot], self.capacity_kwh), np.append(self.rise[:, slot], 0.0)
        one, other = np.triu_indices(base.size, 1)
        apart = rise[one] != rise[other]
        one, other = one[apart], other[apart]
        return np.asarray((base[other] - base[one]) / (rise[one] - rise[other]))


def _lines(problem: Problem, part: slice) -> _Lines:
    hours, most = problem.hours[part], problem.max_battery_kwh[part]
    base, rise = [most], [np.ones(hours.size)]
    for slope, power_kw in problem.taper.tolist():
        per_kwh = hours * slope / problem.capacity_kwh
        flatter = 1.0 / (1.0 - per_kwh) if slope < 0 else np.ones(hours.size)
        base.append(hours * power_kw * flatter)
        rise.append(flatter if slope < 0 else 1.0 + per_kwh)
    return _Lines(np.array(base), np.array(rise), problem.capacity_kwh)


def least_with_taper(problem: Problem, parts: list[slice]) -> float:
    """Energy that one block must bring, at best, to the departure: what is wanted, or the most one can bring."""
    wanted = float(problem.wanted_kwh[0]) - problem.level_kwh
    longest = 0.0
    for part in parts:
        hours = np.zeros(problem.slots)
        hours[part] = problem.hours[part]
        longest = max(longest, float(energy_of_runs(problem, hours, stops_full=True).sum()))
    return max(0.0, min(wanted, longest))


def cheapest_tapered_block(problem: Problem, *, latest: bool = False, forced_kwh: float | None = None) -> Block | None:
    """Find the cheapest block that leaves the least shortfall, in a problem of one stay with a taper.

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
    From empty, 10 kW x (1 - state of charge) gives 5 kWh in the first hour and a quarter as much of 10 in the next:

    >>> from chargeplan.plan.problem import night
    >>> one = night([3.0, 1.0, 1.0], 20.0, 7.5, capacity_kwh=10.0, step_min=60, taper=[(-10.0, 10.0)])
    >>> cheapest_tapered_block(one).battery_kwh.tolist()
    [0.0, 5.0, 2.5]
    """
    parts = stretches(problem)
    least = least_with_taper(problem, parts)
    turnover = float(np.abs(problem.unit_cost) @ problem.max_battery_kwh)
    weight = np.arange(problem.slots, dtype=np.float64)
    weight = weight[::-1] + 1 if latest else weight + 1
    found: tuple[float, float, slice, int, int, float, float] | None = None
    if least <= 0 and forced_kwh is None:
        found = (0.0, 0.0, slice(0, 0), 0, 0, 0.0, 0.0)
    for part in parts[:1] if forced_kwh is not None else parts:
        lines, price = _lines(problem, part), problem.unit_cost[part]
        start, first_kwh = _starts(problem, lines, part, least, forced_kwh)
        tried = _Tried(problem.level_kwh, problem.level_kwh + least, lines, start, first_kwh)
        cost, late = tried.ends(price, weight[part])
        if not np.isfinite(cost).any():
            continue
        cheap = np.argwhere(cost <= cost.min() + _SAME_COST * (1 + turnover))
        order = np.lexsort((start[cheap[:, 0]], np.round(late[cheap[:, 0], cheap[:, 1]], 9)))
        candidate, end = cheap[order[0]].tolist()
        new = (float(cost[candidate, end]), float(late[candidate, end]))
        if found is None or _before(new, found[:2], turnover):
            found = (*new, part, int(start[candidate]), end // 2, float(first_kwh[candidate]), end % 2)
    if found is None or not found[5]:
        return None
    _, _, part, first, last, first_kwh_, in_full = found
    return _block(problem, part, (first, last), (first_kwh_, problem.level_kwh + least, bool(in_full)), latest=latest)


def _before(one: tuple[float, float], other: tuple[float, float], turnover: float) -> bool:
    if abs(one[0] - other[0]) <= _SAME_COST * (1 + turnover):
        return one[1] < other[1] - 1e-9
    return one[0] < other[0]


def _starts(
    problem: Problem, lines: _Lines, part: slice, least: float, forced_kwh: float | None
) -> tuple[Ints, Floats]:
    """List the slots of a stretch in which a block may begin, with the energies in them that may be best."""
    size, level = part.stop - part.start, problem.level_kwh
    wanted = level + least
    full = np.array([float(lines.after(slot, np.array([level]))[0]) - level for slot in range(size)])
    slots, energies = [], []
    back = np.empty(0)
    for slot in reversed(range(size)):
        at = np.concatenate((back, [wanted]))  # levels at the end of this slot at which something turns
        own = np.concatenate((at - level, [full[slot]]))
        if forced_kwh is not None:
            own = np.append(own, forced_kwh)
        own = np.unique(np.clip(own[(own > _TINY_KWH) & (own <= full[slot] + _SLACK_KWH)], 0.0, full[slot]))
        slots.append(np.full(own.size, slot))
        energies.append(own)
        back = np.concatenate((lines.before(slot, at), lines.corners(slot)))
        back = back[(back > level) & (back <= problem.capacity_kwh)]
    start, first_kwh = np.concatenate(slots), np.concatenate(energies)
    if forced_kwh is None:
        return start, first_kwh
    early = (start == 0) & (first_kwh >= forced_kwh - _TINY_KWH)
    return start[early], first_kwh[early]


@dataclass(frozen=True, eq=False)
class _Tried:
    """Blocks that begin in slot `start` with `first_kwh`, followed through all slots in which they may end."""

    level_kwh: float
    wanted_kwh: float
    lines: _Lines
    start: Ints
    first_kwh: Floats

    def ends(self, price: Floats, weight: Floats) -> tuple[Floats, Floats]:
        """Cost and lateness, shape (blocks, 2 x slots): the slot in part, up to what is wanted; and in full."""
        size = price.size
        cost = np.full((self.start.size, 2 * size), np.inf)
        late = np.full((self.start.size, 2 * size), np.inf)
        level = np.full(self.start.size, self.level_kwh)
        spent, counted = np.zeros(self.start.size), np.zeros(self.start.size)
        for slot in range(size):
            first = self.start == slot
            on = self.start <= slot
            after = np.where(on, self.lines.after(slot, level), level)
            after[first] = self.level_kwh + self.first_kwh[first]
            # Where it begins it has the energy it has; later it may stop at what is wanted.
            stops = on & ~first & (level < self.wanted_kwh) & (self.wanted_kwh <= after)
            for kind, holds, end in (
                (0, stops, np.full(level.size, self.wanted_kwh)),
                (1, on & (after >= self.wanted_kwh - _SLACK_KWH) & (after > level), after),
            ):
                gained = end - level
                cost[holds, 2 * slot + kind] = (spent + gained * price[slot])[holds]
                late[holds, 2 * slot + kind] = (counted + gained * weight[slot])[holds]
            spent += (after - level) * price[slot]
            counted += (after - level) * weight[slot]
            level = after
        return cost, late


def _block(
    problem: Problem, part: slice, slots: tuple[int, int], energy: tuple[float, float, bool], *, latest: bool
) -> Block:
    """Turn the slots in which a block begins and ends, and the energy in the first, into a block with its times."""
    (first, last), (first_kwh, wanted_kwh, in_full) = slots, energy
    lines, level = _lines(problem, part), np.array([problem.level_kwh])
    gained, levels = np.zeros(problem.slots), np.full(problem.slots, problem.level_kwh)
    for slot in range(first, last + 1):
        after = level + first_kwh if slot == first else lines.after(slot, level)
        if slot == last and slot > first and not in_full:
            after = np.array([wanted_kwh])
        gained[part.start + slot] = float(after[0] - level[0])
        level = after
        levels[part.start + slot :] = float(after[0])
    run_s = 3600 * run_hours(problem, gained, levels)
    begin, end = part.start + first, part.start + last
    if begin == end:
        start_s = float(problem.start_s[begin])
        if latest:
            start_s += 3600 * float(problem.hours[begin]) - float(run_s[begin])
        return Block(start_s, start_s + float(run_s[begin]), gained)
    start_s = float(problem.start_s[begin]) + 3600 * float(problem.hours[begin]) - float(run_s[begin])
    return Block(start_s, float(problem.start_s[end]) + float(run_s[end]), gained)


def least_cost_of_a_tapered_block(problem: Problem, *, forced_kwh: float | None = None) -> float:
    """Prove what one block costs at least, another way than `cheapest_tapered_block` finds it.

    For every slot in which a block could begin, the level and the cost so far are followed as functions of the
    energy in that slot: piecewise linear, so given by their corners, of which each slot adds some. What is
    wanted is reached, and the battery is left, at corners too.

    Parameters
    ----------
    problem : Problem
        With one stay.
    forced_kwh : float, optional
        Of blocks only that bring as much in the first slot that can be used, if one of them brings what any can.

    Returns
    -------
    float
        No block that leaves the least shortfall costs less.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> one = night([3.0, 1.0, 1.0], 20.0, 7.5, capacity_kwh=10.0, step_min=60, taper=[(-10.0, 10.0)])
    >>> least_cost_of_a_tapered_block(one)
    7.5
    """
    parts = stretches(problem)
    least, level = least_with_taper(problem, parts), problem.level_kwh
    at_once = False
    if forced_kwh is not None and parts:
        hours = np.zeros(problem.slots)
        hours[parts[0]] = problem.hours[parts[0]]
        at_once = float(energy_of_runs(problem, hours, stops_full=True).sum()) >= least - _SLACK_KWH
    bound = 0.0 if least <= 0 and not at_once else np.inf
    for part in parts[:1] if at_once else parts:
        slots = [_Slot.of(problem, slot) for slot in range(part.start, part.stop)]
        pays = np.minimum.accumulate(problem.unit_cost[part][::-1])[::-1] <= 0
        for first in range(1 if at_once else len(slots)):
            sure = forced_kwh if at_once and forced_kwh is not None else 0.0
            bound = min(bound, _least_from(slots, first, (level, level + least, sure), pays.tolist()))
    return float(bound)


@dataclass(frozen=True)
class _Slot:
    """The level after a slot as the least of lines, in plain numbers."""

    lines: tuple[tuple[float, float], ...]
    price: float
    capacity_kwh: float

    @classmethod
    def of(cls, problem: Problem, slot: int) -> _Slot:
        hours, most = float(problem.hours[slot]), float(problem.max_battery_kwh[slot])
        lines = [(1.0, most), (0.0, problem.capacity_kwh)]
        for slope, power_kw in problem.taper.tolist():
            per_kwh = hours * slope / problem.capacity_kwh
            # After - before = hours x (slope x level / capacity + power), at the level after where it falls.
            lines.append(
                (1 / (1 - per_kwh), hours * power_kw / (1 - per_kwh)) if slope < 0 else (1 + per_kwh, hours * power_kw)
            )
        return cls(tuple(lines), float(problem.unit_cost[slot]), problem.capacity_kwh)

    def after(self, level: float) -> float:
        return max(level, min(rise * level + base for rise, base in self.lines))

    def turns(self, wanted: float) -> list[float]:
        """Levels before the slot at which its line changes, or at which it just reaches what is wanted."""
        found = [wanted]
        for number, (rise, base) in enumerate(self.lines):
            if rise > 0:
                found.append((wanted - base) / rise)
            found += [
                (other_base - base) / (rise - other_rise)
                for other_rise, other_base in self.lines[number + 1 :]
                if other_rise != rise
            ]
        return found


def _least_from(slots: list[_Slot], first: int, levels: tuple[float, float, float], pays: list[bool]) -> float:
    """Least cost of the blocks that begin in one slot."""
    level, wanted, sure = levels
    most = slots[first].after(level)
    # Corners: the level after the slot, and what was spent up to there.
    corners = [(at, (at - level) * slots[first].price) for at in sorted({level + min(sure, most - level), most})]
    if corners[0][0] < wanted < corners[-1][0]:
        corners = _with_levels(corners, [wanted])
    bound = min((spent for at, spent in corners if at >= wanted - _SLACK_KWH and at > level), default=np.inf)
    for number in range(first + 1, len(slots)):
        if corners[0][0] >= wanted and not pays[number]:
            break  # more would only cost more
        slot = slots[number]
        corners = _with_levels(corners, slot.turns(wanted))
        after = [(slot.after(at), at, spent) for at, spent in corners]
        for end, at, spent in after:
            if at - _SLACK_KWH <= wanted <= end + _SLACK_KWH:
                bound = min(bound, spent + slot.price * max(0.0, wanted - at))
            if end >= wanted - _SLACK_KWH:
                bound = min(bound, spent + slot.price * (end - at))
        corners = [(end, spent + slot.price * (end - at)) for end, at, spent in after]
    return float(bound)


def _with_levels(corners: list[tuple[float, float]], wanted: list[float]) -> list[tuple[float, float]]:
    """Add the corners at which a level is passed, by the straight lines between those there are."""
    found = list(corners)
    for (low, spent), (high, spent_high) in pairwise(corners):
        for level in wanted:
            if low < level < high:
                found.append((level, spent + (spent_high - spent) * (level - low) / (high - low)))
    return sorted(set(found))
