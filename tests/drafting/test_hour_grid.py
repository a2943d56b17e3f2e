"""Grids of hours as seasons and periods: what the sheet says gives back every hour of the grid."""

import json
from datetime import date, timedelta
from random import Random

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from chargeplan.drafting.edges import parse_edges
from chargeplan.drafting.hour_grid import HourGrid, grid_words
from chargeplan.errors import InputError
from chargeplan.tariff import read_tariff

EVENING = [[0] * 16 + [1] * 5 + [0] * 3] * 12
NIGHT = [[0] * 24] * 12


def sheet_of(words, prices):
    """Read a sheet made of the words, whose price is the number of the period."""
    data = {"name": "A", "currency": "USD", "timezone": "UTC", "prices": prices}
    if words.seasons:
        data["seasons"] = words.seasons
    if words.periods:
        data["periods"] = {name: hours[0] if hours == ["rest"] else hours for name, hours in words.periods.items()}
    return read_tariff(json.dumps(data))


def numbers_of_year(words, year=2023):
    """The number of the period in every hour of a year, as the sheet's compiled calendar has it."""
    sheet = sheet_of(words, words.table({number: float(number) for number in words.numbers.values()}))
    frame = sheet.frame(f"{year}-01-01", f"{year + 1}-01-01", "1 h")
    season = frame["season"].astype(str).replace("all year", "")
    labels = zip(season, frame["period"].astype(str), strict=True)
    found = np.array([words.numbers[label] for label in labels])
    assert (frame["price_per_kwh"].to_numpy() == found).all()
    return found


def grid_of_year(grid, year=2023):
    """The same, counted by hand from the rows."""
    first = date(year, 1, 1)
    days = [first + timedelta(days=n) for n in range(365)]
    return np.concatenate([(grid.weekend if day.weekday() > 4 else grid.weekday)[day.month - 1] for day in days])


@st.composite
def grids(draw):
    """Grids with few or many kinds of rows, now and then with no order at all."""
    numbers = st.integers(0, draw(st.sampled_from([1, 2, 3, 5, 11])))
    run = st.tuples(st.integers(1, 12), numbers)
    rows = st.lists(run, min_size=24, max_size=24).map(lambda runs: [n for k, n in runs for _ in range(k)][:24])
    kinds = draw(st.lists(rows, min_size=1, max_size=draw(st.sampled_from([2, 4, 24]))))
    choice = st.lists(st.integers(0, len(kinds) - 1), min_size=12, max_size=12)
    weekday, weekend = draw(choice), draw(choice)
    return HourGrid.of([kinds[n] for n in weekday], [kinds[n] for n in weekend])


@settings(deadline=None)
@given(grids(), st.randoms(use_true_random=False), st.booleans())
@example(HourGrid.of(EVENING, NIGHT), Random(1), True)
def test_every_hour_of_a_year_has_the_number_of_the_grid(grid, random, north):
    ranks = {number: random.choice([0.1, 0.2, 0.3]) for number in grid.numbers}
    words = grid_words(grid, ranks, july_is_summer=north)
    assert set(words.numbers.values()) == set(grid.numbers)
    assert (numbers_of_year(words) == grid_of_year(grid)).all()


@settings(deadline=None)
@given(grids())
def test_names_rise_with_the_rank(grid):
    """Within a season what is dearer has the name of the higher level."""
    words = grid_words(grid, {number: -number for number in grid.numbers})
    order = [*reversed(words.periods)]
    for season in words.seasons or [""]:
        row = [words.numbers[season, name] for name in order if (season, name) in words.numbers]
        assert row == sorted(row, reverse=True)


def test_reads_like_a_printed_sheet():
    summer = [[2] * 7 + [1] * 9 + [0] * 5 + [1] * 2 + [2]]
    winter = [[3] * 7 + [4] * 14 + [3] * 3]
    grid = HourGrid.of(winter * 5 + summer * 4 + winter * 3, [[3] * 24] * 5 + [[2] * 24] * 4 + [[3] * 24] * 3)
    words = grid_words(grid, {0: 0.5, 1: 0.3, 2: 0.1, 3: 0.08, 4: 0.12})
    assert words.seasons == {"summer": "Jun - Sep", "winter": "Oct - May"}
    assert words.periods == {
        "peak": ["16:00-21:00 on weekdays in summer", "07:00-21:00 on weekdays in winter"],
        "mid-peak": ["07:00-16:00, 21:00-23:00 on weekdays in summer"],
        "off-peak": ["rest"],
    }
    assert words.table({n: n for n in range(5)}) == {
        "summer": {"peak": 0, "mid-peak": 1, "off-peak": 2},
        "winter": {"peak": 4, "off-peak": 3},
    }


