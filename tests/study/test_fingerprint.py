"""A fingerprint changes with everything that decides results, and with nothing else."""

import pickle
import re
from dataclasses import dataclass, field, fields, replace
from datetime import date
from enum import Enum
from functools import cached_property, partial
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from run_cases import DEMO, LOAD, RATES, study

from chargeplan.errors import InputError
from chargeplan.study.chunks import Chunk, Cut
from chargeplan.study.driving import Driving
from chargeplan.study.fingerprint import fingerprint_of_chunk, fingerprint_of_study
from chargeplan.study.study import RoadCharging, Study, Unit, units
from chargeplan.tariff import load_tariff, read_tariff

SHEET = """
name: Two periods
currency: USD
timezone: America/Denver
periods: {peak: 16:00-21:00 on weekdays, off-peak: rest}
prices: {peak: 0.42, off-peak: 0.18}
"""


def of_study(given_study):
    return fingerprint_of_study(given_study, Cut.of(given_study, 4))


def of_unit(unit):
    return fingerprint_of_chunk(Chunk(0, (unit,)))


UNIT = next(units(study()))
UNIT_CHANGES = {
    "household_name": "z",
    "driving_name": "z",
    "draw": 1,
    "household": replace(DEMO, prefer="earliest"),
    "driving": Driving(spread=0.6),
    "tariffs": {"flat": RATES["flat"]},
    "equipment": {},
    "house": None,
    "first": date(2026, 3, 2),
    "days": 13,
    "road": RoadCharging(0.5),
    "aim": "enough",
    "seed": (2, 0),
    "strategies": ("optimal",),
}
STUDY_CHANGES = {
    "name": "z",
    "households": {"a": DEMO},
    "tariffs": {"flat": RATES["flat"]},
    "first": date(2026, 3, 2),
    "days": 13,
    "equipment": {"own": None},
    "driving": {"varied": Driving(spread=0.6)},
    "house": {},
    "road": RoadCharging(0.5),
    "aim": "enough",
    "seed": 2,
    "draws": 2,
    "alike": {"b": "a"},
    "strategies": ("optimal",),
}


def test_every_field_of_a_unit_counts():
    """None is forgotten, and none has the print of another."""
    assert set(UNIT_CHANGES) == {part.name for part in fields(Unit)}
    changed = [of_unit(replace(UNIT, **{name: value})) for name, value in UNIT_CHANGES.items()]
    assert len({*changed, of_unit(UNIT)}) == len(UNIT_CHANGES) + 1


def test_every_field_of_a_study_counts():
    """None is forgotten; so does the cut."""
    assert set(STUDY_CHANGES) == {part.name for part in fields(Study)}
    changed = [of_study(replace(study(), **{name: value})) for name, value in STUDY_CHANGES.items()]
    other_cut = fingerprint_of_study(study(), Cut.of(study(), 8))
    assert len({*changed, of_study(study()), other_cut}) == len(STUDY_CHANGES) + 2


@pytest.mark.parametrize(
    ("old", "new"), [("0.42", "0.43"), ("16:00", "17:00"), ("weekdays", "weekends"), ("USD", "CAD")]
)
def test_what_a_sheet_says_counts(old, new):
    """One price, one hour, one word."""
    prints = [of_unit(replace(UNIT, tariffs={"a": read_tariff(text)})) for text in (SHEET, SHEET.replace(old, new))]
    assert prints[0] != prints[1]
    assert of_unit(replace(UNIT, tariffs={"a": read_tariff(SHEET)})) == prints[0]


def test_the_order_of_names_counts():
    """It is that of the rows."""
    turned = dict(reversed(RATES.items()))
    assert of_study(study(tariffs=turned)) != of_study(study())


def test_use_copies_and_passing_on_do_not_count():
    """What is cached, which objects are shared, and a way through pickle are no content."""
    tariff = read_tariff(SHEET)
    unit = replace(UNIT, tariffs={"a": tariff, "b": tariff})
    before = of_unit(unit)
    tariff.prices("2026-01-01", "2027-01-01", "1 h")
    assert of_unit(unit) == before
    assert of_unit(replace(unit, tariffs={"a": tariff, "b": read_tariff(SHEET)})) == before
    assert of_unit(pickle.loads(pickle.dumps(unit))) == before


def named():
    """Any function with a name."""


class Kind(Enum):
    """Any."""

    ONE = 1
    TWO = 2


