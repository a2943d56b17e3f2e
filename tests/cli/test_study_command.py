"""`chargeplan study`: text, files and data, mistakes, a break, a pipe and a terminal."""

import csv
import json
import os
import pty
import re
import signal
import subprocess
import sys
import termios
import time
from pathlib import Path

import jsonschema
import pytest

from chargeplan.study.file import study_examples
from chargeplan.study.results import read_results

STUDY = """
name: A week
from: 2026-01-01
to: 2026-01-07
households: demo
tariffs: [flat, two-period]
"""
#: So many years that there is time to stop it.
LONG = STUDY.replace("to: 2026-01-07\n", "drawn_years: 150\n")


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """A folder with a study, in which the command runs."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "study.yaml").write_text(STUDY, encoding="utf-8")
    (tmp_path / "long.yaml").write_text(LONG, encoding="utf-8")
    return tmp_path


def names(folder):
    """What is in a folder."""
    return sorted(path.name for path in folder.iterdir())


def test_text_files_and_data_say_the_same(invoke, folder):
    """Without a file the study of the folder; the files hold the rows, and the JSON fits its schema."""
    words = ("--html", "r.html", "--csv", "r.csv", "--parquet", "r.parquet", "--out", "parts", "--workers", "1")
    ran = invoke("study", *words)
    assert (ran.exit_code, ran.stderr) == (0, "")
    assert ran.stdout.startswith("A week\nThu 1 Jan 2026 - Wed 7 Jan 2026\n")
    assert ran.stdout.endswith("r.html: written\nr.csv: written\nr.parquet: written\n")
    with (folder / "r.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == 6
    kept = read_results("parts").frame()
    assert [float(row["bill"]) for row in rows] == kept.bill.tolist()
    import pandas as pd

    pd.testing.assert_frame_equal(pd.read_parquet("r.parquet").astype(kept.dtypes), kept)
    data = json.loads(invoke("study", "study.yaml", "--json").stdout)
    jsonschema.validate(data, json.loads(invoke("schema", "study-result").stdout))
    assert [row["bill"] for row in data["rows"]] == kept.bill.tolist()
    total = f"{data['lives'][0]['rates'][0]['total']:.2f}"
    assert total in ran.stdout
    assert f"{float(total):,.2f}" in (folder / "r.html").read_text(encoding="utf-8")


def test_files_are_replaced_only_when_asked(invoke, folder):
    (folder / "r.html").write_text("mine")
    ran = invoke("study", "--html", "r.html", "--csv", "r.csv")
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert ran.stderr == "chargeplan: r.html is there already; choose another name, or add --force to replace it\n"
    assert (folder / "r.html").read_text() == "mine"
    assert not (folder / "r.csv").exists()
    assert invoke("study", "--html", "r.html", "--force").exit_code == 0
    first = (folder / "r.html").read_bytes()
    assert invoke("study", "--html", "r.html", "--force").exit_code == 0
    assert (folder / "r.html").read_bytes() == first
    assert [name for name in names(folder) if name.startswith(".")] == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("nothing.yaml",), "nothing.yaml"),
        (("--workers", "0"), "0 workers cannot be; give --workers 1 or more"),
        (("--restart",), "--restart goes with --out; add the folder"),
        (("--force",), "--force goes with --html, --csv or --parquet"),
        (("--html", "r.txt"), "--html r.txt has another ending; end its name in .html or .htm"),
        (("--csv", "r.html"), "end its name in .csv"),
        (("--csv", "none/r.csv"), "cannot write none/r.csv: there is no folder none"),
        (("--out", "study.yaml"), "study.yaml"),
        (("demo-household.yaml",), "demo-household.yaml"),
        (("summer-peak",), "this is a rate sheet, not a study file"),
    ],
)
def test_mistakes_end_with_2(invoke, folder, words, said):
    """One line, nothing on standard output, nothing written."""
    before = names(folder)
    ran = invoke("study", *words)
    assert (ran.exit_code, ran.stdout) == (2, "")
    assert said in ran.stderr
    assert len(ran.stderr.splitlines()) == 1
    assert names(folder) == before


def test_a_folder_of_another_study_is_left_alone(invoke, folder):
    assert invoke("study", "--out", "parts").exit_code == 0
    held = (folder / "parts" / "study.json").read_bytes()
    (folder / "study.yaml").write_text(STUDY.replace("flat, two-period", "two-period"), encoding="utf-8")
    ran = invoke("study", "--out", "parts")
    assert ran.exit_code == 2
    assert (
        "holds another study, `A week`, or an earlier state of this one; choose another folder, or add --restart"
        in ran.stderr
    )
    assert (folder / "parts" / "study.json").read_bytes() == held
    assert invoke("study", "--out", "parts", "--restart").exit_code == 0
    assert read_results("parts").cells == 1


def test_without_a_study_it_says_where_one_is(invoke, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    ran = invoke("study")
    assert ran.exit_code == 2
    assert "there is no study.yaml here; name a file, or try the example: chargeplan study demo" in ran.stderr


def test_check_knows_studies(invoke, folder):
    """Good ones, with warnings; every mistake of a bad one, with line and column; the examples by name."""
    ran = invoke("check", "study.yaml")
    assert (ran.exit_code, ran.stdout) == (0, "study.yaml: good\n")
    assert "study.yaml:4:" in ran.stderr
    assert "(warning)" in ran.stderr
    for name in set(study_examples()) - {"demo"}:
        assert invoke("check", name).stdout == f"{name}: good\n"
    (folder / "bad.yaml").write_text(STUDY.replace("tariffs:", "tarifs:") + "seed: -1\n", encoding="utf-8")
    ran = invoke("check", "bad.yaml")
    assert ran.exit_code == 2
    assert "did you mean `tariffs`?" in ran.stderr
    assert re.search(r"bad.yaml:7:\d+: ", ran.stderr)
    assert invoke("tonight", "study.yaml").stderr.startswith("study.yaml:1:1: this is a study file, not a household")


def test_both_schemas_are_printed(invoke):
    for name in ("study", "study-result"):
        jsonschema.Draft202012Validator.check_schema(json.loads(invoke("schema", name).stdout))


def test_in_a_pipe_it_is_silent(process, folder):
    """Nothing but the report on standard output, nothing at all on standard error; the examples work by name."""
    ran = process("study", "outlet", "--workers", "2", cwd=folder)
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.startswith("Is a plain outlet enough\n")
    assert max(map(len, ran.stdout.splitlines())) <= 80
    assert "\x1b" not in ran.stdout
    assert "\r" not in ran.stdout


def on_a_terminal(words, folder, stop_at=None):
    """Run the command with standard error on a terminal; give the exit code and what the terminal was sent."""
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (24, 80))
    ran = subprocess.Popen(
        [str(Path(sys.executable).parent / "chargeplan"), *words],
        cwd=folder,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=theirs,
        env={**os.environ, "TERM": "xterm"},
    )
    os.close(theirs)
    shown = b""
    try:
        while True:
            try:
                part = os.read(ours, 4096)
            except OSError:  # the other end is closed
                break
            if not part:
                break
            shown += part
            if stop_at is not None and stop_at():
                ran.send_signal(signal.SIGINT)
                stop_at = None
        printed, _ = ran.communicate(timeout=120)
    finally:
        ran.kill()
        os.close(ours)
    return ran.returncode, shown.decode(), printed.decode()


def test_on_a_terminal_there_is_a_bar(folder):
    """It has the time that is left, no colour, and is taken away at the end; standard output is as in a pipe."""
    (folder / "some.yaml").write_text(LONG.replace("150", "40"), encoding="utf-8")
    code, shown, printed = on_a_terminal(("study", "some.yaml", "--workers", "1"), folder)
    assert code == 0
    assert printed.startswith("A week\n")
    assert re.search(r" \d+ % \|.*\| \d+ of 80 years, \d\d:\d\d left", shown)
    assert "\x1b[3" not in shown
    assert shown.rstrip("\n").split("\r")[-2].strip() == "", "it is wiped away"
    assert max(map(len, re.split(r"[\r\n]", shown))) <= 80


def test_ctrl_c_keeps_what_is_done_and_says_how_to_go_on(folder):
    """Exit code 130, one line, whole parts only; the same command goes on and ends with the same rows."""
    parts = folder / "parts"
    words = ("study", "long.yaml", "--out", "parts", "--workers", "1")
    code, shown, printed = on_a_terminal(words, folder, stop_at=lambda: len(list(parts.glob("*.parquet"))) >= 3)
    assert (code, printed) == (130, "")
    assert "what was worked out is kept in parts, and the same command goes on from there" in shown
    assert "Traceback" not in shown
    assert "Aborted" not in shown
    kept = {path.name: path.stat().st_mtime_ns for path in parts.glob("*.parquet")}
    assert 3 <= len(kept) < 50
    assert [name for name in names(parts) if name.startswith(".")] == []
    code, _, printed = on_a_terminal(words, folder)
    assert (code, printed.splitlines()[0]) == (0, "A week")
    assert {name: (parts / name).stat().st_mtime_ns for name in kept} == kept, "they were not worked out again"
    assert read_results(parts).cells == 300


def test_ctrl_c_without_a_folder_says_that_nothing_is_kept(folder):
    begun = time.monotonic()
    code, shown, printed = on_a_terminal(
        ("study", "long.yaml", "--workers", "1"), folder, stop_at=lambda: time.monotonic() > begun + 1
    )
    assert (code, printed) == (130, "")
    assert "nothing is kept; with --out FOLDER a study goes on where it was stopped" in shown
