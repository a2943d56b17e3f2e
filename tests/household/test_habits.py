"""Habits: which day has which times, and the outings that follow, against a simulation minute by minute."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.household.habits import NO_DEPARTURE, ByDay, Habits, outings

DENVER = "America/Denver"


def habits(plug_in, leave, distance=10.0):
    return Habits(ByDay.parse(plug_in), ByDay.parse(leave), ByDay.parse(distance), 0.8)


def times(trips, zone=DENVER):
    """Outings as local text, which is how the household sees them."""

    def local(second):
        return f"{datetime.fromtimestamp(second, ZoneInfo(zone)):%a %d %b %H:%M}"

    return [(local(trip.leave_s), local(trip.back_s)) for trip in trips]


def hours(trip):
    return (trip.back_s - trip.leave_s) / 3600


# ------------------------------------------------------------------------------------------------ values by day


def test_one_value_is_for_every_day():
    """A single value holds on all seven days and on holidays."""
    assert {ByDay.parse(435).on(day, holiday) for day in range(7) for holiday in (True, False)} == {435}


def test_sets_of_days():
    """2 March 2026 is a Monday (any calendar): weekdays are Mon to Fri, `Sat-Mon` passes the end of the week."""
    assert date(2026, 3, 2).weekday() == 0
    week = ByDay.parse({"weekdays": 1, "weekends": 2})
    assert [week.on(day) for day in range(7)] == [1, 1, 1, 1, 1, 2, 2]
    wrapped = ByDay.parse({"Sat-Mon": 1, "Tue, Thu": 2, "Wed and Fri": 3})
    assert [wrapped.on(day) for day in range(7)] == [1, 2, 3, 2, 3, 1, 1]


def test_holidays_are_a_day_type_of_their_own():
    """A value for holidays holds on whatever day they fall; without one they are like any other day."""
    with_holidays = ByDay.parse({"every day": 1, "holidays": 2})
    assert [with_holidays.on(3, holiday) for holiday in (False, True)] == [1, 2]
    assert ByDay.parse({"every day": 1}).on(3, holiday=True) == 1
    assert ByDay.parse({"every day": 435, "holidays": 0}).on(3, holiday=True) == 0, "00:00 is a time too"


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"weekdays": 1, "Mon": 2, "weekends": 3}, "Mon is given twice"),
        ({"weekdays": 1, "Sat": 2}, "nothing is said for Sun; add a line for Sun"),
        ({"holidays": 1}, "nothing is said for Mon, Tue, Wed, Thu, Fri, Sat, Sun"),
        ({}, "nothing is said for Mon"),
        ({"Blursday": 1}, "`blursday` is not a day"),
    ],
)
def test_every_day_is_named_once(given, message):
    """A week with a day twice or without a day is refused with the day's name."""
    with pytest.raises(InputError, match=message):
        ByDay.parse(given)


# ------------------------------------------------------------------------------------------------ outings


def test_a_working_week():
    """Weekdays 07:15 to 18:15, Saturday later, Sunday at home: six outings, none on Sunday 8 November 2026."""
    usual = habits(1095, {"weekdays": 435, "Sat": 570, "Sun": NO_DEPARTURE})
    trips = outings(usual, DENVER, date(2026, 11, 2), 7)
    assert times(trips)[0] == ("Mon 02 Nov 07:15", "Mon 02 Nov 18:15")
    assert times(trips)[-1] == ("Sat 07 Nov 09:30", "Sat 07 Nov 18:15")
    assert [trip.day.day for trip in trips] == [2, 3, 4, 5, 6, 7]


def test_holidays_stay_home():
    """Thanksgiving, the fourth Thursday of November (5 U.S.C. 6103), is 26 November 2026."""
    usual = habits(1095, {"every day": 435, "holidays": NO_DEPARTURE})
    trips = outings(usual, DENVER, date(2026, 11, 25), 3, lambda day: day == date(2026, 11, 26))
    assert [trip.day.day for trip in trips] == [25, 27]


