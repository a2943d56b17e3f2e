"""Make the shared households importable, and run the command in process or as a process of its own."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from chargeplan.cli import main

sys.path.insert(0, str(Path(__file__).parents[1] / "household"))
#: The command as it was installed beside the interpreter that runs these tests.
COMMAND = Path(sys.executable).parent / "chargeplan"


@pytest.fixture(scope="session")
def invoke():
    """Run the command in process; anything but a plain exit is an error of the test."""

    def run(*arguments):
        result = CliRunner().invoke(main, list(arguments), prog_name="chargeplan")
        if result.exception is not None and not isinstance(result.exception, SystemExit):
            raise result.exception
        return result

    return run


@pytest.fixture(scope="session")
def command():
    """Path of the installed command."""
    return str(COMMAND)


@pytest.fixture(scope="session")
def process():
    """Run the installed command, or a Python program, as a process of its own."""

    def run(*arguments, program=(str(COMMAND),), **options):
        settings = {"capture_output": True, "text": True, "timeout": 60, "stdin": subprocess.DEVNULL, **options}
        environment = settings.pop("env", {**os.environ, "PYTHONWARNINGS": "error"})
        return subprocess.run([*program, *arguments], env=environment, check=False, **settings)

    return run
