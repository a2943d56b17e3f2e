"""Rate sheets as tests: what pytest collects, and what a reader sees when a check fails."""

import subprocess
import sys
from importlib.metadata import entry_points

import pytest

from chargeplan.testing.plugin import looks_like_a_sheet

pytest_plugins = ["pytester"]

SHEET = """\
name: Evening peak
currency: USD
timezone: America/Denver
periods: {peak: 16:00-21:00, other: rest}
prices: {peak: 0.5, other: 0.2}
checks:
  - {at: 2026-07-04 17:00, period: peak, price: 0.5}
  - {at: 2026-07-04 15:59, price: 0.2}
  - {at: 2026-07-04 15:59, period: other}
  - {year: 2026, share: {peak: 20.83 %}}
"""
NAMES = [
    "reads without mistakes",
    "at 2026-07-04 17:00",
    "at 2026-07-04 15:59",
    "at 2026-07-04 15:59 (2)",
    "share 2026",
]


@pytest.fixture
def sheet(pytester, monkeypatch):
    """A folder `tariffs` with one good sheet, and other YAML beside it that is none of our business.

    Where CI is set, pytest prints failures a second time in its summary; what is printed at a desk is tested here.
    """
    for name in ("CI", "BUILD_NUMBER"):
        monkeypatch.delenv(name, raising=False)
    folder = pytester.mkdir("tariffs")
    path = folder / "evening.yaml"
    path.write_text(SHEET, encoding="utf-8")
    (folder / "workflow.yml").write_text("on: push\njobs: {}\ntimezone: UTC\n", encoding="utf-8")
    (folder / "nested.yaml").write_text("sheet:\n  currency: USD\n  timezone: UTC\n", encoding="utf-8")
    (folder / "binary.yaml").write_bytes(b"\x00\xff\xfe")
    return path


def run(pytester, *arguments):
    """Run pytest as a user does, in a process of its own, with warnings as errors."""
    return pytester.runpytest_subprocess("-W", "error", "-p", "no:cacheprovider", *arguments)


def node_ids(pytester, *arguments):
    result = run(pytester, "--collect-only", "-q", *arguments)
    return [line for line in result.outlines if "::" in line]


def test_the_plugin_is_found_by_pytest():
    """pytest documentation, "Making your plugin installable by others": entry points of the group `pytest11`."""
    assert [entry.value for entry in entry_points(group="pytest11", name="chargeplan")] == ["chargeplan.testing.plugin"]


def test_each_check_is_a_test(pytester, sheet):
    """One test of the sheet and one per check, under names that people can read and type again."""
    assert node_ids(pytester) == [f"tariffs/evening.yaml::{name}" for name in NAMES]
    run(pytester).assert_outcomes(passed=5)
    run(pytester, "tariffs/evening.yaml::at 2026-07-04 15:59 (2)").assert_outcomes(passed=1)
    run(pytester, "-k", "share or 17:00").assert_outcomes(passed=2, deselected=3)
    run(pytester, "--no-tariff-sheets").assert_outcomes()


def test_workers_agree(pytester, sheet):
    """pytest-xdist refuses to run if its workers collect different tests; failures keep their text on the way."""
    sheet.write_text(SHEET.replace("price: 0.2}", "price: 0.3}"), encoding="utf-8")
    result = run(pytester, "-n", "2")
    result.assert_outcomes(passed=4, failed=1)
    result.stdout.fnmatch_lines(
        ["tariffs/evening.yaml:8:28: at 2026-07-04 15:59 the price is 0.2, not 0.3; correct the check or the sheet"]
    )


def test_a_failure_is_one_line(pytester, sheet):
    """Each failure says file, line, column, what is and what was expected; nothing of Python is seen."""
    text = SHEET.replace("period: peak, price: 0.5}", "season: x, price: 0.4}").replace("20.83", "20.9")
    sheet.write_text(text, encoding="utf-8")
    result = run(pytester)
    result.assert_outcomes(passed=3, failed=2)
    printed = [line for line in result.outlines if line.startswith("tariffs/evening.yaml:")]
    assert [line.removesuffix("; correct the check or the sheet") for line in printed] == [
        "tariffs/evening.yaml:7:28: at 2026-07-04 17:00 the season is `all year`, not `x`",
        "tariffs/evening.yaml:7:39: at 2026-07-04 17:00 the price is 0.5, not 0.4",
        "tariffs/evening.yaml:10:26: share 2026: peak is 20.83 %, not 20.9 %",
    ]
    assert "Traceback" not in result.stdout.str()
    assert "runtest" not in result.stdout.str()
    result.stdout.fnmatch_lines(["FAILED tariffs/evening.yaml::at 2026-07-04 17:00 - tariffs/evening.yaml:7*"])


