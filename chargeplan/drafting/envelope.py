"""Finds the rate records in a file, in all the wrappings in which they are passed on."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from chargeplan.drafting.json_text import JsonText, read_json
from chargeplan.errors import FileError, Mistake
from chargeplan.reading import KeyPath

MAX_RECORDS: Final = 2000
#: A record that is part of a larger request is looked for so many keys deep.
SEARCH_DEPTH: Final = 6
#: More say nothing new.
_MOST_MISTAKES: Final = 20
#: One of these keys makes a mapping a record.
_MARKS: Final = (
    *("energyratestructure", "energyweekdayschedule", "energyweekendschedule", "flatdemandstructure"),
    *("demandratestructure", "fixedchargefirstmeter", "fixedmonthlycharge", "realtimepricing"),
)
_DUMP_MARKS: Final = ("energyRateStrux", "energyWeekdaySched", "energyWeekendSched", "effectiveDate", "energyRateTiers")
_CSV_MARK: Final = "energyratestructure/period"
_WANTED: Final = 'take the record as JSON, as {"items": [...]}, a list or the record alone'


@dataclass(frozen=True)
class RawRecord:
    """A record as it was found.

    Parameters
    ----------
    text : JsonText
        The text it stands in.
    path : path
        Where in it.
    data : dict
        Its fields.
    """

    text: JsonText
    path: KeyPath
    data: dict[str, Any]

    @property
    def label(self) -> str:
        """The key of the record, or an empty text."""
        label = self.data.get("label")
        return label if isinstance(label, str) else ""


def raw_records(content: bytes | str, file: str = "record.json") -> list[RawRecord]:
    """Find the records of a file.

    Parameters
    ----------
    content : bytes or str
        ``{"items": [...]}``, a list, one record, one of these as a JSON string, or a larger request
        with a record in it.
    file : str
        What to call it in messages.

    Returns
    -------
    list of RawRecord
        At least one.

    Raises
    ------
    FileError
        If it cannot be read, holds no record, too many, or records in another format.

    Examples
    --------
    >>> [record.path for record in raw_records('{"items": [{"energyratestructure": []}]}')]
    [('items', 0)]
    """
    start = content[:20_000].decode("utf-8", "replace") if isinstance(content, bytes) else content[:20_000]
    if _CSV_MARK in start and not re.match(r'[\ufeff\s]*(?:"\s*)?[{[]', start):
        what = "this is a table of the bulk download (CSV), which flattens prices into columns"
        raise FileError([Mistake(file, 1, 1, what, _WANTED)])
    text = read_json(content, file)
    if isinstance(text.data, str):  # a whole reply stored as one string; its places are not those of the file
        text = read_json(text.data, file, placed=False)
    found = list(_records(text.data, (), 0))
    if len(found) > MAX_RECORDS:
        what = f"the file holds {len(found):,} records, more than {MAX_RECORDS:,}"
        raise FileError([text.mistake((), what, "take the records you need into a file")])
    refusals = [(path, *why) for path, _, why in found if why]
    if refusals:
        raise FileError(text.mistakes(refusals[:_MOST_MISTAKES]))
    if not found:
        raise FileError([text.mistake((), *_nothing_found(text.data))])
    return [RawRecord(text, path, data) for path, data, _ in found]


_Found = tuple[KeyPath, Any, tuple[str, str] | None]


def _records(data: Any, path: KeyPath, depth: int) -> Iterator[_Found]:
    """Yield what is, or should be, a record; with a reason if it is none."""
    if isinstance(data, dict):
        if any(mark in data for mark in _DUMP_MARKS):
            yield path, data, ("this is an export of the database with names like energyRateStrux", _WANTED)
        elif any(key.startswith(_CSV_MARK) for key in data):
            yield path, data, ("prices are flattened into keys, as in the bulk download", _WANTED)
        elif any(mark in data for mark in _MARKS):
            yield path, data, None
        elif depth == 0 and isinstance(data.get("items"), list):
            yield from _items(data["items"], ("items",))
        elif depth < SEARCH_DEPTH:
            for key, value in data.items():
                yield from _records(value, (*path, key), depth + 1)
    elif isinstance(data, list):
        if depth == 0:
            yield from _items(data, ())
        elif depth < SEARCH_DEPTH:
            for position, value in enumerate(data):
                yield from _records(value, (*path, position), depth + 1)


def _items(items: list[Any], path: KeyPath) -> Iterator[_Found]:
    """Yield the items of a reply; here each must be a record, whatever it lacks."""
    for position, item in enumerate(items):
        here = (*path, position)
        if not isinstance(item, dict):
            yield here, item, ("this is not a record", "a record is a mapping in { }")
        elif any(mark in item for mark in _DUMP_MARKS) or any(key.startswith(_CSV_MARK) for key in item):
            yield from _records(item, here, 1)
        else:
            yield here, item, None


def _nothing_found(data: Any) -> tuple[str, str]:
    if isinstance(data, str):
        return "the file is a text within a text within a text", "unwrap it; two layers can be read"
    if isinstance(data, dict) and ("error" in data or "errors" in data):
        return "the file is an error message of the database, not a record", "download the record again"
    if (isinstance(data, dict) and data.get("items") == []) or data == []:
        return "the list of records is empty", "check the search that gave it"
    return "there is no rate record in the file", _WANTED
