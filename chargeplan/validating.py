"""Checks what a file says against its model, and says every complaint in plain words."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, TypeVar, get_args

from chargeplan.errors import ItemsError, Mistake
from chargeplan.reading import MAX_DEPTH, Document, KeyPath, renamed

if TYPE_CHECKING:
    from pydantic import BaseModel
    from pydantic_core import ErrorDetails

    ModelT = TypeVar("ModelT", bound=BaseModel)


#: What stands before and after the comma of a number such as 0,06, or of each number of `0,06 up to 600 then 0,08`.
_BEFORE_COMMA = re.compile(r"[-+]?\d+|\d+\s.*\s\d+", re.ASCII)
_AFTER_COMMA = re.compile(r"\d+(?:\s.*)?", re.ASCII)
#: A number and one currency or unit, as in `210 USD`.
_NUMBER_WITH_UNIT = re.compile(r"(\d+(?:\.\d+)?)\s*[^\W\d_]+", re.ASCII)


@dataclass(frozen=True)
class Reading:
    """A document checked against a model: the model, as far as it could be built, and what is wrong.

    Parameters
    ----------
    model : BaseModel or None
        The checked model without the parts that are wrong; None if a part it cannot do without is wrong.
    mistakes : tuple of Mistake
        Everything the check found.
    broken : frozenset of paths
        The values that were left out of the model; later checks must not complain of their absence.
    document : Document
        The document as it was meant: what stands under a misspelt key is under the right one, at its own place.
    """

    model: Any
    mistakes: tuple[Mistake, ...]
    broken: frozenset[KeyPath]
    document: Document


def check_document(document: Document, model: type[ModelT]) -> Reading:
    """Check a document against a pydantic model and collect every mistake with its place.

    Parameters
    ----------
    document : Document
        What `read_document` returned.
    model : type
        The pydantic model of such a file.

    Returns
    -------
    Reading
        The model and the mistakes.

    Examples
    --------
    >>> from pydantic import BaseModel
    >>> class Sheet(BaseModel):
    ...     price: float
    >>> from chargeplan.reading import read_document
    >>> reading = check_document(read_document("a.yaml", text="price: free"), Sheet)
    >>> print(reading.mistakes[0])
    a.yaml:1:1: price: `free` is not a number; write digits with at most one dot, like 0.31
    """
    from pydantic import ValidationError

    document, mistakes = _without_decimal_commas(document)
    data, broken, guessed = document.data, set[KeyPath](), set[KeyPath]()
    # What is wrong is taken out and the rest checked again, so that later checks can go on with the rest.
    for _ in range(MAX_DEPTH):
        try:
            return Reading(model.model_validate(data), tuple(mistakes), frozenset(broken), document)
        except ValidationError as error:
            wrong = [(_path_in(data, detail["loc"]), detail) for detail in error.errors(include_url=False)]
        # A misspelt key comes first: most of the rest may follow from it.
        misspelt = {path: right for path, detail in wrong if (right := _right_key(model, data, path, detail))}
        if misspelt:
            mistakes += [
                document.mistake(path, *_explain(model, path, detail)) for path, detail in wrong if path in misspelt
            ]
            for path, right in misspelt.items():
                if right not in _at(data, path[:-1]):
                    document, data = document.renamed(path, right), renamed(data, path, right)
                    guessed.add((*path[:-1], right))
                else:
                    data = _without(data, {path})
            continue
        present: set[KeyPath] = set()
        stand_ins: dict[KeyPath, object] = {}
        for path, detail in wrong:
            absent = (*path, detail["loc"][-1]) if detail["type"] == "missing" else path
            # That a value does not fit a key that was guessed says nothing.
            if not _within(absent, broken) and path not in guessed and not _follows(model, path, detail, broken):
                mistakes += _mistakes(document, model, path, detail)
            if detail["type"] != "missing":
                present.add(_removable(path))
            elif (example := _example_value(model, path, str(absent[-1]))) is not None:
                stand_ins[absent] = example
            elif path:
                present.add(_removable(path))
            else:
                return Reading(None, tuple(mistakes), frozenset(broken), document)
            broken.add(absent)
        broken |= present
        kept = {path: value for path, value in stand_ins.items() if not _within(path, present)}
        data = _filled(_without(data, present), kept)
    return Reading(None, tuple(mistakes), frozenset(broken), document)


def _without_decimal_commas(document: Document) -> tuple[Document, list[Mistake]]:
    """Find what YAML makes of ``{peak: 0,06}``, which is a 0 and a key `06`, and put the number together again."""
    mistakes: list[Mistake] = []

    def mended(data: Any, here: KeyPath) -> Any:
        if isinstance(data, list):
            return [mended(value, (*here, position)) for position, value in enumerate(data)]
        if not isinstance(data, dict):
            return data
        result: dict[str, Any] = {}
        owner, parts = "", list[str]()
        for key, value in data.items():
            split = value is None and parts and _AFTER_COMMA.fullmatch(key) and _BEFORE_COMMA.fullmatch(parts[-1])
            lines = [document.places.get((*here, name), (0, 0))[0] for name in (owner, key)]
            if split and lines[0] == lines[1]:
                parts.append(key)
                result[owner] = _number_or_text(".".join(parts))
                continue
            complain(here, owner, parts)
            owner, parts = key, [str(value)]
            result[key] = mended(value, (*here, key))
        complain(here, owner, parts)
        return result

    def complain(here: KeyPath, key: str, parts: list[str]) -> None:
        if len(parts) > 1:
            what = f"{key}: `{','.join(parts)}` has a decimal comma"
            mistakes.append(document.mistake((*here, key), what, f"write a decimal point, {'.'.join(parts)}"))

    data = mended(document.data, ())
    return (replace(document, data=data) if mistakes else document), mistakes


def _number_or_text(text: str) -> float | str:
    try:
        return float(text)
    except ValueError:
        return text


def _right_key(model: type[BaseModel], data: Any, path: KeyPath, detail: ErrorDetails) -> str | None:
    """Find the key that a misspelt one was meant to be, if the mapping has no such key yet."""
    if detail["type"] != "extra_forbidden" or not path or not isinstance(path[-1], str):
        return None
    close = difflib.get_close_matches(path[-1], sorted(_known_keys(model, path[:-1])), 1)
    return close[0] if close and close[0] not in _at(data, path[:-1]) else None


def _mistakes(document: Document, model: type[BaseModel], path: KeyPath, detail: ErrorDetails) -> list[Mistake]:
    error = detail.get("ctx", {}).get("error")
    if isinstance(error, ItemsError):
        subject = f"{path[-1]}: " if path and isinstance(path[-1], str) else ""
        parts = [(position, *str(part).partition("; ")) for position, part in error.items]
        return [document.mistake((*path, position), subject + what, remedy) for position, what, _, remedy in parts]
    return [document.mistake(path, *_explain(model, path, detail))]


def _at(data: Any, path: KeyPath) -> Any:
    for part in path:
        data = data[part]
    return data


def _within(path: KeyPath, places: set[KeyPath]) -> bool:
    return any(path[:length] in places for length in range(len(path) + 1))


def _follows(model: type[BaseModel], path: KeyPath, detail: ErrorDetails, broken: set[KeyPath]) -> bool:
    """Tell whether something seems wrong only because a part of it was left out, which may change its form as well."""
    if detail["type"] == "extra_forbidden" and path[-1:] and path[-1] in _known_keys(model, path[:-1]):
        return True
    return bool(path) and any(other[: len(path)] == path for other in broken)


def _removable(path: KeyPath) -> KeyPath:
    """Name the list instead of its item: without one item the others would change their places."""
    while path and isinstance(path[-1], int):
        path = path[:-1]
    return path


def _filled(data: Any, stand_ins: dict[KeyPath, object]) -> Any:
    """Put examples where something needed is missing, so that the rest can be checked too."""
    for path, value in stand_ins.items():
        owner = data
        for part in path[:-1]:
            owner = owner[part]
        owner[path[-1]] = value
    return data


def _path_in(data: Any, loc: tuple[str | int, ...]) -> KeyPath:
    """Keep of pydantic's location what is a path in the data; it also names union branches and keys."""
    path: KeyPath = ()
    for part in loc:
        in_mapping = isinstance(data, dict) and part in data
        in_list = isinstance(data, list) and isinstance(part, int) and part < len(data)
        if in_mapping or in_list:
            data, path = data[part], (*path, part)
    return path


