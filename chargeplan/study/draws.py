"""Random numbers by date: whoever asks, for whatever span, a date has the same number for the same seed."""

from __future__ import annotations

from calendar import isleap
from datetime import date, timedelta
from typing import Final, TypeAlias

import numpy as np

from chargeplan.charging.numeric import FloatArray
from chargeplan.errors import InputError

#: A spread so small makes no difference, and its square is no number any more.
_NO_SPREAD: Final = 1e-6
#: A whole number of 0 or more, or several of them, such as that of the study and that of a household.
Seed: TypeAlias = int | tuple[int, ...]


def days_of_year(year: int) -> int:
    """Count the days of a calendar year.

    Examples
    --------
    >>> days_of_year(2026), days_of_year(2028)
    (365, 366)
    """
    return 366 if isleap(year) else 365


def draws_of_year(seed: Seed, purpose: int, year: int, count: int) -> FloatArray:
    """Draw numbers for a calendar year, evenly spread from 0 up to 1.

    Parameters
    ----------
    seed : int or tuple of int
        Same seed, same numbers.
    purpose : int
        Each purpose has numbers of its own.
    year : int
        Each year too.
    count : int
        How many.

    Returns
    -------
    float array, shape (count,)
        At least 0, below 1.

    Raises
    ------
    InputError
        If the seed is not of whole numbers of 0 or more.

    Examples
    --------
    >>> draws_of_year(1, 0, 2026, 2).tolist() == draws_of_year(1, 0, 2026, 365)[:2].tolist()
    True
    """
    numbers = seed if isinstance(seed, tuple) else (seed,)
    if not numbers or not all(_is_whole(number) for number in numbers):
        raise InputError(f"the seed is {seed!r}; give a whole number of 0 or more, like 1")
    # As entropy, (1, 0) would be the same as 1: zeros fill it up. The spawn key, with its length, is not filled up.
    key = (len(numbers), *numbers[1:], purpose, year)
    return np.random.default_rng(np.random.SeedSequence(numbers[0], spawn_key=key)).random(count)


def _is_whole(number: object) -> bool:
    return isinstance(number, (int, np.integer)) and not isinstance(number, bool) and int(number) >= 0


def draws_by_date(seed: Seed, purpose: int, first: date, days: int) -> FloatArray:
    """Draw one number for every date of a span.

    Parameters
    ----------
    seed : int or tuple of int
        Same seed, same numbers.
    purpose : int
        Each purpose has numbers of its own.
    first : datetime.date
        First date.
    days : int
        How many dates, at least 1.

    Returns
    -------
    float array, shape (days,)
        At least 0, below 1.

    Examples
    --------
    A longer span has the same numbers for the same dates:

    >>> short = draws_by_date(7, 0, date(2026, 12, 31), 2)
    >>> draws_by_date(7, 0, date(2026, 1, 1), 800)[364:366].tolist() == short.tolist()
    True
    """
    years = range(first.year, (first + timedelta(days=days - 1)).year + 1)
    drawn = np.concatenate([draws_of_year(seed, purpose, year, days_of_year(year)) for year in years])
    begin = first.timetuple().tm_yday - 1
    return drawn[begin : begin + days]


def varied(draws: FloatArray, spread: float) -> FloatArray:
    """Turn even draws into factors with a mean of exactly 1: quantiles of a gamma distribution.

    Parameters
    ----------
    draws : float array
        From 0 up to 1. The higher the draw, the higher the factor, whatever the spread.
    spread : float
        Coefficient of variation, the standard deviation over the mean; 0 makes every factor 1.

    Returns
    -------
    float array of the same shape
        Factors of 0 or more.

    References
    ----------
    Z. Lin, J. Dong, C. Liu, D. Greene, "Estimation of energy use by plug-in hybrid electric vehicles:
    validating gamma distribution for representing random daily driving distance", Transportation Research
    Record 2287 (2012), 37-43 (from memory).

    Examples
    --------
    With a spread of 1 the distribution is the exponential one, whose median is ln 2:

    >>> varied(np.array([0.5]), 1.0).round(6).tolist()
    [0.693147]
    """
    if spread < _NO_SPREAD:
        return np.ones_like(draws)
    from scipy.special import gammaincinv

    shape = spread**-2
    factors: FloatArray = gammaincinv(shape, draws) / shape
    return factors
