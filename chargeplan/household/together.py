"""Tonight for several cars on one panel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property
from math import gcd

import numpy as np

from chargeplan.charging.other_load import OtherLoad, daily_profile_a
from chargeplan.errors import InputError
from chargeplan.household.house_use import left_out
from chargeplan.household.panel_file import Panel
from chargeplan.household.planning import HouseholdPlan, plan_tonight
from chargeplan.plan.problem import Floats, Ints, Problem, problem_from
from chargeplan.plan.reach import highest_gain
from chargeplan.plan.shared import SharedCar, SharedPlan, plan_shared, shared_grid_s

#: Currents below this are off.
_OFF_A = 1e-6
#: Currents that differ by less are set alike.
_SAME_A = 1e-3
#: Losses depend on the currents that are found with them, so the plan is made again until they agree to this share.
_SAME_GAIN, _ROUNDS = 1e-3, 8
#: Less energy than this cannot be seen on any display of a car.
_UNSEEN_KWH = 0.05


@dataclass(frozen=True)
class SharedWindow:
    """A block of charging of one car at one current.

    Parameters
    ----------
    start, end : datetime
        In the zone of its household.
    current_a : float
        Current on each phase.
    wall_kwh, cost : float
        Energy from the wall, and what it costs.
    """

    start: datetime
    end: datetime
    current_a: float
    wall_kwh: float
    cost: float


@dataclass(frozen=True, eq=False, repr=False)
class TogetherPlan:
    """A plan for several cars, and what each would have done alone.

    Parameters
    ----------
    panel : Panel
        The circuits and cars.
    alone : tuple of HouseholdPlan
        What each car would do without the others: its stay, target and state of charge.
    shared : SharedPlan
        What all do together.
    battery_kwh : tuple of float
        What each battery gains, with the losses of the currents it is really charged with.
    """

    panel: Panel
    alone: tuple[HouseholdPlan, ...]
    shared: SharedPlan
    battery_kwh: tuple[float, ...]

    def __repr__(self) -> str:
        return f"TogetherPlan({self.panel.name!r}, {self.shared!r})"

    @property
    def short(self) -> bool:
        """Whether a car leaves with less than it wanted."""
        return any(self.shortfall_kwh(number) > 0 for number in range(len(self.alone)))

    @property
    def total_cost(self) -> float:
        """Cost of all cars, that of preconditioning included."""
        return self.shared.total_cost + sum(plan.schedule.preconditioning_cost for plan in self.alone)

    @property
    def total_wall_kwh(self) -> float:
        """Energy drawn from the wall by all cars, for charging and for preconditioning."""
        own = sum(float(plan.schedule.preconditioning_kwh.sum()) for plan in self.alone)
        return float(self.shared.wall_kwh.sum()) + own

    def level_kwh(self, number: int) -> float:
        """Battery energy of a car at its departure, after what preconditioning took of it."""
        plan = self.alone[number]
        charged = min(plan.itinerary.level_kwh + self.battery_kwh[number], plan.itinerary.capacity_kwh)
        return charged - plan.itinerary.stays[0].drained_kwh

    def shortfall_kwh(self, number: int) -> float:
        """Give what a car lacks at its departure; less than it can be told apart by a current counts as nothing."""
        drained = self.alone[number].itinerary.stays[0].drained_kwh
        missing = self.shared.departures[number].need_kwh - drained - self.level_kwh(number)
        problem = self.shared.problem.cars[number].problem
        step_kwh = self.panel.step_a * self.shared.problem.cars[number].powers[0] * problem.step_s / 3600
        return missing if missing > max(_UNSEEN_KWH, step_kwh) else 0.0

    @property
    def cautions(self) -> tuple[str, ...]:
        """What of each car's household the plan does not reckon with, in words."""
        found = []
        for car in self.panel.cars:
            home = car.household
            if home.charger is not None:
                found += [f"{car.name}: {text}" for text in home.charger.cautions]
                if home.charger.rules.bind and not home.limit.min_a > 0:
                    found.append(f"{car.name}: its rules about switching are not kept, since it has no least current")
            if home.prefer == "fewest starts":
                found.append(
                    f"{car.name}: `prefer: fewest starts` is not considered, the earliest of equally cheap hours are "
                    "taken; `charging: {most_starts: 2}` is kept"
                )
            if home.house_use is not None or home.tariff.timeline.versions[-1].demand:
                found += [f"{car.name}: {text}" for text in left_out(home.tariff, None)]
        return tuple(dict.fromkeys(found))

    @cached_property
    def windows(self) -> tuple[tuple[SharedWindow, ...], ...]:
        """The blocks of each car, in order of time."""
        return tuple(self._windows(number) for number in range(len(self.alone)))

    def _windows(self, number: int) -> tuple[SharedWindow, ...]:
        shared, zone = self.shared, self.alone[number].itinerary.stays[0].start.tzinfo
        pieces = np.flatnonzero(shared.problem.car == number)
        start_s = shared.problem.begin_s[pieces]
        end_s = start_s + np.round(3600 * shared.problem.hours[pieces]).astype(np.int64)
        current, wall = shared.piece_a[pieces], (shared.piece_a * shared.problem.kwh_per_a)[pieces]
        cost = wall * shared.problem.price_per_kwh[pieces]
        on = np.flatnonzero(current > _OFF_A)
        found = []
        turns = (start_s[on[1:]] > end_s[on[:-1]]) | (np.abs(np.diff(current[on])) > _SAME_A)
        for block in np.split(on, np.flatnonzero(turns) + 1) if on.size else []:
            found.append(
                SharedWindow(
                    datetime.fromtimestamp(int(start_s[block[0]]), zone),
                    datetime.fromtimestamp(int(end_s[block[-1]]), zone),
                    float(current[block].max()),
                    float(wall[block].sum()),
                    float(cost[block].sum()),
                )
            )
        return tuple(found)

    @cached_property
    def moments_s(self) -> Ints:
        """When a current may change, UTC seconds: starts of slots, and where a limit changes within one."""
        problem = self.shared.problem
        within = np.flatnonzero((np.diff(problem.car) == 0) & (np.diff(problem.slot) == 0)) + 1
        moments: Ints = np.union1d(self.shared.start_s, problem.begin_s[within])
        return moments

    @cached_property
    def moment_a(self) -> Floats:
        """Current of each car from each of these moments to the next, shape (cars, moments)."""
        problem, current = self.shared.problem, self.shared.piece_a
        first_s = self.moments_s
        last_s = np.append(first_s[1:], first_s[-1] + problem.cars[0].problem.step_s)
        found = np.zeros((len(self.alone), first_s.size))
        ends_s = problem.begin_s + np.round(3600 * problem.hours).astype(np.int64)
        for piece in np.flatnonzero(current > _OFF_A).tolist():
            during = (first_s < ends_s[piece]) & (last_s > problem.begin_s[piece])
            own = found[problem.car[piece]]
            own[during] = np.maximum(own[during], current[piece])
        return found


