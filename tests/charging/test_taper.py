"""The taper: straight lines between points, and the lowest of its lines."""

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from chargeplan.charging import Taper
from chargeplan.errors import InputError


@st.composite
def concave_points(draw):
    """A concave curve by construction: falling slopes on random stretches, lifted so that it stays above 0."""
    count = draw(st.integers(1, 6))
    widths = np.array(draw(st.lists(st.floats(0.1, 1), min_size=count, max_size=count)))
    slopes = np.sort(draw(st.lists(st.floats(-200, 200), min_size=count, max_size=count)))[::-1]
    at = np.r_[0, np.cumsum(widths) / widths.sum()]
    at[-1] = 1.0
    kw = np.r_[0, np.cumsum(slopes * np.diff(at))]
    return list(zip(at, kw - kw.min() + draw(st.floats(0.5, 50)), strict=True))


@given(concave_points(), st.lists(st.floats(0, 1), min_size=1, max_size=20))
def test_lines_give_the_curve(points, shares):
    """Against numpy.interp on the points, and against the lowest of the lines."""
    taper, share = Taper(points), np.array(shares)
    at, kw = np.array(points).T
    expected = np.interp(share, at, kw)
    np.testing.assert_allclose(taper.accepted_kw(share), expected, rtol=1e-9, atol=1e-9)
    slope, intercept = taper.segments()
    np.testing.assert_allclose((slope * share[:, None] + intercept).min(axis=1), expected, rtol=1e-6, atol=1e-6)
    assert (np.diff(slope) < 0).all()


@given(concave_points())
def test_never_rises_after_its_highest(points):
    accepted = Taper(points).accepted_kw(np.linspace(0, 1, 101))
    assert (np.diff(accepted[accepted.argmax() :]) <= 1e-9).all()


@given(concave_points(), st.data())
def test_a_sag_is_refused(points, data):
    """A point pulled clearly below the line of its neighbours makes the curve bend up; the message names the place."""
    assume(len(points) > 2)
    i = data.draw(st.integers(1, len(points) - 2))
    (x0, y0), (x1, _), (x2, y2) = points[i - 1 : i + 2]
    chord = y0 + (y2 - y0) * (x1 - x0) / (x2 - x0)
    points[i] = (x1, chord * 0.9)
    with pytest.raises(InputError, match="concave"):
        Taper(points)


def test_message_says_how_to_mend():
    """By hand: between (0.8, 50) and (1, 10) the straight line is at 30 in the middle."""
    with pytest.raises(InputError, match=r"sags at state of charge 0\.9: write at least 30 kW there instead of 20"):
        Taper([(0, 50), (0.8, 50), (0.9, 20), (1, 10)])
    assert Taper([(0, 50), (0.8, 50), (0.9, 30), (1, 10)]).segments()[0].size == 2


@pytest.mark.parametrize(
    "points",
    [
        [],
        [(0, 50)],
        [(0.1, 50), (1, 10)],
        [(0, 50), (0.9, 10)],
        [(0, 50), (0.5, 50), (0.5, 40), (1, 0)],
        [(0, 50), (0.6, 50), (0.5, 50), (1, 0)],
        [(0, 50), (100, 10)],
        [(0, -1), (1, 10)],
        [(0, 0), (1, 0)],
        [(0, 50, 1), (1, 10)],
        [0, 1],
        [("0 %", 50), (1, 10)],
        [(0, float("nan")), (1, 10)],
    ],
)
def test_impossible_tapers(points):
    with pytest.raises(InputError, match="write"):
        Taper(points)


@pytest.mark.parametrize("share", [-0.01, 1.01, 80.0, float("nan")])
def test_impossible_states_of_charge(share):
    with pytest.raises(InputError):
        Taper([(0, 50), (1, 10)]).accepted_kw(share)


def test_rounding_at_full_is_forgiven():
    assert Taper([(0, 50), (1, 10)]).accepted_kw(1 + 1e-12) == 10


def test_equal_and_hashable():
    assert Taper([(0, 50), (1, 10)]) == Taper(((0.0, 50.0), (1.0, 10.0)))
    assert len({Taper([(0, 50), (1, 10)]), Taper(np.array([[0, 50], [1, 10]]))}) == 1
