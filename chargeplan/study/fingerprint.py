"""A short text that is the same for equal content, in every process and on every machine.

What is hashed is content, value by value, not what ``pickle`` would write: that hangs on which objects are shared, on
what has been cached in them, and for sets on the seed of the process.
"""

from __future__ import annotations

import copyreg
import hashlib
import sys
from collections.abc import Iterable, Mapping, Set
from dataclasses import fields, is_dataclass, replace
from datetime import date, time, timedelta
from functools import cached_property
from importlib import metadata
from pathlib import PurePath
from types import BuiltinFunctionType, FunctionType, MethodType
from typing import Any, Final

import numpy as np

from chargeplan.errors import InputError
from chargeplan.study.chunks import Chunk, Cut
from chargeplan.study.study import Study, Unit

#: Types whose repr says all there is, and is the same everywhere.
_PLAIN: Final = (type(None), bool, int, float, complex, str, bytes, date, time, timedelta)


def fingerprint_of_study(study: Study, cut: Cut) -> str:
    """Make a text of all that a study says of the whole, and of how it is cut.

    Parameters
    ----------
    study : Study
        What is compared. Of the households and of what their houses use only the names count, so that they need not
        be made; `fingerprint_of_chunk` counts what is in them.
    cut : Cut
        The cut.

    Returns
    -------
    str
        32 characters. The version of this package is part of it, since another one may reckon differently.

    Raises
    ------
    InputError
        If the study holds a function without a name of its own.
    """
    whole = {field.name: getattr(study, field.name) for field in fields(study)}
    whole |= {"households": list(study.households), "house": sorted(study.house), "cut": cut}
    return _Walk().digest((metadata.version("chargeplan"), whole)).hex()


def fingerprint_of_chunk(chunk: Chunk) -> str:
    """Make a text of all that decides the results of a chunk, households and their house loads included.

    Parameters
    ----------
    chunk : Chunk
        Some units.

    Returns
    -------
    str
        32 characters.

    Raises
    ------
    InputError
        If a unit holds a function without a name of its own.
    """
    return _Walk().digest([_deciding(unit) for unit in chunk.units]).hex()


def _deciding(unit: Unit) -> Unit:
    """Leave out where a household's state of charge is read tonight: it tells nothing of a year."""
    return replace(unit, household=replace(unit.household, soc_file=None))


#: Of a rate, the line of the file at which a price stands counts for nothing: the same sheet may lie elsewhere.
_RATES, _WHERE = "chargeplan.tariff.", ("place", "places")


class _Walk:
    """Hashes what it meets, each object once."""

    def __init__(self) -> None:
        self.known: dict[int, tuple[bytes, object]] = {}  # with the object, which keeps its id from being used again

    def digest(self, value: Any) -> bytes:
        """Hash a value."""
        if isinstance(value, _PLAIN) and type(value).__module__ in ("builtins", "datetime"):
            return _hash("plain", [f"{type(value).__name__} {value!r}".encode()])
        if id(value) not in self.known:
            self.known[id(value)] = (_hash("within itself", []), value)
            kind, parts = self._parts(value)
            self.known[id(value)] = (_hash(kind, parts), value)
        return self.known[id(value)][0]

    def _parts(self, value: Any) -> tuple[str, Iterable[bytes]]:
        kind = f"{type(value).__module__}.{type(value).__qualname__}"
        if isinstance(value, (np.ndarray, np.generic)) and not value.dtype.hasobject:
            array = np.asarray(value)
            return "array", [str(array.dtype.str).encode(), str(array.shape).encode(), array.tobytes()]
        if isinstance(value, np.ndarray):
            return "objects", [str(value.shape).encode(), *map(self.digest, value.ravel().tolist())]
        if isinstance(value, (list, tuple)):
            return "sequence", map(self.digest, value)
        if isinstance(value, Mapping):
            return "mapping", (self.digest(part) for pair in value.items() for part in pair)
        if isinstance(value, Set):
            return "set", sorted(map(self.digest, value))
        if isinstance(value, PurePath):
            return "path", [str(value).encode()]
        if isinstance(value, MethodType):
            return "method", [self.digest(value.__self__), value.__name__.encode()]
        if isinstance(value, (type, FunctionType, BuiltinFunctionType)):
            return "named", [_name(value).encode()]
        if is_dataclass(value):
            told = (field.name for field in fields(value) if field.init)
            if kind.startswith(_RATES):
                told = (name for name in told if name not in _WHERE)
            return kind, (self.digest((name, getattr(value, name))) for name in told)
        return kind, [self.digest(_reduced(value))]


def _hash(kind: str, parts: Iterable[bytes]) -> bytes:
    """Hash parts after their lengths, so that no two lists of parts run into the same bytes."""
    found = hashlib.blake2b(kind.encode() + b"\0", digest_size=16)
    for part in parts:
        found.update(len(part).to_bytes(8, "little") + part)
    return found.digest()


def _name(value: Any) -> str:
    """Give the name by which anyone finds a function or class."""
    found: Any = sys.modules.get(value.__module__ or "builtins")
    for name in value.__qualname__.split("."):
        found = getattr(found, name, None)
    if found is not value:
        raise InputError(
            f"the results of this study hang on {value!r}, which has no name by which a later run would know it; "
            "use a function or class at the top of a module, or run the study without out="
        )
    return f"{value.__module__}.{value.__qualname__}"


def _reduced(value: object) -> Any:
    """Take an object apart the way pickle does, but leave out what is worked out on demand and kept."""
    reduce = copyreg.dispatch_table.get(type(value))
    try:
        parts = reduce(value) if reduce else value.__reduce_ex__(4)
    except TypeError as error:
        raise InputError(f"it cannot be told what a {type(value).__name__} holds: {error}; leave it out") from None
    if isinstance(parts, str):  # the name of something that there is once
        return parts
    make, given, state, *items = (*parts, None, None, None)[:5]
    if isinstance(state, dict):
        kind = type(value)
        kept = [name for name in state if isinstance(getattr(kind, str(name), None), cached_property)]
        state = {name: held for name, held in state.items() if name not in kept}
    return (make, given, state, *(part if part is None else list(part) for part in items))
