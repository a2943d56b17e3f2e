"""The terms of a sheet between two of its changes, as plain data and as a sheet of their own."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Any, Final

from chargeplan.errors import FileError, InputError
from chargeplan.reading import Document, KeyPath
from chargeplan.tariff.loading import read_tariff
from chargeplan.tariff.tariff import Tariff

#: Keys that say when something holds, or that only speak about the sheet.
DATES: Final = ("effective", "until", "versions", "overrides")
_ABOUT: Final = ("checks", "accept", "source", "notes")
#: Of these pairs a version that gives one takes the other away.
_EXCLUSIVE: Final = (("prices", "components"), ("export", "export_components"))


@dataclass(frozen=True, eq=False)
class Stretch:
    """What a sheet says between two of its changes.

    Parameters
    ----------
    first, last : datetime.date or None
        First and last day; None where the sheet does not begin or end.
    terms : mapping
        The keys of the sheet as they were written, without dates, checks and remarks.
    origin : mapping of key to path
        Where in the file a key stands: nothing for the sheet itself, or the place of a version.
    """

    first: date | None
    last: date | None
    terms: Mapping[str, Any] = field(repr=False)
    origin: Mapping[str, KeyPath] = field(repr=False)

    def path(self, key: str, *rest: str | int) -> KeyPath:
        """Give the place in the file of a key, or of something under it."""
        return (*self.origin.get(key, ()), key, *rest)


def stretches(document: Document) -> tuple[Stretch, ...]:
    """Cut a sheet at its versions.

    Parameters
    ----------
    document : Document
        A sheet without mistakes.

    Returns
    -------
    tuple of Stretch
        Oldest first. Overrides, which pass, are not among them.

    Examples
    --------
    >>> from chargeplan.reading import read_document
    >>> text = "{name: A, prices: 0.2, fixed: 1 per day, versions: [{from: 2026-05-01, prices: 0.3}]}"
    >>> [(str(part.last), part.terms["prices"]) for part in stretches(read_document("a.yaml", text=text))]
    [('2026-04-30', 0.2), ('None', 0.3)]
    """
    data = document.data
    terms = {key: value for key, value in data.items() if key not in (*DATES, *_ABOUT) and value is not None}
    versions = data.get("versions") or []
    begins = [_date(data.get("effective")), *(_date(version["from"]) for version in versions)]
    until = _date(data.get("until"))
    ends = [begin - timedelta(days=1) for begin in begins[1:] if begin is not None] + [until]
    origin: dict[str, KeyPath] = {}
    found = []
    for position, (begin, end) in enumerate(zip(begins, ends, strict=True)):
        if position:
            changes = {key: value for key, value in versions[position - 1].items() if value is not None}
            changes.pop("from")
            for pair in _EXCLUSIVE:
                if any(key in changes for key in pair):
                    terms = {key: value for key, value in terms.items() if key in changes or key not in pair}
            terms = {**terms, **changes}
            origin = {**origin, **dict.fromkeys(changes, ("versions", position - 1))}
        found.append(Stretch(begin, end, terms, origin))
    return tuple(found)


def stretch_on(document: Document, day: date) -> Stretch:
    """Find the terms that hold on a date.

    Parameters
    ----------
    document : Document
        A sheet without mistakes.
    day : datetime.date
        The date.

    Returns
    -------
    Stretch
        Those of the version in force.

    Raises
    ------
    InputError
        If the sheet is not in force on that date.
    """
    parts = stretches(document)
    if parts[0].first is not None and day < parts[0].first:
        raise InputError(f"the sheet {document.file} begins on {parts[0].first}, after {day}; choose a later date")
    if parts[-1].last is not None and day > parts[-1].last:
        raise InputError(f"the sheet {document.file} ends on {parts[-1].last}, before {day}; choose an earlier date")
    return next(part for part in reversed(parts) if part.first is None or part.first <= day)


def tariff_of(document: Document, stretch: Stretch) -> Tariff:
    """Make a tariff of some terms that holds at all times.

    Parameters
    ----------
    document : Document
        The file, beside which other files that the terms name are found.
    stretch : Stretch
        The terms.

    Returns
    -------
    Tariff
        Without a first and a last day, versions and overrides.

    Raises
    ------
    InputError
        If the terms of a short stretch cannot hold at all times.
    """
    try:
        return read_tariff(json.dumps(dict(stretch.terms)), document.file)
    except FileError as error:
        # The places are those of the terms written anew, which nobody has seen.
        since = f" since {stretch.first}" if stretch.first else ""
        raise InputError(
            f"the terms of {document.file}{since} cannot hold for a whole year: {error.mistakes[0].what}; "
            "choose another date"
        ) from None


def _date(text: Any) -> date | None:
    return None if text is None else date.fromisoformat(str(text).strip())
