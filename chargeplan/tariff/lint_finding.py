"""One thing that a sheet hardly means, before it is given its line in the file."""

from __future__ import annotations

from dataclasses import dataclass

from chargeplan.reading import KeyPath


@dataclass(frozen=True)
class Finding:
    """What was found, and where.

    Parameters
    ----------
    id : str
        Name of the warning.
    path : tuple
        Place in the file.
    what, remedy : str
        What is odd and why; what to do.
    """

    id: str
    path: KeyPath
    what: str
    remedy: str
