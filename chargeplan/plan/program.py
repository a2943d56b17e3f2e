"""The planner's problem as a linear program.

Without a taper: a column ``y`` per slot (battery kWh gained) and a column ``L`` per stay (level at
its departure); a row per stay balances ``L[j] = L[j-1] - served[j-1] + sum of y in stay j``. Within
a stay the level only rises, so its departure is where needs and the capacity bind. With a taper,
which depends on the level, there is a level and a balance per slot, and a row per segment and slot.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.reach import Reach


@dataclass(frozen=True, eq=False)
class Program:
    """Minimise ``cost @ x`` with ``lower <= x <= upper`` and ``row_lower <= A x <= row_upper``.

    ``A`` is given by triplets; triplets at one place add up. The first `slots` columns are the
    battery kWh gained in each slot.

    Parameters
    ----------
    cost, lower, upper : array, shape (columns,)
        Objective and bounds.
    integer : array of bool, shape (columns,)
        Columns that must be whole.
    rows, columns : array of int, shape (nonzeros,)
        Places of the coefficients.
    values : array, shape (nonzeros,)
        The coefficients.
    row_lower, row_upper : array, shape (rows,)
        Limits of each row; equal for an equation.
    slots : int
        Number of slots.
    """

    cost: Floats
    lower: Floats
    upper: Floats
    integer: NDArray[np.bool_]
    rows: Ints
    columns: Ints
    values: Floats
    row_lower: Floats
    row_upper: Floats
    slots: int

    def row_values(self, x: Floats) -> Floats:
        """Compute ``A x``, shape (rows,)."""
        values = np.bincount(self.rows, weights=self.values * x[self.columns], minlength=self.row_lower.size)
        return values.astype(np.float64)

    def reduced_cost(self, row_duals: Floats) -> Floats:
        """``cost - A' duals``, shape (columns,)."""
        return self.cost - np.bincount(
            self.columns, weights=self.values * row_duals[self.rows], minlength=self.cost.size
        )

    def within(self, lower: Floats, upper: Floats) -> Program:
        """Replace the bounds of the columns."""
        return replace(self, lower=lower, upper=upper)

    def violation(self, x: Floats) -> float:
        """Greatest violation of a bound or row, in the unit of that bound or row."""
        rows = self.row_values(x)
        worst = [self.lower - x, x - self.upper, self.row_lower - rows, rows - self.row_upper]
        return max(float(part.max(initial=0.0)) for part in worst)


def linear_program(problem: Problem, best: Reach, level_per_slot: bool | None = None) -> Program:
    """Cost-minimising program for the repaired needs.

    Parameters
    ----------
    problem : Problem
        With or without a taper.
    best : Reach
        Its repaired needs.
    level_per_slot : bool, optional
        Force a level per slot (True) where the taper does not ask for it.

    Returns
    -------
    Program

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> from chargeplan.plan.reach import reach
    >>> one = night([0.3, 0.1], max_kw=4.0, need_kwh=1.0)
    >>> program = linear_program(one, reach(one))
    >>> program.cost.tolist(), program.values.tolist()
    ([0.3, 0.1, 0.0], [-1.0, -1.0, 1.0])
    """
    slots = problem.slots
    fine = bool(problem.taper.size) or bool(level_per_slot)
    level_of_slot = np.arange(slots) if fine else problem.stay  # number of the level a slot adds to
    departure = problem.last if fine else np.arange(problem.stays)
    levels = slots if fine else problem.stays
    served_before = np.zeros(levels)  # taken by the drive just before this level
    served_before[departure[:-1] + 1] = best.served_kwh[:-1]
    least = np.zeros(levels)
    least[departure] = best.need_kwh
    start = np.zeros(levels)
    start[0] = problem.level_kwh
    chain = np.arange(1, levels)
    rows = [level_of_slot, np.arange(levels), chain]
    columns = [np.arange(slots), slots + np.arange(levels), slots + chain - 1]
    values = [np.full(slots, -1.0), np.ones(levels), np.full(levels - 1, -1.0)]
    row_lower, row_upper = [start - served_before], [start - served_before]
    for number, (slope, power_kw) in enumerate(problem.taper.tolist()):
        # y <= h (slope L / C + b): L at the end of the slot if the segment falls, at its start if it rises.
        own = (number + 1) * slots + np.arange(slots)
        per_kwh = problem.hours * slope / problem.capacity_kwh
        limit = problem.hours * power_kw
        rows += [own]
        columns += [np.arange(slots)]
        values += [np.ones(slots)]
        if slope < 0:
            rows += [own]
            columns += [slots + np.arange(slots)]
            values += [-per_kwh]
        elif slope > 0:
            rows += [own[1:]]
            columns += [slots + chain - 1]
            values += [-per_kwh[1:]]
            limit = limit + per_kwh * (start - served_before)
        row_lower += [np.full(slots, -np.inf)]
        row_upper += [limit]
    return Program(
        cost=np.concatenate((problem.unit_cost, np.zeros(levels))),
        lower=np.concatenate((best.forced_kwh, least)),
        upper=np.concatenate((problem.max_battery_kwh, np.full(levels, problem.capacity_kwh))),
        integer=np.zeros(slots + levels, dtype=bool),
        rows=np.concatenate(rows),
        columns=np.concatenate(columns),
        values=np.concatenate(values),
        row_lower=np.concatenate(row_lower),
        row_upper=np.concatenate(row_upper),
        slots=slots,
    )


def optimal_face(program: Program, row_duals: Floats, tolerance: float = 1e-9) -> Program:
    """Restrict a program to its optimal solutions, by complementary slackness.

    A column with a reduced cost stays at the bound it was pressed against, and a row with a dual
    stays tight. With any optimal duals what is left is exactly the set of optimal solutions.

    Parameters
    ----------
    program : Program
        Cost-minimising program without integer columns.
    row_duals : array, shape (rows,)
        Optimal duals: change of the cost with the limit of each row.
    tolerance : float
        A reduced cost or dual above this share of the greatest price is not zero.

    Returns
    -------
    Program
        The same with fixed columns and rows.
    """
    tolerance = tolerance * max(1.0, float(np.abs(program.cost).max()))
    reduced = program.reduced_cost(row_duals)
    return replace(
        program,
        upper=np.where(reduced > tolerance, program.lower, program.upper),
        lower=np.where(reduced < -tolerance, program.upper, program.lower),
        row_lower=np.where(row_duals < -tolerance, program.row_upper, program.row_lower),
        row_upper=np.where(row_duals > tolerance, program.row_lower, program.row_upper),
    )


def by_time(program: Program, preferred: Ints | None = None) -> Program:
    """Minimise energy x slot number instead of cost.

    Parameters
    ----------
    program : Program
        Usually an optimal face.
    preferred : int array, shape (slots,), optional
        The slots in the order in which they are counted; without it, in time.

    Returns
    -------
    Program
        With another objective.
    """
    cost = np.zeros_like(program.cost)
    counted = np.arange(program.slots) if preferred is None else preferred
    cost[counted] = np.arange(1, program.slots + 1) / program.slots
    return replace(program, cost=cost)
