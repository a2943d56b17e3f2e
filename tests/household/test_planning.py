"""Which stay is planned for which present, and what the options change."""

import json
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from household_cases import CHANGES, changed, read_sheet, sheets
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.household import load_household, plan_days, plan_tonight, read_household
from chargeplan.plan.stops import Drive

DENVER = ZoneInfo("America/Denver")
LEAVE = "{weekdays: 07:15, Sat: 09:30, Sun: stays home}"


@pytest.fixture(scope="module")
def demo():
    return load_household("demo")


def stay_of(plan):
    """The first stay as local text."""
    stay = plan.itinerary.stays[0]
    return f"{stay.start:%a %d %H:%M}", f"{stay.end:%a %d %H:%M}"


# ------------------------------------------------------------------------------------------------ which stay


@pytest.mark.parametrize(
    ("now", "start", "end"),
    [
        # The demo leaves at 07:15 on weekdays (09:30 on Saturday, not on Sunday), and is plugged in at 18:15.
        ("2026-11-25 20:00", "Wed 25 20:00", "Thu 26 07:15"),
        ("2026-11-25 18:15", "Wed 25 18:15", "Thu 26 07:15"),
        ("2026-11-25 18:14", "Wed 25 18:15", "Thu 26 07:15"),
        ("2026-11-25 12:00", "Wed 25 18:15", "Thu 26 07:15"),
        ("2026-11-25 07:15", "Wed 25 18:15", "Thu 26 07:15"),
        ("2026-11-25 07:14", "Wed 25 07:14", "Wed 25 07:15"),
        ("2026-11-25 00:00", "Wed 25 00:00", "Wed 25 07:15"),
        ("2026-11-27 20:00", "Fri 27 20:00", "Sat 28 09:30"),
        ("2026-11-28 12:00", "Sat 28 18:15", "Mon 30 07:15"),
        ("2026-11-29 12:00", "Sun 29 12:00", "Mon 30 07:15"),
        ("2026-12-31 23:59", "Thu 31 23:59", "Fri 01 07:15"),
        ("2028-02-28 20:00", "Mon 28 20:00", "Tue 29 07:15"),
    ],
)
def test_the_stay_that_is_planned(demo, now, start, end):
    """At home, from now until the next departure; away, from the next plug-in on; leaving counts from its minute."""
    assert stay_of(plan_tonight(demo, soc="55 %", now=now)) == (start, end)
    assert stay_of(plan_days(demo, 2, soc="55 %", now=now)) == (start, end)


def test_now_may_be_a_datetime_or_have_an_offset(demo):
    """One instant in three notations gives one plan; a datetime without a zone is refused."""
    moment = datetime(2026, 11, 26, 3, tzinfo=UTC)
    plans = [plan_tonight(demo, soc="55 %", now=now) for now in ("2026-11-25 20:00", "2026-11-26T03:00Z", moment)]
    assert len({(plan.now_s, plan.schedule.total_cost) for plan in plans}) == 1
    with pytest.raises(InputError, match="has no time zone"):
        plan_tonight(demo, now=datetime(2026, 11, 25, 20))


@pytest.mark.parametrize("now", ["0001-01-01 00:00", "1970-12-31 12:00", "2200-01-02", "9999-12-31 23:59"])
def test_years_beyond_the_zone_data_are_refused(demo, now):
    """Zone data say nothing useful outside 1971 to 2199; such a time is a message, not an overflow."""
    with pytest.raises(InputError, match="outside the years 1971 to 2199"):
        plan_tonight(demo, now=now)


@pytest.mark.parametrize(
    ("leave", "end"),
    [
        *[("06:30", "Thu 26 06:30"), ("6:30", "Thu 26 06:30"), ("20:01", "Wed 25 20:01"), ("20:00", "Thu 26 20:00")],
        *[("24:00", "Thu 26 00:00"), ("00:00", "Thu 26 00:00"), ("2026-11-27 06:30", "Fri 27 06:30")],
        *[("2026-11-27", "Fri 27 00:00"), ("2026-11-26T13:30Z", "Thu 26 06:30")],
        (datetime(2026, 11, 26, 13, 30, tzinfo=UTC), "Thu 26 06:30"),
    ],
)
def test_another_departure(demo, leave, end):
    """A time of day is the next one the clock shows after the plug-in; a date and time is itself."""
    assert stay_of(plan_tonight(demo, soc="75 %", now="2026-11-25 20:00", leave=leave)) == ("Wed 25 20:00", end)


