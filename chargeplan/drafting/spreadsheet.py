"""The cells of a CSV file, as a spreadsheet saves it, each with its line and column."""

from __future__ import annotations

import csv
import os
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from chargeplan.errors import FileError, Mistake
from chargeplan.reading import file_content

MAX_BYTES: Final = 1_000_000
#: More rows than these are no table of months and hours.
MAX_ROWS: Final = 2_000
_LINE_BREAK: Final = re.compile(r"\r\n?|\n")


@dataclass(frozen=True)
class Row:
    """One line of the file.

    Parameters
    ----------
    line : int
        Its number, from 1.
    cells : tuple of str
        Without the spaces around them.
    columns : tuple of int
        Where in the line each cell begins, from 1.
    """

    line: int
    cells: tuple[str, ...]
    columns: tuple[int, ...]

    @property
    def is_blank(self) -> bool:
        """Whether no cell holds anything."""
        return not any(self.cells)


@dataclass(frozen=True)
class Spreadsheet:
    """A CSV file.

    Parameters
    ----------
    file : str
        Its name, for messages.
    separator : str
        What stands between the cells.
    rows : sequence of Row
        Empty lines too, since they part what stands above from what stands below.
    """

    file: str
    separator: str
    rows: Sequence[Row]

    def mistake(self, row: Row, cell: int, what: str, remedy: str) -> Mistake:
        """Make a message about a cell; one behind the last has the place of the end of the line."""
        column = row.columns[cell] if cell < len(row.columns) else row.columns[-1]
        return Mistake(self.file, row.line, column, shown(what, 200), remedy)


def shown(text: str, longest: int = 40) -> str:
    """Quote what a file says: on one line, without terminal codes, and not too long."""
    line = "".join(character if character.isprintable() else " " for character in text[: longest + 1]).strip()
    return line if len(text) <= longest else f"{line[: longest - 3]}..."


def read_spreadsheet(path: str | os.PathLike[str]) -> Spreadsheet:
    r"""Read a CSV file.

    Parameters
    ----------
    path : path
        UTF-8 text, with or without a mark at its beginning; semicolons, tabs or commas between the cells.

    Returns
    -------
    Spreadsheet
        Its cells.

    Raises
    ------
    FileError
        If it cannot be read, is no such text, or is larger than 1 MB.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp(), "a.csv")
    >>> _ = file.write_text("\ufeffJan;0,12\n", encoding="utf-8")
    >>> read_spreadsheet(file).rows[0]
    Row(line=1, cells=('Jan', '0,12'), columns=(1, 5))
    """
    name = os.fspath(path)
    content = file_content(Path(name), MAX_BYTES, "a CSV file")
    if len(content) > MAX_BYTES:
        raise _error(name, 1, f"the file is larger than {MAX_BYTES // 1000:,} kB", "a table of hours is a few kB")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        number = content[: error.start].count(b"\n") + 1
        raise _error(name, number, "the file is not UTF-8 text", "save it as CSV in UTF-8") from None
    lines = _LINE_BREAK.split(text)
    if len(lines) > MAX_ROWS:
        raise _error(name, MAX_ROWS + 1, f"the file has more than {MAX_ROWS:,} lines", "keep one table of hours")
    separator = _separator([line for line in lines if line.strip()])
    mistakes: list[Mistake] = []
    rows: list[Row] = []
    for number, line in enumerate(lines, 1):
        try:
            # Each line on its own, so that an open quote spoils one only.
            cells = next(csv.reader([line], delimiter=separator, strict=True, skipinitialspace=True), [])
        except csv.Error:
            mistakes.append(Mistake(name, number, 1, "the line cannot be read as CSV", "check its quotes"))
            continue
        rows.append(Row(number, tuple(cell.strip() for cell in cells) or ("",), cell_columns(line, separator)))
    if mistakes:
        raise FileError(mistakes)
    if all(row.is_blank for row in rows):
        raise _error(name, 1, "the file is empty", "save the table of hours in it")
    return Spreadsheet(name, separator, rows)


def _separator(lines: list[str]) -> str:
    """Choose what parts the cells: a semicolon or tab in most lines, since commas may then be in the numbers."""
    return next((mark for mark in ";\t" if 2 * sum(mark in line for line in lines) > len(lines)), ",")


def cell_columns(line: str, separator: str) -> tuple[int, ...]:
    """Find where each cell of a line begins."""
    found, quoted = [1], False
    for position, character in enumerate(line):
        quoted ^= character == '"'
        if character == separator and not quoted:
            found.append(position + 2)
    return tuple(found)


def _error(name: str, line: int, what: str, remedy: str) -> FileError:
    return FileError([Mistake(name, line, 1, what, remedy)])
