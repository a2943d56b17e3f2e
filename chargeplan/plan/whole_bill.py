"""Planning against a whole bill: tiers, the highest power and a minimum, together with what the house uses.

What depends on many slots becomes columns and rows of the linear program (`bill_columns`); what is not convex is
searched way by way (`bill_forks`, `bill_search`). The rise of the bill is then added up again from the energy alone,
and a bound follows from the duals.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from functools import partial

import numpy as np

from chargeplan.errors import SolverError
from chargeplan.plan.bill_columns import by_the_hour, with_bills
from chargeplan.plan.bill_search import Node, search_forks
from chargeplan.plan.bill_slots import BilledSlots, looked_at, total_cost
from chargeplan.plan.engines import Answer, run_highs
from chargeplan.plan.merit_order import preference
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.program import Program, by_time, linear_program, optimal_face
from chargeplan.plan.reach import Reach, reach

__all__ = ["BilledPlan", "BilledSlots", "lower_bound", "plan_whole_bill", "total_cost"]

#: A solver's answer closes the gap to this share of the money turned over.
CLOSED = 1e-7
#: A reduced cost below this share of the greatest price is none.
_TIED = 1e-7


@dataclass(frozen=True, eq=False)
class BilledPlan:
    """A cheapest plan against whole bills.

    Parameters
    ----------
    battery_kwh, wall_kwh : array, shape (n,)
        Energy of each slot.
    cost : float
        What the bills rise by, and what is paid elsewhere; added up from the energy.
    bound : float
        No plan with as little missing costs less.
    closed : float
        A gap below this is rounding.
    programs : int
        How many programs were solved to find it.
    """

    battery_kwh: Floats
    wall_kwh: Floats
    cost: float
    bound: float
    closed: float
    programs: int = 1

    @property
    def optimal(self) -> bool:
        """Whether the gap between cost and bound is closed."""
        return self.cost - self.bound <= self.closed


def plan_whole_bill(
    problem: Problem,
    bills: Sequence[BilledSlots],
    *,
    best: Reach | None = None,
    tie_break: str = "earliest",
    engine: Callable[[Program], Answer] = run_highs,
) -> BilledPlan:
    """Find the plan with the least shortfall by which bills rise least.

    Parameters
    ----------
    problem : Problem
        What is asked; its prices hold for slots that are on none of the bills.
    bills : sequence of BilledSlots
        Which slots are on which bill.
    best : Reach, optional
        The repaired needs, if already computed.
    tie_break : {"earliest", "as needed", "latest"}
        Which of the cheapest plans; before that, hours come first that no charge for the highest power looks at.
    engine : callable
        Solves a program.

    Returns
    -------
    BilledPlan

    Raises
    ------
    SolverError
        If no answer can be trusted.

    Examples
    --------
    A house of 2 kW pays 10 for each kW of its highest hour: two hours at 1 kW are cheaper than one at 2 kW.

    >>> from chargeplan.plan.problem import night
    >>> one = night([0.0, 0.0], max_kw=2.0, need_kwh=2.0, step_min=60)
    >>> none = np.zeros(2)
    >>> from chargeplan.tariff.bill_shape import BillShape, PeakShape
    >>> peak = PeakShape(np.arange(2), np.full(2, 2.0), np.zeros(2, int), 1.0, 0.0, none[:0], np.array([10.0]), 1, 0)
    >>> bill = BilledSlots(BillShape(0, 3600, none, none, (), (peak,), None), np.arange(2), np.arange(2))
    >>> found = plan_whole_bill(one, [bill])
    >>> found.wall_kwh.round(6).tolist(), round(found.cost, 6), found.optimal
    ([1.0, 1.0], 10.0, True)
    """
    best = reach(problem) if best is None else best
    program = with_bills(linear_program(by_the_hour(problem, bills), best), problem, bills, best)
    closed = CLOSED * (1 + _turned_over(problem, bills, best))

    def billed(x: Floats) -> tuple[Floats, float]:
        _, wall, cost = _plan(problem, bills, best, x[: problem.slots])
        return wall, cost

    found = search_forks(program, partial(_solved, engine), billed, closed=closed / 2)
    assert found is not None  # a linear program gives a solution, or an error
    candidates = [found.node.x[: problem.slots]]
    with suppress(SolverError):  # duals with few digits leave no room at all; then the first answer stays
        candidates.insert(0, _preferred(problem, bills, found.node, tie_break, engine))
    plans = [_plan(problem, bills, best, energy) for energy in candidates]
    energy, wall, cost = min(plans, key=lambda plan: round(plan[2], 9))  # ties go to the first
    return BilledPlan(energy, wall, cost, found.bound, closed + found.slack, found.nodes)


def _solved(engine: Callable[[Program], Answer], program: Program) -> tuple[Floats, Floats, float]:
    answer = engine(program)
    if answer.row_duals is None:
        raise SolverError("the solver gave no duals, so the plan could not be proven; choose another solver")
    return answer.x, answer.row_duals, lower_bound(program, answer.row_duals)


def _turned_over(problem: Problem, bills: Sequence[BilledSlots], best: Reach) -> float:
    """Add up the money that goes into what is compared, as a measure of rounding."""
    energy = float(np.maximum(best.departure_kwh - best.arrival_kwh, 0.0).sum())
    price = float(np.abs(by_the_hour(problem, bills).unit_cost).max())
    already = sum(abs(part.weight * part.charge_already) for bill in bills for part in bill.shape.parts)
    return price * energy + already


def _preferred(
    problem: Problem, bills: Sequence[BilledSlots], node: Node, tie_break: str, engine: Callable[[Program], Answer]
) -> Floats:
    """Of the cheapest plans of a program, give the one that is preferred."""
    assert node.row_duals is not None
    # Of equals, hours that no demand charge looks at come first: the house may use more there than expected.
    demand = looked_at(problem, bills)
    order = preference(problem.stay, tie_break)
    order = np.concatenate((order[~demand[order]], order[demand[order]]))
    return engine(by_time(optimal_face(node.program, node.row_duals, _TIED), order)).x[: problem.slots]


def _plan(problem: Problem, bills: Sequence[BilledSlots], best: Reach, x: Floats) -> tuple[Floats, Floats, float]:
    """Give battery energy, wall energy and cost of a solution."""
    energy = np.clip(np.where(x < 1e-9, 0.0, x), best.forced_kwh, problem.max_battery_kwh)
    wall = np.where(energy >= problem.max_battery_kwh, problem.max_kwh, energy / problem.gain)
    return np.asarray(energy), np.asarray(wall), total_cost(problem, bills, wall)


def lower_bound(program: Program, row_duals: Floats) -> float:
    """Cost below which no solution of a program gets, for any duals (weak duality).

    Moving the rows into the objective with any numbers ``w`` gives ``(c - A'w) x + w A x``. The first part is no
    less than at the better bound of each column, the second no less than at the limit of each row that the sign
    of ``w`` asks for; a number whose row has no such limit is taken as 0.

    Parameters
    ----------
    program : Program
        All columns have finite bounds.
    row_duals : array, shape (rows,)
        Any numbers.

    Returns
    -------
    float
    """
    limit = np.where(row_duals > 0, program.row_lower, program.row_upper)
    duals = np.where(np.isfinite(limit), row_duals, 0.0)
    reduced = program.reduced_cost(duals)
    columns = np.where(reduced > 0, program.lower, program.upper) * reduced
    return float(columns.sum()) + float((np.where(np.isfinite(limit), limit, 0.0) * duals).sum())
