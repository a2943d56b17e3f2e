"""A plan under rules about switching: its blocks, what they hold, and how they are measured."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.block import stretches
from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.reach import Reach
from chargeplan.plan.rules import breaches
from chargeplan.plan.switching import highest_floor
from chargeplan.plan.tapered import energy_of_runs, gained_in, run_hours
from chargeplan.plan.windows import blocks

Bools = NDArray[np.bool_]
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
    row_duals : array, optional
        With a taper: duals of the program without rules, if the plan is a solution of it.
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
    row_duals: Floats | None = None


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


def with_blocks(
    problem: Problem, energy: Floats, forced: Floats, method: str, *, latest: bool, within: Bools | None = None
) -> Ruled:
    """Place the energy of each slot, or of some, as `chargeplan.plan.windows.blocks` does."""
    level = problem.levels(energy, reached(problem, energy).served_kwh)
    hours = run_hours(problem, np.where(energy > 1e-9, energy, 0.0), level)
    if within is not None:
        hours = np.where(within, hours, 0.0)
    found = blocks(problem, hours, forced, latest=latest)
    return Ruled(energy, found.start_s, found.end_s, problem.stay[found.first], method)


def overlap_h(problem: Problem, start_s: float, end_s: float, stay: int) -> Floats:
    """Hours of each slot of a stay that lie within a block, shape (n,)."""
    hours = np.zeros(problem.slots)
    here = slice(int(problem.first[stay]), int(problem.last[stay]) + 1)
    begin, long_h = problem.start_s[here], problem.hours[here]
    overlap = np.minimum(begin + 3600 * long_h, end_s) - np.maximum(begin, start_s)
    hours[here] = np.clip(overlap / 3600, 0.0, long_h)
    return hours


def energy_of_blocks(
    problem: Problem, start_s: Floats, end_s: Floats, stay: Ints, *, given_kwh: Floats | None = None
) -> Floats:
    """Add up the battery energy of blocks in each slot, at the limit of the slot or of a taper, shape (n,).

    With a taper `given_kwh` may say the energy of slots in which no block is looked at, see `energy_of_runs`.
    """
    share = hours_of_blocks(problem, start_s, end_s, stay) / problem.hours
    share = np.where(share > 1 - 1e-9, 1.0, share)
    if problem.taper.size:
        return energy_of_runs(problem, share * problem.hours, given_kwh=given_kwh)
    return share * problem.max_battery_kwh


def hours_of_blocks(problem: Problem, start_s: Floats, end_s: Floats, stay: Ints) -> Floats:
    """Add up how long blocks run in each slot, shape (n,)."""
    hours = np.zeros(problem.slots)
    for begin, end, number in zip(start_s.tolist(), end_s.tolist(), stay.tolist(), strict=True):
        hours += overlap_h(problem, begin, end, number)
    return np.minimum(hours, problem.hours)


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
            gained_kwh = _in_full(problem, part, level)
            energy = np.concatenate(([0.0], np.cumsum(gained_kwh)))
            begin = float(time_s[0])
            end = begin + least_s
            if energy[-1] > 0:
                end = max(_time_at(problem, part, level, min(wanted, float(energy[-1])), energy), end)
            here = _gained_by(problem, part, level, end, energy)
            if end <= time_s[-1] + 1e-6 and here <= room + 1e-9 and min(here, wanted) > gained + 1e-9:
                gained, block = here, (begin, end, number)
        if gained > 0:
            found.append(block)
        level = max(0.0, level + gained - float(problem.drive_kwh[number]))
    starts, ends = (np.array([block[k] for block in found], dtype=np.float64) for k in range(2))
    stays = np.array([block[2] for block in found], dtype=np.int64)
    energy_kwh = energy_of_blocks(problem, starts, ends, stays)
    return Ruled(energy_kwh, starts, ends, stays, "charging at once in one block")


def _in_full(problem: Problem, part: slice, level_kwh: float) -> Floats:
    """Energy of the slots of a stretch that runs in full, whatever the capacity without a taper."""
    if not problem.taper.size:
        return problem.max_battery_kwh[part]
    found = []
    for slot in range(part.start, part.stop):
        found.append(gained_in(problem, slot, level_kwh, float(problem.hours[slot])))
        level_kwh += found[-1]
    return np.array(found)


def _time_at(problem: Problem, part: slice, level_kwh: float, gained_kwh: float, energy: Floats) -> float:
    """Find when a stretch from its beginning has gained so much; `energy` is what it has at each slot boundary."""
    slot = min(int(np.searchsorted(energy, gained_kwh, side="left")), energy.size - 1)
    number = part.start + max(slot - 1, 0)
    before = level_kwh + float(energy[max(slot - 1, 0)])
    gained, levels = np.zeros(problem.slots), np.full(problem.slots, before)
    gained[number] = level_kwh + gained_kwh - before
    levels[number:] += gained[number]
    return float(problem.start_s[number]) + 3600 * float(run_hours(problem, gained, levels)[number])


def _gained_by(problem: Problem, part: slice, level_kwh: float, end_s: float, energy: Floats) -> float:
    """Energy of a stretch from its beginning to a moment; past its end that of all of it."""
    number = int(np.searchsorted(problem.start_s[part], end_s, side="right")) - 1
    run = min((end_s - float(problem.start_s[part][number])) / 3600, float(problem.hours[part][number]))
    if problem.taper.size:
        gained = gained_in(problem, part.start + number, level_kwh + float(energy[number]), run)
    else:
        gained = run / float(problem.hours[part][number]) * float(problem.max_battery_kwh[part][number])
    return float(energy[number]) + gained
