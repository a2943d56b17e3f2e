"""From the `house:` mapping of a study file to what the house uses without the car."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path

from chargeplan.errors import FileError
from chargeplan.household.household import Household
from chargeplan.reading import KeyPath
from chargeplan.study.house_load import HouseLoad, MeterLoad, UsualLoad, meter_load
from chargeplan.study.model import HousePart
from chargeplan.study.named_files import named_file
from chargeplan.study.span import hours
from chargeplan.study.wording import StudyAttempts


def house_of(
    attempts: StudyAttempts, path: KeyPath, part: HousePart | None, home: Household, span: tuple[date, int] | None
) -> HouseLoad | None:
    """Read what a house uses.

    Parameters
    ----------
    attempts : StudyAttempts
        Where mistakes go.
    path : path
        Where it stands in the file.
    part : HousePart or None
        What it says.
    home : Household
        Whose house it is; what its own file says of it counts where the study says nothing.
    span : tuple of (datetime.date, int), optional
        First day and number of days that have to be covered.

    Returns
    -------
    HouseLoad or None
        None if nothing is said, or if there are mistakes.
    """
    if part is None:
        return None if home.house_use is None else UsualLoad(home.timezone, home.house_use.per_day_kwh)
    if (part.per_day is None) == (part.load is None):
        if part.load is None:
            attempts.complain(path, "the house has no `per_day` and no `load`", "add for example `per_day: 24 kWh`")
        else:
            attempts.complain((*path, "load"), "the house has a `per_day` and a `load`", "leave out one of the two")
        return None
    if part.load is None:
        return attempts.attempt(path, lambda: _usual(part, home.timezone))
    if part.by_month is not None:
        what = "`by_month` says nothing beside a `load`"
        attempts.complain((*path, "by_month"), what, "leave out one of the two")
    meter = attempts.attempt((*path, "load"), partial(_meter, attempts.folder, part, home.timezone))
    if meter is not None and span is not None:
        hours_s = hours(home.timezone, *span)
        if attempts.attempt((*path, "load"), lambda: meter.kwh(hours_s, 3600)) is None:
            return None
    return meter


def _usual(part: HousePart, timezone: str) -> UsualLoad:
    by_month = (1.0,) * 12 if part.by_month is None else tuple(part.by_month)
    return UsualLoad(timezone, part.per_day or 0.0, by_month)


def _meter(folder: Path, part: HousePart, timezone: str) -> MeterLoad:
    file = named_file(folder, part.load or "")
    try:
        return meter_load(file, timezone, naive_zone=timezone if part.stamps == "local" else None)
    except FileError as error:
        # The reader knows of the command's way to say so.
        said = [(mistake, mistake.remedy.replace("--stamps local", "`stamps: local`")) for mistake in error.mistakes]
        raise FileError(replace(mistake, remedy=remedy) for mistake, remedy in said) from None
