"""Results in a folder: kept part by part, gone on with after anything, and never mixed with those of another study."""

import csv
import json
import os
import shutil
import signal
import subprocess
import sys
from dataclasses import dataclass, field, replace
from pathlib import Path

import pandas as pd
import pytest
from pyarrow import parquet
from run_cases import DEMO, LOAD, RATES, parts_in, slow_study, study, wait_for

from chargeplan.errors import InputError
from chargeplan.study.driving import Driving
from chargeplan.study.results import read_results
from chargeplan.study.run import run_study
from chargeplan.study.store import MANIFEST, PARTS_SCHEMA

SCRIPT = """
import sys
from run_cases import slow_study
from chargeplan.study.run import run_study

if __name__ == "__main__":
    run_study(slow_study(0.1), workers=2, out=sys.argv[1], chunk_cells=1)
"""


@pytest.fixture(scope="module")
def held():
    """The study worked out in memory."""
    return run_study(study(), workers=1)


@pytest.fixture(scope="module")
def _finished(tmp_path_factory):
    folder = tmp_path_factory.mktemp("finished") / "out"
    run_study(study(), workers=1, out=folder, chunk_cells=4)
    return folder


@pytest.fixture
def finished(_finished, tmp_path):
    """A folder in which the study is complete, in five parts."""
    return Path(shutil.copytree(_finished, tmp_path / "out"))


@dataclass(frozen=True)
class Unnamed(Driving):
    """Driving that hangs on a function without a name."""

    how: object = field(default_factory=lambda: lambda: 0)


def contents(folder):
    return {file.name: file.read_bytes() for file in folder.iterdir()}


def times(folder):
    return {file.name: file.stat().st_mtime_ns for file in folder.glob("part-*")}


def children_of(process):
    return [int(pid) for pid in Path(f"/proc/{process}/task/{process}/children").read_text().split()]


def with_descendants(process):
    found = children_of(process)
    return found + [below for child in found for below in with_descendants(child)]


def is_running(process):
    try:
        return Path(f"/proc/{process}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT])
def test_a_run_that_is_ended_from_outside_is_gone_on_with(tmp_path, how):
    """After kill -9 as after Ctrl-C the parts are there, no process is left, and the next run does the rest only."""
    folder, script = tmp_path / "out", tmp_path / "script.py"
    script.write_text(SCRIPT)
    run = subprocess.Popen(
        [sys.executable, script, folder],
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parent)},
        stderr=subprocess.PIPE,
        text=True,
    )
    wait_for(lambda: len(parts_in(folder)) >= 4)
    workers = with_descendants(run.pid)
    assert len(workers) >= 2
    run.send_signal(how)
    _, said = run.communicate(timeout=60)
    assert run.returncode in (-how, 128 + how)
    assert said.count("KeyboardInterrupt") == (how == signal.SIGINT)
    wait_for(lambda: not any(map(is_running, workers)))
    there = times(folder)
    assert 4 <= len(there) < 32
    with pytest.raises(InputError, match=r"lacks \d+ of 32 parts; run the study again with it"):
        read_results(folder)

    (folder / ".chargeplan-abc.parquet").write_bytes(b"PAR1 half-written")
    told = []
    again = run_study(slow_study(0.1), workers=1, out=folder, progress=lambda *now: told.append(now))
    assert told[0] == (2 * len(there), 64)  # what is there is not worked out again
    assert there.items() <= times(folder).items()
    assert list(again.rows()) == list(run_study(slow_study(0.0), workers=1).rows())
    assert sorted(file.name for file in folder.iterdir()) == [*(f"part-{n:06d}.parquet" for n in range(32)), MANIFEST]


def test_a_folder_says_what_is_in_it(finished):
    """Its schema, and how many parts and years."""
    about = json.loads((finished / MANIFEST).read_text())
    assert about | {"of": ""} == {
        "schema": PARTS_SCHEMA,
        "study": "two weeks",
        "of": "",
        "chunk_cells": 4,
        "cells": 20,
        "parts": 5,
    }
    assert parts_in(finished) == [f"part-{n:06d}.parquet" for n in range(5)]


def test_a_complete_folder_is_read(finished, held):
    """By another run, which works nothing out, and without the study."""
    before = times(finished)
    assert list(run_study(study(), out=finished).rows()) == list(held.rows())
    assert times(finished) == before
    result = read_results(finished)
    assert (result.name, result.cells) == ("two weeks", 20)
    pd.testing.assert_frame_equal(result.frame(), held.frame())


