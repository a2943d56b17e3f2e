"""What a car could have alone where its least current meets a taper, or rules about switching: found by a search.

`lay_out` cuts wishes to what the limits let a car have alone. A taper that accepts less than the least current, or
rules about switching, can put a wish out of reach as well. What is then missing is not missing because of the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from chargeplan.charging.other_load import OtherLoad
from chargeplan.charging.panel import PowerTree
from chargeplan.plan.problem import Floats
from chargeplan.plan.shared.car import shared_grid_s
from chargeplan.plan.shared.laying import lay_out
from chargeplan.plan.shared.problem import SharedProblem
from chargeplan.plan.shared.search import solve_shared


def cut_to_alone(
    shared: SharedProblem,
    current_a: Floats,
    tree: PowerTree | None,
    loads: Sequence[OtherLoad],
    *,
    solver: str,
    time_limit_s: float,
) -> SharedProblem:
    """Cut the last need of each car that a plan leaves short to what a search finds for that car alone.

    Parameters
    ----------
    shared : SharedProblem
        Cars and tree.
    current_a : array, shape (n,)
        The plan.
    tree, loads
        As for `plan_shared`.
    solver, time_limit_s
        As for `plan_shared`; the time is for all of these cars together.

    Returns
    -------
    SharedProblem
        The same one if nothing is cut.
    """
    short = shared.shortfall_kwh(shared.levels(current_a * shared.battery_per_a)) > 0
    concerned = [number for number in _hard_to_tell(shared) if short[shared.car_of_stay == number].any()]
    need = shared.need_kwh.copy()
    for number in concerned:
        car = shared.cars[number]
        grid_s = shared_grid_s([car])
        first = int(np.searchsorted(shared.grid_s, grid_s[0]))
        own = [replace(load, current_a=np.asarray(load.current_a)[first : first + grid_s.size]) for load in loads]
        alone = lay_out([car], tree, own)
        plan = solve_shared(alone, solver, time_limit_s / len(concerned))
        missing = alone.shortfall_kwh(alone.levels(plan.current_a * alone.battery_per_a))
        # A need before another stay covers the drive and the floor after it, which what is forced there counts on.
        need[shared.car_of_stay == number] -= np.where(alone.goes_on, 0.0, missing)
    return shared if np.array_equal(need, shared.need_kwh) else replace(shared, need_kwh=need)


def _hard_to_tell(shared: SharedProblem) -> list[int]:
    """List the cars with rules about switching, and those whose taper could accept less than they may draw."""
    ruled = {int(shared.car_of_stay[stay]) for stay in shared.ruled}
    tapered = {
        number
        for number in np.unique(shared.car[shared.taper.slot]).tolist()
        if shared.cars[number].min_a > 0 or shared.cars[number].step_a > 0
    }
    return sorted(ruled | tapered)
