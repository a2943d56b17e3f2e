"""Rate sheets as tests: pytest collects every sheet it finds and runs the checks written in it.

pytest loads this module at its start, in every project, so it imports nothing of chargeplan until a sheet is found.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Generator, Iterable, Iterator
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pytest

if TYPE_CHECKING:
    from chargeplan.errors import Mistake

#: Keys that stand at the left edge of a sheet; hardly any other file that is written in YAML has two of them there.
_TOP_LEVEL: Final = [
    re.compile(rb"""^(?:\xef\xbb\xbf)?["']?%b["']?[ \t]*:""" % key, re.MULTILINE)
    for key in (
        b"currency", b"timezone", b"periods", b"prices", b"components", b"adders", b"seasons", b"price_unit",
        b"billing", b"net_metering",
    )
]  # fmt: skip
_ENOUGH: Final = 2
_FOUND: Final = ("*.yaml", "*.yml")
#: No sheet is larger; of larger files nothing further is looked at.
_LOOK_BYTES: Final = 1_000_000


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the option and the settings."""
    parser.getgroup("chargeplan", "rate sheets").addoption(
        "--no-tariff-sheets", action="store_true", help="do not run the checks of rate sheets"
    )
    parser.addini(
        "tariff_sheets",
        "patterns of the names of files that are rate sheets; without it, those YAML files that look like one",
        type="args",
        default=[],
    )
    parser.addini("tariff_strict", "whether what is odd about a rate sheet fails a test", type="bool", default=False)


@pytest.hookimpl(wrapper=True)
def pytest_collect_file(
    file_path: Path, parent: pytest.Collector
) -> Generator[None, list[pytest.Collector], list[pytest.Collector]]:
    """Take a file for a rate sheet if it is named as one, or looks like one."""
    taken = yield
    config = parent.config
    if config.getoption("--no-tariff-sheets"):
        return taken
    patterns = config.getini("tariff_sheets")
    # What is asked for by name may be a broken sheet; but it may also belong to another plugin.
    asked = parent.session.isinitpath(file_path) and file_path.suffix.lower() in (".yaml", ".yml") and not taken
    if (
        _fits(file_path, patterns)
        or asked
        or (not patterns and _fits(file_path, _FOUND) and looks_like_a_sheet(file_path))
    ):
        return [*taken, SheetFile.from_parent(parent, path=file_path)]
    return taken


def _fits(path: Path, patterns: Iterable[str]) -> bool:
    return any(path.match(pattern) for pattern in patterns)


def looks_like_a_sheet(path: Path) -> bool:
    """Tell from the text alone whether a file is a rate sheet.

    Parameters
    ----------
    path : Path
        Any file.

    Returns
    -------
    bool
        Whether two or more keys of a sheet, such as ``currency:`` and ``prices:``, begin lines of it. So one that
        is misspelt does not hide the sheet.

    Examples
    --------
    >>> from chargeplan.tariff.loading import shipped_folder
    >>> looks_like_a_sheet(shipped_folder() / "flat.yaml")
    True
    """
    try:
        with path.open("rb") as stream:
            text = stream.read(_LOOK_BYTES).replace(b"\r", b"\n")
    except OSError:
        return False
    return sum(key.search(text) is not None for key in _TOP_LEVEL) >= _ENOUGH


class SheetFile(pytest.File):
    """A rate sheet with its checks."""

    def collect(self) -> Iterator[pytest.Item]:
        """Make a test of the sheet itself and one of each of its checks."""
        from chargeplan.errors import FileError
        from chargeplan.reading import read_document
        from chargeplan.tariff import load_tariff
        from chargeplan.tariff.check_models import check_label
        from chargeplan.tariff.checks import run_check

        def item(name: str, line: int, judge: Callable[[], Iterable[Mistake]]) -> pytest.Item:
            return SheetItem.from_parent(self, name=name, line=line, judge=judge)

        try:
            document, tariff = read_document(self.path), load_tariff(self.path)
        except FileError as error:
            yield item("reads without mistakes", 1, partial(tuple, error.mistakes))
            return
        yield item("reads without mistakes", 1, tuple)
        if self.config.getini("tariff_strict"):
            yield item("nothing odd", 1, lambda: _warnings(tariff, document))
        seen: dict[str, int] = {}
        for position, check in enumerate(tariff.sheet.checks):
            label = check_label(check)
            seen[label] = seen.get(label, 0) + 1
            name = label if seen[label] == 1 else f"{label} ({seen[label]})"
            line, _ = document.places["checks", position]
            yield item(name, line, partial(run_check, tariff, document, position))


def _warnings(tariff: Any, document: Any) -> Iterable[Mistake]:
    from chargeplan.tariff.lint import warnings_of

    return warnings_of(tariff, document)


class SheetFailure(Exception):  # noqa: N818 - a check that fails is no error of the program
    """What is wrong with a sheet."""

    def __init__(self, mistakes: Iterable[Mistake]) -> None:
        self.mistakes = tuple(sorted(mistakes, key=lambda mistake: (mistake.line, mistake.column)))
        super().__init__("\n".join(map(str, self.mistakes)))


class SheetItem(pytest.Item):
    """One test of a rate sheet.

    Parameters
    ----------
    line : int
        Line of the sheet where what is tested stands, from 1.
    judge : callable
        Gives the mistakes it finds; none if all is well.
    """

    def __init__(self, *, line: int, judge: Callable[[], Iterable[Mistake]], **settings: Any) -> None:
        super().__init__(**settings)
        self.line = line
        self.judge = judge

    def runtest(self) -> None:
        """Fail if there are mistakes."""
        mistakes = tuple(self.judge())
        if mistakes:
            raise SheetFailure(mistakes)

    def repr_failure(self, excinfo: pytest.ExceptionInfo[BaseException], style: Any = None) -> Any:
        """Say what is wrong in one line for each mistake, with its place, instead of a traceback."""
        from chargeplan.errors import ChargeplanError

        if isinstance(excinfo.value, SheetFailure):
            return "\n".join(
                str(replace(mistake, file=self._shown(Path(mistake.file)))) for mistake in excinfo.value.mistakes
            )
        if isinstance(excinfo.value, ChargeplanError):
            return f"{self._shown(self.path)}:{self.line}:1: {excinfo.value}"
        return super().repr_failure(excinfo, style)

    def reportinfo(self) -> tuple[Path, int, str]:
        """Give pytest the place of the test and what it is called."""
        return self.path, self.line - 1, self.name

    def _shown(self, path: Path) -> str:
        """Give the name of the sheet, or of a file beside it, as seen from where pytest was started."""
        here = self.config.invocation_params.dir
        return str(path.relative_to(here)) if path.is_relative_to(here) else str(path)
