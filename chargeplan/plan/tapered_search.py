"""The search under rules about switching with a taper: a program that encloses all plans, made tighter and tighter.

Each round solves the program, makes a plan of its solution, and compares the two. Where they cost the same, nothing can
be cheaper. Otherwise the program is cut where its solution gains another amount than the battery accepts.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from chargeplan.errors import SolverError
from chargeplan.plan.certificate import FEASIBLE_KWH, accepted_kwh
from chargeplan.plan.engines import Found
from chargeplan.plan.problem import Floats
from chargeplan.plan.reach import reach
from chargeplan.plan.ruled import Ruled, keeps_rules, reached
from chargeplan.plan.switching import Switching, switching_program
from chargeplan.plan.switching_search import Search, snapped
from chargeplan.plan.switching_taper import Cuts
from chargeplan.plan.tapered_refining import more_cuts
from chargeplan.plan.tapered_times import ExactTimes

#: Most rounds, the share of the time that is left when no further one is begun, and the gap at which the program is
#: tight enough, relative to the money turned over.
_ROUNDS, _ENOUGH, _CLOSED = 12, 0.6, 5e-7
#: How many plans are made like one that was found.
_LIKE = 4


@dataclass
class TaperedSearch(Search):
    """The same with a taper that can bind."""

    def __post_init__(self) -> None:
        # Levels count, so no two slots are alike.
        self._take_runs(np.ones(self.problem.slots, dtype=bool))

    def run(self) -> Ruled:
        """Search, and give the best plan known."""
        chosen: Ruled | None = None
        cuts: Cuts = ()
        goals, enough_s = (float(self.best.shortfall_kwh.sum()), 0.0), _ENOUGH * self.left_s
        for number in range(_ROUNDS):
            switching = switching_program(self.runs, self.best_runs, as_without=True, taper=cuts)
            try:
                found = self.search(switching.program, self.left_s / 2)
            except SolverError:  # rounding, where the program is tight; what is known by then stays
                found = Found(None, -np.inf, closed=False)
            if found.x is None and chosen is None:
                return self._with_goals(None if found.closed else goals)
            if found.x is None:
                break
            result = self._finished(switching, switching.program, found, goals)
            if chosen is None or self._rank(result) < self._rank(chosen):
                chosen = replace(result, bound=max(result.bound, -np.inf if chosen is None else chosen.bound))
            elif found.bound > chosen.bound:
                chosen = replace(chosen, bound=found.bound, bound_by=self.name)
            more = more_cuts(self.problem, switching, found.x, cuts)
            if self._closed(chosen, goals) or more == cuts or (number and self.left_s < enough_s):
                break
            cuts = more
        assert chosen is not None
        return chosen

    def _closed(self, plan: Ruled, goals: tuple[float, float]) -> bool:
        """Whether a plan is as good as its bounds say that any can be."""
        short, late, cost = self._rank(plan)
        good = short <= goals[0] + 1e-6 and late <= goals[1] + 1e-6
        return good and cost - plan.bound <= _CLOSED * (1 + self.turnover)

    def _keeps(self, plan: Ruled, goals: tuple[float, float]) -> bool:
        """Whether the plan that was made of a solution keeps the rules, and leaves no more short than it."""
        return self._may_be(plan) and self._rank(plan)[0] <= goals[0] + 1e-6

    def _may_be(self, plan: Ruled) -> bool:
        """Whether a plan keeps the rules, and the battery is never overfull."""
        level = self.problem.levels(plan.battery_kwh, reached(self.problem, plan.battery_kwh).served_kwh)
        return keeps_rules(self.problem, plan) and float(level.max()) <= self.problem.capacity_kwh + FEASIBLE_KWH

    def _may_tie(self) -> bool:
        """Ties are broken only where fewest starts are asked for: the search is long enough without."""
        return self.tie_break == "fewest starts"

    @cached_property
    def _times(self) -> ExactTimes:
        return ExactTimes(self.problem, self.best, self._near, self.tie_break == "latest")

    def _ruled(self, switching: Switching, x: Floats, method: str) -> Ruled:
        found = self._times.of(switching, x, method)
        start, end = (snapped(times, self.problem) for times in (found.start_s, found.end_s))
        return self._times.with_free(replace(found, start_s=start, end_s=end))

    def _like(self, found: Ruled) -> Iterator[Ruled]:
        """Plan with the power that is accepted at the levels of a plan, make that exact, and so on from there."""
        tie_break, until = "latest" if self.tie_break == "latest" else "earliest", self.left_s / 2
        for number in range(_LIKE):
            level = self.problem.levels(found.battery_kwh, reached(self.problem, found.battery_kwh).served_kwh)
            most = np.clip(accepted_kwh(self.problem, level - found.battery_kwh, level), 0.0, None)
            plain = replace(self.problem, taper=np.empty((0, 2)), max_kwh=most / self.problem.gain)
            each_s = until / 2 ** (number + 1)
            other = Search(plain, reach(plain), tie_break, self.search, self.name, time.monotonic() + each_s).run()
            found = self._times.improved(other)
            yield found

    def _near(self, switching: Switching, x: Floats) -> Floats:
        return self._exact(switching, switching.program, x)
