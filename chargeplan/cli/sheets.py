"""The commands about rate sheets and other files: `prices`, `check` and `schema`."""

from __future__ import annotations

import os
import sys
from datetime import UTC, datetime

import click

from chargeplan.cli.entry import FINE, MISTAKE, main
from chargeplan.cli.printing import complain, form_options, print_csv, print_json
from chargeplan.errors import FileError, Mistake
from chargeplan.units import calendar_date


@main.command()
@click.argument("sheet")
@click.option("--date", "day", help="The day, like 2026-07-04. Today without it.")
@click.option("--now", help="Pretend it is this time.")
@form_options
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
        chosen = calendar_date(day)
    else:
        now_s = int(datetime.now(UTC).timestamp()) if now is None else instant_s(now, tariff.timezone)
        chosen = day_of_number(int(local_seconds(tariff.timezone, np.array([now_s]))[0]) // DAY_S)
    if form == "json":
        print_json(prices_data(tariff, tariff.day(chosen)))
    elif form == "csv":
        print_csv(*prices_rows(tariff, tariff.day(chosen)))
    else:
        click.echo(day_prices_text(tariff, chosen))


@main.command()
@click.argument("files", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Data for programs.")
def check(files: tuple[str, ...], as_json: bool) -> None:
    """Check rate sheets and household files, and run the checks they carry."""
    from chargeplan.output.data import CHECK_SCHEMA, check_data
    from chargeplan.tariff.lint import SheetWarning

    results = []
    good = True
    for file in files:
        mistakes, warnings, checks = _checked(file)
        good = good and not mistakes
        results.append(check_data(file, mistakes, warnings, checks))
        if not as_json:
            for mistake in mistakes:
                complain(str(mistake))
            for warning in warnings:
                complain(str(warning) if isinstance(warning, SheetWarning) else f"{warning} (warning)")
            if not mistakes:
                click.echo(
                    f"{file}: good" + (f", {checks} check{'s hold' if checks > 1 else ' holds'}" if checks else "")
                )
    if as_json:
        print_json({"schema": CHECK_SCHEMA, "good": good, "files": results})
    sys.exit(FINE if good else MISTAKE)


@main.command()
@click.argument(
    "what",
    type=click.Choice(["tariff", "household", "plan", "prices", "check", "picture", "difference", "bill", "bills"]),
)
def schema(what: str) -> None:
    """Print a JSON Schema: of the files you write, or of what --json prints."""
    if what == "tariff":
        from chargeplan.tariff.sheet import sheet_schema

        print_json(sheet_schema())
    elif what == "household":
        from chargeplan.household.model import household_schema

        print_json(household_schema())
    else:
        from chargeplan.output.json_schema import SCHEMAS

        print_json(SCHEMAS[what])


def _checked(file: str) -> tuple[list[Mistake], list[Mistake], int]:
    """Check one file; a household names a vehicle, a rate sheet does not."""
    from chargeplan.household import load_household
    from chargeplan.reading import read_document
    from chargeplan.tariff import load_tariff
    from chargeplan.tariff.checks import failed_checks
    from chargeplan.tariff.lint import unknown_acceptances, warnings_of

    path = shipped_path(file)
    try:
        document = read_document(path)
        if "vehicle" in document.data or "habits" in document.data:
            cautions = load_household(path).limit.warnings
            return [], [document.mistake(("evse",), caution) for caution in cautions], 0
        tariff = load_tariff(path)
        mistakes = [*failed_checks(tariff, document), *unknown_acceptances(document)]
        return mistakes, [*warnings_of(tariff, document, datetime.now(UTC).date())], len(tariff.sheet.checks)
    except FileError as error:
        return list(error.mistakes), [], 0


def shipped_path(name: str) -> str:
    """Find the file of what comes with chargeplan and is called by its name."""
    from chargeplan.household.household import example_folder, examples
    from chargeplan.tariff.loading import shipped_folder, shipped_sheets

    if os.path.exists(name):
        return name
    if name in shipped_sheets():
        return str(shipped_folder() / f"{name}.yaml")
    return str(example_folder() / f"{name}.yaml") if name in examples() else name
