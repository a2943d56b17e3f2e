"""The answer: energy per slot, charging windows, departures, cost, and its proof."""

from __future__ import annotations

import html
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, tzinfo
from functools import cached_property
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from chargeplan.plan.certificate import Certificate, accepted_kwh, certify
from chargeplan.plan.problem import Floats, Ints, Problem, problem_from
from chargeplan.plan.reach import Reach, reach
from chargeplan.plan.remedies import Fix, find_fix
from chargeplan.plan.rule_proof import certify_ruled
from chargeplan.plan.ruled import Ruled, overlap_h, reached
from chargeplan.plan.solvers import solve
from chargeplan.plan.stops import Itinerary
from chargeplan.plan.unmanaged import Unmanaged, by_timer, on_plug_in
from chargeplan.plan.windows import OFF_KWH, Window, blocks

if TYPE_CHECKING:
    import pandas as pd

#: A current that is lower by no more than this is the same.
_FALLS_A = 0.05


@dataclass(frozen=True)
class Departure:
    """How the car leaves one stay.

    Parameters
    ----------
    stay : int
        Number of the stay, from 0.
    place : str
        Where.
    time : datetime
        Departure.
    level_kwh, need_kwh, shortfall_kwh : float
        Battery energy, what was wanted (target, and enough for the drive and the floor), and what
        is missing.
    unserved_kwh : float
        Energy the drive after it needs beyond what the battery holds.
    """

    stay: int
    place: str
    time: datetime
    level_kwh: float
    need_kwh: float
    shortfall_kwh: float
    unserved_kwh: float


