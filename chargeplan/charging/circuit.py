"""The branch circuit: what its breaker may carry for hours, and the power that makes.

A single-phase circuit has one voltage and is given by `volts`; a three-phase circuit has two, so it is given
by the one that is meant, `volts_to_neutral` or `volts_between_phases`. No number is ever guessed to be either.
"""

from __future__ import annotations

import math
from dataclasses import KW_ONLY, dataclass
from typing import Final, Literal, TypeAlias

import numpy as np

from chargeplan.charging.numeric import FloatOrArray, as_given, check_number
from chargeplan.errors import InputError

#: How a car is being charged; every level has its own losses.
Level: TypeAlias = Literal["level 1", "level 2", "three-phase", "dc"]

#: Standard ampere ratings of North-American breakers, NFPA 70 (2023) table 240.6(A), up to 400 A.
STANDARD_BREAKERS_A: Final = (
    *(15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400),
)
#: Usual ratings of European miniature circuit breakers (common practice, no source).
EUROPEAN_BREAKERS_A: Final = (6, 10, 13, 16, 20, 25, 32, 40, 50, 63)

#: Highest voltage of a level 1 circuit: 120 V nominal, 127 V where a 220Y/127 supply is in use.
LEVEL_1_MAX_V: Final = 127.0
_ROUNDING: Final = 1e-9


@dataclass(frozen=True, slots=True)
class Circuit:
    """A branch circuit that feeds a car.

    Parameters
    ----------
    breaker_a : float
        Rating of its breaker, in amperes.
    volts : float, optional
        Voltage of a single-phase circuit: 120, 208, 230, 240. Two legs of a 208 V supply are single phase.
    volts_to_neutral, volts_between_phases : float, optional
        Voltage of a three-phase circuit, one of the two: 230 to neutral, or 400 between phases.
    phases : {1, 3}
        Number of phases.
    continuous_factor : float
        Share of the rating that may flow for three hours or more. Car charging is such a load, and the
        North-American rule is 0.8. Where the local rules do not have it, 1.0 must be stated.

    Raises
    ------
    InputError
        If a number cannot be, or the voltage does not fit the number of phases.

    References
    ----------
    NFPA 70 (2023) 625.42 and 210.20(A): the overcurrent device is rated at no less than 125 % of the
    continuous load, which is 80 % the other way round.

    Examples
    --------
    >>> dryer = Circuit(50, volts=240)
    >>> dryer.continuous_a, dryer.power_kw(dryer.continuous_a), dryer.level
    (40.0, 9.6, 'level 2')
    >>> garage = Circuit(16, phases=3, volts_to_neutral=230, continuous_factor=1.0)
    >>> garage.power_kw(16), garage.level
    (11.04, 'three-phase')
    """

    breaker_a: float
    _: KW_ONLY
    volts: float | None = None
    volts_to_neutral: float | None = None
    volts_between_phases: float | None = None
    phases: int = 1
    continuous_factor: float = 0.8

    def __post_init__(self) -> None:
        check_number("breaker_a", self.breaker_a, above=0, remedy="write the rating in amperes, like 50")
        check_number(
            "continuous_factor",
            self.continuous_factor,
            above=0,
            at_most=1,
            remedy="write 0.8, or 1.0 where the local rules allow the full rating",
        )
        if isinstance(self.phases, bool) or self.phases not in (1, 3):
            raise InputError(f"phases is {self.phases!r}; write 1 (also for two legs of a 208 V or 240 V supply) or 3")
        if self.phases == 1:
            self._check_single_phase()
        else:
            self._check_three_phase()

    def _check_single_phase(self) -> None:
        for name in ("volts_to_neutral", "volts_between_phases"):
            if getattr(self, name) is not None:
                raise InputError(f"{name} belongs to a three-phase circuit; write volts=..., or add phases=3")
        if self.volts is None:
            raise InputError("the voltage is missing; write volts=240 (or 120, 208, 230)")
        check_number(
            "volts",
            self.volts,
            at_least=90,
            at_most=300,
            remedy="a single-phase circuit has 90 to 300 V, like 120 or 240; a 400 V supply is three-phase: "
            "write phases=3 and volts_between_phases=400",
        )

    def _check_three_phase(self) -> None:
        if self.volts is not None:
            raise InputError(
                f"volts={self.volts!r} is unclear with phases=3; write volts_to_neutral (like 230) "
                "or volts_between_phases (like 400)"
            )
        if (self.volts_to_neutral is None) == (self.volts_between_phases is None):
            raise InputError(
                "a three-phase circuit needs exactly one of volts_to_neutral (like 230) "
                "and volts_between_phases (like 400)"
            )
        if self.volts_to_neutral is not None:
            check_number(
                "volts_to_neutral",
                self.volts_to_neutral,
                at_least=90,
                at_most=300,
                remedy="it is 90 to 300 V, like 230; if 400 V was meant, write volts_between_phases=400",
            )
        else:
            check_number(
                "volts_between_phases",
                self.volts_between_phases,
                at_least=156,
                at_most=520,
                remedy="it is 156 to 520 V, like 400; if 120 V was meant, write volts_to_neutral=120",
            )

    @property
    def continuous_a(self) -> float:
        """Current it may carry for hours, in amperes: continuous factor times breaker rating."""
        # Rounded so that a product like 0.57 x 100 does not fall just below a whole ampere.
        return round(self.continuous_factor * self.breaker_a, 9)

    @property
    def phase_volts(self) -> float:
        """Voltage that drives the current of one phase: `volts`, or phase to neutral."""
        if self.volts is not None:
            return self.volts
        if self.volts_to_neutral is not None:
            return self.volts_to_neutral
        assert self.volts_between_phases is not None  # one of the three is there, see __post_init__
        return self.volts_between_phases / math.sqrt(3)

    @property
    def volts_text(self) -> str:
        """The voltage in words, as it was given."""
        if self.volts is not None:
            return f"{self.volts:g} V"
        if self.volts_to_neutral is not None:
            return f"{self.volts_to_neutral:g} V to neutral"
        return f"{self.volts_between_phases:g} V between phases"

    @property
    def level(self) -> Level:
        """``level 1``, ``level 2`` or ``three-phase``, when all its phases are used."""
        return charging_level(self.phase_volts, self.phases)

    @property
    def is_standard_breaker(self) -> bool:
        """Whether a breaker of this rating is a usual one; European ratings count where the factor is 1."""
        return self.breaker_a in STANDARD_BREAKERS_A or (
            self.continuous_factor == 1 and self.breaker_a in EUROPEAN_BREAKERS_A
        )

    def power_kw(self, current_a: FloatOrArray, phases: int | None = None) -> FloatOrArray:
        """Power of a current, with a power factor of 1 as car chargers have it.

        Parameters
        ----------
        current_a : float or array of any shape
            Current of each phase in use, in amperes.
        phases : int, optional
            Phases in use; all of them unless given.

        Returns
        -------
        float or array of the same shape
            Power in kW.

        Raises
        ------
        InputError
            If the circuit does not have that many phases.

        References
        ----------
        Balanced three-phase power: 3 x V to neutral x A = sqrt(3) x V between phases x A.

        Examples
        --------
        >>> Circuit(50, volts=208).power_kw(40.0)
        8.32
        >>> round(Circuit(40, phases=3, volts_between_phases=400).power_kw(32.0), 2)
        22.17
        """
        used = self.phases if phases is None else phases
        if not 1 <= used <= self.phases:
            raise InputError(f"{used} phases cannot be used on a circuit of {self.phases}")
        return as_given(used * self.phase_volts * np.asarray(current_a, dtype=np.float64) / 1000, current_a)


