"""A CSV file of daily temperatures."""

from __future__ import annotations

import os
from datetime import date
from math import nan
from typing import Final

import numpy as np

from chargeplan.charging.numeric import FloatArray
from chargeplan.clock import FIRST_YEAR, LAST_YEAR, IntArray, day_number, day_of_number
from chargeplan.errors import FileError, InputError, Mistake
from chargeplan.study.cold import COLDEST_C, WARMEST_C, DailyMeans
from chargeplan.tariff.load_table import LoadTable, read_table
from chargeplan.units import temperature_c

_UNITS: Final = {"temperature": "C", "temperature_c": "C", "temperature_f": "F"}
_KNOWN: Final = ("date", *_UNITS)
_LAYOUT: Final = "write a line `date,temperature_c` and below it one row per day"
#: Stands for a date that could not be read.
_UNREAD: Final = -1


def read_temperatures(path: str | os.PathLike[str]) -> DailyMeans:
    r"""Read the mean temperature of every day from a file.

    Parameters
    ----------
    path : path
        A CSV file (comma, semicolon or tab between the columns), or Parquet if its name ends so. Its columns:
        ``date``, as 2026-01-31, and ``temperature_c`` or ``temperature_f``. A column named ``temperature`` has
        degrees Celsius, unless a cell says otherwise, as in ``23 °F``. Other columns are passed over.

    Returns
    -------
    DailyMeans
        From the first date to the last.

    Raises
    ------
    FileError
        If the file cannot be read, a date or a temperature is missing or cannot be, or the dates do not follow
        one another; with every mistake.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     file = Path(folder, "winter.csv")
    ...     characters = file.write_text("date,temperature\n2026-01-31,-4.5\n2026-02-01,23 °F", encoding="utf-8")
    ...     read_temperatures(file).mean_c.tolist()
    [-4.5, -5.0]
    """
    table = read_table(path, _KNOWN, _LAYOUT)
    date_at, temperature_at = _columns(table)
    mistakes: list[Mistake] = []
    day = _days(table, date_at, mistakes)
    mean_c = _temperatures(table, temperature_at, mistakes)
    if mistakes:
        raise FileError(mistakes)
    return DailyMeans(int(day[0]), mean_c)


def _columns(table: LoadTable) -> tuple[int, int]:
    """Find the two columns."""
    mistakes = []
    named = [name for name in table.names if name in _UNITS]
    if table.names.count("date") != 1:
        what = "there are two columns `date`" if "date" in table.names else "there is no column `date`"
        mistakes.append(Mistake(table.file, 1, 1, what, "name the columns in the first line, like date,temperature_c"))
    if not named:
        what = "there is no column `temperature_c`"
        mistakes.append(Mistake(table.file, 1, 1, what, "name the temperatures `temperature_c` or `temperature_f`"))
    if len(named) > 1:
        both = f"there are the columns `{named[0]}` and `{named[1]}`"
        mistakes.append(Mistake(table.file, 1, 1, both, "keep one of them"))
    if mistakes:
        raise FileError(mistakes)
    return table.names.index("date"), table.names.index(named[0])


def _days(table: LoadTable, position: int, mistakes: list[Mistake]) -> IntArray:
    """Read the dates as day numbers, and find those that do not follow the one above."""
    written = table.column(position)
    day = np.array([_day(text) for text in written], dtype=np.int64)
    mistakes += table.mistakes(
        np.flatnonzero(day == _UNREAD).tolist(),
        position,
        lambda row: f"`{written[row][:40]}` is not a date" if written[row] else "the date is missing",
        f"write for example 2026-01-31; years {FIRST_YEAR} to {LAST_YEAR}",
    )
    # A row after one that could not be read is not held to it.
    after = np.flatnonzero((day[1:] != _UNREAD) & (day[:-1] != _UNREAD)) + 1
    apart = dict(zip(after.tolist(), (day[after] - day[after - 1]).tolist(), strict=True))

    def missing(row: int) -> str:
        days, first = apart[row] - 1, day_of_number(int(day[row - 1]) + 1)
        return f"{first} is missing above" if days == 1 else f"{days} days are missing above, from {first}"

    for chosen, what, remedy in (
        ([row for row in apart if apart[row] > 1], missing, "write a row for every day"),
        ([row for row in apart if apart[row] == 0], lambda row: f"{written[row]} is there twice", "keep one of them"),
        (
            [row for row in apart if apart[row] < 0],
            lambda row: f"{written[row]} lies before the date above it",
            "put the rows in order of time",
        ),
    ):
        mistakes += table.mistakes(chosen, position, what, remedy)
    return day


def _day(text: str) -> int:
    # Parquet files write the time of day as well.
    day_text = text.removesuffix(" 00:00:00")
    try:
        day = date.fromisoformat(day_text)
    except ValueError:
        return _UNREAD
    return day_number(day) if FIRST_YEAR <= day.year <= LAST_YEAR else _UNREAD


def _temperatures(table: LoadTable, position: int, mistakes: list[Mistake]) -> FloatArray:
    written, name = table.column(position), table.names[position]
    unit = _UNITS[name]
    mean_c = np.array([_degrees(text, unit, name == "temperature") for text in written])
    missing = np.array([text.lower() in ("", "-", "na", "n/a", "nan", "none", "null") for text in written])
    wrong = np.isnan(mean_c) & ~missing
    beyond = ~np.isnan(mean_c) & ((mean_c < COLDEST_C) | (mean_c > WARMEST_C))
    example = {"temperature": "-4.5, in degrees Celsius, or 24 °F", "temperature_c": "-4.5", "temperature_f": "24"}[
        name
    ]
    for chosen, what, remedy in (
        (missing, lambda row: f"`{name}` is missing", "a temperature is needed for every day"),
        (wrong, lambda row: f"`{written[row][:40]}` is no temperature", f"write for example {example}"),
        (
            beyond,
            lambda row: f"a day of {written[row][:40]} ({mean_c[row]:.4g} °C) cannot be",
            "is the unit right? name the column `temperature_f` if it is degrees Fahrenheit",
        ),
    ):
        mistakes += table.mistakes(np.flatnonzero(chosen).tolist(), position, what, remedy)
    return mean_c


def _degrees(text: str, unit: str, may_have_unit: bool) -> float:
    """Read a temperature as degrees Celsius; NaN if it is none."""
    if may_have_unit and text[-1:] in ("C", "F"):
        unit, text = text[-1], text[:-1].rstrip().removesuffix("°").removesuffix("deg").rstrip()
    try:
        return temperature_c(f"{text} {unit}")
    except InputError:
        return nan
