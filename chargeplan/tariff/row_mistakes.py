"""Collects the mistakes of a file of rows, and says one that comes again and again only a few times."""

from __future__ import annotations

import re
from collections import Counter
from typing import Final

from chargeplan.errors import FileError, Mistake

#: How often one mistake is named where it is in many rows.
_NAMED: Final = 3
#: What differs between two rows with the same mistake.
_OF_ROW: Final = re.compile(r"`[^`]*`|\d+")


class RowMistakes:
    """The mistakes of one file, by line and cell.

    Parameters
    ----------
    file : str
        Name of the file.
    lines : list of str, optional
        Its text; without, as for Parquet, the column of a mistake is the number of its cell.
    """

    def __init__(self, file: str, lines: list[str] | None = None) -> None:
        self.file, self.lines = file, lines
        self.found: list[tuple[int, int, str, str]] = []

    def add(self, line: int, cell: int, what: object, remedy: object) -> None:
        """Note a mistake; a cell is counted from 0."""
        self.found.append((line, cell, str(what), str(remedy)))

    def check(self, listed: int | None = None) -> None:
        """Raise what was found, if anything.

        Parameters
        ----------
        listed : int, optional
            The most messages, of which no more than three are of one and the same mistake; without it, all.

        Raises
        ------
        FileError
            With what was found, and how many more there are.

        Examples
        --------
        >>> mistakes = RowMistakes("a.csv", ["", "x", "y", "z", "u", "v"])
        >>> for line, text in enumerate("xyzuv", 2):
        ...     mistakes.add(line, 0, f"`{text}` is not a price", "write digits")
        >>> mistakes.check(20)
        Traceback (most recent call last):
        chargeplan.errors.FileError: a.csv:2:1: `x` is not a price; write digits
        a.csv:3:1: `y` is not a price; write digits
        a.csv:4:1: `z` is not a price (and so 2 more rows); write digits
        """
        self.found.sort()
        named = len(self.found) if listed is None else _NAMED
        kinds = [(cell, _OF_ROW.sub("", what)) for _, cell, what, _ in self.found]
        total, seen = Counter(kinds), Counter[tuple[int, str]]()
        mistakes: list[Mistake] = []
        told = 0
        for (line, cell, what, remedy), kind in zip(self.found, kinds, strict=True):
            seen[kind] += 1
            if seen[kind] > named:
                continue
            place = self._place(line, cell)
            if len(mistakes) == listed:
                mistakes.append(Mistake(self.file, *place, f"... and {len(self.found) - told:,} more"))
                break
            more = total[kind] - named if seen[kind] == named else 0
            others = f" (and so {more:,} more row{'s' if more > 1 else ''})" if more else ""
            mistakes.append(Mistake(self.file, *place, what + others, remedy))
            told += 1 + more
        if mistakes:
            raise FileError(mistakes)

    def fail(self, line: int, cell: int, what: str, remedy: str) -> FileError:
        """Make the error of one mistake that ends the reading."""
        return FileError([Mistake(self.file, *self._place(line, cell), what, remedy)])

    def column(self, line: int, cell: int) -> int:
        """Give the column at which a cell begins."""
        return self._place(line, cell)[1]

    def _place(self, line: int, cell: int) -> tuple[int, int]:
        """Turn the number of a cell into the column at which it begins; a Parquet file has only the number."""
        if self.lines is None:
            return line, cell + 1
        quoted, commas = False, 0
        for position, character in enumerate(self.lines[line - 1] if cell else ""):
            quoted ^= character == '"'
            commas += character == "," and not quoted
            if commas == cell:
                return line, position + 2
        return line, 1
