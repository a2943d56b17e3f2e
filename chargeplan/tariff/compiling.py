"""From what a sheet says to arrays, with every contradiction reported at its place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from chargeplan.clock import day_number
from chargeplan.errors import InputError, Mistake
from chargeplan.reading import Document, KeyPath
from chargeplan.tariff.calendar import MINUTES, SEVERAL, Calendar, DayTable, PeriodHours, Seasons, find_fault
from chargeplan.tariff.dates import MONTHS, weekday_of
from chargeplan.tariff.holiday_set import HolidaySet, country_dates
from chargeplan.tariff.rates import COLUMNS, FloatArray, Rates, TimedLine
from chargeplan.tariff.sheet import Holidays, Sheet, Terms, TimedAdder
from chargeplan.units import clock_text

#: Day number taken as the beginning where a sheet gives no date: 2024-01-01, a leap year.
_SOME_YEAR = 19_723
_LONG_AGO = -1_000_000
#: Name of the only component where a sheet gives `prices` and no `components`.
ENERGY = "energy"
#: Name of the only period where a sheet gives no `periods`.
ALL_HOURS = "all hours"

Table = float | Mapping[str, float | Mapping[str, float]]


@dataclass
class Compiler:
    """Turns one checked sheet into its versions, collecting mistakes.

    Parameters
    ----------
    document : Document
        The file, for the places of mistakes.
    broken : frozenset of paths
        Values the model was built without; nothing is said of their absence.
    """

    document: Document
    broken: frozenset[KeyPath] = frozenset()
    mistakes: list[Mistake] = field(default_factory=list)
    _origin: dict[str, KeyPath] = field(default_factory=dict)
    #: Hours worked out already; a version that changes the prices only shares them with the one before.
    _tables: dict[tuple[int, int], DayTable] = field(default_factory=dict)

    def versions(self, sheet: Sheet) -> tuple[Rates, ...]:
        """Work out every version of the sheet.

        Parameters
        ----------
        sheet : Sheet
            The checked model.

        Returns
        -------
        tuple of Rates
            Oldest first; to be used only if `mistakes` stayed empty.
        """
        fields = Terms.model_fields
        terms: dict[str, Any] = {name: getattr(sheet, name) for name in fields}
        self._origin = dict.fromkeys(fields, ())
        scale = 0.01 if sheet.price_unit == "cents" else 1.0
        first = day_number(sheet.effective) if sheet.effective else _LONG_AGO
        last = day_number(sheet.until) if sheet.until else None
        if last is not None and last < first:
            self.complain(("until",), f"the sheet ends on {sheet.until}, before it begins", "give a later date")
        starts = [first, *(day_number(version.from_) for version in sheet.versions)]
        result = [self._rates(Terms.model_construct(**terms), first, starts[1] - 1 if starts[1:] else last, scale)]
        for position, version in enumerate(sheet.versions):
            path: KeyPath = ("versions", position)
            if starts[position + 1] <= starts[position]:
                self.complain(
                    (*path, "from"), f"{version.from_} is not after the version before it", "put the oldest first"
                )
            if last is not None and starts[position + 1] > last:
                self.complain((*path, "from"), f"{version.from_} is after the sheet ends", "give an earlier date")
            changes = {name: getattr(version, name) for name in fields if getattr(version, name) is not None}
            if "prices" in changes or "components" in changes:
                terms |= {"prices": None, "components": None}
            terms |= changes
            self._origin |= dict.fromkeys(changes, path)
            end = starts[position + 2] - 1 if position + 2 < len(starts) else last
            result.append(self._rates(Terms.model_construct(**terms), starts[position + 1], end, scale))
        return tuple(rates for rates in result if rates is not None)

    def complain(self, path: KeyPath, what: str, remedy: str = "") -> None:
        """Note a mistake; ``path`` begins with a field that a version may have changed."""
        origin = self._origin.get(str(path[0]), ())
        self.mistakes.append(self.document.mistake((*origin, *path), what, remedy))

    def _is_broken(self, name: str) -> bool:
        origin = self._origin.get(name, ())
        prefix = (*origin, name)
        return any(path[: len(prefix)] == prefix for path in self.broken)

    def _names(self, name: str) -> tuple[str, ...]:
        """List the keys the file gives under a field, whether they could be read or not."""
        found: Any = self.document.data
        for part in (*self._origin.get(name, ()), name):
            try:
                found = found[part]
            except (LookupError, TypeError):
                return ()
        return tuple(found) if isinstance(found, dict) else ()

    def _rates(self, terms: Terms, first: int, last: int | None, scale: float) -> Rates | None:
        seasons = Seasons.build(terms.seasons or {})
        holidays = self._holidays(terms.holidays)
        periods: PeriodHours = terms.periods or {ALL_HOURS: None}
        good = self._check_seasons(terms, seasons)
        good &= self._check_periods(periods, seasons, holidays, "periods")
        good &= holidays is not None and not self._is_broken("periods") and not self._is_broken("seasons")
        calendar = Calendar(seasons, holidays or HolidaySet())
        if good:
            same = id(terms.periods), id(terms.seasons)
            if same not in self._tables:
                self._tables[same] = DayTable.build(periods, seasons)
            table = self._tables[same]
            self._check_cover(calendar, table, periods, first, last)
        else:
            # The names still tell whether the prices fit; their hours cannot be known.
            named = self._names("periods") or tuple(periods)
            calendar = Calendar(Seasons(self._names("seasons"), seasons.code), calendar.holidays)
            table = DayTable(named, np.full((0, 1, MINUTES), -1, np.int16), np.zeros(0, np.int64), MINUTES)
        seasons = calendar.seasons
        self._check_names(terms)
        names, price, timed = self._components(terms, calendar.seasons, holidays, table, scale)
        taxes, tax = self._taxes(terms, names)
        export = self._table(terms.export, ("export",), seasons, table, scale) if terms.export is not None else None
        if not good:
            return None
        fixed = terms.fixed if isinstance(terms.fixed, dict) else {"fixed": terms.fixed} if terms.fixed else {}
        return Rates(first, calendar, table, names, price, timed, taxes, tax, export, tuple(fixed.items()))

    def _check_seasons(self, terms: Terms, seasons: Seasons) -> bool:
        if self._is_broken("seasons"):
            return False
        rests = [name for name, days in (terms.seasons or {}).items() if days is None]
        if len(rests) > 1:
            self.complain(
                ("seasons", rests[1]), f"`{rests[1]}` and `{rests[0]}` are both `rest`", "give one of them its days"
            )
            return False
        fault = seasons.fault()
        if fault is None:
            return True
        month, day, code = fault
        text = f"{MONTHS[month - 1].capitalize()} {day}"
        leap = " (in leap years)" if (month, day) == (2, 29) else ""
        if code == SEVERAL:
            self.complain(
                ("seasons",), f"{text}{leap} is in more than one season", "let each day have one; both ends count"
            )
        else:
            self.complain(
                ("seasons",), f"{text}{leap} is in no season", "extend a season, or let one of them be `rest`"
            )
        return False

    def _holidays(self, holidays: Holidays | None) -> HolidaySet | None:
        if holidays is None:
            return HolidaySet()
        good = True
        weekday = None
        categories = tuple(holidays.categories)
        if holidays.country is not None:
            for key in ("country", "subdivision", "categories"):
                subdivision = holidays.subdivision if key != "country" else None
                try:
                    country_dates(
                        holidays.country, subdivision, categories if key == "categories" else ("public",), 2026
                    )
                except InputError as error:
                    what, _, remedy = str(error).partition("; ")
                    self.complain(("holidays", key), what, remedy)
                    good = False
                    break
        elif holidays.subdivision:
            self.complain(("holidays", "subdivision"), "a subdivision needs a country", "add for example `country: US`")
            good = False
        if holidays.as_ is not None:
            try:
                weekday = weekday_of(holidays.as_)
            except InputError as error:
                what, _, remedy = str(error).partition("; ")
                self.complain(("holidays", "as"), what, remedy)
                good = False
        if not good:
            return None
        return HolidaySet(
            holidays.country,
            holidays.subdivision,
            categories,
            tuple(holidays.days),
            tuple(holidays.except_),
            holidays.shift,
            weekday,
        )

    def _check_periods(self, periods: PeriodHours, seasons: Seasons, holidays: HolidaySet | None, *path: str) -> bool:
        good = True
        rests = [name for name, windows in periods.items() if windows is None]
        if len(rests) > 1:
            self.complain(
                (*path, rests[1]), f"`{rests[1]}` and `{rests[0]}` are both `rest`", "give one of them its hours"
            )
            good = False
        for name, windows in periods.items():
            for window in windows or ():
                for season in window.seasons:
                    if season not in (names := self._names("seasons")):
                        known = ", ".join(names) or "none"
                        self.complain((*path, name), f"`{season}` is not a season of this sheet", f"known are {known}")
                        good = False
                uses_holidays = window.on.holidays or window.except_.holidays
                if uses_holidays and holidays is not None and not holidays and not self._is_broken("holidays"):
                    remedy = "add `holidays:`, for example `holidays: {country: US}`, or leave the word out"
                    self.complain(
                        (*path, name), f"`{window.text}` speaks of holidays, but the sheet names none", remedy
                    )
                    good = False
        return good

    def _check_cover(
        self, calendar: Calendar, table: DayTable, periods: PeriodHours, first: int, last: int | None
    ) -> None:
        begin = first if first != _LONG_AGO else _SOME_YEAR
        fault = find_fault(calendar, table, periods, begin, last)
        if fault is None:
            return
        kinds = ", ".join([fault.season] * bool(fault.season) + ["holiday"] * fault.holiday)
        hours = f"{clock_text(fault.start)}-{clock_text(fault.end)}"
        when = f"{fault.day:%a} {fault.day} {hours}" + (f" ({kinds})" if kinds else "")
        if fault.periods:
            both = " and ".join(f"`{name}`" for name in fault.periods)
            self.complain(
                ("periods", fault.periods[-1]), f"{when} is in {both}", "let every minute be in one period only"
            )
        else:
            self.complain(("periods",), f"{when} is in no period", "extend one, or let one of them be `rest`")

    def _check_names(self, terms: Terms) -> None:
        for name in terms.periods or ():
            if name in (terms.seasons or ()):
                self.complain(("periods", name), f"`{name}` is a season already", "give the period another name")
        for kind in ("components", "adders", "taxes"):
            for name in getattr(terms, kind) or ():
                if name in COLUMNS:
                    self.complain((kind, name), f"`{name}` is the name of another column", "give it another name")

    def _components(
        self, terms: Terms, seasons: Seasons, holidays: HolidaySet | None, table: DayTable, scale: float
    ) -> tuple[tuple[str, ...], FloatArray, tuple[TimedLine, ...]]:
        if terms.prices is not None and terms.components is not None:
            self.complain(("components",), "both `prices` and `components` are given", "keep one; adders may stay")
        if (
            terms.prices is None
            and not terms.components
            and not (self._is_broken("prices") or self._is_broken("components"))
        ):
            self.complain(("prices",), "there are no prices", "add for example `prices: 0.31`, per kWh")
        parts: dict[str, FloatArray] = {}
        if terms.prices is not None:
            parts[ENERGY] = self._table(terms.prices, ("prices",), seasons, table, scale)
        for name, prices in (terms.components or {}).items():
            parts[name] = self._table(prices, ("components", name), seasons, table, scale)
        timed: list[TimedLine] = []
        shape = (max(1, len(seasons.names)), len(table.names))
        for name, adder in (terms.adders or {}).items():
            if name in parts:
                self.complain(("adders", name), f"`{name}` is a component already", "give the adder another name")
            if isinstance(adder, TimedAdder):
                hours = {"applies": adder.hours, "does not": None} if adder.hours is not None else {"applies": None}
                if self._check_periods(hours, seasons, holidays, "adders", name):
                    timed.append(TimedLine(len(parts), adder.price * scale, DayTable.build(hours, seasons)))
                parts[name] = np.zeros(shape)
            else:
                parts[name] = np.full(shape, adder * scale)
        stacked = np.stack(list(parts.values())) if parts else np.zeros((0, *shape))
        return tuple(parts), stacked, tuple(timed)

    def _table(self, prices: Table, path: KeyPath, seasons: Seasons, table: DayTable, scale: float) -> FloatArray:
        """Fill an array by season and period; what has no hours needs no price."""
        result = np.full((max(1, len(seasons.names)), len(table.names)), np.nan)
        if not isinstance(prices, Mapping):
            result[:] = prices
            return result * scale
        by_season = any(key in seasons.names for key in prices)
        for key, row in prices.items():
            here = (*path, key)
            if by_season and key in seasons.names:
                self._row(result[seasons.names.index(key)], row, here, table)
            elif not by_season and key in table.names:
                if isinstance(row, Mapping):
                    self.complain(here, f"`{key}` is a period, so one price is wanted", "or put the season first")
                result[:, table.names.index(key)] = 0 if isinstance(row, Mapping) else row
            else:
                known = seasons.names if by_season else (*seasons.names, *table.names)
                kind = "season" if by_season else "season or period"
                self.complain(here, f"`{key}` is not a {kind} of this sheet", f"known are {', '.join(known)}")
        self._check_complete(result, path, prices, seasons, table)
        return result * scale

    def _row(self, result: FloatArray, row: float | Mapping[str, float], path: KeyPath, table: DayTable) -> None:
        if not isinstance(row, Mapping):
            result[:] = row
            return
        for period, price in row.items():
            if period in table.names:
                result[table.names.index(period)] = price
            else:
                known = ", ".join(table.names)
                self.complain((*path, period), f"`{period}` is not a period of this sheet", f"known are {known}")

    def _check_complete(
        self, result: FloatArray, path: KeyPath, prices: Mapping[str, object], seasons: Seasons, table: DayTable
    ) -> None:
        if self._is_broken(str(path[0])):
            return
        by_season = any(season in prices for season in seasons.names)
        for position, season in enumerate(seasons.names or ("",)):
            missing = [
                table.names[code] for code in sorted(table.in_season(position)) if np.isnan(result[position, code])
            ]
            if missing:
                where = f" in {season}" if season else ""
                if table.names == (ALL_HOURS,):
                    what = f"there is no price{where}"
                    remedy = f"add `{season}:` with its price per kWh" if season else "write one number, like 0.31"
                else:
                    what = f"no price{where} for {' and '.join(f'`{name}`' for name in missing)}"
                    whole = by_season and season not in prices
                    remedy = f"add `{season if whole else missing[0]}:` with its price per kWh"
                self.complain((*path, season) if season in prices else path, what, remedy)

    def _taxes(self, terms: Terms, components: tuple[str, ...]) -> tuple[tuple[str, ...], FloatArray]:
        taxes = terms.taxes or {}
        rows: list[FloatArray] = []
        for name, tax in taxes.items():
            if name in components:
                self.complain(("taxes", name), f"`{name}` is a component already", "give the tax another name")
            earlier = tuple(taxes)[: len(rows)]
            row = np.zeros(len(components))
            for base in tax.of:
                if base in components:
                    row[components.index(base)] += 1
                elif base in earlier:
                    row += rows[earlier.index(base)]
                elif not (self._is_broken("components") or self._is_broken("adders") or self._is_broken("taxes")):
                    known = ", ".join((*components, *earlier))
                    self.complain(("taxes", name), f"`{base}` is no component, nor a tax above", f"known are {known}")
            rows.append(tax.share * (row if tax.of else np.ones(len(components))))
        return tuple(taxes), np.stack(rows) if rows else np.zeros((0, len(components)))
