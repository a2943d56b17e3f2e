"""Prove a plan under a charger's rules: that it keeps them, what it costs, and how much less any could cost.

The blocks are held against the rules, and against the energies, without asking how they were found.
A bound on the cost comes from the strongest of three: the values of energy, as without rules, which
hold for a plan that leaves and begins as the best one without them does; for one block in one stay
the pairs of slots it could begin and end in; and what a solver says that its search has proven.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from chargeplan.plan.block import least_cost_of_a_block
from chargeplan.plan.certificate import (
    FEASIBLE_KWH,
    RULE_S,
    Certificate,
    accepted_kwh,
    certify,
    lower_bound,
    lower_bound_with_taper,
    value_of_energy,
)
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.reach import Reach
from chargeplan.plan.ruled import Ruled, first_forced_kwh, hours_of_blocks, late_kwh_h, overlap_h, reached
from chargeplan.plan.rules import breaches
from chargeplan.plan.tapered import without_idle_taper
from chargeplan.plan.tapered_block import least_cost_of_a_tapered_block

#: What solvers leave open when they call a search ended, relative to the money turned over.
_SOLVER_GAP = 1e-6


def certify_ruled(
    problem: Problem, wall_kwh: Floats, ruled: Ruled, best: Reach, *, level_kwh: Floats | None = None
) -> Certificate:
    """Check a plan against a charger's rules, and bound what any other could cost.

    Parameters
    ----------
    problem : Problem
        What was asked.
    wall_kwh : array, shape (n,)
        The plan.
    ruled : Ruled
        Its blocks, and the bounds its solver claims.
    best : Reach
        What can be reached without rules.
    level_kwh : array, shape (n,), optional
        Levels claimed for the end of each slot.

    Returns
    -------
    Certificate
        Optimal only if the bound closes the gap, and no plan leaves less short.
    """
    energy = wall_kwh * problem.gain
    problem = without_idle_taper(problem)
    own = reached(problem, energy)
    plain = replace(problem, floor_kwh=0.0, rules=())
    checked = certify(plain, wall_kwh, level_kwh=level_kwh, best=own)
    worst_s, starts = _rule_breaches(problem, ruled)
    # Charging runs at what limit and taper accept, no less and no more, as long as a block says.
    level = problem.levels(energy, own.served_kwh)
    share = hours_of_blocks(problem, ruled.start_s, ruled.end_s, ruled.stay) / problem.hours
    held = share * accepted_kwh(problem, level - energy, level)
    balance = max(checked.worst_balance_kwh, float(np.abs(held - energy).max()))
    late = late_kwh_h(problem, best, energy) - ruled.least_late_kwh_h
    short = float(np.maximum(problem.wanted_kwh - own.departure_kwh, 0.0).sum()) - ruled.least_short_kwh
    short_gap = max(0.0, short - FEASIBLE_KWH)
    checked = replace(checked, worst_balance_kwh=balance, worst_rule_s=worst_s, starts_over=starts)
    checked = replace(checked, short_gap_kwh=short_gap, worst_floor_kwh=0.0)
    feasible = checked.feasible and balance <= FEASIBLE_KWH and worst_s <= RULE_S and not starts
    turnover = float(np.abs(wall_kwh * problem.price_per_kwh).sum())
    bound, by, tolerance = -np.inf, "", checked.tolerance
    for candidate in (_by_values(problem, best, own, energy, ruled), _by_pairs(problem, best)):
        bound = max(bound, candidate)
    if checked.cost > bound + tolerance and ruled.bound_by:
        bound, by = max(bound, ruled.bound), ruled.bound_by
        tolerance = 1e-9 + _SOLVER_GAP * (1 + turnover)
    gap = checked.cost - bound
    as_early = late <= FEASIBLE_KWH * (1 + float(problem.hours.sum()))
    optimal = feasible and gap <= tolerance and short_gap <= FEASIBLE_KWH and as_early
    return replace(checked, feasible=feasible, optimal=optimal, bound=bound, gap=gap, tolerance=tolerance, bound_by=by)


def _rule_breaches(problem: Problem, ruled: Ruled) -> tuple[float, int]:
    """Greatest breach in seconds, and greatest number of starts too many."""
    worst, starts = 0.0, 0
    for number in problem.ruled:
        rules, here = problem.rules[number], ruled.stay == number
        if rules is not None:
            broken = breaches(rules, ruled.start_s[here], ruled.end_s[here])
            worst, starts = max(worst, broken.on_s, broken.off_s), max(starts, broken.starts)
    usable = problem.max_kwh > 0
    for start_s, end_s, stay in zip(ruled.start_s.tolist(), ruled.end_s.tolist(), ruled.stay.tolist(), strict=True):
        inside_s = 3600 * float(overlap_h(problem, start_s, end_s, stay)[usable].sum())
        worst = max(worst, end_s - start_s - inside_s)
    return worst, starts


def _by_values(problem: Problem, best: Reach, own: Reach, energy: Floats, ruled: Ruled) -> float:
    """Find what any plan without rules costs at least; it says nothing where rules change what is reached."""
    if (own.shortfall_kwh - best.shortfall_kwh > FEASIBLE_KWH).any():
        return -np.inf
    if (best.forced_kwh - energy > FEASIBLE_KWH).any():
        return -np.inf
    if problem.taper.size:
        return -np.inf if ruled.row_duals is None else lower_bound_with_taper(problem, best, ruled.row_duals)
    # A repaired need is met within rounding only, which would otherwise show as a value of its own.
    return lower_bound(problem, best, value_of_energy(problem, best, energy))


def _by_pairs(problem: Problem, best: Reach) -> float:
    rules = problem.rules[0]
    if problem.stays > 1 or rules is None or not rules.one_block:
        return -np.inf
    if problem.taper.size:
        return least_cost_of_a_tapered_block(problem, forced_kwh=first_forced_kwh(best))
    return least_cost_of_a_block(problem, forced_kwh=first_forced_kwh(best))