@pytest.mark.parametrize(
    "change",
    [
        {"name": "three weeks"},
        {"days": 15},
        {"seed": 2},
        {"draws": 2},
        {"aim": "enough"},
        {"strategies": ("optimal",)},
        {"tariffs": {"summer-peak": RATES["summer-peak"], "flat": RATES["summer-peak"]}},
        {"names": "abcdf"},
        {"names": "abced"},
    ],
    ids=str,
)
def test_another_study_is_refused(finished, change):
    """Before anything is worked out or changed; with restart=True the folder is the other study's."""
    before = contents(finished)
    with pytest.raises(InputError, match=r"holds another study.*; choose another folder, or give restart=True"):
        run_study(study(**change), out=finished)
    assert contents(finished) == before
    result = run_study(study(**change), workers=1, out=finished, restart=True)
    assert list(result.rows()) == list(run_study(study(**change), workers=1).rows())


@pytest.mark.parametrize(
    "change",
    [
        {"households": study().households | {"c": replace(DEMO, habits=replace(DEMO.habits, target=0.7))}},
        {"house": dict.fromkeys("abcde", LOAD) | {"c": replace(LOAD, per_day_kwh=21.0)}},
    ],
    ids=["household", "house load"],
)
def test_another_content_of_a_name_is_refused(finished, change):
    """A household or house load that has changed since, before anything is worked out or changed."""
    (finished / "part-000000.parquet").unlink()
    before = contents(finished)
    with pytest.raises(InputError, match="are of an earlier state of this study: a household, what a house uses"):
        run_study(study(**change), out=finished)
    assert contents(finished) == before


def test_where_the_state_of_charge_is_read_does_not_matter(finished):
    """It decides nothing of a year."""
    homes = {name: replace(home, soc_file=None) for name, home in study().households.items()}
    run_study(study(households=homes), out=finished)


def test_another_cut_is_refused(finished):
    """The parts would not fit; without a wish the cut of the folder is kept."""
    with pytest.raises(InputError, match="is cut into chunks of 4 years, not 8; choose another folder, or"):
        run_study(study(), out=finished, chunk_cells=8)
    run_study(study(), out=finished, chunk_cells=4)
    run_study(study(), out=finished)


@pytest.mark.parametrize("length", [0, 4, 100, -1])
def test_a_part_that_is_not_whole_is_worked_out_again(finished, held, length):
    """As after a power cut."""
    part = finished / "part-000003.parquet"
    part.write_bytes(part.read_bytes()[:length])
    with pytest.raises(InputError, match="lacks 1 of 5 parts"):
        read_results(finished)
    assert list(run_study(study(), out=finished).rows()) == list(held.rows())


def test_a_part_that_is_another_is_worked_out_again(finished, held):
    """A file does not become the part of its name by being copied there."""
    shutil.copy(finished / "part-000001.parquet", finished / "part-000003.parquet")
    assert list(run_study(study(), out=finished).rows()) == list(held.rows())


def test_a_folder_with_other_files_is_refused(tmp_path):
    """Nothing is written among them, nor removed, with restart neither."""
    (tmp_path / "letter.txt").write_text("dear")
    (tmp_path / "part-000000.parquet").write_text("mine")
    for restart in (False, True):
        with pytest.raises(InputError, match=r"holds other files, like letter.txt; choose a new or an empty folder"):
            run_study(study(), out=tmp_path, restart=restart)
    assert sorted(os.listdir(tmp_path)) == ["letter.txt", "part-000000.parquet"]


def test_what_a_later_run_could_not_know_again(finished, tmp_path):
    """A driving without a name is refused before anything is made or removed; in memory it may be used."""
    given = study("a", driving={"own": Unnamed()})
    before = contents(finished)
    for folder in (tmp_path / "new", finished):
        with pytest.raises(InputError, match="which has no name by which a later run would know it"):
            run_study(given, out=folder, restart=True)
    assert not (tmp_path / "new").exists()
    assert contents(finished) == before
    assert len(list(run_study(given, workers=1).rows())) == 12


def test_restart_removes_parts_only(finished):
    """What people put beside them stays."""
    (finished / "note.txt").write_text("mine")
    (finished / "part-a.parquet").write_text("mine")
    (finished / "part-000009.parquet").write_text("too many")
    run_study(study("a"), out=finished, restart=True)
    assert sorted(os.listdir(finished)) == [
        "note.txt",
        *(f"part-{n:06d}.parquet" for n in range(len(parts_in(finished)) - 1)),
        "part-a.parquet",
        MANIFEST,
    ]


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"schema": 1}', '{"schema": "mine/1"}', "\xff"])
def test_a_manifest_that_is_none(finished, text):
    """One message, and nothing is removed, with restart neither: it is somebody else's."""
    (finished / MANIFEST).write_text(text, encoding="latin-1")
    before = contents(finished)
    for open_it in (
        read_results,
        lambda folder: run_study(study(), out=folder),
        lambda folder: run_study(study(), out=folder, restart=True),
    ):
        with pytest.raises(InputError, match="choose another"):
            open_it(finished)
    assert contents(finished) == before


