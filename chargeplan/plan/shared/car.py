"""A car that shares limits with others: where it is plugged in, and which currents it may be given."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from chargeplan.charging.numeric import check_number
from chargeplan.charging.supply import PILOT_MIN_A
from chargeplan.errors import InputError
from chargeplan.plan.problem import Ints, Problem
from chargeplan.plan.rules import MEET_S


@dataclass(frozen=True, eq=False)
class SharedCar:
    """One car, where it is plugged in, and which currents it may be given.

    Parameters
    ----------
    problem : Problem
        Stays, prices and battery; its `max_kwh` says the highest current of circuit, EVSE and car. Its taper and
        its rules about switching are kept, the rules in whole slots: a slot is on or off.
    kw_per_a : float or sequence of float
        Wall power of one ampere on every phase in use, in kW, as `Limit.kw_per_a`; one, or one per stay.
    node : str, None, or sequence of these
        Node of the tree that feeds the EVSE; one, or one per stay. None: not on this tree.
    phases : tuple of int
        Which phases of the tree the car loads, counted from 1, each with the same current.
    min_a : float
        Least current; below it charging is off.
    step_a : float
        Currents are whole multiples of this; 0 allows any.
    name : str
        What its owner calls it.
    prefer : {"earliest", "latest"}
        Which hours of equally cheap plans.

    Raises
    ------
    InputError
        If a number is out of range, there is not one value per stay, or rules have no least current that tells on
        from off.

    References
    ----------
    SAE J1772 and IEC 61851-1 annex A: the control pilot announces 6 A at least.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> SharedCar(night([0.3, 0.1], max_kw=7.68, need_kwh=3), kw_per_a=0.24, name="left").nodes
    (None,)
    """

    problem: Problem
    kw_per_a: float | Sequence[float]
    node: str | Sequence[str | None] | None = None
    phases: tuple[int, ...] = (1,)
    min_a: float = PILOT_MIN_A
    step_a: float = 0.0
    name: str = ""
    prefer: Literal["earliest", "latest"] = "earliest"

    def __post_init__(self) -> None:
        called = self.name or "the car"
        for value in self.powers:
            check_number(f"kw_per_a of {called}", value, above=0, remedy="write kW per ampere, like 0.24 at 240 V")
        check_number(f"min_a of {called}", self.min_a, at_least=0, remedy="write amperes, like 6")
        check_number(f"step_a of {called}", self.step_a, at_least=0, remedy="write 1 for whole amperes, 0 for any")
        for name, values in (("kw_per_a", self.powers), ("node", self.nodes)):
            if len(values) != self.problem.stays:
                raise InputError(
                    f"{called} has {self.problem.stays} stays and {len(values)} values of {name}; give one, or one each"
                )
        if not self.phases or len(set(self.phases)) != len(self.phases):
            raise InputError(f"{called} uses the phases {self.phases!r}; write each once, like (1,) or (1, 2, 3)")
        problem = self.problem
        ends_s = problem.start_s % problem.step_s + 3600 * problem.hours
        if (ends_s > problem.step_s + 1e-3).any():
            raise InputError(
                f"a slot of {called} lies across the grid of {problem.step_s} s that cars share; lay slots on whole "
                "multiples of their length, counted from midnight UTC"
            )
        if self.prefer not in ("earliest", "latest"):
            raise InputError(f"{called} prefers {self.prefer!r} among equally cheap plans; write earliest or latest")
        if problem.ruled and not self.min_a > 0:
            raise InputError(f"{called} has rules about switching and no least current; give min_a, like 6")
        gaps = problem.start_s[1:] - problem.start_s[:-1] - 3600 * problem.hours[:-1] > MEET_S
        if problem.ruled and (gaps & (np.diff(problem.stay) == 0)).any():
            raise InputError(f"{called} has rules about switching and a gap within a stay; give all slots of the stay")

    @property
    def powers(self) -> tuple[float, ...]:
        """Power of an ampere for each stay, in kW."""
        given = self.kw_per_a
        return tuple(given) if isinstance(given, Sequence | np.ndarray) else (given,) * self.problem.stays

    @property
    def nodes(self) -> tuple[str | None, ...]:
        """Node of each stay."""
        given = self.node
        return (given,) * self.problem.stays if given is None or isinstance(given, str) else tuple(given)


def shared_grid_s(cars: Sequence[SharedCar]) -> Ints:
    """Find the slots that the cars share: from the first arrival to the last departure.

    Parameters
    ----------
    cars : sequence of SharedCar
        All with the same length of slot.

    Returns
    -------
    array of int, shape (slots,)
        Start of each slot, UTC seconds.

    Raises
    ------
    InputError
        If there is no car, or the slots of two have different lengths.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> shared_grid_s([SharedCar(night([0.3, 0.1], 7.2, 3, start_s=s), 0.24) for s in (0, 900)]).tolist()
    [0, 900, 1800]
    """
    if not cars:
        raise InputError("there is no car to plan; give at least one")
    steps = sorted({car.problem.step_s for car in cars})
    if len(steps) > 1:
        raise InputError(f"the cars have slots of {' and '.join(map(str, steps))} s; lay all of them on one grid")
    first = min(int(car.problem.start_s.min()) for car in cars) // steps[0]
    last = max(int(car.problem.start_s.max()) for car in cars) // steps[0]
    return np.arange(first, last + 1, dtype=np.int64) * steps[0]
