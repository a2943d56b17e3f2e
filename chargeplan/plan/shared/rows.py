"""Collecting the rows of a program part by part."""

from __future__ import annotations

import numpy as np

from chargeplan.plan.problem import Floats, Ints


class Rows:
    """Collects rows: each has terms (columns, values) that must lie between two limits."""

    def __init__(self) -> None:
        self.rows: list[Ints] = []
        self.columns: list[Ints] = []
        self.values: list[Floats] = []
        self.lower: list[Floats] = []
        self.upper: list[Floats] = []
        self.count = 0

    def add(self, lower: Floats | float, upper: Floats | float, count: int, *terms: tuple[Ints, Ints, Floats]) -> slice:
        """Add `count` rows; a term is (row among them, column, value)."""
        for row, column, value in terms:
            self.rows.append(row + self.count)
            self.columns.append(column)
            self.values.append(np.broadcast_to(value, column.shape))
        self.lower.append(np.broadcast_to(np.asarray(lower, dtype=np.float64), (count,)))
        self.upper.append(np.broadcast_to(np.asarray(upper, dtype=np.float64), (count,)))
        self.count += count
        return slice(self.count - count, self.count)
