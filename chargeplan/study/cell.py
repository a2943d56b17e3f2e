"""The years of one household: planned for every rate and all equipment, and billed."""

from __future__ import annotations

from dataclasses import asdict, dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from chargeplan.charging import Limit
from chargeplan.household.charger import HomeCharger
from chargeplan.household.household import Household
from chargeplan.plan.problem import Floats, Problem
from chargeplan.study.car_year import CarYear, car_year
from chargeplan.study.driving import Journeys
from chargeplan.study.home_rules import under_home_rules
from chargeplan.study.study import Unit
from chargeplan.study.whole_bill_year import charges_power, plan_whole_bill_year
from chargeplan.study.year_bills import BillGrid, bill_grid, bills_with, slot_prices, step_min
from chargeplan.study.year_plan import (
    Wants,
    YearGrid,
    YearPlan,
    plan_year,
    unmanaged_years,
    year_grid,
    year_problem,
)
from chargeplan.tariff import Tariff

if TYPE_CHECKING:
    from chargeplan.study.equipment import Equipment

#: A departure that misses the target by less is on target: it is lost in rounding on any display.
MISSED_KWH = 0.05


@dataclass(frozen=True)
class YearRow:
    """What one year came to: a row of the results.

    Parameters
    ----------
    household, driving, tariff, equipment, strategy : str
        Which.
    draw : int
        Number of the drawn year of driving, from 0.
    home_kwh, stops_kwh, road_kwh : float
        Energy drawn at home, at other places, and on the way.
    bill, house_bill : float
        The bills of house and car, and of the house alone.
    home_cost : float
        Their difference: what the car's energy at home costs.
    stops_cost, road_cost, car_cost : float
        What is paid elsewhere, and all of it.
    distance_km, driving_kwh : float
        Driven, and what that takes out of the battery, on the way included.
    cost_per_100km : float
        What 100 km cost; NaN without driving.
    departures, missed : int
        Departures from home, and how many of them were short of what was wanted.
    short_kwh : float
        What was missing in all.
    lowest_soc : float
        Lowest state of charge, as a share.
    unserved : int
        Drives for which the battery did not hold enough, and which nothing on the way made up for.
    method : str
        How the year was planned.
    currency : str
        Of all costs.
    """

    household: str
    driving: str
    draw: int
    tariff: str
    equipment: str
    strategy: str
    home_kwh: float
    stops_kwh: float
    road_kwh: float
    bill: float
    house_bill: float
    home_cost: float
    stops_cost: float
    road_cost: float
    car_cost: float
    distance_km: float
    driving_kwh: float
    cost_per_100km: float
    departures: int
    missed: int
    short_kwh: float
    lowest_soc: float
    unserved: int
    method: str
    currency: str

    def as_dict(self) -> dict[str, Any]:
        """Give the row by column."""
        return asdict(self)


def unit_rows(unit: Unit) -> list[YearRow]:
    """Plan and bill the years of a unit.

    Parameters
    ----------
    unit : Unit
        A household with one way of driving.

    Returns
    -------
    list of YearRow
        By rate, then equipment, then strategy.
    """
    journeys = journeys_of(unit)
    year = car_year(unit.household, journeys)
    grids: dict[int, YearGrid] = {}
    rows = []
    for name, tariff in unit.tariffs.items():
        step = step_min(tariff, unit.first, unit.days)
        if step not in grids:
            grids[step] = year_grid(year, step)
        rows += _rows(unit, journeys, grids[step], name, tariff)
    return rows


def journeys_of(unit: Unit) -> Journeys:
    """Draw the journeys of a unit."""
    home, is_holiday = unit.household, unit.household.tariff.is_holiday
    return unit.driving.journeys(home.habits, home.timezone, unit.first, unit.days, is_holiday, seed=unit.seed)


@dataclass(frozen=True, eq=False)
class Planned:
    """One year as it was planned, before it is billed.

    Parameters
    ----------
    equipment : str
        The equipment at home.
    plan : YearPlan
        What is drawn, by one way of charging.
    problem : Problem
        The slots it is drawn in.
    road_kwh : array, shape (m,)
        Battery energy of each drive that is charged on the way.
    drawn_kwh : array, shape (n,)
        Wall energy of each slot that preconditioning draws at home, on top of what is charged.
    """

    equipment: str
    plan: YearPlan
    problem: Problem
    road_kwh: Floats
    drawn_kwh: Floats

    def home_kwh(self, year: CarYear, bills: BillGrid) -> Floats:
        """Add up what is drawn at home by the intervals of the bills."""
        at_home = year.place[self.problem.stay] == 0
        wall_kwh = self.plan.wall_kwh + self.drawn_kwh
        return bills.car_kwh(self.problem.start_s[at_home], wall_kwh[at_home])


def planned_years(unit: Unit, grid: YearGrid, bills: BillGrid) -> list[Planned]:
    """Plan the years of a unit under one rate.

    Parameters
    ----------
    unit : Unit
        A household with one way of driving.
    grid : YearGrid
        Its stays, on slots of the rate.
    bills : BillGrid
        The rate, and what the house uses.

    Returns
    -------
    list of Planned
        By equipment, then strategy.
    """
    household, prices = unit.household, _prices(unit.household, grid, bills)
    planned: list[Planned] = []
    for equipment_name, equipment in unit.equipment.items():
        limits = limits_of(household, equipment)
        problem, road_kwh = year_problem(grid, household.vehicle, wants_of(unit), limits, prices)
        drawn_kwh = np.zeros(problem.slots)
        charger = _charger(household, equipment) if limits[0].wall_kw > 0 else None
        if charger is not None or household.habits.preconditioning is not None:
            problem, drawn_kwh = under_home_rules(problem, grid.year, household, limits[0], charger)
        plans = _plans(unit, problem, grid.year, bills, drawn_kwh)
        planned += [Planned(equipment_name, plan, problem, road_kwh, drawn_kwh) for plan in plans]
    return planned


