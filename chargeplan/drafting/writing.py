"""Writes a drafted sheet as YAML with comments, in the form in which people write sheets by hand.

No YAML library of the dependencies writes comments, and what a draft holds is simple: mappings, lists and
scalars. What is written here, `chargeplan.reading` reads back unchanged.
"""

from __future__ import annotations

import json
import re
import textwrap
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

from chargeplan.drafting.note import Note
from chargeplan.reading import KeyPath

WIDTH: Final = 100
#: Written one entry a line even where they would fit on one.
_ALWAYS_BLOCK: Final = ("periods", "checks")
#: Text that needs no quotes anywhere, and text that needs none outside of braces.
_PLAIN: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._%+/()'$<>=*:-]*\Z", re.ASCII)
_LIKE_A_NUMBER: Final = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?\Z", re.ASCII)
_WORDS_OF_YAML: Final = ("true", "false", "null", "")


@dataclass(frozen=True)
class Remarked:
    """A value with a comment behind it.

    Parameters
    ----------
    value : str, int, Decimal or date
        What is written.
    remark : str
        The comment; none if empty.
    """

    value: str | int | Decimal | date
    remark: str = ""


def plain_number(value: Decimal) -> str:
    """Write a number without an exponent and without needless zeros.

    Examples
    --------
    >>> plain_number(Decimal("0.0837210")), plain_number(Decimal("1E+3")), plain_number(Decimal("-0.0"))
    ('0.083721', '1000', '0')
    """
    text = format(value, "f")
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text


def clean_line(text: str, longest: int = 200) -> str:
    r"""Bring a text of strangers onto one line, without control characters and not too long.

    Examples
    --------
    >>> clean_line("Rate\r\n A\x1b[2J")
    'Rate A [2J'
    """
    kept = "".join(character if character.isprintable() else " " for character in text[: 20 * longest])
    line = " ".join(kept.split())
    return line if len(line) <= longest else f"{line[: longest - 4].rstrip()} ..."


def clean_text(text: str, longest: int = 2000) -> str:
    r"""Keep the paragraphs of a text of strangers, without control characters and not too long.

    Examples
    --------
    >>> clean_text("One\r\n\r\n\r\nTwo\x00")
    'One\n\nTwo'
    """
    lines = [
        clean_line(line, longest) for line in re.split(r"\r\r?\n|[\r\n\v\f\x85\u2028\u2029]", text[: 20 * longest])
    ]
    whole = re.sub(r"\n{3,}", "\n\n", "\n".join(lines)).strip()
    return whole if len(whole) <= longest else f"{whole[: longest - 4].rstrip()} ..."


def sheet_text(data: Mapping[str, Any], notes: Iterable[Note], header: Sequence[str]) -> str:
    """Write a sheet.

    Parameters
    ----------
    data : mapping
        What the sheet says: mappings, lists, text, numbers, dates, and `Remarked` for a comment behind.
    notes : iterable of Note
        Written as comments above the key of their place; those whose place the sheet does not have,
        and those without one, at the top.
    header : sequence of str
        Lines of the comment at the top.

    Returns
    -------
    str
        YAML that `read_tariff` reads.

    Examples
    --------
    >>> print(sheet_text({"name": "A", "fixed": "8 per month"}, [Note("assumed", ("fixed",), "per month")], ["Draft"]))
    # Draft
    name: A
    <BLANKLINE>
    # assumed: per month
    fixed: 8 per month
    <BLANKLINE>
    """
    notes = list(notes)
    here: dict[KeyPath, list[str]] = {}
    for note in notes:
        if note.place and _has(data, note.place):
            here.setdefault(note.place, []).append(str(note))
    top = [str(note) for note in notes if not (note.place and _has(data, note.place))]
    lines = [line for text in header for line in _comment(text, 0)]
    if top:
        lines += ["#", *(line for text in top for line in _comment(text, 0, bullet="- "))]
    lines += _Writer(here).top(data)
    return "\n".join(lines) + "\n"


