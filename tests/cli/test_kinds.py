"""A file of another kind than a command takes: one line that says what it is, and which command takes it."""

import pytest
from household_cases import changed, text_of

from chargeplan.cli.kinds import kind_of

PANEL = """
name: Two cars
timezone: America/Denver
circuits: {garage: {breaker: 50 A}}
cars: [{household: demo, fed_by: garage, name: left}]
"""
SHEET = "name: S\ncurrency: USD\ntimezone: America/Denver\nprices: 0.1\n"
DAYS = ("--from", "2026-01-01", "--to", "2026-01-31")


@pytest.fixture
def files(tmp_path, monkeypatch):
    """A file of each kind in the folder the command runs in."""
    monkeypatch.chdir(tmp_path)
    for name, text in (("home.yaml", text_of("demo")), ("panel.yaml", PANEL), ("sheet.yaml", SHEET)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (
            ("together", "home.yaml"),
            "a household file, not the file of a panel with several cars; use `chargeplan tonight",
        ),
        (("together", "sheet.yaml"), "a rate sheet, not the file of a panel"),
        (
            ("tonight", "panel.yaml"),
            "the file of a panel with several cars, not a household file; use `chargeplan together",
        ),
        (("tonight", "sheet.yaml"), "a rate sheet, not a household file; name it under `tariff` in a household file"),
        (("tonight", "summer-peak"), "a rate sheet, not a household file"),
        (("days", "panel.yaml"), "the file of a panel with several cars, not a household file"),
        (("prices", "home.yaml"), "a household file, not a rate sheet; use `chargeplan tonight home.yaml`"),
        (("bill", "home.yaml", "--use", "700", *DAYS), "a household file, not a rate sheet"),
        (("picture", "panel.yaml"), "the file of a panel with several cars, not a rate sheet"),
        (("difference", "home.yaml", "sheet.yaml"), "a household file, not a rate sheet"),
    ],
)
def test_one_line_says_what_it_is(invoke, files, words, said):
    result = invoke(*words)
    assert (result.exit_code, result.stdout) == (2, "")
    (line,) = result.stderr.splitlines()
    assert line.startswith(f"{words[1]}:1:1: this is ")
    assert said in line


def test_mistakes_of_the_right_kind_are_told_as_ever(invoke, files):
    """A household file with a misspelt key is no file of another kind, nor is one that has hardly a key."""
    (files / "home.yaml").write_text(changed(("usable_battery", "usable_batery")), encoding="utf-8")
    assert "did you mean `usable_battery`?" in invoke("tonight", "home.yaml").stderr
    (files / "home.yaml").write_text("name: x\n", encoding="utf-8")
    assert "is missing" in invoke("tonight", "home.yaml").stderr
    assert kind_of({"name": "x", "prices": 1, "vehicle": {}}) is None


@pytest.mark.parametrize("command", ["check", "tonight", "prices"])
def test_a_table_or_a_folder_is_said_to_be_one(invoke, files, command):
    """A meter's file is a table, and the message says where it belongs; a folder holds the files to name."""
    (files / "house.csv").write_text("time,kwh\n2026-01-01T00:00-07:00,0.4\n", encoding="utf-8")
    (files / "rates").mkdir()
    result = invoke(command, "house.csv")
    assert (result.exit_code, result.stderr.count("\n")) == (2, 1)
    assert result.stderr.startswith("house.csv:1:1: this is a table, as of a meter or of journeys")
    assert "`chargeplan bill SHEET --load FILE`" in result.stderr
    result = invoke(command, "rates")
    assert (result.exit_code, result.stderr.count("\n")) == (2, 1)
    assert result.stderr.startswith("rates:1:1: this is a folder; name the files in it")


def test_a_doubt_does_not_make_a_file_bad(invoke, files):
    (files / "home.yaml").write_text(changed(("26.4 kWh/100 mi", "264 kWh/100 mi")), encoding="utf-8")
    (files / "panel.yaml").write_text(f"{PANEL}other_load: {{garage: 60 A}}\n", encoding="utf-8")
    for name in ("home.yaml", "panel.yaml"):
        result = invoke("check", name)
        assert (result.exit_code, result.stdout) == (0, f"{name}: good\n")
        assert result.stderr.startswith(f"{name}:")
        assert result.stderr.endswith(" (warning)\n")


def test_each_kind_is_checked_as_what_it_is(invoke, files):
    for name in ("home.yaml", "panel.yaml", "sheet.yaml"):
        assert invoke("check", name).stdout.startswith(f"{name}: good")


def test_the_list_of_commands_is_not_cut(invoke):
    """The first line on each command fits beside its name."""
    listed = invoke("--help").stdout
    commands = listed.partition("Commands:")[2]
    assert commands
    assert "..." not in commands
    assert "import      Make a rate sheet of an open record, or of prices." in listed
