"""The EVSE (electric vehicle supply equipment): which currents it can announce to the car.

The announcement is the control pilot, a square wave whose duty cycle says how many amperes may be drawn.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from chargeplan.charging.numeric import FloatOrArray, as_given, check_number, without_nan
from chargeplan.errors import InputError

#: Lowest and highest current that the control pilot can announce, in amperes (SAE J1772, IEC 61851-1).
PILOT_MIN_A: Final = 6.0
PILOT_MAX_A: Final = 80.0
_ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Evse:
    """The equipment between circuit and car.

    Parameters
    ----------
    max_a : float
        Highest current it announces, in amperes, as it is set; at most 80.
    min_a : float
        Lowest current it announces before it stops the charging; at least 6.
    step_a : float
        Currents it can announce are whole multiples of this.
    name : str
        What its owner calls it.

    Raises
    ------
    InputError
        If a number cannot be.

    References
    ----------
    SAE J1772 (OCT2017) and IEC 61851-1 annex A: 6 to 80 A with alternating current.

    Examples
    --------
    >>> wall_box = Evse(32)
    >>> wall_box.floor_to_step(12.8), wall_box.floor_to_step(5.9), wall_box.floor_to_step(48.0)
    (12.0, 0.0, 32.0)
    """

    max_a: float
    min_a: float = PILOT_MIN_A
    step_a: float = 1.0
    name: str = ""

    def __post_init__(self) -> None:
        check_number(
            "max_a",
            self.max_a,
            at_least=PILOT_MIN_A,
            at_most=PILOT_MAX_A,
            remedy="an EVSE announces 6 to 80 A; write for example 32",
        )
        check_number(
            "min_a",
            self.min_a,
            at_least=PILOT_MIN_A,
            at_most=self.max_a,
            remedy=f"it is at least 6 A and at most max_a, here {self.max_a:g} A",
        )
        check_number(
            "step_a",
            self.step_a,
            above=0,
            at_most=self.max_a,
            remedy="write 1 for whole amperes, 0.1 for tenths",
        )
        if self.floor_to_step(float(self.max_a)) == 0:
            raise InputError(
                f"no multiple of step_a={self.step_a:g} lies between {self.min_a:g} and {self.max_a:g} A; "
                "write a smaller step, like 1"
            )

    def floor_to_step(self, current_a: FloatOrArray) -> FloatOrArray:
        """Find the highest current it can announce at or below a current.

        Parameters
        ----------
        current_a : float or array of any shape
            Current that is allowed, in amperes.

        Returns
        -------
        float or array of the same shape
            A multiple of `step_a` up to `max_a`, and 0 where that is below `min_a`. A current short of a
            step by no more than a billionth of it counts as that step.

        Raises
        ------
        InputError
            If a current is missing (NaN).

        Examples
        --------
        >>> Evse(16).floor_to_step(np.array([4.0, 6.5, 40.0]))
        array([ 0.,  6., 16.])
        """
        allowed_a = np.minimum(without_nan("current_a", current_a), self.max_a)
        # Rounding away the last digits keeps 3 x 0.1 at 0.3.
        announced_a = np.round(np.floor(allowed_a / self.step_a + _ROUNDING) * self.step_a, 9)
        return as_given(np.where(announced_a >= self.min_a - _ROUNDING, announced_a, 0.0), current_a)


def pilot_current_a(duty_percent: FloatOrArray) -> FloatOrArray:
    """Read the control pilot: the current that a duty cycle announces.

    Where the readings of the two standards differ, at the edges, this takes the wider one of IEC 61851-1:
    6 A from 8 % on and 80 A up to 97 % (SAE J1772 of 2017 is reported to say 9.5 % and 96.5 %). At exactly
    85 % the lower branch holds, 51 A; just above it the formula jumps to 52.5 A.

    Parameters
    ----------
    duty_percent : float or array of any shape
        Duty cycle in percent.

    Returns
    -------
    float or array of the same shape
        Amperes; 0 outside the range in which the pilot allows charging, which includes the 5 % that stands
        for digital communication and the steady 100 %.

    References
    ----------
    IEC 61851-1 annex A and SAE J1772 (OCT2017), as printed in the manual of a test adapter.

    Examples
    --------
    >>> pilot_current_a(50.0), pilot_current_a(90.0), pilot_current_a(5.0)
    (30.0, 65.0, 0.0)
    """
    duty = np.asarray(duty_percent, dtype=np.float64)
    current = np.select(
        [
            (duty >= 8) & (duty < 10),
            (duty >= 10) & (duty <= 85),
            (duty > 85) & (duty <= 96),
            (duty > 96) & (duty <= 97),
        ],
        [np.full_like(duty, PILOT_MIN_A), 3 * duty / 5, 2.5 * (duty - 64), np.full_like(duty, PILOT_MAX_A)],
        0.0,
    )
    return as_given(current, duty_percent)


def pilot_duty_percent(current_a: FloatOrArray) -> FloatOrArray:
    """Set the control pilot: the duty cycle that announces a current, or the next lower one there is.

    Parameters
    ----------
    current_a : float or array of any shape
        Current to announce, in amperes: 0 to 80.

    Returns
    -------
    float or array of the same shape
        Duty cycle in percent; 100, the steady pilot that stops the charging, below 6 A. Currents above 51 A
        up to 52.5 A lie in the jump of the formula, which no duty cycle announces: they get 85 %, 51 A.

    Raises
    ------
    InputError
        If a current is missing, negative or above 80 A.

    References
    ----------
    As for `pilot_current_a`, solved for the duty cycle.

    Examples
    --------
    >>> pilot_duty_percent(30.0), pilot_duty_percent(80.0), pilot_duty_percent(0.0)
    (50.0, 96.0, 100.0)
    """
    current = without_nan("current_a", current_a)
    if (current < 0).any() or (current > PILOT_MAX_A).any():
        raise InputError(f"the control pilot announces 0 or {PILOT_MIN_A:g} to {PILOT_MAX_A:g} A; write such currents")
    duty = np.select(
        [current < PILOT_MIN_A, current <= 51, current <= 52.5],
        [np.full_like(current, 100.0), 5 * current / 3, np.full_like(current, 85.0)],
        current / 2.5 + 64,
    )
    return as_given(duty, current_a)
