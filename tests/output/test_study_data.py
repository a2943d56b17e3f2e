"""The JSON of a study: it is what its schema says, holds no number that is none, and says what the report says."""

import json
import math
from dataclasses import replace

import jsonschema
import pytest
from study_cases import ODD, SHORT, many, odd_text, worked_out

from chargeplan.output.study_data import MOST_ROWS, study_data
from chargeplan.output.study_report import study_report
from chargeplan.output.study_schema import STUDY
from chargeplan.study.equipment import CAUTION
from chargeplan.study.file import read_study
from chargeplan.study.run import run_study


def data_of(worked):
    """The document, once through JSON, which refuses what is no number."""
    _, result, report = worked
    data = study_data(report, result.rows(), len(result.frame()))
    return json.loads(json.dumps(data, allow_nan=False))


def test_the_schema_is_one_and_nothing_is_left_undescribed():
    """The schema is valid itself, and names every key that the document has, all the way down."""
    jsonschema.Draft202012Validator.check_schema(STUDY)
    data = data_of(worked_out())
    jsonschema.validate(data, STUDY)

    def undescribed(value, schema, path=""):
        for option in schema.get("anyOf", [schema]):
            if isinstance(value, dict) and "properties" in option:
                for key, inner in value.items():
                    if key not in option["properties"]:
                        yield f"{path}.{key}"
                    else:
                        yield from undescribed(inner, option["properties"][key], f"{path}.{key}")
            if isinstance(value, list) and "items" in option:
                for inner in value[:2]:
                    yield from undescribed(inner, option["items"], path)

    assert list(undescribed(data, STUDY)) == []


@pytest.mark.parametrize("worked", [odd_text, None], ids=["odd names", "many"])
def test_other_studies_fit_the_schema(worked):
    data = data_of(many() if worked is None else worked_out(worked()))
    jsonschema.validate(data, STUDY)
    if worked is not None:
        assert data["lives"][1]["driving"] == ODD["driving"], "names are kept as they are"


def _never(one):
    """Let nothing be paid back."""
    return replace(one, choices=tuple(replace(choice, payback_years=math.inf) for choice in one.choices))


def test_numbers_are_those_of_the_answers():
    _, result, report = worked_out()
    data = data_of(worked_out())
    assert [row["car_cost"] for row in data["rows"]] == result.frame().car_cost.tolist()
    life, told = report.lives[0], data["lives"][0]
    assert [line["total"] for line in told["rates"]] == [line.total for line in life.rates]
    choice = next(x for x in life.equipment[0].choices if x.name == "large")
    found = next(x for x in told["equipment"][0]["choices"] if x["equipment"] == "large")
    assert found["payback_years"] == choice.payback_years > 0
    dear = replace(report, lives=(replace(life, equipment=(_never(life.equipment[0]),)), *report.lives[1:]))
    choices = study_data(dear, [], 0)["lives"][0]["equipment"][0]["choices"]
    assert all(x["payback_years"] is None for x in choices)
    assert found["outlay"] == pytest.approx(400 - 120)
    assert sum(item["amount"] for item in found["outlay_items"]) == pytest.approx(found["outlay"])
    assert found["paid_by_year"][0] == pytest.approx(280)
    assert found["saving_range"]["middle"] == choice.outlook.saving.middle
    assert data["panel"]["left_a"] == 35
    assert CAUTION[1:] in data["cautions"][0]
    assert (data["from"], data["to"], data["days"]) == ("2026-01-01", "2026-01-21", 21)
    assert data["warnings"][0]["what"].startswith("the study has 21 days")


def test_what_is_no_number_is_null():
    """A rate alone has no margin; a way that is not reckoned has no total; without driving 100 km cost nothing."""
    asked = read_study(
        "{name: O, from: 2026-01-01, to: 2026-01-07, households: demo, tariffs: flat, driving: {none: {scale: 0 %}}}"
    )
    asked = replace(asked, study=replace(asked.study, strategies=("optimal",)))
    result = run_study(asked.study, workers=1)
    data = data_of((asked, result, study_report(asked, result.frame())))
    jsonschema.validate(data, STUDY)
    (life,) = data["lives"]
    assert life["margin"]["rise"] is None
    assert life["rates"][0]["unshifted"] is None
    assert life["ways"][0]["per_100km"] is None
    assert data["rows"][0]["cost_per_100km"] is None


def test_too_many_rows_are_left_out_and_not_read():
    _, _, report = worked_out()

    def rows():
        raise AssertionError("they are not to be read")
        yield

    data = study_data(report, rows(), MOST_ROWS + 1)
    assert data["rows"] is None
    jsonschema.validate(json.loads(json.dumps(data, allow_nan=False)), STUDY)


def test_it_is_the_same_twice():
    asked = read_study(SHORT)
    again = run_study(asked.study, workers=1)
    assert data_of((asked, again, study_report(asked, again.frame()))) == data_of(worked_out())
