"""The slots that a span of time is cut into, and stretches of equal price."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

from chargeplan.errors import InputError
from chargeplan.units import quantity


def step_seconds(step: str | int | timedelta) -> int:
    """Read the length of a slot.

    Parameters
    ----------
    step : str, int or timedelta
        Text such as ``15 min`` or ``1 h``, or a number of minutes.

    Returns
    -------
    int
        Seconds; a whole number of minutes.

    Raises
    ------
    InputError
        If it is not a whole number of minutes from 1 to 1440 that divides a day.

    Examples
    --------
    >>> step_seconds("15min"), step_seconds(timedelta(hours=1))
    (900, 3600)
    """
    if isinstance(step, timedelta):
        minutes = step.total_seconds() / 60
    else:
        minutes = quantity(step, "duration") if isinstance(step, str) else float(step)
    if not 1 <= minutes <= 1440 or minutes != round(minutes) or 1440 % round(minutes):
        raise InputError(f"a step of {step} does not fit; write whole minutes that divide a day, like 15 min or 1 h")
    return 60 * round(minutes)


@dataclass(frozen=True)
class Run:
    """A stretch of time at one price.

    Parameters
    ----------
    start_s, end_s : int
        UTC seconds.
    period, season, day_type : str
        Where it lies in the sheet's calendar.
    price_per_kwh : float
        Everything included.
    """

    start_s: int
    end_s: int
    period: str
    season: str
    day_type: str
    price_per_kwh: float