@pytest.mark.parametrize(
    ("months", "seasons"),
    [
        ("aaaaaaaaaaaa", {}),
        ("aaabbbbbbbbb", {"summer": "Apr - Dec", "winter": "Jan - Mar"}),
        ("baabaaaabbba", {"Feb-Mar May-Aug Dec": "rest", "Jan Apr Sep-Nov": "Jan, Apr, Sep - Nov"}),
        ("aabbbccccbba", {"winter": "Dec - Feb", "Mar-May Oct-Nov": "rest", "summer": "Jun - Sep"}),
        ("abcdabcdabcd", {"Jan May Sep": "rest", "Feb Jun Oct": "Feb, Jun, Oct", "Mar Jul Nov": "Mar, Jul, Nov",
                          "Apr Aug Dec": "Apr, Aug, Dec"}),
    ],
)  # fmt: skip
def test_seasons(months, seasons):
    grid = HourGrid.of([[ord(month) - 97] * 24 for month in months], [[ord(month) - 97] * 24 for month in months])
    words = grid_words(grid, dict.fromkeys(range(4), 0))
    assert words.seasons == seasons
    assert (numbers_of_year(words) == grid_of_year(grid)).all()


def test_seasons_of_the_south_are_called_by_their_months():
    grid = HourGrid.of([[0] * 24] * 3 + [[1] * 24] * 9, [[0] * 24] * 3 + [[1] * 24] * 9)
    assert list(grid_words(grid, {0: 1, 1: 2}, july_is_summer=False).seasons) == ["Apr-Dec", "Jan-Mar"]


def test_more_levels_than_names():
    row = [n // 4 for n in range(24)]
    words = grid_words(HourGrid.of([row] * 12, [row] * 12), {n: n for n in range(6)})
    assert list(words.periods) == [f"level {n}" for n in (6, 5, 4, 3, 2, 1)]
    assert words.periods["level 3"] == ["08:00-12:00"]


def test_more_periods_than_a_sheet_can_hold():
    with pytest.raises(InputError, match="a month has 30 periods; a rate sheet can have 24"):
        grid_words(HourGrid.of([[*range(24)]] * 12, [[*range(24, 30)] * 4] * 12), {n: n for n in range(30)})


def test_a_moved_boundary_moves_in_every_season():
    words = grid_words(HourGrid.of(EVENING, NIGHT), {0: 1, 1: 2}, parse_edges(["16=16:30", "21:00=20:45"]))
    assert words.periods["peak"] == ["16:30-20:45 on weekdays"]


def test_boundaries_are_found():
    assert HourGrid.of(EVENING, NIGHT).boundaries == {16, 21}


@pytest.mark.parametrize("shape", [(11, 24), (12, 23), (12, 25), (13, 24)])
def test_other_shapes_are_refused(shape):
    rows = np.zeros(shape, dtype=int).tolist()
    with pytest.raises(InputError, match="12 rows of 24"):
        HourGrid.of(rows, NIGHT)


@pytest.mark.parametrize(
    ("texts", "message"),
    [
        (["17"], "`17` does not say where a boundary of hours moves"),
        (["five=17:30"], "does not say where"),
        (["17=25:00"], "does not say where"),
        (["17:30=18:00"], "a table has no boundary at 17:30"),
        (["0=00:30"], "midnight cannot be moved"),
        (["24=23:30"], "midnight cannot be moved"),
        (["17=18:00"], "the boundary at 17:00 cannot be at 18:00, past the next whole hour"),
        (["17=15:30"], "write a time between 16:00 and 18:00"),
        (["17=17:45", "18=17:30"], "cannot be at"),
        (["17=17:30", "17=17:15"], "the boundary at 17:00 is moved twice"),
    ],
)
def test_boundaries_that_cannot_be_moved(texts, message):
    with pytest.raises(InputError, match=message):
        parse_edges(texts)
