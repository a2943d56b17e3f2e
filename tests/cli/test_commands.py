"""The command in process: exit codes, messages, help, files it writes."""

import warnings
from pathlib import Path
from types import SimpleNamespace

import pytest
from household_cases import changed

import chargeplan
from chargeplan.cli import main

NOW = ("--now", "2026-11-25 20:00")
COMMANDS = ("tonight", "days", "prices", "picture", "difference", "bill", "check", "schema")


# ------------------------------------------------------------------------------------------------ exit codes


@pytest.mark.parametrize("command", ["tonight", "days"])
@pytest.mark.parametrize(("soc", "code"), [("55 %", 0), ("0 %", 3)])
@pytest.mark.parametrize("form", [(), ("--json",), ("--csv",)])
def test_a_plan_ends_with_0_or_3(invoke, command, soc, code, form):
    """README: 0 all is well; 3 the target cannot be reached, and the best plan is printed all the same.

    From 23:40 to 07:15 are 7.58 h at 6.9 kW into the battery, 52 kWh: enough for 55 to 100 % of 58 kWh, not for 0.
    """
    now = ("--now", "2026-11-25 23:40", "--target", "100 %", "--soc", soc)
    options = ("--days", "1") if command == "days" else ()
    result = invoke(command, "demo", *now, *options, *form)
    assert result.exit_code == code
    assert result.stderr == ""
    assert result.stdout.endswith("\n")
    assert not result.stdout.endswith("\n\n")
    assert "\x1b" not in result.stdout


