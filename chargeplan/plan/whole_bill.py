"""Planning against a whole bill: tiers, the highest power and a minimum, together with what the house uses.

The parts of a bill that depend on many slots become columns and rows of the linear program:

* ``a >= counted - limit`` for each tier, at the step of its price;
* ``h >= power`` for every averaging time, one ``h`` for each day or for the bill; the billed power ``b >= mean of
  h``, ``b >= least``, and ``a >= b - limit`` for each of its tiers;
* ``m >= missing - what is counted`` for a minimum.

Every such column costs money, so a cheapest plan presses each of them down to what the bill says. The rise of the
bill is then added up again from the energy alone, and a bound follows from the duals.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace

import numpy as np

from chargeplan.errors import SolverError
from chargeplan.plan.engines import Answer, run_highs
from chargeplan.plan.merit_order import preference
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.program import Program, by_time, linear_program, optimal_face
from chargeplan.plan.reach import Reach, reach
from chargeplan.tariff.bill_shape import BillShape, PeakShape, TierShape

#: A solver's answer closes the gap to this share of the money turned over.
_CLOSED = 1e-7
#: A reduced cost below this share of the greatest price is none.
_TIED = 1e-7


@dataclass(frozen=True, eq=False)
class BilledSlots:
    """Slots of a plan whose energy is on one bill.

    Parameters
    ----------
    shape : BillShape
        What the bill rises by.
    slot : int array, shape (k,)
        Slots of the plan.
    interval : int array, shape (k,)
        The interval of the bill in which each lies.
    """

    shape: BillShape
    slot: Ints
    interval: Ints

    def cost(self, wall_kwh: Floats) -> float:
        """Give what the bill rises by for a plan."""
        shape = self.shape
        more = np.bincount(self.interval, weights=wall_kwh[self.slot], minlength=shape.price.size)
        return shape.cost(more.astype(np.float64))


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
    optimal : bool
        Whether the gap between them is closed.
    """

    battery_kwh: Floats
    wall_kwh: Floats
    cost: float
    bound: float
    optimal: bool


