"""A file of dated prices as a rate sheet: the sheet names the file, which is read again whenever it is used."""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any, Final

import numpy as np

from chargeplan.clock import DAY_S, FIRST_YEAR, LAST_YEAR, local_datetimes
from chargeplan.drafting.dated_export import DatedExport, export_terms
from chargeplan.drafting.note import Note
from chargeplan.drafting.price_unit import PriceUnit, unit_in_name
from chargeplan.drafting.spreadsheet import cell_columns, shown
from chargeplan.drafting.terms import DraftTerms
from chargeplan.errors import FileError, Mistake
from chargeplan.reading import file_content
from chargeplan.tariff.dated_files import (
    MAX_LISTED,
    MAX_MARKET_BYTES,
    MAX_MARKET_ROWS,
    MAX_PARQUET_COLUMNS,
    PRICE_COLUMNS,
    read_market_prices,
)
from chargeplan.tariff.market import HOUR_S, LARGEST_PRICE, MarketPrices

#: What a kWh sold earns, in the tables of prices that chargeplan writes.
EXPORT_COLUMN: Final = "export_per_kwh"
#: What the name of a column of prices may hold.
_OF_PRICES: Final = re.compile(r"price|\b(per|/) ?[mk]wh|/[mk]wh")
_LINE_BREAK: Final = re.compile(r"\r\n?|\n")


@dataclass(frozen=True, eq=False)
class DatedPrices:
    """What a file of dated prices says.

    Parameters
    ----------
    prices : MarketPrices
        As a sheet reads them from the file; in hundredths of the currency if the unit says so.
    unit : PriceUnit
        What they are for.
    per : str or None
        What a sheet has to say of the unit, because the name of the column does not.
    is_unit_known : bool
        Whether the column or the user said the unit.
    resolution_s : int or None
        How long each price holds, where a sheet does not find it out by itself.
    export : DatedExport or None
        What a kWh sold earns, if the file says so.
    about : dict
        What a Parquet file says of itself: perhaps ``tariff``, ``currency`` and ``timezone``.
    column : str
        Where the prices were taken from, in words.
    not_read : tuple of str
        Other columns that may have prices.
    """

    prices: MarketPrices = field(repr=False)
    unit: PriceUnit
    per: str | None
    is_unit_known: bool
    resolution_s: int | None
    export: DatedExport | None
    about: Mapping[str, str]
    column: str = ""
    not_read: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Cells:
    """What gaps and export are found from: names, and of each row its place, start and export as written."""

    file: str
    names: list[str]
    lines: Sequence[int]
    texts: Sequence[str] | None
    starts: Sequence[str]
    exports: Sequence[str] | None
    about: Mapping[str, str] = field(default_factory=dict)

    def mistake(self, row: int, name: str, what: str, remedy: str) -> Mistake:
        """Make a message about a cell; a Parquet file has rows and cells for lines and columns."""
        cell = self.names.index(name) if name in self.names else 0
        column = cell + 1 if self.texts is None else cell_columns(self.texts[row], ",")[cell]
        return Mistake(self.file, self.lines[row], column, what, remedy)


def read_dated_prices(path: str | os.PathLike[str], unit: PriceUnit | None = None) -> DatedPrices:
    r"""Read dated prices from a CSV or Parquet file, so that a sheet can name it.

    Parameters
    ----------
    path : path
        As for `read_market_prices`: ``start`` with its offset from UTC, and the price. The tables that
        chargeplan writes are such.
    unit : PriceUnit, optional
        What the prices are for, where the name of their column does not say it.

    Returns
    -------
    DatedPrices
        The prices, without a gap from the first to the last.

    Raises
    ------
    FileError
        With the first 20 rows that cannot be read, or before which prices are missing.
    InputError
        If the file is Parquet and pyarrow is not installed.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp(), "day-ahead.csv")
    >>> rows = ["start,EUR/MWh", "2026-01-14T00:00+01:00,93.5", "2026-01-14T01:00+01:00,-4"]
    >>> _ = file.write_text("\n".join(rows))
    >>> found = read_dated_prices(file)
    >>> found.unit, found.prices.price.tolist()
    (PriceUnit(per='MWh', cents=False, currency='EUR'), [0.0935, -0.004])
    """
    file = os.fspath(path)
    content = file_content(Path(path), MAX_MARKET_BYTES, "a CSV or Parquet file")
    cells = _parquet_cells(file) if content.startswith(b"PAR1") else _csv_cells(file, content)
    if cells is None:
        # Whatever keeps the cells from being read, this reader says it.
        read_market_prices(path)
        raise FileError([Mistake(file, 1, 1, "the file cannot be read", "save it as CSV in UTF-8, or as Parquet")])
    found, name = _unit(cells, unit)
    per = found.per if name not in PRICE_COLUMNS or name == "price" else None
    starts = [_instant_s(text) for text in cells.starts]
    known = np.unique(np.array([second for second in starts if second is not None], dtype=np.int64))
    resolution_s = _resolution_s(known)
    mistakes = [*_gaps(cells, starts, resolution_s), *_bad_exports(cells)]
    try:
        prices = read_market_prices(path, per=per, resolution_s=resolution_s)
    except FileError as error:
        mistakes += error.mistakes
    if mistakes:
        raise FileError(_cut(mistakes))
    export = None
    if cells.exports is not None:
        order = np.argsort(np.array(starts, dtype=np.int64), kind="stable")
        export = DatedExport(np.array(starts, dtype=np.int64)[order], [Decimal(cells.exports[row]) for row in order])
    is_known = unit is not None or unit_in_name(name) is not None
    told = per if per != "kWh" else None
    return DatedPrices(prices, found, told, is_known, resolution_s, export, cells.about, *_columns(cells, name))


