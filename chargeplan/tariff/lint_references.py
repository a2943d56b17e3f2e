"""Seasons and holidays of a sheet that nothing refers to."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any, Final

from chargeplan.reading import Document, KeyPath
from chargeplan.tariff.lint_calendar import hour_texts
from chargeplan.tariff.lint_finding import Finding
from chargeplan.tariff.stretches import Stretch, stretches

_SEASON_KEYS: Final = ("seasons", "price_seasons")
_HOLIDAY: Final = re.compile(r"\bholidays?\b", re.IGNORECASE)
#: What comes after `in` in a window, or in the least demand of a season.
_IN: Final = re.compile(r"\sin\s+(.*)", re.IGNORECASE | re.DOTALL)
_AND: Final = re.compile(r"\s*,\s*(?:and\s+)?|\s+and\s+|\s+except\s+|\s+on\s+|\s*;", re.IGNORECASE)


def reference_findings(document: Document) -> Iterator[Finding]:
    """Find holidays that change nothing, and seasons by which neither hours nor prices go.

    Parameters
    ----------
    document : Document
        The file of a sheet; what is written is enough.

    Yields
    ------
    Finding
        ``unused holidays`` and ``unused season``. Seasons of which at least one is referred to are left alone: the
        others are needed to fill the year.
    """
    found: dict[KeyPath, tuple[bool, Finding]] = {}

    def note(finding: Finding, used: bool) -> None:
        found[finding.path] = (used or found.get(finding.path, (False, finding))[0], finding)

    # What holds for some days only may use what the sheet declares for all.
    overrides = document.data.get("overrides")
    for stretch in stretches(document):
        terms: dict[str, Any] = {**stretch.terms, "overrides": overrides}
        if _lists_holidays(stretch.terms.get("holidays")):
            note(_holidays(stretch), _uses_holidays(terms))
        for key in _SEASON_KEYS:
            if isinstance(terms.get(key), dict) and terms[key]:
                note(_seasons(stretch.path(key), list(terms[key])), not set(terms[key]).isdisjoint(_referred(terms)))
        for path, line in _lines_with_seasons(stretch):
            note(
                _seasons((*path, "seasons"), list(line["seasons"])),
                not set(line["seasons"]).isdisjoint(_referred(line)),
            )
    yield from (finding for used, finding in found.values() if not used)


def _holidays(stretch: Stretch) -> Finding:
    return Finding(
        "unused holidays",
        stretch.path("holidays"),
        "the holidays change nothing: no hours are `on holidays` or `except holidays`, and `as` names no other day",
        "write for example `16:00-21:00 on weekdays except holidays`, or take them out",
    )


def _seasons(path: KeyPath, names: list[str]) -> Finding:
    quoted = [f"`{name}`" for name in names]
    listed = " and ".join(filter(None, (", ".join(quoted[:-1]), quoted[-1])))
    return Finding(
        "unused season",
        path,
        f"nothing refers to {listed}: neither prices nor hours are by season",
        "give prices by season, write for example `16:00-21:00 in " + names[0] + "`, or take the seasons out",
    )


def _lists_holidays(holidays: Any) -> bool:
    """Tell whether a sheet names holidays whose day of the week decides on their hours, as that of any other day."""
    if isinstance(holidays, dict):
        return bool(holidays.get("country") or holidays.get("days")) and holidays.get("as") is None
    return bool(holidays)


def _uses_holidays(terms: dict[str, Any]) -> bool:
    texts = [text for _, text in hour_texts(terms, ())]
    kinds = terms.get("called")
    for kind in kinds.values() if isinstance(kinds, dict) else ():
        days = kind.get("only_on") if isinstance(kind, dict) else None
        texts += map(str, days if isinstance(days, list) else [days])
    return any(_HOLIDAY.search(text) for text in texts)


def _lines_with_seasons(stretch: Stretch) -> Iterator[tuple[KeyPath, dict[str, Any]]]:
    for key in ("components", "adders", "export_components", "demand"):
        lines = stretch.terms.get(key)
        for name, line in lines.items() if isinstance(lines, dict) else ():
            if isinstance(line, dict) and isinstance(line.get("seasons"), dict) and line["seasons"]:
                yield stretch.path(key, name), line


def _referred(data: Any) -> Iterator[str]:
    """List every name by which part of a sheet might refer to a season: keys, and words after `in`."""
    if isinstance(data, list):
        for item in data:
            yield from _referred(item)
    elif isinstance(data, dict):
        for key, value in data.items():
            if key not in _SEASON_KEYS:
                yield str(key)
                yield from _referred(value)
            if key == "only_in":
                yield str(value).strip()
    elif isinstance(data, str):
        for match in _IN.finditer(data):
            yield from (name.strip() for name in _AND.split(match[1]))