def total_cost(problem: Problem, bills: Sequence[BilledSlots], wall_kwh: Floats) -> float:
    """Add up what a plan costs: the rise of each bill, and the price of slots on none of them."""
    elsewhere = np.ones(problem.slots, dtype=bool)
    for bill in bills:
        elsewhere[bill.slot] = False
    return float((problem.price_per_kwh * wall_kwh)[elsewhere].sum()) + sum(bill.cost(wall_kwh) for bill in bills)


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
    >>> peak = PeakShape(np.arange(2), np.full(2, 2.0), np.zeros(2, int), 1.0, 0.0, none[:0], np.array([10.0]), 1, 0)
    >>> bill = BilledSlots(BillShape(0, 3600, none, none, (), (peak,), None), np.arange(2), np.arange(2))
    >>> found = plan_whole_bill(one, [bill])
    >>> found.wall_kwh.round(6).tolist(), round(found.cost, 6), found.optimal
    ([1.0, 1.0], 10.0, True)
    """
    best = reach(problem) if best is None else best
    builder = _Builder(problem, bills, best)
    program = builder.program()
    answer = engine(program)
    if answer.row_duals is None:
        raise SolverError("the solver gave no duals, so the plan could not be proven; choose another solver")
    face = optimal_face(program, answer.row_duals, _TIED)
    candidates = [answer.x[: problem.slots]]
    # Of equals, hours that no demand charge looks at come first: the house may use more there than expected.
    looked_at = np.zeros(problem.slots, dtype=bool)
    for bill in bills:
        for peak in bill.shape.peaks:
            looked_at[bill.slot] |= peak.block[bill.interval] >= 0
    order = preference(problem.stay, tie_break)
    order = np.concatenate((order[~looked_at[order]], order[looked_at[order]]))
    with suppress(SolverError):  # duals with few digits leave no room at all; then the first answer stays
        candidates.insert(0, engine(by_time(face, order)).x[: problem.slots])
    found = [_plan(problem, bills, best, energy) for energy in candidates]
    wall, energy, cost = min(found, key=lambda plan: round(plan[2], 9))  # ties go to the first
    bound = lower_bound(program, answer.row_duals) + builder.constant
    turned_over = float(np.abs(program.cost[: problem.slots]) @ energy) + abs(cost) + abs(builder.constant)
    return BilledPlan(energy, wall, cost, bound, cost - bound <= _CLOSED * (1 + turned_over))


def _plan(problem: Problem, bills: Sequence[BilledSlots], best: Reach, x: Floats) -> tuple[Floats, Floats, float]:
    energy = np.clip(np.where(x < 1e-9, 0.0, x), best.forced_kwh, problem.max_battery_kwh)
    wall = np.where(energy >= problem.max_battery_kwh, problem.max_kwh, energy / problem.gain)
    return wall, energy, total_cost(problem, bills, wall)


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


@dataclass(eq=False)
class _Builder:
    """Adds columns and rows to the program of the slots."""

    problem: Problem
    bills: Sequence[BilledSlots]
    best: Reach
    constant: float = 0.0
    cost: list[float] = field(default_factory=list)
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    rows: list[Ints] = field(default_factory=list)
    columns: list[Ints] = field(default_factory=list)
    values: list[Floats] = field(default_factory=list)
    row_upper: list[float] = field(default_factory=list)

    def program(self) -> Program:
        """Build it; every row added is an upper limit."""
        problem = self.problem
        price = problem.price_per_kwh.copy()
        for bill in self.bills:
            price[bill.slot] = bill.shape.price[bill.interval]
        base = linear_program(replace(problem, price_per_kwh=price), self.best)
        self.first_column, self.first_row = base.cost.size, base.row_lower.size
        for bill in self.bills:
            self._bill(bill)
        return replace(
            base,
            cost=np.concatenate((base.cost, self.cost)),
            lower=np.concatenate((base.lower, self.lower)),
            upper=np.concatenate((base.upper, self.upper)),
            integer=np.concatenate((base.integer, np.zeros(len(self.cost), dtype=bool))),
            rows=np.concatenate((base.rows, *self.rows)),
            columns=np.concatenate((base.columns, *self.columns)),
            values=np.concatenate((base.values, *self.values)),
            row_lower=np.concatenate((base.row_lower, np.full(len(self.row_upper), -np.inf))),
            row_upper=np.concatenate((base.row_upper, self.row_upper)),
        )

    def _column(self, cost: float, lower: float, upper: float) -> int:
        self.cost.append(cost)
        self.lower.append(lower)
        self.upper.append(max(lower, upper))
        return self.first_column + len(self.cost) - 1

    def _row(self, columns: Ints, values: Floats, upper: float) -> None:
        self.rows.append(np.full(columns.size, self.first_row + len(self.row_upper)))
        self.columns.append(columns)
        self.values.append(values)
        self.row_upper.append(upper)

    def _bill(self, bill: BilledSlots) -> None:
        shape = bill.shape
        # What counts for a minimum, as columns with a value each; the slots first.
        counted = [(bill.slot, shape.in_minimum[bill.interval] / self.problem.gain[bill.slot])]
        for tier in shape.tiers:
            counted.append(self._tiers(bill, tier))
        for peak in shape.peaks:
            counted.append(self._peak(bill, peak))
        if shape.minimum is not None:
            missing, weight = shape.minimum.missing, shape.minimum.weight
            parts: tuple[TierShape | PeakShape, ...] = (*shape.tiers, *shape.peaks)
            already = sum(part.in_minimum * _already(part) for part in parts)
            falls = np.minimum(counted[0][1], 0.0) @ self.problem.max_battery_kwh[bill.slot]
            topped = self._column(weight, 0.0, max(0.0, missing) - float(falls) + 1.0)
            columns = np.concatenate([found for found, _ in counted] + [np.array([topped])])
            values = np.concatenate([-value for _, value in counted] + [np.array([-1.0])])
            self._row(columns, values, -(missing + already))
            self.constant -= weight * max(0.0, missing)

    def _tiers(self, bill: BilledSlots, tier: TierShape) -> tuple[Ints, Floats]:
        share = tier.share[bill.interval] / self.problem.gain[bill.slot]
        most = tier.kwh + float(share @ self.problem.max_battery_kwh[bill.slot])
        used = share != 0
        columns = []
        for limit, rise in zip(tier.limits.tolist(), tier.rise.tolist(), strict=True):
            above = self._column(tier.weight * rise, 0.0, most - limit)
            self._row(np.append(bill.slot[used], above), np.append(share[used], -1.0), limit - tier.kwh)
            columns.append(above)
        self.constant -= tier.weight * _already(tier)
        return np.array(columns, dtype=np.int64), tier.in_minimum * tier.rise

    def _peak(self, bill: BilledSlots, peak: PeakShape) -> tuple[Ints, Floats]:
        problem, block = self.problem, peak.block[bill.interval]
        days = int(peak.day.max()) + 1
        per_kwh = 1.0 / (peak.hours * problem.gain[bill.slot])
        most = np.bincount(
            np.maximum(block, 0),
            weights=np.where(block >= 0, per_kwh * problem.max_battery_kwh[bill.slot], 0.0),
            minlength=peak.kw.size,
        )
        already, highest = np.zeros(days), np.zeros(days)
        np.maximum.at(already, peak.day, peak.kw)
        np.maximum.at(highest, peak.day, peak.kw + most)
        touched = np.unique(peak.day[np.unique(block[block >= 0])])
        of_day = {int(day): self._column(0.0, float(already[day]), float(highest[day])) for day in touched}
        for number in np.unique(block[block >= 0]).tolist():
            inside = block == number
            columns = np.append(bill.slot[inside], of_day[int(peak.day[number])])
            self._row(columns, np.append(per_kwh[inside], -1.0), -float(peak.kw[number]))
        rest = float(np.delete(already, touched).sum()) / days
        upper = max(peak.least_kw, float(highest.mean()))
        billed = self._column(peak.weight * float(peak.price[0]), peak.least_kw, upper)
        means = np.fromiter(of_day.values(), dtype=np.int64, count=len(of_day))
        self._row(np.append(means, billed), np.append(np.full(means.size, 1.0 / days), -1.0), -rest)
        columns_, values = [billed], [peak.in_minimum * float(peak.price[0])]
        for limit, rise in zip(peak.limits.tolist(), np.diff(peak.price).tolist(), strict=True):
            above = self._column(peak.weight * rise, 0.0, upper - limit)
            self._row(np.array([billed, above]), np.array([1.0, -1.0]), limit)
            columns_.append(above)
            values.append(peak.in_minimum * rise)
        self.constant -= peak.weight * _already(peak)
        return np.array(columns_, dtype=np.int64), np.array(values)


def _already(part: TierShape | PeakShape) -> float:
    """Give what a part costs before anything is charged."""
    if isinstance(part, TierShape):
        return float(part.rise @ np.maximum(part.kwh - part.limits, 0.0))
    return part.charge(part.kw)
