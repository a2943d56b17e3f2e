"""A planned year: the fast way against the full program, night-by-night plans, and what every plan must keep."""

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import chargeplan
from chargeplan import household
from chargeplan.clock import local_seconds
from chargeplan.plan.problem import Problem
from chargeplan.plan.reach import reach
from chargeplan.plan.solvers import solve
from chargeplan.study.car_year import car_year
from chargeplan.study.driving import Driving
from chargeplan.study.home_rules import under_home_rules
from chargeplan.study.unusual import LongTrips
from chargeplan.study.year_bills import bill_grid, slot_prices, step_min
from chargeplan.study.year_plan import Wants, plan_year, unmanaged_years, year_grid, year_problem

FIRST, DAYS = date(2026, 1, 1), 365


def year_of(name, tariff_name, *, days=DAYS, aim="target", driving=None, road=False, step=None, stops=True):
    """Lay out a year of an example household under a rate."""
    home, tariff = chargeplan.load_household(name), chargeplan.load_tariff(tariff_name)
    home = home if stops else replace(home, stops=())
    driving = driving or Driving(spread=0.4)
    journeys = driving.journeys(home.habits, home.timezone, FIRST, days, home.is_holiday, seed=3)
    year = car_year(home, journeys)
    grid = year_grid(year, step or step_min(tariff, FIRST, days))
    bills = bill_grid(tariff, FIRST, days, None, grid.step_s // 60)
    prices = slot_prices(bills, grid.grid_s, grid.step_s)
    prices[grid.place > 0] = 0.0
    most = max(home.habits.target, home.vehicle.daily_limit)
    wants = Wants(home.habits.target, home.habits.floor, most, aim, road)
    limits = (home.limit, *(stop.limit for stop in home.stops))
    problem, road_kwh = year_problem(grid, home.vehicle, wants, limits, prices)
    return home, wants, year, problem, road_kwh


CELLS = [
    ("demo", "summer-peak", "target"),
    ("demo", "night-owl", "enough"),
    ("demo", "half-hours", "enough"),
    ("plain-outlet", "two-period", "target"),
    ("plain-outlet", "night-owl", "enough"),
]


@pytest.mark.parametrize(("name", "tariff", "aim"), CELLS)
def test_the_fast_way_and_the_full_program_give_the_same_year(name, tariff, aim):
    """HiGHS on the whole year, some 5,000 slots with a level each, costs the same as merit order."""
    _, _, _, problem, _ = year_of(name, tariff, aim=aim)
    fast = plan_year(problem)
    full = solve(problem, "highs")
    assert fast.method == "merit order"
    cost, wanted = float(fast.wall_kwh @ problem.price_per_kwh), float(full.wall_kwh @ problem.price_per_kwh)
    assert cost == pytest.approx(wanted, abs=1e-6 * max(1.0, wanted))


@pytest.mark.parametrize(("name", "tariff", "aim"), CELLS)
def test_hours_are_as_good_as_quarter_hours(name, tariff, aim):
    """Slots of the length that the rate needs cost the same as finer ones, since prices are constant in them."""
    *_, coarse, _ = year_of(name, tariff, aim=aim)
    *_, fine, _ = year_of(name, tariff, aim=aim, step=5)
    costs = [float(plan_year(problem).wall_kwh @ problem.price_per_kwh) for problem in (coarse, fine)]
    assert costs[0] == pytest.approx(costs[1], rel=1e-9)


def test_a_year_of_nights_is_the_nights_planned_one_by_one():
    """Without stops, and with the target each morning, `plan_tonight` from evening to evening costs the same."""
    home, _, year, problem, _ = year_of("plain-outlet", "night-owl", days=40, driving=Driving(spread=0.5))
    assert home.tariff.name == chargeplan.load_tariff("night-owl").name
    level, cost = problem.level_kwh, 0.0
    for number in range(year.stays - 1):
        start, end = (datetime.fromtimestamp(int(s[number])).astimezone() for s in (year.start_s, year.end_s))
        soc = level / home.vehicle.usable_kwh
        night = chargeplan.plan_tonight(home, soc=soc, now=start, leave=end, plugged_in=True)
        cost += night.schedule.total_cost
        level = float(night.schedule.level_kwh[-1]) - float(problem.drive_kwh[number])
    plan = plan_year(problem)
    until = problem.stay < year.stays - 1
    assert float(plan.wall_kwh[until] @ problem.price_per_kwh[until]) == pytest.approx(cost, abs=1e-6)


def test_a_taper_is_planned_night_by_night_as_tonight_is():
    """The household with a taper: every night as `plan_tonight` plans it."""
    home, _, year, problem, _ = year_of("three-phase", "drei-zeiten", days=12)
    assert problem.taper.size
    plan = plan_year(problem, tie_break=home.prefer)
    assert plan.method == "night by night"
    level = problem.level_kwh
    for number in range(year.stays - 1):
        start, end = (datetime.fromtimestamp(int(s[number])).astimezone() for s in (year.start_s, year.end_s))
        night = chargeplan.plan_tonight(
            home, soc=level / home.vehicle.usable_kwh, now=start, leave=end, plugged_in=True
        )
        here = problem.stay == number
        assert float(plan.wall_kwh[here].sum()) == pytest.approx(night.schedule.total_wall_kwh, abs=1e-5)
        cost = float(plan.wall_kwh[here] @ problem.price_per_kwh[here])
        assert cost == pytest.approx(night.schedule.total_cost, abs=1e-4)
        level = float(night.schedule.level_kwh[-1]) - float(problem.drive_kwh[number])


@pytest.mark.parametrize(("name", "tariff", "aim"), CELLS)
def test_limits_battery_and_energy_balance(name, tariff, aim):
    """Slot limits, 0 to capacity at every moment, and over the year as much in as out."""
    home, wants, _, problem, _ = year_of(name, tariff, aim=aim, driving=Driving(spread=0.6))
    for plan in (plan_year(problem), *unmanaged_years(problem, wants, home.vehicle)):
        assert (plan.wall_kwh >= -1e-12).all()
        assert (plan.wall_kwh <= problem.max_kwh + 1e-9).all()
        gained = plan.wall_kwh * problem.gain
        served = problem.drive_kwh - plan.unserved_kwh
        level = problem.levels(gained, served)
        assert level.min() >= -1e-9
        assert level.max() <= problem.capacity_kwh + 1e-9
        assert float(level.min()) >= plan.lowest_kwh - 1e-6
        if not plan.short_kwh.any() and aim == "target":
            assert float(gained.sum()) == pytest.approx(float(served.sum()), abs=1e-6)


@pytest.mark.parametrize(("name", "tariff", "aim"), CELLS)
def test_the_plan_is_never_dearer_than_a_habit(name, tariff, aim):
    """Without stops, and where neither falls short, optimal costs at most what a timer does, and that what at once."""
    home, wants, _, problem, _ = year_of(name, tariff, aim=aim, stops=False)
    plan, (timer, at_once) = plan_year(problem), unmanaged_years(problem, wants, home.vehicle)
    costs = [float(found.wall_kwh @ problem.price_per_kwh) for found in (plan, timer, at_once)]
    np.testing.assert_allclose(at_once.short_kwh, plan.short_kwh, atol=1e-6)  # both as good as can be
    assert costs[0] <= costs[2] + 1e-9
    if not timer.short_kwh.any():
        assert costs[0] <= costs[1] + 1e-9


def test_forbidden_hours_and_rules_hold_in_a_year():
    """The charger's rules cut slots; nothing is charged in them, and nights with one block have one."""
    text = (Path(household.__file__).parent / "examples" / "demo.yaml").read_text(encoding="utf-8")
    home = chargeplan.read_household(text + "charging:\n  one_block: yes\n  never: 01:20-03:00\n")
    tariff = home.tariff
    journeys = Driving(spread=0.4).journeys(home.habits, home.timezone, FIRST, 20, home.is_holiday, seed=1)
    year = car_year(home, journeys)
    grid = year_grid(year, step_min(tariff, FIRST, 20))
    prices = tariff.price_array(grid.grid_s, grid.step_s)
    limits = (home.limit, *(stop.limit for stop in home.stops))
    laid, _ = year_problem(grid, home.vehicle, Wants(0.8, 0.2, 0.9), limits, prices)
    problem, drawn_kwh = under_home_rules(laid, year, home, home.limit, home.charger)
    assert not drawn_kwh.any()
    plan = plan_year(problem)
    minute = local_seconds(home.timezone, problem.start_s) % 86400 // 60
    at_home = year.place[problem.stay] == 0
    forbidden = (minute >= 80) & (minute < 180)
    assert plan.wall_kwh.sum() > 0
    assert not plan.wall_kwh[at_home & forbidden].any()
    for number in np.flatnonzero(year.place == 0):
        on = plan.wall_kwh[problem.stay == number] > 1e-9
        assert np.count_nonzero(np.diff(np.r_[False, on, False].astype(int)) == 1) <= 1


def test_long_trips_are_charged_on_the_way_only_where_that_is_said():
    """400 miles take 92 kWh and the battery holds 58: the rest is unserved, or bought on the way."""
    driving = Driving(long_trips=LongTrips(3, 640.0))
    *_, problem, road = year_of("demo", "flat", driving=driving)
    assert not road.any()
    plan = plan_year(problem)
    assert np.count_nonzero(plan.unserved_kwh > 1) == 3
    home, wants, _, problem, road = year_of("demo", "flat", driving=driving, road=True)
    plan = plan_year(problem)
    assert np.count_nonzero(road > 1) == 3
    assert not (plan.unserved_kwh > 1e-6).any()
    # What is bought on the way is what the drive takes beyond what lies between the highest level and the floor.
    trip = float(home.vehicle.drive_kwh(640.0))
    assert road.max() == pytest.approx(trip - (wants.most - wants.floor) * home.vehicle.usable_kwh)
    assert plan.lowest_kwh >= wants.floor * home.vehicle.usable_kwh - 1e-6
    assert not (reach(problem).shortfall_kwh > 1e-6).any()


@settings(deadline=None, max_examples=60)
@given(st.data())
def test_a_timer_costs_more_than_charging_at_once_only_for_what_it_draws_after_the_cheapest_hours(data):
    """Law: it begins at the cheapest price of the night and does not pause; what is dearer after that is its reason.

    All of it is bounded: cost of the timer <= cost of charging at once + energy drawn above the cheapest price of its
    night x how much above, wherever both draw the same energy.
    """
    nights, slots = data.draw(st.integers(1, 4)), data.draw(st.integers(2, 12))
    size = nights * slots
    price = np.array(data.draw(st.lists(st.sampled_from([0.1, 0.2, 0.3, 0.5]), min_size=size, max_size=size)))
    drives = np.array(data.draw(st.lists(st.floats(0, 6), min_size=nights, max_size=nights)))
    problem = Problem(
        start_s=3600 * np.arange(size, dtype=np.int64),
        hours=np.ones(size),
        stay=np.repeat(np.arange(nights), slots),
        price_per_kwh=price,
        max_kwh=np.full(size, 3.0),
        gain=np.full(size, 0.9),
        need_kwh=np.full(nights, 20.0),
        drive_kwh=drives,
        level_kwh=18.0,
        capacity_kwh=24.0,
        step_s=3600,
    )
    vehicle = chargeplan.load_household("demo").vehicle
    wants = Wants(20 / vehicle.usable_kwh, 0.0, 24 / vehicle.usable_kwh)
    plan, (timer, at_once) = plan_year(problem), unmanaged_years(problem, wants, vehicle)
    cost = {found.strategy: float(found.wall_kwh @ price) for found in (plan, timer, at_once)}
    if np.allclose(timer.wall_kwh.sum(), at_once.wall_kwh.sum()) and not timer.short_kwh.any():
        above = price - np.minimum.reduceat(price, problem.first)[problem.stay]
        energy = {found.strategy: np.add.reduceat(found.wall_kwh, problem.first) for found in (timer, at_once)}
        np.testing.assert_allclose(energy["timer"], energy["at once"], atol=1e-9)
        assert cost["timer"] <= cost["at once"] + float(timer.wall_kwh @ above) + 1e-9
        assert cost["optimal"] <= cost["timer"] + 1e-9
    if np.allclose(plan.wall_kwh.sum(), at_once.wall_kwh.sum()):
        assert cost["optimal"] <= cost["at once"] + 1e-9
