"""Bills of random sheets for random loads, against the slow bill of `bill_oracle`, item by item, to the cent.

What an item stands for is taken from its own label: an item without a period, season, tier or version covers all of
them. The exact amounts that the slow bill finds for these are summed and rounded as the sheet says; every amount has to
belong to exactly one item.
"""

import json
import os
from datetime import date, timedelta
from fractions import Fraction
from pathlib import Path

import pandas as pd
import pytest
import yaml
from bill_oracle import Cell, Oracle, rows_of
from hypothesis import HealthCheck, assume, event, given, settings
from hypothesis import strategies as st

from chargeplan.tariff import read_tariff
from chargeplan.testing.strategies import FEATURES, loads, midnight, sheets

#: Examples per theme; more for a long run by hand.
EXAMPLES = int(os.environ.get("CHARGEPLAN_EXAMPLES", "100"))
SLOW = {"deadline": None, "suppress_health_check": list(HealthCheck)}
CALENDAR = ("periods", "seasons", "holidays", "versions", "overrides", "clock", "price seasons", "called")
THEMES = {
    "everything": FEATURES,
    "calendar": (*CALENDAR, "cents", "components", "own hours", "own periods", "adders", "export"),
    "tiers": ("periods", "seasons", "versions", "overrides", "components", "tiers", "all units", "cases", "losses"),
    "tiers and losses": ("periods", "components", "tiers", "losses", "line rounding", "own hours", "own periods"),
    "demand": ("periods", "seasons", "holidays", "versions", "overrides", "demand", "billing"),
    "other lines": ("versions", "overrides", "fixed", "minimum", "credits", "taxes", "export", "billing", "adders"),
    "net metering": ("periods", "seasons", "components", "own hours", "tiers", "net metering", "taxes", "billing"),
}
RELATED = ("minimum", "credit", "tax", "carried")


def covers(item, cell):
    """Tell whether a printed item may stand for a cell: what its label says is true of the cell."""
    mine, theirs = (item.period, item.season), (cell.period, cell.season)
    return (
        (item.name, item.kind) == (cell.name, cell.kind)
        and (item.tier in (0, cell.tier) or cell.tier == 0)
        and all(not own or own == other for own, other in zip(mine, theirs, strict=True))
    )


def items_of(items, cell, cells):
    """Find the item that a cell belongs to; of several, the one with its price; of equal ones, in the order of time."""
    found = [item for item in items if covers(item, cell)]
    found = [item for item in found if item.tier == cell.tier] or found
    if len(found) > 1 and cell.tier == 0:
        found = [item for item in found if item.tier < 2]
    if len(found) > 1:
        found = [item for item in found if item.price == pytest.approx(float(cell.price), rel=1e-9)] or found
    if len(found) > 1:  # the label of the fewest cells
        most = max(sum(map(bool, (item.period, item.season))) for item in found)
        found = [item for item in found if sum(map(bool, (item.period, item.season))) == most]
    if len(found) > 1:
        # A version that says another rounding has an item of its own, so it is told apart by its date as well.
        same = {"version": "", "rounding": ""}
        alike = [other.version for other in cells if other._replace(**same) == cell._replace(**same)]
        found = found[alike.index(cell.version) :]
    return found


def check_items(oracle, bill, cells):
    """Compare the items that depend on no other line; return them with their exact amounts and own rounding."""
    items = [item for item in bill.items if item.kind not in RELATED and item.name != "surplus"]
    sums, rounding = [Fraction(0)] * len(items), [""] * len(items)
    for cell, amount in cells.items():
        found = items_of(items, cell, cells)
        assert found or amount == 0, f"{cell} of {float(amount)} is in no item"
        if found:
            place = next(n for n, item in enumerate(items) if item is found[0])
            sums[place] += amount
            rounding[place] = cell.rounding
    return list(zip(items, sums, rounding, strict=True))


def check_bill(sheet, bill, cells, oracle, credit=Fraction(0)):
    """Compare every item, every line and the total; return the lines that the slow bill finds."""
    exact = check_items(oracle, bill, cells)
    lines, total = oracle.settle([(item.name, item.kind, *rest) for item, *rest in exact], credit)
    assume(min(oracle.ties, default=1) > 1e-7)
    for item, amount, rounding in exact:
        assert float(item.amount) == pytest.approx(float(oracle.rounded(amount, rounding)), abs=1e-7), item
    found = {}
    for item in bill.items:
        found[item.name] = found.get(item.name, 0) + item.amount
    assert {name for name, amount in lines.items() if amount} <= set(found)
    for name, amount in found.items():
        assert float(amount) == pytest.approx(float(lines[name]), abs=1e-7), name
    assert float(bill.total) == pytest.approx(float(total), abs=1e-7)
    return lines


def bill_slowly(sheet, load, export=None):
    oracle = Oracle(sheet)
    rows = rows_of(load, export)
    step_min = int((load.index[1] - load.index[0]).total_seconds()) // 60
    start, end = (oracle.clock(rows[n][0]).date() for n in (0, -1))
    return oracle, oracle.cells(rows, step_min, oracle.grid(), start, end)


