"""Rounding of amounts: half up, for whole arrays."""

from __future__ import annotations

from decimal import ROUND_HALF_UP, Decimal

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
#: Sums and products of floats are off by far less than this share of the last digit; amounts that
#: are exactly half a digit by hand must not fall below it.
_SLACK = 1e-6


def rounded(amount: FloatArray, decimals: int | None, rule: str = "half up") -> FloatArray:
    """Round amounts.

    Parameters
    ----------
    amount : float array
        Amounts.
    decimals : int or None
        Digits after the point; None for no rounding.
    rule : str
        ``half up`` (away from zero), ``down`` (towards zero) or ``none``.

    Returns
    -------
    float array
        Of the same shape.

    Examples
    --------
    >>> rounded(np.array([3.375, -3.375, 45 * 0.075]), 2).tolist()
    [3.38, -3.38, 3.38]
    >>> rounded(np.array([3.375]), 2, "down").tolist()
    [3.37]
    """
    if decimals is None or rule == "none":
        return amount
    scale = 10.0**decimals
    digits = np.abs(amount) * scale
    whole = np.floor(digits + _SLACK) if rule == "down" else np.floor(digits + 0.5 + _SLACK)
    return np.asarray(np.copysign(whole, amount) / scale + 0.0)


def as_decimal(amount: float, decimals: int | None) -> Decimal:
    """Write an amount with exactly so many digits after the point.

    Examples
    --------
    >>> as_decimal(70.3, 2)
    Decimal('70.30')
    """
    if decimals is None:
        return Decimal(repr(round(amount, 9) + 0.0))
    return Decimal(repr(amount)).quantize(Decimal(1).scaleb(-decimals), ROUND_HALF_UP) + Decimal(0)
