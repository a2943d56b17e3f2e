"""Reading the files that stand beside a rate sheet: the days that were called, and market prices."""

from __future__ import annotations

import csv
import importlib
import io
import math
import os
import re
from collections.abc import Iterable, Iterator
from datetime import date, datetime
from itertools import chain
from pathlib import Path
from typing import Any, Final, NamedTuple

import numpy as np

from chargeplan.clock import FIRST_YEAR, LAST_YEAR
from chargeplan.errors import FileError, InputError, Mistake
from chargeplan.reading import file_content
from chargeplan.tariff.market import LARGEST_PRICE, MarketPrices
from chargeplan.tariff.row_mistakes import RowMistakes

MAX_CALLED_BYTES: Final = 1_000_000
MAX_CALLED_ROWS: Final = 20_000
MAX_MARKET_BYTES: Final = 50_000_000
MAX_MARKET_ROWS: Final = 600_000
MAX_PARQUET_COLUMNS: Final = 50
#: A file of prices may repeat one mistake in every row; more than these say nothing new.
MAX_LISTED: Final = 20

#: Names of a column of prices, and per how much energy they are.
PRICE_COLUMNS: Final = {"price": "", "price_per_kwh": "kWh", "price_per_mwh": "MWh"}
_KWH: Final = {"": 1.0, "kWh": 1.0, "MWh": 1000.0}

_DATE: Final = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
#: What programs write where they have no number.
_NOTHING: Final = frozenset(("n/a", "na", "nan", "null", "none", "-", "--", "."))
_NUMBER: Final = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?", re.ASCII)
_DECIMAL_COMMA: Final = re.compile(r"[-+]?\d+,\d+", re.ASCII)
_STAMP: Final = "write for example 2026-01-14T06:00+01:00 or 2026-01-14T05:00Z"
_YEARS: Final = f"write a year from {FIRST_YEAR} to {LAST_YEAR}"


class CalledDay(NamedTuple):
    """One row of a file of called days: the date, its kind ('' if none is given), its line and column."""

    day: date
    kind: str
    line: int
    column: int = 1


class _Row(NamedTuple):
    line: int
    cells: list[Any]


class _CellError(Exception):
    """What is wrong with one cell, and the remedy."""


def beside(sheet_file: str | os.PathLike[str], name: str) -> Path:
    """Find a file that a sheet names, starting from the folder of the sheet.

    Parameters
    ----------
    sheet_file : path
        The sheet.
    name : str
        What the sheet calls the file; may have folders in it, or be a full path.

    Returns
    -------
    pathlib.Path
        Where the file is.

    Raises
    ------
    InputError
        If there is no such file.

    Examples
    --------
    >>> beside("mine/sheet.yaml", "called.csv")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    chargeplan.errors.InputError: there is no file `called.csv` in mine, the folder of the sheet; put it there, ...
    """
    folder = Path(sheet_file).parent
    path = folder / name
    if path.is_file():
        return path
    where = "the folder of the sheet" if str(folder) == "." else f"{folder}, the folder of the sheet"
    raise InputError(
        f"there is no file `{_shown(name)}` in {where}; put it there, or write the way to it from that folder"
    )


def read_called_days(path: str | os.PathLike[str]) -> list[tuple[date, str]]:
    r"""Read the days that were called from a CSV file.

    Parameters
    ----------
    path : path
        A file with a column ``date`` and perhaps a column ``kind`` (others are left alone), or with
        nothing but one date per line. At most 1 MB and 20,000 lines.

    Returns
    -------
    list of (datetime.date, str)
        Day and kind, '' where none is given, as they stand in the file; equal rows once.

    Raises
    ------
    FileError
        With every row that cannot be read, its line and column, and the remedy.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp(), "called.csv")
    >>> _ = file.write_text("date,kind\n2026-01-14,critical\n")
    >>> read_called_days(file)
    [(datetime.date(2026, 1, 14), 'critical')]
    """
    return [(row.day, row.kind) for row in read_called_rows(path)]


