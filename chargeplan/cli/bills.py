"""The command that says what some use costs: `bill`."""

from __future__ import annotations

import re
import shlex
from collections.abc import Iterable
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import click

from chargeplan.cli.entry import main
from chargeplan.cli.kinds import loaded
from chargeplan.cli.printing import form_options, print_csv, print_json
from chargeplan.errors import InputError
from chargeplan.units import calendar_date, power_factor, quantity

if TYPE_CHECKING:
    from chargeplan.tariff import Tariff
    from chargeplan.tariff.bill import Bill

#: What the days of a bill are called inside, and what their options are called.
_DAYS = {"start": "first", "end": "last"}
#: As in most months.
_MONTH = timedelta(days=29)
#: How messages of the library say what the command has options for.
_BY_PERIOD = re.compile(r"give (the use|what is sold) by period \((.+)\), or by intervals$")
_IN_KW = "give it in kW, or give the use by intervals"
_Energy = float | dict[str, float] | list[tuple[date, float]]


@main.command()
@click.argument("sheet")
@click.option("--use", multiple=True, help="kWh bought, like 700; or for each period, like peak=100.")
@click.option("--export", multiple=True, help="kWh sold, written as for --use.")
@click.option("--load", "file", help="A CSV or Parquet file with the kWh of every interval.")
@click.option("--stamps", help="Its times have no offset: local for the clock of the sheet, or a time zone.")
@click.option("--from", "first", help="First day, like 2022-06-01.")
@click.option("--to", "last", help="Last day, which belongs to the bill.")
@click.option("--demand", multiple=True, help="Highest demand, like 8 kW; or of a line, like on-peak=8.")
@click.option("--power-factor", help="Like 0.9, for charges per kVA.")
@click.option("--contracted", multiple=True, help="Contracted power or current, like '4.5 kW' or '40 A'.")
@click.option("--each", is_flag=True, help="Print every bill of a file in full, not one line for each.")
@click.option("--where", is_flag=True, help="Say where in the sheet each price stands.")
@form_options
def bill(sheet: str, file: str | None, each: bool, where: bool, form: str | None, **options: Any) -> None:
    """Say what some use of electricity costs, line by line.

    SHEET is a rate sheet, or the name of one that comes with chargeplan. Either --use, --from and
    --to for one bill, or --load for one bill per billing month.
    """
    from chargeplan.tariff import load_tariff

    terms = _terms(options)
    days = {name: calendar_date(options[key]) for name, key in _DAYS.items() if options[key] is not None}
    if (file is None) == (not options["use"]):
        raise InputError("say what was used: either --use 700 --from 2022-06-01 --to 2022-06-30, or --load load.csv")
    if file is None:
        if len(days) < 2:
            raise InputError(f"--use needs the days of the bill; add {_missing(**days)}")
        if options["stamps"] is not None or each:
            raise InputError("--stamps and --each go with --load; leave them out")
        use: Any = _energy("--use", options["use"])
        terms |= days
        tariff, export = loaded(load_tariff, sheet, "sheet"), _energy("--export", options["export"])
        try:
            found = tariff.bill(use, export=export, **terms)
        except InputError as error:
            raise _in_options(error) from None
        _print_bill(found, form, where)
        return
    if options["export"]:
        raise InputError("--export goes with --use; a file says what was sold in its column export_kwh")
    tariff = loaded(load_tariff, sheet, "sheet")
    _print_bills(_bills_of(tariff, file, options["stamps"], days | terms), form, each, where)


def _missing(start: date | None = None, end: date | None = None) -> str:
    """Say which days are missing, with an example that goes with what is given."""
    if start is not None:
        return f"--to {start + _MONTH}"
    return f"--from {end - _MONTH}" if end is not None else "--from 2022-06-01 --to 2022-06-30"


def _in_options(error: InputError) -> InputError:
    """Name the options of the command where the library says what to give."""
    text = str(error).replace(_IN_KW, "add --demand '8 kW', or read the use of every interval with --load load.csv")

    def options(found: re.Match[str]) -> str:
        option = "--use" if found[1] == "the use" else "--export"
        each = " ".join(f"{option} {shlex.quote(f'{name}=100')}" for name in found[2].split(", "))
        return f"give it by period, as in {each}, or by intervals with --load load.csv"

    text = _BY_PERIOD.sub(options, text)
    return error if text == str(error) else InputError(text)


def _bills_of(tariff: Tariff, file: str, stamps: str | None, terms: dict[str, Any]) -> Iterable[Bill]:
    from chargeplan.tariff.load_file import read_load

    load = read_load(file, tariff.timezone, naive_zone=tariff.timezone if stamps == "local" else stamps)
    return tariff.bills(load["kwh"], export=load.get("export_kwh"), **terms)


def _print_bill(bill: Bill, form: str | None, where: bool) -> None:
    from chargeplan.output.bill_data import bill_data, bill_rows
    from chargeplan.output.bill_text import bill_text

    if form == "json":
        print_json(bill_data(bill))
    elif form == "csv":
        print_csv(*bill_rows([bill]))
    else:
        click.echo(bill_text(bill, where=where))


def _print_bills(bills: Iterable[Bill], form: str | None, each: bool, where: bool) -> None:
    from chargeplan.output.bill_data import bill_rows, bills_data
    from chargeplan.output.bill_text import bills_text

    if form == "json":
        print_json(bills_data(bills))
    elif form == "csv":
        print_csv(*bill_rows(bills))
    else:
        click.echo(bills_text(bills, each=each, where=where))


def _terms(options: dict[str, Any]) -> dict[str, Any]:
    """Read what the customer's contract and meter say beside the energy, as far as it is given."""
    terms: dict[str, Any] = {}
    if options["demand"]:
        terms["demand_kw"] = _by_name("--demand", options["demand"], "power", "8 kW")
    if (text := options["power_factor"]) is not None:
        terms["power_factor"] = power_factor(text)
    for text in options["contracted"]:
        name, kind = ("contracted_a", "current") if text.strip().endswith("A") else ("contracted_kw", "power")
        if name in terms:
            raise InputError("--contracted is given twice; give one power and one current at most")
        terms[name] = quantity(text, kind)
    return terms


def _energy(option: str, texts: tuple[str, ...]) -> _Energy | None:
    """Read kWh: a number, some for each period, or some from each of several days on."""
    if not texts:
        return None
    found = _by_name(option, texts, "energy", "700")
    if isinstance(found, float):
        return found
    try:
        return [(date.fromisoformat(name), kwh) for name, kwh in found.items()]
    except ValueError:
        return found


def _by_name(option: str, texts: tuple[str, ...], kind: str, example: str) -> float | dict[str, float]:
    """Read one quantity, or `name=quantity` as often as there are names; a bare number is in kWh or kW."""
    if len(texts) == 1 and "=" not in texts[0]:
        return _number(texts[0], kind)
    found: dict[str, float] = {}
    for text in texts:
        name, equals, value = text.rpartition("=")
        if not equals or not name.strip():
            remedy = f"write {option} {example}, or {option} NAME={example} for each"
            raise InputError(f"{option} {text[:40]} has no name; {remedy}")
        if name.strip() in found:
            raise InputError(f"{option} {name.strip()[:40]} is given twice; keep one of them")
        found[name.strip()] = _number(value, kind)
    return found


def _number(text: str, kind: str) -> float:
    unit = "kWh" if kind == "energy" else "kW"
    bare = text.strip()[-1:].isdigit() or text.strip().endswith(".")
    return quantity(f"{text} {unit}" if bare else text, kind)
