"""The tree of limits that cars share: panel, sub-panels, circuits, EVSE, in amperes per phase."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from chargeplan.charging.circuit import Circuit
from chargeplan.charging.links import number_text
from chargeplan.charging.numeric import FloatArray, check_number
from chargeplan.errors import InputError, ItemsError


@dataclass(frozen=True)
class Node:
    """One place in the tree with a limit of its own.

    Parameters
    ----------
    name : str
        What its owner calls it; every node has another name.
    limit_a : float or sequence of float
        Amperes that may flow for hours on each phase: one number for all phases, or one per phase. The
        continuous-load rule is already in it, see `of`.
    parent : str, optional
        The node that feeds it; None at the top.

    Raises
    ------
    InputError
        If the name is empty or a limit is negative or no number.

    Examples
    --------
    >>> Node("garage", 80, parent="panel")
    Node(name='garage', limit_a=(80.0,), parent='panel')
    """

    name: str
    limit_a: float | Sequence[float]
    parent: str | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.name, str) or not self.name.strip():
            raise InputError(f"a node of the panel has the name {self.name!r}; give each a name, like 'garage'")
        given = self.limit_a if isinstance(self.limit_a, Sequence | np.ndarray) else (self.limit_a,)
        for value in given:
            check_number(
                f"limit_a of {self.name}",
                value,
                at_least=0,
                remedy="write the amperes of each phase that may flow for hours, like 80",
            )
        object.__setattr__(self, "limit_a", tuple(float(value) for value in given))

    @classmethod
    def of(cls, name: str, circuit: Circuit, parent: str | None = None) -> Node:
        """Make a node from a breaker, with the continuous-load rule of its circuit.

        Parameters
        ----------
        name : str
            What its owner calls it.
        circuit : Circuit
            The breaker and its continuous factor.
        parent : str, optional
            The node that feeds it.

        Returns
        -------
        Node

        References
        ----------
        NFPA 70 (2023) 625.42 and 210.20(A), see `Circuit`.

        Examples
        --------
        >>> Node.of("garage", Circuit(100, volts=240)).limit_a
        (80.0,)
        """
        return cls(name, circuit.continuous_a, parent)


@dataclass(frozen=True)
class PowerTree:
    """Nodes that feed each other; what flows through a node flows through all above it.

    Parameters
    ----------
    nodes : sequence of Node
        In any order. Several may be at the top, as two feeders are.
    phases : {1, 2, 3}
        Number of phases of the supply. A panel with two legs at 240 V counts as one phase when all
        cars use both legs, and as two when some use one.

    Raises
    ------
    InputError
        All mistakes at once: a name given twice, a parent that is not there, nodes that feed each other in
        a circle, limits that do not fit the number of phases.

    Examples
    --------
    >>> tree = PowerTree([Node("panel", 100), Node("garage", 80, "panel"), Node("left", 32, "garage")])
    >>> tree.limit_a.tolist(), tree.above[2].tolist()
    ([[100.0], [80.0], [32.0]], [True, True, True])
    >>> PowerTree([Node("garage", 80, "pannel")])
    Traceback (most recent call last):
    chargeplan.errors.ItemsError: garage is fed by 'pannel', which is not a node; write one of 'garage', or none
    """

    nodes: Sequence[Node]
    phases: int = 1

    def __post_init__(self) -> None:
        object.__setattr__(self, "nodes", tuple(self.nodes))
        if isinstance(self.phases, bool) or self.phases not in (1, 2, 3):
            raise InputError(f"phases is {self.phases!r}; write 1, 2 or 3")
        if not self.nodes:
            raise InputError("the tree has no node; give at least the panel, or leave the tree out")
        wrong = [(place, InputError(text)) for place, text in self._mistakes()]
        if wrong:
            raise ItemsError(wrong)

    def _mistakes(self) -> list[tuple[int, str]]:
        found: list[tuple[int, str]] = []
        parents = {node.name: node.parent for node in self.nodes}
        seen: set[str] = set()
        for place, node in enumerate(self.nodes):
            if node.name in seen:
                found.append((place, f"the name {node.name} is given twice; give each node another name"))
            seen.add(node.name)
            if len(self._amperes(node)) != self.phases:
                count = len(self._amperes(node))
                found.append(
                    (place, f"{node.name} has {count} limits for {self.phases} phases; write one, or one each")
                )
            if node.parent is not None and node.parent not in parents:
                names = ", ".join(map(repr, parents))
                found.append(
                    (
                        place,
                        f"{node.name} is fed by {node.parent!r}, which is not a node; write one of {names}, or none",
                    )
                )
            way, above = [node.name], node.parent
            while above is not None and above not in way:
                way.append(above)
                above = parents.get(above)
            if above == node.name:
                circle = " > ".join([*way, node.name])
                found.append((place, f"{node.name} feeds itself ({circle}); one of these must be at the top"))
        return found

    def _amperes(self, node: Node) -> tuple[float, ...]:
        amperes = tuple(node.limit_a) if isinstance(node.limit_a, Sequence) else (node.limit_a,)
        return amperes * self.phases if len(amperes) == 1 else amperes

    def number(self, name: str) -> int:
        """Find the number of a node, from 0 in the order given.

        Parameters
        ----------
        name : str
            Its name.

        Raises
        ------
        InputError
            If there is no such node.
        """
        if name not in self._numbers:
            raise InputError(f"{name!r} is not a node of the tree; write one of {', '.join(map(repr, self._numbers))}")
        return self._numbers[name]

    @cached_property
    def _numbers(self) -> dict[str, int]:
        return {node.name: number for number, node in enumerate(self.nodes)}

    @cached_property
    def limit_a(self) -> FloatArray:
        """Limit of each node on each phase, in amperes, shape (nodes, phases)."""
        return np.array([self._amperes(node) for node in self.nodes])

    @cached_property
    def above(self) -> NDArray[np.bool_]:
        """Whether what flows through a node (row) also flows through another (column), shape (nodes, nodes)."""
        through = np.eye(len(self.nodes), dtype=bool)
        for number, node in enumerate(self.nodes):
            parent = node.parent
            while parent is not None:
                through[number, self._numbers[parent]] = True
                parent = self.nodes[self._numbers[parent]].parent
        return through

    @property
    def warnings(self) -> tuple[str, ...]:
        """What its owner should know: nodes whose own limit can never be reached.

        Examples
        --------
        >>> PowerTree([Node("panel", 80), Node("garage", 100, "panel")]).warnings
        ('garage may carry 100 A but panel, which feeds it, only 80 A; the lower limit holds',)
        """
        found = []
        for number, node in enumerate(self.nodes):
            if node.parent is not None:
                own, fed = self.limit_a[number], self.limit_a[self._numbers[node.parent]]
                if (own > fed).any():
                    phase = int(np.argmax(own > fed))
                    found.append(
                        f"{node.name} may carry {number_text(own[phase])} A but {node.parent}, which feeds it, only "
                        f"{number_text(fed[phase])} A; the lower limit holds"
                    )
        return tuple(found)
