"""How mistakes are ordered, joined and printed."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from chargeplan.errors import ChargeplanError, FileError, InputError, Mistake, SolverError


def test_a_mistake_reads_like_a_compilers():
    """GNU coding standards, formatting error messages (from memory): file:line:column: message."""
    mistake = Mistake("home.yaml", 7, 3, "25:00 is not a time of day", "write 00:00 to 24:00")
    assert str(mistake) == "home.yaml:7:3: 25:00 is not a time of day; write 00:00 to 24:00"
    assert str(Mistake("home.yaml", 7, 3, "no")) == "home.yaml:7:3: no"


def test_a_file_error_lists_its_mistakes_once_in_the_order_of_lines():
    """Line 9 before line 10, column 2 before column 10, repeated ones once."""
    late, early = Mistake("a.yaml", 10, 1, "late"), Mistake("a.yaml", 9, 10, "early")
    first = Mistake("a.yaml", 9, 2, "first", "mend it")
    error = FileError(iter([late, early, first, early]))
    assert error.mistakes == (first, early, late)
    assert str(error) == "a.yaml:9:2: first; mend it\na.yaml:9:10: early\na.yaml:10:1: late"


@given(
    st.lists(st.builds(Mistake, st.just("a"), st.integers(1, 99), st.integers(1, 99), st.text(max_size=3)), min_size=1)
)
def test_the_order_given_does_not_matter(mistakes):
    """The same mistakes make the same error, whoever found them first."""
    assert str(FileError(mistakes)) == str(FileError(mistakes[::-1]))
    assert set(FileError(mistakes).mistakes) == set(mistakes)


@pytest.mark.parametrize(("kind", "code"), [(InputError, 2), (FileError, 2), (SolverError, 1)])
def test_exit_codes(kind, code):
    """Wrong input ends the command with 2, as usage errors do (common practice, no source); a failed solver with 1."""
    assert issubclass(kind, ChargeplanError)
    assert kind.exit_code == code
    assert issubclass(InputError, ValueError)
    assert issubclass(FileError, ValueError)
