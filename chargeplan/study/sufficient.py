"""The least equipment that is enough: the cheapest with which the car is ready as often as it has to be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from chargeplan.charging.links import number_text
from chargeplan.charging.numeric import FloatArray, check_number, without_nan
from chargeplan.errors import InputError
from chargeplan.study.equipment import Equipment

#: Costs that differ by less than half a cent are the same.
_SAME_COST: Final = 0.005
_ROUNDING: Final = 1e-9


@dataclass(frozen=True)
class Choice:
    """What was chosen.

    Parameters
    ----------
    equipment : Equipment or None
        None if nothing is enough.
    reason : str
        Why, in words.
    """

    equipment: Equipment | None
    reason: str


def least_sufficient(
    options: Sequence[Equipment], share_met: ArrayLike, reliability: float, *, present_cost: ArrayLike
) -> Choice:
    """Pick the cheapest equipment that meets its departures often enough.

    Parameters
    ----------
    options : sequence of Equipment
        To choose from.
    share_met : array, shape (options,)
        Share of the departures at which the target was reached, 0 to 1.
    reliability : float
        The least share that is enough, 0 to 1.
    present_cost : array, shape (options,)
        Net present cost of each, car costs included. Of equal costs, less than half a cent apart, the equipment with
        the lower current is taken, then the one with the lower power, then the one named first.

    Returns
    -------
    Choice

    Raises
    ------
    InputError
        If the numbers do not fit the options.

    Examples
    --------
    >>> from chargeplan.charging import Circuit, Evse
    >>> options = [Equipment("outlet", Circuit(15, volts=120), Evse(12)), Equipment("dryer outlet",
    ...            Circuit(30, volts=240), Evse(24)), Equipment("wall box", Circuit(60, volts=240), Evse(48))]
    >>> choice = least_sufficient(options, [0.81, 0.99, 1.0], 0.98, present_cost=[5200, 5100, 6300])
    >>> choice.equipment.name, choice.reason
    ('dryer outlet', 'the cheapest of 2 that meet at least 98 % of the departures; it meets 99 %')
    >>> print(least_sufficient(options, [0.81, 0.97, 0.975], 0.98, present_cost=[5200, 5100, 6300]).reason)
    none meets 98 % of the departures; wall box comes nearest with 97.5 %
    """
    if not options:
        raise InputError("there is no equipment to choose from; give at least one")
    check_number("reliability", reliability, at_least=0, at_most=1, remedy="write a share, like 0.98 for 98 %")
    share = _one_each("share_met", share_met, len(options))
    cost = _one_each("present_cost", present_cost, len(options))
    if (share < 0).any() or (share > 1).any():
        raise InputError("share_met has a value below 0 or above 1; write shares, like 0.98 for 98 %")
    wanted = f"{number_text(100 * reliability)} % of the departures"
    enough = np.flatnonzero(share >= reliability - _ROUNDING)
    if not enough.size:
        nearest = int(np.argmax(share))
        reason = f"none meets {wanted}; {options[nearest].name} comes nearest with {_percent(share[nearest])}"
        return Choice(None, reason)
    cheapest = enough[cost[enough] < cost[enough].min() + _SAME_COST]
    chosen = min(cheapest.tolist(), key=lambda i: (options[i].demand_a, options[i].demand_kw, i))
    among = f"the cheapest of {enough.size} that meet" if enough.size > 1 else "the only one that meets"
    return Choice(options[chosen], f"{among} at least {wanted}; it meets {_percent(share[chosen])}")


def _one_each(name: str, values: ArrayLike, options: int) -> FloatArray:
    numbers = without_nan(name, np.asarray(values, dtype=np.float64))
    if numbers.shape != (options,):
        raise InputError(f"{name} has {numbers.size} values for {options} options; give one each")
    return numbers


def _percent(share: float) -> str:
    # Cut, not rounded: 99.996 % must not be shown as all.
    return f"{number_text(np.floor(share * 10_000 + _ROUNDING) / 100)} %"
