"""The command that answers questions about whole years: `study`."""

from __future__ import annotations

import gc
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import click

from chargeplan.cli.entry import main
from chargeplan.cli.kinds import loaded
from chargeplan.cli.printing import complain, print_json
from chargeplan.errors import ChargeplanError, InputError

if TYPE_CHECKING:
    from chargeplan.output.study_report import StudyReport
    from chargeplan.study.file import StudyFile
    from chargeplan.study.results import StudyResult

#: What a shell calls a program that Ctrl-C ended: 128 and the number of the signal.
STOPPED: Final = 130
#: Options that name a file, and how its name has to end.
_FILES: Final = {"html": (".html", ".htm"), "csv": (".csv",), "parquet": (".parquet", ".pq")}
#: How messages of the library name what the command has options for.
_OPTIONS: Final = (
    ("give restart=True", "add --restart"),
    ("workers=1", "--workers 1"),
    ('a smaller chunk_cells=, and in a script call run_study under `if __name__ == "__main__":`', "more memory"),
)


@main.command()
@click.argument("file", required=False)
@click.option("--out", "folder", help="Keep what is worked out in this folder, and go on there after a break.")
@click.option("--workers", type=int, help="Number of processes. As many as there are cores without it.")
@click.option("--html", help="Write a report with pictures into this file.")
@click.option("--csv", help="Write the row of every year into this file.")
@click.option("--parquet", help="Write the rows as Parquet.")
@click.option("--force", is_flag=True, help="Replace files that are there.")
@click.option("--restart", is_flag=True, help="Begin anew in a folder that holds results.")
@click.option("--json", "as_json", is_flag=True, help="Data for programs.")
def study(file: str | None, folder: str | None, workers: int | None, as_json: bool, **options: Any) -> None:
    """Compare rates, equipment and driving over a year.

    FILE is a study file, or an example: demo, outlet, work-stop. Without it, study.yaml of this folder is used.
    """
    from chargeplan.study.file import load_study

    # A long run makes much that needs collecting.
    gc.enable()
    force, restart = options.pop("force"), options.pop("restart")
    files = {kind: Path(name) for kind, name in options.items() if name is not None}
    _check(files, folder, force, restart)
    asked = loaded(load_study, _named(file), "study")
    try:
        result, report = _worked_out(asked, folder, workers, restart)
        _write(files, result, report)
    except KeyboardInterrupt:
        complain(_stopped(folder))
        sys.exit(STOPPED)
    except ChargeplanError as error:
        raise _in_options(error) from None
    if as_json:
        from chargeplan.output.study_data import study_data

        print_json(study_data(report, result.rows(), asked.study.cells * len(asked.study.strategies)))
    else:
        from chargeplan.output.study_text import study_text

        click.echo(study_text(report))
        for path in files.values():
            click.echo(f"{path}: written")


def _check(files: dict[str, Path], folder: str | None, force: bool, restart: bool) -> None:
    """Find what cannot be written before a long run, and what does not go together."""
    if restart and folder is None:
        raise InputError("--restart goes with --out; add the folder")
    if force and not files:
        raise InputError("--force goes with --html, --csv or --parquet; add the file, or for a folder --restart")
    if folder is not None and not Path(folder).absolute().parent.is_dir():
        parent = Path(folder).parent
        raise InputError(f"cannot write {folder}: there is no folder {parent}; make it, or choose another place")
    for kind, path in files.items():
        if path.suffix.lower() not in _FILES[kind]:
            endings = " or ".join(_FILES[kind])
            raise InputError(f"--{kind} {path.name} has another ending; end its name in {endings}")
        if not path.parent.is_dir():
            raise InputError(f"cannot write {path}: there is no folder {path.parent}; make it, or choose another place")
        if path.is_dir():
            raise InputError(f"cannot write {path}: it is a folder; choose another name")
        if not force and os.path.lexists(path):
            raise InputError(f"{path} is there already; choose another name, or add --force to replace it")
    if "parquet" in files:
        from chargeplan.study.store import arrow

        arrow()


def _named(file: str | None) -> str:
    if file is not None:
        return file
    if not Path("study.yaml").exists():
        raise InputError("there is no study.yaml here; name a file, or try the example: chargeplan study demo")
    return "study.yaml"


def _worked_out(
    asked: StudyFile, folder: str | None, workers: int | None, restart: bool
) -> tuple[StudyResult, StudyReport]:
    from chargeplan.output.study_report import study_report
    from chargeplan.study.progress import progress_bar
    from chargeplan.study.run import run_study

    with progress_bar() as progress:
        result = run_study(asked.study, workers=workers, out=folder, progress=progress, restart=restart)
        return result, study_report(asked, result.frame())


def _write(files: dict[str, Path], result: StudyResult, report: StudyReport) -> None:
    from chargeplan.writing import write_whole

    if (path := files.get("html")) is not None:
        from chargeplan.output.study_html import study_html

        write_whole(path, study_html(report).encode())
    if (path := files.get("csv")) is not None:
        result.to_csv(path)
    if (path := files.get("parquet")) is not None:
        result.to_parquet(path)


def _stopped(folder: str | None) -> str:
    if folder is None:
        return "chargeplan: stopped, and nothing is kept; with --out FOLDER a study goes on where it was stopped"
    return f"chargeplan: stopped; what was worked out is kept in {folder}, and the same command goes on from there"


def _in_options(error: ChargeplanError) -> ChargeplanError:
    """Name the options of the command where the library names its parameters."""
    text = str(error)
    for parameter, option in _OPTIONS:
        text = text.replace(parameter, option)
    return error if text == str(error) else InputError(text)
