"""The state of charge tonight: given, read from a file that something else writes, or estimated."""

import json
import os
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest
from household_cases import changed
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from chargeplan.errors import InputError
from chargeplan.household import load_household, plan_days, plan_tonight
from chargeplan.household.state_of_charge import StateOfCharge, StateOfChargeFile
from chargeplan.household.state_of_charge import given as soc_given
from chargeplan.output.plan_text import night_text

DENVER = "America/Denver"
NOW = "2026-11-25 20:00"
NOW_S = int(datetime(2026, 11, 25, 20, tzinfo=ZoneInfo(DENVER)).timestamp())


@pytest.fixture
def home(tmp_path):
    """The demo household with a state-of-charge file, and the path of that file."""
    text = changed(("floor: 20 %", "floor: 20 %\nstate_of_charge: {file: soc.txt, max_age: 12 h}"))
    (tmp_path / "home.yaml").write_text(text, encoding="utf-8")
    return load_household(tmp_path / "home.yaml"), tmp_path / "soc.txt"


def write(path, content, age_s=0):
    """Write a file as something else would have done some seconds before now."""
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    os.utime(path, (NOW_S - age_s, NOW_S - age_s))


def refusal(household, **options):
    with pytest.raises(InputError) as caught:
        plan_tonight(household, now=NOW, **options)
    return str(caught.value)


# ------------------------------------------------------------------------------------------------ what is believed


@pytest.mark.parametrize(
    "content",
    [
        *["55 %", "55%", " 55 %\n", "0.55", "\ufeff55 %\r\n", '{"soc": "55 %"}', '{"soc": 0.55}', '{"soc": "0.55"}'],
        *['\n {"soc": "55 %", "odometer": [1, 2]} \n', '{"soc": "55 %", "at": "2026-11-26T03:00Z"}'],
        *['{"soc": "55 %", "at": "2026-11-25T20:00-07:00"}', '{"soc": "55 %", "at": "2026-11-25 20:00"}'],
        '{"soc": "55 %", "at": null}',
    ],
)
def test_forms_of_the_file(home, content):
    """README: the file holds `55 %`, or JSON with `soc` and perhaps `at`; an `at` without offset is local time."""
    household, path = home
    write(path, content)
    night = plan_tonight(household, now=NOW)
    assert night.soc == StateOfCharge(0.55, "file", "read from soc.txt, 0 min old")
    assert "at 55 % (read from soc.txt, 0 min old)" in night_text(night)


@pytest.mark.parametrize(
    ("age_min", "words"),
    [(0, "0 min"), (1, "1 min"), (59, "59 min"), (60, "1 h 0 min"), (125, "2 h 5 min"), (720, "12 h 0 min")],
)
def test_its_age_is_said(home, age_min, words):
    """Without `at` the age is that of the file; with `at` it is counted from there, whatever the file's own age."""
    household, path = home
    write(path, "55 %", 60 * age_min)
    assert plan_tonight(household, now=NOW).soc.because == f"read from soc.txt, {words} old"
    at = datetime.fromtimestamp(NOW_S - 60 * age_min, UTC).isoformat()
    write(path, json.dumps({"soc": "55 %", "at": at}), 7 * 86400)
    assert plan_tonight(household, now=NOW).soc.because == f"read from soc.txt, {words} old"


def test_the_order_of_precedence(home):
    """README: first --soc, then the file, then an estimate of the usual target less the day's usual distance.

    26.4 kWh/100 mi from the wall, at 7.2 kW with the default losses of 7.5 % and 200 W, are
    0.264 x (0.925 - 0.2 / 7.2) = 0.23687 kWh a mile out of the battery; 29 miles are 11.84 % of 58 kWh.
    """
    household, path = home
    write(path, "55 %")
    assert plan_tonight(household, now=NOW, soc="40 %").soc == StateOfCharge(0.40, "given", "given")
    assert plan_tonight(household, now=NOW).soc.source == "file"
    guess = plan_tonight(load_household("demo"), now=NOW).soc
    assert guess.source == "estimate"
    assert guess.because == "estimated: 80 % less 29 mi of driving"
    assert guess.share == pytest.approx(0.80 - 29 * 0.264 * (0.925 - 0.2 / 7.2) / 58, abs=1e-9)
    assert plan_days(household, 2, now=NOW).soc.source == "file"


@pytest.mark.parametrize(
    ("now", "words", "miles"),
    [
        # Thursday evening: Thursday's 29 miles. Saturday evening: Saturday's 46. Sunday: at home since Saturday.
        ("2026-11-26 20:00", "29 mi", 29),
        ("2026-11-28 20:00", "46 mi", 46),
        ("2026-11-29 12:00", "46 mi", 46),
        # Away at noon on Saturday: the outing that is under way.
        ("2026-11-28 12:00", "46 mi", 46),
    ],
)
def test_the_estimate_takes_the_last_outing(now, words, miles):
    """The estimate uses the distance of the last departure before the plug-in, and says it in the file's unit."""
    soc = plan_tonight(load_household("demo"), now=now).soc
    assert soc.because == f"estimated: 80 % less {words} of driving"
    assert soc.share == pytest.approx(0.80 - miles * 0.264 * (0.925 - 0.2 / 7.2) / 58, abs=1e-9)


