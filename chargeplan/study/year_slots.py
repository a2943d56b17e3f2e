"""One planned year looked at closely: slot by slot where the car is plugged in, and with the house by interval.

The rows of a study are sums. What is here is what they are sums of, planned once more.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from chargeplan.errors import InputError
from chargeplan.plan.ruled import reached
from chargeplan.study.car_year import CarYear, car_year
from chargeplan.study.cell import Planned, journeys_of, planned_years
from chargeplan.study.study import Unit
from chargeplan.study.year_bills import BillGrid, bill_grid, slot_prices, step_min
from chargeplan.study.year_plan import STRATEGIES, year_grid

if TYPE_CHECKING:
    import pandas as pd

    from chargeplan.clock import IntArray

#: What home is called among the places.
HOME_PLACE = "home"


def year_slots(unit: Unit, strategy: str = "optimal") -> pd.DataFrame:
    """Tell slot by slot what a planned year does where the car is plugged in.

    Parameters
    ----------
    unit : Unit
        With one rate and one choice of equipment, see `chargeplan.study.study.one_unit`.
    strategy : str
        Which way of charging: ``optimal``, ``timer`` or ``at once``.

    Returns
    -------
    pandas.DataFrame
        A row per slot of a stay, by its start on the household's clock: ``stay``, the number of the stay; ``place``,
        ``home`` or the name of the stop; ``hours``, the length; ``price_per_kwh``; ``wall_kwh``, what charging
        draws; ``preconditioning_kwh``, what warming or cooling the car before it leaves draws besides;
        ``soc_before`` and ``soc``, the state of charge at its start and end, as shares. Between stays the car drives.

    Raises
    ------
    InputError
        If the unit has several rates or choices of equipment, or there is no such strategy.

    Examples
    --------
    >>> from datetime import date
    >>> from chargeplan.household import load_household
    >>> from chargeplan.study.study import Study, one_unit
    >>> from chargeplan.tariff import load_tariff
    >>> rates = {"summer-peak": load_tariff("summer-peak")}
    >>> unit = one_unit(Study("a week", {"demo": load_household("demo")}, rates, date(2026, 1, 5), 7))
    >>> slots = year_slots(unit)
    >>> slots.groupby("place").wall_kwh.sum().round(1).to_dict()
    {'home': 29.8, 'workplace': 22.5}
    >>> slots.query("wall_kwh > 0").round(3).iloc[0][["place", "price_per_kwh", "soc"]].to_dict()
    {'place': 'home', 'price_per_kwh': 0.183, 'soc': 0.731}
    """
    import pandas as pd

    looked_at = _planned(unit, strategy)
    plan, problem, year = looked_at.found.plan, looked_at.found.problem, looked_at.year
    battery_kwh = plan.wall_kwh * problem.gain
    gained = np.cumsum(battery_kwh)
    before = (gained - battery_kwh)[problem.first]
    after_kwh = (reached(problem, battery_kwh).arrival_kwh - before)[problem.stay] + gained
    usable = unit.household.vehicle.usable_kwh
    names = np.array([HOME_PLACE, *(stop.place for stop in unit.household.stops)], dtype=object)
    return pd.DataFrame(
        {
            "stay": problem.stay,
            "place": names[year.place[problem.stay]],
            "hours": problem.hours,
            "price_per_kwh": problem.price_per_kwh,
            "wall_kwh": plan.wall_kwh,
            "preconditioning_kwh": looked_at.found.drawn_kwh,
            "soc_before": (after_kwh - battery_kwh) / usable,
            "soc": after_kwh / usable,
        },
        index=_index(problem.start_s, unit),
    )


def house_and_car(unit: Unit, strategy: str = "optimal") -> pd.DataFrame:
    """Tell interval by interval what house and car draw at home.

    Parameters
    ----------
    unit : Unit
        With one rate and one choice of equipment, see `chargeplan.study.study.one_unit`.
    strategy : str
        Which way of charging: ``optimal``, ``timer`` or ``at once``.

    Returns
    -------
    pandas.DataFrame
        A row per interval of the whole span, of an hour or of what the rate tells apart, by its start on the
        household's clock: ``house_kwh``, ``car_kwh``, and ``price_per_kwh`` of the next kWh at home.

    Raises
    ------
    InputError
        If the unit has several rates or choices of equipment, or there is no such strategy.

    Examples
    --------
    >>> from datetime import date
    >>> from chargeplan.household import load_household
    >>> from chargeplan.study.house_load import UsualLoad
    >>> from chargeplan.study.study import Study, one_unit
    >>> from chargeplan.tariff import load_tariff
    >>> home, rates = load_household("demo"), {"flat": load_tariff("flat")}
    >>> house = {"demo": UsualLoad(home.timezone, 24.0)}
    >>> load = house_and_car(one_unit(Study("a week", {"demo": home}, rates, date(2026, 1, 5), 7, house=house)))
    >>> load[["house_kwh", "car_kwh"]].sum().round(1).tolist()
    [168.0, 29.8]
    """
    import pandas as pd

    looked_at = _planned(unit, strategy)
    bills = looked_at.bills
    return pd.DataFrame(
        {
            "house_kwh": bills.house_kwh,
            "car_kwh": looked_at.found.home_kwh(looked_at.year, bills),
            "price_per_kwh": slot_prices(bills, bills.start_s, bills.step_s),
        },
        index=_index(bills.start_s, unit),
    )


@dataclass(frozen=True, eq=False)
class _LookedAt:
    """A year planned, with what it was planned on."""

    found: Planned
    year: CarYear
    bills: BillGrid


def _planned(unit: Unit, strategy: str) -> _LookedAt:
    if len(unit.tariffs) != 1 or len(unit.equipment) != 1:
        raise InputError("a year is looked at with one rate and one choice of equipment at a time; name them")
    if strategy not in STRATEGIES:
        raise InputError(f"{strategy!r} is no strategy; choose `optimal`, `timer` or `at once`")
    tariff = next(iter(unit.tariffs.values()))
    year = car_year(unit.household, journeys_of(unit))
    step = step_min(tariff, unit.first, unit.days)
    bills = bill_grid(tariff, unit.first, unit.days, unit.house, step)
    found = planned_years(replace(unit, strategies=(strategy,)), year_grid(year, step), bills)
    return _LookedAt(found[0], year, bills)


def _index(start_s: IntArray, unit: Unit) -> pd.DatetimeIndex:
    import pandas as pd

    index = pd.DatetimeIndex(start_s.astype("datetime64[s]"), tz="UTC", name="start")
    return index.tz_convert(unit.household.timezone)
