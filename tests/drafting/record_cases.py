"""Invented records, and what a record says hour by hour, read from the raw mapping without the library's reader."""

import copy
import json
import os
from datetime import date, timedelta
from pathlib import Path

import numpy as np

from chargeplan.drafting.draft import draft_sheet

FLAT = [[0] * 24] * 12
SUMMER_PEAK = [[0] * 24] * 5 + [[0] * 14 + [1] * 5 + [0] * 5] * 3 + [[0] * 24] * 4
EVENINGS = [[0] * 16 + [1] * 5 + [0] * 3] * 12
FOLDER = Path(os.environ.get("CHARGEPLAN_REFERENCE", "")) / "rates"
HAS_REFERENCE = "CHARGEPLAN_REFERENCE" in os.environ and (FOLDER / "INDEX.yaml").exists()
NO_REFERENCE = "open rate records are not here: CHARGEPLAN_REFERENCE does not name a folder that has them"

#: A record of an invented utility, with much of what a record can hold.
RIDGELINE = {
    "label": "5f00000000000000000000a1",
    "utility": "Ridgeline Valley Power",
    "name": "Home time-of-use",
    "sector": "Residential",
    "servicetype": "Bundled",
    "approved": True,
    "startdate": 1546322400,  # 1 January 2019, 06:00 UTC
    "energyratestructure": [
        [{"rate": 0.10, "adj": 0.015, "unit": "kWh"}],
        [{"rate": 0.30, "adj": 0.015, "unit": "kWh"}],
    ],
    "energyweekdayschedule": EVENINGS,
    "energyweekendschedule": FLAT,
    "fixedchargefirstmeter": 12.5,
    "fixedchargeunits": "$/month",
}


def record(**changes):
    """The invented record with other fields; None takes one out."""
    changed = {**copy.deepcopy(RIDGELINE), **changes}
    return {key: value for key, value in changed.items() if value is not None}


#: Much of what a record can hold, at once.
WHOLE = record(
    energyratestructure=[
        [
            {"rate": 0.1, "adj": 0.01, "max": 300, "unit": "kWh", "sell": 0.05},
            {"rate": 0.2, "unit": "kWh", "sell": 0.04},
        ],
        [{"rate": 0.3, "max": 300, "unit": "kWh", "sell": 0.05}, {"rate": 0.4, "unit": "kWh", "sell": 0.05}],
    ],
    flatdemandstructure=[[{"rate": 5, "max": 10}, {"rate": 6}], [{"rate": 7}]],
    flatdemandmonths=[0] * 5 + [1] * 4 + [0] * 3,
    flatdemandunit="kW",
    demandratestructure=[[{"rate": 0}], [{"rate": 4.5}]],
    demandweekdayschedule=EVENINGS,
    demandweekendschedule=FLAT,
    demandrateunit="kW daily",
    demandwindow=15,
    demandratchetpercentage=[80] * 12,
    fueladjustmentsmonthly=[0.01] * 6 + [0.02] * 6,
    mincharge=15,
    minchargeunits="$/month",
    dgrules="Net Billing Hourly",
    energyattrs=[{"Discount": "$-0.1"}],
    description="A description.\r\nWith: two lines # and marks",
    enddate=1609372800,
    usenetmetering=False,
)


def content(data):
    """A record as a file holds it."""
    return json.dumps(data).encode()


def drafted(data, timezone="UTC", **options):
    return draft_sheet(data if isinstance(data, bytes) else content(data), timezone=timezone, **options)


def raw_of(path):
    """The mapping of a record, unwrapped by hand."""
    data = json.loads(path.read_text(encoding="utf-8"))
    data = json.loads(data) if isinstance(data, str) else data
    return data["items"][0] if "items" in data else data


def days_of(year):
    first = date(year, 1, 1)
    return [first + timedelta(days=n) for n in range((date(year + 1, 1, 1) - first).days)]


def numbers_of_year(weekday, weekend, year):
    """Number of the period of every hour of a year."""
    return np.concatenate(
        [[int(n) for n in (weekend if d.weekday() > 4 else weekday)[d.month - 1]] for d in days_of(year)]
    )


def tiers_of(period, names=("rate", "adj")):
    """Prices and limits of a raw period; the last tier has no limit."""
    prices = [sum(tier.get(name) or 0 for name in names) for tier in period]
    return prices, [tier["max"] for tier in period[:-1]]


def cells_of_year(rates, table, year):
    """Season and period of every hour of a year, from the compiled calendar."""
    days = days_of(year)
    first = (days[0] - date(1970, 1, 1)).days
    pattern = rates.tables[table].calendar.patterns(first - 1, first + len(days) - 1)
    hours = rates.tables[table].table
    code = hours.code.reshape(-1, 1440)[hours.row(pattern[:-1], pattern[1:])]
    assert (code >= 0).all()
    assert (code.reshape(len(days), 24, 60) == code[:, ::60, None]).all()
    season = np.repeat(rates.tables[table].calendar.season_of(pattern[1:]), 24)
    return season, code[:, ::60].ravel()


def assert_line(price, limits, cells, numbers, structure, names=("rate", "adj")):
    """Hold the compiled prices of one line to the raw structure, in every hour of a year."""
    for season, period, number in {*zip(*(part.tolist() for part in (*cells, numbers)), strict=True)}:
        prices, ends = tiers_of(structure[number], names)
        found = [*limits[season][np.isfinite(limits[season])]]
        assert found[: len(ends)] == ends
        count = price.shape[0]
        wanted = [*prices, *[prices[-1]] * (count - len(prices))][:count]
        np.testing.assert_allclose(price[:, season, period], wanted, rtol=0, atol=1e-12)