@dataclass(frozen=True, eq=False, repr=False)
class Schedule:
    """A plan, checked. All arrays have one value per plugged-in slot and cannot be written.

    Parameters
    ----------
    itinerary, problem : Itinerary, Problem
        What was asked.
    best : Reach
        Highest trajectory and repaired needs; under a charger's rules those of the plan itself.
    wall_kwh, battery_kwh, level_kwh : array, shape (n,)
        Energy drawn for charging, energy gained, and battery level at the end of each slot.
    certificate : Certificate
        The proof.
    method, tie_break : str
        How the plan was found, and which of the cheapest it is.
    ruled : Ruled or None
        The blocks of charging, where the charger has rules.
    """

    itinerary: Itinerary
    problem: Problem
    best: Reach
    wall_kwh: Floats
    battery_kwh: Floats
    level_kwh: Floats
    certificate: Certificate
    method: str
    tie_break: str
    ruled: Ruled | None = None

    @property
    def whole_bill(self) -> bool:
        """Whether the cost is what a whole bill rises by, and not energy at prices by the hour."""
        return False

    @property
    def because(self) -> str:
        """Why it was planned by the price of one more kWh although a whole bill is known; else empty."""
        return ""

    @property
    def in_parts(self) -> bool:
        """Whether it charges for parts of several slots of which the bill charges the mean power."""
        return False

    @property
    def steady_cost(self) -> float | None:
        """What it would cost without charging for parts of such slots, where that is much more."""
        return None

    @property
    def slowly(self) -> bool:
        """Whether it charges with less current because the bill charges the mean power."""
        return False

    @property
    def start_s(self) -> Ints:
        """Start of each slot, UTC seconds."""
        return self.problem.start_s

    @property
    def hours(self) -> Floats:
        """Plugged-in length of each slot."""
        return self.problem.hours

    @property
    def stay(self) -> Ints:
        """Number of the stay of each slot."""
        return self.problem.stay

    @property
    def price_per_kwh(self) -> Floats:
        """Price of each slot."""
        return self.problem.price_per_kwh

    @cached_property
    def preconditioning_kwh(self) -> Floats:
        """Wall energy drawn in each slot for preconditioning; it comes on top of `wall_kwh`."""
        return _locked(preconditioning_kwh(self.itinerary, self.problem))

    @property
    def drawn_kwh(self) -> Floats:
        """Energy drawn from the wall in each slot, for charging and for preconditioning."""
        return self.wall_kwh + self.preconditioning_kwh

    @cached_property
    def cost(self) -> Floats:
        """Cost of each slot, that of preconditioning included."""
        return _locked(self.drawn_kwh * self.problem.price_per_kwh)

    @cached_property
    def run_hours(self) -> Floats:
        """How long charging runs in each slot: at the limit, or at what the taper accepts."""
        level = self.level_kwh
        accepted = accepted_kwh(self.problem, level - self.battery_kwh, level)
        share = np.divide(self.battery_kwh, accepted, out=np.zeros_like(level), where=self.wall_kwh > OFF_KWH)
        return _locked(np.minimum(share, 1.0) * self.problem.hours)

    @cached_property
    def current_a(self) -> Floats:
        """Current while charging in each slot; 0 when off, NaN where a stay gives no current."""
        stays = self.itinerary.stays
        limit = np.array([np.nan if stay.current_a is None else stay.current_a for stay in stays])[self.stay]
        # Where a spell lowers the limit, the current is as much lower as the power.
        whole_kw = np.array([stay.wall_kw for stay in stays])[self.stay]
        kw = np.divide(self.problem.max_kwh, self.hours)
        part = np.divide(kw, whole_kw, out=np.ones_like(kw), where=whole_kw > 0)
        limit = np.where(np.abs(part - 1) < 1e-9, limit, np.round(limit * part, 9))
        level = self.level_kwh
        accepted = accepted_kwh(self.problem, level - self.battery_kwh, level)
        most = self.problem.max_battery_kwh
        share = np.divide(accepted, most, out=np.zeros_like(level), where=most > 0)
        return _locked(np.where(self.wall_kwh > OFF_KWH, limit * share, 0.0))

    @property
    def total_cost(self) -> float:
        """Cost of the whole plan."""
        return self.certificate.cost

    @property
    def total_wall_kwh(self) -> float:
        """Energy drawn from the wall, for charging and for preconditioning."""
        return float(self.drawn_kwh.sum())

    @property
    def preconditioning_cost(self) -> float:
        """Cost of what preconditioning draws from the wall."""
        return float(self.preconditioning_kwh @ self.problem.price_per_kwh)

    @property
    def total_battery_kwh(self) -> float:
        """Energy gained by the battery."""
        return float(self.battery_kwh.sum())

    @property
    def status(self) -> str:
        """The outcome of the proof in words."""
        return self.certificate.words

    @property
    def zone(self) -> tzinfo:
        """Time zone of the first arrival."""
        return self.itinerary.stays[0].start.tzinfo or UTC

    @cached_property
    def windows(self) -> tuple[Window, ...]:
        """Uninterrupted charging blocks in order of time, one for each current that the charger's rules set."""
        windows = []
        charging = self.wall_kwh * self.problem.price_per_kwh
        for first, last, start_s, end_s, share in self._blocks():
            here = slice(first, last + 1)
            stay = self.itinerary.stays[int(self.stay[first])]
            current, last_a = float(self.current_a[here].max()), float(self.current_a[last])
            falls = self.problem.taper.size and last_a < current - _FALLS_A
            windows.append(
                Window(
                    stay=int(self.stay[first]),
                    place=stay.place,
                    start=datetime.fromtimestamp(start_s, stay.start.tzinfo),
                    end=datetime.fromtimestamp(end_s, stay.start.tzinfo),
                    current_a=None if np.isnan(current) else current,
                    wall_kwh=float((self.wall_kwh[here] * share).sum()),
                    battery_kwh=float((self.battery_kwh[here] * share).sum()),
                    cost=float((charging[here] * share).sum()),
                    falls_to_a=last_a if falls else None,
                )
            )
        return tuple(windows)

    def _blocks(self) -> Iterator[tuple[int, int, float, float, Floats]]:
        """Give each block, cut where a rule of the charger sets another limit: that is another current to set."""
        kw = np.divide(self.problem.max_kwh, self.hours)
        for first, last, start_s, end_s, share in self._whole_blocks():
            turns = np.flatnonzero(np.abs(np.diff(kw[first : last + 1])) > 1e-6 * (1 + kw[first:last])) + 1
            edges = [0, *turns.tolist(), last + 1 - first]
            times = [start_s, *(float(self.start_s[first + turn]) for turn in turns.tolist()), end_s]
            for number, (begin, end) in enumerate(pairwise(edges)):
                yield first + begin, first + end - 1, times[number], times[number + 1], share[begin:end]

    def _whole_blocks(self) -> Iterator[tuple[int, int, float, float, Floats]]:
        """Give each block: first and last slot, exact start and end, and its share of what each slot charges."""
        if self.ruled is None:
            found = blocks(self.problem, self.run_hours, self.best.forced_kwh, latest=self.tie_break == "latest")
            columns = (found.first.tolist(), found.last.tolist(), found.start_s.tolist(), found.end_s.tolist())
            for first, last, start_s, end_s in zip(*columns, strict=True):
                yield first, last, start_s, end_s, np.ones(last + 1 - first)
            return
        ruled = self.ruled
        runs = [overlap_h(self.problem, *block) for block in zip(ruled.start_s, ruled.end_s, ruled.stay, strict=True)]
        together = np.sum(runs, axis=0) if runs else np.zeros(self.problem.slots)
        for start_s, end_s, hours in zip(ruled.start_s.tolist(), ruled.end_s.tolist(), runs, strict=True):
            used = np.flatnonzero(hours > 1e-9)
            here = slice(int(used[0]), int(used[-1]) + 1)
            share = np.divide(hours[here], together[here], out=np.zeros(used[-1] + 1 - used[0]), where=hours[here] > 0)
            yield here.start, here.stop - 1, start_s, end_s, share

    @cached_property
    def departures(self) -> tuple[Departure, ...]:
        """Level, need and shortfall at each departure, after what preconditioning took from the battery."""
        drained = np.array([stay.drained_kwh for stay in self.itinerary.stays])
        level = self.level_kwh[self.problem.last]
        short = np.maximum(self.problem.wanted_kwh - level, 0.0)
        level = np.maximum(level - drained, 0.0)
        short[short <= 1e-6] = 0.0
        return tuple(
            Departure(
                stay=number,
                place=stay.place,
                time=stay.end,
                level_kwh=float(level[number]),
                need_kwh=float(self.problem.wanted_kwh[number] - drained[number]),
                shortfall_kwh=float(short[number]),
                unserved_kwh=float(self.best.unserved_kwh[number]),
            )
            for number, stay in enumerate(self.itinerary.stays)
        )

    @cached_property
    def fixes(self) -> tuple[Fix, ...]:
        """For each shortfall, the least change of that stay that makes its target reachable."""
        step_min = self.problem.step_s // 60
        return tuple(
            find_fix(
                self.itinerary,
                departure.stay,
                float(self.best.arrival_kwh[departure.stay]),
                departure.shortfall_kwh,
                step_min,
            )
            for departure in self.departures
            if departure.shortfall_kwh > 0
        )

    @cached_property
    def on_plug_in(self) -> Unmanaged:
        """The same levels by charging at once on plug-in."""
        departing = self.level_kwh[self.problem.last]
        return on_plug_in(self.problem, departing, self.total_cost, anyway=self.preconditioning_cost)

    @cached_property
    def by_timer(self) -> Unmanaged:
        """The same levels, as far as they get, by a timer set to the cheapest price."""
        departing = self.level_kwh[self.problem.last]
        return by_timer(self.problem, departing, self.total_cost, anyway=self.preconditioning_cost)

    def table(self) -> pd.DataFrame:
        """Make a pandas table with a row per slot, indexed by its start in the zone of the first arrival."""
        import pandas as pd

        index = pd.DatetimeIndex(self.start_s.astype("datetime64[s]"), name="start").tz_localize("UTC")
        columns: dict[str, Any] = {
            "place": np.array([stay.place for stay in self.itinerary.stays], dtype=object)[self.stay],
            "stay": self.stay,
            "hours": self.hours,
            "price_per_kwh": self.price_per_kwh,
            "wall_kwh": self.drawn_kwh,
            "battery_kwh": self.battery_kwh,
            "current_a": self.current_a,
            "cost": self.cost,
            "level_kwh": self.level_kwh,
            "preconditioning_kwh": self.preconditioning_kwh,
        }
        return pd.DataFrame(
            {name: np.array(values) for name, values in columns.items()}, index=index.tz_convert(self.zone)
        )

    def __repr__(self) -> str:
        return f"Schedule({self.total_wall_kwh:.2f} kWh for {self.total_cost:.2f}, {self.status})"

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{html.escape(window.place)}</td><td>{window.start:%a %d %b %H:%M}</td>"
            f"<td>{window.end:%a %d %b %H:%M}</td><td>{window.wall_kwh:.2f}</td><td>{window.cost:.2f}</td></tr>"
            for window in self.windows
        )
        summary = f"{self.total_wall_kwh:.2f} kWh for {self.total_cost:.2f}, {self.status} ({self.method})"
        short = sum(departure.shortfall_kwh for departure in self.departures)
        if short > 0:
            summary += f"; {short:.2f} kWh short"
        head = "<tr><th>place</th><th>start</th><th>end</th><th>wall kWh</th><th>cost</th></tr>"
        return f"<p>{html.escape(summary)}</p><table>{head}{rows}</table>"


