"""Driving: the journeys of a span against a slow walk from instant to instant, and the laws of what is drawn."""

import os
from datetime import date, timedelta
from math import sqrt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import gamma, kstest

from chargeplan.clock import day_number, day_of_number, local_datetimes, wall_s
from chargeplan.errors import InputError
from chargeplan.household.habits import NO_DEPARTURE, ByDay, Habits, outings
from chargeplan.study.cold import Cold, DailyMeans, MonthlyMeans
from chargeplan.study.draws import days_of_year, draws_by_date, draws_of_year, varied
from chargeplan.study.driving import AWAY, LONG_TRIP, USUAL, Away, Driving, Journeys, LongTrips
from chargeplan.tariff.windows import DaySet
from chargeplan.units import KM_PER_MILE

MANY = settings(deadline=None, max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "60")))
DENVER = "America/Denver"
#: Lord Howe Island moves its clock by half an hour, Cairo, Havana and Asunción move it at midnight.
ZONES = (DENVER, "Europe/Berlin", "Australia/Lord_Howe", "Africa/Cairo", "America/Havana", "America/Asuncion", "UTC")


def habits(plug_in=1095, leave=435, distance_km=47.0):
    return Habits(ByDay.parse(plug_in), ByDay.parse(leave), ByDay.parse(distance_km), 0.8)


EVERY_DAY = habits()
#: Two shifts a week that end on the next day.
NIGHTS = habits(plug_in={"every day": 390}, leave={"Mon, Tue": 1290, "Wed-Sun": NO_DEPARTURE})


def christmas(day):
    return (day.month, day.day) == (12, 25)


def rows(journeys):
    """Journeys as local text, which is how the household sees them."""
    times = zip(
        *(local_datetimes(journeys.timezone, side) for side in (journeys.leave_s, journeys.back_s)), strict=True
    )
    return [
        (f"{leave:%a %d %b %H:%M}", f"{back:%a %d %b %H:%M}", round(float(km), 6), int(kind))
        for (leave, back), km, kind in zip(times, journeys.distance_km, journeys.kind, strict=True)
    ]


def same(one, other):
    names = ("day", "leave_s", "back_s", "distance_km", "factor", "kind")
    return all(np.array_equal(getattr(one, name), getattr(other, name)) for name in names)


# ------------------------------------------------------------------------------------------- against a slow walk


def walked(usual, timezone, first, days, is_holiday, away=()):
    """Go through all departures and plug-in times in order and follow the car; an independent way to the same."""

    def minute(by_day, day):
        return by_day.on(day.weekday(), is_holiday(day))

    def first_departure_from(day):
        """The departure of a day, or where the car stays at home the week's next one."""
        if minute(usual.leave, day) != NO_DEPARTURE:
            return minute(usual.leave, day)
        week = usual.leave.week * 2
        return next(week[n] for n in range(day.weekday(), 14) if week[n] != NO_DEPARTURE)

    start_s, end_s = (wall_s(timezone, day, 0) for day in (first, first + timedelta(days=days)))
    events = []
    for n in range(-60, days + 60):
        day = first + timedelta(days=n)
        events.append((wall_s(timezone, day, minute(usual.plug_in, day)), 1, "plug in", day))
        if 0 <= n < days and minute(usual.leave, day) != NO_DEPARTURE:
            events.append((wall_s(timezone, day, minute(usual.leave, day)), 2, "leave", day))
    for time_away in away:
        leave_s = wall_s(timezone, time_away.first, first_departure_from(time_away.first))
        if leave_s < end_s:  # what happens after the span is not looked at
            events.append((leave_s, 0, "away", time_away))
    found, out, back_s = [], None, None
    for moment_s, _, what, of in sorted(events, key=lambda event: event[:2]):
        if what == "away":
            if out is None and back_s == moment_s and found:
                out = found.pop()
            if out is None:
                out = [moment_s, None, 0.0, USUAL, moment_s, of.first]
            # What begins before the span counts there.
            out[2:5] = out[2] + (of.distance_km if moment_s >= start_s else 0.0), AWAY, moment_s
            out[5] = max(out[5], of.last)
        elif what == "plug in" and out is not None and moment_s > out[4] and of >= out[5]:
            out[1] = back_s = moment_s
            found.append(out)
            out = None
        elif what == "leave" and out is None and back_s != moment_s and moment_s < end_s:
            out = [moment_s, None, usual.distance_km.on(of.weekday(), is_holiday(of)), USUAL, moment_s, of]
    result = []
    for leave_s, back_s, km, kind, _, _ in found:
        if back_s > start_s and leave_s < end_s:
            result.append((max(leave_s, start_s), back_s, km, kind))
    return result


