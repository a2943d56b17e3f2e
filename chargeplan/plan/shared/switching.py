"""Currents that are off or at least the minimum, whole steps, and rules about switching: the mixed-integer part."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.program import Program
from chargeplan.plan.shared.problem import SharedProblem
from chargeplan.plan.shared.program import Layout
from chargeplan.plan.shared.rows import Rows
from chargeplan.plan.shared.switching_rules import add_rules


def with_switching(layout: Layout, shared: SharedProblem, free: NDArray[np.bool_]) -> Program:
    """Add that currents are 0 or at least the minimum, whole steps where the car has them, and rules about switching.

    Parameters
    ----------
    layout : Layout
        A linear program.
    shared : SharedProblem
        Cars and tree.
    free : array of bool, shape (n,)
        Slots that may be on or off; the bounds of the others say which they are.

    Returns
    -------
    Program
        With a binary column for each free slot whose minimum is above 0, and one for each drive that could
        be left without energy: it lacks some only if the battery is empty after it; and one for each slot of a
        stay with rules about switching: whether a block starts there.
    """
    program, slots = layout.program, shared.slot.size
    least, most = shared.min_a / shared.unit_a, program.upper[:slots]
    least = np.where(shared.step_a > 0, np.ceil(least - 1e-9), least)
    chosen = np.flatnonzero(free & (most > 0) & (least > 0))
    drives = np.flatnonzero(shared.can_run_empty) if layout.lacking.start < layout.lacking.stop else np.empty(0, int)
    on = program.cost.size + np.arange(chosen.size)
    empty = program.cost.size + chosen.size + np.arange(drives.size)
    rows = Rows()
    here, there = np.arange(chosen.size), np.arange(drives.size)
    one, all_ = np.ones(chosen.size), np.ones(drives.size)
    rows.add(-np.inf, 0.0, chosen.size, (here, chosen, one), (here, on, -most[chosen]))
    rows.add(0.0, np.inf, chosen.size, (here, chosen, one), (here, on, -np.minimum(least, most)[chosen]))
    served, capacity = shared.served_kwh[drives], shared.capacity_kwh[drives]
    lacks, level = layout.lacking.start + drives, layout.level.start + layout.departure[drives]
    rows.add(-np.inf, 0.0, drives.size, (there, lacks, all_), (there, empty, -served))
    rows.add(
        -np.inf,
        served + capacity,
        drives.size,
        (there, level, all_),
        (there, lacks, all_),
        (there, empty, capacity),
    )
    on_column = np.full(slots, -1)
    on_column[chosen] = on
    starts = add_rules(shared, rows, free, on_column, program.cost.size + chosen.size + drives.size)
    new = chosen.size + drives.size + starts
    # Starts are whole wherever on and off are, and need not be said to be.
    integer = np.concatenate((program.integer, np.ones(new - starts, dtype=bool), np.zeros(starts, dtype=bool)))
    integer[:slots] = shared.step_a > 0
    return replace(
        program,
        cost=np.concatenate((program.cost, np.zeros(new))),
        lower=np.concatenate((program.lower, program.lower[chosen] > 0, np.zeros(drives.size + starts))),
        upper=np.concatenate((program.upper, np.ones(new))),
        integer=integer,
        rows=np.concatenate((program.rows, *(row + program.row_lower.size for row in rows.rows))),
        columns=np.concatenate((program.columns, *rows.columns)),
        values=np.concatenate((program.values, *rows.values)),
        row_lower=np.concatenate((program.row_lower, *rows.lower)),
        row_upper=np.concatenate((program.row_upper, *rows.upper)),
    )
