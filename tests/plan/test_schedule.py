"""The answer as a user sees it: exact windows, a table, departures, and what other habits cost."""

from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from chargeplan.errors import InputError
from chargeplan.plan import Certificate, Drive, Itinerary, Stay, plan
from chargeplan.plan import schedule as schedule_module

NEW_YORK = ZoneInfo("America/New_York")


def test_windows_by_hand(evening):
    """28 kWh at 6.48 kW into the battery last 4 h 19 min 15.6 s from midnight, for 31.11 wall kWh at 0.10."""
    schedule = plan(evening)
    (window,) = schedule.windows
    assert window.start == datetime(2026, 1, 6, 0, 0, tzinfo=NEW_YORK)
    assert (window.end - window.start).total_seconds() == pytest.approx(28 / 6.48 * 3600, abs=1e-3)
    assert window.current_a == 30
    assert window.wall_kwh == pytest.approx(28 / 0.9)
    assert window.cost == pytest.approx(2.8 / 0.9)
    assert window.mean_price_per_kwh == pytest.approx(0.1)
    assert schedule.status == "proven optimal"
    assert schedule.total_cost == pytest.approx(2.8 / 0.9)
    assert schedule.total_battery_kwh == pytest.approx(28)
    assert schedule.total_wall_kwh == pytest.approx(28 / 0.9)


def test_latest_window_ends_with_the_cheap_hours(evening):
    """The latest plan of the same cost ends at 06:00, when the cheap price ends."""
    (window,) = plan(evening, tie_break="latest").windows
    assert window.end == datetime(2026, 1, 6, 6, 0, tzinfo=NEW_YORK)
    assert (window.end - window.start).total_seconds() == pytest.approx(28 / 6.48 * 3600, abs=1e-3)


def test_on_plug_in_by_hand(evening):
    """From 18:37 to 22:56:15: 2 h 23 min at 0.40 until 21:00, the rest at 0.25, all at 7.2 kW."""
    habit = plan(evening).on_plug_in
    dear_h = 2 + 23 / 60
    expected = 7.2 * (0.40 * dear_h + 0.25 * (28 / 6.48 - dear_h))
    assert habit.cost == pytest.approx(expected)
    assert habit.saving == pytest.approx(expected - 2.8 / 0.9)
    assert habit.short_kwh.tolist() == [0]


def test_timer_by_hand(evening):
    """The timer starts at midnight; for 50 kWh more it would need 7 h 43 min, has 7 h 5 min, and says so."""
    big = replace(evening, level_kwh=4.0, stays=[replace(evening.stays[0], need_kwh=54)])
    habit = plan(big).by_timer
    assert habit.short_kwh[0] == pytest.approx(50 - 6.48 * (7 + 5 / 60))
    assert habit.cost == pytest.approx(7.2 * (6 * 0.10 + (1 + 5 / 60) * 0.25))
    assert plan(evening).by_timer.short_kwh.tolist() == [0]


def test_table(evening):
    """One row per slot, indexed in the zone of the arrival; sums are those of the schedule."""
    schedule = plan(evening)
    table = schedule.table()
    assert str(table.index.tz) == "America/New_York"
    assert table.index[0].isoformat() == "2026-01-05T18:37:00-05:00"
    assert len(table) == schedule.problem.slots
    assert table["cost"].sum() == pytest.approx(schedule.total_cost)
    assert table["level_kwh"].iloc[-1] == pytest.approx(50)
    assert (table["place"] == "home").all()
    table.loc[table.index[0], "cost"] = 5.0  # a copy that can be written
    assert schedule.cost[0] == 0


def test_table_across_the_clock_change():
    """In the night of 1 November 2026 New York has 01:00 twice; the index keeps both, 15 minutes apart."""
    stay = Stay(
        "home",
        datetime(2026, 10, 31, 22, tzinfo=NEW_YORK),
        datetime(2026, 11, 1, 6, tzinfo=NEW_YORK),
        7.2,
        0.9,
        0.1,
        30,
    )
    index = plan(Itinerary(0, 60, [stay])).table().index
    assert len(index) == 36
    assert ((index[1:] - index[:-1]).total_seconds() == 900).all()
    assert (index.strftime("%H:%M") == "01:15").sum() == 2