class Plain:
    """No dataclass, with something that is worked out on demand."""

    def __init__(self, value):
        self.value = value

    @cached_property
    def twice(self):
        return 2 * self.value


@dataclass
class Derived:
    """With a field that follows from the other."""

    value: int
    twice: int = field(init=False, default=0)


@dataclass
class Any:
    """Stands for a driving of the user's own."""

    value: object


VALUES = [
    None,
    0,
    1,
    True,
    1.0,
    -0.0,
    "1",
    b"1",
    (),
    (1,),
    ((1,),),
    (1, 2),
    (12,),
    ("a", "bc"),
    ("ab", "c"),
    {},
    {"a": 1},
    {1: "a"},
    set(),
    {1, 2},
    np.array([1, 2]),
    np.array([1.0, 2.0]),
    np.array([[1, 2]]),
    np.array([1, 2], dtype=object),
    np.float64(1.0),
    date(2026, 1, 1),
    Path("a"),
    Kind.ONE,
    Kind.TWO,
    re.compile("a"),
    re.compile("b"),
    named,
    Kind,
    RATES["flat"].prices,
    DEMO.is_holiday,
    partial(named, 1),
    partial(named, 2),
    Plain(1),
    Plain(2),
    Derived(1),
    Derived(2),
]


def test_unlike_values_have_unlike_prints():
    """Types, nesting and lengths count."""
    prints = {}
    for value in VALUES:
        prints.setdefault(of_unit(replace(UNIT, driving=Any(value))), []).append(value)
    assert [same for same in prints.values() if len(same) > 1] == []


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ([1, 2], (1, 2)),
        ({"a": 1}, MappingProxyType({"a": 1})),
        ({1, 2, "a", "b"}, frozenset(["b", "a", 2, 1])),
        (np.arange(6)[::2], np.array([0, 2, 4])),
        (Plain(1), Plain(1)),
    ],
    ids=["list and tuple", "mapping", "set", "array", "object"],
)
def test_like_values_have_like_prints(one, other):
    """However they are written."""
    before = of_unit(replace(UNIT, driving=Any(one)))
    if isinstance(one, Plain):
        assert one.twice == 2
    assert before == of_unit(replace(UNIT, driving=Any(one))) == of_unit(replace(UNIT, driving=Any(other)))


def test_what_holds_itself_has_a_print():
    """It does not go round for ever."""
    ring = [1]
    ring.append(ring)
    assert of_unit(replace(UNIT, driving=Any(ring))) == of_unit(replace(UNIT, driving=Any(ring)))


@given(st.recursive(st.none() | st.integers() | st.text(max_size=3), lambda deep: st.lists(deep, max_size=3)))
def test_a_print_is_that_of_content(value):
    """A copy through pickle has the same."""
    unit, copied = (replace(UNIT, driving=Any(v)) for v in (value, pickle.loads(pickle.dumps(value))))
    assert of_unit(unit) == of_unit(copied)
    assert of_unit(unit) != of_unit(replace(UNIT, driving=Any([value])))


def test_what_has_no_name_is_refused():
    """Two functions without a name could not be told apart."""
    for value in (lambda: 1, partial(lambda: 1)):
        with pytest.raises(InputError, match="which has no name by which a later run would know it; use a function"):
            of_unit(replace(UNIT, driving=Any(value)))
    with pytest.raises(InputError, match=r"it cannot be told what a .*generator.* holds"):
        of_unit(replace(UNIT, driving=Any(n for n in ())))


def test_a_house_load_of_ones_own_counts():
    """By its class and what it holds."""

    assert of_unit(replace(UNIT, house=LOAD)) != of_unit(replace(UNIT, house=replace(LOAD, per_day_kwh=21.0)))
    assert of_unit(replace(UNIT, house=Plain(1))) != of_unit(replace(UNIT, house=Plain(2)))


def test_a_sheet_is_the_same_wherever_it_lies(tmp_path):
    """The package may be installed elsewhere, and a folder may be moved, between two runs."""
    prints = set()
    for folder in ("one", "other"):
        (tmp_path / folder).mkdir()
        (tmp_path / folder / "sheet.yaml").write_text(SHEET, encoding="utf-8")
        prints.add(of_unit(replace(UNIT, tariffs={"a": load_tariff(tmp_path / folder / "sheet.yaml")})))
    assert len(prints) == 1
