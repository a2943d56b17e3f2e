"""What a study answers: each answer is that of the function it comes from, and what cannot be is refused."""

from dataclasses import replace
from datetime import date

import pandas as pd
import pytest

import chargeplan
from chargeplan.charging import Circuit, Evse
from chargeplan.errors import InputError
from chargeplan.study.answers import MOST_LIVES, Question, answer
from chargeplan.study.cell import unit_rows
from chargeplan.study.compare import Elsewhere, Gasoline
from chargeplan.study.driving import Driving
from chargeplan.study.equipment import Equipment
from chargeplan.study.rates import break_even
from chargeplan.study.stop_worth import stop_worth
from chargeplan.study.study import Study, units

HOME = chargeplan.load_household("demo")
RATES = {name: chargeplan.load_tariff(name) for name in ("summer-peak", "winter-evenings")}
OUTLET = Equipment("outlet", Circuit(15, volts=120), Evse(12))


def study(**changed):
    given = {"households": {"demo": HOME}, "tariffs": RATES, "first": date(2026, 1, 1), "days": 120}
    return Study("answers", **{**given, **changed})


def rows_of(of):
    return pd.DataFrame([row.as_dict() for unit in units(of) for row in unit_rows(unit)])


def test_answers_are_those_of_their_functions():
    of = study(equipment={"as it is": None, "outlet": OUTLET}, draws=2, driving={"usual": Driving(spread=0.3)})
    question = Question(
        "summer-peak",
        "as it is",
        elsewhere=(Elsewhere("fast", 0.55, 50, dc=True),),
        gasoline=Gasoline(0.95, 7.6),
    )
    found = answer(of, rows_of(of), question)
    assert len(found.rates) == 4
    assert [margin.equipment for margin in found.margins] == ["as it is", "outlet"]
    cheapest = found.rates[found.rates.equipment == "as it is"].tariff.iloc[0]
    assert [one.tariff for one in found.equipment] == list(dict.fromkeys(["summer-peak", cheapest]))
    assert set(found.ways.way) == {"optimal", "timer", "at once", "fast", "gasoline"}
    unit = next(units(replace(of, draws=1)))
    unit = replace(unit, equipment={"as it is": None})
    assert [stop.worth for stop in found.stops] == stop_worth(unit, "workplace")
    ranked = found.rates[found.rates.equipment == "as it is"].tariff.tolist()
    assert [m.at for m in found.meetings] == list(break_even(replace(unit, tariffs=RATES), *ranked[:2]))
    assert found.left_out == ()


def test_many_households_are_not_planned_anew():
    of = study(households={f"home {n}": HOME for n in range(MOST_LIVES + 1)}, days=7)
    found = answer(of, rows_of(of), Question("summer-peak", "as it is"))
    assert (found.meetings, found.stops) == ((), ())
    assert found.left_out == ("break-evens and what stops are worth, for 13 households and ways of driving",)
    assert len(found.rates) == 26


def test_what_cannot_be_answered():
    of = study(days=7)
    rows = rows_of(of)
    with pytest.raises(InputError, match="`sun`, is not in the study; name one of `as it is`"):
        answer(of, rows, Question("summer-peak", "sun"))
    with pytest.raises(InputError, match="EUR and USD, which cannot be compared"):
        answer(of, pd.concat([rows, rows.assign(currency="EUR")]), Question("summer-peak", "as it is"))
