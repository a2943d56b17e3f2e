"""The rows that a taper adds to the program of a charger's rules: what a run of some hours gains.

A run of ``r`` hours in a slot gains ``y = r x (slope x L / C + power)`` on the line of the taper that accepts
least, or ``y = r x limit``. With the level ``L`` a column as well, ``r x L`` is no linear term. Two forms of it
are made:

* `Envelope`: a column ``w`` for ``r L`` between the four planes that enclose the product over the levels that
  the slot can have (the convex hull, after McCormick). It is exact for a slot that is off or runs in full,
  which most slots do, and leaves room only in slots that are used in part. A whole number per line says which
  one counts, so that charging cannot go on at less than what is accepted. What is proven with it holds for
  every plan.
* `Tangent`: the product near a known plan, ``r L ~ r0 L + r (L0) - r0 L0``. Exact at that plan; solved again and again
  it makes a plan exact whose blocks are known.

References
----------
G. P. McCormick, Computability of global solutions to factorable nonconvex programs, part I, Mathematical
Programming 10 (1976), pages 147 to 175.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.reach import Reach
from chargeplan.plan.tapered import energy_of_runs

if TYPE_CHECKING:
    from chargeplan.plan.switching import Rows


#: Slot, whether its end is meant or its start, and a level.
Cuts = tuple[tuple[int, bool, float], ...]
#: Levels are enclosed with this much room for rounding.
_SLACK_KWH = 1e-6


@dataclass(frozen=True, eq=False)
class Runs:
    """Columns of the slots in which the charger has rules.

    Parameters
    ----------
    slot : array of int, shape (k,)
        The slots.
    energy : array of int, shape (k,)
        Columns of what they gain.
    hours : tuple of three arrays of int, each of shape (k,)
        Columns that add up to how long they run.
    after, before : array of int, shape (k,)
        Columns of the level at the end of a slot, and at the end of the slot before it.
    taken : array of int, shape (k,)
        Columns of what the drive takes between the two; -1 where there is none.
    start_kwh : array, shape (k,)
        For the very first slot, which has no slot before it: the level then (its `before` is -1).
    """

    slot: Ints
    energy: Ints
    hours: tuple[Ints, Ints, Ints]
    after: Ints
    before: Ints
    taken: Ints
    start_kwh: Floats


@dataclass(frozen=True, eq=False)
class Envelope:
    """The product of hours and level anywhere between the levels that a slot can have.

    Parameters
    ----------
    low_kwh, high_kwh : array, shape (n,)
        Least and greatest level at the end of each slot, whatever the plan.
    low_before_kwh, high_before_kwh : array, shape (n,)
        The same at its start.
    cuts : tuple of (int, bool, float)
        Where it is tighter: slot, whether its end is meant or its start, and a level at which its range is cut.
    """

    low_kwh: Floats
    high_kwh: Floats
    low_before_kwh: Floats
    high_before_kwh: Floats
    cuts: Cuts = ()

    @classmethod
    def of(cls, problem: Problem, best: Reach, cuts: Cuts, *, as_without: bool) -> Envelope:
        """Find between which levels any plan can be in each slot.

        Parameters
        ----------
        problem : Problem
            With a taper.
        best : Reach
            What can be reached without rules.
        cuts : tuple of (int, bool, float)
            Where the envelope is to be tighter.
        as_without : bool
            Whether the departures must be those that are best without rules.
        """
        gained = np.cumsum(problem.max_battery_kwh)
        fastest = energy_of_runs(problem, problem.hours, stops_full=True)
        high = np.minimum(problem.levels(fastest, best.served_kwh) + _SLACK_KWH, problem.capacity_kwh)
        left = best.need_kwh - problem.drive_kwh if as_without else np.zeros(problem.stays)
        arrival = np.maximum(np.concatenate(([problem.level_kwh], left[:-1])), 0.0)
        low = arrival[problem.stay]
        if as_without:
            still = gained[problem.last][problem.stay] - gained  # most that the rest of the stay can bring
            low = np.maximum(low, best.need_kwh[problem.stay] - still - _SLACK_KWH)
        low = np.minimum(low, high)
        low_before, high_before = np.empty_like(low), np.empty_like(high)
        low_before[1:], high_before[1:] = low[:-1], high[:-1]
        low_before[problem.first], high_before[problem.first] = arrival, best.arrival_kwh
        return cls(low, high, np.minimum(low_before, high_before), high_before, cuts)

    def add(self, rows: Rows, problem: Problem, runs: Runs) -> None:
        """Add the rows."""
        slot, h = runs.slot, problem.hours[runs.slot]
        limit = problem.max_battery_kwh[slot] / h
        lines: list[tuple[float, Floats, Ints | None]] = [(0.0, limit, None)]
        products: dict[bool, Ints] = {}
        for slope, power_kw in problem.taper.tolist():
            at_end = slope < 0
            if slope and at_end not in products:
                products[at_end] = self._product(rows, problem, runs, at_end=at_end)
            per_kwh = slope / problem.capacity_kwh
            lines.append((per_kwh, np.full(slot.size, power_kw), products[at_end] if slope else None))
        ends = [self._line_ends(slot, slope, power) for slope, power, _ in lines]
        counts = []
        for number, own in enumerate(ends):
            others = [other for k, other in enumerate(ends) if k != number]
            # A line that is above another one at all levels never counts.
            idle = np.any([np.minimum(*own) > np.maximum(*other) for other in others], axis=0)
            counts.append(rows.add(np.zeros(h.size), (~idle).astype(float), whole=True))
        rows.limit(*((count, 1.0) for count in counts), least=1.0, most=1.0)
        for (slope, power, product), own, count in zip(lines, ends, counts, strict=True):
            gain: list[tuple[Ints, Floats | float]] = [(runs.energy, 1.0), *((one, -power) for one in runs.hours)]
            if product is not None:
                gain.append((product, -slope))
            rows.limit(*gain, most=0.0)
            most = h * np.maximum(np.maximum(*own), 0.0)
            rows.limit(*gain, (count, -most), least=-most)

    def _levels(self, slot: Ints, *, at_end: bool) -> tuple[Floats, Floats]:
        if at_end:
            return self.low_kwh[slot], self.high_kwh[slot]
        return self.low_before_kwh[slot], self.high_before_kwh[slot]

    def _line_ends(self, slot: Ints, slope: float, power: Floats) -> tuple[Floats, Floats]:
        """Power on a line at the least and at the greatest level."""
        low, high = self._levels(slot, at_end=slope < 0)
        return power + slope * low, power + slope * high

    def _product(self, rows: Rows, problem: Problem, runs: Runs, *, at_end: bool) -> Ints:
        """Add the column of hours x level, and the four planes around it."""
        (low, high), h = self._levels(runs.slot, at_end=at_end), problem.hours[runs.slot]
        product = rows.add(np.zeros(h.size), h * high)
        hours: list[tuple[Ints, Floats]] = [(column, np.ones(h.size)) for column in runs.hours]
        level, fixed = level_terms(runs, at_end=at_end, factor=np.ones(h.size))
        _planes(rows, product, (hours, level), (low, high, h), fixed)
        cut = [k for k, number in enumerate(runs.slot.tolist()) if self._cuts(number, at_end=at_end)]
        for k in cut:
            one = slice(k, k + 1)
            edges = [float(low[k]), *self._cuts(int(runs.slot[k]), at_end=at_end), float(high[k])]
            self._pieces(rows, product[one], (hours, level), (one, edges, float(h[k]), float(fixed[k])))
        return product

    def _cuts(self, slot: int, *, at_end: bool) -> list[float]:
        low, high = (float(side[0]) for side in self._levels(np.array([slot]), at_end=at_end))
        found = {level for number, end, level in self.cuts if number == slot and end == at_end}
        return sorted(level for level in found if low < level < high)

    @staticmethod
    def _pieces(
        rows: Rows,
        product: Ints,
        terms: tuple[list[tuple[Ints, Floats]], list[tuple[Ints, Floats]]],
        where: tuple[slice, list[float], float, float],
    ) -> None:
        """Enclose the product of one slot piece by piece: the level lies in one of them."""
        one, edges, h, fixed = where
        count = len(edges) - 1
        low, high = np.array(edges[:-1]), np.array(edges[1:])
        none, own = np.zeros(count), np.full(count, h)
        inside = rows.add(none, np.ones(count), whole=True)
        hours, level, part = rows.add(none, own), rows.add(none, high), rows.add(none, h * high)
        rows.total(inside, 1.0, 1.0, 1.0)
        rows.limit((hours, 1.0), (inside, -own), most=0.0)
        rows.limit((level, 1.0), (inside, -low), least=0.0)
        rows.limit((level, 1.0), (inside, -high), most=0.0)
        rows.limit((part, 1.0), (hours, -low), least=0.0)
        rows.limit((part, 1.0), (hours, -high), most=0.0)
        rows.limit((part, 1.0), (hours, -high), (level, -own), (inside, own * high), least=0.0)
        rows.limit((part, 1.0), (hours, -low), (level, -own), (inside, own * low), most=0.0)
        ones = np.ones(count)
        for pieces, whole, right in ((hours, terms[0], 0.0), (level, terms[1], fixed)):
            known = [(column[one], factor[one]) for column, factor in whole if column[one][0] >= 0]
            columns = np.concatenate([pieces, *(column for column, _ in known)])
            factors = np.concatenate([-ones, *(factor for _, factor in known)])
            rows.total(columns, factors, right, right)
        rows.total(np.concatenate((part, product)), np.append(-ones, 1.0), 0.0, 0.0)


def _planes(
    rows: Rows,
    product: Ints,
    terms: tuple[list[tuple[Ints, Floats]], list[tuple[Ints, Floats]]],
    box: tuple[Floats, Floats, Floats],
    fixed: Floats,
) -> None:
    """Enclose hours x level by the planes towards no hours, and towards all of them."""
    (hours, level), (low, high, h) = terms, box
    for at, least in ((low, True), (high, False)):
        rows.limit(
            (product, 1.0),
            *((column, -at * factor) for column, factor in hours),
            least=0.0 if least else -np.inf,
            most=np.inf if least else 0.0,
        )
    for at, least in ((high, True), (low, False)):
        of_hours = [(column, -at * factor) for column, factor in hours]
        of_level = [(column, -h * factor) for column, factor in level]
        side = -h * at - h * fixed
        all_terms = [(product, np.ones(h.size)), *of_hours, *of_level]
        add_levels(rows, all_terms, least=side if least else None, most=None if least else side)


@dataclass(frozen=True, eq=False)
class Tangent:
    """The product of hours and level near a known plan.

    Parameters
    ----------
    level_kwh, before_kwh, hours : array, shape (n,)
        That plan: the level at the end and at the start of each slot, and how long it runs.
    """

    level_kwh: Floats
    before_kwh: Floats
    hours: Floats

    def add(self, rows: Rows, problem: Problem, runs: Runs) -> None:
        """Add the rows: energy = hours x power on the line that accepts least near the plan."""
        slot = runs.slot
        limit = problem.max_battery_kwh[slot] / problem.hours[slot]
        slopes = np.concatenate(([0.0], problem.taper[:, 0])) / problem.capacity_kwh
        powers = np.vstack((limit, np.repeat(problem.taper[:, 1:], slot.size, axis=1)))
        level = np.where(slopes[:, None] < 0, self.level_kwh[slot], self.before_kwh[slot])
        at = powers + slopes[:, None] * level
        line = at.argmin(axis=0)
        for number, slope in enumerate(slopes.tolist()):
            here = np.flatnonzero(line == number)
            if not here.size:
                continue
            own = Runs(
                slot[here],
                runs.energy[here],
                (runs.hours[0][here], runs.hours[1][here], runs.hours[2][here]),
                runs.after[here],
                runs.before[here],
                runs.taken[here],
                runs.start_kwh[here],
            )
            hours = self.hours[own.slot]
            terms = [(own.energy, 1.0), *((column, -at[number, here]) for column in own.hours)]
            fixed = np.zeros(here.size)
            side = np.zeros(here.size)
            if slope:
                more, fixed = level_terms(own, at_end=slope < 0, factor=-slope * hours)
                terms += more
                side = -slope * hours * level[number, here]
            add_levels(rows, terms, least=side + fixed, most=side + fixed)


def level_terms(runs: Runs, *, at_end: bool, factor: Floats) -> tuple[list[tuple[Ints, Floats]], Floats]:
    """Write factor x level as terms of a row, and what moves to its other side; columns of -1 are left out."""
    if at_end:
        return [(runs.after, factor)], np.zeros(factor.size)
    return [(runs.before, factor), (runs.taken, -factor)], np.where(runs.before < 0, -factor * runs.start_kwh, 0.0)


def add_levels(
    rows: Rows, terms: Sequence[tuple[Ints, Floats | float]], *, least: Floats | None, most: Floats | None
) -> None:
    """Add rows of which some terms have no column."""
    terms = [(columns, np.where(columns < 0, 0.0, factor)) for columns, factor in terms]
    terms = [(np.maximum(columns, 0), factor) for columns, factor in terms]
    rows.limit(*terms, least=-np.inf if least is None else least, most=np.inf if most is None else most)
