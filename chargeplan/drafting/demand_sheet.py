"""What a sheet says of the charges of a record for the highest power."""

from __future__ import annotations

from typing import Any

from chargeplan.drafting.demand import Demand
from chargeplan.drafting.energy_sheet import hours_data, price_table, words_of
from chargeplan.drafting.record import Record
from chargeplan.drafting.terms import DraftTerms
from chargeplan.drafting.writing import plain_number


def demand_data(record: Record, terms: DraftTerms) -> dict[str, Any]:
    """Say what the highest power costs.

    Parameters
    ----------
    record : Record
        The record.
    terms : DraftTerms
        What was given with it.

    Returns
    -------
    dict
        `demand` with a line for the charge by month and one for the charge by hour; empty without.
    """
    lines = {"demand": record.flat_demand, "time-of-use demand": record.timed_demand}
    found = {name: _line(demand, record, terms) for name, demand in lines.items() if demand is not None}
    return {"demand": found} if found else {}


def _line(demand: Demand, record: Record, terms: DraftTerms) -> dict[str, Any]:
    words = words_of(demand.hours, demand.structure, record, terms)
    table = price_table(words, demand.structure)
    hours = hours_data(words)
    by_season = isinstance(table, dict) and any(season in table for season in words.seasons)
    if not by_season and not any(" in " in window for windows in words.periods.values() for window in windows):
        hours.pop("seasons", None)  # nothing differs between them
    line: dict[str, Any] = {**hours, "prices" if isinstance(table, dict) else "price": table}
    if demand.window_min != 60:
        line["interval"] = f"{demand.window_min} min"
    if demand.daily:
        line["per"] = "day"
    if demand.unit != "kW":
        line["unit"] = demand.unit
    if demand.ratchet is not None:
        line["at_least"] = f"{plain_number(demand.ratchet)} % of the last 12 months"
    return line
