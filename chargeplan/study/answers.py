"""What a study answers: which rate, which equipment, what a stop is worth, and what driving costs otherwise."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Final

from chargeplan.errors import InputError
from chargeplan.study.compare import Elsewhere, Gasoline, compare
from chargeplan.study.rates import BreakEven, PriceChange, cheapest_by_distance, price_margin, rank_rates
from chargeplan.study.spending import Terms
from chargeplan.study.stop_worth import StopWorth, stop_worth
from chargeplan.study.study import Study, Unit, units
from chargeplan.study.uncertain import Doubt
from chargeplan.study.weigh import EquipmentAnswer, weigh_equipment

if TYPE_CHECKING:
    import pandas as pd

#: With more households x ways of driving than this, years are not planned anew to find break-evens and what stops are
#: worth: nobody reads so many.
MOST_LIVES: Final = 12
#: Most rates among which break-evens are looked for, those that are cheapest as far as is driven.
MOST_RATES: Final = 12
_KEYS: Final = ["household", "driving", "equipment"]


@dataclass(frozen=True)
class Question:
    """What is asked of a study besides its rows.

    Parameters
    ----------
    tariff : str
        The rate in use today.
    equipment : str
        The equipment in use today.
    terms : Terms
        Horizon and rates.
    doubt : Doubt
        What is uncertain.
    reliability : float
        Share of departures that must not be short.
    elsewhere : tuple of Elsewhere
        Places at which all might be charged instead.
    gasoline : Gasoline, optional
        A car with an engine to compare with.
    """

    tariff: str
    equipment: str
    terms: Terms = field(default_factory=lambda: Terms(10, 0.05))
    doubt: Doubt = field(default_factory=Doubt)
    reliability: float = 0.98
    elsewhere: tuple[Elsewhere, ...] = ()
    gasoline: Gasoline | None = None


@dataclass(frozen=True)
class Meeting:
    """A yearly distance at which another rate becomes the cheapest of all, and for whom.

    Parameters
    ----------
    household, driving, equipment : str
        For whom.
    at : BreakEven
        Where, and which is cheaper on either side.
    """

    household: str
    driving: str
    equipment: str
    at: BreakEven


@dataclass(frozen=True)
class Margin:
    """How far the prices of the cheapest rate may rise, and for whom.

    Parameters
    ----------
    household, driving, equipment : str
        For whom.
    change : PriceChange
        How far, and what would be cheapest then.
    """

    household: str
    driving: str
    equipment: str
    change: PriceChange


@dataclass(frozen=True)
class PlaceWorth:
    """What a place to charge is worth, and for whom.

    Parameters
    ----------
    household, driving : str
        For whom.
    worth : StopWorth
        In a year, under one rate and with one choice of equipment.
    """

    household: str
    driving: str
    worth: StopWorth


@dataclass(frozen=True, eq=False)
class Answers:
    """What a study answers.

    Parameters
    ----------
    question : Question
        What was asked.
    currency : str
        Of all costs.
    rates : pandas.DataFrame
        The ranking, see `rank_rates`.
    margins : tuple of Margin
        How firm it is.
    meetings : tuple of Meeting
        Distances at which another rate becomes the cheapest, in order for each, with the equipment of today.
    equipment : tuple of EquipmentAnswer
        For every household and way of driving, under the rate of today, and under the cheapest one if that is another.
    ways : pandas.DataFrame
        Ways of charging and driving side by side, see `compare`.
    stops : tuple of PlaceWorth
        What places away from home are worth, with the rate and equipment of today.
    left_out : tuple of str
        What was not looked for, and why, in words.
    """

    question: Question
    currency: str
    rates: pd.DataFrame
    margins: tuple[Margin, ...]
    meetings: tuple[Meeting, ...]
    equipment: tuple[EquipmentAnswer, ...]
    ways: pd.DataFrame
    stops: tuple[PlaceWorth, ...]
    left_out: tuple[str, ...]


def answer(study: Study, rows: pd.DataFrame, question: Question) -> Answers:
    """Answer what a study is made for.

    Parameters
    ----------
    study : Study
        What was compared.
    rows : pandas.DataFrame
        Its rows, with the strategy ``optimal`` among them.
    question : Question
        What is asked.

    Returns
    -------
    Answers

    Raises
    ------
    InputError
        If the rate or equipment of today is not in the study, or rates are in several currencies.

    Examples
    --------
    >>> from datetime import date
    >>> import pandas as pd
    >>> from chargeplan.household import load_household
    >>> from chargeplan.study.cell import unit_rows
    >>> from chargeplan.tariff import load_tariff
    >>> rates = {name: load_tariff(name) for name in ("summer-peak", "winter-evenings")}
    >>> study = Study("spring", {"demo": load_household("demo")}, rates, date(2026, 3, 1), 91)
    >>> rows = pd.DataFrame([row.as_dict() for unit in units(study) for row in unit_rows(unit)])
    >>> found = answer(study, rows, Question("summer-peak", "as it is"))
    >>> found.rates.tariff.tolist(), [stop.worth.place for stop in found.stops]
    (['winter-evenings', 'summer-peak'], ['workplace'])
    """
    currencies = sorted(set(rows.currency))
    if len(currencies) > 1:
        raise InputError(f"the rates are in {' and '.join(currencies)}, which cannot be compared; give one currency")
    if question.equipment not in study.equipment:
        names = ", ".join(f"`{name}`" for name in study.equipment)
        raise InputError(f"the equipment of today, `{question.equipment}`, is not in the study; name one of {names}")
    ranked = rank_rates(rows, today=question.tariff)
    lives = len(study.households) * len(study.driving)
    few = lives <= MOST_LIVES
    left_out = () if few else (f"break-evens and what stops are worth, for {lives} households and ways of driving",)
    if few and len(study.tariffs) > MOST_RATES:
        left_out = (f"distances at which other rates than the {MOST_RATES} cheapest would be the cheapest",)
    vehicles = {name: study.households[name].vehicle for name in study.households} if question.elsewhere else {}
    return Answers(
        question=question,
        currency=currencies[0],
        rates=ranked,
        margins=tuple(Margin(*names, price_margin(part)) for names, part in _parts(ranked)),
        meetings=tuple(_meetings(study, ranked, question)) if few and len(study.tariffs) > 1 else (),
        equipment=tuple(_equipment(study, rows, ranked, question)),
        ways=compare(rows, vehicles=vehicles, elsewhere=question.elsewhere, gasoline=question.gasoline),
        stops=tuple(_stops(study, question)) if few else (),
        left_out=left_out,
    )


def _parts(table: pd.DataFrame) -> Iterator[tuple[tuple[str, str, str], pd.DataFrame]]:
    for (household, driving, equipment), part in table.groupby(_KEYS, sort=False):
        yield (str(household), str(driving), str(equipment)), part


def _lives(study: Study, tariffs: list[str], equipment: str) -> Iterator[Unit]:
    """Go through the households and ways of driving, in the first drawn year, with some rates and one equipment."""
    some = {name: study.tariffs[name] for name in tariffs}
    one = {equipment: study.equipment[equipment]}
    for unit in units(replace(study, tariffs=some, equipment=one, draws=1)):
        # With few households a unit has one rate only; the first of each stands for all.
        if tariffs[0] in unit.tariffs:
            yield replace(unit, tariffs=some)


def _meetings(study: Study, ranked: pd.DataFrame, question: Question) -> Iterator[Meeting]:
    for unit in _lives(study, list(study.tariffs), question.equipment):
        names = (unit.household_name, unit.driving_name, question.equipment)
        here = next(part for found, part in _parts(ranked) if found == names)
        some = {name: unit.tariffs[name] for name in here.tariff.tolist()[:MOST_RATES]}
        for at in cheapest_by_distance(replace(unit, tariffs=some)):
            yield Meeting(*names, at)


def _stops(study: Study, question: Question) -> Iterator[PlaceWorth]:
    for unit in _lives(study, [question.tariff], question.equipment):
        for place in dict.fromkeys(stop.place for stop in unit.household.stops):
            for worth in stop_worth(unit, place):
                yield PlaceWorth(unit.household_name, unit.driving_name, worth)


def _equipment(study: Study, rows: pd.DataFrame, ranked: pd.DataFrame, question: Question) -> Iterator[EquipmentAnswer]:
    if len(study.equipment) < 2:
        return
    first = ranked[ranked.equipment == question.equipment].drop_duplicates(["household", "driving"])
    cheapest_of = dict(zip(zip(first.household, first.driving, strict=True), first.tariff, strict=True))
    # Over the years a shorter or longer span counts as the part of a year that it is.
    rows = rows.assign(car_cost=rows.car_cost * study.of_a_year)
    for (household, driving), part in rows.groupby(["household", "driving"], sort=False):
        home = study.households[str(household)]
        cheapest = str(cheapest_of[household, driving])
        for tariff in dict.fromkeys((question.tariff, cheapest)):
            yield weigh_equipment(
                part[part.tariff == tariff],
                study.equipment,
                home,
                question.terms,
                question.doubt,
                today=question.equipment,
                reliability=question.reliability,
            )
