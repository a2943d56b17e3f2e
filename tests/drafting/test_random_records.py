"""Random records: the drafted sheet says in every hour what the record says, and bills it alike."""

import itertools
from datetime import date

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from record_cases import EVENINGS, FLAT, assert_line, cells_of_year, drafted, numbers_of_year, record

from chargeplan.reading import read_document
from chargeplan.tariff.checks import failed_checks

AMOUNTS = st.integers(0, 4000).map(lambda n: n / 10_000)
SMALL = st.integers(-200, 900).map(lambda n: n / 10_000)


@st.composite
def structures(draw, count, unit):
    """Periods with one to three tiers; those with fewer list the first limits of the others."""
    limits = sorted(draw(st.sets(st.integers(1, 900), min_size=2, max_size=2)))
    found = []
    for _ in range(count):
        tiers = draw(st.integers(1, 3))
        period = []
        for n in range(tiers):
            tier = {"rate": draw(AMOUNTS), "unit": unit}
            if draw(st.booleans()):
                tier["adj"] = draw(SMALL)
            if n < tiers - 1:
                tier["max"] = limits[n] / (10 if unit == "kWh daily" else 1)
            elif draw(st.integers(0, 4)) == 0:
                tier["max"] = 1e38
            period.append(tier)
        found.append(period)
    if draw(st.booleans()):
        for tier in (tier for period in found for tier in period):
            tier["sell"] = draw(AMOUNTS)
    return found


@st.composite
def grids(draw, count):
    """Two tables of few different rows."""
    starts = st.lists(st.integers(1, 23), max_size=4, unique=True).map(sorted)
    rows = []
    for _ in range(draw(st.integers(1, 4))):
        edges = [0, *draw(starts), 24]
        row = []
        for begin, end in itertools.pairwise(edges):
            row += [draw(st.integers(0, count - 1))] * (end - begin)
        rows.append(row)
    choice = st.lists(st.integers(0, len(rows) - 1), min_size=12, max_size=12)
    return [[rows[n] for n in draw(choice)] for _ in range(2)]


@st.composite
def records(draw):
    count = draw(st.integers(1, 6))
    weekday, weekend = draw(grids(count))
    made = record(
        startdate=draw(st.sampled_from([None, 1420070400, 1430438400])),
        energyratestructure=draw(structures(count, draw(st.sampled_from(["kWh", "kWh daily"])))),
        energyweekdayschedule=weekday,
        energyweekendschedule=weekend,
        fixedchargefirstmeter=draw(AMOUNTS) * 100,
        fixedchargeunits=draw(st.sampled_from(["$/day", "$/month", "$/year"])),
        dgrules=draw(st.sampled_from([None, "Net Metering", "Net Billing Hourly", "Buy All Sell All"])),
    )
    if draw(st.booleans()):
        made["fueladjustmentsmonthly"] = draw(st.lists(st.sampled_from([0, 0.01, -0.005]), min_size=12, max_size=12))
    if draw(st.booleans()):
        made["flatdemandstructure"] = [[{"rate": n, "adj": 0.5}] for n in range(3)]
        made["flatdemandmonths"] = draw(st.lists(st.integers(0, 2), min_size=12, max_size=12))
    if draw(st.booleans()):
        made["demandratestructure"] = [[{"rate": 2 * n}] for n in range(count)]
        made["demandweekdayschedule"], made["demandweekendschedule"] = draw(grids(count))
    return made


@given(records())
def test_every_hour_of_a_year(raw):
    draft = drafted(raw)
    rates = draft.tariff.versions[0]
    numbers = numbers_of_year(raw["energyweekdayschedule"], raw["energyweekendschedule"], 2023)
    cells = cells_of_year(rates, 0, 2023)
    energy = rates.lines[0].cases[0]
    assert_line(energy.price, energy.limits, cells, numbers, raw["energyratestructure"])
    frame = draft.tariff.frame("2023-01-01", "2024-01-01", "1 h")
    fuel = np.array(raw.get("fueladjustmentsmonthly", [0.0] * 12))[frame.index.month - 1]
    first = [raw["energyratestructure"][n][0] for n in numbers]
    wanted = [tier["rate"] + tier.get("adj", 0) for tier in first]
    np.testing.assert_allclose(frame["price_per_kwh"], np.array(wanted) + fuel, rtol=0, atol=1e-9)
    used = [tier for n in set(numbers.tolist()) for tier in raw["energyratestructure"][n]]
    if any(tier.get("sell") for tier in used):
        np.testing.assert_allclose(frame["export_per_kwh"], [tier["sell"] for tier in first], rtol=0, atol=1e-9)
    for line in rates.demand:
        if line.name == "demand":
            rows = [[n] * 24 for n in raw["flatdemandmonths"]]
            found, structure = numbers_of_year(rows, rows, 2023), raw["flatdemandstructure"]
        else:
            tables = raw["demandweekdayschedule"], raw["demandweekendschedule"]
            found, structure = numbers_of_year(*tables, 2023), raw["demandratestructure"]
        assert_line(line.price, line.limits, cells_of_year(rates, line.table, 2023), found, structure)
    assert failed_checks(draft.tariff, read_document("a.yaml", text=draft.text)) == []


