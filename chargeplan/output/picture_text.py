"""The picture of a sheet in a terminal: hours by months, two columns an hour."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterable
from datetime import date
from itertools import groupby
from typing import Final

import numpy as np

from chargeplan.clock import IntArray
from chargeplan.output.words import WIDTH, plain_text, wrapped
from chargeplan.tariff.day_panels import OTHER_DAYS, Panel, Row
from chargeplan.tariff.day_words import dates_text
from chargeplan.tariff.picture import Picture, Step
from chargeplan.tariff.traits import Traits
from chargeplan.units import clock_text

#: Half hours in which more than one price holds.
SEVERAL: Final = "*"
_LABEL: Final = 11
_RULER_HOURS: Final = range(0, 25, 3)
#: Prices that differ by less are the same.
_SMALL: Final = 1e-7
#: Longer lists of dates are not read by anybody.
_MOST_DATES: Final = 40


def picture_text(shown: Picture) -> str:
    r"""Draw the picture of a sheet with letters.

    Parameters
    ----------
    shown : Picture
        What `picture` returned.

    Returns
    -------
    str
        Lines of at most 80 characters, ASCII but for the sheet's own names.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> from chargeplan.tariff.picture import picture
    >>> print("\n".join(picture_text(picture(load_tariff("two-period"), 2026)).splitlines()[:8]))
    Ridgeline Valley two-period, 2026
    A sign is half an hour of the clock in America/Denver; 1 is the cheapest.
    <BLANKLINE>
    weekdays   00    03    06    09    12    15    18    21    24
               |     |     |     |     |     |     |     |     |
    Jan        111111111111112222222222222222222222222222111111
    Feb        111111111111112222222222222222222222222222111111
    Mar        111111111111112222222222222222222222222222111111
    """
    lines = [
        *wrapped(f"{shown.name}, {shown.year}"),
        *wrapped(f"A sign is half an hour of the clock in {shown.timezone}; 1 is the cheapest."),
    ]
    mixed: set[str] = set()
    for panel in shown.panels:
        lines += ["", *_heading(panel.days)]
        for label, code in labelled_rows(panel):
            columns, times = _columns(shown, code)
            mixed |= times
            lines.append(f"{label:<{_LABEL}}{columns}")
    lines += ["", f"   {shown.currency} per kWh, all included", *_legend(shown)]
    if mixed:
        lines += wrapped(f"more than one price in this half hour; it changes at {', '.join(sorted(mixed))}", "*  ")
    lines += [line for note in notes(shown) for line in ["", *wrapped(note)]]
    return "\n".join(lines)


def labelled_rows(panel: Panel) -> list[tuple[str, IntArray]]:
    """Name the rows of a panel: by month, by part of a month, or by single days.

    Returns
    -------
    list of (str, int array)
        The rows in time; single days of a month that are alike make one row.
    """
    if not panel.single:
        return [(dates_text(row.first, row.last), row.code) for row in panel.rows]
    rows: list[tuple[str, IntArray]] = []
    for _, of_month in groupby(panel.rows, key=lambda row: (row.first.year, row.first.month)):
        alike: dict[bytes, list[Row]] = {}
        for row in of_month:
            alike.setdefault(row.code.tobytes(), []).append(row)
        for same in alike.values():
            label = f"{same[0].first:%b} " + ", ".join(_days_of(row) for row in same)
            if len(label) >= _LABEL:
                label = f"{same[0].first:%b} ({sum((row.last - row.first).days + 1 for row in same)})"
            rows.append((label, same[0].code))
    return rows


def _days_of(row: Row) -> str:
    return str(row.first.day) if row.first == row.last else f"{row.first.day}-{row.last.day}"


def price_texts(prices_per_kwh: Iterable[float]) -> list[str]:
    """Write prices per kWh with the digits that the longest of them needs, four at least and five at most.

    Examples
    --------
    >>> price_texts([0.2465, 0.1323432]), price_texts([-1e-9, 31.5])
    (['0.24650', '0.13234'], ['0.0000', '31.5000'])
    """
    prices = list(prices_per_kwh)
    digits = 4 if all(abs(price - round(price, 4)) < _SMALL for price in prices) else 5
    return [f"{round(price, digits) + 0.0:.{digits}f}" for price in prices]


def legend(shown: Picture) -> list[tuple[Step, str, str]]:
    """List the steps that occur, each with its price and its periods as text."""
    used = {int(code) for panel in shown.panels for row in panel.rows for code in np.unique(row.code)}
    steps = [step for number, step in enumerate(shown.steps) if number in used]
    texts = iter(price_texts(price for step in steps for price in (step.low, step.high)))
    pairs = [(next(texts), next(texts)) for _ in steps]
    return [
        (step, f"{low} to {high}" if step.high > step.low else low, plain_text(", ".join(step.periods)))
        for step, (low, high) in zip(steps, pairs, strict=True)
    ]


def notes(shown: Picture) -> list[str]:
    """Say in sentences what the picture cannot show."""
    found = []
    if shown.averaged:
        found.append("There are more prices than signs: each row shows the mean of its month, in bands of equal width.")
    begins = f"begins on {shown.begins}" if shown.begins else ""
    ends = f"ends on {shown.ends}" if shown.ends else ""
    if begins or ends:
        found.append(f"The sheet {' and '.join(filter(None, (begins, ends)))}; other days are not shown.")
    if any(not _is_month(row) for panel in shown.panels if not panel.single for row in panel.rows) and not (
        shown.averaged
    ):
        found.append("A month in several rows changes on the date that its rows give.")
    found += trait_sentences(shown.traits)
    if shown.holidays:
        found.append(f"Holidays in {shown.year}: {_date_list(shown.holidays)}.")
    for panel in shown.panels:
        if panel.days == OTHER_DAYS:
            days = [date.fromordinal(n) for r in panel.rows for n in range(r.first.toordinal(), r.last.toordinal() + 1)]
            found.append(f"Other days, unlike the rest of their week: {_date_list(days)}.")
    return found


def trait_sentences(traits: Traits) -> list[str]:
    """Say what prices by the hour do not tell.

    Examples
    --------
    >>> trait_sentences(Traits(tiers=True))
    ['Prices are those of the first kWh of a bill; the price of more use follows the tiers of the sheet.']
    """
    found = []
    if traits.tiers:
        found.append(
            "Prices are those of the first kWh of a bill; the price of more use follows the tiers of the sheet."
        )
    if traits.other_clock:
        found.append("The sheet has a clock of its own, so its hours move when the wall clock changes.")
    if traits.called:
        kinds = ", ".join(traits.called)
        found.append(f"Days that are called ({kinds}) are shown as far as the sheet lists them.")
    return found


def _is_month(row: Row) -> bool:
    return row.first.day == 1 and row.last.day == monthrange(row.last.year, row.last.month)[1]


def _date_list(days: tuple[date, ...] | list[date]) -> str:
    if len(days) > _MOST_DATES:
        return f"{len(days)} days"
    months = groupby(days, key=lambda day: day.month)
    return "; ".join(
        f"{group[0]:%b} " + ", ".join(str(day.day) for day in group) for group in (list(days) for _, days in months)
    )


def _heading(days: str) -> list[str]:
    numbers = "".join(f"{hour:02d}    " for hour in _RULER_HOURS)
    ticks = "|     " * len(_RULER_HOURS)
    name = f"{days:<{_LABEL}}"
    # A long name of days has a line of its own.
    first = [] if len(days) < _LABEL else [days]
    name = name if not first else " " * _LABEL
    return [*first, f"{name}{numbers}".rstrip(), f"{'':<{_LABEL}}{ticks}".rstrip()]


def _columns(shown: Picture, code: IntArray) -> tuple[str, set[str]]:
    """Write a row with a sign for every half hour, and list the times of changes that lie within one."""
    signs = []
    times: set[str] = set()
    for number, part in enumerate(np.split(code, 48)):
        if (part == part[0]).all():
            signs.append(shown.steps[int(part[0])].mark if part[0] >= 0 else " ")
        else:
            signs.append(SEVERAL)
            inner = np.flatnonzero(part[1:] != part[:-1]) + 1
            times |= {clock_text(30 * number + int(n) * shown.step_min) for n in inner}
    return "".join(signs), times


def _legend(shown: Picture) -> list[str]:
    lines = legend(shown)
    width = max(len(price) for _, price, _ in lines)
    return [f"{step.mark}  {price:>{width}}  {periods}".rstrip()[:WIDTH] for step, price, periods in lines]
