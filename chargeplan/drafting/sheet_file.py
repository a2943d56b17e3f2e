"""Writes a drafted sheet into a file: all of it or nothing, and never over another file unless told to."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path

from chargeplan.errors import InputError
from chargeplan.writing import write_whole


def write_sheets(texts: Mapping[str | os.PathLike[str], str], *, force: bool = False) -> None:
    """Write sheets into files.

    Parameters
    ----------
    texts : mapping of path to str
        What to write into each file.
    force : bool
        Whether files that are there may be replaced.

    Raises
    ------
    InputError
        If a file is there already, before any is written; or if one cannot be written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     write_sheets({Path(folder) / "a.yaml": "name: A"})
    ...     write_sheets({Path(folder) / "a.yaml": "name: B"})  # doctest: +ELLIPSIS
    Traceback (most recent call last):
    chargeplan.errors.InputError: ...a.yaml is there already; choose another name, or replace it with --force
    """
    there = [os.fspath(path) for path in texts if not force and os.path.lexists(path)]
    if there:
        more = f" (and {len(there) - 1} more)" if len(there) > 1 else ""
        raise InputError(f"{there[0]} is there already{more}; choose another name, or replace it with --force")
    for path, text in texts.items():
        write_whole(Path(path), text.encode())
