"""How full the battery is tonight: given, read from a file that something else writes, or estimated."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from chargeplan.clock import instant_s
from chargeplan.errors import InputError
from chargeplan.units import quantity

#: Clocks of two machines may differ this much before a file counts as written in the future.
_CLOCK_SLACK_S = 300
_MAX_BYTES = 100_000


@dataclass(frozen=True)
class StateOfCharge:
    """How full the battery is, and how that is known.

    Parameters
    ----------
    share : float
        0 to 1.
    source : str
        ``given``, ``file`` or ``estimate``.
    because : str
        Where it comes from, in words.
    """

    share: float
    source: str
    because: str


@dataclass(frozen=True)
class StateOfChargeFile:
    """A file in which something else writes the state of charge.

    It holds either text such as ``55 %`` or JSON such as ``{"soc": "55 %", "at": "2026-11-25T18:02-07:00"}``.
    Without ``at`` its age is that of the file.

    Parameters
    ----------
    path : pathlib.Path
        The file.
    max_age_min : float
        Older than this it is not believed.
    """

    path: Path
    max_age_min: float = 720.0

    def read(self, now_s: int, timezone: str) -> StateOfCharge:
        """Read the state of charge.

        Parameters
        ----------
        now_s : int
            The present, UTC seconds.
        timezone : str
            Zone of a time in the file that has no offset.

        Returns
        -------
        StateOfCharge
            With how old it is.

        Raises
        ------
        InputError
            If the file cannot be read, is too old, or holds no state of charge.
        """
        remedy = "or give the state of charge with --soc"
        try:
            with self.path.open("rb") as stream:
                content = stream.read(_MAX_BYTES + 1)
                written_s = int(os.fstat(stream.fileno()).st_mtime)
        except (OSError, ValueError) as error:
            reason = error.strerror if isinstance(error, OSError) else str(error)
            raise InputError(
                f"cannot read the state of charge from {self.path}: {reason}; write it there, {remedy}"
            ) from None
        try:
            share, at = _parse(content)
            written_s = written_s if at is None else instant_s(at, timezone)
        except (InputError, ValueError, RecursionError) as error:
            problem = str(error).partition(";")[0] if isinstance(error, InputError) else "it is not text"
            form = 'it should hold 55 % or {"soc": "55 %", "at": "2026-11-25T18:02-07:00"}'
            raise InputError(f"{self.path} holds no state of charge ({problem}); {form}, {remedy}") from None
        age_s = now_s - written_s
        if age_s > 60 * self.max_age_min:
            limit = _duration(60 * self.max_age_min)
            raise InputError(
                f"the state of charge in {self.path} is {_duration(age_s)} old, and at most {limit} is allowed; "
                f"see why it is not written, {remedy}"
            )
        if age_s < -_CLOCK_SLACK_S:
            raise InputError(f"the state of charge in {self.path} is dated in the future; check the clocks, {remedy}")
        return StateOfCharge(share, "file", f"read from {self.path.name}, {_duration(max(age_s, 0))} old")


def _parse(content: bytes) -> tuple[float, str | None]:
    if len(content) > _MAX_BYTES:
        raise InputError("it is too large")
    text = content.decode("utf-8-sig").strip()
    if not text.startswith("{"):
        return _share(text), None
    try:
        data: Any = json.loads(text)
    except ValueError:
        raise InputError("it is not JSON") from None
    if "soc" not in data:
        raise InputError("it has no `soc`")
    return _share(data["soc"]), None if data.get("at") is None else str(data["at"])


def _share(value: object) -> float:
    share = quantity(value, "share")
    if share > 1:
        raise InputError(f"{value} is more than full")
    return share


def _duration(seconds: float) -> str:
    minutes = round(seconds / 60)
    days, hours = minutes // 1440, minutes // 60 % 24
    if days:
        return f"{days} d {hours} h"
    return f"{hours} h {minutes % 60} min" if hours else f"{minutes} min"


def given(value: str | float) -> StateOfCharge:
    """Take the state of charge from the user.

    Parameters
    ----------
    value : str or float
        ``55 %`` or a share such as 0.55.

    Returns
    -------
    StateOfCharge
        As given.

    Raises
    ------
    InputError
        If it is not from 0 to 100 %.

    Examples
    --------
    >>> given("55 %").share
    0.55
    """
    if isinstance(value, str) and value.strip() == "1":
        raise InputError("a state of charge of 1 may be 1 % or 100 %; write which")
    share = quantity(value, "share")
    if share > 1:
        raise InputError(f"a state of charge of {value} is more than full; write 0 % to 100 %")
    return StateOfCharge(share, "given", "given")


def estimated(target: float, used_share: float, distance: str) -> StateOfCharge:
    """Estimate the state of charge on coming home from the usual distance.

    Parameters
    ----------
    target : float
        State of charge at departure.
    used_share : float
        What the day's driving takes, as a share of the battery.
    distance : str
        The day's distance in words.

    Returns
    -------
    StateOfCharge
        Not below empty.

    Examples
    --------
    >>> round(estimated(0.8, 0.13, "29 mi").share, 2)
    0.67
    """
    return StateOfCharge(
        max(0.0, target - used_share), "estimate", f"estimated: {100 * target:.3g} % less {distance} of driving"
    )
