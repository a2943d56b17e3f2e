"""What a draft assumed, found unclear or left out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from chargeplan.reading import KeyPath

NoteKind = Literal["assumed", "unclear", "left out"]


@dataclass(frozen=True)
class Note:
    """One thing that a person should look at before trusting a draft.

    Parameters
    ----------
    kind : str
        ``assumed``: the source does not say it, the sheet does. ``unclear``: the source contradicts
        itself or can be read in two ways. ``left out``: the sheet does not hold it.
    place : path
        Keys of the sheet at which it is written as a comment; empty for the top of the file.
    text : str
        What it is, in plain words.

    Examples
    --------
    >>> print(Note("assumed", ("holidays",), "no day is a holiday"))
    assumed: no day is a holiday
    """

    kind: NoteKind
    place: KeyPath
    text: str

    def __str__(self) -> str:
        return f"{self.kind}: {self.text}"
