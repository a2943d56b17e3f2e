"""What a sheet says of the energy of a record: seasons, periods, prices, fuel adjustments, and what is sold."""

from __future__ import annotations

import re
from collections.abc import Iterable
from decimal import Decimal
from typing import Any, Final

from chargeplan.drafting.hour_grid import GridWords, HourGrid, grid_words
from chargeplan.drafting.note import Note
from chargeplan.drafting.record import BUY_ALL_SELL_ALL, NET_METERING, Record
from chargeplan.drafting.structures import Period, Structure
from chargeplan.drafting.terms import DraftTerms
from chargeplan.drafting.writing import Remarked, plain_number
from chargeplan.tariff.calendar_models import REST
from chargeplan.units import clock_text

_Part = tuple[dict[str, Any], list[Note]]
#: Countries in whose records July is summer; older records name none and are all of one of these.
_NORTHERN: Final = ("", "USA", "US", "CAN", "CA", "MEX")
_DAY_OF_MONTH: Final = re.compile(
    r"\b(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec)[a-z]*\.?\s+([2-9]|[12]\d|3[01])(st|nd|rd|th)?\b(?!\d)", re.I
)


def words_of(hours: HourGrid, structure: Structure, record: Record, terms: DraftTerms) -> GridWords:
    """Say the hours of a structure; within a season the dearer period has the name of the higher level.

    Parameters
    ----------
    hours : HourGrid
        Which period each hour is in.
    structure : tuple of Period
        Their prices.
    record : Record
        For the country, by which seasons are called.
    terms : DraftTerms
        What was given with the record.

    Returns
    -------
    GridWords
        Seasons and periods.
    """
    north = record.country.upper() in _NORTHERN and terms.july_is_summer
    ranks = {number: structure[number].prices for number in hours.numbers}
    return grid_words(hours, ranks, terms.edges, july_is_summer=north)


def hours_data(words: GridWords) -> dict[str, Any]:
    """Give the keys `seasons` and `periods`, as far as there are several."""
    periods = {name: hours[0] if len(hours) == 1 else hours for name, hours in words.periods.items()}
    return {key: value for key, value in (("seasons", words.seasons), ("periods", periods)) if value}


def price_cells(structure: Structure, numbers: Iterable[int]) -> dict[int, Remarked]:
    """Write the price of each period: the sum of rate and adjustment, and the two behind it.

    Examples
    --------
    >>> from chargeplan.drafting.structures import Tier
    >>> price_cells((Period((Tier(Decimal("0.11"), Decimal("0.005")),)),), [0])
    {0: Remarked(value=Decimal('0.115'), remark='rate + adj: 0.11 + 0.005')}
    """
    return {
        number: Remarked(structure[number].text(structure[number].prices), _sums(structure[number]))
        for number in numbers
    }


def _sums(period: Period) -> str:
    if not any(tier.adj for tier in period.tiers):
        return ""
    return "rate + adj: " + ", ".join(f"{plain_number(tier.rate)} + {plain_number(tier.adj)}" for tier in period.tiers)


def one_set_of_limits(structure: Structure, numbers: Iterable[int]) -> bool:
    """Tell whether the tiers of all periods, of whatever season, end alike as far as they go."""
    periods = [structure[number] for number in numbers]
    longest = max((period.limits for period in periods), key=len)
    return all(period.limits == longest[: len(period.limits)] for period in periods)


def price_table(words: GridWords, structure: Structure) -> Any:
    """Lay the prices of a structure out as a table."""
    numbers = set(words.numbers.values())
    return words.table(price_cells(structure, numbers), by_period=one_set_of_limits(structure, numbers))


