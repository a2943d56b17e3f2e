"""A bar that tells how far a study is, and how long it will still take, for whoever watches a terminal."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Never, TextIO


@contextmanager
def progress_bar(stream: TextIO | None = None) -> Iterator[Callable[[int, int], None] | None]:
    """Open a bar for `chargeplan.study.run.run_study`.

    Parameters
    ----------
    stream : text stream, optional
        Where it is drawn; standard error without. It has no colors, whether ``NO_COLOR`` is set or not.

    Yields
    ------
    callable or None
        To give as ``progress=``; None if the stream is no terminal, as in a pipe or a timed job, where nothing is
        drawn. When the block ends the bar is taken away.

    Examples
    --------
    >>> import io
    >>> with progress_bar(io.StringIO()) as progress:
    ...     print(progress)
    None
    """
    stream = sys.stderr if stream is None else stream
    if not stream.isatty():
        yield None
        return
    from tqdm import tqdm

    form = "{percentage:3.0f} % |{bar}| {n_fmt} of {total_fmt} years, {remaining} left"
    bars: list[tqdm[Never]] = []

    def tell(done: int, cells: int) -> None:
        if not bars:
            # What was there before a run says nothing about how long the rest takes.
            bar = tqdm(total=cells, initial=done, file=stream, leave=False, dynamic_ncols=True, bar_format=form)
            bars.append(bar)
        bars[0].update(done - bars[0].n)

    try:
        yield tell
    finally:
        for bar in bars:
            bar.close()
