"""The strategies draw what they promise: sheets that can be read, with every feature; loads of whole days."""

import json
from datetime import UTC, date, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import HealthCheck, Phase, find, given, seed, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.tariff import read_tariff
from chargeplan.testing.strategies import FEATURES, ZONES, loads, midnight, sheets

SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}
#: A word that a sheet has only with the feature, where it is not the feature's own name.
WORDS = {
    "price seasons": "price_season",
    "cents": "price_unit",
    "own hours": '"price":',
    "own periods": '"day"',
    "tiers": " up to ",
    "losses": '"counts"',
    "line rounding": '"rounding": "down"',
    "net metering": "net_metering",
    "periods": '"peak"',
}


@settings(max_examples=150, **SLOW)
@given(sheets())
def test_every_sheet_can_be_read(sheet):
    """A drawn sheet is plain data that JSON keeps, and is valid."""
    text = json.dumps(sheet)
    assert json.loads(text) == sheet
    assert read_tariff(text).timezone == sheet["timezone"]


def drawn(count, **options):
    found = []

    @seed(7)
    @settings(max_examples=count, phases=[Phase.generate], database=None, **SLOW)
    @given(sheets(**options))
    def collect(sheet):
        found.append(json.dumps(sheet))

    collect()
    return found


def test_every_feature_occurs():
    """Each feature is in some of the sheets, and a sheet without features is a name, a zone and prices."""
    texts = drawn(300)
    missing = [name for name in FEATURES if not any(WORDS.get(name, name) in text for text in texts)]
    assert missing == []
    keys = {key for text in drawn(20, features=()) for key in json.loads(text)}
    assert keys == {"name", "currency", "timezone", "prices"}


def test_an_unknown_feature_is_refused():
    with pytest.raises(InputError, match="`tires` is not a feature of sheets; known are periods"):
        find(sheets(features=["tires"]), lambda sheet: True)


@settings(max_examples=100, **SLOW)
@given(sheets(features=["clock", "versions"]), st.data())
def test_loads_are_whole_days(sheet, data):
    """A load begins and ends at midnight of the sheet's clock, has no gaps, and its values are exact sixteenths."""
    load = data.draw(loads(sheet, most_days=9))
    steps = load.index[1:] - load.index[:-1]
    assert load.index.tz is not None
    assert len(set(steps)) == 1
    step = steps[0]
    assert step in {pd.Timedelta(minutes=minutes) for minutes in (15, 30, 60)}
    hours = len(load) * (step / pd.Timedelta("1h"))
    assert abs(hours - 24 * round(hours / 24)) <= 1
    assert 1 <= round(hours / 24) <= 9
    parts = load.to_numpy() * 16 * (pd.Timedelta("1h") / step)
    assert np.array_equal(parts, parts.round())
    assert (load >= 0).all()
    if sheet.get("clock", "wall") == "wall":
        local = load.index[0].tz_convert(sheet["timezone"])
        assert (local.hour, local.minute) == (0, 0)


@pytest.mark.parametrize(
    ("clock", "day", "hour"),
    [
        ("wall", date(2026, 7, 1), 6),
        ("wall", date(2026, 1, 1), 7),
        ("standard", date(2026, 7, 1), 7),
        ("UTC", date(2026, 7, 1), 0),
        ("UTC-5", date(2026, 7, 1), 5),
        ({"forward": "first Sunday of April", "back": "last Sunday of October"}, date(2026, 3, 20), 7),
        ({"forward": "first Sunday of April", "back": "last Sunday of October"}, date(2026, 4, 6), 6),
        ({"forward": "first Sunday of April", "back": "last Sunday of October"}, date(2026, 10, 26), 7),
        ({"forward": "first Sunday of October", "back": "first Sunday of April"}, date(2026, 12, 1), 6),
    ],
)
def test_midnight(clock, day, hour):
    """Midnight in Denver by the clocks a sheet may follow; 6 and 7 hours behind UTC (IANA time zone database)."""
    sheet = {"timezone": "America/Denver", "clock": clock}
    assert midnight(sheet, day) == datetime(day.year, day.month, day.day, hour, tzinfo=UTC)


def test_zones_exist():
    assert all(ZoneInfo(zone).key == zone for zone in ZONES)
