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
from chargeplan.household.panel_file import Panel
from chargeplan.household.planning import HouseholdPlan, plan_tonight
from chargeplan.plan.problem import Floats, problem_from
from chargeplan.plan.shared import SharedCar, SharedPlan, plan_shared, shared_grid_s

#: Currents below this are off.
_OFF_A = 1e-6
#: Currents that differ by less are set alike.
_SAME_A = 1e-3


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
    """

    panel: Panel
    alone: tuple[HouseholdPlan, ...]
    shared: SharedPlan

    def __repr__(self) -> str:
        return f"TogetherPlan({self.panel.name!r}, {self.shared!r})"

    @property
    def short(self) -> bool:
        """Whether a car leaves with less than it wanted."""
        return bool((self.shared.shortfall_kwh > 1e-6).any())

    @cached_property
    def windows(self) -> tuple[tuple[SharedWindow, ...], ...]:
        """The blocks of each car, in order of time."""
        return tuple(self._windows(number) for number in range(len(self.alone)))

    def _windows(self, number: int) -> tuple[SharedWindow, ...]:
        shared, stay = self.shared, self.alone[number].itinerary.stays[0]
        step_s = shared.problem.cars[number].problem.step_s
        current = shared.current_a[number]
        on = np.flatnonzero(current > _OFF_A)
        found = []
        turns = (np.diff(on) > 1) | (np.abs(np.diff(current[on])) > _SAME_A)
        for block in np.split(on, np.flatnonzero(turns) + 1) if on.size else []:
            start_s = max(int(shared.start_s[block[0]]), int(stay.start.timestamp()))
            end_s = min(int(shared.start_s[block[-1]]) + step_s, int(stay.end.timestamp()))
            found.append(
                SharedWindow(
                    datetime.fromtimestamp(start_s, stay.start.tzinfo),
                    datetime.fromtimestamp(end_s, stay.start.tzinfo),
                    float(current[block].max()),
                    float(shared.wall_kwh[number, block].sum()),
                    float(shared.cost[number, block].sum()),
                )
            )
        return tuple(found)


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
    cars = []
    for car, plan in zip(panel.cars, alone, strict=True):
        limit = plan.limits[0]
        # Rules about switching are for a car that has its EVSE to itself; what lowers its limit stays.
        stays = [replace(stay, rules=None) for stay in plan.itinerary.stays]
        problem = problem_from(replace(plan.itinerary, stays=stays), step_min)
        cars.append(
            SharedCar(
                problem, limit.kw_per_a, car.node, car.phases, min_a=limit.min_a, step_a=panel.step_a, name=car.name
            )
        )
    grid_s = shared_grid_s(cars)
    loads = [
        OtherLoad(node, _profile(profile, panel.timezone, grid_s, 60 * step_min), panel.margin)
        for node, profile in panel.other_a.items()
    ]
    return TogetherPlan(panel, alone, plan_shared(cars, panel.tree, loads, time_limit_s=time_limit_s))


def _profile(profile: tuple[float, ...], timezone: str, grid_s: np.ndarray, step_s: int) -> Floats:
    return np.asarray(daily_profile_a(np.array(profile), timezone, grid_s, step_s))
