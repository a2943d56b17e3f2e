"""Finds tables of twelve months by 24 hours among the cells of a spreadsheet, and says what does not fit."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import chain
from typing import Final

from chargeplan.drafting.note import Note
from chargeplan.drafting.spreadsheet import Row, Spreadsheet, shown
from chargeplan.drafting.table_labels import (
    ALL_DAYS,
    WEEKDAY,
    WEEKEND,
    days_of_title,
    hours_begin,
    hours_of_labels,
    months_of_labels,
)
from chargeplan.errors import FileError, Mistake

Prices = tuple[tuple[Decimal, ...], ...]

SAME_ALL_DAYS: Final = Note("assumed", ("prices",), "the table does not say for which days it is: all of them")
_FIRST_WEEKDAYS: Final = Note("assumed", ("prices",), "of two tables without titles the first is for weekdays")
_UNLABELLED: Final = Note("assumed", ("prices",), "the table has no labels: it begins in January and at midnight")
_FROM_1: Final = Note("assumed", ("prices",), "the hours count from 1, so hour 1 is 00:00-01:00")
_MAX_MISTAKES: Final = 20
_MONTHS, _HOURS = 12, 24
#: No price in any unit is beyond.
_LARGEST: Final = Decimal(10) ** 9
_LONGEST_NUMBER: Final = 40
_NUMBER: Final = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,3})?", re.ASCII)
_DECIMAL_COMMA: Final = re.compile(r"[-+]?\d*,\d+", re.ASCII)
#: What spreadsheets show where they have no number.
_NOTHING: Final = frozenset(("n/a", "#n/a", "na", "nan", "null", "none", "-", "--", "."))
_SHAPE: Final = "write twelve rows of 24 prices, January and midnight first, or 24 rows of twelve"


@dataclass(frozen=True)
class _Block:
    """Rows that belong together, under a title."""

    title: str
    days: str
    rows: list[Row]


@dataclass(frozen=True)
class _Shape:
    """How the rows of a block are laid out: prices in a row, rows, and whether a label stands before each."""

    across: int
    down: int
    labelled: bool


@dataclass
class TableReader:
    """Reads the tables of one file, collecting mistakes.

    Parameters
    ----------
    sheet : Spreadsheet
        The cells.

    Examples
    --------
    >>> rows = [Row(line, ("0.2",) * 24, tuple(range(1, 97, 4))) for line in range(1, 13)]
    >>> reader = TableReader(Spreadsheet("a.csv", ",", rows))
    >>> [(days, len(table), len(table[0])) for days, table in reader.tables().items()]
    [('all days', 12, 24)]
    >>> TableReader(Spreadsheet("a.csv", ",", rows[:11])).tables()  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    chargeplan.errors.FileError: a.csv:11:1: the table ends after 11 rows of 24, not 12; write twelve rows of ...
    """

    sheet: Spreadsheet
    notes: list[Note] = field(default_factory=list)
    _mistakes: list[Mistake] = field(default_factory=list)

    def tables(self) -> dict[str, Prices]:
        """Read the tables.

        Returns
        -------
        dict
            By the days for which they are: all days, or weekdays and weekends, or one of these. Each is
            12 by 24, January and midnight first.

        Raises
        ------
        FileError
            With the first 20 mistakes.
        """
        blocks = self._blocks()
        if not blocks:
            raise self.fail("the file has no table of numbers", _SHAPE)
        days = self._days(blocks)
        tables = [self._table(block) for block in blocks]
        if self._mistakes:
            found = sorted(set(self._mistakes))
            more = [] if len(found) <= _MAX_MISTAKES else [self._more(found)]
            raise FileError([*found[:_MAX_MISTAKES], *more])
        self.notes = list(dict.fromkeys(self.notes))
        return dict(zip(days, tables, strict=True))

    def fail(self, what: str, remedy: str) -> FileError:
        """Make an error about the whole file."""
        return FileError([Mistake(self.sheet.file, 1, 1, what, remedy)])

    def _more(self, found: Sequence[Mistake]) -> Mistake:
        place = found[_MAX_MISTAKES]
        return Mistake(place.file, place.line, place.column, f"... and {len(found) - _MAX_MISTAKES:,} more")

    def _complain(self, row: Row, cell: int, what: str, remedy: str) -> None:
        self._mistakes.append(self.sheet.mistake(row, cell, what, remedy))

    def _blocks(self) -> list[_Block]:
        """Part the rows at empty lines, titles and rows of hours."""
        found: list[_Block] = []
        title, rows = "", list[Row]()

        def close() -> None:
            nonlocal title, rows
            if rows:
                # The corner of a table may hold its title.
                corner = rows[0].cells[0] if _is_header(rows[0]) else ""
                name = title if days_of_title(title) or not days_of_title(corner) else corner
                found.append(_Block(name, days_of_title(name), rows))
                title, rows = "", []

        for row in self.sheet.rows:
            filled = [cell for cell in row.cells if cell]
            is_title = len(filled) == 1 and not _looks_like_number(filled[0])
            if not filled or is_title or _is_header(row):
                close()
            if is_title:
                title = filled[0]
            elif filled:
                rows.append(row)
        close()
        return [block for block in found if any(map(_looks_like_number, chain(*(row.cells for row in block.rows))))]

    def _days(self, blocks: Sequence[_Block]) -> list[str]:
        """Tell for which days each block is."""
        days = [block.days for block in blocks]
        if len(blocks) == 1:
            if not days[0]:
                self.notes.append(SAME_ALL_DAYS)
            return [days[0] or ALL_DAYS]
        if len(blocks) > 2:
            what = f"this is table {3} of {len(blocks)}; a sheet has one for all days, or one for weekdays and weekends"
            self._complain(blocks[2].rows[0], 0, what, "keep one or two tables, and no empty line within one")
            return [str(number) for number in range(len(blocks))]
        if days == ["", ""]:
            self.notes.append(_FIRST_WEEKDAYS)
            return [WEEKDAY, WEEKEND]
        other = {WEEKDAY: WEEKEND, WEEKEND: WEEKDAY}
        if "" in days and set(days) <= {"", *other}:
            known = next(name for name in days if name)
            return [name or other[known] for name in days]
        if set(days) != set(other):
            what = "by their titles the two tables are not one for weekdays and one for weekends"
            self._complain(
                blocks[1].rows[0], 0, what, "write a line `weekdays` above one and `weekends` above the other"
            )
            return ["first", "second"]
        return days

    def _table(self, block: _Block) -> Prices:
        rows, header = block.rows, None
        if _is_header(rows[0]):
            header, rows = rows[0], rows[1:]
        shape = self._shape(rows)
        if shape is None:
            return ()
        self._check_rows(rows, shape)
        if header is not None:
            labels = header.cells[-shape.across :] if len(header.cells) >= shape.across else header.cells
            self._check_labels([header] * len(labels), labels, len(header.cells) - len(labels), shape.across)
        if shape.labelled:
            self._check_labels(rows, [row.cells[0] for row in rows], None, shape.down)
        if header is None and not shape.labelled:
            self.notes.append(_UNLABELLED)
        table = tuple(tuple(self._price(row, n + shape.labelled) for n in range(shape.across)) for row in rows)
        return tuple(zip(*table, strict=True)) if shape.across == _MONTHS else table

    def _shape(self, rows: Sequence[Row]) -> _Shape | None:
        """Find out from the rows themselves which way the table lies."""
        if not rows:
            return None
        texts = sum(not _looks_like_number(row.cells[0]) for row in rows)
        lengths = Counter(_length(row) for row in rows)
        width = max(lengths, key=lambda length: (lengths[length], length))
        labelled = 2 * texts > len(rows) or (
            width in (_MONTHS + 1, _HOURS + 1) and _are_labels([row.cells[0] for row in rows])
        )
        across = width - labelled
        if across == _HOURS and len(rows) == _HOURS:
            what = "the table has 24 rows of 24 prices"
            self._complain(rows[_MONTHS], 0, what, "part weekdays and weekends by an empty line; " + _SHAPE)
        elif across in (_MONTHS, _HOURS):
            return _Shape(across, _MONTHS if across == _HOURS else _HOURS, labelled)
        elif self.sheet.separator == "," and (across, len(rows)) in ((2 * _HOURS, _MONTHS), (2 * _MONTHS, _HOURS)):
            what = f"the rows have {across} cells, as if decimals were written with commas, which also part the cells"
            self._complain(rows[0], 0, what, "write decimals with a dot, or part the cells by semicolons")
        else:
            wanted = {_MONTHS: _HOURS, _HOURS: _MONTHS}.get(len(rows))
            what = f"the table has {len(rows)} rows of {across} prices" + (f", not {wanted}" if wanted else "")
            self._complain(rows[0], 0, what, _SHAPE)
        return None

    def _check_rows(self, rows: Sequence[Row], shape: _Shape) -> None:
        size = f"{shape.down} rows of {shape.across} prices"
        for row in rows:
            count = _length(row) - shape.labelled
            if count > shape.across:
                cell = shape.across + shape.labelled
                self._complain(row, cell, f"the row has {count} prices, not {shape.across}", f"the table has {size}")
            elif len(row.cells) - shape.labelled < shape.across:
                count = len(row.cells) - shape.labelled
                what = f"the row has {count} prices, not {shape.across}"
                self._complain(row, len(row.cells), what, f"the table has {size}")
        if len(rows) != shape.down:
            at = min(len(rows) - 1, shape.down)
            verb = "ends after" if len(rows) < shape.down else "goes on for"
            what = f"the table {verb} {len(rows)} rows of {shape.across}, not {shape.down}"
            self._complain(rows[at], 0, what, _SHAPE)

    def _check_labels(self, rows: Sequence[Row], labels: Sequence[str], offset: int | None, count: int) -> None:
        """Hold labels to January or midnight first; `offset` is the cell of the first where they are in one row."""

        def complain(position: int, what: str, remedy: str) -> None:
            self._complain(rows[position], 0 if offset is None else offset + position, what, remedy)

        if len(labels) != count:
            return  # said of the rows already
        if count == _HOURS:
            hours = hours_of_labels(labels)
            begin = None if hours is None else hours_begin(hours)
            if begin == 1:
                self.notes.append(_FROM_1)
            elif begin is None:
                complain(0, f"the hours are `{shown(labels[0])}` to `{shown(labels[-1])}`", "put midnight first")
            return
        months = months_of_labels(labels)
        if not any(months) and not any(map(_looks_like_number, labels)):
            what = f"`{shown(labels[0])}` to `{shown(labels[-1])}` are taken for January to December"
            self.notes.append(Note("unclear", ("prices",), what))
            return
        for position, month in enumerate(months):
            if month != position + 1:
                what = f"`{shown(labels[position])}` stands where month {position + 1} of the year belongs"
                complain(position, what, "write Jan to Dec in order, January first")
                return

    def _price(self, row: Row, cell: int) -> Decimal:
        text = row.cells[cell] if cell < len(row.cells) else ""
        number = text
        if cell >= len(row.cells):
            pass  # said of the row already
        elif not text:
            self._complain(row, cell, "the price is empty", "write a number in every cell")
        elif self.sheet.separator == "," and _DECIMAL_COMMA.fullmatch(text):
            remedy = f"write {shown(text.replace(',', '.'))}, or part the cells by semicolons"
            self._complain(row, cell, f"`{shown(text)}` has a decimal comma", remedy)
        else:
            number = text.replace(",", ".") if _DECIMAL_COMMA.fullmatch(text) else text
            if len(number) > _LONGEST_NUMBER or not _NUMBER.fullmatch(number):
                remedy = "write digits with at most one dot"
                if text.lower() in _NOTHING:
                    remedy = "write a number in every cell: every hour of every month has a price"
                self._complain(row, cell, f"`{shown(text)}` is not a price", remedy)
            elif abs(Decimal(number)) > _LARGEST:
                self._complain(row, cell, f"`{shown(text)}` is out of range", "is this a price per kWh?")
            else:
                return Decimal(number)
        return Decimal(0)


def _length(row: Row) -> int:
    """Count the cells up to the last that holds something."""
    return max((position for position, cell in enumerate(row.cells, 1) if cell), default=0)


def _are_labels(cells: Sequence[str]) -> bool:
    """Tell whether numbers in the first column are those of months or hours rather than prices."""
    hours = hours_of_labels(cells)
    return all(months_of_labels(cells)) or (hours is not None and len(set(hours)) == len(cells))


def _looks_like_number(text: str) -> bool:
    return bool(_NUMBER.fullmatch(text.replace(",", ".", 1)))


def _is_header(row: Row) -> bool:
    """Tell whether a row names hours or months, and holds no prices."""
    cells = [cell for cell in row.cells if cell]
    if len(cells) < _MONTHS:
        return False
    if not any(map(_looks_like_number, cells[1:])):
        return True
    hours = hours_of_labels(cells[-_HOURS:])
    if hours is not None and len(hours) == _HOURS and len({hour % _HOURS for hour in hours}) == _HOURS:
        return True
    return len(cells) <= _MONTHS + 1 and months_of_labels(cells[-_MONTHS:]) == list(range(1, _MONTHS + 1))