def minutes():
    return st.sampled_from([0, 1, 60, 90, 120, 150, 180, 390, 435, 720, 1095, 1290, 1439, 1440])


@st.composite
def any_habits(draw):
    def by_day(values):
        return ByDay(tuple(draw(st.lists(values, min_size=7, max_size=7))), draw(st.none() | values))

    leave = by_day(minutes() | st.just(NO_DEPARTURE))
    if all(minute == NO_DEPARTURE for minute in leave.week):
        leave = ByDay((435, *leave.week[1:]), leave.holiday)
    return Habits(by_day(minutes()), leave, by_day(st.integers(0, 300).map(float)), 0.8)


@st.composite
def spans(draw):
    """Dates around a New Year, leap days and clock changes."""
    near = draw(
        st.sampled_from([date(2026, 12, 31), date(2028, 2, 29), date(2026, 3, 8), date(2026, 11, 1), date(2024, 4, 26)])
    )
    return near - timedelta(days=draw(st.integers(0, 9))), draw(st.integers(1, 20))


@st.composite
def times_away(draw, first, days):
    found, day = [], first - timedelta(days=draw(st.integers(1, 9)))
    for _ in range(draw(st.integers(0, 3))):
        last = day + timedelta(days=draw(st.integers(0, 6)))
        found.append(Away(day, last, float(draw(st.integers(0, 900)))))
        day = last + timedelta(days=draw(st.integers(1, 5)))
    return tuple(draw(st.permutations(found)))


@MANY
@given(any_habits(), st.sampled_from(ZONES), spans(), st.data())
def test_what_is_usual_is_what_the_plan_of_the_coming_days_has(usual, timezone, span, data):
    """Without anything else the journeys are the outings of the household, but for one at the end's very instant."""
    first, days = span

    def is_holiday(day):
        return day.day in (1, 9)

    journeys = Driving().journeys(usual, timezone, first, days, is_holiday)
    expected = [trip for trip in outings(usual, timezone, first, days, is_holiday) if trip.leave_s < journeys.end_s]
    assert journeys.leave_s.tolist() == [trip.leave_s for trip in expected]
    assert journeys.back_s.tolist() == [trip.back_s for trip in expected]
    assert journeys.day.tolist() == [day_number(trip.day) for trip in expected]
    assert journeys.distance_km.tolist() == [trip.distance_km for trip in expected]
    assert not journeys.kind.any()
    assert (journeys.factor == 1).all()


@MANY
@given(any_habits(), st.sampled_from(ZONES), spans(), st.data())
def test_times_away(usual, timezone, span, data):
    """The same with times away, some of which begin before the span or end after it."""
    first, days = span
    away = data.draw(times_away(first, days))

    def is_holiday(day):
        return day.day in (1, 9)

    journeys = Driving(away=away).journeys(usual, timezone, first, days, is_holiday)
    found = zip(
        *(getattr(journeys, name).tolist() for name in ("leave_s", "back_s", "distance_km", "kind")), strict=True
    )
    assert list(found) == walked(usual, timezone, first, days, is_holiday, away)


# ------------------------------------------------------------------------------------------------ weeks by hand


