"""Checks for a drafted sheet, counted from the record itself and not from the sheet."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import ROUND_HALF_UP, Decimal
from typing import Any, Final

import numpy as np

from chargeplan.clock import DAY_S, IntArray, day_of_number, day_start_s, local_seconds
from chargeplan.drafting.hour_grid import GridWords
from chargeplan.drafting.record import Record
from chargeplan.drafting.terms import DraftTerms
from chargeplan.tariff.seasons import month_and_day
from chargeplan.units import clock_text

#: More instants than this say nothing new.
_MOST: Final = 8
_SOME_YEAR: Final = 2025


def draft_checks(record: Record, words: GridWords, terms: DraftTerms) -> list[dict[str, Any]]:
    """Count the share of each period, and find an instant with its price for each period of each season.

    Parameters
    ----------
    record : Record
        The record.
    words : GridWords
        Its hours in words.
    terms : DraftTerms
        Zone, holidays and edges.

    Returns
    -------
    list of dict
        What stands under `checks`.
    """
    first, last = _span(record)
    minute_s = np.arange(
        day_start_s(terms.timezone, first), day_start_s(terms.timezone, last + timedelta(days=1)), 60, dtype=np.int64
    )
    local = local_seconds(terms.timezone, minute_s)
    day, minute = local // DAY_S, local % DAY_S // 60
    number, month = _numbers(record, terms, day, minute)
    name_of = {(season, found): name for (season, name), found in words.numbers.items()}
    names = np.array(
        [name_of.get((words.months[m], n), "") for m in range(12) for n in range(max(record.hours.numbers) + 1)]
    )
    period = names[month * (max(record.hours.numbers) + 1) + number]
    checks: list[dict[str, Any]] = []
    if words.periods:
        counts = {name: int((period == name).sum()) for name in words.periods}
        share = {name: f"{_percent(count, period.size)} %" for name, count in counts.items() if count}
        whole = (first, last) == (date(first.year, 1, 1), date(first.year, 12, 31))
        checks.append({**({"year": first.year} if whole else {"from": first, "to": last}), "share": share})
    # On the day of a clock change an hour may come twice.
    changing = np.isin(day, np.unique(day[1:][np.diff(local) != 60]))
    seen: set[tuple[str, int]] = set()
    good = (minute % 60 == 30) & ~changing
    # Rather in the middle of a month than on a holiday at its beginning.
    middle = np.isin(month_and_day(int(day[0]), int(day[-1]))[1][day - day[0]], range(12, 21))
    for position in np.r_[np.flatnonzero(good & middle), np.flatnonzero(good & ~middle)]:
        season = words.months[int(month[position])]
        found = int(number[position])
        if (season, found) in seen:
            continue
        seen.add((season, found))
        fuel = record.fuel[int(month[position])] if record.fuel else Decimal(0)
        check: dict[str, Any] = {"at": f"{day_of_number(int(day[position]))} {clock_text(int(minute[position]))}"}
        if season:
            check["season"] = season
        if words.periods:
            check["period"] = name_of[season, found]
        checks.append({**check, "price": record.energy[found].prices[0] + fuel})
        if len(seen) >= min(_MOST, len(words.numbers)):
            break
    return checks


def _span(record: Record) -> tuple[date, date]:
    """Choose a whole year in which the record is in force, or all the days it has."""
    if record.start is None and record.end is None:
        year = _SOME_YEAR
    elif record.start is None and record.end is not None:
        year = record.end.year - 1
    else:
        assert record.start is not None
        year = record.start.year + (record.start > date(record.start.year, 1, 1))
        if record.end is not None and record.end < date(year, 12, 31):
            return record.start, min(record.end, record.start + timedelta(days=366))
    return date(year, 1, 1), date(year, 12, 31)


def _numbers(record: Record, terms: DraftTerms, day: IntArray, minute: IntArray) -> tuple[IntArray, IntArray]:
    """Look every minute up in the record's own tables."""
    first, last = int(day[0]), int(day[-1])
    weekday, _ = terms.holidays.day_types(first, last)
    month = month_and_day(first, last)[0][day - first] - 1
    hour = np.searchsorted(np.array(terms.edges[1:]), minute, side="right")
    weekend = weekday[day - first] >= 5
    return np.where(weekend, record.hours.weekend[month, hour], record.hours.weekday[month, hour]), month


def _percent(count: int, of: int) -> Decimal:
    return (Decimal(100 * count) / of).quantize(Decimal("0.01"), ROUND_HALF_UP)