def _rows(unit: Unit, journeys: Journeys, grid: YearGrid, name: str, tariff: Tariff) -> list[YearRow]:
    year = grid.year
    bills = bill_grid(tariff, unit.first, unit.days, unit.house, grid.step_s // 60)
    planned = planned_years(unit, grid, bills)
    house_bill, with_car = bills_with(bills, np.column_stack([found.home_kwh(year, bills) for found in planned]))
    shared = _Shared(unit, name, tariff.currency, year, float(journeys.distance_km.sum()), house_bill)
    return [_row(shared, found, bill) for found, bill in zip(planned, with_car.tolist(), strict=True)]


def _charger(household: Household, equipment: Equipment | None) -> HomeCharger | None:
    if household.charger is None or equipment is None or equipment.links is None:
        return household.charger
    circuit, evse = equipment.links
    return replace(household.charger, circuit=circuit, evse=evse)


def wants_of(unit: Unit) -> Wants:
    """Say what is wanted of the battery in a unit."""
    habits, vehicle = unit.household.habits, unit.household.vehicle
    most = max(habits.target, vehicle.daily_limit)
    return Wants(habits.target, habits.floor, most, unit.aim, unit.road is not None)


def limits_of(household: Household, equipment: Equipment | None) -> tuple[Limit, ...]:
    """List what each place delivers to the car, home first, with some equipment at home."""
    home = household.limit if equipment is None else equipment.limit_for(household.vehicle)
    return (home, *(stop.limit for stop in household.stops))


def _prices(household: Household, grid: YearGrid, bills: BillGrid) -> Floats:
    """Price every slot by the place it is in."""
    prices = np.empty(grid.start_s.size)
    for number in range(len(household.stops) + 1):
        here = np.flatnonzero(grid.place == number)
        if not here.size:
            continue
        if number == 0:
            prices[here] = slot_prices(bills, grid.grid_s[here], grid.step_s)
        else:
            price = household.stops[number - 1].price
            prices[here] = price.price_array(grid.grid_s[here], grid.step_s) if isinstance(price, Tariff) else price
    return prices


def _plans(unit: Unit, problem: Problem, year: CarYear, bills: BillGrid, drawn_kwh: Floats) -> list[YearPlan]:
    found = []
    if "optimal" in unit.strategies:
        at_home = year.place[problem.stay] == 0
        # What is drawn in any case counts like the house, so that charging keeps out of its way.
        house_kwh = bills.house_kwh + bills.car_kwh(problem.start_s[at_home], drawn_kwh[at_home])
        found.append(_optimal(unit.household.prefer, problem, at_home, replace(bills, house_kwh=house_kwh)))
    if len(unit.strategies) > len(found):
        habits = unmanaged_years(problem, wants_of(unit), unit.household.vehicle)
        found += [plan for plan in habits if plan.strategy in unit.strategies]
    return found


def _optimal(prefer: str, problem: Problem, at_home: NDArray[np.bool_], bills: BillGrid) -> YearPlan:
    if charges_power(bills.tariff) and not problem.taper.size and not problem.ruled:
        billed = plan_whole_bill_year(problem, bills, at_home, prefer)
        if billed is not None:
            return billed
    return plan_year(problem, tie_break=prefer)


@dataclass(frozen=True, eq=False)
class _Shared:
    """What the years of a unit with one rate have in common."""

    unit: Unit
    tariff: str
    currency: str
    year: CarYear
    distance_km: float
    house_bill: float


def _row(shared: _Shared, found: Planned, bill: float) -> YearRow:
    unit, plan, problem = shared.unit, found.plan, found.problem
    away = shared.year.place[problem.stay] > 0
    home_cost = bill - shared.house_bill
    stops_cost = float(plan.wall_kwh[away] @ problem.price_per_kwh[away])
    on_the_way, road_cost, unserved = 0.0, 0.0, int(np.count_nonzero(plan.unserved_kwh > MISSED_KWH))
    if unit.road is not None:
        on_the_way = float(found.road_kwh.sum() + plan.unserved_kwh.sum()) / unit.road.gain(unit.household.vehicle)
        road_cost, unserved = on_the_way * unit.road.price_per_kwh, 0
    cost, distance = home_cost + stops_cost + road_cost, shared.distance_km
    short = plan.short_kwh[shared.year.leaves]
    return YearRow(
        household=unit.household_name,
        driving=unit.driving_name,
        draw=unit.draw,
        tariff=shared.tariff,
        equipment=found.equipment,
        strategy=plan.strategy,
        home_kwh=float(plan.wall_kwh[~away].sum() + found.drawn_kwh.sum()),
        stops_kwh=float(plan.wall_kwh[away].sum()),
        road_kwh=on_the_way,
        bill=bill,
        house_bill=shared.house_bill,
        home_cost=home_cost,
        stops_cost=stops_cost,
        road_cost=road_cost,
        car_cost=cost,
        distance_km=distance,
        driving_kwh=float(problem.drive_kwh.sum() + found.road_kwh.sum()),
        cost_per_100km=100 * cost / distance if distance > 0 else float("nan"),
        departures=int(shared.year.leaves.sum()),
        missed=int(np.count_nonzero(short > MISSED_KWH)),
        short_kwh=float(short.sum()),
        lowest_soc=plan.lowest_kwh / unit.household.vehicle.usable_kwh,
        unserved=unserved,
        method=plan.method,
        currency=shared.currency,
    )