def read_called_rows(path: str | os.PathLike[str]) -> list[CalledDay]:
    r"""Read the days that were called, each with its line, as `read_called_days` does.

    Parameters
    ----------
    path : path
        The CSV file.

    Returns
    -------
    list of CalledDay
        As they stand in the file; of equal rows the first.

    Raises
    ------
    FileError
        With every row that cannot be read.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp(), "called.csv")
    >>> _ = file.write_text("2026-01-14\n2026-01-32\n")
    >>> read_called_rows(file)  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    chargeplan.errors.FileError: ...called.csv:2:1: `2026-01-32` is not a date; write for example 2026-01-14
    """
    file = os.fspath(path)
    lines = _lines(file, _content(Path(path), MAX_CALLED_BYTES), MAX_CALLED_ROWS)
    findings = RowMistakes(file, lines)
    rows = list(_rows(lines, findings))
    if not rows:
        findings.check()
        raise findings.fail(1, 0, "the file is empty", "if no day was called yet, write `date` in its first line")
    names = _names(rows[0].cells)
    if "date" in names:
        rows, date_cell = rows[1:], names.index("date")
        kind_cell = names.index("kind") if "kind" in names else None
    elif names[0][:1].isdigit():
        date_cell, kind_cell, names = 0, None, ["date"]
    else:
        raise findings.fail(rows[0].line, 0, "no column is called `date`", "begin with the line `date` or `date,kind`")
    days: dict[tuple[date, str], CalledDay] = {}
    for line, cells in rows:
        if len(cells) != len(names):
            what = f"the number of columns is {len(cells)}, not {len(names)}"
            findings.add(line, 0, what, "separate them by commas, and name them in the first line: `date,kind`")
            continue
        try:
            day = _day(cells[date_cell])
        except _CellError as error:
            findings.add(line, date_cell, *error.args)
            continue
        kind = "" if kind_cell is None else cells[kind_cell].strip()
        days.setdefault((day, kind), CalledDay(day, kind, line, findings.column(line, date_cell)))
    findings.check()
    return list(days.values())


def read_market_prices(
    path: str | os.PathLike[str], *, per: str | None = None, resolution_s: int | None = None
) -> MarketPrices:
    r"""Read market prices from a CSV or a Parquet file.

    Parameters
    ----------
    path : path
        The starts stand in the first column or the one named ``start``: ISO 8601 with an offset or Z. The
        prices stand in the second column or the one named ``price``, ``price_per_kwh`` or
        ``price_per_mwh``. Rows may come in any order. At most 50 MB and 600,000 rows. What begins as
        Parquet files do is read as Parquet, anything else as CSV.
    per : {'kWh', 'MWh'}, optional
        What the prices of the file are for. Default: what the name of the column says, else kWh.
    resolution_s : int, optional
        See `MarketPrices.build`.

    Returns
    -------
    MarketPrices
        Always per kWh.

    Raises
    ------
    FileError
        With the first rows that cannot be read, three of each mistake and 20 at most, and how many more there are.
    InputError
        If the file is Parquet and pyarrow is not installed.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp(), "day-ahead.csv")
    >>> _ = file.write_text("start,price_per_mwh\n2026-01-14T00:00+01:00,93.5\n2026-01-14T01:00+01:00,-4\n")
    >>> read_market_prices(file).price.tolist()
    [0.0935, -0.004]
    """
    if per not in (None, "kWh", "MWh"):
        raise InputError(f"prices per `{_shown(per)}` cannot be read; write kWh or MWh")
    file, content = os.fspath(path), _content(Path(path), MAX_MARKET_BYTES)
    rows: Iterator[_Row]
    if content.startswith(b"PAR1"):
        findings = RowMistakes(file)
        names, rows = _parquet(content, findings)
        line = 1
    else:
        lines = _lines(file, content, MAX_MARKET_ROWS)
        findings = RowMistakes(file, lines)
        rows = _rows(lines, findings)
        line, header = next(rows, _Row(1, []))
        names = _names(header)
        if names and names[0][:1].isdigit():  # no header: the first line is a row already
            rows, names = chain([_Row(line, header)], rows), ["start", "price"]
    start_cell, price_cell, kwh = _market_columns(names, line, per, findings)
    starts, prices, places = [], [], []
    for line, cells in rows:
        if len(cells) != len(names):
            what = f"the number of columns is {len(cells)}, not {len(names)}"
            findings.add(line, 0, what, "separate them by commas, and write a point in numbers")
            continue
        try:
            cell = start_cell
            start_s = _instant_s(cells[start_cell])
            cell = price_cell
            price = _price(cells[price_cell], kwh)
        except _CellError as error:
            findings.add(line, cell, *error.args)
            continue
        starts.append(start_s)
        prices.append(price)
        places.append(line)
    start_s_of, price_of = np.array(starts, dtype=np.int64), np.array(prices, dtype=np.float64)
    order = np.argsort(start_s_of, kind="stable")
    twice = (np.diff(start_s_of[order]) == 0) & (np.diff(price_of[order]) != 0)
    for first, second in zip(order[:-1][twice].tolist(), order[1:][twice].tolist(), strict=True):
        what = f"this instant has another price on line {places[first]}"
        findings.add(places[second], start_cell, what, "keep one of the two rows")
    findings.check(MAX_LISTED)
    if not starts:
        raise findings.fail(1, 0, "the file holds no prices", "write lines such as 2026-01-14T06:00+01:00,0.12")
    return MarketPrices.build(start_s_of, price_of, resolution_s)


