"""What else runs on the panel, and what that leaves for cars."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from chargeplan.charging.numeric import FloatArray, check_number, without_nan
from chargeplan.charging.panel import PowerTree
from chargeplan.clock import DAY_S, IntArray, local_seconds
from chargeplan.errors import InputError


@dataclass(frozen=True, eq=False)
class OtherLoad:
    """Current that does not go into cars, with a safety margin.

    Parameters
    ----------
    node : str
        Where it is connected; it also flows through every node above.
    current_a : array, shape (slots,) or (slots, phases)
        Expected amperes in every slot of the plan, the same on all phases or one column per phase.
    margin : float
        Share added for what the forecast misses: 0.1 adds a tenth.
    margin_a : float
        Amperes added on top of that on every phase.

    Raises
    ------
    InputError
        If a value is missing or negative.

    Examples
    --------
    >>> OtherLoad("panel", [20.0, 40.0], margin=0.25, margin_a=2).safe_a(phases=1).tolist()
    [[27.0], [52.0]]
    """

    node: str
    current_a: ArrayLike
    margin: float = 0.0
    margin_a: float = 0.0

    def __post_init__(self) -> None:
        check_number("margin", self.margin, at_least=0, remedy="write a share, like 0.1 for a tenth more")
        check_number("margin_a", self.margin_a, at_least=0, remedy="write amperes, like 5")
        values = without_nan(
            f"current_a of the other load at {self.node}", np.asarray(self.current_a, dtype=np.float64)
        )
        if values.ndim not in (1, 2):
            raise InputError(
                f"the other load at {self.node} has {values.ndim} dimensions; give one value per slot, or one row per "
                "slot with a value per phase"
            )
        if (values < 0).any() or np.isinf(values).any():
            raise InputError(
                f"the other load at {self.node} has a value that is negative or infinite; write amperes, and 0 where "
                "the house feeds in"
            )
        object.__setattr__(self, "current_a", values)

    def safe_a(self, phases: int) -> FloatArray:
        """Add the margins.

        Parameters
        ----------
        phases : int
            Phases of the supply.

        Returns
        -------
        array, shape (slots, phases)
            Amperes to be kept free.

        Raises
        ------
        InputError
            If the columns are not the phases.
        """
        values = np.asarray(self.current_a)
        values = values[:, None] if values.ndim == 1 else values
        if values.shape[1] not in (1, phases):
            raise InputError(
                f"the other load at {self.node} has {values.shape[1]} columns for {phases} phases; "
                "give one, or one each"
            )
        return np.broadcast_to(values * (1 + self.margin) + self.margin_a, (values.shape[0], phases))


def daily_profile_a(profile_a: ArrayLike, zone: str, start_s: IntArray, step_s: int) -> FloatArray:
    """Lay a profile of one day on the slots of a plan, by the wall clock.

    Parameters
    ----------
    profile_a : array, shape (k,) or (k, phases)
        Amperes over the day from midnight in k equal parts: 24 hourly values, 96 quarter-hourly ones.
    zone : str
        Time zone of the house.
    start_s : array of int, shape (slots,)
        Start of each slot, UTC seconds.
    step_s : int
        Length of a slot in seconds.

    Returns
    -------
    array, shape (slots,) or (slots, phases)
        The highest value that a slot meets.

    Raises
    ------
    InputError
        If the day cannot be cut into that many parts of whole minutes.

    Examples
    --------
    >>> evening = np.where(np.arange(24) >= 18, 30.0, 8.0)
    >>> midnight_s = 20_000 * 86_400
    >>> daily_profile_a(evening, "UTC", midnight_s + 3600 * np.array([16, 17, 18]), 5400).tolist()
    [8.0, 30.0, 30.0]
    """
    values = without_nan("profile_a", np.asarray(profile_a, dtype=np.float64))
    parts = values.shape[0] if values.ndim else 0
    if parts < 1 or 1440 % parts:
        raise InputError(f"a profile of {parts} values does not cut a day into whole minutes; give 24, 48 or 96")
    length_s = DAY_S // parts
    # A slot is asked at its start, at every part that begins inside it, and just before its end.
    offsets = np.unique(np.append(np.arange(0, step_s, min(length_s, step_s)), step_s - 1))
    times_s = np.asarray(start_s, dtype=np.int64)[:, None] + offsets
    part = local_seconds(zone, times_s.ravel()) % DAY_S // length_s
    highest: FloatArray = values[part].reshape(*times_s.shape, *values.shape[1:]).max(axis=1)
    return highest


def left_for_cars_a(tree: PowerTree, loads: Sequence[OtherLoad], slots: int) -> FloatArray:
    """Find what other loads leave of every limit.

    Parameters
    ----------
    tree : PowerTree
        The limits.
    loads : sequence of OtherLoad
        What else runs.
    slots : int
        Number of slots of the plan.

    Returns
    -------
    array, shape (nodes, slots, phases)
        Amperes left for cars, 0 where the others need all of it or more.

    Raises
    ------
    InputError
        If a load names a node that is not there or has another number of slots.

    Examples
    --------
    >>> from chargeplan.charging.panel import Node
    >>> tree = PowerTree([Node("panel", 80), Node("garage", 40, "panel")])
    >>> left_for_cars_a(tree, [OtherLoad("panel", [30.0, 90.0])], 2)[:, :, 0].tolist()
    [[50.0, 0.0], [40.0, 40.0]]
    """
    left = np.repeat(tree.limit_a[:, None, :], slots, axis=1)
    for load in loads:
        kept = load.safe_a(tree.phases)
        if kept.shape[0] != slots:
            raise InputError(
                f"the other load at {load.node} has {kept.shape[0]} values for {slots} slots; give one per slot"
            )
        left[tree.above[tree.number(load.node)]] -= kept
    return np.maximum(left, 0.0)
