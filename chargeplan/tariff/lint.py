"""What a rate sheet may say but hardly means: warnings, each with a name by which it can be accepted."""

from __future__ import annotations

import difflib
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Any, Final

from chargeplan.errors import Mistake
from chargeplan.reading import Document, KeyPath
from chargeplan.tariff.lint_calendar import calendar_findings
from chargeplan.tariff.lint_dear import dear_charges
from chargeplan.tariff.lint_finding import Finding
from chargeplan.tariff.lint_hours import hour_findings
from chargeplan.tariff.lint_references import reference_findings
from chargeplan.tariff.lint_sold import sold_twice
from chargeplan.tariff.tariff import Tariff

#: The warnings by name, and what each means; names never change, since sheets accept them.
WARNINGS: Final = {
    "dear price": "a price or charge so high that it may be in cents, or per MWh",
    "negative price": "hours in which a kWh costs less than nothing, without a market that sets the price",
    "unused season": "a season without a day within the dates of the sheet, or seasons that nothing refers to",
    "unused holidays": "holidays that no hours refer to",
    "unused period": "a period without any hour",
    "sold twice": "a price for what is sold, beside net metering, which takes it off what is bought already",
    "unused component": "a part of the price that is 0 at all times",
    "holiday never occurs": "a holiday without a date in the time of the sheet, or an exception that excepts nothing",
    "expired sheet": "a sheet whose last day is past",
    "one-minute window": "hours that begin or end a minute beside the half hour, as 19:01 or 06:59",
    "day without peak": "one weekday that lacks the dearest period of the other four",
}
NEEDLESS: Final = "needless acceptance"


@dataclass(frozen=True, order=True)
class SheetWarning(Mistake):
    """Something in a sheet that is allowed, but hardly meant.

    Parameters
    ----------
    id : str
        Name of the warning, one of `WARNINGS` or ``needless acceptance``.

    Examples
    --------
    >>> print(SheetWarning("a.yaml", 4, 1, "25 USD per kWh is very dear", "check it", "dear price"))
    a.yaml:4:1: 25 USD per kWh is very dear; check it (warning: dear price)
    """

    id: str = ""

    def __str__(self) -> str:
        return f"{super().__str__()} (warning: {self.id})"


def warnings_of(tariff: Tariff, document: Document, today: date | None = None) -> list[SheetWarning]:
    """Find what is allowed in a sheet but unlikely to be meant.

    Parameters
    ----------
    tariff : Tariff
        The sheet.
    document : Document
        The file it was read from.
    today : datetime.date, optional
        To tell whether the sheet is past; without it, that is not looked at.

    Returns
    -------
    list of SheetWarning
        In the order of the lines, without those that the sheet accepts under ``accept``. An acceptance
        that silences nothing is a warning itself.

    Examples
    --------
    >>> from chargeplan.reading import read_document
    >>> from chargeplan.tariff import read_tariff
    >>> text = "{name: A, currency: USD, timezone: America/Denver, prices: 31}"
    >>> for warning in warnings_of(read_tariff(text), read_document("a.yaml", text=text)):
    ...     print(warning)
    a.yaml:1:52: 31 USD per kWh is very dear; if the prices are in cents, add `price_unit: cents` (warning: dear price)
    """
    found = dict.fromkeys(
        (
            *hour_findings(tariff, document),
            *dear_charges(tariff, document),
            *sold_twice(document),
            *calendar_findings(document),
            *reference_findings(document),
        )
    )
    if today is not None:
        found |= dict.fromkeys(_expired(tariff, today))
    accepted = [_text(item.get("warning")) for item in _acceptances(document)]
    warnings = [_warning(document, finding) for finding in found if finding.id not in accepted]
    told = {finding.id for finding in found}
    for position, name in enumerate(accepted):
        unseen = name == "expired sheet" and today is None
        if name in WARNINGS and (name not in told or name in accepted[:position]) and not unseen:
            what = f"there is no warning `{name}` to accept" if name not in told else f"`{name}` is accepted twice"
            finding = Finding(NEEDLESS, ("accept", position), what, "take this acceptance out")
            warnings.append(_warning(document, finding))
    return sorted(warnings)


def unknown_acceptances(document: Document) -> list[Mistake]:
    """Find the acceptances of warnings that do not exist.

    Parameters
    ----------
    document : Document
        The file of a sheet.

    Returns
    -------
    list of Mistake
        One for each.

    Examples
    --------
    >>> from chargeplan.reading import read_document
    >>> text = "accept: [{warning: deer price, because: it is}]"
    >>> print(unknown_acceptances(read_document("a.yaml", text=text))[0])
    a.yaml:1:11: `deer price` is not a warning; did you mean `dear price`?
    """
    mistakes = []
    for position, item in enumerate(_acceptances(document)):
        if (name := _text(item.get("warning"))) not in WARNINGS:
            close = difflib.get_close_matches(name, WARNINGS, 1)
            remedy = f"did you mean `{close[0]}`?" if close else f"known are {', '.join(WARNINGS)}"
            mistakes.append(
                document.mistake(("accept", position, "warning"), f"`{name[:60]}` is not a warning", remedy)
            )
    return mistakes


def _expired(tariff: Tariff, today: date) -> Iterator[Finding]:
    until = tariff.sheet.until
    if until is not None and until < today:
        yield Finding(
            "expired sheet",
            ("until",),
            f"the sheet ended on {until}, before today ({today})",
            "find the sheet that follows it, or accept the warning if it is kept as history",
        )


def _acceptances(document: Document) -> list[dict[str, Any]]:
    found = document.data.get("accept") or []
    return [item for item in found if isinstance(item, dict)] if isinstance(found, list) else []


def _text(value: Any) -> str:
    return " ".join(str(value).split())


def _warning(document: Document, finding: Finding) -> SheetWarning:
    path: KeyPath = finding.path
    place = document.mistake(path, finding.what, finding.remedy)
    return SheetWarning(place.file, place.line, place.column, place.what, place.remedy, finding.id)
