"""How the charger at home may be used: forbidden hours, load control, derating, and rules about switching.

The first three come down to another limit for some time. They are laid on the wall clock minute by
minute, where everything a household says begins and ends, and given to the planner as spells.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from numpy.typing import NDArray

from chargeplan.charging import Circuit, Evse, Limit, Vehicle, current_limit_a
from chargeplan.charging.links import number_text
from chargeplan.clock import DAY_S, day_of_number, local_seconds
from chargeplan.plan.remedies import LONGEST_MIN
from chargeplan.plan.rules import ChargerRules
from chargeplan.plan.spells import Spell
from chargeplan.plan.stops import Stay
from chargeplan.tariff.windows import Window

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

#: The place at which the charger is.
HOME = "home"
NO_RULES = ChargerRules()
_DAY_MIN = DAY_S // 60
_HOT = (
    "the derating is the table as given: the maker's instructions, the local code and a licensed electrician come "
    "first, and what gets hot at a plug, cable or breaker must not be used until it has been seen to"
)
_OUTSIDE = (
    "colder than the first point of the table of `derating`, the current of that point holds; hotter than its last "
    "point, nothing is charged"
)
#: By rule: what a spell is called after, in the words of the household file. The first that sets the limit counts.
NEVER, LOAD_CONTROL, DERATING = "never", "load_control", "derating"


@dataclass(frozen=True)
class LoadControl:
    """Hours in which the EVSE is off, or held to a lower current.

    Parameters
    ----------
    window : Window
        When.
    dates : frozenset of date, optional
        On these dates only.
    current_a : float
        Highest current meanwhile; 0 for off.
    """

    window: Window
    dates: frozenset[date] | None = None
    current_a: float = 0.0


@dataclass(frozen=True, eq=False)
class HomeCharger:
    """The charger at home and how it may be used.

    Parameters
    ----------
    circuit, evse, vehicle : Circuit, Evse, Vehicle
        What sets the limit.
    timezone : str
        Whose wall clock the hours are on.
    is_holiday : callable
        Tells whether a date is a holiday.
    rules : ChargerRules
        About switching.
    never : tuple of Window
        Hours without charging.
    load_control : tuple of LoadControl
        Hours with less.
    derating_a : array, shape (1440,), optional
        Limit current in each minute of the day, before whole steps.
    derated_by : str
        What the derating goes by.
    """

    circuit: Circuit
    evse: Evse
    vehicle: Vehicle
    timezone: str
    is_holiday: Callable[[date], bool]
    rules: ChargerRules = NO_RULES
    never: tuple[Window, ...] = ()
    load_control: tuple[LoadControl, ...] = ()
    derating_a: Floats | None = None
    derated_by: str = ""

    @property
    def limits_change(self) -> bool:
        """Whether the limit is another one at some times."""
        return bool(self.never or self.load_control) or self.derating_a is not None

    def spells(self, limit: Limit, start_s: int, end_s: int) -> tuple[Spell, ...]:
        """List the times in which less than the usual limit may be drawn.

        Parameters
        ----------
        limit : Limit
            The usual limit.
        start_s, end_s : int
            From when to when, UTC seconds.

        Returns
        -------
        tuple of Spell
            In order of time, on whole minutes.
        """
        if not self.limits_change or not limit.current_a > 0:
            return ()
        minute_s = np.arange(start_s // 60, -(-end_s // 60), dtype=np.int64) * 60
        local = local_seconds(self.timezone, minute_s)
        allowed_a, because = self._allowed(local // DAY_S, local % DAY_S // 60)
        lowered = np.isfinite(allowed_a)
        steps, place = np.unique(allowed_a[lowered], return_inverse=True)
        current_a = np.full(allowed_a.size, limit.current_a)
        current_a[lowered] = np.asarray(current_limit_a(self.circuit, self.evse, self.vehicle, steps))[place]
        less = current_a < limit.current_a - 1e-9
        key = np.where(less, because * 1e6 + current_a, -1.0)
        edges = np.flatnonzero(np.diff(key)) + 1
        begin, end = np.concatenate(([0], edges)), np.append(edges, key.size)
        found = []
        for first, after in zip(begin.tolist(), end.tolist(), strict=True):
            if less[first]:
                until = int(minute_s[after - 1]) + 60
                found.append(self._spell(limit, int(minute_s[first]), until, float(current_a[first]), because[first]))
        return tuple(found)

    def _spell(self, limit: Limit, start_s: int, end_s: int, current_a: float, because: int) -> Spell:
        wall_kw = self.circuit.power_kw(current_a, limit.phases)
        gain = self.vehicle.loss(limit.level).gain(wall_kw) if wall_kw > 0 else 1.0
        return Spell(start_s, end_s, wall_kw, gain, (NEVER, LOAD_CONTROL, DERATING)[because])

    def _allowed(self, day: NDArray[np.int64], minute: NDArray[np.int64]) -> tuple[Floats, NDArray[np.int64]]:
        """Amperes allowed in each minute, infinite without a rule, and the number of the rule that sets them."""
        allowed = np.full(day.size, np.inf)
        because = np.zeros(day.size, dtype=np.int64)
        rules: list[tuple[int, Bools, Floats | float]] = []
        if self.derating_a is not None:
            rules.append((2, np.ones(day.size, dtype=bool), self.derating_a[minute]))
        for control in self.load_control:
            rules.append((1, self._within(control.window, day, minute, control.dates), control.current_a))
        for window in self.never:
            rules.append((0, self._within(window, day, minute), 0.0))
        for number, holds, amperes in rules:
            # Of equal limits the later one is named: it stands without regard to the weather.
            lower = holds & (amperes <= allowed)
            allowed = np.where(lower, amperes, allowed)
            because[lower] = number
        return allowed, because

    def _within(
        self,
        window: Window,
        day: NDArray[np.int64],
        minute: NDArray[np.int64],
        dates: frozenset[date] | None = None,
    ) -> Bools:
        """Tell for each minute whether it lies in a window."""
        first = int(day[0]) - 1
        covered = np.zeros((int(day[-1]) - first + 2, _DAY_MIN), dtype=bool)
        own, after = window.minutes()
        for number in range(covered.shape[0] - 1):
            today = day_of_number(first + number)
            if dates is not None and today not in dates:
                continue
            if window.covers_day(today.weekday(), self.is_holiday(today), None):
                for start, end in own:
                    covered[number, start:end] = True
                for start, end in after:
                    covered[number + 1, start:end] = True
        return np.asarray(covered[day - first, minute])

    def on_stays(self, limit: Limit, stays: Sequence[Stay]) -> list[Stay]:
        """Lay spells and rules on the stays at home, and spells on the week after each, to see what more time would do.

        Parameters
        ----------
        limit : Limit
            The usual limit at home.
        stays : sequence of Stay
            All stays of a plan, in order of time.

        Returns
        -------
        list of Stay
        """
        home = [stay for stay in stays if stay.place == HOME]
        if not home:
            return list(stays)
        last_s = int(home[-1].end.timestamp()) + 60 * LONGEST_MIN
        spells = self.spells(limit, int(home[0].start.timestamp()), last_s)
        starts, ends = [spell.start_s for spell in spells], [spell.end_s for spell in spells]
        found = []
        for stay in stays:
            if stay.place != HOME:
                found.append(stay)
                continue
            after = bisect_left(starts, stay.end.timestamp() + 60 * LONGEST_MIN)
            own = spells[bisect_right(ends, stay.start.timestamp()) : after]
            found.append(replace(stay, spells=own, rules=self.rules if self.rules.bind else None))
        return found

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to mind, in words."""
        if self.derating_a is None:
            return ()
        return (_HOT, _OUTSIDE) if self.derated_by == "ambient temperature" else (_HOT,)

    def words(self, stays: Sequence[Stay]) -> tuple[str, ...]:
        """Say the rules that are at work, one sentence each.

        Parameters
        ----------
        stays : sequence of Stay
            All stays of a plan.

        Returns
        -------
        tuple of str
        """
        spells = [
            spell
            for stay in stays
            for spell in stay.spells
            if spell.end_s > stay.start.timestamp() and spell.start_s < stay.end.timestamp()
        ]
        at_work = {spell.because for spell in spells}
        found = []
        if NEVER in at_work:
            found.append(f"off {'; '.join(window.text for window in self.never)} (`never`)")
        if LOAD_CONTROL in at_work:
            found += [_control_words(control, self.evse.min_a) for control in self.load_control]
        if DERATING in at_work:
            derated = [spell.wall_kw for spell in spells if spell.because == DERATING]
            found.append(f"as little as {number_text(min(derated))} kW by {self.derated_by} (`derating`)")
        rules = self.rules
        if rules.one_block:
            found.append(f"one unbroken block (`{rules.one_block_key}`)")
        elif rules.most_starts is not None:
            found.append(f"at most {rules.most_starts} starts (`most_starts`)")
        if rules.min_on_min > 0:
            found.append(f"on for at least {number_text(rules.min_on_min)} min (`min_on`)")
        if rules.min_off_min > 0 and not rules.one_block:
            found.append(f"off for at least {number_text(rules.min_off_min)} min between (`min_off`)")
        return tuple(found)


def _control_words(control: LoadControl, least_a: float) -> str:
    held = f"at most {number_text(control.current_a)} A" if control.current_a else "off"
    if 0 < control.current_a < least_a:
        held = f"off (at most {number_text(control.current_a)} A, and the EVSE stops below {number_text(least_a)} A)"
    dates = "" if control.dates is None else f" on {len(control.dates)} date{'s' if len(control.dates) > 1 else ''}"
    return f"{held} {control.window.text}{dates} (`load_control`)"
