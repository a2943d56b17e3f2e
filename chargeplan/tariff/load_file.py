"""Interval energy from a CSV or Parquet file, as meters and monitors write it."""

from __future__ import annotations

import difflib
import os
from datetime import UTC, datetime
from math import nan
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from chargeplan.clock import DAY_S, FIRST_YEAR, LAST_YEAR, IntArray, zone
from chargeplan.errors import FileError, Mistake
from chargeplan.tariff.load_table import LoadTable, printable, read_table

if TYPE_CHECKING:
    import pandas as pd

MAX_MISTAKES: Final = 20
#: More in one interval is a slip of units.
_LARGEST: Final = 1e9

#: Factors to kWh; the mean power of an interval also counts its hours.
_UNITS: Final = {"kwh": 1.0, "wh": 1e-3, "kw": 1.0}
_BOUGHT: Final = {f"{way}{unit}": unit for way in ("", "import_") for unit in _UNITS}
_SOLD: Final = {f"export_{unit}": unit for unit in _UNITS}
_KNOWN: Final = ("start", *_BOUGHT, *_SOLD)
#: A column that has one of these words in its name holds energy or power, and is not passed over in silence.
_UNIT_WORDS: Final = {"w", "kw", "mw", "wh", "kwh", "mwh", "import", "export"}
_MISSING: Final = {"", "-", "na", "n/a", "nan", "<na>", "nat", "none", "null"}
#: Seconds that stand for a time that could not be read.
_UNREAD: Final = np.iinfo(np.int64).min
_FIRST_S: Final = int(datetime(FIRST_YEAR, 1, 2, tzinfo=UTC).timestamp())
_LAST_S: Final = int(datetime(LAST_YEAR, 12, 30, tzinfo=UTC).timestamp())


def read_load(path: str | os.PathLike[str], timezone: str, *, naive_zone: str | None = None) -> pd.DataFrame:
    r"""Read the energy of every interval from a file.

    Parameters
    ----------
    path : path
        A CSV file (comma, semicolon or tab between the columns), or Parquet if its name ends so. Its
        columns: ``start`` of each interval, as ISO 8601 with an offset; ``kwh`` or ``import_kwh``, what was
        bought; and, if some was sold, ``export_kwh``. Instead of ``kwh`` also ``wh``, or ``kw`` for the
        mean power. Columns that hold neither energy nor power are passed over.
    timezone : str
        Time zone of the index returned.
    naive_zone : str, optional
        The time zone whose wall clock the stamps without an offset show; without it they are refused.
        An hour that the clock shows twice must be in the file twice, in order.

    Returns
    -------
    pandas.DataFrame
        ``kwh``, and ``export_kwh`` if the file has it, in kWh per interval, indexed by the start of each:
        zone-aware, rising by the same step without a gap.

    Raises
    ------
    FileError
        If the file cannot be read, or its rows are not such: gaps, repeated or unequal steps, missing or
        negative energy. At most 20 mistakes, each with its line and column; of Parquet, which row and cell.
    InputError
        If there is no such time zone.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> rows = ["start,kw", "2026-03-08T01:30-07:00,2", "2026-03-08T03:00-06:00,1"]
    >>> with TemporaryDirectory() as folder:
    ...     file = Path(folder, "load.csv")
    ...     characters = file.write_text("\n".join(rows))
    ...     print(read_load(file, "America/Denver"))
                               kwh
    start
    2026-03-08 01:30:00-07:00  1.0
    2026-03-08 03:00:00-06:00  0.5
    """
    import pandas as pd

    zone(timezone)
    if naive_zone is not None:
        zone(naive_zone)
    table = read_table(path, _KNOWN)
    columns = _columns(table)
    mistakes: list[Mistake] = []
    start_s = _instants(table, naive_zone, mistakes)
    step_s = _step(table, start_s, mistakes)
    energies = {}
    for label, (position, unit) in columns.items():
        factor = _UNITS[unit] * (step_s / 3600 if unit == "kw" else 1.0)
        energies[label] = _numbers(table, position, mistakes) * factor
    if mistakes:
        raise FileError(sorted(set(mistakes))[:MAX_MISTAKES])
    index = pd.DatetimeIndex(start_s.astype("datetime64[s]"), tz="UTC", name="start").tz_convert(timezone)
    return pd.DataFrame(energies, index=index)


