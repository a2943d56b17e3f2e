"""Takes the values of one record, and collects everything that is wrong with them."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any, Final

import numpy as np

from chargeplan.clock import IntArray
from chargeplan.drafting.envelope import RawRecord
from chargeplan.drafting.json_text import BadNumber, Refusal
from chargeplan.drafting.note import Note, NoteKind
from chargeplan.drafting.writing import clean_line
from chargeplan.reading import KeyPath
from chargeplan.tariff.phrases import MAX_AMOUNT

#: Years of the dates of records.
FIRST_YEAR, LAST_YEAR = 1980, 2100
LARGEST: Final = Decimal(int(MAX_AMOUNT))
_A_NUMBER: Final = "write a number, like 0.12"


@dataclass
class Fields:
    """The fields of one record.

    Parameters
    ----------
    raw : RawRecord
        As it was found.

    Attributes
    ----------
    refusals : list of (path, str, str)
        Why the record cannot be read: where, what is wrong, what would be right.
    notes : list of Note
        What was assumed, unclear or left out.
    """

    raw: RawRecord
    refusals: list[Refusal] = field(default_factory=list)
    notes: list[Note] = field(default_factory=list)

    def refuse(self, path: KeyPath, what: str, remedy: str) -> None:
        """Say that the record cannot be read, and why."""
        self.refusals.append(((*self.raw.path, *path), what, remedy))

    def note(self, kind: NoteKind, place: KeyPath, text: str) -> None:
        """Say what was assumed, is unclear or was left out, once."""
        note = Note(kind, place, text)
        if note not in self.notes:
            self.notes.append(note)

    def has(self, key: str) -> bool:
        """Tell whether a field has a value; null counts as none."""
        return self.raw.data.get(key) is not None

    def get(self, key: str) -> Any:
        """Give a value as it stands, None for none."""
        return self.raw.data.get(key)

    def text(self, key: str) -> str:
        """Give a text, empty if there is none; anything else is refused."""
        value = self.get(key)
        if value is None or isinstance(value, str):
            return value or ""
        self.refuse((key,), f"{_shown(value)} is no text", 'put it in quotes, like "Residential"')
        return ""

    def number(self, path: KeyPath, value: Any, least: Decimal = -LARGEST) -> Decimal | None:
        """Give a number, or None and a refusal."""
        fault = _fault(value)
        if fault:
            self.refuse(path, fault, _A_NUMBER)
            return None
        number = Decimal(value)
        if number < least:
            self.refuse(path, f"{_shown(value)} is less than {least}", f"write a number of {least} or more")
            return None
        return number

    def amount(self, path: KeyPath, value: Any, least: Decimal = -LARGEST) -> Decimal | None:
        """Give an amount of money, or None and a refusal of what no bill can hold."""
        number = self.number(path, value, least)
        if number is not None and number > LARGEST:
            self.refuse(path, f"{_shown(value)} is out of range", f"no price or charge is above {LARGEST:,}")
            return None
        return number

    def mappings(self, path: KeyPath, value: Any) -> list[dict[str, Any]]:
        """Give the mappings of a list."""
        if isinstance(value, list) and all(isinstance(item, dict) for item in value):
            return value
        self.refuse(path, f"{_shown(value)} stands where a list of mappings is wanted", "see the format's description")
        return []

    def date(self, key: str) -> date | None:
        """Give the date of a field in seconds since 1970, or in text; the date in UTC, whatever the hour."""
        value = self.get(key)
        if value is None or value == "":
            return None
        if isinstance(value, str):
            try:
                moment = datetime.fromisoformat(value.strip())
                day = (moment if moment.tzinfo is None else moment.astimezone(UTC)).date()
            except (ValueError, OverflowError):
                what = f"{_shown(value)} is no date"
                self.refuse((key,), what, "write seconds since 1970, or a text like 2017-01-01 00:00:00")
                return None
        else:
            number = self.number((key,), value)
            if number is None:
                return None
            if number != int(number) or abs(number) > 10**11:
                self.refuse((key,), f"{_shown(value)} is no date", "write whole seconds since 1970, like 1483228800")
                return None
            try:
                day = datetime.fromtimestamp(int(number), UTC).date()
            except (ValueError, OverflowError, OSError):
                self.refuse((key,), f"{_shown(value)} is no date", "write whole seconds since 1970, like 1483228800")
                return None
        if not FIRST_YEAR <= day.year <= LAST_YEAR:
            remedy = f"dates of the years {FIRST_YEAR} to {LAST_YEAR} can be read"
            self.refuse((key,), f"{_shown(value)} is the date {day}, out of range", remedy)
            return None
        return day

    def flag(self, key: str) -> bool | None:
        """Give true or false, or None; also read from the words and digits of other exports."""
        value = self.get(key)
        if value is None or isinstance(value, bool):
            return value
        known = {"true": True, "1": True, "yes": True, "false": False, "0": False, "no": False, "": None}
        word = str(value).strip().lower()
        if word in known:
            return known[word]
        self.refuse((key,), f"{_shown(value)} is neither true nor false", "write true or false")
        return None

    def months(self, key: str) -> tuple[Decimal, ...] | None:
        """Give twelve numbers, January first."""
        value = self.get(key)
        if value is None:
            return None
        if not isinstance(value, list) or len(value) != 12:
            shown = f"{len(value)} values" if isinstance(value, list) else _shown(value)
            self.refuse((key,), f"{shown} where one for each of the 12 months is wanted", "write 12, January first")
            return None
        found = [self.amount((key, month), number) for month, number in enumerate(value)]
        return None if None in found else tuple(number for number in found if number is not None)

    def month_numbers(self, key: str, count: int) -> tuple[int, ...] | None:
        """Give twelve period numbers, January first, each below `count`."""
        values = self.months(key)
        if values is None:
            return None
        grid = self._indices((key,), [list(self.get(key))], count)
        return None if grid is None else tuple(grid[0])

    def grid(self, key: str, count: int) -> IntArray | None:
        """Give a table of 12 by 24 period numbers, each below `count`."""
        rows = self.get(key)
        if not isinstance(rows, list):
            what = "is missing" if rows is None else f"{_shown(rows)} is no table"
            self.refuse((key,), what, "12 rows, January first, of 24 period numbers are wanted")
            return None
        if len(rows) != 12:
            self.refuse((key,), f"has {len(rows)} rows", "12 are wanted, January first")
            return None
        short = [month for month, row in enumerate(rows) if not isinstance(row, list) or len(row) != 24]
        for month in short:
            row = rows[month]
            what = f"has {len(row)} columns" if isinstance(row, list) else f"{_shown(row)} is no row"
            self.refuse((key, month), f"month {month + 1} {what}", "24 are wanted, midnight first")
        if short:
            return None
        found = self._indices((key,), rows, count)
        return None if found is None else np.array(found, dtype=np.int64)

    def _indices(self, path: KeyPath, rows: list[list[Any]], count: int) -> list[list[int]] | None:
        """Read period numbers; of the bad ones the first is refused, with how many more there are."""
        bad: list[tuple[KeyPath, str, str]] = []
        several = len(rows) > 1
        for first, row in enumerate(rows):
            for second, value in enumerate(row):
                month, hour = (first, f" hour {second}") if several else (second, "")
                here = (*path, first, second) if several else (*path, second)
                where = f"month {month + 1}{hour} names"
                if fault := _fault(value) or ("" if value == int(value) >= 0 else f"{_shown(value)} is no period"):
                    bad.append((here, f"{where} no period: {fault}", "write a period number, from 0"))
                elif int(value) >= count:
                    only = "only period 0 exists" if count == 1 else f"only 0 to {count - 1} exist"
                    bad.append((here, f"{where} period {int(value)}, but {only}", "correct it, or add the period"))
        if bad:
            here, what, remedy = bad[0]
            self.refuse(here, what + (f" (and {len(bad) - 1} more like it)" if len(bad) > 1 else ""), remedy)
            return None
        return [[int(value) for value in row] for row in rows]


def _fault(value: Any) -> str:
    """Say why a value is no number; an empty text if it is one."""
    if isinstance(value, BadNumber):
        shown = value.text if len(value.text) < 30 else f"{value.text[:26]}..."
        return f"{shown} is no number that can be used"
    if isinstance(value, str):
        return f"{_shown(value)} is text, not a number"
    if isinstance(value, bool) or not isinstance(value, int | Decimal):
        return f"{_shown(value)} is no number"
    return ""


def _shown(value: Any) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict | list):
        return "a list" if isinstance(value, list) else "a mapping"
    if isinstance(value, BadNumber):
        return value.text[:30]
    return f"`{clean_line(str(value), 40)}`"
