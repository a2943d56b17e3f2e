"""A table of prices by month and hour, as a spreadsheet saves it: twelve rows of 24 columns, or turned around."""

from __future__ import annotations

import os
from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any, Final

from chargeplan.drafting.hour_grid import HourGrid, grid_words
from chargeplan.drafting.note import Note
from chargeplan.drafting.price_unit import PriceUnit
from chargeplan.drafting.spreadsheet import read_spreadsheet
from chargeplan.drafting.table_labels import ALL_DAYS, WEEKDAY, WEEKEND
from chargeplan.drafting.table_reader import SAME_ALL_DAYS, Prices, TableReader
from chargeplan.drafting.terms import DraftTerms
from chargeplan.errors import InputError
from chargeplan.tariff.market import LARGEST_PRICE

#: More decimals are the noise of a spreadsheet's arithmetic, and would part prices that are the same.
_DECIMALS: Final = Decimal("1e-12")


@dataclass(frozen=True)
class HourTable:
    """Prices by month and hour.

    Parameters
    ----------
    weekday, weekend : tuple of tuples of Decimal, 12 by 24
        As written in the file; the first row is January, the first column 00:00 to 01:00.
    notes : tuple of Note
        What was assumed in reading.
    """

    weekday: Prices
    weekend: Prices
    notes: tuple[Note, ...] = ()


def read_hour_table(path: str | os.PathLike[str], weekend_path: str | os.PathLike[str] | None = None) -> HourTable:
    r"""Read a table of prices by month and hour from a CSV file, or from two.

    Parameters
    ----------
    path : path
        Twelve rows, January first, of 24 prices, midnight first; or 24 rows of twelve. A row of hours and
        a column of months may stand before them. One table for all days, or two, weekdays and weekends,
        each under its title or parted by an empty line. Commas, semicolons or tabs between the cells; with
        the latter two, decimals may be written with a comma.
    weekend_path : path, optional
        Another such file with the prices of weekends.

    Returns
    -------
    HourTable
        The prices, still in the unit of the file.

    Raises
    ------
    FileError
        With every row and cell that does not fit, its line and column; at most 20.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> file = Path(tempfile.mkdtemp(), "prices.csv")
    >>> _ = file.write_text((",".join(["0.10"] * 17 + ["0.30"] * 4 + ["0.10"] * 3) + "\n") * 12)
    >>> read_hour_table(file).weekday[0][16:18]
    (Decimal('0.10'), Decimal('0.30'))
    """
    first = TableReader(read_spreadsheet(path))
    tables = first.tables()
    if weekend_path is None:
        for days, other in ((WEEKDAY, WEEKEND), (WEEKEND, WEEKDAY)):
            if days in tables and other not in tables:
                raise first.fail(f"the file has only the prices of {days}", f"add those of {other}")
        weekday = tables[WEEKDAY if WEEKDAY in tables else ALL_DAYS]
        return HourTable(weekday, tables.get(WEEKEND, weekday), tuple(first.notes))
    second = TableReader(read_spreadsheet(weekend_path))
    others = second.tables()
    for reader, found, wrong in ((first, tables, WEEKEND), (second, others, WEEKDAY)):
        if wrong in found:
            remedy = "give one file for weekdays and one for weekends, or one file for both"
            raise reader.fail(f"the file has prices of {wrong}", remedy)
    (weekday,), (weekend,) = tables.values(), others.values()
    notes = [note for note in (*first.notes, *second.notes) if note is not SAME_ALL_DAYS]
    return HourTable(weekday, weekend, tuple(dict.fromkeys(notes)))


def hour_table_data(
    table: HourTable, *, name: str, terms: DraftTerms, unit: PriceUnit | None = None
) -> tuple[dict[str, Any], list[Note]]:
    """Say a table as a rate sheet.

    Parameters
    ----------
    table : HourTable
        The prices.
    name : str
        Of the sheet.
    terms : DraftTerms
        Zone, currency, holidays and moved boundaries.
    unit : PriceUnit, optional
        What the prices are for; the currency per kWh without.

    Returns
    -------
    tuple of dict and list of Note
        What `sheet_text` writes: the sheet gives every hour the price that the table has for it.

    Raises
    ------
    InputError
        If a month has more different prices than a sheet can have periods, a price is out of range, or a
        boundary is to be moved that the table does not have.

    Examples
    --------
    >>> evening = ((Decimal("0.10"),) * 17 + (Decimal("0.30"),) * 7,) * 12
    >>> data, notes = hour_table_data(HourTable(evening, evening), name="A", terms=DraftTerms("UTC"))
    >>> data["periods"], data["prices"]
    ({'peak': '17:00-24:00', 'off-peak': 'rest'}, {'peak': Decimal('0.3'), 'off-peak': Decimal('0.1')})
    """
    scale = (unit or PriceUnit()).decimal_per_kwh
    tables = [
        [[(price * scale).quantize(_DECIMALS, ROUND_HALF_EVEN).normalize() for price in row] for row in part]
        for part in (table.weekday, table.weekend)
    ]
    levels = sorted({price for part in tables for row in part for price in row})
    worst = max(levels, key=abs)
    if abs(worst) > LARGEST_PRICE:
        raise InputError(f"a price of {worst:f} per kWh is out of range; say the unit, as in --unit MWh")
    price_of = dict(enumerate(levels))
    number_of = {price: number for number, price in enumerate(levels)}
    grid = HourGrid.of(*([[number_of[price] for price in row] for row in part] for part in tables))
    _check_edges(grid, terms)
    words = grid_words(grid, price_of, terms.edges, july_is_summer=terms.july_is_summer)
    data: dict[str, Any] = {"name": name, "currency": terms.currency, "timezone": terms.timezone}
    if terms.written_holidays:
        data["holidays"] = terms.written_holidays
    if words.seasons:
        data["seasons"] = words.seasons
    if words.periods:
        data["periods"] = {period: hours[0] if len(hours) == 1 else hours for period, hours in words.periods.items()}
    data["prices"] = words.table(price_of)
    notes = [*table.notes]
    if unit is None:
        text = f"the unit is stated nowhere, so it is {terms.currency} per kWh; the highest price is {levels[-1]:f}"
        notes.append(Note("unclear", ("prices",), text))
    if table.weekday != table.weekend and not terms.written_holidays:
        notes.append(Note("assumed", (), "no day is a holiday (--holidays says otherwise)"))
    notes.append(Note("assumed", ("prices",), "everything a kWh costs is in the prices"))
    return data, notes


def _check_edges(grid: HourGrid, terms: DraftTerms) -> None:
    for hour in range(1, 24):
        if terms.edges[hour] != 60 * hour and hour not in grid.boundaries:
            known = ", ".join(f"{boundary:02d}:00" for boundary in sorted(grid.boundaries)) or "none"
            raise InputError(f"no price of the table begins at {hour:02d}:00; its boundaries are at: {known}")
