"""Cold: temperatures by day against what the months say, the curve by hand, and files with every mistake."""

import os
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.clock import day_number
from chargeplan.errors import FileError, InputError
from chargeplan.study.cold import Cold, DailyMeans, MonthlyMeans
from chargeplan.study.temperature_file import read_temperatures

MANY = settings(deadline=None, max_examples=int(os.environ.get("CHARGEPLAN_EXAMPLES", "60")))
INLAND = (-4.0, -2.0, 3.0, 8.0, 13.0, 18.0, 22.0, 21.0, 16.0, 9.0, 2.0, -3.0)


def days(first, count):
    return np.arange(count, dtype=np.int64) + day_number(first)


# -------------------------------------------------------------------------------------------------- monthly means


@MANY
@given(st.lists(st.floats(-40, 40), min_size=12, max_size=12), st.sampled_from([2026, 2027, 2028, 2100]))
def test_the_days_of_a_month_have_its_mean(means, year):
    """Every month of a common and of a leap year, counted with the calendar of the standard library."""
    temperature = MonthlyMeans(tuple(means))
    for month in range(1, 13):
        first = date(year, month, 1)
        count = (date(year + month // 12, month % 12 + 1, 1) - first).days
        assert temperature.of_days(days(first, count)).mean() == pytest.approx(means[month - 1], abs=1e-9)


def test_the_course_between_is_smooth():
    """The months of a cosine give the cosine back, within a tenth of a degree of a swing of 24; days do not jump.

    The mean of a cosine over a month is that of its integral.
    """
    turn = 2 * np.pi / 12
    ends = np.arange(13)
    means = 10 - 12 * np.diff(np.sin(turn * (ends - 0.5))) / turn
    of_days = MonthlyMeans(tuple(means)).of_days(days(date(2026, 1, 1), 365))
    middle = []
    for month in range(1, 13):
        count = (date(2026 + month // 12, month % 12 + 1, 1) - date(2026, month, 1)).days
        middle += [month - 1 + (day + 0.5) / count for day in range(count)]
    assert np.abs(of_days - (10 - 12 * np.cos(turn * (np.array(middle) - 0.5)))).max() < 0.1
    over_new_year = MonthlyMeans(INLAND).of_days(days(date(2026, 1, 1), 800))
    assert np.abs(np.diff(over_new_year)).max() < 0.4
    assert np.abs(np.diff(over_new_year, 2)).max() < 0.05


def test_one_temperature_all_the_year():
    """Twelve equal months have equal days, and each year is as the other."""
    assert MonthlyMeans((7.0,) * 12).of_days(days(date(2026, 1, 1), 1000)) == pytest.approx(np.full(1000, 7.0))
    inland = MonthlyMeans(INLAND)
    one, other = (inland.of_days(days(date(year, 1, 1), 365)) for year in (2026, 2027))
    assert np.array_equal(one, other)
    backwards = days(date(2026, 1, 1), 365)[::-1]
    assert np.array_equal(inland.of_days(backwards), one[::-1]), "any order will do"


# ------------------------------------------------------------------------------------------------------ the curve


def test_the_curve():
    """Straight lines between the points and level beyond them; the points in any order.

    A third more at 0 °C and two thirds more at -15 °C: common practice, no source.
    """
    temperature = DailyMeans(0, np.array([30.0, 20.0, 10.0, 0.0, -7.5, -15.0, -40.0]))
    expected = [1.0, 1.0, 1.165, 1.33, 1.495, 1.66, 1.66]
    for curve in (((20.0, 1.0), (0.0, 1.33), (-15.0, 1.66)), ((-15.0, 1.66), (20.0, 1.0), (0.0, 1.33))):
        assert Cold(temperature, curve).factor(np.arange(7)) == pytest.approx(expected)


def test_warmth_may_cost_too():
    """Cooling the cabin is a point of the curve like any other; one point alone holds at all temperatures."""
    temperature = DailyMeans(0, np.array([38.0, 20.0]))
    assert Cold(temperature, ((20.0, 1.0), (38.0, 1.18))).factor(np.arange(2)).tolist() == [1.18, 1.0]
    assert Cold(temperature, ((20.0, 1.1),)).factor(np.arange(2)).tolist() == [1.1, 1.1]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: MonthlyMeans((1.0,) * 11), "there are 11 monthly means"),
        (lambda: MonthlyMeans((1.0,) * 11 + (75.0,)), "a temperature is 75, which cannot be; write degrees Celsius"),
        (lambda: DailyMeans(0, np.array([])), "no temperatures"),
        (lambda: DailyMeans(0, np.array([1.0, np.nan])), "a temperature is nan"),
        (lambda: Cold(MonthlyMeans(INLAND), ()), "has no point"),
        (lambda: Cold(MonthlyMeans(INLAND), ((20.0, 0.0),)), "factor is 0, which cannot be; .* at 20 °C, like 1.3"),
        (lambda: Cold(MonthlyMeans(INLAND), ((-100.0, 1.0),)), "a temperature is -100"),
        (lambda: Cold(MonthlyMeans(INLAND), ((0.0, 1.3), (20.0, 1.0), (0.0, 1.2))), "two factors at 0 °C"),
        (lambda: DailyMeans(day_number(date(2026, 1, 1)), np.zeros(3)).of_days(days(date(2025, 12, 31), 2)),
         "no temperature for 2025-12-31, only for 2026-01-01 to 2026-01-03"),
        (lambda: DailyMeans(day_number(date(2026, 1, 1)), np.zeros(3)).of_days(days(date(2026, 1, 3), 2)),
         "no temperature for 2026-01-04"),
    ],
)  # fmt: skip
def test_what_cannot_be_is_refused(make, message):
    """One clear message each."""
    with pytest.raises(InputError, match=message):
        make()


# ---------------------------------------------------------------------------------------------------------- files


def written(tmp_path, *lines, name="days.csv"):
    file = tmp_path / name
    file.write_text("\n".join(lines), encoding="utf-8")
    return file


@pytest.mark.parametrize(
    "lines",
    [
        ("date,temperature", "2026-02-28,-5", "2026-03-01,10.0"),
        ("date,temperature_c", "2026-02-28,-5.0", "2026-03-01,10"),
        ("Date;Temperature (°C);Station", "2026-02-28;−5;one", "2026-03-01;10;one"),
        ("date,temperature_f", "2026-02-28,23", "2026-03-01,50"),
        ("temperature [°F]\tdate", "23\t2026-02-28", "50\t2026-03-01"),
        ("date,temperature", "2026-02-28,23 °F", "2026-03-01,10 °C"),
        ("date,temperature", "2026-02-28,23F", "2026-03-01,10 C", ""),
    ],
)
def test_a_file_of_days(tmp_path, lines):
    """Units in the name of the column or in the cells, or degrees Celsius; -5 °C is 23 °F, and 10 °C is 50 °F."""
    found = read_temperatures(written(tmp_path, *lines))
    assert found.first_day == day_number(date(2026, 2, 28))
    assert found.mean_c == pytest.approx([-5.0, 10.0])


def test_a_parquet_file(tmp_path):
    """As pandas writes it, with stamps for dates, in a column or as the index."""
    pd = pytest.importorskip("pandas")
    pytest.importorskip("pyarrow")
    index = pd.date_range("2026-02-28", periods=2, name="date")
    frame = pd.DataFrame({"temperature_c": [-5.0, 10.0]}, index=index)
    frame.to_parquet(tmp_path / "index.parquet")
    frame.reset_index().to_parquet(tmp_path / "column.parquet")
    for name in ("index.parquet", "column.parquet"):
        assert read_temperatures(tmp_path / name).mean_c.tolist() == [-5.0, 10.0]


def test_every_mistake_at_once(tmp_path):
    """Each with line, column and remedy, those of dates and those of temperatures."""
    file = written(
        tmp_path,
        "date,temperature",
        "2026-01-01,-5",
        "2026-01-02,",
        "2026-01-05,mild",
        "2026-01-06,75",
        "2026-01-06,1",
        "2026-01-04,1",
        "06.01.2026,1",
        "2026-01-06,1 K",
    )
    with pytest.raises(FileError) as error:
        read_temperatures(file)
    text = str(error.value).replace(str(file), "days.csv")
    assert text.splitlines() == [
        "days.csv:3:12: `temperature` is missing; a temperature is needed for every day",
        "days.csv:4:1: 2 days are missing above, from 2026-01-03; write a row for every day",
        "days.csv:4:12: `mild` is no temperature; write for example -4.5, in degrees Celsius, or 24 °F",
        "days.csv:5:12: a day of 75 (75 °C) cannot be; "
        "is the unit right? name the column `temperature_f` if it is degrees Fahrenheit",
        "days.csv:6:1: 2026-01-06 is there twice; keep one of them",
        "days.csv:7:1: 2026-01-04 lies before the date above it; put the rows in order of time",
        "days.csv:8:1: `06.01.2026` is not a date; write for example 2026-01-31; years 1971 to 2199",
        "days.csv:9:12: `1 K` is no temperature; write for example -4.5, in degrees Celsius, or 24 °F",
    ]


@pytest.mark.parametrize(
    ("lines", "message"),
    [
        (("date,temperature",), "days.csv:1:1: the file has no rows; write a line `date,temperature_c`"),
        (("day,degrees", "2026-01-01,1"), "there is no column `date`"),
        (("day,degrees", "2026-01-01,1"), "there is no column `temperature_c`; name the temperatures"),
        (("date,date,temperature", "2026-01-01,2026-01-01,1"), "two columns `date`"),
        (("date,temperature_c,temperature_f", "2026-01-01,1,34"), "the columns `temperature_c` and `temperature_f`"),
        (("date,temperature_c", "2026-01-01,1 °C"), "`1 °C` is no temperature; write for example -4.5"),
        (("date,temperature_f", "2026-01-01,500"), r"a day of 500 \(260 °C\) cannot be"),
        (("date,temperature", "2026-01-01,1", "2026-01-03,1"), "days.csv:3:1: 2026-01-02 is missing above"),
        (("date,temperature", "1900-01-01,1"), "`1900-01-01` is not a date"),
    ],
)
def test_mistakes_of_a_file(tmp_path, lines, message):
    """One at a time."""
    with pytest.raises(FileError, match=message):
        read_temperatures(written(tmp_path, *lines))


def test_no_such_file(tmp_path):
    """A file that is not there is said to be so."""
    with pytest.raises(FileError, match="cannot read the file"):
        read_temperatures(tmp_path / "none.csv")


@MANY
@given(st.dates(date(1971, 1, 1), date(2198, 1, 1)), st.lists(st.integers(-600, 450), min_size=1, max_size=40))
def test_what_is_written_is_read(tmp_path_factory, first, tenths):
    """Any run of days comes back as it was."""
    lines = [f"{first + timedelta(days=n)},{tenth / 10}" for n, tenth in enumerate(tenths)]
    found = read_temperatures(written(tmp_path_factory.mktemp("cold"), "date,temperature_c", *lines))
    assert found.first_day == day_number(first)
    assert found.mean_c.tolist() == [tenth / 10 for tenth in tenths]