@pytest.mark.parametrize(
    "arguments",
    [
        *[("tonight", "demo", "--soc", "55"), ("tonight", "demo", "--target", "101 %")],
        *[("tonight", "demo", "--now", "x"), ("days", "demo", "--now", "2026-03-08 02:30")],
        *[("tonight", "demo", *NOW, "--leave", "2026-11-25 19:00"), ("tonight", "demo", *NOW, "--prefer", "")],
        *[("days", "demo", "--days", "0"), ("days", "demo", *NOW, "--prefer", "best")],
        *[("prices", "flat", "--date", "4 July"), ("prices", "flat", "--now", "noon")],
    ],
)  # fmt: skip
def test_a_wrong_value_ends_with_2_and_one_line(invoke, arguments):
    """README: 2 is a mistake on the command line; one line on standard error says what, and what would be right."""
    result = invoke(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("chargeplan: ")
    assert result.stderr.count("\n") == 1
    assert "; " in result.stderr


@pytest.mark.parametrize(
    "arguments",
    [
        *[("tonight", "a", "b"), ("tonight", "--colour"), ("days", "--days", "x"), ("days", "--days"), ("prices",)],
        *[("check",), ("schema",), ("schema", "car"), ("tomorrow",), ("tonight", "--soc")],
    ],
)
def test_usage_errors_end_with_2(invoke, arguments):
    """Unknown options, missing or superfluous arguments are usage errors, exit code 2 (as click and getopt have it)."""
    result = invoke(*arguments)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "Error: " in result.stderr
    assert "Usage: chargeplan" in result.stderr or "requires an argument" in result.stderr


def test_a_bare_command_shows_the_help(invoke):
    """`chargeplan` alone lists the commands instead of doing something."""
    result = invoke()
    shown = result.stdout + result.stderr
    assert all(f"  {command} " in shown for command in COMMANDS)


def test_mistakes_of_a_file_name_their_places(invoke, tmp_path, monkeypatch):
    """README: each mistake of a file is printed as `file:line:column: what; remedy`, with exit code 2."""
    monkeypatch.chdir(tmp_path)
    Path("home.yaml").write_text(changed(("target: 80 %", "target: 180 %"), ("max_current: 32 A", "max_current: 99 A")))
    for command in ("tonight", "days", "check"):
        result = invoke(command, "home.yaml")
        assert result.exit_code == 2
        assert result.stdout == ""
        lines = result.stderr.splitlines()
        assert [line.split(": ")[0] for line in lines] == ["home.yaml:10:3", "home.yaml:24:3"]
        assert all("; " in line for line in lines)


@pytest.mark.parametrize("name", ["none.yaml", "", ".", "/", "a" * 300, "a" * 300 + ".yaml", "no\x00ne", "-"])
@pytest.mark.parametrize("command", ["tonight", "days", "check"])
def test_files_that_cannot_be_read(invoke, command, name):
    """A file that is missing, a folder, or has an impossible name is a mistake of the command line, not a crash."""
    result = invoke(command, "--", name)
    assert result.exit_code == 2
    assert ":1:1: " in result.stderr
    assert result.stderr.count("\n") == 1


def test_a_rate_sheet_is_no_household(invoke):
    """Giving a rate sheet where a household is wanted, or the other way round, says what is missing."""
    from chargeplan.household.household import example_folder
    from chargeplan.tariff.loading import shipped_folder

    result = invoke("tonight", str(shipped_folder() / "flat.yaml"))
    assert result.exit_code == 2
    assert "this is a rate sheet, not a household file; name it under `tariff` in a household file" in result.stderr
    result = invoke("prices", str(example_folder() / "demo.yaml"))
    assert result.exit_code == 2
    assert "this is a household file, not a rate sheet; use `chargeplan tonight" in result.stderr


def test_without_a_household_file_the_example_is_named(invoke, tmp_path, monkeypatch):
    """`chargeplan tonight` reads household.yaml of the folder it is run in; without one it says what can be done."""
    monkeypatch.chdir(tmp_path)
    for command in ("tonight", "days"):
        result = invoke(command)
        assert result.exit_code == 2
        assert (
            "there is no household.yaml here; name a file, or try the example: chargeplan tonight demo" in result.stderr
        )
    Path("household.yaml").write_text(changed(("name: Ridgeline Valley demo", "name: Here we live")), encoding="utf-8")
    for command in ("tonight", "days"):
        assert invoke(command, *NOW).stdout.startswith("Here we live: small sedan\n")


@pytest.mark.parametrize("status", [1, 4])
def test_a_solver_that_fails_ends_with_1(invoke, monkeypatch, status):
    """README: 1 a solver gave no answer to be trusted. scipy's linprog: 1 is a limit reached, 4 numerical trouble."""
    import scipy.optimize

    failed = SimpleNamespace(status=status, x=None, message="numerical difficulties")
    monkeypatch.setattr(scipy.optimize, "linprog", lambda *args, **options: failed)
    result = invoke("tonight", "three-phase", *NOW, "--soc", "30 %")
    assert result.exit_code == 1
    assert result.stdout == ""
    assert result.stderr.startswith("chargeplan: HiGHS found no plan: numerical difficulties")


def test_a_solver_that_answers_wrongly_ends_with_1(invoke, monkeypatch):
    """A solver's answer that breaks a limit is refused whatever it says of itself."""
    import scipy.optimize

    real = scipy.optimize.linprog

    def doubled(*args, **options):
        result = real(*args, **options)
        result.x = result.x * 0
        return result

    monkeypatch.setattr(scipy.optimize, "linprog", doubled)
    result = invoke("tonight", "three-phase", *NOW, "--soc", "30 %")
    assert result.exit_code == 1
    assert "breaks a limit" in result.stderr


@pytest.mark.parametrize("solver", ["", "simplex", "pulp:", "AUTO"])
def test_an_unknown_solver_lists_the_choices(invoke, solver):
    """A misspelled solver is a mistake of the command line, and the message lists those there are."""
    result = invoke("tonight", "demo", *NOW, "--solver", solver)
    assert result.exit_code == 2
    for known in ("auto", "merit order", "highs", "pulp:CBC"):
        assert known in result.stderr


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_an_unknown_solver_of_pulp_lists_the_choices(invoke):
    """A name PuLP does not know is refused with the names it knows."""
    result = invoke("tonight", "demo", *NOW, "--solver", "pulp:NONE")
    assert result.exit_code == 2
    assert "PuLP knows no solver 'NONE'; choose CBC or one of" in result.stderr


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("name", ["demo", "three-phase"])
def test_every_solver_finds_the_same_cost(invoke, name):
    """README: `--solver highs` or `--solver pulp:PULP_CBC_CMD` choose another way; the cost is the same, and proven."""
    import json

    def plan(*options):
        result = invoke("tonight", name, "--now", "2026-11-25T20:00-07:00", "--soc", "40 %", "--json", *options)
        assert result.exit_code == 0
        return json.loads(result.stdout)

    plans = [plan(), plan("--solver", "highs"), plan("--solver", "pulp:PULP_CBC_CMD")]
    assert len({round(found["cost"], 5) for found in plans}) == 1
    assert all(found["proof"]["optimal"] for found in plans)
    assert "HiGHS" in plans[1]["proof"]["method"]
    assert "PULP_CBC_CMD" in plans[2]["proof"]["method"]


# ------------------------------------------------------------------------------------------------ help


@pytest.mark.parametrize("option", ["-h", "--help"])
@pytest.mark.parametrize("command", [(), *[(name,) for name in COMMANDS]])
def test_help(invoke, command, option):
    """Every command explains itself with -h and --help, in plain text of 80 columns, with exit code 0."""
    result = invoke(*command, option)
    assert result.exit_code == 0
    assert result.stdout.startswith(f"Usage: {' '.join(('chargeplan', *command))} ")
    assert result.stdout.isascii()
    assert all(len(line) <= 80 for line in result.stdout.splitlines())
    assert "-h, --help" in result.stdout


def test_every_option_has_a_word_of_help():
    """No option or command without a line that says what it does."""
    for name, command in main.commands.items():
        assert command.get_short_help_str(), name
        for parameter in command.params:
            if parameter.param_type_name == "option":
                assert getattr(parameter, "help", None), f"{name} {parameter.opts}"


def test_the_exit_codes_are_in_the_help(invoke):
    """The four exit codes stand in the help, for who writes a script and has no README."""
    words = " ".join(invoke("--help").stdout.split())
    assert "Exit codes: 0 all is well; 1 a solver" in words
    assert "2 a mistake" in words
    assert "3 the target cannot be reached" in words


def test_the_version(invoke):
    """`--version` prints the version of the installed package."""
    from importlib.metadata import version

    assert invoke("--version").stdout.strip().endswith(version("chargeplan"))


# ------------------------------------------------------------------------------------------------ check


def test_check_says_good_for_each_file(invoke):
    """Names of shipped sheets and examples are checked as files are, with the checks they carry."""
    result = invoke("check", *chargeplan.shipped_sheets(), "demo", "plain-outlet", "three-phase")
    assert result.exit_code == 0
    assert result.stderr == ""
    lines = result.stdout.splitlines()
    assert len(lines) == len(chargeplan.shipped_sheets()) + 3
    assert lines[:2] == ["drei-zeiten: good, 3 checks hold", "flat: good, 1 check holds"]
    assert lines[-3:] == ["demo: good", "plain-outlet: good", "three-phase: good"]


def test_check_goes_on_after_a_bad_file(invoke, tmp_path):
    """A bad file does not hide the next one; the exit code is that of a mistake."""
    bad = tmp_path / "bad.yaml"
    bad.write_text("name: Bad\n")
    result = invoke("check", str(bad), "flat")
    assert result.exit_code == 2
    assert result.stdout == "flat: good, 1 check holds\n"
    assert f"{bad}:1:1: `currency` is missing" in result.stderr


def test_a_check_that_does_not_hold(invoke, tmp_path):
    """README: `chargeplan check` holds a sheet to what its author knows; a wrong price is named with its place."""
    sheet = tmp_path / "mine.yaml"
    sheet.write_text(
        "name: Mine\ncurrency: USD\ntimezone: America/Denver\nprices: 0.2\n"
        "checks:\n  - {at: 2026-07-06 17:00, price: 0.2}\n  - {at: 2026-07-06 17:00, price: 0.3}\n"
    )
    result = invoke("check", str(sheet))
    assert result.exit_code == 2
    assert result.stderr.startswith(f"{sheet}:7:28: at 2026-07-06 17:00 the price is 0.2, not 0.3; ")


def test_cents_typed_as_whole_units_are_a_warning(invoke, tmp_path):
    """14.5 USD per kWh is no price of a home; it is warned of, and the sheet is good all the same."""
    sheet = tmp_path / "mine.yaml"
    sheet.write_text("name: Mine\ncurrency: USD\ntimezone: America/Denver\nprices: 14.5\n")
    result = invoke("check", str(sheet))
    assert result.exit_code == 0
    assert result.stderr.endswith("(warning: dear price)\n")
    assert "cents" in result.stderr


# ------------------------------------------------------------------------------------------------ prices


def test_prices_of_today_are_those_of_the_sheets_zone(invoke):
    """20:30 on 30 June in Denver is 1 July at 02:30 UTC; the day shown is Denver's."""
    shown = invoke("prices", "summer-peak", "--now", "2026-07-01T02:30Z").stdout
    assert "Tue 30 Jun 2026" in shown
    assert shown == invoke("prices", "summer-peak", "--date", "2026-06-30").stdout


@pytest.mark.parametrize("now", ["0001-01-01 00:00", "9999-12-31 23:59", "1970-01-01 00:00"])
def test_prices_outside_the_zone_data(invoke, now):
    """A present far outside the zone data is a message, not an overflow."""
    result = invoke("prices", "flat", "--now", now)
    assert result.exit_code == 2
    assert "outside the years 1971 to 2199" in result.stderr


# ------------------------------------------------------------------------------------------------ --write-model


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
@pytest.mark.parametrize("suffix", [".lp", ".mps"])
def test_the_model_is_written_beside_the_plan(invoke, tmp_path, suffix):
    """README: `--write-model` writes the program to a file; only that file appears, and the report is as without."""
    arguments = ("tonight", "demo", *NOW, "--soc", "55 %")
    path = tmp_path / f"night{suffix}"
    path.write_text("old")
    result = invoke(*arguments, "--write-model", str(path))
    assert result.exit_code == 0
    assert result.stdout == invoke(*arguments).stdout
    assert [found.name for found in tmp_path.iterdir()] == [path.name]
    text = path.read_text()
    assert ("Minimize" in text) if suffix == ".lp" else text.rstrip().endswith("ENDATA")


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_the_written_model_has_the_cost_of_the_plan(invoke, tmp_path):
    """The .mps file, read back by PuLP and solved by CBC, costs what the plan costs."""
    import json

    import pulp

    path = tmp_path / "night.mps"
    result = invoke("tonight", "demo", *NOW, "--soc", "55 %", "--json", "--write-model", str(path))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        _, model = pulp.LpProblem.fromMPS(str(path))
        model.solve(pulp.PULP_CBC_CMD(msg=False))
        assert model.status == 1
        cost = pulp.value(model.objective)
    assert cost == pytest.approx(json.loads(result.stdout)["cost"], rel=1e-6)


@pytest.mark.parametrize("name", ["night.txt", "night", "night.lp.gz", "none/night.lp", ""])
def test_a_model_that_cannot_be_written_leaves_nothing(invoke, tmp_path, monkeypatch, name):
    """A wrong ending or a folder that is not there is a message with exit code 2, and no file is left behind."""
    monkeypatch.chdir(tmp_path)
    result = invoke("tonight", "demo", *NOW, "--write-model", name)
    assert result.exit_code == 2
    assert result.stderr.startswith("chargeplan: ")
    assert result.stdout == ""
    assert list(tmp_path.iterdir()) == []


@pytest.mark.filterwarnings("ignore::DeprecationWarning")
def test_an_interrupted_write_keeps_the_old_file(invoke, tmp_path, monkeypatch):
    """If the disk fails at the last step the file is what it was before, and no half of a new one lies beside it."""
    path = tmp_path / "night.lp"
    path.write_text("old")

    def fail(self, target):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", fail)
    result = invoke("tonight", "demo", *NOW, "--write-model", str(path))
    assert result.exit_code == 2
    assert "No space left on device" in result.stderr
    assert path.read_text() == "old"
    assert [found.name for found in tmp_path.iterdir()] == ["night.lp"]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("tonight", "demo", "--plugged-in", "2026-11-30 20:00"), "write --plugged-in --now '2026-11-30 20:00'"),
        (("days", "--plugged-in", "20:00"), "leave the time out"),
        (("together", "panel.yaml", "--plugged-in", "2026-11-30"), "write --plugged-in --now 2026-11-30"),
    ],
)
def test_plugged_in_takes_no_time(invoke, words, said):
    """A time behind it is no file and no superfluous word: the message says where it goes."""
    result = invoke(*words)
    assert (result.exit_code, result.stdout, result.stderr.count("\n")) == (2, "", 1)
    assert result.stderr.startswith("chargeplan: --plugged-in takes no value")
    assert said in result.stderr


def test_the_schemas_are_listed_once(invoke):
    """One list, whole names, and the nearest first."""
    result = invoke("schema", "studdy")
    assert result.exit_code == 2
    assert result.stderr.count("study-result") == 1
    assert "Did you mean study?" in result.stderr
    assert "bills, drafts" in result.stderr


def test_a_folder_that_is_not_there_is_said_alike(invoke, tmp_path, monkeypatch):
    """For a report and for the folder of results: neither is made anew in a place that is not there."""
    monkeypatch.chdir(tmp_path)
    for option, name in (("--html", "nodir/x.html"), ("--out", "nodir/sub")):
        result = invoke("study", "demo", option, name)
        assert (result.exit_code, result.stdout) == (2, "")
        assert result.stderr == (
            f"chargeplan: cannot write {name}: there is no folder nodir; make it, or choose another place\n"
        )
    assert list(tmp_path.iterdir()) == []
