"""When and how well savings pay for what is laid out more at the start."""

from __future__ import annotations

import math
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from chargeplan.charging.numeric import FloatArray, check_number
from chargeplan.study.spending import Spending, Terms, by_year, money
from chargeplan.study.worth import present_value, replacements, with_upkeep

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


def lasting_payback_years(
    base: Spending, other: Spending, terms: Terms, energy: tuple[ArrayLike, ArrayLike], discount_rate: float = 0.0
) -> FloatArray:
    """Find when the savings of a choice have paid back what it costs more, for good: replacements count.

    Parameters
    ----------
    base, other : Spending
        The choice that is compared to, and the one that has to pay.
    terms : Terms
        The horizon, and how upkeep and replacements grow.
    energy : two arrays, shape (..., years)
        What charging costs with each in every year.
    discount_rate : float
        0 for the simple payback; otherwise a replacement is discounted from when it is paid, and the rest from the
        end of its year.

    Returns
    -------
    array, shape (...)
        Years until the flows of outlay, replacements, upkeep and charging, added up, are no longer below zero and
        stay so to the horizon; savings come evenly over each year. 0 where they never are, infinite where they are
        at the horizon. What is left of a lifetime then does not count.

    References
    ----------
    Flows of several signs may cross zero more than once; the last time is when no more money is at stake. With all
    savings of one sign and no replacement this is `payback_years`.

    Examples
    --------
    Saved 100 a year, 350 are back after 3.5 years; 200 to replace it after 4 years are back after 5.5.

    >>> box = Spending(350, 0, lifetime_years=4, replacement=200)
    >>> flows = [100.0] * 7, [0.0] * 7
    >>> float(lasting_payback_years(Spending(0, 0), box, Terms(7, 0.05), flows))
    5.5
    """
    check_number("discount_rate", discount_rate, above=-1, remedy="write a rate, like 0.05 for 5 % a year")
    saved = with_upkeep(base, terms, energy[0]) - with_upkeep(other, terms, energy[1])
    saved = saved * (1 + discount_rate) ** -np.arange(1.0, terms.years + 1)
    bought = [(year, cost) for year, cost in replacements(base, terms)]
    bought += [(year, -cost) for year, cost in replacements(other, terms)]
    times = np.unique(np.concatenate([np.arange(terms.years + 1.0), [year for year, _ in bought]]))
    here = money("outlay", base.outlay) - money("outlay", other.outlay)
    tolerance = _ROUNDING * np.maximum(1e-3, np.abs(here))
    # Where the sum is below zero and rises again, the time of that; what comes later decides.
    found = np.zeros(np.broadcast_shapes(here.shape, saved.shape[:-1]))
    found[...] = np.where(here < -tolerance, np.inf, 0.0)
    for begin, end in pairwise(times.tolist()):
        before = here
        here = here + saved[..., int(begin)] * (end - begin)
        rises = (before < -tolerance) & (here >= -tolerance)
        part = np.divide(-before, here - before, out=np.ones(found.shape), where=rises & (here > before))
        found = np.where(rises, begin + np.clip(part, 0.0, 1.0) * (end - begin), found)
        found = np.where(here < -tolerance, np.inf, found)
        for year, cost in bought:
            if year == end:
                was, here = here, here + cost * (1 + discount_rate) ** -year
                found = np.where((was < -tolerance) & (here >= -tolerance), end, found)
        found = np.where(here < -tolerance, np.inf, found)
    return np.asarray(found, dtype=np.float64)


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
