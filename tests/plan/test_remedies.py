"""A fix makes the target reachable, and one minute or ampere less does not."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from chargeplan.plan import Drive, Itinerary, Stay, plan, problem_from, reach
from chargeplan.plan.remedies import LONGEST_MIN, MOST_MORE_A

START = datetime(2026, 1, 5, 18, 7, tzinfo=UTC)


@st.composite
def short_itineraries(draw):
    """One or two stays with a need that is often out of reach, with or without a taper."""
    stays, time = [], START
    for _ in range(draw(st.integers(1, 2))):
        time += timedelta(minutes=draw(st.integers(0, 200)))
        end = time + timedelta(minutes=draw(st.integers(1, 240)))
        current = draw(st.integers(6, 32))
        price = draw(st.sampled_from([0.1, lambda start_s, step_s: 0.1 + 0.1 * (start_s % 7200 < 3600)]))
        stays.append(Stay("home", time, end, 0.23 * current, 0.9, price, draw(st.floats(0, 40)), 230, current))
        time = end
    taper = draw(st.sampled_from([(), ((-8.0, 9.0),), ((-3.0, 8.0), (0.0, 6.0))]))
    drives = [Drive(draw(st.floats(0, 15))) for _ in stays[1:]]
    return Itinerary(draw(st.floats(0, 40)), 40.0, stays, drives, draw(st.sampled_from([0.0, 5.0])), taper)


def reachable(itinerary, number, changed):
    """Whether the wanted level of a stay is reachable when that stay is changed and what follows left out."""
    cut = replace(itinerary, stays=[*itinerary.stays[:number], changed], drives=itinerary.drives[: max(number, 0) + 1])
    return reach(problem_from(cut)).shortfall_kwh[-1] <= 1e-9


@settings(max_examples=200)
@given(short_itineraries())
def test_fixes_are_enough_and_least(itinerary):
    """For every shortfall: the delay and the current found work, and one less of either does not."""
    schedule = plan(itinerary)
    short = [d.stay for d in schedule.departures if d.shortfall_kwh > 0]
    assert [fix.stay for fix in schedule.fixes] == short
    assume(short)
    for fix in schedule.fixes:
        stay = itinerary.stays[fix.stay]

        def delayed(minutes, stay=stay):
            return replace(stay, end=stay.end + timedelta(minutes=minutes))

        def stronger(amperes, stay=stay):
            factor = (stay.current_a + amperes) / stay.current_a
            return replace(stay, current_a=stay.current_a + amperes, wall_kw=stay.wall_kw * factor)

        most_min = LONGEST_MIN
        if fix.stay + 1 < len(itinerary.stays):
            most_min = (itinerary.stays[fix.stay + 1].start - stay.end) // timedelta(minutes=1)
        fixes = ((fix.leave_later_min, delayed, most_min), (fix.more_a, stronger, MOST_MORE_A))
        for found, change, most in fixes:
            if found is None:
                assert not reachable(itinerary, fix.stay, change(most))
            else:
                assert reachable(itinerary, fix.stay, change(found))
                assert found == 1 or not reachable(itinerary, fix.stay, change(found - 1))


@settings(max_examples=50)
@given(short_itineraries())
def test_applying_a_delay_removes_the_shortfall(itinerary):
    """Planned again with the delay, the last departure is not short any more."""
    schedule = plan(itinerary)
    last = len(itinerary.stays) - 1
    fixes = [fix for fix in schedule.fixes if fix.stay == last and fix.leave_later_min is not None]
    assume(fixes)
    stay = itinerary.stays[last]
    later = replace(stay, end=stay.end + timedelta(minutes=fixes[0].leave_later_min))
    again = plan(replace(itinerary, stays=[*itinerary.stays[:last], later]))
    assert again.departures[last].shortfall_kwh == 0


def home(**changes):
    return Stay("home", START, START + timedelta(hours=1), 3.6, 1.0, 0.1, **({"need_kwh": 10.0} | changes))


def test_by_hand():
    """From 0 kWh, 10 wanted: 3.6 kW need 2 h 46 2/3 min, so 107 min later; in one hour 10 kW, 44.4 A for 16 A."""
    (fix,) = plan(Itinerary(0, 60, [home(current_a=16.0)])).fixes
    assert (fix.leave_later_min, fix.more_a) == (107, 29)
    assert fix.shortfall_kwh == pytest.approx(6.4)


def test_none_where_nothing_helps():
    """No fix for a need above the capacity, for a stay without power, nor a current where none is known."""
    far = Itinerary(0, 60, [home(need_kwh=0.0)], [Drive(70)])
    (fix,) = plan(far).fixes
    assert (fix.leave_later_min, fix.more_a) == (None, None)
    (fix,) = plan(Itinerary(0, 60, [replace(home(current_a=16.0), wall_kw=0.0)])).fixes
    assert (fix.leave_later_min, fix.more_a) == (None, None)
    (fix,) = plan(Itinerary(0, 60, [home()])).fixes
    assert (fix.leave_later_min, fix.more_a) == (107, None)


def test_no_delay_into_the_next_stay():
    """A delay that would reach into the next stay is not offered."""
    work = Stay("work", START + timedelta(hours=2), START + timedelta(hours=3), 3.6, 1.0, 0.1)
    (fix,) = plan(Itinerary(0, 60, [home(), work], [Drive(0)])).fixes
    assert fix.leave_later_min is None
