"""A plan under rules about switching: its blocks, what they hold, and how they are measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chargeplan.plan.block import stretches
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.reach import Reach
from chargeplan.plan.rules import breaches
from chargeplan.plan.switching import highest_floor
from chargeplan.plan.windows import blocks

_SHORT_KWH = 1e-7


@dataclass(frozen=True, eq=False)
class Ruled:
    """A plan that keeps the rules about switching.

    Parameters
    ----------
    battery_kwh : array, shape (n,)
        Energy gained in each slot.
    start_s, end_s : array, shape (k,)
        Blocks of charging in order of time, exact UTC seconds.
    stay : array of int, shape (k,)
        The stay of each block.
    method : str
        How it was found, in words.
    bound : float
        No plan that is as good in what comes before the cost costs less, as `bound_by` says.
    bound_by : str
        Whose bound that is; empty if there is none.
    least_short_kwh, least_late_kwh_h : float
        No plan ends with less short in all, and none of those with less missing to the floor x hours.
    """

    battery_kwh: Floats
    start_s: Floats
    end_s: Floats
    stay: Ints
    method: str
    bound: float = -np.inf
    bound_by: str = ""
    least_short_kwh: float = 0.0
    least_late_kwh_h: float = 0.0


def reached(problem: Problem, battery_kwh: Floats) -> Reach:
    """Follow the levels of a plan; what it reaches takes the place of what could be reached without rules.

    Parameters
    ----------
    problem : Problem
        What was asked.
    battery_kwh : array, shape (n,)
        Energy gained in each slot.

    Returns
    -------
    Reach
        Nothing is forced in it.
    """
    level, arrival, departure = problem.level_kwh, [], []
    for gained, drive in zip(
        np.add.reduceat(battery_kwh, problem.first).tolist(), problem.drive_kwh.tolist(), strict=True
    ):
        arrival.append(level)
        departure.append(level + gained)
        level = max(0.0, level + gained - drive)
    leaves = np.array(departure)
    served = np.minimum(problem.drive_kwh, leaves)
    short = np.maximum(problem.wanted_kwh - leaves, 0.0)
    short[short < _SHORT_KWH] = 0.0
    return Reach(
        arrival_kwh=np.array(arrival),
        departure_kwh=leaves,
        need_kwh=np.minimum(problem.wanted_kwh, leaves),
        shortfall_kwh=short,
        served_kwh=served,
        unserved_kwh=problem.drive_kwh - served,
        forced_kwh=np.zeros(problem.slots),
    )


def first_forced_kwh(best: Reach) -> float | None:
    """Give the energy that the floor forces in the first slot in which it forces any; None if it forces none."""
    forced = best.forced_kwh[best.forced_kwh > 0]
    return float(forced[0]) if forced.size else None


def late_kwh_h(problem: Problem, best: Reach, battery_kwh: Floats) -> float:
    """Add up what is missing to the floor at the end of each slot, or to what charging at once reaches, x hours."""
    if problem.floor_kwh <= 0:
        return 0.0
    level = problem.levels(battery_kwh, reached(problem, battery_kwh).served_kwh)
    missing = np.maximum(highest_floor(problem, best) - level, 0.0)
    missing[missing < _SHORT_KWH] = 0.0
    return float(missing @ problem.hours)


def keeps_rules(problem: Problem, found: Ruled) -> bool:
    """Tell whether the blocks of a plan keep the rules of every stay."""
    for number in problem.ruled:
        rules, here = problem.rules[number], found.stay == number
        if rules is not None:
            broken = breaches(rules, found.start_s[here], found.end_s[here])
            if broken.on_s > 1e-3 or broken.off_s > 1e-3 or broken.starts:
                return False
    return True


def with_blocks(problem: Problem, energy: Floats, forced: Floats, method: str, *, latest: bool) -> Ruled:
    """Place the energy of each slot as `chargeplan.plan.windows.blocks` does."""
    most = problem.max_battery_kwh
    share = np.divide(energy, most, out=np.zeros_like(energy), where=most > 0)
    found = blocks(problem, np.where(energy > 1e-9, share, 0.0) * problem.hours, forced, latest=latest)
    return Ruled(energy, found.start_s, found.end_s, problem.stay[found.first], method)


def overlap_h(problem: Problem, start_s: float, end_s: float, stay: int) -> Floats:
    """Hours of each slot of a stay that lie within a block, shape (n,)."""
    hours = np.zeros(problem.slots)
    here = slice(int(problem.first[stay]), int(problem.last[stay]) + 1)
    begin, long_h = problem.start_s[here], problem.hours[here]
    overlap = np.minimum(begin + 3600 * long_h, end_s) - np.maximum(begin, start_s)
    hours[here] = np.clip(overlap / 3600, 0.0, long_h)
    return hours


def energy_of_blocks(problem: Problem, start_s: Floats, end_s: Floats, stay: Ints) -> Floats:
    """Add up the battery energy of blocks in each slot, charging at the limit of the slot, shape (n,)."""
    hours = np.zeros(problem.slots)
    for begin, end, number in zip(start_s.tolist(), end_s.tolist(), stay.tolist(), strict=True):
        hours += overlap_h(problem, begin, end, number)
    share = np.minimum(hours / problem.hours, 1.0)
    return np.where(share > 1 - 1e-9, 1.0, share) * problem.max_battery_kwh


def first_plan(problem: Problem) -> Ruled:
    """Charge at once in one block a stay, as far as the rules allow: a plan to fall back on.

    Parameters
    ----------
    problem : Problem
        With rules.

    Returns
    -------
    Ruled
        It keeps the rules; in a stay in which no single block does, nothing is charged.
    """
    level, found = problem.level_kwh, []
    for number in range(problem.stays):
        gained = 0.0
        wanted = float(problem.wanted_kwh[number]) - level
        room = problem.capacity_kwh - level
        rules = problem.rules[number] if problem.rules else None
        least_s = 60 * rules.min_on_min if rules is not None else 0.0
        for part in stretches(problem, number) if wanted > 0 else []:
            ends = problem.start_s[part] + 3600 * problem.hours[part]
            time_s = np.append(problem.start_s[part].astype(float), ends[-1])
            energy = np.concatenate(([0.0], np.cumsum(problem.max_battery_kwh[part])))
            begin = float(time_s[0])
            end = max(float(np.interp(min(wanted, energy[-1]), energy, time_s)), begin + least_s)
            here = float(np.interp(end, time_s, energy))
            if end <= time_s[-1] + 1e-6 and here <= room + 1e-9 and min(here, wanted) > gained + 1e-9:
                gained, block = here, (begin, end, number)
        if gained > 0:
            found.append(block)
        level = max(0.0, level + gained - float(problem.drive_kwh[number]))
    starts, ends = (np.array([block[k] for block in found], dtype=np.float64) for k in range(2))
    stays = np.array([block[2] for block in found], dtype=np.int64)
    energy_kwh = energy_of_blocks(problem, starts, ends, stays)
    return Ruled(energy_kwh, starts, ends, stays, "charging at once in one block")
