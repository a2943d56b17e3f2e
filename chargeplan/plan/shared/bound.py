"""Bound what any plan of several cars can do, from any numbers.

*Weak duality.* Take any numbers: a value ``w`` of a battery kWh in every slot, a value ``u >= 0`` of an ampere
for every node, slot and phase, and prices ``p, q >= 0`` on the shortfalls and on what is missing to the
floors. Every plan that keeps the limits satisfies, slot by slot of every car,

    level = level before - drive before + drive energy lacking + charged,

and, for every node, slot and phase, the sum of the draws is at most what is left. A taper adds that what is
charged, less a share of the level, is at most what the battery accepts, with a value ``t >= 0`` for each such
row. Adding ``w`` times (level - the right side), which is 0, ``u`` times (draws - left) and ``t`` times (charged
less that share - accepted), which are 0 or less, can only lower the cost. The sum then falls apart into terms
with one unknown each: the current of a slot, between 0 and its own limit; the level of a slot together with
what is missing there. The least of each term, taken alone over its own range, is a number that can be written
down; their sum is below the cost of every plan. Nothing was assumed about where ``w, u, t, p, q`` come from,
so a wrong number costs sharpness and never truth. A minimum current, whole steps and rules about switching only
take plans away, so the bound holds for them too.

The goals before the cost are bounded in the same way: the cost is left out, and the prices of what is missing
are not chosen but given by the goal. Each bound speaks of all plans that do no worse in the goals before.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from chargeplan.plan.problem import Floats
from chargeplan.plan.shared.problem import SharedProblem


@dataclass(frozen=True, eq=False)
class Values:
    """Any numbers, as a proposal for a bound.

    Parameters
    ----------
    energy : array, shape (n,)
        Value of a battery kWh in each slot.
    ampere : array, shape (nodes, slots, phases)
        Value of an ampere; what is negative counts as 0.
    short : array, shape (m,)
        Price of a shortfall at each departure; negative counts as 0. For the total only the largest is used.
    low : float
        Price of what is missing to the floors.
    share : array, shape (n,)
        In which ratio the pieces of one car in one slot carry the value of an ampere; negative counts as 0.
    taper : array, shape (taper rows,), optional
        Value of a kWh that the battery would accept more, for each row of `SharedProblem.taper`; negative counts
        as 0, and so does what is not given.
    """

    energy: Floats
    ampere: Floats
    short: Floats
    low: float
    share: Floats
    taper: Floats = field(default_factory=lambda: np.empty(0))


@dataclass(frozen=True, eq=False)
class Proposals:
    """Values for the bound of each goal; None where nothing is proposed, so that the bound is 0 or none."""

    low: Values | None = None
    worst: Values | None = None
    total: Values | None = None
    cost: Values | None = None


def lower_bounds(
    shared: SharedProblem, proposals: Proposals, low_kwh: float, worst: float, total_kwh: float
) -> tuple[float, float, float, float]:
    """Bound the four goals in order, each among the plans that do no worse in those before.

    Parameters
    ----------
    shared : SharedProblem
        What was asked.
    proposals : Proposals
        Any values.
    low_kwh, worst, total_kwh : float
        What the plan reached in the first three goals; 0 where nothing is missing.

    Returns
    -------
    tuple of float
        Below-floor sum, worst relative shortfall, sum of shortfalls, cost.
    """
    wanted, unlimited = shared.energy_wanted_kwh, np.inf
    bounds = [0.0, 0.0, 0.0, -np.inf]
    if proposals.low is not None and low_kwh > 0:
        free = Missing(np.zeros(wanted.size), wanted, 1.0, unlimited)
        bounds[0] = max(0.0, _bound(shared, proposals.low, free, priced=False))
    if proposals.worst is not None and worst > 0:
        price = np.maximum(proposals.worst.short, 0.0)
        found = _bound(shared, proposals.worst, Missing(price, wanted, proposals.worst.low, low_kwh), priced=False)
        # The worst shortfall w itself costs w - w x (prices x energy wanted), at best at w = 0 or w = 1.
        bounds[1] = max(0.0, found + min(0.0, 1.0 - float(price @ wanted)))
    if proposals.total is not None and total_kwh > 0:
        ones = Missing(np.ones(wanted.size), wanted * worst, proposals.total.low, low_kwh)
        bounds[2] = max(0.0, _bound(shared, proposals.total, ones, priced=False))
    if proposals.cost is not None:
        values = proposals.cost
        per_kwh = max(float(values.short.max(initial=0.0)), 0.0)
        some = Missing(np.full(wanted.size, per_kwh), wanted * worst, values.low, low_kwh)
        bounds[3] = _bound(shared, values, some, priced=True) - per_kwh * total_kwh
    return bounds[0], bounds[1], bounds[2], bounds[3]


@dataclass(frozen=True, eq=False)
class Missing:
    """Prices of what is missing, and how much may be: at each departure, and to the floors in all."""

    short_price: Floats
    short_most_kwh: Floats
    low_price: float
    low_most_kwh: float


def _bound(shared: SharedProblem, values: Values, missing: Missing, *, priced: bool) -> float:
    """Sum of the least of every term, see the description of this module."""
    w, ampere = values.energy, np.maximum(values.ampere, 0.0)
    low_price = max(missing.low_price, 0.0)
    none_missing = missing.low_most_kwh == 0 and not missing.short_most_kwh.any()
    # Currents. With nothing missing, a car takes what it must at once because of its floor.
    here = np.einsum("mnp,ntp->mt", shared.counts_at.astype(np.float64), ampere, optimize=True)[
        shared.stay, shared.slot
    ]
    margin = (shared.price_per_kwh * shared.kwh_per_a if priced else 0.0) - w * shared.battery_per_a
    margin = margin + here * _shares(shared, values.share)
    taper = shared.taper
    accepts = np.maximum(values.taper, 0.0) if values.taper.size == taper.slot.size else np.zeros(taper.slot.size)
    used = np.bincount(taper.slot, weights=accepts * taper.per_charged, minlength=w.size)
    margin = margin + used * shared.battery_per_a
    least = np.zeros(w.size)
    if none_missing:
        per_a = shared.battery_per_a
        least = np.divide(shared.at_once_kwh, per_a, out=np.zeros(w.size), where=per_a > 0)
        least = np.minimum(least, shared.max_a)
    found = float((np.where(margin > 0, least, shared.max_a) * margin).sum()) - float((ampere * shared.left_a).sum())
    found -= float(accepts @ taper.most_kwh)
    # Levels: each stands at the end of its own slot, and at the start of the next one of the same car.
    following = np.zeros(w.size)
    inner = np.ones(w.size - 1, dtype=bool)
    inner[shared.last[:-1][shared.opens[1:]]] = False
    following[:-1][inner] = w[1:][inner]
    slope = w - following - np.bincount(taper.slot, weights=accepts * taper.per_level, minlength=w.size)
    capacity = shared.capacity_kwh[shared.stay]
    lowest = np.where(shared.in_danger, shared.floor_kwh, shared.lowest_kwh)
    lowest[shared.last] = np.maximum(shared.need_kwh, shared.lowest_departure_kwh)
    most = np.where(shared.in_danger, shared.floor_kwh - shared.lowest_kwh, 0.0)
    price = np.full(w.size, low_price)
    if missing.low_most_kwh == 0:
        most = np.zeros(w.size)
    most[shared.last], price[shared.last] = missing.short_most_kwh, missing.short_price
    # A drive that lacks energy because of a shortfall leaves the next stay with more than the balance says.
    lacking = np.zeros(w.size)
    empty = shared.can_run_empty
    lacking[shared.last[empty]] = np.maximum(following[shared.last[empty]], 0.0)
    at_least = lowest * slope + np.minimum(price - slope - lacking, 0.0) * most
    at_most = capacity * slope + np.minimum(price - lacking, 0.0) * most
    found += float(np.minimum(at_least, at_most).sum())
    # Constants: the drives, the levels at the start, and what may be missing to the floors.
    goes_on = np.flatnonzero(shared.goes_on)
    found += float(w[shared.first[goes_on + 1]] @ shared.served_kwh[goes_on])
    found -= float(w[shared.first[shared.opens]] @ shared.start_kwh[shared.opens])
    if np.isfinite(missing.low_most_kwh):
        found -= low_price * missing.low_most_kwh
    return float(found) if np.isfinite(found) else -np.inf


def _shares(shared: SharedProblem, share: Floats) -> Floats:
    """Shares of each draw that its pieces carry: 0 or more, together 1."""
    parts = np.maximum(share, 0.0)
    together = np.bincount(shared.draw, weights=parts)[shared.draw]
    pieces = np.bincount(shared.draw)[shared.draw]
    return np.where(together > 0, parts / np.where(together > 0, together, 1.0), 1.0 / pieces)
