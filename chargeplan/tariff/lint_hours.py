"""What is odd about the hours and prices of a sheet, seen by laying its days out."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from chargeplan.clock import DAY_S, IntArray
from chargeplan.errors import InputError
from chargeplan.reading import Document, KeyPath
from chargeplan.tariff.dates import WEEKDAYS
from chargeplan.tariff.lint_dear import dear_prices
from chargeplan.tariff.lint_finding import Finding
from chargeplan.tariff.stretches import Stretch, stretches
from chargeplan.tariff.tariff import Tariff
from chargeplan.tariff.year_grid import cut_to_years

if TYPE_CHECKING:
    import pandas as pd

#: What is not seen in the first year is looked for in so many.
_YEARS: Final = 5
#: A season shorter than this does not show what is usual on a day of the week.
_FEW_DAYS: Final = 14
_PARTS: Final = ("components", "adders")
#: Amounts per kWh below this are nothing.
_NOTHING: Final = 1e-12


@dataclass(frozen=True, eq=False)
class _Seen:
    """A stretch of a sheet and what its hours look like."""

    stretch: Stretch
    frame: pd.DataFrame


def hour_findings(tariff: Tariff, document: Document) -> Iterator[Finding]:
    """Find odd prices, and what never occurs.

    Parameters
    ----------
    tariff : Tariff
        The sheet.
    document : Document
        The file it was read from.

    Yields
    ------
    Finding
        ``dear price``, ``negative price``, ``unused season``, ``unused period``, ``unused component``
        and ``day without peak``.
    """
    seen = []
    without_gaps = _without_gaps(tariff)
    for stretch in stretches(document):
        try:
            seen.append(_Seen(stretch, _frame(without_gaps, stretch)))
        except InputError:
            # Years without holiday data; other checks speak of them.
            return
    for part in seen:
        yield from _prices(tariff, part)
        if without_gaps is tariff:
            yield from _weekdays(part)
    yield from _unused(seen, "seasons", "season", "give it days within the dates of the sheet, or take it out")
    yield from _unused(seen, "periods", "period", "give it hours that occur, or take it out")
    yield from _unused_parts(seen)


def _without_gaps(tariff: Tariff) -> Tariff:
    """Give a tariff whose market prices are 0 where the file lacks them; hours can be laid out without them."""
    gaps = [rates.market is not None and rates.market.missing is None for rates in tariff.versions]
    if not any(gaps):
        return tariff
    filled = (
        replace(rates, market=replace(rates.market, missing=0.0)) if rates.market is not None and gap else rates
        for rates, gap in zip(tariff.versions, gaps, strict=True)
    )
    return replace(tariff, versions=tuple(filled))


def _frame(tariff: Tariff, stretch: Stretch) -> pd.DataFrame:
    """Lay out a year of the stretch, or several years if not everything occurs in the first."""
    begin, end = cut_to_years(stretch.first, stretch.last, _YEARS)
    first_end = min(end, begin + timedelta(days=366))
    frame = tariff.frame(begin, first_end + timedelta(days=1), tariff.resolution_min)
    missing = any(
        name not in set(frame[column].astype(str))
        for key, column in (("seasons", "season"), ("periods", "period"))
        for name in _names(stretch, key)
    )
    if missing and end > first_end:
        frame = tariff.frame(begin, end + timedelta(days=1), tariff.resolution_min)
    return frame


def _names(stretch: Stretch, key: str) -> tuple[str, ...]:
    written = stretch.terms.get(key)
    return tuple(written) if isinstance(written, dict) else ()


def _prices(tariff: Tariff, part: _Seen) -> Iterator[Finding]:
    terms, price = part.stretch.terms, part.frame["price_per_kwh"]
    if "market" in terms:
        # The market may have a very dear hour, or a negative one.
        yield from dear_prices(tariff, part.stretch)
        return
    yield from dear_prices(tariff, part.stretch, float(price.max()))
    if price.min() < -_NOTHING:
        key = "prices" if "prices" in terms else "components"
        when = price.idxmin()
        what = f"a kWh costs {price.min():.4g} {tariff.currency}, less than nothing, on {when:%Y-%m-%d} at {when:%H:%M}"
        yield Finding("negative price", part.stretch.path(key), what, "look for a minus too many")


def _spoken_of_called(stretch: Stretch, name: str) -> bool:
    """Tell whether the hours of a period depend on days that somebody calls."""
    kinds = [kind.lower() for kind in _names(stretch, "called")]
    written = str(stretch.terms["periods"][name]).lower()
    return any(kind in written for kind in kinds)


def _unused(seen: list[_Seen], key: str, column: str, remedy: str) -> Iterator[Finding]:
    used: dict[KeyPath, bool] = {}
    for part in seen:
        occurring = set(part.frame[column].astype(str).unique())
        if key == "seasons" and "price_seasons" in part.stretch.terms:
            continue  # the seasons that are told then are those of the prices
        for name in _names(part.stretch, key):
            path = part.stretch.path(key, name)
            hoped = key == "periods" and _spoken_of_called(part.stretch, name)
            used[path] = used.get(path, False) or name in occurring or hoped
    for path, is_used in used.items():
        if not is_used:
            when = "no day of it is" if key == "seasons" else "no hour is in it"
            dates = " within the dates of the sheet" if key == "seasons" else " while the sheet is in force"
            yield Finding(f"unused {column}", path, f"the {column} `{path[-1]}` never occurs: {when}{dates}", remedy)


def _unused_parts(seen: list[_Seen]) -> Iterator[Finding]:
    first: dict[str, KeyPath] = {}
    useful: set[str] = set()
    written_zero: dict[str, bool] = {}
    for part in seen:
        for key in _PARTS:
            for name in _names(part.stretch, key):
                first.setdefault(name, part.stretch.path(key, name))
                numbers = list(_amounts(part.stretch.terms[key][name]))
                zero = all(number == 0 for number in numbers)
                written_zero[name] = written_zero.get(name, True) and zero
                column = part.frame.get(name)
                if None in numbers or column is None or column.abs().max() > _NOTHING:
                    useful.add(name)
    for name, path in first.items():
        if name not in useful:
            why = "is 0 at all times" if written_zero[name] else "never applies: none of its hours occur"
            yield Finding("unused component", path, f"`{name}` {why}", "correct it, or take it out")


def _amounts(written: Any) -> Iterator[float | None]:
    """List the numbers of a price table; None for what is no plain number, such as tiers."""
    if isinstance(written, dict):
        for key in ("price", "prices"):
            if key in written:
                yield from _amounts(written[key])
                return
        if "cases" in written:
            yield None
            return
        for value in written.values():
            yield from _amounts(value)
    else:
        yield float(written) if isinstance(written, int | float) else None


def _weekdays(part: _Seen) -> Iterator[Finding]:
    names = _names(part.stretch, "periods")
    period, season = (part.frame[column].astype(str) for column in ("period", "season"))
    weekday = _day_of_week(part.frame)
    for name in dict.fromkeys(season):
        here = ((season == name) & (part.frame["day_type"] == "weekday")).to_numpy()
        price = part.frame["price_per_kwh"].to_numpy(dtype=float)[here]
        occurring = period.to_numpy(dtype=object)[here]
        if price.size * _step_days(part.frame) < _FEW_DAYS:
            continue
        dearest = str(occurring[int(price.argmax())])
        lacking = set(range(5)) - set(weekday[here][occurring == dearest].tolist())
        if dearest in names and len(lacking) == 1 and not _spoken_of_called(part.stretch, dearest):
            day = WEEKDAYS[lacking.pop()].capitalize()
            where = f" in {name}" if name in _names(part.stretch, "seasons") else ""
            yield Finding(
                "day without peak",
                part.stretch.path("periods", dearest),
                f"{day} has no `{dearest}`{where}, the dearest period, but the other four weekdays have",
                f"if {day} has it too, add it to the days",
            )


def _day_of_week(frame: pd.DataFrame) -> IntArray:
    """List the day of the week of every row, 0 for Monday."""
    import pandas as pd

    days: IntArray = pd.DatetimeIndex(frame.index).day_of_week.to_numpy().astype(np.int64)
    return days


def _step_days(frame: pd.DataFrame) -> float:
    return float((frame.index[1] - frame.index[0]).total_seconds()) / DAY_S