def test_a_departure_while_away_counts_from_the_plug_in(demo):
    """At noon, on the road until 18:15, `--leave 17:00` is tomorrow's 17:00, and today's is refused by its date."""
    assert stay_of(plan_tonight(demo, now="2026-11-25 12:00", leave="17:00")) == ("Wed 25 18:15", "Thu 26 17:00")
    with pytest.raises(InputError) as caught:
        plan_tonight(demo, now="2026-11-25 12:00", leave="2026-11-25 17:00")
    assert str(caught.value) == (
        "the departure 2026-11-25 17:00 is not after the plug-in at 2026-11-25 18:15; give a later one"
    )


@pytest.mark.parametrize(
    ("leave", "message"),
    [
        *[("25:00", "not a time of day"), ("tomorrow", "no time of day"), ("2026-11-25 20:00", "is not after")],
        *[("2027-03-14 02:30", "is skipped"), ("2027-11-07 01:30", "comes twice")],
        *[("2028-01-01", "more than 366 days after"), ("9999-12-31 23:59", "more than 366 days after")],
    ],
)
def test_departures_that_cannot_be(demo, leave, message):
    """A departure before the plug-in, in a year's time, or at a time the clock skips or repeats has its message."""
    with pytest.raises(InputError, match=message):
        plan_tonight(demo, now="2026-11-25 20:00", leave=leave)


def test_plugged_in_now(demo):
    """`plugged_in` means at home now, whatever the habits say; at home it changes nothing."""
    assert stay_of(plan_tonight(demo, now="2026-11-25 12:00", plugged_in=True)) == ("Wed 25 12:00", "Thu 26 07:15")
    assert stay_of(plan_days(demo, 1, now="2026-11-25 12:00", plugged_in=True)) == ("Wed 25 12:00", "Thu 26 07:15")
    assert stay_of(plan_tonight(demo, now="2026-11-25 20:00", plugged_in=True)) == ("Wed 25 20:00", "Thu 26 07:15")


def test_the_target_of_one_night(demo):
    """A target for the night holds at its departure; the household's own is left alone."""
    night = plan_tonight(demo, soc="55 %", now="2026-11-25 20:00", target="95 %")
    assert night.schedule.departures[0].level_kwh == pytest.approx(0.95 * 58)
    assert demo.habits.target == 0.8
    with pytest.raises(InputError, match="a target of 101 % is more than full"):
        plan_tonight(demo, now="2026-11-25 20:00", target="101 %")


@pytest.mark.parametrize("prefer", ["", "cheapest", "Latest"])
def test_a_preference_must_be_known(demo, prefer):
    """A misspelled or empty preference is refused, not taken for the usual one."""
    with pytest.raises(InputError, match="choose earliest, as needed, latest, fewest starts"):
        plan_tonight(demo, now="2026-11-25 20:00", prefer=prefer)


def test_preferences_move_the_charging_not_the_cost(demo):
    """Seven hours cost the same (summer-peak: 23:00 to 07:00): earliest begins at 23:00, latest ends at 07:00."""
    first, last, fewest = (
        plan_tonight(demo, soc="55 %", now="2026-11-25 20:00", prefer=prefer)
        for prefer in ("earliest", "latest", "fewest starts")
    )
    assert f"{first.schedule.windows[0].start:%H:%M}" == "23:00"
    assert f"{last.schedule.windows[-1].end:%H:%M}" == "07:00"
    assert len(fewest.schedule.windows) == 1
    assert {round(plan.schedule.total_cost, 9) for plan in (first, last, fewest)} == {
        round(first.schedule.total_cost, 9)
    }


# ------------------------------------------------------------------------------------------------ holidays