def count_events(sheet, load, bill, oracle):
    """Note what the example had, for `--hypothesis-show-statistics`."""
    days = (oracle.end - oracle.start).days + 1
    event(f"days: {'1-3' if days < 4 else '4-27' if days < 28 else '28-70'}")
    for key in (*CALENDAR, "adders", "fixed", "demand", "minimum", "credits", "taxes", "export", "net_metering"):
        if key in sheet:
            event(f"has {key}")
    if len({oracle.version(oracle.start + timedelta(days=n)) for n in range(days)}) > 1:
        event("bill crosses a version or an override")
    if len({start.utcoffset() for start in load.index.tz_convert(sheet["timezone"])}) > 1:
        event("bill crosses a clock change")
    if max((item.tier for item in bill.items), default=0) > 1:
        event("a second tier is reached")
    for word in ("all units", "cases", "with losses", "starting", "own", "% of", "by_use", "unused", "at_least", "UTC"):
        if word in str(sheet):
            event(f"says {word}")
    if oracle.month_count.denominator == 1:
        event("whole months")


@pytest.mark.parametrize("theme", THEMES)
def test_random_bills(theme):
    """Every item and the total are what the slow bill finds."""

    @settings(max_examples=EXAMPLES, **SLOW)
    @given(sheets(features=THEMES[theme]), st.data())
    def check(sheet, data):
        load = data.draw(loads(sheet, steps_min=(30, 60, 60) if theme != "demand" else (15, 30, 60)))
        sold = None
        if "net_metering" in sheet or "export" in sheet or "export_components" in sheet:
            sold = load.shift(7, fill_value=0.0) * data.draw(st.sampled_from([0.25, 1.0, 1.5]))
        tariff = read_tariff(json.dumps(sheet))
        bill = tariff.bill(load, export=sold)
        oracle, cells = bill_slowly(sheet, load, sold)
        assert (bill.start, bill.end) == (oracle.start, oracle.end)
        check_bill(sheet, bill, cells, oracle)
        count_events(sheet, load, bill, oracle)

    check()


@settings(max_examples=EXAMPLES, **SLOW)
@given(
    sheets(features=("seasons", "versions", "components", "tiers", "all units", "cases", "fixed", "billing")), st.data()
)
def test_bills_of_a_number(sheet, data):
    """A number of kWh is spread over the days of the bill."""
    start = date(2026, 1, 1) + timedelta(days=data.draw(st.integers(0, 600)))
    days = data.draw(st.integers(1, 70))
    use_kwh = data.draw(st.integers(0, 12_000)) / 8
    bill = read_tariff(json.dumps(sheet)).bill(use_kwh, start=start, end=start + timedelta(days=days - 1))
    oracle = Oracle(sheet)
    noons = [midnight(sheet, start + timedelta(days=n)) + timedelta(hours=12) for n in range(days)]
    rows = [(noon, Fraction(use_kwh) / days, Fraction(0)) for noon in noons]
    check_bill(sheet, bill, oracle.cells(rows, 60, 60, start, bill.end, in_proportion=True), oracle)


