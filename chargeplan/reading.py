"""Safe reading of the YAML files people write, keeping the place of every value.

Two steps, so that a file can do no harm: measure the stream of events against fixed limits, then
build plain data with a line and column for every path.
"""

from __future__ import annotations

import os
import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

import yaml

from chargeplan.errors import FileError, Mistake

MAX_BYTES: Final = 1_000_000
MAX_DEPTH: Final = 20
MAX_ALIASES: Final = 200
MAX_VALUES: Final = 50_000

#: The way to one value inside a file: keys and list positions, from the top.
KeyPath = tuple[str | int, ...]

_FAR_FEWER: Final = "a file of this kind needs far fewer"
#: What YAML counts as the end of a line.
_LINE_BREAK: Final = re.compile(r"\r\n?|[\n\x85\u2028\u2029]")
_TAG: Final = "tag:yaml.org,2002:"
_KNOWN_TAGS: Final = {_TAG + name for name in ("str", "int", "float", "bool", "null", "map", "seq")}


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """YAML 1.2 scalars: 16:00, 2026-07-04, on, off and no stay the text that was written."""

    yaml_implicit_resolvers: dict[str, list[tuple[str, re.Pattern[str]]]] = {}  # noqa: RUF012 - pyyaml's own interface


for _name, _pattern, _first in (
    ("bool", r"true|True|TRUE|false|False|FALSE", "tTfF"),
    ("null", r"null|Null|NULL|~|", "nN~"),
    ("int", r"[-+]?[0-9]+", "-+0123456789"),
    ("float", r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?", "-+.0123456789"),
):
    _Loader.add_implicit_resolver(_TAG + _name, re.compile(rf"(?:{_pattern})\Z", re.ASCII), list(_first))
_Loader.yaml_implicit_resolvers[""] = [(_TAG + "null", re.compile(r"\Z"))]


@dataclass(frozen=True)
class Document:
    """A YAML file as plain data, and where each value stands in it.

    Parameters
    ----------
    file : str
        Name of the file as the user gave it, for messages.
    data : dict, list, str, int, float, bool or None
        What the file says.
    places : mapping of path to (line, column)
        Line and column, from 1, of every value; a mapping's value has the place of its key.
    """

    file: str
    data: Any
    places: Mapping[KeyPath, tuple[int, int]] = field(repr=False)

    def mistake(self, path: KeyPath, what: str, remedy: str = "") -> Mistake:
        """Make a message about the value at a path, or about the nearest thing above it that exists."""
        while path and path not in self.places:
            path = path[:-1]
        line, column = self.places.get(path, (1, 1))
        return Mistake(self.file, line, column, _one_line(what), _one_line(remedy))

    def renamed(self, path: KeyPath, key: str) -> Document:
        """Give the document with another key in place of the last one of a path; all places stay as they are."""
        length, right = len(path), (*path[:-1], key)
        places = {right + place[length:] if place[:length] == path else place: at for place, at in self.places.items()}
        return replace(self, data=renamed(self.data, path, key), places=places)


def renamed(data: Any, path: KeyPath, key: str) -> Any:
    """Give the same data with another key in place of the last one of a path.

    Examples
    --------
    >>> renamed({"tariff": [{"prise": 0.2, "hours": "all day"}]}, ("tariff", 0, "prise"), "price")
    {'tariff': [{'price': 0.2, 'hours': 'all day'}]}
    """
    first, rest = path[0], path[1:]
    if isinstance(data, list):
        return [renamed(value, rest, key) if position == first else value for position, value in enumerate(data)]
    if rest:
        return {name: renamed(value, rest, key) if name == first else value for name, value in data.items()}
    return {key if name == first else name: value for name, value in data.items()}


def read_document(source: str | os.PathLike[str], *, text: str | bytes | None = None) -> Document:
    """Read a YAML file safely.

    Parameters
    ----------
    source : path
        The file; with `text` given, only a name for messages.
    text : str or bytes, optional
        What the file holds, if it was read already.

    Returns
    -------
    Document
        The data and the places.

    Raises
    ------
    FileError
        If the file cannot be read, is not one YAML mapping, repeats a key, or is beyond the limits
        (1 MB, 20 levels, 200 aliases, 50,000 values).

    Examples
    --------
    >>> read_document("a.yaml", text="hours: 16:00-21:00").data
    {'hours': '16:00-21:00'}
    """
    name = os.fspath(source)
    content = _decode(name, file_content(Path(name), MAX_BYTES, "a YAML file") if text is None else text)
    try:
        _measure(name, content)
        node = yaml.compose(content, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        raise FileError([_syntax_mistake(name, content, error)]) from None
    except yaml.reader.ReaderError as error:
        # The position is in bytes or in characters, as the reader likes; the character itself is certain.
        line, column = _line_column(content[: content.find(chr(error.character))])
        what = f"the character U+{error.character:04X} is not allowed in YAML"
        raise FileError([Mistake(name, line, column, what, "remove it")]) from None
    if node is None or (isinstance(node, yaml.ScalarNode) and not node.value.strip()):
        raise FileError([Mistake(name, 1, 1, "the file is empty", "see the sheets in tariffs/ for what to write")])
    builder = _Builder(name)
    data = builder.value(node, ())
    if not builder.mistakes and not isinstance(data, dict):
        builder.mistakes.append(
            Mistake(name, 1, 1, "the file is not a list of `key: value` lines", "start with `name:`")
        )
    if builder.mistakes:
        raise FileError(builder.mistakes)
    return Document(name, data, builder.places)


def _one_line(text: str) -> str:
    """Keep line breaks and terminal codes that a value holds out of the message about it."""
    return "".join(character if character.isprintable() else " " for character in text)


def file_content(path: Path, max_bytes: int, wanted: str) -> bytes:
    """Read a file, but not much more of it than is allowed.

    Parameters
    ----------
    path : Path
        The file.
    max_bytes : int
        The most that is allowed; a longer file gives one byte more.
    wanted : str
        What to name instead of a folder, as in ``a YAML file``.

    Returns
    -------
    bytes
        What the file holds.

    Raises
    ------
    FileError
        If it cannot be read.
    """
    if os.path.exists(path) and not os.path.isfile(path):
        raise FileError([Mistake(str(path), 1, 1, "this is not a file", f"name {wanted}")])
    try:
        with path.open("rb") as stream:
            content = stream.read(max_bytes + 1)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise FileError([Mistake(str(path), 1, 1, f"cannot read the file: {reason}", "check the name")]) from None
    return content


def _decode(name: str, content: str | bytes) -> str:
    if isinstance(content, str):
        content = content.encode("utf-8", "surrogatepass")
    if len(content) > MAX_BYTES:
        what = f"the file is larger than {MAX_BYTES // 1000:,} kB"
        raise FileError(
            [Mistake(name, 1, 1, what, "a rate sheet or household file is a few kB; is this the right file?")]
        )
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line, column = _line_column(content[: error.start].decode("utf-8-sig", "replace"))
        raise FileError([Mistake(name, line, column, "the file is not UTF-8 text", "save it as UTF-8")]) from None


def _line_column(before: str) -> tuple[int, int]:
    lines = _LINE_BREAK.split(before)
    return len(lines), len(lines[-1]) + 1


def _measure(name: str, content: str) -> None:
    """Refuse deep, huge or alias-ridden files before anything is built from them."""
    depth = aliases = values = 0
    for event in yaml.parse(content, Loader=_Loader):
        kind, problem = type(event), ""
        if kind in (yaml.MappingStartEvent, yaml.SequenceStartEvent):
            depth += 1
            if depth > MAX_DEPTH:
                problem = f"more than {MAX_DEPTH} levels inside each other"
        elif kind in (yaml.MappingEndEvent, yaml.SequenceEndEvent):
            depth -= 1
        elif kind is yaml.AliasEvent:
            aliases += 1
            if aliases > MAX_ALIASES:
                problem = f"more than {MAX_ALIASES} aliases (*name)"
        values += isinstance(event, yaml.NodeEvent)
        if values > MAX_VALUES:
            problem = f"more than {MAX_VALUES:,} values"
        if problem:
            mark = event.start_mark
            line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
            raise FileError([Mistake(name, line, column, problem, _FAR_FEWER)])


def _syntax_mistake(name: str, content: str, error: yaml.MarkedYAMLError) -> Mistake:
    mark = error.problem_mark or error.context_mark
    line, column = (mark.line + 1, mark.column + 1) if mark else (1, 1)
    lines = _LINE_BREAK.split(content)
    if line > len(lines):  # the parser points behind the end of the file
        line, column = len(lines), len(lines[-1]) + 1
    written = lines[line - 1]
    if "\t" in written[: max(column, len(written) - len(written.lstrip()))]:
        return Mistake(name, line, written.index("\t") + 1, "a tab is used to indent", "use spaces")
    problem = (error.problem or str(error)).replace("'", "`")
    if "expected a single document" in str(error):
        return Mistake(name, line, column, "the file holds more than one document (---)", "keep one per file")
    if "mapping values are not allowed" in problem:
        return Mistake(
            name, line, column, "a second `:` on this line", "put quotes around the text, or a line break before it"
        )
    if "maximum nesting depth" in problem:
        return Mistake(name, line, column, f"more than {MAX_DEPTH} levels inside each other", _FAR_FEWER)
    if "undefined alias" in problem:
        return Mistake(name, line, column, problem, "write the anchor (&name) before its alias (*name)")
    return Mistake(name, line, column, f"not valid YAML: {problem}", "check brackets, quotes, colons and indentation")


class _Builder:
    """Turns composed nodes into plain data, noting where everything stands."""

    def __init__(self, name: str) -> None:
        self.name = name
        self.places: dict[KeyPath, tuple[int, int]] = {}
        self.mistakes: list[Mistake] = []

    def complain(self, node: yaml.Node, what: str, remedy: str) -> None:
        place = node.start_mark.line + 1, node.start_mark.column + 1
        self.mistakes.append(Mistake(self.name, *place, _one_line(what), remedy))

    def value(self, node: yaml.Node, path: KeyPath) -> Any:
        self.places.setdefault(path, (node.start_mark.line + 1, node.start_mark.column + 1))
        if len(self.places) > MAX_VALUES or len(path) > MAX_DEPTH:
            if not any("unfolded" in mistake.what for mistake in self.mistakes):
                self.complain(
                    node, "aliases (*name) make the file too large when unfolded", "write the values out instead"
                )
            return None
        if node.tag not in _KNOWN_TAGS:
            self.complain(node, f"{node.tag!r} is a tag, and tags are not read", "remove it")
            return None
        if isinstance(node, yaml.MappingNode):
            return self.mapping(node, path)
        if isinstance(node, yaml.SequenceNode):
            return [self.value(item, (*path, position)) for position, item in enumerate(node.value)]
        assert isinstance(node, yaml.ScalarNode)
        return self.scalar(node)

    def mapping(self, node: yaml.MappingNode, path: KeyPath) -> dict[str, Any]:
        result: dict[str, Any] = {}
        for key_node, value_node in node.value:
            if not isinstance(key_node, yaml.ScalarNode):
                self.complain(key_node, "a name on the left of `:` must be plain text", "write `name: value`")
                continue
            key = str(key_node.value)
            if key_node.tag not in _KNOWN_TAGS:
                self.complain(key_node, f"{key_node.tag!r} is a tag, and tags are not read", "remove it")
            elif key == "<<":
                self.complain(key_node, "merging with << is not read", "name the hours once under `periods:` instead")
            elif key in result:
                first = self.places[(*path, key)][0]
                self.complain(key_node, f"`{key}` is given twice, first on line {first}", "keep one of them")
            else:
                self.places[(*path, key)] = (key_node.start_mark.line + 1, key_node.start_mark.column + 1)
                result[key] = self.value(value_node, (*path, key))
        return result

    def scalar(self, node: yaml.ScalarNode) -> str | int | float | bool | None:
        kind, text = node.tag.removeprefix(_TAG), str(node.value)
        try:
            if kind == "int":
                return int(text)
            if kind == "float":
                return float(text)
        except ValueError:
            self.complain(node, f"`{text[:40]}` is not a number that can be read", "write digits with at most one dot")
            return None
        if kind == "bool":
            return text.lower() == "true"
        return None if kind == "null" else text