def test_kilometres_and_odd_targets_are_said_as_written():
    """A household in kilometres reads kilometres, and a target of 82.5 % is not rounded to 82 %."""
    text = plan_tonight(load_household("three-phase"), now=NOW).soc.because
    assert text == "estimated: 90 % less 42 km of driving"


def test_an_estimate_is_never_below_empty(tmp_path):
    """A usual drive that takes more than the target leaves an empty battery, not a negative one."""
    text = changed(("target: 80 %", "target: 82.5 %"), ("{weekdays: 29 mi, Sat: 46 mi}", "400 mi"))
    (tmp_path / "home.yaml").write_text(text, encoding="utf-8")
    soc = plan_tonight(load_household(tmp_path / "home.yaml"), now=NOW).soc
    assert soc == StateOfCharge(0.0, "estimate", "estimated: 82.5 % less 400 mi of driving")


# ------------------------------------------------------------------------------------------------ what is refused


def test_a_stale_file_is_refused_not_believed(home):
    """README: a file older than `max_age` is refused; the message says how old, how old it may be, and what to do."""
    household, path = home
    write(path, "55 %", 12 * 3600 + 60)
    assert refusal(household) == (
        f"the state of charge in {path} is 12 h 1 min old, and at most 12 h 0 min is allowed; "
        "see why it is not written, or give the state of charge with --soc"
    )
    write(path, "55 %", 50 * 3600)
    assert "is 2 d 2 h old" in refusal(household)
    assert plan_tonight(household, now=NOW, soc="50 %").soc.share == 0.5


def test_a_file_from_the_future_is_refused(home):
    """Clocks of two machines may differ by five minutes; more means that one of them is wrong."""
    household, path = home
    write(path, "55 %", -300)
    assert plan_tonight(household, now=NOW).soc.because == "read from soc.txt, 0 min old"
    write(path, "55 %", -301)
    assert refusal(household) == (
        f"the state of charge in {path} is dated in the future; check the clocks, "
        "or give the state of charge with --soc"
    )


def test_a_missing_file(home):
    """A file that is not there is named, with what to do about it."""
    household, path = home
    assert refusal(household) == (
        f"cannot read the state of charge from {path}: No such file or directory; "
        "write it there, or give the state of charge with --soc"
    )


def test_a_file_that_cannot_be_read(home):
    """A folder of that name cannot be read as a file."""
    household, path = home
    path.mkdir()
    assert "cannot read the state of charge" in refusal(household)


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        *[("", "share"), ("full", "share"), ("55", "has no unit")],
        *[("140 %", "140 % is more than full"), ("-5 %", "-5 %"), ('{"soc": "140 %"}', "140 % is more than full")],
        *[('{"soc": 55}', "has no unit"), ('{"soc": null}', "None"), ('{"soc": true}', "True")],
        *[('{"soc": NaN}', "nan"), ('{"soc": 1e999}', "inf"), ('{"soc": "55 %"', "it is not JSON"), ("{}", "no `soc`")],
        *[('{"soc": "55 %", "at": "yesterday"}', "not a date or time"), (b"\xff\xfe5\x005\x00", "it is not text")],
        *[("1" * 200_000, "it is too large"), ("{" * 5000, "it is not JSON"), ("[0.5]", "share")],
        # Skipped and repeated wall-clock times of 2026 in Denver (15 U.S.C. 260a).
        ('{"soc": "55 %", "at": "2026-03-08 02:30"}', "is skipped that day"),
        ('{"soc": "55 %", "at": "2026-11-01 01:30"}', "comes twice that day"),
    ],
)  # fmt: skip
def test_what_is_no_state_of_charge(home, content, problem):
    """Anything else is refused with the file's name, what is wrong, and the two forms that are right."""
    household, path = home
    write(path, content)
    said = refusal(household)
    assert said.startswith(f"{path} holds no state of charge (")
    assert problem in said
    assert 'it should hold 55 % or {"soc": "55 %", "at": "2026-11-25T18:02-07:00"}' in said
    assert said.endswith("or give the state of charge with --soc")


@pytest.mark.parametrize("soc", ["140 %", "-1 %", "55", "nan", "", "full", 1.01, True, "55 %%"])
def test_what_cannot_be_given(soc):
    """A state of charge on the command line is 0 to 100 % with its unit, or a share up to 1."""
    with pytest.raises(InputError):
        plan_tonight(load_household("demo"), now=NOW, soc=soc)


@settings(
    max_examples=200,
    deadline=None,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    content=st.binary(max_size=60)
    | st.text(max_size=40).map(str.encode)
    | st.recursive(
        st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=10) | st.sampled_from(["55 %"]),
        lambda inner: st.dictionaries(st.sampled_from(["soc", "at", "x"]), inner) | st.lists(inner, max_size=2),
    ).map(lambda value: json.dumps(value).encode())
)
def test_any_content(tmp_path, content):
    """Whatever the file holds: a share from 0 to 1, or a message; never a traceback."""
    path = tmp_path / "any.txt"
    write(path, content)
    try:
        soc = StateOfChargeFile(path).read(NOW_S, DENVER)
    except InputError as error:
        said = str(error)
    else:
        said = f"{path}; "
        assert 0 <= soc.share <= 1
    assert str(path) in said
    assert "; " in said


def test_one_is_no_state_of_charge():
    """1 may mean 1 % or 100 %: a nearly empty car must not count as full."""
    with pytest.raises(InputError, match="may be 1 % or 100 %; write which"):
        soc_given("1")
    assert soc_given("1 %").share == 0.01
