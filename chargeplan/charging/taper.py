"""How the power that a battery accepts falls as it fills: a concave piecewise-linear curve.

Concave, because then the curve is the lowest of a few straight lines and stays linear in a program.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from chargeplan.charging.numeric import FloatArray, FloatOrArray, as_given, check_number, without_nan
from chargeplan.errors import InputError

_ROUNDING = 1e-9


@dataclass(frozen=True, slots=True)
class Taper:
    """Power that the battery accepts by state of charge.

    Parameters
    ----------
    points : iterable of (float, float)
        State of charge from 0 to 1 and accepted battery power in kW, from empty to full. Straight lines
        in between. The curve must be concave, so after its highest point it never rises again.

    Raises
    ------
    InputError
        If the points are not such a curve.

    Examples
    --------
    >>> taper = Taper([(0.0, 100.0), (0.5, 100.0), (1.0, 20.0)])
    >>> taper.accepted_kw(0.75)
    60.0
    >>> slopes, intercepts = taper.segments()
    >>> slopes, intercepts
    (array([ 0., -160.]), array([100., 180.]))
    """

    points: tuple[tuple[float, float], ...]

    def __init__(self, points: Iterable[Sequence[float]]) -> None:
        object.__setattr__(self, "points", _checked(points))

    def accepted_kw(self, state_of_charge: FloatOrArray) -> FloatOrArray:
        """Power accepted at a state of charge.

        Parameters
        ----------
        state_of_charge : float or array of any shape
            0 to 1; a millionth more or less is taken as rounding.

        Returns
        -------
        float or array of the same shape
            Battery power in kW.

        Raises
        ------
        InputError
            If a state of charge is missing or outside 0 to 1.

        Examples
        --------
        >>> Taper([(0, 7.0), (0.9, 7.0), (1, 1.0)]).accepted_kw(np.array([0.2, 0.95, 1.0]))
        array([7., 4., 1.])
        """
        share = without_nan("state_of_charge", state_of_charge)
        if (share < -1e-6).any() or (share > 1 + 1e-6).any():
            raise InputError("a state of charge is outside 0 to 1; write a share, like 0.8 for 80 %")
        at, kw = np.array(self.points).T
        return as_given(np.interp(share, at, kw), state_of_charge)

    def segments(self) -> tuple[FloatArray, FloatArray]:
        """Straight lines whose lowest is the curve: accepted kW = min(slope x state of charge + intercept).

        Returns
        -------
        slope, intercept : array, shape (segments,)
            In kW per unit of state of charge, and kW. Points on one line make one segment.

        Examples
        --------
        >>> Taper([(0, 7.0), (0.5, 7.0), (1, 7.0)]).segments()
        (array([0.]), array([7.]))
        """
        at, kw = np.array(self.points).T
        slope = np.diff(kw) / np.diff(at)
        bends = np.r_[True, np.diff(slope) < -_ROUNDING * max(1.0, float(kw.max()))]
        return slope[bends], (kw[:-1] - slope * at[:-1])[bends]


def _checked(points: Iterable[Sequence[float]]) -> tuple[tuple[float, float], ...]:
    remedy = "write pairs of state of charge and kW, like (0, 100), (0.5, 100), (1, 20)"
    pairs: list[tuple[float, float]] = []
    for point in points:
        if not isinstance(point, (Sequence, np.ndarray)) or len(point) != 2:
            raise InputError(f"{point!r} is no point of a taper; {remedy}")
        check_number("state of charge", point[0], at_least=0, at_most=1, remedy=remedy)
        check_number("accepted kW", point[1], at_least=0, remedy=remedy)
        pairs.append((float(point[0]), float(point[1])))
    if len(pairs) < 2 or pairs[0][0] != 0 or pairs[-1][0] != 1:
        raise InputError(f"a taper goes from state of charge 0 to 1; {remedy}")
    for (before, _), (after, _) in pairwise(pairs):
        if after <= before:
            raise InputError(f"the states of charge of a taper must rise, but {after:g} follows {before:g}; {remedy}")
    highest_kw = max(kw for _, kw in pairs)
    if highest_kw == 0:
        raise InputError(f"a taper of 0 kW everywhere can never charge; {remedy}")
    for (x0, y0), (x1, y1), (x2, y2) in zip(pairs, pairs[1:], pairs[2:], strict=False):
        chord_kw = y0 + (y2 - y0) * (x1 - x0) / (x2 - x0)
        if y1 < chord_kw - _ROUNDING * highest_kw:
            raise InputError(
                f"a taper must be concave, but it sags at state of charge {x1:g}: "
                f"write at least {chord_kw:.6g} kW there instead of {y1:g}, or leave that point out"
            )
    return tuple(pairs)
