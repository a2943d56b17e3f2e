"""The searches for a plan under rules about switching, in their order, until the time is over."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import SolverError
from chargeplan.plan.block import Block, cheapest_block
from chargeplan.plan.engines import Found, run_highs
from chargeplan.plan.merit_order import preference
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.program import Program, optimal_face
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.ruled import Ruled, energy_of_blocks, first_plan, keeps_rules, late_kwh_h, reached, with_blocks
from chargeplan.plan.runs import merge_runs, spread
from chargeplan.plan.starts import capped
from chargeplan.plan.switching import Switching, block_times, switching_program
from chargeplan.plan.tapered_block import cheapest_tapered_block

#: Block ends this near a slot boundary are on it; 1e-4 s at 10 kW are 3e-7 kWh.
_SNAP_S = 1e-4
#: What of the objective before may be given up by the next one: rounding.
_GIVE = 1e-9
_SHORT_KWH = 1e-7


def cheapest_one_block(problem: Problem, *, latest: bool, forced_kwh: float | None) -> Block | None:
    """Find the cheapest block, with or without a taper."""
    find = cheapest_tapered_block if problem.taper.size else cheapest_block
    return find(problem, latest=latest, forced_kwh=forced_kwh)


def of_one_block(problem: Problem, block: Block | None) -> Ruled:
    """Make a plan of a block, or of none."""
    method = "one block: every start that can be best was tried"
    if block is None:
        none = np.empty(0)
        return Ruled(np.zeros(problem.slots), none, none, none.astype(int), method)
    return Ruled(block.battery_kwh, np.array([block.start_s]), np.array([block.end_s]), np.zeros(1, int), method)


@dataclass
class Search:
    """The searches in their order, until the time is over."""

    problem: Problem
    best: Reach
    tie_break: str
    search: Callable[[Program, float], Found]
    name: str
    until: float

    def __post_init__(self) -> None:
        # Below the floor it matters in which slot of a run something is charged.
        self._take_runs(np.isin(self.problem.stay, self.problem.stay[self.best.forced_kwh > 0]))

    def _take_runs(self, single: NDArray[np.bool_]) -> None:
        """Merge the slots of one price and power into runs, but leave some slots single."""
        power = np.round(self.problem.max_battery_kwh / self.problem.hours, 9)
        apart = np.where(single, np.arange(self.problem.slots), -1)
        self.runs, self.first = merge_runs(self.problem, power, apart)
        self.best_runs = reach(self.runs)
        self.turnover = float(np.abs(self.runs.unit_cost) @ self.runs.max_battery_kwh)

    @property
    def left_s(self) -> float:
        """How much time is left."""
        return max(self.until - time.monotonic(), 0.0)

    def run(self) -> Ruled:
        """Search, and give the best plan known."""
        switching = switching_program(self.runs, self.best_runs, as_without=True)
        program = switching.program
        found = self.search(program, self.left_s / 2)
        goals = (float(self.best.shortfall_kwh.sum()), 0.0)
        if found.x is not None:
            return self._finished(switching, program, found, goals)
        if not found.closed:
            return self._with_goals(goals)
        result = self._with_goals(None)
        late = late_kwh_h(self.problem, self.best, result.battery_kwh)
        if late > result.least_late_kwh_h + _SHORT_KWH and self.runs.slots < self.problem.slots:
            self._take_runs(np.ones(self.problem.slots, dtype=bool))
            result = self._with_goals(None)
        return result

    def _with_goals(self, goals: tuple[float, float] | None) -> Ruled:
        """Minimise what is short, then what is below the floor, then the cost; `goals` are bounds already known."""
        switching = switching_program(self.runs, self.best_runs, as_without=False)
        program, least, known = self._least(switching)
        goals = least if goals is None else goals
        if known is None:  # without a limit on what is short the cheapest plan is none at all
            return self._fallback(None, goals)
        found = self.search(program, self.left_s)
        if found.x is None:
            found = Found(known.x, found.bound, closed=False)
        return self._finished(switching, program, found, goals)

    def _finished(self, switching: Switching, program: Program, found: Found, goals: tuple[float, float]) -> Ruled:
        """Break ties, and turn the columns into a plan; fall back where nothing was found."""
        if found.x is None:
            return self._fallback(None, goals)
        chosen = self._exact(switching, program, found.x)
        if found.closed and self._may_tie():
            chosen = self._tie_broken(switching, program, chosen)
        result = replace(
            self._ruled(switching, chosen, f"mixed-integer program of the charger's rules, solved by {self.name}"),
            bound=found.bound,
            bound_by=self.name if np.isfinite(found.bound) else "",
            least_short_kwh=goals[0],
            least_late_kwh_h=goals[1],
        )
        good = found.closed and self._keeps(result, goals)
        return result if good else self._fallback(result, goals)

    def _keeps(self, plan: Ruled, goals: tuple[float, float]) -> bool:
        """Whether the plan that was made of a solution is as good as it: it is, where the program is exact."""
        return True

    def _may_be(self, plan: Ruled) -> bool:
        """Whether a plan keeps the rules."""
        return keeps_rules(self.problem, plan)

    def _least(self, switching: Switching) -> tuple[Program, tuple[float, float], Found | None]:
        """Hold the least shortfall, and then the least time below the floor, in the program."""
        program, known, goals = switching.program, None, [0.0, 0.0]
        for number, objective in enumerate((switching.short, switching.late)):
            if not objective.any():
                continue
            asked = replace(program, cost=_padded(objective, program))
            found = self.search(asked, self.left_s)
            if found.x is None:
                break
            known = found
            value = float(asked.cost @ found.x)
            goals[number] = value if found.closed else max(found.bound, 0.0)
            program = capped(asked, _padded(switching.program.cost, asked), max(value, 0.0) + _SHORT_KWH)
        return program, (goals[0], goals[1]), known

    def _exact(self, switching: Switching, program: Program, x: Floats) -> Floats:
        """Keep the whole numbers of a solution and find the rest again, to the last digits."""
        whole = program.integer
        pinned = np.where(whole, np.round(x), program.lower), np.where(whole, np.round(x), program.upper)
        fixed = replace(program.within(*pinned), integer=np.zeros(whole.size, dtype=bool))
        cost = switching.program.cost
        for objective in (switching.short, switching.late, cost, self._by_run(switching)):
            if not objective.any():
                continue
            asked = replace(fixed, cost=_padded(objective, fixed))
            try:
                answer = run_highs(asked)
            except SolverError:
                # Whole numbers hold to 1e-6 only; where energies as small decide, those found so far stay.
                return x
            x = answer.x
            if answer.row_duals is not None:
                fixed = optimal_face(asked, answer.row_duals)
        return x

    def _by_run(self, switching: Switching) -> Floats:
        """Energy x number of the run, in the order of the tie-break."""
        objective = np.zeros(switching.program.cost.size)
        counted = preference(self.runs.stay, "earliest" if self.tie_break == "fewest starts" else self.tie_break)
        objective[counted] = np.arange(1, self.runs.slots + 1) / self.runs.slots
        return objective

    def _may_tie(self) -> bool:
        """Whether equal costs are to be expected: where every run has a price of its own they are chance."""
        prices = self.runs.unit_cost[self.runs.max_battery_kwh > 0]
        return self.tie_break == "fewest starts" or np.unique(prices).size < prices.size

    def _tie_broken(self, switching: Switching, program: Program, x: Floats) -> Floats:
        """Of the equally cheap plans the one that the tie-break prefers, if there is time to find it."""
        cost = switching.program.cost
        cheapest = float(cost @ x[: cost.size])
        give = 1e-7 * (1 + self.turnover)
        program = capped(replace(program, cost=_padded(cost, program)), program.cost, cheapest + give)
        objectives = [self._by_run(switching)]
        if self.tie_break == "fewest starts":
            objectives.insert(0, switching.starts)
        for objective in objectives:
            asked = replace(program, cost=_padded(objective, program))
            found = self.search(asked, self.left_s)
            if found.x is None:
                return x
            other = self._exact(switching, asked, found.x)
            dearer = float(cost @ other[: cost.size]) - cheapest
            if dearer > _GIVE * (1 + self.turnover):
                return x
            x = other
            value = float(asked.cost @ found.x)
            program = capped(asked, _padded(objective, asked), value + 1e-7 * (1 + abs(value)))
        return x

    def _ruled(self, switching: Switching, x: Floats, method: str) -> Ruled:
        """From the columns to blocks, and from these to the energy of each slot."""
        latest = self.tie_break == "latest"
        start, end, stay = block_times(switching, self.runs, x, latest=latest)
        start, end = (snapped(times, self.problem) for times in (start, end))
        energy = energy_of_blocks(self.problem, start, end, stay)
        free = ~np.isin(self.problem.stay, self.problem.ruled)
        if free.any():
            room = self.problem.max_battery_kwh
            late = np.full(self.runs.slots, latest)
            even = spread(x[: self.runs.slots], np.add.reduceat(room, self.first), room, self.first, late)
            energy = np.where(free, even, energy)
            forced = np.where(free, self.best.forced_kwh, 0.0)
            others = with_blocks(self.problem, np.where(free, even, 0.0), forced, method, latest=latest)
            start, end = np.concatenate((start, others.start_s)), np.concatenate((end, others.end_s))
            stay = np.concatenate((stay, others.stay))
            order = np.argsort(start, kind="stable")
            start, end, stay = start[order], end[order], stay[order]
        return Ruled(energy, start, end, stay, method)

    def _fallback(self, found: Ruled | None, goals: tuple[float, float]) -> Ruled:
        """When time is over: the better of what was found and of plans that need no search."""
        plans = [first_plan(self.problem), *self._one_block()]
        if found is not None:
            plans = [found, *plans, *self._like(found)]
        plans = [plan for plan in plans if self._may_be(plan)]
        chosen = min(plans, key=self._rank)
        if chosen is found:
            return found
        bound, by = (found.bound, found.bound_by) if found is not None else (-np.inf, "")
        method = f"{chosen.method}, as {self.name} found nothing better in time"
        return replace(
            chosen, method=method, bound=bound, bound_by=by, least_short_kwh=goals[0], least_late_kwh_h=goals[1]
        )

    def _like(self, found: Ruled) -> Iterator[Ruled]:
        """Other plans like one that was found."""
        yield from ()

    def _rank(self, plan: Ruled) -> tuple[float, float, float]:
        short = float(reached(self.problem, plan.battery_kwh).shortfall_kwh.sum())
        late = late_kwh_h(self.problem, self.best, plan.battery_kwh)
        return round(short, 6), round(late, 6), float(self.problem.unit_cost @ plan.battery_kwh)

    def _one_block(self) -> Iterator[Ruled]:
        if self.problem.stays == 1:
            block = cheapest_one_block(self.problem, latest=self.tie_break == "latest", forced_kwh=None)
            if block is not None:
                yield of_one_block(self.problem, block)


def _padded(objective: Floats, program: Program) -> Floats:
    return np.concatenate((objective, np.zeros(program.cost.size - objective.size)))


def snapped(times: Floats, problem: Problem) -> Floats:
    """Put block ends within `_SNAP_S` of a slot boundary on it."""
    edges = np.unique(np.concatenate((problem.start_s, problem.start_s + 3600 * problem.hours)))
    if not times.size:
        return times
    right = np.clip(np.searchsorted(edges, times), 1, edges.size - 1)
    nearest = np.where(times - edges[right - 1] < edges[right] - times, edges[right - 1], edges[right])
    return np.where(np.abs(nearest - times) < _SNAP_S, nearest, times)
