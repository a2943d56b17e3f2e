"""When and how well savings pay for what is laid out more at the start."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from chargeplan.charging.numeric import FloatArray, check_number
from chargeplan.study.spending import by_year, money
from chargeplan.study.worth import present_value

_ROUNDING: Final = 1e-9


def payback_years(extra_outlay: ArrayLike, savings: ArrayLike, discount_rate: float = 0.0) -> FloatArray:
    """Find when savings have paid back what was laid out more.

    Parameters
    ----------
    extra_outlay : float or array, shape (...)
        What is paid more now.
    savings : array, shape (..., years)
        What is paid less in each year.
    discount_rate : float
        0 for the simple payback; otherwise savings are discounted from the end of their year.

    Returns
    -------
    array, shape (...)
        Years until it is paid back for the first time, the last one in proportion; 0 where nothing is paid more, and
        infinite where the savings never reach it.

    Raises
    ------
    InputError
        If a number cannot be.

    References
    ----------
    Payback with the year of recovery in proportion, simple and discounted: Brigham and Ehrhardt, Financial
    Management: Theory and Practice, on capital budgeting.

    Examples
    --------
    >>> float(payback_years(500, [80.0] * 10)), float(payback_years(900, [80.0] * 10))
    (6.25, inf)
    >>> round(float(payback_years(500, [80.0] * 10, 0.04)), 2)
    7.34
    """
    check_number("discount_rate", discount_rate, above=-1, remedy="write a rate, like 0.05 for 5 % a year")
    flows = by_year(savings)
    years = flows.shape[-1]
    extra = money("extra_outlay", extra_outlay)
    worth = flows * (1 + discount_rate) ** -np.arange(1.0, years + 1)
    extra, together = np.broadcast_arrays(extra[..., None], np.cumsum(worth, axis=-1))
    # The tolerance keeps ten times 0.1 equal to 1.
    reached = together >= extra - _ROUNDING * np.maximum(1e-3, np.abs(extra))
    year = np.argmax(reached, axis=-1)[..., None]
    saved = np.take_along_axis(np.broadcast_to(worth, together.shape), year, axis=-1)
    missing = np.take_along_axis(extra - together, year, axis=-1) + saved
    part = np.divide(missing, saved, out=np.zeros_like(saved), where=saved > 0)
    ever, free = reached.any(axis=-1), extra[..., 0] <= _ROUNDING
    found: FloatArray = np.where(ever, (year + np.clip(part, 0.0, 1.0))[..., 0], np.inf)
    return np.asarray(np.where(free, 0.0, found))


def internal_rate(extra_outlay: ArrayLike, savings: ArrayLike) -> FloatArray:
    """Find the discount rate at which savings are worth just what was laid out more.

    Parameters
    ----------
    extra_outlay : float or array, shape (...)
        What is paid more now.
    savings : array, shape (..., years)
        What is paid less in each year.

    Returns
    -------
    array, shape (...)
        Per year; NaN where nothing is laid out or saved, or where a year costs more, since there need not be one.

    References
    ----------
    Brealey, Myers and Allen, Principles of Corporate Finance, on the internal rate of return and its pitfalls.

    Examples
    --------
    >>> round(float(internal_rate(100.0, [60.0, 60.0])), 4)
    0.1307
    """
    flows = by_year(savings)
    extra = money("extra_outlay", extra_outlay)
    shape = np.broadcast_shapes(extra.shape, flows.shape[:-1])
    extra, flows = np.broadcast_to(extra, shape), np.broadcast_to(flows, (*shape, flows.shape[-1]))
    found = np.full(shape, np.nan)
    for place in np.ndindex(shape):
        outlay, amounts = float(extra[place]), flows[place]
        if outlay > 0 and (amounts >= 0).all() and amounts.any():
            found[place] = _rate(outlay, amounts)
    return found


def _rate(outlay: float, amounts: FloatArray) -> float:
    # With savings of one sign there is one rate, between 0 and the gain over all years at once.
    gain = float(amounts.sum()) / outlay - 1
    if abs(gain) < _ROUNDING:
        return 0.0

    def short(rate: float) -> float:
        return float(present_value(amounts, rate)) - outlay

    # A little further than the gain, which is the rate itself if all is saved in the first year.
    end = (1 + gain) * (1 + math.copysign(_ROUNDING, gain)) - 1
    return float(brentq(short, min(0.0, end), max(0.0, end), xtol=1e-12))
