"""From a YAML rate sheet to a tariff."""

from __future__ import annotations

import os
from pathlib import Path

from chargeplan.clock import day_number
from chargeplan.errors import FileError
from chargeplan.reading import read_document
from chargeplan.tariff.compiling import Compiler
from chargeplan.tariff.sheet import Sheet
from chargeplan.tariff.tariff import Tariff
from chargeplan.validating import check_document


def load_tariff(path: str | os.PathLike[str]) -> Tariff:
    """Load a rate sheet.

    Parameters
    ----------
    path : path or str
        A YAML file, or the name of a sheet that comes with the package (see `shipped_sheets`).

    Returns
    -------
    Tariff
        Ready to price any span of time.

    Raises
    ------
    FileError
        With every mistake of the file, each with line, column and remedy.

    Examples
    --------
    >>> load_tariff("flat").prices("2026-11-25", "2026-11-26", "12 h").tolist()
    [0.2465, 0.2465]
    """
    name = os.fspath(path)
    if not Path(name).suffix and not os.path.exists(name) and name in shipped_sheets():
        name = str(shipped_folder() / f"{name}.yaml")
    return read_tariff(None, name)


def read_tariff(text: str | bytes | None, name: str = "sheet.yaml") -> Tariff:
    """Read a rate sheet from text.

    Parameters
    ----------
    text : str or bytes
        The YAML of the sheet; None reads the file ``name``.
    name : str
        What to call the file in messages.

    Returns
    -------
    Tariff
        Ready to price any span of time.

    Raises
    ------
    FileError
        With every mistake of the text.

    Examples
    --------
    >>> read_tariff(  # doctest: +ELLIPSIS
    ...     "{name: Flat, currency: USD, timezone: America/Denver, prices: free}", "a.yaml"
    ... )
    Traceback (most recent call last):
    chargeplan.errors.FileError: a.yaml:1:55: prices: `free` is not a number; write digits...
    """
    document = read_document(name, text=text)
    reading = check_document(document, Sheet)
    mistakes = list(reading.mistakes)
    if reading.model is not None:
        compiler = Compiler(reading.document, reading.broken)
        versions, clock = compiler.versions(reading.model), compiler.clock(reading.model)
        mistakes += compiler.mistakes
        if not mistakes:
            until = reading.model.until
            return Tariff(reading.model, versions, day_number(until) if until else None, clock)
    raise FileError(mistakes)


def shipped_folder() -> Path:
    """Find the folder of the sheets that come with the package."""
    installed = Path(__file__).parent.parent / "sheets"
    return installed if installed.is_dir() else Path(__file__).parent.parent.parent / "tariffs"


def shipped_sheets() -> tuple[str, ...]:
    """List the names of the sheets that come with the package.

    Returns
    -------
    tuple of str
        In alphabetical order.

    Examples
    --------
    >>> "flat" in shipped_sheets()
    True
    """
    return tuple(sorted(path.stem for path in shipped_folder().glob("*.yaml")))
