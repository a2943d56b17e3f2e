"""Lets `python -m chargeplan` stand for the command."""

from chargeplan.cli import run

run()
