"""A year planned: every night, or all of them at once where nothing but the hours matters."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from chargeplan.charging import Limit, Vehicle
from chargeplan.clock import IntArray
from chargeplan.plan.merit_order import merit_order
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.ruled import reached
from chargeplan.plan.solvers import solve
from chargeplan.plan.unmanaged import by_timer, on_plug_in
from chargeplan.study.car_year import CarYear

#: What a departure asks for: the usual target, or no more than the drives until the next charge and the floor.
Aim: TypeAlias = Literal["target", "enough"]
#: How the car may be charged, in the order in which results list it.
STRATEGIES: Final = ("optimal", "timer", "at once")


@dataclass(frozen=True, eq=False)
class YearGrid:
    """The stays of a year on a slot grid; the same for all equipment and all prices.

    Parameters
    ----------
    year : CarYear
        Stays and drives.
    step_s : int
        Length of a whole slot, in seconds.
    grid_s, start_s : int array, shape (n,)
        Start of the grid slot, and of the plugged-in part of it.
    hours : array, shape (n,)
        Length of the plugged-in part.
    stay : int array, shape (n,)
        Number of the stay.
    """

    year: CarYear
    step_s: int
    grid_s: IntArray
    start_s: IntArray
    hours: Floats
    stay: IntArray

    @property
    def place(self) -> IntArray:
        """Number of the place of each slot, shape (n,)."""
        return self.year.place[self.stay]


def year_grid(year: CarYear, step_min: int) -> YearGrid:
    """Lay the stays of a year on a slot grid.

    Parameters
    ----------
    year : CarYear
        Stays and drives.
    step_min : int
        Length of a slot in minutes, a divisor of 60. Prices must not change within a slot.

    Returns
    -------
    YearGrid
    """
    step_s = 60 * step_min
    count = -(-year.end_s // step_s) - year.start_s // step_s
    first = np.concatenate(([0], np.cumsum(count)))
    stay = np.repeat(np.arange(year.stays), count)
    grid_s = (year.start_s // step_s - first[:-1])[stay] * step_s + np.arange(first[-1]) * step_s
    start_s = np.maximum(grid_s, year.start_s[stay])
    hours = (np.minimum(grid_s + step_s, year.end_s[stay]) - start_s) / 3600
    return YearGrid(year, step_s, grid_s, start_s, hours, stay)


@dataclass(frozen=True)
class Wants:
    """What is wanted of the battery.

    Parameters
    ----------
    target, floor, most : float
        State of charge at departure, kept for emergencies, and at most, as shares.
    aim : {"target", "enough"}
        Whether each departure has the target, or enough until the next charge with the floor left.
    road : bool
        Whether a journey that is longer than the battery is charged for on the way.
    """

    target: float
    floor: float
    most: float
    aim: Aim = "target"
    road: bool = False


def year_problem(
    grid: YearGrid, vehicle: Vehicle, wants: Wants, limits: tuple[Limit, ...], price_per_kwh: Floats
) -> tuple[Problem, Floats]:
    """Put a year into the planner's arrays.

    Parameters
    ----------
    grid : YearGrid
        Slots.
    vehicle : Vehicle
        The car.
    wants : Wants
        What is wanted of its battery.
    limits : tuple of Limit
        What each place delivers, home first.
    price_per_kwh : array, shape (n,)
        Price of each slot.

    Returns
    -------
    problem : Problem
        The car ends the year as full as it began.
    road_kwh : array, shape (m,)
        Battery energy of each drive that is charged on the way.
    """
    year, usable = grid.year, vehicle.usable_kwh
    capacity, floor = wants.most * usable, wants.floor * usable
    wall_kw = np.array([limit.wall_kw for limit in limits])
    gain = np.array([limit.gain if limit.wall_kw > 0 else 1.0 for limit in limits])
    drive = np.asarray(vehicle.drive_kwh(year.usual_km), dtype=np.float64)
    road = np.maximum(drive - (capacity - floor), 0.0) if wants.road else np.zeros_like(drive)
    max_kwh, slot_gain = wall_kw[grid.place] * grid.hours, gain[grid.place]
    need = np.where(year.leaves & (wants.aim == "target"), wants.target * usable, 0.0)
    back = max(wants.target * usable - float(vehicle.drive_kwh(year.behind_km)), 0.0)
    level = back
    if year.stays > 1 and not year.leaves[-1]:
        # The night before the first departure is cut at midnight: what it cannot give, the evening before has given,
        # as does the last evening of the span.
        gained = np.bincount(grid.stay, weights=max_kwh * slot_gain)
        wanted = min(max(float(need[0]), float(drive[0] - road[0]) + floor), capacity)
        level += min(max(wanted - back - float(gained[0]), 0.0), float(gained[-1]))
    if year.stays and not year.leaves[-1]:
        need[-1] = level
    taper = np.empty((0, 2))
    if vehicle.taper is not None:
        slope, kw = vehicle.taper.segments()
        # The planner counts state of charge from the most the battery may hold, the car from all it can.
        taper = np.column_stack([np.asarray(slope) * wants.most, kw])
    problem = Problem(
        start_s=grid.start_s,
        hours=grid.hours,
        stay=grid.stay,
        price_per_kwh=price_per_kwh,
        max_kwh=max_kwh,
        gain=slot_gain,
        need_kwh=need,
        drive_kwh=drive - road,
        level_kwh=level,
        capacity_kwh=capacity,
        floor_kwh=floor,
        taper=taper,
        step_s=grid.step_s,
    )
    return problem, road


@dataclass(frozen=True, eq=False)
class YearPlan:
    """What one way of charging does over a year.

    Parameters
    ----------
    strategy : str
        One of `STRATEGIES`.
    method : str
        How it was found.
    wall_kwh : array, shape (n,)
        Energy drawn in each slot.
    short_kwh : array, shape (m,)
        What is missing at each departure to what was wanted, or to enough for the drive and the floor.
    unserved_kwh : array, shape (m,)
        What each drive would have taken beyond what the battery held.
    lowest_kwh : float
        Lowest level of the year.
    """

    strategy: str
    method: str
    wall_kwh: Floats
    short_kwh: Floats
    unserved_kwh: Floats
    lowest_kwh: float


def plan_year(problem: Problem, *, tie_break: str = "as needed", time_limit_s: float = 10.0) -> YearPlan:
    """Plan a year at the least cost.

    Parameters
    ----------
    problem : Problem
        Of a year.
    tie_break : str
        Which of the cheapest plans, see `chargeplan.plan.solve`.
    time_limit_s : float
        For each night that needs a search.

    Returns
    -------
    YearPlan
        All nights at once in merit order; with a taper or rules about switching one night after the other, each from
        the level that the one before left.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> plan_year(night([0.3, 0.1, 0.2], max_kw=4.0, need_kwh=2.0)).wall_kwh.tolist()
    [0.0, 1.0, 1.0]
    """
    if not problem.taper.size and not problem.ruled and tie_break != "fewest starts":
        battery, method = merit_order(problem, reach(problem), tie_break), "merit order"
    else:
        battery, method = _night_by_night(problem, tie_break, time_limit_s), "night by night"
    return outcome_of("optimal", method, problem, battery)


def unmanaged_years(problem: Problem, wants: Wants, vehicle: Vehicle) -> tuple[YearPlan, YearPlan]:
    """Charge a year by a timer set to the cheapest price of each stay, and at once on plug-in.

    Parameters
    ----------
    problem : Problem
        Of a year.
    wants : Wants
        What is wanted; both charge to the target, or to what a long drive needs, whatever the aim.
    vehicle : Vehicle
        The car.

    Returns
    -------
    tuple of YearPlan
        By timer, and at once.
    """
    wanted = np.maximum(problem.wanted_kwh, wants.target * vehicle.usable_kwh)
    wanted[-1] = problem.wanted_kwh[-1]
    level = np.minimum(wanted, problem.capacity_kwh)
    found = by_timer(problem, level, 0.0), on_plug_in(problem, level, 0.0)
    timer, at_once = (habit.wall_kwh * problem.gain for habit in found)
    return outcome_of("timer", "habit", problem, timer), outcome_of("at once", "habit", problem, at_once)


def outcome_of(strategy: str, method: str, problem: Problem, battery_kwh: NDArray[np.float64]) -> YearPlan:
    """Follow what one way of charging gains in each slot through the drives of a year.

    Parameters
    ----------
    strategy, method : str
        What to call it, and how it was found.
    problem : Problem
        Of a year.
    battery_kwh : array, shape (n,)
        Energy gained in each slot.

    Returns
    -------
    YearPlan
    """
    follows: Reach = reached(problem, battery_kwh)
    after = follows.departure_kwh - follows.served_kwh
    lowest = min(float(after.min()), float(follows.arrival_kwh.min()))
    wall = battery_kwh / problem.gain
    return YearPlan(strategy, method, wall, follows.shortfall_kwh, follows.unserved_kwh, lowest)


def _night_by_night(problem: Problem, tie_break: str, time_limit_s: float) -> Floats:
    battery, level = np.zeros(problem.slots), problem.level_kwh
    for number in range(problem.stays):
        here = slice(int(problem.first[number]), int(problem.last[number]) + 1)
        night = replace(
            problem,
            start_s=problem.start_s[here],
            hours=problem.hours[here],
            stay=np.zeros(here.stop - here.start, dtype=np.int64),
            price_per_kwh=problem.price_per_kwh[here],
            max_kwh=problem.max_kwh[here],
            gain=problem.gain[here],
            need_kwh=problem.need_kwh[number : number + 1],
            drive_kwh=problem.drive_kwh[number : number + 1],
            level_kwh=min(level, problem.capacity_kwh),
            rules=problem.rules[number : number + 1],
        )
        battery[here] = solve(night, "auto", tie_break, time_limit_s=time_limit_s).battery_kwh
        level = max(0.0, level + float(battery[here].sum()) - float(problem.drive_kwh[number]))
    return battery