def _has(data: Any, path: KeyPath) -> bool:
    for part in path:
        if not isinstance(data, Mapping) or part not in data:
            return False
        data = data[part]
    return True


def _comment(text: str, indent: int, bullet: str = "") -> list[str]:
    start = " " * indent + "# "
    inside = _wrapped(clean_line(text, 2000), WIDTH - len(start), bullet)
    return [(start + line).rstrip() for line in inside] or ["#"]


def _wrapped(text: str, width: int, bullet: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        width,
        initial_indent=bullet,
        subsequent_indent=" " * len(bullet),
        break_on_hyphens=False,
        break_long_words=False,
    )


@dataclass(frozen=True)
class _Writer:
    notes: Mapping[KeyPath, Sequence[str]]

    def top(self, data: Mapping[str, Any]) -> list[str]:
        """Write the keys of the sheet, with an empty line around what takes several lines."""
        lines: list[str] = []
        long_before = False
        for key, value in data.items():
            written = list(self.entry((key,), value, 0))
            long_now = len(written) > 1
            if lines and (long_now or long_before):
                lines.append("")
            lines += written
            long_before = long_now
        return lines

    def entry(self, path: KeyPath, value: Any, indent: int) -> Iterator[str]:
        for text in self.notes.get(path, ()):
            yield from _comment(text, indent)
        margin, key = " " * indent, _scalar(str(path[-1]))
        if isinstance(value, Mapping):
            flow = self.flow(path, value)
            if flow is not None and len(margin) + len(key) + 2 + len(flow) <= WIDTH:
                yield f"{margin}{key}: {flow}"
                return
            yield f"{margin}{key}:"
            for name, inner in value.items():
                yield from self.entry((*path, name), inner, indent + 2)
        elif isinstance(value, list):
            yield f"{margin}{key}:"
            for item in value:
                yield f"{margin}  - {_flow_item(item)}"
        elif isinstance(value, str) and ("\n" in value or path == ("notes",)):
            yield f"{margin}{key}: |-"
            for line in value.split("\n"):
                yield from (f"{margin}  {part}".rstrip() for part in _wrapped(line, WIDTH - 2) or [""])
        else:
            yield f"{margin}{key}: {_with_remark(value)}"

    def flow(self, path: KeyPath, value: Mapping[str, Any]) -> str | None:
        """Write a mapping on one line, if nothing in it has a comment, a comma or a list."""
        if path[-1] in _ALWAYS_BLOCK or any(note[: len(path)] == path and note != path for note in self.notes):
            return None
        if any(isinstance(inner, list) or (isinstance(inner, str) and "," in inner) for inner in value.values()):
            return None
        if any(isinstance(inner, Remarked) and inner.remark for inner in value.values()):
            return None
        if any(isinstance(inner, Mapping) for inner in value.values()):
            return None
        return _flow_item(value)


def _flow_item(value: Any, *, inside: bool = False) -> str:
    if isinstance(value, Mapping):
        pairs = (f"{_scalar(str(key), True)}: {_flow_item(inner, inside=True)}" for key, inner in value.items())
        return "{" + ", ".join(pairs) + "}"
    if isinstance(value, list):
        return "[" + ", ".join(_flow_item(inner, inside=True) for inner in value) + "]"
    return _scalar(value.value if isinstance(value, Remarked) else value, inside)


def _with_remark(value: Any) -> str:
    if isinstance(value, Remarked):
        return f"{_scalar(value.value)}   # {clean_line(value.remark)}" if value.remark else _scalar(value.value)
    return _scalar(value)


def _scalar(value: Any, inside: bool = False) -> str:
    """Write a scalar; text gets quotes wherever it might be read as something else, `inside` braces or outside."""
    if isinstance(value, Decimal):
        return plain_number(value)
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, int | float):
        return str(value)
    text = str(value)
    words = text if inside else text.replace(", ", " ")
    plain = _PLAIN.match(words) and ": " not in text and not text.endswith((" ", ":"))
    if plain and not _LIKE_A_NUMBER.match(text) and text.lower() not in _WORDS_OF_YAML:
        return text
    return json.dumps(text, ensure_ascii=False)
