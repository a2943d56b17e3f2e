"""Warnings about household and panel files: what can be so, but hardly is meant."""

import pytest
from household_cases import changed

from chargeplan.household import read_household
from chargeplan.household.doubts import doubts_of, doubts_of_panel
from chargeplan.household.panel_file import load_panel
from chargeplan.reading import read_document

PANEL = """name: Two cars
timezone: America/Denver
circuits: {panel: {breaker: 100 A}, garage: {breaker: 50 A, fed_by: panel}}
other_load: {panel: OTHER}
cars: [{household: demo, fed_by: garage, name: left}]
"""


def said(*changes, name="demo"):
    text = changed(*changes, name=name)
    return [str(doubt) for doubt in doubts_of(read_household(text), read_document("home.yaml", text=text))]


@pytest.mark.parametrize("name", ["demo", "plain-outlet", "three-phase"])
def test_the_examples_leave_no_doubt(name):
    assert said(name=name) == []


@pytest.mark.parametrize(
    ("change", "place", "words"),
    [
        (
            ("26.4 kWh/100 mi", "264 kWh/100 mi"),
            ":16:3: ",
            "264 kWh/100 mi is far more than a car uses; most use 25 to",
        ),
        (
            ("daily_limit: 90 %", "daily_limit: 70 %"),
            ":18:3: ",
            "daily limit of 70 % is below the usual target of 80 %",
        ),
        (("timezone: America/Denver", "timezone: America/Chicago"), ":3:1: ", "by the clock of America/Chicago, its"),
        (
            ("days: Tue, Thu", "days: Thu, Sun"),
            ":29:5: ",
            "the stop at workplace is never made on Sunday, when the car",
        ),
    ],
)
def test_each_doubt_has_its_place(change, place, words):
    """One change each, one warning each, at the line and column of the value."""
    (doubt,) = said(change)
    assert doubt.startswith(f"home.yaml{place}")
    assert words in doubt


def test_two_names_of_one_clock_are_no_doubt():
    """Boise has kept the clock of Denver since 1974 (IANA time zone database)."""
    assert said(("timezone: America/Denver", "timezone: America/Boise")) == []


@pytest.mark.parametrize("unit", ["60 kWh/100 km", "96 kWh/100 mi"])
def test_a_heavy_car_is_no_doubt(unit):
    """60 kWh/100 km are 96.6 kWh/100 mi."""
    assert said(("26.4 kWh/100 mi", unit)) == []


@pytest.mark.parametrize(
    ("other", "words"),
    [
        ("{00:00: 5 A, 17:30: 120 A, 21:00: 8 A}", ["120 A at 17:30 is more than the 80 A that `panel` may carry"]),
        ("81 A", ["81 A is more than the 80 A"]),
        ("80 A", []),
    ],
)
def test_other_load_above_the_circuit(tmp_path, other, words):
    """80 % of a 100 A breaker are 80 A."""
    path = tmp_path / "panel.yaml"
    path.write_text(PANEL.replace("OTHER", other), encoding="utf-8")
    doubts = [str(doubt) for doubt in doubts_of_panel(load_panel(path), read_document(path))]
    assert len(doubts) == len(words)
    for doubt, text in zip(doubts, words, strict=True):
        assert ":4:14: " in doubt
        assert text in doubt
