"""Works out the calendar of one version: seasons, holidays, called days, tables of periods, and every fault."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np

from chargeplan.errors import InputError
from chargeplan.reading import KeyPath
from chargeplan.tariff.calendar import MINUTES, SEVERAL, Calendar, DayTable, PeriodHours, find_fault
from chargeplan.tariff.calendar_models import Holidays
from chargeplan.tariff.called_kinds import SeasonModel, called_kinds
from chargeplan.tariff.complaints import Complaints
from chargeplan.tariff.dates import MONTHS, weekday_of
from chargeplan.tariff.holiday_set import HolidaySet, country_dates
from chargeplan.tariff.lines import PeriodTable
from chargeplan.tariff.price_arrays import ALL_HOURS, is_reserved
from chargeplan.tariff.seasons import Seasons
from chargeplan.tariff.sheet import Terms
from chargeplan.units import clock_text

#: Day number taken as the beginning where a sheet gives no date: 2024-01-01, a leap year.
_SOME_YEAR: Final = 19_723
LONG_AGO: Final = -1_000_000


@dataclass
class TableMaker:
    """Makes the tables of periods of one version.

    Parameters
    ----------
    complaints : Complaints
        Where mistakes go.
    terms : Terms
        What the version says.
    timezone : str
        Of the sheet.
    reading_day : int
        Day of the month on which the meter is read.
    first, last : int or None
        Day numbers of the version.
    cache : dict
        Hours worked out already; a version that changes the prices only shares them with the one before.
    """

    complaints: Complaints
    terms: Terms
    timezone: str
    reading_day: int
    first: int
    last: int | None
    cache: dict[tuple[object, ...], DayTable]
    tables: list[PeriodTable] = field(default_factory=list)
    occurs: list[list[set[int]]] = field(default_factory=list)
    good: bool = True

    def __post_init__(self) -> None:
        self.holidays = self._holidays(self.terms.holidays)
        self.called = called_kinds(
            self.complaints,
            self.terms.called or {},
            self.terms.seasons or {},
            self.holidays or HolidaySet(),
            self.timezone,
        )
        self.price_seasons = self._seasons(self.terms.price_seasons, ("price_seasons",))
        self.seasons = self._seasons(self.terms.seasons, ("seasons",))

    def add_main(self, period: str | None = None) -> None:
        """Add the sheet's own table; with a period, every hour is in that one."""
        periods: PeriodHours = self.terms.periods or {ALL_HOURS: None}
        if period is not None:
            periods = {name: None if name == period else () for name in periods}
        self._add(periods, self.seasons, self.price_seasons, ("periods",))
        for name in self.terms.periods or ():
            if name in (self.terms.seasons or ()) or name in (self.terms.price_seasons or ()):
                self.complaints.add(("periods", name), f"`{name}` is a season already", "give the period another name")

    def add(self, hours: PeriodHours, seasons: SeasonModel | None, path: KeyPath) -> int:
        """Add the table of one line and return its number."""
        if seasons is None:
            return self._add(hours, self.seasons, self.price_seasons, path)
        return self._add(hours, self._seasons(seasons, (*path[:-1], "seasons")), None, path)

    def _add(self, periods: PeriodHours, seasons: Seasons | None, price_seasons: Seasons | None, path: KeyPath) -> int:
        whole = seasons or Seasons.build({})
        good = seasons is not None and self._check_periods(periods, whole, path)
        good = good and self.holidays is not None and not self.complaints.is_broken(*path)
        bill_day = self.reading_day if self.terms.price_season_by == "bill" else None
        calendar = Calendar(whole, self.holidays or HolidaySet(), self.called, price_seasons, bill_day)
        if good:
            kinds = tuple(kind.name for kind in self.called)
            key = (tuple(periods.items()), whole.names, kinds)
            table = self.cache.get(key) or self.cache.setdefault(key, DayTable.build(periods, whole, kinds))
            self._check_cover(calendar, table, periods, path)
            occurs = calendar.periods_in_price_season(table)
        else:
            # The names still tell whether the prices fit; their hours cannot be known.
            named = self.complaints.names(*path) or tuple(periods)
            table = DayTable(named, np.full((0, 1, MINUTES), -1, np.int16), np.zeros(0, np.int64), MINUTES)
            if seasons is None and (names := self.complaints.names("seasons")):
                calendar = Calendar(replace(whole, names=names), HolidaySet())
            occurs = [set() for _ in range(len(PeriodTable(calendar, table).seasons))]
            self.good = False
        self.tables.append(PeriodTable(calendar, table))
        self.occurs.append(occurs)
        return len(self.tables) - 1

    # ------------------------------------------------------------------------------------------------ seasons

    def _seasons(self, days: SeasonModel | None, path: KeyPath) -> Seasons | None:
        """Work seasons out; None if something is wrong with them, or if price seasons are not given."""
        if days is None and path == ("price_seasons",):
            return None
        if self.complaints.is_broken(*path):
            self.good = False
            return None
        days = days or {}
        rests = [name for name, given in days.items() if given is None]
        if len(rests) > 1:
            what = f"`{rests[1]}` and `{rests[0]}` are both `rest`"
            self.complaints.add((*path, rests[1]), what, "give one of them its days")
            self.good = False
            return None
        for name in days:
            if is_reserved(name):
                self.complaints.add((*path, name), f"`{name}` cannot be the name of a season", "give it another name")
        seasons = Seasons.build(days, self.timezone)
        fault = seasons.fault()
        if fault is None:
            return seasons
        self.good = False
        month, number, code = fault
        text = f"{MONTHS[month - 1].capitalize()} {number}"
        text += " (in leap years)" if (month, number) == (2, 29) else ""
        if seasons.ruled and (found := seasons.fault_date()) is not None:
            text = f"{found[0]:%a} {found[0]}"
        if code == SEVERAL:
            self.complaints.add(path, f"{text} is in more than one season", "let each day have one; both ends count")
        else:
            self.complaints.add(path, f"{text} is in no season", "extend a season, or let one of them be `rest`")
        return None

    # ------------------------------------------------------------------------------------------------ days

    def _holidays(self, holidays: Holidays | None) -> HolidaySet | None:
        if holidays is None:
            return HolidaySet()
        good = True
        weekday = None
        categories = tuple(holidays.categories)
        if holidays.country is not None:
            for key in ("country", "subdivision", "categories"):
                subdivision = holidays.subdivision if key != "country" else None
                chosen = categories if key == "categories" else ("public",)
                try:
                    country_dates(holidays.country, subdivision, chosen, 2026)
                except InputError as error:
                    self.complaints.add_error(("holidays", key), error)
                    good = False
                    break
        elif holidays.subdivision:
            what = "a subdivision needs a country"
            self.complaints.add(("holidays", "subdivision"), what, "add for example `country: US`")
            good = False
        if holidays.as_ is not None:
            try:
                weekday = weekday_of(holidays.as_)
            except InputError as error:
                self.complaints.add_error(("holidays", "as"), error)
                good = False
        if not good:
            return None
        rules = tuple(holidays.days), tuple(holidays.except_)
        return HolidaySet(holidays.country, holidays.subdivision, categories, *rules, holidays.shift, weekday)

    # ------------------------------------------------------------------------------------------------ hours

    def _check_periods(self, periods: PeriodHours, seasons: Seasons, path: KeyPath) -> bool:
        good = True
        rests = [name for name, windows in periods.items() if windows is None]
        if len(rests) > 1:
            what = f"`{rests[1]}` and `{rests[0]}` are both `rest`"
            self.complaints.add((*path, rests[1]), what, "give one of them its hours")
            good = False
        for name, windows in periods.items():
            if is_reserved(name):
                self.complaints.add((*path, name), f"`{name}` cannot be the name of a period", "give it another name")
            for window in windows or ():
                place = self._window_place((*path, name), window.text)
                for season in window.seasons:
                    broken = self.complaints.is_broken("seasons") or self.complaints.nameless("seasons")
                    if season not in seasons.names and not broken:
                        known = ", ".join(seasons.names) or "none"
                        what = f"`{season}` is not a season of this sheet"
                        self.complaints.add(place, what, f"known are {known}")
                        good = False
                fault = window.unknown_day(list(self.terms.called or {}))
                if fault is not None and not self.complaints.is_broken("called"):
                    what, _, remedy = fault.partition("; ")
                    self.complaints.add(place, f"{name}: {what}", remedy)
                    good = False
                uses_holidays = window.on.holidays or window.except_.holidays
                # An explicit empty list says that there are none; utilities print the words all the same.
                if uses_holidays and self.terms.holidays is None and not self.complaints.is_broken("holidays"):
                    what = f"`{window.text}` speaks of holidays, but the sheet names none"
                    remedy = "add `holidays:`, for example `holidays: {country: US}`, or leave the word out"
                    self.complaints.add(place, what, remedy)
                    good = False
        return good

    def _window_place(self, path: KeyPath, text: str) -> KeyPath:
        """Find the item of a list of windows that one of them was read from."""
        for base in (path, path[:-1]):  # the hours of a line stand where the names of periods stand elsewhere
            given = self.complaints.value(*base)
            if isinstance(given, list):
                for position, item in enumerate(given):
                    if text in map(str.strip, str(item).split(";")):
                        return (*base, position)
        return path

    def _check_cover(self, calendar: Calendar, table: DayTable, periods: PeriodHours, path: KeyPath) -> None:
        begin = self.first if self.first != LONG_AGO else _SOME_YEAR
        fault = find_fault(calendar, table, periods, begin, self.last)
        if fault is None:
            return
        kinds = ", ".join([fault.season] * bool(fault.season) + ["holiday"] * fault.holiday + list(fault.called))
        hours = f"{clock_text(fault.start)}-{clock_text(fault.end)}"
        when = f"{fault.day:%a} {fault.day} {hours}" + (f" ({kinds})" if kinds else "")
        if fault.periods:
            both = " and ".join(f"`{name}`" for name in fault.periods)
            what, remedy = f"{when} is in {both}", "let every minute be in one period only"
            self.complaints.add((*path, fault.periods[-1]), what, remedy)
        else:
            self.complaints.add(path, f"{when} is in no period", "extend one, or let one of them be `rest`")
