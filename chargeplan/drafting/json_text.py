r"""Safe reading of JSON that strangers wrote, with a line and column for every value that is complained of.

The standard library's reader tells no places, and YAML readers, which do, refuse good JSON (``\/``, tabs). So the
text is read with the standard library, and only if something is wrong walked once more to find where it stands.
"""

from __future__ import annotations

import json
import re
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any, Final

from chargeplan.errors import FileError, Mistake
from chargeplan.reading import Document, KeyPath

#: A path, what is wrong with the value there, and what would be right.
Refusal = tuple[KeyPath, str, str]
MAX_BYTES: Final = 20_000_000
MAX_DEPTH: Final = 20
MAX_DIGITS: Final = 40
#: No amount of any record is larger or, if not 0, smaller than this; 1e38 stands for "no limit" in some.
_MAX_EXPONENT: Final = 60

#: A string; one without an end is taken to the end of the text, so that no text takes long.
_STRING: Final = r'"(?:[^"\\]+|\\.?)*+"?'
_BRACKETS: Final = re.compile(rf"{_STRING}|[\[\]{{}}]", re.DOTALL)
_TOKENS: Final = re.compile(rf"{_STRING}|[\[\]{{}}:,]|[^\s\[\]{{}}:,\"]+", re.DOTALL)


@dataclass(frozen=True)
class BadNumber:
    """Stands for a number that is none: infinite, not a number, or far too long.

    Parameters
    ----------
    text : str
        As written.
    """

    text: str


@dataclass(frozen=True)
class JsonText:
    """A JSON text, read.

    Parameters
    ----------
    file : str
        What to call it in messages.
    text : str
        The text.
    data : any
        What it says; numbers with a point are `Decimal`, numbers that are none `BadNumber`.
    base : path
        What to put before each path in messages, for a text inside another.
    placed : bool
        Whether lines and columns of the text are those of the file.
    """

    file: str
    text: str = field(repr=False)
    data: Any = field(repr=False)
    placed: bool = True

    def mistakes(self, refusals: Iterable[Refusal]) -> list[Mistake]:
        """Make messages about values, each a path, what is wrong and what would be right."""
        refusals = list(refusals)
        wanted = {path[:length] for path, _, _ in refusals for length in range(len(path) + 1)}
        document = Document(self.file, None, self.places(wanted))
        found = []
        for path, what, remedy in refusals:
            shown = path_text(path)
            found.append(document.mistake(path, f"{shown}: {what}" if shown else what, remedy))
        return found

    def mistake(self, path: KeyPath, what: str, remedy: str = "") -> Mistake:
        """Make one message; see `mistakes`."""
        return self.mistakes([(path, what, remedy)])[0]

    def places(self, wanted: Collection[KeyPath] | None = None) -> dict[KeyPath, tuple[int, int]]:
        """Find line and column of some values, or of all; none where they are not those of the file."""
        walked = _walk(self.text) if self.placed else ()
        return {path: place for path, place in walked if wanted is None or path in wanted}


def path_text(path: KeyPath) -> str:
    """Write a path as programs do.

    Examples
    --------
    >>> path_text(("items", 0, "energyratestructure", 1, 0, "rate"))
    'items[0].energyratestructure[1][0].rate'
    """
    text = ""
    for part in path:
        text += f"[{part}]" if isinstance(part, int) else f".{part[:60]}" if text else part[:60]
    return text