def preconditioning_kwh(itinerary: Itinerary, problem: Problem) -> Floats:
    """Add up what preconditioning draws from the wall in each slot, shape (n,).

    Parameters
    ----------
    itinerary : Itinerary
        The stays.
    problem : Problem
        The slots that were made of it.
    """
    found = np.zeros(problem.slots)
    for number, stay in enumerate(itinerary.stays):
        if stay.preconditioning is not None:
            here = slice(int(problem.first[number]), int(problem.last[number]) + 1)
            found[here] = stay.preconditioning.drawn_kwh(stay.limits, problem.start_s[here], problem.hours[here])
    return found


def _locked(values: Floats) -> Floats:
    values.flags.writeable = False
    return values


def plan(
    itinerary: Itinerary,
    *,
    step_min: int = 15,
    solver: str = "auto",
    tie_break: str = "earliest",
    time_limit_s: float = 60.0,
) -> Schedule:
    """Plan the cheapest charging that leaves the least shortfall at departures.

    Parameters
    ----------
    itinerary : Itinerary
        Stays, drives and battery.
    step_min : int
        Slot length in minutes, a divisor of 60.
    solver : str
        See `chargeplan.plan.solvers.solve`.
    tie_break : {"earliest", "as needed", "latest", "fewest starts"}
        Which of equally cheap plans.
    time_limit_s : float
        For searches by a mixed-integer program.

    Returns
    -------
    Schedule
        With its certificate. Whether it is proven optimal is said by ``status``.

    Raises
    ------
    InputError
        If an input is out of range or a name is misspelled.
    SolverError
        If a solver ends without an answer that can be trusted.

    Examples
    --------
    >>> from datetime import datetime, timezone
    >>> from chargeplan.plan.stops import Stay
    >>> stay = Stay("home", datetime(2026, 1, 5, 18, 37, tzinfo=timezone.utc),
    ...             datetime(2026, 1, 6, 7, 0, tzinfo=timezone.utc), wall_kw=7.2, gain=0.9, need_kwh=40,
    ...             price_per_kwh=lambda start_s, step_s: 0.3 - 0.2 * (start_s % 86400 < 6 * 3600))
    >>> schedule = plan(Itinerary(level_kwh=22, capacity_kwh=60, stays=[stay]))
    >>> [(f"{w.start:%H:%M:%S}", f"{w.end:%H:%M:%S}", round(w.cost, 2)) for w in schedule.windows]
    [('00:00:00', '02:46:40', 2.0)]
    >>> schedule.status, round(schedule.on_plug_in.saving, 2)
    ('proven optimal', 4.0)
    """
    problem = problem_from(itinerary, step_min)
    best = reach(problem)
    solution = solve(problem, solver, tie_break, best=best, time_limit_s=time_limit_s)
    highest, ruled = best, solution.ruled
    if ruled is not None:
        best = reached(problem, solution.battery_kwh)
    level = problem.levels(solution.battery_kwh, best.served_kwh)
    if ruled is not None:
        certificate = certify_ruled(problem, solution.wall_kwh, ruled, highest, level_kwh=level)
    else:
        certificate = certify(problem, solution.wall_kwh, level_kwh=level, row_duals=solution.row_duals, best=best)
    certificate = certificate.dearer(float(preconditioning_kwh(itinerary, problem) @ problem.price_per_kwh))
    for values in (problem.start_s, problem.hours, problem.stay, problem.price_per_kwh):
        values.flags.writeable = False
    return Schedule(
        itinerary=itinerary,
        problem=problem,
        best=best,
        wall_kwh=_locked(solution.wall_kwh),
        battery_kwh=_locked(solution.battery_kwh),
        level_kwh=_locked(level),
        certificate=certificate,
        method=solution.method,
        tie_break=solution.tie_break,
        ruled=ruled,
    )
