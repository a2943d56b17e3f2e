"""What a change of rates changes, for a notice."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from textwrap import shorten
from typing import Final

from chargeplan.output.bill_text import amount_text
from chargeplan.output.picture_text import price_texts, trait_sentences
from chargeplan.output.words import WIDTH, plain_text, wrapped
from chargeplan.tariff.changed_bills import BillChange
from chargeplan.tariff.changed_lines import LineChange
from chargeplan.tariff.day_panels import HOLIDAYS, OTHER_DAYS
from chargeplan.tariff.difference import Difference, HourChange
from chargeplan.tariff.traits import traits_of

_INDENT: Final = "  "
_HEADS: Final = ("", "before", "after", "change")
#: Longer names of lines are cut, so that amounts fit beside them.
_LONGEST_NAME: Final = 24


def difference_text(found: Difference, bills: BillChange | None = None) -> str:
    """Write what changes.

    Parameters
    ----------
    found : Difference
        What `difference` returned.
    bills : BillChange, optional
        What `bill_change` returned.

    Returns
    -------
    str
        Lines of at most 80 characters.
    """
    currency = found.new.currency
    lines = ["Change of rates"]
    for label, tariff, since in (("from", found.old, found.since[0]), ("to", found.new, found.since[1])):
        lines += wrapped(tariff.name + (f", in force since {since}" if since else ""), f"{_INDENT}{label:<6}")
    if found.nothing:
        lines += ["", "Nothing changes."]
        return "\n".join(lines if bills is None else [*lines, "", *_bill_lines(bills, currency)])
    about = f"Both are laid out on {found.year}. Prices are {currency} per kWh, all included."
    if found.holidays_apart and (found.moved or found.repriced):
        about += " Days of the week are meant without holidays."
    # Traits of both, each said once.
    said = dict.fromkeys(line for side in (found.old, found.new) for line in trait_sentences(traits_of(side)))
    lines += wrapped(" ".join([about, *said]))
    if found.renamed:
        lines += ["", "Periods that only have another name"]
        lines += [line for old, new in found.renamed for line in wrapped(f"{old} -> {new}", _INDENT)]
    lines += ["", *_moved_heading(found)]
    lines += _hour_lines(found.moved)
    if found.repriced:
        lines += ["", "Hours that keep their period and change their price"]
        lines += _hour_lines(found.repriced)
    lines += ["", *wrapped(_mean_text(found))]
    if found.lines:
        lines += ["", "Lines of the sheet that change"]
        lines += [line for change in found.lines for line in _changed_line(change)]
    if bills is not None:
        lines += ["", *_bill_lines(bills, currency)]
    return "\n".join(lines)


def _moved_heading(found: Difference) -> list[str]:
    if not found.moved:
        return ["No hour changes its period."]
    days = (date(found.year + 1, 1, 1) - date(found.year, 1, 1)).days
    return wrapped(f"Hours that change their period: {found.moved_hours:g} of {24 * days} in {found.year}")


def _hour_lines(changes: Iterable[HourChange]) -> list[str]:
    lines: list[str] = []
    for change in changes:
        old, new = price_texts((change.old.price_per_kwh, change.new.price_per_kwh))
        when = when_text(change)
        what = (
            f"{change.old.period} {old} -> {new}{_percent(change.old.price_per_kwh, change.new.price_per_kwh)}"
            if change.old.period == change.new.period
            else f"{change.old.period} {old} -> {change.new.period} {new}"
        )
        whole = plain_text(f"{_INDENT}{when}: {what}" if when else f"{_INDENT}{what}")
        lines += [whole] if len(whole) <= WIDTH else [*wrapped(f"{when}:", _INDENT), *wrapped(what, _INDENT * 2)]
    return lines


def when_text(change: HourChange) -> str:
    """Say when hours change, leaving out what goes without saying.

    Examples
    --------
    >>> from chargeplan.tariff.year_grid import Cell
    >>> when_text(HourChange("weekdays", "all year", "16:00-17:00", Cell("peak", 0.42), Cell("mid-peak", 0.31)))
    'weekdays 16:00-17:00'
    """
    if (change.days, change.dates, change.hours) == ("every day", "all year", "all day"):
        return "at all times"
    dates = "" if change.dates == "all year" else change.dates
    if change.days in (HOLIDAYS, OTHER_DAYS):
        dates = f"({dates})"
    days = "" if change.days == "every day" and dates else change.days
    return " ".join(part for part in (days, dates, change.hours) if part and part != "all day")


def _percent(old: float, new: float) -> str:
    return f" ({100 * (new - old) / old:+.1f} %)" if old > 0 else ""


def _mean_text(found: Difference) -> str:
    old, new = found.mean
    texts = price_texts((round(old, 4), round(new, 4)))
    if texts[0] == texts[1]:
        return f"The mean price of all hours stays {texts[1]} {found.new.currency} per kWh."
    change = f"from {texts[0]} to {texts[1]} {found.new.currency} per kWh{_percent(old, new)}"
    return f"The mean price of all hours goes {change}."


def _changed_line(change: LineChange) -> list[str]:
    if change.old is None:
        text = f"new: {change.new}"
    elif change.new is None:
        text = f"gone: {change.old}"
    else:
        text = f"{change.old} -> {change.new}"
    whole = plain_text(f"{_INDENT}{change.line}: {text}")
    return [whole] if len(whole) <= WIDTH else [*wrapped(f"{change.line}:", _INDENT), *wrapped(text, _INDENT * 2)]


def _bill_lines(bills: BillChange, currency: str) -> list[str]:
    """Write a table of the bills before and after."""
    use = f"{bills.bought_kwh:,.0f} kWh bought" + (f" and {bills.sold_kwh:,.0f} kWh sold" if bills.sold_kwh else "")
    rows = [
        (
            plain_text(line.name),
            *("-" if amount is None else amount_text(amount) for amount in (line.old, line.new)),
            ("+" if line.change > 0 else "") + amount_text(line.change),
        )
        for line in (*bills.lines, bills.total)
    ]
    widths = [max(len(row[column]) for row in (_HEADS, *rows)) for column in range(4)]
    widths[0] = min(widths[0], _LONGEST_NAME)
    lines = [
        f"{_INDENT}{shorten(name, widths[0], placeholder='...'):<{widths[0]}}"
        + "".join(f"  {text:>{width}}" for text, width in zip(amounts, widths[1:], strict=True))
        for name, *amounts in (_HEADS, *rows)
    ]
    lines[-1] += _percent(float(bills.total.old or 0), float(bills.total.new or 0))
    heading = wrapped(f"Bills from {bills.first} to {bills.last}, {use}, in {currency}")
    return [*heading, *lines, *(line for note in bills.notes for line in wrapped(note))]