def test_a_week_with_a_time_away():
    """6 July 2026 is a Monday; 47 km a day, on Wednesday to Friday the car is away."""
    driving = Driving(away=(Away(date(2026, 7, 8), date(2026, 7, 10), 900.0),))
    assert rows(driving.journeys(EVERY_DAY, DENVER, date(2026, 7, 6), 7)) == [
        ("Mon 06 Jul 07:15", "Mon 06 Jul 18:15", 47.0, USUAL),
        ("Tue 07 Jul 07:15", "Tue 07 Jul 18:15", 47.0, USUAL),
        ("Wed 08 Jul 07:15", "Fri 10 Jul 18:15", 900.0, AWAY),
        ("Sat 11 Jul 07:15", "Sat 11 Jul 18:15", 47.0, USUAL),
        ("Sun 12 Jul 07:15", "Sun 12 Jul 18:15", 47.0, USUAL),
    ]


def test_over_new_year_and_away_then():
    """The distance of a time away belongs to the span in which it began; the other year knows that the car is gone."""
    driving = Driving(away=(Away(date(2026, 12, 30), date(2027, 1, 2), 500.0),))
    assert rows(driving.journeys(EVERY_DAY, DENVER, date(2026, 12, 29), 3)) == [
        ("Tue 29 Dec 07:15", "Tue 29 Dec 18:15", 47.0, USUAL),
        ("Wed 30 Dec 07:15", "Sat 02 Jan 18:15", 500.0, AWAY),
    ]
    assert rows(driving.journeys(EVERY_DAY, DENVER, date(2027, 1, 1), 3)) == [
        ("Fri 01 Jan 00:00", "Sat 02 Jan 18:15", 0.0, AWAY),
        ("Sun 03 Jan 07:15", "Sun 03 Jan 18:15", 47.0, USUAL),
    ]


def test_a_night_shift_goes_on_into_a_time_away():
    """Home at 06:30 from the shift of Tuesday is later than 06:30 the journey begins: one journey of both distances."""
    usual = habits(plug_in=390, leave={"Mon, Tue": 1290, "Wed": 390, "Thu-Sun": NO_DEPARTURE})
    driving = Driving(away=(Away(date(2026, 7, 8), date(2026, 7, 10), 300.0),))
    journeys = driving.journeys(usual, DENVER, date(2026, 7, 6), 5)
    assert rows(journeys) == [
        ("Mon 06 Jul 21:30", "Tue 07 Jul 06:30", 47.0, USUAL),
        ("Tue 07 Jul 21:30", "Fri 10 Jul 06:30", 347.0, AWAY),
    ]
    assert [day_of_number(day) for day in journeys.day] == [date(2026, 7, 6), date(2026, 7, 7)]


def test_a_departure_on_the_minute_of_a_return_keeps_no_other_one_away():
    """Back on Friday at 18:00, the car does not leave again at once; so on Saturday it is there to leave at 10:00."""
    usual = habits(plug_in=1080, leave={"Mon-Thu, Sun": NO_DEPARTURE, "Fri": 1080, "Sat": 600})
    driving = Driving(away=(Away(date(2026, 7, 9), date(2026, 7, 10), 300.0),))
    assert rows(driving.journeys(usual, DENVER, date(2026, 7, 6), 7)) == [
        ("Thu 09 Jul 18:00", "Fri 10 Jul 18:00", 300.0, AWAY),
        ("Sat 11 Jul 10:00", "Sat 11 Jul 18:00", 47.0, USUAL),
    ]


def test_a_time_away_that_ends_at_the_first_instant():
    """The departure of that very instant is part of it, and of the rest nothing is left."""
    driving = Driving(away=(Away(date(2026, 7, 9), date(2026, 7, 9), 300.0),))
    assert len(driving.journeys(habits(plug_in=0, leave=0), DENVER, date(2026, 7, 10), 1)) == 0


def test_clock_changes():
    """The spring night of 2026 in Denver has no 02:00, the autumn one has 01:00 twice; the wall clock counts."""
    for first, hours in ((date(2026, 3, 7), 8), (date(2026, 10, 31), 10)):
        journeys = Driving().journeys(NIGHTS, DENVER, first, 3)
        assert rows(journeys)[0][0].endswith("21:30")
        shift = Driving().journeys(habits(plug_in=390, leave=1290), DENVER, first, 2)
        assert ((shift.back_s - shift.leave_s) / 3600).tolist() == [hours, 9]


