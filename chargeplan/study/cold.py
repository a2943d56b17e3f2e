"""Cold weather: the mean temperature of each day, and how much more the car uses for it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise
from typing import Any, Final

import numpy as np

from chargeplan.charging.numeric import FloatArray, check_number
from chargeplan.clock import IntArray, day_of_number
from chargeplan.errors import InputError

#: No day on Earth has had a mean outside of these; what lies beyond is a slip of units.
COLDEST_C: Final = -90.0
WARMEST_C: Final = 60.0


@dataclass(frozen=True)
class MonthlyMeans:
    """Mean temperatures of the months, the same every year, with a smooth course from day to day.

    Parameters
    ----------
    mean_c : tuple of twelve floats
        January to December, in degrees Celsius.

    Raises
    ------
    InputError
        If there are not twelve, or one cannot be.

    Notes
    -----
    The running sum of the months is interpolated by a periodic cubic spline; a day has what comes together
    between its two ends. So the days of each month have exactly the mean of the month, in leap years too, and
    there is no step from month to month. Warmest and coldest days lie somewhat beyond the means of their months.

    References
    ----------
    L. I. Boneva, D. Kendall, I. Stefanov, "Spline transformations: three new diagnostic aids for the
    statistical data-analyst", Journal of the Royal Statistical Society B 33 (1971), 1-71: the spline that
    keeps the mean of every class (from memory).

    Examples
    --------
    >>> means = MonthlyMeans((-1.0, 1.0, 5.0, 9.0, 14.0, 20.0, 23.0, 22.0, 17.0, 10.0, 4.0, -1.0))
    >>> means.of_days(np.arange(20454, 20485)).mean().round(9)  # January 2026
    np.float64(-1.0)
    """

    mean_c: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.mean_c) != 12:
            raise InputError(f"there are {len(self.mean_c)} monthly means; give twelve, January to December")
        for mean_c in self.mean_c:
            _check_temperature(mean_c)

    @cached_property
    def _sum(self) -> Any:
        """What has come together since the start of the year, less the mean, by months."""
        from scipy.interpolate import CubicSpline

        means_c = np.array(self.mean_c)
        sums = np.concatenate([[0.0], np.cumsum(means_c - means_c.mean())])
        sums[-1] = 0.0  # what rounding left
        return CubicSpline(np.arange(13), sums, bc_type="periodic")

    def of_days(self, day: IntArray) -> FloatArray:
        """Give the mean temperature of days.

        Parameters
        ----------
        day : int64 array, shape (n,)
            Day numbers.

        Returns
        -------
        float array, shape (n,)
            Degrees Celsius.
        """
        date = np.asarray(day).astype("datetime64[D]")
        month = date.astype("datetime64[M]")
        start = month.astype("datetime64[D]")
        length = ((month + 1).astype("datetime64[D]") - start).astype(np.int64)
        begin = month.astype(np.int64) % 12 + (date - start).astype(np.int64) / length
        mean_c: FloatArray = np.mean(self.mean_c) + length * (self._sum(begin + 1 / length) - self._sum(begin))
        return mean_c


@dataclass(frozen=True, eq=False)
class DailyMeans:
    """Mean temperatures of days that follow one another.

    Parameters
    ----------
    first_day : int
        Day number of the first.
    mean_c : float array, shape (days,)
        Degrees Celsius.

    Raises
    ------
    InputError
        If there is none, or one cannot be.

    Examples
    --------
    >>> DailyMeans(20454, np.array([-3.0, 1.5])).of_days(np.array([20455]))
    array([1.5])
    """

    first_day: int
    mean_c: FloatArray = field(repr=False)

    def __post_init__(self) -> None:
        if self.mean_c.ndim != 1 or self.mean_c.size == 0:
            raise InputError("there are no temperatures; give one for every day")
        for mean_c in (self.mean_c.min(), self.mean_c.max()):
            _check_temperature(mean_c)

    def of_days(self, day: IntArray) -> FloatArray:
        """Give the mean temperature of days.

        Parameters
        ----------
        day : int64 array, shape (n,)
            Day numbers.

        Returns
        -------
        float array, shape (n,)
            Degrees Celsius.

        Raises
        ------
        InputError
            If there is none for a day.
        """
        place = np.asarray(day) - self.first_day
        outside = (place < 0) | (place >= self.mean_c.size)
        if outside.any():
            known = f"{day_of_number(self.first_day)} to {day_of_number(self.first_day + self.mean_c.size - 1)}"
            missing = day_of_number(int(np.asarray(day)[outside][0]))
            raise InputError(f"there is no temperature for {missing}, only for {known}; add the days that are missing")
        found: FloatArray = self.mean_c[place]
        return found


@dataclass(frozen=True)
class Cold:
    """How much the car uses by the temperature of the day, relative to the usual.

    Parameters
    ----------
    temperature : MonthlyMeans or DailyMeans
        Of each day.
    curve : tuple of (float, float)
        Degrees Celsius and the factor of consumption there. In between it goes in a straight line; beyond the
        ends it stays as it is there. There is none by default: it depends on the car and how it is heated.

    Raises
    ------
    InputError
        If there is no point, two have one temperature, or a number cannot be.

    Examples
    --------
    At 20 °C as usual, at -10 °C 40 % more:

    >>> cold = Cold(DailyMeans(0, np.array([25.0, 5.0, -20.0])), ((20.0, 1.0), (-10.0, 1.4)))
    >>> cold.factor(np.arange(3)).round(9).tolist()
    [1.0, 1.2, 1.4]
    """

    temperature: MonthlyMeans | DailyMeans
    curve: tuple[tuple[float, float], ...]

    def __post_init__(self) -> None:
        if not self.curve:
            raise InputError("the curve of the cold has no point; give a factor at one temperature at least")
        for celsius, factor in self.curve:
            _check_temperature(celsius)
            remedy = f"write how many times the usual the car uses at {celsius:g} °C, like 1.3"
            check_number("factor", factor, above=0, at_most=10, remedy=remedy)
        at_c = [celsius for celsius, _ in sorted(self.curve)]
        for one, other in pairwise(at_c):
            if one == other:
                raise InputError(f"the curve of the cold has two factors at {one:g} °C; keep one of them")

    def factor(self, day: IntArray) -> FloatArray:
        """Give the consumption on days, relative to the usual.

        Parameters
        ----------
        day : int64 array, shape (n,)
            Day numbers.

        Returns
        -------
        float array, shape (n,)
            Factors above 0.

        Raises
        ------
        InputError
            If there is no temperature for a day.
        """
        at_c, factor = np.array(sorted(self.curve), dtype=np.float64).T
        factors: FloatArray = np.interp(self.temperature.of_days(day), at_c, factor)
        return factors


def _check_temperature(mean_c: object) -> None:
    remedy = f"write degrees Celsius, {COLDEST_C:g} to {WARMEST_C:g}"
    check_number("a temperature", mean_c, at_least=COLDEST_C, at_most=WARMEST_C, remedy=remedy)
