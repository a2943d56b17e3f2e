"""From the price tables of a sheet to arrays over tiers, seasons and periods."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from chargeplan.reading import KeyPath
from chargeplan.tariff.complaints import Complaints
from chargeplan.tariff.line_models import LONG_FORM
from chargeplan.tariff.lines import FloatArray, PeriodTable
from chargeplan.tariff.phrases import Cell, Share, Tiers

#: Name of the only period where a sheet gives no `periods`.
ALL_HOURS = "all hours"


@dataclass(frozen=True, eq=False)
class Prices:
    """A price table as arrays.

    Parameters
    ----------
    price : float array, shape (tiers, seasons, periods)
        0 where nothing is charged.
    limits : float array, shape (seasons, tiers - 1)
        Cumulative upper limits of the tiers; infinite where a season has fewer.
    charged : bool array, shape (seasons, periods)
        Where there is a price.
    per : str
        What the limits are for; empty without tiers.
    places : tuple of tuple of str
        File and line of each price.
    """

    price: FloatArray
    limits: FloatArray
    charged: NDArray[np.bool_]
    per: str
    places: tuple[tuple[str, ...], ...]


@dataclass
class PriceReader:
    """Fills arrays from price tables, for one table of periods.

    Parameters
    ----------
    complaints : Complaints
        Where mistakes go.
    hours : PeriodTable
        The seasons and periods that the price table may name.
    occurs : list of set of int
        For each season the periods that have hours in it; these need a price.
    scale : float
        0.01 where the sheet's prices are in hundredths.
    """

    complaints: Complaints
    hours: PeriodTable
    occurs: list[set[int]]
    scale: float = 1.0

    def read(self, table: Any, path: KeyPath, complete: bool = True) -> Prices:
        """Read a price table.

        Parameters
        ----------
        table : number, Tiers, Share or mapping
            What the model holds.
        path : path
            Where it stands.
        complete : bool
            Whether every period that has hours needs a price.

        Returns
        -------
        Prices
            To be used only if nothing was complained of.
        """
        seasons, periods = self.hours.shape
        self._cells: list[list[Cell | None]] = [[None] * periods for _ in range(seasons)]
        self._paths: list[list[KeyPath]] = [[path] * periods for _ in range(seasons)]
        self._lay(table, path)
        charged = np.array([[cell is not None for cell in row] for row in self._cells])
        if complete:
            self._check_complete(charged, path, table)
        for season in range(seasons):
            self._resolve_shares(season)
        per = self._common_unit(path)
        limits = [self._limits(season) for season in range(seasons)]
        width = max(map(len, limits))
        bounds = np.array([[*row, *[np.inf] * (width - len(row))] for row in limits]).reshape(seasons, width)
        price = np.zeros((width + 1, seasons, periods))
        for season, row in enumerate(self._cells):
            for period, cell in enumerate(row):
                price[:, season, period] = _tier_prices(cell, width + 1)
        places = tuple(tuple(self.complaints.place(path) for path in row) for row in self._paths)
        return Prices(price * self.scale, bounds, charged, per, places)

    def _lay(self, table: Any, path: KeyPath) -> None:
        names, periods = self._season_names(), self.hours.periods
        if not isinstance(table, Mapping):
            for season in range(len(self._cells)):
                self._row(season, table, path)
            return
        by_season = any(key in names for key in table)
        for key, row in table.items():
            here = (*path, key)
            if by_season and key in names:
                self._row(names.index(key), row, here)
            elif not by_season and key in periods:
                if isinstance(row, Mapping):
                    self.complaints.add(here, f"`{key}` is a period, so one price is wanted", "or put the season first")
                    row = 0.0  # noqa: PLW2901 - so that nothing is said of a missing price
                for season in range(len(self._cells)):
                    self._put(season, periods.index(key), row, here)
            else:
                known = names if by_season else (*names, *periods)
                kind = "season" if by_season else "season or period"
                if self._nameless():
                    continue
                self.complaints.add(here, f"`{key}` is not a {kind} of this sheet", f"known are {', '.join(known)}")

    def _nameless(self) -> bool:
        """Tell whether nothing is known of the names of seasons or periods, because they could not be read at all."""
        return any(map(self.complaints.nameless, ("seasons", "periods")))

    def _season_names(self) -> tuple[str, ...]:
        return self.hours.seasons if self.hours.seasons != ("",) else ()

    def _row(self, season: int, row: Any, path: KeyPath) -> None:
        if not isinstance(row, Mapping):
            for period in range(len(self.hours.periods)):
                self._put(season, period, row, path)
            return
        for name, cell in row.items():
            if name in self.hours.periods:
                self._put(season, self.hours.periods.index(name), cell, (*path, name))
            elif not self._nameless():
                known = ", ".join(self.hours.periods)
                self.complaints.add((*path, name), f"`{name}` is not a period of this sheet", f"known are {known}")

    def _put(self, season: int, period: int, cell: Cell, path: KeyPath) -> None:
        self._cells[season][period] = cell
        self._paths[season][period] = path

    def _check_complete(self, charged: NDArray[np.bool_], path: KeyPath, table: Any) -> None:
        if self.complaints.is_broken(*path) or not isinstance(table, Mapping) or self._nameless():
            return
        names, periods = self._season_names(), self.hours.periods
        by_season = any(season in table for season in names)
        for position, season in enumerate(self.hours.seasons):
            missing = [periods[code] for code in sorted(self.occurs[position]) if not charged[position, code]]
            if not missing:
                continue
            where = f" in {season}" if season else ""
            if periods == (ALL_HOURS,):
                what = f"there is no price{where}"
                remedy = f"add `{season}:` with its price per kWh" if season else "write one number, like 0.31"
            else:
                what = f"no price{where} for {' and '.join(f'`{name}`' for name in missing)}"
                whole = by_season and season not in table
                remedy = f"add `{season if whole else missing[0]}:` with its price per kWh"
            self.complaints.add((*path, season) if season in table else path, what, remedy)

    def _resolve_shares(self, season: int) -> None:
        row, periods = self._cells[season], self.hours.periods
        for period, cell in enumerate(row):
            if not isinstance(cell, Share):
                continue
            base = row[periods.index(cell.of[0])] if cell.of[0] in periods else None
            if base is None or isinstance(base, Share) or cell.of[0] == periods[period]:
                known = ", ".join(
                    name
                    for name, other in zip(periods, row, strict=True)
                    if other is not None and not isinstance(other, Share)
                )
                what = f"`{cell.of[0]}` has no price here that a percentage could be taken of"
                self.complaints.add(self._paths[season][period], what, f"known are {known or 'none'}")
                row[period] = 0.0
            elif isinstance(base, Tiers):
                row[period] = Tiers(tuple(cell.share * price for price in base.prices), base.limits, base.per)
            else:
                row[period] = cell.share * base

    def _common_unit(self, path: KeyPath) -> str:
        units = {cell.per for row in self._cells for cell in row if isinstance(cell, Tiers)}
        if len(units) > 1:
            self.complaints.add(path, f"limits are per {' and per '.join(sorted(units))}", "use one for all of a line")
        return min(units) if units else ""

    def _limits(self, season: int) -> tuple[float, ...]:
        longest: tuple[float, ...] = ()
        for cell in self._cells[season]:
            if isinstance(cell, Tiers) and len(cell.limits) > len(longest):
                longest = cell.limits
        for cell, path in zip(self._cells[season], self._paths[season], strict=True):
            if isinstance(cell, Tiers) and cell.limits != longest[: len(cell.limits)]:
                what = f"limits {_written(cell.limits)} here and {_written(longest)} elsewhere in the same season"
                self.complaints.add(path, what, "one total over all periods decides the tier, so state the same limits")
        return longest


def _tier_prices(cell: Cell | None, count: int) -> FloatArray:
    if isinstance(cell, Tiers):
        return np.array([*cell.prices, *[cell.prices[-1]] * (count - len(cell.prices))])
    return np.full(count, cell if isinstance(cell, float | int) else 0.0)


def _written(limits: tuple[float, ...]) -> str:
    return " and ".join(f"{limit:g}" for limit in limits)


def is_reserved(name: str) -> bool:
    """Tell whether a name cannot be one of a season, period or line."""
    return name in LONG_FORM
