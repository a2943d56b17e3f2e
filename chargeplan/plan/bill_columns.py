"""The parts of bills as columns and rows of a program of the slots.

* ``a >= counted - limit`` for each tier, at the step of its price;
* ``h >= power`` for every averaging time, one ``h`` for each day or for the bill; the billed power ``b >= mean of
  h``, ``b >= least``, and ``a >= b - limit`` for each of its tiers;
* ``m >= missing - what is counted`` for a minimum;
* a column for the charge of each fork, whose rows depend on the way it goes.

Every such column costs money, so a cheapest plan presses each of them down to what the bill says.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from chargeplan.plan.bill_forks import (
    ABOVE_KWH,
    ABOVE_WHOLE_KWH,
    ChoiceFork,
    CrossingFork,
    Fork,
    PeakFork,
    most_more_kwh,
)
from chargeplan.plan.bill_slots import BilledSlots
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.program import Program
from chargeplan.plan.reach import Reach
from chargeplan.tariff.bill_shape import ChoiceShape, CrossingShape, PeakShape, TierShape


@dataclass(frozen=True, eq=False)
class BillProgram:
    """A program with the bills in its objective.

    Parameters
    ----------
    program : Program
        Without the rows of the forks.
    constant : float
        What is to be added to its objective to give the cost.
    forks : tuple of Fork
        What is not convex.
    penalty : float
        More than a battery kWh can save, roughly: the price of breaking a row of a fork by one kWh or kW.
    above_kwh : float
        How far totals are kept above limits.
    """

    program: Program
    constant: float
    forks: tuple[Fork, ...]
    penalty: float
    above_kwh: float


def by_the_hour(problem: Problem, bills: Sequence[BilledSlots]) -> Problem:
    """Give the problem with the prices that its bills have by the hour."""
    price = problem.price_per_kwh.copy()
    for bill in bills:
        price[bill.slot] = bill.shape.price[bill.interval]
    return replace(problem, price_per_kwh=price)


def with_bills(base: Program, problem: Problem, bills: Sequence[BilledSlots], best: Reach) -> BillProgram:
    """Add the bills to a program of the slots at prices by the hour.

    Parameters
    ----------
    base : Program
        Its first columns are the battery kWh of the slots, at least `best.forced_kwh`.
    problem : Problem
        The slots.
    bills : sequence of BilledSlots
        Which slots are on which bill.
    best : Reach
        What the floor forces.

    Returns
    -------
    BillProgram
    """
    return _Builder(base, problem, bills, best).build()


@dataclass(eq=False)
class _Builder:
    """Collects columns and rows; every row added is an upper limit."""

    base: Program
    problem: Problem
    bills: Sequence[BilledSlots]
    best: Reach
    constant: float = 0.0
    forks: list[Fork] = field(default_factory=list)
    cost: list[float] = field(default_factory=list)
    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    rows: list[Ints] = field(default_factory=list)
    columns: list[Ints] = field(default_factory=list)
    values: list[Floats] = field(default_factory=list)
    row_upper: list[float] = field(default_factory=list)

    def build(self) -> BillProgram:
        """Build it."""
        base = self.base
        self.first_column, self.first_row = base.cost.size, base.row_lower.size
        for bill in self.bills:
            self._bill(bill)
        program = replace(
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
        return BillProgram(program, self.constant, tuple(self.forks), self._penalty(), self._above_kwh)

    @property
    def _above_kwh(self) -> float:
        return ABOVE_WHOLE_KWH if self.base.integer.any() else ABOVE_KWH

    def _penalty(self) -> float:
        price = float(np.abs(self.base.cost).max(initial=0.0))
        for bill in self.bills:
            for part in bill.shape.parts:
                if isinstance(part, PeakShape):
                    price += abs(part.weight) * float(np.abs(part.price).max()) * max(1.0, 1.0 / part.hours)
                elif isinstance(part, ChoiceShape):
                    price += abs(part.weight) * float(np.ptp(part.price, axis=0).max() + np.ptp(part.amount))
                else:
                    step = part.rise if isinstance(part, TierShape) else part.step
                    price += abs(part.weight) * float(np.abs(step).max(initial=0.0))
        return 10.0 * max(price, 1e-3)

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
        already = 0.0
        self.constant += bill.anyway
        for part in shape.parts:
            if isinstance(part, TierShape):
                counted.append(self._tiers(bill, part))
            elif isinstance(part, PeakShape):
                counted.append(self._peak(bill, part))
            else:
                counted.append(self._fork(bill, part))
            self.constant -= part.weight * part.charge_already
            already += part.in_minimum * part.charge_already
        if shape.minimum is not None:
            missing, weight = shape.minimum.missing, shape.minimum.weight
            columns = np.concatenate([found for found, _ in counted])
            values = np.concatenate([value for _, value in counted])
            topped = self._column(weight, 0.0, max(0.0, missing + already - self._least(columns, values)) + 1.0)
            self._row(np.append(columns, topped), np.append(-values, -1.0), -(missing + already))
            self.constant -= weight * max(0.0, missing)

    def _least(self, columns: Ints, values: Floats) -> float:
        """Give the least that a sum over columns can be, by their bounds."""
        lower = np.concatenate((self.base.lower, self.lower))[columns]
        upper = np.concatenate((self.base.upper, self.upper))[columns]
        return float(np.minimum(values * lower, values * upper).sum())

    def _tiers(self, bill: BilledSlots, tier: TierShape) -> tuple[Ints, Floats]:
        share = tier.share[bill.interval] / self.problem.gain[bill.slot]
        most = tier.kwh + float(share @ self.problem.max_battery_kwh[bill.slot])
        used = share != 0
        columns = []
        for limit, rise in zip(tier.limits.tolist(), tier.rise.tolist(), strict=True):
            above = self._column(tier.weight * rise, 0.0, most - limit)
            self._row(np.append(bill.slot[used], above), np.append(share[used], -1.0), limit - tier.kwh)
            columns.append(above)
        return np.array(columns, dtype=np.int64), tier.in_minimum * tier.rise

    def _fork(self, bill: BilledSlots, part: CrossingShape | ChoiceShape) -> tuple[Ints, Floats]:
        share = part.share[bill.interval] / self.problem.gain[bill.slot]
        more = most_more_kwh(self.problem, bill, share, self.best.served_kwh)
        total = float(part.house_kwh.sum()) + more
        # Wide enough for every way, also for one that a plan does not take: a row that is broken is paid for.
        if isinstance(part, CrossingShape):
            most = float(np.abs(part.step).max()) * (total + abs(part.limit))
        else:
            most = float(np.abs(part.price).max()) * total + float(np.abs(part.amount).max())
        column = self._column(part.weight, -most - 1.0, most + 1.0)
        given = {"problem": self.problem, "forced_kwh": self.best.forced_kwh, "most": more}
        if isinstance(part, CrossingShape):
            self.forks.append(CrossingFork.build(column, bill, part, **given))  # type: ignore[arg-type]
        else:
            fork = ChoiceFork.build(column, bill, part, **given)  # type: ignore[arg-type]
            self.forks.append(replace(fork, above_kwh=self._above_kwh))
        return np.array([column]), np.array([part.in_minimum])

    def _peak(self, bill: BilledSlots, peak: PeakShape) -> tuple[Ints, Floats]:
        billed, least, upper = self._billed_power(bill, peak)
        if not peak.rises:
            # Wide enough for a tier's price at any power, as long as a program is not sure of the tier.
            most = 1.0 + float(np.abs(peak.price).max()) * (upper + float(peak.limits.max(initial=0.0)))
            column = self._column(peak.weight, -most, most)
            self.forks.append(PeakFork(column, peak.weight, bill, peak, billed, least, upper))
            return np.array([column]), np.array([peak.in_minimum])
        self.cost[billed - self.first_column] = peak.weight * float(peak.price[0])
        columns, values = [billed], [peak.in_minimum * float(peak.price[0])]
        for limit, rise in zip(peak.limits.tolist(), np.diff(peak.price).tolist(), strict=True):
            above = self._column(peak.weight * rise, 0.0, upper - limit)
            self._row(np.array([billed, above]), np.array([1.0, -1.0]), limit)
            columns.append(above)
            values.append(peak.in_minimum * rise)
        return np.array(columns, dtype=np.int64), np.array(values)

    def _billed_power(self, bill: BilledSlots, peak: PeakShape) -> tuple[int, float, float]:
        """Add the highest powers and the billed one; return its column, the least and the most it can be."""
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
        least, upper = max(peak.least_kw, float(already.mean())), max(peak.least_kw, float(highest.mean()))
        billed = self._column(0.0, least, upper)
        means = np.fromiter(of_day.values(), dtype=np.int64, count=len(of_day))
        self._row(np.append(means, billed), np.append(np.full(means.size, 1.0 / days), -1.0), -rest)
        return billed, least, upper
