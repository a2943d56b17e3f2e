"""Sheets with something broken in them: a list of mistakes with their places, or a tariff with finite prices.

The sheets are those that come with the package, those of `tests/published`, and drawn ones with every new part of the
language. What is broken, and how, comes from a fixed seed.
"""

import json
import random
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pytest
import yaml
from hypothesis import HealthCheck, Phase, given, seed, settings

from chargeplan.clock import day_number
from chargeplan.errors import FileError
from chargeplan.tariff import Tariff, read_tariff
from chargeplan.testing.strategies import sheets

FOLDER = Path(__file__).parents[2]
COUNT = 900
ODD = (
    *(None, True, [], {}, [[1]], {"a": {"b": 1}}, "", " ", "x" * 400, "é\u2028", "\u0000", "0", -1, 10**400),
    *(1e308, -1e308, float("nan"), float("inf"), "1e999", "nan", "99999999999 up to 5 then 1", "1 up to 1e99 then 2"),
    *("1 up to nan then 2", "1 up to 50 then 2 up to 40 then 3", "70 % of peak", "70 % of itself", "0 up to 0 then 1"),
    *("1 per fortnight", "1 per A per kVA per day", "5 kWh", "5 MW", "12 %", "5 % of charges", "-5 % of export"),
    *("25:00-26:00", "00:00-24:00 on critical", "16:00-21:00 on Caturday", "06:00-09:00 in nowhere", "rest", "reset"),
    *("2026-02-30", "0001-01-01", "9999-12-31", "Feb 30 - Mar 1", "fifth Monday of February", "day before Easter"),
    *("Monday before Monday after Jan 1", "day after " * 20 + "Jan 1", "UTC+99", "UTC+5:99", "standard", "Mars/Crater"),
    *("174.25 in Smarch", "20 % of", "65 % of the last 12 months", "13:00-19:00", "7 min", "27-34 days", "34-27 days"),
    *({"prices": 1, "price": 2}, {"cases": []}, {"cases": [{"up_to": 5}]}, {"hours": "00:00-06:00"}, {"forward": 1}),
)


def drawn_sheets(count):
    found = []

    @seed(2026)
    @settings(max_examples=count, phases=[Phase.generate], database=None, suppress_health_check=list(HealthCheck))
    @given(sheets())
    def collect(sheet):
        found.append(sheet)

    collect()
    return found


def written_sheets():
    files = [*(FOLDER / "tariffs").glob("*.yaml"), *(FOLDER / "tests" / "published").rglob("*.yaml")]
    return [path.read_text(encoding="utf-8") for path in sorted(files)]


def places(data, path=()):
    """List the paths of everything inside plain data."""
    items = data.items() if isinstance(data, dict) else enumerate(data) if isinstance(data, list) else ()
    for key, value in items:
        yield (*path, key)
        yield from places(value, (*path, key))


def change_data(data, chosen):
    """Break plain data in one place."""
    *path, key = chosen.choice(list(places(data)))
    inside = data
    for part in path:
        inside = inside[part]
    kind = chosen.choice(["drop", "odd", "odd", "odd", "list", "mapping", "text", "rename", "swap", "times", "graft"])
    if kind == "drop":
        del inside[key]
    elif kind == "odd":
        inside[key] = chosen.choice(ODD)
    elif kind == "list":
        inside[key] = [inside[key]] * chosen.choice([1, 2])
    elif kind == "mapping":
        inside[key] = {chosen.choice(["price", "prices", "days", "peak", "0"]): inside[key]}
    elif kind == "text":
        inside[key] = f"{inside[key]}{chosen.choice([' kWh', ' per month', ' then', ' %', ' on', ';', ' of energy'])}"
    elif kind == "rename" and isinstance(inside, dict):
        inside[chosen.choice([f"{key}s", str(key)[:-1], "minimum", "market", "prices", " ", key])] = inside.pop(key)
    elif kind == "swap" and isinstance(inside, dict):
        other = chosen.choice(list(inside))
        inside[key], inside[other] = inside[other], inside[key]
    elif kind == "times" and isinstance(inside[key], int | float) and not isinstance(inside[key], bool):
        inside[key] *= chosen.choice([-1, 0, 1e6, 1e12])
    elif kind == "graft":
        *_, other = chosen.choice(list(places(data)))
        inside[key] = {other: inside[key]}
    return data