def test_a_year_has_365_days_or_366():
    """29 February 2028 is driven on; the year after it has one day less."""
    leap = Driving().journeys(EVERY_DAY, DENVER, date(2028, 1, 1), 366)
    assert len(leap) == 366
    assert day_number(date(2028, 2, 29)) in leap.day
    assert (leap.end_s - leap.start_s) == 366 * 86_400


def test_distances_by_day_of_the_week():
    """What is said here stands instead of the habits' distances; that of holidays stays; 0 means staying at home."""
    usual = habits(distance_km={"every day": 10.0, "holidays": 3.0})
    first = date(2026, 12, 21)  # a Monday; Christmas is the Friday
    one = Driving(weekday_km=50.0).journeys(usual, DENVER, first, 7, christmas)
    assert one.distance_km.tolist() == [50, 50, 50, 50, 3, 10, 10]
    both = Driving(weekday_km=50.0, weekend_km=20.0).journeys(EVERY_DAY, DENVER, first, 7, christmas)
    assert both.distance_km.tolist() == [50, 50, 50, 50, 50, 20, 20]
    home = Driving(weekend_km=0.0).journeys(EVERY_DAY, DENVER, first, 7)
    assert [int(day) - day_number(first) for day in home.day] == [0, 1, 2, 3, 4]


# ------------------------------------------------------------------------------------------- laws of what is drawn


@pytest.mark.parametrize("spread", [0.1, 0.6, 1.0, 2.0])
def test_the_mean_over_many_years_is_what_is_usual(spread):
    """Over 200 years the mean distance lies within four standard errors, and the spread is the one asked for."""
    journeys = Driving(spread=spread).journeys(EVERY_DAY, "UTC", date(1975, 1, 1), 365 * 200, seed=5)
    count = len(journeys)
    assert count == 365 * 200
    assert abs(journeys.distance_km.mean() / 47.0 - 1) < 4 * spread / sqrt(count)
    # The variance of a sample's variance, for a gamma distribution: kurtosis 3 + 6 spread².
    error = spread / 2 * sqrt((2 + 6 * spread**2) / count)
    assert abs(journeys.distance_km.std() / 47.0 - spread) < 4 * error


@pytest.mark.parametrize("spread", [0.3, 0.8, 1.5])
def test_distances_follow_a_gamma_distribution(spread):
    """Kolmogorov's and Smirnov's test against the distribution function of scipy."""
    journeys = Driving(spread=spread).journeys(EVERY_DAY, "UTC", date(2000, 1, 1), 20_000, seed=11)
    assert kstest(journeys.distance_km, gamma(spread**-2, scale=47 * spread**2).cdf).pvalue > 0.01


def test_one_draw_with_a_greater_spread():
    """The same seed with another spread gives the same days their places in the order: long days stay the long ones."""
    few, much = (
        Driving(spread=spread).journeys(EVERY_DAY, DENVER, date(2026, 1, 1), 365, seed=3).distance_km
        for spread in (0.2, 0.9)
    )
    assert np.array_equal(np.argsort(few), np.argsort(much))


def test_the_share_of_days_at_home():
    """Of 36,500 days a fifth is at home, within four standard errors, and the others are driven as before."""
    plain = Driving(spread=0.5).journeys(EVERY_DAY, "UTC", date(2000, 1, 1), 36_500, seed=2)
    fewer = Driving(spread=0.5, stays_home=0.2).journeys(EVERY_DAY, "UTC", date(2000, 1, 1), 36_500, seed=2)
    assert abs(len(fewer) / len(plain) - 0.8) < 4 * sqrt(0.2 * 0.8 / 36_500)
    assert np.array_equal(fewer.distance_km, plain.distance_km[np.isin(plain.day, fewer.day)])
    assert abs(fewer.distance_km.mean() / 47.0 - 1) < 4 * 0.5 / sqrt(len(fewer))