def charging_level(phase_volts: float, phases: int) -> Level:
    """Name the level of charging with alternating current.

    Parameters
    ----------
    phase_volts : float
        Voltage of one phase in use.
    phases : int
        Phases in use.

    Returns
    -------
    {"level 1", "level 2", "three-phase"}
        Level 1 up to 127 V and level 2 above on one phase; ``three-phase`` on more than one.

    References
    ----------
    SAE J1772: AC level 1 is 120 V, AC level 2 is 208 to 240 V.

    Examples
    --------
    >>> charging_level(120, 1), charging_level(230, 1), charging_level(230, 3)
    ('level 1', 'level 2', 'three-phase')
    """
    if phases > 1:
        return "three-phase"
    return "level 1" if phase_volts <= LEVEL_1_MAX_V else "level 2"


def next_standard_breaker(current_a: float, continuous_factor: float = 0.8) -> int:
    """Find the smallest standard North-American breaker that carries a current for hours.

    Parameters
    ----------
    current_a : float
        The continuous current, in amperes.
    continuous_factor : float
        Share of its rating that a breaker may carry continuously.

    Returns
    -------
    int
        Rating in amperes.

    Raises
    ------
    InputError
        If the current is not positive or would need a breaker above 400 A.

    References
    ----------
    NFPA 70 (2023) table 240.6(A), standard ampere ratings; 210.20(A), 125 % of the continuous load.

    Examples
    --------
    >>> next_standard_breaker(30), next_standard_breaker(48), next_standard_breaker(33)
    (40, 60, 45)
    """
    check_number("current_a", current_a, above=0, remedy="write the continuous current in amperes, like 32")
    check_number("continuous_factor", continuous_factor, above=0, at_most=1, remedy="write 0.8 or 1.0")
    for rating_a in STANDARD_BREAKERS_A:
        if continuous_factor * rating_a >= current_a * (1 - _ROUNDING):
            return rating_a
    raise InputError(
        f"{current_a:g} A needs a breaker above {STANDARD_BREAKERS_A[-1]} A, which is no car circuit; "
        f"write at most {continuous_factor * STANDARD_BREAKERS_A[-1]:g} A"
    )
