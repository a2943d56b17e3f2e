"""What a record cannot say, and the person who drafts a sheet from it must: zone, currency, holidays, edges."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from chargeplan.clock import zone
from chargeplan.drafting.edges import WHOLE_HOURS, Edges, parse_edges
from chargeplan.errors import InputError
from chargeplan.tariff.dates import DayRule, weekday_of
from chargeplan.tariff.holiday_set import HolidaySet, country_dates

_COUNTRY = re.compile(r"([A-Za-z]{2})(?:-([A-Za-z0-9]{1,6}))?\Z", re.ASCII)
_DAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")
_SOME_YEAR = 2026


@dataclass(frozen=True)
class DraftTerms:
    """What is given with a record.

    Parameters
    ----------
    timezone : str
        Zone on whose clock the hours are read.
    currency : str
        Three-letter code.
    holidays : HolidaySet
        Which days are holidays, and the day of the week whose hours they take.
    edges : tuple of int
        Minutes at which the hours of tables begin.
    written_holidays : dict
        The holidays as a sheet says them; empty for none.
    """

    timezone: str
    currency: str = "USD"
    holidays: HolidaySet = field(default_factory=HolidaySet)
    edges: Edges = WHOLE_HOURS
    written_holidays: dict[str, Any] = field(default_factory=dict)

    @property
    def july_is_summer(self) -> bool:
        """Whether the clock of the zone is not forward in January, as it is in the south."""
        return not datetime(_SOME_YEAR, 1, 15, tzinfo=zone(self.timezone)).dst()


def draft_terms(
    timezone: str,
    *,
    currency: str = "USD",
    holidays: str | Iterable[str] | None = None,
    holidays_as: str = "Sunday",
    edges: Iterable[str] | Mapping[str, str] = (),
) -> DraftTerms:
    """Check what is given with a record.

    Parameters
    ----------
    timezone : str
        For example ``America/Denver``.
    currency : str
        Three-letter code.
    holidays : str or iterable of str, optional
        A country (``US``), a part of one (``US-CA``), or days such as ``Jul 4`` and ``last Monday of May``.
    holidays_as : str
        Day of the week whose hours holidays take.
    edges : iterable of str, or mapping
        ``17=17:30``, or ``{"17": "17:30"}``; see `parse_edges`.

    Returns
    -------
    DraftTerms
        The same, checked.

    Raises
    ------
    InputError
        If one of them cannot be read.

    Examples
    --------
    >>> draft_terms("America/Denver", holidays="US").written_holidays
    {'country': 'US', 'as': 'Sunday'}
    """
    name = str(zone(timezone).key)
    if not re.fullmatch(r"[A-Z]{3}", currency):
        raise InputError(f"`{currency[:30]}` is not a currency; write its three-letter code, like USD, EUR or JPY")
    texts = [f"{before}={after}" for before, after in edges.items()] if isinstance(edges, Mapping) else edges
    written, found = _holidays(holidays, holidays_as)
    return DraftTerms(name, currency, found, parse_edges([texts] if isinstance(texts, str) else texts), written)


def _holidays(given: str | Iterable[str] | None, holidays_as: str) -> tuple[dict[str, Any], HolidaySet]:
    days = given.split(",") if isinstance(given, str) else list(given or ())
    days = [day.strip() for day in days if day.strip()]
    if not days or [day.lower() for day in days] == ["none"]:
        return {}, HolidaySet()
    weekday = weekday_of(holidays_as)
    name = _DAYS[weekday]
    if match := _COUNTRY.match(days[0]):
        country, part = match[1].upper(), match[2].upper() if match[2] else None
        country_dates(country, part, ("public",), _SOME_YEAR)  # says which countries are known
        more = {"days": days[1:]} if days[1:] else {}
        written = {"country": country, **({"subdivision": part} if part else {}), **more}
        rules = tuple(map(DayRule.parse, days[1:]))
        return {**written, "as": name}, HolidaySet(country, part, days=rules, weekday=weekday)
    try:
        rules = tuple(map(DayRule.parse, days))
    except InputError as error:
        if len(days) > 1 or " " in days[0]:
            raise
        what = f"`{days[0][:40]}` is neither a country nor a day"
        raise InputError(f"{what}; write for example US, US-CA, or 'Jul 4, last Monday of May'") from error
    return {"days": days, "as": name}, HolidaySet(days=rules, weekday=weekday)
