"""Every notebook runs from top to bottom, and its kept output is what it prints."""

from __future__ import annotations

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

FOLDER = Path(__file__).parents[2] / "notebooks"
NOTEBOOKS = sorted(FOLDER.glob("*.ipynb"))


def _texts(cell: nbformat.NotebookNode) -> list[str]:
    """Text of a cell's outputs; pictures differ with fonts, and are only counted."""
    return [output.get("text") or _shown(output.get("data", {})) for output in cell.get("outputs", [])]


def _shown(data: dict[str, str]) -> str:
    """What is read of an output: sentences are Markdown, of which the plain text is only the name of a class."""
    return data.get("text/markdown", data.get("text/plain", ""))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_notebook_runs_and_prints_what_it_shows(path: Path) -> None:
    """A reader who runs the notebook sees what is kept in it."""
    kept = nbformat.read(path, as_version=4)
    fresh = nbformat.read(path, as_version=4)
    NotebookClient(fresh, timeout=300, kernel_name="python3").execute()
    for before, after in zip(kept.cells, fresh.cells, strict=True):
        if before.cell_type == "code":
            assert _texts(before) == _texts(after), before.source


def test_there_are_notebooks() -> None:
    """The folder is found; otherwise the test above would pass on nothing."""
    assert NOTEBOOKS


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_the_readme_names_it(path: Path) -> None:
    """Nobody looks for a notebook that is named nowhere."""
    assert f"`notebooks/{path.name}`" in (FOLDER.parent / "README.md").read_text(encoding="utf-8")