def _without(data: Any, paths: set[KeyPath], here: KeyPath = ()) -> Any:
    if isinstance(data, dict):
        return {k: _without(v, paths, (*here, k)) for k, v in data.items() if (*here, k) not in paths}
    if isinstance(data, list):
        return [_without(v, paths, (*here, i)) for i, v in enumerate(data)]
    return data


def _explain(model: type[BaseModel], path: KeyPath, detail: ErrorDetails) -> tuple[str, str]:
    """Say pydantic's complaint in plain words, with a remedy."""
    kind, given = detail["type"], detail["input"]
    subject = f"{path[-1]}: " if path and isinstance(path[-1], str) else ""
    if kind == "extra_forbidden":
        known = sorted(_known_keys(model, path[:-1]))
        close = difflib.get_close_matches(str(path[-1]), known, 1)
        return (
            f"`{path[-1]}` is not known here",
            f"did you mean `{close[0]}`?" if close else f"known are {', '.join(known)}",
        )
    if kind == "missing":
        name = str(detail["loc"][-1])
        item = isinstance(path[-1], int) if path else False
        where = f" in item {int(path[-1]) + 1} of `{path[-2]}`" if item else f" under `{path[-1]}`" if path else ""
        return f"`{name}`{where} is missing", f"add {_example(model, path, name)}"
    if kind == "value_error":
        what, _, remedy = str(detail["ctx"]["error"]).partition("; ")
        return subject + what, remedy
    shown = _shown(given)
    if kind == "too_long":
        return f"{subject}{len(given)} entries are too many", f"{detail['ctx']['max_length']} can be read"
    if kind == "too_short":
        return f"{subject}there is nothing in it", f"it needs {detail['ctx']['min_length']} or more"
    if kind in ("string_too_short", "string_too_long"):
        how = "short" if kind == "string_too_short" else "long"
        return f"{subject}{shown} is too {how}", detail["msg"].replace("String should", "it should")
    if kind.startswith("int"):
        return f"{subject}{shown} is not a whole number", "write digits only, like 3"
    if kind.startswith("float") and (alone := _NUMBER_WITH_UNIT.fullmatch(str(given).strip())):
        return f"{subject}{shown} is not a number", f"write it without currency or unit, like {alone[1]}"
    if kind.startswith(("float", "int", "finite_number")):
        return f"{subject}{shown} is not a number", "write digits with at most one dot, like 0.31"
    if kind.startswith(("greater", "less")):
        return f"{subject}{shown} is out of range", detail["msg"].replace("Input should be", "it must be")
    if kind.startswith("bool"):
        return f"{subject}{shown} is neither true nor false", "write true or false"
    if kind == "literal_error":
        return f"{subject}{shown} is not known", f"write one of {detail['ctx']['expected']}"
    if kind.startswith(("string", "str")):
        return f"{subject}{shown} is not text", "put it in quotes if it is meant as text"
    forms = {"dict": "a mapping", "model": "a mapping", "list": "a list", "tuple": "a list"}
    if form := forms.get(kind.split("_")[0]):
        remedy = "see the examples in the README for the form"
        if form == "a list":
            is_one = isinstance(given, (str, int, float)) and len(str(given)) < 30
            remedy = f"write a list, like `[{given}]`" if is_one else "write a list, each item on a line after a dash"
        return f"{subject}{shown} stands where {form} is wanted", remedy
    return f"{subject}{detail['msg']}", ""


