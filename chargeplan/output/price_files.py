"""Tables of prices as CSV, JSON and Parquet files."""

from __future__ import annotations

import csv
import io
import json
import os
from collections.abc import Iterable
from datetime import timedelta
from pathlib import Path
from typing import Any, Final

import numpy as np

from chargeplan.errors import InputError
from chargeplan.output.price_table import PART, PriceTable, price_table
from chargeplan.tariff import Tariff
from chargeplan.tariff.tariff import Instant
from chargeplan.writing import write_whole

PRICE_TABLE_SCHEMA: Final = "chargeplan.price-table/1"
#: What a file may be called at its end.
FORMATS: Final = (".csv", ".json", ".parquet")


def write_prices(
    tariff: Tariff,
    path: str | os.PathLike[str],
    start: Instant,
    end: Instant,
    step: str | int | timedelta = "15 min",
    *,
    parts: bool = False,
    force: bool = False,
) -> PriceTable:
    """Write the prices of a span of time into a file.

    Parameters
    ----------
    tariff : Tariff
        The rate.
    path : path
        Ends in ``.csv``, ``.json`` or ``.parquet``, which says the format.
    start, end, step, parts
        As for `price_table`.
    force : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    PriceTable
        What was written.

    Raises
    ------
    InputError
        If the span does not fit the sheet, the name says no format, or the file is there or cannot be written.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from chargeplan.tariff import load_tariff
    >>> with TemporaryDirectory() as folder:
    ...     table = write_prices(load_tariff("flat"), f"{folder}/prices.csv", "2026-07-04", "2026-07-05", "1 h")
    ...     print(Path(folder, "prices.csv").read_text(encoding="utf-8").splitlines()[:2])
    ['start,end,price_per_kwh', '2026-07-04T00:00:00-06:00,2026-07-04T01:00:00-06:00,0.2465']
    """
    suffix = format_of(path, force)
    table = price_table(tariff, start, end, step, parts=parts)
    if suffix == ".parquet":
        content = parquet_content(table)
    else:
        content = (csv_text(table) if suffix == ".csv" else json_text(table)).encode()
    write_whole(Path(path), content)
    return table


def format_of(path: str | os.PathLike[str], force: bool = False) -> str:
    """Tell the format from the name of a file, before any work is done for it.

    Raises
    ------
    InputError
        If the name says none, or the file is there already and may not be replaced.

    Examples
    --------
    >>> format_of("prices.Parquet")
    '.parquet'
    """
    file = Path(path)
    suffix = file.suffix.lower()
    if suffix not in FORMATS:
        known = f"{', '.join(FORMATS[:-1])} or {FORMATS[-1]}"
        raise InputError(f"`{file.name}` is no file that prices can be written to; end its name in {known}")
    if not force and os.path.lexists(file):
        raise InputError(f"{file} is there already; choose another name, or add --force to replace it (force=True)")
    return suffix


def csv_text(table: PriceTable) -> str:
    """Write a table as CSV: a line of names, then one line for every slot."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(table.names)
    writer.writerows(zip(*table.lists(), strict=True))
    return text.getvalue()


def json_text(table: PriceTable) -> str:
    """Write a table as JSON of schema ``chargeplan.price-table/1``, one line for every slot."""
    head = json.dumps(_about(table), indent=2).removesuffix("\n}")
    rows = ",\n    ".join(json.dumps(row, allow_nan=False) for row in _rows(table))
    return f'{head},\n  "prices": [\n    {rows}\n  ]\n}}\n'


def price_table_data(table: PriceTable) -> dict[str, Any]:
    """Turn a table into data, schema ``chargeplan.price-table/1``."""
    return {**_about(table), "prices": list(_rows(table))}


def parquet_content(table: PriceTable) -> bytes:
    """Write a table as Parquet, with what JSON says at its head as metadata; needs the extra ``parquet``.

    Raises
    ------
    InputError
        If pyarrow is not installed.
    """
    try:
        import pyarrow as pa  # type: ignore[import-untyped, unused-ignore]
        from pyarrow import parquet
    except ImportError:
        remedy = "install chargeplan with its extra: pip install '.[parquet]', or write .csv or .json"
        raise InputError(f"writing Parquet needs pyarrow; {remedy}") from None
    moment = pa.timestamp("ms", tz=table.timezone)
    arrays = [pa.array(utc_s * 1000, type=moment) for utc_s in (table.start_s, table.start_s + table.step_s)]
    fields = [pa.field(name, moment, nullable=False) for name in ("start", "end")]
    for name, column in table.columns.items():
        is_price = column.dtype == np.float64
        kind = pa.float64() if is_price else pa.string()
        unit = {"unit": f"{table.currency} per kWh"} if is_price else None
        arrays.append(pa.array(column, type=kind))
        fields.append(pa.field(name, kind, nullable=False, metadata=unit))
    about = {key: str(value) for key, value in _about(table).items()}
    stream = io.BytesIO()
    parquet.write_table(pa.table(arrays, schema=pa.schema(fields, metadata=about)), stream)
    return stream.getvalue()


def _about(table: PriceTable) -> dict[str, Any]:
    return {
        "schema": PRICE_TABLE_SCHEMA,
        "tariff": table.tariff,
        "currency": table.currency,
        "timezone": table.timezone,
        "unit": f"{table.currency} per kWh",
        "step_min": table.step_s // 60,
    }


def _rows(table: PriceTable) -> Iterable[dict[str, Any]]:
    """Give every slot as a mapping, its parts as one within it."""
    whole = [name for name in table.names if not name.startswith(PART)]
    part = [name.removeprefix(PART) for name in table.names if name.startswith(PART)]
    for cells in zip(*table.lists(), strict=True):
        row: dict[str, Any] = dict(zip(whole, cells, strict=False))
        if part:
            row[PART.rstrip(".")] = dict(zip(part, cells[len(whole) :], strict=True))
        yield row
