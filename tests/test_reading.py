"""Safe reading: what YAML means here, where everything stands, and what harm a file may try."""

import os
import tracemalloc

import pytest
import yaml
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from chargeplan.errors import FileError
from chargeplan.reading import MAX_ALIASES, MAX_BYTES, MAX_DEPTH, MAX_VALUES, read_document


def data_of(text):
    return read_document("a.yaml", text=text).data


def message_of(text, name="a.yaml"):
    with pytest.raises(FileError) as caught:
        read_document(name, text=text)
    return str(caught.value)


# ------------------------------------------------------------------------------------------------ what YAML means


@pytest.mark.parametrize(
    ("written", "value"),
    [
        # YAML 1.2.2 core schema, 10.3.2 (from memory); under YAML 1.1 these would be other things.
        *[("16:00", "16:00"), ("22:30", "22:30"), ("1:20:30", "1:20:30"), ("2026-07-04", "2026-07-04")],
        *[("on", "on"), ("off", "off"), ("yes", "yes"), ("no", "no"), ("NO", "NO"), ("y", "y")],
        *[("0777", 777), ("0o17", "0o17"), ("0x1F", "0x1F"), ("1_000", "1_000"), ("0b1", "0b1")],
        *[
            ("12", 12),
            ("-3", -3),
            ("+3", 3),
            ("0.31", 0.31),
            (".5", 0.5),
            ("5.", 5.0),
            ("1e3", 1000.0),
            ("-1.5E-2", -0.015),
        ],
        *[("true", True), ("False", False), ("TRUE", True), ("null", None), ("~", None), ("", None), ("Null", None)],
        *[(".inf", ".inf"), (".nan", ".nan"), ("NaN", "NaN"), ("inf", "inf")],
        *[("'12'", "12"), ('"0.31"', "0.31"), ("'true'", "true"), ("=", "="), ("'<<'", "<<")],
        *[("5 %", "5 %"), ("0.42 per day", "0.42 per day"), ("٣", "٣"), ("1,5", "1,5")],
    ],
)
def test_scalars(written, value):
    """YAML 1.2: times, dates, on, off and no stay text; .inf and .nan stay text too, as no price is infinite."""
    read = data_of(f"key: {written}\n")["key"]
    assert read == value
    assert type(read) is type(value)


def test_the_norway_problem():
    """Known trap of YAML 1.1: `NO` and `on` as keys and values are text here; ON is Ontario."""
    assert data_of("{no: NO, on: off, 5: y, null: n}") == {"no": "NO", "on": "off", "5": "y", "null": "n"}


def test_aliases_are_values_written_once():
    """An anchor and its alias give the same value, in mappings and lists."""
    assert data_of("a: &x [1, 2]\nb: *x\nc: {d: *x}") == {"a": [1, 2], "b": [1, 2], "c": {"d": [1, 2]}}


def test_places():
    """Lines and columns count from 1, as editors show them; a mapping's value has the place of its key."""
    document = read_document(
        "a.yaml", text="name: x\nprices:\n  summer: {peak: 1, äöü: 2, 'off': 3}\nlist:\n- a\n-  - b\n"
    )
    assert document.places == {
        (): (1, 1),
        ("name",): (1, 1),
        ("prices",): (2, 1),
        ("prices", "summer"): (3, 3),
        ("prices", "summer", "peak"): (3, 12),
        ("prices", "summer", "äöü"): (3, 21),
        ("prices", "summer", "off"): (3, 29),
        ("list",): (4, 1),
        ("list", 0): (5, 3),
        ("list", 1): (6, 4),
        ("list", 1, 0): (6, 6),
    }
    assert str(document.mistake(("prices", "summer", "spring", "peak"), "no")) == "a.yaml:3:3: no"
    assert str(document.mistake(("nothing",), "no")) == "a.yaml:1:1: no"


def test_a_message_is_one_line_without_terminal_codes():
    """Line breaks and escape sequences that a value holds do not reach the message about it (ECMA-48, from memory)."""
    document = read_document("a.yaml", text='a: "x\\e[31m\\n\\0"\n')
    assert str(document.mistake(("a",), f"`{document.data['a']}` is wrong")) == "a.yaml:1:1: `x [31m  ` is wrong"
    assert (
        message_of('"a\\nb": 1\n"a\\nb": 2\n') == "a.yaml:2:1: `a b` is given twice, first on line 1; keep one of them"
    )


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
def test_line_endings(ending):
    """Unix, Windows and old Macintosh files count the same lines."""
    text = ending.join(["name: x", "note: y", "bad: !tag z", ""])
    assert message_of(text) == f"a.yaml:3:6: '!tag' {NO_TAGS}"
    assert message_of(ending.join(["name: x", "note: ä\x07"])).startswith("a.yaml:2:8: ")
    assert message_of(ending.join(["name: x", "note: ä"]).encode() + b"\xff").startswith("a.yaml:2:8: ")
    assert message_of(ending.join(["name:", "\tnote: x"])).startswith("a.yaml:2:1: ")