def test_a_broken_sheet_is_one_failure(pytester, sheet):
    """All mistakes of a sheet that cannot be read are listed by one test."""
    sheet.write_text(SHEET.replace("0.2}", "free}").replace("year:", "yaer:"), encoding="utf-8")
    result = run(pytester)
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(
        [
            "tariffs/evening.yaml:5:21: other: `free` is not a number*",
            "tariffs/evening.yaml:8:*: price: `free` is not a number*",
            "tariffs/evening.yaml:10:6: `yaer` is not known here; did you mean `year`[?]",
        ]
    )
    assert node_ids(pytester) == ["tariffs/evening.yaml::reads without mistakes"]


def test_which_files_are_looked_at(pytester, sheet):
    """The setting `tariff_sheets` narrows the names; a file that is named on the command line is taken all the same."""
    pytester.makeini("[pytest]\ntariff_sheets = *.rates.yaml")
    assert node_ids(pytester) == []
    assert len(node_ids(pytester, "tariffs/evening.yaml")) == 5
    sheet.rename(sheet.with_name("evening.rates.yaml"))
    assert node_ids(pytester)[0] == "tariffs/evening.rates.yaml::reads without mistakes"


MISSPELT = SHEET.replace("timezone", "time_zone")
INDENTED = "".join(f"  {line}\n" for line in MISSPELT.splitlines())


@pytest.mark.parametrize("text", [MISSPELT, INDENTED, "name: [", "", "on: push\njobs: {}\n"])
def test_a_file_that_is_named_is_a_sheet_whatever_it_holds(pytester, sheet, text):
    """By the setting or on the command line: a mistake in its first lines must not make a sheet disappear."""
    sheet.write_text(text, encoding="utf-8")
    result = run(pytester, "tariffs/evening.yaml")
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["tariffs/evening.yaml:*"])
    pytester.makeini("[pytest]\ntariff_sheets = tariffs/ev*.yaml")
    run(pytester).assert_outcomes(failed=1)
    run(pytester, "tariffs").assert_outcomes(failed=1)


def test_a_misspelt_key_does_not_hide_a_sheet_that_is_found(pytester, sheet):
    """Any two of its keys are enough; and the message is the one of the key."""
    sheet.write_text(MISSPELT, encoding="utf-8")
    result = run(pytester)
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["tariffs/evening.yaml:3:1: `time_zone` is not known here; did you mean `timezone`[?]"])
    sheet.write_text(SHEET.replace("currency", "curency"), encoding="utf-8")
    run(pytester).assert_outcomes(failed=1)


def test_a_file_of_another_plugin_is_left_to_it(pytester, sheet):
    """A YAML file that is named on the command line and collected already is none of our business."""
    pytester.makeconftest(
        "import pytest\n\n"
        "class Other(pytest.File):\n"
        "    def collect(self):\n"
        "        yield OtherItem.from_parent(self, name='other')\n\n"
        "class OtherItem(pytest.Item):\n"
        "    def runtest(self):\n"
        "        pass\n\n"
        "def pytest_collect_file(file_path, parent):\n"
        "    return Other.from_parent(parent, path=file_path) if file_path.name == 'workflow.yml' else None\n"
    )
    run(pytester, "tariffs/workflow.yml").assert_outcomes(passed=1)


def test_a_mistake_in_a_file_beside_the_sheet_names_that_file(pytester, sheet):
    """The day that breaks a rule stands in the CSV file, and so does the message."""
    (sheet.parent / "called.csv").write_text("date\n2026-01-17\n", encoding="utf-8")
    called = "called: {event: {file: called.csv, only_on: weekdays}}\n"
    sheet.write_text(SHEET.replace("periods:", called + "periods:"), encoding="utf-8")
    result = run(pytester)
    result.assert_outcomes(failed=1)
    result.stdout.fnmatch_lines(["tariffs/called.csv:2:1: 2026-01-17 is a Saturday, but *"])