def change_text(text, chosen):
    """Break the text of a sheet in one place, down to its bytes."""
    lines = text.split("\n")
    place = chosen.randrange(len(lines))
    line = lines[place]
    kind = chosen.choice(["double", "cut", "tab", "truncate", "bytes", "anchor", "bomb", "merge", "quote", "digit"])
    if kind == "double":
        lines.insert(place, line)
    elif kind == "cut":
        lines[place] = line[: chosen.randrange(len(line) + 1)]
    elif kind == "tab":
        lines[place] = "\t" + line.replace(" ", "\t", 1)
    elif kind == "truncate":
        return text[: chosen.randrange(len(text))]
    elif kind == "bytes":
        encoding = chosen.choice(["utf-16", "latin-1", "cp1252", "utf-32", "utf-8-sig"])
        raw = text.replace("e", "é").encode(encoding, "replace")
        return raw if chosen.random() < 0.5 else raw[: chosen.randrange(len(raw))] + b"\xff\x00"
    elif kind == "anchor":
        lines[place] = line.replace(": ", ": &a ", 1)
        lines.insert(chosen.randrange(len(lines)), "fixed: *a")
    elif kind == "bomb":
        rows = ["a0: &a0 [x, x, x, x, x, x, x, x, x]"]
        rows += [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 12)]
        lines[place:place] = rows
    elif kind == "merge":
        lines.append(chosen.choice(["<<: {prices: 1}", "<<: [1]", "? [a]\n: b", "!!python/object:os.system {}", "- 1"]))
    elif kind == "quote":
        lines[place] = line.replace(":", chosen.choice([": '", ': "', ": [", ": {", ":", ": |", ": !!float "]), 1)
    elif kind == "digit":
        at = [n for n, sign in enumerate(line) if sign.isdigit()]
        if at:
            here = chosen.choice(at)
            lines[place] = (
                line[:here] + chosen.choice(["-", "９", "1e9", "", "99999", ".", "_", "x"]) + line[here + 1 :]
            )
    return "\n".join(lines)


def mutants():
    """Make the broken sheets, the same at every run."""
    chosen = random.Random(20_260_704)
    texts = written_sheets()
    drawn = drawn_sheets(150)
    for _ in range(COUNT):
        source = chosen.choice([*texts, *drawn[-len(texts) :]])
        data = yaml.safe_load(source) if isinstance(source, str) else json.loads(json.dumps(source))
        text = source if isinstance(source, str) else yaml.safe_dump(source, sort_keys=False)
        data_changes, text_changes = chosen.choice([(1, 0), (1, 0), (2, 0), (1, 1), (0, 1), (0, 2)])
        for _ in range(data_changes):
            data = change_data(data, chosen) if data else data
        if data_changes:
            text = yaml.safe_dump(data, sort_keys=False, allow_unicode=chosen.random() < 0.5)
        for _ in range(text_changes):
            text = change_text(text, chosen) if isinstance(text, str) else text
        yield text


def check_mistakes(mistakes, folder):
    assert mistakes
    for mistake in mistakes:
        assert mistake.file.startswith(str(folder))
        assert mistake.line >= 1
        assert mistake.column >= 1
        assert mistake.what.strip()
        assert str(mistake).isprintable()


def check_mutant(text, folder):
    """Read a broken sheet; every outcome but these two is a failure. Returns whether it could be read."""
    try:
        tariff = read_tariff(text, str(folder / "broken.yaml"))
    except FileError as error:
        check_mistakes(error.mistakes, folder)
        return False
    assert isinstance(tariff, Tariff)
    first = tariff.sheet.effective or date(2026, 1, 1)
    if tariff.sheet.until is not None:
        first = min(first, tariff.sheet.until - timedelta(days=1))
    last = min(first + timedelta(days=365), tariff.sheet.until or date.max)
    start_s = np.arange(day_number(first) + 1, day_number(last)) * 86_400 + 43_200
    hours_s = (start_s[:, None] + np.arange(0, 86_400, 3600)).reshape(-1)[: 24 * max(1, len(start_s) - 1)]
    if len(start_s) > 1:
        assert np.isfinite(tariff.price_array(hours_s, 3600)).all()
        assert np.isfinite(tariff.export_array(hours_s, 3600)).all()
    return True


def test_mutated_sheets(tmp_path):
    """Hundreds of broken sheets: none brings anything but mistakes with places, or finite prices for a year."""
    read = refused = 0
    for number, text in enumerate(mutants()):
        try:
            good = check_mutant(text, tmp_path)
        except Exception as error:
            error.add_note(f"mutant {number}: {text[:3000]!r}")
            raise
        read, refused = read + good, refused + (not good)
    assert read + refused == COUNT
    assert refused > COUNT / 4
    assert read > COUNT / 20


@pytest.mark.parametrize("tail", ["", "\n", "\x00", "&a [*a]", "? ", "- ", "%YAML 9.9", "--- {}\n--- {}"])
def test_texts_that_are_no_sheet(tail, tmp_path):
    """Almost nothing at all, and the first line of a sheet with something odd after it."""
    assert not check_mutant(tail, tmp_path)
    assert not check_mutant(f"name: A\n{tail}", tmp_path)
