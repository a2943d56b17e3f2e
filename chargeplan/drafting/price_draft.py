"""From a file of prices, dated or by month and hour, to a commented rate sheet."""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from chargeplan.drafting.dated_prices import dated_prices_data, read_dated_prices
from chargeplan.drafting.draft import Draft
from chargeplan.drafting.envelope import raw_records
from chargeplan.drafting.hour_table import hour_table_data, read_hour_table
from chargeplan.drafting.note import Note
from chargeplan.drafting.price_unit import PriceUnit, parse_unit
from chargeplan.drafting.terms import DraftTerms, draft_terms
from chargeplan.drafting.writing import clean_line, sheet_text
from chargeplan.errors import FileError, InputError, Mistake
from chargeplan.reading import file_content

if TYPE_CHECKING:
    from chargeplan.tariff import Tariff

Kind = Literal["dated", "hours"]
KINDS: Final[tuple[Kind, ...]] = ("dated", "hours")
#: So much of a file tells which kind it is.
_START_BYTES: Final = 20_000
#: A column of the bulk download of a database of rates, which is no table of prices.
RECORD_MARK: Final = b"energyratestructure/period"
_STAMP: Final = re.compile(r"\d{1,4}[-./]\d{1,2}[-./]\d{1,4}", re.ASCII)
_SEPARATOR: Final = re.compile(r"[,;\t]")


@dataclass(frozen=True)
class PriceDraft(Draft):
    """A rate sheet made of a file of prices.

    Parameters
    ----------
    folder : str
        Where the sheet is to stand; it names files from there.
    """

    folder: str = "."

    @cached_property
    def tariff(self) -> Tariff:
        """The sheet, ready to price any span of time."""
        from chargeplan.tariff import read_tariff

        return read_tariff(self.text, os.path.join(self.folder, "draft.yaml"))


def draft_prices(
    source: str | os.PathLike[str],
    *,
    timezone: str | None = None,
    currency: str | None = None,
    unit: str | None = None,
    weekend: str | os.PathLike[str] | None = None,
    kind: Kind | None = None,
    name: str | None = None,
    folder: str | os.PathLike[str] = ".",
    holidays: str | Iterable[str] | None = None,
    holidays_as: str = "Sunday",
    edges: Iterable[str] | Mapping[str, str] = (),
) -> PriceDraft:
    r"""Make a rate sheet of a file of prices.

    Parameters
    ----------
    source : path
        Dated prices (CSV or Parquet, see `read_dated_prices`), or a table of twelve months by 24 hours
        (CSV, see `read_hour_table`).
    timezone : str, optional
        Zone of the sheet; needed unless a Parquet file says it.
    currency : str, optional
        Three-letter code; what the file says, or USD, without.
    unit : str, optional
        What the prices are for: ``kWh``, ``MWh``, ``cents per kWh``, ``EUR/MWh``.
    weekend : path, optional
        A second table of months and hours, with the prices of weekends.
    kind : {'dated', 'hours'}, optional
        Which of the two it is; without, the file tells.
    name : str, optional
        What the rate is called.
    folder : path
        Where the sheet is to stand; it names the file of dated prices from there.
    holidays, holidays_as, edges
        As for `draft_terms`; only for a table of months and hours.

    Returns
    -------
    PriceDraft
        The sheet, and what a person should look at.

    Raises
    ------
    FileError
        With every mistake of the file, by line and column.
    InputError
        If something is missing that the file does not say, or an argument is wrong.

    Examples
    --------
    >>> import tempfile
    >>> file = Path(tempfile.mkdtemp(), "prices.csv")
    >>> _ = file.write_text((",".join(["0.10"] * 17 + ["0.30"] * 7) + "\n") * 12)
    >>> draft = draft_prices(file, timezone="America/Denver", unit="kWh")
    >>> draft.tariff.prices("2026-07-01 16:00", "2026-07-01 18:00", "1 h").tolist()
    [0.1, 0.3]
    """
    given = None if unit is None else parse_unit(unit)
    path, base = os.fspath(source), os.fspath(folder)

    def terms(about: Mapping[str, str], said: PriceUnit | None) -> tuple[DraftTerms, list[Note]]:
        return _terms(timezone, currency, about, said, holidays=holidays, holidays_as=holidays_as, edges=edges)

    if (kind or kind_of(path)) == "dated":
        if weekend is not None or holidays is not None or edges:
            raise InputError("dated prices have no weekends, holidays or boundaries of their own; leave them out")
        found = read_dated_prices(path, given)
        chosen, notes = terms(found.about, found.unit)
        title = name or found.about.get("tariff") or Path(path).stem
        way = Path(os.path.relpath(path, base)).as_posix()
        data, more = dated_prices_data(found, file=way, name=clean_line(title), terms=chosen)
        header = f"Draft of a rate sheet from the dated prices in {clean_line(Path(path).name)}."
    else:
        table = read_hour_table(path, weekend)
        chosen, notes = terms({}, given)
        data, more = hour_table_data(table, name=clean_line(name or Path(path).stem), terms=chosen, unit=given)
        header = f"Draft of a rate sheet from the table of prices in {clean_line(Path(path).name)}."
    notes += more
    draft = PriceDraft(data["name"], "", sheet_text(data, notes, [header]), tuple(notes), base)
    try:
        _ = draft.tariff  # a draft that cannot be read would help nobody
    except FileError as error:
        what = f"the prices cannot be said as a sheet: {error.mistakes[0].what}"
        raise FileError([Mistake(path, 1, 1, what, error.mistakes[0].remedy)]) from None
    return draft


def kind_of(path: str) -> Kind:
    """Tell dated prices, which have dates, from a table of months and hours, which has none.

    Parameters
    ----------
    path : str
        The file.

    Returns
    -------
    str
        ``dated`` or ``hours``.
    """
    content = file_content(Path(path), _START_BYTES, "a CSV or Parquet file")
    if content.startswith(b"PAR1"):
        return "dated"
    if RECORD_MARK in content:
        raw_records(content, path)  # says what such a file is, and what to take instead
    lines = content.decode("utf-8-sig", "replace").split("\n")[:-1] or [content.decode("utf-8-sig", "replace")]
    cells = [[cell.strip(' "\r') for cell in _SEPARATOR.split(line)] for line in lines[:50]]
    named = any("start" in map(str.lower, row) for row in cells[:1])
    return "dated" if named or any(_STAMP.match(cell) for row in cells for cell in row[:1]) else "hours"


def _terms(
    timezone: str | None, currency: str | None, about: Mapping[str, str], unit: PriceUnit | None, **more: Any
) -> tuple[DraftTerms, list[Note]]:
    """Take what was given, then what the file says, then what is usual."""
    zone = timezone or about.get("timezone")
    if zone is None:
        raise InputError("the file does not say its time zone; add one, as in --timezone America/Denver")
    said = about.get("currency") or (unit.currency if unit else "")
    chosen = currency or said or "USD"
    notes = []
    if not (currency or said):
        notes.append(Note("assumed", ("currency",), "the currency is stated nowhere, so it is USD"))
    elif said not in ("", chosen):
        notes.append(Note("unclear", ("currency",), f"the file says {clean_line(said, 20)}; nothing is converted"))
    return draft_terms(zone, currency=chosen, **more), notes