def test_a_byte_order_mark_is_no_mistake():
    """Editors on Windows put U+FEFF first; it counts as nothing, in text and in bytes."""
    for text in ("\ufeffname: x", "\ufeffname: x".encode()):
        document = read_document("a.yaml", text=text)
        assert document.data == {"name": "x"}
        assert document.places["name",] == (1, 1)


# ------------------------------------------------------------------------------------------------ mistakes

NO_TAGS = "is a tag, and tags are not read; remove it"
NO_MERGE = "merging with << is not read; name the hours once under `periods:` instead"
NO_NUMBER = "is not a number that can be read; write digits with at most one dot"
QUOTES = "put quotes around the text, or a line break before it"
EMPTY = "a.yaml:1:1: the file is empty; see the sheets in tariffs/ for what to write"
NO_MAPPING = "a.yaml:1:1: the file is not a list of `key: value` lines; start with `name:`"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", EMPTY),
        ("   \n\n", EMPTY),
        ("# only a comment\n", EMPTY),
        ("---\n", EMPTY),
        ("\ufeff", EMPTY),
        ("~", NO_MAPPING),
        ("- a\n- b\n", NO_MAPPING),
        ("just words", NO_MAPPING),
        ("42", NO_MAPPING),
        ("a: 1\nb: 2\na: 3\n", "a.yaml:3:1: `a` is given twice, first on line 1; keep one of them"),
        ("{a: {b: 1, b: 2}}", "a.yaml:1:12: `b` is given twice, first on line 1; keep one of them"),
        ("a:\n\tb: 1\n", "a.yaml:2:1: a tab is used to indent; use spaces"),
        ("a: 1\n  \tb: 1\n", "a.yaml:2:3: a tab is used to indent; use spaces"),
        ("a: 16:00: 1\n", "a.yaml:1:9: a second `:` on this line; " + QUOTES),
        ("a: *x\n", "a.yaml:1:4: found undefined alias; write the anchor (&name) before its alias (*name)"),
        ("a: 1\n---\nb: 2\n", "a.yaml:2:1: the file holds more than one document (---); keep one per file"),
        ("a: !!python/name:os.system x", f"a.yaml:1:4: 'tag:yaml.org,2002:python/name:os.system' {NO_TAGS}"),
        ("a: !secret x", f"a.yaml:1:4: '!secret' {NO_TAGS}"),
        ("a: !!binary aGk=", f"a.yaml:1:4: 'tag:yaml.org,2002:binary' {NO_TAGS}"),
        ("a: !!set {b}", f"a.yaml:1:4: 'tag:yaml.org,2002:set' {NO_TAGS}"),
        ("!secret a: x", f"a.yaml:1:1: '!secret' {NO_TAGS}"),
        ("a: &x {b: 1}\nc:\n  <<: *x\n", f"a.yaml:3:3: {NO_MERGE}"),
        ("? [a, b]\n: 1\n", "a.yaml:1:3: a name on the left of `:` must be plain text; write `name: value`"),
        ("a: !!int x\n", f"a.yaml:1:4: `x` {NO_NUMBER}"),
        ("a: " + "9" * 5000, f"a.yaml:1:4: `{'9' * 40}` {NO_NUMBER}"),
        ("a: b\x07\n", "a.yaml:1:5: the character U+0007 is not allowed in YAML; remove it"),
        ("ä: ö\nü: ß\x00\n", "a.yaml:2:5: the character U+0000 is not allowed in YAML; remove it"),
        ("a: b\ud800\n", "a.yaml:1:5: the file is not UTF-8 text; save it as UTF-8"),
        (b"name: x\nb\xe4: 1\n", "a.yaml:2:2: the file is not UTF-8 text; save it as UTF-8"),
        ("name: ä".encode("utf-16"), "a.yaml:1:1: the file is not UTF-8 text; save it as UTF-8"),
    ],
)  # fmt: skip
def test_each_mistake(text, message):
    """One plain line for each kind of mistake, at its place, with what would be right."""
    assert message_of(text) == message


@pytest.mark.parametrize(
    "text",
    [
        "a: [1, 2\n",
        "a: {b: 1\n",
        "a: 'b\n",
        "a: b\n c: d\n  - e",
        "}",
        "a: %x",
        "@a: b",
        "%YAML 3.0\n---\na: b",
        "a: |2x",
    ],
)
def test_other_broken_yaml(text):
    """Brackets, quotes and the rest are left to the parser, but the place and a remedy are always there."""
    message = message_of(text)
    assert message.startswith("a.yaml:")
    assert "\n" not in message
    assert message.endswith("; check brackets, quotes, colons and indentation") or "second `:`" in message


