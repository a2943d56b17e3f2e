"""The shared answer: currents, energies and levels of every car, what is missing, which limits bind, and the proof."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from chargeplan.charging.other_load import OtherLoad
from chargeplan.charging.panel import PowerTree
from chargeplan.clock import zone as zone_of
from chargeplan.plan.problem import Floats, Ints
from chargeplan.plan.shared.alone import cut_to_alone
from chargeplan.plan.shared.car import SharedCar
from chargeplan.plan.shared.certificate import FEASIBLE_A, SharedCertificate, certify_shared, node_currents_a
from chargeplan.plan.shared.laying import lay_out
from chargeplan.plan.shared.problem import CRUMB_KWH, SharedProblem
from chargeplan.plan.shared.search import solve_shared

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class SharedDeparture:
    """How one car leaves one stay.

    Parameters
    ----------
    car, stay : int
        Number of the car and of its stay, from 0.
    name : str
        Name of the car.
    time : datetime
        Departure, in UTC.
    level_kwh, need_kwh : float
        Battery energy, and what was wanted (target, and enough for the drive and the floor).
    shortfall_kwh : float
        What is missing of that.
    alone_shortfall_kwh : float
        What would be missing if the car were alone on the tree, so that no sharing could give it.
    relative_shortfall : float
        The rest of the shortfall over the energy that the car wanted until then; see `plan_shared`.
    """

    car: int
    stay: int
    name: str
    time: datetime
    level_kwh: float
    need_kwh: float
    shortfall_kwh: float
    alone_shortfall_kwh: float
    relative_shortfall: float


@dataclass(frozen=True, eq=False, repr=False)
class SharedPlan:
    """A plan for several cars, checked. Arrays cannot be written.

    Parameters
    ----------
    problem : SharedProblem
        What was asked.
    piece_a : array, shape (n,)
        Current of every plugged-in slot, one car after the other.
    certificate : SharedCertificate
        The proof.
    method : str
        How the plan was found, in words.
    searched : bool
        Whether a mixed-integer search came to its end with all cars free: then no plan is better, although the
        bound of the linear program, which knows no minimum current, may leave a gap.
    """

    problem: SharedProblem
    piece_a: Floats
    certificate: SharedCertificate
    method: str
    searched: bool

    @property
    def start_s(self) -> Ints:
        """Start of each slot, UTC seconds, shape (slots,)."""
        return self.problem.grid_s

    @property
    def names(self) -> tuple[str, ...]:
        """Name of each car, or its number from 1."""
        return tuple(car.name or f"car {number}" for number, car in enumerate(self.problem.cars, 1))

    @cached_property
    def current_a(self) -> Floats:
        """Current of each car in each slot, shape (cars, slots): the highest of its pieces, 0 where it is away."""
        current = self._empty(0.0)
        np.maximum.at(current, (self.problem.car, self.problem.slot), self.piece_a)
        return _locked(current)

    @cached_property
    def wall_kwh(self) -> Floats:
        """Energy drawn by each car in each slot, shape (cars, slots)."""
        return _locked(self._sums(self.piece_a * self.problem.kwh_per_a))

    @cached_property
    def battery_kwh(self) -> Floats:
        """Energy gained by each battery in each slot, shape (cars, slots)."""
        return _locked(self._sums(self.piece_a * self.problem.battery_per_a))

    @cached_property
    def cost(self) -> Floats:
        """Cost of each car in each slot, shape (cars, slots)."""
        return _locked(self._sums(self.piece_a * self.problem.kwh_per_a * self.problem.price_per_kwh))

    @cached_property
    def level_kwh(self) -> Floats:
        """Battery level at the end of each slot, shape (cars, slots); NaN where the car is not plugged in."""
        level = self._empty(np.nan)
        level[self.problem.car, self.problem.slot] = self._levels  # of several pieces the last stays
        return _locked(level)

    @cached_property
    def _levels(self) -> Floats:
        return self.problem.levels(self.piece_a * self.problem.battery_per_a)

    @property
    def total_cost(self) -> float:
        """Cost of the whole plan."""
        return self.certificate.cost

    @property
    def status(self) -> str:
        """The outcome of the proof in words."""
        if self.searched and self.certificate.feasible and not self.certificate.optimal:
            return f"best by a search that came to its end; by the linear program alone, {self.certificate.words}"
        return self.certificate.words

    @cached_property
    def departures(self) -> tuple[SharedDeparture, ...]:
        """Level, need and shortfall at each departure, one car after the other."""
        problem = self.problem
        level = self._levels[problem.last]
        relative = problem.relative_shortfall(problem.shortfall_kwh(self._levels))
        found = []
        for stay, last in enumerate(problem.last.tolist()):
            car = int(problem.car_of_stay[stay])
            own = problem.cars[car].problem
            inside = last - int(np.searchsorted(problem.car, car))
            wanted = float(problem.wanted_kwh[stay])
            end_s = float(own.start_s[inside]) + 3600 * float(own.hours[inside])
            found.append(
                SharedDeparture(
                    car=car,
                    stay=int(own.stay[inside]),
                    name=self.names[car],
                    time=datetime.fromtimestamp(round(end_s), UTC),
                    level_kwh=float(level[stay]),
                    need_kwh=wanted,
                    shortfall_kwh=_no_crumbs(wanted - float(level[stay])),
                    alone_shortfall_kwh=_no_crumbs(wanted - float(problem.need_kwh[stay])),
                    relative_shortfall=float(relative[stay]),
                )
            )
        return tuple(found)

    @cached_property
    def shortfall_kwh(self) -> Floats:
        """Sum of the shortfalls of each car, shape (cars,)."""
        found = np.zeros(len(self.names))
        for departure in self.departures:
            found[departure.car] += departure.shortfall_kwh
        return _locked(found)

    @cached_property
    def node_a(self) -> Floats:
        """Current into cars at each node, shape (nodes, slots, phases)."""
        return _locked(node_currents_a(self.problem, self.piece_a))

    @cached_property
    def binding(self) -> NDArray[np.bool_]:
        """Whether a limit is used up while a car below it could take more, shape (nodes, slots, phases)."""
        problem = self.problem
        own = np.concatenate([car.problem.max_kwh for car in problem.cars])
        could = np.divide(own, problem.kwh_per_a, out=np.zeros(own.size), where=problem.kwh_per_a > 0)
        full = self.node_a >= problem.left_a - FEASIBLE_A
        return full & (node_currents_a(problem, could) > self.node_a + FEASIBLE_A)

    def table(self, zone: str = "UTC") -> pd.DataFrame:
        """Make a pandas table with a row per plugged-in slot and car.

        Parameters
        ----------
        zone : str
            Time zone of the index.

        Returns
        -------
        pandas.DataFrame
            Indexed by start and car, with the current, energies, cost and level.
        """
        import pandas as pd

        plugged = ~np.isnan(self.level_kwh)
        car, slot = np.nonzero(plugged)
        order = np.lexsort((car, slot))
        car, slot = car[order], slot[order]
        start = pd.DatetimeIndex(self.start_s[slot].astype("datetime64[s]")).tz_localize("UTC")
        index = pd.MultiIndex.from_arrays(
            [start.tz_convert(zone_of(zone)), np.array(self.names, dtype=object)[car]], names=["start", "car"]
        )
        columns = ("current_a", "wall_kwh", "battery_kwh", "cost", "level_kwh")
        return pd.DataFrame({name: getattr(self, name)[car, slot] for name in columns}, index=index)

    def binding_table(self, zone: str = "UTC") -> pd.DataFrame:
        """Make a pandas table of the limits that are used up while a car below could take more.

        Parameters
        ----------
        zone : str
            Time zone of the index.

        Returns
        -------
        pandas.DataFrame
            Indexed by start, with the node, its phase, and the amperes that were left for cars.
        """
        import pandas as pd

        slot, node, phase = np.nonzero(self.binding.transpose(1, 0, 2))
        start = pd.DatetimeIndex(self.start_s[slot].astype("datetime64[s]"), name="start").tz_localize("UTC")
        tree = self.problem.tree
        names = [] if tree is None else [each.name for each in tree.nodes]
        columns = {
            "node": np.array(names, dtype=object)[node],
            "phase": phase + 1,
            "left_a": self.problem.left_a[node, slot, phase],
        }
        return pd.DataFrame(columns, index=start.tz_convert(zone_of(zone)))

    def _empty(self, value: float) -> Floats:
        return np.full((len(self.problem.cars), self.problem.grid_s.size), value)

    def _sums(self, values: Floats) -> Floats:
        sums = self._empty(0.0)
        np.add.at(sums, (self.problem.car, self.problem.slot), values)
        return sums

    def __repr__(self) -> str:
        short = float(self.shortfall_kwh.sum())
        missing = f", {short:.2f} kWh short" if short > 0 else ""
        return (
            f"SharedPlan({len(self.names)} cars, {self.wall_kwh.sum():.2f} kWh for {self.total_cost:.2f}"
            f"{missing}, {self.status})"
        )


def _no_crumbs(missing_kwh: float) -> float:
    return missing_kwh if missing_kwh > CRUMB_KWH else 0.0


def _locked(values: Floats) -> Floats:
    values.flags.writeable = False
    return values


def plan_shared(
    cars: Sequence[SharedCar],
    tree: PowerTree | None = None,
    loads: Sequence[OtherLoad] = (),
    *,
    solver: str = "auto",
    time_limit_s: float = 10.0,
) -> SharedPlan:
    """Plan several cars on one tree of limits.

    Parameters
    ----------
    cars : sequence of SharedCar
        Each with its own stays, prices and battery, all on one grid of slots.
    tree : PowerTree, optional
        The limits they share; without it each car is limited by its own only.
    loads : sequence of OtherLoad
        What else runs, with a value per slot of `shared_grid_s`. Cars take what is left.
    solver : str
        "auto" or "highs", or "pulp:CBC", or "pulp:" and another solver that PuLP drives.
    time_limit_s : float
        For the mixed-integer search, which is only needed where a current would lie below the minimum or off a
        step, or a rule about switching would be broken. When it is over, the best plan so far is given, with its
        gap. Where a car with such rules or a taper falls short, as much again is spent on what it could have alone,
        and on a plan for all that knows it.

    Returns
    -------
    SharedPlan
        With its certificate, in which every gap is stated.

    Raises
    ------
    InputError
        If an input is out of range, or names a node or phase that is not there.
    SolverError
        If the solver ends without an answer that can be trusted.

    Notes
    -----
    What is best is decided by goals in this order; a later one never worsens an earlier one.

    1. *The floors.* Below its floor a car charges at once: least sum, over slots, of what is missing to the
       floors.
    2. *Nobody is left behind.* The relative shortfall of a departure is what is missing there of the level the
       car could have if it were alone, over the energy it would have had to charge until then. It is 0
       where the need is met and 1 where a car that had to charge got nothing. The largest is made
       as small as possible. A wish that the car could not reach even alone is cut first, so that asking for
       more than can be had takes nothing from others.
    3. *Little is missing.* Least sum of the shortfalls in kWh.
    4. *The cost.*
    5. *Early.* Least sum of battery energy x number of the slot, in which the first car weighs half as much again
       as the last would, so that they are served one after the other rather than by turns; late for those that
       prefer it. With a minimum current, steps or rules that had to be searched for, looked for briefly in plans of
       few slots, and else among those that charge in the same slots.

    Examples
    --------
    >>> from chargeplan.charging.panel import Node
    >>> from chargeplan.plan.problem import night
    >>> tree = PowerTree([Node("panel", 40), Node("left", 32, "panel"), Node("right", 32, "panel")])
    >>> price = [0.3, 0.1, 0.1, 0.2]
    >>> cars = [SharedCar(night(price, 7.68, 3.6, step_min=60), 0.24, node) for node in ("left", "right")]
    >>> shared = plan_shared(cars, tree, [OtherLoad("panel", [0, 20, 20, 0])])
    >>> shared.current_a.round(6).tolist(), shared.status
    ([[0.0, 9.0, 6.0, 0.0], [0.0, 9.0, 6.0, 0.0]], 'proven optimal')
    """
    problem = lay_out(cars, tree, loads)
    solution = solve_shared(problem, solver, time_limit_s)
    cut = cut_to_alone(problem, solution.current_a, tree, loads, solver=solver, time_limit_s=time_limit_s)
    if cut is not problem:
        problem, solution = cut, solve_shared(cut, solver, time_limit_s)
    current = _locked(solution.current_a)
    certificate = certify_shared(problem, current, solution.proposals)
    return SharedPlan(problem, current, certificate, solution.method, solution.searched)
