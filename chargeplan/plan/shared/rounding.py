"""A plan that keeps every limit without any search: what is not allowed goes down to a step, to a block, or off."""

from __future__ import annotations

from typing import Final

import numpy as np

from chargeplan.plan.problem import Floats
from chargeplan.plan.shared.goals import SNAP_A
from chargeplan.plan.shared.problem import SharedProblem
from chargeplan.plan.shared.switching_rules import longest_blocks
from chargeplan.plan.shared.taper import within_taper

#: A cut lowers the level of a battery, which may then accept less; so often cuts are made until nothing changes.
_FEW_CUTS: Final = 10


def rounded_down(shared: SharedProblem, relaxed: Floats) -> Floats:
    """Lower the currents of a linear program until all is kept, whatever that leaves missing, shape (n,).

    Parameters
    ----------
    shared : SharedProblem
        Cars and tree.
    relaxed : array, shape (n,)
        Currents in amperes that keep the limits of the tree and of the batteries.
    """
    down = _down(shared, relaxed)
    for _ in range(_FEW_CUTS):
        before, down = down, longest_blocks(shared, _down(shared, _accepted(shared, down)))
        if np.array_equal(before, down):
            return down
    return np.where(np.isin(shared.car, shared.car[shared.taper.slot]), 0.0, down)


def _down(shared: SharedProblem, current: Floats) -> Floats:
    """Lower currents to a step, and below the minimum to off."""
    down = np.where(shared.step_a > 0, np.floor(current / shared.unit_a + 1e-9) * shared.unit_a, current)
    return np.where(down < shared.min_a - SNAP_A, 0.0, down)


def _accepted(shared: SharedProblem, current: Floats) -> Floats:
    """Lower currents to what batteries with a taper accept."""
    if not shared.taper.slot.size:
        return current
    gained, parts, before = current * shared.battery_per_a, [], 0
    for problem in shared.alone:
        parts.append(within_taper(problem, gained[before : before + problem.slots]))
        before += problem.slots
    lower = np.concatenate(parts)
    return np.divide(lower, shared.battery_per_a, out=current.copy(), where=lower < gained)
