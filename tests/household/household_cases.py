"""Households for the tests: the examples and how to change them, and random ones with their limits by hand."""

import math

import pytest
import yaml
from hypothesis import strategies as st

from chargeplan.errors import FileError
from chargeplan.household import read_household
from chargeplan.household.household import example_folder

EXAMPLES = ("demo", "plain-outlet", "three-phase")
SHEETS = (
    *("drei-zeiten", "flat", "half-hours", "night-owl", "summer-peak", "two-period", "winter-evenings"),
    *("minutes.yaml", "changes.yaml"),
)
#: With an offset of half hours, and with a clock change of half an hour, among them.
ZONES = ("America/Denver", "Europe/Vienna", "America/Los_Angeles", "Asia/Kolkata", "Australia/Lord_Howe")

#: Periods that begin and end at odd minutes.
MINUTES = """
name: Odd minutes
currency: USD
timezone: America/Denver
periods: {dear: "06:13-09:41, 17:07-21:29", cheap: "01:01-04:44 on weekdays", between: rest}
prices: {dear: 0.4411, cheap: 0.0907, between: 0.2113}
"""
#: Changes its prices and hours on two dates.
CHANGES = """
name: Changes
currency: EUR
timezone: Europe/Vienna
effective: 2026-01-01
periods: {peak: "07:00-20:00 on weekdays", low: rest}
prices: {peak: 0.31, low: 0.19}
versions:
  - {from: 2026-07-01, prices: {peak: 0.35, low: 0.14}}
  - {from: 2026-11-15, periods: {peak: "22:00-06:00", low: rest}}
"""


def text_of(name):
    """The text of an example household."""
    return (example_folder() / f"{name}.yaml").read_text(encoding="utf-8")


def changed(*changes, name="demo"):
    """An example with some of its text replaced."""
    text = text_of(name)
    for old, new in changes:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in {name}"
        text = text.replace(old, new)
    return text


def mistakes_of(text, name="home.yaml"):
    """The mistakes of a household file as they are printed, one string each."""
    with pytest.raises(FileError) as caught:
        read_household(text, name)
    lines = [str(mistake) for mistake in caught.value.mistakes]
    assert lines == str(caught.value).splitlines(), "one line for every mistake"
    return lines


def write_sheets(folder):
    """Put the rate sheets of these tests into a folder; households that name them stand beside them."""
    (folder / "minutes.yaml").write_text(MINUTES, encoding="utf-8")
    (folder / "changes.yaml").write_text(CHANGES, encoding="utf-8")


def read_sheet(sheet, folder):
    """Read a household given as plain data."""
    return read_household(yaml.safe_dump(sheet), str(folder / "random.yaml"))


def clock(minute):
    return f"{minute // 60:02d}:{minute % 60:02d}"


@st.composite
def circuits(draw):
    """A circuit as its owner writes it."""
    circuit = {"breaker": f"{draw(st.sampled_from([40, 50, 60, 32, 30, 20, 16, 15, 13, 100, 8]))} A"}
    if draw(st.booleans()):
        circuit["continuous_factor"] = draw(st.sampled_from(["100 %", "80 %", "0.75"]))
    if draw(st.integers(0, 3)) == 0:
        circuit["phases"] = 3
        if draw(st.booleans()):
            circuit["volts_to_neutral"] = f"{draw(st.integers(110, 277))} V"
        else:
            circuit["volts_between_phases"] = f"{draw(st.integers(200, 480))} V"
    else:
        circuit["volts"] = f"{draw(st.integers(100, 250))} V"
    return circuit


