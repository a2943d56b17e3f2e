"""Chunks handed out to workers, a few at a time, and what comes back; what a lost worker had is handed out again."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from concurrent.futures import FIRST_COMPLETED, BrokenExecutor, Future, wait
from dataclasses import dataclass, field

from chargeplan.errors import ChargeplanError
from chargeplan.study.cell import YearRow
from chargeplan.study.chunks import Chunk
from chargeplan.study.pools import Pool, is_lost


def worked_out(wanted: Iterator[Chunk], pool: Pool) -> Generator[tuple[Chunk, list[YearRow]], None, None]:
    """Have chunks worked out.

    Parameters
    ----------
    wanted : iterator of Chunk
        What there is to do, in order; each one is made when there is room for it.
    pool : Pool
        Who does it; closed at the end.

    Yields
    ------
    tuple of (Chunk, list of YearRow)
        In the order in which they are done.

    Raises
    ------
    ChargeplanError
        If workers are lost again and again.
    Exception
        What working a chunk out raised: of the first such chunk in order, after all before it and all that were begun
        have been yielded.
    """
    work = _Work(wanted, pool)
    try:
        while work.hand_out():
            yield from work.take_in()
    except BaseException:
        for future in work.running:
            future.cancel()
        pool.close(at_once=True)
        raise
    pool.close(at_once=False)
    if work.failed is not None:
        raise work.failed[1]


@dataclass(eq=False)
class _Task:
    """A chunk, and how often its worker was lost."""

    chunk: Chunk
    lost: int = 0


@dataclass(eq=False)
class _Work:
    """What is handed out, what is to be handed out again, and the first failure."""

    wanted: Iterator[Chunk]
    pool: Pool
    again: list[_Task] = field(default_factory=list)
    running: dict[Future[list[YearRow]], _Task] = field(default_factory=dict)
    broken: bool = False
    failed: tuple[int, BaseException] | None = None

    def hand_out(self) -> bool:
        """Hand out as many chunks as there is room for; tell whether any are out."""
        if self.broken and not self.running and self.failed is None:
            self.pool.renew()
            self.broken = False
        room = self.pool.room()
        while self.failed is None and not self.broken and len(self.running) < room and self._may_go():
            task = self.again.pop(0) if self.again else self._next()
            if task is None:
                break
            try:
                self.running[self.pool.submit(task.chunk)] = task
            except BrokenExecutor:
                self.again.insert(0, task)
                self.broken = True
        return bool(self.running) or (self.broken and self.failed is None)

    def take_in(self) -> Iterator[tuple[Chunk, list[YearRow]]]:
        """Wait until something is done."""
        done = wait(self.running, return_when=FIRST_COMPLETED).done if self.running else ()
        for future in sorted(done, key=lambda future: self.running[future].chunk.number):
            task = self.running.pop(future, None)
            if task is None:
                continue
            if is_lost(future):
                self._lose(task)
            elif (error := future.exception()) is not None:
                self._fail(task, error)
            else:
                yield task.chunk, future.result()

    def _may_go(self) -> bool:
        """Let a chunk go alone for the last time, to see whether it is the one that workers are lost by."""
        last = self.pool.tries - 1
        alone = bool(self.again) and self.again[0].lost == last
        return not self.running or not (alone or any(task.lost == last for task in self.running.values()))

    def _next(self) -> _Task | None:
        chunk = next(self.wanted, None)
        return None if chunk is None else _Task(chunk)

    def _lose(self, task: _Task) -> None:
        self.broken = True
        task.lost += 1
        if task.lost < self.pool.tries:
            self.again = sorted([*self.again, task], key=lambda task: task.chunk.number)
            return
        why = f"{task.chunk} lost its worker {task.lost} times, as when there is not enough memory"
        self._fail(task, ChargeplanError(f"{why}; {self.pool.remedy}"))

    def _fail(self, task: _Task, error: BaseException) -> None:
        """Keep the failure of the first chunk in order, and call back those after it."""
        if self.failed is None or task.chunk.number < self.failed[0]:
            self.failed = (task.chunk.number, error)
        first = self.failed[0]
        out = self.running.items()
        self.running = {future: task for future, task in out if task.chunk.number < first or not future.cancel()}