def _market_columns(names: list[str], line: int, per: str | None, findings: RowMistakes) -> tuple[int, int, float]:
    """Find the columns of starts and of prices, and how many kWh a price is for."""
    start = names.index("start") if "start" in names else 0
    named = [cell for cell, name in enumerate(names) if name in PRICE_COLUMNS]
    if len(named) > 1:
        raise findings.fail(line, named[1], "more than one column has prices by its name", "keep one of them")
    price = named[0] if named else 1
    if price == start or (names and price >= len(names)):
        raise findings.fail(line, 0, "no column has the prices", "name the columns `start` and `price`")
    of_column = PRICE_COLUMNS[names[price]] if named else ""
    if per and of_column and per != of_column:
        what = f"the column is called `{names[price]}`, and the sheet says per {per}"
        raise findings.fail(line, price, what, "correct one of the two")
    return start, price, _KWH[per or of_column]


def _day(text: str) -> date:
    try:
        day = date.fromisoformat(text.strip()) if _DATE.fullmatch(text.strip()) else None
    except ValueError:
        day = None
    if day is None:
        what = f"`{_shown(text)}` is not a date" if text.strip() else "the date is empty"
        raise _CellError(what, "write for example 2026-01-14")
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise _CellError(f"the year {day.year} is out of range", _YEARS)
    return day


def _instant_s(value: Any) -> int:
    """Read a zone-aware stamp, text or datetime, as UTC seconds."""
    if value is None or not str(value).strip():
        raise _CellError("the start is empty", _STAMP)
    try:
        moment = datetime.fromisoformat(value.strip()) if isinstance(value, str) else value
    except ValueError:
        moment = None
    if not isinstance(moment, datetime):
        raise _CellError(f"`{_shown(value)}` is not a date with a time", _STAMP)
    if moment.utcoffset() is None:
        raise _CellError(f"`{_shown(value)}` does not say its offset from UTC", _STAMP)
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise _CellError(f"the year {moment.year} is out of range", _YEARS)
    second = moment.timestamp()
    if second % 60:
        raise _CellError(f"`{_shown(value)}` is not a whole minute", "let each price start at a whole minute")
    return int(second)


def _price(value: Any, kwh: float) -> float:
    """Read a price, text or number, as the amount per kWh."""
    text = "" if value is None else str(value).strip()
    if not text:
        raise _CellError("the price is empty", "write the price, or remove the line")
    if _DECIMAL_COMMA.fullmatch(text):
        raise _CellError(f"`{_shown(text)}` has a decimal comma", f"write {_shown(text.replace(',', '.'))}")
    # Numbers of a Parquet file go the same way: text and back gives the same number.
    price = float(text) / kwh if _NUMBER.fullmatch(text) else math.nan
    if math.isnan(price):
        remedy = "write digits with at most one dot, or remove the line"
        if text.lower() in _NOTHING:
            remedy = "write the price of that time; without its line the price is missing, see `missing` of `market`"
        raise _CellError(f"`{_shown(text)}` is not a price", remedy)
    if abs(price) > LARGEST_PRICE:
        remedy = f"prices lie from -{LARGEST_PRICE:.0f} to {LARGEST_PRICE:.0f} per kWh"
        raise _CellError(f"`{_shown(text)}` is out of range", remedy)
    return price


