"""What a choice may turn out to cost: futures drawn at random from planned years, price growth and quotes.

A future is a row of years. Each is one of the years that were really planned, with other journeys each, drawn with
replacement; the same year holds for the base and the alternative, so that luck with the journeys does not count as
a difference. Prices walk: each year they grow by a factor that is drawn anew. Nothing else is assumed to vary.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Final

import numpy as np

from chargeplan.charging.numeric import FloatArray, check_number
from chargeplan.errors import InputError
from chargeplan.study.payback import lasting_payback_years
from chargeplan.study.spending import Spending, Terms
from chargeplan.study.worth import present_cost_of, price_path

#: What a range shows: 5 % of the futures lie at or below its low end, 95 % at or below its high end.
SHARES: Final = (0.05, 0.5, 0.95)
_ROUNDING: Final = 1e-9
#: One stream of random numbers per purpose, so that no doubt changes what is drawn for another.
_JOURNEYS, _PRICES, _BASE_OUTLAY, _OTHER_OUTLAY = range(4)


@dataclass(frozen=True)
class Doubt:
    """What is uncertain, and how many futures are drawn.

    Parameters
    ----------
    draws : int
        Number of futures.
    price_spread : float
        Standard deviation of the yearly growth of prices, of its logarithm: 0.05 for about 5 points either way.
    outlay_spread : float
        Outlays and replacements lie evenly within this share of what is stated, above or below: 0.2 for +/- 20 %.
        One factor for the base and another for the alternative.
    seed : int
        The same seed gives the same futures.

    Raises
    ------
    InputError
        If a number cannot be.

    Examples
    --------
    >>> Doubt(price_spread=0.05).draws
    2000
    """

    draws: int = 2000
    price_spread: float = 0.0
    outlay_spread: float = 0.0
    seed: int = 0

    def __post_init__(self) -> None:
        for name, least, remedy in (("draws", 1, "write a whole number, like 2000"), ("seed", 0, "write 0, 1, 2, ...")):
            value = getattr(self, name)
            check_number(name, value, at_least=least, remedy=remedy)
            if value != int(value):
                raise InputError(f"{name} is {value:g}, which is no whole number; {remedy}")
            object.__setattr__(self, name, int(value))
        remedy = "write a share, like 0.05"
        check_number("price_spread", self.price_spread, at_least=0, at_most=1, remedy=remedy)
        check_number("outlay_spread", self.outlay_spread, at_least=0, at_most=1, remedy=remedy)


@dataclass(frozen=True)
class Range:
    """How a result spreads over the futures.

    Parameters
    ----------
    low, middle, high : float
        The least drawn values with at least 5 %, 50 % and 95 % of all at or below them.
    mean : float
        The mean; infinite if a value is.

    Examples
    --------
    >>> import numpy as np
    >>> Range.of(np.arange(1.0, 21.0))
    Range(low=1.0, middle=10.0, high=19.0, mean=10.5)
    """

    low: float
    middle: float
    high: float
    mean: float

    @classmethod
    def of(cls, values: FloatArray) -> Range:
        """Sum up drawn values.

        Parameters
        ----------
        values : array, shape (draws,)
            One for each future; may be infinite.

        Returns
        -------
        Range

        References
        ----------
        Sample quantile as the inverse of the empirical distribution: Hyndman and Fan (1996), definition 1. It
        never mixes two values, of which one may be infinite.
        """
        low, middle, high = (float(x) for x in np.quantile(values, SHARES, method="inverted_cdf"))
        # From the middle, so that the mean of equal values is just that value.
        mean = middle + float((values - middle).mean()) if np.isfinite(values).all() else math.inf
        return cls(low, middle, high, mean)


@dataclass(frozen=True)
class Outlook:
    """What a base and an alternative may turn out to cost.

    Parameters
    ----------
    base_cost, alternative_cost : Range
        Net present cost of each.
    saving : Range
        Net present cost of the base less that of the alternative, future by future.
    payback_years, discounted_payback_years : Range
        When the alternative has paid back for good what it and its replacements cost more; infinite in futures in
        which it never does.
    pays : float
        Share of the futures with a saving above 0, beyond rounding.
    pays_error : float
        Standard error of that share, from the number of draws.
    draws : int
        Number of futures.
    """

    base_cost: Range
    alternative_cost: Range
    saving: Range
    payback_years: Range
    discounted_payback_years: Range
    pays: float
    pays_error: float
    draws: int


def outlook(base: Spending, alternative: Spending, terms: Terms, doubt: Doubt) -> Outlook:
    """Draw futures, and see what they cost with the one and with the other.

    Parameters
    ----------
    base, alternative : Spending
        Their `yearly` is what charging costs in each planned year at today's prices, shape (seeds,), the same
        journeys in the same place of both; or one number for a year that is certain. The rest are numbers.
    terms : Terms
        Horizon and rates; `price_growth` is the mean growth of prices.
    doubt : Doubt
        What is uncertain.

    Returns
    -------
    Outlook

    Raises
    ------
    InputError
        If the two do not have the same planned years.

    References
    ----------
    Lognormal growth factor with mean 1 + g: (1 + g) exp(s z - s^2 / 2), z standard normal (Johnson, Kotz and
    Balakrishnan, Continuous Univariate Distributions 1, chapter 14). Drawing with replacement: Efron and Tibshirani,
    An Introduction to the Bootstrap (1993). Standard error of a share: sqrt(p (1 - p) / n).

    Examples
    --------
    >>> outlet = Spending(0, [520.0, 480.0, 560.0])
    >>> wall_box = Spending(650, [400.0, 390.0, 410.0])
    >>> doubt = Doubt(draws=500, price_spread=0.05, seed=1)
    >>> seen = outlook(outlet, wall_box, Terms(10, 0.05, price_growth=0.03), doubt)
    >>> seen.saving.low < seen.saving.middle < seen.saving.high, seen.pays > 0.9
    (True, True)
    """
    _check(base, alternative)
    planned = np.broadcast_arrays(np.atleast_1d(base.yearly), np.atleast_1d(alternative.yearly))
    year = _stream(doubt, _JOURNEYS).integers(planned[0].size, size=(doubt.draws, terms.years))
    prices = _prices(terms, doubt)
    base, alternative = _quoted(base, doubt, _BASE_OUTLAY), _quoted(alternative, doubt, _OTHER_OUTLAY)
    energy = [costs[year] * prices for costs in planned]
    base_cost = np.broadcast_to(present_cost_of(base, terms, energy[0]), doubt.draws)
    other_cost = np.broadcast_to(present_cost_of(alternative, terms, energy[1]), doubt.draws)
    both = (energy[0], energy[1])
    saving = base_cost - other_cost
    pays = float((saving > _ROUNDING * (np.abs(base_cost) + np.abs(other_cost))).mean())
    return Outlook(
        base_cost=Range.of(base_cost),
        alternative_cost=Range.of(other_cost),
        saving=Range.of(saving),
        payback_years=Range.of(lasting_payback_years(base, alternative, terms, both)),
        discounted_payback_years=Range.of(lasting_payback_years(base, alternative, terms, both, terms.discount_rate)),
        pays=pays,
        pays_error=math.sqrt(pays * (1 - pays) / doubt.draws),
        draws=doubt.draws,
    )


def _check(base: Spending, alternative: Spending) -> None:
    for spending in (base, alternative):
        for name in ("outlay", "upkeep", "replacement"):
            value = getattr(spending, name)
            if value is not None and np.ndim(value) > 0:
                raise InputError(f"{name} is an array; give one number, what spreads is drawn")
        if np.ndim(spending.yearly) > 1 or np.size(spending.yearly) == 0:
            raise InputError("yearly is no row of planned years; give one value for each, or one number")
    counts = [np.size(x.yearly) for x in (base, alternative) if np.ndim(x.yearly)]
    if len(set(counts)) > 1:
        text = " and ".join(map(str, counts))
        raise InputError(f"base and alternative have {text} planned years; plan the same years for both")


def _prices(terms: Terms, doubt: Doubt) -> FloatArray:
    """Draw the prices of every future and year, in units of today's."""
    normal = _stream(doubt, _PRICES).standard_normal((doubt.draws, terms.years - 1))
    spread = doubt.price_spread
    factor = (1 + terms.price_growth) * np.exp(spread * normal - spread**2 / 2)
    return price_path(factor - 1, terms.years)


def _quoted(spending: Spending, doubt: Doubt, purpose: int) -> Spending:
    """Draw outlay and replacement for every future, shape (draws,)."""
    factor = 1 + doubt.outlay_spread * _stream(doubt, purpose).uniform(-1.0, 1.0, doubt.draws)
    again = None if spending.replacement is None else np.asarray(spending.replacement) * factor
    return replace(spending, outlay=np.asarray(spending.outlay) * factor, replacement=again)


def _stream(doubt: Doubt, purpose: int) -> np.random.Generator:
    return np.random.default_rng([doubt.seed, purpose])
