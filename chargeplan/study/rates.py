"""Which rate is cheapest for house and car: ranking, how far prices may move, and from which distance on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Final

import numpy as np

from chargeplan.errors import InputError
from chargeplan.study.cell import YearRow, unit_rows
from chargeplan.study.study import Unit

if TYPE_CHECKING:
    import pandas as pd

#: Distances, relative to what is driven, between which a break-even is looked for.
SCALES: Final = (0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 3.0)
#: Costs that differ by less than half a cent are the same.
_SAME_COST: Final = 0.005


def rank_rates(rows: pd.DataFrame, today: str | None = None) -> pd.DataFrame:
    """Rank the rates by what house and car cost together, each with the charging that is best under it.

    Parameters
    ----------
    rows : pandas.DataFrame
        Of a study, see `chargeplan.study.cell.YearRow`. Drawn years are averaged.
    today : str, optional
        The rate in use now.

    Returns
    -------
    pandas.DataFrame
        A row per household, driving, equipment and rate, the cheapest first: ``rank``; ``total``, the bill and what
        the car costs elsewhere; ``lowest`` and ``highest`` over the drawn years; ``bill``, ``house_bill``,
        ``car_cost``; ``above_cheapest``; ``saves``, what it costs less than the rate of today (NaN without);
        ``unshifted``, the total if the car charges at once on plug-in (NaN if that was not reckoned). No use of the
        house is shifted in any of them.

    Raises
    ------
    InputError
        If `today` is no rate of the study.

    Examples
    --------
    >>> import pandas as pd
    >>> cell = {"household": "a", "driving": "usual", "equipment": "b", "strategy": "optimal", "stops_cost": 0.0,
    ...         "road_cost": 0.0, "house_bill": 900.0, "car_cost": 100.0, "currency": "USD"}
    >>> rows = pd.DataFrame([{**cell, "tariff": "one", "bill": 1000.0}, {**cell, "tariff": "two", "bill": 950.0}])
    >>> ranked = rank_rates(rows, today="one")
    >>> ranked.tariff.tolist(), ranked.saves.tolist()
    (['two', 'one'], [50.0, 0.0])
    """
    keys = ["household", "driving", "equipment"]
    if today is not None and today not in set(rows.tariff):
        raise InputError(f"the rate of today, `{today}`, is not in the study; name one of {', '.join(_names(rows))}")
    rows = rows.assign(total=rows.bill + rows.stops_cost + rows.road_cost)
    best = rows[rows.strategy == "optimal"].groupby([*keys, "tariff"], sort=False, as_index=False)
    table = best.agg(
        total=("total", "mean"),
        lowest=("total", "min"),
        highest=("total", "max"),
        bill=("bill", "mean"),
        house_bill=("house_bill", "mean"),
        car_cost=("car_cost", "mean"),
        currency=("currency", "first"),
    )
    at_once = rows[rows.strategy == "at once"].groupby([*keys, "tariff"]).total.mean().rename("unshifted")
    table = table.join(at_once, on=[*keys, "tariff"])
    group = table.groupby(keys, sort=False).total
    table["above_cheapest"] = table.total - group.transform("min")
    table["saves"] = np.nan
    if today is not None:
        now = table[table.tariff == today].set_index(keys).total.rename("now")
        table["saves"] = table.join(now, on=keys).now - table.total
    table["rank"] = group.rank(method="min").astype(int)
    order = {name: number for number, name in enumerate(dict.fromkeys(map(tuple, table[keys].to_numpy().tolist())))}
    place = [order[tuple(row)] for row in table[keys].to_numpy().tolist()]
    return (
        table.assign(_place=place)
        .sort_values(["_place", "rank"], kind="stable")
        .drop(columns="_place")
        .reset_index(drop=True)
    )


def _names(rows: pd.DataFrame) -> list[str]:
    return [f"`{name}`" for name in dict.fromkeys(rows.tariff)]


@dataclass(frozen=True)
class PriceChange:
    """How far the prices of one rate may rise, all alike, before another one is cheaper.

    Parameters
    ----------
    tariff : str
        The cheapest rate.
    next_tariff : str
        The one that would be then; empty if there is no other.
    rise : float
        By what share its bill may rise; infinite without another rate.
    """

    tariff: str
    next_tariff: str
    rise: float


def price_margin(ranked: pd.DataFrame) -> PriceChange:
    """Find by how much the cheapest rate may become dearer and still be the cheapest.

    Parameters
    ----------
    ranked : pandas.DataFrame
        Rows of one household, driving and equipment from `rank_rates`.

    Returns
    -------
    PriceChange
        When all prices of a sheet rise alike, its best hours stay the best, so its bill rises by the same share.

    Examples
    --------
    >>> import pandas as pd
    >>> price_margin(pd.DataFrame({"tariff": ["one", "two"], "total": [800.0, 880.0], "bill": [800.0, 880.0]})).rise
    0.1
    """
    first = ranked.iloc[0]
    if len(ranked) < 2:
        return PriceChange(str(first.tariff), "", float("inf"))
    second = ranked.iloc[1]
    rise = float((second.total - first.total) / first.bill) if first.bill > 0 else float("inf")
    return PriceChange(str(first.tariff), str(second.tariff), round(rise, 12))


def with_prices_changed(ranked: pd.DataFrame, tariff: str, change: float) -> pd.DataFrame:
    """Rank again with all prices of one rate changed by the same share.

    Parameters
    ----------
    ranked : pandas.DataFrame
        From `rank_rates`.
    tariff : str
        The rate whose prices change.
    change : float
        By what share; -0.1 is ten per cent less.

    Returns
    -------
    pandas.DataFrame
        The totals, ranks and differences that follow.

    Raises
    ------
    InputError
        If there is no such rate, or nothing would be left of its prices.
    """
    if tariff not in set(ranked.tariff):
        raise InputError(f"the rate `{tariff}` is not in the study; name one of {', '.join(_names(ranked))}")
    if not change > -1:
        raise InputError(f"a change of prices by {change:g} leaves nothing of them; give more than -1")
    here = (ranked.tariff == tariff).to_numpy()
    table = ranked.copy()
    for column in ("total", "lowest", "highest"):
        table.loc[here, column] += change * table.loc[here, "bill"]
    for column in ("bill", "house_bill"):
        table.loc[here, column] *= 1 + change
    keys = ["household", "driving", "equipment"]
    group = table.groupby(keys, sort=False).total
    table["above_cheapest"] = table.total - group.transform("min")
    table["rank"] = group.rank(method="min").astype(int)
    return table.drop(columns=["saves", "unshifted", "car_cost"]).sort_values([*keys, "rank"]).reset_index(drop=True)


@dataclass(frozen=True)
class BreakEven:
    """A yearly distance at which two rates cost the same.

    Parameters
    ----------
    distance_km : float
        Driven in a year.
    below, above : str
        Which rate is cheaper, or the cheapest of all, when less is driven, and when more is.
    """

    distance_km: float
    below: str
    above: str


def break_even(unit: Unit, one: str, other: str, *, scales: Sequence[float] = SCALES) -> tuple[BreakEven, ...]:
    """Find the yearly distances at which two rates cost the same, each with the charging that is best under it.

    Parameters
    ----------
    unit : Unit
        A household, its driving, and both rates; with one choice of equipment.
    one, other : str
        The rates.
    scales : sequence of float
        Distances relative to what is driven, rising, between which to look.

    Returns
    -------
    tuple of BreakEven
        In order of distance; empty if one of them is the cheaper one all along. Between two scales at which the same
        rate is cheaper none is looked for. The years are planned anew for every distance that is tried.

    Raises
    ------
    InputError
        If a rate is not in the unit, or it has more than one choice of equipment.
    """
    if one not in unit.tariffs or other not in unit.tariffs:
        raise InputError(f"the rates `{one}` and `{other}` must both be in the study")
    return cheapest_by_distance(replace(unit, tariffs={name: unit.tariffs[name] for name in (one, other)}), scales)


def cheapest_by_distance(unit: Unit, scales: Sequence[float] = SCALES) -> tuple[BreakEven, ...]:
    """Find which of all rates is the cheapest along the distance, each with the charging that is best under it.

    Parameters
    ----------
    unit : Unit
        A household, its driving, and the rates; with one choice of equipment.
    scales : sequence of float
        Distances relative to what is driven, rising, between which to look.

    Returns
    -------
    tuple of BreakEven
        Where another rate becomes the cheapest of all, in order of distance: what is cheapest above one is what is
        cheapest below the next. Empty if one rate is the cheapest all along. Between two scales with the same cheapest
        rate no other one is looked for. The years are planned anew for every distance that is tried.

    Raises
    ------
    InputError
        If the unit has more than one choice of equipment.
    """
    from scipy.optimize import brentq

    if len(unit.equipment) != 1:
        raise InputError("a break-even is looked for with one choice of equipment; give one")
    planned = replace(unit, strategies=("optimal",))
    tried: dict[tuple[str, float], tuple[float, float]] = {}

    def cost(name: str, scale: float) -> float:
        if (name, scale) not in tried:
            driving = replace(unit.driving, scale=unit.driving.scale * scale)
            (row,) = unit_rows(replace(planned, driving=driving, tariffs={name: unit.tariffs[name]}))
            tried[name, scale] = (_total(row), row.distance_km)
        return tried[name, scale][0]

    def as_cheap(scale: float) -> list[str]:
        """List the cheapest rate first, and those that cost the same to half a cent."""
        names = sorted(unit.tariffs, key=lambda name: cost(name, scale))
        return [name for name in names if cost(name, scale) < cost(names[0], scale) + _SAME_COST]

    def between(low: float, first: str, high: float, last: str) -> list[BreakEven]:
        """Find where the cheapest rate changes from one to another, also over a third one."""
        if cost(first, low) >= cost(last, low):
            scale = low
        elif cost(first, high) <= cost(last, high):
            scale = high
        else:
            # Bills have whole cents, so a hundredth of a percent of the distance is as sharp as it gets.
            scale = brentq(lambda tried: cost(first, tried) - cost(last, tried), low, high, xtol=1e-4)
        third = as_cheap(scale)
        if {first, last} & set(third) or not low < scale < high:
            cost(first, scale)
            return [BreakEven(tried[first, scale][1], first, last)]
        return [*between(low, first, scale, third[0]), *between(scale, third[0], high, last)]

    # From the far end, so that a tie goes to the rate that is cheaper from there on.
    cheapest = as_cheap(scales[-1])[:1]
    for scale in reversed(scales[:-1]):
        there = as_cheap(scale)
        cheapest.insert(0, cheapest[0] if cheapest[0] in there else there[0])
    found = []
    for (low, high), (first, last) in zip(pairwise(scales), pairwise(cheapest), strict=True):
        found += between(low, first, high, last) if first != last else []
    return tuple(found)


def _total(row: YearRow) -> float:
    return row.bill + row.stops_cost + row.road_cost
