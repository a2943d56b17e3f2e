"""What the commands share: how they print."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import click


def form_options(command: Any) -> Any:
    """Give a command the options `--json` and `--csv`, as its argument `form`."""
    command = click.option("--csv", "form", flag_value="csv", help="Rows for a spreadsheet.")(command)
    return click.option("--json", "form", flag_value="json", help="Data for programs.")(command)


def complain(message: str) -> None:
    """Write one line to standard error, without the control characters of what it quotes."""
    from chargeplan.output.words import plain_text

    click.echo(plain_text(message), err=True)


def print_json(data: object) -> None:
    """Print data for programs."""
    import json

    click.echo(json.dumps(data, indent=2, allow_nan=False))


def print_csv(header: Iterable[str], rows: Iterable[Iterable[object]]) -> None:
    """Print rows for a spreadsheet."""
    import csv
    import io

    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(header)
    writer.writerows(rows)
    click.echo(text.getvalue(), nl=False)
