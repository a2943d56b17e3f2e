"""Speed of bills, as ratios against a named alternative in the same run.

Run with ``python tests/bench/bill_speed.py``. Nothing here is asserted: seconds depend on the machine.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from decimal import Decimal

import numpy as np
import pandas as pd

from chargeplan import load_tariff

HOUSEHOLDS = 100


def fastest(action: Callable[[], object], times: int = 9) -> float:
    """Return the least of several durations, which other load on the machine disturbs least."""
    durations = []
    for _ in range(times):
        begin = time.perf_counter()
        action()
        durations.append(time.perf_counter() - begin)
    return min(durations)


def year_of(timezone: str) -> pd.DataFrame:
    """Make a year of hourly use of many households."""
    index = pd.date_range("2026-01-01", "2027-01-01", freq="h", tz=timezone, inclusive="left")
    use = np.random.default_rng(7).gamma(2.0, 0.4, (len(index), HOUSEHOLDS)).round(3)
    return pd.DataFrame(use, index=index)


def bills_of_a_year() -> None:
    """Print the cost of the bills of 100 households for a year of hours."""
    print("bills of 100 households, a year of hours / the pandas group-by of their kWh by month and period")
    for name in ("two-period", "summer-peak", "night-owl"):
        tariff = load_tariff(name)
        load = year_of(tariff.timezone)

        def grouped() -> pd.DataFrame:
            # What any correct answer needs: the clock of every hour, its period, and the sums.
            labels = tariff.frame("2026-01-01", "2027-01-01", "1 h")["period"].to_numpy()  # noqa: B023
            return load.groupby([load.index.year, load.index.month, labels]).sum()  # noqa: B023

        def only_sums(labels: np.ndarray, month: np.ndarray, load: pd.DataFrame = load) -> pd.DataFrame:
            return load.groupby([month, labels]).sum()

        labels = tariff.frame("2026-01-01", "2027-01-01", "1 h")["period"].to_numpy()
        month = load.index.month.to_numpy()
        alternative = fastest(lambda labels=labels, month=month: only_sums(labels, month))
        whole = fastest(grouped)
        ours = fastest(lambda tariff=tariff, load=load: tariff.bill_table(load))
        total = Decimal(str(round(float(tariff.bill_table(load)[0].sum()), 2)))
        single = tariff.bills(load[0]).total
        if abs(total - single) > Decimal("0.005"):
            raise SystemExit(f"{name}: many at once give {total}, one alone {single}")
        print(
            f"  {name:<16} {ours / alternative:5.2f}   ({1000 * ours:.1f} ms / {1000 * alternative:.1f} ms; with "
            f"labels and month worked out too: {ours / whole:.2f})"
        )


def prices_of_the_richest_sheet() -> None:
    """Print the cost of a year of 15-minute prices of the sheet with the most lines."""
    tariff = load_tariff("whole-bill")

    def index_and_fields() -> object:
        index = pd.date_range("2026-01-01", "2027-01-01", freq="15min", tz=tariff.timezone, inclusive="left")
        return index.hour, index.month, index.day_of_week

    alternative = fastest(index_and_fields)
    ours = fastest(lambda: tariff.prices("2026-01-01", "2027-01-01"))
    print("a year of 15-minute prices, whole-bill / building that DatetimeIndex and reading hour, month and weekday")
    print(f"  {'whole-bill':<16} {ours / alternative:5.2f}   ({1000 * ours:.1f} ms / {1000 * alternative:.1f} ms)")


if __name__ == "__main__":
    bills_of_a_year()
    prices_of_the_richest_sheet()
