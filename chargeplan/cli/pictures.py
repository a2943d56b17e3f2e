"""The commands that show what a sheet is like: `picture` and `difference`."""

from __future__ import annotations

from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chargeplan.cli.entry import main
from chargeplan.cli.kinds import loaded
from chargeplan.cli.printing import print_json
from chargeplan.cli.shipped import shipped_path
from chargeplan.errors import InputError
from chargeplan.units import calendar_date, quantity

if TYPE_CHECKING:
    from chargeplan.tariff.changed_bills import BillChange
    from chargeplan.tariff.difference import Difference


@main.command()
@click.argument("sheet")
@click.option("--year", type=int, help="The year to show. Without it this year, or the nearest with the sheet.")
@click.option("--out", "file", help="Draw into a file ending in .png or .svg instead.")
@click.option("--json", "as_json", is_flag=True, help="Data for programs.")
def picture(sheet: str, year: int | None, file: str | None, as_json: bool) -> None:
    """Show the hours of a year by months.

    SHEET is a rate sheet, or the name of one that comes with chargeplan.
    """
    from chargeplan.output.picture_data import picture_data
    from chargeplan.output.picture_text import picture_text
    from chargeplan.tariff import load_tariff
    from chargeplan.tariff.picture import picture as picture_of
    from chargeplan.tariff.year_grid import nearest_year

    tariff = loaded(load_tariff, shipped_path(sheet), "sheet")
    chosen = nearest_year(tariff, datetime.now(UTC).year) if year is None else _year(year)
    shown = picture_of(tariff, chosen)
    if file is not None:
        from chargeplan.output.plot import plot_picture, save_figure

        save_figure(lambda: plot_picture(shown), Path(file))
    if as_json:
        print_json(picture_data(shown))
    elif file is None:
        click.echo(picture_text(shown))
    else:
        click.echo(f"{file}: {shown.name}, {shown.year}")


@main.command()
@click.argument("old")
@click.argument("new", required=False)
@click.option("--at", "old_day", help="Take the old sheet as it was on this date.")
@click.option("--and", "new_day", help="Take the new sheet, or the same, as it was on this date.")
@click.option("--year", type=int, help="The year to lay both out on.")
@click.option("--use", help="Compare bills of so many kWh a month, spread evenly, like 700.")
@click.option("--load", "file", help="Compare bills of a CSV or Parquet file with the kWh of every interval.")
@click.option("--json", "as_json", is_flag=True, help="Data for programs.")
def difference(old: str, new: str | None, as_json: bool, **options: Any) -> None:
    """Say what changes between two sheets, or two dates.

    OLD and NEW are rate sheets. Without dates, the last terms of each are compared; with OLD alone,
    its last terms and those before.
    """
    from chargeplan.output.difference_text import difference_text
    from chargeplan.output.picture_data import difference_data
    from chargeplan.reading import read_document
    from chargeplan.tariff import load_tariff
    from chargeplan.tariff.difference import difference as difference_of

    if options["use"] is not None and options["file"] is not None:
        raise InputError("--use and --load exclude one another; give one of them")
    paths = [shipped_path(name) for name in (old, new) if name is not None]
    for path in paths:
        # Says what is wrong with the file itself, which a part of its terms would not.
        loaded(load_tariff, path, "sheet")
    found = difference_of(
        *map(read_document, paths),
        old_day=_date(options["old_day"]),
        new_day=_date(options["new_day"]),
        year=_year(options["year"]) if options["year"] is not None else None,
    )
    bills = _bills(found, options["use"], options["file"])
    if as_json:
        print_json(difference_data(found, bills))
    else:
        click.echo(difference_text(found, bills))


def _bills(found: Difference, use: str | None, file: str | None) -> BillChange | None:
    from chargeplan.tariff.changed_bills import bill_change, even_use
    from chargeplan.tariff.load_file import read_load

    if file is not None:
        load = read_load(file, found.new.timezone)
        return bill_change(found.old, found.new, load["kwh"], load.get("export_kwh"))
    if use is None:
        return None
    kwh = quantity(use if use.strip().endswith("h") else f"{use} kWh", "energy")
    old_even, new_even = (even_use(kwh, found.year, tariff.timeline.clock) for tariff in (found.old, found.new))
    return bill_change(found.old, found.new, new_even, old_load=old_even)


def _date(text: str | None) -> date | None:
    return None if text is None else calendar_date(text)


def _year(year: int) -> int:
    from chargeplan.clock import FIRST_YEAR, LAST_YEAR

    if not FIRST_YEAR <= year < LAST_YEAR:
        raise InputError(f"the year {year} is out of range; choose one from {FIRST_YEAR} to {LAST_YEAR - 1}")
    return year
