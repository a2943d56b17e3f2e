"""Which limits of the tree the cars can reach together."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chargeplan.plan.problem import Floats, Ints
from chargeplan.plan.shared.problem import SharedProblem


@dataclass(frozen=True, eq=False)
class Limits:
    """The limits of the tree that can bind, one row each.

    Parameters
    ----------
    node, phase, slot : array of int, shape (rows,)
        Where and when; of nodes with the same cars below them only the tightest.
    left_a : array, shape (rows,)
        The limit.
    row, member : array of int
        Which draws count in which row.
    """

    node: Ints
    phase: Ints
    slot: Ints
    left_a: Floats
    row: Ints
    member: Ints


def tree_limits(shared: SharedProblem) -> Limits:
    """Find the limits that the cars could exceed together; the others need no row.

    Parameters
    ----------
    shared : SharedProblem
        Cars and tree.

    Returns
    -------
    Limits
    """
    slots, draws = shared.grid_s.size, int(shared.draw.max()) + 1
    most = np.zeros(draws)
    np.maximum.at(most, shared.draw, shared.max_a)
    first = np.zeros(draws, dtype=np.int64)
    first[shared.draw[::-1]] = np.arange(shared.slot.size)[::-1]
    slot, stay = shared.slot[first], shared.stay[first]
    phases = shared.left_a.shape[2]
    left = shared.left_a.transpose(0, 2, 1).reshape(-1, slots)
    alike: dict[bytes, list[int]] = {}  # nodes and phases with the same stays below them
    for number, members in enumerate(shared.counts_at.reshape(shared.need_kwh.size, -1).T):
        alike.setdefault(members.tobytes(), []).append(number)
    parts: list[tuple[Ints, Ints, Floats, Ints, Ints]] = []
    count = 0
    for stays, groups in alike.items():
        below = np.frombuffer(stays, dtype=bool)
        if draws == shared.slot.size and np.unique(shared.car_of_stay[below]).size < 2:
            continue  # one car keeps its own limit, which is no higher
        here, both = below[stay], left[groups]
        tightest = np.array(groups)[np.argmin(both, axis=0)]
        least = both.min(axis=0)
        together = np.bincount(slot[here], weights=most[here], minlength=slots)
        binding = np.flatnonzero(together > least * (1 + 1e-12) + 1e-9)
        if binding.size:
            row_of_slot = np.full(slots, -1)
            row_of_slot[binding] = count + np.arange(binding.size)
            inside = np.flatnonzero(here & (row_of_slot[slot] >= 0) & (most > 0))
            parts.append((tightest[binding], binding, least[binding], row_of_slot[slot[inside]], inside))
            count += binding.size
    if not parts:
        none = np.empty(0, dtype=np.int64)
        return Limits(none, none, none, np.empty(0), none, none)
    group, when, amperes, row, inside = (np.concatenate(column) for column in zip(*parts, strict=True))
    return Limits(group // phases, group % phases, when, amperes, row, inside)
