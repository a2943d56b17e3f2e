"""What driving costs otherwise: charged without a plan, away from home, with DC, or with gasoline."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from chargeplan.charging import Level, Vehicle
from chargeplan.errors import InputError
from chargeplan.study.study import RoadCharging

if TYPE_CHECKING:
    import pandas as pd

#: What tells the years of a study apart.
KEYS: Final = ("household", "driving", "tariff", "equipment")


@dataclass(frozen=True)
class Gasoline:
    """A car with an engine to compare with.

    Parameters
    ----------
    price_per_l : float
        Price of a litre.
    l_per_100km : float
        What it burns.

    Raises
    ------
    InputError
        If a number is not above 0.

    Examples
    --------
    >>> round(Gasoline(0.95, 7.6).cost(16_000), 2)
    1155.2
    """

    price_per_l: float
    l_per_100km: float

    def __post_init__(self) -> None:
        for name in ("price_per_l", "l_per_100km"):
            if not (np.isfinite(getattr(self, name)) and getattr(self, name) > 0):
                raise InputError(f"{name} of the gasoline is {getattr(self, name)!r}; give a number above 0")

    def cost(self, distance_km: float) -> float:
        """Give what a distance costs."""
        return self.price_per_l * self.l_per_100km * distance_km / 100


@dataclass(frozen=True)
class Elsewhere:
    """Charging everything away from home.

    Parameters
    ----------
    name : str
        What it is called.
    price_per_kwh : float
        What a kWh that the station delivers costs.
    power_kw : float
        What it delivers to the car.
    dc : bool
        Whether it bypasses the onboard charger.
    """

    name: str
    price_per_kwh: float
    power_kw: float
    dc: bool

    def cost(self, battery_kwh: float, vehicle: Vehicle) -> float:
        """Give what an energy in the battery costs.

        Parameters
        ----------
        battery_kwh : float
            Energy that driving takes.
        vehicle : Vehicle
            The car, for its losses.
        """
        if self.dc:
            return battery_kwh / RoadCharging(self.price_per_kwh, self.power_kw).gain(vehicle) * self.price_per_kwh
        level: Level = "level 1" if self.power_kw < _LEVEL_1_KW else "level 2"
        return battery_kwh / float(vehicle.loss(level).gain(self.power_kw)) * self.price_per_kwh


#: Below this power an outlet is taken for one of 120 V: 16 A there are 1.92 kW (SAE J1772, AC Level 1).
_LEVEL_1_KW: Final = 2.0


def compare(
    rows: pd.DataFrame,
    *,
    vehicles: dict[str, Vehicle],
    elsewhere: tuple[Elsewhere, ...] = (),
    gasoline: Gasoline | None = None,
) -> pd.DataFrame:
    """Set the ways of charging, and of driving, side by side.

    Parameters
    ----------
    rows : pandas.DataFrame
        Of a study, see `chargeplan.study.cell.YearRow`.
    vehicles : dict of str to Vehicle
        The car of each household.
    elsewhere : tuple of Elsewhere
        Places at which all might be charged instead.
    gasoline : Gasoline, optional
        What a car with an engine would take.

    Returns
    -------
    pandas.DataFrame
        A row per household, driving, rate, equipment and ``way``: a strategy of charging, a place elsewhere, or
        ``gasoline``. ``cost`` of a year, the mean of the drawn years, with ``lowest`` and ``highest``;
        ``per_100km``; ``more_than_plan``, what it costs more than the optimal plan; ``missed``, departures that were
        short, in a year.

    Examples
    --------
    >>> import pandas as pd
    >>> row = {"household": "a", "driving": "usual", "draw": 0, "tariff": "t", "equipment": "e", "missed": 0,
    ...        "strategy": "optimal", "car_cost": 300.0, "distance_km": 16_000.0, "driving_kwh": 2_400.0}
    >>> table = compare(pd.DataFrame([row]), vehicles={}, gasoline=Gasoline(1.0, 7.5))
    >>> table.way.tolist(), table.more_than_plan.tolist()
    (['optimal', 'gasoline'], [0.0, 900.0])
    """
    import pandas as pd

    years = [rows[[*KEYS, "draw", "distance_km", "missed"]].assign(way=rows.strategy, cost=rows.car_cost)]
    once = rows.drop_duplicates([*KEYS, "draw"])
    others = once[[*KEYS, "draw", "distance_km"]].assign(missed=0)
    for place in elsewhere:
        costs = [place.cost(kwh, vehicles[name]) for name, kwh in zip(once.household, once.driving_kwh, strict=True)]
        years.append(others.assign(way=place.name, cost=costs))
    if gasoline is not None:
        years.append(others.assign(way="gasoline", cost=[gasoline.cost(km) for km in once.distance_km]))
    table = pd.concat(years, ignore_index=True)
    table["per_100km"] = np.divide(
        100 * table.cost, table.distance_km, out=np.full(len(table), np.nan), where=table.distance_km.to_numpy() > 0
    )
    found = table.groupby([*KEYS, "way"], sort=False, as_index=False).agg(
        cost=("cost", "mean"),
        lowest=("cost", "min"),
        highest=("cost", "max"),
        per_100km=("per_100km", "mean"),
        distance_km=("distance_km", "mean"),
        missed=("missed", "mean"),
    )
    plan = found[found.way == "optimal"].set_index(list(KEYS)).cost.rename("plan")
    found["more_than_plan"] = found.cost - found.join(plan, on=list(KEYS)).plan
    return found.sort_values(list(KEYS), kind="stable").reset_index(drop=True)
