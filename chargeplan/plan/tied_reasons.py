"""Why hours charge or wait where they depend on one another: under rules, a taper or a whole bill.

There no hour has a value of its own. What is told of some hours is how the cheapest plan without them, or
with as much as possible in them, differs. Every stretch takes a plan or two, so neighbouring hours of
different prices are taken together where there are too many, and after some seconds no more is asked.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.certificate import TIGHT_KWH
from chargeplan.plan.instead import (
    Again,
    Instead,
    Preferred,
    hour_prices,
    instead_of,
    next_prices,
    no_fuller,
    rather_in,
)
from chargeplan.plan.problem import Floats
from chargeplan.plan.reasons import Reason, Stretch, spell_names
from chargeplan.plan.schedule import Schedule
from chargeplan.plan.stops import Itinerary, Stay

#: Most stretches for which other plans are made.
MOST_STRETCHES: Final = 24
#: Money and energy below these are none.
_CENT: Final = 0.005
_TINY_KWH: Final = 1e-6
_SAME: Final = 1e-9
#: Times on and off as short as this, and as many in turn, are one stretch.
_TURN_S: Final = 3600
_TURNS: Final = 5
_NEXT_KWH: Final = (
    "prices are those of one more kWh on the whole bill beside this plan: at the tier that is reached, nothing while "
    "only the minimum is paid, and without what a higher power adds"
)


def tied_reasons(
    schedule: Schedule, again: Again, *, most: int = MOST_STRETCHES, until: float = float("inf")
) -> tuple[tuple[Stretch, ...], tuple[str, ...]]:
    """Tell why hours of a plan charge or wait, by other plans.

    Parameters
    ----------
    schedule : Schedule
        The plan.
    again : Again
        Plans another itinerary the same way.
    most : int
        For how many stretches to do so.
    until : float
        After this time of the monotonic clock no more plans are made.

    Returns
    -------
    stretches : tuple of Stretch
        In time, without gaps within a stay.
    notes : tuple of str
        What was left out, in words.
    """
    asker = _Asker(schedule, again, until)
    spans = _in_turn(schedule, list(_spans(schedule)))
    known = {span: asker.at_once(*span) for span in spans}
    taken, merged = _merged([span for span in spans if known[span] is None], asker, most)
    asked = set(taken[:most])
    rows = [*(span for span in spans if known[span] is not None), *taken]
    found = []
    for span in sorted(rows):
        stretch = known.get(span) or (asker.ask(*span) if span in asked else asker.stretch(*span, "unknown"))
        found.append(stretch)
    notes = [_NEXT_KWH] if (np.abs(asker.told - asker.price) > _SAME).any() else []
    if merged:
        notes.append("neighbouring hours of different prices are taken together, so as not to make too many plans")
    if left := sum(stretch.reason == "unknown" for stretch in found):
        notes.append(f"{left} stretch{'es are' if left > 1 else ' is'} not explained: no other plan was proven in time")
    return tuple(found), tuple(notes)


def _spans(schedule: Schedule) -> Iterator[tuple[int, int]]:
    """Cut the slots by stay, use, price and current: first and last slot of each stretch."""
    problem, price = schedule.problem, hour_prices(schedule)
    charges = schedule.battery_kwh > TIGHT_KWH
    power = np.where(charges, problem.max_kwh / problem.hours, 0.0)
    usable = problem.max_kwh > 0
    turns = np.zeros(problem.slots - 1, dtype=bool)
    for column in (problem.stay, charges, usable):
        turns |= column[1:] != column[:-1]
    turns |= np.abs(np.diff(power)) > 1e-6 * (1 + power[1:])
    turns |= (np.abs(np.diff(price)) > _SAME) & usable[1:]
    fresh = np.flatnonzero(np.r_[True, turns])
    yield from zip(fresh.tolist(), (np.r_[fresh[1:], problem.slots] - 1).tolist(), strict=True)


def _in_turn(schedule: Schedule, spans: list[tuple[int, int]]) -> list[tuple[int, int]]:
    """Take slots together that charge and wait in turn, at one price and power: a mean power is kept low that way."""
    problem, price = schedule.problem, hour_prices(schedule)
    charges = schedule.battery_kwh > TIGHT_KWH
    kind = np.column_stack((problem.stay, price, problem.max_kwh / problem.hours))
    found: list[tuple[int, int]] = []
    run: list[tuple[int, int]] = []
    for first, last in spans:
        short = 3600 * float(problem.hours[first : last + 1].sum()) <= _TURN_S
        if run and not (short and np.allclose(kind[first], kind[run[0][0]], rtol=0, atol=_SAME)):
            found += _joined(run, charges)
            run = []
        if short and (run or charges[first]):
            run.append((first, last))
        else:
            found.append((first, last))
    return found + _joined(run, charges)


def _joined(run: list[tuple[int, int]], charges: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Make one stretch of enough turns, up to the last that charges."""
    end = len(run) if not run or charges[run[-1][0]] else len(run) - 1
    return run if end < _TURNS else [(run[0][0], run[end - 1][1]), *run[end:]]


