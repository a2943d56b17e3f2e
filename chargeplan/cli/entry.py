"""The command itself: what all its parts share, its exit codes, and how errors are shown."""

from __future__ import annotations

import gc
import io
import sys
from typing import Any

import click

from chargeplan.cli.printing import complain
from chargeplan.errors import ChargeplanError, FileError

#: Exit codes.
FINE, TROUBLE, MISTAKE, OUT_OF_REACH = 0, 1, 2, 3

_EPILOG = """Exit codes: 0 all is well; 1 a solver gave no answer to be trusted; 2 a mistake in a file or on the
command line; 3 the target cannot be reached (the best plan is printed all the same)."""


class PlainGroup(click.Group):
    """Prints our own errors as plain messages, without a traceback."""

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command, and say what the user can put right."""
        try:
            return super().invoke(ctx)
        except ChargeplanError as error:
            lines = map(str, error.mistakes) if isinstance(error, FileError) else [f"chargeplan: {error}"]
            for line in lines:
                complain(line)
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


@click.group(cls=PlainGroup, epilog=_EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="chargeplan")
def main() -> None:
    """Read time-of-use rates and plan the cheapest hours to charge an electric car."""
