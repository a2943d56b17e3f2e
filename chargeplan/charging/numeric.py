"""Numbers at the door: the impossible is refused, a number gives a number, an array gives an array."""

from __future__ import annotations

import math
from typing import TypeAlias, TypeVar

import numpy as np
from numpy.typing import NDArray

from chargeplan.errors import InputError

FloatArray: TypeAlias = NDArray[np.float64]
#: A function typed with this gives back what it was given: a float for a float, an array for an array.
FloatOrArray = TypeVar("FloatOrArray", float, FloatArray)


def check_number(
    name: str,
    value: object,
    *,
    above: float = -math.inf,
    at_least: float = -math.inf,
    at_most: float = math.inf,
    remedy: str,
) -> None:
    """Refuse anything but a finite number in a range.

    Parameters
    ----------
    name : str
        What the message calls the number.
    value : object
        What was given. Text is refused: quantities with units are read at the edge of the library.
    above, at_least, at_most : float
        The range, open below for `above`.
    remedy : str
        What would be right.

    Raises
    ------
    InputError
        If it is not such a number.

    Examples
    --------
    >>> check_number("breaker_a", 50, above=0, remedy="write amperes, like 50")
    >>> check_number("breaker_a", "50 A", above=0, remedy="write amperes, like 50")
    Traceback (most recent call last):
    chargeplan.errors.InputError: breaker_a is '50 A', which is not a number; write amperes, like 50
    """
    if isinstance(value, (bool, np.bool_)) or not isinstance(value, (int, float, np.integer, np.floating)):
        raise InputError(f"{name} is {value!r}, which is not a number; {remedy}")
    number = float(value)
    if not math.isfinite(number) or not (above < number and at_least <= number <= at_most):
        raise InputError(f"{name} is {number:g}, which cannot be; {remedy}")


def without_nan(name: str, values: float | FloatArray) -> FloatArray:
    """Turn a number or an array into an array, refusing missing values.

    Parameters
    ----------
    name : str
        What the message calls the values.
    values : float or array of any shape
        What was given.

    Returns
    -------
    array of the same shape
        As float64; infinities pass.

    Raises
    ------
    InputError
        If a value is NaN: a missing measurement must not pass for a limit.

    Examples
    --------
    >>> without_nan("available_a", 12)
    array(12.)
    """
    array = np.asarray(values, dtype=np.float64)
    if np.isnan(array).any():
        raise InputError(f"{name} has a missing value (NaN); give a number for every slot")
    return array


def as_given(result: FloatArray, given: FloatOrArray) -> FloatOrArray:
    """Give a plain float back to who gave a plain number.

    Parameters
    ----------
    result : array
        What was computed.
    given : float or array
        What it was computed from.

    Returns
    -------
    float or array
        `result` itself if `given` is an array, otherwise its only element.

    Examples
    --------
    >>> as_given(np.array(1.5), 3.0), as_given(np.array([1.5]), np.array([3.0]))
    (1.5, array([1.5]))
    """
    answer: FloatOrArray = float(result) if np.ndim(given) == 0 else result  # type: ignore[assignment]
    return answer
