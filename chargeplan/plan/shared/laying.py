"""Laying cars, limits and other loads on one grid, and cutting wishes to what each car could have alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.charging.other_load import OtherLoad, left_for_cars_a
from chargeplan.charging.panel import PowerTree
from chargeplan.errors import InputError
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.shared.car import SharedCar, shared_grid_s
from chargeplan.plan.shared.problem import SharedProblem
from chargeplan.plan.shared.taper import fastest_kwh
from chargeplan.plan.tapered import without_idle_taper

#: A limit short of the minimum or of a step by less than this counts as that (amperes).
_ROUNDING_A: Final = 1e-9


def lay_out(cars: Sequence[SharedCar], tree: PowerTree | None = None, loads: Sequence[OtherLoad] = ()) -> SharedProblem:
    """Lay cars, limits and other loads on one grid.

    Parameters
    ----------
    cars : sequence of SharedCar
        At least one.
    tree : PowerTree, optional
        The limits they share.
    loads : sequence of OtherLoad
        What else runs, with a value per slot of `shared_grid_s`.

    Returns
    -------
    SharedProblem

    Raises
    ------
    InputError
        If a car or load names a node or phase that is not there, or grids do not fit.

    Examples
    --------
    >>> from chargeplan.charging.panel import Node
    >>> from chargeplan.plan.problem import night
    >>> tree = PowerTree([Node("panel", 40), Node("left", 32, "panel"), Node("right", 16, "panel")])
    >>> cars = [SharedCar(night([0.3, 0.1], 7.2, 3), 0.24, node) for node in ("left", "right")]
    >>> lay_out(cars, tree, [OtherLoad("panel", [15.0, 30.0])]).max_a.tolist()
    [25.0, 10.0, 16.0, 10.0]
    """
    grid_s = shared_grid_s(cars)
    if tree is None and loads:
        raise InputError("other loads need a tree to be connected to; give the tree, or leave them out")
    left = np.zeros((0, grid_s.size, 1)) if tree is None else left_for_cars_a(tree, loads, grid_s.size)
    per_car = [_on_the_tree(car, tree, left, grid_s) for car in cars]
    alone = [problem for problem, _, _, _ in per_car]
    best = [reach(problem) for problem in alone]
    needs = [_needs(car, problem, found) for car, problem, found in zip(cars, alone, best, strict=True)]
    lowest = [_lowest(problem) for problem in alone]
    stays = np.array([problem.stays for problem in alone])
    before = np.cumsum(stays) - stays
    car_of_slot = np.repeat(np.arange(len(cars)), [problem.slots for problem in alone])

    def joined(name: str) -> Floats:
        return np.concatenate([getattr(problem, name) for problem in alone])

    kwh_per_a = joined("hours") * np.concatenate(
        [np.array(car.powers)[car.problem.stay] for car in cars],
    )
    return SharedProblem(
        cars=tuple(cars),
        tree=tree,
        left_a=left,
        grid_s=grid_s,
        alone=tuple(alone),
        best=tuple(best),
        max_a=np.concatenate([max_a for _, max_a, _, _ in per_car]),
        kwh_per_a=kwh_per_a,
        battery_per_a=kwh_per_a * joined("gain"),
        price_per_kwh=joined("price_per_kwh"),
        floor_kwh=np.concatenate([_floor(problem, found) for problem, found in zip(alone, best, strict=True)]),
        forced_kwh=np.concatenate([found.forced_kwh for found in best]),
        lowest_kwh=np.concatenate([low[problem.stay] for low, problem in zip(lowest, alone, strict=True)]),
        need_kwh=np.concatenate(needs),
        capacity_kwh=np.repeat([problem.capacity_kwh for problem in alone], stays),
        lowest_departure_kwh=np.concatenate(lowest),
        served_kwh=np.concatenate([found.served_kwh for found in best]),
        drive_kwh=joined("drive_kwh"),
        wanted_kwh=joined("wanted_kwh"),
        car=car_of_slot,
        slot=np.concatenate([slot for _, _, slot, _ in per_car]),
        stay=joined("stay").astype(np.int64) + before[car_of_slot],
        car_of_stay=np.repeat(np.arange(len(cars)), stays),
        counts_at=np.concatenate([group for _, _, _, group in per_car]),
    )


def _on_the_tree(
    car: SharedCar, tree: PowerTree | None, left: Floats, grid_s: Ints
) -> tuple[Problem, Floats, Ints, NDArray[np.bool_]]:
    """Limit a car to what it could have alone; also return its highest currents, grid slots, and where they count."""
    problem = car.problem
    slot = (problem.start_s - grid_s[0]) // problem.step_s
    power = np.array(car.powers)[problem.stay]
    group = np.zeros((problem.stays, left.shape[0], left.shape[2]), dtype=bool)
    for stay, name in enumerate(car.nodes):
        if name is not None:
            group[stay] = _places(car, name, tree)
    full = problem.hours * power
    most = np.divide(problem.max_kwh, full, out=np.zeros(problem.slots), where=full > 0)
    for stay, places in enumerate(group):
        here = slice(problem.first[stay], problem.last[stay] + 1)
        if places.any():
            on_the_way = left[:, slot[here], :].transpose(0, 2, 1)[places].min(axis=0)
            most[here] = np.minimum(most[here], on_the_way)
    if car.step_a > 0:
        most = np.round(np.floor(most / car.step_a + _ROUNDING_A) * car.step_a, 9)
    most[most < car.min_a - _ROUNDING_A] = 0.0
    # A limit that is the problem's own stays exactly so.
    energy = np.minimum(most * full, problem.max_kwh)
    if not np.array_equal(energy, problem.max_kwh):
        problem = replace(problem, max_kwh=energy)
    return without_idle_taper(problem), most, slot, group


def _places(car: SharedCar, name: str, tree: PowerTree | None) -> NDArray[np.bool_]:
    """Mark where the current of a car counts, shape (nodes, phases)."""
    called = car.name or "a car"
    if tree is None:
        raise InputError(
            f"{called} is at the node {name!r}, but there is no tree; give the tree, or leave the node out"
        )
    wrong = [phase for phase in car.phases if phase not in range(1, tree.phases + 1)]
    if wrong:
        raise InputError(f"{called} uses phase {wrong[0]!r} of a supply with {tree.phases}; count from 1")
    places = np.zeros((len(tree.nodes), tree.phases), dtype=bool)
    places[np.ix_(tree.above[tree.number(name)], np.array(car.phases) - 1)] = True
    return places


def _lowest(problem: Problem) -> Floats:
    """Level at each departure if nothing were ever charged; since levels only rise in a stay, also in it."""
    level, found = problem.level_kwh, []
    for drive in problem.drive_kwh.tolist():
        found.append(level)
        level = max(0.0, level - drive)
    return np.array(found)


def _floor(problem: Problem, best: Reach) -> Floats:
    """Find the level that may not be waited for, at the end of each slot: the floor, as far as the car gets alone."""
    fastest = fastest_kwh(problem, best.arrival_kwh)
    within = np.cumsum(fastest)
    within -= (within[problem.first] - fastest[problem.first])[problem.stay]
    return np.minimum(problem.floor_kwh, best.arrival_kwh[problem.stay] + within)


def _needs(car: SharedCar, problem: Problem, best: Reach) -> Floats:
    """Repair the needs; with steps, the nearest level that whole steps can hit: above if they can, else below.

    Where one ampere adds the same in every stay, whole steps change the level by multiples of one
    quantum: a step for the greatest common divisor of the slots' lengths. A plan that meets the
    need meets the next multiple, so nothing is lost, and the bound gets sharper.
    """
    power = np.array(car.powers)[problem.stay] * problem.gain
    if car.step_a == 0 or np.ptp(power) > 0 or best.unserved_kwh.any() or problem.taper.size:
        return best.need_kwh
    seconds = np.round(3600 * problem.hours[problem.max_kwh > 0]).astype(np.int64)
    if not seconds.size or np.abs(3600 * problem.hours - np.round(3600 * problem.hours)).max() > 1e-6:
        return best.need_kwh
    quantum = float(power[0]) * car.step_a * math.gcd(*seconds.tolist()) / 3600
    base = problem.level_kwh - np.concatenate(([0.0], np.cumsum(best.served_kwh[:-1])))
    steps_up = np.ceil((best.need_kwh - base) / quantum - 1e-7)
    steps_most = np.floor((best.departure_kwh - base) / quantum + 1e-7)
    hit: Floats = np.minimum(base + np.minimum(steps_up, steps_most) * quantum, problem.capacity_kwh)
    # A need that is met without charging stays as it is, and so does one that leaves just enough for the drive.
    stays_so = (best.need_kwh <= _lowest(problem)) | (hit < best.served_kwh)
    return np.where(stays_so, best.need_kwh, hit)
