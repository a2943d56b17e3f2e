"""Anything at all into `read_tariff`: a tariff, or mistakes at their places, and nothing else."""

import random
import re
from datetime import date
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from chargeplan.errors import FileError
from chargeplan.tariff import Tariff, read_tariff

FOLDER = Path(__file__).parent.parent.parent
SHEETS = [
    path.read_text(encoding="utf-8")
    for folder in ("tests/published", "tariffs")
    for path in sorted((FOLDER / folder).glob("*.yaml"))
]
SLOW = {"deadline": None, "suppress_health_check": [HealthCheck.too_slow, HealthCheck.data_too_large]}

#: Values that break readers: other types, other scripts, limits of numbers and dates, signs of YAML.
VALUES = (
    *(
        "0",
        "-1",
        "1e999",
        "9" * 400,
        ".nan",
        "true",
        "null",
        "~",
        "''",
        "'\\0'",
        '"\\e[31m"',
        "[]",
        "{}",
        "[[]]",
        "{a: {b: c}}",
    ),
    *(
        "rest",
        "in",
        "on",
        "except",
        "starting",
        "holidays",
        "weekdays",
        "all day",
        "24:00-24:00",
        "24:00-00:00",
        "00:00-00:01",
    ),
    *(
        "22:00-06:00 starting Mon-Sun",
        "16:00-21:00 on holidays in winter",
        "10:00-11:00; ;",
        "１６:００",
        "in in in",
        "x" * 400,
    ),
    *(
        "0001-01-01",
        "9999-12-31",
        "2026-02-29",
        "Feb 29",
        "Feb 29 - Feb 29",
        "Dec 31 - Jan 1",
        "Mar 1 - Feb 28",
        "last Sunday of May",
    ),
    *(
        "Easter",
        "999 days before Easter",
        "firſt Monday of May",
        "5 % of",
        "5 % of energy",
        "-1000000 %",
        "1 per day",
        "UTC",
        "US",
    ),
    *(
        "Etc/GMT+12",
        "America",
        "utils",
        "HolidayBase",
        "XK",
        "ENG",
        "&a [*a]",
        "*a",
        "!!set {}",
        "!x y",
        "<<",
        "é\u2028é",
        "\ud800",
    ),
)


def check_anything(text):
    """Every outcome but a tariff or a list of located one-line mistakes is a failure of these tests."""
    try:
        found = read_tariff(text, "a.yaml")
    except FileError as error:
        found = error
    if isinstance(found, Tariff):
        day = found.sheet.until or found.sheet.effective or date(2026, 1, 1)
        assert sum(run.end_s - run.start_s for run in found.day(day)) >= 20 * 3600
        assert all(abs(run.price_per_kwh) < 1e300 for run in found.day(day))
        return
    assert found.mistakes
    whole = text.decode("utf-8", "replace") if isinstance(text, bytes) else text
    lines = len(re.split("\r\n?|[\n\x85\u2028\u2029]", whole))
    for mistake in found.mistakes:
        assert mistake.file == "a.yaml"
        assert 1 <= mistake.line <= lines
        assert mistake.column >= 1
        assert mistake.what
        assert mistake.remedy
        assert str(mistake).isprintable()


@settings(max_examples=300, **SLOW)
@given(st.one_of(st.text(st.characters(), max_size=300), st.binary(max_size=300)))
@example("\ud800")
@example(b"\xff\xfe")
@example("name: \x00")
def test_text_and_bytes(text):
    """Random text of any code points, and random bytes."""
    check_anything(text)


@st.composite
def mutated(draw):
    """A real sheet with lines, characters or values taken out, doubled, swapped or replaced."""
    text = draw(st.sampled_from(SHEETS))
    body = [line for line in text.split("\n") if not line.startswith("#")]
    for _ in range(draw(st.integers(1, 4))):
        kind = draw(
            st.sampled_from(["drop", "double", "swap", "indent", "character", "value", "value", "value", "cut", "key"])
        )
        place = draw(st.integers(0, max(0, len(body) - 1)))
        line = body[place] if body else ""
        if kind == "drop" and body:
            del body[place]
        elif kind == "double":
            body.insert(place, line)
        elif kind == "swap" and body:
            other = draw(st.integers(0, len(body) - 1))
            body[place], body[other] = body[other], body[place]
        elif kind == "indent" and body:
            body[place] = draw(st.sampled_from(["  ", "    ", "\t", "- ", " "])) + line
        elif kind == "character" and line:
            at = draw(st.integers(0, len(line) - 1))
            body[place] = (
                line[:at] + draw(st.one_of(st.characters(), st.sampled_from("{}[]:,-#&*!|>%@'\"\t ?"))) + line[at + 1 :]
            )
        elif kind == "value" and line:
            words = line.replace("{", "{ ").replace("[", "[ ").replace("}", " }").replace("]", " ]").split(" ")
            words[draw(st.integers(0, len(words) - 1))] = draw(st.sampled_from(VALUES))
            body[place] = " ".join(words)
        elif kind == "cut" and line:
            body[place] = line[: draw(st.integers(0, len(line)))]
        elif kind == "key" and ":" in line:
            body[place] = draw(st.sampled_from(VALUES)) + ":" + line.split(":", 1)[1]
    return "\n".join(body)