def dated_prices_data(
    found: DatedPrices, *, file: str, name: str, terms: DraftTerms
) -> tuple[dict[str, Any], list[Note]]:
    """Say dated prices as a rate sheet.

    Parameters
    ----------
    found : DatedPrices
        What `read_dated_prices` gave.
    file : str
        The way to the file from the folder of the sheet.
    name : str
        Of the sheet.
    terms : DraftTerms
        Its zone and currency.

    Returns
    -------
    tuple of dict and list of Note
        What `sheet_text` writes, and what was assumed or left out.
    """
    market: dict[str, Any] = {"file": file}
    if found.per is not None:
        market["per"] = found.per
    if found.unit.cents:
        market["times"] = Decimal("0.01")
    if found.resolution_s is not None:
        market["resolution"] = f"{found.resolution_s // 60} min"
    data: dict[str, Any] = {"name": name, "currency": terms.currency, "timezone": terms.timezone, "market": market}
    ends = [int(found.prices.start_s[0]), int(found.prices.end_s[-1])]
    first, last = (f"{moment:%Y-%m-%d %H:%M}" for moment in local_datetimes(terms.timezone, ends))
    notes = [
        Note(
            "assumed", ("market",), f"the file has a price for every time from {first} to {last}; others are an error"
        ),
        Note("assumed", ("market",), "everything a kWh costs is in the prices; what is not can be added as `adders`"),
    ]
    if found.not_read:
        text = f"the prices are taken from {found.column}; {' and '.join(found.not_read)} may have prices too"
        notes.append(Note("unclear", ("market",), f"{text}, and {'is' if len(found.not_read) < 2 else 'are'} not read"))
    if found.resolution_s is not None:
        text = f"each price holds for {found.resolution_s / 3600:g} h, which is how far apart most rows are"
        notes.append(Note("assumed", ("market",), text))
    if not found.is_unit_known:
        high = float(found.prices.price.max())
        text = f"the unit is stated nowhere, so it is {terms.currency} per kWh; the highest price is {high:g}"
        notes.append(Note("unclear", ("market",), text))
    if found.export is not None:
        export, more = export_terms(found.export, terms.timezone, july_is_summer=terms.july_is_summer)
        data |= export
        notes += more
    return data, notes


def _csv_cells(file: str, content: bytes) -> _Cells | None:
    try:
        lines = _LINE_BREAK.split(content.decode("utf-8-sig"))
    except UnicodeDecodeError:
        return None
    rows: list[tuple[int, str, list[str]]] = []
    for line, text in enumerate(lines, 1):
        if text.strip():
            try:
                rows.append((line, text, [cell.strip() for cell in next(csv.reader([text], skipinitialspace=True))]))
            except csv.Error:
                continue  # said by the reader of the prices
    if not rows:
        return None
    names = [cell.lower() for cell in rows[0][2]]
    body = rows if names[0][:1].isdigit() else rows[1:]
    start = names.index("start") if "start" in names else 0
    full = [row for row in body if len(row[2]) == len(names)]
    exports = None
    if EXPORT_COLUMN in names:
        exports = [cells[names.index(EXPORT_COLUMN)] for *_, cells in full]
    starts = [cells[start] for *_, cells in full]
    return _Cells(file, names, [line for line, *_ in full], [text for _, text, _ in full], starts, exports)


