"""The tree of limits and what other loads leave of it."""

import numpy as np
import pytest

from chargeplan.charging import Circuit
from chargeplan.charging.other_load import OtherLoad, daily_profile_a, left_for_cars_a
from chargeplan.charging.panel import Node, PowerTree
from chargeplan.errors import InputError


def test_continuous_load_rule():
    """NFPA 70 (2023) 210.20(A) and 625.42: a breaker of 100 A carries 80 A for hours; of 50 A, 40 A."""
    tree = PowerTree([Node.of("panel", Circuit(100, volts=240)), Node.of("garage", Circuit(50, volts=240), "panel")])
    assert tree.limit_a.tolist() == [[80.0], [40.0]]


def test_all_mistakes_at_once():
    """A name given twice, an unknown parent, a circle and wrong phases are all reported."""
    nodes = [
        Node("a", 10),
        Node("a", 10),
        Node("b", 10, "x"),
        Node("c", 10, "d"),
        Node("d", 10, "c"),
        Node("e", (1, 2)),
    ]
    with pytest.raises(InputError) as caught:
        PowerTree(nodes)
    text = str(caught.value)
    for part in ("a is given twice", "fed by 'x'", "c > d > c", "d > c > d", "e has 2 limits for 1 phases"):
        assert part in text
    assert "Traceback" not in text


@pytest.mark.parametrize("limit", [-1.0, float("nan"), float("inf"), "50 A", (10.0, -3.0)])
def test_impossible_limits(limit):
    """A negative or missing limit, or a text, is refused with the name of the node."""
    with pytest.raises(InputError, match="limit_a of garage"):
        Node("garage", limit)


@pytest.mark.parametrize(("nodes", "phases"), [([], 1), ([Node("a", 1)], 4), ([Node("a", 1)], True)])
def test_impossible_trees(nodes, phases):
    """No node, or a number of phases that no supply has."""
    with pytest.raises(InputError):
        PowerTree(nodes, phases)


def test_empty_name():
    """A node needs a name to be spoken of."""
    with pytest.raises(InputError, match="give each a name"):
        Node(" ", 10)


def test_a_node_above_its_parent_is_a_warning():
    """It cannot be reached, which is worth knowing, but breaks nothing."""
    tree = PowerTree([Node("garage", (32, 20, 20), "panel"), Node("panel", 25)], phases=3)
    (warning,) = tree.warnings
    assert "garage may carry 32 A but panel, which feeds it, only 25 A" in warning
    assert PowerTree([Node("panel", 25), Node("garage", 25, "panel")]).warnings == ()


def test_other_loads_flow_up():
    """A load in the garage also flows through the panel, not through the yard; phases and margins count."""
    tree = PowerTree([Node("panel", 50), Node("garage", 30, "panel"), Node("yard", 20, "panel")], phases=2)
    loads = [OtherLoad("garage", [[10.0, 0.0]], margin=0.5), OtherLoad("panel", [5.0], margin_a=1.0)]
    left = left_for_cars_a(tree, loads, 1)
    assert left[:, 0].tolist() == [[50 - 15 - 6, 44], [15, 30], [20, 20]]


def test_nothing_is_left_below_zero():
    """Loads above the limit leave 0 for cars."""
    assert left_for_cars_a(PowerTree([Node("panel", 10)]), [OtherLoad("panel", [12.0])], 1).tolist() == [[[0.0]]]


@pytest.mark.parametrize("values", [[-1.0], [float("nan")], [float("inf")], 3.0, [[[1.0]]]])
def test_impossible_loads(values):
    """Negative, missing and infinite values, and arrays of a wrong shape."""
    with pytest.raises(InputError, match="other load at panel"):
        OtherLoad("panel", values)


def test_wrong_margins_and_columns():
    """A negative margin, and two columns for three phases."""
    with pytest.raises(InputError, match=r"margin is -0\.1"):
        OtherLoad("panel", [1.0], margin=-0.1)
    with pytest.raises(InputError, match="2 columns for 3 phases"):
        left_for_cars_a(PowerTree([Node("panel", 10)], phases=3), [OtherLoad("panel", [[1.0, 1.0]])], 1)


def test_a_profile_follows_the_wall_clock():
    """New York, 8 March 2026: at 07:00 UTC the clock jumps from 02:00 to 03:00; hour 2 never comes."""
    start_s = 1_772_953_200 + 3600 * np.arange(-2, 3)  # 8 March 2026 07:00 UTC, and two hours around it
    hours = daily_profile_a(np.arange(24.0), "America/New_York", start_s, 3600)
    assert hours.tolist() == [0, 1, 3, 4, 5]


def test_a_slot_takes_the_highest_value_it_meets():
    """Slots of 30 minutes that straddle the hour, and a profile with a column per phase."""
    profile = np.column_stack((np.arange(24.0), 10 * np.arange(24.0)[::-1]))
    start_s = 1_772_953_200 - 86_400 + 60 * np.array([45])  # 02:45 in New York the day before
    assert daily_profile_a(profile, "America/New_York", start_s, 1800).tolist() == [[3.0, 210.0]]


@pytest.mark.parametrize("profile", [[], np.zeros(7 * 1440), np.zeros(7), 3.0])
def test_impossible_profiles(profile):
    """The parts must be whole minutes of a day."""
    with pytest.raises(InputError, match="whole minutes"):
        daily_profile_a(profile, "UTC", np.array([0]), 900)
