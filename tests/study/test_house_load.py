"""What the house uses: an invented day on the wall clock, and a meter's year laid on another."""

from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.clock import day_number, day_start_s
from chargeplan.errors import FileError, InputError
from chargeplan.study.house_load import MeterLoad, UsualLoad, meter_load

ZONE = "America/Denver"


def grid(first, after, step_s=3600):
    """Starts of intervals from one midnight to another."""
    return np.arange(day_start_s(ZONE, first), day_start_s(ZONE, after), step_s)


def meter(first, after, step_s=3600):
    """A meter whose value tells when it was: day number since 1970 plus the hour of the wall clock / 100."""
    start_s = grid(first, after, step_s)
    local = pd.DatetimeIndex(start_s.astype("datetime64[s]"), tz="UTC").tz_convert(ZONE)
    return MeterLoad(ZONE, start_s, step_s, np.array([m.toordinal() - 719163 + m.hour / 100 for m in local]))


@pytest.mark.parametrize("step_s", [900, 1800, 3600])
def test_a_year_of_usual_days(step_s):
    """365 days of 24 kWh; the days of the clock changes lose and gain what the clock does."""
    load = UsualLoad(ZONE, 24.0)
    used = load.kwh(grid(date(2026, 1, 1), date(2027, 1, 1), step_s), step_s)
    hours = np.array(load.by_hour) / sum(load.by_hour)
    assert used.sum() == pytest.approx(365 * 24 - 24 * hours[2] + 24 * hours[1])


def test_months():
    load = UsualLoad(ZONE, 10.0, by_month=(2.0, *(1.0,) * 11))
    assert load.kwh(grid(date(2026, 1, 5), date(2026, 1, 6)), 3600).sum() == pytest.approx(20)
    assert load.kwh(grid(date(2026, 2, 5), date(2026, 2, 6)), 3600).sum() == pytest.approx(10)


@pytest.mark.parametrize("wrong", [{"by_month": (1.0,) * 11}, {"by_hour": (0.0,) * 24}, {"per_day_kwh": -1.0}])
def test_usual_days_that_cannot_be(wrong):
    with pytest.raises(InputError, match="give"):
        UsualLoad(**{"timezone": ZONE, "per_day_kwh": 1.0, **wrong})


def test_a_meters_own_days_are_taken_as_they_are():
    """Also cut finer and added up coarser."""
    load = meter(date(2026, 3, 1), date(2026, 3, 20), 1800)
    inside = grid(date(2026, 3, 5), date(2026, 3, 12), 1800)
    wanted = load.value_kwh[np.searchsorted(load.start_s, inside)]
    np.testing.assert_allclose(load.kwh(inside, 1800), wanted)
    np.testing.assert_allclose(load.kwh(inside[::2], 3600), wanted.reshape(-1, 2).sum(axis=1))
    quarters = grid(date(2026, 3, 5), date(2026, 3, 12), 900)
    np.testing.assert_allclose(load.kwh(quarters, 900), np.repeat(wanted, 2) / 2)


@given(st.dates(date(1999, 1, 1), date(2040, 1, 1)))
def test_another_year_has_the_same_weekday_hour_and_nearly_the_same_date(day):
    """A meter's 2011 on any other year: weekdays agree, dates differ by no more than a week."""
    load = meter(date(2011, 1, 1), date(2012, 1, 1))
    number = day_number(day)
    found = load.kwh(grid(day, date.fromordinal(day.toordinal() + 1)), 3600)
    source = np.floor(found + 1e-9).astype(int)
    assert (np.abs(source - source[0]) == 0).all()
    assert (int(source[0]) - number) % 7 == 0
    date_of = date.fromordinal(int(source[0]) + 719163)
    assert date_of.year == 2011
    apart = (date_of.timetuple().tm_yday - day.timetuple().tm_yday) % 365
    assert min(apart, 365 - apart) <= 7
    hours = np.round(100 * (found - source)).astype(int)
    assert set(hours.tolist()) >= set(range(24)) - {2}


def test_too_little_of_a_meter_is_refused():
    load = meter(date(2026, 3, 1), date(2026, 6, 1))
    with pytest.raises(InputError, match="covers 92 days, neither the days of the study nor a year of 52 weeks"):
        load.kwh(grid(date(2026, 7, 1), date(2026, 7, 2)), 3600)


def test_a_file_of_a_meter(tmp_path):
    """The same reader as for bills, with its messages."""
    file = tmp_path / "meter.csv"
    file.write_text("start,kwh\n2026-01-01T00:00-07:00,1\n2026-01-01T01:00-07:00,2\n", encoding="utf-8")
    load = meter_load(file, ZONE)
    assert (load.step_s, load.value_kwh.tolist()) == (3600, [1.0, 2.0])
    file.write_text("start,kwh\n2026-01-01T00:00-07:00,x\n2026-01-01T01:00-07:00,2\n", encoding="utf-8")
    with pytest.raises(FileError, match=r"meter\.csv:2:"):
        meter_load(file, ZONE)
    with pytest.raises(InputError, match="divide an hour"):
        MeterLoad(ZONE, np.arange(0, 86_400, 7200), 7200, np.ones(12))
