"""Prove a shared plan from the plan alone: every limit, what is missing, what it costs, and what no plan beats.

*Weak duality.* Take any numbers: a value ``w`` of a battery kWh in every slot, a value ``u >= 0`` of an ampere
for every node, slot and phase, and prices ``p, q >= 0`` on the shortfalls and on what is missing to the
floors. Every plan that keeps the limits satisfies, slot by slot of every car,

    level = level before - drive before + drive energy lacking + charged,

and, for every node, slot and phase, the sum of the draws is at most what is left. Adding ``w`` times (level
- the right side), which is 0, and ``u`` times (draws - left), which is 0 or less, can only lower the cost. The
sum then falls apart into terms with one unknown each: the current of a slot, between 0 and its own limit; the
level of a slot together with what is missing there. The least of each term, taken alone over its own range,
is a number that can be written down; their sum is below the cost of every plan. Nothing was assumed about
where ``w, u, p, q`` come from, so a wrong number costs sharpness and never truth. A minimum current or
whole steps only take plans away, so the bound holds for them too.

The goals before the cost are bounded in the same way: the cost is left out, and the prices of what is missing
are not chosen but given by the goal. Each bound speaks of all plans that do no worse in the goals before.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from chargeplan.plan.certificate import FEASIBLE_KWH
from chargeplan.plan.problem import Floats
from chargeplan.plan.shared.problem import SharedProblem

#: Currents may miss a limit by a thousandth of a milliampere, as energies may by a milliwatt-hour.
FEASIBLE_A = 1e-6


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
    """

    energy: Floats
    ampere: Floats
    short: Floats
    low: float
    share: Floats


@dataclass(frozen=True, eq=False)
class Proposals:
    """Values for the bound of each goal; None where nothing is proposed, so that the bound is 0 or none."""

    low: Values | None = None
    worst: Values | None = None
    total: Values | None = None
    cost: Values | None = None


@dataclass(frozen=True)
class SharedCertificate:
    """What was proven about a shared plan.

    Parameters
    ----------
    feasible : bool
        Every limit is kept: amperes within `FEASIBLE_A`, energies within a milliwatt-hour.
    optimal : bool
        Feasible, and all four gaps are closed: those of what is missing to a millionth of the energy wanted, that
        of the cost to `tolerance`.
    below_floor_kwh, below_floor_bound : float
        First goal: sum over slots of what is missing to the floors; no plan has less.
    worst_shortfall, worst_bound : float
        Second goal: the largest relative shortfall; no plan that does as well in the first has less.
    shortfall_kwh, shortfall_bound : float
        Third goal: the sum of the shortfalls; no plan that does as well in the first two has less.
    cost, bound : float
        Wall energy x price, added up again; no plan that does as well in the others costs less.
    gap, tolerance : float
        ``cost - bound``, and the most that is put down to rounding: 1e-9, 1e-9 of the money turned over, and,
        where something is missing, 1e-8 of that at the dearest price.
    worst_node_a, worst_current_a, worst_energy_kwh, worst_capacity_kwh : float
        Greatest violation of: a limit of the tree; the car's own least, most and step; the energy balance
        (current x time, and level); full and empty battery.

    Examples
    --------
    >>> import numpy as np
    >>> from chargeplan.plan.problem import night
    >>> from chargeplan.plan.shared.laying import SharedCar, lay_out
    >>> shared = lay_out([SharedCar(night([0.3, 0.1], 8.0, 1.0), 0.25)])
    >>> proof = certify_shared(shared, np.array([16.0, 0.0]), Proposals())
    >>> proof.feasible, proof.optimal, round(proof.cost, 3)
    (True, False, 0.3)
    """

    feasible: bool
    optimal: bool
    below_floor_kwh: float
    below_floor_bound: float
    worst_shortfall: float
    worst_bound: float
    shortfall_kwh: float
    shortfall_bound: float
    cost: float
    bound: float
    gap: float
    tolerance: float
    worst_node_a: float
    worst_current_a: float
    worst_energy_kwh: float
    worst_capacity_kwh: float
    goals_met: bool = field(default=True)

    @property
    def words(self) -> str:
        """One line for people."""
        if not self.feasible:
            return "not feasible: a limit is broken"
        if self.optimal:
            return "proven optimal"
        if not self.goals_met:
            return (
                f"not proven optimal: the worst shortfall is {self.worst_shortfall:.3%} (at least "
                f"{max(self.worst_bound, 0.0):.3%}), in all {self.shortfall_kwh:.3f} kWh are missing (at least "
                f"{max(self.shortfall_bound, 0.0):.3f})"
            )
        return f"not proven optimal: at most {self.gap:.3g} dearer than the best plan"


