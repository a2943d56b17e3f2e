"""Files that are there whole or not at all."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from chargeplan.errors import InputError


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
    scratch = None
    try:
        handle, scratch = tempfile.mkstemp(prefix=".chargeplan-", suffix=path.suffix, dir=path.parent)
        with os.fdopen(handle, "wb") as stream:
            stream.write(content)
        # A scratch file is for its owner only; what we write may be read like any file that is written.
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(scratch, 0o666 & ~umask)
        os.replace(scratch, path)
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise InputError(f"cannot write {path}: {reason}; choose another place") from None
    finally:
        if scratch is not None and os.path.exists(scratch):
            os.unlink(scratch)
