"""What the highest power of a bill costs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date

import numpy as np

from chargeplan.clock import DAY_S, IntArray, day_of_number
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
    interval : int64 array, shape (n,)
        For each meter interval, in which of them it lies.
    hours : float
        Their length.
    """

    first: IntArray
    day: IntArray
    kw: FloatArray
    interval: IntArray
    hours: float


def powers(use: IntervalUse, version: int, interval_s: int) -> Powers:
    """Average the power of one version's intervals."""
    part, metered = use.parts[version], use.metered
    local = metered.day[part] * DAY_S + metered.minute[part] * 60
    interval_s = max(interval_s, metered.read_step_s)
    block = local // interval_s
    new = np.r_[True, (np.diff(block) != 0) | (np.diff(local) != metered.step_s)]
    first = np.flatnonzero(new)
    kwh = np.add.reduceat(metered.bought[part], first, axis=0)
    return Powers(first, metered.day[part][first], kwh * 3600.0 / interval_s, np.cumsum(new) - 1, interval_s / 3600.0)


@dataclass(frozen=True, eq=False)
class DemandPart:
    """A line in one season of one version.

    Parameters
    ----------
    version : int
        Position of the version.
    rates : Rates
        The version.
    line : DemandLine
        The line in it.
    season : int
        Position of the season in the line's table.
    days : int
        Days of the bill that lie in both.
    """

    version: int
    rates: Rates
    line: DemandLine
    season: int
    days: int

    def terms(self) -> object:
        """Give what has to be equal for two parts to be one charge."""
        line, table = self.line, self.rates.tables[self.line.table]
        limits = line.limits[self.season][np.isfinite(line.limits[self.season])]
        prices = line.price[: limits.size + 1, self.season]
        way = line.interval_s, line.mean, line.per, line.unit, line.kva_share, line.floor, self.rates.power_factor
        charged = line.charged[self.season].tobytes()
        return way, table.seasons[self.season], table.periods, prices.tobytes(), limits.tobytes(), charged


