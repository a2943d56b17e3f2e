"""`chargeplan together` in a real process: text, JSON, exit codes and mistakes."""

import json

import jsonschema
import pytest

from chargeplan.output.json_schema import SCHEMAS

PANEL = """
name: Two cars
timezone: America/Denver
circuits: {garage: {breaker: 50 A}}
cars: [{household: demo, fed_by: garage, name: left}, {household: demo, fed_by: garage, name: right}]
"""
NIGHT = ("--now", "2026-11-25 20:00", "--soc", "left=20 %", "--soc", "right=35 %")


@pytest.fixture
def file(tmp_path):
    """The file of a panel."""
    path = tmp_path / "panel.yaml"
    path.write_text(PANEL, encoding="utf-8")
    return str(path)


def test_text_and_data(process, command, file):
    """Both end with 0 when every car reaches its target, and say the same."""
    ran = process("together", file, *NIGHT)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "Limit        garage: at least 40 A for cars, at most 40 A used" in ran.stdout
    data = process("together", file, *NIGHT, "--json")
    found = json.loads(data.stdout)
    jsonschema.validate(found, SCHEMAS["together"])
    assert f"{found['cost']:.2f} USD" in ran.stdout
    assert process("check", file).stdout == f"{file}: good\n"
    assert json.loads(process("schema", "panel").stdout)["required"] == ["name", "timezone", "circuits", "cars"]


def test_who_cannot_be_served_ends_with_3(process, file):
    """README: 3 means that a target cannot be reached; the plan is printed all the same."""
    ran = process("together", file, "--now", "2026-11-26 03:00", *NIGHT[2:], "--plugged-in")
    assert ran.returncode == 3
    assert "because others charge too" in " ".join(ran.stdout.split())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--soc", "55 %"), "--soc 55 % names no car; write --soc 'left=55 %'"),
        (("--soc", "middle=55 %"), "there is no car `middle` on this panel; known are left, right"),
        (("--target", "left=130 %"), "a target of 130 % is more than full"),
    ],
)
def test_mistakes_end_with_2(process, file, words, said):
    """One line, no traceback."""
    ran = process("together", file, *words)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert said in ran.stderr
    assert "Traceback" not in ran.stderr