def test_days_are_drawn_apart():
    """Neither the day before, nor the year before, nor another seed or purpose says anything of a day."""
    distance_km = Driving(spread=0.5).journeys(EVERY_DAY, "UTC", date(2001, 1, 1), 365 * 80, seed=2).distance_km
    other = Driving(spread=0.5).journeys(EVERY_DAY, "UTC", date(2001, 1, 1), 365 * 80, seed=(2, 1)).distance_km
    first = date(2001, 1, 1)
    purposes = [draws_by_date(2, purpose, first, 365 * 80) for purpose in (0, 1)]
    limit = 4 / sqrt(365 * 79)
    for one, two in (
        (distance_km[1:], distance_km[:-1]),
        (distance_km[365:], distance_km[:-365]),
        (distance_km, other),
        purposes,
    ):
        assert abs(np.corrcoef(one, two)[0, 1]) < limit


def test_seeds():
    """Same seed, same journeys; (1, 0), (1,) and (0, 1) are three seeds, though one of them only has a zero more."""
    assert draws_of_year((1,), 0, 2026, 3).tolist() == draws_of_year(1, 0, 2026, 3).tolist()
    seeds = (1, (1, 0), (0, 1), 0, (0, 0), 2**32, 2**40 + 1)
    assert len({draws_of_year(seed, 0, 2026, 1)[0] for seed in seeds}) == len(seeds)
    assert len({draws_of_year(1, purpose, year, 1)[0] for purpose in range(3) for year in range(1971, 2200)}) == 687


def full(**changes):
    """Everything on at once."""
    given = {
        "weekday_km": 60.0,
        "weekend_km": 90.0,
        "spread": 0.7,
        "stays_home": 0.1,
        "long_trips": LongTrips(7.5, 420.0, "weekends and holidays"),
        "away": (Away(date(2026, 12, 27), date(2027, 1, 3), 700.0), Away(date(2027, 7, 10), date(2027, 7, 24), 1500.0)),
        "cold": Cold(MonthlyMeans((-4, -2, 3, 8, 13, 18, 22, 21, 16, 9, 2, -3)), ((20.0, 1.0), (-10.0, 1.4))),
    }
    return Driving(**{**given, **changes})


@MANY
@given(any_habits(), st.sampled_from(ZONES), st.integers(0, 2**70), st.integers(0, 380), st.integers(1, 500))
def test_laws(usual, timezone, seed, after, days):
    """In order, apart, leaving within the span; the same again; and twice as far with twice the scale."""
    first = date(2026, 12, 1) + timedelta(days=after)
    usual = Habits(
        usual.plug_in, ByDay((435, *usual.leave.week[1:6], 1095), usual.leave.holiday), usual.distance_km, 0.8
    )
    journeys = full().journeys(usual, timezone, first, days, christmas, seed=seed)
    assert (journeys.leave_s < journeys.back_s).all()
    assert (journeys.back_s[:-1] <= journeys.leave_s[1:]).all()
    assert (journeys.leave_s >= journeys.start_s).all()
    assert (journeys.leave_s < journeys.end_s).all()
    assert (journeys.back_s[:-1] <= journeys.end_s).all()
    assert (journeys.distance_km[journeys.kind == LONG_TRIP] >= 420).all()
    assert ((journeys.factor >= 1) & (journeys.factor <= 1.4)).all()
    assert same(journeys, full().journeys(usual, timezone, first, days, christmas, seed=seed))
    double = full(scale=2.0).journeys(usual, timezone, first, days, christmas, seed=seed)
    assert np.array_equal(double.distance_km, 2 * journeys.distance_km)
    assert np.array_equal(double.leave_s, journeys.leave_s)
    assert not full(scale=0.0).journeys(usual, timezone, first, days, christmas, seed=seed).distance_km.any()


