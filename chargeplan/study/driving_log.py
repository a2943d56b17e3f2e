"""A log of journeys in a CSV file: what was driven, instead of what is usual."""

from __future__ import annotations

import difflib
import os
import re
from datetime import date, datetime, timedelta
from math import nan
from typing import Final

import numpy as np

from chargeplan.charging.numeric import FloatArray
from chargeplan.clock import (
    FIRST_YEAR,
    LAST_YEAR,
    IntArray,
    day_number,
    day_of_number,
    day_start_s,
    local_datetimes,
    zone,
)
from chargeplan.errors import FileError, InputError, Mistake
from chargeplan.study.cold import Cold
from chargeplan.study.driving import Journeys
from chargeplan.study.trips import USUAL, Trips
from chargeplan.tariff.load_table import LoadTable, read_table
from chargeplan.units import UNITS, quantity

#: Units that the name of the column may give.
_COLUMN_UNITS: Final = {f"distance_{unit}": unit for unit in UNITS["distance"]}
_KNOWN: Final = ("leave", "back", "distance", *_COLUMN_UNITS)
#: What the column of distances is called elsewhere.
_ALSO: Final = {
    **dict.fromkeys(("miles", "mi", "mileage", "distance_miles"), "distance_mi"),
    **dict.fromkeys(("km", "kilometers", "kilometres", "distance_kilometers", "distance_kilometres"), "distance_km"),
}
_LAYOUT: Final = "write a line `leave,back,distance_km` and below it one row per journey"
_MISSING: Final = ("", "-", "na", "n/a", "nan", "<na>", "nat", "none", "null")
_NUMBER: Final = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)\Z", re.ASCII)
_OR_NAME: Final = ", or name the column `distance_km` or `distance_mi`"
#: Stands for a time that could not be read.
_UNREAD: Final = np.iinfo(np.int64).min
#: No road is driven faster on average; what is above is a slip of units. Stamps may be rounded to the minute.
_FASTEST_KM_PER_H: Final = 250.0
_ROUNDED_S: Final = 120


def read_driving_log(
    path: str | os.PathLike[str],
    timezone: str,
    *,
    first: date | None = None,
    days: int | None = None,
    cold: Cold | None = None,
) -> Journeys:
    r"""Read the journeys of a car from a file.

    Parameters
    ----------
    path : path
        A CSV file (comma, semicolon or tab between the columns), or Parquet if its name ends so. Its columns:
        ``leave`` and ``back``, when the car left home and was plugged in again, as 2026-03-08T18:30-06:00, or
        without the offset on the wall clock of the time zone; and ``distance_km`` or ``distance_mi``, or
        ``distance`` with a unit in every cell, as in ``29 mi``. Other columns are passed over. The rows may be
        in any order.
    timezone : str
        The household's time zone.
    first : datetime.date, optional
        First date of the span; without, that of the first departure.
    days : int, optional
        How many dates; without, up to that of the last return.
    cold : Cold, optional
        How much more the car uses when it is cold.

    Returns
    -------
    Journeys
        As they are in the file, nothing added: on dates without a row the car is at home. One that leaves at
        the very time of a return is part of the same journey. Those that do not touch the span are left out;
        of one that is under way when it begins, the rest is there, without its distance.

    Raises
    ------
    FileError
        If the file cannot be read, or journeys are incomplete, end before they begin, or overlap; with every
        mistake.
    InputError
        If the time zone or the span cannot be.

    Notes
    -----
    A time that the clock shows twice, when it goes back, is taken for the first of the two; one that is
    skipped, when it goes forward, is a mistake.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> rows = ["leave,back,distance", "2026-03-07 07:15,2026-03-07 18:15,29 mi"]
    >>> rows += ["2026-03-08 09:30,2026-03-08 12:00,5 km"]
    >>> with TemporaryDirectory() as folder:
    ...     file = Path(folder, "log.csv")
    ...     characters = file.write_text("\n".join(rows))
    ...     log = read_driving_log(file, "America/Denver")
    >>> log.first, log.days, log.distance_km.round(3).tolist()
    (datetime.date(2026, 3, 7), 2, [46.671, 5.0])
    """
    zone(timezone)
    if days is not None and (isinstance(days, bool) or not isinstance(days, (int, np.integer)) or days < 1):
        raise InputError(f"a span of {days!r} days cannot be; give a whole number of days, at least 1")
    table = read_table(path, _KNOWN, _LAYOUT)
    trips = _trips(table, timezone)
    first = first or day_of_number(int(trips.day[0]))
    if days is None:
        # A return at midnight is one of the day that ends.
        days = max(_day(timezone, int(trips.back_s[-1]) - 1) - day_number(first) + 1, 1)
    start_s, end_s = (day_start_s(timezone, day) for day in (first, first + timedelta(days=int(days))))
    inside = trips.where((trips.back_s > start_s) & (trips.leave_s < end_s))
    if inside.day.size == 0:
        known = f"{day_of_number(int(trips.day[0]))} to {day_of_number(int(trips.day[-1]))}"
        raise InputError(f"{table.file} has no journey in the {days} days from {first}; it goes from {known}")
    under_way = inside.leave_s < start_s
    day = np.maximum(inside.day, day_number(first))
    leave_s, distance_km = np.maximum(inside.leave_s, start_s), np.where(under_way, 0.0, inside.distance_km)
    factor = np.ones(day.size) if cold is None else cold.factor(day)
    return Journeys(timezone, first, int(days), day, leave_s, inside.back_s, distance_km, factor, inside.kind)


