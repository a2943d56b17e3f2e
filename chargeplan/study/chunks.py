"""How a study is cut into pieces of work that are handed out and kept one by one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

from chargeplan.errors import InputError
from chargeplan.study.cell import YearRow, unit_rows
from chargeplan.study.study import Study, Unit, rates_together, units

#: Years in a chunk at most, where all nights are planned at once (about 10 ms a year), and where they are planned one
#: after the other (about 1 s a year): long enough to be worth handing out, short enough to be lost.
_YEARS, _SLOW_YEARS = 64, 2
#: A study is cut into at least about so many chunks, so that there is something for every worker to the end.
_CHUNKS = 64
#: About how long a year takes.
_YEAR_S, _SLOW_YEAR_S = 0.01, 1.0


@dataclass(frozen=True, eq=False)
class Chunk:
    """Units that follow one another.

    Parameters
    ----------
    number : int
        From 0.
    units : tuple of Unit
        What is worked out.
    """

    number: int
    units: tuple[Unit, ...]

    @property
    def cells(self) -> int:
        """Number of years that are planned."""
        return sum(len(unit.tariffs) * len(unit.equipment) for unit in self.units)

    def __str__(self) -> str:
        first, last = self.units[0].household_name, self.units[-1].household_name
        named = f"household {first}" if first == last else f"households {first} to {last}"
        return f"chunk {self.number} ({named})"

    def rows(self) -> list[YearRow]:
        """Work the chunk out.

        Raises
        ------
        InputError
            If a year cannot be planned or billed, with the names of household, driving and rates before the reason.
        """
        found = []
        for unit in self.units:
            try:
                found += unit_rows(unit)
            except InputError as error:
                names = (unit.household_name, unit.driving_name, ", ".join(unit.tariffs))
                raise InputError(f"{' / '.join(names)}: {error}") from error
        return found


@dataclass(frozen=True)
class Cut:
    """How a study is cut: the same for the same study, whoever works it out.

    Parameters
    ----------
    chunk_cells : int
        Years in a chunk, unless a unit has more.
    per_chunk : int
        Units in a chunk.
    chunks : int
        Number of chunks.

    Examples
    --------
    >>> from datetime import date
    >>> from chargeplan.household import load_household
    >>> from chargeplan.tariff import load_tariff
    >>> home = load_household("demo")
    >>> homes = {f"home {n}": home for n in range(1000)}
    >>> Cut.of(Study("many", homes, {"flat": load_tariff("flat")}, date(2026, 1, 1), 365))
    Cut(chunk_cells=15, per_chunk=15, chunks=67)
    """

    chunk_cells: int
    per_chunk: int
    chunks: int

    @classmethod
    def of(cls, study: Study, chunk_cells: int | None = None) -> Cut:
        """Decide how to cut a study.

        Parameters
        ----------
        study : Study
            What is compared.
        chunk_cells : int, optional
            Years in a chunk; chosen by the size of the study without.

        Raises
        ------
        InputError
            If it is not at least 1.
        """
        if chunk_cells is None:
            most = _SLOW_YEARS if plans_night_by_night(study) else _YEARS
            chunk_cells = max(1, min(most, study.cells // _CHUNKS))
        elif isinstance(chunk_cells, bool) or not isinstance(chunk_cells, int) or chunk_cells < 1:
            raise InputError(f"chunks of {chunk_cells!r} years cannot be; give chunk_cells=1 or more")
        parts = rates_together(study)
        per_unit = max(map(len, parts)) * len(study.equipment)
        per_chunk = max(1, chunk_cells // per_unit)
        count = len(study.households) * study.drawn * len(parts)
        return cls(chunk_cells, per_chunk, -(-count // per_chunk))

    def chunks_of(self, study: Study) -> Iterator[Chunk]:
        """Make the chunks one by one."""
        units_left = units(study)
        for number in range(self.chunks):
            yield Chunk(number, tuple(islice(units_left, self.per_chunk)))


def plans_night_by_night(study: Study) -> bool:
    """Guess from the first household whether years have to be planned one night after the other."""
    first = study.households[next(iter(study.households))]
    return first.vehicle.taper is not None or first.charger is not None or first.prefer == "fewest starts"


def seconds_of(study: Study) -> float:
    """Guess how long a study takes one process."""
    year_s = _SLOW_YEAR_S if plans_night_by_night(study) else _YEAR_S
    return study.cells * year_s * study.days / 365
