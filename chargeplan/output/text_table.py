"""Tables of plain text that fit a mail: a label on the left that wraps, numbers on the right that do not."""

from __future__ import annotations

import unicodedata
from collections.abc import Sequence
from typing import Final

from chargeplan.output.words import WIDTH, plain_text

_GAP: Final = 2
#: However wide the numbers are, a label has so many columns on each of its lines.
_NARROWEST: Final = 10


def text_table(header: Sequence[str], rows: Sequence[Sequence[str]], *, width: int = WIDTH) -> list[str]:
    r"""Set rows under one another.

    Parameters
    ----------
    header : sequence of str
        Names of the columns; a line break in a name begins a line of its own. The first is that of the labels.
    rows : sequence of sequences of str
        A label, then cells that stand right-aligned.
    width : int
        Columns of a line.

    Returns
    -------
    list of str
        Lines; a label that is too long goes on below, indented.

    Examples
    --------
    >>> rows = [["flat", "900.00", "-"], ["nights", "87.50", "812.50"]]
    >>> print("\n".join(text_table(["rate", "total", "a\nsaves"], rows)))
                         a
    rate     total   saves
    flat    900.00       -
    nights   87.50  812.50
    """
    names = [name.split("\n") for name in header]
    cells = [[plain_text(cell) for cell in row] for row in rows]
    widths = [
        max([*map(columns, name), *(columns(row[number]) for row in cells)])
        for number, name in enumerate(names)
        if number
    ]
    room = max(width - sum(widths) - _GAP * len(widths), _NARROWEST)
    label = min(max([*map(columns, names[0]), *(columns(row[0]) for row in cells)]), room)
    height = max(map(len, names))
    lines = []
    for number in range(height):
        texts = [name[number - height + len(name)] if number >= height - len(name) else "" for name in names]
        lines.append(_line(texts[0], texts[1:], label, widths))
    for row in cells:
        first, *more = wrapped_columns(row[0], label)
        lines += [_line(first, row[1:], label, widths), *more]
    return lines


def columns(text: str) -> int:
    """Count the columns that a text takes in a terminal: two for wide signs, none for marks above others.

    Examples
    --------
    >>> columns("Zürich"), columns("東京")
    (6, 4)
    """
    return sum(map(_columns_of, text))


def wrapped_columns(text: str, width: int, first: str = "", rest: str = "  ") -> list[str]:
    """Break a text into lines of so many columns, at spaces where there are any.

    Parameters
    ----------
    text : str
        What to break; spaces that do not break are kept.
    width : int
        Columns of a line.
    first, rest : str
        What the first line begins with, and what the others do.

    Returns
    -------
    list of str

    Examples
    --------
    >>> wrapped_columns("a receptacle in the garage", 14)
    ['a receptacle', '  in the', '  garage']
    """
    lines: list[str] = []
    line, empty = first, True
    for given in filter(None, text.split(" ")):
        word = given
        while word:
            joined = line + word if empty else f"{line} {word}"
            if columns(joined) <= width:
                line, empty, word = joined, False, ""
                continue
            if empty:
                part = _start_of(word, width - columns(line))
                line, word = line + part, word[len(part) :]
            lines.append(line)
            line, empty = rest, True
    return lines if empty and lines else [*lines, line.rstrip()]


def cut_columns(text: str, width: int) -> str:
    """Cut a text that is too wide, and say so with dots.

    Examples
    --------
    >>> cut_columns("a receptacle in the garage", 14)
    'a receptacl...'
    """
    text = plain_text(text)
    return text if columns(text) <= width else _start_of(text, width - 3).rstrip() + "..."


def _columns_of(character: str) -> int:
    if unicodedata.combining(character) or unicodedata.category(character) in ("Mn", "Me", "Cf"):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "WF" else 1


def _start_of(text: str, width: int) -> str:
    """Give as much of a text as fits, one sign at least."""
    taken = 0
    for number, character in enumerate(text):
        taken += _columns_of(character)
        if taken > width and number:
            return text[:number]
    return text


def _line(label: str, cells: Sequence[str], label_width: int, widths: Sequence[int]) -> str:
    text = label + " " * (label_width - columns(label))
    for cell, width in zip(cells, widths, strict=True):
        text += " " * (_GAP + width - columns(cell)) + cell
    return text.rstrip()
