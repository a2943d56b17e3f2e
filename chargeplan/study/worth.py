"""What a choice costs over years: net present cost, and the equivalent yearly cost."""

from __future__ import annotations

import math
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from chargeplan.charging.numeric import FloatArray, check_number
from chargeplan.errors import InputError
from chargeplan.study.spending import Spending, Terms, by_year

_ROUNDING: Final = 1e-9


def price_path(growth: ArrayLike, years: int) -> FloatArray:
    """Work out the prices of every year, in units of the first one's.

    Parameters
    ----------
    growth : float or array, shape (..., years - 1)
        Growth from each year to the next, or one rate for all.
    years : int
        Number of years.

    Returns
    -------
    array, shape (..., years)

    Raises
    ------
    InputError
        If the array has another length.

    Examples
    --------
    >>> price_path(0.5, 3).tolist()
    [1.0, 1.5, 2.25]
    """
    rates = np.asarray(growth, dtype=np.float64)
    if rates.ndim == 0:
        rates = np.full(years - 1, rates)
    if rates.shape[-1] != years - 1:
        raise InputError(f"growth has {rates.shape[-1]} values for {years} years; give {years - 1}, or one rate")
    return np.cumprod(np.concatenate([np.ones((*rates.shape[:-1], 1)), 1 + rates], axis=-1), axis=-1)


def present_value(amounts: ArrayLike, discount_rate: float) -> FloatArray:
    """Discount what is paid at the ends of years.

    Parameters
    ----------
    amounts : array, shape (..., years)
        Money of each year.
    discount_rate : float
        Nominal, per year.

    Returns
    -------
    array, shape (...)

    Raises
    ------
    InputError
        If the rate or an amount cannot be.

    References
    ----------
    Sum over t of amount t / (1 + rate) ** t: Brealey, Myers and Allen, Principles of Corporate Finance, chapter 2.

    Examples
    --------
    >>> round(float(present_value([110.0, 121.0], 0.10)), 6)
    200.0
    """
    check_number("discount_rate", discount_rate, above=-1, remedy="write a rate, like 0.05 for 5 % a year")
    flows = by_year(amounts)
    worth: FloatArray = (flows * (1 + discount_rate) ** -np.arange(1.0, flows.shape[-1] + 1)).sum(axis=-1)
    return worth


def net_present_cost(spending: Spending, terms: Terms) -> FloatArray:
    """Work out what a choice costs over the horizon, in money of today.

    Parameters
    ----------
    spending : Spending
        What is paid.
    terms : Terms
        The horizon and the rates.

    Returns
    -------
    array, shape of the amounts of `spending`, broadcast
        Outlay, replacements within the horizon and yearly costs, less what is left of the last one's life.

    References
    ----------
    Growing yearly costs: Brealey, Myers and Allen, Principles of Corporate Finance, chapter 2. Replacements, and
    residual value in proportion to the life that is left: NIST Handbook 135, Life-Cycle Costing Manual (1995).

    Examples
    --------
    >>> terms = Terms(10, 0.05, price_growth=0.03)
    >>> outlet, wall_box = Spending(150, 480), Spending(650, 400, lifetime_years=12)
    >>> [round(float(net_present_cost(choice, terms)), 2) for choice in (outlet, wall_box)]
    [4348.85, 4082.53]
    """
    energy = np.asarray(spending.yearly)[..., None] * price_path(terms.price_growth, terms.years)
    return present_cost_of(spending, terms, energy)


def present_cost_of(spending: Spending, terms: Terms, energy: ArrayLike) -> FloatArray:
    """Work out the same with the cost of charging given year by year.

    Parameters
    ----------
    spending, terms : Spending, Terms
        As for `net_present_cost`; `yearly` and `price_growth` are not used.
    energy : array, shape (..., years)
        Cost of charging in each year.

    Returns
    -------
    array, shape (...)

    Examples
    --------
    >>> float(present_cost_of(Spending(100, 0), Terms(2, 0.0), [30.0, 40.0]))
    170.0
    """
    return _cost_of_having(spending, terms) + present_value(with_upkeep(spending, terms, energy), terms.discount_rate)


def with_upkeep(spending: Spending, terms: Terms, energy: ArrayLike) -> FloatArray:
    """Add the upkeep to the cost of charging.

    Parameters
    ----------
    spending, terms : Spending, Terms
        What the upkeep is, and how it grows.
    energy : array, shape (..., years)
        Cost of charging in each year.

    Returns
    -------
    array, shape (..., years)

    Examples
    --------
    >>> with_upkeep(Spending(0, 0, upkeep=10), Terms(2, 0.05, work_growth=0.5), [30.0, 40.0]).tolist()
    [40.0, 55.0]
    """
    total: FloatArray = np.asarray(energy, dtype=np.float64) + np.asarray(spending.upkeep)[..., None] * price_path(
        terms.work_growth, terms.years
    )
    return total


def replacements(spending: Spending, terms: Terms) -> tuple[tuple[float, FloatArray], ...]:
    """List when what was bought is replaced within the horizon, and what that costs then.

    Parameters
    ----------
    spending, terms : Spending, Terms
        Lifetime and price, and how that grows.

    Returns
    -------
    tuple of (float, array)
        Years from the start, and the amount in the money of then. What ends with the horizon is not replaced any more.

    Examples
    --------
    >>> [(year, float(cost)) for year, cost in replacements(Spending(300, 0, lifetime_years=4), Terms(12, 0.05))]
    [(4.0, 300.0), (8.0, 300.0)]
    """
    life = spending.lifetime_years
    if life is None:
        return ()
    again = np.asarray(spending.outlay if spending.replacement is None else spending.replacement, dtype=np.float64)
    years = [float(number * life) for number in range(1, math.ceil(terms.years / life - _ROUNDING))]
    return tuple((year, again * (1 + terms.work_growth) ** year) for year in years)


def _cost_of_having(spending: Spending, terms: Terms) -> FloatArray:
    """Present cost of the outlay, its replacements, and less what is left at the horizon."""
    outlay = np.asarray(spending.outlay, dtype=np.float64)
    life = spending.lifetime_years
    if life is None:
        return outlay
    cost, last, bought_year = outlay, outlay, 0.0
    for bought_year, last in replacements(spending, terms):
        cost = cost + last * (1 + terms.discount_rate) ** -bought_year
    if terms.residual:
        left = max(0.0, (bought_year + life - terms.years) / life)
        cost = cost - last * left * (1 + terms.discount_rate) ** -float(terms.years)
    return cost


def annualised(present_cost: ArrayLike, terms: Terms) -> FloatArray:
    """Spread a present cost evenly over the years of the horizon.

    Parameters
    ----------
    present_cost : float or array of any shape
        Money of today.
    terms : Terms
        The horizon and the discount rate.

    Returns
    -------
    array of the same shape
        The level amount at the end of each year that is worth as much.

    References
    ----------
    Capital recovery factor, rate / (1 - (1 + rate) ** -years), as in tables of engineering economy (A/P).

    Examples
    --------
    >>> round(float(annualised(1000.0, Terms(10, 0.05))), 2), float(annualised(1000.0, Terms(10, 0.0)))
    (129.5, 100.0)
    """
    factor = (1 + terms.discount_rate) ** -np.arange(1.0, terms.years + 1)
    level: FloatArray = np.asarray(present_cost, dtype=np.float64) / factor.sum()
    return level