def test_departures_only_on_holidays_are_found_or_asked_for():
    """A car that leaves on holidays only: Thanksgiving is found, and in spring the departure must be given."""
    text = changed((LEAVE, "{every day: stays home, holidays: 09:00}"))
    home = read_household(text)
    assert home.tariff.is_holiday(date(2026, 11, 26))
    assert stay_of(plan_tonight(home, soc="55 %", now="2026-11-20 20:00")) == ("Fri 20 20:00", "Thu 26 09:00")
    for planning in (plan_tonight, plan_days):
        with pytest.raises(InputError, match="no departure is due within 40 days; give one with --leave"):
            planning(home, now="2026-03-01 20:00")
    assert stay_of(plan_tonight(home, now="2026-03-01 20:00", leave="09:00"))[1] == "Mon 02 09:00"


def test_two_holidays_in_a_row_on_the_only_day_of_departure():
    """25 December 2026 and 1 January 2027 are Fridays: who leaves on Fridays but not on holidays leaves on the 8th."""
    text = changed(
        (LEAVE, "{Mon-Thu: stays home, Fri: 09:00, weekends: stays home, holidays: stays home}"),
        ("{weekdays: 29 mi, Sat: 46 mi}", "29 mi"),
        ("    days: Tue, Thu\n", "    days: Fri\n"),
        ("from: 08:05", "from: 10:05"),
    )
    night = plan_tonight(read_household(text), soc="55 %", now="2026-12-18 20:00")
    assert stay_of(night) == ("Fri 18 20:00", "Fri 08 09:00")


# ------------------------------------------------------------------------------------------------ the coming days


def test_the_days_of_a_week(demo):
    """From Wednesday evening, 7 days: departures on six of them, and the workplace on Thursday and Tuesday."""
    week = plan_days(demo, 7, soc="55 %", now="2026-11-25 20:00")
    named = [f"{stay.place} {stay.end:%a}" for stay in week.itinerary.stays]
    assert named == [
        *["home Thu", "workplace Thu", "home Fri", "home Sat", "home Mon", "home Tue", "workplace Tue", "home Wed"]
    ]
    assert len(week.itinerary.drives) == len(week.itinerary.stays) - 1


def test_a_stop_splits_the_way(demo):
    """A day's 29 miles with one stop are two drives of half; together they take what the whole way takes."""
    week = plan_days(demo, 3, soc="55 %", now="2026-11-25 20:00")
    out, home, whole = week.itinerary.drives[:3]
    assert isinstance(out, Drive)
    assert out.distance_km == home.distance_km == pytest.approx(14.5 * 1.609344)
    assert out.battery_kwh + home.battery_kwh == pytest.approx(whole.battery_kwh)


def test_days_end_with_the_last_departure_they_hold(demo):
    """One day from 20:00 holds Thursday's departure; a Sunday at home is planned to Monday's, and at least one is."""
    assert len(plan_days(demo, 1, soc="55 %", now="2026-11-25 20:00").itinerary.stays) == 1
    sunday = plan_days(demo, 1, soc="55 %", now="2026-11-28 20:00")
    assert stay_of(sunday) == ("Sat 28 20:00", "Mon 30 07:15")


@pytest.mark.parametrize("days", [0, -1, 367, 10**9])
def test_days_out_of_range(demo, days):
    """1 to 366 days can be planned at once."""
    with pytest.raises(InputError, match=rf"{days} days cannot be planned; write 1 to 366"):
        plan_days(demo, days, now="2026-11-25 20:00")


@settings(max_examples=60, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow])
@given(sheet=sheets(), moment=st.datetimes(datetime(2026, 2, 1), datetime(2026, 11, 30)))
def test_tonight_is_the_first_stay_of_the_days(sheet, moment, sheet_folder):
    """For random households, the night is the first stay of the coming days, and stays follow each other."""
    home = read_sheet(sheet, sheet_folder)
    now = moment.replace(microsecond=0, tzinfo=UTC)
    night = plan_tonight(home, soc="50 %", now=now)
    days = plan_days(home, 3, soc="50 %", now=now)
    first = night.itinerary.stays[0]
    assert (first.start, first.end) == (days.itinerary.stays[0].start, days.itinerary.stays[0].end)
    assert first.start >= now
    assert all(a.end < b.start for a, b in zip(days.itinerary.stays, days.itinerary.stays[1:], strict=False))
    assert days.itinerary.stays[-1].end.astimezone(UTC) <= max(now + timedelta(days=3), first.end.astimezone(UTC))


