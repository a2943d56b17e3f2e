"""Bills for the slots of a problem, with every kind of part."""

import numpy as np
from hypothesis import event
from hypothesis import strategies as st

from chargeplan.plan.bill_slots import BilledSlots
from chargeplan.tariff.bill_shape import (
    BillShape,
    ChoiceShape,
    CrossingShape,
    MinimumShape,
    PeakShape,
    TierShape,
)


def each(draw, strategy, size):
    return np.array(draw(st.lists(strategy, min_size=size, max_size=size)), dtype=float)


@st.composite
def crossings_of(draw, size, weight):
    """A limit whose step differs by slot, and may fall, with what the house uses in each slot."""
    share = each(draw, st.sampled_from([0.0, 1.0, 1.05]), size)
    house = share * each(draw, st.sampled_from([0.0, 0.5, 3.0]), size)
    step = each(draw, st.sampled_from([-0.2, -0.1, 0.0, 0.1, 0.2]), size)
    return CrossingShape(share, house, float(draw(st.integers(0, 12))), step, weight, draw(st.sampled_from([0.0, 1.0])))


@st.composite
def choices_of(draw, size, weight):
    """Two or three prices chosen by the total, with an amount each."""
    limits = np.array(sorted(draw(st.sets(st.integers(1, 9), min_size=1, max_size=2))), dtype=float)
    share = each(draw, st.sampled_from([0.0, 1.0]), size)
    house = share * each(draw, st.sampled_from([0.0, 0.5]), size)
    price = np.stack([each(draw, st.sampled_from([0.05, 0.1, 0.2]), size) for _ in range(limits.size + 1)])
    amount = each(draw, st.sampled_from([0.0, 0.3]), limits.size + 1)
    return ChoiceShape(share, house, limits, price, amount, weight, draw(st.sampled_from([0.0, 1.0])))


@st.composite
def bills_of(draw, problem, *, plain=False, choices_too=True):
    """Bills for the slots of a problem, each slot an interval of its own; some slots may be on none."""
    on = np.array(draw(st.lists(st.sampled_from([True, True, False]), min_size=problem.slots, max_size=problem.slots)))
    cut = draw(st.integers(0, problem.slots))
    found = []
    for chosen in (np.arange(problem.slots) < cut, np.arange(problem.slots) >= cut):
        slot = np.flatnonzero(chosen & on)
        if not slot.size:
            continue
        size = int(slot.size)
        price = np.array(draw(st.lists(st.sampled_from([0.05, 0.1, 0.1, 0.3]), min_size=size, max_size=size)))
        weight = draw(st.sampled_from([1.0, 1.05]))
        tiers, peaks, minimum = [], [], None
        if not plain and draw(st.booleans()):
            limits = np.sort(np.array(draw(st.lists(st.integers(1, 12), min_size=1, max_size=2, unique=True)), float))
            rise = np.array(
                draw(st.lists(st.sampled_from([0.0, 0.1, 0.25]), min_size=limits.size, max_size=limits.size))
            )
            share = np.array(draw(st.lists(st.sampled_from([0.0, 1.0, 1.05]), min_size=size, max_size=size)))
            tiers.append(TierShape(share, float(draw(st.integers(0, 8))), limits, rise, weight, 1.0))
        crossings, choices = [], []
        if not plain and draw(st.booleans()):
            crossings = [draw(crossings_of(size, weight)) for _ in range(draw(st.integers(1, 2)))]
        if not plain and choices_too and draw(st.integers(0, 3)) == 0:
            choices.append(draw(choices_of(size, weight)))
        if not plain and draw(st.booleans()):
            block = np.array(draw(st.lists(st.integers(-1, 3), min_size=size, max_size=size)))
            block = np.unique(block, return_inverse=True)[1] - (1 if -1 in block else 0)
            if block.max() >= 0:
                count = int(block.max()) + 1
                kw = np.array(draw(st.lists(st.sampled_from([0.0, 1.0, 3.0]), min_size=count, max_size=count)))
                day = np.arange(count) // 2 if draw(st.booleans()) else np.zeros(count, dtype=int)
                limits = np.array([2.0]) if draw(st.booleans()) else np.zeros(0)
                steps = np.full(limits.size, draw(st.sampled_from([3.0, 0.0, -0.4])))
                tier_price = np.cumsum(np.r_[draw(st.sampled_from([0.5, 4.0])), steps])
                least = draw(st.sampled_from([0.0, 2.5]))
                peaks.append(PeakShape(block, kw, day, 1.0, least, limits, tier_price, weight, 1.0))
        if not plain and draw(st.booleans()):
            minimum = MinimumShape(draw(st.sampled_from([-1.0, 0.4, 3.0])), 1.0)
        shape = BillShape(
            0, 900, weight * price, price, tuple(tiers), tuple(peaks), minimum, tuple(crossings), tuple(choices)
        )
        event(f"tiers {len(tiers)}, peaks {len(peaks)}, minimum {minimum is not None}")
        event(f"crossings {len(crossings)}, choices {len(choices)}")
        found.append(BilledSlots(shape, slot, np.arange(size)))
    return found
