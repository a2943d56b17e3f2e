"""What a study found, in the order of a report: each household with each way of driving, and how many agree."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from itertools import product
from typing import TYPE_CHECKING, Final, TypeVar

import numpy as np

from chargeplan.charging import Limit
from chargeplan.charging.numeric import FloatArray
from chargeplan.household import Household
from chargeplan.study.answers import MOST_LIVES, Answers, answer
from chargeplan.study.cell import limits_of
from chargeplan.study.equipment import Equipment
from chargeplan.study.file import StudyFile
from chargeplan.study.panel_room import Fit, Room
from chargeplan.study.rates import BreakEven, PriceChange
from chargeplan.study.spending import Spending, Terms
from chargeplan.study.stop_worth import StopWorth
from chargeplan.study.study import Study
from chargeplan.study.weigh import EquipmentAnswer, Weighed
from chargeplan.study.whole_bill_year import WHOLE_BILL, charges_power
from chargeplan.study.worth import price_path, replacements, with_upkeep
from chargeplan.study.year_bills import hangs_on_use

if TYPE_CHECKING:
    import pandas as pd

#: Of costs that differ by less than half a cent none is cheaper.
SAME_COST: Final = 0.005
_ROUNDING: Final = 1e-9
_Line = TypeVar("_Line")


@dataclass(frozen=True)
class RateLine:
    """One rate, with the equipment of today; see `chargeplan.study.rates.rank_rates`.

    Parameters
    ----------
    rank : int
        From 1, the cheapest.
    tariff : str
        Its name.
    house_bill, car_cost, total, lowest, highest, above_cheapest, saves, unshifted : float
        Money of the span; NaN where there is nothing to say.
    """

    rank: int
    tariff: str
    house_bill: float
    car_cost: float
    total: float
    lowest: float
    highest: float
    above_cheapest: float
    saves: float
    unshifted: float


@dataclass(frozen=True)
class WayLine:
    """One way to charge or to drive, with the rate and equipment of today; see `chargeplan.study.compare.compare`.

    Parameters
    ----------
    way : str
        Which.
    cost, lowest, highest, per_100km, more_than_plan, missed : float
        The mean of the drawn years, and how far they spread.
    """

    way: str
    cost: float
    lowest: float
    highest: float
    per_100km: float
    more_than_plan: float
    missed: float


@dataclass(frozen=True, eq=False)
class HomeLine:
    """What one choice of equipment does, under the rate of today and planned at best.

    Parameters
    ----------
    equipment : str
        Its name in the study.
    limit : Limit
        What it lets through to the car.
    km_per_hour : float
        Distance for an hour of charging.
    departures, missed, unserved : float
        Departures, those that were short, and drives that the battery did not hold enough for; means of the drawn
        years.
    share_met : float
        Share of the departures that were not short.
    lowest_soc : float
        Lowest state of charge of all drawn years.
    fit : Fit or None
        Whether the panel has room for it, where the study names a panel and this is not what is there anyway.
    """

    equipment: str
    limit: Limit
    km_per_hour: float
    departures: float
    missed: float
    unserved: float
    share_met: float
    lowest_soc: float
    fit: Fit | None


@dataclass(frozen=True, eq=False)
class Life:
    """One household with one way of driving.

    Parameters
    ----------
    household, driving, label : str
        Which, and what to call it where the others are known.
    unit : str
        ``mi`` or ``km``.
    distance_km : float
        Driven in the span, the mean of the drawn years.
    rates : tuple of RateLine
        The cheapest first.
    margin : PriceChange
        How firm the first is.
    meetings : tuple of BreakEven
        Distances, rising, at which another rate becomes the cheapest.
    home : tuple of HomeLine
        All equipment, in the order of the study.
    equipment : tuple of EquipmentAnswer
        Under the rate of today, and under the cheapest; empty where there is nothing to choose.
    ways : tuple of WayLine
        Ways to charge and drive.
    stops : tuple of StopWorth
        What places away from home are worth, in the first drawn year.
    """

    household: str
    driving: str
    label: str
    unit: str
    distance_km: float
    rates: tuple[RateLine, ...]
    margin: PriceChange
    meetings: tuple[BreakEven, ...]
    home: tuple[HomeLine, ...]
    equipment: tuple[EquipmentAnswer, ...]
    ways: tuple[WayLine, ...]
    stops: tuple[StopWorth, ...]

    @property
    def cheapest(self) -> tuple[str, ...]:
        """The cheapest rate, with those that cost the same."""
        return tuple(line.tariff for line in self.rates if line.above_cheapest < SAME_COST)

    def rate(self, tariff: str) -> RateLine:
        """Find the line of a rate."""
        return next(line for line in self.rates if line.tariff == tariff)

    def at_home(self, equipment: str) -> HomeLine:
        """Find the line of some equipment."""
        return next(line for line in self.home if line.equipment == equipment)


@dataclass(frozen=True, eq=False)
class StudyReport:
    """What a study found.

    Parameters
    ----------
    asked : StudyFile
        The study and its questions.
    answers : Answers
        What was found.
    lives : tuple of Life
        Each household with each way of driving, in the order of the study.
    room : Room or None
        What the panel has room for.
    by_price : tuple of str
        Rates by which bills hang together as a whole, but whose hours were chosen by the price of one more kWh.
    """

    asked: StudyFile
    answers: Answers
    lives: tuple[Life, ...]
    room: Room | None
    by_price: tuple[str, ...] = ()

    @property
    def currency(self) -> str:
        """Of all amounts."""
        return self.answers.currency

    @property
    def detailed(self) -> bool:
        """Whether there are so few lives that each is shown in full."""
        return len(self.lives) <= MOST_LIVES

    def enough(self, share_met: float) -> bool:
        """Tell whether a share of departures is what is wanted."""
        return share_met >= self.asked.question.reliability - _ROUNDING


def study_report(asked: StudyFile, rows: pd.DataFrame) -> StudyReport:
    """Answer what a study asks, and put it in order.

    Parameters
    ----------
    asked : StudyFile
        What `chargeplan.study.file.load_study` returned.
    rows : pandas.DataFrame
        Its rows, from `chargeplan.study.results.StudyResult.frame`.

    Returns
    -------
    StudyReport
        For `study_text`, `study_data` and `study_html`.

    Examples
    --------
    >>> from chargeplan.study.file import read_study
    >>> from chargeplan.study.run import run_study
    >>> text = "{name: March, from: 2026-03-01, to: 2026-03-31, households: demo, tariffs: [flat, two-period]}"
    >>> asked = read_study(text)
    >>> report = study_report(asked, run_study(asked.study).frame())
    >>> [(life.label, life.cheapest) for life in report.lives]
    [('usual', ('two-period',))]
    """
    answers = answer(asked.study, rows, asked.question)
    options = {name: item for name, item in asked.study.equipment.items() if item is not None}
    room = None if asked.panel is None else asked.panel.room(list(options.values()))
    fits = {} if room is None else dict(zip(options, room.fits, strict=True))
    return StudyReport(asked, answers, tuple(_lives(asked, answers, rows, fits)), room, _by_price(asked.study, rows))


def paid_over_time(choice: Weighed, terms: Terms) -> tuple[FloatArray, FloatArray]:
    """Add up what is paid for some equipment and for charging with it.

    Parameters
    ----------
    choice : Weighed
        The equipment.
    terms : Terms
        Horizon, and how prices grow.

    Returns
    -------
    years, paid : array, shape (points,)
        From the start to the horizon: outlay, replacements, charging and upkeep in the money of each year, without
        discount, as the payback is reckoned. A replacement is a step, of two points at one time.
    """
    spending = Spending.of(choice.equipment or Equipment(choice.name), choice.yearly)
    energy = choice.yearly * price_path(terms.price_growth, terms.years)
    running = np.concatenate([[0.0], np.cumsum(with_upkeep(spending, terms, energy))])
    bought = [(0.0, choice.outlay), *((year, float(cost)) for year, cost in replacements(spending, terms))]
    replaced = [year for year, _ in bought[1:]]
    # Of two points at a replacement the first is before it.
    points = sorted({(time, False) for time in (*range(terms.years + 1), *replaced)} | {(y, True) for y in replaced})
    paid = [
        np.interp(time, np.arange(terms.years + 1.0), running)
        + sum(cost for year, cost in bought if year < time or (year == time and (after or time == 0)))
        for time, after in points
    ]
    return np.array([time for time, _ in points]), np.array(paid)


def paid_by_year(choice: Weighed, terms: Terms) -> FloatArray:
    """Add up the same until the start and the end of each year, shape (years + 1,), its replacements included."""
    times, paid = paid_over_time(choice, terms)
    last = np.searchsorted(times, np.arange(terms.years + 1.0), side="right") - 1
    return np.asarray(paid[last])


def _lives(asked: StudyFile, answers: Answers, rows: pd.DataFrame, fits: Mapping[str, Fit]) -> Iterator[Life]:
    study, question = asked.study, asked.question
    rates = _by_life(RateLine, answers.rates[answers.rates.equipment == question.equipment])
    here = answers.ways[(answers.ways.tariff == question.tariff) & (answers.ways.equipment == question.equipment)]
    ways = _by_life(WayLine, here)
    distance_km = dict(zip(zip(here.household, here.driving, strict=True), here.distance_km.tolist(), strict=True))
    done = _by_equipment(rows[(rows.strategy == "optimal") & (rows.tariff == question.tariff)])
    margins = {(one.household, one.driving): one for one in answers.margins if one.equipment == question.equipment}
    equipment: dict[tuple[str, str], list[EquipmentAnswer]] = {}
    for one in answers.equipment:
        equipment.setdefault((one.household, one.driving), []).append(one)
    for key in product(study.households, study.driving):
        household = study.households[key[0]]
        yield Life(
            *key,
            label=_label(*key, len(study.households), len(study.driving)),
            unit=household.distance_unit,
            distance_km=distance_km[key],
            rates=tuple(rates[key]),
            margin=margins[key].change,
            meetings=tuple(one.at for one in answers.meetings if (one.household, one.driving) == key),
            home=tuple(
                _home_line(name, item, household, done[*key, name], fits) for name, item in study.equipment.items()
            ),
            equipment=tuple(equipment.get(key, ())),
            ways=tuple(ways[key]),
            stops=tuple(one.worth for one in answers.stops if (one.household, one.driving) == key),
        )


def _by_price(study: Study, rows: pd.DataFrame) -> tuple[str, ...]:
    planned = rows[(rows.strategy == "optimal") & (rows.method != WHOLE_BILL)]
    found = set(planned.tariff)
    return tuple(
        name
        for name, tariff in study.tariffs.items()
        if name in found and (hangs_on_use(tariff) or charges_power(tariff))
    )


def _by_life(kind: type[_Line], table: pd.DataFrame) -> dict[tuple[str, str], list[_Line]]:
    names = [field.name for field in fields(kind)]  # type: ignore[arg-type]
    found: dict[tuple[str, str], list[_Line]] = {}
    for household, driving, *values in table[["household", "driving", *names]].itertuples(index=False, name=None):
        found.setdefault((household, driving), []).append(kind(*values))
    return found


def _by_equipment(best: pd.DataFrame) -> dict[tuple[str, str, str], tuple[float, ...]]:
    """Departures, missed ones and unserved drives of a year, and the lowest state of charge of all drawn years."""
    found = best.groupby(["household", "driving", "equipment"], sort=False, as_index=False).agg(
        departures=("departures", "mean"),
        missed=("missed", "mean"),
        unserved=("unserved", "mean"),
        lowest=("lowest_soc", "min"),
    )
    return {(one, two, three): tuple(values) for one, two, three, *values in found.itertuples(index=False, name=None)}


def _label(household: str, driving: str, households: int, drivings: int) -> str:
    if households == 1:
        return driving
    return household if drivings == 1 else f"{household}, {driving}"


def _home_line(
    name: str, equipment: Equipment | None, household: Household, done: tuple[float, ...], fits: Mapping[str, Fit]
) -> HomeLine:
    limit = limits_of(household, equipment)[0]
    departures, missed, unserved, lowest_soc = done
    return HomeLine(
        equipment=name,
        limit=limit,
        km_per_hour=limit.range_km_per_hour(household.vehicle),
        departures=departures,
        missed=missed,
        unserved=unserved,
        share_met=1 - missed / departures if departures else 1.0,
        lowest_soc=lowest_soc,
        fit=fits.get(name),
    )