def _shown(given: object) -> str:
    if given is None:
        return "nothing"
    if not isinstance(given, (str, int, float)):
        return "a list" if isinstance(given, list) else "a mapping"
    text = str(given)
    return f"`{text}`" if len(text) < 60 else f"`{text[:56]}...`"


def _models(annotation: Any) -> Iterator[type[BaseModel]]:
    from pydantic import BaseModel

    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for argument in get_args(annotation):
        yield from _models(argument)


def _owners(model: type[BaseModel], path: KeyPath) -> list[type[BaseModel]]:
    """Find the models that may stand at a path."""
    found = [model]
    for part in path:
        fields = [
            info.annotation
            for owner in found
            for name, info in owner.model_fields.items()
            if part in (info.alias, name)
        ]
        if fields:
            found = [inner for annotation in fields for inner in _models(annotation)]
    return found


def _known_keys(model: type[BaseModel], path: KeyPath) -> set[str]:
    return {info.alias or name for owner in _owners(model, path) for name, info in owner.model_fields.items()}


def _example_value(model: type[BaseModel], path: KeyPath, name: str) -> object:
    for owner in _owners(model, path):
        for attribute, info in owner.model_fields.items():
            if name in (info.alias, attribute) and info.examples:
                return info.examples[0]
    return None


def _example(model: type[BaseModel], path: KeyPath, name: str) -> str:
    value = _example_value(model, path, name)
    return f"`{name}:`" if value is None else f"for example `{name}: {value}`"