def test_a_night_shift():
    """Leaves at 21:00 and is plugged in at 07:30 the next morning: 10.5 hours away, over midnight."""
    trips = outings(habits(450, 1260), DENVER, date(2026, 12, 30), 3)
    assert times(trips)[-1] == ("Fri 01 Jan 21:00", "Sat 02 Jan 07:30")
    assert [hours(trip) for trip in trips] == [10.5] * 3


def test_plugged_in_after_midnight():
    """Plugged in at 00:30 means the night after the departure; `24:00` is the midnight that ends the day."""
    assert times(outings(habits(30, 600), DENVER, date(2026, 6, 1), 1)) == [("Mon 01 Jun 10:00", "Tue 02 Jun 00:30")]
    assert times(outings(habits(1440, 600), DENVER, date(2026, 6, 1), 1)) == [("Mon 01 Jun 10:00", "Tue 02 Jun 00:00")]
    # Leaving at the end of the last day and back at midnight is a whole day away.
    assert times(outings(habits(0, 1440), DENVER, date(2026, 6, 1), 1)) == [("Tue 02 Jun 00:00", "Wed 03 Jun 00:00")]


def test_a_departure_while_away_is_part_of_the_outing():
    """Plugged in on Monday at 07:00 but on other days at 20:00, leaving at 08:00: away from Monday to Tuesday 20:00."""
    usual = habits({"Mon": 420, "Tue-Sun": 1200}, 480)
    trips = outings(usual, DENVER, date(2026, 6, 1), 3)
    assert times(trips) == [("Mon 01 Jun 08:00", "Tue 02 Jun 20:00"), ("Wed 03 Jun 08:00", "Wed 03 Jun 20:00")]


@pytest.mark.parametrize(
    ("day", "away_h"),
    [
        # 15 U.S.C. 260a: the clock goes forward at 2:00 on the second Sunday of March (8 March 2026) and back at 2:00
        # on the first Sunday of November (1 November 2026). 01:00 to 04:00 then lasts 2 and 4 hours.
        (date(2026, 3, 7), 3.0),
        (date(2026, 3, 8), 2.0),
        (date(2026, 10, 31), 3.0),
        (date(2026, 11, 1), 4.0),
    ],
)
def test_the_days_of_a_clock_change(day, away_h):
    """Time away counts elapsed hours, so an outing over a clock change is an hour shorter or longer."""
    (trip,) = outings(habits(240, 60), DENVER, day, 1)
    assert hours(trip) == away_h


def test_times_that_are_skipped_or_shown_twice():
    """02:30 on 8 March 2026 does not exist and is taken as 03:30; 01:30 on 1 November is the first (MDT, UTC-6)."""
    (spring,) = outings(habits(600, 150), DENVER, date(2026, 3, 8), 1)
    assert spring.leave_s == datetime(2026, 3, 8, 9, 30, tzinfo=UTC).timestamp()
    (autumn,) = outings(habits(600, 90), DENVER, date(2026, 11, 1), 1)
    assert autumn.leave_s == datetime(2026, 11, 1, 7, 30, tzinfo=UTC).timestamp()


def test_leap_day_and_new_year():
    """29 February 2028 exists (2028 is divisible by 4) and has an outing of its own; years join without a gap."""
    leap = outings(habits(1095, 435), DENVER, date(2028, 2, 28), 3)
    assert [trip.day.isoformat() for trip in leap] == ["2028-02-28", "2028-02-29", "2028-03-01"]
    new_year = outings(habits(1095, 435), DENVER, date(2026, 12, 31), 2)
    assert new_year[1].leave_s - new_year[0].leave_s == 86400


# ------------------------------------------------------------------------------------------------ the oracle


