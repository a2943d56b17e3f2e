"""What the highest power of a bill costs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from chargeplan.clock import DAY_S, IntArray
from chargeplan.errors import InputError
from chargeplan.tariff.bill import Carried
from chargeplan.tariff.bill_days import BillDays, add_months
from chargeplan.tariff.charge import Charge
from chargeplan.tariff.energy_lines import APPLIES
from chargeplan.tariff.lines import DemandLine, FloatArray
from chargeplan.tariff.price_arrays import ALL_HOURS
from chargeplan.tariff.rates import Rates
from chargeplan.tariff.timeline import Timeline
from chargeplan.tariff.usage import IntervalUse, TotalUse, Use


@dataclass(frozen=True, eq=False)
class Powers:
    """Mean power over clock-aligned intervals.

    Parameters
    ----------
    first : int64 array, shape (m,)
        Position of the first meter interval of each.
    day : int64 array, shape (m,)
        Local day number.
    kw : float array, shape (m, households)
        Mean power.
    """

    first: IntArray
    day: IntArray
    kw: FloatArray


def powers(use: IntervalUse, version: int, interval_s: int) -> Powers:
    """Average the power of one version's intervals."""
    part, metered = use.parts[version], use.metered
    local = metered.day[part] * DAY_S + metered.minute[part] * 60
    interval_s = max(interval_s, metered.read_step_s)
    block = local // interval_s
    new = np.r_[True, (np.diff(block) != 0) | (np.diff(local) != metered.step_s)]
    first = np.flatnonzero(new)
    kwh = np.add.reduceat(metered.bought[part], first, axis=0)
    return Powers(first, metered.day[part][first], kwh * 3600.0 / interval_s)


@dataclass(frozen=True, eq=False)
class Demands:
    """The demand lines of a bill: known demands, power factor, the past.

    Parameters
    ----------
    timeline : Timeline
        The versions.
    use : Use
        The energy.
    days : BillDays
        The days.
    known_kw : mapping of name to float, or float, or None
        Demands that were given in place of intervals.
    power_factor : float or None
        In place of the sheet's.
    carried : Carried
        What earlier bills left.
    """

    timeline: Timeline
    use: Use
    days: BillDays
    known_kw: Mapping[str, float] | float | None
    power_factor: float | None
    carried: Carried

    def charges(self) -> Iterator[tuple[Charge, FloatArray, str]]:
        """Yield each charge, unrounded, with the billed kW and the season it was taken in."""
        for version in np.unique(self.use.version):
            rates = self.timeline.versions[int(version)]
            for line in rates.demand:
                yield from self._line(int(version), rates, line)

    def _line(self, version: int, rates: Rates, line: DemandLine) -> Iterator[tuple[Charge, FloatArray, str]]:
        table = rates.tables[line.table]
        here = self.use.version == version
        season = table.calendar.price_season(int(self.use.day[0]), int(self.use.day[-1]))[here]
        numbers, counts = np.unique(season, return_counts=True)
        for number, count in zip(numbers, counts, strict=True):
            weight = count / self.use.day.size
            for period, name in enumerate(table.periods):
                if not line.charged[number, period]:
                    continue
                measured = self._measured(version, line, int(number), period, name)
                if measured is None:
                    continue
                billed = self._billed(line, measured, rates)
                label = name if name not in (ALL_HOURS, APPLIES) else ""
                limits = line.limits[number][np.isfinite(line.limits[number])]
                bounds = np.r_[0.0, limits, np.inf]
                for tier in range(limits.size + 1):
                    kw = np.clip(billed, bounds[tier], bounds[tier + 1]) - bounds[tier]
                    if tier and not kw.any():
                        continue
                    price = float(line.price[tier, number, period])
                    amount = price * kw * self.days.count(line.per) * weight
                    place = line.places[number][period]
                    shown = tier + 1 if limits.size else 0
                    season_name = table.seasons[number]
                    charge = Charge(line.name, "demand", kw, line.unit, price, amount, label, season_name, shown, place)
                    yield charge, billed, season_name

    def _measured(self, version: int, line: DemandLine, season: int, period: int, name: str) -> FloatArray | None:
        if self.known_kw is not None:
            if isinstance(self.known_kw, float | int):
                return np.array([float(self.known_kw)])
            for key in (f"{line.name} / {name}", line.name, name):
                if key in self.known_kw:
                    return np.array([float(self.known_kw[key])])
            if not isinstance(self.use, IntervalUse):
                known = ", ".join(self.known_kw)
                raise InputError(f"the demand of `{line.name}` is not given; known are {known}")
        if isinstance(self.use, TotalUse):
            raise InputError(f"`{line.name}` charges the highest power; give it in kW, or give the use by intervals")
        return self._highest(version, line, season, period)

    def _highest(self, version: int, line: DemandLine, season: int, period: int) -> FloatArray | None:
        use = self.use
        assert isinstance(use, IntervalUse)
        slots = use.slots(version)
        if slots is None:
            return None
        found = powers(use, version, line.interval_s)
        periods = len(self.timeline.versions[version].tables[line.table].periods)
        inside = slots.cell(line.table)[found.first] == season * periods + period
        if not inside.any():
            return None
        kw, day = found.kw[inside], found.day[inside]
        if not line.mean:
            return np.asarray(kw.max(axis=0))
        first = np.flatnonzero(np.r_[True, np.diff(day) != 0])
        return np.asarray(np.maximum.reduceat(kw, first, axis=0).mean(axis=0))

    def _billed(self, line: DemandLine, kw: FloatArray, rates: Rates) -> FloatArray:
        times = line.billed_per_kw(self.power_factor or rates.power_factor)
        return np.maximum(kw * times, floor_kw(line, self.days.last, self.carried))


def floor_kw(line: DemandLine, last: date, carried: Carried) -> float:
    """Work out the least demand that is billed, from the bills of the past."""
    if line.floor is None:
        return 0.0
    if not line.floor.share:
        return line.floor.kw
    since = add_months(last, -line.floor.months)
    past = [
        kw
        for day, season, kw in carried.demand_kw.get(line.name, ())
        if since <= day < last and line.floor.season in ("", season)
    ]
    return line.floor.share * max(past, default=0.0)