def test_all_mistakes_of_one_kind_at_once():
    """Repeated keys, tags and merges of one file are all reported, in the order of lines."""
    assert message_of("a: 1\na: 2\nb: !x 3\nc: &d {}\ne: {<<: *d}\n").splitlines() == [
        "a.yaml:2:1: `a` is given twice, first on line 1; keep one of them",
        f"a.yaml:3:4: '!x' {NO_TAGS}",
        f"a.yaml:5:5: {NO_MERGE}",
    ]


# ------------------------------------------------------------------------------------------------ files


def test_files(tmp_path):
    """A file is read by its path; one that cannot be read is an error at line 1 with the name the user gave."""
    good = tmp_path / "good.yaml"
    good.write_bytes("näme: x\r\n".encode())
    assert read_document(good).data == {"näme": "x"}
    assert read_document(str(good)).file == str(good)
    missing = tmp_path / "none.yaml"
    with pytest.raises(FileError) as caught:
        read_document(missing)
    assert str(caught.value) == f"{missing}:1:1: cannot read the file: No such file or directory; check the name"
    with pytest.raises(FileError) as caught:
        read_document(tmp_path)
    assert str(caught.value) == f"{tmp_path}:1:1: this is not a file; name a YAML file"
    with pytest.raises(FileError, match="cannot read the file: embedded null byte; check the name"):
        read_document("a\0b.yaml")


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_not_waited_for(tmp_path):
    """A named pipe would block for ever: it is refused like a folder."""
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileError, match=r"pipe:1:1: this is not a file; name a YAML file$"):
        read_document(tmp_path / "pipe")


def test_fifty_megabytes_are_not_read(tmp_path):
    """A file of 50 MB is refused after one megabyte of it was read."""
    large = tmp_path / "large.yaml"
    with large.open("wb") as stream:
        stream.truncate(50_000_000)
    tracemalloc.start()
    with pytest.raises(FileError) as caught:
        read_document(large)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert str(caught.value) == (
        f"{large}:1:1: the file is larger than 1,000 kB; "
        "a rate sheet or household file is a few kB; is this the right file?"
    )
    assert peak < 5 * MAX_BYTES


