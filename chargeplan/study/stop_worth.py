"""What a place to charge is worth: the same years without it."""

from __future__ import annotations

from dataclasses import dataclass, replace

from chargeplan.errors import InputError
from chargeplan.study.cell import YearRow, unit_rows
from chargeplan.study.study import Unit


@dataclass(frozen=True)
class StopWorth:
    """What a place to charge, such as an outlet at work, is worth in a year.

    Parameters
    ----------
    place : str
        The place.
    tariff, equipment : str
        The rate and the equipment at home.
    with_it, without_it : float
        What the car costs in the year, planned at best in both.
    kwh : float
        Energy drawn at places away from home with it; other such places are in it.
    missed, missed_without : int
        Departures that are short.
    """

    place: str
    tariff: str
    equipment: str
    with_it: float
    without_it: float
    kwh: float
    missed: int
    missed_without: int

    @property
    def worth(self) -> float:
        """What the year costs less."""
        return self.without_it - self.with_it


def stop_worth(unit: Unit, place: str) -> list[StopWorth]:
    """Find what a place to charge is worth, for every rate and all equipment of a unit.

    Parameters
    ----------
    unit : Unit
        A household with one way of driving; the place must be one of its stops.
    place : str
        Which.

    Returns
    -------
    list of StopWorth

    Raises
    ------
    InputError
        If the household has no such place.
    """
    household = unit.household
    kept = tuple(stop for stop in household.stops if stop.place != place)
    if len(kept) == len(household.stops):
        there = ", ".join(f"`{stop.place}`" for stop in household.stops) or "none"
        raise InputError(f"the household has no stop `{place}`; its stops are: {there}")
    planned = replace(unit, strategies=("optimal",))
    without = replace(planned, household=replace(household, stops=kept))
    return [_worth(place, one, other) for one, other in zip(unit_rows(planned), unit_rows(without), strict=True)]


def _worth(place: str, one: YearRow, other: YearRow) -> StopWorth:
    return StopWorth(
        place=place,
        tariff=one.tariff,
        equipment=one.equipment,
        with_it=one.car_cost,
        without_it=other.car_cost,
        kwh=one.stops_kwh,
        missed=one.missed,
        missed_without=other.missed,
    )