@MANY
@given(st.integers(0, 400), st.integers(1, 400), st.integers(0, 10_000))
def test_a_date_keeps_its_draw(after, days, seed):
    """A part of a span, drawn alone, has the same journeys, and nothing that is switched off changes the others."""
    first = date(2027, 1, 10)
    whole = full().journeys(EVERY_DAY, DENVER, first, 800, christmas, seed=seed)
    begin = first + timedelta(days=after)
    part = full().journeys(EVERY_DAY, DENVER, begin, days, christmas, seed=seed)
    inside = (whole.leave_s >= part.start_s) & (whole.leave_s < part.end_s)
    began_before = int(len(part) and part.kind[0] == AWAY and part.distance_km[0] == 0)
    for name in ("day", "leave_s", "back_s", "distance_km", "factor", "kind"):
        assert np.array_equal(getattr(part, name)[began_before:], getattr(whole, name)[inside])
    for off in ({"away": ()}, {"long_trips": None}, {"cold": None}, {"stays_home": 0.0}):
        less = full(**off).journeys(EVERY_DAY, DENVER, first, 800, christmas, seed=seed)
        usual_km = dict(zip(less.day[less.kind == USUAL], less.distance_km[less.kind == USUAL], strict=True))
        shared = [
            (usual_km[day], km)
            for day, km, kind in zip(whole.day, whole.distance_km, whole.kind, strict=True)
            if kind == USUAL and day in usual_km
        ]
        assert len(shared) > 300
        assert all(one == two for one, two in shared)


# ------------------------------------------------------------------------------------------------- long trips


@pytest.mark.parametrize("year", [2026, 2028])
@pytest.mark.parametrize(("days", "weekdays"), [("weekends", {5, 6}), (DaySet(frozenset({4})), {4})])
def test_as_many_long_trips_as_asked_for(year, days, weekdays):
    """Six in every calendar year, all on such days, none shorter than asked, the other days as they were."""
    driving = Driving(spread=0.5, long_trips=LongTrips(6, 400.0, days))
    length = (date(year + 1, 1, 1) - date(year, 1, 1)).days
    journeys = driving.journeys(EVERY_DAY, DENVER, date(year, 1, 1), length, seed=4)
    far = journeys.kind == LONG_TRIP
    assert far.sum() == 6
    assert {int(day + 3) % 7 for day in journeys.day[far]} <= weekdays
    assert (journeys.distance_km[far] >= 400).all()
    usual = Driving(spread=0.5).journeys(EVERY_DAY, DENVER, date(year, 1, 1), length, seed=4)
    assert np.array_equal(journeys.distance_km[~far], usual.distance_km[~far])
    assert np.array_equal(journeys.leave_s, usual.leave_s)


def test_a_part_of_a_long_trip():
    """2.25 a year are two or three, and over 200 years 450 within four standard errors."""
    years = [
        int(LongTrips(2.25, 300.0).chosen(date(year, 1, 1), days_of_year(year), christmas, 9).sum())
        for year in range(1980, 2180)
    ]
    assert set(years) == {2, 3}
    assert abs(sum(years) - 450) < 4 * sqrt(200 * 0.25 * 0.75)


def test_every_such_day_is_as_likely():
    """Over 4,000 years of seeds each weekend day of 2026 has its share (chi-square, 103 degrees of freedom)."""
    trips = LongTrips(10, 300.0)
    counts = sum(trips.chosen(date(2026, 1, 1), 365, christmas, seed).astype(int) for seed in range(4000))
    counts = counts[counts > 0]
    expected = 4000 * 10 / 104
    assert counts.size == 104
    # Without replacement the counts vary a little less than a chi-square of 103 says.
    assert ((counts - expected) ** 2 / expected).sum() < 103 + 4 * sqrt(2 * 103)


def test_long_trips_on_holidays_and_on_days_at_home():
    """On a day at home the car leaves at the time of the next day that has one; a usual longer way stays longer."""
    trips = LongTrips(1, 400.0, "holidays")
    weekdays_only = habits(leave={"weekdays": 435, "weekends": NO_DEPARTURE})
    journeys = Driving(long_trips=trips).journeys(weekdays_only, DENVER, date(2027, 12, 25), 2, christmas)
    assert rows(journeys) == [("Sat 25 Dec 07:15", "Sat 25 Dec 18:15", 400.0, LONG_TRIP)]
    away_km = habits(
        leave={"weekdays": 435, "weekends": NO_DEPARTURE}, distance_km={"weekdays": 47.0, "weekends": 600.0}
    )
    journeys = Driving(long_trips=trips).journeys(away_km, DENVER, date(2027, 12, 25), 2, christmas)
    assert rows(journeys)[0][2] == 400.0, "what it would have gone, had it left, does not matter"
    at_home = habits(leave={"weekdays": 435, "weekends": 570, "holidays": NO_DEPARTURE})
    journeys = Driving(long_trips=trips).journeys(at_home, DENVER, date(2027, 12, 25), 1, christmas)
    assert rows(journeys) == [("Sat 25 Dec 09:30", "Sat 25 Dec 18:15", 400.0, LONG_TRIP)]
    far = Driving(weekday_km=500.0, long_trips=trips).journeys(EVERY_DAY, DENVER, date(2026, 12, 25), 1, christmas)
    assert rows(far) == [("Fri 25 Dec 07:15", "Fri 25 Dec 18:15", 500.0, LONG_TRIP)]


