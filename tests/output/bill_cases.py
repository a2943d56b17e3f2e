"""Bills made by hand, and at random."""

from datetime import date, timedelta
from decimal import Decimal

from hypothesis import strategies as st

from chargeplan.tariff.bill import KINDS, Bill, BillItem, Carried

JUNE = (date(2022, 6, 1), date(2022, 6, 30))


def item(name, kind, amount, quantity, unit, price, **more):
    """One item, its amount as text."""
    return BillItem(name, kind, Decimal(amount), quantity, unit, price, **more)


ITEMS = (
    item("energy", "energy", "24.60", 200, "kWh", 0.123, period="peak", season="summer", tier=1, place="sheet.yaml:12"),
    item("energy", "energy", "4.50", 30.5, "kWh", 0.14754, period="peak", tier=2, place="sheet.yaml:12"),
    item("energy", "energy", "37.50", 500, "kWh", 0.075, period="off-peak", place="sheet.yaml:13"),
    item("service", "fixed", "12.00", 1, "month", 12, place="sheet.yaml:20"),
    item("meter", "fixed", "1.50", 30, "day", 0.05, place="sheet.yaml:21"),
    item("on-peak demand", "demand", "56.72", 8, "kW", 7.09, place="sheet.yaml:30"),
    item("export", "export", "-9.60", 120, "kWh", 0.08, place="sheet.yaml:25"),
    item("low income", "credit", "-5.00", 1, "", 5, place="sheet.yaml:40"),
    item("city tax", "tax", "6.84", 136.82, "USD", 0.05, place="sheet.yaml:45"),
)
BILL = Bill(
    "Ridgeline Valley example",
    "USD",
    *JUNE,
    ITEMS,
    sum((one.amount for one in ITEMS), Decimal(0)),
    730.5,
    120,
    ("the demand is taken from hourly data, so it may be lower than the meter's",),
    Carried(3.5, 40, {"on-peak demand": ((date(2022, 6, 30), "summer", 8.0),)}),
)

NAMES = st.text("abcdefghij -", min_size=1, max_size=12).map(str.strip).filter(bool)
LONG_NAMES = NAMES | st.text("abc def", min_size=60, max_size=200).map(str.strip).filter(bool)
AMOUNTS = st.decimals(-(10**7), 10**7, places=2) | st.decimals(-(10**4), 10**4, places=0) | st.decimals(-1, 1, places=9)
NUMBERS = st.floats(-1e7, 1e7) | st.integers(0, 10**6) | st.sampled_from([0.0, -0.0, 1.0, 1e-9, 0.1 + 0.2])


@st.composite
def bills(draw, names=LONG_NAMES, amounts=AMOUNTS):
    """Any bill: one to twelve items, some of the same line, some without period or quantity."""
    lines = draw(st.lists(names, min_size=1, max_size=4, unique=True))
    items = tuple(
        BillItem(
            draw(st.sampled_from(lines)),
            draw(st.sampled_from(KINDS)),
            draw(amounts),
            draw(NUMBERS),
            draw(st.sampled_from(["kWh", "kW", "kVA", "day", "month", "year", "USD", ""])),
            draw(NUMBERS),
            period=draw(st.just("") | names),
            season=draw(st.just("") | names),
            tier=draw(st.integers(0, 3)),
            place=draw(st.sampled_from(["", "sheet.yaml:12", f"{'folder/' * 20}sheet.yaml:3"])),
        )
        for _ in range(draw(st.integers(1, 12)))
    )
    start = draw(st.dates(date(2000, 1, 1), date(2100, 1, 1)))
    return Bill(
        draw(names),
        "USD",
        start,
        start + timedelta(days=draw(st.integers(0, 400))),
        items,
        sum((one.amount for one in items), Decimal(0)),
        draw(st.floats(0, 1e6)),
        draw(st.sampled_from([0.0, 12.5])),
        tuple(draw(st.lists(names, max_size=2))),
        draw(st.sampled_from([Carried(), BILL.carried])),
    )
