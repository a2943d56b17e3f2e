"""What a kWh sold earns at each time, said in the words of a rate sheet, which has no file for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

import numpy as np

from chargeplan.clock import DAY_S, IntArray, day_of_number, local_seconds
from chargeplan.drafting.hour_grid import HourGrid, grid_words
from chargeplan.drafting.note import Note
from chargeplan.errors import InputError

#: Each version of a sheet reads its file of prices again, so there are not to be too many.
_MAX_VERSIONS: Final = 12
_MONTHS, _HOURS, _UNKNOWN = 12, 24, -1


@dataclass(frozen=True)
class DatedExport:
    """What a kWh sold earns.

    Parameters
    ----------
    start_s : int64 array, shape (rows,)
        UTC seconds, rising.
    per_kwh : sequence of Decimal, rows of them
        From each start until the next.
    """

    start_s: IntArray = field(repr=False)
    per_kwh: Sequence[Decimal] = field(repr=False)


def export_terms(
    export: DatedExport, timezone: str, *, july_is_summer: bool = True
) -> tuple[dict[str, Any], list[Note]]:
    """Say it as terms of a sheet: one price, prices by months and hours, or prices from some dates on.

    Parameters
    ----------
    export : DatedExport
        The prices.
    timezone : str
        On whose wall clock months, days and hours are.
    july_is_summer : bool
        As for `grid_words`.

    Returns
    -------
    tuple of dict and list of Note
        ``export``, ``export_components`` or ``versions``; or nothing, and a note that it is left out.

    Examples
    --------
    >>> days = DatedExport(np.array([1767225600, 1767312000]), [Decimal("0.04"), Decimal("0.05")])
    >>> export_terms(days, "UTC")[0]
    {'export': Decimal('0.04'), 'versions': [{'from': '2026-01-02', 'export': Decimal('0.05')}]}
    """
    levels = sorted(set(export.per_kwh))
    if len(levels) == 1:
        return {"export": levels[0]}, []
    number_of = {price: number for number, price in enumerate(levels)}
    code = np.array([number_of[price] for price in export.per_kwh], dtype=np.int64)
    local = local_seconds(timezone, export.start_s)
    terms = _by_hour(code, local, levels, july_is_summer) or _by_date(code, local, levels)
    if terms is None:
        text = "`export_per_kwh` follows neither months and hours nor a few dates, which is all a sheet can say of it"
        return {}, [Note("left out", ("export",), text)]
    return terms, []


def _by_hour(code: IntArray, local: IntArray, levels: Sequence[Decimal], july_is_summer: bool) -> dict[str, Any] | None:
    """Say it as a table of its own periods, if months, weekends and hours decide it."""
    day = local // DAY_S
    month = day.astype("datetime64[D]").astype("datetime64[M]").astype(np.int64) % _MONTHS
    weekend = ((day + 3) % 7 >= 5).astype(np.int64)  # 1970-01-01 was a Thursday
    hour = local % DAY_S // 3600
    table = np.full((2, _MONTHS, _HOURS), _UNKNOWN, dtype=np.int64)
    table[weekend, month, hour] = code
    if not np.array_equal(table[weekend, month, hour], code):
        return None
    _fill(table)
    grid = HourGrid.of(table[0].tolist(), table[1].tolist())
    prices = dict(enumerate(levels))
    try:
        words = grid_words(grid, prices, july_is_summer=july_is_summer)
    except InputError:  # too many periods
        return None
    line: dict[str, Any] = {}
    if words.seasons:
        line["seasons"] = words.seasons
    if words.periods:
        line["periods"] = {name: hours[0] if len(hours) == 1 else hours for name, hours in words.periods.items()}
    line["prices"] = words.table(prices)
    return {"export_components": {"sold": line}}


def _by_date(code: IntArray, local: IntArray, levels: Sequence[Decimal]) -> dict[str, Any] | None:
    """Say it as versions, if it changes at midnight only, and not often."""
    change = np.flatnonzero(np.diff(code)) + 1
    if change.size > _MAX_VERSIONS or np.any(local[change] % DAY_S):
        return None
    versions = [
        {"from": day_of_number(int(local[row]) // DAY_S).isoformat(), "export": levels[int(code[row])]}
        for row in change.tolist()
    ]
    return {"export": levels[int(code[0])], "versions": versions}


def _fill(table: IntArray) -> None:
    """Give hours and months of which the file says nothing what others have, so that the sheet stays short."""
    for days, other in ((0, 1), (1, 0)):
        table[days] = np.where(table[days] == _UNKNOWN, table[other], table[days])
    known = [month for month in range(_MONTHS) if (table[:, month] != _UNKNOWN).any()]
    for month in range(_MONTHS):
        nearest = min(known, key=lambda other: (month - other) % _MONTHS)
        table[:, month] = np.where(table[:, month] == _UNKNOWN, table[:, nearest], table[:, month])
    table[table == _UNKNOWN] = table[table != _UNKNOWN][0]
