"""Drafts as YAML: what is written is what is read, and comments stand where they belong."""

from datetime import date
from decimal import Decimal

from hypothesis import given
from hypothesis import strategies as st

from chargeplan.drafting.note import Note
from chargeplan.drafting.writing import Remarked, clean_line, clean_text, plain_number, sheet_text
from chargeplan.reading import read_document

LINES = st.text(max_size=60).map(clean_line)
KEYS = LINES.filter(bool)
NUMBERS = st.decimals(-100_000, 100_000, places=8) | st.integers(-9, 10**9).map(Decimal)
SCALARS = LINES | NUMBERS | st.dates(date(1971, 1, 1)) | st.builds(Remarked, LINES | NUMBERS, LINES)
VALUES = st.recursive(
    SCALARS,
    lambda inner: st.lists(LINES, min_size=1, max_size=4) | st.dictionaries(KEYS, inner, min_size=1, max_size=4),
    max_leaves=12,
)


def as_read(value):
    if isinstance(value, Remarked):
        return as_read(value.value)
    if isinstance(value, dict):
        return {key: as_read(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [as_read(inner) for inner in value]
    if isinstance(value, date):
        return value.isoformat()
    return float(value) if isinstance(value, Decimal) else value


@given(st.dictionaries(KEYS, VALUES, min_size=1, max_size=5), st.lists(LINES, max_size=3), st.data())
def test_what_is_written_is_read(data, header, draw):
    places = [
        (),
        *((key,) for key in data),
        *((key, inner) for key in data if isinstance(data[key], dict) for inner in data[key]),
    ]
    notes = [Note("assumed", draw.draw(st.sampled_from(places)), text) for text in header]
    text = sheet_text(data, notes, header)
    assert read_document("a.yaml", text=text).data == as_read(data)
    assert text.count("assumed:") >= len(notes)


@given(st.text())
def test_long_text_is_read_as_words(text):
    kept = clean_text(text)
    read = read_document("a.yaml", text=sheet_text({"notes": f"First.\n{kept}"}, [], [])).data["notes"]
    assert read.split() == f"First. {kept}".split()
    assert len(kept) <= 2000


@given(st.decimals(allow_nan=False, allow_infinity=False, min_value=-(10**12), max_value=10**12, places=12))
def test_numbers_are_exact(value):
    assert Decimal(plain_number(value)) == value
    assert "E" not in plain_number(value)


def test_reads_like_a_sheet():
    prices = {
        "summer": {"peak": Remarked(Decimal("0.137341"), "0.1316 + 0.005741 adjustment"), "off-peak": Decimal("0.09")},
        "winter": {"peak": Decimal("0.12"), "off-peak": Decimal("0.09")},
    }
    data = {
        "name": "Ridgeline Valley: R-2",
        "currency": "USD",
        "periods": {"peak": ["15:00-20:00 on weekdays", "07:00-09:00, 17:00-19:00 on weekends"], "off-peak": "rest"},
        "prices": prices,
        "checks": [{"at": "2026-07-06 17:00", "period": "peak"}],
    }
    notes = [Note("assumed", ("prices", "winter"), "cold months"), Note("left out", ("gone",), "a tax")]
    assert sheet_text(data, notes, ["A draft."]).splitlines() == [
        "# A draft.",
        "#",
        "# - left out: a tax",
        'name: "Ridgeline Valley: R-2"',
        "currency: USD",
        "",
        "periods:",
        "  peak:",
        "    - 15:00-20:00 on weekdays",
        "    - 07:00-09:00, 17:00-19:00 on weekends",
        "  off-peak: rest",
        "",
        "prices:",
        "  summer:",
        "    peak: 0.137341   # 0.1316 + 0.005741 adjustment",
        "    off-peak: 0.09",
        "  # assumed: cold months",
        "  winter: {peak: 0.12, off-peak: 0.09}",
        "",
        "checks:",
        "  - {at: 2026-07-06 17:00, period: peak}",
    ]
