"""Bills as JSON and CSV: by their schema, exact, and of one mind with the bill."""

import csv
import io
import json
import sys
from dataclasses import fields, replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.output.bill_data import bill_data, bill_rows, bills_data
from chargeplan.output.json_schema import SCHEMAS
from chargeplan.tariff.bill import Bill, BillItem

sys.path.insert(0, str(Path(__file__).parent))
from bill_cases import BILL, ITEMS, bills


def printed(data):
    """What a program reads of the printed JSON, its numbers as decimals."""
    return json.loads(json.dumps(data, allow_nan=False), parse_float=Decimal, parse_int=Decimal)


def test_the_data_of_a_bill():
    """Every field of the bill and its items is there, under the name it has in Python; None where there is none."""
    data = bill_data(BILL)
    assert data["schema"] == "chargeplan.bill/1"
    assert data["tariff"] == "Ridgeline Valley example"
    assert (data["start"], data["end"], data["days"]) == ("2022-06-01", "2022-06-30", 30)
    assert {field.name for field in fields(Bill)} - {"sheet"} <= set(data)
    assert {field.name for field in fields(BillItem)} | {"label"} == set(data["items"][0])
    assert data["items"][0]["label"] == "energy / peak / summer / tier 1"
    assert [data["items"][3][key] for key in ("period", "season", "tier", "version")] == [None] * 4
    assert data["lines"]["energy"] == 66.6
    assert data["notes"] == list(BILL.notes)
    assert data["carried"] == {
        "credit": 3.5,
        "surplus_kwh": 40.0,
        "demands": [{"name": "on-peak demand", "last_day": "2022-06-30", "season": "summer", "kw": 8.0}],
    }


@pytest.mark.parametrize("name", ["bill", "bills"])
def test_the_schemas(name):
    """Valid JSON Schema, draft 2020-12, that misses every key that is left out (by the jsonschema package)."""
    schema = SCHEMAS[name]
    jsonschema.Draft202012Validator.check_schema(schema)
    data = bill_data(BILL) if name == "bill" else bills_data([BILL])
    validator = jsonschema.Draft202012Validator(schema)
    validator.validate(data)
    for key in data:
        assert not validator.is_valid({other: value for other, value in data.items() if other != key}), key
    inner = data if name == "bill" else data["bills"][0]
    for key in list(inner["items"][0]):
        value = inner["items"][0].pop(key)
        assert not validator.is_valid(data), key
        inner["items"][0][key] = value
    inner["items"][0]["kind"] = "gift"
    assert not validator.is_valid(data)


@settings(deadline=None, max_examples=150)
@given(st.lists(bills(amounts=st.decimals(-(10**9), 10**9, places=2)), min_size=1, max_size=3))
def test_any_bill_follows_the_schema_and_is_exact(many):
    """Strict JSON by the schema; read as decimal numbers, amounts are those of the bill to the last digit."""
    data = bills_data(many)
    jsonschema.Draft202012Validator(SCHEMAS["bills"]).validate(data)
    read = printed(data)
    assert read["total"] == sum(bill.total for bill in many)
    for found, bill in zip(read["bills"], many, strict=True):
        jsonschema.Draft202012Validator(SCHEMAS["bill"]).validate(bill_data(bill))
        assert found["total"] == bill.total
        assert [row["amount"] for row in found["items"]] == [one.amount for one in bill.items]
        assert found["lines"] == bill.lines
        assert list(found["lines"]) == list(bill.lines)


def test_sums_of_many_bills():
    """Lines and totals over two bills are twice those of one; the days are those of first and last."""
    july = replace(BILL, start=date(2022, 7, 1), end=date(2022, 7, 31))
    data = bills_data(iter([BILL, july]))
    assert (data["start"], data["end"]) == ("2022-06-01", "2022-07-31")
    assert data["total"] == 258.12
    assert data["lines"]["export"] == -19.2
    assert (data["bought_kwh"], data["sold_kwh"]) == (1461.0, 240.0)
    with pytest.raises(InputError, match="there is no bill"):
        bills_data([])


def test_rows():
    """One row per item of every bill, amounts written as the bill has them; read back by the csv module."""
    header, rows = bill_rows([BILL, BILL])
    text = io.StringIO()
    csv.writer(text).writerows([header, *rows])
    read = list(csv.DictReader(io.StringIO(text.getvalue())))
    assert [row["amount"] for row in read] == [str(one.amount) for one in ITEMS] * 2
    assert read[0] == {
        **{"start": "2022-06-01", "end": "2022-06-30", "name": "energy", "kind": "energy", "period": "peak"},
        **{"season": "summer", "tier": "1", "version": "", "quantity": "200.0", "unit": "kWh", "price": "0.123"},
        **{"amount": "24.60", "currency": "USD", "place": "sheet.yaml:12"},
    }
    assert read[3]["tier"] == ""
    large = replace(ITEMS[0], amount=Decimal("1E+3"))
    assert bill_rows([replace(BILL, items=(large,))])[1][0][header.index("amount")] == "1000"
