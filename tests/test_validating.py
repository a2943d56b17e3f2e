"""From a model's complaints to plain words at the right place."""

from typing import Annotated, Literal

import pytest
from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from chargeplan.reading import read_document
from chargeplan.validating import check_document


def _even(value: int) -> int:
    if value % 2:
        raise ValueError(f"{value} is odd; write an even number")
    return value


class Shelf(BaseModel):
    model_config = ConfigDict(extra="forbid")
    height: int = Field(examples=[30])
    colour: Literal["red", "blue"] = "red"
    boxes: list[str] = []


class House(BaseModel):
    model_config = ConfigDict(extra="forbid")
    name: str = Field(max_length=10, examples=["Home"])
    rooms: float = Field(1.0, gt=0, le=20)
    lit: bool = True
    pairs: Annotated[int, AfterValidator(_even)] = 2
    shelves: list[Shelf] = Field([], max_length=3)
    by_name: dict[str, Shelf] = Field({}, alias="by name")
    where: dict[str, float] | None = None


def mistakes_of(text):
    reading = check_document(read_document("a.yaml", text=text), House)
    return [str(mistake) for mistake in reading.mistakes], reading


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("rooms: many", "rooms: `many` is not a number; write digits with at most one dot, like 0.31"),
        ("rooms:", "rooms: nothing is not a number; write digits with at most one dot, like 0.31"),
        ("rooms: [1]", "rooms: a list is not a number; write digits with at most one dot, like 0.31"),
        ("rooms: 0", "rooms: `0` is out of range; it must be greater than 0"),
        ("rooms: 21", "rooms: `21` is out of range; it must be less than or equal to 20"),
        ("lit: perhaps", "lit: `perhaps` is neither true nor false; write true or false"),
        ("pairs: 3", "pairs: 3 is odd; write an even number"),
        (
            "shelves: {height: 1}",
            "shelves: a mapping stands where a list is wanted; write a list, each item on a line after a dash",
        ),
        ("shelves: [red]", "`red` stands where a mapping is wanted; see the examples in the README for the form"),
        ("shelves: [{height: 1, colour: grey}]", "colour: `grey` is not known; write one of 'red' or 'blue'"),
        ("shelves: [{height: 1, boxes: [5]}]", "`5` is not text; put it in quotes if it is meant as text"),
        ("shelves: [{height: 1, box: 5}]", "`box` is not known here; did you mean `boxes`?"),
        ("shelves: [{height: 1, wheels: 5}]", "`wheels` is not known here; known are boxes, colour, height"),
        (
            "shelves: [{height: 1}, {colour: red}]",
            "`height` in item 2 of `shelves` is missing; add for example `height: 30`",
        ),
        (
            "shelves: [{height: 1}, {height: 1}, {height: 1}, {height: 1}]",
            "shelves: 4 entries are too many; 3 can be read",
        ),
        ("by name: {top: {}}", "`height` under `top` is missing; add for example `height: 30`"),
        ("by_name: {}", "`by_name` is not known here; did you mean `by name`?"),
        ("wheres: {}", "`wheres` is not known here; did you mean `where`?"),
        ("where: {a: 210 USD}", "a: `210 USD` is not a number; write it without currency or unit, like 210"),
        ("where: {a: b}", "a: `b` is not a number; write digits with at most one dot, like 0.31"),
        ("where: x", "where: `x` stands where a mapping is wanted; see the examples in the README for the form"),
    ],
)
def test_each_complaint_in_plain_words(line, message):
    """Each kind of complaint has one sentence and a remedy, on the right line."""
    messages, reading = mistakes_of(f"name: x\n{line}\n")
    assert [text.split(" ", 1)[1] for text in messages] == [message]
    assert messages[0].startswith("a.yaml:2:")
    assert reading.model is not None


