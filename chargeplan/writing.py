"""Files that are there whole or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, Final

from chargeplan.errors import InputError

#: How the names of files begin that are not complete yet.
SCRATCH: Final = ".chargeplan-"


def write_whole(path: Path, content: bytes) -> None:
    """Write a file beside its place first, and put it there when it is complete.

    Parameters
    ----------
    path : pathlib.Path
        The file; replaced if it is there.
    content : bytes
        What it is to hold.

    Raises
    ------
    InputError
        If it cannot be written; then nothing has changed.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     write_whole(Path(folder) / "a.txt", b"whole")
    ...     [file.name for file in Path(folder).iterdir()]
    ['a.txt']
    """
    with whole_file(path) as stream:
        stream.write(content)


@contextmanager
def whole_file(path: Path) -> Iterator[BinaryIO]:
    """Open a file to be written bit by bit; it is put in its place when the block ends without an error.

    Parameters
    ----------
    path : pathlib.Path
        The file; replaced if it is there.

    Yields
    ------
    binary file
        To write to.

    Raises
    ------
    InputError
        If it cannot be written; then nothing has changed.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     with whole_file(Path(folder) / "a.txt") as stream:
    ...         _ = [stream.write(part) for part in (b"wh", b"ole")]
    ...     (Path(folder) / "a.txt").read_text()
    'whole'
    """
    try:
        handle, scratch = tempfile.mkstemp(prefix=SCRATCH, suffix=path.suffix, dir=path.parent)
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None
    try:
        try:
            with os.fdopen(handle, "wb") as stream:
                yield stream
        except OSError as error:
            raise _cannot_write(path, error) from None
        _put(scratch, path)
    finally:
        if os.path.exists(scratch):
            os.unlink(scratch)


def _put(scratch: str, path: Path) -> None:
    """Put a complete file in its place."""
    # A scratch file is for its owner only; what we write may be read like any file that is written.
    umask = os.umask(0)
    os.umask(umask)
    try:
        os.chmod(scratch, 0o666 & ~umask)
        os.replace(scratch, path)
    except (OSError, ValueError) as error:
        raise _cannot_write(path, error) from None


def _cannot_write(path: Path, error: Exception) -> InputError:
    reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
    return InputError(f"cannot write {path}: {reason}; choose another place")
