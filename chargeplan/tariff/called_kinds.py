"""Makes the kinds of called days of one version, from the sheet and the files beside it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from chargeplan.errors import FileError, InputError, Mistake
from chargeplan.reading import KeyPath
from chargeplan.tariff.calendar_models import CalledKind
from chargeplan.tariff.called import CalledDays, CallLimits, called_name, parse_notice
from chargeplan.tariff.complaints import Complaints
from chargeplan.tariff.dated_files import CalledDay, beside, read_called_rows
from chargeplan.tariff.holiday_set import HolidaySet
from chargeplan.tariff.seasons import SeasonDays, whole_year_without
from chargeplan.tariff.windows import kind_key

SeasonModel = Mapping[str, SeasonDays | None]


def called_kinds(
    complaints: Complaints,
    kinds: Mapping[str, CalledKind],
    seasons: SeasonModel,
    holidays: HolidaySet,
    timezone: str,
) -> tuple[CalledDays, ...]:
    """Make the kinds of called days that a version names.

    Parameters
    ----------
    complaints : Complaints
        Where mistakes go: those of a file beside the sheet with the line of that file.
    kinds : mapping of name to CalledKind
        What the sheet says of them.
    seasons : mapping of name to SeasonDays or None
        The seasons of the hours, which ``only_in`` may name; None for the rest of the year.
    holidays : HolidaySet
        The holidays of the sheet.
    timezone : str
        Of the sheet.

    Returns
    -------
    tuple of CalledDays
        Those that could be made.
    """
    found = []
    for name, kind in kinds.items():
        path: KeyPath = ("called", name)
        said = kind.file is not None or "days" in kind.model_fields_set
        if not said and not complaints.is_broken(*path):
            complaints.add(path, f"nothing says which days are {name}", "add `days:` or `file:`")
        file, rows = _rows_in_file(complaints, kind.file, name, kinds)
        dates = [*kind.days, *(row.day for row in rows)]
        try:
            called_name(name)
        except InputError as error:
            complaints.add_error(path, error)
            continue
        limits = _limits(complaints, kind, path, seasons)
        notice = None
        if kind.notice is not None:
            try:
                notice = parse_notice(kind.notice)
            except InputError as error:
                complaints.add_error((*path, "notice"), error)
                continue
        if limits is None:
            continue
        unknown = kind.unknown == "called"
        called = CalledDays(name, frozenset(dates), unknown, notice, None, limits, holidays, timezone)
        for position, what, remedy in called.complaints(dates):
            if position is None:
                complaints.add(path, what, remedy)
            elif position < len(kind.days):
                complaints.add((*path, "days", position), what, remedy)
            else:
                row = rows[position - len(kind.days)]
                _note(complaints, [Mistake(file, row.line, row.column, what, remedy)])
        found.append(called)
    return tuple(found)


def _rows_in_file(
    complaints: Complaints, file: str | None, name: str, kinds: Mapping[str, CalledKind]
) -> tuple[str, list[CalledDay]]:
    """Give the name of a file that something else writes, and its days of one kind."""
    if file is None or complaints.is_broken("called", name, "file"):
        return "", []
    known = {kind_key(kind): kind for kind in kinds}
    rows = []
    try:
        path: Path = beside(complaints.document.file, file)
        for row in read_called_rows(path):
            if row.kind and kind_key(row.kind) not in known:
                what = f"`{row.kind[:40]}` is no kind of called days of the sheet"
                _note(complaints, [Mistake(str(path), row.line, 1, what, f"known are {', '.join(kinds)}")])
            elif not row.kind or known[kind_key(row.kind)] == name:
                rows.append(row)
    except FileError as error:
        _note(complaints, error.mistakes)
        return "", []
    except InputError as error:
        complaints.add_error(("called", name, "file"), error)
        return "", []
    return str(path), rows


def _note(complaints: Complaints, mistakes: Iterable[Mistake]) -> None:
    """Add mistakes of another file; versions and kinds that share it would say them again."""
    complaints.mistakes += [mistake for mistake in mistakes if mistake not in complaints.mistakes]


def _limits(complaints: Complaints, kind: CalledKind, path: KeyPath, seasons: SeasonModel) -> CallLimits | None:
    """Read the limits of a kind; None if one of them cannot be read, which is said at its place."""
    season, good = _season(complaints, kind.only_in, (*path, "only_in"), seasons)
    try:
        CallLimits.parse(kind.only_on)
    except InputError as error:
        what, _, remedy = str(error).partition("; ")
        complaints.add((*path, "only_on"), f"only_on: {what}", remedy)
        good = False
    return CallLimits.parse(kind.only_on, season, kind.never_on, kind.at_most, kind.only_in) if good else None


def _season(
    complaints: Complaints, text: str | None, path: KeyPath, seasons: SeasonModel
) -> tuple[SeasonDays | None, bool]:
    """Read the part of the year in which days may be called, and tell whether it could be read."""
    if text is None:
        return None, True
    name = text.strip()
    if name in seasons:
        days = seasons[name] or whole_year_without(tuple(given for given in seasons.values() if given is not None))
        if days is None:
            what = f"only_in: the days of `{name}` change from year to year, and it is `rest`"
            complaints.add(path, what, "write its days, for example Dec 1 - Mar 31")
        return days, days is not None
    if name in complaints.names("seasons"):
        return None, False  # what is wrong with that season is said at its own place
    try:
        return SeasonDays.parse(name), True
    except InputError as error:
        what, _, remedy = str(error).partition("; ")
        named = f"name a season of the sheet: {', '.join(seasons)}" if seasons else "name a season under `seasons:`"
        complaints.add(path, f"only_in: {what}", f"{remedy}, or {named}")
        return None, False