@settings(max_examples=EXAMPLES // 2, **SLOW)
@given(sheets(features=("periods", "components", "net metering", "taxes")), st.data())
def test_credit_carried_from_bill_to_bill(sheet, data):
    """What one bill of net metering carries on, the next one uses."""
    load = data.draw(loads(sheet, most_days=70, steps_min=(60,)))
    sold = load.shift(5, fill_value=0.0) * data.draw(st.sampled_from([0.5, 1.5, 3.0]))
    sold.iloc[len(sold) // 2 :] = 0.0
    bills = list(read_tariff(json.dumps(sheet)).bills(load, export=sold))
    local = load.index.tz_convert(sheet["timezone"])
    credit = surplus_kwh = Fraction(0)
    assert sum(bill.days for bill in bills) == len(set(local.date))
    for bill in bills:
        here = (local.date >= bill.start) & (local.date <= bill.end)
        oracle, cells = bill_slowly(sheet, load[here], sold[here])
        oracle.surplus += surplus_kwh
        check_bill(sheet, bill, cells, oracle, credit)
        if "net_metering" in sheet:
            event(f"carries credit on: {oracle.left > 0}")
            credit, surplus_kwh = oracle.left, oracle.surplus


@settings(max_examples=EXAMPLES // 8, **SLOW)
@given(st.lists(st.integers(0, 400), min_size=5, max_size=9), st.sampled_from(["", " in winter"]), st.integers(1, 28))
def test_demands_of_the_past(peaks, season, reading_day):
    """A share of the highest billed demand of the past twelve months is charged at the least, bill after bill."""
    sheet = {"name": "A", "currency": "USD", "timezone": "America/New_York", "prices": 0.1}
    sheet |= {"seasons": {"winter": "Nov - Feb", "summer": "rest"}, "billing": {"reading_day": reading_day}}
    sheet |= {"demand": {"top": {"price": 7.09, "at_least": f"65 % of the last 12 months{season}"}}}
    first = date(2026, 8, reading_day)
    ends = [date(2026 + (7 + n) // 12, (7 + n) % 12 + 1, reading_day) for n in range(1, len(peaks) + 1)]
    index = pd.date_range(midnight(sheet, first), midnight(sheet, ends[-1]), freq="h", inclusive="left")
    load = pd.Series(0.25, index)
    for end, peak in zip(ends, peaks, strict=True):
        load[midnight(sheet, end) - timedelta(hours=30)] = peak / 8
    bills = list(read_tariff(json.dumps(sheet)).bills(load))
    assert [bill.end + timedelta(days=1) for bill in bills] == ends
    past = []
    days = load.index.tz_convert(sheet["timezone"]).date
    for bill in bills:
        oracle = Oracle(sheet)
        here = load[(days >= bill.start) & (days <= bill.end)]
        cells = oracle.cells(rows_of(here), 60, 60, bill.start, bill.end, {"top": past[-12:]})
        check_bill(sheet, bill, cells, oracle)
        past.append((bill.end, oracle.billed_kw["top"]))


def test_the_slow_bill_by_hand():
    """The slow bill itself, worked out by hand: 700 kWh in June at 0.098 up to 600 then 0.115, and a fixed charge."""
    sheet = {
        "timezone": "UTC",
        "prices": "0.098 up to 600 then 0.115",
        "fixed": "12 per month",
        "taxes": {"vat": "5 %"},
    }
    oracle = Oracle(sheet)
    noons = [midnight(sheet, date(2026, 6, n)) + timedelta(hours=12) for n in range(1, 31)]
    rows = [(noon, Fraction(700, 30), Fraction(0)) for noon in noons]
    cells = oracle.cells(rows, 60, 60, date(2026, 6, 1), date(2026, 6, 30))
    assert cells == {
        Cell("energy", "energy", tier=1, price=Fraction("0.098")): Fraction("58.8"),
        Cell("energy", "energy", tier=2, price=Fraction("0.115")): Fraction("11.5"),
        Cell("fixed", "fixed", price=12): 12,
    }
    lines, total = oracle.settle([(cell.name, cell.kind, amount, cell.rounding) for cell, amount in cells.items()])
    assert lines["vat"] == Fraction("4.12")  # 5 % of 82.30 is 4.115: half up
    assert total == Fraction("86.42")


def plain(data):
    """Turn the dates of YAML into text, as JSON has them."""
    if isinstance(data, dict):
        return {key: plain(value) for key, value in data.items()}
    if isinstance(data, list):
        return [plain(value) for value in data]
    return data.isoformat() if isinstance(data, date) else data


def test_the_slow_bill_is_right_about_published_bills():
    """The slow bill itself, against bills that were published; the sheets name the sources and what is printed."""
    folder = Path(__file__).parents[1] / "published"
    sheets_ = [plain(yaml.safe_load(path.read_text(encoding="utf-8"))) for path in sorted(folder.rglob("*.yaml"))]
    count = 0
    for sheet in sheets_:
        checks = [
            check for check in sheet.get("checks", ()) if isinstance(check.get("bill", {}).get("use"), int | float)
        ]
        # What is bought or sold by period, other conditions of a bill, and holidays of a country are not for this test.
        country = isinstance(sheet.get("holidays"), dict) and "country" in sheet["holidays"]
        for check in checks if not country else ():
            bill = check["bill"]
            if set(bill) - {"from", "to", "use", "export"} or isinstance(bill.get("export"), dict):
                continue
            oracle = Oracle(sheet)
            start, end = (date.fromisoformat(bill[key]) for key in ("from", "to"))
            days = [start + timedelta(days=n) for n in range((end - start).days + 1)]
            use, sold = (Fraction(str(bill.get(key, 0))) / len(days) for key in ("use", "export"))
            rows = [(midnight(sheet, day) + timedelta(hours=12), use, sold) for day in days]
            cells = oracle.cells(rows, 60, 60, start, end)
            lines, total = oracle.settle(
                [(cell.name, cell.kind, amount, cell.rounding) for cell, amount in cells.items()]
            )
            for label, amount in check.get("lines", {}).items():
                name, *parts = label.split(" / ")
                its_cells = [cell for cell in cells if cell.name == name and {*parts} <= {*cell, f"tier {cell.tier}"}]
                exact = sum(cells[cell] for cell in its_cells)
                found = oracle.rounded(exact, its_cells[0].rounding if its_cells else "") if parts else lines[name]
                assert float(found) == pytest.approx(amount, abs=1e-9), (sheet["name"], label)
            assert float(total) == pytest.approx(check.get("total", float(total)), abs=1e-9), sheet["name"]
            count += 1
    assert count >= 40
