"""Prove a plan from the plan alone: that it is feasible, what it costs, and that none is cheaper.

Let ``w[j]`` be the value of a battery kWh during stay j, with ``w = 0`` after the last departure.
For *any* numbers ``w``, moving the balance of every stay into the objective shows that no feasible
plan costs less than

    sum over slots of   (c - w) y  at the better end of forced <= y <= most
  + sum over stays of   (w[j] - w[j+1]) L  at the better end of need <= L <= capacity
  + sum of w[j] * drive before stay j  -  w[0] * level at the first arrival.

So the bound holds whatever the solver did, and a plan whose cost equals it is optimal. Numbers that
close the gap follow from an optimal plan alone. In a stay, ``w`` is at least the unit cost of every
slot used and at most that of every slot not full. At a departure between needs and capacity it
stays the same; where the need is tight it may fall, where the battery is full it may rise. That is
a chain of intervals: intersect them from the end to the start, then walk forward inside them.

With a taper the duals of the linear program take that place; again any numbers give a valid bound.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.reach import Reach, reach

#: Energy below this is not seen as used, and a level this near a limit as tight. It only steers the
#: choice of ``w``; the bound is valid for any choice.
TIGHT_KWH = 2e-9

#: Violations up to a milliwatt-hour count as feasible: a tenth of what solvers are asked for at most
#: (1e-7), and far below what any meter shows.
FEASIBLE_KWH = 1e-6

#: Violations of a charger's rules up to this many seconds count as rounding.
RULE_S = 1e-2


@dataclass(frozen=True)
class Certificate:
    """What was proven about a plan.

    Parameters
    ----------
    feasible : bool
        Every limit is kept within `FEASIBLE_KWH`, and every shortfall is the least possible.
    optimal : bool
        Feasible, and the gap is closed.
    cost : float
        Wall energy x price, added up again.
    bound : float
        No feasible plan costs less.
    gap, tolerance : float
        ``cost - bound``, and the most that is put down to rounding: 1e-9, and 1e-9 of the money
        turned over. Sums of 1e5 numbers with 16 digits err by about 1e-11 of it, and unit costs are
        compared to 12 decimals; a gap from a wrong slot is a price step x energy, thousands of
        times larger.
    worst_limit_kwh, worst_capacity_kwh, worst_need_kwh, worst_floor_kwh, worst_balance_kwh : float
        Greatest violation of: 0 to the most energy of a slot, the capacity (or empty battery), the
        repaired needs, charging at once below the floor, and the energy balance per slot.
    worst_taper_kwh : float
        Greatest energy in a slot above what the taper accepts.
    worst_rule_s : float
        Greatest violation of a charger's rules, in seconds: a block or a pause too short, or charging
        where the limit is 0.
    starts_over : int
        Blocks too many in a stay.
    bound_by : str
        Whose bound it is, where it does not follow from the plan alone, as ``HiGHS``.
    short_gap_kwh : float
        The shortfall may be greater by this than the least under the charger's rules.

    Examples
    --------
    >>> import numpy as np
    >>> from chargeplan.plan.problem import night
    >>> one = night([0.3, 0.1, 0.2], max_kw=8.0, need_kwh=3.0)
    >>> certify(one, np.array([0.0, 2.0, 1.0])).optimal
    True
    >>> worse = certify(one, np.array([1.0, 2.0, 0.0]))
    >>> worse.feasible, worse.optimal, round(worse.gap, 3)
    (True, False, 0.15)
    """

    feasible: bool
    optimal: bool
    cost: float
    bound: float
    gap: float
    tolerance: float
    worst_limit_kwh: float
    worst_capacity_kwh: float
    worst_need_kwh: float
    worst_floor_kwh: float
    worst_balance_kwh: float
    worst_taper_kwh: float
    worst_rule_s: float = 0.0
    starts_over: int = 0
    bound_by: str = ""
    short_gap_kwh: float = 0.0

    def dearer(self, cost: float) -> Certificate:
        """Add what any plan pays as well, such as the energy for preconditioning, to the cost and to the bound."""
        return replace(self, cost=self.cost + cost, bound=self.bound + cost) if cost else self

    @property
    def words(self) -> str:
        """One line for people."""
        return self.words_in("")

    def words_in(self, currency: str) -> str:
        """Write one line for people, with the amount in a currency."""
        if self.optimal:
            return f"proven optimal by {self.bound_by}'s bound" if self.bound_by else "proven optimal"
        if not self.feasible:
            if self.starts_over or self.worst_rule_s > RULE_S:
                return (
                    "not feasible, and not proven optimal: the charger's rules are broken "
                    f"by {self.worst_rule_s:.3g} s and {self.starts_over} starts"
                )
            worst = max(
                self.worst_limit_kwh,
                self.worst_capacity_kwh,
                self.worst_need_kwh,
                self.worst_floor_kwh,
                self.worst_balance_kwh,
                self.worst_taper_kwh,
            )
            return f"not feasible, and not proven optimal: a limit is broken by {worst:.3g} kWh"
        if self.short_gap_kwh > FEASIBLE_KWH:
            return f"not proven optimal: at most {self.short_gap_kwh:.3g} kWh shorter than the best plan"
        if not np.isfinite(self.gap):
            return "not proven optimal"
        amount = f"{self.gap:.2f}" if self.gap >= 0.005 else "less than 0.01"
        amount += f" {currency}" if currency else ""
        return f"not proven optimal: at most {amount} dearer than the best plan"


def certify(
    problem: Problem,
    wall_kwh: Floats,
    *,
    level_kwh: Floats | None = None,
    row_duals: Floats | None = None,
    best: Reach | None = None,
) -> Certificate:
    """Check a plan and bound what any other could cost.

    Parameters
    ----------
    problem : Problem
        What was asked.
    wall_kwh : array, shape (n,)
        The plan.
    level_kwh : array, shape (n,), optional
        Levels claimed for the end of each slot; checked against the energy balance.
    row_duals : array, optional
        With a taper: duals of the rows of `linear_program`, as a proposal for the bound.
    best : Reach, optional
        The highest trajectory, if already computed.

    Returns
    -------
    Certificate
    """
    best = reach(problem) if best is None else best
    battery_kwh = wall_kwh * problem.gain
    level = problem.levels(battery_kwh, best.served_kwh)
    departure = level[problem.last]
    before = level - battery_kwh
    at_once = np.minimum(problem.max_battery_kwh, problem.floor_kwh - before)
    if problem.taper.size:
        at_once = np.minimum(at_once, best.forced_kwh)  # what the taper lets through below the floor

    cost_per_slot = wall_kwh * problem.price_per_kwh
    cost = float(cost_per_slot.sum())
    if not problem.taper.size:
        bound = lower_bound(problem, best, value_of_energy(problem, best, battery_kwh))
    elif row_duals is not None:
        bound = lower_bound_with_taper(problem, best, row_duals)
    else:
        bound = -np.inf
    tolerance = 1e-9 + 1e-9 * float(np.abs(cost_per_slot).sum())
    worst = {
        "worst_limit_kwh": _worst(-wall_kwh, wall_kwh - problem.max_kwh),
        "worst_capacity_kwh": _worst(level - problem.capacity_kwh, best.served_kwh - departure),
        "worst_need_kwh": _worst(best.need_kwh - departure),
        "worst_floor_kwh": _worst(at_once - battery_kwh),
        "worst_balance_kwh": 0.0 if level_kwh is None else _worst(np.abs(level_kwh - level)),
        "worst_taper_kwh": _worst(battery_kwh - accepted_kwh(problem, before, level)),
    }
    feasible = bool(np.isfinite(wall_kwh).all()) and max(worst.values()) <= FEASIBLE_KWH
    gap = cost - bound
    optimal = feasible and gap <= tolerance
    return Certificate(feasible, optimal, cost, bound, gap, tolerance, **worst)  # type: ignore[arg-type]


def _worst(*excess: Floats) -> float:
    return max(0.0, *(float(part.max(initial=0.0)) for part in excess))


def accepted_kwh(problem: Problem, before_kwh: Floats, after_kwh: Floats) -> Floats:
    """Energy the battery accepts in each slot with the taper at both its levels, shape (n,).

    Parameters
    ----------
    problem : Problem
        Slots and taper.
    before_kwh, after_kwh : array, shape (n,)
        Level at the start and at the end of each slot.
    """
    accepted = problem.max_battery_kwh
    for slope, power_kw in problem.taper:
        level = after_kwh if slope < 0 else before_kwh
        accepted = np.minimum(accepted, problem.hours * (slope * level / problem.capacity_kwh + power_kw))
    return accepted


def value_links(
    problem: Problem, best: Reach, battery_kwh: Floats
) -> tuple[Floats, Floats, NDArray[np.bool_], NDArray[np.bool_]]:
    """Find what a plan says of the value of energy: an interval for each stay, and how one follows the other.

    Parameters
    ----------
    problem, best : Problem, Reach
        What was asked, with repaired needs.
    battery_kwh : array, shape (n,)
        The plan.

    Returns
    -------
    tuple of four arrays, each of shape (m,)
        The dearest energy used and the cheapest left in each stay, per battery kWh; whether the value may fall,
        and may rise, at its departure.
    """
    cost = problem.unit_cost
    used = battery_kwh > best.forced_kwh + TIGHT_KWH
    open_ = battery_kwh < problem.max_battery_kwh - TIGHT_KWH
    least = np.maximum.reduceat(np.where(used, cost, -np.inf), problem.first)
    most = np.minimum.reduceat(np.where(open_, cost, np.inf), problem.first)
    departure = problem.levels(battery_kwh, best.served_kwh)[problem.last]
    may_fall = departure <= best.need_kwh + TIGHT_KWH
    may_rise = departure >= problem.capacity_kwh - TIGHT_KWH
    return np.asarray(least), np.asarray(most), may_fall, may_rise


def value_of_energy(problem: Problem, best: Reach, battery_kwh: Floats) -> Floats:
    """Value of a battery kWh in each stay, found from a plan without taper.

    Parameters
    ----------
    problem, best : Problem, Reach
        What was asked, with repaired needs.
    battery_kwh : array, shape (n,)
        The plan.

    Returns
    -------
    array, shape (m,)
        The values ``w``. They close the gap if, and only if, the plan is optimal.
    """
    least, most, may_fall, may_rise = (values.tolist() for values in value_links(problem, best, battery_kwh))

    low, high = 0.0, 0.0
    intervals: list[tuple[float, float]] = []
    for number in reversed(range(problem.stays)):
        if may_fall[number]:
            high = np.inf
        if may_rise[number]:
            low = -np.inf
        low, high = max(low, least[number]), min(high, most[number])
        if low > high:  # by rounding, or because the plan is not optimal
            low = high = (low + high) / 2 if np.isfinite(low + high) else 0.0
        intervals.append((low, high))
    value, values = 0.0, []
    for low, high in reversed(intervals):
        value = min(max(value, low), high)
        values.append(value)
    return np.array(values)


def lower_bound(problem: Problem, best: Reach, value: Floats) -> float:
    """Cost below which no feasible plan gets, for any values of energy (no taper).

    Parameters
    ----------
    problem, best : Problem, Reach
        What was asked, with repaired needs.
    value : array, shape (m,)
        Any finite numbers.

    Returns
    -------
    float
    """
    margin = problem.price_per_kwh / problem.gain - value[problem.stay]
    slots = np.where(margin > 0, best.forced_kwh, problem.max_battery_kwh) * margin
    step = value - np.append(value[1:], 0.0)
    levels = np.where(step > 0, best.need_kwh, problem.capacity_kwh) * step
    drives = float((value[1:] * best.served_kwh[:-1]).sum()) - float(value[0]) * problem.level_kwh
    return float(slots.sum()) + float(levels.sum()) + drives


def lower_bound_with_taper(problem: Problem, best: Reach, row_duals: Floats) -> float:
    """Cost below which no feasible plan gets, for any duals of a program with a level per slot.

    Parameters
    ----------
    problem, best : Problem, Reach
        What was asked, with repaired needs.
    row_duals : array, shape (n + k n,)
        A number per balance, then one per slot for each taper segment. Duals of a taper row with
        the wrong sign are set to 0, which keeps the bound valid.

    Returns
    -------
    float
    """
    slots = problem.slots
    balance, taper = row_duals[:slots], np.minimum(row_duals[slots:].reshape(-1, slots), 0.0)
    served = np.zeros(slots)  # taken by the drive just before each slot
    served[problem.first[1:]] = best.served_kwh[:-1]
    # Rows: L[t] - L[t-1] - y[t] = -served[t], and y[t] - h (slope L / C + b) <= 0; constants to the right.
    constant = float((-balance * served).sum()) + float(balance[0]) * problem.level_kwh
    on_energy = problem.price_per_kwh / problem.gain + balance
    on_level = -balance
    on_level[:-1] += balance[1:]
    for (slope, power_kw), dual in zip(problem.taper, taper, strict=True):
        per_kwh = problem.hours * slope / problem.capacity_kwh
        constant += float((dual * problem.hours * power_kw).sum())
        on_energy = on_energy - dual
        if slope < 0:
            on_level += dual * per_kwh
        else:
            on_level[:-1] += (dual * per_kwh)[1:]
            constant += float(dual[0] * per_kwh[0]) * problem.level_kwh - float((dual * per_kwh * served).sum())
    least = np.zeros(slots)
    least[problem.last] = best.need_kwh
    energy = np.where(on_energy > 0, best.forced_kwh, problem.max_battery_kwh) * on_energy
    level = np.where(on_level > 0, least, problem.capacity_kwh) * on_level
    return constant + float(energy.sum()) + float(level.sum())
