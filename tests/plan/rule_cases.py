"""Nights under a charger's rules, and their best plans by enumeration, written without looking at the library."""

import itertools
from dataclasses import replace

import numpy as np
from hypothesis import strategies as st
from plan_cases import make_problem
from scipy.optimize import linprog

from chargeplan.plan import reach
from chargeplan.plan.rules import ChargerRules


@st.composite
def rules(draw, *, hours=4):
    """Some rules, in whole hours; at least one of them binds."""
    found = ChargerRules(
        min_on_min=60 * draw(st.integers(0, hours)),
        min_off_min=60 * draw(st.integers(0, hours)),
        most_starts=draw(st.sampled_from([None, 1, 1, 2, 3])),
    )
    return found if found.bind else replace(found, most_starts=draw(st.integers(1, 3)))


@st.composite
def cell_problems(draw, *, max_cells=10, max_stays=1, powers=(0, 1, 1, 1), floor=True, prices=(-1, 4), hours=4):
    """Slots of one or two whole hours, and whole kWh, small enough to try every pattern of hours on and off."""
    stays = draw(st.integers(1, max_stays))
    counts, lengths = [], []
    for _ in range(stays):
        here = draw(st.lists(st.sampled_from([1, 1, 2]), min_size=1, max_size=max_cells // stays))
        while sum(here) > max_cells // stays:
            here.pop()
        counts.append(len(here))
        lengths += here
    slots = len(lengths)

    def each(strategy, size):
        return draw(st.lists(strategy, min_size=size, max_size=size))

    capacity = draw(st.integers(1, 8))
    problem = make_problem(
        counts,
        hours=lengths,
        price=each(st.integers(*prices), slots),
        kw=[1] * stays,
        gain=[draw(st.sampled_from([0.5, 1.0]))] * stays,
        need=each(st.integers(0, capacity), stays),
        drive=each(st.integers(0, 4), stays),
        level=draw(st.integers(0, capacity)),
        capacity=capacity,
        floor=draw(st.sampled_from([0, 0, 1, 2]).filter(lambda f: f <= capacity)) if floor else 0,
    )
    power = np.array(each(st.sampled_from(powers), slots), dtype=float)
    every = tuple(draw(rules(hours=hours)) if number == 0 or draw(st.booleans()) else None for number in range(stays))
    return replace(problem, max_kwh=power * problem.hours / problem.gain, rules=every)


def keeps(rule, on, contiguous):
    """Whether a pattern of hours of one stay keeps a rule: runs of hours on, and pauses between them."""
    blocks, start = [], None
    for k, is_on in enumerate([*on, False]):
        if is_on and start is None:
            start = k
        elif not is_on and start is not None:
            blocks.append((start, k))
            start = None
    assert contiguous
    if rule.most_starts is not None and len(blocks) > rule.most_starts:
        return False
    if any(60 * (b - a) < rule.min_on_min for a, b in blocks):
        return False
    return all(60 * (c - b) >= rule.min_off_min for (_, b), (c, _) in itertools.pairwise(blocks))


def patterns(problem):
    """Every allowed pattern of hours on and off, as battery energy per slot, with its shortfall, lateness and cost."""
    cells = np.repeat(np.arange(problem.slots), np.round(problem.hours).astype(int))
    stay_of_cell = problem.stay[cells]
    gained = (problem.max_battery_kwh / problem.hours)[cells]
    best = reach(problem)
    highest, level = [], 0.0
    for t in range(problem.slots):
        if t in problem.first:
            level = best.arrival_kwh[problem.stay[t]]
        level = level + problem.max_battery_kwh[t]
        highest.append(min(problem.floor_kwh, level))
    choices = []
    for number in range(problem.stays):
        own = np.flatnonzero(stay_of_cell == number)
        rule = problem.rules[number]
        allowed = []
        for on in itertools.product([False, True], repeat=own.size):
            if any(is_on and gained[k] == 0 for is_on, k in zip(on, own, strict=True)):
                continue
            if rule is None or keeps(rule, on, contiguous=True):
                allowed.append(on)
        choices.append(np.array(allowed))
    found = []
    for parts in itertools.product(*choices):
        on = np.concatenate(parts)
        energy = np.bincount(cells, weights=gained * on, minlength=problem.slots)
        level, short, late, possible = problem.level_kwh, 0.0, 0.0, True
        for t in range(problem.slots):
            level += energy[t]
            possible &= level <= problem.capacity_kwh + 1e-9
            late += problem.hours[t] * max(0.0, highest[t] - level)
            j = problem.stay[t]
            if t == problem.last[j]:
                wanted = max(problem.need_kwh[j], problem.drive_kwh[j] + problem.floor_kwh)
                short += max(0.0, wanted - level)
                level = max(0.0, level - problem.drive_kwh[j])
        if possible:
            found.append((short, late, float(energy @ (problem.price_per_kwh / problem.gain)), energy))
    return found


def best_of(found):
    """The least shortfall, then lateness, then cost."""
    return min((round(short, 9), round(late, 9), cost) for short, late, cost, _ in found)


def best_in_continuous_time(problem):
    """Least shortfall and cost of one stay, block ends anywhere: a linear program for every pair of slots they lie in.

    Blocks begin and end at any moment. Once it is known in which slots, all else is linear.
    """
    rule, slots = problem.rules[0], problem.slots
    begin, end = problem.start_s / 3600, problem.start_s / 3600 + problem.hours
    power = problem.max_battery_kwh / problem.hours
    energy = np.concatenate(([0.0], np.cumsum(problem.max_battery_kwh)))
    unit = problem.price_per_kwh / problem.gain
    money = np.concatenate(([0.0], np.cumsum(problem.max_battery_kwh * unit)))
    spans = [(a, b) for a in range(slots) for b in range(a, slots) if (power[a : b + 1] > 0).all()]
    most = rule.most_starts or 3
    wanted = float(problem.wanted_kwh[0]) - problem.level_kwh
    room = problem.capacity_kwh - problem.level_kwh
    cases = [()]
    for count in range(1, most + 1):
        cases += [c for c in itertools.combinations_with_replacement(spans, count) if _in_order(c)]
    solved = []
    for case in cases:
        count = len(case)
        # Columns: start and end of each block, then what is short.
        gain = np.zeros(2 * count + 1)
        cost, constant, paid = np.zeros(2 * count + 1), 0.0, 0.0
        bounds, rows, limits = [], [], []
        for k, (a, b) in enumerate(case):
            gain[2 * k], gain[2 * k + 1] = -power[a], power[b]
            cost[2 * k], cost[2 * k + 1] = -power[a] * unit[a], power[b] * unit[b]
            constant += energy[b] - power[b] * begin[b] - energy[a] + power[a] * begin[a]
            paid += money[b] - power[b] * unit[b] * begin[b] - money[a] + power[a] * unit[a] * begin[a]
            bounds += [(begin[a], end[a]), (begin[b], end[b])]
            row = np.zeros(2 * count + 1)
            row[2 * k], row[2 * k + 1] = 1, -1
            rows.append(row)
            limits.append(-rule.min_on_min / 60)
            if k:
                row = np.zeros(2 * count + 1)
                row[2 * k - 1], row[2 * k] = 1, -1
                rows.append(row)
                limits.append(-rule.min_off_min / 60)
        bounds.append((0, None))
        rows += [gain, -gain - np.eye(2 * count + 1)[-1]]
        limits += [room - constant, constant - wanted]
        short = linprog(np.eye(2 * count + 1)[-1], np.array(rows), limits, bounds=bounds)
        if short.status == 0:
            solved.append((short.fun, rows, limits, bounds, cost, paid))
    least = min(case[0] for case in solved)
    costs = []
    for short, rows, limits, bounds, cost, paid in solved:
        if short <= least + 1e-7:
            capped = [*bounds[:-1], (0, least + 1e-9)]
            answer = linprog(cost, np.array(rows), limits, bounds=capped)
            if answer.status == 0:
                costs.append(answer.fun + paid)
    return least, min(costs)


def _in_order(case):
    return all(b <= c for (_, b), (c, _) in itertools.pairwise(case))
