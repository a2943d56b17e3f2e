"""Derating: less current when it is hot, by a table.

Physical: a conductor warms with the square of its current, and that comes on top of the air around
it. So the current that brings it to its rated temperature falls with the ambient temperature T as
sqrt((rated - T) / (rated - reference)). Assumed: the table itself, which is the maker's or the
owner's; that the air is as warm as stated; and what lies between two points. A straight line
between points of such a curve, which bends downwards, lies below it, so it errs towards less.

Nothing here makes an installation safe. The maker's instructions, the local code and a licensed
electrician decide; a plug, cable or breaker that gets hot must not be used until it has been seen to.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

from chargeplan.charging.numeric import FloatOrArray, as_given, without_nan
from chargeplan.errors import InputError

FloatArray = NDArray[np.float64]
By: TypeAlias = Literal["ambient temperature", "hour of day"]
Between: TypeAlias = Literal["straight line", "steps"]

#: Most points of a table.
MOST_POINTS: Final = 48
DAY_MIN: Final = 1440
#: What an ambient temperature can be, in degrees Celsius.
COLDEST_C, HOTTEST_C = -60.0, 90.0


@dataclass(frozen=True)
class Derating:
    """A table of limit currents.

    Parameters
    ----------
    points : tuple of (float, float)
        Ambient temperature in degrees Celsius, or minutes after midnight, and the limit current in
        amperes there; in rising order, 1 to 48 of them.
    by : {"ambient temperature", "hour of day"}
        What the first number is.
    between : {"straight line", "steps"}
        Between two points. In steps, a time holds until the next one, round the clock; between two
        temperatures the lower of both currents holds.

    Raises
    ------
    InputError
        If the table is empty, too long, out of order or out of range, or allows more when it is hotter.

    References
    ----------
    The square-root law: NFPA 70 (2023) 310.15(B), equation for ambient temperatures (from memory).

    Examples
    --------
    >>> table = Derating(((25.0, 32.0), (45.0, 24.0)), "ambient temperature")
    >>> table.limit_a(np.array([10.0, 35.0, 45.0, 46.0])).tolist()
    [32.0, 28.0, 24.0, 0.0]
    """

    points: tuple[tuple[float, float], ...]
    by: By
    between: Between = "straight line"

    def __post_init__(self) -> None:
        if not 1 <= len(self.points) <= MOST_POINTS:
            raise InputError(f"a derating table has {len(self.points)} points; write 1 to {MOST_POINTS}")
        at, current = np.array(self.points, dtype=np.float64).T
        if not (np.isfinite(at).all() and np.isfinite(current).all() and (current >= 0).all()):
            raise InputError("a derating table has a current that is missing or negative; write 0 A or more")
        if (np.diff(at) <= 0).any():
            raise InputError("a derating table has a point twice or out of order; name each once, the lowest first")
        if self.by == "hour of day":
            if at[0] < 0 or at[-1] >= DAY_MIN:
                raise InputError("a derating table by the hour of day goes from 00:00 to 23:59; write such times")
            return
        check_temperatures(at)
        if (np.diff(current) > 0).any():
            raise InputError("a derating table allows more current when it is hotter; write less, or as much")

    def limit_a(self, at: FloatOrArray) -> FloatOrArray:
        """Find the limit current at temperatures, or at minutes after midnight.

        Below the lowest temperature its current holds; above the highest nothing is known, so
        charging is off. Times go round the clock.

        Parameters
        ----------
        at : float or array of any shape
            Degrees Celsius, or minutes after midnight.

        Returns
        -------
        float or array of the same shape
            Amperes, before whole steps.

        Raises
        ------
        InputError
            If a value is missing (NaN).

        Examples
        --------
        >>> Derating(((0.0, 32.0), (720.0, 20.0)), "hour of day", "steps").limit_a(719.0)
        32.0
        """
        given = without_nan("at", at)
        if self.by == "hour of day":
            return as_given(by_clock(self.points, given, self.between), at)
        where, current = np.array(self.points, dtype=np.float64).T
        if self.between == "straight line":
            found = np.interp(given, where, current)
        else:
            found = current[np.minimum(np.searchsorted(where, given, side="left"), where.size - 1)]
        return as_given(np.where(given > where[-1], 0.0, found), at)

    def by_minute(self, ambient_c: FloatArray | None = None) -> FloatArray:
        """Find the least limit current within each minute of the day.

        Parameters
        ----------
        ambient_c : array, shape (1441,), optional
            Temperature at the start of each minute, and at the end of the last; needed for a table by
            ambient temperature.

        Returns
        -------
        array, shape (1440,)
            Amperes, before whole steps.

        Raises
        ------
        InputError
            If the temperature is missing.

        Examples
        --------
        >>> Derating(((0.0, 32.0), (720.0, 20.0)), "hour of day").by_minute()[[0, 360, 720]].round(2).tolist()
        [31.98, 25.98, 20.0]
        """
        if self.by == "hour of day":
            minutes = np.arange(DAY_MIN, dtype=np.float64)
            start = by_clock(self.points, minutes, self.between)
            if self.between == "steps":
                return start
            return np.minimum(start, by_clock(self.points, (minutes + 1) % DAY_MIN, self.between))
        if ambient_c is None:
            raise InputError("a derating table by ambient temperature needs the temperature; give it")
        limit = np.asarray(self.limit_a(np.asarray(ambient_c, dtype=np.float64)))
        return np.minimum(limit[:-1], limit[1:])


def by_clock(points: tuple[tuple[float, float], ...], minutes: FloatArray, between: Between) -> FloatArray:
    """Read a table by the time of day, round the clock.

    Parameters
    ----------
    points : tuple of (float, float)
        Minutes after midnight, and the value there.
    minutes : array of any shape
        Where to read it.
    between : {"straight line", "steps"}
        Between two points; in steps a value holds until the next.

    Returns
    -------
    array of the same shape

    Examples
    --------
    >>> by_clock(((360.0, 20.0), (900.0, 38.0)), np.array([360.0, 630.0, 180.0]), "straight line").tolist()
    [20.0, 29.0, 23.6]
    """
    at, value = np.array(points, dtype=np.float64).T
    if between == "steps":
        return np.asarray(value[np.searchsorted(at, minutes, side="right") - 1])  # -1 is the last of the day before
    return np.asarray(np.interp(minutes, at, value, period=DAY_MIN))


def check_temperatures(at_c: FloatArray) -> None:
    """Refuse temperatures that no charger stands in.

    Raises
    ------
    InputError
        If one is below -60 or above 90 degrees Celsius.
    """
    for value in np.ravel(at_c).tolist():
        if not (math.isfinite(value) and COLDEST_C <= value <= HOTTEST_C):
            raise InputError(f"{value:g} °C is no temperature of the air; write {COLDEST_C:g} to {HOTTEST_C:g} °C")
