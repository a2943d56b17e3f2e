"""What goes wrong, and how it is said: one line per mistake, with place and remedy."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


class ChargeplanError(Exception):
    """Something the user can put right; ``exit_code`` is what the command returns."""

    exit_code = 2


class InputError(ChargeplanError, ValueError):
    """One wrong value, given through Python or on the command line."""


class ItemsError(InputError):
    """Several wrong items of one list, each with its position from 0."""

    def __init__(self, items: Iterable[tuple[int, InputError]]) -> None:
        self.items: tuple[tuple[int, InputError], ...] = tuple(items)
        super().__init__(" and ".join(str(error) for _, error in self.items))

    def __reduce__(self) -> tuple[type[ItemsError], tuple[object, ...]]:
        return type(self), (self.items,)  # what makes it again, for an error that comes from another process


@dataclass(frozen=True, order=True)
class Mistake:
    """One mistake in a file.

    Parameters
    ----------
    file : str
        Name of the file as the user gave it.
    line, column : int
        Place of the mistake, both counted from 1.
    what : str
        What is wrong, in plain words.
    remedy : str
        What would be right.

    Examples
    --------
    >>> print(Mistake("home.yaml", 7, 3, "25:00 is not a time of day", "write 00:00 to 24:00"))
    home.yaml:7:3: 25:00 is not a time of day; write 00:00 to 24:00
    """

    file: str
    line: int
    column: int
    what: str
    remedy: str = ""

    def __str__(self) -> str:
        text = f"{self.file}:{self.line}:{self.column}: {self.what}"
        return f"{text}; {self.remedy}" if self.remedy else text


class FileError(ChargeplanError, ValueError):
    """All the mistakes of one file at once, in the order of their lines."""

    def __init__(self, mistakes: Iterable[Mistake]) -> None:
        self.mistakes: tuple[Mistake, ...] = tuple(sorted(set(mistakes)))
        super().__init__("\n".join(map(str, self.mistakes)))

    def __reduce__(self) -> tuple[type[FileError], tuple[object, ...]]:
        return type(self), (self.mistakes,)


class SolverError(ChargeplanError, RuntimeError):
    """A solver stopped without an answer that can be trusted."""

    exit_code = 1
