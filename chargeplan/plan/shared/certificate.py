"""Check a shared plan from the plan alone: every limit, what is missing, what it costs, and what no plan beats."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from chargeplan.plan.certificate import FEASIBLE_KWH, RULE_S, accepted_kwh
from chargeplan.plan.problem import Floats
from chargeplan.plan.shared.bound import Proposals, lower_bounds
from chargeplan.plan.shared.problem import SharedProblem
from chargeplan.plan.shared.switching_rules import breaches_of_stays

#: Currents may miss a limit by a thousandth of a milliampere, as energies may by a milliwatt-hour.
FEASIBLE_A = 1e-6


@dataclass(frozen=True)
class SharedCertificate:
    """What was proven about a shared plan.

    Parameters
    ----------
    feasible : bool
        Every limit is kept: amperes within `FEASIBLE_A`, energies within a milliwatt-hour, rules about switching
        within a hundredth of a second.
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
    worst_taper_kwh : float
        Greatest energy in a slot above what the battery accepts at the levels before and after it.
    worst_rule_s : float
        Greatest lack of a block, or of the pause between two, in seconds.
    starts_over : int
        Blocks too many, of the stay with most of them.

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
    worst_taper_kwh: float = 0.0
    worst_rule_s: float = 0.0
    starts_over: int = 0
    goals_met: bool = field(default=True)

    @property
    def words(self) -> str:
        """One line for people."""
        if not self.feasible:
            broken = self.starts_over or self.worst_rule_s > RULE_S
            return "not feasible: a rule about switching is broken" if broken else "not feasible: a limit is broken"
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
        "worst_taper_kwh": _worst(*_above_taper_kwh(shared, wall * gain, level)),
    }
    broken = [found for _, found in breaches_of_stays(shared, current_a > FEASIBLE_A)]
    worst["worst_rule_s"] = max([0.0, *(max(found.on_s, found.off_s) for found in broken)])
    starts_over = max([0, *(found.starts for found in broken)])
    finite = bool(np.isfinite(current_a).all())
    amperes = max(worst["worst_node_a"], worst["worst_current_a"])
    energies = max(worst["worst_energy_kwh"], worst["worst_capacity_kwh"], worst["worst_taper_kwh"])
    feasible = finite and amperes <= FEASIBLE_A and energies <= FEASIBLE_KWH
    feasible = feasible and worst["worst_rule_s"] <= RULE_S and not starts_over
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
        starts_over=starts_over,
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


def _above_taper_kwh(shared: SharedProblem, gained_kwh: Floats, level_kwh: Floats) -> list[Floats]:
    """How far what is gained in each slot is above what the battery accepts, for each car with a taper."""
    found = []
    for number, car in enumerate(shared.cars):
        if car.problem.taper.size:
            own = shared.car == number
            gained, level = gained_kwh[own], level_kwh[own]
            found.append(gained - accepted_kwh(car.problem, level - gained, level))
    return found


def _worst(*excess: Floats) -> float:
    return max([0.0, *(float(part.max(initial=0.0)) for part in excess)])
