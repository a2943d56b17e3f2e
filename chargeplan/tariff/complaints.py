"""Collects the contradictions of a sheet, each with its place, while the sheet is worked out."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from chargeplan.errors import InputError, Mistake
from chargeplan.reading import Document, KeyPath


@dataclass
class Complaints:
    """What is wrong with one sheet, so far.

    Parameters
    ----------
    document : Document
        The file, for the places of mistakes.
    broken : frozenset of paths
        Values the model was built without; nothing is said of their absence.
    mistakes : list of Mistake
        What was found.
    origin : dict
        For each term, the path of the version that states it now.
    strange : bool
        Whether the file has keys that nobody knows, under which anything may stand.
    """

    document: Document
    broken: frozenset[KeyPath] = frozenset()
    mistakes: list[Mistake] = field(default_factory=list)
    origin: dict[str, KeyPath] = field(default_factory=dict)
    strange: bool = False

    def add(self, path: KeyPath, what: str, remedy: str = "") -> None:
        """Note a mistake; ``path`` begins with a term that a version may have changed."""
        mistake = self.document.mistake(self.at(path), what, remedy)
        if mistake not in self.mistakes:
            self.mistakes.append(mistake)

    def add_error(self, path: KeyPath, error: InputError) -> None:
        """Note what a reader of one value has raised."""
        what, _, remedy = str(error).partition("; ")
        self.add(path, what, remedy)

    def at(self, path: KeyPath) -> KeyPath:
        """Find where a path stands in the file."""
        return (*self.origin.get(str(path[0]), ()), *path) if path else path

    def place(self, path: KeyPath) -> str:
        """Write file and line of the value at a path, or of the nearest thing above it."""
        full = self.at(path)
        while full and full not in self.document.places:
            full = full[:-1]
        return f"{self.document.file}:{self.document.places.get(full, (1, 1))[0]}"

    def is_broken(self, *path: str | int) -> bool:
        """Tell whether something at a path could not be read."""
        prefix = self.at(path)
        return any(broken[: len(prefix)] == prefix for broken in self.broken)

    def nameless(self, key: str) -> bool:
        """Tell whether the names under a key, seasons or periods, are not known because of a mistake told already."""
        return not self.names(key) and (self.is_broken(key) or self.strange)

    def value(self, *path: str | int) -> Any:
        """Give what the file says at a path, whether it could be read or not; None if it says nothing."""
        found: Any = self.document.data
        for part in self.at(path):
            try:
                found = found[part]
            except (LookupError, TypeError):
                return None
        return found

    def names(self, *path: str | int) -> tuple[str, ...]:
        """List the keys the file gives at a path, whether they could be read or not."""
        found = self.value(*path)
        return tuple(map(str, found)) if isinstance(found, dict) else ()