def _columns(table: LoadTable) -> dict[str, tuple[int, str]]:
    """Find the columns of energy: their position and unit."""
    mistakes: list[Mistake] = []

    def complain(what: str, remedy: str) -> None:
        mistakes.append(Mistake(table.file, 1, 1, printable(what), remedy))

    for name in dict.fromkeys(name for name in table.names if name not in _KNOWN):
        close = difflib.get_close_matches(name, _KNOWN, 1, 0.75)
        if close or _UNIT_WORDS & set(name.split("_")):
            wanted = f"did you mean `{close[0]}`?" if close else "name it `kwh` or `export_kwh`, or take it away"
            complain(f"the column `{name[:40]}` is not known", wanted)
    for name in sorted({name for name in table.names if name in _KNOWN and table.names.count(name) > 1}):
        complain(f"there are two columns `{name}`", "keep one of them")
    if "start" not in table.names:
        complain("there is no column `start`", "name the columns in the first line, like `start,kwh`")
    found: dict[str, tuple[int, str]] = {}
    for label, units in (("kwh", _BOUGHT), ("export_kwh", _SOLD)):
        named = [name for name in units if name in table.names]
        if len(named) > 1:
            complain(f"`{named[0]}` and `{named[1]}` mean the same", "keep one of them")
        elif named:
            found[label] = (table.names.index(named[0]), units[named[0]])
        elif label == "kwh" and not mistakes:
            complain("there is no column `kwh`", "name the energy bought `kwh`, `wh`, or `kw` for the mean power")
    if mistakes:
        raise FileError(mistakes)
    return found


def _instants(table: LoadTable, naive_zone: str | None, mistakes: list[Mistake]) -> IntArray:
    """Read the stamps as UTC seconds; those of faulty rows stay at `_UNREAD`."""
    position = table.names.index("start")
    written = table.column(position)
    start_s = np.full(len(written), _UNREAD, dtype=np.int64)
    wrong, local, outside, odd = [], [], [], []
    for row, text in enumerate(written):
        try:
            moment = datetime.fromisoformat(text)
        except ValueError:
            wrong.append(row)
            continue
        naive = moment.utcoffset() is None
        seconds = (moment.replace(tzinfo=UTC) if naive else moment).timestamp()
        if not _FIRST_S <= seconds <= _LAST_S:
            outside.append(row)
        elif seconds % 60:
            odd.append(row)
        else:
            start_s[row] = int(seconds)
            if naive:
                local.append(row)
    example = "write for example 2026-03-08T18:30-06:00"
    years = f"the time lies outside the years {FIRST_YEAR} to {LAST_YEAR}"
    mistakes += table.mistakes(wrong, position, lambda row: f"`{written[row][:40]}` is not a date and time", example)
    mistakes += table.mistakes(outside, position, lambda _: years, example)
    mistakes += table.mistakes(odd, position, lambda row: f"{written[row]} is not a whole minute", example)
    if local and naive_zone is not None:
        start_s[local] = _from_wall(table, np.array(local), start_s[local], naive_zone, mistakes)
    elif local:
        remedy = f"{example}, or say that the stamps show the local clock (--stamps local)"
        mistakes += table.mistakes(local, position, lambda row: f"{written[row]} has no offset from UTC", remedy)
        start_s[local] = _UNREAD
    return start_s


def _from_wall(table: LoadTable, rows: IntArray, wall_s: IntArray, name: str, mistakes: list[Mistake]) -> IntArray:
    """Turn what a wall clock shows into UTC seconds; of a time shown twice, the first row means the first."""
    import pandas as pd

    wall = pd.DatetimeIndex(wall_s.astype("datetime64[s]"))
    first_s, second_s = (
        np.asarray(wall.tz_localize(name, ambiguous=np.full(len(wall), earlier), nonexistent="NaT").as_unit("s").asi8)
        for earlier in (True, False)
    )
    skipped = first_s == _UNREAD  # which is also how pandas marks what is no time
    same = pd.Series(wall_s).groupby(wall_s)
    twice = first_s != second_s
    once = twice & (same.transform("size").to_numpy() == 1)
    position = table.names.index("start")
    remedy = "give the stamps with their offsets"
    mistakes += table.mistakes(
        rows[skipped].tolist(),
        position,
        lambda row: f"{table.rows[row][position]} is skipped that day, when the clock goes forward",
        remedy,
    )
    mistakes += table.mistakes(
        rows[once].tolist(),
        position,
        lambda row: f"{table.rows[row][position]} comes twice that day, when the clock goes back; here it is once",
        remedy,
    )
    result = np.where(twice & (same.cumcount().to_numpy() == 1), second_s, first_s)
    result[once] = _UNREAD
    return result