def energy_data(record: Record, words: GridWords, terms: DraftTerms) -> _Part:
    """Say what is bought.

    Parameters
    ----------
    record : Record
        The record.
    words : GridWords
        Its hours in words.
    terms : DraftTerms
        What was given with it.

    Returns
    -------
    tuple of (dict, list of Note)
        Keys of the sheet, and what to note.
    """
    data: dict[str, Any] = {**hours_data(words), "prices": price_table(words, record.energy)}
    notes = []
    used = [record.energy[number] for number in record.hours.numbers]
    if words.seasons:
        notes.append(Note("assumed", ("seasons",), "seasons are whole months; the record cannot say other days"))
        if named := [label.lower() for label, text in record.texts.items() if _DAY_OF_MONTH.search(text)]:
            text = f"the {' and the '.join(named)} of the record names days of months; seasons may begin on those"
            notes.append(Note("unclear", ("seasons",), text))
    if words.periods and record.hours.boundaries:
        moved = [f"{hour:02d}:00 to {clock_text(at)}" for hour, at in enumerate(terms.edges) if at != 60 * hour]
        text = "hours begin and end on the hour; the record cannot say half hours (--edge moves a boundary)"
        text = f"boundaries moved as given: {', '.join(moved)}; all others are on the hour" if moved else text
        notes.append(Note("assumed", ("periods",), text))
    if any(period.limits for period in used):
        text = "one total over all periods of a month decides the tier"
        if any(period.per_day and period.limits for period in used):
            text += "; limits per day are times the days of the bill, and do not start again each day"
        notes.append(Note("assumed", ("prices",), text))
    if record.fuel is not None:
        data["adders"] = {"fuel adjustment": _by_month(record.fuel)}
    return data, notes


def _by_month(amounts: tuple[Decimal, ...]) -> Any:
    """Say an amount per kWh for each month; months with the same amount are said together."""
    different = sorted(set(amounts))
    rows = [[different.index(amount)] * 24 for amount in amounts]
    words = grid_words(HourGrid.of(rows, rows), dict(enumerate(different)))
    prices = words.table({number: Remarked(amount) for number, amount in enumerate(different)})
    if not words.seasons:
        return prices
    return {"periods": {"all hours": REST}, "seasons": words.seasons, "prices": prices}


def export_data(record: Record, words: GridWords) -> _Part:
    """Say what is sold. Where the record leaves a choice, the one that credits less is taken.

    Parameters
    ----------
    record : Record
        The record.
    words : GridWords
        Its hours in words.

    Returns
    -------
    tuple of (dict, list of Note)
        `export`, or `net_metering`, or neither; and what to note.
    """
    numbers = record.hours.numbers
    sells = [tier.sell for number in numbers for tier in record.energy[number].tiers]
    net = record.export_rule == NET_METERING
    stated = [sell for sell in sells if sell is not None]
    if stated and len(stated) < len(sells):
        text = "a price for what is sold, which the record gives for some periods or tiers only; nothing is credited"
        return {}, [Note("left out", ("export",), text)]
    if stated and (any(stated) or not net):
        return _sold_at_prices(record, words, net)
    if net:
        text = (
            "the record says net metering and no more; what is sold counts against what is bought in the same bill,"
            " and what is left is lost. It may be carried on or paid: see `carry`, `true_up` and `surplus`"
        )
        rule = {"net_metering": {"carry": "nothing", "surplus": "lost"}}
        return rule, [Note("assumed", ("net_metering",), text)]
    if record.export_rule:
        text = f"{record.export_rule}: the record gives no price for what is sold, so nothing is credited"
        return {}, [Note("left out", ("export",), text)]
    return {}, []


def _sold_at_prices(record: Record, words: GridWords, net: bool) -> _Part:
    notes = []
    cells: dict[int, Remarked] = {}
    for number in record.hours.numbers:
        period = record.energy[number]
        amounts = [tier.sell or Decimal(0) for tier in period.tiers]
        cells[number] = Remarked(amounts[0] if len(set(amounts)) == 1 else period.text(amounts))
    if any(isinstance(cell.value, str) for cell in cells.values()):
        text = "limits of tiers count what is sold; the record does not say whether they count what is bought"
        notes.append(Note("unclear", ("export",), text))
    if net:
        text = "the record says net metering, but also gives these prices for what is sold; the prices are taken"
        notes.append(Note("unclear", ("export",), text))
    if record.export_rule == BUY_ALL_SELL_ALL:
        text = "all that is made is sold and all that is used is bought, so give both in full"
        notes.append(Note("assumed", ("export",), text))
    alike = one_set_of_limits(record.energy, record.hours.numbers)
    return {"export": words.table(cells, by_period=alike)}, notes
