"""What is particular about charging at home over a year: the rules of the charger, and preconditioning."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from chargeplan.charging import Limit
from chargeplan.clock import local_datetimes
from chargeplan.household.charger import HOME, HomeCharger
from chargeplan.household.household import Household
from chargeplan.household.preconditioning import preconditioned
from chargeplan.household.stays import holidays_of
from chargeplan.plan.problem import Floats, Problem, problem_from
from chargeplan.plan.schedule import preconditioning_kwh
from chargeplan.plan.stops import Drive, Itinerary, Stay
from chargeplan.study.car_year import CarYear


def under_home_rules(
    problem: Problem, year: CarYear, household: Household, limit: Limit, charger: HomeCharger | None
) -> tuple[Problem, Floats]:
    """Lay the rules of the charger and the preconditioning of a household on a year.

    Parameters
    ----------
    problem : Problem
        The year without them.
    year : CarYear
        Its stays.
    household : Household
        Whose habits may have a preconditioning.
    limit : Limit
        What is delivered at home without rules.
    charger : HomeCharger, optional
        How the charger may be used.

    Returns
    -------
    problem : Problem
        With slots cut where another limit begins, and with rules about switching.
    drawn_kwh : array, shape (n,)
        Wall energy that preconditioning draws in each of its slots, whatever is charged.
    """
    usual, is_holiday = household.habits.preconditioning, holidays_of(household)
    stays = []
    for number, (start, end) in enumerate(zip(year.start_s.tolist(), year.end_s.tolist(), strict=True)):
        first, last = int(problem.first[number]), int(problem.last[number])
        stay = Stay(
            place=HOME if year.place[number] == 0 else "elsewhere",
            start=datetime.fromtimestamp(start, UTC),
            end=local_datetimes(household.timezone, [end])[0],
            wall_kw=float(problem.max_kwh[first] / problem.hours[first]),
            gain=float(problem.gain[first]),
            price_per_kwh=problem.price_per_kwh[first : last + 1],
        )
        if usual is not None and year.leaves[number]:
            holiday = is_holiday(stay.end.date())
            stay = preconditioned(usual, limit, household.vehicle, stay, holiday=holiday)
        stays.append(stay)
    if charger is not None:
        stays = charger.on_stays(limit, stays)
    drives = [Drive(kwh) for kwh in problem.drive_kwh.tolist()]
    itinerary = Itinerary(problem.level_kwh, problem.capacity_kwh, stays, drives)
    laid = problem_from(itinerary, problem.step_s // 60)
    # Nothing was wanted of the stays themselves, so what is there is what preconditioning takes from the battery.
    need_kwh = problem.need_kwh + laid.need_kwh
    highest = min(float(np.max(need_kwh, initial=0.0)), household.vehicle.usable_kwh)
    laid = replace(
        laid,
        need_kwh=need_kwh,
        capacity_kwh=max(problem.capacity_kwh, highest),
        floor_kwh=problem.floor_kwh,
        taper=problem.taper * [problem.capacity_kwh / max(problem.capacity_kwh, highest), 1.0]
        if problem.taper.size
        else problem.taper,
    )
    return laid, preconditioning_kwh(itinerary, laid)
