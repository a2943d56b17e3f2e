"""From a calendar to arrays: exact times, shared slots, clock changes, and mistakes."""

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.plan import Drive, Itinerary, Problem, Stay, night, problem_from

NEW_YORK = ZoneInfo("America/New_York")
MONDAY = datetime(2026, 1, 5, tzinfo=UTC)


def stay(start, end, place="home", **changes):
    return Stay(place, start, end, **({"wall_kw": 6.0, "gain": 0.9} | changes))


@settings(max_examples=300)
@given(
    st.lists(st.tuples(st.integers(0, 20_000), st.integers(1, 100_000)), min_size=1, max_size=5),
    st.sampled_from([1, 2, 3, 4, 5, 6, 10, 12, 15, 20, 30, 60]),
)
def test_slots_tile_each_stay(gaps_and_lengths, step_min):
    """To the second: the slots of a stay follow each other from arrival to departure, cut at the UTC grid."""
    time, stays = MONDAY, []
    for gap, length in gaps_and_lengths:
        stays.append(stay(time + timedelta(seconds=gap), time + timedelta(seconds=gap + length)))
        time = stays[-1].end
    problem = problem_from(Itinerary(10, 60, stays, [Drive(1)] * (len(stays) - 1)), step_min)
    end_s = problem.start_s + np.round(3600 * problem.hours).astype(np.int64)
    for number, one in enumerate(stays):
        here = problem.stay == number
        assert problem.start_s[here][0] == one.start.timestamp()
        assert end_s[here][-1] == one.end.timestamp()
        assert (problem.start_s[here][1:] == end_s[here][:-1]).all()
        assert (problem.start_s[here][1:] % (60 * step_min) == 0).all()
    assert (problem.hours <= step_min / 60).all()
    assert problem.max_kwh == pytest.approx(6.0 * problem.hours)


def test_two_stays_in_one_slot():
    """Leaving at 08:05 and plugged in at work at 08:10: the slot from 08:00 is there twice, 5 min each."""
    home = stay(MONDAY + timedelta(hours=7), MONDAY + timedelta(hours=8, minutes=5))
    work = stay(MONDAY + timedelta(hours=8, minutes=10), MONDAY + timedelta(hours=9), "work")
    problem = problem_from(Itinerary(10, 60, [home, work], [Drive(2)]))
    shared = problem.start_s // 900 == (MONDAY + timedelta(hours=8)).timestamp() // 900
    assert problem.stay[shared].tolist() == [0, 1]
    assert (60 * problem.hours[shared]).round().tolist() == [5, 5]


@pytest.mark.parametrize(("day", "hours"), [((2026, 3, 8), 23), ((2026, 11, 1), 25), ((2026, 7, 1), 24)])
def test_a_day_has_23_24_or_25_hours(day, hours):
    """Clock changes in New York, 8 March and 1 November 2026 (second Sunday, first Sunday: 15 USC 260a)."""
    start = datetime(*day, tzinfo=NEW_YORK)
    problem = problem_from(Itinerary(10, 60, [stay(start, start + timedelta(days=1))]))
    assert problem.slots == 4 * hours
    assert problem.hours.sum() == hours


def test_price_functions_are_asked_once_for_whole_grid_slots():
    """Stays that share a function are asked together, for whole slots, so that prices need no cut times."""
    asked = []

    def price(start_s, step_s):
        asked.append((start_s.copy(), step_s))
        return (start_s % 86_400) / 86_400

    stays = [stay(MONDAY + timedelta(days=k, minutes=7), MONDAY + timedelta(days=k, minutes=40)) for k in range(3)]
    from dataclasses import replace

    problem = problem_from(Itinerary(10, 60, [replace(s, price_per_kwh=price) for s in stays], [Drive(1)] * 2))
    assert len(asked) == 1
    start_s, step_s = asked[0]
    assert step_s == 900
    assert (start_s % 900 == 0).all()
    assert problem.price_per_kwh == pytest.approx(np.tile([0, 900, 1800], 3) / 86_400)


def test_prices_as_number_and_array():
    """A number holds for all slots of a stay; an array gives one price each."""
    one = stay(MONDAY, MONDAY + timedelta(minutes=30), price_per_kwh=[0.1, 0.2])
    two = stay(MONDAY + timedelta(hours=1), MONDAY + timedelta(hours=1, minutes=30), price_per_kwh=0.3)
    assert problem_from(Itinerary(10, 60, [one, two], [Drive(1)])).price_per_kwh.tolist() == [0.1, 0.2, 0.3, 0.3]


HOUR = timedelta(hours=1)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: stay(datetime(2026, 1, 5), MONDAY + HOUR), "no time zone"),
        (lambda: stay(MONDAY, MONDAY), "not after arrival"),
        (lambda: stay(MONDAY + HOUR, MONDAY), "not after arrival"),
        (lambda: stay(MONDAY, MONDAY + HOUR, gain=1.1), "gain at home"),
        (lambda: stay(MONDAY, MONDAY + HOUR, wall_kw=-1.0), "wall_kw at home"),
        (lambda: stay(MONDAY, MONDAY + HOUR, current_a=5.0), "below the least current"),
        (lambda: Itinerary(10, 60, []), "no stay"),
        (lambda: Itinerary(70, 60, [stay(MONDAY, MONDAY + HOUR)]), "level_kwh"),
        (lambda: Itinerary(10, 60, [stay(MONDAY, MONDAY + HOUR, need_kwh=61)]), "need_kwh at home"),
        (
            lambda: Itinerary(
                10, 60, [stay(MONDAY, MONDAY + 2 * HOUR), stay(MONDAY + HOUR, MONDAY + 3 * HOUR)], [Drive(1)]
            ),
            "before the stay",
        ),
        (lambda: Itinerary(10, 60, [stay(MONDAY, MONDAY + HOUR)] * 3, []), "drives do not fit"),
        (lambda: Itinerary(10, 60, [stay(MONDAY, MONDAY + HOUR)], taper=[(-9.0, 8.0)]), "taper accepts -1 kW"),
        (lambda: Drive(float("nan")), "battery_kwh of a drive"),
        (lambda: problem_from(Itinerary(10, 60, [stay(MONDAY, MONDAY + HOUR)]), 7), "divide the hour"),
        (
            lambda: problem_from(Itinerary(10, 60, [stay(MONDAY, MONDAY + HOUR, price_per_kwh=[0.1])])),
            "4 slots of 15 min but 1 prices",
        ),
        (lambda: night([0.1, float("nan")], 4.0, 1.0), "1970-01-01T00:15:00"),
        (lambda: night([], 4.0, 1.0), "nothing to plan"),
        (lambda: night([0.1], 4.0, 1.0, capacity_kwh=float("inf")), None),
    ],
)
def test_mistakes_get_one_plain_message(make, words):
    """Each mistake is an InputError that names the value and what would be right."""
    with pytest.raises(InputError, match=words):
        make()


def test_stays_must_count_up():
    """A stay left out of the arrays is refused, not silently merged."""
    ones = np.ones(2)
    with pytest.raises(InputError, match="count 0, 1, 2"):
        Problem(np.arange(2), ones, np.array([0, 2]), ones, ones, ones, np.ones(3), np.ones(3), 0.0, 5.0)
