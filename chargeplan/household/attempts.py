"""Collects the mistakes of a file while the objects that do the work are made of its parts."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from chargeplan.errors import FileError, InputError, Mistake
from chargeplan.household.wording import in_file_words
from chargeplan.reading import Document, KeyPath

ResultT = TypeVar("ResultT")


@dataclass
class Attempts:
    """What is wrong with one file, so far.

    Parameters
    ----------
    document : Document
        The file, for the places of mistakes.
    broken : frozenset of paths
        Values the model was built without; nothing is said of what may only follow from that.
    mistakes : list of Mistake
        What was found, in this file and in those it names.

    Examples
    --------
    >>> from chargeplan.charging import Evse
    >>> from chargeplan.reading import read_document
    >>> attempts = Attempts(read_document("a.yaml", text="evse: {max_current: 100 A}"), frozenset())
    >>> attempts.attempt(("evse",), lambda: Evse(100))
    >>> print(attempts.mistakes[0])
    a.yaml:1:8: max_current is out of range; an EVSE announces 6 to 80 A; write for example 32 A
    """

    document: Document
    broken: frozenset[KeyPath]
    mistakes: list[Mistake] = field(default_factory=list)

    def complain(self, path: KeyPath, what: str, remedy: str = "", *, key: str = "") -> None:
        """Note a mistake of a part, or of one key of it, unless it may only follow from another one there."""
        if not any(known[: len(path)] == path for known in self.broken):
            self.mistakes.append(self.document.mistake((*path, key) if key else path, what, remedy))

    def attempt(self, path: KeyPath, make: Callable[[], ResultT]) -> ResultT | None:
        """Make something, or note why it cannot be made.

        Parameters
        ----------
        path : path
            Of the part it is made of.
        make : callable
            Makes it.

        Returns
        -------
        object or None
            What was made.
        """
        try:
            return make()
        except InputError as error:
            key, what, remedy = self.in_words(str(error))
            self.complain(path, what, remedy, key=key)
        except FileError as error:
            self.mistakes += error.mistakes
        return None

    def in_words(self, complaint: str) -> tuple[str, str, str]:
        """Say a complaint in the words of the file: the key, what is wrong, what would be right."""
        return in_file_words(complaint)
