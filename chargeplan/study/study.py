"""A study: which households, rates, equipment and ways of driving are compared, and over which days."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import TYPE_CHECKING, Final

from chargeplan.charging import Vehicle, dc_limit
from chargeplan.errors import InputError
from chargeplan.household.household import Household
from chargeplan.study.draws import Seed
from chargeplan.study.driving import Driving
from chargeplan.study.house_load import HouseLoad
from chargeplan.study.logged_driving import LoggedDriving
from chargeplan.study.year_plan import Aim
from chargeplan.tariff import Tariff

if TYPE_CHECKING:
    from chargeplan.study.equipment import Equipment

#: What a household is called in the results that keeps the circuit and EVSE of its file.
AS_IT_IS: Final = "as it is"
USUAL: Final = "usual"
#: Days with which a span counts as a year.
A_YEAR: Final = (365, 366)
#: A longer span is not a year of anything, and is hardly meant.
MAX_DAYS: Final = 3 * 366
MAX_DRAWS: Final = 10_000


@dataclass(frozen=True)
class RoadCharging:
    """Fast charging on the way, for journeys that are longer than the battery.

    Parameters
    ----------
    price_per_kwh : float
        For what the station delivers.
    power_kw : float
        Its power.

    Examples
    --------
    >>> from chargeplan.household import load_household
    >>> round(RoadCharging(0.5).gain(load_household("demo").vehicle), 3)
    0.976
    """

    price_per_kwh: float
    power_kw: float = 50.0

    def gain(self, vehicle: Vehicle) -> float:
        """Battery kWh for one kWh that the station delivers to a car."""
        if vehicle.dc_max_kw is not None:
            return dc_limit(self.power_kw, vehicle).gain
        return float(vehicle.loss("dc").gain(self.power_kw))


@dataclass(frozen=True, eq=False)
class Study:
    """What is compared: every household with every way of driving, rate and equipment.

    Parameters
    ----------
    name : str
        What it is called.
    households : mapping of str to Household
        May make its values one by one when they are asked for, so that very many need no memory.
    tariffs : mapping of str to Tariff
        The rates at home.
    first : datetime.date
        First day.
    days : int
        Number of days, 365 for most years.
    equipment : mapping of str to Equipment or None
        None stands for what the household has.
    driving : mapping of str to Driving or LoggedDriving
        Ways of driving.
    house : mapping of str to HouseLoad
        What each household uses without the car; where there is none, nothing.
    road : RoadCharging, optional
        Fast charging on the way.
    aim : {"target", "enough"}
        What each departure asks for: the household's target; or, the whole span being known, no more than the drives
        until the next charge and the floor.
    seed : int
        Same seed, same driving.
    draws : int
        How many years are drawn of each way of driving; more than one show the spread. A log is planned once.
    alike : mapping of str to str
        Households that drive as another one does, on the same days and as far: such as the same one with other
        equipment at work. All others have days of their own.
    strategies : tuple of str
        Which of `chargeplan.study.year_plan.STRATEGIES` are reckoned.

    Raises
    ------
    InputError
        If there is nothing to compare, or the span cannot be.
    """

    name: str
    households: Mapping[str, Household]
    tariffs: Mapping[str, Tariff]
    first: date
    days: int
    equipment: Mapping[str, Equipment | None] = field(default_factory=lambda: {AS_IT_IS: None})
    driving: Mapping[str, Driving | LoggedDriving] = field(default_factory=lambda: {USUAL: Driving()})
    house: Mapping[str, HouseLoad] = field(default_factory=dict)
    road: RoadCharging | None = None
    aim: Aim = "target"
    seed: int = 1
    draws: int = 1
    alike: Mapping[str, str] = field(default_factory=dict)
    strategies: tuple[str, ...] = ("optimal", "timer", "at once")

    def __post_init__(self) -> None:
        for name in ("households", "tariffs", "equipment", "driving"):
            if not getattr(self, name):
                raise InputError(f"a study without {name} compares nothing; give at least one")
        if not 1 <= self.days <= MAX_DAYS:
            raise InputError(f"a study of {self.days} days cannot be; give 1 to {MAX_DAYS}")
        if not 1 <= self.draws <= MAX_DRAWS:
            raise InputError(f"{self.draws} drawn years cannot be; give 1 to {MAX_DRAWS}")
        if self.aim not in ("target", "enough"):
            raise InputError(f"{self.aim!r} is no aim; choose 'target' or 'enough'")
        for name in (*self.alike, *self.alike.values()):
            if name not in self.households:
                raise InputError(f"`alike` names the household `{name}`, which is not in the study; name one that is")

    @property
    def cells(self) -> int:
        """Number of years that are planned."""
        return len(self.households) * self.drawn * len(self.tariffs) * len(self.equipment)

    @property
    def of_a_year(self) -> float:
        """By what the cost of the span is multiplied to stand for a year: 1 for 365 or 366 days."""
        return 1.0 if self.days in A_YEAR else 365 / self.days

    @property
    def drawn(self) -> int:
        """Number of years of each household: all ways of driving, each as often as it is drawn."""
        return sum(map(self.draws_of, self.driving))

    def draws_of(self, driving: str) -> int:
        """Say how many years are drawn of a way of driving: one of a log, in which there is nothing to draw."""
        return 1 if isinstance(self.driving[driving], LoggedDriving) else self.draws


@dataclass(frozen=True, eq=False)
class Unit:
    """A household with one way of driving and some rates, with all equipment: what is worked out in one go.

    Parameters
    ----------
    household_name, driving_name : str
        Their names.
    draw : int
        Number of the drawn year, from 0.
    household : Household
        For whom.
    driving : Driving or LoggedDriving
        How the car is driven.
    tariffs : mapping of str to Tariff
        Some of the rates.
    house : HouseLoad or None
        What the house uses.
    seed : Seed
        For the driving.
    equipment, first, days, road, aim, strategies
        As in `Study`.
    """

    household_name: str
    driving_name: str
    draw: int
    household: Household
    driving: Driving | LoggedDriving
    tariffs: Mapping[str, Tariff]
    equipment: Mapping[str, Equipment | None]
    house: HouseLoad | None
    first: date
    days: int
    road: RoadCharging | None
    aim: Aim
    seed: Seed
    strategies: tuple[str, ...]


#: With fewer households than this a unit has one rate only, so that there is work for several processes.
_FEW = 32


def rates_together(study: Study) -> list[dict[str, Tariff]]:
    """Say which rates are worked out in one go: with few households and ways of driving each alone, else all."""
    if len(study.households) * study.drawn < _FEW:
        return [{name: tariff} for name, tariff in study.tariffs.items()]
    return [dict(study.tariffs)]


def units(study: Study) -> Iterator[Unit]:
    """Cut a study into what is worked out in one go; the same cut, whoever does the work.

    Parameters
    ----------
    study : Study
        What is compared.

    Yields
    ------
    Unit
        In the order of the results: households, then driving, drawn years and rates.
    """
    parts, equipment = rates_together(study), dict(study.equipment)
    # Only where some drive alike are all names needed at once.
    places = {name: number for number, name in enumerate(study.households)} if study.alike else {}
    for number, household_name in enumerate(study.households):
        drawn = places[study.alike[household_name]] if household_name in study.alike else number
        household = study.households[household_name]
        for driving_name, draw in ((name, draw) for name in study.driving for draw in range(study.draws_of(name))):
            for tariffs in parts:
                yield Unit(
                    household_name=household_name,
                    driving_name=driving_name,
                    draw=draw,
                    household=household,
                    driving=study.driving[driving_name],
                    tariffs=tariffs,
                    equipment=equipment,
                    house=study.house.get(household_name),
                    first=study.first,
                    days=study.days,
                    road=study.road,
                    aim=study.aim,
                    seed=(study.seed, drawn, draw),
                    strategies=study.strategies,
                )


def one_unit(
    study: Study,
    *,
    household: str | None = None,
    driving: str | None = None,
    tariffs: str | Sequence[str] | None = None,
    equipment: str | None = None,
    draw: int = 0,
) -> Unit:
    """Take one household with one way of driving out of a study, to look at it closely.

    Parameters
    ----------
    study : Study
        What is compared.
    household, driving : str, optional
        Which; need not be said if there is one only.
    tariffs : str or sequence of str, optional
        Which rates; all unless given.
    equipment : str, optional
        Which; all unless given.
    draw : int
        Number of the drawn year.

    Returns
    -------
    Unit
        With the same journeys as in the rows of the study.

    Raises
    ------
    InputError
        If something is not in the study, or not said where there are several.

    Examples
    --------
    >>> from chargeplan.household import load_household
    >>> from chargeplan.tariff import load_tariff
    >>> rates = {name: load_tariff(name) for name in ("flat", "two-period", "summer-peak")}
    >>> study = Study("rates", {"demo": load_household("demo")}, rates, date(2026, 1, 1), 365)
    >>> list(one_unit(study, tariffs="two-period").tariffs)
    ['two-period']
    """
    names = [tariffs] if isinstance(tariffs, str) else list(study.tariffs if tariffs is None else tariffs)
    for name in names:
        _check_named(name, study.tariffs, "rate")
    if equipment is not None:
        _check_named(equipment, study.equipment, "equipment")
    household = _the_one(household, study.households, "household", "households")
    driving = _the_one(driving, study.driving, "way of driving", "ways of driving")
    draws = study.draws_of(driving)
    if not 0 <= draw < draws:
        given = "0" if draws == 1 else f"0 to {draws - 1}"
        raise InputError(f"there is no drawn year {draw} in the study; give {given}")
    chosen = {name: item for name, item in study.equipment.items() if equipment in (None, name)}
    some = replace(study, equipment=chosen, driving={driving: study.driving[driving]})
    found = next(unit for unit in units(some) if (unit.household_name, unit.draw) == (household, draw))
    return replace(found, tariffs={name: study.tariffs[name] for name in names})


def _check_named(name: str, there: Mapping[str, object], what: str) -> None:
    if name not in there:
        names = ", ".join(f"`{known}`" for known in there)
        raise InputError(f"there is no {what} `{name}` in the study; name one of {names}")


def _the_one(name: str | None, there: Mapping[str, object], one: str, several: str) -> str:
    if name is None:
        if len(there) > 1:
            names = ", ".join(f"`{known}`" for known in there)
            raise InputError(f"the study has several {several}; name one of {names}")
        return next(iter(there))
    _check_named(name, there, one)
    return name
