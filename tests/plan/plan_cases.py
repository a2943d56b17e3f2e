"""Cases for the planner's tests, and its answer by enumeration, written without looking at the library."""

import itertools
from dataclasses import dataclass

import numpy as np
from hypothesis import strategies as st

from chargeplan.plan import Problem, reach
from chargeplan.plan.windows import blocks

DAY_S = 86_400


def make_problem(counts, *, hours, price, kw, gain, need, drive, level, capacity, floor=0.0, taper=(), gap_s=3600):
    """Problem from one entry per slot (hours, price) and one per stay (kw, gain, need, drive)."""
    stay = np.repeat(np.arange(len(counts)), counts)
    hours = np.asarray(hours, dtype=float)
    start = np.concatenate(([0], np.cumsum(np.round(3600 * hours).astype(np.int64))[:-1])) + gap_s * stay
    return Problem(
        start_s=start.astype(np.int64),
        hours=hours,
        stay=stay,
        price_per_kwh=np.asarray(price, dtype=float),
        max_kwh=np.asarray(kw, dtype=float)[stay] * hours,
        gain=np.asarray(gain, dtype=float)[stay],
        need_kwh=np.asarray(need, dtype=float),
        drive_kwh=np.asarray(drive, dtype=float),
        level_kwh=float(level),
        capacity_kwh=float(capacity),
        floor_kwh=float(floor),
        taper=np.asarray(taper, dtype=float).reshape(-1, 2),
    )


@st.composite
def problems(
    draw, *, max_stays=5, max_slots=8, floor=True, taper=False, positive=False, one_gain=False, for_solver=True
):
    """Problems with real numbers: partial slots, ties, negative and zero prices, unreachable needs.

    Where a solver takes part, energies are whole watt-hours: what is smaller than its tolerance
    (1e-7, and 1e-6 in our polishing) it may rightly leave out. Merit order has no such tolerance.
    """
    counts = draw(st.lists(st.integers(1, max_slots), min_size=1, max_size=max_stays))
    stays, slots = len(counts), sum(counts)

    def each(strategy, size):
        return draw(st.lists(strategy, min_size=size, max_size=size))

    capacity = draw(st.floats(3, 20))
    share = st.floats(0, 1)
    wh = (lambda kwh: min(round(kwh, 3), capacity)) if for_solver else (lambda kwh: kwh)
    steps = st.sampled_from([0.05, 0.1, 0.3] if positive else [-0.2, -0.1, 0.0, 0.1, 0.3, 0.30000000000000004])
    # Printed prices have few decimals; a solver cannot tell apart what differs by less than 1e-9.
    fine = st.integers(1_000 if positive else -30_000, 60_000).map(lambda k: k / 1e5)
    price = steps if draw(st.booleans()) else fine
    gains = st.sampled_from([0.85, 0.9, 1.0])
    tapers = []
    if taper:
        tapers = [(-draw(st.floats(1, 20)), draw(st.floats(20, 25))), (0.0, draw(st.floats(3, 12)))]
        if draw(st.booleans()):
            tapers.append((draw(st.floats(1, 15)), draw(st.floats(0.5, 5))))
    return make_problem(
        counts,
        hours=each(st.sampled_from([0.25, 0.25, 0.25, 0.1, 0.02]), slots),
        price=each(price, slots),
        kw=each(st.sampled_from([0.0, 1.4, 7.2, 11.0]), stays),
        gain=[draw(gains)] * stays if one_gain else each(gains, stays),
        need=[wh(capacity * value) for value in each(st.one_of(st.just(0.0), share), stays)],
        drive=[wh(value) for value in each(st.one_of(st.just(0.0), st.floats(0, 6)), stays)],
        level=wh(capacity * draw(share)),
        capacity=capacity,
        floor=capacity * draw(st.sampled_from([0.0, 0.3])) if floor else 0.0,
        taper=tapers,
    )


