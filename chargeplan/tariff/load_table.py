"""Tables of text from CSV and Parquet files, every cell with its place for messages."""

from __future__ import annotations

import csv
import io
import os
import re
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from chargeplan.errors import FileError, Mistake
from chargeplan.reading import file_content

MAX_BYTES: Final = 50_000_000
#: A Parquet file of few bytes may unfold into very many rows.
MAX_ROWS: Final = 5_000_000
#: What to write into a file of intervals.
INTERVALS: Final = "write a line `start,kwh` and below it one row per interval"
#: Of rows with the same fault, so many are named and the others counted.
_NAMED: Final = 3


@dataclass(frozen=True)
class LoadTable:
    """The cells of a file as text.

    Parameters
    ----------
    file : str
        Name of the file as the user gave it.
    names : list of str
        Of the columns, in lower case, their words joined by ``_``.
    rows : sequence of rows of str
        As many cells each as there are names.
    lines : sequence of int
        On which line of the file each row stands; of a Parquet file, which row it is.
    is_text : bool
        Whether the file is text, in which a cell has a place within its line.
    """

    file: str
    names: list[str]
    rows: Sequence[Sequence[str]]
    lines: Sequence[int]
    is_text: bool = True

    def column(self, position: int) -> list[str]:
        """Take the cells of one column."""
        return [row[position].strip() for row in self.rows]

    def mistake(self, row: int, position: int, what: str, remedy: str) -> Mistake:
        """Make a message about a cell."""
        before = sum(len(cell) + 1 for cell in self.rows[row][:position]) if self.is_text else position
        return Mistake(self.file, self.lines[row], 1 + before, printable(what), remedy)

    def mistakes(self, rows: Sequence[int], position: int, what: Callable[[int], str], remedy: str) -> list[Mistake]:
        """Make messages about the first rows that share a fault, and count the others.

        Examples
        --------
        >>> table = LoadTable("a.csv", ["kwh"], [["x"]] * 9, range(2, 11))
        >>> for mistake in table.mistakes(range(9), 0, lambda row: "no number", "write digits"):
        ...     print(mistake)
        a.csv:2:1: no number; write digits
        a.csv:3:1: no number; write digits
        a.csv:4:1: no number (and so 6 more rows); write digits
        """
        more = len(rows) - _NAMED
        others = f" (and so {more} more row{'s' if more > 1 else ''})" if more > 0 else ""
        return [
            self.mistake(row, position, what(row) + (others if number == _NAMED else ""), remedy)
            for number, row in enumerate(rows[:_NAMED], 1)
        ]


def printable(text: str) -> str:
    """Keep line breaks and terminal codes that a cell holds out of the message about it."""
    return "".join(character if character.isprintable() else " " for character in text)


def read_table(path: str | os.PathLike[str], known: Collection[str], layout: str = INTERVALS) -> LoadTable:
    """Read a CSV or Parquet file.

    Parameters
    ----------
    path : path
        Parquet if it ends so; otherwise CSV with comma, semicolon or tab between the columns.
    known : collection of str
        Names of columns whose cells are wanted; those of others may be left out.
    layout : str
        What to tell who gives a file without rows.

    Returns
    -------
    LoadTable
        With one row at least.

    Raises
    ------
    FileError
        If the file cannot be read, is larger than 50 MB, or has no rows or uneven ones.
    """
    name = os.fspath(path)
    content = _content(name)
    if Path(name).suffix.lower() in (".parquet", ".pq"):
        return _from_parquet(name, content, known, layout)
    return _from_csv(name, content, layout)


def _error(name: str, what: str, remedy: str, line: int = 1) -> FileError:
    return FileError([Mistake(name, line, 1, printable(what), remedy)])


def _content(name: str) -> bytes:
    content = file_content(Path(name), MAX_BYTES, "a CSV or Parquet file")
    if len(content) > MAX_BYTES:
        raise _error(name, f"the file is larger than {MAX_BYTES // 1_000_000} MB", "cut it into several")
    return content


def _column_name(written: object) -> str:
    return re.sub(r"[^a-z0-9]+", "_", str(written).lower()).strip("_")


def _from_csv(name: str, content: bytes, layout: str) -> LoadTable:
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise _error(name, "the file is not UTF-8 text", "save it as CSV in UTF-8", line) from None
    header = text.lstrip().partition("\n")[0]
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=header.count), skipinitialspace=True)
    rows: list[list[str]] = []
    lines: list[int] = []
    try:
        for row in reader:
            if any(cell.strip() for cell in row):
                rows.append(row)
                lines.append(reader.line_num)
    except csv.Error as error:
        raise _error(name, f"the line cannot be read: {error}", "check its quotes", max(reader.line_num, 1)) from None
    if len(rows) < 2:
        raise _error(name, "the file has no rows", layout)
    width = len(rows[0])
    # Blank cells at the end of a row are what spreadsheets leave behind.
    rows = [row if any(cell.strip() for cell in row[width:]) else row[:width] for row in rows]
    table = LoadTable(name, [_column_name(cell) for cell in rows[0]], rows[1:], lines[1:])
    uneven = [number for number, row in enumerate(table.rows) if len(row) != width]
    if uneven:

        def cells(row: int) -> str:
            return f"the row has {len(table.rows[row])} cells, but there are {width} columns"

        remedy = "give each row a cell for every column, and write decimals with a dot"
        raise FileError(table.mistakes(uneven, 0, cells, remedy))
    return table


def _from_parquet(name: str, content: bytes, known: Collection[str], layout: str) -> LoadTable:
    import pandas as pd

    try:
        from pyarrow import parquet  # type: ignore[import-untyped, unused-ignore]
    except ImportError:
        remedy = "install chargeplan with its extra: pip install '.[parquet]', or write a CSV file"
        raise _error(name, "reading Parquet needs pyarrow", remedy) from None
    try:
        count = parquet.read_metadata(io.BytesIO(content)).num_rows
        frame = pd.read_parquet(io.BytesIO(content), engine="pyarrow") if count <= MAX_ROWS else pd.DataFrame()
    except Exception as error:  # a damaged file may raise nearly anything
        reason = str(error).partition("\n")[0][:100]
        raise _error(name, f"the file is not Parquet that can be read: {reason}", "write it anew") from None
    if count > MAX_ROWS:
        raise _error(name, f"the file has more than {MAX_ROWS:,} rows", "cut it into several")
    if frame.empty:
        raise _error(name, "the file has no rows", layout)
    if "start" not in map(_column_name, frame.columns) and frame.index.name is not None:
        frame = frame.reset_index()
    names = [_column_name(column) for column in frame.columns]
    cells = [
        [str(value) for value in frame.iloc[:, position]] if column in known else [""] * len(frame)
        for position, column in enumerate(names)
    ]
    return LoadTable(name, names, list(zip(*cells, strict=True)), range(1, len(frame) + 1), is_text=False)
