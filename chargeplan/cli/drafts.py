"""The command that makes a rate sheet of data that somebody else published: `import`."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from chargeplan.cli.entry import FINE, MISTAKE, main
from chargeplan.cli.printing import complain, print_json
from chargeplan.errors import ChargeplanError, FileError, InputError

if TYPE_CHECKING:
    from chargeplan.drafting.draft import Draft
    from chargeplan.drafting.envelope import RawRecord
    from chargeplan.drafting.note import Note

#: Endings of files of prices; any other is taken for a record.
_OF_PRICES: Final = (".csv", ".tsv", ".txt", ".parquet", ".pq")


@main.command("import")
@click.argument("record")
@click.option("--timezone", help="Zone of the rate's clock, like America/Denver. Needed: hardly any file says it.")
@click.option("--holidays", help="Holidays: a country (US), a part of one (US-CA), or 'Jul 4, Dec 25'. None without.")
@click.option("--holidays-as", default="Sunday", show_default=True, help="The day whose hours holidays take.")
@click.option("--edge", "edges", multiple=True, help="Move a boundary, like 17=17:30. As often as needed.")
@click.option("--label", help="The record meant, where the file holds several.")
@click.option("--currency", help="Three-letter code of the currency. USD without, unless the file says another.")
@click.option("--kind", type=click.Choice(["record", "dated", "hours"]), help="What the file is, if its name misleads.")
@click.option("--unit", help="Of a file of prices: kWh, MWh, 'cents per kWh' or EUR/MWh.")
@click.option("--weekend", help="A second table of months and hours, for weekends.")
@click.option("--name", help="What a file of prices is to be called as a rate.")
@click.option("--out", "file", help="Write the sheet into this file instead of printing it.")
@click.option("--out-dir", "folder", help="Write a sheet for every record of the file into this folder; it is made.")
@click.option("--force", is_flag=True, help="Replace files that are there.")
@click.option("--json", "as_json", is_flag=True, help="Sheet and notes as data for programs.")
def import_(record: str, file: str | None, folder: str | None, force: bool, as_json: bool, **options: Any) -> None:
    """Make a rate sheet of an open record, or of prices.

    RECORD is a JSON file as downloaded from the U.S. Utility Rate Database: one record, a list, or
    {"items": [...]}. Or it is a CSV or Parquet file of dated prices, or a CSV file with a table of prices,
    twelve months by 24 hours. The sheet is printed, and everything that was assumed, is unclear or was left
    out goes to standard error; both are in the sheet as comments too.

    If the file holds several records, their labels are listed: choose one with
    --label, or write them all with --out-dir. There each sheet is named by its label; records that
    cannot be read are told, and the others are written all the same.
    """
    from chargeplan.drafting.draft import draft_record, records_of
    from chargeplan.drafting.terms import draft_terms

    if file is not None and folder is not None:
        raise InputError("--out and --out-dir exclude one another; give one of them")
    prices = {name: options.pop(name) for name in ("kind", "unit", "weekend", "name")}
    if _is_of_prices(record, prices["kind"]):
        if folder is not None or options["label"] is not None:
            raise InputError("--out-dir and --label are for records; a file of prices makes one sheet, so give --out")
        _finish(_price_draft(record, file, {**options, **prices}), file, force, as_json)
        return
    if given := [f"--{name}" for name in ("unit", "weekend", "name") if prices[name] is not None]:
        raise InputError(f"{given[0]} is for files of prices (CSV or Parquet); leave it out, or add --kind")
    options["currency"] = options["currency"] or "USD"
    label = options.pop("label")
    records = records_of(record)
    chosen = records if folder is not None and label is None else [_chosen(records, label)]
    if options["timezone"] is None:
        raise InputError(
            f"no record says its time zone; add the one of {_whose(chosen[0])}, like --timezone America/Denver"
        )
    terms = draft_terms(options.pop("timezone"), **options)
    if folder is not None:
        sys.exit(_write_folder(chosen, terms, Path(folder), force, as_json))
    _finish(draft_record(chosen[0], terms), file, force, as_json)


def _is_of_prices(file: str, kind: str | None) -> bool:
    return kind in ("dated", "hours") or (kind is None and Path(file).suffix.lower() in _OF_PRICES)


def _price_draft(source: str, file: str | None, options: dict[str, Any]) -> Draft:
    from chargeplan.drafting.price_draft import draft_prices

    del options["label"]
    return draft_prices(source, folder=Path(file).parent if file is not None else ".", **options)


def _finish(draft: Draft, file: str | None, force: bool, as_json: bool) -> None:
    """Write or print one sheet, and tell what to look at."""
    from chargeplan.drafting.sheet_file import write_sheets

    if file is not None:
        write_sheets({file: draft.text}, force=force)
    if as_json:
        _print_json([draft])
        return
    _tell(draft.notes)
    click.echo(draft.text if file is None else f"{file}: {draft.name}", nl=file is not None)


def _chosen(records: list[RawRecord], label: str | None) -> RawRecord:
    """Choose a record; if it is not clear which, list them all before saying so."""
    from chargeplan.drafting.draft import chosen_record

    try:
        return chosen_record(records, label)
    except InputError as error:
        what, *listed = str(error).splitlines()
        for line in listed:
            complain(line)
        what = what.rstrip(":") + (", or write them all with --out-dir" if label is None else "")
        raise InputError(what.replace("by its label", "with --label")) from None


def _write_folder(records: list[RawRecord], terms: Any, folder: Path, force: bool, as_json: bool) -> int:
    """Write all that can be read, and tell of the rest."""
    from chargeplan.drafting.draft import draft_record
    from chargeplan.drafting.sheet_file import write_sheets

    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is no folder, but a file; name another one")
    drafts: dict[Path, Draft] = {}
    good = True
    for position, raw in enumerate(records):
        path = folder / f"{_file_name(raw, position)}.yaml"
        try:
            if path in drafts:
                raise InputError(f"two records have the label {path.stem}; take the one you mean into a file")
            drafts[path] = draft_record(raw, terms)
        except ChargeplanError as error:
            good = False
            for line in map(str, error.mistakes) if isinstance(error, FileError) else [f"chargeplan: {error}"]:
                complain(line)
    _make(folder, bool(drafts))
    write_sheets({path: draft.text for path, draft in drafts.items()}, force=force)
    if as_json:
        _print_json(list(drafts.values()))
    else:
        for path, draft in drafts.items():
            complain(f"{path}:")
            _tell(draft.notes)
            click.echo(f"{path}: {draft.name}")
    return FINE if good else MISTAKE


def _make(folder: Path, wanted: bool) -> None:
    """Make a folder where sheets are to be written and it is not there yet."""
    if wanted:
        try:
            folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            reason = error.strerror or str(error)
            raise InputError(f"cannot make the folder {folder}: {reason}; choose another place") from None


def _file_name(raw: RawRecord, position: int) -> str:
    label = re.sub(r"[^A-Za-z0-9_-]+", "-", raw.label)[:60].strip("-")
    return label or f"record-{position + 1}"


def _whose(raw: RawRecord) -> str:
    names = [raw.data.get(key) for key in ("utility", "name")]
    return next((name[:80] for name in names if isinstance(name, str) and name.strip()), "the rate")


def _tell(notes: tuple[Note, ...]) -> None:
    for note in notes:
        place = ".".join(map(str, note.place))
        complain(f"{note.kind}{f' ({place})' if place else ''}: {note.text}")


def _print_json(drafts: list[Draft]) -> None:
    from chargeplan.output.draft_data import drafts_data

    print_json(drafts_data(drafts))
