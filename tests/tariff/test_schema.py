"""The JSON Schema of rate sheets, which editors use while a sheet is written."""

from pathlib import Path

import pytest

from chargeplan.reading import read_document
from chargeplan.tariff.sheet import sheet_schema

jsonschema = pytest.importorskip("jsonschema")

ROOT = Path(__file__).parent.parent.parent
SHEETS = [*sorted((ROOT / "tests" / "published").glob("*.yaml")), *sorted((ROOT / "tariffs").glob("*.yaml"))]


def complaints(data):
    return [error.message for error in jsonschema.Draft202012Validator(sheet_schema()).iter_errors(data)]


def test_the_schema_is_valid():
    """JSON Schema, draft 2020-12: the schema keeps to its own meta-schema."""
    schema = sheet_schema()
    assert schema["$schema"] == "https://json-schema.org/draft/2020-12/schema"
    jsonschema.Draft202012Validator.check_schema(schema)


@pytest.mark.parametrize("path", SHEETS, ids=lambda path: path.stem)
def test_every_sheet_keeps_to_the_schema(path):
    """What the reader makes of each sheet, published or shipped, is what the schema allows."""
    assert complaints(read_document(path).data) == []


HEAD = {"name": "A", "currency": "USD", "timezone": "UTC"}


@pytest.mark.parametrize(
    "part",
    [
        {"prices": 1},
        {"prices": {"peak": 1, "other": 2}},
        {"prices": {"summer": {"peak": 1, "other": 2}, "winter": 3}},
        {"periods": {"peak": ["16:00-21:00 on weekdays", "all day on holidays"], "other": "rest"}},
        {"holidays": ["Jul 4"]},
        {"holidays": {"country": "US", "except": ["Oct 12"], "as": "Sunday", "shift": "never"}},
        {"adders": {"levy": 0.1, "night": {"price": -1, "hours": "00:00-06:00"}}},
        {"fixed": "1 per day"},
        {"fixed": {"meter": "1 per day", "service": "2 per month"}},
        {"versions": [{"from": "2026-01-01", "prices": 2}]},
        {"export": {"peak": 1}},
        {"components": {"supply": 1, "grid": {"peak": 2}}},
    ],
)
def test_forms_of_the_language(part):
    """Short and long forms are both allowed."""
    assert complaints(HEAD | part) == []


@pytest.mark.parametrize(
    "part",
    [
        {"price": 1},
        {"prices": "cheap"},
        {"prices": {"summer": {"peak": {"deep": 1}}}},
        {"prices": [1]},
        {"price_unit": "cent"},
        {"holidays": {"country": "US", "shift": "sideways"}},
        {"holidays": "US"},
        {"holidays": {"countries": ["US"]}},
        {"versions": [{"prices": 2}]},
        {"adders": {"night": {"price": "dear"}}},
        {"adders": {"night": {"price": 1, "hour": "00:00-06:00"}}},
        {"currency": "dollars"},
        {"name": ""},
        {"periods": {"peak": 16}},
    ],
)
def test_mistakes_that_the_schema_finds(part):
    """What an editor can know to be wrong is wrong by the schema too."""
    assert complaints(HEAD | part)


@pytest.mark.parametrize("missing", sorted(HEAD))
def test_what_is_needed(missing):
    """Name, currency and zone are needed."""
    assert complaints({key: value for key, value in HEAD.items() if key != missing})
