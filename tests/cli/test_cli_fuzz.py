"""Anything at all on the command line and in the files: an exit code from 0 to 3 and a message, never a traceback."""

import os
import string

import pytest
from click.testing import CliRunner
from household_cases import EXAMPLES, text_of
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.cli import main
from chargeplan.tariff import shipped_sheets
from chargeplan.tariff.loading import shipped_folder

FUZZ = settings(
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture],
)
DIGITS = st.text("0123456789-:. T+Z%", max_size=24)
SHARES = st.sampled_from(["55 %", "0 %", "100 %", "0.5", "1", "101 %", "-1 %", "1e999 %", "5e-324 %", "nan", "inf %"])
MOMENTS = st.sampled_from(
    [
        *["2026-11-25 20:00", "2026-03-08 02:30", "2026-11-01 01:30", "2026-11-01T01:30-07:00", "2028-02-29", "24:00"],
        *["0001-01-01 00:00", "9999-12-31 23:59", "9999-12-31T23:59-23:59", "0001-01-01T00:00+23:59", "07:15", "7:15"],
        *["1971-01-01 12:00", "2199-12-31 12:00", "2026-W48-3", "20261125T200000.5", "2026-11-25 20:00:59"],
    ]
)
INSTANTS = MOMENTS | st.datetimes().map(str) | st.dates().map(str) | st.times().map(str)
ANYTHING = st.text(max_size=20) | DIGITS


def run(*arguments):
    """Run the command in process, and hold it to what its exit code promises."""
    result = CliRunner().invoke(main, list(arguments))
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    assert result.exit_code in (0, 1, 2, 3)
    assert "Traceback" not in result.stderr
    if result.exit_code in (0, 3):
        assert result.stdout.endswith("\n")
        assert "\x1b" not in result.stdout
    else:
        assert result.stderr.strip() or '"good": false' in result.stdout, "says what is wrong"
        # What the user typed is not echoed with its control characters; usage errors are click's own.
        assert result.stderr.replace("\n", "").isprintable() or "Usage: " in result.stderr
    return result


def options(draw, choices):
    """Draw some options with values, right ones more often than wrong ones."""
    arguments = []
    for name, values in choices.items():
        if draw(st.integers(0, 3)) == 0:
            # With "=", a value may begin with a dash.
            arguments.append(f"{name}={draw(values)}")
    return arguments


@settings(FUZZ, max_examples=400)
@given(st.data())
def test_any_option_of_a_plan(data):
    """`tonight` and `days` with any option values: an exit code from 0 to 3, and a plan or a message."""
    command = data.draw(st.sampled_from(["tonight", "days"]))
    choices = {
        "--soc": SHARES | ANYTHING,
        "--target": SHARES | ANYTHING,
        "--solver": st.sampled_from(["auto", "highs", "merit order", "", "pulp:"]) | st.text(max_size=8),
        "--prefer": st.sampled_from(["earliest", "latest", "fewest starts", ""]) | st.text(max_size=8),
    }
    if command == "tonight":
        choices["--leave"] = INSTANTS | ANYTHING
    else:
        choices["--days"] = st.integers(-3, 20).map(str) | st.sampled_from(["367", "1e3", "9" * 30]) | ANYTHING
    arguments = options(data.draw, choices)
    now = data.draw(st.just("2026-11-25 20:00") | st.just("2026-11-25 07:14") | INSTANTS | ANYTHING)
    flags = data.draw(st.lists(st.sampled_from(["--plugged-in", "--json", "--csv"]), max_size=2))
    run(command, data.draw(st.sampled_from(EXAMPLES)), f"--now={now}", *arguments, *flags)


@settings(FUZZ, max_examples=120)
@given(st.data())
def test_any_option_of_prices(data):
    """`prices` with any date, present and name of a sheet."""
    sheet = data.draw(st.sampled_from(shipped_sheets()) | st.sampled_from(shipped_sheets()) | ANYTHING)
    choices = {"--date": INSTANTS | ANYTHING, "--now": INSTANTS | ANYTHING}
    flags = data.draw(st.lists(st.sampled_from(["--json", "--csv"]), max_size=1))
    run("prices", *options(data.draw, choices), *flags, "--", sheet)


@settings(FUZZ, max_examples=200)
@given(data=st.data())
def test_any_file(data, tmp_path):
    """Any content of a file, for every command that reads one: random bytes, or a good file with bytes changed."""
    sheets = [(shipped_folder() / f"{name}.yaml").read_bytes() for name in ("summer-peak", "night-owl", "flat")]
    good = [text_of(name).encode() for name in EXAMPLES] + sheets
    content = data.draw(st.sampled_from(good) | st.binary(max_size=80))
    for _ in range(data.draw(st.integers(0, 4))):
        at = data.draw(st.integers(0, len(content)))
        cut = data.draw(st.integers(0, 3))
        put = data.draw(st.binary(max_size=3) | st.text(string.printable, max_size=4).map(str.encode))
        content = content[:at] + put + content[at + cut :]
    path = tmp_path / "any.yaml"
    path.write_bytes(content)
    now = ("--now", "2026-11-25 20:00")
    command = data.draw(
        st.sampled_from(
            [("tonight", *now), ("days", *now, "--days", "2"), ("prices", *now), ("check",), ("check", "--json")]
        )
    )
    run(*command, str(path))


@settings(FUZZ, max_examples=60)
@given(
    st.lists(ANYTHING | st.sampled_from(["tonight", "days", "demo", "--json", "-h", "--", "-", "--now"]), max_size=5)
)
def test_any_arguments(tmp_path, arguments):
    """Any words at all after `chargeplan`."""
    before = os.getcwd()
    os.chdir(tmp_path)
    try:
        result = CliRunner().invoke(main, arguments)
    finally:
        os.chdir(before)
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    assert result.exit_code in (0, 1, 2, 3)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("value", ["\x1b[31mred", "a\nb", "a\rb", "\x07", "\u202e"])
@pytest.mark.parametrize("option", ["--soc", "--target", "--leave", "--now", "--solver", "--prefer"])
def test_control_characters_are_not_echoed(option, value):
    """A value with terminal codes or line breaks is not printed as such in the message about it."""
    result = run("tonight", "demo", *([] if option == "--now" else ["--now", "2026-11-25 20:00"]), f"{option}={value}")
    assert result.exit_code == 2
    assert result.stderr.count("\n") == 1
