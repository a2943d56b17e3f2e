"""Ways to drive side by side, against arithmetic by hand."""

import pandas as pd
import pytest

from chargeplan.charging import ChargingLoss, Consumption, Vehicle
from chargeplan.errors import InputError
from chargeplan.study.compare import Elsewhere, Gasoline, compare

CAR = Vehicle(
    60,
    consumption=Consumption(15, "battery"),
    losses={"level 2": ChargingLoss(0.9), "level 1": ChargingLoss(0.8), "dc": ChargingLoss(0.95)},
)


def rows(**changed):
    """Two drawn years under one rate."""
    row = {"household": "a", "driving": "usual", "draw": 0, "tariff": "t", "equipment": "e", "missed": 0}
    row |= {"distance_km": 10_000.0, "driving_kwh": 1500.0, **changed}
    return [
        {**row, "strategy": "optimal", "car_cost": 200.0},
        {**row, "strategy": "at once", "car_cost": 350.0},
        {**row, "strategy": "optimal", "car_cost": 300.0, "draw": 1, "distance_km": 14_000.0, "driving_kwh": 2100.0},
        {**row, "strategy": "at once", "car_cost": 500.0, "draw": 1, "distance_km": 14_000.0, "driving_kwh": 2100.0},
    ]


def test_by_hand():
    places = (Elsewhere("public", 0.3, 7.2, dc=False), Elsewhere("fast", 0.5, 50, dc=True))
    places = (*places, Elsewhere("outlet", 0.2, 1.4, dc=False))
    table = compare(pd.DataFrame(rows()), vehicles={"a": CAR}, elsewhere=places, gasoline=Gasoline(1.0, 7.0))
    cost = table.set_index("way").cost
    assert cost["optimal"] == pytest.approx(250)
    assert cost["at once"] == pytest.approx(425)
    assert cost["public"] == pytest.approx(0.3 * 1800 / 0.9)
    assert cost["fast"] == pytest.approx(0.5 * 1800 / 0.95)
    assert cost["outlet"] == pytest.approx(0.2 * 1800 / 0.8)
    assert cost["gasoline"] == pytest.approx(0.07 * 12_000)
    row = table.set_index("way").loc["at once"]
    assert (row.lowest, row.highest) == (350, 500)
    assert row.per_100km == pytest.approx((3.5 + 500 / 140) / 2)
    assert row.more_than_plan == pytest.approx(175)


@pytest.mark.parametrize("wrong", [(0.0, 7.0), (1.0, -1.0), (float("nan"), 7.0)])
def test_gasoline_that_cannot_be(wrong):
    with pytest.raises(InputError, match="give a number above 0"):
        Gasoline(*wrong)