def _parquet_cells(file: str) -> _Cells | None:
    try:
        import pandas as pd
        from pyarrow import parquet  # type: ignore[import-untyped, unused-ignore]

        metadata = parquet.read_schema(file).metadata or {}
        size = parquet.read_metadata(file)
        if size.num_rows > MAX_MARKET_ROWS or size.num_columns > MAX_PARQUET_COLUMNS:
            return None
        frame = pd.read_parquet(file, engine="pyarrow")
    except Exception:  # a damaged file may raise nearly anything
        return None
    about = {key.decode(errors="replace"): value.decode(errors="replace") for key, value in metadata.items()}
    if isinstance(frame.index, pd.DatetimeIndex):
        frame = frame.reset_index()
    if frame.empty:
        return None
    names = [str(name).strip().lower() for name in frame.columns]

    def texts(position: int) -> list[str]:
        return [str(value) for value in frame.iloc[:, position].tolist()]

    exports = texts(names.index(EXPORT_COLUMN)) if EXPORT_COLUMN in names else None
    starts = texts(names.index("start") if "start" in names else 0)
    return _Cells(file, names, range(1, len(frame) + 1), None, starts, exports, about)


def _unit(cells: _Cells, unit: PriceUnit | None) -> tuple[PriceUnit, str]:
    """Find the unit of the prices, and the name of their column."""
    named = [name for name in cells.names if name in PRICE_COLUMNS]
    name = named[0] if named else cells.names[1] if len(cells.names) > 1 else ""
    others = [other for other in cells.names if unit_in_name(other) and other not in (name, EXPORT_COLUMN)]
    if not named and unit_in_name(name) is None and others:
        what = f"the prices seem to be in the column `{shown(others[0])}`, but a sheet reads the second"
        raise FileError(
            [Mistake(cells.file, 1, 1, what, "name the column `price`, `price_per_kwh` or `price_per_mwh`")]
        )
    said = unit_in_name(name)
    if said and unit and (said.per, said.cents) != (unit.per, unit.cents):
        what = f"the column `{shown(name)}` is {said}, and --unit says {unit}"
        raise FileError([Mistake(cells.file, 1, 1, what, "leave --unit out, or correct the name")])
    return said or unit or PriceUnit(), name


def _columns(cells: _Cells, name: str) -> tuple[str, tuple[str, ...]]:
    """Say which column has the prices, and which others may have some."""
    known = (name, "start", EXPORT_COLUMN)
    others = [other for other in cells.names if other not in known and not other.startswith("part_per_kwh")]
    prices = [f"`{shown(other)}`" for other in others if _OF_PRICES.search(other)]
    return f"the column `{shown(name)}`", tuple(prices)


def _instant_s(text: str) -> int | None:
    """Read a stamp as UTC seconds; None for what the reader of the prices refuses."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    if moment.utcoffset() is None or not FIRST_YEAR < moment.year < LAST_YEAR:
        return None
    seconds = moment.timestamp()
    return None if seconds % 60 else int(seconds)


def _resolution_s(starts: np.ndarray[Any, np.dtype[np.int64]]) -> int | None:
    """Find how long each price holds, if most are further apart than an hour."""
    if starts.size < 2:
        return None
    apart, counts = np.unique(np.diff(starts), return_counts=True)
    usual = int(apart[np.argmax(counts)])
    return None if usual <= HOUR_S else min(usual, DAY_S)


def _gaps(cells: _Cells, starts: Sequence[int | None], resolution_s: int | None) -> list[Mistake]:
    """Find the rows before which prices are missing; none after a row that could not be read."""
    read = [(second, row) for row, second in enumerate(starts) if second is not None]
    if not read:
        return []
    row_of = dict(reversed(read))
    known = np.array(sorted(row_of), dtype=np.int64)
    spans = MarketPrices.build(known, np.zeros(known.size), resolution_s).spans()
    found = []
    for (_, end_s), (start_s, _) in zip(spans[:-1].tolist(), spans[1:].tolist(), strict=True):
        row = row_of[start_s]
        if row and starts[row - 1] is None:
            continue
        minutes = (start_s - end_s) // 60
        length = f"{minutes // 60:,} h" if minutes % 60 == 0 else f"{minutes:,} min"
        found.append(cells.mistake(row, "start", f"{length} before this row have no price", "fill the gap"))
    return found


def _bad_exports(cells: _Cells) -> list[Mistake]:
    found = []
    for row, text in enumerate(cells.exports or ()):
        try:
            is_price = abs(float(text)) <= LARGEST_PRICE and "_" not in text
        except ValueError:
            is_price = False
        if not is_price:
            what = f"`{EXPORT_COLUMN}` {'is empty' if not text else f'`{shown(text)}` is not a price'}"
            found.append(cells.mistake(row, EXPORT_COLUMN, what, "write a number in every row, or remove the column"))
    return found


def _cut(mistakes: Sequence[Mistake]) -> list[Mistake]:
    """List so many mistakes at most, and say how many more there are."""
    found = sorted(set(mistakes))
    if len(found) <= MAX_LISTED + 1:
        return found
    place = found[MAX_LISTED]
    more = Mistake(place.file, place.line, place.column, f"... and at least {len(found) - MAX_LISTED:,} more")
    return [*found[:MAX_LISTED], more]
