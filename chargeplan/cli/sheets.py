"""The commands about rate sheets and other files: `prices`, `check` and `schema`."""

from __future__ import annotations

import sys
from datetime import UTC, date, datetime, timedelta
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any, Final

import click

from chargeplan.cli.entry import FINE, MISTAKE, main
from chargeplan.cli.kinds import kind_of, loaded, no_yaml
from chargeplan.cli.printing import complain, form_options, print_csv, print_json
from chargeplan.cli.shipped import shipped_path
from chargeplan.errors import FileError, InputError, Mistake
from chargeplan.units import calendar_date

if TYPE_CHECKING:
    from chargeplan.tariff import Tariff

#: What `schema` takes.
SCHEMA_NAMES: Final = (
    *("tariff", "household", "panel", "study", "plan", "together", "prices", "price-table", "check", "picture"),
    *("difference", "bill", "bills", "drafts", "study-result"),
)


class SchemaName(click.Choice[str]):
    """One of many names: they are listed once, and the nearest is proposed."""

    def convert(self, value: str, param: click.Parameter | None, ctx: click.Context | None) -> str:
        """Take a name, or say which there are."""
        if value not in self.choices:
            near = get_close_matches(value, self.choices, 1)
            meant = f"Did you mean {near[0]}? " if near else ""
            self.fail(f"there is no schema {value[:40]}. {meant}There are {', '.join(self.choices)}.", param, ctx)
        return value