def slow_month(raw, month, loads):
    """The energy of a month's bill: hour by hour, each split where the running total passes a limit."""
    used = cost = 0.0
    days = pd.Period(f"2023-{month:02d}").days_in_month
    for stamp, kwh in loads.items():
        table = raw["energyweekendschedule"] if stamp.weekday() > 4 else raw["energyweekdayschedule"]
        tiers = raw["energyratestructure"][table[month - 1][stamp.hour]]
        left = kwh
        for position, tier in enumerate(tiers):
            daily = days if tier["unit"] == "kWh daily" else 1
            end = tier["max"] * daily if position < len(tiers) - 1 else np.inf
            part = min(left, max(0.0, end - used))
            cost += part * (tier["rate"] + tier.get("adj", 0))
            used, left = used + part, left - part
    return cost


@settings(max_examples=15)
@given(records(), st.integers(1, 12), st.randoms(use_true_random=False))
def test_bills_of_a_month(raw, month, rng):
    """One running total over all periods of the month decides the tier; under net metering it is another rule."""
    raw = {**raw, "dgrules": None}
    start = pd.Timestamp(2023, month, 1, tz="UTC")
    stamps = pd.date_range(start, start + pd.offsets.MonthBegin(), freq="h", inclusive="left")
    loads = pd.Series([rng.choice([0.0, 0.2, 1.5, 4.0]) for _ in stamps], index=stamps)
    sheet = drafted(raw).tariff
    (bill,) = sheet.bills(loads)
    assert float(bill.lines["energy"]) == pytest.approx(slow_month(raw, month, loads), abs=0.08)


@given(records(), st.sampled_from(["America/Denver", "Australia/Sydney", "America/Phoenix"]))
@settings(max_examples=25)
def test_local_hours_and_holidays(raw, zone):
    """Holidays take Sunday's rows; hours are those of the wall clock, also when it changes."""
    draft = drafted(raw, timezone=zone, holidays=["Jul 4", "Dec 25", "last Monday of May"])
    frame = draft.tariff.frame("2024-01-01", "2025-01-01", "1 h")
    free = {date(2024, 7, 4), date(2024, 12, 25), date(2024, 5, 27)}
    wanted = []
    for stamp in frame.index:
        weekend = stamp.weekday() > 4 or stamp.date() in free
        table = raw["energyweekendschedule" if weekend else "energyweekdayschedule"]
        tier = raw["energyratestructure"][table[stamp.month - 1][stamp.hour]][0]
        wanted.append(tier["rate"] + tier.get("adj", 0) + raw.get("fueladjustmentsmonthly", [0] * 12)[stamp.month - 1])
    np.testing.assert_allclose(frame["price_per_kwh"], wanted, rtol=0, atol=1e-9)
    assert failed_checks(draft.tariff, read_document("a.yaml", text=draft.text)) == []


def test_moved_boundaries_hold_for_energy_and_demand():
    raw = record(
        demandratestructure=[[{"rate": 0}], [{"rate": 5}]], demandweekdayschedule=EVENINGS, demandweekendschedule=FLAT
    )
    sheet = drafted(raw, edges={"16": "16:30", "21:00": "20:45"}).tariff
    prices = sheet.prices("2023-07-05", "2023-07-06", "15 min")
    assert (prices.between_time("16:30", "20:30") == 0.315).all()
    assert (prices.between_time("20:45", "16:15") == 0.115).all()
    load = pd.Series(0.0, pd.date_range("2023-07-01", "2023-08-01", freq="15min", tz="UTC", inclusive="left"))
    load["2023-07-05 16:15"], load["2023-07-05 17:00"] = 3.0, 1.0
    (bill,) = sheet.bills(load)
    assert float(bill.lines["time-of-use demand"]) == 5.0  # 1 kWh within the hour; the 3 kWh lie before it


def test_demand_in_detail():
    """Window, ratchet, per day and kVA are carried into the sheet."""
    raw = record(
        flatdemandstructure=[[{"rate": 5, "adj": 0.5, "max": 10}, {"rate": 6}]],
        flatdemandunit="kVA daily",
        demandwindow=15,
        demandratchetpercentage=[80] * 12,
    )
    (line,) = drafted(raw).tariff.versions[0].demand
    assert (line.interval_s, line.per, line.unit, line.floor.share, line.floor.months) == (900, "day", "kVA", 0.8, 12)
    assert line.price[:, 0, 0].tolist() == [5.5, 6.0]
    assert line.limits.tolist() == [[10.0]]
