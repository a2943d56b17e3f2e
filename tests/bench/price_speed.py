"""Speed of prices and of the command, as ratios against a named alternative in the same run.

Run with ``python tests/bench/price_speed.py``. Nothing here is asserted: seconds depend on the machine.
"""

from __future__ import annotations

import subprocess
import sys
import time
from collections.abc import Callable

import pandas as pd

from chargeplan import load_tariff, shipped_sheets


def fastest(action: Callable[[], object], times: int = 15) -> float:
    """Return the least of several durations, which other load on the machine disturbs least."""
    durations = []
    for _ in range(times):
        begin = time.perf_counter()
        action()
        durations.append(time.perf_counter() - begin)
    return min(durations)


def index_and_fields(timezone: str) -> object:
    """Build a year of quarter hours and read the clock from it: what any price look-up with pandas starts with."""
    index = pd.date_range("2026-01-01", "2027-01-01", freq="15min", tz=timezone, inclusive="left")
    return index.hour, index.month, index.day_of_week


def prices_of_a_year() -> None:
    """Print the cost of a year of 15-minute prices for every shipped sheet."""
    print("a year of 15-minute prices / building that DatetimeIndex and reading hour, month and weekday")
    for name in shipped_sheets():
        tariff = load_tariff(name)
        alternative = fastest(lambda tariff=tariff: index_and_fields(tariff.timezone))
        ours = fastest(lambda tariff=tariff: tariff.prices("2026-01-01", "2027-01-01"))
        print(f"  {name:<16} {ours / alternative:5.2f}   ({1000 * ours:.1f} ms / {1000 * alternative:.1f} ms)")


def whole_process() -> None:
    """Print the cost of a whole run of the command."""

    def run(*command: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, *command], check=True, capture_output=True)

    pandas = fastest(run("-c", "import pandas"))
    ours = fastest(run("-m", "chargeplan", "tonight", "demo", "--now", "2026-11-25 20:00"))
    print("chargeplan tonight, the whole process / python -c 'import pandas'")
    print(f"  {'demo':<16} {ours / pandas:5.2f}   ({1000 * ours:.0f} ms / {1000 * pandas:.0f} ms)")


if __name__ == "__main__":
    prices_of_a_year()
    whole_process()
