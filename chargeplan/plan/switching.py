"""The mixed-integer program of a charger that may be switched only so often, and only for so long.

The slots are price runs (see `runs`), so a run may be hours long. In a run charging can come in
across its start (``enters``, for `head` hours), go on across its end (for `tail` hours), or stay
inside it (``inside``, for `middle` hours from `offset` on). If it does both of the first two, either
it runs through (``through``) or there is a pause inside the run. Nothing else is needed: of two
blocks of one run, with one price and one power, that do not both reach beyond it, one can be
shifted to meet the other, which loses a start and shortens no block and no pause. So the program
finds the best of all plans in continuous time, not of those on a grid.

Two running sums carry the rules. ``on`` at the boundary before a run is how long the block that
crosses it has lasted, ``off`` how long it has been off; each counts up to the least length only,
which keeps the coefficients small.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from chargeplan.plan.problem import Floats, Ints, Problem
from chargeplan.plan.program import Program
from chargeplan.plan.reach import Reach
from chargeplan.plan.switching_taper import Cuts, Envelope, Runs, Tangent, add_levels, level_terms

_MEET_S = 1e-3
_NO_LIMIT = np.inf


@dataclass
class Rows:
    """Columns and rows of a program, as they are added."""

    lower: list[Floats] = field(default_factory=list)
    upper: list[Floats] = field(default_factory=list)
    integer: list[NDArray[np.bool_]] = field(default_factory=list)
    triplets: list[tuple[Ints, Ints, Floats]] = field(default_factory=list)
    row_lower: list[Floats] = field(default_factory=list)
    row_upper: list[Floats] = field(default_factory=list)
    columns: int = 0
    rows: int = 0

    def add(self, lower: Floats, upper: Floats, *, whole: bool = False) -> Ints:
        """Add columns and return their numbers."""
        self.lower.append(np.asarray(lower, dtype=np.float64))
        self.upper.append(np.asarray(upper, dtype=np.float64))
        self.integer.append(np.full(lower.size, whole))
        self.columns += lower.size
        return np.arange(self.columns - lower.size, self.columns)

    def limit(
        self, *terms: tuple[Ints, Floats | float], least: Floats | float = -_NO_LIMIT, most: Floats | float = _NO_LIMIT
    ) -> None:
        """Add rows ``least <= sum of factor x column <= most``, one for each entry of the columns."""
        size = terms[0][0].size
        number = self.rows + np.arange(size)
        for columns, factor in terms:
            self.triplets.append((number, columns, np.broadcast_to(np.asarray(factor, np.float64), size)))
        self.row_lower.append(np.array(np.broadcast_to(np.asarray(least, np.float64), size)))
        self.row_upper.append(np.array(np.broadcast_to(np.asarray(most, np.float64), size)))
        self.rows += size

    def total(self, columns: Ints, factors: Floats | float, least: float = -_NO_LIMIT, most: float = _NO_LIMIT) -> None:
        """Add one row over many columns."""
        factors = np.broadcast_to(np.asarray(factors, np.float64), columns.shape)
        self.triplets.append((np.full(columns.size, self.rows), columns, factors))
        self.row_lower.append(np.array([least]))
        self.row_upper.append(np.array([most]))
        self.rows += 1

    def program(self, cost: Floats, slots: int) -> Program:
        """Put all together."""
        rows, columns, values = (np.concatenate(part) for part in zip(*self.triplets, strict=True))
        return Program(
            cost=cost,
            lower=np.concatenate(self.lower),
            upper=np.concatenate(self.upper),
            integer=np.concatenate(self.integer),
            rows=rows,
            columns=columns,
            values=values,
            row_lower=np.concatenate(self.row_lower),
            row_upper=np.concatenate(self.row_upper),
            slots=slots,
        )


@dataclass(frozen=True, eq=False)
class Switching:
    """The program, its objectives in order, and where its columns are.

    Parameters
    ----------
    program : Program
        With the cost as its objective.
    short, late, starts : array
        Objectives for all columns: kWh short at departures; kWh below the floor x hours; blocks.
    head, tail, middle, offset : array of int, shape (runs,)
        Columns of the hours in each run.
    enters : array of int, shape (runs + 1,)
        Columns that say whether charging crosses the boundary before each run.
    through, inside : array of int, shape (runs,)
        Columns that say whether charging runs through the run, and whether a block lies inside it.
    """

    program: Program
    short: Floats
    late: Floats
    starts: Floats
    head: Ints
    tail: Ints
    middle: Ints
    offset: Ints
    enters: Ints
    through: Ints
    inside: Ints


def switching_program(problem: Problem, best: Reach, *, as_without: bool, taper: Tangent | Cuts = ()) -> Switching:
    """Build the program of a problem whose slots are price runs of one power each.

    Parameters
    ----------
    problem : Problem
        With rules. With a taper its slots are those of the plan.
    best : Reach
        What can be reached without rules.
    as_without : bool
        Demand the departures, and the charging below the floor, that are best without rules; such a
        program may have no solution. Otherwise what is short is a column to be minimised.
    taper : Tangent or tuple of (int, bool, float)
        With a taper: a known plan near which the program is to be exact; or where the program, which otherwise
        encloses every plan, is to be tighter. See `switching_taper`.

    Returns
    -------
    Switching
    """
    runs, rows = problem.slots, Rows()
    forced = best.forced_kwh if as_without else np.zeros(runs)
    energy = rows.add(forced, problem.max_battery_kwh)
    blocks = _blocks(rows, problem, energy)
    level, served, short, late_columns = _levels(rows, problem, best, energy, as_without=as_without)
    if problem.taper.size:
        after = _levels_by_slot(rows, problem, energy, level=level, served=served)
        form = taper if isinstance(taper, Tangent) else Envelope.of(problem, best, taper, as_without=as_without)
        _tapered(rows, problem, form, energy=energy, hours=blocks[:3], after=after, served=served)
    head, tail, middle, offset, enters, through, inside, starts_of = blocks
    cost = np.zeros(rows.columns)
    cost[energy] = problem.unit_cost
    shortfall, late, starts = (np.zeros(rows.columns) for _ in range(3))
    shortfall[short] = 1.0
    late[late_columns] = problem.hours[: late_columns.size]
    np.add.at(starts, starts_of[0], starts_of[1])
    program = rows.program(cost, runs)
    return Switching(program, shortfall, late, starts, head, tail, middle, offset, enters, through, inside)


def _blocks(
    rows: Rows, problem: Problem, energy: Ints
) -> tuple[Ints, Ints, Ints, Ints, Ints, Ints, Ints, tuple[Ints, Floats]]:
    """Add what switches, its rules, and return its columns."""
    runs, hours = problem.slots, problem.hours
    by_stay = [rules if rules is not None and rules.bind else None for rules in problem.rules]
    ruled = np.array([rules is not None for rules in by_stay])[problem.stay]
    on_h = np.array([0.0 if rules is None else rules.min_on_min / 60 for rules in by_stay])[problem.stay]
    off_h = np.array([0.0 if rules is None else rules.min_off_min / 60 for rules in by_stay])[problem.stay]
    usable = ruled & (problem.max_battery_kwh > 0)
    end_s = problem.start_s + 3600 * hours
    meets = np.zeros(runs + 1, dtype=bool)
    meets[1:-1] = usable[:-1] & usable[1:] & (np.diff(problem.stay) == 0)
    meets[1:-1] &= np.abs(end_s[:-1] - problem.start_s[1:]) < _MEET_S
    most_h = np.where(usable, hours, 0.0)
    none = np.zeros(runs)
    head, tail, middle, offset = (rows.add(none, most_h) for _ in range(4))
    enters = rows.add(np.zeros(runs + 1), meets.astype(float), whole=True)
    through = rows.add(none, (meets[:-1] & meets[1:]).astype(float), whole=True)
    inside = rows.add(none, (usable & (hours >= on_h - 1e-12)).astype(float), whole=True)
    w = np.flatnonzero(usable)
    power = problem.max_battery_kwh[w] / hours[w]
    h, off = hours[w], off_h[w]
    if not problem.taper.size:
        rows.limit((energy[w], 1.0), (head[w], -power), (tail[w], -power), (middle[w], -power), least=0.0, most=0.0)
    rows.limit((head[w], 1.0), (enters[w], -h), most=0.0)
    rows.limit((tail[w], 1.0), (enters[w + 1], -h), most=0.0)
    rows.limit((middle[w], 1.0), (offset[w], 1.0), (inside[w], -h), most=0.0)
    rows.limit((through[w], 1.0), (enters[w], -1.0), most=0.0)
    rows.limit((through[w], 1.0), (enters[w + 1], -1.0), most=0.0)
    rows.limit((inside[w], 1.0), (enters[w], 1.0), most=1.0)
    rows.limit((inside[w], 1.0), (enters[w + 1], 1.0), most=1.0)
    rows.limit((head[w], 1.0), (tail[w], 1.0), (through[w], -h), least=0.0)
    pause = ((enters[w], off), (enters[w + 1], off), (through[w], -off))
    rows.limit((head[w], 1.0), (tail[w], 1.0), *pause, most=h + off)
    _least_on(rows, on_h, w, (head, tail, middle), (enters, through, inside))
    _least_off(rows, problem, off_h, w, hours=(head, tail, middle, offset), binary=(enters, through, inside))
    # A block starts in a run if it leaves the run and did not run through it, or lies inside it.
    starting = np.concatenate((enters[w + 1], through[w], inside[w]))
    sign = np.concatenate((np.ones(w.size), -np.ones(w.size), np.ones(w.size)))
    stay = np.tile(problem.stay[w], 3)
    for number, rules in enumerate(by_stay):
        if rules is not None and rules.most_starts is not None and (stay == number).any():
            rows.total(starting[stay == number], sign[stay == number], most=float(rules.most_starts))
    return head, tail, middle, offset, enters, through, inside, (starting, sign)


def _least_on(
    rows: Rows, on_h: Floats, w: Ints, hours: tuple[Ints, Ints, Ints], binary: tuple[Ints, Ints, Ints]
) -> None:
    """Blocks last at least `on_h` hours."""
    w = w[on_h[w] > 0]
    if not w.size:
        return
    (head, tail, middle), (enters, through, inside), least = hours, binary, on_h[w]
    length = np.zeros(on_h.size + 1)
    length[w + 1] = least  # a boundary is that of the run before it
    lasted = rows.add(np.zeros(on_h.size + 1), length)
    rows.limit((lasted[w + 1], 1.0), (enters[w + 1], -least), most=0.0)
    rows.limit((lasted[w + 1], 1.0), (lasted[w], -1.0), (head[w], -1.0), (tail[w], -1.0), most=0.0)
    rows.limit((lasted[w + 1], 1.0), (tail[w], -1.0), (through[w], -least), most=0.0)
    rows.limit((lasted[w], 1.0), (head[w], 1.0), (enters[w], -least), (through[w], least), least=0.0)
    rows.limit((middle[w], 1.0), (inside[w], -least), least=0.0)


def _least_off(
    rows: Rows,
    problem: Problem,
    off_h: Floats,
    w: Ints,
    *,
    hours: tuple[Ints, Ints, Ints, Ints],
    binary: tuple[Ints, Ints, Ints],
) -> None:
    """Pauses last at least `off_h` hours."""
    w = w[off_h[w] > 0]
    if not w.size:
        return
    (head, tail, middle, offset), (enters, through, inside), least = hours, binary, off_h[w]
    rested = rows.add(np.zeros(off_h.size + 1), np.append(off_h, 0.0))
    rows.limit((rested[w], 1.0), (tail[w], -1.0), (enters[w + 1], -least), (enters[w], least), least=-problem.hours[w])
    rows.limit((rested[w], 1.0), (offset[w], 1.0), (inside[w], -least), least=0.0)
    # From a run to the next one of the same stay; before the first one nothing has been on.
    t = np.flatnonzero((off_h[:-1] > 0) & (np.diff(problem.stay) == 0))
    between = (problem.start_s[t + 1] - problem.start_s[t]) / 3600
    rows.limit((rested[t + 1], 1.0), (rested[t], -1.0), most=between)
    off = off_h[t]
    rows.limit((rested[t + 1], 1.0), (head[t], 1.0), (enters[t], off), (through[t], -off), most=between + off)
    rows.limit((rested[t + 1], 1.0), (offset[t], 1.0), (middle[t], 1.0), (inside[t], off), most=between + off)


def _levels(
    rows: Rows, problem: Problem, best: Reach, energy: Ints, *, as_without: bool
) -> tuple[Ints, Ints, Ints, Ints]:
    """Add the level at each departure; return its columns, those of drives, of what is short, and below the floor."""
    stays, capacity = problem.stays, problem.capacity_kwh
    least = best.need_kwh if as_without else np.zeros(stays)
    level = rows.add(least, np.full(stays, capacity))
    drives = problem.drive_kwh[:-1]
    fixed = best.served_kwh[:-1]
    served = rows.add(fixed if as_without else np.zeros(stays - 1), fixed if as_without else drives)
    for number in range(stays):
        here = energy[problem.first[number] : problem.last[number] + 1]
        columns, factors = [level[number : number + 1], here], [np.ones(1), -np.ones(here.size)]
        if number:
            columns += [level[number - 1 : number], served[number - 1 : number]]
            factors += [-np.ones(1), np.ones(1)]
        start = 0.0 if number else problem.level_kwh
        rows.total(np.concatenate(columns), np.concatenate(factors), start, start)
    if as_without:
        return level, served, np.empty(0, dtype=np.int64), np.empty(0, dtype=np.int64)
    short = rows.add(np.zeros(stays), problem.wanted_kwh)
    rows.limit((short, 1.0), (level, 1.0), least=problem.wanted_kwh)
    if stays > 1:
        # A drive is served in full, or takes all there is.
        empty = rows.add(np.zeros(stays - 1), np.ones(stays - 1), whole=True)
        rows.limit((served, 1.0), (empty, drives), least=drives)
        rows.limit((served, 1.0), (level[:-1], -1.0), most=0.0)
        rows.limit((served, 1.0), (level[:-1], -1.0), (empty, -capacity), least=-capacity)
    if problem.floor_kwh <= 0:
        return level, served, short, np.empty(0, dtype=np.int64)
    return level, served, short, _below_the_floor(rows, problem, best, energy, level=level, served=served)


def _tapered(
    rows: Rows,
    problem: Problem,
    form: Envelope | Tangent,
    *,
    energy: Ints,
    hours: tuple[Ints, Ints, Ints],
    after: Ints,
    served: Ints,
) -> None:
    """Add what the taper accepts: of runs where there are rules, else of whole slots."""
    before = np.concatenate(([-1], after[:-1]))
    taken = np.full(problem.slots, -1)
    taken[problem.first[1:]] = served
    start_kwh = np.zeros(problem.slots)
    start_kwh[0] = problem.level_kwh

    def runs(slot: Ints) -> Runs:
        own = (hours[0][slot], hours[1][slot], hours[2][slot])
        return Runs(slot, energy[slot], own, after[slot], before[slot], taken[slot], start_kwh[slot])

    ruled = np.isin(problem.stay, problem.ruled)
    usable = problem.max_battery_kwh > 0
    if (ruled & usable).any():
        form.add(rows, problem, runs(np.flatnonzero(ruled & usable)))
    free = runs(np.flatnonzero(~ruled & usable))
    for slope, power_kw in problem.taper.tolist() if free.slot.size else []:
        own = problem.hours[free.slot]
        terms, fixed = level_terms(free, at_end=slope < 0, factor=-own * slope / problem.capacity_kwh)
        add_levels(rows, [(free.energy, 1.0), *terms], least=None, most=own * power_kw + fixed)


def _below_the_floor(rows: Rows, problem: Problem, best: Reach, energy: Ints, *, level: Ints, served: Ints) -> Ints:
    """Add what is missing at the end of each run to the floor, or to what charging at once would have reached."""
    at_once = highest_floor(problem, best)
    after = _levels_by_slot(rows, problem, energy, level=level, served=served)
    below = rows.add(np.zeros(problem.slots), np.full(problem.slots, problem.floor_kwh))
    rows.limit((below, 1.0), (after, 1.0), least=at_once)
    return below


def _levels_by_slot(rows: Rows, problem: Problem, energy: Ints, *, level: Ints, served: Ints) -> Ints:
    """Add the level at the end of each slot."""
    after = rows.add(np.zeros(problem.slots), np.full(problem.slots, problem.capacity_kwh))
    opens = np.zeros(problem.slots, dtype=bool)
    opens[problem.first] = True
    t = np.flatnonzero(~opens)
    rows.limit((after[t], 1.0), (after[t - 1], -1.0), (energy[t], -1.0), least=0.0, most=0.0)
    first = problem.first
    rows.limit((after[first[:1]], 1.0), (energy[first[:1]], -1.0), least=problem.level_kwh, most=problem.level_kwh)
    if problem.stays > 1:
        later = first[1:]
        came = ((level[:-1], -1.0), (served, 1.0))
        rows.limit((after[later], 1.0), (energy[later], -1.0), *came, least=0.0, most=0.0)
    return after


def highest_floor(problem: Problem, best: Reach) -> Floats:
    """Take the floor, or what charging at once has reached at the end of each slot if that is less, shape (n,)."""
    gained = np.cumsum(best.forced_kwh)
    before = (gained - best.forced_kwh)[problem.first]
    highest = best.arrival_kwh[problem.stay] + gained - before[problem.stay]
    below = best.arrival_kwh[problem.stay] < problem.floor_kwh
    return np.where(below, np.minimum(problem.floor_kwh, highest), problem.floor_kwh)


def block_times(switching: Switching, problem: Problem, x: Floats, *, latest: bool) -> tuple[Floats, Floats, Ints]:
    """Read the blocks from a solution.

    Parameters
    ----------
    switching : Switching
        The program.
    problem : Problem
        Its price runs.
    x : array
        Values of the columns.
    latest : bool
        Put a block that lies inside a run as late as the rules allow, instead of as early.

    Returns
    -------
    start_s, end_s : array, shape (k,)
        In order of time; blocks that meet are joined.
    stay : array of int, shape (k,)
    """
    pieces: list[tuple[float, float, int, bool]] = []
    enters = x[switching.enters] > 0.5
    inside = x[switching.inside] > 0.5
    for run in np.flatnonzero(enters[:-1] | enters[1:] | inside).tolist():
        start, hours = float(problem.start_s[run]), float(problem.hours[run])
        stay = int(problem.stay[run])
        if enters[run]:
            pieces.append((start, start + 3600 * float(x[switching.head[run]]), stay, False))
        if inside[run]:
            begin = start + 3600 * float(x[switching.offset[run]])
            pieces.append((begin, begin + 3600 * float(x[switching.middle[run]]), stay, True))
        if enters[run + 1]:
            end = start + 3600 * hours
            pieces.append((end - 3600 * float(x[switching.tail[run]]), end, stay, False))
    blocks: list[tuple[float, float, int, bool]] = []
    for piece in pieces:
        if blocks and blocks[-1][2] == piece[2] and piece[0] - blocks[-1][1] <= _MEET_S:
            blocks[-1] = (blocks[-1][0], max(blocks[-1][1], piece[1]), piece[2], False)
        else:
            blocks.append(piece)
    blocks = [block for block in blocks if block[1] - block[0] > _MEET_S]
    return _placed(blocks, problem, latest=latest)


def _placed(
    blocks: list[tuple[float, float, int, bool]], problem: Problem, *, latest: bool
) -> tuple[Floats, Floats, Ints]:
    """Shift the blocks that lie inside one run to its start, or its end, as far as the pauses allow."""
    start = np.array([block[0] for block in blocks])
    end = np.array([block[1] for block in blocks])
    stay = np.array([block[2] for block in blocks], dtype=np.int64)
    order = range(len(blocks))
    for k in reversed(order) if latest else order:
        if not blocks[k][3]:
            continue
        rules = problem.rules[stay[k]]
        pause_s = 60 * rules.min_off_min if rules is not None else 0.0
        run = int(np.searchsorted(problem.start_s, start[k] + _MEET_S, side="right")) - 1
        length = end[k] - start[k]
        if latest:
            most = float(problem.start_s[run] + 3600 * problem.hours[run])
            if k + 1 < len(blocks) and stay[k + 1] == stay[k]:
                most = min(most, start[k + 1] - pause_s)
            start[k], end[k] = max(start[k], most - length), max(end[k], most)
        else:
            least = float(problem.start_s[run])
            if k and stay[k - 1] == stay[k]:
                least = max(least, end[k - 1] + pause_s)
            start[k], end[k] = min(start[k], least), min(end[k], least + length)
    return start, end, stay
