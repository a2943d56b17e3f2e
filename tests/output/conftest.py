"""Make the shared households importable, and put the rate sheets they name into a folder."""

import sys
from pathlib import Path

import pytest

sys.path[:0] = [str(Path(__file__).parents[1] / "household"), str(Path(__file__).parent)]


@pytest.fixture(scope="session")
def sheet_folder(tmp_path_factory):
    """A folder with the rate sheets of random households; session-wide, as hypothesis wants it."""
    from household_cases import write_sheets

    folder = tmp_path_factory.mktemp("sheets")
    write_sheets(folder)
    return folder
