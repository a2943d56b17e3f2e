"""The dates of a span: instants against the clock one by one, days of the week and holidays against the calendar."""

import os
from datetime import date, timedelta
from zoneinfo import available_timezones

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.clock import wall_s
from chargeplan.study.span import holidays, instants, weekdays

MANY = settings(deadline=None, max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "60")))


@MANY
@given(
    st.sampled_from(sorted(available_timezones())),
    st.dates(date(1972, 1, 1), date(2190, 1, 1)),
    st.lists(st.integers(0, 1440), min_size=1, max_size=250),
)
def test_instants(timezone, first, minutes):
    """Every zone there is, whatever it did to its clock: each instant is that of the clock."""
    found = instants(timezone, first, np.array(minutes, dtype=np.int64))
    assert found.tolist() == [wall_s(timezone, first + timedelta(days=n), minute) for n, minute in enumerate(minutes)]


def test_a_day_that_never_was():
    """Samoa went from 29 to 31 December 2011: the times of the 30th are those of the 31st."""
    found = instants("Pacific/Apia", date(2011, 12, 29), np.array([720, 720, 720]))
    assert (np.diff(found) / 3600).tolist() == [24, 0]


@MANY
@given(st.dates(date(1971, 1, 1), date(2190, 1, 1)), st.integers(1, 800))
def test_days_of_the_week_and_holidays(first, days):
    """By the standard library; each date is asked for once."""
    dates = [first + timedelta(days=n) for n in range(days)]
    assert weekdays(first, days).tolist() == [day.weekday() for day in dates]
    asked = []

    def is_holiday(day):
        asked.append(day)
        return day.day == 4

    for _ in range(2):
        assert holidays(first, days, is_holiday).tolist() == [day.day == 4 for day in dates]
    assert asked == dates
