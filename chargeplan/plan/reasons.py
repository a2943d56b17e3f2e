"""Why each slot of a plan charges, or does not."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final, Literal, TypeAlias

import numpy as np

from chargeplan.plan.certificate import TIGHT_KWH
from chargeplan.plan.instead import Instead
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.reach import Reach
from chargeplan.plan.stops import Stay
from chargeplan.plan.worth import Values

#: Why hours charge, or wait.
ChargingReason: TypeAlias = Literal["floor", "short", "cheap", "last", "needed", "either"]
WaitingReason: TypeAlias = Literal["off", "full", "none", "equal", "dear", "dearer", "rules"]
Reason: TypeAlias = ChargingReason | WaitingReason | Literal["unknown"]

#: Prices that differ by less are the same with another rounding.
_SAME: Final = 1e-9
_CODES: Final[tuple[Reason, ...]] = ("floor", "short", "cheap", "last", "off", "full", "none", "equal", "dear")


@dataclass(frozen=True)
class Stretch:
    """Slots of one stay, one after the other, that charge or wait for the same reason.

    Parameters
    ----------
    stay : int
        Number of the stay.
    start_s, end_s : int
        UTC seconds.
    charges : bool
        Whether it charges.
    reason : str
        ``floor``: the battery is below the floor; ``short``: the target is out of reach, so every hour
        counts; ``cheap``: below what a kWh is worth in this stay; ``last``: the dearest that is needed.
        Not charging: ``off``, nothing can be charged; ``full``, cheap enough, but the battery is full;
        ``none``, nothing more is needed; ``equal``, as dear as the dearest that is used, and not needed;
        ``dear``, dearer. Where hours are tied together and other plans were made: ``needed``, without these
        hours the plan costs more or ends shorter; ``either``, others would do as well; ``dearer``, charging
        here instead costs more; ``rules``, rules of the charger do not let it; ``unknown``, no plan was
        proven in time.
    low, high : float
        Prices by the hour per wall kWh, from the least to the greatest.
    worth : float
        The wall price up to which charging would pay; NaN where none was found.
    current_a : float
        Limit current while it charges, the same in all its slots; NaN where it waits or has none.
    instead : Instead or None
        What the other plan does otherwise: charges in these hours where this one waits, or does not where
        this one charges.
    because : tuple of str
        Rules of the charger at home that stand behind ``off`` and ``rules``, by their keys.
    in_parts : bool
        It charges in some of the slots only, in turn with slots that wait, as where a bill charges the highest
        mean power.
    """

    stay: int
    start_s: int
    end_s: int
    charges: bool
    reason: Reason
    low: float
    high: float
    worth: float
    current_a: float = math.nan
    instead: Instead | None = None
    because: tuple[str, ...] = ()
    in_parts: bool = False


def spell_names(stay: Stay, start_s: int, end_s: int) -> tuple[str, ...]:
    """Name the rules by whose spells less can be drawn at some time of a stay.

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> from chargeplan.plan.spells import Spell
    >>> stay = Stay("home", datetime(2026, 1, 5, 18, tzinfo=timezone.utc), datetime(2026, 1, 6, 7, tzinfo=timezone.utc),
    ...             wall_kw=7.2, gain=0.9, spells=[Spell(0, 100, 0.0, because="never")])
    >>> spell_names(stay, 50, 200), spell_names(stay, 100, 200)
    (('never',), ())
    """
    found = [spell.because for spell in stay.lowered if spell.start_s < end_s and spell.end_s > start_s]
    return tuple(dict.fromkeys(name for name in found if name))


def reasons(problem: Problem, best: Reach, battery_kwh: Floats, values: Values) -> tuple[Stretch, ...]:
    """Tell why every slot of a cheapest plan without taper charges or waits.

    Parameters
    ----------
    problem, best : Problem, Reach
        What was asked, with repaired needs.
    battery_kwh : array, shape (n,)
        The plan.
    values : Values
        What a kWh is worth in each stay.

    Returns
    -------
    tuple of Stretch
        In time, without gaps within a stay.

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> from chargeplan.plan.reach import reach
    >>> from chargeplan.plan.worth import values_of_energy
    >>> one = night([0.3, 0.1, 0.1, 0.2], max_kw=8.0, need_kwh=2.0)
    >>> plan = np.array([0.0, 2.0, 0.0, 0.0])
    >>> for found in reasons(one, reach(one), plan, values_of_energy(one, reach(one), plan)):
    ...     print(found.charges, found.reason, found.high)
    False dear 0.3
    True last 0.1
    False equal 0.1
    False dear 0.2
    """
    cost, stay = problem.unit_cost, problem.stay
    charges = battery_kwh > TIGHT_KWH
    level = problem.levels(battery_kwh, best.served_kwh)
    # Where nothing of a stay is used, a kWh is worth what it saves elsewhere; never less than nothing.
    worth = np.where(np.isfinite(values.saved), values.saved, np.nan)[stay]
    short = (best.shortfall_kwh > TIGHT_KWH)[stay]
    full = level >= problem.capacity_kwh - TIGHT_KWH
    nothing = np.isnan(worth) | (worth <= 0)
    tests = [
        (charges & (best.forced_kwh > TIGHT_KWH), "floor"),
        (charges & short, "short"),
        (charges & (cost < worth - _SAME), "cheap"),
        (charges, "last"),
        (problem.max_battery_kwh <= 0, "off"),
        (full & (cost < np.where(nothing, 0.0, worth) - _SAME), "full"),
        (nothing, "none"),
        (np.abs(cost - worth) <= _SAME, "equal"),
        (np.ones(problem.slots, dtype=bool), "dear"),
    ]
    code = np.select([test for test, _ in tests], [_CODES.index(name) for _, name in tests])
    # Hours of another current are set by another line of the plan.
    power = np.where(charges, problem.max_kwh / problem.hours, 0.0)
    changes = (np.diff(code) != 0) | (np.diff(stay) != 0) | (np.abs(np.diff(power)) > 1e-6 * (1 + power[1:]))
    fresh = np.flatnonzero(np.r_[True, changes])
    ends = np.r_[fresh[1:], problem.slots] - 1
    end_s = problem.start_s + np.round(3600 * problem.hours).astype(np.int64)
    found = []
    for first, last in zip(fresh.tolist(), ends.tolist(), strict=True):
        price = problem.price_per_kwh[first : last + 1]
        found.append(
            Stretch(
                stay=int(stay[first]),
                start_s=int(problem.start_s[first]),
                end_s=int(end_s[last]),
                charges=bool(charges[first]),
                reason=_CODES[int(code[first])],
                low=float(price.min()),
                high=float(price.max()),
                worth=float(worth[first] * problem.gain[first]),
            )
        )
    return tuple(found)
