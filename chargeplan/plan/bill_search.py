"""The cheapest way through the forks of bills: branch and bound over linear or mixed-integer programs.

A node says for each fork which options are still open; its program bounds from below what any plan costs that
takes one of them. The plan it gives is billed as it is. While that costs more than the bound, the fork with the
greatest difference is split at the option that the plan took. What bounds every plan is the least bound of the nodes
that were not split, so nothing is left to trust but the bound of each.
"""

from __future__ import annotations

import heapq
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import count

import numpy as np

from chargeplan.plan.bill_columns import BillProgram
from chargeplan.plan.bill_forks import ChoiceFork, Range
from chargeplan.plan.problem import Floats, Ints
from chargeplan.plan.program import Program

#: So many nodes, and seconds, at most; the rest is said as a gap.
MOST_NODES, MOST_S = 400, 20.0


@dataclass(frozen=True, eq=False)
class Node:
    """A program whose forks have some options left.

    Parameters
    ----------
    ranges : tuple of Range
        What is left of each fork.
    program : Program
        With the rows of the forks.
    x : array
        Its solution.
    row_duals : array or None
        Its duals, of a linear program.
    """

    ranges: tuple[Range, ...]
    program: Program
    x: Floats
    row_duals: Floats | None


@dataclass(frozen=True, eq=False)
class Searched:
    """What a search found.

    Parameters
    ----------
    node : Node
        Whose plan is the cheapest.
    cost, bound : float
        What it costs, and what any plan costs at least.
    slack : float
        By how much the bound may be too high, since totals are kept a little above limits.
    nodes : int
        How many programs were solved.
    """

    node: Node
    cost: float
    bound: float
    slack: float
    nodes: int


#: Solves a program: its solution, its duals if there are any, and a bound of its objective; None if none was found.
Solve = Callable[[Program], "tuple[Floats | None, Floats | None, float]"]


def search_forks(
    bills: BillProgram,
    solve: Solve,
    billed: Callable[[Floats], tuple[Floats, float]],
    *,
    closed: float,
    time_limit_s: float = MOST_S,
) -> Searched | None:
    """Find the cheapest plan over all ways.

    Parameters
    ----------
    bills : BillProgram
        The program.
    solve : callable
        Solves one.
    billed : callable
        Gives the energy drawn, and the cost of the plan, for a solution.
    closed : float
        A gap below this, in money, counts as none.
    time_limit_s : float
        No more nodes after this.

    Returns
    -------
    Searched or None
        None if no program gave a solution.
    """
    until = time.monotonic() + time_limit_s
    forks, number = bills.forks, count()
    slack = sum(bills.penalty * bills.above_kwh for fork in forks if isinstance(fork, ChoiceFork))
    best: tuple[float, Node] | None = None
    done = np.inf
    open_: list[tuple[float, int, tuple[Range, ...]]] = [(-np.inf, next(number), tuple(fork.whole for fork in forks))]
    nodes = 0
    while open_:
        inherited, _, ranges = open_[0]
        if best is not None and (inherited >= best[0] - closed or nodes >= MOST_NODES or time.monotonic() > until):
            break
        heapq.heappop(open_)
        program = _program(bills, ranges)
        x, duals, bound = solve(program)
        nodes += 1
        bound = max(bound + bills.constant, inherited)
        if x is None:
            done = min(done, bound)
            continue
        wall, cost = billed(x)
        if best is None or cost < best[0]:
            best = (cost, Node(ranges, program, x, duals))
        if bound < best[0] - closed and _broken(bills, program, x, solve):
            continue  # no plan goes this way
        halves = _split(bills, ranges, x, wall) if bound < best[0] - closed else None
        if halves is None:
            done = min(done, bound)
            continue
        for half in halves:
            heapq.heappush(open_, (bound, next(number), half))
    if best is None:
        return None
    bound = min([best[0], done, *(bound for bound, _, _ in open_)])
    return Searched(best[1], best[0], bound, slack, nodes)


def _broken(bills: BillProgram, program: Program, x: Floats, solve: Solve) -> bool:
    """Prove that no plan keeps the rows of the options that are left, where a solution pays for breaking one."""
    bought = np.arange(program.cost.size) >= bills.program.cost.size
    rounding = bills.above_kwh / 5
    if float(x[bought].sum()) <= rounding:
        return False
    return solve(replace(program, cost=bought.astype(np.float64)))[2] > rounding


def _split(
    bills: BillProgram, ranges: tuple[Range, ...], x: Floats, wall_kwh: Floats
) -> tuple[tuple[Range, ...], tuple[Range, ...]] | None:
    """Split the options of the fork whose charge is the furthest from what the plan pays."""
    chosen, furthest = None, -np.inf
    for position, (fork, among) in enumerate(zip(bills.forks, ranges, strict=True)):
        if among.first == among.last:
            continue
        apart = fork.weight * (fork.charge(wall_kwh) - float(x[fork.column]))
        if apart > furthest:
            chosen, furthest = position, apart
    if chosen is None:
        return None
    among = ranges[chosen]
    at = min(max(bills.forks[chosen].taken(wall_kwh), among.first), among.last)
    at = at if at < among.last else among.last - 1
    halves = (Range(among.first, at), Range(at + 1, among.last))
    first, second = ((*ranges[:chosen], half, *ranges[chosen + 1 :]) for half in halves)
    return first, second


def _program(bills: BillProgram, ranges: tuple[Range, ...]) -> Program:
    """Add the rows of the options that are left; what would break one is paid for, so that there is a solution."""
    program = bills.program
    rows = [row for fork, among in zip(bills.forks, ranges, strict=True) for row in fork.rows(among)]
    if not rows:
        return program
    size, first_row = program.cost.size, program.row_lower.size
    holds = [number for number, row in enumerate(rows) if row.holds]
    columns = [row.columns for row in rows]
    at = [np.full(row.columns.size, first_row + number) for number, row in enumerate(rows)]
    values = [row.values for row in rows]
    broken = np.array(
        [float(np.abs(row.values) @ _largest(program, row.columns)) + abs(row.upper) for row in rows if row.holds]
    )
    return replace(
        program,
        cost=np.concatenate((program.cost, np.full(len(holds), bills.penalty))),
        lower=np.concatenate((program.lower, np.zeros(len(holds)))),
        upper=np.concatenate((program.upper, broken)),
        integer=np.concatenate((program.integer, np.zeros(len(holds), dtype=bool))),
        rows=np.concatenate((program.rows, *at, first_row + np.array(holds, dtype=np.int64))),
        columns=np.concatenate((program.columns, *columns, size + np.arange(len(holds)))),
        values=np.concatenate((program.values, *values, np.full(len(holds), -1.0))),
        row_lower=np.concatenate((program.row_lower, np.full(len(rows), -np.inf))),
        row_upper=np.concatenate((program.row_upper, [row.upper for row in rows])),
    )


def _largest(program: Program, columns: Ints) -> Floats:
    return np.asarray(np.maximum(np.abs(program.lower[columns]), np.abs(program.upper[columns])))