def test_a_long_trip_within_another_journey_is_not_lost():
    """Back on Sundays at 18:15 only after a Saturday evening departure: Sunday's long trip is part of that journey."""
    usual = habits(leave={"Sat": 1140, "Sun": 600, "weekdays": 435})
    journeys = Driving(long_trips=LongTrips(52, 400.0, "Sun")).journeys(usual, DENVER, date(2026, 7, 11), 2)
    assert rows(journeys) == [("Sat 11 Jul 19:00", "Sun 12 Jul 18:15", 400.0, LONG_TRIP)]


# ------------------------------------------------------------------------------------------------------- the cold


def test_the_cold_of_the_day_of_departure():
    """A factor for every journey, that of its first day; the distances stay."""
    cold = Cold(DailyMeans(day_number(date(2026, 1, 1)), np.array([20.0, 5.0, -10.0])), ((20.0, 1.0), (-10.0, 1.4)))
    driving = Driving(cold=cold, away=(Away(date(2026, 1, 2), date(2026, 1, 3), 100.0),))
    journeys = driving.journeys(EVERY_DAY, DENVER, date(2026, 1, 1), 3)
    assert journeys.factor.round(9).tolist() == [1.0, 1.2]
    with pytest.raises(InputError, match="no temperature for 2026-01-04"):
        driving.journeys(EVERY_DAY, DENVER, date(2026, 1, 1), 4)


# ---------------------------------------------------------------------------------------------- published figures


@pytest.mark.parametrize(
    ("miles_a_day", "miles_a_year", "rounded_to"),
    [(27.9, 10_200, 100), (36.9, 13_476, 0.05 * 365)],
)
def test_published_miles_a_day_and_a_year(miles_a_day, miles_a_year, rounded_to):
    """The yearly distance that follows from the daily one is the published one, as far as the two are rounded.

    2017 National Household Travel Survey: 27.9 miles a day and 10,200 a year per household vehicle (US DOE Fact of
    the Week 1046). Federal Highway Administration, table of 2018-03-29: 13,476 miles a year per driver, 36.9 a day.
    """
    daily_km = miles_a_day * KM_PER_MILE
    driving = Driving(weekday_km=daily_km, weekend_km=daily_km, spread=0.8)
    years = 150
    journeys = driving.journeys(EVERY_DAY, DENVER, date(2001, 1, 1), 365 * years, seed=1)
    mean = journeys.distance_km.sum() / KM_PER_MILE / years
    error = 4 * 0.8 * miles_a_day * 365 / sqrt(365 * years)
    assert abs(mean - miles_a_year) < rounded_to + error
    plain = Driving(weekday_km=daily_km, weekend_km=daily_km).journeys(EVERY_DAY, DENVER, date(2026, 1, 1), 365)
    assert abs(plain.distance_km.sum() / KM_PER_MILE - miles_a_year) < rounded_to


