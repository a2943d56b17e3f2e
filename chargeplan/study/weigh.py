"""Which equipment pays: what every choice costs over the years, how often it is enough, and the least that is."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from chargeplan.charging import Limit
from chargeplan.errors import InputError
from chargeplan.household.household import Household
from chargeplan.study.cell import limits_of
from chargeplan.study.equipment import CAUTION, Equipment
from chargeplan.study.payback import lasting_payback_years
from chargeplan.study.spending import Spending, Terms
from chargeplan.study.sufficient import least_sufficient
from chargeplan.study.uncertain import Doubt, Outlook, outlook
from chargeplan.study.worth import annualised, net_present_cost, price_path

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Weighed:
    """One choice of equipment, weighed against what is in use today.

    Parameters
    ----------
    name : str
        What the study calls it.
    equipment : Equipment or None
        What it is; None for what the household has, which costs nothing more.
    limit : Limit
        What it gives to the car.
    outlay : float
        Paid at the start.
    yearly : float
        What the car costs in the first year, the mean of the drawn years.
    present_cost, annual_cost : float
        Over the horizon, in money of today, and the same spread evenly over its years.
    payback_years : float
        When it has paid back for good what it and its replacements cost more than what is there today; 0 for that
        itself and for what never costs more, infinite if it does not within the horizon.
    outlook : Outlook or None
        How that may turn out; None for what is there today.
    share_met : float
        Share of the departures that were not short.
    lowest_soc : float
        Lowest state of charge of all drawn years.
    """

    name: str
    equipment: Equipment | None
    limit: Limit
    outlay: float
    yearly: float
    present_cost: float
    annual_cost: float
    payback_years: float
    outlook: Outlook | None
    share_met: float
    lowest_soc: float


@dataclass(frozen=True, eq=False)
class EquipmentAnswer:
    """What equipment to have, for one household, way of driving and rate.

    Parameters
    ----------
    household, driving, tariff, today : str
        For which, and what is in use today.
    choices : tuple of Weighed
        The least present cost first.
    least : str or None
        The cheapest of those that are enough, as the study calls it; None if none is.
    because : str
        Why, in words.
    caution : str
        What every answer about equipment must say.
    """

    household: str
    driving: str
    tariff: str
    today: str
    choices: tuple[Weighed, ...]
    least: str | None
    because: str
    caution: str = CAUTION

    def frame(self) -> pd.DataFrame:
        """Make a table with a row for each choice."""
        import pandas as pd

        return pd.DataFrame(
            [
                {
                    "equipment": choice.name,
                    "current_a": choice.limit.current_a,
                    "wall_kw": choice.limit.wall_kw,
                    "outlay": choice.outlay,
                    "yearly": choice.yearly,
                    "present_cost": choice.present_cost,
                    "annual_cost": choice.annual_cost,
                    "payback_years": choice.payback_years,
                    "saving_low": np.nan if choice.outlook is None else choice.outlook.saving.low,
                    "saving_high": np.nan if choice.outlook is None else choice.outlook.saving.high,
                    "pays": np.nan if choice.outlook is None else choice.outlook.pays,
                    "share_met": choice.share_met,
                    "lowest_soc": choice.lowest_soc,
                }
                for choice in self.choices
            ]
        )


def weigh_equipment(
    rows: pd.DataFrame,
    equipment: Mapping[str, Equipment | None],
    household: Household,
    terms: Terms,
    doubt: Doubt,
    *,
    today: str,
    reliability: float = 0.98,
) -> EquipmentAnswer:
    """Weigh equipment by what it costs over the years and how often it is enough.

    Parameters
    ----------
    rows : pandas.DataFrame
        Rows of one household, way of driving and rate, see `chargeplan.study.cell.YearRow`; each drawn year is one
        that may come.
    equipment : mapping of str to Equipment or None
        What each name in the rows is; None for what the household has.
    household : Household
        For whom.
    terms : Terms
        Horizon, discount rate and growth of prices.
    doubt : Doubt
        What is uncertain.
    today : str
        What is in use today.
    reliability : float
        Share of the departures that must not be short for equipment to be enough.

    Returns
    -------
    EquipmentAnswer

    Raises
    ------
    InputError
        If the rows are of several households, ways of driving or rates, or lack some equipment.
    """
    rows = rows[rows.strategy == "optimal"]
    names = {key: str(rows[key].iloc[0]) for key in ("household", "driving", "tariff")} if len(rows) else {}
    if not names or any((rows[key] != name).any() for key, name in names.items()):
        raise InputError("equipment is weighed for one household, way of driving and rate at a time; give such rows")
    for name in (today, *equipment):
        if name not in set(rows.equipment):
            raise InputError(
                f"the equipment `{name}` is not in the study; name one of {', '.join(dict.fromkeys(rows.equipment))}"
            )
    # What is there already costs nothing to have.
    there = Equipment("as it is", household.circuit, household.evse)
    priced = {name: there if item is None else item for name, item in equipment.items()}
    drawn = {name: part.sort_values("draw") for name, part in rows.groupby("equipment", sort=False)}
    spending = {name: Spending.of(item, drawn[name].car_cost.to_numpy()) for name, item in priced.items()}
    mean = {name: Spending.of(item, float(drawn[name].car_cost.mean())) for name, item in priced.items()}
    cost = {name: float(net_present_cost(one, terms)) for name, one in mean.items()}
    met = {name: _met(part) for name, part in drawn.items()}
    choices = [
        Weighed(
            name=name,
            equipment=item,
            limit=limits_of(household, item)[0],
            outlay=priced[name].outlay,
            yearly=float(drawn[name].car_cost.mean()),
            present_cost=cost[name],
            annual_cost=float(annualised(cost[name], terms)),
            payback_years=_payback(mean[today], mean[name], terms) if name != today else 0.0,
            outlook=outlook(spending[today], spending[name], terms, doubt) if name != today else None,
            share_met=met[name],
            lowest_soc=float(drawn[name].lowest_soc.min()),
        )
        for name, item in equipment.items()
    ]
    least = least_sufficient(
        list(priced.values()),
        [met[name] for name in equipment],
        reliability,
        present_cost=[cost[name] for name in equipment],
    )
    choices.sort(key=lambda choice: choice.present_cost)
    return EquipmentAnswer(
        names["household"],
        names["driving"],
        names["tariff"],
        today,
        tuple(choices),
        next((name for name, item in priced.items() if item is least.equipment), None),
        least.reason,
    )


def _met(rows: pd.DataFrame) -> float:
    departures = int(rows.departures.sum())
    return 1.0 if not departures else 1 - int(rows.missed.sum()) / departures


def _payback(base: Spending, other: Spending, terms: Terms) -> float:
    prices = price_path(terms.price_growth, terms.years)
    energy = (np.asarray(base.yearly) * prices, np.asarray(other.yearly) * prices)
    return float(lasting_payback_years(base, other, terms, energy))
