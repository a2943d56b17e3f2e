"""What is odd about the holidays and hours of a sheet, seen in what is written."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta
from typing import Any, Final

from chargeplan.errors import ChargeplanError
from chargeplan.reading import Document, KeyPath
from chargeplan.tariff.dates import DayRule
from chargeplan.tariff.lint_finding import Finding
from chargeplan.tariff.stretches import Stretch, stretches, tariff_of
from chargeplan.tariff.year_grid import cut_to_years
from chargeplan.units import clock_text

#: Weekdays of dates repeat after so many years.
_CYCLE_YEARS: Final = 28
#: No shift moves a holiday further.
_SHIFT_DAYS: Final = 7
_SPAN: Final = re.compile(r"(\d{1,2}):(\d{2})\s*(?:-|–|to)\s*(\d{1,2}):(\d{2})", re.ASCII)


def calendar_findings(document: Document) -> Iterator[Finding]:
    """Find holidays that never occur, and windows that miss the half hour by a minute.

    Parameters
    ----------
    document : Document
        The file of a sheet; what is written is enough.

    Yields
    ------
    Finding
        ``holiday never occurs`` and ``one-minute window``.
    """
    yield from _holidays(document)
    for path, text in hour_texts(document.data, ()):
        yield from _minutes(path, text)


def _holidays(document: Document) -> Iterator[Finding]:
    occurs: dict[KeyPath, bool] = {}
    rules: dict[KeyPath, DayRule] = {}
    for stretch in stretches(document):
        holidays = stretch.terms.get("holidays")
        below: tuple[str, ...] = () if isinstance(holidays, list) else ("days",)
        days = holidays if isinstance(holidays, list) else (holidays or {}).get("days") or []
        for position, text in enumerate(days):
            path = stretch.path("holidays", *below, position)
            rules[path] = DayRule.parse(text)
            occurs[path] = occurs.get(path, False) or bool(_dates(rules[path], stretch))
        if isinstance(holidays, dict):
            for position, text in enumerate(holidays.get("except") or []):
                path = stretch.path("holidays", "except", position)
                rules[path] = DayRule.parse(text)
                occurs[path] = occurs.get(path, False) or _excepts(document, stretch, position, rules[path])
    for path, seen in occurs.items():
        if not seen:
            text = rules[path].text
            excepts = path[-2] == "except"
            what = f"`{text}` takes no holiday out" if excepts else f"the holiday `{text}` never occurs"
            why = "no holiday is on that day" if excepts else "it has no date while the sheet is in force"
            yield Finding("holiday never occurs", path, f"{what}: {why}", "correct the day, or take it out")


def _dates(rule: DayRule, stretch: Stretch) -> list[date]:
    """List the dates of a rule in the years that a stretch touches; a single date must be in the stretch."""
    begin, end = cut_to_years(stretch.first, stretch.last, _CYCLE_YEARS)
    if rule.kind == "once":
        first, last = stretch.first or date.min, stretch.last or date.max
        day = date(*rule.numbers[:3])
        return [day] if first <= day <= last else []
    return [day for year in range(begin.year, end.year + 1) for day in rule.dates(year)]


def _excepts(document: Document, stretch: Stretch, position: int, rule: DayRule) -> bool:
    """Tell whether taking an exception away would make any day a holiday."""
    holidays: dict[str, Any] = dict(stretch.terms["holidays"])
    holidays["except"] = [text for number, text in enumerate(holidays["except"]) if number != position]
    without = replace(stretch, terms={**stretch.terms, "holidays": holidays})
    try:
        here, there = tariff_of(document, stretch), tariff_of(document, without)
        for day in _dates(rule, stretch):
            for shift in range(-_SHIFT_DAYS, _SHIFT_DAYS + 1):
                near = day + timedelta(days=shift)
                if here.is_holiday(near) != there.is_holiday(near):
                    return True
    except ChargeplanError:
        return True  # there is no telling, as in years without holiday data
    return False


def hour_texts(data: Any, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    """List the windows of a file: what stands under `hours`, and under the names of `periods`.

    Examples
    --------
    >>> list(hour_texts({"periods": {"peak": ["16:00-21:00"], "other": "rest"}}, ()))
    [(('periods', 'peak', 0), '16:00-21:00'), (('periods', 'other'), 'rest')]
    """
    if isinstance(data, list):
        for position, item in enumerate(data):
            yield from hour_texts(item, (*path, position))
    elif isinstance(data, dict):
        for key, value in data.items():
            if key == "hours":
                yield from _texts(value, (*path, key))
            elif key == "periods" and isinstance(value, dict):
                for name, written in value.items():
                    yield from _texts(written, (*path, key, name))
            else:
                yield from hour_texts(value, (*path, key))


def _texts(value: Any, path: KeyPath) -> Iterator[tuple[KeyPath, str]]:
    for position, item in enumerate(value if isinstance(value, list) else [value]):
        if isinstance(item, str):
            yield ((*path, position) if isinstance(value, list) else path), item


def _minutes(path: KeyPath, text: str) -> Iterator[Finding]:
    for match in _SPAN.finditer(text):
        hours = [int(match[group]) * 60 + int(match[group + 1]) for group in (1, 3)]
        beside = [minute for minute in hours if minute % 30 in (1, 29)]
        if beside or (hours[1] - hours[0]) % 1440 == 1:
            round_hours = [clock_text(min(1440, round(minute / 30) * 30)) for minute in hours]
            what = f"{match[0]} misses the half hour by a minute" if beside else f"{match[0]} is one minute long"
            remedy = "hours go up to, not including, their end"
            if beside and round_hours[0] != round_hours[1]:
                remedy += f": write {'-'.join(round_hours)}"
            yield Finding("one-minute window", path, what, remedy)