@st.composite
def vehicles(draw, *, taper):
    """A car as its owner writes it."""
    vehicle = {
        "usable_battery": f"{draw(st.integers(10, 60) | st.integers(10, 120))} kWh",
        "consumption": draw(st.sampled_from(["26.4 kWh/100 mi", "15.8 kWh/100 km", "4 mi/kWh", "200 Wh/km"])),
        "measured_at": draw(st.sampled_from(["wall", "battery"])),
    }
    onboard = draw(st.sampled_from([None, "7.7 kW", "11 kW", "3.6 kW", "32 A", "15.5 A", "22 kW"]))
    if onboard is not None:
        vehicle["onboard_charger"] = onboard
    phases = draw(st.sampled_from([None, 1, 2, 3]))
    if phases is not None:
        vehicle["onboard_phases"] = phases
    if draw(st.booleans()):
        vehicle["losses"] = {
            level: {
                "efficiency": f"{draw(st.integers(80, 100))} %",
                "overhead": f"{draw(st.integers(0, 400))} W",
            }
            for level in ("level 1", "level 2", "three-phase")
        }
    if draw(st.booleans()):
        vehicle["daily_limit"] = f"{draw(st.integers(50, 100))} %"
    if taper:
        # Concave: constant, then falling ever more steeply.
        top, knee, end = draw(st.integers(4, 22)), draw(st.integers(40, 90)), draw(st.integers(1, 4))
        vehicle["taper"] = {"0 %": f"{top} kW", f"{knee} %": f"{top} kW", "100 %": f"{end} kW"}
    return vehicle


@st.composite
def sheets(draw, *, taper=False, tariffs=SHEETS):
    """A household as plain data, as its YAML would be read."""
    maximum = draw(st.integers(16, 48) | st.integers(6, 80))
    evse = {"max_current": f"{maximum} A"}
    if draw(st.booleans()):
        evse["min_current"] = f"{draw(st.integers(6, maximum))} A"
    if draw(st.booleans()):
        evse["step"] = draw(st.sampled_from(["0.1 A", "0.5 A", "1 A", "2 A"]))
    plug_in = draw(st.integers(0, 1439))
    leave = (plug_in + draw(st.integers(1, 1439) | st.integers(540, 900))) % 1440
    target = draw(st.integers(1, 100) | st.integers(60, 100))
    sheet = {
        "name": "Random household",
        "timezone": draw(st.sampled_from(ZONES)),
        "tariff": draw(st.sampled_from(tariffs)),
        "circuit": draw(circuits()),
        "evse": evse,
        "vehicle": draw(vehicles(taper=taper)),
        "habits": {
            "plug_in": clock(plug_in),
            "leave": clock(leave),
            "distance": draw(st.sampled_from(["0 mi", "29 mi", "47 km", "120 mi"])),
            "target": f"{target} %",
            "floor": f"{draw(st.integers(0, min(target, 30)))} %",
        },
        "prefer": draw(st.sampled_from(["earliest", "latest"])),
    }
    if (
        evse.get("min_current")
        and evse.get("step") == "2 A"
        and math.floor(maximum / 2) * 2 < int(evse["min_current"].split()[0])
    ):
        del evse["min_current"]  # no step between the two: a mistake, tested elsewhere
    return sheet


def number(text):
    """The number of a quantity, percentages as shares."""
    value = float(text.split()[0].rstrip("%"))
    return value / 100 if "%" in text else value


def volts_to_neutral(circuit):
    """Voltage that drives the current of one phase; between phases it is sqrt(3) times as high."""
    if "volts_between_phases" in circuit:
        return number(circuit["volts_between_phases"]) / math.sqrt(3)
    return number(circuit.get("volts_to_neutral") or circuit["volts"])


def phases_used(sheet):
    """Phases that circuit and car both have."""
    return min(sheet["circuit"].get("phases", 1), sheet["vehicle"].get("onboard_phases", 3))


def most_amperes(sheet):
    """The least of what circuit (NFPA 70, 210.20(A): 80 % unless stated), EVSE and onboard charger take, in A."""
    circuit, vehicle = sheet["circuit"], sheet["vehicle"]
    continuous = number(circuit["breaker"]) * number(circuit.get("continuous_factor", "80 %"))
    limits = [continuous, number(sheet["evse"]["max_current"])]
    onboard = vehicle.get("onboard_charger")
    if onboard is not None and onboard.endswith("kW"):
        # kW of a charger with more phases are shared out evenly over them.
        spread = vehicle.get("onboard_phases", circuit.get("phases", 1))
        limits.append(1000 * number(onboard) / (spread * volts_to_neutral(circuit)))
    elif onboard is not None:
        limits.append(number(onboard))
    return min(limits)