@main.command()
@click.argument("sheet")
@click.option("--date", "day", help="The day, like 2026-07-04. Today without it.")
@click.option("--now", help="Pretend it is this time; it decides today, and which days are known to be called.")
@click.option("--from", "first", help="First day of a table of prices, like 2026-01-01.")
@click.option("--to", "last", help="Last day, which belongs to the table.")
@click.option("--step", help="Length of a slot: what divides an hour, like 5 min or 1 h. 15 min without it.")
@click.option("--parts", is_flag=True, help="Add period, season, kind of day, components and taxes to the table.")
@click.option("--out", "file", help="Write the table into a file ending in .csv, .json or .parquet.")
@click.option("--force", is_flag=True, help="Replace the file if it is there.")
@form_options
def prices(sheet: str, day: str | None, now: str | None, form: str | None, **options: Any) -> None:
    """Show the prices of a day, or write a table of them.

    The table is for other programs: --from and --to say for which days, --out, --csv or --json where it goes.

    SHEET is a rate sheet, or the name of one that comes with chargeplan.
    """
    import numpy as np

    from chargeplan.clock import DAY_S, day_of_number, instant_s, local_seconds
    from chargeplan.output.data import prices_data, prices_rows
    from chargeplan.output.price_text import day_prices_text
    from chargeplan.tariff import load_tariff

    span = _span(day, now, form, options)
    if options["file"] is not None:
        from chargeplan.output.price_files import format_of

        format_of(options["file"], options["force"])
    tariff = loaded(load_tariff, sheet, "sheet")
    if span is not None:
        _price_table(tariff, *span, options, form)
        return
    now_s = int(datetime.now(UTC).timestamp()) if now is None else instant_s(now, tariff.timezone)
    today = day_of_number(int(local_seconds(tariff.timezone, np.array([now_s]))[0]) // DAY_S)
    chosen = today if day is None else calendar_date(day)
    # A day that may still be called is priced as the sheet says of days not yet known, as a plan does.
    tariff = tariff.as_known(datetime.fromtimestamp(now_s, UTC))
    if form == "json":
        print_json(prices_data(tariff, tariff.day(chosen)))
    elif form == "csv":
        print_csv(*prices_rows(tariff, tariff.day(chosen)))
    else:
        click.echo(day_prices_text(tariff, chosen))


def _span(day: str | None, now: str | None, form: str | None, options: dict[str, Any]) -> tuple[date, date] | None:
    """Give the first and last day of a table of prices, None where the runs of one day are wanted."""
    from chargeplan.clock import FIRST_YEAR, LAST_YEAR

    first, last = options["first"], options["last"]
    if first is None and last is None:
        given = [f"--{key}" for key in ("step", "parts", "force") if options[key]]
        if options["file"] is not None or given:
            raise InputError(f"{given[0] if given else '--out'} goes with --from 2026-01-01 --to 2026-12-31; add them")
        return None
    if first is None or last is None:
        raise InputError("a table of prices needs its first and its last day; give both --from and --to")
    if day is not None or now is not None:
        raise InputError("--date and --now go without --from and --to; leave one of them out")
    if options["force"] and options["file"] is None:
        raise InputError("--force goes with --out prices.csv; add it")
    if (options["file"] is None) == (form is None):
        what = "say where the table goes" if form is None else f"--out and --{form} exclude one another"
        raise InputError(f"{what}; give either --out prices.csv, whose ending says the format, or --csv or --json")
    begin, end = calendar_date(first), calendar_date(last)
    if end < begin:
        raise InputError(f"--to {end} lies before --from {begin}; give a later last day")
    for option, chosen in (("--from", begin), ("--to", end)):
        if not FIRST_YEAR <= chosen.year <= LAST_YEAR:
            raise InputError(f"{option} {chosen} is out of range; choose years from {FIRST_YEAR} to {LAST_YEAR}")
    return begin, end


def _price_table(tariff: Tariff, first: date, last: date, options: dict[str, Any], form: str | None) -> None:
    """Write the table into a file, or print it."""
    from chargeplan.output.price_files import csv_text, json_text, write_prices
    from chargeplan.output.price_table import price_table

    span = (first, last + timedelta(days=1), options["step"] or "15 min")
    file: str | None = options["file"]
    if file is None:
        table = price_table(tariff, *span, parts=options["parts"])
        click.echo(csv_text(table) if form == "csv" else json_text(table), nl=False)
    else:
        table = write_prices(tariff, file, *span, parts=options["parts"], force=options["force"])
        click.echo(f"{file}: {tariff.name}, {len(table.start_s):,} prices, {first} to {last}")


@main.command()
@click.argument("files", nargs=-1, required=True)
@click.option("--json", "as_json", is_flag=True, help="Data for programs.")
def check(files: tuple[str, ...], as_json: bool) -> None:
    """Check files, and run the checks they carry.

    FILES are rate sheets, household files, files of panels and study files, in any order.
    """
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
@click.argument("what", metavar="WHAT", type=SchemaName(SCHEMA_NAMES))
def schema(what: str) -> None:
    """Print a JSON Schema, for editors and programs.

    WHAT is a file you write: tariff, household, panel or study; or what --json prints: plan, together, prices,
    price-table, check, picture, difference, bill, bills, drafts or study-result.
    """
    if what == "tariff":
        from chargeplan.tariff.sheet import sheet_schema

        print_json(sheet_schema())
    elif what == "panel":
        from chargeplan.household.panel_file import panel_schema

        print_json(panel_schema())
    elif what == "study":
        from chargeplan.study.model import study_schema

        print_json(study_schema())
    elif what == "study-result":
        from chargeplan.output.study_schema import STUDY

        print_json(STUDY)
    elif what == "household":
        from chargeplan.household.model import household_schema

        print_json(household_schema())
    else:
        from chargeplan.output.json_schema import SCHEMAS

        print_json(SCHEMAS[what])


def _checked(file: str) -> tuple[list[Mistake], list[Mistake], int]:
    """Check one file; a household names a vehicle, a rate sheet does not."""
    from chargeplan.household import load_household
    from chargeplan.household.doubts import doubts_of, doubts_of_panel
    from chargeplan.reading import read_document
    from chargeplan.tariff import load_tariff
    from chargeplan.tariff.checks import failed_checks
    from chargeplan.tariff.lint import unknown_acceptances, warnings_of

    path = shipped_path(file)
    if (mistake := no_yaml(path)) is not None:
        return [mistake], [], 0
    try:
        document = read_document(path)
        kind = kind_of(document.data)
        if kind == "panel":
            from chargeplan.household.panel_file import load_panel

            return [], doubts_of_panel(load_panel(path), document), 0
        if kind == "study":
            from chargeplan.study.file import load_study

            return [], [*load_study(path).warnings], 0
        if kind == "household":
            return [], doubts_of(load_household(path), document), 0
        tariff = load_tariff(path)
        mistakes = [*failed_checks(tariff, document), *unknown_acceptances(document)]
        return mistakes, [*warnings_of(tariff, document, datetime.now(UTC).date())], len(tariff.sheet.checks)
    except FileError as error:
        return list(error.mistakes), [], 0