def read_json(content: bytes | str, file: str, *, placed: bool = True) -> JsonText:
    """Read a JSON text.

    Parameters
    ----------
    content : bytes or str
        The text, in UTF-8 with or without a mark at its beginning.
    file : str
        What to call it in messages.
    placed : bool
        Whether the places in the text are those of the file.

    Returns
    -------
    JsonText
        What it says.

    Raises
    ------
    FileError
        If it is too large or too deep, is not UTF-8 or not JSON, or repeats a key.

    Examples
    --------
    >>> read_json(b'{"rate": 0.10}', "a.json").data
    {'rate': Decimal('0.10')}
    >>> read_json(b'{"rate" 0.1}', "a.json")  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    chargeplan.errors.FileError: a.json:1:9: not valid JSON: expecting ':' delimiter; save the record again as it...
    """
    text = _decoded(content, file)
    _measure(text, file)
    repeated: set[str] = set()

    def mapping(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        found = dict(pairs)
        if len(found) < len(pairs):  # the same value twice does no harm, and occurs
            repeated.update(key for key, value in pairs if value != found[key])
        return found

    try:
        data = json.loads(
            text, parse_float=_number, parse_int=_number, parse_constant=BadNumber, object_pairs_hook=mapping
        )
    except json.JSONDecodeError as error:
        what = f"not valid JSON: {error.msg[:1].lower()}{error.msg[1:]}"
        remedy = "save the record again as it was downloaded"
        raise FileError([Mistake(file, error.lineno, error.colno, _one_line(what), remedy)]) from None
    found = JsonText(file, text, data, placed)
    if repeated:
        raise FileError(_repetitions(found, repeated))
    return found


def _number(text: str) -> int | Decimal | BadNumber:
    if len(text) > MAX_DIGITS:
        return BadNumber(text)
    value = Decimal(text)
    if value and abs(value.adjusted()) > _MAX_EXPONENT:
        return BadNumber(text)
    if not re.search("[.eE]", text):
        return int(text)
    # 17 digits are a binary number written out in full: 35.280000000000001 is meant to be 35.28.
    return Decimal(repr(float(text))) if len(value.as_tuple().digits) >= 17 else value


def _decoded(content: bytes | str, file: str) -> str:
    if isinstance(content, str):
        content = content.encode("utf-8", "surrogatepass")
    if len(content) > MAX_BYTES:
        what = f"the file is larger than {MAX_BYTES // 1_000_000} MB"
        raise FileError([Mistake(file, 1, 1, what, "a record is a few kB; take the records you need into a file")])
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        before = content[: error.start].decode("utf-8-sig", "replace")
        line, column = before.count("\n") + 1, len(before) - before.rfind("\n")
        raise FileError([Mistake(file, line, column, "the file is not UTF-8 text", "save it as UTF-8")]) from None


def _measure(text: str, file: str) -> None:
    """Refuse what is nested too deeply before anything is built from it."""
    depth = 0
    for match in _BRACKETS.finditer(text):
        mark = match[0]
        depth += (mark in "[{") - (mark in "]}")
        if depth > MAX_DEPTH:
            line, column = _line_column(text, match.start())
            what = f"more than {MAX_DEPTH} levels inside each other"
            raise FileError([Mistake(file, line, column, what, "a record needs far fewer; is this the right file?")])


def _line_column(text: str, offset: int) -> tuple[int, int]:
    return text.count("\n", 0, offset) + 1, offset - text.rfind("\n", 0, offset)


def _one_line(text: str) -> str:
    return "".join(character if character.isprintable() else " " for character in text)


def _repetitions(found: JsonText, keys: set[str]) -> list[Mistake]:
    seen: dict[KeyPath, tuple[int, int]] = {}
    mistakes = []
    for path, place in _walk(found.text):
        if path in seen and path and path[-1] in keys:
            line, column = place if found.placed else (1, 1)
            what = f"{path_text(path)}: given twice with different values, first on line {seen[path][0]}"
            mistakes.append(Mistake(found.file, line, column, _one_line(what), "keep one of them"))
        seen.setdefault(path, place)
    return mistakes


def _walk(text: str) -> Iterator[tuple[KeyPath, tuple[int, int]]]:
    """Yield the path of every value of a good JSON text, with the place of its key or of itself in a list."""
    line, line_start, last = 1, 0, 0
    stack: list[str | int] = []
    closing: list[str] = []
    key_next = False
    for match in _TOKENS.finditer(text):
        token, start = match[0], match.start()
        if breaks := text.count("\n", last, start):
            line += breaks
            line_start = text.rfind("\n", last, start) + 1
        last = start
        place = line, start - line_start + 1
        if token in "]}" and token:
            closing.pop()
            if stack and len(stack) > len(closing):
                stack.pop()
            key_next = False
            continue
        if token == ",":
            if closing[-1] == "]":
                stack[-1] = int(stack[-1]) + 1
            else:
                stack.pop()
                key_next = True
            continue
        if token == ":":
            continue
        if key_next:
            stack.append(json.loads(token))
            yield tuple(stack), place
            key_next = False
            continue
        if closing and closing[-1] == "]":
            yield tuple(stack), place
        if token in "[{":
            closing.append("]" if token == "[" else "}")
            key_next = token == "{"
            if token == "[":
                stack.append(0)
