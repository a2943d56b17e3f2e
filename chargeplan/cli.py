"""The command `chargeplan`: parse, call, print."""

from __future__ import annotations

import gc
import io
import os
import sys
from collections.abc import Iterable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chargeplan.errors import ChargeplanError, FileError, InputError, Mistake

if TYPE_CHECKING:
    from chargeplan.household import Household, HouseholdPlan

#: Exit codes.
FINE, TROUBLE, MISTAKE, OUT_OF_REACH = 0, 1, 2, 3

_EPILOG = """Exit codes: 0 all is well; 1 a solver gave no answer to be trusted; 2 a mistake in a file or on the
command line; 3 the target cannot be reached (the best plan is printed all the same)."""


class _Group(click.Group):
    """Prints our own errors as plain messages, without a traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except ChargeplanError as error:
            lines = map(str, error.mistakes) if isinstance(error, FileError) else [f"chargeplan: {error}"]
            for line in lines:
                _complain(line)
            ctx.exit(error.exit_code)


def run() -> None:
    """Run the command as a process of its own."""
    # Nothing that a short run makes needs collecting, and the imports are a tenth faster without.
    gc.disable()
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # A name that the terminal's encoding lacks must not stop the report.
            stream.reconfigure(errors="replace")
    main()


@click.group(cls=_Group, epilog=_EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="chargeplan")
def main() -> None:
    """Read time-of-use rates and plan the cheapest hours to charge an electric car."""


def _form_options(command: Any) -> Any:
    command = click.option("--csv", "form", flag_value="csv", help="Rows for a spreadsheet.")(command)
    return click.option("--json", "form", flag_value="json", help="Data for programs.")(command)


def _plan_options(command: Any) -> Any:
    for option in (
        click.option("--solver", default="auto", show_default=True, help="merit order, highs, or pulp:NAME."),
        click.option("--prefer", help="Of equals: as needed, earliest, latest, fewest starts."),
        click.option("--plugged-in", is_flag=True, help="The car is plugged in at home now."),
        click.option("--target", help="State of charge wanted at departure, like 90 %."),
        click.option("--now", help="Pretend it is this time, like '2026-11-25 18:30'."),
        click.option("--soc", help="State of charge at plug-in, like 55 %."),
    ):
        command = option(command)
    return command


@main.command()
@click.argument("household", required=False)
@_plan_options
@click.option("--leave", help="Departure, like 06:30 or '2026-11-26 06:30'.")
@click.option("--write-model", "model", help="Write the linear program to a .lp or .mps file as well.")
@_form_options
def tonight(household: str | None, leave: str | None, model: str | None, form: str | None, **options: Any) -> None:
    """Say when to charge tonight.

    HOUSEHOLD is a household file, or an example: demo, three-phase, plain-outlet. Without it,
    household.yaml of this folder is used.
    """
    from chargeplan.household import plan_tonight
    from chargeplan.output.plan_text import night_text

    plan = plan_tonight(_household(household), leave=leave, **_given(options))
    if model is not None:
        from chargeplan.plan.solvers import write_model

        write_model(plan.schedule.problem, Path(model))
    _print_plan(plan, form, night_text)


@main.command()
@click.argument("household", required=False)
@_plan_options
@click.option("--days", default=7, show_default=True, help="How many days ahead.")
@_form_options
def days(household: str | None, days: int, form: str | None, **options: Any) -> None:
    """Plan the coming days, with the drives between and other places to charge."""
    from chargeplan.household import plan_days
    from chargeplan.output.plan_text import days_text

    plan = plan_days(_household(household), days, **_given(options))
    _print_plan(plan, form, days_text)


@main.command()
@click.argument("sheet")
@click.option("--date", "day", help="The day, like 2026-07-04. Today without it.")
@click.option("--now", help="Pretend it is this time.")
@_form_options
def prices(sheet: str, day: str | None, now: str | None, form: str | None) -> None:
    """Show the prices of a day.

    SHEET is a rate sheet, or the name of one that comes with chargeplan.
    """
    import numpy as np

    from chargeplan.clock import DAY_S, day_of_number, instant_s, local_seconds
    from chargeplan.output.data import prices_data, prices_rows
    from chargeplan.output.price_text import day_prices_text
    from chargeplan.tariff import load_tariff

    tariff = load_tariff(sheet)
    if day is not None:
        chosen = _date(day)
    else:
        now_s = int(datetime.now(UTC).timestamp()) if now is None else instant_s(now, tariff.timezone)
        chosen = day_of_number(int(local_seconds(tariff.timezone, np.array([now_s]))[0]) // DAY_S)
    if form == "json":
        _print_json(prices_data(tariff, tariff.day(chosen)))
    elif form == "csv":
        _print_csv(*prices_rows(tariff, tariff.day(chosen)))
    else:
        click.echo(day_prices_text(tariff, chosen))


@main.command()
@click.argument("files", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Data for programs.")
def check(files: tuple[str, ...], as_json: bool) -> None:
    """Check rate sheets and household files, and run the checks they carry."""
    from chargeplan.output.data import CHECK_SCHEMA, check_data

    results = []
    good = True
    for file in files:
        mistakes, warnings, checks = _checked(file)
        good = good and not mistakes
        results.append(check_data(file, mistakes, warnings, checks))
        if not as_json:
            for mistake in mistakes:
                _complain(str(mistake))
            for warning in warnings:
                _complain(f"{warning} (warning)")
            if not mistakes:
                click.echo(
                    f"{file}: good" + (f", {checks} check{'s hold' if checks > 1 else ' holds'}" if checks else "")
                )
    if as_json:
        _print_json({"schema": CHECK_SCHEMA, "good": good, "files": results})
    sys.exit(FINE if good else MISTAKE)


@main.command()
@click.argument("what", type=click.Choice(["tariff", "household", "plan", "prices", "check"]))
def schema(what: str) -> None:
    """Print a JSON Schema: of the files you write, or of what --json prints."""
    if what == "tariff":
        from chargeplan.tariff.sheet import sheet_schema

        _print_json(sheet_schema())
    elif what == "household":
        from chargeplan.household.model import household_schema

        _print_json(household_schema())
    else:
        from chargeplan.output.json_schema import SCHEMAS

        _print_json(SCHEMAS[what])


def _complain(message: str) -> None:
    """Write one line to standard error, without the control characters of what it quotes."""
    from chargeplan.output.words import plain_text

    click.echo(plain_text(message), err=True)


def _household(name: str | None) -> Household:
    from chargeplan.household import load_household

    if name is None:
        if not Path("household.yaml").exists():
            raise InputError(
                "there is no household.yaml here; name a file, or try the example: chargeplan tonight demo"
            )
        name = "household.yaml"
    return load_household(name)


def _given(options: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in options.items() if value is not None}


def _date(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise InputError(f"`{text}` is not a date; write for example 2026-07-04") from None


def _checked(file: str) -> tuple[list[Mistake], list[Mistake], int]:
    """Check one file; a household names a vehicle, a rate sheet does not."""
    from chargeplan.household import load_household
    from chargeplan.reading import read_document
    from chargeplan.tariff import load_tariff
    from chargeplan.tariff.checks import failed_checks, oddities

    path = _shipped_path(file)
    try:
        document = read_document(path)
        if "vehicle" in document.data or "habits" in document.data:
            cautions = load_household(path).limit.warnings
            return [], [document.mistake(("evse",), caution) for caution in cautions], 0
        tariff = load_tariff(path)
        return failed_checks(tariff, document), oddities(tariff, document), len(tariff.sheet.checks)
    except FileError as error:
        return list(error.mistakes), [], 0


def _shipped_path(name: str) -> str:
    """Find the file of what comes with chargeplan and is called by its name."""
    from chargeplan.household.household import example_folder, examples
    from chargeplan.tariff.loading import shipped_folder, shipped_sheets

    if os.path.exists(name):
        return name
    if name in shipped_sheets():
        return str(shipped_folder() / f"{name}.yaml")
    return str(example_folder() / f"{name}.yaml") if name in examples() else name


def _print_plan(plan: HouseholdPlan, form: str | None, as_text: Any) -> None:
    if form == "json":
        from chargeplan.output.data import plan_data

        _print_json(plan_data(plan))
    elif form == "csv":
        from chargeplan.output.data import plan_rows

        _print_csv(*plan_rows(plan))
    else:
        click.echo(as_text(plan))
    sys.exit(OUT_OF_REACH if plan.schedule.fixes else FINE)


def _print_json(data: object) -> None:
    import json

    click.echo(json.dumps(data, indent=2, allow_nan=False))


def _print_csv(header: Iterable[str], rows: Iterable[Iterable[object]]) -> None:
    import csv
    import io

    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    click.echo(text.getvalue(), nl=False)
