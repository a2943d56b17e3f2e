"""Whether what a study file names fits together: dates, clocks, currencies, journeys and limits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date, timedelta
from functools import partial
from typing import Final

import numpy as np

from chargeplan.clock import day_number, day_of_number, day_start_s, local_seconds
from chargeplan.household.household import Household
from chargeplan.reading import KeyPath
from chargeplan.study.driving import Driving
from chargeplan.study.equipment import Equipment
from chargeplan.study.logged_driving import LoggedDriving
from chargeplan.study.named_files import Homes, Rates
from chargeplan.study.span import hours
from chargeplan.study.study import AS_IT_IS
from chargeplan.study.wording import StudyAttempts
from chargeplan.study.year_bills import bill_grid, bills_with, hangs_on_use, step_min
from chargeplan.tariff import Tariff

#: So long a car may stand at home without a word.
_HOLIDAYS_DAYS: Final = 14


def check_currencies(attempts: StudyAttempts, rates: Rates, homes: Homes) -> None:
    """Complain of costs that cannot be compared, because none is converted."""
    if not rates:
        return
    first, (_, leading) = next(iter(rates.items()))
    for name, (path, tariff) in rates.items():
        if tariff.currency != leading.currency:
            what = f"`{name}` is in {tariff.currency}, not in {leading.currency} as `{first}`"
            attempts.complain(path, what, "use one currency; none is converted")
    for name, (path, home) in homes.items():
        if home.stops and home.tariff.currency != leading.currency:
            what = f"the other places of {name} are priced in {home.tariff.currency}, the rates in {leading.currency}"
            attempts.complain(path, what, "use one currency, or leave them out with `stops: none`")


def check_dates(attempts: StudyAttempts, rates: Rates, homes: Homes, first: date, days: int) -> None:
    """Complain of rates that do not cover the days, and warn of those whose clock is not that of a household.

    Parameters
    ----------
    attempts : StudyAttempts
        Where mistakes go.
    rates, homes : mapping
        What is compared, with the place in the file.
    first : datetime.date
        First day.
    days : int
        Number of days.
    """
    for name, (path, tariff) in rates.items():
        if attempts.attempt(path, partial(_covered, tariff, first, days, homes.values())) is None:
            continue
        attempts.attempt(path, partial(_billed, tariff, first, days))
        for called, (_, home) in homes.items():
            if home.timezone != tariff.timezone and not _same_clock(home.timezone, tariff.timezone, first, days):
                what = f"`{name}` goes by the clock of {tariff.timezone}, and {called} lives by that of {home.timezone}"
                attempts.warn(path, what, "its hours are taken on its own clock; is it a rate of that place?")
    for path, home in homes.values():
        for stop in home.stops:
            if isinstance(stop.price, Tariff):
                attempts.attempt(path, partial(_covered, stop.price, first, days, [(path, home)]))


def check_house_uses(attempts: StudyAttempts, rates: Rates, without: Iterable[str]) -> None:
    """Warn of rates under which the car's cost hangs on the use of a house of which nothing is said."""
    homes = ", ".join(without)
    for name, (path, tariff) in rates.items():
        if homes and (hangs_on_use(tariff) or any(version.demand for version in tariff.versions)):
            what = f"under `{name}` the cost of the car depends on what the house uses, which is not said for {homes}"
            attempts.warn(path, what, "add for example `house: {per_day: 24 kWh}`")


def check_driving(
    attempts: StudyAttempts, driving: Mapping[str, Driving | LoggedDriving], homes: Homes, first: date, days: int
) -> None:
    """Complain of driving from which no journeys can be made; parameters as for `check_dates`."""
    for name, way in driving.items():
        path: KeyPath = ("driving", name)
        if isinstance(way, Driving):
            if way.cold is not None:
                every_day = np.arange(day_number(first), day_number(first) + days, dtype=np.int64)
                if attempts.attempt(path, partial(way.cold.factor, every_day)) is None:
                    continue
            for number, away in enumerate(way.away):
                if away.last < first or away.first >= first + timedelta(days=days):
                    what = f"the time away from {away.first} to {away.last} lies outside the days of the study"
                    attempts.warn((*path, "away", number), what, "it is passed over")
        elif homes:
            _warn_of_gaps(attempts, path, way, first, days)
        for _, home in homes.values():
            attempts.attempt(path, partial(way.journeys, home.habits, home.timezone, first, days, home.is_holiday))


def check_equipment(attempts: StudyAttempts, equipment: Mapping[str, Equipment | None], homes: Homes) -> None:
    """Complain of equipment that cannot be used, and warn of what its owner should know."""
    for name, item in equipment.items():
        path: KeyPath = ("equipment", name)
        for called, (home_path, home) in homes.items():
            if item is None:
                limit, path = home.limit, home_path if name == AS_IT_IS else path
            else:
                made = attempts.attempt(path, partial(item.limit_for, home.vehicle))
                if made is None or item.links is None:
                    continue
                limit = made
            for warning in limit.warnings:
                what, _, remedy = warning.partition("; ")
                attempts.warn(path, what, remedy)
            if limit.wall_kw <= 0:
                attempts.warn(path, f"with `{name}` the car of {called} is not charged at all: {limit.because}", "")


def _warn_of_gaps(attempts: StudyAttempts, path: KeyPath, way: LoggedDriving, first: date, days: int) -> None:
    """Warn of a log that begins well after the study or ends well before it."""
    begin, end = int(way.log.day[0]), int(way.log.day[-1])
    if begin - day_number(first) > _HOLIDAYS_DAYS or day_number(first) + days - 1 - end > _HOLIDAYS_DAYS:
        what = f"the log goes from {day_of_number(begin)} to {day_of_number(end)}, else the car stays at home"
        attempts.warn((*path, "log"), what, "take a study of the days of the log")


def _covered(tariff: Tariff, first: date, days: int, homes: Iterable[tuple[KeyPath, Household]]) -> bool:
    """Raise if a sheet does not cover the days, on its own clock and on those of the households."""
    after = first + timedelta(days=days)
    ends_s = [(day_start_s(home.timezone, first), day_start_s(home.timezone, after) - 1) for _, home in homes]
    dates, _ = tariff.timeline.local(np.array(ends_s, dtype=np.int64).reshape(-1))
    asked = [*dates.tolist(), day_number(first), day_number(first) + days - 1]
    tariff.timeline.check_dates(min(asked), max(asked))
    return True


def _billed(tariff: Tariff, first: date, days: int) -> None:
    """Raise if the bills of an empty house cannot be made, as with prices that are missing for some day."""
    grid = bill_grid(tariff, first, days, None, step_min(tariff, first, days))
    bills_with(grid, np.zeros((grid.start_s.size, 0)))
    tariff.price_array(grid.start_s, grid.step_s)


def _same_clock(one: str, other: str, first: date, days: int) -> bool:
    hours_s = hours(one, first, days)
    return np.array_equal(local_seconds(one, hours_s), local_seconds(other, hours_s))
