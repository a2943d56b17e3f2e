"""The shared problem as a linear or mixed-integer program.

Columns, in this order: the current of every slot (in amperes, or in steps of its car); the battery level
at chosen moments (every departure, and every slot of a stay with a taper or in which a car could be below its
floor); for every
stay its shortfall and the energy that the drive after it lacks because of it; for every slot what is
missing to the floor; the worst relative shortfall; and one draw for every slot that holds several
pieces of a car. The rows are the battery balances, the limits of the tree that several cars can reach
together, and what ties the last kinds of columns to the first.

Where every need can be met, the shortfalls are all fixed at 0 and the columns that remain are currents and
departures.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from chargeplan.plan.problem import Floats, Ints
from chargeplan.plan.program import Program
from chargeplan.plan.shared.limits import Limits
from chargeplan.plan.shared.problem import SharedProblem
from chargeplan.plan.shared.rows import Rows


@dataclass(frozen=True, eq=False)
class Caps:
    """What a plan may fall short at most; the settled results of earlier goals.

    Parameters
    ----------
    low_kwh : float
        Sum over slots of what is missing to the floor.
    worst : float
        Worst relative shortfall, 0 to 1.
    total_kwh : float
        Sum of the shortfalls.
    """

    low_kwh: float = np.inf
    worst: float = 1.0
    total_kwh: float = np.inf

    @property
    def none(self) -> bool:
        """Whether nothing may be missing."""
        return self.low_kwh == self.worst == self.total_kwh == 0


#: Every need met, and nobody waits below the floor.
ALL_MET = Caps(0.0, 0.0, 0.0)


@dataclass(frozen=True, eq=False)
class Layout:
    """A program together with the places of its parts.

    Parameters
    ----------
    program : Program
        Minimises the cost.
    current, level, short, lacking, low, worst, draw : slice
        Columns, as in the module's description.
    balance : slice
        Rows of the battery balances, one per level.
    level_of_slot : array of int, shape (n,)
        Number of the level a slot adds to.
    departure : array of int, shape (m,)
        Number of the level at each departure.
    limit_rows, draw_rows, taper_rows, worst_rows, empty_rows, total_row, low_row : slice
        Rows of the tree, of the draws, of the taper, of the worst shortfall, of the levels after drives that could
        empty the battery, and of the two caps (empty where there are none).
    limits : Limits
        What the rows of the tree stand for.
    pieces : array of int
        Slots that share a draw with others, one per draw row.
    """

    program: Program
    current: slice
    level: slice
    short: slice
    lacking: slice
    low: slice
    worst: slice
    draw: slice
    balance: slice
    level_of_slot: Ints
    departure: Ints
    limit_rows: slice
    draw_rows: slice
    taper_rows: slice
    worst_rows: slice
    empty_rows: slice
    total_row: slice
    low_row: slice
    limits: Limits
    pieces: Ints


@dataclass(frozen=True, eq=False)
class Columns:
    """Columns that say what is missing, and those of the levels of slots and departures it is missing from."""

    level_of_slot: Ints
    departure: Ints
    short: slice
    lacking: slice
    low: slice
    worst: slice


def shared_program(shared: SharedProblem, caps: Caps, limits: Limits) -> Layout:
    """Write the program that minimises the cost within caps on what is missing.

    Parameters
    ----------
    shared : SharedProblem
        Cars and tree.
    caps : Caps
        What may be missing; `ALL_MET` gives the small program of the usual night.
    limits : Limits
        From `tree_limits`.

    Returns
    -------
    Layout

    Examples
    --------
    >>> from chargeplan.plan.problem import night
    >>> from chargeplan.plan.shared.limits import tree_limits
    >>> from chargeplan.plan.shared.laying import SharedCar, lay_out
    >>> shared = lay_out([SharedCar(night([0.3, 0.1], 8.0, 1.0), 0.25)])
    >>> shared_program(shared, ALL_MET, tree_limits(shared)).program.cost.tolist()
    [0.01875, 0.00625, 0.0]
    """
    slots, stays = shared.slot.size, shared.need_kwh.size
    met = caps.none
    is_level = np.zeros(slots, dtype=bool)
    is_level[shared.last] = True
    if shared.taper.slot.size:
        is_level |= np.bincount(shared.stay[shared.taper.slot], minlength=stays)[shared.stay] > 0
    if met:
        is_level |= shared.floor_to_guard
    else:
        # Within a stay that could be below the floor the level of every slot counts.
        is_level |= np.bincount(shared.stay, weights=shared.in_danger, minlength=stays)[shared.stay] > 0
    level_of_slot = np.cumsum(is_level) - is_level
    end = np.flatnonzero(is_level)  # slot at whose end a level stands
    departure = level_of_slot[shared.last]
    levels = end.size

    kind, several = shared.draw, np.bincount(shared.draw) > 1
    pieces = np.flatnonzero(several[kind])
    drawn = np.flatnonzero(several)
    sizes = (slots, levels, *((0, 0, 0, 0) if met else (stays, stays, slots, 1)), drawn.size)
    edges = np.concatenate(([0], np.cumsum(sizes)))
    current, level, short, lacking, low, worst, draw = (slice(a, b) for a, b in pairwise(edges.tolist()))
    lower, upper, cost = np.zeros(edges[-1]), np.zeros(edges[-1]), np.zeros(edges[-1])
    per_unit = shared.battery_per_a * shared.unit_a
    cost[current] = shared.price_per_kwh * shared.kwh_per_a * shared.unit_a
    most = shared.max_a / shared.unit_a
    whole = shared.step_a > 0
    upper[current] = np.where(whole, np.round(most), most)
    upper[level] = shared.capacity_kwh[shared.stay[end]]
    if met:
        forced = np.divide(shared.at_once_kwh, per_unit, out=np.zeros(slots), where=per_unit > 0)
        lower[current] = np.minimum(np.where(whole, np.ceil(forced - 1e-9), forced), upper[current])
        lower[level][departure] = shared.need_kwh
        guarded = np.flatnonzero(shared.floor_to_guard)
        lower[level][level_of_slot[guarded]] = shared.floor_kwh[guarded]
    rows = Rows()

    places = Columns(level_of_slot + level.start, departure + level.start, short, lacking, low, worst)
    balance = _balance(shared, places, rows, drives_may_lack=not met)
    if drawn.size:
        order = np.argsort(kind[pieces], kind="stable")
        upper[draw] = np.maximum.reduceat(shared.max_a[pieces][order], np.searchsorted(kind[pieces][order], drawn))
    limit_rows, draw_rows = _tree(shared, limits, rows, pieces, draw.start)
    taper_rows = _taper(shared, level_of_slot + level.start, rows)
    worst_rows = empty_rows = total_row = low_row = slice(0, 0)
    if not met:
        _bound_what_is_missing(shared, caps, places, upper)
        worst_rows, empty_rows, total_row, low_row = _tie_what_is_missing(shared, caps, places, rows)
    program = Program(
        cost=cost,
        lower=lower,
        upper=upper,
        integer=np.zeros(cost.size, dtype=bool),
        rows=np.concatenate(rows.rows),
        columns=np.concatenate(rows.columns),
        values=np.concatenate(rows.values),
        row_lower=np.concatenate(rows.lower),
        row_upper=np.concatenate(rows.upper),
        slots=slots,
    )
    return Layout(
        program=program,
        current=current,
        level=level,
        short=short,
        lacking=lacking,
        low=low,
        worst=worst,
        draw=draw,
        balance=balance,
        level_of_slot=level_of_slot,
        departure=departure,
        limit_rows=limit_rows,
        draw_rows=draw_rows,
        taper_rows=taper_rows,
        worst_rows=worst_rows,
        empty_rows=empty_rows,
        total_row=total_row,
        low_row=low_row,
        limits=limits,
        pieces=pieces,
    )


def _balance(shared: SharedProblem, places: Columns, rows: Rows, *, drives_may_lack: bool) -> slice:
    """Add a row per level: level - level before - what is charged = start, or minus the drive before."""
    first_level = int(places.level_of_slot[0])
    number = np.arange(first_level, int(places.level_of_slot[-1]) + 1)
    count = number.size
    opens = np.zeros(count, dtype=bool)
    opens[places.level_of_slot[shared.first[shared.opens]] - first_level] = True
    known = np.zeros(count)
    known[opens] = shared.start_kwh[shared.opens]
    after = np.flatnonzero(shared.goes_on)
    known[places.departure[after] + 1 - first_level] -= shared.served_kwh[after]
    row, chained = np.arange(count), np.flatnonzero(~opens)
    terms = [
        (places.level_of_slot - first_level, np.arange(shared.slot.size), -shared.battery_per_a * shared.unit_a),
        (row, number, np.ones(count)),
        (chained, number[chained] - 1, -np.ones(chained.size)),
    ]
    if drives_may_lack:
        empty = np.flatnonzero(shared.can_run_empty)
        terms.append((places.departure[empty] + 1 - first_level, places.lacking.start + empty, -np.ones(empty.size)))
    return rows.add(known, known, count, *terms)


def _tree(shared: SharedProblem, limits: Limits, rows: Rows, pieces: Ints, first_draw: int) -> tuple[slice, slice]:
    """Add the limits of the tree; draws of several pieces have a column of their own, others are the currents."""
    kind, slots = shared.draw, shared.slot.size
    column = np.zeros(int(kind.max()) + 1, dtype=np.int64)
    column[kind[::-1]] = np.arange(slots)[::-1]
    unit = shared.unit_a[column]
    drawn = np.unique(kind[pieces])
    column[drawn], unit[drawn] = first_draw + np.arange(drawn.size), 1.0
    amperes = (limits.row, column[limits.member], unit[limits.member])
    limit_rows = rows.add(-np.inf, limits.left_a, limits.left_a.size, amperes)
    own = np.arange(pieces.size)
    highest = (own, column[kind[pieces]], -np.ones(pieces.size))
    draw_rows = rows.add(-np.inf, 0.0, pieces.size, (own, pieces, shared.unit_a[pieces]), highest)
    return limit_rows, draw_rows


def _taper(shared: SharedProblem, level_column: Ints, rows: Rows) -> slice:
    """Add what batteries accept: what is charged, less a share of the level after it, is at most a constant."""
    taper = shared.taper
    each, per_unit = np.arange(taper.slot.size), (shared.battery_per_a * shared.unit_a)[taper.slot]
    charged = (each, taper.slot, taper.per_charged * per_unit)
    return rows.add(-np.inf, taper.most_kwh, each.size, charged, (each, level_column[taper.slot], -taper.per_level))


def _bound_what_is_missing(shared: SharedProblem, caps: Caps, places: Columns, upper: Floats) -> None:
    """Fill in the upper bounds of the places."""
    upper[places.short] = shared.energy_wanted_kwh * min(caps.worst, 1.0)
    upper[places.lacking] = np.where(shared.can_run_empty, shared.served_kwh, 0.0)
    upper[places.low] = np.where(shared.in_danger, shared.floor_kwh - shared.lowest_kwh, 0.0)
    upper[places.worst] = 1.0


def _tie_what_is_missing(
    shared: SharedProblem, caps: Caps, places: Columns, rows: Rows
) -> tuple[slice, slice, slice, slice]:
    """Add the rows that tie the columns to the levels; return those of `Layout` in its order."""
    short, low = places.short.start, places.low.start
    stay, ones = np.arange(shared.need_kwh.size), np.ones(shared.need_kwh.size)
    rows.add(shared.need_kwh, np.inf, stay.size, (stay, places.departure, ones), (stay, short + stay, ones))
    danger = np.flatnonzero(shared.in_danger)
    each, one = np.arange(danger.size), np.ones(danger.size)
    floors = ((each, places.level_of_slot[danger], one), (each, low + danger, one))
    rows.add(shared.floor_kwh[danger], np.inf, danger.size, *floors)
    worst = np.full(stay.size, places.worst.start)
    wanted = shared.energy_wanted_kwh
    worst_rows = rows.add(-np.inf, 0.0, stay.size, (stay, short + stay, ones), (stay, worst, -wanted))
    # What a drive lacks is no more than the shortfall, and the battery is not below empty after it.
    empty = np.flatnonzero(shared.can_run_empty)
    here, all_ = np.arange(empty.size), np.ones(empty.size)
    lacks = (here, places.lacking.start + empty, all_)
    rows.add(-np.inf, 0.0, empty.size, lacks, (here, short + empty, -all_))
    after = (here, places.departure[empty], all_)
    empty_rows = rows.add(shared.served_kwh[empty], np.inf, empty.size, after, lacks)
    total_row = low_row = slice(rows.count, rows.count)
    if np.isfinite(caps.total_kwh):
        total_row = rows.add(-np.inf, caps.total_kwh, 1, (0 * stay, short + stay, ones))
    if np.isfinite(caps.low_kwh) and danger.size:
        low_row = rows.add(-np.inf, caps.low_kwh, 1, (0 * each, low + danger, one))
    return worst_rows, empty_rows, total_row, low_row
