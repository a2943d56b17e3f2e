"""What a choice costs now and every year, and on what terms money of other years counts.

Outlays are paid now, yearly costs at the ends of years. All rates are nominal: a discount rate of 5 % and prices
that grow by 3 % both hold inflation. From a real rate, without inflation, the nominal one is (1 + real) x
(1 + inflation) - 1 (Fisher).
"""

from __future__ import annotations

from dataclasses import KW_ONLY, dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from chargeplan.charging.numeric import FloatArray, check_number
from chargeplan.errors import InputError
from chargeplan.study.equipment import Equipment

_LONGEST_YEARS: Final = 100


@dataclass(frozen=True)
class Terms:
    """How far is looked ahead, and how money of other years counts.

    Parameters
    ----------
    years : int
        The horizon in whole years, 1 to 100.
    discount_rate : float
        Nominal, per year: 0.05 for 5 %.
    price_growth : float
        By what the yearly cost of charging grows each year; the first year is at today's prices.
    work_growth : float
        The same for upkeep and replacements.
    residual : bool
        Whether what is left of a lifetime at the horizon is worth its part of the price. Without it, it is lost,
        as for those who move away.

    Raises
    ------
    InputError
        If a number cannot be.

    Examples
    --------
    >>> Terms(10, 0.05, price_growth=0.03).years
    10
    """

    years: int
    discount_rate: float
    _: KW_ONLY
    price_growth: float = 0.0
    work_growth: float = 0.0
    residual: bool = True

    def __post_init__(self) -> None:
        check_years = "write whole years from 1 to 100, like 10"
        check_number("years", self.years, at_least=1, at_most=_LONGEST_YEARS, remedy=check_years)
        if self.years != int(self.years):
            raise InputError(f"years is {self.years:g}, which is no whole number; {check_years}")
        object.__setattr__(self, "years", int(self.years))
        for name in ("discount_rate", "price_growth", "work_growth"):
            check_number(
                name, getattr(self, name), above=-1, at_most=1, remedy="write a rate, like 0.05 for 5 % a year"
            )


@dataclass(frozen=True, eq=False)
class Spending:
    """What one choice costs: something now, and something every year. Arrays of any shapes that fit each other.

    Parameters
    ----------
    outlay : float or array
        Paid now.
    yearly : float or array
        Cost of charging in the first year; may be negative.
    upkeep : float or array
        Upkeep in the first year.
    lifetime_years : float, optional
        When what was bought has to be replaced; unless given it lasts to the horizon, and is worth nothing then.
    replacement : float or array, optional
        What that costs at today's prices; the outlay unless given.

    Raises
    ------
    InputError
        If a number cannot be.

    Examples
    --------
    >>> Spending(650, [410.0, 380.0], lifetime_years=12).yearly.tolist()
    [410.0, 380.0]
    """

    outlay: ArrayLike
    yearly: ArrayLike
    _: KW_ONLY
    upkeep: ArrayLike = 0.0
    lifetime_years: float | None = None
    replacement: ArrayLike | None = None

    @classmethod
    def of(cls, equipment: Equipment, yearly: ArrayLike) -> Spending:
        """Add the cost of charging to what equipment costs to have.

        Parameters
        ----------
        equipment : Equipment
            Its outlay after rebates, upkeep, lifetime and replacement.
        yearly : float or array
            Cost of charging in the first year.

        Returns
        -------
        Spending

        Examples
        --------
        >>> from chargeplan.charging import Circuit, Evse
        >>> outlet = Equipment("dryer outlet", Circuit(30, volts=240), Evse(24), purchase=40, labor=200)
        >>> Spending.of(outlet, 480).outlay
        array(240.)
        """
        return cls(
            equipment.outlay,
            yearly,
            upkeep=equipment.yearly,
            lifetime_years=equipment.lifetime_years,
            replacement=equipment.replacement_cost,
        )

    def __post_init__(self) -> None:
        object.__setattr__(self, "yearly", money("yearly", self.yearly))
        for name in ("outlay", "upkeep", "replacement"):
            value = getattr(self, name)
            if value is not None:
                amounts = money(name, value)
                if (amounts < 0).any():
                    raise InputError(f"{name} has a negative amount; write 0 or more")
                object.__setattr__(self, name, amounts)
        if self.lifetime_years is not None:
            check_number("lifetime_years", self.lifetime_years, above=0, remedy="write years, like 12, or leave it out")


def money(name: str, values: ArrayLike) -> FloatArray:
    """Refuse anything but finite amounts.

    Parameters
    ----------
    name : str
        What the message calls them.
    values : float or array of any shape
        What was given.

    Returns
    -------
    array of the same shape

    Raises
    ------
    InputError
        If one is no finite number.

    Examples
    --------
    >>> money("outlay", 650)
    array(650.)
    """
    try:
        amounts = np.asarray(values, dtype=np.float64)
    except (TypeError, ValueError):
        raise InputError(f"{name} is {values!r}, which is no amount; write numbers") from None
    if not np.isfinite(amounts).all():
        raise InputError(f"{name} has a missing or infinite amount; write numbers")
    return amounts


def by_year(values: ArrayLike) -> FloatArray:
    """Refuse anything but finite amounts with a last axis for the years.

    Parameters
    ----------
    values : array, shape (..., years)
        What was given.

    Returns
    -------
    array, shape (..., years)

    Raises
    ------
    InputError
        If there is no such axis, or an amount is no finite number.

    Examples
    --------
    >>> by_year([80, 90]).tolist()
    [80.0, 90.0]
    """
    amounts = money("the amounts by year", values)
    if amounts.ndim == 0 or amounts.shape[-1] == 0:
        raise InputError("the amounts by year are no row of values; give one value for each year")
    return amounts