@pytest.mark.parametrize("change", [{"schema": "chargeplan.study-parts/2"}, {"parts": "five"}], ids=str)
def test_a_manifest_that_cannot_be_gone_on_with(finished, change):
    """Of another version of this package, or changed by hand: it can be begun anew."""
    about = json.loads((finished / MANIFEST).read_text())
    (finished / MANIFEST).write_text(json.dumps(about | change))
    with pytest.raises(InputError, match="choose another folder, or give restart=True to begin anew"):
        run_study(study("a"), out=finished)
    run_study(study("a"), out=finished, restart=True)
    assert read_results(finished).cells == 4


def test_a_manifest_of_another_schema(finished):
    """It is said which."""
    about = json.loads((finished / MANIFEST).read_text())
    (finished / MANIFEST).write_text(json.dumps(about | {"schema": "chargeplan.study-parts/2"}))
    with pytest.raises(InputError, match=r"has the schema chargeplan.study-parts/2, not chargeplan.study-parts/1"):
        read_results(finished)


def test_no_folder(tmp_path):
    """One message each."""
    (tmp_path / "file").write_text("")
    with pytest.raises(InputError, match=r"cannot use .*file for results: File exists; choose another folder"):
        run_study(study("a"), out=tmp_path / "file")
    with pytest.raises(InputError, match=r"is no folder of results: study.json cannot be read; choose another one"):
        read_results(tmp_path / "missing")


def test_without_pyarrow(monkeypatch, tmp_path, held):
    """The extra is named, before anything is worked out; in memory and as CSV nothing is missing."""
    monkeypatch.setitem(sys.modules, "pyarrow", None)
    with pytest.raises(
        InputError, match=r"needs pyarrow; install chargeplan with its extra: pip install '.\[parquet\]'"
    ):
        run_study(study(), out=tmp_path / "out")
    assert not (tmp_path / "out").exists()
    with pytest.raises(InputError, match="needs pyarrow"):
        held.to_parquet(tmp_path / "rows.parquet")
    held.to_csv(tmp_path / "rows.csv")
    assert os.listdir(tmp_path) == ["rows.csv"]


def test_rows_are_read_part_by_part(finished, held):
    """What comes later is not looked at before it is its turn."""
    rows = read_results(finished).rows()
    expected = list(held.rows())
    assert next(rows) == expected[0]
    (finished / "part-000003.parquet").write_bytes(b"")
    for row in expected[1:36]:
        assert next(rows) == row
    with pytest.raises(
        InputError, match=r"cannot read .*part-000003.parquet: .*; run the study again with this folder"
    ):
        next(rows)


def test_csv_holds_every_digit(finished, held, tmp_path):
    """Read again it is the same table; what is not a number is empty."""
    for number, result in enumerate((held, read_results(finished))):
        result.to_csv(tmp_path / f"{number}.csv")
    assert (tmp_path / "0.csv").read_bytes() == (tmp_path / "1.csv").read_bytes()
    read = pd.read_csv(tmp_path / "0.csv", keep_default_na=False)
    pd.testing.assert_frame_equal(read, held.frame(), check_dtype=False, check_exact=True)
    run_study(study("a", driving={"none": replace(study().driving["varied"], scale=0.0)})).to_csv(tmp_path / "none.csv")
    with (tmp_path / "none.csv").open(newline="") as file:
        assert {row["cost_per_100km"] for row in csv.DictReader(file)} == {""}


def test_parquet_holds_the_same_table(finished, held, tmp_path):
    """Types included."""
    for number, result in enumerate((held, read_results(finished))):
        result.to_parquet(tmp_path / f"{number}.parquet")
        pd.testing.assert_frame_equal(pd.read_parquet(tmp_path / f"{number}.parquet"), held.frame())
    assert parquet.ParquetFile(tmp_path / "1.parquet").num_row_groups == 5


@pytest.mark.parametrize("write", ["to_csv", "to_parquet"])
def test_a_file_is_whole_or_not_at_all(finished, tmp_path, write):
    """A part that cannot be read leaves the file as it was."""
    result = read_results(finished)
    (finished / "part-000003.parquet").write_bytes(b"")
    (tmp_path / "rows").write_text("old")
    with pytest.raises(InputError, match="cannot read"):
        getattr(result, write)(tmp_path / "rows")
    assert (tmp_path / "rows").read_text() == "old"
    assert sorted(os.listdir(tmp_path)) == ["out", "rows"]
    with pytest.raises(InputError, match=r"cannot write .*; choose another place"):
        getattr(result, write)(tmp_path / "missing" / "rows")


def test_what_a_notebook_shows(finished, held):
    """A line and a few rows, names as they are and not as HTML."""
    assert repr(held) == "StudyResult('two weeks', 20 years planned)"
    assert repr(read_results(finished)) == f"StudyResult('two weeks', 20 years planned, in {finished})"
    shown = run_study(study("<", name="<b>"))._repr_html_()
    assert "<p>StudyResult(&#x27;&lt;b&gt;&#x27;" in shown
    assert shown.count("<tr") == 1 + 8
    assert "<td>&lt;</td>" in shown