def _trips(table: LoadTable, timezone: str) -> Trips:
    """Read the rows, put them in order, and make one trip of those without any time at home between them."""
    columns = _columns(table)
    mistakes: list[Mistake] = []
    leave_s, back_s = (_instants(table, columns[name], timezone, mistakes) for name in ("leave", "back"))
    distance_km = _distances(table, columns["distance"], mistakes)
    whole = (leave_s != _UNREAD) & (back_s != _UNREAD)
    mistakes += _backwards(table, columns, np.flatnonzero(whole & (back_s <= leave_s)))
    whole &= back_s > leave_s
    duration_s = np.where(whole, back_s, 0) - np.where(whole, leave_s, 0)
    fast = whole & (distance_km > _FASTEST_KM_PER_H * (duration_s + _ROUNDED_S) / 3600)
    mistakes += _too_fast(table, columns["distance"], np.flatnonzero(fast))
    rows = np.flatnonzero(whole)
    rows = rows[np.argsort(leave_s[rows], kind="stable")]
    mistakes += _overlaps(table, columns["leave"], rows, leave_s, back_s)
    if mistakes:
        raise FileError(mistakes)
    leave_s, back_s, distance_km = leave_s[rows], back_s[rows], distance_km[rows]
    starts = np.flatnonzero(np.append(True, leave_s[1:] > back_s[:-1]))
    ends = np.append(starts[1:], leave_s.size) - 1
    day = np.array([_day(timezone, second) for second in leave_s[starts].tolist()], dtype=np.int64)
    kind = np.full(day.size, USUAL, dtype=np.int64)
    return Trips(day, leave_s[starts], back_s[ends], np.add.reduceat(distance_km, starts), kind)


def _day(timezone: str, second: int) -> int:
    return day_number(local_datetimes(timezone, [second])[0].date())


def _columns(table: LoadTable) -> dict[str, int]:
    """Find the columns: where each of the three is."""
    mistakes = []
    found: dict[str, int] = {}
    for wanted, names in (("leave", ("leave",)), ("back", ("back",)), ("distance", ("distance", *_COLUMN_UNITS))):
        positions = [position for position, name in enumerate(table.names) if name in names]
        if len(positions) > 1:
            both = " and ".join(f"`{table.names[position]}`" for position in positions[:2])
            mistakes.append(Mistake(table.file, 1, 1, f"there are the columns {both}", "keep one of them"))
        elif not positions:
            others = [name for name in table.names if name not in _KNOWN]
            close = difflib.get_close_matches(wanted, others, 1, 0.7)
            remedy = f"is it `{close[0][:40]}`? {_LAYOUT}" if close else _LAYOUT
            unit = next((name for name in others if name in _ALSO), None) if wanted == "distance" else None
            if unit is not None:
                remedy = f"is it `{unit}`? call it `{_ALSO[unit]}`"
            column = "distance_km" if wanted == "distance" else wanted
            mistakes.append(Mistake(table.file, 1, 1, f"there is no column `{column}`", remedy))
        else:
            found[wanted] = positions[0]
    if mistakes:
        raise FileError(mistakes)
    return found