def test_arrays_cannot_be_written(evening):
    """A schedule stays what was proven."""
    schedule = plan(evening)
    for name in ("wall_kwh", "battery_kwh", "level_kwh", "cost", "price_per_kwh", "start_s", "hours", "current_a"):
        with pytest.raises(ValueError, match="read-only"):
            getattr(schedule, name)[0] = 1


def test_departures_and_a_drive_too_far():
    """A drive of 40 kWh from 20: with the floor 30 short, 20 unserved, and the next stay starts empty."""
    start = datetime(2026, 1, 5, 20, tzinfo=NEW_YORK)
    hour = timedelta(hours=1)
    stays = [
        Stay("home", start, start + hour, 10.0, 1.0, 0.2),
        Stay("work", start + 3 * hour, start + 5 * hour, 10.0, 1.0, 0.2, need_kwh=15),
    ]
    schedule = plan(Itinerary(10, 60, stays, [Drive(40)], floor_kwh=10))
    home, work = schedule.departures
    assert (home.level_kwh, home.need_kwh, home.shortfall_kwh, home.unserved_kwh) == (20, 50, 30, 20)
    assert (work.level_kwh, work.shortfall_kwh, work.unserved_kwh) == (15, 0, 0)
    assert home.time == stays[0].end
    assert schedule.level_kwh[schedule.stay == 1][0] == pytest.approx(2.5)
    assert schedule.certificate.optimal


def test_html_is_escaped(evening):
    """A place named like a tag does no harm in a notebook."""
    named = replace(evening, stays=[replace(evening.stays[0], place="<b>home</b>")])
    page = plan(named)._repr_html_()
    assert "<b>" not in page
    assert "&lt;b&gt;" in page
    assert "proven optimal" in page


def test_not_proven_is_said(evening, monkeypatch):
    """If the certificate does not close, the schedule says so, with the gap."""
    real = schedule_module.certify

    def loose(*args, **rest):
        certificate = real(*args, **rest)
        return replace(certificate, optimal=False, gap=0.25)

    monkeypatch.setattr(schedule_module, "certify", loose)
    schedule = plan(evening)
    assert isinstance(schedule.certificate, Certificate)
    assert schedule.status == "not proven optimal: at most 0.25 dearer than the best plan"
    assert "not proven optimal" in schedule._repr_html_()


def test_no_current_given(evening):
    """Where a stay gives no current, windows have none, and nothing else changes."""
    unknown = replace(evening, stays=[replace(evening.stays[0], current_a=None)])
    schedule = plan(unknown)
    assert schedule.windows[0].current_a is None
    assert np.isnan(schedule.current_a[schedule.wall_kwh > 0]).all()
    assert schedule.total_cost == pytest.approx(plan(evening).total_cost)


def test_two_zones():
    """Each window is told in the zone of its own arrival."""
    # The first place is dearer, so that the second half is bought at the second.
    paris = ZoneInfo("Europe/Paris")
    stays = [
        Stay(
            "here",
            datetime(2026, 1, 5, 20, tzinfo=NEW_YORK),
            datetime(2026, 1, 5, 22, tzinfo=NEW_YORK),
            5.0,
            1.0,
            0.2,
            10,
        ),
        Stay(
            "there", datetime(2026, 1, 7, 20, tzinfo=paris), datetime(2026, 1, 7, 22, tzinfo=paris), 5.0, 1.0, 0.1, 10
        ),
    ]
    windows = plan(Itinerary(5, 60, stays, [Drive(5)])).windows
    assert [window.start.isoformat() for window in windows] == [
        "2026-01-05T20:00:00-05:00",
        "2026-01-07T20:00:00+01:00",
    ]
    with pytest.raises(InputError, match="not a solver"):
        plan(Itinerary(5, 60, stays, [Drive(5)]), solver="best")
