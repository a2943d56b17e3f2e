"""Driving as it was logged, in the place of a way of driving that is drawn."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date

from chargeplan.charging.numeric import check_number
from chargeplan.errors import InputError
from chargeplan.household.habits import Habits
from chargeplan.study.draws import Seed
from chargeplan.study.driving import Journeys


@dataclass(frozen=True, eq=False)
class LoggedDriving:
    """Journeys that are known: the same for every seed and whatever the habits.

    Parameters
    ----------
    log : Journeys
        From `chargeplan.study.driving_log.read_driving_log`.
    scale : float
        Factor on every distance.

    Raises
    ------
    InputError
        If the factor cannot be.

    Examples
    --------
    >>> from chargeplan.household import load_household
    >>> from chargeplan.study.driving import Driving
    >>> home, monday = load_household("demo"), date(2026, 1, 5)
    >>> week = Driving().journeys(home.habits, home.timezone, monday, 7)
    >>> twice = LoggedDriving(week, scale=2.0).journeys(home.habits, home.timezone, monday, 7)
    >>> float(twice.distance_km.sum() / week.distance_km.sum())
    2.0
    """

    log: Journeys = field(repr=False)
    scale: float = 1.0

    def __post_init__(self) -> None:
        check_number("scale", self.scale, at_least=0, remedy="write a factor of 0 or more, like 1.2")

    def journeys(
        self,
        habits: Habits,
        timezone: str,
        first: date,
        days: int,
        is_holiday: Callable[[date], bool] = lambda day: False,
        *,
        seed: Seed = 0,
    ) -> Journeys:
        """Give the journeys of the log.

        Parameters
        ----------
        timezone, first, days
            Must be those of the log.
        habits, is_holiday, seed
            Are not asked; see `chargeplan.study.driving.Driving.journeys`.

        Returns
        -------
        Journeys

        Raises
        ------
        InputError
            If the log was read for another span or time zone.
        """
        log = self.log
        if (timezone, first, days) != (log.timezone, log.first, log.days):
            said = f"{log.days} days from {log.first} in {log.timezone}"
            asked = f"{days} days from {first} in {timezone}"
            raise InputError(f"the driving log was read for {said}, not for {asked}; read it for these")
        return replace(log, distance_km=log.distance_km * self.scale)
