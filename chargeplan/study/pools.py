"""Who works out the chunks of a study: this process, processes of our own, or an executor that the caller gives."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from concurrent.futures import BrokenExecutor, CancelledError, Executor, Future, ProcessPoolExecutor
from multiprocessing.connection import wait as wait_for_end
from typing import Any, Final, Protocol

from chargeplan.errors import ChargeplanError, InputError
from chargeplan.study.cell import YearRow
from chargeplan.study.chunks import Chunk, Cut, seconds_of
from chargeplan.study.cluster import Cluster
from chargeplan.study.study import Study

#: Starting processes takes about a second; a study that takes less than this in one process stays there.
_WORTH_PROCESSES_S: Final = 2.0
#: Chunks handed out per worker: one that is worked on, and one that waits, so that no worker does.
_PER_WORKER: Final = 2


class Pool(Protocol):
    """Takes chunks."""

    #: So often a chunk may lose its worker before the study is given up, at least 2.
    tries: int
    #: What the caller can do when it lost that many.
    remedy: str

    def room(self) -> int:
        """Say how many chunks may be handed out at a time."""
        ...

    def submit(self, chunk: Chunk) -> Future[list[YearRow]]:
        """Hand out a chunk."""
        ...

    def renew(self) -> None:
        """Be ready for work again after a worker was lost."""
        ...

    def close(self, *, at_once: bool) -> None:
        """Give back what was taken; ``at_once`` without waiting for chunks that are worked on."""
        ...


def pool_for(study: Study, cut: Cut, executor: Any, workers: int | None) -> Pool:
    """Choose who works a study out.

    Parameters
    ----------
    study, cut
        What there is to do.
    executor : concurrent.futures.Executor or dask.distributed.Client, optional
        Given by the caller.
    workers : int, optional
        Number of processes; as many as the machine has cores without.

    Returns
    -------
    Pool

    Raises
    ------
    InputError
        If both are given, or one of them is not what it should be.
    """
    if executor is not None:
        if workers is not None:
            raise InputError("an executor has workers of its own; give executor= or workers=, not both")
        if hasattr(executor, "get_executor"):
            return Cluster(executor)
        if not isinstance(executor, Executor):
            raise InputError(f"{executor!r} is no executor; give one of concurrent.futures, or a client of Dask")
        if hasattr(executor, "_client"):
            return Cluster(executor._client, getattr(executor, "_kwargs", None))
        return _Given(executor)
    if workers is None:
        workers = _cores() if seconds_of(study) > _WORTH_PROCESSES_S else 1
    elif isinstance(workers, bool) or not isinstance(workers, int) or workers < 1:
        raise InputError(f"{workers!r} workers cannot be; give workers=1 or more")
    workers = min(workers, cut.chunks)
    return _Here() if workers == 1 else _Processes(workers)


def is_lost(future: Future[Any]) -> bool:
    """Tell whether a chunk came to nothing because the worker that had it is gone."""
    return future.cancelled() or isinstance(future.exception(), (BrokenExecutor, CancelledError))


class _Here:
    """Work in this process, one chunk after the other."""

    tries, remedy = 2, ""  # no worker is lost here

    def room(self) -> int:
        return 1

    def submit(self, chunk: Chunk) -> Future[list[YearRow]]:
        future: Future[list[YearRow]] = Future()
        try:
            future.set_result(chunk.rows())
        except Exception as error:  # kept for whoever asks for the result, as any executor does
            future.set_exception(error)
        return future

    def renew(self) -> None:
        """Do nothing: no worker is lost here."""

    def close(self, *, at_once: bool) -> None:
        """Do nothing: nothing was taken."""


class _Processes:
    """Processes of our own, which are started anew when one of them is killed."""

    tries = 3
    remedy = (
        'use fewer workers or a smaller chunk_cells=, and in a script call run_study under `if __name__ == "__main__":`'
    )

    def __init__(self, workers: int) -> None:
        self.workers = workers
        self.executor = self._start()

    def _start(self) -> ProcessPoolExecutor:
        # A forked process would inherit the locks of threads that it does not have.
        way = "forkserver" if "forkserver" in multiprocessing.get_all_start_methods() else "spawn"
        context = multiprocessing.get_context(way)
        return ProcessPoolExecutor(self.workers, mp_context=context, initializer=_begin)

    def room(self) -> int:
        return _PER_WORKER * self.workers

    def submit(self, chunk: Chunk) -> Future[list[YearRow]]:
        return self.executor.submit(chunk.rows)

    def renew(self) -> None:
        self.executor.shutdown()
        self.executor = self._start()

    def close(self, *, at_once: bool) -> None:
        self.executor.shutdown(wait=not at_once, cancel_futures=True)


class _Given:
    """An executor of the caller's, which stays open."""

    tries, remedy = 2, ""  # it breaks with the first worker that is lost

    def __init__(self, executor: Executor) -> None:
        self.executor = executor

    def room(self) -> int:
        return _PER_WORKER * (getattr(self.executor, "_max_workers", None) or _cores())

    def submit(self, chunk: Chunk) -> Future[list[YearRow]]:
        try:
            return self.executor.submit(chunk.rows)
        except BrokenExecutor:
            raise
        except RuntimeError as error:
            raise ChargeplanError(f"the executor takes no more work: {error}; give one that is open") from error

    def renew(self) -> None:
        raise ChargeplanError("the executor lost a worker and takes no more work; run the study with a new one")

    def close(self, *, at_once: bool) -> None:
        """Leave open what the caller gave."""


def _cores() -> int:
    """Count the cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _begin() -> None:
    """Begin a worker: leave Ctrl-C to the process that started it, and end with that, however it ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = multiprocessing.parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    wait_for_end([sentinel])
    os._exit(1)
