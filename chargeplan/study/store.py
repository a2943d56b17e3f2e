"""Rows of a study in a folder: a Parquet file for each chunk, and a file that says what they belong to."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final, get_type_hints

from chargeplan.errors import InputError
from chargeplan.study.cell import YearRow
from chargeplan.study.chunks import Chunk, Cut
from chargeplan.study.fingerprint import fingerprint_of_chunk, fingerprint_of_study
from chargeplan.study.study import Study
from chargeplan.writing import SCRATCH, whole_file, write_whole

#: Schema of the folder.
PARTS_SCHEMA: Final = "chargeplan.study-parts/1"
MANIFEST: Final = "study.json"
_OF_ANY_VERSION: Final = PARTS_SCHEMA.rpartition("/")[0] + "/"
_ABOUT: Final = b"chargeplan"
#: Types of the columns, by name.
COLUMNS: Final[dict[str, type]] = get_type_hints(YearRow)


@dataclass(frozen=True, eq=False)
class Folder:
    """A folder with the parts of one study.

    Parameters
    ----------
    path : pathlib.Path
        The folder.
    about : dict
        What its manifest says.
    there : set of int
        Numbers of the parts that are there and complete.
    """

    path: Path
    about: dict[str, Any]
    there: set[int] = field(default_factory=set)

    @property
    def complete(self) -> bool:
        """Whether no part is missing."""
        return bool(len(self.there) == self.about["parts"])

    def keep(self, chunk: Chunk, rows: list[YearRow]) -> None:
        """Write the part of a chunk.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        _, parquet = arrow()
        about = json.dumps({"part": chunk.number, "of": fingerprint_of_chunk(chunk)}).encode()
        with whole_file(self._part(chunk.number)) as stream:
            parquet.write_table(table_of(rows).replace_schema_metadata({_ABOUT: about}), stream)
        self.there.add(chunk.number)

    def check(self, chunk: Chunk) -> None:
        """Make sure that a part that is there belongs to a chunk.

        Raises
        ------
        InputError
            If it does not: household, house load or the like have changed since it was written.
        """
        if _about_part(self._part(chunk.number)).get("of") != fingerprint_of_chunk(chunk):
            raise InputError(
                f"the results in {self.path} are of an earlier state of this study: a household, what a house uses, or "
                "something else it names has changed since; choose another folder, or give restart=True to begin anew"
            )

    def parts(self) -> Iterator[list[YearRow]]:
        """Read the parts one by one, in order."""
        _, parquet = arrow()
        for number in range(self.about["parts"]):
            path = self._part(number)
            try:
                columns = parquet.read_table(path, columns=list(COLUMNS)).to_pydict()
            except (OSError, ValueError) as error:
                raise InputError(f"cannot read {path}: {error}; run the study again with this folder") from None
            yield [YearRow(*values) for values in zip(*(columns[name] for name in COLUMNS), strict=True)]

    def _part(self, number: int) -> Path:
        return self.path / f"part-{number:06d}.parquet"


def open_folder(path: Path, study: Study, chunk_cells: int | None, *, restart: bool) -> tuple[Folder, Cut]:
    """Open a folder for a study: a new one, or one in which a run of the same study was broken off.

    Parameters
    ----------
    path : pathlib.Path
        The folder; made if it is not there.
    study : Study
        Whose rows it is to hold.
    chunk_cells : int, optional
        Years in a chunk.
    restart : bool
        Throw away the parts of whatever study the folder holds.

    Returns
    -------
    folder : Folder
        With the parts that are there.
    cut : Cut
        As it was when the first part was written.

    Raises
    ------
    InputError
        If it holds another study or other files, cannot be written, or pyarrow is missing.
    """
    arrow()
    cut = Cut.of(study, chunk_cells)
    about = {
        "schema": PARTS_SCHEMA,
        "study": study.name,
        "of": fingerprint_of_study(study, cut),
        "chunk_cells": cut.chunk_cells,
        "cells": study.cells,
        "parts": cut.chunks,
    }
    try:
        path.mkdir(parents=True, exist_ok=True)
        names = sorted(file.name for file in path.iterdir())
    except OSError as error:
        raise InputError(f"cannot use {path} for results: {error.strerror}; choose another folder") from None
    if names and MANIFEST not in names and not all(name.startswith(SCRATCH) for name in names):
        raise InputError(f"{path} holds other files, like {names[0]}; choose a new or an empty folder")
    if restart and MANIFEST in names:
        _manifest(path, to_replace=True)
        for number in _numbers(path):
            (path / f"part-{number:06d}.parquet").unlink()
    elif MANIFEST in names:
        return _opened_again(path, study, chunk_cells)
    write_whole(path / MANIFEST, (json.dumps(about, indent=2) + "\n").encode())
    _remove_scratch(path)
    return Folder(path, about), cut


