"""Where the program that encloses all plans under a taper has to be tighter, by the solution that it has now."""

from __future__ import annotations

import numpy as np

from chargeplan.plan.certificate import accepted_kwh
from chargeplan.plan.problem import Floats, Problem
from chargeplan.plan.ruled import reached
from chargeplan.plan.switching import Switching
from chargeplan.plan.switching_taper import Cuts

#: Less than this between what a slot gains and what it accepts is rounding.
_WRONG_KWH = 1e-7
#: Slots that are made tighter in one round: those that are most wrong.
_AT_ONCE = 6
#: Cuts nearer to one another than this share of the capacity would only make rounding count.
_APART = 2e-4


def more_cuts(problem: Problem, switching: Switching, x: Floats, cuts: Cuts) -> Cuts:
    """Tighten the program where its solution gains another amount than limit and taper accept in the hours it runs.

    Parameters
    ----------
    problem : Problem
        With a taper.
    switching : Switching
        The program.
    x : array
        Its solution.
    cuts : tuple of (int, bool, float)
        Where it is tighter by now, see `chargeplan.plan.switching_taper.Envelope`.

    Returns
    -------
    tuple of (int, bool, float)
        The same where nothing is wrong.
    """
    energy = x[: problem.slots]
    hours = x[switching.head] + x[switching.tail] + x[switching.middle]
    level = problem.levels(energy, reached(problem, energy).served_kwh)
    before = level - energy
    wrong = energy - hours / problem.hours * accepted_kwh(problem, before, level)
    wrong[~np.isin(problem.stay, problem.ruled)] = 0.0
    # How long a slot runs that is used in part says something only where a least time is asked for.
    timed = [rules is not None and (rules.min_on_min > 0 or rules.min_off_min > 0) for rules in problem.rules]
    wrong[~np.array(timed)[problem.stay]] = 0.0
    found = set(cuts)
    for slot in np.argsort(-np.abs(wrong)).tolist()[:_AT_ONCE]:
        if abs(wrong[slot]) > _WRONG_KWH:
            found |= _cut(problem, slot, (float(before[slot]), float(level[slot])), found)
    return tuple(sorted(found))


def _cut(
    problem: Problem, slot: int, levels: tuple[float, float], cuts: set[tuple[int, bool, float]]
) -> set[tuple[int, bool, float]]:
    """Cut the levels of a slot at the one of the solution, for the line of the taper that it is on."""
    slopes = np.concatenate(([0.0], problem.taper[:, 0]))
    powers = np.append(problem.max_battery_kwh[slot] / problem.hours[slot], problem.taper[:, 1])
    at = np.where(slopes < 0, levels[1], levels[0])
    at_end = float(slopes[int((powers + slopes / problem.capacity_kwh * at).argmin())]) <= 0
    level = levels[1] if at_end else levels[0]
    others = [other for number, end, other in cuts if number == slot and end == at_end]
    if any(abs(level - other) < _APART * problem.capacity_kwh for other in others):
        return set()
    return {(slot, at_end, level)}
