"""Files in which records are passed on: every wrapping is read, and what cannot be read gets one clear message."""

import json

import pytest
from record_cases import RIDGELINE, WHOLE, content, drafted, record

from chargeplan.drafting.envelope import raw_records
from chargeplan.errors import FileError, InputError

ENVELOPES = {
    "empty": (b"", ":1:1: not valid JSON"),
    "no JSON": (b"name: A", ":1:1: not valid JSON"),
    "cut off": (content(RIDGELINE)[:-9], "not valid JSON"),
    "a comma too many": (b'{"a": 1,\n "b": 2,\n}', ":3:1: not valid JSON"),
    "a number": (b"5", "there is no rate record in the file"),
    "nothing": (b"null", "there is no rate record"),
    "an empty reply": (b'{"items": []}', "the list of records is empty"),
    "an empty list": (b"[]", "the list of records is empty"),
    "an error": (b'{"error": {"code": "API_KEY_MISSING"}}', "an error message of the database"),
    "other data": (b'{"rows": [1, 2]}', "there is no rate record"),
    "items that are no records": (b'{"items": [1, {"label": "a"}]}', "items[0]: this is not a record"),
    "three times encoded": (json.dumps(json.dumps(json.dumps(RIDGELINE))).encode(), "a text within a text"),
    "too deep in a request": (
        json.dumps({"a": {"b": {"c": {"d": {"e": {"f": {"g": RIDGELINE}}}}}}}).encode(),
        "there is no rate record",
    ),
    "nested without end": (b"[" * 5000 + b"]" * 5000, "more than 20 levels inside each other"),
    "braces without end": (b'{"a":' * 5000, "more than 20 levels"),
    "too large": (b" " * 20_000_001, "larger than 20 MB"),
    "not UTF-8": (b'{"name": "\xff"}', ":1:11: the file is not UTF-8 text"),
    "UTF-16": (json.dumps(RIDGELINE).encode("utf-16"), "not UTF-8"),
    "NaN": (content(RIDGELINE).replace(b"12.5", b"NaN"), "fixedchargefirstmeter: NaN is no number"),
    "Infinity": (content(RIDGELINE).replace(b"12.5", b"-Infinity"), "-Infinity is no number"),
    "1e999": (content(RIDGELINE).replace(b"12.5", b"1e999"), "1e999 is no number that can be used"),
    "1e999999999999": (content(RIDGELINE).replace(b"12.5", b"1e999999999999"), "is no number that can be used"),
    "a very long number": (content(RIDGELINE).replace(b"12.5", b"1" * 5000), "1111... is no number that can be used"),
    "a key twice": (
        content(RIDGELINE).replace(b'"sector"', b'"fixedchargefirstmeter": 3, "sector"'),
        "fixedchargefirstmeter: given twice with different values, first on line 1",
    ),
    "database dump": (b'{"energyRateStrux": [], "effectiveDate": 1}', "an export of the database with names like"),
    "bulk table": (
        b"label,name,energyratestructure/period0/tier0rate,energyratestructure/period0/tier0adj\n5f,A,0.1,0.2\n",
        "a table of the bulk download (CSV)",
    ),
    "flattened": (b'[{"label": "a", "energyratestructure/period0/tier0rate": 0.1}]', "prices are flattened into keys"),
    "too many": (json.dumps([{}] * 2001).encode(), "the file holds 2,001 records"),
}


@pytest.mark.parametrize("name", ENVELOPES)
def test_files_that_cannot_be_read(name):
    data, message = ENVELOPES[name]
    with pytest.raises(FileError) as caught:
        drafted(data)
    (mistake,) = caught.value.mistakes
    assert message in str(mistake)
    assert str(mistake).isprintable()
    assert mistake.remedy


@pytest.mark.parametrize(
    "data",
    [
        RIDGELINE,
        [RIDGELINE],
        {"items": [RIDGELINE]},
        json.dumps({"items": [RIDGELINE]}),
        json.dumps(RIDGELINE),
        {"scenario": {"site": {"tariff": {"response": RIDGELINE}}}},
        {"inputs": [{"rates": [RIDGELINE]}]},
    ],
)
def test_wrappings(data):
    text = drafted(RIDGELINE).text
    assert drafted(content(data)).text == text
    assert drafted(b"\xef\xbb\xbf" + json.dumps(data, indent="\t").encode()).text == text


def test_a_key_twice_with_one_value_does_no_harm():
    assert drafted(content(RIDGELINE).replace(b'"sector"', b'"fixedchargefirstmeter": 12.5, "sector"')).text


def test_records_are_chosen_by_label():
    other = record(label="b2", name="Other")
    both = content([RIDGELINE, other])
    assert drafted(both, label="b2").name == "Ridgeline Valley Power, Other"
    with pytest.raises(InputError, match=r"holds 2 records; choose one by its label:\n  5f0000.*\n  b2"):
        drafted(both)
    with pytest.raises(InputError, match="no record has the label b3"):
        drafted(both, label="b3")
    with pytest.raises(InputError, match="2 records have the label b2"):
        drafted(content([other, other]), label="b2")


def test_large_files_take_no_longer_than_they_are():
    """Texts that a careless reader would go through again and again; the time is not measured, it would be hours."""
    for text in (b'"' + rb"\"" * 300_000, b'{"a' * 300_000, b"[" + b'"x",' * 300_000 + b"5]"):
        with pytest.raises(FileError):
            raw_records(text)


def test_places_of_every_value():
    """Walked places against a search by hand: each key and item stands where its place says."""
    text = json.dumps({"items": [WHOLE], "more": [[], {}, [1, {"a": 'x,]}{\\"'}]]}, indent=2)
    (raw,) = raw_records(text)
    lines = text.splitlines()
    for path, (line, column) in raw.text.places().items():
        here = lines[line - 1][column - 1 :]
        if isinstance(path[-1], str):
            assert here.startswith(json.dumps(path[-1]) + ":")
        else:
            value = raw.text.data
            for part in path:
                value = value[part]
            assert here[0] == {dict: "{", list: "[", str: '"'}.get(type(value), str(value)[0])