@dataclass(frozen=True, eq=False)
class DemandGroup:
    """The parts of a line that are charged as one, as if no dated change lay between them.

    Parameters
    ----------
    parts : list of DemandPart
        In the order of time.
    weight : float
        Their share of the days of the bill.
    """

    parts: list[DemandPart]
    weight: float

    @property
    def line(self) -> DemandLine:
        """The line, as it stands last."""
        return self.parts[-1].line

    @property
    def season(self) -> str:
        """Name of the season."""
        part = self.parts[-1]
        return part.rates.tables[part.line.table].seasons[part.season]

    @property
    def periods(self) -> tuple[str, ...]:
        """Names of the periods."""
        part = self.parts[-1]
        return part.rates.tables[part.line.table].periods

    @property
    def limits(self) -> FloatArray:
        """Upper limits of the tiers in kW."""
        limits = self.line.limits[self.parts[-1].season]
        return np.asarray(limits[np.isfinite(limits)])


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
    reached_kw : float
        A real power that was reached already.
    """

    timeline: Timeline
    use: Use
    days: BillDays
    known_kw: Mapping[str, float] | float | None
    power_factor: float | None
    carried: Carried
    reached_kw: float = 0.0
    _powers: dict[tuple[int, int], Powers] = field(default_factory=dict, init=False, repr=False)

    def charges(self) -> Iterator[tuple[Charge, FloatArray, str]]:
        """Yield each charge, unrounded, with the billed kW and the season it was taken in."""
        groups = list(self.groups())
        self._refuse_unknown(groups)
        labels = Counter((group.line.name, group.season) for group in groups)
        for group in groups:
            first_day = group.parts[0].rates.first_day
            dated = labels[group.line.name, group.season] > 1 and first_day > 0
            yield from self._charges(group, day_of_number(first_day).isoformat() if dated else "")

    def _refuse_unknown(self, groups: list[DemandGroup]) -> None:
        if not isinstance(self.known_kw, Mapping):
            return
        names = dict.fromkeys(group.line.name for group in groups)
        periods = {name for group in groups for name in group.periods if name not in (ALL_HOURS, APPLIES)}
        both = {f"{group.line.name} / {name}" for group in groups for name in group.periods}
        for key in self.known_kw:
            if key not in {*names, *periods, *both}:
                listed = ", ".join((*names, *sorted(periods)))
                remedy = f"known are {listed}" if listed else "it charges nothing for the highest power"
                raise InputError(f"`{key}` is no demand of this sheet; {remedy}")

    def groups(self) -> Iterator[DemandGroup]:
        """Find the lines, each once for every season and every dated change of its own terms."""
        found: dict[object, list[DemandPart]] = {}
        for version in np.unique(self.use.version):
            rates = self.timeline.versions[int(version)]
            here = self.use.version == version
            for line in rates.demand:
                calendar = rates.tables[line.table].calendar
                season = calendar.price_season(int(self.use.day[0]), int(self.use.day[-1]))[here]
                for number, count in zip(*np.unique(season, return_counts=True), strict=True):
                    part = DemandPart(int(version), rates, line, int(number), int(count))
                    found.setdefault((line.name, part.terms()), []).append(part)
        # The parts of a line stand together, in the order of the sheet.
        names = list(dict.fromkeys(parts[0].line.name for parts in found.values()))
        for parts in sorted(found.values(), key=lambda parts: names.index(parts[0].line.name)):
            yield DemandGroup(parts, sum(part.days for part in parts) / self.use.day.size)

    def _charges(self, group: DemandGroup, label: str) -> Iterator[tuple[Charge, FloatArray, str]]:
        part = group.parts[-1]
        line, number = part.line, part.season
        for period, name in enumerate(group.periods):
            if not line.charged[number, period]:
                continue
            measured = self._measured(group, period)
            if measured is None:
                continue
            billed = np.maximum(measured * self.times(group), self.least_kw(group))
            shown_name = name if name not in (ALL_HOURS, APPLIES) else ""
            limits = group.limits
            bounds = np.r_[0.0, limits, np.inf]
            for tier in range(limits.size + 1):
                kw = np.clip(billed, bounds[tier], bounds[tier + 1]) - bounds[tier]
                if tier and not kw.any():
                    continue
                price = float(line.price[tier, number, period])
                amount = price * kw * self.days.count(line.per) * group.weight
                place = line.places[number][period]
                shown = tier + 1 if limits.size else 0
                charge = Charge(
                    line.name, "demand", kw, line.unit, price, amount, shown_name, group.season, shown, place, label
                )
                yield charge, billed, group.season

    def times(self, group: DemandGroup) -> float:
        """Tell what is billed for one kW of real power."""
        part = group.parts[-1]
        return part.line.billed_per_kw(self.power_factor or part.rates.power_factor)

    def least_kw(self, group: DemandGroup) -> float:
        """Tell how much is billed at least, in the unit of the line."""
        floor = floor_kw(group.line, self.days.last, self.carried)
        return max(floor, self.reached_kw * self.times(group))

    def _measured(self, group: DemandGroup, period: int) -> FloatArray | None:
        line, name = group.line, group.periods[period]
        if self.known_kw is not None:
            if isinstance(self.known_kw, float | int):
                return np.array([float(self.known_kw)])
            for key in (f"{line.name} / {name}", line.name, name):
                if key in self.known_kw:
                    return np.array([float(self.known_kw[key])])
            if not isinstance(self.use, IntervalUse):
                given = ", ".join(self.known_kw)
                raise InputError(f"the demand of `{line.name}` is not given; given are {given}")
        if isinstance(self.use, TotalUse):
            raise InputError(f"`{line.name}` charges the highest power; give it in kW, or give the use by intervals")
        daily = self.daily_highest(group, period)
        if daily is None:
            return None
        return np.asarray(daily.mean(axis=0) if line.mean else daily.max(axis=0))

    def daily_highest(self, group: DemandGroup, period: int) -> FloatArray | None:
        """Find the highest power in a period on each day that has it; shape (days, households)."""
        highest = []
        for _, found, inside in self.measured_in(group, period):
            kw, day = found.kw[inside], found.day[inside]
            if day.size:
                highest.append(np.maximum.reduceat(kw, np.flatnonzero(np.r_[True, np.diff(day) != 0]), axis=0))
        return np.concatenate(highest) if highest else None

    def measured_in(self, group: DemandGroup, period: int) -> Iterator[tuple[DemandPart, Powers, IntArray]]:
        """Yield the powers of each part of a line, and which of them lie in a period."""
        use = self.use
        assert isinstance(use, IntervalUse)
        for part in group.parts:
            slots = use.slots(part.version)
            if slots is not None:
                key = part.version, part.line.interval_s
                found = self._powers.get(key) or self._powers.setdefault(key, powers(use, *key))
                cell = part.season * len(group.periods) + period
                yield part, found, np.flatnonzero(slots.cell(part.line.table)[found.first] == cell)


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