def _step(table: LoadTable, start_s: IntArray, mistakes: list[Mistake]) -> int:
    """Find the length of the intervals in seconds, and every row that does not follow by it."""
    position = table.names.index("start")
    # A row after one that could not be read is not held to it.
    after = np.flatnonzero((start_s[1:] != _UNREAD) & (start_s[:-1] != _UNREAD)) + 1
    apart_s = start_s[after] - start_s[after - 1]
    lengths_s, counts = np.unique(apart_s[apart_s > 0], return_counts=True)
    if lengths_s.size == 0:
        if not mistakes:
            what = "no two rows follow one another in time, so the length of the intervals is unknown"
            mistakes.append(table.mistake(0, position, what, "write at least two rows, in order of time"))
        return DAY_S
    step_s = int(lengths_s[np.argmax(counts)])
    if DAY_S % step_s:
        what = f"the rows are {_length(step_s)} apart"
        remedy = "write one row per interval, all of a length that divides a day, like 15 min or 1 h"
        mistakes.append(table.mistake(int(after[0]), position, what, remedy))
        return DAY_S
    between_s = dict(zip(after.tolist(), apart_s.tolist(), strict=True))
    every = f"rows follow every {_length(step_s)}"
    mistakes += table.mistakes(
        after[apart_s == 0].tolist(), position, lambda _: "the row has the time of the row above it", "keep one of them"
    )
    mistakes += table.mistakes(
        after[apart_s < 0].tolist(),
        position,
        lambda row: f"the row lies {_length(-between_s[row])} before the row above it",
        "put the rows in order of time",
    )
    mistakes += table.mistakes(
        after[(apart_s > step_s) & (apart_s % step_s == 0)].tolist(),
        position,
        lambda row: f"between the row above and this one {_count(between_s[row] // step_s - 1)} missing",
        f"{every}; fill the gap",
    )
    mistakes += table.mistakes(
        after[(apart_s > 0) & (apart_s % step_s != 0)].tolist(),
        position,
        lambda row: f"the row comes {_length(between_s[row])} after the row above it",
        f"{every}; make the intervals equal",
    )
    return step_s


def _length(seconds: int) -> str:
    return f"{seconds // 3600} h" if seconds % 3600 == 0 else f"{seconds // 60} min"


def _count(intervals: int) -> str:
    return "1 interval is" if intervals == 1 else f"{intervals} intervals are"


def _numbers(table: LoadTable, position: int, mistakes: list[Mistake]) -> NDArray[np.float64]:
    written, name = table.column(position), table.names[position]
    values = np.array([_number(text) for text in written])
    finite = np.isfinite(values)
    missing = np.array([text.lower() in _MISSING for text in written])
    for faulty, fault, remedy in (
        (~finite & missing, "is missing", "a number is needed in every row; 0 if there was none"),
        (~finite & ~missing, "is not a number", "write digits with at most one dot, like 0.25"),
        (finite & (values < 0), "is negative", "write 0 or more; what is sold goes into `export_kwh`"),
        (finite & (values > _LARGEST), "is too large", "is the unit right?"),
    ):
        texts = {row: f"`{name}` {_quoted(written[row])}{fault}" for row in np.flatnonzero(faulty).tolist()}
        mistakes += table.mistakes(list(texts), position, texts.__getitem__, remedy)
    return values


def _number(text: str) -> float:
    try:
        # Python would also take 1_000.
        return nan if "_" in text else float(text)
    except ValueError:
        return nan


def _quoted(text: str) -> str:
    return f"{text[:40]} " if text else ""
