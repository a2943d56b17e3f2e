"""Exact times of blocks under a taper, from a solution of the program that only encloses what a run gains.

The energies of that solution are what counts for its cost. Where no rule asks for how long, they are kept, and
each slot runs as long as its energy takes. Where the blocks found like that are too short, or too near each
other, the whole numbers of the solution are kept (which slots are used, and how), and the program is solved
again near the plan until both agree.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.reach import Reach
from chargeplan.plan.ruled import Ruled, energy_of_blocks, hours_of_blocks, keeps_rules, reached, with_blocks
from chargeplan.plan.switching import Switching, block_times, switching_program
from chargeplan.plan.switching_taper import Tangent
from chargeplan.plan.tapered import run_hours

#: Energies that two rounds agree on, and most rounds.
_SAME_KWH, _ROUNDS = 1e-9, 25


@dataclass(frozen=True, eq=False)
class ExactTimes:
    """Makes a solution exact.

    Parameters
    ----------
    problem, best : Problem, Reach
        With rules and a taper; what can be reached without rules.
    solve : callable
        ``f(switching, x)`` keeps the whole numbers of ``x`` and finds the rest again by the objectives in their
        order; it returns ``x`` itself where there is no solution.
    latest : bool
        Put blocks as late as the rules allow.
    """

    problem: Problem
    best: Reach
    solve: Callable[[Switching, Floats], Floats]
    latest: bool

    def of(self, switching: Switching, x: Floats, method: str) -> Ruled:
        """Give the plan of a solution.

        Parameters
        ----------
        switching : Switching
            The program that encloses every plan.
        x : array
            Its solution.
        method : str
            How it was found.

        Returns
        -------
        Ruled
            The best that was made of it. It may break a rule, or leave more short, if the whole numbers of the
            solution allow no plan; that is for the caller to see.
        """
        found = self._plan(switching, self._scaled(switching, x), method)
        if keeps_rules(self.problem, found):
            return found
        other = self._near(switching, x, found, method)
        return other if other is not None else found

    def improved(self, plan: Ruled) -> Ruled:
        """Solve near a plan that keeps the rules but may gain too much or too little, with the slots that it uses."""
        own = np.isin(plan.stay, self.problem.ruled)
        plan = replace(plan, start_s=plan.start_s[own], end_s=plan.end_s[own], stay=plan.stay[own])
        given = np.where(self._free, plan.battery_kwh, np.nan)
        energy = energy_of_blocks(self.problem, plan.start_s, plan.end_s, plan.stay, given_kwh=given)
        plan = replace(plan, battery_kwh=energy)
        switching = switching_program(self.problem, self.best, as_without=False, taper=self._tangent(plan))
        x = self._pattern(switching, plan)
        other = self._near(switching, x, plan, plan.method)
        return self.with_free(plan if other is None else other)

    def _plan(self, switching: Switching, x: Floats, method: str) -> Ruled:
        start, end, stay = block_times(switching, self.problem, x, latest=self.latest)
        given = np.where(self._free, x[: self.problem.slots], np.nan)
        energy = energy_of_blocks(self.problem, start, end, stay, given_kwh=given)
        return Ruled(energy, start, end, stay, method)

    @property
    def _free(self) -> NDArray[np.bool_]:
        """Slots of stays without rules, in which blocks are not looked at."""
        return ~np.isin(self.problem.stay, self.problem.ruled)

    def with_free(self, plan: Ruled) -> Ruled:
        """Follow the blocks of a plan once more, and add those of the stays without rules."""
        given = np.where(self._free, plan.battery_kwh, np.nan)
        energy = energy_of_blocks(self.problem, plan.start_s, plan.end_s, plan.stay, given_kwh=given)
        forced = np.where(self._free, self.best.forced_kwh, 0.0)
        others = with_blocks(self.problem, energy, forced, plan.method, latest=self.latest, within=self._free)
        start, end = (np.concatenate(times) for times in ((plan.start_s, others.start_s), (plan.end_s, others.end_s)))
        order = np.argsort(start, kind="stable")
        stay = np.concatenate((plan.stay, others.stay))[order]
        return replace(plan, battery_kwh=energy, start_s=start[order], end_s=end[order], stay=stay)

    def _scaled(self, switching: Switching, x: Floats) -> Floats:
        """Give the hours of each slot the length that its energy takes."""
        energy = np.clip(x[: self.problem.slots], 0.0, None)
        level = self.problem.levels(energy, reached(self.problem, energy).served_kwh)
        hours = run_hours(self.problem, energy, level)
        hours = np.where(x[switching.through] > 0.5, self.problem.hours, hours)
        parts = (switching.head, switching.tail, switching.middle)
        given = sum(x[part] for part in parts)
        share = np.divide(hours, given, out=np.zeros_like(hours), where=given > 0)
        scaled = x.copy()
        for part in parts:
            scaled[part] = x[part] * share
        # With no hours given there is one place for them.
        lost = (given <= 0) & (hours > 0)
        where = np.where(x[switching.inside] > 0.5, switching.middle, switching.head)
        where = np.where(x[switching.enters[1:]] > 0.5, switching.tail, where)
        scaled[where[lost]] = hours[lost]
        room = np.maximum(self.problem.hours - scaled[switching.middle], 0.0)
        scaled[switching.offset] = np.minimum(scaled[switching.offset], room)
        return scaled

    def _tangent(self, plan: Ruled) -> Tangent:
        hours = hours_of_blocks(self.problem, plan.start_s, plan.end_s, plan.stay)
        level = self.problem.levels(plan.battery_kwh, reached(self.problem, plan.battery_kwh).served_kwh)
        return Tangent(level, level - plan.battery_kwh, hours)

    def _near(self, switching: Switching, x: Floats, plan: Ruled, method: str) -> Ruled | None:
        """Solve near the plan, then near what was found, and so on; None if that leads nowhere."""
        found, energy = None, plan.battery_kwh
        for _ in range(_ROUNDS):
            near = switching_program(self.problem, self.best, as_without=False, taper=self._tangent(plan))
            whole = np.zeros(near.program.cost.size)
            for here, there in ((near.enters, switching.enters), (near.through, switching.through)):
                whole[here] = x[there]
            whole[near.inside] = x[switching.inside]
            solved = self.solve(near, self._with_drives(near, whole, energy))
            if solved is whole or not np.any(solved[: self.problem.slots] != whole[: self.problem.slots]):
                return found
            plan = self._plan(near, solved, method)
            if keeps_rules(self.problem, plan):
                found = plan
            change = float(np.abs(plan.battery_kwh - energy).max())
            off = float(np.abs(plan.battery_kwh - solved[: self.problem.slots]).max())
            energy = plan.battery_kwh
            if max(change, off) < _SAME_KWH:
                break
        return found

    def _with_drives(self, near: Switching, whole: Floats, energy: Floats) -> Floats:
        """Say of each drive whether it takes all there is, as in the plan so far."""
        switches = np.concatenate((near.enters, near.through, near.inside))
        others = np.setdiff1d(np.flatnonzero(near.program.integer), switches)
        if others.size:
            whole[others] = (reached(self.problem, energy).unserved_kwh[:-1] > _SAME_KWH).astype(float)
        return whole

    def _pattern(self, switching: Switching, plan: Ruled) -> Floats:
        """Write down which slots a plan uses, and how."""
        x = np.zeros(switching.program.cost.size)
        begin = self.problem.start_s.astype(np.float64)
        end = begin + 3600 * self.problem.hours
        for start_s, end_s, stay in zip(plan.start_s.tolist(), plan.end_s.tolist(), plan.stay.tolist(), strict=True):
            own = self.problem.stay == stay
            across = own[1:] & own[:-1] & (end[:-1] > start_s + 1e-3) & (begin[1:] < end_s - 1e-3)
            x[switching.enters[1:-1][across]] = 1.0
            full = own & (begin >= start_s - 1e-3) & (end <= end_s + 1e-3)
            full &= np.concatenate(([False], across)) & np.concatenate((across, [False]))
            x[switching.through[full]] = 1.0
            x[switching.inside[own & (begin <= start_s + 1e-3) & (end >= end_s - 1e-3)]] = 1.0
        return x