# ------------------------------------------------------------------------------------------------ clock and tariff


def clock_home(tariff, zone, **habits):
    """A household with a plain 7.2 kW connection without losses, on a sheet given as text."""
    usual = {"plug_in": "18:00", "leave": "07:00", "distance": "0 km", "target": "100 %", **habits}
    sheet = {
        "name": "Clock",
        "timezone": zone,
        "tariff": tariff,
        "circuit": {"breaker": "40 A", "volts": "225 V"},
        "evse": {"max_current": "32 A"},
        "vehicle": {
            "usable_battery": "72 kWh",
            "consumption": "16 kWh/100 km",
            "measured_at": "battery",
            "losses": {"level 2": {"efficiency": "100 %"}},
        },
        "habits": usual,
    }
    return json.dumps(sheet)


@pytest.mark.parametrize(
    ("now", "hours"),
    [
        # 15 U.S.C. 260a: 8 March and 1 November 2026; Directive 2000/84/EC: last Sundays of March and October.
        *[("2026-03-06 18:00", 13), ("2026-03-07 18:00", 12), ("2026-10-31 18:00", 14), ("2026-11-01 18:00", 13)],
    ],
)
def test_nights_of_a_clock_change(now, hours):
    """From 18:00 to 07:00 are 13 hours, one less in the night the clock goes forward, one more when it goes back.

    An empty battery at 225 V x 32 A = 7.2 kW without losses gains exactly 7.2 kWh in each of them, up to 72 kWh:
    with 12 hours at 0.2465 (the flat sheet) ten hours are enough, and the cheapest plan costs 72 x 0.2465.
    """
    home = read_household(clock_home("flat", "America/Denver"))
    night = plan_tonight(home, soc="0 %", now=now)
    assert night.itinerary.stays[0].hours == pytest.approx(hours)
    assert night.schedule.hours.sum() == pytest.approx(hours)
    assert night.schedule.total_cost == pytest.approx(72 * 0.2465)


def test_the_repeated_hour_charges_twice(tmp_path):
    """Denver, 1 November 2026: 01:00 to 02:00 comes twice (15 U.S.C. 260a), so its cheap price lasts two hours.

    At 7.2 kW that night the car takes 14.4 kWh at the cheap price instead of 7.2.
    """
    text = (
        "{name: One, currency: USD, timezone: America/Denver, periods: {cheap: '01:00-02:00', dear: rest},"
        " prices: {cheap: 0.1, dear: 0.5}}"
    )

    (tmp_path / "one.yaml").write_text(text, encoding="utf-8")
    home = read_household(clock_home("one.yaml", "America/Denver", target="20 %"), str(tmp_path / "home.yaml"))
    autumn, usual, spring = (
        plan_tonight(home, soc="0 %", now=now).schedule
        for now in ("2026-10-31 18:00", "2026-10-30 18:00", "2026-03-07 18:00")
    )
    assert autumn.total_cost == pytest.approx(14.4 * 0.1)
    assert [f"{w.start:%H:%M %Z}-{w.end:%H:%M %Z}" for w in autumn.windows] == ["01:00 MDT-02:00 MST"]
    assert usual.total_cost == pytest.approx(7.2 * 0.1 + 7.2 * 0.5)
    # 8 March: 01:00 to 02:00 exists, 02:00 to 03:00 does not.
    assert spring.total_cost == pytest.approx(7.2 * 0.1 + 7.2 * 0.5)


def test_a_sheet_that_changes_its_prices_overnight(tmp_path):
    """On 30 June 2026 low hours cost 0.19 until midnight and 0.14 from then on (versions of the sheet): wait for July.

    The sheet is of Vienna, the household too; from 20:00 the low hours of Tuesday run on into Wednesday 07:00.
    """
    (tmp_path / "changes.yaml").write_text(CHANGES, encoding="utf-8")
    home = read_household(clock_home("changes.yaml", "Europe/Vienna", target="50 %"), str(tmp_path / "home.yaml"))
    night = plan_tonight(home, soc="0 %", now="2026-06-30 20:00").schedule
    assert [f"{w.start:%d %H:%M}-{w.end:%d %H:%M}" for w in night.windows] == ["01 00:00-01 05:00"]
    assert night.total_cost == pytest.approx(36 * 0.14)


