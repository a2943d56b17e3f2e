"""Another plan than the cheapest: without some hours, or with some hours preferred, and what it costs more.

Nothing but the planner is used. To leave hours out, nothing can be drawn in them. To prefer hours, a kWh is
made cheaper there by a fixed amount ``d``. What is found then is the cheapest of all plans that charge at
least as much there: if a plan with as many kWh ``e`` in these hours cost less, ``cost - d e`` would be less
too, and it would have been found. So the cost of these kWh is known exactly, whatever ties hours together.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

import numpy as np

from chargeplan.plan.bill_slots import BilledSlots, Rise, RisenSlots
from chargeplan.plan.problem import Floats, Ints
from chargeplan.plan.schedule import Schedule, plan
from chargeplan.plan.spells import Spell
from chargeplan.plan.stops import Itinerary, Price, Stay

#: Energies below this are none.
_TINY_KWH = 1e-6


@dataclass(frozen=True)
class Preferred:
    """Hours of one stay that are preferred.

    Parameters
    ----------
    stay : int
        Number of the stay.
    start_s, end_s : int
        UTC seconds, on whole slots; the end is not part of it.
    per_kwh : float
        By how much a wall kWh is cheaper in them.
    """

    stay: int
    start_s: int
    end_s: int
    per_kwh: float

    def covers(self, grid_s: Ints) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Tell which whole slots, given by their starts, are among them."""
        return np.asarray((grid_s >= self.start_s) & (grid_s < self.end_s))

    def on(self, itinerary: Itinerary, step_s: int) -> Itinerary:
        """Make the hours cheaper in the prices of the stay.

        Parameters
        ----------
        itinerary : Itinerary
            What is planned.
        step_s : int
            Length of a slot.

        Returns
        -------
        Itinerary
        """
        stays = list(itinerary.stays)
        stay = stays[self.stay]
        stays[self.stay] = replace(stay, price_per_kwh=self._prices(stay, step_s))
        return replace(itinerary, stays=stays)

    def _prices(self, stay: Stay, step_s: int) -> Price:
        given = stay.price_per_kwh
        if callable(given):
            return lambda start_s, step: given(start_s, step) - self.per_kwh * self.covers(start_s)
        values = np.asarray(given, dtype=np.float64)
        if values.ndim:
            first = int(np.ceil(stay.start.timestamp())) // step_s
            return np.asarray(values - self.per_kwh * self.covers((first + np.arange(values.size)) * step_s))
        return lambda start_s, step: np.full(start_s.size, float(values)) - self.per_kwh * self.covers(start_s)

    def on_bills(self, bills: Sequence[BilledSlots]) -> list[BilledSlots]:
        """Make the hours cheaper on bills.

        Parameters
        ----------
        bills : sequence of BilledSlots
            Which slots are on which bill.

        Returns
        -------
        list of BilledSlots
        """
        found = []
        for bill in bills:
            shape = bill.shape
            starts = shape.start_s + shape.step_s * np.arange(shape.price.size, dtype=np.int64)
            discount: Floats = self.per_kwh * self.covers(starts).astype(np.float64)
            cheaper = replace(bill, shape=replace(shape, price=shape.price - discount))
            if isinstance(cheaper, RisenSlots):
                cheaper = replace(cheaper, rise=_Cheaper(cheaper.rise, discount, cheaper.drawn_kwh))
            found.append(cheaper)
        return found

    def energy_kwh(self, schedule: Schedule) -> float:
        """Add up the wall energy of a plan in the hours."""
        problem = schedule.problem
        inside = self.covers(problem.start_s // problem.step_s * problem.step_s)
        if not schedule.whole_bill:
            inside &= problem.stay == self.stay
        return float(schedule.wall_kwh[inside].sum())


@dataclass(frozen=True, eq=False)
class _Cheaper:
    """Bills that rise by less for what is charged in some intervals."""

    rise: Rise
    discount: Floats
    drawn_kwh: Floats

    def cost(self, more_kwh: Floats) -> float:
        return self.rise.cost(more_kwh) - float(self.discount @ (more_kwh - self.drawn_kwh))

    def next_kwh(self, more_kwh: Floats) -> Floats:
        return np.asarray(self.rise.next_kwh(more_kwh) - self.discount)


class Again(Protocol):
    """Plans another itinerary the way the plan was made, with some hours preferred or not."""

    def __call__(
        self, itinerary: Itinerary, *, preferred: Preferred | None = None, time_limit_s: float = 60.0
    ) -> Schedule:
        """Plan."""


def plan_again(step_min: int) -> Again:
    """Make the planner of plans without a whole bill.

    Parameters
    ----------
    step_min : int
        Slot length.

    Returns
    -------
    Again
    """

    def again(itinerary: Itinerary, *, preferred: Preferred | None = None, time_limit_s: float = 60.0) -> Schedule:
        asked = itinerary if preferred is None else preferred.on(itinerary, 60 * step_min)
        return plan(asked, step_min=step_min, time_limit_s=time_limit_s)

    return again


@dataclass(frozen=True)
class Instead:
    """What another plan does otherwise.

    Parameters
    ----------
    wall_kwh : float
        How much more it draws in the hours; negative if less.
    cost : float
        How much more it costs.
    shortfall_kwh : float
        How much more is missing at the departures.
    on_top_kwh : float
        How much more the battery gains in all, so that not all of it is charged instead of other hours.
    proven : bool
        Whether there is none cheaper of that kind; else it costs at most that much more.
    """

    wall_kwh: float
    cost: float
    shortfall_kwh: float
    on_top_kwh: float = 0.0
    proven: bool = True


def comparable(schedule: Schedule, other: Schedule) -> bool:
    """Tell whether another plan says something: it keeps all limits, and if it is not proven, it misses no more."""
    if other.certificate.optimal or not schedule.certificate.optimal:
        return other.certificate.feasible
    return other.certificate.feasible and short_kwh(other) <= short_kwh(schedule) + _TINY_KWH


def proven(schedule: Schedule, other: Schedule) -> bool:
    """Tell whether another plan is as sure as the plan itself."""
    return other.certificate.optimal or not schedule.certificate.optimal


def short_kwh(schedule: Schedule) -> float:
    """Add up what is missing at all departures."""
    return sum(departure.shortfall_kwh for departure in schedule.departures)


def hour_prices(schedule: Schedule) -> Floats:
    """Give the price of a kWh by the hour in each slot, without what tiers, demand and minimum of a bill add.

    Parameters
    ----------
    schedule : Schedule
        A plan.

    Returns
    -------
    array, shape (n,)
    """
    asked = getattr(schedule, "asked", None)
    price: Floats = np.array((schedule.problem if asked is None else asked).price_per_kwh)
    for bill in getattr(schedule, "bills", ()):
        price[bill.slot] = bill.shape.price[bill.interval]
    return price


def next_prices(schedule: Schedule) -> Floats:
    """Give the price of one more kWh in each slot beside a plan: on a bill, that of the tier which is reached.

    Parameters
    ----------
    schedule : Schedule
        A plan.

    Returns
    -------
    array, shape (n,)
        Without what the highest power of a bill adds.
    """
    price = hour_prices(schedule)
    for bill in getattr(schedule, "bills", ()):
        price[bill.slot] = bill.next_kwh(schedule.wall_kwh)
    return price


def instead_of(
    schedule: Schedule, number: int, span: tuple[int, int], again: Callable[[Itinerary], Schedule]
) -> Instead | None:
    """Plan without some hours.

    Parameters
    ----------
    schedule : Schedule
        The plan.
    number : int
        The stay.
    span : tuple of int
        From when to when nothing is to be charged, UTC seconds.
    again : callable
        Plans another itinerary.

    Returns
    -------
    Instead or None
        None where no plan that says something was found, see `comparable`.
    """
    stays = list(schedule.itinerary.stays)
    stays[number] = forbidden(stays[number], *span)
    other = again(replace(schedule.itinerary, stays=stays))
    if not comparable(schedule, other):
        return None
    problem = schedule.problem
    inside = (problem.stay == number) & (problem.start_s >= span[0]) & (problem.start_s < span[1])
    return Instead(
        wall_kwh=-float(schedule.wall_kwh[inside].sum()),
        cost=other.total_cost - schedule.total_cost,
        shortfall_kwh=short_kwh(other) - short_kwh(schedule),
        on_top_kwh=other.total_battery_kwh - schedule.total_battery_kwh,
        proven=proven(schedule, other),
    )


def forbidden(stay: Stay, start_s: int, end_s: int) -> Stay:
    """Give a stay in which nothing can be drawn for a time.

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> stay = Stay("home", datetime(2026, 1, 5, 18, tzinfo=timezone.utc),
    ...             datetime(2026, 1, 6, 7, tzinfo=timezone.utc), wall_kw=7.2, gain=0.9, spells=[Spell(0, 100, 1.0)])
    >>> [(spell.start_s, spell.end_s, spell.wall_kw) for spell in forbidden(stay, 50, 80).spells]
    [(0, 50, 1.0), (50, 80, 0.0), (80, 100, 1.0)]
    """
    spells = [Spell(start_s, end_s, 0.0)]
    for spell in stay.spells:
        if spell.start_s < start_s:
            spells.append(replace(spell, end_s=min(spell.end_s, start_s)))
        if spell.end_s > end_s:
            spells.append(replace(spell, start_s=max(spell.start_s, end_s)))
    return replace(stay, spells=sorted(spells, key=lambda spell: spell.start_s))


def no_fuller(schedule: Schedule, itinerary: Itinerary) -> Itinerary:
    """Let a battery get no fuller than a plan leaves it, so that no more is charged only because it is preferred.

    Parameters
    ----------
    schedule : Schedule
        The plan.
    itinerary : Itinerary
        What is planned.

    Returns
    -------
    Itinerary
    """
    most = max(float(schedule.level_kwh.max()), itinerary.level_kwh, itinerary.floor_kwh)
    most = min(max(most, *(stay.need_kwh for stay in itinerary.stays)), itinerary.capacity_kwh)
    # The taper goes by the share of what the battery may hold, which is less now.
    share = most / itinerary.capacity_kwh if itinerary.capacity_kwh else 1.0
    return replace(itinerary, capacity_kwh=most, taper=[(slope * share, kw) for slope, kw in itinerary.taper])


def rather_in(
    schedule: Schedule, itinerary: Itinerary, preferred: Preferred, again: Callable[..., Schedule]
) -> Instead | None:
    """Plan with some hours preferred.

    Parameters
    ----------
    schedule : Schedule
        The plan that it is compared with.
    itinerary : Itinerary
        That of the plan, or the same with fewer rules.
    preferred : Preferred
        The hours.
    again : callable
        Plans another itinerary, with ``preferred``.

    Returns
    -------
    Instead or None
        None where no plan that says something was found, see `comparable`. If it is proven, no plan as good at
        the departures that draws as much in these hours costs less.
    """
    other = again(itinerary, preferred=preferred)
    if not comparable(schedule, other):
        return None
    here = preferred.energy_kwh(other)
    more = here - preferred.energy_kwh(schedule)
    cost = other.total_cost + preferred.per_kwh * here
    return Instead(
        wall_kwh=more if abs(more) > _TINY_KWH else 0.0,
        cost=cost - schedule.total_cost,
        shortfall_kwh=short_kwh(other) - short_kwh(schedule),
        on_top_kwh=other.total_battery_kwh - schedule.total_battery_kwh,
        proven=proven(schedule, other),
    )
