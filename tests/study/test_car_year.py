"""A car's year as stays and drives: against a plain walk through the journeys, one by one."""

from datetime import date
from zoneinfo import ZoneInfo

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

import chargeplan
from chargeplan.household.planning import plan_days
from chargeplan.study.car_year import car_year
from chargeplan.study.driving import Driving
from chargeplan.study.unusual import LongTrips

DEMO = chargeplan.load_household("demo")


def walked(household, journeys):
    """List stays (start, end, place) and the km after each, journey by journey, as a person would."""
    stays, here = [], journeys.start_s
    zone = ZoneInfo(household.timezone)
    for leave, back, km, kind, day in zip(
        journeys.leave_s.tolist(),
        journeys.back_s.tolist(),
        journeys.distance_km.tolist(),
        journeys.kind.tolist(),
        journeys.day.tolist(),
        strict=True,
    ):
        if leave > here:
            stays.append([here, leave, 0, 0.0])
        day_of = date.fromordinal(day + 719163)
        stops = []
        for number, stop in enumerate(household.stops):
            times = []
            for minute in (stop.start_min, stop.end_min):
                hour, rest = divmod(minute, 60)
                moment = np.datetime64(f"{day_of}T{hour:02d}:{rest:02d}").item().replace(tzinfo=zone)
                times.append(int(moment.timestamp()))
            if kind == 0 and day_of.weekday() in stop.days.weekdays and leave <= times[0] and times[1] <= back:
                stops.append([*times, number + 1, 0.0])
        for stop in sorted(stops):
            stays[-1][3] += km / (len(stops) + 1)
            stays.append(stop)
        stays[-1][3] += km / (len(stops) + 1)
        here = back
    if here < journeys.end_s:
        stays.append([here, journeys.end_s, 0, 0.0])
    return stays


@settings(deadline=None, max_examples=40)
@given(
    st.dates(date(2024, 1, 1), date(2027, 12, 31)),
    st.integers(2, 40),
    st.floats(0, 1),
    st.integers(0, 5),
    st.sampled_from(["demo", "plain-outlet", "three-phase"]),
)
def test_stays_and_drives_are_those_of_a_walk_through_the_journeys(first, days, spread, seed, name):
    home = chargeplan.load_household(name)
    driving = Driving(spread=spread, long_trips=LongTrips(30, 300.0))
    journeys = driving.journeys(home.habits, home.timezone, first, days, home.is_holiday, seed=seed)
    found, wanted = car_year(home, journeys), walked(home, journeys)
    assert found.start_s.tolist() == [stay[0] for stay in wanted]
    assert found.end_s.tolist() == [stay[1] for stay in wanted]
    assert found.place.tolist() == [stay[2] for stay in wanted]
    np.testing.assert_allclose(found.distance_km, [stay[3] for stay in wanted], atol=1e-9)
    assert found.leaves.tolist() == [s[2] == 0 and s[1] in set(journeys.leave_s.tolist()) for s in wanted]
    np.testing.assert_allclose(found.distance_km.sum(), journeys.distance_km.sum())


def test_a_week_is_that_of_the_planner():
    """The stays of a study are those that `plan_days` plans from the same midnight, but for the last evening."""
    first = date(2026, 3, 2)  # a Monday; the clock goes forward on the Sunday after
    journeys = Driving().journeys(DEMO.habits, DEMO.timezone, first, 7, DEMO.is_holiday, seed=1)
    year = car_year(DEMO, journeys)
    week = plan_days(DEMO, 7, soc="60 %", now="2026-03-02 00:00", plugged_in=True)
    stays = week.itinerary.stays
    assert [int(stay.start.timestamp()) for stay in stays] == year.start_s.tolist()[: len(stays)]
    assert [int(stay.end.timestamp()) for stay in stays][:-1] == year.end_s.tolist()[: len(stays) - 1]
    drives = [drive.battery_kwh for drive in week.itinerary.drives]
    np.testing.assert_allclose(DEMO.vehicle.drive_kwh(year.usual_km)[: len(drives)], drives)


def test_what_lies_behind_is_the_last_drive():
    """Friday's way home is 14.5 of 29 miles only where there was a stop; on Saturday there is none: 46 miles."""
    journeys = Driving().journeys(DEMO.habits, DEMO.timezone, date(2026, 3, 2), 6, DEMO.is_holiday, seed=1)
    assert np.isclose(car_year(DEMO, journeys).behind_km, 46 * 1.609344)
    to_thursday = Driving().journeys(DEMO.habits, DEMO.timezone, date(2026, 3, 2), 4, DEMO.is_holiday, seed=1)
    assert np.isclose(car_year(DEMO, to_thursday).behind_km, 14.5 * 1.609344)
