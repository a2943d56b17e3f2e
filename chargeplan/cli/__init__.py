"""The command `chargeplan`: parse, call, print. One file for every group of its commands."""

from chargeplan.cli import bills, pictures, planning, sheets
from chargeplan.cli.entry import FINE, MISTAKE, OUT_OF_REACH, TROUBLE, main, run
from chargeplan.cli.printing import print_csv as _print_csv
from chargeplan.cli.printing import print_json as _print_json

__all__ = [
    "FINE",
    "MISTAKE",
    "OUT_OF_REACH",
    "TROUBLE",
    "_print_csv",
    "_print_json",
    "bills",
    "main",
    "pictures",
    "planning",
    "run",
    "sheets",
]
