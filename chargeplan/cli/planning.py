"""The commands that plan charging: `tonight` and `days`."""

from __future__ import annotations

import re
import shlex
import sys
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from chargeplan.cli.entry import FINE, OUT_OF_REACH, main
from chargeplan.cli.kinds import loaded
from chargeplan.cli.printing import form_options, print_csv, print_json
from chargeplan.errors import InputError

if TYPE_CHECKING:
    from chargeplan.household import Household, HouseholdPlan


class PlanCommand(click.Command):
    """A command that plans; it says what is wrong with a time behind `--plugged-in`, which takes none."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        """Read the words of the command line."""
        for word, after in pairwise(args):
            if word == "--plugged-in" and re.match(r"\d{4}-\d|\d{1,2}:\d\d", after.strip()):
                remedy = f"write --plugged-in --now {shlex.quote(after)}" if "-" in after else "leave the time out"
                what = "--plugged-in takes no value: it says that the car is plugged in now"
                raise InputError(f"{what}; {remedy}")
        return super().parse_args(ctx, args)


def _plan_options(command: Any) -> Any:
    for option in (
        click.option("--why", is_flag=True, help="Say as well why each hour charges or waits, and what more is worth."),
        click.option("--solver", default="auto", show_default=True, help="merit order, highs, or pulp:NAME."),
        click.option("--prefer", help="Of equals: as needed, earliest, latest, fewest starts."),
        click.option("--plugged-in", is_flag=True, help="The car is plugged in at home now."),
        click.option("--target", help="State of charge wanted at departure, like 90 %."),
        click.option("--now", help="Pretend it is this time, like '2026-11-25 18:30'."),
        click.option("--soc", help="State of charge at plug-in, like 55 %."),
    ):
        command = option(command)
    return command


@main.command(cls=PlanCommand)
@click.argument("household", required=False)
@_plan_options
@click.option("--leave", help="Departure, like 06:30 or '2026-11-26 06:30'.")
@click.option("--write-model", "model", help="Write the linear program to a .lp or .mps file as well.")
@form_options
def tonight(
    household: str | None, leave: str | None, model: str | None, form: str | None, why: bool, **options: Any
) -> None:
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
    _print_plan(plan, form, night_text, why=why)


@main.command(cls=PlanCommand)
@click.argument("household", required=False)
@_plan_options
@click.option("--days", default=7, show_default=True, help="How many days ahead.")
@form_options
def days(household: str | None, days: int, form: str | None, why: bool, **options: Any) -> None:
    """Plan the coming days, other places to charge included.

    HOUSEHOLD is a household file, or an example, as for `chargeplan tonight`; the drives between are reckoned with.
    """
    from chargeplan.household import plan_days
    from chargeplan.output.plan_text import days_text

    plan = plan_days(_household(household), days, **_given(options))
    _print_plan(plan, form, days_text, why=why)


@main.command(cls=PlanCommand)
@click.argument("panel")
@click.option("--now", help="Pretend it is this time, like '2026-11-25 18:30'.")
@click.option("--soc", multiple=True, help="State of charge of a car, like 'left=55 %'. As often as needed.")
@click.option("--target", multiple=True, help="State of charge wanted of a car, like 'left=90 %'.")
@click.option("--plugged-in", is_flag=True, help="All cars are plugged in now.")
@click.option("--json", "as_json", is_flag=True, help="Data for programs.")
def together(panel: str, soc: tuple[str, ...], target: tuple[str, ...], as_json: bool, **options: Any) -> None:
    """Say when to charge tonight where several cars share a panel.

    PANEL is a file with the circuits, what else runs on them, and the household file of each car.
    """
    from chargeplan.household.panel_file import load_panel
    from chargeplan.household.together import plan_together
    from chargeplan.output.together_text import together_data, together_text

    plan = plan_together(
        loaded(load_panel, panel, "panel"),
        soc=_by_car("--soc", soc),
        target=_by_car("--target", target),
        **_given(options),
    )
    if as_json:
        print_json(together_data(plan))
    else:
        click.echo(together_text(plan))
    sys.exit(OUT_OF_REACH if plan.short else FINE)


def _by_car(option: str, given: tuple[str, ...]) -> dict[str, str]:
    found = {}
    for text in given:
        name, equals, value = text.rpartition("=")
        if not equals or not name.strip():
            raise InputError(f"{option} {text} names no car; write {option} 'left=55 %'")
        found[name.strip()] = value.strip()
    return found


def _household(name: str | None) -> Household:
    from chargeplan.household import load_household

    if name is None:
        if not Path("household.yaml").exists():
            raise InputError(
                "there is no household.yaml here; name a file, or try the example: chargeplan tonight demo"
            )
        name = "household.yaml"
    return loaded(load_household, name, "household")


def _given(options: dict[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in options.items() if value is not None}


def _print_plan(plan: HouseholdPlan, form: str | None, as_text: Any, *, why: bool) -> None:
    reasons = None
    if why:
        from chargeplan.household.reasons import explain_plan
        from chargeplan.output.why_text import why_data, why_text

        reasons = explain_plan(plan)
    if form == "json":
        from chargeplan.output.data import plan_data

        print_json(plan_data(plan) | ({"why": why_data(plan, reasons)} if reasons is not None else {}))
    elif form == "csv":
        from chargeplan.output.data import plan_rows

        print_csv(*plan_rows(plan))
    else:
        click.echo(as_text(plan))
        if reasons is not None:
            click.echo("\n" + why_text(plan, reasons))
    sys.exit(OUT_OF_REACH if plan.schedule.fixes else FINE)
