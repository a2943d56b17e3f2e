"""Chunks worked out by a cluster of Dask, whose workers come and go."""

from __future__ import annotations

from concurrent.futures import BrokenExecutor, CancelledError, Future
from typing import Any

from chargeplan.errors import ChargeplanError
from chargeplan.study.cell import YearRow
from chargeplan.study.chunks import Chunk

#: Chunks handed out per thread of the cluster, and at least, so that a cluster that grows with its work does grow.
_PER_THREAD, _LEAST = 2, 8


class Cluster:
    """A client of Dask as a pool.

    Parameters
    ----------
    client : distributed.Client
        Stays open.
    options : dict, optional
        For each task, as the client's ``submit`` takes them.

    Notes
    -----
    The client's own executor of the kind of `concurrent.futures` looks at the state of a task after it has fetched its
    result; when a worker is killed in between, the one does not fit the other, and the result is lost.
    """

    #: Dask itself tries a task four times before it says that its workers were killed.
    tries = 2
    remedy = "give the workers more memory, or use a smaller chunk_cells="

    def __init__(self, client: Any, options: dict[str, Any] | None = None) -> None:
        self.client = client
        # A chunk that is handed out again is a new task and not the one that failed.
        self.options = {**(options or {}), "pure": False}

    def room(self) -> int:
        """Say how many chunks may be handed out at a time; asked anew each time, as workers come and go."""
        try:
            threads: int = sum(self.client.nthreads().values())
        except (AttributeError, OSError, RuntimeError) as error:  # the first where it is closed already
            raise ChargeplanError(f"{self.client!r} takes no more work; give a client that is open") from error
        return max(_LEAST, _PER_THREAD * threads)

    def submit(self, chunk: Chunk) -> Future[list[YearRow]]:
        """Hand out a chunk."""
        result: Future[list[YearRow]] = Future()
        task = self.client.submit(chunk.rows, **self.options)
        task.add_done_callback(lambda task: _pass_on(task, result))
        result.add_done_callback(lambda result: task.cancel() if result.cancelled() else None)
        return result

    def renew(self) -> None:
        """Do nothing: the cluster starts new workers itself."""

    def close(self, *, at_once: bool) -> None:
        """Leave open what the caller gave."""


def _pass_on(task: Any, result: Future[list[YearRow]]) -> None:
    """Give what a task came to; runs in a thread of the client's."""
    from distributed import KilledWorker

    if not result.set_running_or_notify_cancel():
        return
    try:
        result.set_result(task.result())
    except (KilledWorker, CancelledError) as error:
        result.set_exception(BrokenExecutor(str(error)))
    except BaseException as error:  # kept for whoever asks for the result, as any executor does
        result.set_exception(error)