def plan_together(
    panel: Panel,
    *,
    now: str | datetime | None = None,
    soc: Mapping[str, str | float] | None = None,
    target: Mapping[str, str | float] | None = None,
    plugged_in: bool = False,
    time_limit_s: float = 10.0,
) -> TogetherPlan:
    """Plan tonight for all cars of a panel.

    Parameters
    ----------
    panel : Panel
        The circuits and cars.
    now : str or zone-aware datetime, optional
        The present; text without an offset is the clock of each household.
    soc, target : mapping of car to str or float, optional
        State of charge at plug-in, and wanted at departure, by name of the car.
    plugged_in : bool
        All cars are plugged in now, whatever their habits say.
    time_limit_s : float
        For the search that a least current or whole amperes may need.

    Returns
    -------
    TogetherPlan

    Raises
    ------
    InputError
        If something given cannot be, or names no car.

    Examples
    --------
    >>> from chargeplan.charging.panel import Node, PowerTree
    >>> from chargeplan.household import load_household
    >>> from chargeplan.household.panel_file import PanelCar
    >>> cars = tuple(PanelCar(name, load_household("demo"), "garage", (1,)) for name in ("left", "right"))
    >>> panel = Panel("Two", "America/Denver", PowerTree([Node("garage", 40)]), {}, 0.0, 0.0, cars)
    >>> found = plan_together(panel, now="2026-11-25 20:00", soc={"left": "30 %", "right": "30 %"})
    >>> round(float(found.shared.node_a.max()), 6), found.short, found.shared.certificate.feasible
    (40.0, False, True)
    """
    soc, target = soc or {}, target or {}
    names = [car.name for car in panel.cars]
    for name in (*soc, *target):
        if name not in names:
            raise InputError(f"there is no car `{name}` on this panel; known are {', '.join(names)}")
    alone = tuple(
        plan_tonight(car.household, now=now, soc=soc.get(car.name), target=target.get(car.name), plugged_in=plugged_in)
        for car in panel.cars
    )
    step_min = gcd(15, *(plan.schedule.problem.step_s // 60 for plan in alone))
    gains = [1.0] * len(alone)
    for _ in range(_ROUNDS):
        shared = _shared(panel, alone, gains, step_min, time_limit_s)
        battery = [_battery_kwh(plan, shared, number) for number, plan in enumerate(alone)]
        found = TogetherPlan(panel, alone, shared, tuple(battery))
        ratios = [
            real / reckoned if reckoned > _UNSEEN_KWH else 1.0
            for real, reckoned in zip(battery, shared.battery_kwh.sum(axis=1).tolist(), strict=True)
        ]
        if all(ratio > 1 - _SAME_GAIN for ratio in ratios):
            break
        # Downwards only: a car that gains more than was reckoned stops by itself, one that gains less is short.
        gains = [gain * min(1.0, ratio) for gain, ratio in zip(gains, ratios, strict=True)]
    return found


def _battery_kwh(plan: HouseholdPlan, shared: SharedPlan, number: int) -> float:
    """Add up what reaches a battery with the losses at the current of each slot, as far as it accepts it.

    At few amperes the overhead weighs more. A battery with a taper takes no more than it accepts at its level.
    """
    limit, vehicle, problem = plan.limits[0], plan.household.vehicle, _problem(plan, shared.problem.cars[number])
    current = shared.piece_a[shared.problem.car == number]
    kw = np.maximum(vehicle.loss(limit.level).battery_kw(current * limit.kw_per_a), 0.0)
    gained = np.where(current > _OFF_A, kw * problem.hours, 0.0)
    if not problem.taper.size:
        return float(gained.sum())
    level = problem.level_kwh
    for hours, most in zip(problem.hours.tolist(), gained.tolist(), strict=True):
        level += highest_gain(problem, level, hours, most)
    return level - problem.level_kwh


def _problem(plan: HouseholdPlan, car: SharedCar) -> Problem:
    """Give the problem of a car with the taper as its battery has it."""
    return replace(car.problem, taper=np.array(plan.itinerary.taper, dtype=np.float64).reshape(-1, 2))


def _shared(
    panel: Panel, alone: tuple[HouseholdPlan, ...], gains: list[float], step_min: int, time_limit_s: float
) -> SharedPlan:
    """Plan with losses that are a share of what is drawn, as large as the currents of the rounds before had."""
    cars = []
    for car, plan, gain in zip(panel.cars, alone, gains, strict=True):
        limit = plan.limits[0]
        problem = problem_from(plan.itinerary, step_min)
        # At the highest current the battery gets more than was reckoned, and must accept that too.
        problem = replace(problem, gain=problem.gain * gain, taper=problem.taper * gain)
        cars.append(
            SharedCar(
                problem if limit.min_a > 0 else replace(problem, rules=()),
                limit.kw_per_a,
                car.node,
                car.phases,
                min_a=limit.min_a,
                step_a=panel.step_a,
                name=car.name,
                prefer="latest" if plan.household.prefer == "latest" else "earliest",
            )
        )
    grid_s = shared_grid_s(cars)
    loads = [
        OtherLoad(node, _profile(profile, panel.timezone, grid_s, 60 * step_min), panel.margin)
        for node, profile in panel.other_a.items()
    ]
    loads += _preconditioning(panel, alone, grid_s, 60 * step_min)
    return plan_shared(cars, panel.tree, loads, time_limit_s=time_limit_s)


def _preconditioning(
    panel: Panel, alone: tuple[HouseholdPlan, ...], grid_s: np.ndarray, step_s: int
) -> list[OtherLoad]:
    """Give what cars draw for themselves before they leave, which no other car can have: in whole slots."""
    found = []
    for car, plan in zip(panel.cars, alone, strict=True):
        stay, limit = plan.itinerary.stays[0], plan.limits[0]
        if stay.preconditioning is None:
            continue
        kw = stay.preconditioning.highest_kw(stay.limits, grid_s, step_s)
        current_a = np.zeros((grid_s.size, panel.tree.phases))
        current_a[:, [phase - 1 for phase in car.phases]] = (kw / limit.kw_per_a)[:, None]
        found.append(OtherLoad(car.node, current_a))
    return found


def _profile(profile: tuple[float, ...], timezone: str, grid_s: np.ndarray, step_s: int) -> Floats:
    return np.asarray(daily_profile_a(np.array(profile), timezone, grid_s, step_s))