@pytest.mark.parametrize(
    ("text", "messages"),
    [
        # What is needed is there, under another name; and what stands in it is checked all the same.
        ("{nmae: x}", ["1:2: `nmae` is not known here; did you mean `name`?"]),
        (
            "name: x\nshelfes:\n  - {heigth: 3, boxes: [5]}\n  - {height: tall, color: grey}\n",
            [
                "2:1: `shelfes` is not known here; did you mean `shelves`?",
                "3:6: `heigth` is not known here; did you mean `height`?",
                "3:25: `5` is not text;",
                "4:6: height: `tall` is not a whole number;",
                "4:20: `color` is not known here; did you mean `colour`?",
            ],
        ),
        # A value that does not fit the key that was guessed says only that the guess may be wrong.
        ("{name: x, room: many}", ["1:11: `room` is not known here; did you mean `rooms`?"]),
        ("{name: x, shelve: {height: 1}}", ["1:11: `shelve` is not known here; did you mean `shelves`?"]),
        # The right key is there too, or two keys might be it.
        ("{name: x, rooms: 3, room: 4}", ["1:21: `room` is not known here; did you mean `rooms`?"]),
        (
            "{name: x, room: 3, roms: 4}",
            [
                "1:11: `room` is not known here; did you mean `rooms`?",
                "1:20: `roms` is not known here; did you mean `rooms`?",
            ],
        ),
        ("{name: x, zebra: 4}", ["1:11: `zebra` is not known here; known are "]),
        ("{zebra: 4}", ["1:1: `name` is missing; ", "1:2: `zebra` is not known here; known are "]),
    ],
)
def test_a_misspelt_key_is_one_mistake(text, messages):
    """Nothing is said of what follows from it, and what is under it is read as it was meant, at its own place."""
    found, _ = mistakes_of(text)
    found.sort(key=lambda line: [int(number) for number in line.split(":")[1:3]])
    assert len(found) == len(messages)
    for line, message in zip(found, messages, strict=True):
        assert line.startswith(f"a.yaml:{message}")


def test_the_document_as_it_was_meant():
    """Later checks find values under the right key, and their places."""
    _, reading = mistakes_of("name: x\nby nam:\n  top: {height: 3}\n")
    assert reading.model.by_name["top"].height == 3
    assert reading.document.data == {"name": "x", "by name": {"top": {"height": 3}}}
    assert reading.document.places["by name", "top", "height"] == (3, 9)
    assert reading.broken == frozenset()


def test_a_decimal_comma_between_braces():
    """YAML makes two keys of it; the number is put together again for the other checks."""
    messages, reading = mistakes_of("{name: x, where: {top: 1, low: 0,25}}")
    assert messages == ["a.yaml:1:27: low: `0,25` has a decimal comma; write a decimal point, 0.25"]
    assert reading.model.where == {"top": 1.0, "low": 0.25}


def test_long_values_are_cut():
    """A long wrong value is shown by its beginning only."""
    messages, _ = mistakes_of(f"name: x\nrooms: {'many ' * 50}\n")
    assert messages == [
        f"a.yaml:2:1: rooms: `{('many ' * 50)[:56]}...` is not a number; write digits with at most one dot, like 0.31"
    ]


def test_what_is_needed_at_the_top_has_a_stand_in():
    """A missing name does not hide the mistakes further down."""
    messages, reading = mistakes_of("rooms: many\n")
    assert messages == [
        "a.yaml:1:1: `name` is missing; add for example `name: Home`",
        "a.yaml:1:1: rooms: `many` is not a number; write digits with at most one dot, like 0.31",
    ]
    assert reading.model.name == "Home"
    assert reading.broken == {("name",), ("rooms",)}


def test_all_at_once_and_at_their_places():
    """Wrong parts of a list do not move the others: every mistake keeps its own line."""
    messages, reading = mistakes_of("""name: x
shelves:
  - red
  - {colour: red}
  - {height: tall, colour: grey}
by name:
  top: {height: 1, boxes: x}
  low: blue
""")
    assert messages == [
        "a.yaml:3:5: `red` stands where a mapping is wanted; see the examples in the README for the form",
        "a.yaml:4:5: `height` in item 2 of `shelves` is missing; add for example `height: 30`",
        "a.yaml:5:6: height: `tall` is not a whole number; write digits only, like 3",
        "a.yaml:5:20: colour: `grey` is not known; write one of 'red' or 'blue'",
        "a.yaml:7:20: boxes: `x` stands where a list is wanted; write a list, like `[x]`",
        "a.yaml:8:3: low: `blue` stands where a mapping is wanted; see the examples in the README for the form",
    ]
    assert reading.model.shelves == []
    assert reading.model.by_name["top"].height == 1


def test_a_right_document_has_no_mistakes():
    """What is right comes through unchanged."""
    messages, reading = mistakes_of("{name: x, rooms: 3, shelves: [{height: 2}], where: {a: 1}}")
    assert messages == []
    assert reading.broken == frozenset()
    assert reading.model == House(name="x", rooms=3, shelves=[Shelf(height=2)], where={"a": 1})


class Street(BaseModel):
    shelves: list[Shelf]
    hours: list[str] = Field(examples=[["16:00"]])


def test_a_list_that_is_needed():
    """A list left out because one item is wrong is not called missing as well, with a stand-in or without."""
    for text, place in (
        ("{shelves: [{height: 1}], hours: [x, 5]}", 37),
        ("{shelves: [{height: 1}, 5], hours: [x]}", 25),
    ):
        reading = check_document(read_document("a.yaml", text=text), Street)
        assert [str(mistake).split(" ")[0] for mistake in reading.mistakes] == [f"a.yaml:1:{place}:"]
        assert (reading.model is None) == (place == 25)
