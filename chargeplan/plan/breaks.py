"""What of the wishes a habit breaks that a plan keeps: only so can it be cheaper and end as full."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from chargeplan.plan.certificate import accepted_kwh
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.rules import breaches
from chargeplan.plan.schedule import Schedule
from chargeplan.plan.unmanaged import Unmanaged
from chargeplan.plan.windows import OFF_KWH

#: Energy and time below these are rounding.
_TINY_KWH, _TINY_S = 1e-3, 1.0


def breaks_of(schedule: Schedule, habit: Unmanaged) -> tuple[str, ...]:
    """Find what a habit breaks.

    Parameters
    ----------
    schedule : Schedule
        A plan.
    habit : Unmanaged
        One of the habits it is compared with.

    Returns
    -------
    tuple of str
        ``floor`` if it waits below the floor while the plan charges, and the rules about switching that it does not
        keep, by the keys of a household file.

    Examples
    --------
    >>> from dataclasses import replace
    >>> from datetime import datetime, timezone
    >>> from chargeplan.plan.rules import ChargerRules
    >>> from chargeplan.plan.schedule import plan
    >>> from chargeplan.plan.stops import Itinerary, Stay
    >>> stay = Stay("home", datetime(2026, 1, 5, 20, tzinfo=timezone.utc),
    ...             datetime(2026, 1, 5, 22, tzinfo=timezone.utc), wall_kw=4.0, gain=1.0, need_kwh=2.0,
    ...             rules=ChargerRules(min_on_min=60),
    ...             price_per_kwh=lambda start_s, step_s: 0.1 + 0.2 * (start_s % 86400 < 21 * 3600))
    >>> night = plan(Itinerary(0, 60, [stay]))
    >>> half_an_hour = replace(night.by_timer, wall_kwh=night.by_timer.wall_kwh / 4)
    >>> breaks_of(night, night.by_timer), breaks_of(night, half_an_hour)
    ((), ('min_on',))
    """
    # In the problem of a plan against a whole bill the current may be lower than it was asked.
    asked = getattr(schedule, "asked", None)
    problem: Problem = schedule.problem if asked is None else asked
    battery = habit.wall_kwh * problem.gain
    after = problem.levels(battery, schedule.best.served_kwh)
    before = after - battery
    waits = (before < problem.floor_kwh - _TINY_KWH) & (schedule.battery_kwh > battery + _TINY_KWH)
    found = dict.fromkeys(["floor"] if waits.any() else [])
    accepted = accepted_kwh(problem, before, after)
    share = np.divide(battery, accepted, out=np.zeros_like(battery), where=accepted > OFF_KWH)
    for number in sorted(problem.ruled):
        rules = schedule.itinerary.stays[number].rules
        if rules is None:
            continue
        starts, ends = _blocks(problem, np.where(problem.stay == number, np.minimum(share, 1.0), 0.0))
        broken = breaches(rules, starts, ends)
        names = (
            ("min_on", broken.on_s > _TINY_S),
            ("min_off", broken.off_s > _TINY_S),
            (rules.one_block_key if rules.one_block else "most_starts", broken.starts > 0),
        )
        found |= dict.fromkeys(name for name, is_broken in names if is_broken)
    return tuple(found)


def _blocks(problem: Problem, share: Floats) -> tuple[list[float], list[float]]:
    """Give start and end of the blocks of a habit, which charges without a pause from slot to slot."""
    used = np.flatnonzero(share > 0)
    if not used.size:
        return [], []
    begin_s = problem.start_s.astype(np.float64)
    end_s = begin_s + 3600 * problem.hours
    edges = [0, *(np.flatnonzero(end_s[used[:-1]] < begin_s[used[1:]] - _TINY_S) + 1).tolist(), used.size]
    starts, ends = [], []
    for first, last in pairwise(edges):
        one, other = int(used[first]), int(used[last - 1])
        starts.append(float(begin_s[one]))
        ends.append(float(begin_s[other] + 3600 * problem.hours[other] * share[other]))
    return starts, ends