def _merged(spans: list[tuple[int, int]], asker: _Asker, most: int) -> tuple[list[tuple[int, int]], bool]:
    """Take neighbours together, those of the nearest prices first, until there are few enough."""
    spans, merged = list(spans), False
    while len(spans) > max(most, 1):
        steps = [asker.step(one, other) for one, other in pairwise(spans)]
        nearest = int(np.argmin(steps))
        if not np.isfinite(steps[nearest]):
            break
        spans[nearest : nearest + 2] = [(spans[nearest][0], spans[nearest + 1][1])]
        merged = True
    return spans, merged


class _Asker:
    """Makes the other plans."""

    def __init__(self, schedule: Schedule, again: Again, until: float) -> None:
        self.schedule, self.problem, self.plan, self.until = schedule, schedule.problem, again, until
        self.price: Floats = hour_prices(schedule)
        self.told: Floats = next_prices(schedule)
        self.charges = schedule.battery_kwh > TIGHT_KWH
        self.before = schedule.level_kwh - schedule.battery_kwh

    def step(self, one: tuple[int, int], other: tuple[int, int]) -> float:
        """Difference of prices between two stretches; infinite where they must not be taken together."""
        first, second, problem = one[1], other[0], self.problem
        alike = second == first + 1 and problem.stay[first] == problem.stay[second]
        alike &= bool(self.charges[one[0]] == self.charges[second])
        kw = problem.max_kwh / problem.hours
        if not alike or (self.charges[first] and abs(kw[first] - kw[second]) > 1e-6 * (1 + kw[first])):
            return float("inf")
        low = self.price[one[0] : other[1] + 1]
        return float(low.max() - low.min())

    def stretch(self, first: int, last: int, reason: Reason, instead: Instead | None = None) -> Stretch:
        problem, charges = self.problem, bool(self.charges[first])
        price = self.told[first : last + 1]
        current = self.schedule.current_a[first : last + 1]
        return Stretch(
            stay=int(problem.stay[first]),
            start_s=int(problem.start_s[first]),
            end_s=self._end_s(last),
            charges=charges,
            reason=reason,
            low=float(price.min()),
            high=float(price.max()),
            worth=float("nan"),
            current_a=float(current.max()) if charges else float("nan"),
            instead=instead,
            in_parts=charges and not self.charges[first : last + 1].all(),
        )

    def at_once(self, first: int, last: int) -> Stretch | None:
        """Say what needs no other plan."""
        problem, here = self.problem, slice(first, last + 1)
        number = int(problem.stay[first])
        ruled = number in problem.ruled
        stay = self.schedule.itinerary.stays[number]
        if self.charges[first]:
            if (self.before[here] < problem.floor_kwh - 1e-3).all() and self.charges[here].all():
                return self.stretch(first, last, "floor")
            if self.schedule.departures[number].shortfall_kwh > 0 and not ruled:
                return self.stretch(first, last, "short")
            return None
        if (problem.max_kwh[here] <= 0).all():
            found = self.stretch(first, last, "off")
            return replace(found, because=spell_names(stay, found.start_s, found.end_s))
        return None

    def ask(self, first: int, last: int) -> Stretch:
        """Plan without the hours where the plan charges, and with them preferred where it waits."""
        if self.charges[first]:
            return self._without(first, last)
        number = int(self.problem.stay[first])
        itinerary, stay = self.schedule.itinerary, self.schedule.itinerary.stays[number]
        rules = stay.rules if number in self.problem.ruled else None
        found = self._preferring(itinerary, first, last, ruled=rules is not None)
        if found is None:
            return self.stretch(first, last, "unknown")
        if self._takes_a_place(found, first, last):
            same = abs(found.cost) < _CENT and found.shortfall_kwh < _TINY_KWH
            reason: Reason = "equal" if same else "dearer"
            return self.stretch(first, last, reason, found)
        if not found.proven:
            return self.stretch(first, last, "unknown")
        if rules is not None and found.wall_kwh <= _TINY_KWH:
            alone = [name for name in rules.names if self._would(replace(stay, rules=rules.without(name)), first, last)]
            if alone or self._would(replace(stay, rules=None), first, last):
                return replace(self.stretch(first, last, "rules"), because=tuple(alone) or rules.names)
        if self._left_s <= 0:
            return self.stretch(first, last, "unknown")
        full = self.schedule.level_kwh[first : last + 1] >= self.problem.capacity_kwh - TIGHT_KWH
        return self.stretch(first, last, "full" if full.all() else "none")

    def _would(self, stay: Stay, first: int, last: int) -> bool:
        """Whether anything would be charged in the hours if the stay were another one and they preferred."""
        number = int(self.problem.stay[first])
        stays = list(self.schedule.itinerary.stays)
        stays[number] = stay
        found = self._preferring(replace(self.schedule.itinerary, stays=stays), first, last, ruled=False)
        return found is not None and self._takes_a_place(found, first, last)

    def _takes_a_place(self, found: Instead, first: int, last: int) -> bool:
        """Whether something is charged here instead of elsewhere, and not only on top, where it is not needed."""
        not_needed_kwh = found.on_top_kwh - max(0.0, -found.shortfall_kwh)
        return found.wall_kwh * float(self.problem.gain[first : last + 1].min()) > not_needed_kwh + _TINY_KWH

    def _without(self, first: int, last: int) -> Stretch:
        span = int(self.problem.start_s[first]), self._end_s(last)
        if self._left_s <= 0:
            return self.stretch(first, last, "unknown")
        found = instead_of(self.schedule, int(self.problem.stay[first]), span, self._again())
        if found is None:
            return self.stretch(first, last, "unknown")
        same = abs(found.cost) < _CENT and found.shortfall_kwh < _TINY_KWH
        if self._only_for_the_floor(found):
            return self.stretch(first, last, "floor", found)
        return self.stretch(first, last, "either" if same else "needed", found)

    def _only_for_the_floor(self, found: Instead) -> bool:
        """Whether a plan is cheaper and misses no more, so that the proven one is better only below the floor."""
        proven = self.schedule.certificate.optimal
        return proven and found.cost < -_CENT and found.shortfall_kwh < _TINY_KWH and self.problem.floor_kwh > 0

    def _preferring(self, itinerary: Itinerary, first: int, last: int, *, ruled: bool) -> Instead | None:
        """Prefer the hours ever more, until something is charged there; as much as is charged now, if it can be."""
        problem, here = self.problem, slice(first, last + 1)
        mine = self.price[(problem.stay == problem.stay[first]) & (problem.max_kwh > 0)]
        least, now = float(mine.min()), float(self.price[here].min())
        kept = no_fuller(self.schedule, itinerary)
        found = Instead(0.0, 0.0, 0.0)
        tries: list[tuple[Itinerary, float]] = []
        if least > 0:
            # Almost free, so that no more is charged than is needed.
            tries.append((itinerary, now - least / 1000))
        most_kwh = min(float(problem.max_kwh[here].sum()), self.schedule.total_wall_kwh)
        if most_kwh > _TINY_KWH:
            # More than all that any plan could save elsewhere.
            money = self.schedule.total_wall_kwh * float(mine.max() - least)
            money += abs(self.schedule.total_cost) + abs(self.schedule.on_plug_in.cost)
            tries.append((kept, now - least + 4 * (money + 0.01) / most_kwh))
            # The least time on may need a fuller battery.
            tries += [(itinerary, tries[-1][1])] if ruled else []
        for asked, per_kwh in tries:
            if self._left_s <= 0:
                return None
            answer = rather_in(self.schedule, asked, self._hours(first, last, per_kwh), self._again())
            if answer is None:
                return None
            found = answer
            if found.wall_kwh > _TINY_KWH:
                break
        return found

    def _hours(self, first: int, last: int, per_kwh: float) -> Preferred:
        start_s, step_s = self.problem.start_s, self.problem.step_s
        begin_s, end_s = int(start_s[first]) // step_s * step_s, (int(start_s[last]) // step_s + 1) * step_s
        return Preferred(int(self.problem.stay[first]), begin_s, end_s, per_kwh)

    def _again(self) -> Callable[..., Schedule]:
        return partial(self.plan, time_limit_s=self._left_s)

    @property
    def _left_s(self) -> float:
        return min(self.until - time.monotonic(), 60.0)

    def _end_s(self, last: int) -> int:
        return int(self.problem.start_s[last]) + round(3600 * float(self.problem.hours[last]))
