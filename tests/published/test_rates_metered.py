"""Published rates whose bills depend on the hours of use, which a `checks:` block of a sheet cannot say.

The source of every rate stands at the top of its YAML file, with what is from memory or made up. The energy of every
interval is typed here, and so is what it costs.
"""

from decimal import Decimal
from pathlib import Path

import pandas as pd
import pytest

from chargeplan.tariff import load_tariff

FOLDER = Path(__file__).parent


def meter(zone, first, after, step, kwh=()):
    """Energy of every interval of a span: none, but for what is named by its local start."""
    start, end = (pd.Timestamp(day, tz=zone) for day in (first, after))
    load = pd.Series(0.0, index=pd.date_range(start, end, freq=step, inclusive="left"))
    for stamp, value in dict(kwh).items():
        moment = pd.Timestamp(stamp, tz=zone)
        assert moment in load.index
        load[moment] = value
    return load


def test_highest_half_hour_of_the_clock():
    """Salt River Project: the highest 30-minute on-peak interval of the month, on the hour and half-hour.

    2 kWh from 14:15 and 2 kWh from 14:30 are 8 kW of a half-hour that no clock has: either half-hour has 4 kW. The
    10 kWh of Saturday and those before 14:00 are off-peak. 4 kW at the made-up 20 are 80.00; 24 kWh at 0.04 and 4 at
    0.06 are 1.20.
    """
    load = meter(
        *("America/Phoenix", "2024-07-01", "2024-08-01", "15min"),
        {"2024-07-10 14:15": 2, "2024-07-10 14:30": 2, "2024-07-10 13:45": 14, "2024-07-13 15:00": 10},
    )
    bill = load_tariff(FOLDER / "arizona_demand.yaml").bill(load)
    assert bill.lines == {"energy": Decimal("1.20"), "on-peak demand": Decimal("80.00")}
    load["2024-07-10 14:45"] = 1  # the half-hour from 14:30 now has 3 kWh, which are 6 kW
    bill = load_tariff(FOLDER / "arizona_demand.yaml").bill(load)
    assert bill.lines["on-peak demand"] == Decimal("120.00")


def test_mean_of_the_highest_of_each_day():
    """Salt River Project: the average of the daily on-peak maxima.

    July 2024 has 23 weekdays, one of them a holiday. On 11 of the other 22 the highest half-hour has 5 kWh, 10 kW, and
    a second one less; the mean is 5 kW, at the made-up 10 50.00.
    """
    days = [f"2024-07-{day:02}" for day in (1, 2, 3, 5, 8, 9, 10, 11, 12, 15, 16)]
    kwh = {f"{day} 14:00": 5.0 for day in days} | {f"{day} 19:30": 4.0 for day in days}
    other = {"2024-07-04 15:00": 30, "2024-07-06 15:00": 30, "2024-07-17 13:30": 30, "2024-07-17 20:00": 30}
    load = meter("America/Phoenix", "2024-07-01", "2024-08-01", "30min", kwh | other)
    bill = load_tariff(FOLDER / "arizona_average_demand.yaml").bill(load)
    assert bill.lines["average demand"] == Decimal("50.00")


def test_what_is_sold_is_not_taken_from_what_is_bought():
    """Salt River Project: imports and exports are metered moment by moment, not netted over the month.

    In every hour of July 1 kWh is bought and 1 kWh sold: 154 on-peak hours (22 days of 7) at the made-up 0.25 are
    38.50, the other 590 at 0.10 are 59.00; 744 x 0.0281 = 20.91 (20.9064) is earned.
    """
    load = meter("America/Phoenix", "2024-07-01", "2024-08-01", "1h") + 1
    bill = load_tariff(FOLDER / "arizona_time_of_use.yaml").bill(load, export=load)
    assert bill.lines == {
        "energy": Decimal("38.50") + Decimal("59.00"),
        "fixed": Decimal("20.00"),
        "export": Decimal("-20.91"),
    }


@pytest.mark.parametrize("used_in", [[0], [59], [0, 20, 40], range(60)])
def test_the_limit_is_that_of_all_days_together(used_in):
    """Hydro-Quebec, rate D: the kWh a day times the days are compared with the total, not day by day.

    Whatever the days on which 2500 kWh are used, 1800 are at 0.0568 and 700 at 0.086.
    """
    load = meter("America/Toronto", "2015-06-01", "2015-07-31", "1h")
    for day in used_in:
        load.iloc[24 * day + 12] = 2500 / len(used_in)
    bill = load_tariff(FOLDER / "quebec_rate_d.yaml").bill(load)
    tiers = [sum(item.amount for item in bill.matching(f"energy / tier {tier}")) for tier in (1, 2)]
    assert tiers == [Decimal("102.24"), Decimal("60.20")]
    assert bill.lines["fixed"] == Decimal("24.38")


def test_two_demands_at_once():
    """Duke Energy Progress, R-TOUD (SC) 2023: the highest 15 minutes on-peak, and the highest of all hours.

    0.75 kWh in 15 minutes of Wednesday 19:00 are 3 kW, at the made-up 4 12.00; 2 kWh of noon are 8 kW, at 2 16.00.
    """
    load = meter(
        *("America/New_York", "2023-07-01", "2023-08-01", "15min"),
        {"2023-07-12 19:00": 0.75, "2023-07-12 19:15": 0.7, "2023-07-12 12:00": 2, "2023-07-15 19:00": 1.5},
    )
    bill = load_tariff(FOLDER / "carolina_two_demands.yaml").bill(load)
    assert bill.lines["on-peak demand"] == Decimal("12.00")
    assert bill.lines["any demand"] == Decimal("16.00")


def test_delivery_and_supply_by_their_own_hours():
    """Consolidated Edison, voluntary time-of-use: two tables of periods in one bill, 1 kWh in each hour of July.

    Delivery in July 2016: 31 days of 16 peak hours at 18.99 cents and 8 others at 1.34. Supply at made-up prices: 21
    weekdays of 4 super-peak hours at 20 cents, 496 - 84 = 412 peak hours at 8, and 248 hours at 2.
    """
    load = meter("America/New_York", "2016-07-01", "2016-08-01", "1h") + 1
    bill = load_tariff(FOLDER / "new_york_time_of_use.yaml").bill(load)
    items = {f"{item.name} / {item.period}": item.amount for item in bill.items if item.kind == "energy"}
    assert items == {
        "delivery / peak": Decimal("94.19"),  # 94.1904
        "delivery / off-peak": Decimal("3.32"),  # 3.3232
        "supply / super-peak": Decimal("16.80"),
        "supply / supply peak": Decimal("32.96"),
        "supply / supply off-peak": Decimal("4.96"),
    }
    assert bill.total == Decimal("172.10")  # with 19.87 of customer charge
