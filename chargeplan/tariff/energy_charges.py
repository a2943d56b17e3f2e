"""What the energy of a bill costs: by period, in tiers, with one running total over all periods."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import IntArray, day_of_number
from chargeplan.errors import InputError
from chargeplan.tariff.bill_days import BillDays
from chargeplan.tariff.charge import Charge
from chargeplan.tariff.energy_lines import APPLIES
from chargeplan.tariff.lines import Case, EnergyLine, FloatArray
from chargeplan.tariff.price_arrays import ALL_HOURS
from chargeplan.tariff.rates import MARKET, Rates
from chargeplan.tariff.timeline import Timeline
from chargeplan.tariff.usage import Use


@dataclass(frozen=True, eq=False)
class Piece:
    """The part of a line that lies in one version.

    Parameters
    ----------
    version : int
        Position of the version.
    rates : Rates
        The version.
    line : EnergyLine
        The line in it.
    """

    version: int
    rates: Rates
    line: EnergyLine


@dataclass(frozen=True, eq=False)
class Group:
    """The parts of a line whose energy has one running total.

    Parameters
    ----------
    pieces : list of (Piece, set of int)
        With the seasons that belong to the group.
    scale : float
        What the limits are multiplied by: months, days and so on of the group.
    """

    pieces: list[tuple[Piece, set[int]]]
    scale: float


def pieces_of(timeline: Timeline, use: Use, side: str) -> dict[str, list[Piece]]:
    """Find the lines of one side of a bill by name, each with its part in every version."""
    found: dict[str, list[Piece]] = {}
    for version in np.unique(use.version):
        rates = timeline.versions[int(version)]
        for line in rates.lines if side == "bought" else rates.sold:
            found.setdefault(line.name, []).append(Piece(int(version), rates, line))
    return found


def groups_of(pieces: list[Piece], use: Use, days: BillDays) -> list[Group]:
    """Put together what has the same limits; where they differ each group has its share of the days."""
    found: dict[object, tuple[list[tuple[Piece, set[int]]], int]] = {}
    for piece in pieces:
        table = piece.rates.tables[piece.line.table]
        season = table.calendar.price_season(int(use.day[0]), int(use.day[-1]))[use.version == piece.version]
        for number, count in zip(*np.unique(season, return_counts=True), strict=True):
            cases = tuple((float(case.up_to[number]), tuple(case.limits[number])) for case in piece.line.cases)
            key = piece.line.per, cases, piece.line.all_units
            members, length = found.get(key, ([], 0))
            mine = next((seasons for other, seasons in members if other is piece), None)
            if mine is None:
                members.append((piece, {int(number)}))
            else:
                mine.add(int(number))
            found[key] = members, length + int(count)
    weight = 1.0 / max(1, sum(length for _, length in found.values()))
    return [Group(members, days.count(members[0][0].line.per) * length * weight) for members, length in found.values()]


class Label(NamedTuple):
    """What energy has in common that stands in one item of a bill.

    Parameters
    ----------
    period, season : str
        Their names.
    tier : int
        As in `BillItem`.
    price : float
        Amount per kWh.
    rounding : str or None
        What the line says of its own rounding.
    """

    period: str
    season: str
    tier: int
    price: float
    rounding: str | None


@dataclass(eq=False)
class Cells:
    """Energy of one group by cell, and in time order where there are intervals.

    Parameters
    ----------
    keys : list of (Piece, int)
        The cells that are charged and occur.
    kwh : float array, shape (cells, households)
        Energy of each.
    order : tuple of arrays or None
        For every charged interval in time order its position in `keys`, and its energy.
    in_time : bool array, shape (households,)
        Whether the running total decides on tiers interval by interval; under net metering, where
        something is sold, the net total is shared in proportion.
    where : list of int arrays
        Positions of these intervals within their version, piece by piece.
    """

    keys: list[tuple[Piece, int]]
    kwh: FloatArray
    order: tuple[IntArray, FloatArray] | None
    in_time: NDArray[np.bool_]
    where: list[tuple[int, IntArray]] = field(default_factory=list)

    @classmethod
    def build(cls, group: Group, use: Use, side: str, net: bool) -> Cells:
        """Collect the energy of a group."""
        keys: list[tuple[Piece, int]] = []
        sums: list[FloatArray] = []
        orders: list[tuple[IntArray, FloatArray]] = []
        where: list[tuple[int, IntArray]] = []
        for piece, seasons in group.pieces:
            line = piece.line
            present, bought, sold = use.sums(piece.version, line.table)
            kwh = _counted(bought, sold, side, net and line.counts != "bought")
            inside = np.isin(np.arange(line.charged.shape[0]), sorted(seasons))[:, None]
            cells = np.flatnonzero(present & (line.charged & inside).reshape(-1))
            position = np.full(present.size, -1, dtype=np.int64)
            position[cells] = np.arange(len(keys), len(keys) + cells.size)
            keys += [(piece, int(cell)) for cell in cells]
            sums.append(kwh[cells])
            ordered = use.order(piece.version, line.table) if line.tiered else None
            if ordered is not None:
                codes, in_bought, in_sold = ordered
                mine = position[codes]
                kept = np.flatnonzero(mine >= 0)
                flow = _counted(in_bought, in_sold, side, net and line.counts != "bought")
                orders.append((mine[kept], flow[kept]))
                where.append((piece.version, kept))
        joined = np.vstack(sums) if sums else np.zeros((0, 1))
        if not orders:
            return cls(keys, joined, None, np.zeros(joined.shape[1], dtype=np.bool_))
        joined_order = np.concatenate([order[0] for order in orders]), np.vstack([order[1] for order in orders])
        in_time = (use.sold_kwh == 0) | (not net)
        return cls(keys, joined, joined_order, in_time, where)


def _counted(bought: FloatArray, sold: FloatArray, side: str, net: bool) -> FloatArray:
    if side == "sold":
        return sold
    return bought - sold if net else bought


def energy_charges(
    name: str, pieces: list[Piece], use: Use, days: BillDays, *, side: str, net: bool
) -> Iterator[Charge]:
    """Work out the charges of one line.

    Parameters
    ----------
    name : str
        Name of the line.
    pieces : list of Piece
        Its part in every version of the bill.
    use : Use
        The energy.
    days : BillDays
        The days of the bill.
    side : str
        ``bought`` or ``sold``.
    net : bool
        Whether what is sold counts against what is bought.

    Yields
    ------
    Charge
        Unrounded, one for every period, season, tier and price.
    """
    found: dict[Label, Charge] = {}
    if not any(piece.line.tiered for piece in pieces):
        _collect_untiered(found, name, pieces, use, side=side, net=net)
        yield from _with_versions(found, pieces)
        return
    for group in groups_of(pieces, use, days):
        cells = Cells.build(group, use, side, net)
        if not cells.keys:
            continue
        factor = np.array([piece.line.with_losses(piece.rates.loss_share) for piece, _ in cells.keys])[:, None]
        counted = _in_tiers(cells, group, factor[:, :, None])
        if any(piece.line.counts == "losses" for piece, _ in cells.keys):
            counted = counted - _in_tiers(cells, group, np.ones((len(cells.keys), 1, 1)))
        for (piece, cell), by_tier in zip(cells.keys, counted, strict=True):
            _collect(found, name, piece, cell, by_tier=by_tier, side=side)
    yield from _with_versions(found, pieces)


def _collect_untiered(
    found: dict[Label, Charge],
    name: str,
    pieces: list[Piece],
    use: Use,
    *,
    side: str,
    net: bool,
) -> None:
    """Collect the charges of a line that costs the same however much is used."""
    for piece in pieces:
        present, bought, sold = use.sums(piece.version, piece.line.table)
        kwh = _counted(bought, sold, side, net and piece.line.counts != "bought")
        share = piece.line.counted_share(piece.rates.loss_share)
        for cell in np.flatnonzero(present & piece.line.charged.reshape(-1)).tolist():
            _collect(found, name, piece, cell, by_tier=kwh[cell][None] * share, side=side)


def _in_tiers(cells: Cells, group: Group, factor: FloatArray) -> FloatArray:
    """Split the energy of every cell into tiers; shape (cells, cases x tiers, households)."""
    kwh = cells.kwh * factor[:, :, 0]
    first, first_seasons = group.pieces[0]
    season = min(first_seasons)
    cases = first.line.cases
    total = kwh.sum(axis=0)
    tiers = max(case.price.shape[0] for case in cases)
    result = np.zeros((len(cells.keys), len(cases) * tiers, kwh.shape[1]))
    before = np.zeros(kwh.shape[1], dtype=np.bool_)
    for number, case in enumerate(cases):
        chosen = ~before & (total <= case.up_to[season] * group.scale + 1e-9)
        before |= chosen
        if not chosen.any():
            continue
        limits = case.limits[season][np.isfinite(case.limits[season])] * group.scale
        part = result[:, number * tiers : (number + 1) * tiers]
        if not limits.size:
            part[:, 0] = np.where(chosen, kwh, 0.0)
            continue
        in_time = cells.in_time & (cells.order is not None and len(cells.keys) > 1)
        if not in_time.all():
            part[:, : limits.size + 1] = np.where(chosen, in_proportion(kwh, limits), 0.0)
        if in_time.any() and cells.order is not None:
            code, flow = cells.order
            split = in_order(np.where(in_time, flow, 0.0) * factor[code, 0], limits)
            one = (code == np.arange(len(cells.keys))[:, None]).astype(np.float64)
            summed = np.stack([one @ split[tier] for tier in range(limits.size + 1)], axis=1)
            part[:, : limits.size + 1] = np.where(in_time, np.where(chosen, summed, 0.0), part[:, : limits.size + 1])
    return result


def in_order(flow: FloatArray, limits: FloatArray) -> FloatArray:
    """Split energy into tiers by a running total.

    Parameters
    ----------
    flow : float array, shape (n, households)
        Energy of each interval, not negative.
    limits : float array, shape (tiers - 1,)
        Cumulative limits.

    Returns
    -------
    float array, shape (tiers, n, households)
        An interval that crosses a limit is split.

    Examples
    --------
    >>> in_order(np.array([[3.0], [3.0]]), np.array([4.0]))[:, :, 0].tolist()
    [[3.0, 1.0], [0.0, 2.0]]
    """
    after = np.cumsum(flow, axis=0)
    bounds = np.r_[0.0, limits, np.inf]
    inside = np.clip(after, bounds[:-1, None, None], bounds[1:, None, None]) - bounds[:-1, None, None]
    split: FloatArray = np.diff(inside, axis=1, prepend=0.0)
    return split


def in_proportion(kwh: FloatArray, limits: FloatArray) -> FloatArray:
    """Split energy into tiers, each cell in the same proportion.

    Parameters
    ----------
    kwh : float array, shape (cells, households)
        Energy; a negative total is in the first tier.
    limits : float array, shape (tiers - 1,)
        Cumulative limits.

    Returns
    -------
    float array, shape (cells, tiers, households)

    Examples
    --------
    >>> in_proportion(np.array([[6.0], [2.0]]), np.array([4.0]))[:, :, 0].tolist()
    [[3.0, 3.0], [1.0, 1.0]]
    """
    total = kwh.sum(axis=0)
    bounds = np.r_[0.0, limits, np.inf]
    inside = np.clip(total, bounds[:-1, None], bounds[1:, None]) - bounds[:-1, None]
    share = np.zeros_like(inside)
    np.divide(inside, total, out=share, where=total > 0)
    share[0, total <= 0] = 1.0
    split: FloatArray = kwh[:, None, :] * share
    return split


def _collect(
    found: dict[Label, Charge],
    name: str,
    piece: Piece,
    cell: int,
    *,
    by_tier: FloatArray,
    side: str,
) -> None:
    line, table = piece.line, piece.rates.tables[piece.line.table]
    season, period = divmod(cell, len(table.periods))
    tiers = max(case.price.shape[0] for case in line.cases)
    period_name = table.periods[period] if table.periods[period] not in (ALL_HOURS, APPLIES) else ""
    for number, quantity in enumerate(by_tier):
        case, tier = divmod(number, tiers)
        prices = line.cases[case].price
        if tier >= prices.shape[0]:
            continue
        first = case == 0 and tier == 0
        if not quantity.any() and not (first and len(line.cases) == 1):
            continue
        price = float(prices[tier, season, period])
        limits = line.cases[0].up_to[season] if line.all_units else line.cases[case].limits[season]
        label = (case + 1 if line.all_units else tier + 1) if np.isfinite(limits).any() else 0
        key = Label(period_name, table.seasons[season], label, price, line.rounding)
        sign = -1.0 if side == "sold" else 1.0
        amount = sign * price * quantity
        counted = quantity
        if key in found:
            counted, amount = found[key].quantity + quantity, found[key].amount + amount
        kind = "export" if side == "sold" else "energy"
        place = line.places[season][period]
        version = day_of_number(piece.rates.first_day).isoformat() if piece.rates.first_day > 0 else "before"
        found[key] = Charge(
            name, kind, counted, "kWh", price, amount, key.period, key.season, label, place, version, line.rounding
        )


def _with_versions(found: dict[Label, Charge], pieces: Iterable[Piece]) -> Iterator[Charge]:
    """Name the version of a charge only where the same period and tier has several prices."""
    labels = [key[:3] for key in found]
    for key, charge in found.items():
        several = labels.count(key[:3]) > 1
        yield charge if several else charge.without_version()


def market_charges(timeline: Timeline, use: Use, side: str, net: bool) -> Iterator[Charge]:
    """Work out what the market's prices come to, by period."""
    for version in np.unique(use.version):
        rates = timeline.versions[int(version)]
        market, slots = rates.market, use.slots(int(version))
        if market is None:
            continue
        if slots is None:
            raise InputError("market prices change by the hour, so a total is not enough; give the use by intervals")
        codes, bought, sold = use.order(int(version), market.line.table)  # type: ignore[misc]
        kwh = _counted(bought, sold, side, net)
        amounts = rates.market_prices(slots)[:, None] * kwh
        table = rates.tables[market.line.table]
        for cell in np.unique(codes):
            here = codes == cell
            season, period = divmod(int(cell), len(table.periods))
            quantity, amount = kwh[here].sum(axis=0), amounts[here].sum(axis=0)
            mean = float(amount.sum() / quantity.sum()) if quantity.sum() else 0.0
            name = table.periods[period] if table.periods[period] != ALL_HOURS else ""
            place = market.line.places[season][period]
            yield Charge(MARKET, "energy", quantity, "kWh", mean, amount, name, table.seasons[season], 0, place)


def case_of(cases: tuple[Case, ...], season: int, scale: float, total: float) -> Case:
    """Find the case that prices a bill with some total use."""
    return next((case for case in cases if total <= case.up_to[season] * scale + 1e-9), cases[-1])
