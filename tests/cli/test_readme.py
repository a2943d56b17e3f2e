"""What the README promises: its commands run, its files load, its tables name what there is and nothing else."""

import json
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Literal, get_args, get_origin

import pytest
from household_cases import changed
from pydantic import BaseModel

import chargeplan
from chargeplan import cli, reading
from chargeplan.charging import LEVELS, ChargingLoss
from chargeplan.cli.studies import STOPPED
from chargeplan.errors import FileError, InputError, SolverError
from chargeplan.household import plan_tonight, read_household
from chargeplan.household.household import example_folder, examples
from chargeplan.household.model import CircuitPart, EvsePart, HouseholdSheet
from chargeplan.output.study_data import MOST_ROWS
from chargeplan.reading import read_document
from chargeplan.study.answers import MOST_LIVES
from chargeplan.study.equipment import CAUTION
from chargeplan.study.file import study_examples
from chargeplan.study.model import HousePart, StudySheet
from chargeplan.tariff import load_tariff, read_tariff, shipped_sheets
from chargeplan.tariff.checks import failed_checks
from chargeplan.tariff.loading import shipped_folder

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```(\w+)\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)

#: An invented record of the open rate database.
RECORD = json.dumps(
    {
        "utility": "Ridgeline Valley",
        "name": "Evenings",
        "energyratestructure": [[{"rate": 0.1}], [{"rate": 0.3}]],
        "energyweekdayschedule": [[0] * 16 + [1] * 5 + [0] * 3] * 12,
        "energyweekendschedule": [[0] * 24] * 12,
    }
)


def blocks(language, holding=""):
    """The blocks of a language, all of them or those that hold a word."""
    return [text for name, text in BLOCKS if name == language and holding in text]


def block(language, holding=""):
    """The only such block."""
    (found,) = blocks(language, holding)
    return found


def table(heading):
    """The rows of the table whose first heading this is, as lists of cells."""
    rows = README.split(f"\n| {heading} |")[1].split("\n\n")[0].split("\n")[2:]
    return [[cell.strip() for cell in row.strip().strip("|").split("|")] for row in rows]


def spans(text):
    """What stands in backticks."""
    return re.findall(r"`([^`]+)`", text)


def command_line(text):
    """The words after `chargeplan` in the last command of a line of shell."""
    words = shlex.split(re.split(r"&&", text.strip())[-1])
    assert words[0].endswith("chargeplan")
    return words[1:]


def test_every_block_is_seen_to():
    """A block that is added to the README needs a test here: these are all there are."""
    languages = [name for name, _ in BLOCKS]
    assert sorted(languages) == sorted(["sh"] * 4 + ["text"] * 3 + ["yaml"] * 8 + ["python"] * 3)


# ------------------------------------------------------------------------------------------------ commands


def test_the_first_command_prints_what_is_shown(process):
    """The first command, without making the environment, prints the block below it to the letter."""
    ran = process(*command_line(block("sh", "pip install --quiet . ")))
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout == block("text", "Ridgeline Valley demo")


def test_the_tests_are_installed_as_they_say():
    """The second command installs the extra `test` and runs pytest over several processes: both are there."""
    import tomllib

    project = tomllib.loads((Path(__file__).parents[2] / "pyproject.toml").read_text(encoding="utf-8"))
    line = block("sh", "[test]")
    assert "pip install --quiet '.[test]'" in line
    assert "-m pytest -n auto" in line
    extra = project["project"]["optional-dependencies"]["test"]
    assert {"pytest", "pytest-xdist", "hypothesis"} <= {re.split(r"[>=<]", name)[0] for name in extra}
    assert f"Python {project['project']['requires-python'].removeprefix('>=')} or newer" in README


def test_the_steps_to_an_own_household(process, tmp_path):
    """Copying the example, checking it and planning with it work one after the other, in a shell, as printed.

    `tonight` plans for the real present, so besides 0 it may end with 3 in the minutes before a departure.
    """
    folder = tmp_path / "chargeplan" / "household" / "examples"
    folder.mkdir(parents=True)
    shutil.copy(example_folder() / "demo.yaml", folder)
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    text = block("sh", "cp ")
    ran = process("-ec", text, program=("/bin/sh",), cwd=tmp_path, env={**os.environ, "PATH": path})
    assert ran.returncode in (0, 3), ran.stderr
    assert ran.stdout.startswith("household.yaml: good\nRidgeline Valley demo: small sedan\n")
    assert (Path(__file__).parents[2] / text.split()[1]).is_file(), "the example is where the README says"


def test_the_line_for_cron(process, command, tmp_path):
    """The crontab line is run by /bin/sh with an empty environment; only its two paths are put in."""
    line = block("text", "* * *")
    fields, job = line.split(maxsplit=5)[:5], line.split(maxsplit=5)[5]
    assert fields == ["0", "17", "*", "*", "*"], "every day at 17:00"
    (tmp_path / "household.yaml").write_text(changed(), encoding="utf-8")
    job = job.strip().replace("/home/me/chargeplan", str(tmp_path)).replace(".venv/bin/chargeplan", command)
    ran = process("-c", f"{job} --now '2026-11-25 17:00'", program=("/bin/sh",), env={})
    assert (ran.returncode, ran.stderr) == (0, "")
    assert "Plugged in   Wed 25 Nov 2026 18:15" in ran.stdout
    assert "%" not in job, "a percent sign ends a crontab's command (crontab(5))"


def test_the_table_of_commands():
    """Every command of the program is in the table and no other, with options that it has."""
    rows = table("command")
    named = [command_line(spans(cell)[0].replace("[", "").replace("]", ""))[0] for cell, _ in rows]
    assert sorted(named) == sorted(cli.main.commands)
    for cell, about in rows:
        command = cli.main.commands[spans(cell)[0].split()[1]]
        known = {option for parameter in command.params for option in parameter.opts}
        assert set(re.findall(r"--[\w-]+", cell + about)) - {"--json"} <= known
    about = dict(zip(named, (about for _, about in rows), strict=True))
    choices = next(p for p in cli.main.commands["schema"].params if p.name == "what").type.choices
    assert set(choices) <= set(spans(rows[-1][0] + about["schema"])) | {"tariff"}
    for option in set(re.findall(r"`(--[\w-]+)[ `]", README)) - {"--no-tariff-sheets"}:  # pytest's
        assert any(option in p.opts for c in cli.main.commands.values() for p in c.params), option


@pytest.mark.parametrize("row", table("command"), ids=lambda row: row[0].split()[1])
def test_each_command_of_the_table_runs(invoke, row, tmp_path, monkeypatch):
    """Each command runs as the table writes it, with a household or sheet put in for the word in capitals."""
    words = command_line(
        spans(row[0])[0]
        .replace("[HOUSEHOLD]", "demo")
        .replace("[STUDY]", "demo")
        .replace("SHEET", "flat")
        .replace("FILE...", "flat")
    )
    words = ["two-period" if word == "OLD" else "summer-peak" if word == "[NEW]" else word for word in words]
    now = ["--now", "2026-11-25 20:00"] if words[0] in ("tonight", "days", "together") else []
    monkeypatch.chdir(tmp_path)
    Path("PANEL").write_text(block("yaml", "circuits:"), encoding="utf-8")
    Path("RECORD.json").write_text(RECORD, encoding="utf-8")
    assert invoke(*words, *now).exit_code == 0


def test_the_record_that_is_brought(process, tmp_path):
    """The two commands on open records work one after the other, as printed, and the sheet passes its checks."""
    (tmp_path / "record.json").write_text(RECORD, encoding="utf-8")
    path = f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    text = block("sh", "chargeplan import record.json")
    ran = process("-ec", text, program=("/bin/sh",), cwd=tmp_path, env={**os.environ, "PATH": path})
    assert (ran.returncode, ran.stdout.splitlines()[0]) == (0, "my-rate.yaml: Ridgeline Valley, Evenings")
    assert ran.stdout.splitlines()[1].startswith("my-rate.yaml: good, ")
    assert "assumed (holidays): holidays take the hours of a Sunday" in ran.stderr
    draft = chargeplan.draft_sheet(tmp_path / "record.json", timezone="America/Denver", holidays="US")
    assert draft.text == (tmp_path / "my-rate.yaml").read_text(encoding="utf-8")
    assert draft.tariff.name == draft.name
    assert draft.notes


def test_the_table_of_exit_codes():
    """The four exit codes of the table are those of the program and of its errors."""
    assert [int(code) for code, _ in table("exit code")] == [cli.FINE, cli.TROUBLE, cli.MISTAKE, cli.OUT_OF_REACH]
    assert (SolverError.exit_code, InputError.exit_code, FileError.exit_code) == (1, 2, 2)


# ------------------------------------------------------------------------------------------------ keys


def parts_of(model):
    """The keys of a model, each with the models inside it."""
    found = {}
    for name, info in model.model_fields.items():
        inner, pending = [], [info.annotation]
        while pending:
            kind = pending.pop()
            if isinstance(kind, type) and issubclass(kind, BaseModel):
                inner.append(kind)
            pending += get_args(kind)
        found[info.alias or name] = inner
    return found


def values_of(model):
    """Words that keys of a model may be set to."""
    found, pending = set(), [info.annotation for info in model.model_fields.values()]
    while pending:
        kind = pending.pop()
        if get_origin(kind) is Literal:
            found |= {str(value) for value in get_args(kind)}
        pending += get_args(kind)
    return found


def test_the_table_of_keys():
    """Every key of the household model stands in the row of its part, and the rows name nothing else."""
    rows = dict(table("key"))
    parts = parts_of(HouseholdSheet)
    assert sorted(key for cell in rows for key in spans(cell)) == sorted(parts)
    days = {"weekdays", "weekends", "Mon", "Tue, Thu", "Mon-Fri", "holidays", "stays home"}
    for cell, about in rows.items():
        for key in spans(cell):
            keys, words = set(), days | values_of(HouseholdSheet)
            for model in parts[key]:
                keys |= set(parts_of(model))
                words |= values_of(model)
            named = {span.split(":")[0] for span in spans(about)}
            if keys:
                assert named - words <= keys, f"{key}: {named - words - keys}"
                # `name` is explained once, at the top.
                assert keys - {"name", "efficiency", "overhead"} <= named, f"{key}: {keys - named}"
    losses = README.split("**Losses.**")[1].split("**Taper.**")[0]
    assert {"efficiency", "overhead"} <= set(spans(losses))
    assert set(LEVELS) <= set(spans(losses))


def test_the_preconditioning_loads():
    """The preconditioning that is printed fits the habits as it stands."""
    about = README.split("**Warm or cool before leaving.**")[1].split("\n\n")[0]
    said = spans(about)[0]
    home = read_household(changed(("  target: 80 %", f"  {said}\n  target: 80 %")))
    assert home.habits.preconditioning.takes_min == 20


def test_the_table_of_keys_of_a_study():
    """Every key of the study model, all the way down, stands in the row of its part, and no row names another."""
    rows = dict(table("study key"))
    parts = parts_of(StudySheet)
    assert sorted(key for cell in rows for key in spans(cell)) == sorted(parts)

    def below(models, elsewhere):
        for model in models:
            if model not in elsewhere:
                yield model
                for inner in parts_of(model).values():
                    yield from below(inner, elsewhere)

    for cell, about in rows.items():
        # Circuits and supply equipment are those of a household file; `house` has a row of its own.
        elsewhere = [CircuitPart, EvsePart, *([] if cell == "`house`" else [HousePart])]
        models = [model for key in spans(cell) for model in below(parts[key], elsewhere)]
        keys = {key for model in models for key in parts_of(model)}
        words = {str(value) for model in (StudySheet, *models) for value in values_of(model)} | {"as it is", "none"}
        named = {span.split(":")[0] for span in spans(about)}
        assert named - words <= keys | set(spans(cell)), f"{cell}: {named - words - keys}"
        assert keys <= named, f"{cell}: {keys - named}"
    assert "(unless stated)" in rows["`aim`"]
    assert StudySheet.model_fields["aim"].default == "target"


def test_the_study_that_is_shown(invoke):
    """What the demo study prints begins as shown, and the folder of examples is where the README says."""
    shown = block("text", "Which rate, which outlet")
    assert invoke("study", "demo").stdout.startswith(shown)
    folder = Path(__file__).parents[2] / "chargeplan" / "study" / "examples"
    assert f"`{folder.relative_to(Path(__file__).parents[2])}/` has three to copy" in README.replace("\n", " ")
    assert {path.stem for path in folder.glob("*.yaml")} == set(study_examples())
    assert len(study_examples()) == 3
    assert f"more than {MOST_LIVES} with their ways of driving" in " ".join(README.split())
    assert f"`--json` holds them up to {MOST_ROWS:,}" in README
    assert f"Ctrl-C (exit code {STOPPED})" in README
    assert CAUTION.split(": ")[1] in " ".join(README.replace("> ", "").split())


def test_the_study_in_python(tmp_path):
    """The block runs as a script, and what is named below it is there."""
    script = block("python", "run_study")
    (tmp_path / "compare.py").write_text(script, encoding="utf-8")
    ran = subprocess.run(
        [sys.executable, "compare.py"], cwd=tmp_path, capture_output=True, text=True, check=False, timeout=120
    )
    assert ran.returncode == 0, ran.stderr
    assert "night-owl" in ran.stdout
    below = README.split(f"{script}```")[1].split("## Rate sheets")[0]
    named = {span.split("(")[0] for span in spans(below)}
    assert {"Study", "Driving", "Equipment", "UsualLoad", "rank_rates", "weigh_equipment", "study_html"} <= named
    notebooks = {name for name in named if name.startswith("notebooks/")}
    for name in notebooks:
        assert (Path(__file__).parents[2] / name).is_file()
    assert named - notebooks <= set(chargeplan.__all__)


def test_the_values_that_are_written_load():
    """Single values in the table are values that a household takes."""
    about = {key: about for cell, about in table("key") for key in spans(cell)}
    for leave in (
        ["weekdays: 07:15", "weekends: 09:30", "holidays: stays home"],
        ["Mon: 07:15", "Tue, Thu: 07:15", "Wed: 07:15", "Fri-Sun: 07:15"],
        ["Mon-Fri: 07:15", "Sat: stays home", "Sun: 12:00"],
    ):
        lines = "".join(f"\n    {line}" for line in leave)
        home = read_household(
            changed(
                ("leave: {weekdays: 07:15, Sat: 09:30, Sun: stays home}", f"leave:{lines}"),
                ("{weekdays: 29 mi, Sat: 46 mi}", "29 mi"),
            )
        )
        assert home.habits.leave.on(1) == 435
    for day in ("weekdays", "weekends", "Mon", "Tue, Thu", "Mon-Fri", "holidays", "stays home"):
        assert f"`{day}`" in about["habits"]
    for prefer in ("earliest", "latest", "fewest starts"):
        assert f"`{prefer}`" in about["prefer"]
    for unit in ("kWh/100 mi", "kWh/100 km", "Wh/mi", "Wh/km", "mi/kWh", "km/kWh"):
        assert unit in about["vehicle"]
        number = {"kWh": "16", "Wh": "200"}.get(unit.split("/")[0], "5")
        assert read_household(changed(("26.4 kWh/100 mi", f"{number} {unit}"))).vehicle.consumption
    assert "(80 % unless stated)" in about["circuit"]
    assert "`min_current` (6 A), `step` (1 A)" in about["evse"]
    home = read_household(changed())
    assert (home.limit.min_a, home.limit.links[0].current_a) == (6.0, 40.0)


# ------------------------------------------------------------------------------------------------ files


def test_the_simplest_sheet():
    """The sheet that is printed loads, and its prices are those of the shipped sheet it is taken from."""
    printed, shipped = read_tariff(block("yaml", "currency:")), load_tariff("two-period")
    assert printed.name == shipped.name
    days = ("2026-03-07", "2026-03-10")
    assert printed.prices(*days).tolist() == shipped.prices(*days).tolist()


def test_the_losses_load():
    """The losses that are printed fit a vehicle as they stand."""
    home = read_household(
        changed(("  daily_limit: 90 %", block("yaml", "losses:\n").rstrip() + "\n  daily_limit: 90 %"))
    )
    assert (home.vehicle.loss("level 1").efficiency, home.vehicle.loss("level 2").overhead_kw) == (0.9, 0.2)


def test_the_house_use_loads():
    """The block fits a household as it stands, and the row of the table is short, since a section tells the rest."""
    home = read_household(changed(("floor: 20 %", "floor: 20 %\n" + block("yaml", "house_use:"))))
    use = home.house_use
    assert (use.so_far_kwh, use.per_day_kwh, use.highest_kw) == (480.0, 30.0, 4.5)
    (row,) = [about for cell, about in table("key") if cell == "`house_use`"]
    assert len(row) < 160
    section = README.split("### What else is on the bill")[1].split("### ")[0]
    assert max(map(len, section.splitlines())) <= 120


def test_the_formula_of_losses():
    """The battery gets what the sentence says: 0.93 x 7.2 - 0.2 kW."""
    losses = " ".join(README.split("**Losses.**")[1].split("**Taper.**")[0].split())
    assert "what reaches the battery, in kW, is efficiency x wall power - overhead" in losses
    assert ChargingLoss(0.93, 0.2).battery_kw(7.2) == pytest.approx(0.93 * 7.2 - 0.2)


def test_the_taper_loads():
    """The taper that is printed fits a vehicle as it stands."""
    (taper,) = spans(README.split("**Taper.**")[1].split("\n\n")[0])
    home = read_household(changed(("daily_limit: 90 %", f"daily_limit: 90 %\n  {taper}")))
    assert home.vehicle.taper.accepted_kw(1.0) == 3.0


@pytest.mark.parametrize("number", [0, 1])
def test_the_checks_hold(number):
    """The checks that are printed hold for the shipped sheet they are taken from.

    The bill by hand: 100 x 0.524 + 300 x 0.189 + 100 x 0.312 + 31 x 0.42 = 153.32, and 3.5 % of it, 5.37.
    """
    text = (shipped_folder() / "summer-peak.yaml").read_text(encoding="utf-8").partition("checks:")[0]
    printed = blocks("yaml", "checks:")[number]
    tariff = read_tariff(text + printed)
    assert len(tariff.sheet.checks) == 3
    assert failed_checks(tariff, read_document("peak.yaml", text=text + printed)) == []


def test_the_lines_in_full():
    """The long form that is printed gives the bill of the published example with tiers and line losses.

    700 kWh and 3.76 % losses: 70.30, 726.32 x 0.016 = 11.62 and 26.32 x 0.115 = 3.03; the discount needs the night.
    """
    tariff = read_tariff("name: A\ncurrency: CAD\ntimezone: America/Toronto\n" + block("yaml", "counts: losses"))
    lines = tariff.bill({"applies": 0, "otherwise": 700}, start="2022-06-01", end="2022-06-30").lines
    assert [str(lines[name]) for name in ("energy", "transmission", "losses")] == ["70.30", "11.62", "3.03"]


def test_the_table_of_sheets():
    """The table names the sheets that are shipped, and the household that one goes with."""
    rows = table("sheet")
    assert sorted(spans(cell)[0] for cell, _ in rows) == sorted(shipped_sheets())
    about = {spans(cell)[0]: text for cell, text in rows}
    (household,) = [span for span in spans(about["drei-zeiten"]) if span in examples()]
    assert chargeplan.load_household(household).tariff.name == load_tariff("drei-zeiten").name


def test_the_forms_of_a_state_of_charge(tmp_path):
    """Both forms that are printed are read, `--soc` too, and the age limit is 12 h unless stated."""
    forms = README.split("**The state of charge tonight**")[1].split("**Below")[0]
    written = [form for form in spans(forms) if form == "55 %" or form.startswith("{")]
    assert len(written) == 2
    (tmp_path / "home.yaml").write_text(changed(("floor: 20 %", "floor: 20 %\nstate_of_charge: {file: soc.txt}")))
    home = chargeplan.load_household(tmp_path / "home.yaml")
    assert home.soc_file.max_age_min == 12 * 60
    assert "(12 h unless" in README
    for form in written:
        (tmp_path / "soc.txt").write_text(form)
        os.utime(tmp_path / "soc.txt", (1_795_660_000, 1_795_660_000))
        assert plan_tonight(home, now="2026-11-25 20:00").soc.share == 0.55


def test_the_limits_of_files():
    """The limits that are printed are the limits that hold."""
    assert "1 MB,\n20 levels, 200 aliases and 50,000 values" in README
    assert (reading.MAX_BYTES, reading.MAX_DEPTH, reading.MAX_ALIASES, reading.MAX_VALUES) == (10**6, 20, 200, 50_000)


def test_the_block_of_other_charges():
    """400 kWh at 0.2, 4 kW, April of 30 days: 12.60 + 24.84 + 80 - 174.25, taxes 5 % of 117.44 and 2 % of 85.87."""
    head = "name: A\ncurrency: USD\ntimezone: America/Denver\nprices: 0.2\n"
    tariff = read_tariff(head + block("yaml", "spring credit"))
    lines = {
        name: float(amount)
        for name, amount in tariff.bill(400, start="2026-04-01", end="2026-04-30", demand_kw=4).lines.items()
    }
    assert lines == {
        "energy": 80.0,
        "service": 12.6,
        "on-peak demand": 24.84,
        "spring credit": -174.25,
        "city tax": 5.87,
        "state tax": 1.72,
    }


def test_the_tests_of_your_own(tmp_path):
    """The block of tests passes as it stands, for a sheet of the name it has."""
    (tmp_path / "rates").mkdir()
    shutil.copy(shipped_folder() / "summer-peak.yaml", tmp_path / "rates" / "mine.yaml")
    (tmp_path / "test_mine.py").write_text(block("python", "check_all"), encoding="utf-8")
    words = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "test_mine.py"]
    ran = subprocess.run(words, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout
    assert "2 passed" in ran.stdout


# ------------------------------------------------------------------------------------------------ notebook


def test_the_python_block_runs():
    """The block runs as it stands, and what is said of its objects below it is so."""
    import pandas as pd

    names = {}
    exec(compile(block("python", "plan_tonight"), "README.md", "exec"), names)  # the README is our own
    home, night = names["home"], names["night"]
    assert isinstance(night.schedule.table(), pd.DataFrame)
    assert len(night.schedule.table()) == len(night.schedule.hours)
    prices = home.tariff.prices("2026-11-25", "2026-11-27")
    assert isinstance(prices, pd.Series)
    assert str(prices.index.tz) == "America/Denver"
    frame = home.tariff.frame("2026-11-25", "2026-11-27")
    assert {"period", "season", "day_type", "price_per_kwh"} <= set(frame.columns)
    text = README.split("## In a notebook")[1].split("## Rate sheets")[0]
    for name in ("windows", "departures", "certificate", "on_plug_in", "by_timer"):
        assert f"`{name}`" in text
        assert getattr(night.schedule, name) is not None
    for name in ("Stay", "Drive", "Itinerary", "plan_itinerary"):
        assert f"`{name}`" in text
        assert name in chargeplan.__all__
    assert (Path(__file__).parents[2] / "notebooks" / "tonight.ipynb").is_file()
