"""The charges of a record for the highest power: by month, and by hour."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from chargeplan.drafting.fields import Fields
from chargeplan.drafting.hour_grid import HourGrid
from chargeplan.drafting.structures import Structure, check_limits, read_structure
from chargeplan.drafting.writing import clean_line, plain_number


@dataclass(frozen=True)
class Demand:
    """A charge for the highest power.

    Parameters
    ----------
    structure : tuple of Period
        Prices per kW.
    hours : HourGrid
        Which period each hour is in.
    unit : str
        ``kW`` or ``kVA``.
    daily : bool
        Whether it is charged for each day.
    window_min : int
        Time over which power is averaged.
    ratchet : Decimal or None
        Percentage of the highest demand of the past that is billed at least.
    """

    structure: Structure
    hours: HourGrid
    unit: Literal["kW", "kVA"] = "kW"
    daily: bool = False
    window_min: int = 60
    ratchet: Decimal | None = None


def read_flat_demand(fields: Fields) -> Demand | None:
    """Read the charge whose price depends on the month only."""
    if not fields.has("flatdemandstructure"):
        return None
    structure = read_structure(fields, "flatdemandstructure", ("demand",), energy=False)
    given = fields.get("flatdemandstructure")
    months = fields.month_numbers("flatdemandmonths", len(given) if isinstance(given, list) else 0)
    if structure is None or (months is None and fields.has("flatdemandmonths")):
        return None
    if months is None and len(structure) > 1:
        fields.note("left out", ("demand",), "a demand charge by months; the record does not say which months")
        return None
    if months is None:
        fields.note("assumed", ("demand",), "the demand charge holds in all months")
        months = (0,) * 12
    # Months with the same prices are one, whatever their numbers; each bill has one highest power.
    rows = [[structure.index(structure[number])] * 24 for number in months]
    return _demand(fields, structure, HourGrid.of(rows, rows), "flatdemand")


def read_timed_demand(fields: Fields) -> Demand | None:
    """Read the charge that has a price, and a highest power, for each period of the day."""
    if not fields.has("demandratestructure"):
        return None
    structure = read_structure(fields, "demandratestructure", ("demand",), energy=False)
    given = fields.get("demandratestructure")
    keys = "demandweekdayschedule", "demandweekendschedule"
    if not all(map(fields.has, keys)):
        if structure and any(price for period in structure for price in period.prices):
            fields.note("left out", ("demand",), "a demand charge by hours; the record does not say which hours")
        return None
    grids = [fields.grid(key, len(given) if isinstance(given, list) else 0) for key in keys]
    if structure is None or grids[0] is None or grids[1] is None:
        return None
    return _demand(fields, structure, HourGrid(grids[0], grids[1]), "demandrate")


def _demand(fields: Fields, structure: Structure, hours: HourGrid, name: str) -> Demand | None:
    used = {number: structure[number] for number in hours.numbers}
    if not any(price for period in used.values() for price in period.prices):
        return None  # a rate of 0 is the usual way to say that there is none
    check_limits(fields, f"{name}structure", structure, hours)
    unit = _unit(fields, f"{name}unit")
    if unit is None:
        return None
    return Demand(structure, hours, *unit, _window(fields), _ratchet(fields))


def _unit(fields: Fields, key: str) -> tuple[Literal["kW", "kVA"], bool] | None:
    """Read the unit of a demand; None for one that is not billed."""
    word = " ".join(fields.text(key).split()).lower()
    daily = word.endswith(" daily")
    if not word:
        fields.note("assumed", ("demand",), f"`{key}` is not given, so the price is taken as per kW")
    unit = word.removesuffix(" daily")
    if unit in ("", "kw"):
        return "kW", daily
    if unit == "kva":
        fields.note("assumed", ("demand",), "the demand is in kVA; state `power_factor:`, or kVA are taken to be kW")
        return "kVA", daily
    fields.note("left out", ("demand",), f"a demand charge per {clean_line(word, 20)} is not billed")
    return None


def _window(fields: Fields) -> int:
    place = ("demand",)
    value = fields.get("demandwindow")
    number = None if value is None else fields.number(("demandwindow",), value)
    if number is None:
        fields.note("assumed", place, "power is averaged over 60 min; the record does not say, and 15 min is common")
    elif number in (1, 5, 10, 15, 20, 30, 60):
        return int(number)
    else:
        fields.note("left out", place, f"power averaged over {plain_number(number)} min; 60 min is taken")
    return 60


def _ratchet(fields: Fields) -> Decimal | None:
    found = fields.months("demandratchetpercentage")
    if found is None or not any(found):
        return None
    if len(set(found)) == 1 and 1 < found[0] <= 100:
        text = "at least this share of the highest demand is billed; the record does not say of how many months: 12"
        fields.note("assumed", ("demand",), text)
        return found[0]
    shown = ", ".join(map(plain_number, found))
    fields.note("left out", ("demand",), f"a share of past demand that differs by months, in %: {shown}")
    return None
