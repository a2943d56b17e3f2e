"""What a study came to: its rows, held in memory or read bit by bit from a folder."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Iterator
from dataclasses import dataclass, field
from html import escape
from itertools import islice
from math import isnan
from pathlib import Path
from typing import TYPE_CHECKING, Protocol

from chargeplan.study.cell import YearRow
from chargeplan.study.chunks import Chunk
from chargeplan.study.store import COLUMNS, arrow, read_folder, table_of
from chargeplan.writing import whole_file

if TYPE_CHECKING:
    import pandas as pd

#: Rows that a notebook shows, and columns of them.
_SHOWN = 8
_SHOWN_COLUMNS = ("household", "driving", "tariff", "equipment", "strategy", "home_kwh", "car_cost", "currency")


class Parts(Protocol):
    """Holds rows."""

    def parts(self) -> Iterator[list[YearRow]]:
        """Give them part by part, in order."""
        ...


@dataclass(frozen=True, eq=False)
class Held:
    """Rows in memory, by the number of their chunk."""

    there: dict[int, list[YearRow]] = field(default_factory=dict)

    def keep(self, chunk: Chunk, rows: list[YearRow]) -> None:
        """Keep the rows of a chunk."""
        self.there[chunk.number] = rows

    def check(self, chunk: Chunk) -> None:
        """Do nothing: no rows are there from a run before."""

    def parts(self) -> Iterator[list[YearRow]]:
        """Give them part by part."""
        return (self.there[number] for number in sorted(self.there))


@dataclass(frozen=True, eq=False, repr=False)
class StudyResult:
    """The rows of a study.

    Parameters
    ----------
    name : str
        Of the study.
    cells : int
        Number of years that were planned.
    source : Parts
        Where the rows are.

    Examples
    --------
    >>> from datetime import date
    >>> from chargeplan.household import load_household
    >>> from chargeplan.study.run import run_study
    >>> from chargeplan.study.study import Study
    >>> from chargeplan.tariff import load_tariff
    >>> rates = {name: load_tariff(name) for name in ("flat", "summer-peak")}
    >>> result = run_study(Study("rates", {"demo": load_household("demo")}, rates, date(2026, 1, 1), 28))
    >>> result
    StudyResult('rates', 2 years planned)
    >>> result.frame().groupby("strategy").home_kwh.size().to_dict()
    {'at once': 2, 'optimal': 2, 'timer': 2}
    """

    name: str
    cells: int
    source: Parts

    def __repr__(self) -> str:
        planned = f"{self.cells:,} year{'' if self.cells == 1 else 's'} planned"
        where = f", in {os.fspath(self.source.path)}" if hasattr(self.source, "path") else ""
        return f"StudyResult({self.name!r}, {planned}{where})"

    def _repr_html_(self) -> str:
        import pandas as pd

        first = list(islice(self.rows(), _SHOWN))
        shown = pd.DataFrame({name: [getattr(row, name) for row in first] for name in _SHOWN_COLUMNS})
        table = shown.to_html(index=False, border=0, float_format="{:,.2f}".format)
        return f"<p>{escape(repr(self))}</p>{table}"

    def rows(self) -> Iterator[YearRow]:
        """Give the rows in the order of the study, of a folder with no more than one part in memory."""
        for part in self.source.parts():
            yield from part

    def frame(self) -> pd.DataFrame:
        """Give all rows as a table, with the columns of `chargeplan.study.cell.YearRow`.

        Returns
        -------
        pandas.DataFrame
            One row for each household, driving, rate, equipment and strategy, in this order.
        """
        import pandas as pd

        columns: dict[str, list[object]] = {name: [] for name in COLUMNS}
        for part in self.source.parts():
            for name, values in columns.items():
                values += [getattr(row, name) for row in part]
        return pd.DataFrame(columns)

    def to_csv(self, path: str | os.PathLike[str]) -> None:
        """Write the rows as CSV in UTF-8, the file whole or not at all; what is not a number is left empty.

        Parameters
        ----------
        path : path
            The file; replaced if it is there.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        with whole_file(Path(path)) as stream:
            stream.write(_csv_lines([list(COLUMNS)]))
            for part in self.source.parts():
                stream.write(_csv_lines([[_cell(getattr(row, name)) for name in COLUMNS] for row in part]))

    def to_parquet(self, path: str | os.PathLike[str]) -> None:
        """Write the rows as Parquet, the file whole or not at all; needs the extra ``parquet``.

        Parameters
        ----------
        path : path
            The file; replaced if it is there.

        Raises
        ------
        InputError
            If it cannot be written, or pyarrow is missing.
        """
        _, parquet = arrow()
        with whole_file(Path(path)) as stream:
            parts = map(table_of, self.source.parts())
            first = next(parts)
            with parquet.ParquetWriter(stream, first.schema) as writer:
                writer.write_table(first)
                for part in parts:
                    writer.write_table(part)


def read_results(folder: str | os.PathLike[str]) -> StudyResult:
    """Read the results that a run of a study left in a folder.

    Parameters
    ----------
    folder : path
        What was given as ``out=`` to `chargeplan.study.run.run_study`.

    Returns
    -------
    StudyResult

    Raises
    ------
    InputError
        If there are none, or if parts are missing.
    """
    found = read_folder(Path(folder))
    return StudyResult(found.about["study"], found.about["cells"], found)


def _csv_lines(rows: list[list[object]]) -> bytes:
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    return text.getvalue().encode()


def _cell(value: object) -> object:
    return "" if isinstance(value, float) and isnan(value) else value
