"""What can be so in a household or panel file, but hardly is meant: warnings, which do not make a file bad."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

import numpy as np

from chargeplan.errors import Mistake
from chargeplan.household.habits import NO_DEPARTURE
from chargeplan.household.household import Household, Stop
from chargeplan.household.panel_file import Panel
from chargeplan.reading import Document
from chargeplan.units import KM_PER_MILE, clock_text

#: No car with four wheels of today uses as much, not even with a trailer in winter.
MOST_KWH_PER_100KM: Final = 60.0
_DAY_NAMES: Final = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
#: A year in which the clocks are compared.
_YEAR: Final = 2026


def doubts_of(home: Household, document: Document) -> list[Mistake]:
    """Find what of a household file is to be looked at again.

    Parameters
    ----------
    home : Household
        What was read.
    document : Document
        The file, for the places.

    Returns
    -------
    list of Mistake
        In the order of the keys; none of them keeps the file from being used.

    Examples
    --------
    >>> from chargeplan.household.household import example_folder, load_household
    >>> from chargeplan.reading import read_document
    >>> doubts_of(load_household("demo"), read_document(example_folder() / "demo.yaml"))
    []
    """
    found = []
    if _clocks_differ(home.timezone, home.tariff.timezone):
        what = f"the household lives by the clock of {home.timezone}, its rate sheet by that of {home.tariff.timezone}"
        found.append(document.mistake(("timezone",), what, "make them the same, unless it is so"))
    found += [document.mistake(("evse",), caution) for caution in home.limit.warnings]
    used = home.vehicle.consumption.kwh_per_100km
    if used > MOST_KWH_PER_100KM:
        mine = f"{used * KM_PER_MILE:.0f} kWh/100 mi" if home.distance_unit == "mi" else f"{used:.0f} kWh/100 km"
        usual = "25 to 40 kWh/100 mi" if home.distance_unit == "mi" else "15 to 25 kWh/100 km"
        what = f"{mine} is far more than a car uses"
        found.append(document.mistake(("vehicle", "consumption"), what, f"most use {usual}; check number and unit"))
    limit, target = home.vehicle.daily_limit, home.habits.target
    if limit < target - 1e-9:
        what = f"the daily limit of {100 * limit:g} % is below the usual target of {100 * target:g} %, which wins"
        remedy = "lower the target under `habits`, or raise `daily_limit`"
        found.append(document.mistake(("vehicle", "daily_limit"), what, remedy))
    for number, stop in enumerate(home.stops):
        if days := _days_at_home(home, stop):
            what = f"the stop at {stop.place} is never made on {days}, when the car stays home"
            found.append(document.mistake(("stops", number, "days"), what, "change `days`, or `leave` under `habits`"))
    return found


def doubts_of_panel(panel: Panel, document: Document) -> list[Mistake]:
    """Find what of the file of a panel is to be looked at again.

    Parameters
    ----------
    panel : Panel
        What was read.
    document : Document
        The file, for the places.

    Returns
    -------
    list of Mistake
        None of them keeps the file from being used.
    """
    found = [document.mistake(("circuits",), caution) for caution in panel.tree.warnings]
    for node, limits in zip(panel.tree.nodes, panel.tree.limit_a, strict=True):
        other = np.array(panel.other_a.get(node.name, (0.0,)))
        least = float(np.min(limits))
        if other.max() > least:
            at = "" if other.min() == other.max() else f" at {clock_text(int(other.argmax()))}"
            what = f"{other.max():g} A{at} is more than the {least:g} A that `{node.name}` may carry for hours"
            remedy = "check the amperes; while it is so, no car below it can be charged"
            found.append(document.mistake(("other_load", node.name), what, remedy))
    return found


def _days_at_home(home: Household, stop: Stop) -> str:
    days = [day for day in sorted(stop.days.weekdays) if home.habits.leave.on(day) == NO_DEPARTURE]
    return " and ".join(_DAY_NAMES[day] for day in days)


def _clocks_differ(one: str, other: str) -> bool:
    """Tell whether two zones show different times on some day of a year."""
    return one != other and any(ZoneInfo(one).utcoffset(t) != ZoneInfo(other).utcoffset(t) for t in _noons())


def _noons() -> Iterator[datetime]:
    first = datetime(_YEAR, 1, 1, 12)
    return (first + timedelta(days=day) for day in range(365))