def _instants(table: LoadTable, position: int, timezone: str, mistakes: list[Mistake]) -> IntArray:
    """Read the stamps of a column as UTC seconds; those of faulty cells stay at `_UNREAD`."""
    written, name = table.column(position), table.names[position]
    seconds = np.full(len(written), _UNREAD, dtype=np.int64)
    faults: dict[str, list[int]] = {"missing": [], "wrong": [], "skipped": []}
    for row, text in enumerate(written):
        if text.lower() in _MISSING:
            faults["missing"].append(row)
            continue
        moment = _moment(text)
        if moment is None:
            faults["wrong"].append(row)
        elif moment.tzinfo is not None:
            seconds[row] = int(moment.timestamp())
        else:
            earlier_s, later_s = (int(moment.replace(tzinfo=zone(timezone), fold=fold).timestamp()) for fold in (0, 1))
            # Where the clock shows no such time, the two readings are the wrong way round.
            if earlier_s > later_s:
                faults["skipped"].append(row)
            else:
                seconds[row] = earlier_s
    example = f"write for example 2026-03-08 18:30 or 2026-03-08T18:30-06:00; years {FIRST_YEAR} to {LAST_YEAR}"
    for fault, what, remedy in (
        ("missing", lambda row: f"`{name}` is missing", "a journey needs a departure and a return"),
        ("wrong", lambda row: f"`{written[row][:40]}` is not a date and time", example),
        (
            "skipped",
            lambda row: f"{written[row][:40]} is skipped that day, when the clock goes forward",
            f"write a time that the clock in {timezone} shows, or the offset with it",
        ),
    ):
        mistakes += table.mistakes(faults[fault], position, what, remedy)
    return seconds


def _moment(text: str) -> datetime | None:
    """Read a date with a time of day."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return None
    years = FIRST_YEAR <= moment.year <= LAST_YEAR
    # A date alone would be taken for midnight.
    return moment if years and ":" in text else None


def _distances(table: LoadTable, position: int, mistakes: list[Mistake]) -> FloatArray:
    """Read the distances in kilometres; those of faulty cells are NaN."""
    written, name = table.column(position), table.names[position]
    values = np.full(len(written), nan)
    missing, wrong = [], dict[int, tuple[str, str]]()
    for row, text in enumerate(written):
        if text.lower() in _MISSING:
            missing.append(row)
            continue
        unit = _COLUMN_UNITS.get(name, "")
        if unit and not _NUMBER.match(text):
            wrong[row] = f"`{text[:40]}` is not a number", f"write digits with at most one dot, in {unit}, like 29.5"
            continue
        try:
            values[row] = quantity(f"{text} {unit}".strip(), "distance")
        except InputError as error:
            what, _, remedy = str(error).partition("; ")
            wrong[row] = what, f"{remedy}{_OR_NAME}" if what.endswith("has no unit") else remedy
    mistakes += table.mistakes(missing, position, lambda row: f"`{name}` is missing", "write 0 if nothing was driven")
    for remedy in dict.fromkeys(remedy for _, remedy in wrong.values()):
        rows = [row for row, (_, other) in wrong.items() if other == remedy]
        mistakes += table.mistakes(rows, position, lambda row: wrong[row][0], remedy)
    return values


def _backwards(table: LoadTable, columns: dict[str, int], rows: IntArray) -> list[Mistake]:
    """Complain of journeys that end before they begin, or at once."""

    def what(row: int) -> str:
        leave, back = (table.rows[row][columns[name]].strip() for name in ("leave", "back"))
        return f"the car is back at {back[:40]}, but it leaves at {leave[:40]}"

    remedy = "put the later time here; if the clock goes back in between, write both times with their offsets"
    return table.mistakes(rows.tolist(), columns["back"], what, remedy)


def _too_fast(table: LoadTable, position: int, rows: IntArray) -> list[Mistake]:
    """Complain of distances that nobody drives in the time."""
    what = f"is more than {_FASTEST_KM_PER_H:g} km/h on the whole journey"
    remedy = "are the unit and the times right?"
    return table.mistakes(rows.tolist(), position, lambda row: f"`{table.rows[row][position].strip()}` {what}", remedy)


def _overlaps(table: LoadTable, position: int, rows: IntArray, leave_s: IntArray, back_s: IntArray) -> list[Mistake]:
    """Complain of journeys that begin before an earlier one has ended; the rows are in order of departure."""
    during: dict[int, int] = {}
    latest = int(rows[0]) if rows.size else 0
    for row in rows[1:].tolist():
        if leave_s[row] < back_s[latest]:
            during[row] = latest
        if back_s[row] > back_s[latest]:
            latest = row
    what = "the car leaves before it is back from the journey of"
    name = "line" if table.is_text else "row"
    remedy = "correct one of the times, or take one of the two away"
    return table.mistakes(sorted(during), position, lambda row: f"{what} {name} {table.lines[during[row]]}", remedy)