def _content(path: Path, max_bytes: int) -> bytes:
    file = str(path)
    content = file_content(path, max_bytes, "a file")
    if len(content) > max_bytes:
        what = f"the file is larger than {max_bytes // 1_000_000} MB"
        raise FileError([Mistake(file, 1, 1, what, "keep the years that are needed")])
    return content


def _lines(file: str, content: bytes, max_rows: int) -> list[str]:
    """Split the text of a CSV file, and refuse what is not one."""
    try:
        lines = list(io.StringIO(content.decode("utf-8-sig"), newline=""))
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise FileError([Mistake(file, line, 1, "the file is not UTF-8 text", "save it as UTF-8")]) from None
    if len(lines) > max_rows + 1:  # one for the header
        what = f"the file has more than {max_rows:,} rows"
        raise FileError([Mistake(file, max_rows + 2, 1, what, "keep the years that are needed")])
    first = next((number for number, text in enumerate(lines, 1) if text.strip()), 1)
    for separator, called in ((";", "`;`"), ("\t", "tabs")):
        if lines and separator in lines[first - 1].strip():
            what, column = f"the columns are separated by {called}", lines[first - 1].index(separator) + 1
            raise FileError([Mistake(file, first, column, what, "write commas between them and points in numbers")])
    return lines


def _rows(lines: list[str], findings: RowMistakes) -> Iterator[_Row]:
    """Go through the rows that are not blank; each line on its own, so that an open quote spoils one only."""
    for line, text in enumerate(lines, 1):
        if not text.strip():
            continue
        try:
            yield _Row(line, next(csv.reader([text], strict=True, skipinitialspace=True)))
        except csv.Error:
            findings.add(line, 0, "the quotes on this line are not in pairs", "close each one, or remove them")


def _parquet(content: bytes, findings: RowMistakes) -> tuple[list[str], Iterator[_Row]]:
    """Read names and rows of a Parquet file; an index of stamps, as pandas keeps it, becomes the first column."""
    try:
        pyarrow, parquet = importlib.import_module("pyarrow"), importlib.import_module("pyarrow.parquet")
    except ImportError:
        raise InputError(
            f"{findings.file} is a Parquet file, and pyarrow is not installed; "
            "install chargeplan with its extra: pip install '.[parquet]', or save the prices as CSV"
        ) from None
    import pandas as pd

    try:
        size = parquet.ParquetFile(io.BytesIO(content)).metadata
        small = size.num_rows <= MAX_MARKET_ROWS and size.num_columns <= MAX_PARQUET_COLUMNS
        frame = pd.read_parquet(io.BytesIO(content), engine="pyarrow") if small else None
    except (OSError, ValueError, pyarrow.ArrowException):
        raise findings.fail(1, 0, "the file is not Parquet that can be read", "write it again") from None
    if frame is None:
        what = f"the file has more than {MAX_MARKET_ROWS:,} rows or {MAX_PARQUET_COLUMNS} columns"
        raise findings.fail(1, 0, what, "keep what is needed")
    if isinstance(frame.index, pd.DatetimeIndex):
        frame = frame.reset_index()
    cells = frame.astype(object).where(frame.notna(), None).to_numpy()
    return _names(frame.columns), (_Row(line, row.tolist()) for line, row in enumerate(cells, 1))


def _names(cells: Iterable[Any]) -> list[str]:
    return [str(cell).strip().lower() for cell in cells]


def _shown(value: object) -> str:
    """Quote what a file says: on one line, without terminal codes, and not too long."""
    text = "".join(character if character.isprintable() else " " for character in str(value)).strip()
    return text if len(text) <= 40 else text[:37] + "..."
