"""Plans under rules about switching: which method, in which order, and what is given when time runs out.

The order stays: least shortfall under the rules, then least time below the floor, then cost, then
the tie-break. Cheap ways come first. If the cheapest plan without rules keeps them anyway, nothing
can be better. One block in one stay is found by trying every start (`block`). Everything else is
the mixed-integer program of `switching`: first with the departures that are best without rules;
only if the rules make them unreachable is the shortfall itself minimised.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import SolverError
from chargeplan.plan.block import cheapest_block
from chargeplan.plan.engines import Found, run_highs, search_highs
from chargeplan.plan.merit_order import merit_order, preference
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.program import Program, optimal_face
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.ruled import (
    Ruled,
    energy_of_blocks,
    first_forced_kwh,
    first_plan,
    keeps_rules,
    late_kwh_h,
    reached,
    with_blocks,
)
from chargeplan.plan.runs import merge_runs, spread
from chargeplan.plan.starts import capped
from chargeplan.plan.switching import Switching, block_times, switching_program

#: Block ends this near a slot boundary are on it; 1e-4 s at 10 kW are 3e-7 kWh.
_SNAP_S = 1e-4
#: What of the objective before may be given up by the next one: rounding.
_GIVE = 1e-9
_SHORT_KWH = 1e-7


def plan_under_rules(
    problem: Problem,
    best: Reach,
    tie_break: str,
    search: Callable[[Program, float], Found],
    name: str,
    *,
    time_limit_s: float,
    quick: bool,
) -> Ruled:
    """Find the cheapest plan that keeps the rules.

    Parameters
    ----------
    problem : Problem
        Without taper, with rules in a stay.
    best : Reach
        What can be reached without rules.
    tie_break : str
        As for `chargeplan.plan.solvers.solve`.
    search : callable
        Solves a mixed-integer program within so many seconds. What is linear once the whole numbers are
        known is left to HiGHS, for the last digits.
    name : str
        What solves, for the method.
    time_limit_s : float
        For all searches together. When it is over the best plan known is given.
    quick : bool
        Take the ways without a solver where they apply.

    Returns
    -------
    Ruled
    """
    short = float(best.shortfall_kwh.sum())
    if quick and tie_break != "fewest starts":
        plain = _plain(problem, best, tie_break)
        if keeps_rules(problem, plain):
            return replace(plain, least_short_kwh=short)
    if quick and problem.stays == 1 and _one_block_only(problem):
        forced = first_forced_kwh(best)
        block = cheapest_block(problem, latest=tie_break == "latest", forced_kwh=forced)
        if block is not None or forced is None:
            method = "one block: every start that can be best was tried"
            if block is None:
                none = np.empty(0)
                return _with_shortfall(problem, Ruled(np.zeros(problem.slots), none, none, none.astype(int), method))
            one = Ruled(block.battery_kwh, np.array([block.start_s]), np.array([block.end_s]), np.zeros(1, int), method)
            # A block that begins in the first slot and brings all that can be had is as soon at the floor as any.
            late = late_kwh_h(problem, best, block.battery_kwh)
            return replace(_with_shortfall(problem, one), least_late_kwh_h=late)
    return _Search(problem, best, tie_break, search, name, time.monotonic() + time_limit_s).run()


def reaches_target(problem: Problem, time_limit_s: float) -> bool:
    """Tell whether the wanted level can be reached at all, whatever it costs.

    Parameters
    ----------
    problem : Problem
        With one stay, without taper.
    time_limit_s : float
        For a search; what has not been found by then counts as out of reach.

    Returns
    -------
    bool
    """
    problem = replace(problem, need_kwh=problem.wanted_kwh, floor_kwh=0.0)
    best = reach(problem)
    if best.shortfall_kwh[0] > _GIVE:
        return False
    if not problem.ruled or not reached(problem, first_plan(problem).battery_kwh).shortfall_kwh.any():
        return True
    if _one_block_only(problem):  # any block could be moved to the beginning of its stretch
        return False
    program = program_under_rules(problem)
    return search_highs(replace(program, cost=np.zeros(program.cost.size)), time_limit_s).x is not None


def program_under_rules(problem: Problem) -> Program:
    """Build the mixed-integer program of a night under rules, over its price runs.

    Parameters
    ----------
    problem : Problem
        Without taper, with rules in a stay.

    Returns
    -------
    Program
        Its departures are those that are best without rules; if the rules do not allow them, it has no solution.
    """
    runs, _ = merge_runs(problem, np.round(problem.max_battery_kwh / problem.hours, 9))
    return switching_program(runs, reach(runs), as_without=True).program


def _one_block_only(problem: Problem) -> bool:
    rules = problem.rules[0]
    return rules is not None and rules.names == ("one_block",)


def _with_shortfall(problem: Problem, found: Ruled) -> Ruled:
    """One block in one stay: what its energy leaves short is the least, for no stretch holds more."""
    return replace(found, least_short_kwh=float(reached(problem, found.battery_kwh).shortfall_kwh.sum()))


def _plain(problem: Problem, best: Reach, tie_break: str) -> Ruled:
    energy = merit_order(problem, best, tie_break)
    method = "merit order: the cheapest feasible slots first, which keeps the charger's rules"
    return with_blocks(problem, energy, best.forced_kwh, method, latest=tie_break == "latest")


@dataclass
class _Search:
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
        return result if found.closed else self._fallback(result, goals)

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
        start, end = (_snapped(times, self.problem) for times in (start, end))
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
            plans.insert(0, found)
        plans = [plan for plan in plans if keeps_rules(self.problem, plan)]
        chosen = min(plans, key=self._rank)
        if chosen is found:
            return found
        bound, by = (found.bound, found.bound_by) if found is not None else (-np.inf, "")
        method = f"{chosen.method}, as {self.name} found nothing better in time"
        return replace(
            chosen, method=method, bound=bound, bound_by=by, least_short_kwh=goals[0], least_late_kwh_h=goals[1]
        )

    def _rank(self, plan: Ruled) -> tuple[float, float, float]:
        short = float(reached(self.problem, plan.battery_kwh).shortfall_kwh.sum())
        late = late_kwh_h(self.problem, self.best, plan.battery_kwh)
        return round(short, 6), round(late, 6), float(self.problem.unit_cost @ plan.battery_kwh)

    def _one_block(self) -> Iterator[Ruled]:
        if self.problem.stays == 1 and (block := cheapest_block(self.problem)) is not None:
            method = "one block: every start that can be best was tried"
            yield Ruled(block.battery_kwh, np.array([block.start_s]), np.array([block.end_s]), np.zeros(1, int), method)


def _padded(objective: Floats, program: Program) -> Floats:
    return np.concatenate((objective, np.zeros(program.cost.size - objective.size)))


def _snapped(times: Floats, problem: Problem) -> Floats:
    """Block ends within `_SNAP_S` of a slot boundary are on it."""
    edges = np.unique(np.concatenate((problem.start_s, problem.start_s + 3600 * problem.hours)))
    if not times.size:
        return times
    right = np.clip(np.searchsorted(edges, times), 1, edges.size - 1)
    nearest = np.where(times - edges[right - 1] < edges[right] - times, edges[right - 1], edges[right])
    return np.where(np.abs(nearest - times) < _SNAP_S, nearest, times)