def test_a_sheet_that_changes_its_hours(tmp_path):
    """From 15 November 2026 the peak is 22:00-06:00: on the 14th the night is low to midnight, then dear."""
    (tmp_path / "changes.yaml").write_text(CHANGES, encoding="utf-8")
    home = read_household(clock_home("changes.yaml", "Europe/Vienna"), str(tmp_path / "home.yaml"))
    night = plan_tonight(home, soc="0 %", now="2026-11-14 18:00").schedule
    # Saturday the 14th is low all day: 18:00-24:00 and 06:00-07:00 are 7 low hours; three more at 0.35 make 72 kWh.
    assert night.total_cost == pytest.approx(7 * 7.2 * 0.14 + 3 * 7.2 * 0.35)


@pytest.mark.parametrize("planning", [plan_tonight, plan_days])
def test_a_sheet_that_ends_before_the_departure(tmp_path, planning):
    """A sheet that ends tonight cannot price tomorrow: the message names the sheet, its last day and the day asked."""
    text = "{name: Ends, currency: USD, timezone: America/Denver, prices: 0.2, until: 2026-11-25}"
    (tmp_path / "ends.yaml").write_text(text, encoding="utf-8")
    home = read_household(clock_home("ends.yaml", "America/Denver"), str(tmp_path / "home.yaml"))
    with pytest.raises(InputError) as caught:
        planning(home, soc="0 %", now="2026-11-25 20:00")
    assert "the sheet `Ends` ends on 2026-11-25, but 2026-11-26 was asked for" in str(caught.value)
    options = {"days": 1} if planning is plan_days else {}
    night = planning(home, soc="95 %", now="2026-11-24 20:00", **options)
    assert night.schedule.total_cost == pytest.approx(3.6 * 0.2)


def test_odd_minutes_are_kept(sheet_folder):
    """A price that begins at 01:01 and ends at 04:44 is used to the minute: 3 h 43 min at 7.2 kW are 26.76 kWh."""
    home = read_household(clock_home("minutes.yaml", "America/Denver", target="38 %"), str(sheet_folder / "home.yaml"))
    night = plan_tonight(home, soc="0 %", now="2026-11-24 22:00").schedule
    cheap_kwh = (3 + 43 / 60) * 7.2
    assert night.total_cost == pytest.approx(cheap_kwh * 0.0907 + (0.38 * 72 - cheap_kwh) * 0.2113, abs=1e-9)
    assert any(f"{window.start:%H:%M}" <= "01:01" and f"{window.end:%H:%M}" >= "04:44" for window in night.windows)


def test_a_household_in_another_zone_than_its_sheet(sheet_folder):
    """A household in Kolkata (UTC+5:30) on a sheet of Denver (UTC-7 in winter): 23:00 there is 11:30 here.

    The sheet's overnight hours 23:00-07:00 fall on 11:30-19:30 in India.
    """
    home = read_household(clock_home("summer-peak", "Asia/Kolkata", plug_in="08:00", leave="22:00", target="20 %"))
    night = plan_tonight(home, soc="0 %", now="2026-11-25 08:00").schedule
    assert [f"{w.start:%H:%M}-{w.end:%H:%M}" for w in night.windows] == ["11:30-13:30"]


@pytest.mark.parametrize(
    ("leave", "right"),
    [("7", "write 7:00, or 2026-11-26 07:00"), ("23", "write 23:00"), ("soon", "write 06:30"), ("25", "write 06:30")],
)
def test_a_departure_that_is_no_time(leave, right):
    """An hour alone is not guessed at; the message says how it would be written."""
    with pytest.raises(InputError, match=f"the departure `{leave}` is no time of day; {right}"):
        plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00", leave=leave)


@pytest.mark.parametrize("plan", [plan_tonight, plan_days])
@pytest.mark.parametrize(
    ("given", "said"),
    [("home.yaml", 'write for example load_household("home.yaml")'), (None, "a NoneType is no household")],
)
def test_what_is_no_household_is_refused(plan, given, said):
    """The name of a file is none yet: the message says how to load it, instead of a missing attribute."""
    with pytest.raises(InputError) as caught:
        plan(given)
    assert said in str(caught.value)
