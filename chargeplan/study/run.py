"""A study worked out: chunk by chunk, by one or many workers, with the same rows whoever does it."""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from chargeplan.study.chunks import Cut
from chargeplan.study.handing_out import worked_out
from chargeplan.study.pools import pool_for
from chargeplan.study.results import Held, StudyResult
from chargeplan.study.store import Folder, open_folder
from chargeplan.study.study import Study

if TYPE_CHECKING:
    from concurrent.futures import Executor

#: Is told how many years are planned, and of how many.
Progress: TypeAlias = Callable[[int, int], None]


def run_study(
    study: Study,
    *,
    executor: Executor | Any | None = None,
    workers: int | None = None,
    out: str | os.PathLike[str] | None = None,
    progress: Progress | None = None,
    chunk_cells: int | None = None,
    restart: bool = False,
) -> StudyResult:
    """Work a study out.

    Parameters
    ----------
    study : Study
        What is compared.
    executor : concurrent.futures.Executor or dask.distributed.Client, optional
        Who works it out, threads or processes, here or on other machines; stays open. A client of Dask needs the
        extra ``cluster``, and this package on the workers.
    workers : int, optional
        Without an executor: number of processes; 1 is this process. As many as the machine has cores by default,
        and this process for a study that is done in the time that it takes to start others. A script that starts
        processes calls this under ``if __name__ == "__main__":``.
    out : path, optional
        A folder to which the rows are written as they are worked out, so that they need no memory, and so that a run
        that was broken off goes on where it was when it is started again. One run at a time; needs the extra
        ``parquet``. Without, the rows are held in memory.
    progress : callable, optional
        Called with the number of years planned so far and that of all.
    chunk_cells : int, optional
        Years that are handed out in one go.
    restart : bool
        Begin anew in a folder that holds results already.

    Returns
    -------
    StudyResult
        Rows in the order of the study, the same whoever works it out.

    Raises
    ------
    InputError
        If something given is wrong, if a year cannot be planned, or if the folder holds another study.
    ChargeplanError
        If workers are lost again and again. What was worked out until then is in the folder.

    Examples
    --------
    >>> from datetime import date
    >>> from chargeplan.household import load_household
    >>> from chargeplan.tariff import load_tariff
    >>> home, rates = load_household("demo"), {"summer-peak": load_tariff("summer-peak")}
    >>> result = run_study(Study("January", {"demo": home}, rates, date(2026, 1, 1), 31))
    >>> [(row.strategy, row.missed) for row in result.rows()]
    [('optimal', 0), ('timer', 0), ('at once', 0)]
    """
    store: Held | Folder = Held()
    cut = Cut.of(study, chunk_cells)
    pool = pool_for(study, cut, executor, workers)  # first, as it says what is wrong before anything is touched
    if out is not None:
        store, cut = open_folder(Path(out), study, chunk_cells, restart=restart)
    done = 0
    there = frozenset(store.there)
    if there:
        # All of them before anything is worked out, so that what does not belong together is not mixed.
        for chunk in cut.chunks_of(study):
            if chunk.number in there:
                store.check(chunk)
                done += chunk.cells
    if progress is not None:
        progress(done, study.cells)
    wanted = (chunk for chunk in cut.chunks_of(study) if chunk.number not in there)
    with closing(worked_out(wanted, pool)) as found:
        for chunk, rows in found:
            store.keep(chunk, rows)
            done += chunk.cells
            if progress is not None:
                progress(done, study.cells)
    return StudyResult(study.name, study.cells, store)
