"""The options on energy that a battery holds: commit the cheapest, drop the dearest.

Two ways to hold them give the same answer. A sorted list is fastest while the pool is short, as it
is for any real battery. Two heaps keep a long pool within n log n.
"""

from __future__ import annotations

from heapq import heappop, heappush

#: Energy below this (a tenth of a microwatt-hour) is the rounding of sums, not energy.
EPS_KWH = 1e-10


class SortedPool:
    """Options held as a sorted list of ranks; merging in new ones takes linear time.

    Parameters
    ----------
    left_kwh : list of float
        Energy left of each option, by rank (0 is the cheapest); changed in place.

    Examples
    --------
    >>> pool = SortedPool([2.0, 2.0, 2.0])
    >>> pool.add([0, 2])
    >>> pool.add([1])
    >>> pool.drop(3.0), pool.commit(2.5), pool.taken_kwh
    (3.0, 2.5, [2.0, 0.5, 0.0])
    """

    def __init__(self, left_kwh: list[float]) -> None:
        self.left_kwh = left_kwh
        self.taken_kwh = [0.0] * len(left_kwh)
        self.ranks: list[int] = []
        self.work = 0  # ranks touched by merging so far

    def add(self, ranks: list[int]) -> None:
        """Hold more options, given by rank in ascending order."""
        self.ranks += ranks
        self.ranks.sort()  # merges two sorted runs
        self.work += len(self.ranks)

    def drop(self, energy_kwh: float) -> float:
        """Give up the dearest energy held; return how much that was."""
        ranks, left, rest, kept = self.ranks, self.left_kwh, energy_kwh, len(self.ranks)
        while rest > EPS_KWH and kept:
            rank = ranks[kept - 1]
            energy = left[rank]
            if energy <= rest + EPS_KWH:
                kept -= 1
            else:
                left[rank] = energy - rest
                energy = rest
            rest -= energy
        del ranks[kept:]
        return energy_kwh - rest

    def commit(self, energy_kwh: float) -> float:
        """Buy the cheapest energy held; return how much that was."""
        ranks, left, taken, rest, used = self.ranks, self.left_kwh, self.taken_kwh, energy_kwh, 0
        while rest > EPS_KWH and used < len(ranks):
            rank = ranks[used]
            energy = left[rank]
            if energy <= rest + EPS_KWH:
                used += 1
            else:
                left[rank] = energy - rest
                energy = rest
            taken[rank] += energy
            rest -= energy
        del ranks[:used]
        return energy_kwh - rest

    def commit_below(self, rank_limit: int) -> None:
        """Buy all that is held of the options cheaper than a rank."""
        for rank in self.ranks:
            if rank < rank_limit:
                self.taken_kwh[rank] += self.left_kwh[rank]


class HeapPool:
    """Options held in two heaps, cheapest first and dearest first; an option used up has nothing left.

    Parameters
    ----------
    pool : SortedPool
        What is held so far; its lists are taken over.

    Examples
    --------
    >>> pool = HeapPool(SortedPool([2.0, 2.0, 2.0]))
    >>> pool.add([0, 1, 2])
    >>> pool.drop(3.0), pool.commit(2.5), pool.taken_kwh
    (3.0, 2.5, [2.0, 0.5, 0.0])
    """

    def __init__(self, pool: SortedPool) -> None:
        self.left_kwh, self.taken_kwh = pool.left_kwh, pool.taken_kwh
        self.cheap = list(pool.ranks)  # a sorted list is a heap
        self.dear = [-rank for rank in reversed(pool.ranks)]
        self.work = 0

    def add(self, ranks: list[int]) -> None:
        """Hold more options, given by rank."""
        for rank in ranks:
            heappush(self.cheap, rank)
            heappush(self.dear, -rank)

    def drop(self, energy_kwh: float) -> float:
        """Give up the dearest energy held; return how much that was."""
        dear, left, rest = self.dear, self.left_kwh, energy_kwh
        while rest > EPS_KWH and dear:
            rank = -dear[0]
            energy = left[rank]
            if energy <= rest + EPS_KWH:
                heappop(dear)
                left[rank] = 0.0
            else:
                left[rank] = energy - rest
                energy = rest
            rest -= energy
        return energy_kwh - rest

    def commit(self, energy_kwh: float) -> float:
        """Buy the cheapest energy held; return how much that was."""
        cheap, left, taken, rest = self.cheap, self.left_kwh, self.taken_kwh, energy_kwh
        while rest > EPS_KWH and cheap:
            rank = cheap[0]
            energy = left[rank]
            if energy <= rest + EPS_KWH:
                heappop(cheap)
                left[rank] = 0.0
            else:
                left[rank] = energy - rest
                energy = rest
            taken[rank] += energy
            rest -= energy
        return energy_kwh - rest

    def commit_below(self, rank_limit: int) -> None:
        """Buy all that is held of the options cheaper than a rank."""
        for rank in self.cheap:
            if rank < rank_limit:
                self.taken_kwh[rank] += self.left_kwh[rank]
