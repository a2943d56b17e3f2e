"""Parts of a bill that are not convex, as forks: which of several ways it goes, and a linear program for each.

Where the running total of a bill crosses the limit of a tier decides which energy costs more, or less, than below
it. If it is known in which run of equal steps that is, the charge is linear in the energy:

    step of the run x (total at its end - limit)  +  step x energy of every later run

with the total at most the limit at its start, and at least the limit at its end. If only a first and a last such
run are known, the least step of those between takes the place of the step of the run, which bounds the charge from
below. The same with a choice by the total of the bill, and with tiers of a demand charge that fall: linear for one
option, bounded from below for a row of neighbouring options.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple, Protocol

import numpy as np

from chargeplan.plan.bill_slots import BilledSlots
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.tariff.bill_shape import ChoiceShape, CrossingShape, PeakShape

#: How far a total is kept above a limit that it shall exceed: more than solvers may break limits by, which is 1e-9 in
#: linear programs, and 1e-6 in mixed-integer ones.
ABOVE_KWH, ABOVE_WHOLE_KWH = 1e-7, 1e-5


class Row(NamedTuple):
    """``values @ x[columns] <= upper``; a row that `holds` only on one way may be broken at a price."""

    columns: Ints
    values: Floats
    upper: float
    holds: bool = False


class Range(NamedTuple):
    """Options that are still open, the last included."""

    first: int
    last: int


class Fork(Protocol):
    """A part of a bill that goes one of several ways.

    Its charge is a column of the program, which costs its weight a unit.
    """

    @property
    def column(self) -> int:
        """The column of the charge."""

    @property
    def weight(self) -> float:
        """What a unit of the charge adds to the bill."""

    @property
    def whole(self) -> Range:
        """The options that any plan can take."""

    def rows(self, among: Range) -> list[Row]:
        """Give the rows that hold if one of some options is taken."""

    def taken(self, wall_kwh: Floats) -> int:
        """Tell which option a plan takes."""

    def charge(self, wall_kwh: Floats) -> float:
        """Give the charge for a plan."""


def most_more_kwh(problem: Problem, bill: BilledSlots, share: Floats, served_kwh: Floats) -> float:
    """Bound what a plan adds to the counted energy of a bill: by the slots, and by what the battery can take."""
    by_slots = float(share @ problem.max_battery_kwh[bill.slot])
    room = problem.capacity_kwh - problem.level_kwh + float(served_kwh[:-1].sum())
    return min(by_slots, float(share.max(initial=0.0)) * max(room, 0.0))


@dataclass(frozen=True, eq=False)
class CrossingFork:
    """In which run of equal steps the running total crosses a limit, if in any: that is the last option.

    Parameters
    ----------
    column, weight
        As of `Fork`.
    bill, part : BilledSlots and CrossingShape
        What it is part of.
    slot_share : array, shape (k,)
        Counted kWh of a battery kWh in each slot of the bill.
    slot_run : int array, shape (k,)
        The run in which each slot lies.
    step, house_kwh : array, shape (runs,)
        Step of each run, and what is counted in it already.
    interval_run : int array, shape (n,)
        The run of each interval of the bill.
    least_kwh, most_kwh : array, shape (runs + 1,)
        Bounds of the running total at the start of each run, and at the end of all.
    """

    column: int
    weight: float
    bill: BilledSlots
    part: CrossingShape
    slot_share: Floats
    slot_run: Ints
    step: Floats
    house_kwh: Floats
    interval_run: Ints
    least_kwh: Floats
    most_kwh: Floats

    @classmethod
    def build(
        cls, column: int, bill: BilledSlots, part: CrossingShape, *, problem: Problem, forced_kwh: Floats, most: float
    ) -> CrossingFork:
        """Find the runs of a limit.

        Parameters
        ----------
        column : int
            The column of the charge.
        bill, part : BilledSlots and CrossingShape
            What it is part of.
        problem : Problem
            The slots.
        forced_kwh : array, shape (n,)
            Battery energy that every plan has.
        most : float
            The most that a plan adds to the counted energy.
        """
        counts = np.flatnonzero(part.share)
        opens = np.r_[True, np.diff(part.step[counts]) != 0] if counts.size else np.zeros(0, dtype=bool)
        run = np.zeros(part.share.size, dtype=np.int64)
        run[counts] = np.cumsum(opens) - 1
        runs = int(opens.sum())
        share = part.share[bill.interval] / problem.gain[bill.slot]
        slot_run = run[bill.interval]
        house = np.bincount(run[counts], weights=part.house_kwh[counts], minlength=runs).astype(np.float64)

        def before(energy: Floats) -> Floats:
            by_run = house + np.bincount(slot_run, weights=share * energy[bill.slot], minlength=runs)
            return np.concatenate(([0.0], np.cumsum(by_run).astype(np.float64)))

        highest = np.minimum(before(problem.max_battery_kwh), np.concatenate(([0.0], np.cumsum(house))) + most)
        step = part.step[counts[opens]]
        least = before(forced_kwh)
        return cls(column, part.weight, bill, part, share, slot_run, step, house, run, least, highest)

    @property
    def whole(self) -> Range:
        """Give the options that any plan can take."""
        runs = self.step.size
        limit = self.part.limit
        reached = np.flatnonzero(self.most_kwh[1:] >= limit)
        first = int(reached[0]) if reached.size else runs
        last = runs if self.least_kwh[-1] <= limit else int(np.flatnonzero(self.least_kwh[:-1] <= limit)[-1])
        return Range(min(first, last), last)

    def rows(self, among: Range) -> list[Row]:
        """Give the rows that hold if the limit is crossed in one of some runs."""
        runs, limit = self.step.size, self.part.limit
        total = np.cumsum(self.house_kwh)
        slots, found = self.bill.slot, []
        if among.first > self.whole.first:
            inside = self.slot_run < among.first
            upper = limit - float(total[among.first - 1])
            found.append(Row(slots[inside], self.slot_share[inside], upper, holds=True))
        if among.last == runs:
            return found + self._with_none(among)
        if among.last < self.whole.last:
            inside = self.slot_run <= among.last
            found.append(Row(slots[inside], -self.slot_share[inside], float(total[among.last]) - limit, holds=True))
        least = float(self.step[among.first : among.last + 1].min())
        price = np.where(np.arange(runs) > among.last, self.step, least)
        later = float(self.step[among.last + 1 :] @ self.house_kwh[among.last + 1 :])
        upper = least * (limit - float(total[among.last])) - later
        return [*found, self._charge(self.slot_share * price[self.slot_run], upper)]

    def _with_none(self, among: Range) -> list[Row]:
        """Give the rows where it may be that the limit is not crossed at all."""
        limit, house = self.part.limit, float(self.house_kwh.sum())
        zero = np.zeros(self.slot_share.size)
        if among.first == self.step.size:
            rows = [self._charge(zero, 0.0)]
            if self.whole.first < among.first:
                rows.append(Row(self.bill.slot, self.slot_share, limit - house, holds=True))
            return rows
        least = float(self.step[among.first :].min())
        if least >= 0:
            return [self._charge(zero, 0.0), self._charge(least * self.slot_share, least * (limit - house))]
        low, high = float(self.least_kwh[-1]), float(self.most_kwh[-1])
        if high <= limit or high <= low:
            return [self._charge(zero, -least * max(high - limit, 0.0))]
        # A charge that falls above the limit lies above the line between its ends.
        slope = least * (high - limit) / (high - low)
        return [self._charge(slope * self.slot_share, slope * (low - house))]

    def _charge(self, values: Floats, upper: float) -> Row:
        """Say that the charge is no less than something."""
        return Row(np.append(self.bill.slot, self.column), np.append(values, -1.0), upper)

    def _counted(self, wall_kwh: Floats) -> Floats:
        return np.asarray(self.part.house_kwh + self.part.share * self.bill.more_kwh(wall_kwh))

    def taken(self, wall_kwh: Floats) -> int:
        """Tell in which run a plan crosses the limit."""
        above = np.flatnonzero(np.cumsum(self._counted(wall_kwh)) > self.part.limit)
        return int(self.interval_run[above[0]]) if above.size else int(self.step.size)

    def charge(self, wall_kwh: Floats) -> float:
        """Give the charge for a plan."""
        return self.part.charge(self._counted(wall_kwh))


@dataclass(frozen=True, eq=False)
class ChoiceFork:
    """Which prices the total of a bill chooses.

    Parameters
    ----------
    column, weight
        As of `Fork`.
    bill, part : BilledSlots and ChoiceShape
        What it is part of.
    slot_share : array, shape (k,)
        Counted kWh of a battery kWh in each slot of the bill.
    whole : Range
        What any plan can choose.
    above_kwh : float
        How far a total is kept above a limit.
    """

    column: int
    weight: float
    bill: BilledSlots
    part: ChoiceShape
    slot_share: Floats
    whole: Range
    above_kwh: float = ABOVE_KWH

    @classmethod
    def build(
        cls, column: int, bill: BilledSlots, part: ChoiceShape, *, problem: Problem, forced_kwh: Floats, most: float
    ) -> ChoiceFork:
        """Find what can be chosen; as `CrossingFork.build`."""
        share = part.share[bill.interval] / problem.gain[bill.slot]
        house = float(part.house_kwh.sum())
        low = part.chosen(house + float(share @ forced_kwh[bill.slot]))
        return cls(column, part.weight, bill, part, share, Range(low, part.chosen(house + most)))

    def rows(self, among: Range) -> list[Row]:
        """Give the rows that hold if one of some prices is chosen."""
        house, limits = float(self.part.house_kwh.sum()), self.part.limits
        found = []
        if among.first > self.whole.first:
            upper = house - float(limits[among.first - 1]) - self.above_kwh
            found.append(Row(self.bill.slot, -self.slot_share, upper, holds=True))
        if among.last < self.whole.last:
            found.append(Row(self.bill.slot, self.slot_share, float(limits[among.last]) - house, holds=True))
        price = self.part.price[among.first : among.last + 1].min(axis=0)
        amount = float(self.part.amount[among.first : among.last + 1].min()) + float(price @ self.part.house_kwh)
        values = np.append(self.slot_share * price[self.bill.interval], -1.0)
        return [*found, Row(np.append(self.bill.slot, self.column), values, -amount)]

    def _counted(self, wall_kwh: Floats) -> Floats:
        return np.asarray(self.part.house_kwh + self.part.share * self.bill.more_kwh(wall_kwh))

    def taken(self, wall_kwh: Floats) -> int:
        """Tell which prices a plan chooses."""
        return self.part.chosen(float(self._counted(wall_kwh).sum()))

    def charge(self, wall_kwh: Floats) -> float:
        """Give the charge for a plan."""
        return self.part.charge(self._counted(wall_kwh))


@dataclass(frozen=True, eq=False)
class PeakFork:
    """In which tier of a demand charge the billed power lies.

    Parameters
    ----------
    column, weight
        As of `Fork`.
    bill, part : BilledSlots and PeakShape
        What it is part of.
    billed : int
        The column of the billed power.
    least_kw, most_kw : float
        Its bounds.
    """

    column: int
    weight: float
    bill: BilledSlots
    part: PeakShape
    billed: int
    least_kw: float
    most_kw: float

    def _tier(self, kw: float) -> int:
        return int(np.searchsorted(self.part.limits, kw, side="left"))

    @property
    def whole(self) -> Range:
        """Give the tiers that any plan can reach."""
        return Range(self._tier(self.least_kw), self._tier(self.most_kw))

    def rows(self, among: Range) -> list[Row]:
        """Give the rows that hold if the power lies in one of some tiers."""
        limits, billed = self.part.limits, np.array([self.billed])
        low = self.least_kw if among.first == self.whole.first else float(limits[among.first - 1])
        high = self.most_kw if among.last == self.whole.last else float(limits[among.last])
        found = []
        if among.first > self.whole.first:
            found.append(Row(billed, np.array([-1.0]), -low, holds=True))
        if among.last < self.whole.last:
            found.append(Row(billed, np.array([1.0]), high, holds=True))
        corners = np.unique(np.r_[low, limits[(limits > low) & (limits < high)], max(low, high)])
        values = np.array([self.part.charge(float(kw)) for kw in corners])
        both = np.array([self.billed, self.column])
        if corners.size == 1:
            return [*found, Row(np.array([self.column]), np.array([-1.0]), -float(values[0]))]
        at = 0
        while at + 1 < corners.size:  # the lower hull, from corner to corner
            slope = (values[at + 1 :] - values[at]) / (corners[at + 1 :] - corners[at])
            least = float(slope.min())
            found.append(Row(both, np.array([least, -1.0]), least * float(corners[at]) - float(values[at])))
            at += 1 + int(np.flatnonzero(slope <= least)[-1])
        return found

    def taken(self, wall_kwh: Floats) -> int:
        """Tell in which tier the power of a plan lies."""
        return self._tier(self.part.billed_kw(self.bill.more_kwh(wall_kwh)))

    def charge(self, wall_kwh: Floats) -> float:
        """Give the charge for a plan."""
        return self.part.charge(self.part.billed_kw(self.bill.more_kwh(wall_kwh)))
