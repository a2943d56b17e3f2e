"""Fewest separate charging blocks among the cheapest plans, by a mixed-integer program.

Without a taper the slots are price runs, merged before (see `runs`), which loses nothing. Energy in
a run that does not fill it can be put at its start, touching what runs before, or at its end,
touching what runs after; cut in two it touches both, but then is two pieces, which counts the same.
So a run behaves like one long slot. A year needs a few of them per stay instead of a hundred slots.
"""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import SolverError
from chargeplan.plan.engines import Answer
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.program import Program, by_time
from chargeplan.plan.reach import Reach


def fewest_starts(face: Program, problem: Problem, best: Reach) -> Program:
    """Minimise the number of separate charging blocks over the optimal plans.

    Three binary columns per slot: ``on``, ``full``, and ``touch``, which says that charging goes on
    across the end of the slot. Every slot that is on starts a block unless it touches the one
    before, so the blocks number ``sum(on) - sum(touch)``. A slot that is not full can touch only
    one neighbour, and one charged at once because of the floor only the one before.

    Parameters
    ----------
    face : Program
        Optimal plans.
    problem : Problem
        The slots.
    best : Reach
        What the floor forces.

    Returns
    -------
    Program
        The mixed-integer program; its objective is a whole number.
    """
    slots, base = problem.slots, face.cost.size
    on, full, touch = (base + kind * slots + np.arange(slots) for kind in range(3))
    energy = np.arange(slots)
    most, lower, upper = problem.max_battery_kwh, face.lower[:slots], face.upper[:slots]
    pinned = best.forced_kwh > 0
    ends_s = problem.start_s + 3600 * problem.hours
    adjacent = np.zeros(slots)
    adjacent[:-1] = (np.diff(problem.stay) == 0) & (np.abs(ends_s[:-1] - problem.start_s[1:]) < 1e-3)
    always = (lower >= most) & (most > 0)
    ones = np.ones(slots)
    later = np.arange(1, slots)
    #    each row: terms that must add up to at most the limit
    limits: list[tuple[list[tuple[Ints, Floats]], Floats]] = [
        ([(energy, ones), (on, -most)], np.zeros(slots)),
        ([(full, most), (energy, -ones)], np.zeros(slots)),
        ([(touch, ones), (on, -ones)], np.zeros(slots)),
        ([(touch[:-1], ones[1:]), (on[1:], -ones[1:])], np.zeros(slots - 1)),
        ([(touch[later - 1], ones[1:]), (touch[later], ones[1:]), (full[later], -ones[1:])], ones[1:]),
        ([(touch[pinned], ones[pinned]), (full[pinned], -ones[pinned])], np.zeros(int(pinned.sum()))),
    ]
    rows, columns, values, row_upper = [face.rows], [face.columns], [face.values], [face.row_upper]
    number = face.row_lower.size
    for terms, limit in limits:
        for column, value in terms:
            rows.append(number + np.arange(limit.size))
            columns.append(column)
            values.append(value)
        row_upper.append(limit)
        number += limit.size
    new = number - face.row_lower.size
    return Program(
        cost=np.concatenate((np.zeros(base), ones, np.zeros(slots), -ones)),
        lower=np.concatenate((face.lower, (lower > 0) & (most > 0), always, np.zeros(slots))),
        upper=np.concatenate((face.upper, (upper > 0) & (most > 0), (upper >= most) & (most > 0), adjacent)),
        integer=np.concatenate((face.integer, np.ones(3 * slots, dtype=bool))),
        rows=np.concatenate(rows),
        columns=np.concatenate(columns),
        values=np.concatenate(values),
        row_lower=np.concatenate((face.row_lower, np.full(new, -np.inf))),
        row_upper=np.concatenate(row_upper),
        slots=slots,
    )


def capped(program: Program, cost: Floats, most: float) -> Program:
    """Keep ``program.cost @ x <= most`` as a row, and minimise another cost.

    Parameters
    ----------
    program : Program
        Program already solved.
    cost : array
        Next objective, for all columns or the first of them.
    most : float
        Value not to be exceeded.

    Returns
    -------
    Program
    """
    used = np.flatnonzero(program.cost)
    return replace(
        program,
        cost=np.concatenate((cost, np.zeros(program.cost.size - cost.size))),
        rows=np.concatenate((program.rows, np.full(used.size, program.row_lower.size))),
        columns=np.concatenate((program.columns, used)),
        values=np.concatenate((program.values, program.cost[used])),
        row_lower=np.append(program.row_lower, -np.inf),
        row_upper=np.append(program.row_upper, most),
    )


def find_fewest(
    face: Program, problem: Problem, best: Reach, engine: Callable[[Program], Answer]
) -> tuple[Floats, NDArray[np.bool_]]:
    """Solve for the fewest blocks, then for the earliest energy, then for exact energies.

    Parameters
    ----------
    face : Program
        The cheapest plans.
    problem, best : Problem, Reach
        What was asked; merged where possible.
    engine : callable
        Solves a program.

    Returns
    -------
    energy : array, shape (n,)
        Battery kWh of each slot.
    late : array of bool, shape (n,)
        The energy of this slot belongs at its end, because there it touches the next.
    """
    program = fewest_starts(face, problem, best)
    count = float(np.round(program.cost @ engine(program).x))
    earliest = by_time(face)
    x = engine(capped(program, earliest.cost * problem.slots, count)).x
    slots, base = problem.slots, face.cost.size
    on, full, touch = (x[base + kind * slots : base + (kind + 1) * slots] > 0.5 for kind in range(3))
    lower, upper = earliest.lower.copy(), earliest.upper.copy()
    upper[:slots] = np.where(on, upper[:slots], lower[:slots])
    lower[:slots] = np.where(full, upper[:slots], lower[:slots])
    # Whole numbers hold to 1e-6 only; where energies as small decide, the energies found so far stay.
    with suppress(SolverError):
        x = engine(earliest.within(lower, upper)).x
    return x[:slots], touch & ~full
