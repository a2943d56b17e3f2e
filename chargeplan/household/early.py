"""Departures that may come early: by when the target has to be met to be as sure of it as one wants to be."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from chargeplan.errors import InputError


@dataclass(frozen=True)
class Early:
    """How often the car leaves sooner than usual, and how sure its target shall be.

    Parameters
    ----------
    chances : tuple of (float, float)
        Minutes sooner, and the share of departures that come so much sooner; rising. What is left to
        1 is on time. A departure between two of them counts as the sooner one.
    sure : float
        Share of departures at which the target must be met.

    Raises
    ------
    InputError
        If a number is out of range, or the shares come to more than 1.

    Examples
    --------
    On 8 % of days half an hour early, on 2 % an hour: to be 95 % sure, be ready half an hour early.

    >>> early = Early.of({30: 0.08, 60: 0.02}, sure=0.95)
    >>> early.ready_min, round(early.met(early.ready_min), 2), round(early.met(0), 2)
    (30, 0.98, 0.9)
    """

    chances: tuple[tuple[float, float], ...]
    sure: float = 1.0

    def __post_init__(self) -> None:
        for minutes, share in self.chances:
            if not 0 < minutes <= 12 * 60:
                raise InputError(f"{minutes:g} min early cannot be; write up to 12 h")
            if not 0 < share <= 1:
                raise InputError(f"a chance of {100 * share:g} % cannot be; write above 0 % and up to 100 %")
        total = sum(share for _, share in self.chances)
        if total > 1 + 1e-9:
            raise InputError(f"the chances of leaving early come to {100 * total:g} %; write at most 100 % in all")
        if not 0 <= self.sure <= 1:
            raise InputError(f"{100 * self.sure:g} % sure cannot be; write 0 % to 100 %")

    @classmethod
    def of(cls, chances: float | Mapping[float, float], sure: float = 1.0) -> Early:
        """Take minutes by which the car always may be early, or minutes with a chance each."""
        given = chances if isinstance(chances, Mapping) else {chances: 1.0}
        return cls(tuple(sorted(given.items())), sure)

    def met(self, ready_min: float) -> float:
        """Give the share of departures that come no sooner than so many minutes before the usual time."""
        return 1.0 - sum(share for minutes, share in self.chances if minutes > ready_min)

    @property
    def ready_min(self) -> float:
        """Least minutes before the usual departure at which the target has to be met."""
        for minutes in (0.0, *(minutes for minutes, _ in self.chances)):
            if self.met(minutes) >= self.sure - 1e-12:
                return minutes
        return self.chances[-1][0]
