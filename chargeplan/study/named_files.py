"""The files that a study file names: where they are, and what they are called in the results."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final, TypeAlias

from chargeplan.errors import InputError
from chargeplan.household.household import Household, example_folder, examples, load_household
from chargeplan.reading import KeyPath
from chargeplan.tariff import Tariff, load_tariff, shipped_sheets
from chargeplan.tariff.loading import shipped_folder

#: Households and rates by name, each with its place in the study file.
Homes: TypeAlias = dict[str, tuple[KeyPath, Household]]
Rates: TypeAlias = dict[str, tuple[KeyPath, Tariff]]

_SUFFIXES: Final = (".yaml", ".yml")


def listed(key: str, given: str | Sequence[str] | Mapping[str, Any]) -> list[tuple[str, KeyPath, Any]]:
    """List what stands under a key that takes one name, several, or names with something for each.

    Parameters
    ----------
    key : str
        The key.
    given : str, list of str, or mapping
        What stands there.

    Returns
    -------
    list of (str, path, object)
        What each is called, where it stands, and what was written.

    Examples
    --------
    >>> listed("tariffs", ["flat", "rates/mine.yaml"])
    [('flat', ('tariffs', 0), 'flat'), ('mine', ('tariffs', 1), 'rates/mine.yaml')]
    """
    if isinstance(given, str):
        return [(called(given), (key,), given)]
    if isinstance(given, Mapping):
        return [(name, (key, name), value) for name, value in given.items()]
    return [(called(name), (key, number), name) for number, name in enumerate(given)]


def called(file: str) -> str:
    """Make a name of that of a file.

    Examples
    --------
    >>> called("rates/my-rate.yaml"), called("flat")
    ('my-rate', 'flat')
    """
    path = Path(file)
    return path.stem if path.suffix.lower() in _SUFFIXES else path.name


def named_household(folder: Path, name: str) -> Household:
    """Load a household file beside the study, or an example.

    Parameters
    ----------
    folder : Path
        Where the study file is.
    name : str
        As it was written there.

    Returns
    -------
    Household

    Raises
    ------
    InputError
        If there is none.
    FileError
        With every mistake of it.
    """
    beside = _beside(folder, name)
    if beside is None and name not in examples():
        what = f"there is no household `{name[:80]}`"
        raise InputError(f"{what}; name a file beside this one, or {', '.join(examples())}")
    return load_household(beside or example_folder() / f"{name}.yaml")


def named_tariff(folder: Path, name: str) -> Tariff:
    """Load a rate sheet beside the study, or one that comes with the package; see `named_household`."""
    beside = _beside(folder, name)
    if beside is None and name not in shipped_sheets():
        what = f"there is no rate sheet `{name[:80]}`"
        raise InputError(f"{what}; name a file beside this one, or {', '.join(shipped_sheets())}")
    return load_tariff(beside or shipped_folder() / f"{name}.yaml")


def named_file(folder: Path, name: str) -> Path:
    """Find a file beside the study; see `named_household`."""
    beside = _beside(folder, name)
    if beside is None:
        raise InputError(f"there is no file `{name[:80]}`; name a file beside this one")
    return beside


def _beside(folder: Path, name: str) -> Path | None:
    path = folder / name
    try:
        return path if path.is_file() else None
    except (OSError, ValueError):
        return None
