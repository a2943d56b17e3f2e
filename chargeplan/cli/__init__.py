"""The command `chargeplan`: parse, call, print. One file for every group of its commands."""

from chargeplan.cli import bills, drafts, pictures, planning, sheets, studies
from chargeplan.cli.entry import FINE, MISTAKE, OUT_OF_REACH, TROUBLE, main, run

__all__ = [
    "FINE",
    "MISTAKE",
    "OUT_OF_REACH",
    "TROUBLE",
    "bills",
    "drafts",
    "main",
    "pictures",
    "planning",
    "run",
    "sheets",
    "studies",
]