def test_size_counts_bytes():
    """The limit of 1 MB holds for text as for bytes, to the byte."""
    fits = "a: " + "ä" * ((MAX_BYTES - 4) // 2) + "b"
    assert len(fits.encode()) == MAX_BYTES
    assert len(data_of(fits)["a"]) == (MAX_BYTES - 4) // 2 + 1
    for larger in (fits + "b", (fits + "b").encode()):
        assert "larger than 1,000 kB" in message_of(larger)


# ------------------------------------------------------------------------------------------------ harm


def nested(depth, opening, closing):
    return "a: " + opening * depth + closing * depth


@pytest.mark.parametrize(("opening", "closing"), [("[", "]"), ("{b: ", "}")])
def test_depth(opening, closing):
    """20 levels are read, 21 are not; of 100,000 no more is looked at than of 21, or than the parser's own limit."""
    assert data_of(nested(MAX_DEPTH - 1, opening, closing))
    deep = "more than 20 levels inside each other; a file of this kind needs far fewer"
    column = 3 + len(opening) * (MAX_DEPTH - 1) + 1
    assert message_of(nested(MAX_DEPTH, opening, closing)) == f"a.yaml:1:{column}: {deep}"
    assert message_of(nested(100_000, opening, closing)).endswith(deep)


def test_deep_indentation():
    """Levels made by indentation are counted like those made by brackets."""
    text = "".join(" " * level + "a:\n" for level in range(1000))
    assert (
        message_of(text) == "a.yaml:21:21: more than 20 levels inside each other; a file of this kind needs far fewer"
    )


def test_anchor_bomb():
    """The "billion laughs" of ten lines, each nine times the one before (a known attack on XML, 2003; from memory)."""
    lines = ["a0: &a0 lol"] + [f"a{n}: &a{n} [{', '.join([f'*a{n - 1}'] * 9)}]" for n in range(1, 10)]
    tracemalloc.start()
    message = message_of("\n".join(lines))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert message.endswith("aliases (*name) make the file too large when unfolded; write the values out instead")
    assert "\n" not in message
    assert peak < 100e6


def test_a_value_inside_itself():
    """An alias to the list it stands in has no end: it is refused."""
    for text in ("a: &a [*a]", "a: &a [*a, *a, *a]", "a: &a {b: *a, c: *a}", "&a {b: *a}"):
        assert "aliases (*name) make the file too large when unfolded" in message_of(text)


def test_many_aliases():
    """200 aliases are read, 201 are not."""
    assert len(data_of("a: &a 1\nb: [" + ", ".join(["*a"] * MAX_ALIASES) + "]")["b"]) == MAX_ALIASES
    message = message_of("a: &a 1\nb: [" + ", ".join(["*a"] * (MAX_ALIASES + 1)) + "]")
    assert message.endswith("more than 200 aliases (*name); a file of this kind needs far fewer")


def test_many_values():
    """50,000 values are the most that is read, names on the left of a colon included."""
    assert len(data_of("a: [" + "1," * (MAX_VALUES - 3) + "]")["a"]) == MAX_VALUES - 3
    too_many = "more than 50,000 values; a file of this kind needs far fewer"
    assert message_of("a: [" + "1," * (MAX_VALUES - 2) + "]") == f"a.yaml:1:{5 + 2 * (MAX_VALUES - 3)}: {too_many}"
    assert message_of("".join(f"k{n}: 1\n" for n in range(25_000))) == f"a.yaml:25000:9: {too_many}"


@pytest.mark.parametrize(
    "text",
    [
        "a: [" + "1," * 400_000 + "]",
        "? " * 300_000,
        "- " * 300_000,
        "[" * 900_000,
        "{" * 900_000,
        "&a " * 300_000,
        "*a " * 300_000,
        "a: '" + "''" * 400_000 + "'",
        'a: "' + "\\x41" * 200_000 + '"',
        "a: " + "x " * 400_000,
        "a: |\n" + " x\n" * 300_000,
        "\n" * 900_000 + "a: b",
        "#" * 900_000,
        "a: " + "!" * 900_000,
        "".join(f"k{n}: 1\n" for n in range(60_000)),
        "%TAG ! a\n" * 80_000,
        "\t" * 900_000,
        ":" * 900_000,
        "a: >-\n" + "\n" * 900_000,
    ],
    ids=lambda text: text[:8].replace("\n", "/"),
)
def test_large_files_of_one_character(text):
    """Just under 1 MB of the same thing over and over is read or refused, and at once: else these tests would hang."""
    try:
        read_document("a.yaml", text=text)
    except FileError as error:
        places = [(mistake.line, mistake.column) for mistake in error.mistakes]
    else:
        places = [(1, 1)]
    assert min(places) >= (1, 1)


# ------------------------------------------------------------------------------------------------ fuzz

PIECES = st.sampled_from(
    [
        *"[]{},:-?&*!|>'\"%@`#~\\ \n\t\r",
        ": ",
        "- ",
        "? ",
        "&a ",
        "*a ",
        "<<: ",
        "--- ",
        "...",
        "a",
        "b: 1",
        "\n  ",
        "é",
        "\x85",
    ]
)


def check_reading(text):
    """Either data with places, or an error with places: nothing else."""
    mistakes = []
    try:
        document = read_document("a.yaml", text=text)
    except FileError as error:
        mistakes = error.mistakes
    else:
        assert isinstance(document.data, dict)
        mistakes = [document.mistake(path, "fine", "nothing") for path in document.places]
    assert mistakes
    for mistake in mistakes:
        assert mistake.line >= 1
        assert mistake.column >= 1
        assert mistake.remedy
        assert str(mistake).isprintable()


@settings(max_examples=400, deadline=None)
@given(st.lists(PIECES, max_size=60).map("".join))
def test_pieces_of_yaml(text):
    """Random strings of YAML's own signs never bring another kind of error."""
    check_reading(text)


@settings(max_examples=300, deadline=None)
@given(st.one_of(st.binary(max_size=200), st.text(st.characters(), max_size=200)))
def test_bytes_and_text(text):
    """Neither do random bytes, nor random text with any code points, surrogates included."""
    check_reading(text)


PLAIN = st.recursive(
    st.one_of(st.none(), st.booleans(), st.integers(-(10**9), 10**9), st.text(max_size=12), st.floats(-1e9, 1e9)),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=8), inner, max_size=4)),
    max_leaves=20,
)


@settings(max_examples=200, deadline=None)
@given(st.dictionaries(st.text(max_size=8), PLAIN, min_size=1, max_size=5))
def test_what_pyyaml_writes_is_read_back(data):
    """Plain data that PyYAML wrote, every text in quotes, comes back equal; PyYAML is the reference."""
    text = yaml.safe_dump(data, default_style='"', allow_unicode=False).replace('!!null "null"', "null")
    text = text.replace('!!bool "true"', "true").replace('!!bool "false"', "false")
    assume('"<<"' not in text)
    assert data_of(text) == data
