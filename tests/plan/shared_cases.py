"""Cases for several cars, and their answers by enumeration, in plain loops and without looking at the library."""

import itertools
import math

import numpy as np
from hypothesis import strategies as st

from chargeplan.charging.other_load import OtherLoad
from chargeplan.charging.panel import Node, PowerTree
from chargeplan.plan import ChargerRules, Problem
from chargeplan.plan.shared import SharedCar, shared_grid_s

STEP_S = 900


def car_problem(
    stays, *, price, power_kw, gain, level, capacity, floor=0.0, step_s=STEP_S, spells=(), taper=(), rules=None
):
    """Problem from stays (first slot, last slot, minutes late, minutes early, need, drive) on one grid.

    `spells` are (from minute, to minute, kW): slots are cut by them, and of several the lowest power holds.
    """
    start, hours, stay, power = [], [], [], []
    cuts = sorted({60 * minute for spell in spells for minute in spell[:2]})
    for number, (first, last, late, early, _, _) in enumerate(stays):
        for slot in range(first, last + 1):
            begin = slot * step_s + (60 * late if slot == first else 0)
            end = (slot + 1) * step_s - (60 * early if slot == last else 0)
            edges = [begin, *(cut for cut in cuts if begin < cut < end), end]
            for one, other in itertools.pairwise(edges):
                start.append(one)
                hours.append((other - one) / 3600)
                stay.append(number)
                inside = [kw for a, b, kw in spells if 60 * a <= one and other <= 60 * b]
                power.append(min([power_kw, *inside]))
    start, hours = np.array(start, dtype=np.int64), np.array(hours)
    return Problem(
        start_s=start,
        hours=hours,
        stay=np.array(stay, dtype=np.int64),
        price_per_kwh=np.asarray(price, dtype=float)[start // step_s],
        max_kwh=np.array(power) * hours,
        gain=np.full(start.size, float(gain)),
        need_kwh=np.array([float(stay[4]) for stay in stays]),
        drive_kwh=np.array([float(stay[5]) for stay in stays]),
        level_kwh=float(level),
        capacity_kwh=float(capacity),
        floor_kwh=float(floor),
        step_s=step_s,
        taper=np.asarray(taper, dtype=float).reshape(-1, 2),
        rules=() if rules is None else (rules,) * len(stays),
    )


@st.composite
def more_of(draw, kinds, slots, kw_per_a, full_kw):
    """Spells, a taper and rules about switching, as far as they are asked for."""
    found = {}
    if "spells" in kinds:
        minutes = st.integers(0, 15 * slots)
        spans = draw(st.lists(st.lists(minutes, min_size=2, max_size=2, unique=True).map(sorted), max_size=3))
        found["spells"] = [(a, b, kw_per_a * draw(st.sampled_from([0.0, 0.0, 4.0, 8.0]))) for a, b in spans]
    if "taper" in kinds:
        peak, knee = draw(st.sampled_from([0.6, 1.0, 1.5])) * full_kw, draw(st.sampled_from([0.0, 0.5, 0.8]))
        end = draw(st.sampled_from([0.0, 0.2, 0.5])) * peak
        slope = (end - peak) / (1 - knee)
        found["taper"] = [(0.0, peak), (slope, end - slope)]
        if draw(st.booleans()):  # it accepts less when empty, too
            found["taper"].append((2 * peak, draw(st.sampled_from([0.1, 0.4])) * peak))
    if "rules" in kinds:
        found["rules"] = ChargerRules(
            min_on_min=draw(st.sampled_from([0, 0, 20, 30])),
            min_off_min=draw(st.sampled_from([0, 0, 25, 45])),
            most_starts=draw(st.sampled_from([None, 1, 1, 2])),
        )
        if not found["rules"].bind:
            del found["rules"]
    return found


@st.composite
def shared_nights(
    draw, *, max_cars=4, max_slots=10, min_a=(0.0, 6.0), step_a=(0.0,), phases=(1, 3), floors=True, more=False
):
    """Some cars with one or two stays, partial slots, a panel with two garages, and a house load; often too little.

    With `more` some cars have times with a lower limit or none, a taper, or rules about switching.
    """
    slots = draw(st.integers(3, max_slots))
    count = draw(st.integers(1, max_cars))
    supply = draw(st.sampled_from(phases))
    prices = st.integers(-5, 40).map(lambda cents: cents / 100)
    if draw(st.booleans()):
        prices = st.sampled_from([0.1, 0.3])
    price = draw(st.lists(prices, min_size=slots, max_size=slots))
    nodes = [
        Node("panel", draw(st.sampled_from([10.0, 24.0, 40.0, 100.0]))),
        Node("garage", draw(st.sampled_from([16.0, 32.0, 48.0])), "panel"),
        Node("yard", draw(st.sampled_from([12.0, 32.0])), "panel"),
    ]
    cars = []
    for number in range(count):
        # Each car has its own place below one of the garages, and one car may not be on the tree at all.
        above = draw(st.sampled_from(["garage", "garage", "yard", None]))
        evse_a = draw(st.sampled_from([10.0, 16.0, 32.0]))
        if above is not None:
            nodes.append(Node(f"evse {number}", evse_a, above))
        used = draw(st.sampled_from([(1,), (2,), (1, 2, 3)])) if supply == 3 else (1,)
        kw_per_a = 0.23 * len(used)
        gain = draw(st.sampled_from([0.85, 0.9, 1.0]))
        full = kw_per_a * 0.25 * gain * evse_a  # battery kWh of a whole slot at the highest current
        edges = sorted(draw(st.lists(st.integers(0, slots - 1), min_size=2, max_size=2)))
        if slots >= 5 and draw(st.integers(0, 3)) == 0:
            cut = draw(st.integers(1, slots - 2))
            spans = [(0, cut), (draw(st.sampled_from([cut, cut + 1])), slots - 1)]
        else:
            spans = [(edges[0], edges[1])]
        capacity = round(draw(st.floats(2, 12)) * full, 3)
        share = st.floats(0, 1)
        stays = []
        for place, (first, last) in enumerate(spans):
            need = round(draw(st.one_of(st.just(0.0), share)) * min(capacity, 6 * full), 3)
            drive = round(draw(share) * 3 * full, 3) if len(spans) > 1 and place == 0 else 0.0
            late, early = draw(st.sampled_from([0, 0, 4])), draw(st.sampled_from([0, 0, 5]))
            if len(spans) == 2:  # two stays may meet in one slot
                late, early = (late, 5) if place == 0 else (11, early)
            if first == last:
                late, early = min(late, 4), min(early, 5)
            stays.append((first, last, late, early, need, drive))
        least, step = draw(st.sampled_from(min_a)), draw(st.sampled_from(step_a))
        kinds = draw(st.lists(st.sampled_from(["spells", "taper", "rules"]), unique=True)) if more else []
        own = draw(more_of(kinds, slots, kw_per_a, gain * kw_per_a * evse_a))
        least = 6.0 if own.get("rules") else least
        problem = car_problem(
            stays,
            **own,
            price=price,
            power_kw=kw_per_a * evse_a,
            gain=gain,
            level=round(draw(share) * min(capacity, 2 * full), 3),
            capacity=capacity,
            floor=round(draw(st.sampled_from([0.0, 0.0, 0.2])) * capacity, 3) if floors else 0.0,
        )
        cars.append(
            SharedCar(
                problem,
                kw_per_a,
                None if above is None else f"evse {number}",
                used,
                least,
                step,
                f"car {number}",
            )
        )
    grid = shared_grid_s(cars).size
    house = draw(st.lists(st.sampled_from([0.0, 5.0, 12.5, 30.0]), min_size=grid, max_size=grid))
    return cars, PowerTree(nodes, supply), [OtherLoad("panel", house, margin=0.1)]


def flows(cars, tree, currents):
    """Amperes at every (node, slot, phase) at each car's own moments, walked up the tree in plain loops.

    `currents` has one list per car, a value per slot of its problem. Pieces of one car in one slot are never
    drawn at the same time, so the highest counts.
    """
    parent = {node.name: node.parent for node in tree.nodes}
    found = {}
    for car, amperes in zip(cars, currents, strict=True):
        own = {}
        for k, current in enumerate(amperes):
            slot = int(car.problem.start_s[k]) // car.problem.step_s
            node = car.nodes[int(car.problem.stay[k])]
            while node is not None:
                for phase in car.phases:
                    own[node, slot, phase] = max(own.get((node, slot, phase), 0.0), float(current))
                node = parent[node]
        for key, current in own.items():
            found[key] = found.get(key, 0.0) + current
    return found


def room(tree, loads, cars):
    """Amperes left at every (node, slot, phase), in plain loops."""
    parent = {node.name: node.parent for node in tree.nodes}
    grid_s, step_s, left = shared_grid_s(cars), cars[0].problem.step_s, {}
    for number, node in enumerate(tree.nodes):
        for start in grid_s.tolist():
            for phase in range(1, tree.phases + 1):
                left[node.name, start // step_s, phase] = float(tree.limit_a[number, phase - 1])
    for load in loads:
        node = load.node
        while node is not None:
            for k, start in enumerate(grid_s.tolist()):
                for phase in range(1, tree.phases + 1):
                    value = np.ravel(np.asarray(load.current_a)[k])
                    kept = float(value[0] if value.size == 1 else value[phase - 1]) * (1 + load.margin) + load.margin_a
                    left[node, start // step_s, phase] -= kept
            node = parent[node]
    return {key: max(0.0, value) for key, value in left.items()}


def trajectory(car, currents):
    """Battery levels at the end of each slot, and at each departure, of one car."""
    problem, level, levels = car.problem, car.problem.level_kwh, []
    for k, current in enumerate(currents):
        stay = int(problem.stay[k])
        if k and problem.stay[k - 1] != stay:
            level = max(0.0, level - float(problem.drive_kwh[stay - 1]))
        level += float(current) * car.powers[stay] * float(problem.hours[k]) * float(problem.gain[k])
        levels.append(level)
    return levels, [levels[k] for k in problem.last.tolist()]


def own_most_a(car, tree, left):
    """Highest current of each slot of a car if it were alone on the tree, in whole steps, 0 below the minimum."""
    parent = {node.name: node.parent for node in tree.nodes}
    found = []
    for k in range(car.problem.slots):
        stay = int(car.problem.stay[k])
        most = float(car.problem.max_kwh[k] / car.problem.hours[k]) / car.powers[stay]
        node = car.nodes[stay]
        while node is not None:
            slot = int(car.problem.start_s[k]) // car.problem.step_s
            most = min(most, *(left[node, slot, phase] for phase in car.phases))
            node = parent[node]
        if car.step_a:
            most = np.floor(most / car.step_a + 1e-9) * car.step_a
        found.append(most if most >= car.min_a - 1e-9 else 0.0)
    return found


def kept(car, currents):
    """Whether a car's currents keep its taper and its rules about switching, in plain loops."""
    problem = car.problem
    levels, _ = trajectory(car, currents)
    for k, current in enumerate(currents):
        gained = float(current) * car.powers[int(problem.stay[k])] * float(problem.hours[k] * problem.gain[k])
        accepted = []
        for level in (levels[k] - gained, levels[k]):
            accepted += [s * level / problem.capacity_kwh + kw for s, kw in problem.taper.tolist()]
        if current > 0 and accepted and gained / float(problem.hours[k]) > min(accepted) + 1e-5:
            return False
    for stay, rules in enumerate(problem.rules):
        if rules is None:
            continue
        blocks = []
        for k in np.flatnonzero(problem.stay == stay).tolist():
            begin, end = int(problem.start_s[k]), round(int(problem.start_s[k]) + 3600 * float(problem.hours[k]))
            if currents[k] > 0 and blocks and blocks[-1][1] == begin:
                blocks[-1][1] = end
            elif currents[k] > 0:
                blocks.append([begin, end])
        if rules.most_starts is not None and len(blocks) > rules.most_starts:
            return False
        if any(end - begin < 60 * rules.min_on_min for begin, end in blocks):
            return False
        if any(b[0] - a[1] < 60 * rules.min_off_min for a, b in itertools.pairwise(blocks)):
            return False
    return True


def accepted_at_most(problem, level, hours, most):
    """The most that is gained in a time at one power that the battery accepts before and after it, by bisection."""
    most = min(most, problem.capacity_kwh - level)

    def accepts(gained):
        for soc in (level / problem.capacity_kwh, (level + gained) / problem.capacity_kwh):
            if any(gained > hours * (slope * soc + kw) for slope, kw in problem.taper.tolist()):
                return False
        return True

    if not problem.taper.size or accepts(most):
        return most
    low, high = 0.0, most
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if accepts(middle) else (low, middle)
    return low


def wishes(car, most):
    """What a car could have alone: (need, energy wanted) of each departure, and the floor of each slot."""
    problem = car.problem
    high, low, needs, wanted, floors = problem.level_kwh, problem.level_kwh, [], [], []
    served_so_far, unserved = 0.0, False
    ends_kw = [kw for slope, power in problem.taper.tolist() for kw in (power, slope + power)]
    most_kw = max(m * car.powers[j] * g for m, j, g in zip(most, problem.stay.tolist(), problem.gain, strict=True))
    tapered = bool(ends_kw) and min(ends_kw) < most_kw
    for stay in range(problem.stays):
        base = problem.level_kwh - served_so_far
        for k in range(int(problem.first[stay]), int(problem.last[stay]) + 1):
            gained = most[k] * car.powers[stay] * float(problem.hours[k]) * float(problem.gain[k])
            gained = accepted_at_most(problem, high, float(problem.hours[k]), gained)
            floors.append(min(problem.floor_kwh, high + gained))
            high = min(problem.capacity_kwh, high + gained)
        wish = max(float(problem.need_kwh[stay]), float(problem.drive_kwh[stay]) + problem.floor_kwh)
        needs.append((min(wish, high), high, base))
        wanted.append(low)
        drive = float(problem.drive_kwh[stay])
        unserved |= drive > high
        served_so_far += min(drive, high)
        high, low = max(0.0, high - drive), max(0.0, low - drive)
    if car.step_a and not unserved and not tapered and any(most):
        seconds = math.gcd(*(round(3600 * h) for h, m in zip(problem.hours.tolist(), most, strict=True) if m > 0))
        quantum = car.step_a * car.powers[0] * seconds / 3600 * float(problem.gain[0])
        for stay, (need, high, base) in enumerate(needs):
            hit = base + quantum * min(
                np.ceil((need - base) / quantum - 1e-7), np.floor((high - base) / quantum + 1e-7)
            )
            served = min(float(problem.drive_kwh[stay]), high)
            needs[stay] = (need if need <= wanted[stay] or hit < served else hit, high, base)
    return [(need, need - low) for (need, _, _), low in zip(needs, wanted, strict=True)], floors


def goals(cars, wished, currents):
    """Below the floors, worst relative shortfall, all shortfalls, cost; None if a battery is overfull."""
    low = worst = total = cost = 0.0
    for car, (needs, floors), amperes in zip(cars, wished, currents, strict=True):
        levels, departures = trajectory(car, amperes)
        if max(levels) > car.problem.capacity_kwh + 1e-9:
            return None
        last = set(car.problem.last.tolist())
        low += sum(max(0.0, floors[k] - level) for k, level in enumerate(levels) if k not in last)
        for level, (need, energy) in zip(departures, needs, strict=True):
            missing = max(0.0, need - level)
            if missing > 1e-9:
                worst, total = max(worst, missing / energy), total + missing
        for k, current in enumerate(amperes):
            power = car.powers[int(car.problem.stay[k])] * float(car.problem.hours[k])
            cost += float(current) * power * float(car.problem.price_per_kwh[k])
    return low, worst, total, cost


def with_reachable_needs(car, wished, plans):
    """The plans of one car, its last wish cut to what the best of them reaches under least currents and rules."""
    best = plans[0]
    for plan in plans:
        best = plan if is_less(plan[1], best[1]) else best
    needs, floors = wished
    _, departures = trajectory(car, best[0])
    need, energy = needs[-1]
    missing = max(0.0, need - departures[-1])
    cut = [*needs[:-1], (need - missing, energy - missing)]
    return [(amperes, goals([car], [(cut, floors)], [amperes])) for amperes, _ in plans]


def best_by_enumeration(cars, tree, loads):
    """The least of the goals, one after the other, over every choice of whole steps."""
    left = room(tree, loads, cars)
    most = [own_most_a(car, tree, left) for car in cars]
    wished = [wishes(car, own) for car, own in zip(cars, most, strict=True)]
    per_car = []
    for car, own in zip(cars, most, strict=True):
        choices = [
            [0.0, *(a for a in np.arange(car.step_a, limit + 1e-9, car.step_a) if a >= car.min_a - 1e-9)]
            for limit in own
        ]
        plans = []
        for amperes in itertools.product(*choices):
            alone = goals([car], [wished[len(per_car)]], [amperes])
            if alone is not None and kept(car, amperes):
                plans.append((amperes, alone))
        if car.problem.taper.size or car.problem.rules:
            plans = with_reachable_needs(car, wished[len(per_car)], plans)
        per_car.append(plans)
    best = None
    for chosen in itertools.product(*per_car):
        low, total, cost = (sum(plan[1][n] for plan in chosen) for n in (0, 2, 3))
        found = (low, max(plan[1][1] for plan in chosen), total, cost)
        if best is not None and not is_less(found, best):
            continue
        flowing = flows(cars, tree, [plan[0] for plan in chosen])
        if all(current <= left[key] + 1e-9 for key, current in flowing.items()):
            best = found
    return best


def is_less(found, other):
    """Whether the first goal in which two differ is less."""
    for mine, theirs in zip(found, other, strict=True):
        if abs(mine - theirs) > 1e-9:
            return mine < theirs
    return False


def split(plan):
    """Currents of a plan, one array per car."""
    return [plan.piece_a[plan.problem.car == number] for number in range(len(plan.problem.cars))]
