"""From the `driving:` mapping of a study file to journeys."""

from __future__ import annotations

from datetime import date

from chargeplan.reading import KeyPath
from chargeplan.study.cold import Cold, DailyMeans, MonthlyMeans
from chargeplan.study.driving import Driving, Journeys
from chargeplan.study.driving_log import read_driving_log
from chargeplan.study.logged_driving import LoggedDriving
from chargeplan.study.model import ColdPart, DrivingPart, LongTripsPart
from chargeplan.study.named_files import named_file
from chargeplan.study.temperature_file import read_temperatures
from chargeplan.study.unusual import Away, LongTrips
from chargeplan.study.wording import StudyAttempts

#: What may be said beside a log.
_BESIDE_A_LOG = {"log", "scale", "cold"}


def driving_of(
    attempts: StudyAttempts, path: KeyPath, part: DrivingPart, timezones: set[str], span: tuple[date, int] | None
) -> Driving | LoggedDriving | None:
    """Read a way of driving.

    Parameters
    ----------
    attempts : StudyAttempts
        Where mistakes go.
    path : path
        Where it stands in the file.
    part : DrivingPart
        What it says.
    timezones : set of str
        Those of the households.
    span : tuple of (datetime.date, int), optional
        First day and number of days of the study; without, a log is not read.

    Returns
    -------
    Driving, LoggedDriving or None
        None if it has mistakes.
    """
    found = len(attempts.mistakes)
    cold = None if part.cold is None else cold_of(attempts, (*path, "cold"), part.cold)
    if part.log is not None:
        made = _logged(attempts, path, part, cold, timezones=timezones, span=span)
        return made if len(attempts.mistakes) == found else None
    long_trips = None
    if part.long_trips is not None:
        given: LongTripsPart = part.long_trips
        long_trips = attempts.attempt(
            (*path, "long_trips"), lambda: LongTrips(given.per_year, given.distance, given.days)
        )
    away = []
    for number, time in enumerate(part.away):
        made_away = attempts.attempt(
            (*path, "away", number),
            lambda time=time: Away(time.from_, time.to, time.distance),  # type: ignore[misc]
        )
        away += [made_away] if made_away is not None else []
    driving = attempts.attempt(
        path,
        lambda: Driving(
            weekday_km=part.weekdays,
            weekend_km=part.weekends,
            spread=part.spread,
            scale=part.scale,
            stays_home=part.stays_home,
            long_trips=long_trips,
            away=tuple(away),
            cold=cold,
        ),
    )
    return driving if len(attempts.mistakes) == found else None


def _logged(
    attempts: StudyAttempts,
    path: KeyPath,
    part: DrivingPart,
    cold: Cold | None,
    *,
    timezones: set[str],
    span: tuple[date, int] | None,
) -> LoggedDriving | None:
    for key in sorted(part.model_fields_set - _BESIDE_A_LOG):
        attempts.complain((*path, key), f"`{key}` says nothing beside a `log`", "leave out one of the two")
    if len(timezones) > 1:
        what = f"the households have {len(timezones)} time zones, and a log is of one"
        attempts.complain((*path, "log"), what, "make a study of its own for each")
    if len(timezones) != 1 or span is None:
        return None
    first, days = span
    name, timezone = str(part.log), next(iter(timezones))

    def read() -> Journeys:
        return read_driving_log(named_file(attempts.folder, name), timezone, first=first, days=days, cold=cold)

    log = attempts.attempt((*path, "log"), read)
    return None if log is None else attempts.attempt(path, lambda: LoggedDriving(log, part.scale))


def cold_of(attempts: StudyAttempts, path: KeyPath, part: ColdPart) -> Cold | None:
    """Read how much more the car uses when it is cold; parameters as for `driving_of`."""
    written = attempts.value((*path, "consumption"))
    if isinstance(written, dict) and len(written) > len(part.consumption):
        what = "consumption: a temperature is given twice"
        attempts.complain((*path, "consumption"), what, "keep one of them")
    given = part.temperature
    if isinstance(given, str):
        if (*path, "temperature") in attempts.broken:
            return None
        temperature: MonthlyMeans | DailyMeans | None = attempts.attempt(
            (*path, "temperature"), lambda: read_temperatures(named_file(attempts.folder, given))
        )
    else:
        temperature = attempts.attempt((*path, "temperature"), lambda: MonthlyMeans(tuple(given)))
    if temperature is None:
        return None
    return attempts.attempt(path, lambda: Cold(temperature, tuple(sorted(part.consumption.items()))))