@settings(max_examples=1200, **SLOW)
@given(mutated())
def test_mutated_sheets(text):
    """Real sheets with something wrong in up to four places."""
    check_anything(text)


KEYS = st.sampled_from(
    [
        *(
            "name",
            "currency",
            "timezone",
            "price_unit",
            "effective",
            "until",
            "holidays",
            "seasons",
            "periods",
            "prices",
        ),
        *(
            "components",
            "adders",
            "taxes",
            "fixed",
            "export",
            "versions",
            "checks",
            "notes",
            "source",
            "country",
            "days",
        ),
        *("except", "shift", "as", "categories", "subdivision", "from", "price", "hours", "peak", "off-peak", "summer"),
        *("winter", "at", "period", "season", "on peak", "<<", "null", "table", "one", "energy", "all hours"),
    ]
)
LEAVES = st.one_of(st.sampled_from(VALUES), st.integers(-(10**9), 10**9).map(str), st.floats().map(repr))
TREES = st.recursive(
    LEAVES,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4).map(lambda items: f"[{', '.join(items)}]"),
        st.dictionaries(KEYS, inner, max_size=5).map(
            lambda pairs: f"{{{', '.join(f'{k}: {v}' for k, v in pairs.items())}}}"
        ),
    ),
    max_leaves=15,
)


@settings(max_examples=500, **SLOW)
@given(st.dictionaries(KEYS, TREES, max_size=8), st.booleans())
@example({"versions": "[bad, {prices: 3}]"}, True)
@example({"adders": "{'a, b': {hours: 00:00-06:00}}"}, True)
@example({"seasons": "{a: rest, b: rest}", "prices": "{a: 1, b: 2}"}, True)
@example({"effective": "0001-01-01", "holidays": "{country: US}", "periods": "{peak: 00:00-12:00}"}, True)
@example({"effective": "9999-12-31", "holidays": "{country: US}", "periods": "{peak: 00:00-12:00}"}, True)
@example({"holidays": "{country: utils}"}, True)
@example({"holidays": "[firſt Monday of May]"}, True)
def test_sheets_of_random_parts(parts, with_head):
    """The keys of the language with anything below them."""
    head = {"name": "A", "currency": "USD", "timezone": "America/Denver", "prices": "1"} if with_head else {}
    check_anything("".join(f"{key}: {value}\n" for key, value in (head | parts).items()))


MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
HOSTILE = {
    "many seasons": "seasons: {" + ", ".join(f"s{n}: Jan {n % 31 + 1}" for n in range(5000)) + "}\n",
    "many nights": "seasons: {"
    + ", ".join(f"s{n}: {month}" for n, month in enumerate(MONTHS))
    + "}\nperiods: {night: ["
    + ", ".join(
        f"'20:{(7 * n + k) % 60:02}-06:{(3 * n + 5 * k) % 60:02} starting {day} in s{n}'"
        for n in range(12)
        for k, day in enumerate(DAYS)
    )
    + "], day: rest}\nversions: ["
    + ", ".join(f"{{from: {1980 + n}-01-01, prices: {n}}}" for n in range(200))
    + "]\n",
    "many hours": "periods: {peak: '" + "16:00-21:00;" * 50_000 + "', other: rest}\n",
    "long hours": "periods: {peak: '16:00-21:00 " + " " * 900_000 + "x', other: rest}\n",
    "long season": "seasons: {summer: 'Jun " + " " * 900_000 + "x', winter: rest}\n",
    "long tax": "taxes: {vat: '5 % of a" + " " * 900_000 + "b'}\n",
    "long name": "periods: {'" + "x " * 400_000 + "': rest}\n",
    "long zone": "timezone: " + "A/" * 400_000 + "\n",
    "long key": "k" * 900_000 + ": 1\n",
    "many keys": "".join(f"kee{n}: 1\n" for n in range(20_000)),
    "many versions": "versions: [" + ", ".join(f"{{from: 2026-01-01, prices: {n}}}" for n in range(8000)) + "]\n",
    "many prices": "prices: {" + ", ".join(f"p{n}: x" for n in range(15_000)) + "}\n",
    "many taxes": "taxes: {" + ", ".join(f"t{n}: 1 %" for n in range(3000)) + "}\n",
    "many holidays": "holidays: [" + ", ".join(["last Monday of May"] * 20_000) + "]\n",
    "many checks": "checks: [" + ", ".join(["{at: x, price: y}"] * 8000) + "]\n",
}


@pytest.mark.parametrize("text", HOSTILE.values(), ids=HOSTILE)
def test_large_hostile_sheets(text):
    """Under a megabyte made to be slow or to fill the memory: read or refused, or these tests would hang."""
    head = "" if text.startswith("timezone") else "timezone: UTC\n"
    prices = "" if text.startswith("prices") else "prices: 1\n"
    check_anything(f"name: A\ncurrency: USD\n{head}{prices}{text}")


def test_lines_taken_out_of_every_sheet():
    """Each sheet without one of its lines, a dozen lines each: no sheet falls over for want of any of them."""
    chosen = random.Random(20_26)
    for sheet in SHEETS:
        lines = sheet.split("\n")
        for place in chosen.sample(range(len(lines)), min(12, len(lines))):
            check_anything("\n".join(lines[:place] + lines[place + 1 :]))
