"""Rules about switching in a shared plan: which stays break them, plans that keep them, and rows for a search.

A slot is on or off as a whole here, so a block is a run of slots that are on, whatever their currents.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.problem import Floats, Ints
from chargeplan.plan.rules import MEET_S, Breaches, ChargerRules, breaches
from chargeplan.plan.shared.problem import SharedProblem
from chargeplan.plan.shared.rows import Rows

Bools = NDArray[np.bool_]


def breaches_of_stays(shared: SharedProblem, on: Bools) -> list[tuple[int, Breaches]]:
    """Measure how far a plan breaks the rules of each stay that has any.

    Parameters
    ----------
    shared : SharedProblem
        Cars and tree.
    on : array of bool, shape (n,)
        Which slots charge.

    Returns
    -------
    list of (int, Breaches)
        Number of each stay with rules, and what is broken.
    """
    found = []
    for stay, rules in shared.ruled.items():
        slots = _slots(shared, stay)
        charging = slots[on[slots]]
        start_s = shared.begin_s[charging].astype(np.float64)
        found.append((stay, breaches(rules, start_s, start_s + 3600 * shared.hours[charging])))
    return found


def breaks_rules(shared: SharedProblem, on: Bools) -> Bools:
    """Mark the slots of stays whose rules a plan breaks, shape (n,)."""
    broken = [stay for stay, found in breaches_of_stays(shared, on) if found != Breaches()]
    return np.isin(shared.stay, broken) if broken else np.zeros(on.size, dtype=bool)


def longest_blocks(shared: SharedProblem, current: Floats) -> Floats:
    """Leave of every stay that breaks its rules the block with most energy, if that is long enough, and nothing else.

    Parameters
    ----------
    shared : SharedProblem
        Cars and tree.
    current : array, shape (n,)
        A plan, in amperes.
    """
    found = current.copy()
    for stay, broken in breaches_of_stays(shared, current > 0):
        if broken == Breaches():
            continue
        slots = _slots(shared, stay)
        on = np.flatnonzero(current[slots] > 0)
        blocks = np.split(on, np.flatnonzero(np.diff(on) > 1) + 1)
        best = max(blocks, key=lambda block: float((current * shared.battery_per_a)[slots[block]].sum()))
        found[slots] = 0.0
        if 3600 * float(shared.hours[slots[best]].sum()) >= 60 * shared.ruled[stay].min_on_min - MEET_S:
            found[slots[best]] = current[slots[best]]
    return found


def add_rules(shared: SharedProblem, rows: Rows, free: Bools, on_column: Ints, first_start: int) -> int:
    """Add the rules of every stay whose slots are free to be on or off.

    Parameters
    ----------
    shared : SharedProblem
        Cars and tree.
    rows : Rows
        Where they are added.
    free : array of bool, shape (n,)
        Slots that may be on or off.
    on_column : array of int, shape (n,)
        The column that says whether a slot is on; below 0 where it is always off.
    first_start : int
        First column for starts, one for each slot of these stays: 1 if a block starts there.

    Returns
    -------
    int
        How many start columns there are.

    Notes
    -----
    With ``on`` and ``start`` of a slot: ``start >= on - on before``; at most so many starts; a slot is on if a start
    lies less than `min_on` before its own begin; and from the slot ``a`` that begins less than `min_off` before it
    (the first such), ``on before a + starts from a on <= 1``, since a start after it would end too short a pause.
    """
    count = 0
    for stay, rules in shared.ruled.items():
        slots = _slots(shared, stay)
        if not free[slots].all():
            continue
        start = first_start + count + np.arange(slots.size)
        late = start[_too_late(shared, slots, rules)]
        if late.size:
            rows.add(-np.inf, 0.0, 1, (np.zeros(late.size, dtype=np.int64), late, np.ones(late.size)))
        _add_stay(rows, rules, shared.begin_s[slots], on_column[slots], start)
        count += slots.size
    return count


def _slots(shared: SharedProblem, stay: int) -> Ints:
    return np.arange(int(shared.first[stay]), int(shared.last[stay]) + 1)


def _too_late(shared: SharedProblem, slots: Ints, rules: ChargerRules) -> Bools:
    """Whether a block that starts with a slot cannot last until `min_on`, because the stay ends."""
    ends_s = shared.begin_s[slots[-1]] + 3600 * shared.hours[slots[-1]]
    late: Bools = ends_s - shared.begin_s[slots] < 60 * rules.min_on_min - MEET_S
    return late


def _add_stay(rows: Rows, rules: ChargerRules, begin_s: Ints, on: Ints, start: Ints) -> None:
    each = np.arange(on.size)
    here, before = on >= 0, np.concatenate(([False], on[:-1] >= 0))
    terms = [
        (each, start, np.ones(on.size)),
        (each[here], on[here], -np.ones(int(here.sum()))),
        (each[before], on[each[before] - 1], np.ones(int(before.sum()))),
    ]
    rows.add(0.0, np.inf, on.size, *terms)
    if rules.most_starts is not None:
        rows.add(-np.inf, float(rules.most_starts), 1, (0 * each, start, np.ones(on.size)))
    # Of the starts that could have been, one at most is so recent that the slot must still be on.
    recent = np.searchsorted(begin_s, begin_s - (60 * rules.min_on_min - MEET_S), side="right")
    pair_row, pair_start = _pairs(np.minimum(recent, each), each)
    rows.add(
        -np.inf,
        0.0,
        on.size,
        (pair_row, start[pair_start], np.ones(pair_row.size)),
        (each[here], on[here], -np.ones(int(here.sum()))),
    )
    if rules.min_off_min > 0:
        after = np.searchsorted(begin_s, begin_s - (60 * rules.min_off_min - MEET_S), side="right")
        after = np.maximum(np.minimum(after, each), 1)
        later = each[1:]
        pair_row, pair_start = _pairs(after[1:], later)
        was_on = on[after[1:] - 1] >= 0
        rows.add(
            -np.inf,
            1.0,
            later.size,
            (pair_row, start[pair_start], np.ones(pair_row.size)),
            (np.flatnonzero(was_on), on[after[1:] - 1][was_on], np.ones(int(was_on.sum()))),
        )


def _pairs(first: Ints, last: Ints) -> tuple[Ints, Ints]:
    """List (row, slot) for every slot from first to last of each row."""
    length = last - first + 1
    row = np.repeat(np.arange(first.size), length)
    offset = np.arange(int(length.sum())) - np.repeat(np.cumsum(length) - length, length)
    return row, first[row] + offset