@st.composite
def whole_problems(draw, *, max_stays=3, max_slots=6, prices=(-2, 3)):
    """Problems where every battery energy is a whole number, small enough to enumerate."""
    counts = draw(st.lists(st.integers(1, 4), min_size=1, max_size=max_stays).filter(lambda c: sum(c) <= max_slots))
    stays, slots = len(counts), sum(counts)

    def each(strategy, size):
        return draw(st.lists(strategy, min_size=size, max_size=size))

    gain = np.array(each(st.sampled_from([0.5, 1.0]), stays))
    power = np.array(each(st.integers(0, 2), stays))
    capacity = draw(st.integers(1, 8))
    return make_problem(
        counts,
        hours=np.array(each(st.sampled_from([1.0, 1.0, 2.0]), slots)),
        price=each(st.integers(*prices), slots),
        kw=power / gain,
        gain=gain,
        need=each(st.integers(0, capacity), stays),
        drive=each(st.integers(0, 5), stays),
        level=draw(st.integers(0, capacity)),
        capacity=capacity,
        floor=draw(st.sampled_from([0, 0, 1, 2]).filter(lambda f: f <= capacity)),
        gap_s=7 * 3600,
    )


@dataclass(frozen=True)
class Outcomes:
    """Enumerated plans: energies (plans, slots), total shortfall and cost of each."""

    energy: np.ndarray
    shortfall: np.ndarray
    cost: np.ndarray

    def keep(self, mask):
        return Outcomes(self.energy[mask], self.shortfall[mask], self.cost[mask])


def enumerate_plans(problem):
    """Every plan in whole battery kWh that obeys the rules, with its total shortfall and its cost."""
    most = np.round(problem.max_battery_kwh).astype(int)
    energy = np.array(list(itertools.product(*(range(u + 1) for u in most))), dtype=float)
    level = np.full(len(energy), problem.level_kwh)
    shortfall, allowed = np.zeros(len(energy)), np.ones(len(energy), dtype=bool)
    for slot in range(problem.slots):
        gained = energy[:, slot]
        due = np.minimum(most[slot], problem.floor_kwh - level)
        allowed &= (level >= problem.floor_kwh) | (gained >= due)
        level = level + gained
        allowed &= level <= problem.capacity_kwh
        if slot + 1 == problem.slots or problem.stay[slot + 1] != problem.stay[slot]:
            j = problem.stay[slot]
            wanted = max(problem.need_kwh[j], problem.drive_kwh[j] + problem.floor_kwh)
            shortfall += np.maximum(0.0, wanted - level)
            level = np.maximum(0.0, level - problem.drive_kwh[j])
    return Outcomes(energy, shortfall, energy @ (problem.price_per_kwh / problem.gain)).keep(allowed)


def best_plans(problem):
    """Enumerated plans with the least shortfall and, among those, the least cost."""
    outcomes = enumerate_plans(problem)
    outcomes = outcomes.keep(outcomes.shortfall == outcomes.shortfall.min())
    return outcomes.keep(outcomes.cost < outcomes.cost.min() + 1e-9)


def fewest_blocks(problem, energy, forced):
    """Try every placing (at the start or at the end) of every partly used slot; count what is separate."""
    on = [t for t in range(problem.slots) if energy[t] > 1e-9]
    choices = []
    for t in on:
        start, hours = float(problem.start_s[t]), float(problem.hours[t])
        run = 3600 * hours * energy[t] / problem.max_battery_kwh[t]
        end = start + 3600 * hours
        choices.append([(start, start + run)] + ([] if forced[t] > 0 else [(end - run, end)]))
    counts = []
    for placed in itertools.product(*choices):
        joined = sum(
            abs(a[1] - b[0]) < 1e-3 and problem.stay[s] == problem.stay[t]
            for (s, a), (t, b) in itertools.pairwise(zip(on, placed, strict=True))
        )
        counts.append(len(on) - joined)
    return min(counts)


def blocks_of(problem, energy, *, latest=False):
    """Blocks as the library places them, from the energies."""
    most = problem.max_battery_kwh
    share = np.divide(energy, most, out=np.zeros_like(energy), where=most > 0)
    return blocks(problem, share * problem.hours, reach(problem).forced_kwh, latest=latest)
