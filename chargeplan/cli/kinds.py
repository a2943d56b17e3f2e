"""Which kind of file a command was given: one line about that says more than every key that is not known there."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from typing import Final, Literal, TypeAlias, TypeVar

from chargeplan.errors import FileError, Mistake

Kind: TypeAlias = Literal["household", "panel", "study", "sheet"]
ResultT = TypeVar("ResultT")

#: What a file of each kind is called, and which command takes it.
_CALLED: Final[dict[Kind, tuple[str, str]]] = {
    "household": ("a household file", "use `chargeplan tonight {file}`"),
    "panel": ("the file of a panel with several cars", "use `chargeplan together {file}`"),
    "study": ("a study file", "use `chargeplan study {file}`"),
    "sheet": ("a rate sheet", "name it under `tariff` in a household file, or use `chargeplan prices {file}`"),
}
#: By kind: keys of which a file of another kind has none.
_KEYS: Final[dict[Kind, frozenset[str]]] = {
    "panel": frozenset(("circuits", "cars", "other_load")),
    "study": frozenset(("households", "tariffs", "equipment", "driving")),
    "household": frozenset(("vehicle", "habits", "evse", "circuit")),
    "sheet": frozenset(("prices", "periods", "components", "versions", "market", "currency")),
}

#: How the names of files end that hold tables.
_TABLES: Final = (".csv", ".tsv", ".parquet", ".pq")


def kind_of(data: Mapping[str, object]) -> Kind | None:
    """Tell the kind of a file by its keys.

    Parameters
    ----------
    data : mapping
        What stands in it.

    Returns
    -------
    str or None
        None if it has keys of none, or as many of several.

    Examples
    --------
    >>> kind_of({"name": "Ours", "vehicle": {}, "habits": {}}), kind_of({"name": "Ours"})
    ('household', None)
    """
    counts = {kind: len(keys & data.keys()) for kind, keys in _KEYS.items()}
    most = max(counts.values())
    found = [kind for kind, count in counts.items() if count == most]
    return found[0] if most and len(found) == 1 else None


def no_yaml(file: str) -> Mistake | None:
    """Say what a folder, or a table of a meter or of journeys, is good for; None for anything else."""
    if os.path.isdir(file):
        return Mistake(file, 1, 1, "this is a folder", "name the files in it, as in `chargeplan check rates/*.yaml`")
    if os.path.isfile(file) and file.lower().endswith(_TABLES):
        what = "this is a table, as of a meter or of journeys, not a file of `key: value` lines"
        remedy = (
            "give a meter's values to `chargeplan bill SHEET --load FILE`, or name the file in a study file: under "
            "`house` as `load`, journeys under `driving` as `log`"
        )
        return Mistake(file, 1, 1, what, remedy)
    return None


def loaded(load: Callable[[str], ResultT], file: str, wanted: Kind) -> ResultT:
    """Load a file; if that fails because it is of another kind, say only that.

    Parameters
    ----------
    load : callable
        Loads a file of the kind that is wanted.
    file : str
        The file, or the name of one that comes with chargeplan.
    wanted : {"household", "panel", "study", "sheet"}
        What a command takes.

    Returns
    -------
    Whatever is loaded.

    Raises
    ------
    FileError
        With one line if the file is of another kind, else with every mistake.
    """
    try:
        return load(file)
    except FileError as error:
        if (mistake := _of_another_kind(file, wanted)) is not None:
            raise FileError([mistake]) from None
        raise error from None


def _of_another_kind(file: str, wanted: Kind) -> Mistake | None:
    from chargeplan.cli.shipped import shipped_path
    from chargeplan.reading import read_document

    if (mistake := no_yaml(file)) is not None:
        return mistake
    try:
        document = read_document(shipped_path(file))
    except FileError:
        return None
    kind = kind_of(document.data)
    if kind is None or kind == wanted:
        return None
    called, remedy = _CALLED[kind]
    return Mistake(file, 1, 1, f"this is {called}, not {_CALLED[wanted][0]}", remedy.format(file=file))