def read_folder(path: Path) -> Folder:
    """Open a folder to read it.

    Raises
    ------
    InputError
        If it is not one, or not complete.
    """
    folder = _with_parts(path, _manifest(path))
    if not folder.complete:
        missing = folder.about["parts"] - len(folder.there)
        raise InputError(f"{path} lacks {missing} of {folder.about['parts']} parts; run the study again with it")
    return folder


def table_of(rows: list[YearRow]) -> Any:
    """Lay rows out as a table of pyarrow."""
    pa, _ = arrow()
    kinds = {str: pa.string(), float: pa.float64(), int: pa.int64()}
    schema = pa.schema([pa.field(name, kinds[kind], nullable=False) for name, kind in COLUMNS.items()])
    return pa.table({name: [getattr(row, name) for row in rows] for name in COLUMNS}, schema=schema)


def arrow() -> tuple[Any, Any]:
    """Import pyarrow, which comes with an extra.

    Raises
    ------
    InputError
        If it is not installed.
    """
    try:
        import pyarrow as pa  # type: ignore[import-untyped, unused-ignore]
        from pyarrow import parquet
    except ImportError:
        remedy = "install chargeplan with its extra: pip install '.[parquet]'"
        raise InputError(f"a folder of results is written as Parquet, which needs pyarrow; {remedy}") from None
    return pa, parquet


def _opened_again(path: Path, study: Study, chunk_cells: int | None) -> tuple[Folder, Cut]:
    about = _manifest(path)
    remedy = "choose another folder, or give restart=True to begin anew"
    cut = Cut.of(study, about["chunk_cells"])
    if about["of"] != fingerprint_of_study(study, cut):
        raise InputError(f"{path} holds another study, `{about['study']}`, or an earlier state of this one; {remedy}")
    if chunk_cells not in (None, cut.chunk_cells):
        raise InputError(f"{path} is cut into chunks of {cut.chunk_cells} years, not {chunk_cells}; {remedy}")
    _remove_scratch(path)
    return _with_parts(path, about), cut


def _manifest(path: Path, *, to_replace: bool = False) -> dict[str, Any]:
    """Read what a folder says of itself; of one that is to begin anew it is enough that a study wrote it."""
    file = path / MANIFEST
    try:
        about = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        raise InputError(f"{path} is no folder of results: {MANIFEST} cannot be read; choose another one") from None
    wanted = {"schema": str, "study": str, "of": str, "chunk_cells": int, "cells": int, "parts": int}
    if not isinstance(about, dict) or not str(about.get("schema")).startswith(_OF_ANY_VERSION):
        raise InputError(f"{file} is not what a run of a study writes; choose another folder")
    if not to_replace:
        if about["schema"] != PARTS_SCHEMA:
            remedy = "choose another folder, or give restart=True to begin anew"
            raise InputError(f"{file} has the schema {about['schema']}, not {PARTS_SCHEMA}; {remedy}")
        if any(not isinstance(about.get(key), kind) for key, kind in wanted.items()):
            raise InputError(f"{file} has been changed; choose another folder, or give restart=True to begin anew")
    return about


def _with_parts(path: Path, about: dict[str, Any]) -> Folder:
    folder = Folder(path, about)
    for number in _numbers(path):
        if number < about["parts"] and _about_part(path / f"part-{number:06d}.parquet").get("part") == number:
            folder.there.add(number)
    return folder


def _numbers(path: Path) -> list[int]:
    """List the numbers of the parts in a folder, complete or not."""
    texts = (file.name.removeprefix("part-").removesuffix(".parquet") for file in path.glob("part-*.parquet"))
    return sorted(int(text) for text in texts if text.isascii() and text.isdigit() and len(text) >= 6)


def _about_part(file: Path) -> dict[str, Any]:
    """Read what a part says of itself; nothing if it is not complete, as after a power cut."""
    _, parquet = arrow()
    try:
        # The end of a Parquet file says what is in it, so a file without its end cannot be read.
        about = json.loads((parquet.read_schema(file).metadata or {}).get(_ABOUT, b"{}"))
    except (OSError, ValueError):
        return {}
    return about if isinstance(about, dict) else {}


def _remove_scratch(path: Path) -> None:
    """Remove what a run that was killed left half-written."""
    for file in path.glob(f"{SCRATCH}*"):
        file.unlink(missing_ok=True)
