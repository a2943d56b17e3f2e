"""From a record to a commented rate sheet, with everything that a person should look at."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from chargeplan.drafting.demand_sheet import demand_data
from chargeplan.drafting.draft_checks import draft_checks
from chargeplan.drafting.energy_sheet import energy_data, export_data, words_of
from chargeplan.drafting.envelope import RawRecord, raw_records
from chargeplan.drafting.json_text import MAX_BYTES
from chargeplan.drafting.note import Note
from chargeplan.drafting.record import Record, read_record
from chargeplan.drafting.terms import DraftTerms, draft_terms
from chargeplan.drafting.writing import clean_line, sheet_text
from chargeplan.errors import FileError, InputError
from chargeplan.reading import file_content

if TYPE_CHECKING:
    from chargeplan.tariff import Tariff

#: What bytes without a file are called in messages.
_NO_FILE = "record.json"


@dataclass(frozen=True)
class Draft:
    """A rate sheet made of a record.

    Parameters
    ----------
    name : str
        What the rate is called.
    label : str
        Key of the record in its database; empty if it has none.
    text : str
        The sheet, as YAML with comments.
    notes : tuple of Note
        What was assumed, unclear or left out; the same stands in the text as comments.
    """

    name: str
    label: str
    text: str = field(repr=False)
    notes: tuple[Note, ...] = field(repr=False)

    @cached_property
    def tariff(self) -> Tariff:
        """The sheet, ready to price any span of time."""
        from chargeplan.tariff import read_tariff

        return read_tariff(self.text, f"{self.label or 'draft'}.yaml")


def draft_sheet(
    source: str | os.PathLike[str] | bytes,
    *,
    timezone: str,
    label: str | None = None,
    holidays: str | Iterable[str] | None = None,
    holidays_as: str = "Sunday",
    edges: Iterable[str] | Mapping[str, str] = (),
    currency: str = "USD",
) -> Draft:
    """Make a rate sheet of a record of the U.S. Utility Rate Database.

    Parameters
    ----------
    source : path or bytes
        A JSON file, or what it holds: ``{"items": [...]}``, a list, or one record.
    timezone : str
        Zone on whose clock the hours are read; no record says it.
    label : str, optional
        Key of the record meant, where there are several.
    holidays : str or iterable of str, optional
        A country (``US``), a part of one (``US-CA``), or days such as ``Jul 4``. None unless given.
    holidays_as : str
        Day of the week whose hours holidays take.
    edges : iterable of str, or mapping
        ``17=17:30`` for what the record has at 17:00 and the rate at 17:30.
    currency : str
        Three-letter code of the currency.

    Returns
    -------
    Draft
        The sheet, and what a person should look at.

    Raises
    ------
    FileError
        With every reason why the record cannot be read.
    InputError
        If several records are in the file and no label says which, or an argument is wrong.

    Examples
    --------
    >>> grid = [[0] * 24] * 12
    >>> import json
    >>> record = {"name": "Plain", "energyratestructure": [[{"rate": 0.1, "adj": 0.02}]],
    ...           "energyweekdayschedule": grid, "energyweekendschedule": grid}
    >>> draft_sheet(json.dumps(record).encode(), timezone="America/Denver").tariff.prices(
    ...     "2026-07-01", "2026-07-02", "12 h").tolist()
    [0.12, 0.12]
    """
    terms = draft_terms(timezone, holidays=holidays, holidays_as=holidays_as, edges=edges, currency=currency)
    return draft_record(chosen_record(records_of(source), label), terms)


def records_of(source: str | os.PathLike[str] | bytes) -> list[RawRecord]:
    """Find the records of a file, or of its content; see `raw_records`."""
    if isinstance(source, bytes):
        return raw_records(source, _NO_FILE)
    name = os.fspath(source)
    return raw_records(file_content(Path(name), MAX_BYTES, "a JSON file"), name)


def chosen_record(records: list[RawRecord], label: str | None) -> RawRecord:
    """Choose the record of a label, or the only one.

    Raises
    ------
    InputError
        With the labels there are, if none or several fit.
    """
    fitting = [record for record in records if label is None or record.label == label]
    if len(fitting) == 1:
        return fitting[0]
    if label is None:
        what = f"the file holds {len(records)} records; choose one by its label"
    elif fitting:
        what = f"{len(fitting)} records have the label {clean_line(label, 40)}; take the one you mean into a file"
    else:
        what = f"no record has the label {clean_line(label, 40)}; choose one of these"
    raise InputError("\n  ".join([f"{what}:", *listing(records)]))


def listing(records: list[RawRecord], longest: int = 40) -> list[str]:
    """List labels and names of records, one a line.

    Examples
    --------
    >>> listing(raw_records('[{"label": "5f", "name": "Plain", "utility": "Ridgeline Valley"}, {"label": "60"}]'))
    ['5f  Ridgeline Valley, Plain', '60']
    """
    lines = []
    for record in records[:longest]:
        names = (record.data.get(key) for key in ("utility", "name"))
        text = ", ".join(clean_line(name, 60) for name in names if isinstance(name, str) and name.strip())
        lines.append(f"{clean_line(record.label or '(no label)', 40)}  {text}".strip())
    return lines + ([f"and {len(records) - longest} more"] if len(records) > longest else [])


def draft_record(raw: RawRecord, terms: DraftTerms) -> Draft:
    """Make a rate sheet of one record.

    Parameters
    ----------
    raw : RawRecord
        The record as it was found.
    terms : DraftTerms
        What was given with it.

    Returns
    -------
    Draft
        The sheet.

    Raises
    ------
    FileError
        With every reason why the record cannot be read.
    InputError
        If a boundary is to be moved that the record does not have.
    """
    record = read_record(raw)
    _check_edges(record, terms)
    try:
        data, notes = _sheet(record, terms)
        draft = Draft(data["name"], record.label, sheet_text(data, notes, _header(record)), tuple(notes))
        _ = draft.tariff  # a draft that cannot be read would help nobody
    except (InputError, FileError) as error:
        reason = error.mistakes[0].what if isinstance(error, FileError) else str(error)
        raise FileError([raw.text.mistake(raw.path, f"the record cannot be said as a sheet: {reason}")]) from None
    return draft


def _check_edges(record: Record, terms: DraftTerms) -> None:
    demands = (demand for demand in (record.flat_demand, record.timed_demand) if demand is not None)
    known = record.hours.boundaries.union(*(demand.hours.boundaries for demand in demands))
    for hour in range(1, 24):
        if terms.edges[hour] != 60 * hour and hour not in known:
            shown = ", ".join(f"{boundary:02d}:00" for boundary in sorted(known)) or "none"
            raise InputError(f"no period of the record begins at {hour:02d}:00; its boundaries are at: {shown}")


def _sheet(record: Record, terms: DraftTerms) -> tuple[dict[str, Any], list[Note]]:
    words = words_of(record.hours, record.energy, record, terms)
    energy, energy_notes = energy_data(record, words, terms)
    export, export_notes = export_data(record, words)
    demand = demand_data(record, terms)
    name = ", ".join(filter(None, (record.utility, record.name))) or f"Rate {record.label or 'without a name'}"
    data: dict[str, Any] = {"name": clean_line(name), "currency": terms.currency, "timezone": terms.timezone}
    optional = {
        "effective": record.start,
        "until": record.end,
        "source": f"U.S. Utility Rate Database (CC0), record {record.label or 'without a label'}",
        "holidays": terms.written_holidays,
        **energy,
        "fixed": str(record.fixed) if record.fixed else None,
        **demand,
        "minimum": str(record.minimum) if record.minimum else None,
        **export,
        "notes": "\n\n".join(f"{label}: {text}" for label, text in record.texts.items()),
        "checks": draft_checks(record, words, terms),
    }
    data |= {key: value for key, value in optional.items() if value}
    notes = [*_terms_notes(record, terms, timed=bool(words.periods)), *record.notes, *energy_notes, *export_notes]
    return data, notes


def _terms_notes(record: Record, terms: DraftTerms, timed: bool) -> list[Note]:
    """Note what no record says."""
    notes = []
    grids = [record.hours, *(demand.hours for demand in (record.flat_demand, record.timed_demand) if demand)]
    if terms.holidays:
        day = terms.written_holidays["as"]
        text = f"holidays take the hours of a {day}, on their own dates; the record names none (see `shift`)"
        notes.append(Note("assumed", ("holidays",), text))
    elif any((grid.weekday != grid.weekend).any() for grid in grids):
        text = "no day is a holiday; the record names none, but many utilities bill some as Sundays (--holidays)"
        notes.append(Note("assumed", (), text))
    if timed or any(grid.boundaries for grid in grids):
        text = "the zone was given, not read; hours are those of its wall clock, with summer time where it has that"
        notes.append(Note("assumed", ("timezone",), text))
    if terms.currency == "USD" and record.country.upper() not in ("", "USA", "US"):
        notes.append(Note("assumed", ("currency",), f"the record is of {record.country}, and amounts are taken as USD"))
    notes.append(Note("left out", (), "taxes, city fees and percentages, which no record holds"))
    return notes


def _header(record: Record) -> list[str]:
    dates = f"from {record.start or 'a day it does not say'}, " + (
        f"until {record.end}" if record.end else "no end stated"
    )
    lines = {
        "Record": record.label or "without a label",
        "Utility": record.utility,
        "Rate": record.name,
        "Sector": record.sector,
        "Dates": dates,
        "Source": record.sources,
    }
    head = "Draft of a rate sheet from a record of the U.S. Utility Rate Database, whose data are public domain (CC0)."
    return [head, *(f"{label + ':':9}{text}" for label, text in lines.items() if text)]