def certify_shared(
    shared: SharedProblem,
    current_a: Floats,
    proposals: Proposals,
    *,
    wall_kwh: Floats | None = None,
    level_kwh: Floats | None = None,
) -> SharedCertificate:
    """Check a plan and bound what any other could do better.

    Parameters
    ----------
    shared : SharedProblem
        What was asked.
    current_a : array, shape (n,)
        The plan: current of each slot of each car.
    proposals : Proposals
        Any values; they steer how sharp the bounds are, never whether they hold.
    wall_kwh, level_kwh : array, shape (n,), optional
        Energies and levels claimed, checked against the currents.

    Returns
    -------
    SharedCertificate
    """
    wall, gain = current_a * shared.kwh_per_a, np.concatenate([problem.gain for problem in shared.alone])
    level = shared.levels(wall * gain)
    claimed = wall if wall_kwh is None else wall_kwh
    worst_energy = _worst(np.abs(claimed - wall), np.abs(level - (level if level_kwh is None else level_kwh)))
    most = np.concatenate([car.problem.max_kwh for car in shared.cars])
    worst = {
        "worst_node_a": _worst(node_currents_a(shared, current_a) - shared.left_a),
        "worst_current_a": _worst(*_car_limits(shared, current_a)),
        "worst_energy_kwh": worst_energy,
        "worst_capacity_kwh": _worst(level - shared.capacity_kwh[shared.stay], -level, wall - most),
    }
    finite = bool(np.isfinite(current_a).all())
    amperes = max(worst["worst_node_a"], worst["worst_current_a"])
    energies = max(worst["worst_energy_kwh"], worst["worst_capacity_kwh"])
    feasible = finite and amperes <= FEASIBLE_A and energies <= FEASIBLE_KWH
    low = float(shared.below_floor_kwh(level).sum())
    missing = shared.shortfall_kwh(level)
    relative, total = float(shared.relative_shortfall(missing).max()), float(missing.sum())
    cost_per_slot = wall * shared.price_per_kwh
    cost = float(cost_per_slot.sum())
    bounds = lower_bounds(shared, proposals, low, relative, total)
    tolerance = 1e-9 + 1e-9 * float(np.abs(cost_per_slot).sum())
    if low + total > 0:
        # Solvers settle what is missing to some 1e-9 of a kWh, and each of them is worth up to the dearest price.
        tolerance += 1e-8 * (1 + low + total) * float(np.abs(shared.price_per_kwh / gain).max())
    small = FEASIBLE_KWH * (shared.need_kwh.size + float(shared.energy_wanted_kwh.sum()))
    goals = low - bounds[0] <= small and relative - bounds[1] <= FEASIBLE_KWH and total - bounds[2] <= small
    gap = cost - bounds[3]
    return SharedCertificate(
        feasible=feasible,
        optimal=feasible and goals and gap <= tolerance,
        below_floor_kwh=low,
        below_floor_bound=bounds[0],
        worst_shortfall=relative,
        worst_bound=bounds[1],
        shortfall_kwh=total,
        shortfall_bound=bounds[2],
        cost=cost,
        bound=bounds[3],
        gap=gap,
        tolerance=tolerance,
        goals_met=bool(goals),
        **worst,
    )


def node_currents_a(shared: SharedProblem, current_a: Floats) -> Floats:
    """Add up what flows into cars at each node, shape (nodes, slots, phases).

    Parameters
    ----------
    shared : SharedProblem
        Cars and tree.
    current_a : array, shape (n,)
        Current of each slot; of several pieces of one car in one slot the highest counts.
    """
    draw = np.zeros(int(shared.draw.max()) + 1)
    np.maximum.at(draw, shared.draw, current_a)
    _, first = np.unique(shared.draw, return_index=True)
    of_stay = np.zeros((shared.need_kwh.size, shared.grid_s.size))
    np.add.at(of_stay, (shared.stay[first], shared.slot[first]), draw)
    flows: Floats = np.einsum("mnp,mt->ntp", shared.counts_at.astype(np.float64), of_stay, optimize=True)
    return flows


def _car_limits(shared: SharedProblem, current_a: Floats) -> tuple[Floats, ...]:
    """How far each current is from what its car may be given: negative, between off and the minimum, no step."""
    to_step = np.zeros(current_a.size)
    stepped = shared.step_a > 0
    counts = current_a[stepped] / shared.step_a[stepped]
    to_step[stepped] = np.abs(counts - np.round(counts)) * shared.step_a[stepped]
    return -current_a, np.minimum(current_a, shared.min_a - current_a), to_step


def _worst(*excess: Floats) -> float:
    return max(0.0, *(float(part.max(initial=0.0)) for part in excess))


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
    least = np.zeros(w.size)
    if none_missing:
        per_a = shared.battery_per_a
        least = np.divide(shared.forced_kwh, per_a, out=np.zeros(w.size), where=per_a > 0)
        least = np.minimum(least, shared.max_a)
    found = float((np.where(margin > 0, least, shared.max_a) * margin).sum()) - float((ampere * shared.left_a).sum())
    # Levels: each stands at the end of its own slot, and at the start of the next one of the same car.
    following = np.zeros(w.size)
    inner = np.ones(w.size - 1, dtype=bool)
    inner[shared.last[:-1][shared.opens[1:]]] = False
    following[:-1][inner] = w[1:][inner]
    slope = w - following
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
