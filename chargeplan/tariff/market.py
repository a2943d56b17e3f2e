"""A series of market prices: what the price is at any instant, its mean over a slot, and where it has gaps."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import cached_property
from typing import Final, NamedTuple

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import DAY_S, FIRST_YEAR, LAST_YEAR, IntArray
from chargeplan.errors import InputError

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

#: A price holds no longer than this where the file does not say it again.
HOUR_S: Final = 3600
#: Larger prices per kWh are taken for a slip of the pen, as in the price tables of a sheet.
LARGEST_PRICE: Final = 100_000.0
#: Longest time that `resolution_s` may let a price hold.
_LONGEST_S: Final = DAY_S
_FIRST_S: Final = int(datetime(FIRST_YEAR, 1, 1, tzinfo=UTC).timestamp())
_LAST_S: Final = int(datetime(LAST_YEAR + 1, 1, 1, tzinfo=UTC).timestamp())


class _Sums(NamedTuple):
    """What has come together before each row: known seconds, and price times seconds in two parts."""

    seconds: IntArray
    high: FloatArray
    low: FloatArray


@dataclass(frozen=True, eq=False)
class MarketPrices:
    """Prices per kWh, each for a span of its own; the spans are in order and do not overlap.

    Make one with `build`, or read it from a file with `chargeplan.tariff.dated_files.read_market_prices`.

    Parameters
    ----------
    start_s, end_s : int64 array, shape (rows,)
        First instant of each price, and the instant at which it ends; UTC seconds, whole minutes.
    price : float array, shape (rows,)
        Amount per kWh; may be negative.

    Examples
    --------
    Two hours of 2026-01-01 (UTC) with a price, the second cheaper:

    >>> prices = MarketPrices.build(np.array([1767225600, 1767229200]), np.array([0.3, 0.1]))
    >>> prices.at(np.array([1767227400, 1767232800]))
    (array([0.3, nan]), array([ True, False]))
    >>> prices.mean(np.array([1767227400]), 3600)[0].round(6).tolist()
    [0.2]
    """

    start_s: IntArray = field(repr=False)
    end_s: IntArray = field(repr=False)
    price: FloatArray = field(repr=False)

    @classmethod
    def build(cls, start_s: IntArray, price: FloatArray, resolution_s: int | None = None) -> MarketPrices:
        """Work out how long each price holds.

        A price holds until the next one starts, but no longer than the resolution of its UTC day: the
        smallest spacing between two starts of that day, at most an hour. A day with one start takes the
        resolution of the day before or after it, the smaller one if both have one, else an hour. What is
        left between two prices is a gap.

        Parameters
        ----------
        start_s : int64 array, shape (n,)
            First instant of each price, UTC seconds, whole minutes, in any order.
        price : float array, shape (n,)
            Amount per kWh.
        resolution_s : int, optional
            The longest time that a price holds, on all days: 60 to 86,400, whole minutes.

        Returns
        -------
        MarketPrices
            In order of time; equal rows once.

        Raises
        ------
        InputError
            If there is no price, a price is not finite or out of range, a start is not a whole minute of
            the years 1971 to 2199, or one start has two prices.

        Examples
        --------
        Starts at 00:00, 00:15, 00:30 and 01:00: the price of 00:30 holds for 15 minutes only.

        >>> quarter_hours = MarketPrices.build(np.array([0, 1, 2, 4]) * 900 + 1767225600, np.ones(4))
        >>> ((quarter_hours.end_s - quarter_hours.start_s) // 60).tolist()
        [15, 15, 15, 15]
        >>> quarter_hours.spans().shape
        (2, 2)
        """
        start_s, price = _in_order(*_checked(start_s, price))
        if resolution_s is None:
            hold_s = _resolutions(start_s)
        elif 60 <= resolution_s <= _LONGEST_S and resolution_s % 60 == 0:
            hold_s = np.full(start_s.size, resolution_s, dtype=np.int64)
        else:
            raise InputError(f"a resolution of {resolution_s} s cannot be; give whole minutes, 1 to 1440")
        # Behind the last price the next one is as far away as it needs to be.
        end_s = np.minimum(np.append(start_s[1:], start_s[-1] + _LONGEST_S), start_s + hold_s)
        for array in (start_s, end_s, price):
            array.setflags(write=False)
        return cls(start_s, end_s, price)

    def __len__(self) -> int:
        return self.start_s.size

    @property
    def resolution_min(self) -> int:
        """The greatest number of minutes that divides every boundary of a price, counted from midnight UTC.

        Examples
        --------
        >>> MarketPrices.build(np.array([1767225600, 1767227400]), np.ones(2)).resolution_min
        30
        """
        boundaries = np.concatenate([self.start_s, self.end_s]) % DAY_S // 60
        return int(np.gcd.reduce(np.append(boundaries, DAY_S // 60)))

    def at(self, utc_s: IntArray) -> tuple[FloatArray, BoolArray]:
        """Look up the price at many instants.

        Parameters
        ----------
        utc_s : int64 array, shape (n,)
            UTC seconds, in any order.

        Returns
        -------
        price : float array, shape (n,)
            Amount per kWh; NaN in a gap, before the first price and after the last.
        known : bool array, shape (n,)
            Where there is a price.

        Examples
        --------
        >>> MarketPrices.build(np.array([1767225600]), np.array([-0.02])).at(np.array([1767225600]))
        (array([-0.02]), array([ True]))
        """
        row = self._row(utc_s)
        known = (utc_s >= self.start_s[row]) & (utc_s < self.end_s[row])
        return np.where(known, self.price[row], np.nan), known

    def mean(self, start_s: IntArray, step_s: int | IntArray) -> tuple[FloatArray, BoolArray]:
        """Average the price over slots, each price weighted by its share of the slot.

        Parameters
        ----------
        start_s : int64 array, shape (n,)
            First instants of the slots, UTC seconds, in any order.
        step_s : int or int64 array, shape (n,)
            How long the slots are, in seconds.

        Returns
        -------
        price : float array, shape (n,)
            Amount per kWh; NaN unless every second of the slot has a price.
        known : bool array, shape (n,)
            Whether that is so.

        Raises
        ------
        InputError
            If a slot is not longer than nothing.

        Notes
        -----
        The integral over a slot is the difference of two running sums. What rounding takes from the running
        sum is carried in a second one [1]_, so that the mean is as exact in the tenth year as on the first day.

        References
        ----------
        .. [1] D. E. Knuth, The Art of Computer Programming, vol. 2, section 4.2.2 (the error of a sum of two).

        Examples
        --------
        An hour that begins half an hour before the price changes:

        >>> prices = MarketPrices.build(np.array([1767225600, 1767229200]), np.array([0.25, 0.75]))
        >>> prices.mean(np.array([1767225600, 1767227400, 1767229200, 1767232800]), 3600)[0].tolist()
        [0.25, 0.5, 0.75, nan]
        """
        step_s = np.asarray(step_s, dtype=np.int64)
        if np.any(step_s <= 0):
            raise InputError("a slot must last at least one second")
        end_s = start_s + step_s
        first, last, beyond = self._row(start_s), self._row(end_s - 1), self._row(end_s)
        before, after = self._part_s(first, start_s), self._part_s(beyond, end_s)
        sums = self._sums
        known = sums.seconds[beyond] + after - sums.seconds[first] - before == step_s
        integral = (sums.high[beyond] - sums.high[first]) + (
            (sums.low[beyond] - sums.low[first]) + (self.price[beyond] * after - self.price[first] * before)
        )
        # Where the price stays the same it is taken as it is: dividing would change its last digit.
        same = self._runs[first] == self._runs[last]
        return np.where(known, np.where(same, self.price[first], integral / step_s), np.nan), known

    def spans(self) -> IntArray:
        """List the spans without a gap.

        Returns
        -------
        int64 array, shape (spans, 2)
            Start and end of each, UTC seconds.

        Examples
        --------
        >>> MarketPrices.build(np.array([1767225600, 1767229200, 1767312000]), np.ones(3)).spans().tolist()
        [[1767225600, 1767232800], [1767312000, 1767315600]]
        """
        gap = self.end_s[:-1] < self.start_s[1:]
        return np.column_stack([self.start_s[np.append(True, gap)], self.end_s[np.append(gap, True)]])

    def first_gap(self, start_s: int, end_s: int) -> tuple[int, int] | None:
        """Find the first time without a price.

        Parameters
        ----------
        start_s, end_s : int
            Where to look: from `start_s` to before `end_s`, UTC seconds.

        Returns
        -------
        tuple of int, or None
            Start and end of the gap within that time; None if every second has a price.

        Examples
        --------
        >>> MarketPrices.build(np.array([1767225600]), np.ones(1)).first_gap(1767227400, 1767240000)
        (1767229200, 1767240000)
        """
        spans = self.spans()
        span = int(np.searchsorted(spans[:, 0], start_s, side="right")) - 1
        gap_s = max(start_s, int(spans[span, 1])) if span >= 0 else start_s
        if gap_s >= end_s:
            return None
        return gap_s, min(end_s, int(spans[span + 1, 0])) if span + 1 < len(spans) else end_s

    def _row(self, utc_s: IntArray) -> IntArray:
        """Find the last row that starts at or before each instant; the first row for earlier ones."""
        return np.maximum(np.searchsorted(self.start_s, utc_s, side="right") - 1, 0)

    def _part_s(self, row: IntArray, utc_s: IntArray) -> IntArray:
        """Count the seconds of a row that lie before an instant."""
        return np.clip(utc_s, self.start_s[row], self.end_s[row]) - self.start_s[row]

    @cached_property
    def _runs(self) -> IntArray:
        """Number the runs of rows with one and the same price."""
        return np.cumsum(np.append(False, np.diff(self.price) != 0), dtype=np.int64)

    @cached_property
    def _sums(self) -> _Sums:
        seconds = self.end_s - self.start_s
        amount = (self.price * seconds)[:-1]
        high = np.append(0.0, np.cumsum(amount))
        added = high[1:] - high[:-1]
        lost = (high[:-1] - (high[1:] - added)) + (amount - added)
        return _Sums(np.append(0, np.cumsum(seconds[:-1])), high, np.append(0.0, np.cumsum(lost)))


def _checked(start_s: IntArray, price: FloatArray) -> tuple[IntArray, FloatArray]:
    start_s, price = np.asarray(start_s), np.asarray(price, dtype=np.float64)
    if start_s.ndim != 1 or start_s.shape != price.shape:
        raise InputError(f"starts of shape {start_s.shape} and prices of shape {price.shape} do not go together")
    if start_s.size == 0:
        raise InputError("there are no market prices; give at least one")
    if start_s.dtype.kind not in "iu":
        raise InputError(f"starts of type {start_s.dtype} cannot be read; give whole UTC seconds")
    start_s = start_s.astype(np.int64)
    if int(start_s.min()) < _FIRST_S or int(start_s.max()) >= _LAST_S:
        raise InputError(f"a market price lies outside the years {FIRST_YEAR} to {LAST_YEAR}")
    if np.any(start_s % 60):
        raise InputError("a market price does not start at a whole minute")
    if not np.all(np.abs(price) <= LARGEST_PRICE):  # NaN is caught as well
        raise InputError(f"a market price is not a number from -{LARGEST_PRICE:.0f} to {LARGEST_PRICE:.0f} per kWh")
    return start_s, price


def _in_order(start_s: IntArray, price: FloatArray) -> tuple[IntArray, FloatArray]:
    """Sort by time, and keep one of equal rows."""
    order = np.argsort(start_s, kind="stable")
    start_s, price = start_s[order], price[order]
    again = np.append(False, np.diff(start_s) == 0)
    two_prices = again & np.append(False, np.diff(price) != 0)
    if np.any(two_prices):
        row = int(np.argmax(two_prices))
        when = datetime.fromtimestamp(int(start_s[row]), UTC).isoformat(" ", "minutes")
        raise InputError(f"two market prices start at {when}: {price[row - 1]:g} and {price[row]:g}")
    return start_s[~again], price[~again]


def _resolutions(start_s: IntArray) -> IntArray:
    """Find the resolution of the UTC day of every start; the starts are in order."""
    day, position = np.unique(start_s // DAY_S, return_inverse=True)
    smallest = np.full(day.size, _LONGEST_S, dtype=np.int64)  # more than any spacing within a day
    inside = position[1:] == position[:-1]
    np.minimum.at(smallest, position[1:][inside], np.diff(start_s)[inside])
    adjacent = np.diff(day) == 1
    before = np.append(_LONGEST_S, np.where(adjacent, smallest[:-1], _LONGEST_S))
    after = np.append(np.where(adjacent, smallest[1:], _LONGEST_S), _LONGEST_S)
    single = smallest == _LONGEST_S
    of_day = np.minimum(np.where(single, np.minimum(before, after), smallest), HOUR_S)
    return of_day[position]