def wall_clock(zone, first, days):
    """Walk through every minute and say which times of day it stands for: (UTC seconds, [naive datetimes]).

    A time counts when the clock first shows it; the times that a change skips count as many minutes after the
    change as they would have come after the last minute before it.
    """
    tz = ZoneInfo(zone)
    start = int(datetime(first.year, first.month, first.day, tzinfo=tz).timestamp()) - 6 * 3600
    seen, skipped = set(), {}
    before = datetime.fromtimestamp(start - 60, tz).utcoffset()
    for second in range(start, start + 86400 * (days + 4), 60):
        local = datetime.fromtimestamp(second, tz)
        jump = local.utcoffset() - before
        before = local.utcoffset()
        naive = local.replace(tzinfo=None)
        if jump > timedelta(0):
            for n in range(int(jump.total_seconds()) // 60):
                skipped[second + 60 * n] = naive - jump + timedelta(minutes=n)
        shown = [] if naive in seen else [naive]
        seen.add(naive)
        if second in skipped:
            shown.append(skipped[second])
        yield second, shown


def simulate(usual, zone, first, days, is_holiday):
    """Be home or away in every minute: the plug and the departure are events on the wall clock."""
    plugs, leaves = set(), {}
    for n in range(days + 3):
        day = first + timedelta(days=n)
        midnight = datetime(day.year, day.month, day.day)
        plugs.add(midnight + timedelta(minutes=usual.plug_in.on(day.weekday(), is_holiday(day))))
        minute = usual.leave.on(day.weekday(), is_holiday(day))
        if minute != NO_DEPARTURE and n < days:
            leaves[midnight + timedelta(minutes=minute)] = day
    left, day, trips = None, None, []
    for second, shown in wall_clock(zone, first, days):
        if left is not None:
            if plugs.intersection(shown):
                trips.append((day, left, second))
                left = None
            continue
        going = [moment for moment in shown if moment in leaves]
        if going:
            left, day = second, leaves[going[0]]
    return trips


MINUTE = st.integers(0, 1440) | st.sampled_from([0, 30, 60, 90, 120, 150, 180, 1380, 1440])


@settings(max_examples=80, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.data())
def test_outings_agree_with_a_simulation_minute_by_minute(data):
    """Home or away in every minute of some days, on the wall clock of zoneinfo, gives the same outings.

    Among the spans are the clock changes of zones with changes of 60 and 30 minutes, and one at midnight.
    """
    zone, first = data.draw(
        st.sampled_from(
            [
                *[(DENVER, date(2026, 3, 6)), (DENVER, date(2026, 10, 30)), (DENVER, date(2027, 12, 30))],
                *[("Europe/Vienna", date(2026, 3, 28)), ("Australia/Lord_Howe", date(2026, 4, 3))],
                *[("Australia/Lord_Howe", date(2026, 10, 2)), ("Asia/Kolkata", date(2028, 2, 27))],
                *[("America/Santiago", date(2026, 4, 3)), ("America/Santiago", date(2026, 9, 4))],
            ]
        )
    )
    week = st.lists(MINUTE, min_size=7, max_size=7).map(tuple)
    # 24:00 and 00:00 of the next day are one instant, and either date could name a departure at it.
    minute_to_leave = MINUTE.filter(lambda minute: minute < 1440)
    leaving = st.lists(minute_to_leave | st.just(NO_DEPARTURE), min_size=7, max_size=7).map(tuple)
    one = st.none() | MINUTE
    usual = Habits(
        ByDay(data.draw(week | MINUTE.map(lambda minute: (minute,) * 7)), data.draw(one)),
        ByDay(
            data.draw(leaving | minute_to_leave.map(lambda minute: (minute,) * 7)),
            data.draw(st.none() | minute_to_leave | st.just(NO_DEPARTURE)),
        ),
        ByDay((10.0,) * 7, 20.0),
        0.8,
    )
    holidays = data.draw(st.sets(st.integers(0, 3)))

    def is_holiday(day):
        return (day - first).days in holidays

    found = outings(usual, zone, first, 4, is_holiday)
    assert [(trip.day, trip.leave_s, trip.back_s) for trip in found] == simulate(usual, zone, first, 4, is_holiday)
    assert all(trip.distance_km == (20.0 if is_holiday(trip.day) else 10.0) for trip in found)