# ------------------------------------------------------------------------------------------------------- mistakes


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Driving(spread=-0.1), "spread is -0.1"),
        (lambda: Driving(spread=float("nan")), "spread is nan"),
        (lambda: Driving(scale=-1), "scale is -1"),
        (lambda: Driving(scale="2"), "scale is '2', which is not a number"),
        (lambda: Driving(stays_home=1.5), "stays_home is 1.5, which cannot be; write a share"),
        (lambda: Driving(weekday_km=-3), "weekday_km is -3"),
        (lambda: Driving(weekend_km=True), "weekend_km is True, which is not a number"),
        (lambda: LongTrips(-1, 300), "per_year is -1"),
        (lambda: LongTrips(4, float("inf")), "distance_km is inf"),
        (lambda: LongTrips(4, 300, "Sundae"), "`sundae` is not a day"),
        (lambda: LongTrips(4, 300, DaySet.parse("critical days", called=True)), "days that are called"),
        (lambda: Away(date(2026, 7, 3), date(2026, 7, 1)), "ends before it begins"),
        (lambda: Away(date(2026, 7, 3), date(2026, 7, 4), -1.0), "distance_km is -1"),
        (
            lambda: Driving(away=(Away(date(2026, 7, 3), date(2026, 7, 9)), Away(date(2026, 7, 1), date(2026, 7, 3)))),
            "share 2026-07-03",
        ),
        (lambda: Driving().journeys(EVERY_DAY, DENVER, date(2026, 1, 1), 0), "a span of 0 days"),
        (lambda: Driving().journeys(EVERY_DAY, DENVER, date(2026, 1, 1), 2.5), r"a span of 2\.5 days"),
        (lambda: Driving().journeys(EVERY_DAY, "America/Dever", date(2026, 1, 1), 2), "is not a time zone"),
        (lambda: Driving().journeys(EVERY_DAY, DENVER, date(2210, 1, 1), 2), "outside the years"),
        (lambda: Driving(spread=1.0).journeys(EVERY_DAY, DENVER, date(2026, 1, 1), 2, seed=-1), "the seed is -1"),
        (lambda: Driving(spread=1.0).journeys(EVERY_DAY, DENVER, date(2026, 1, 1), 2, seed=(1, 0.5)), "the seed is"),
        (
            lambda: Driving(long_trips=LongTrips(53, 300, "Sun")).journeys(EVERY_DAY, DENVER, date(2026, 1, 1), 2),
            "2026 has 52 days for 53 long trips",
        ),
        (
            lambda: Driving(weekend_km=80.0).journeys(NIGHTS, DENVER, date(2026, 1, 1), 7),
            "weekend_km is 80, but by the habits the car stays at home from Saturday to Sunday",
        ),
        (
            lambda: Driving(away=(Away(date(2026, 1, 1), date(2026, 1, 2)),)).journeys(
                habits(leave=NO_DEPARTURE), DENVER, date(2026, 1, 1), 7
            ),
            "the car never leaves",
        ),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(make, message):
    """One clear message each."""
    with pytest.raises(InputError, match=message):
        make()


@pytest.mark.parametrize(
    ("leave", "back", "message"),
    [
        ([90_000, 80_000], [95_000, 85_000], "overlap or are not in order"),
        ([90_000, 94_000], [95_000, 99_000], "overlap or are not in order"),
        ([90_000], [90_000], "overlap or are not in order"),
        ([80_000], [90_000], "leaves outside the span"),
        ([172_800], [180_000], "leaves outside the span"),
        ([90_000, 94_000], [95_000], "differ in length"),
    ],
)
def test_journeys_that_cannot_be(leave, back, message):
    """Whoever makes journeys otherwise is told what is wrong with them."""
    number = np.ones(len(leave), dtype=np.int64)
    with pytest.raises(InputError, match=message):
        Journeys(
            "UTC", date(1970, 1, 2), 1, number, np.array(leave), np.array(back), number * 1.0, number * 1.0, number
        )


def test_no_journeys_at_all():
    """A car that stays at home has none, and that is fine."""
    journeys = Driving(stays_home=1.0).journeys(EVERY_DAY, DENVER, date(2026, 1, 1), 365)
    assert len(journeys) == 0
    assert journeys.end_s - journeys.start_s == 365 * 86_400


def test_a_spread_of_nothing():
    """Without spread every factor is 1, however the draws are."""
    assert varied(np.array([0.0, 0.3, 0.999]), 0.0).tolist() == [1, 1, 1]
