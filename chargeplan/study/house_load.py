"""What the house uses in every interval of a study: a stated yearly use with an invented shape, or a meter's values."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import DAY_S, IntArray, local_seconds
from chargeplan.errors import InputError
from chargeplan.tariff.load_file import read_load

Floats = NDArray[np.float64]

#: An invented day: share of the day's use in each hour, more in the evening. It is no measured profile.
MADE_UP_HOURS = (
    *(0.028, 0.025, 0.023, 0.023, 0.024, 0.029, 0.040, 0.048, 0.042, 0.036, 0.034, 0.035),
    *(0.037, 0.036, 0.036, 0.039, 0.049, 0.063, 0.071, 0.070, 0.066, 0.059, 0.049, 0.038),
)
#: A meter's year is laid on other years in whole weeks, so that weekends stay weekends.
_YEAR_OF_WEEKS = 364
_DAYS_A_YEAR = 365.2425


class HouseLoad(Protocol):
    """Tells what the house uses without the car."""

    def kwh(self, start_s: IntArray, step_s: int) -> Floats:
        """Give the energy of intervals that follow one another.

        Parameters
        ----------
        start_s : int array, shape (n,)
            Starts, UTC seconds.
        step_s : int
            Length of an interval.

        Returns
        -------
        array, shape (n,)
            kWh.
        """
        ...


@dataclass(frozen=True)
class UsualLoad:
    """A yearly use, spread over an invented day.

    Parameters
    ----------
    timezone : str
        Whose wall clock the day is on.
    per_day_kwh : float
        Use of a day.
    by_month : tuple of 12 floats
        The use in each month relative to the mean.
    by_hour : tuple of 24 floats
        Share of a day's use in each hour.

    Examples
    --------
    >>> load = UsualLoad("America/Denver", 24.0)
    >>> hours = np.arange(1_772_000_000, 1_772_086_400, 3600) // 3600 * 3600
    >>> round(float(load.kwh(hours, 3600).sum()), 9)
    24.0
    """

    timezone: str
    per_day_kwh: float
    by_month: tuple[float, ...] = (1.0,) * 12
    by_hour: tuple[float, ...] = MADE_UP_HOURS

    def __post_init__(self) -> None:
        if len(self.by_month) != 12 or len(self.by_hour) != 24:
            raise InputError("a house load has 12 months and 24 hours; give that many numbers")
        if not self.per_day_kwh >= 0 or min(self.by_month) < 0 or min(self.by_hour) < 0 or sum(self.by_hour) <= 0:
            raise InputError("the use of a house is 0 kWh or more; give no negative numbers, and some use in the day")

    def kwh(self, start_s: IntArray, step_s: int) -> Floats:
        """Give the energy of intervals; see `HouseLoad.kwh`."""
        local = local_seconds(self.timezone, start_s)
        month = (local // DAY_S).astype("datetime64[D]").astype("datetime64[M]").astype(np.int64) % 12
        hours = np.array(self.by_hour) / sum(self.by_hour)
        share = np.array(self.by_month)[month] * hours[local % DAY_S // 3600]
        return np.asarray(self.per_day_kwh * share * step_s / 3600)


@dataclass(frozen=True, eq=False)
class MeterLoad:
    """A meter's values, used as they are, or laid on another year in whole weeks.

    Parameters
    ----------
    timezone : str
        Whose wall clock people live by.
    start_s : int array, shape (n,)
        Starts of intervals that follow one another, UTC seconds.
    step_s : int
        Length of an interval, which divides an hour.
    value_kwh : array, shape (n,)
        Energy of each.

    Raises
    ------
    InputError
        If the intervals are longer than an hour.
    """

    timezone: str
    start_s: IntArray = field(repr=False)
    step_s: int
    value_kwh: Floats = field(repr=False)

    def __post_init__(self) -> None:
        if 3600 % self.step_s:
            raise InputError(f"meter values of {self.step_s / 60:g} min cannot be used; give such that divide an hour")

    def kwh(self, start_s: IntArray, step_s: int) -> Floats:
        """Give the energy of intervals; see `HouseLoad.kwh`.

        Raises
        ------
        InputError
            If the values cover neither the intervals nor a whole year.
        """
        fine_s = min(step_s, self.step_s)
        parts = step_s // fine_s
        fine = (start_s[:, None] + fine_s * np.arange(parts)).ravel()
        end_s = int(self.start_s[-1]) + self.step_s
        if int(self.start_s[0]) <= int(fine[0]) and int(fine[-1]) + fine_s <= end_s:
            power = self.value_kwh[(fine - self.start_s[0]) // self.step_s]
        else:
            power = self._of_other_years(fine)
        return np.asarray((power * fine_s / self.step_s).reshape(-1, parts).sum(axis=1))

    def _of_other_years(self, fine_s: IntArray) -> Floats:
        """Take the values of the same time of day and weekday, as near to the same date as weekdays allow."""
        local = local_seconds(self.timezone, self.start_s)
        first, per_day = int(local[0]) // DAY_S, DAY_S // self.step_s
        cell = local // self.step_s - first * per_day
        count = np.bincount(cell)
        mean = np.bincount(cell, weights=self.value_kwh) / np.maximum(count, 1)
        # A day that is not whole, and an hour that a clock change skips, take the value before.
        known = np.flatnonzero(count > 0)
        mean = mean[known[np.searchsorted(known, np.arange(count.size), side="right") - 1]]
        begin = -(-int(known[0]) // per_day)
        whole = count.size // per_day - begin
        if whole < _YEAR_OF_WEEKS:
            raise InputError(
                f"the house load covers {whole} days, neither the days of the study nor a year of 52 weeks; give more"
            )
        wanted = local_seconds(self.timezone, fine_s) // self.step_s - (first + begin) * per_day
        day, slot = wanted // per_day, wanted % per_day
        years = np.floor(day / _DAYS_A_YEAR)
        day = day - 7 * np.round(_DAYS_A_YEAR * years / 7).astype(np.int64)
        day = np.where(day < 0, day + _YEAR_OF_WEEKS, day)
        day = np.where(day >= whole, day - _YEAR_OF_WEEKS, day)
        return np.asarray(mean[(begin + day) * per_day + slot])


def meter_load(path: str | os.PathLike[str], timezone: str, *, naive_zone: str | None = None) -> MeterLoad:
    """Read what the house uses from a file of a meter's values.

    Parameters
    ----------
    path : path
        CSV or Parquet with ``start`` and ``kwh``; see `chargeplan.tariff.load_file.read_load`.
    timezone : str
        The household's time zone.
    naive_zone : str, optional
        The time zone of stamps without an offset; without it they are refused.

    Returns
    -------
    MeterLoad

    Raises
    ------
    FileError
        With every mistake of the file.
    """
    import pandas as pd

    frame = read_load(path, timezone, naive_zone=naive_zone)
    instants = pd.DatetimeIndex(frame.index).tz_convert("UTC").tz_localize(None)
    start_s = instants.to_numpy().astype("datetime64[s]").astype(np.int64)
    step_s = int(start_s[1] - start_s[0])
    return MeterLoad(timezone, start_s, step_s, frame["kwh"].to_numpy(dtype=np.float64))