def test_what_is_odd_fails_if_it_shall(pytester, sheet):
    """Prices per kWh of 50 USD may be cents: allowed, but not with the setting `tariff_strict`."""
    sheet.write_text(SHEET.replace("0.5", "50"), encoding="utf-8")
    run(pytester).assert_outcomes(passed=5)
    pytester.makeini("[pytest]\ntariff_strict = true")
    result = run(pytester)
    result.assert_outcomes(passed=5, failed=1)
    result.stdout.fnmatch_lines(["tariffs/evening.yaml:5:*: 50 USD per kWh is very dear;*"])
    sheet.write_text(SHEET, encoding="utf-8")
    run(pytester).assert_outcomes(passed=6)


def test_messages_name_the_file_as_seen_from_where_pytest_runs(pytester, sheet, monkeypatch):
    """A click on `evening.yaml:8` must find the file, also from a folder below the root."""
    sheet.write_text(SHEET.replace("price: 0.2}", "price: 0.3}"), encoding="utf-8")
    pytester.makeini("[pytest]")
    monkeypatch.chdir(sheet.parent)
    result = run(pytester)
    result.assert_outcomes(passed=4, failed=1)
    result.stdout.fnmatch_lines(["evening.yaml:8:28: at 2026-07-04 15:59 *"])


def test_a_file_beside_the_sheet_is_found_from_anywhere(pytester, monkeypatch):
    """What a sheet names beside itself is read beside itself, wherever pytest was started."""
    pytester.mkdir("rates")
    path = pytester.path / "rates"
    (path / "called.csv").write_text("date\n2026-01-14\n", encoding="utf-8")
    (path / "events.yaml").write_text(
        "name: Events\ncurrency: USD\ntimezone: America/Denver\ncalled: {event: {file: called.csv}}\n"
        "periods: {event: 06:00-09:00 on event, base: rest}\nprices: {event: 1, base: 0.1}\n"
        "checks: [{at: 2026-01-14 07:00, period: event}, {at: 2026-01-15 07:00, period: base}]\n",
        encoding="utf-8",
    )
    run(pytester).assert_outcomes(passed=3)
    pytester.makeini("[pytest]")
    monkeypatch.chdir(path)
    run(pytester).assert_outcomes(passed=3)


def test_pytest_starts_without_loading_chargeplan():
    """In a project without sheets the plugin costs nothing: numpy and pydantic are not even imported."""
    code = (
        "import sys, chargeplan.testing.plugin\n"
        "print(sorted({'numpy', 'pydantic', 'yaml', 'pandas', 'hypothesis', 'chargeplan.errors'} & set(sys.modules)))"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "[]\n"


@pytest.mark.parametrize(
    ("text", "is_sheet"),
    [
        ("currency: USD\ntimezone: UTC\n", True),
        ("\ufeffcurrency : USD\r\n'timezone': UTC\r\n", True),
        ('name: A\rtimezone: UTC\r"currency": USD\r', True),
        ("currency: USD\n# timezone: UTC\n", False),
        ("currency: USD\ntimezones: UTC\n", False),
        ("currency: USD\ntimezones: UTC\nprices: 1\n", True),
        ("curency: USD\nperiods: {}\ncomponents: {}\n", True),
        ("prices: 1\nprices: 2\n", False),
        ("openapi: 3.1.0\ninfo: {}\npaths: {}\ncomponents: {}\n", False),
        ("a:\n  currency: USD\n  timezone: UTC\n", False),
        ("{currency: USD, timezone: UTC}", False),
        ("", False),
    ],
)
def test_how_a_sheet_is_told_from_other_yaml(tmp_path, text, is_sheet):
    """Two keys at the left edge, in any form in which YAML writes a plain key; flow style is not looked into."""
    path = tmp_path / "a.yaml"
    path.write_bytes(text.encode())
    assert looks_like_a_sheet(path) is is_sheet
    assert not looks_like_a_sheet(tmp_path)
