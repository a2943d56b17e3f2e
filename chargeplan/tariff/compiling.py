"""From what a sheet says to its versions, with every contradiction reported at its place."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import timedelta
from typing import Any

from chargeplan.clock import day_number
from chargeplan.errors import InputError, Mistake
from chargeplan.reading import Document, KeyPath
from chargeplan.tariff.calendar import DayTable
from chargeplan.tariff.complaints import Complaints
from chargeplan.tariff.energy_lines import LineMaker
from chargeplan.tariff.other_charges import ChargeMaker
from chargeplan.tariff.rates import Rates
from chargeplan.tariff.sheet import Override, Sheet, Terms
from chargeplan.tariff.sheet_clock import SheetClock
from chargeplan.tariff.tables import LONG_AGO, TableMaker


@dataclass(frozen=True)
class _Piece:
    """A span of days with one set of terms."""

    first: int
    last: int | None
    terms: dict[str, Any]
    origin: dict[str, KeyPath]
    period: str | None = None


@dataclass
class Compiler:
    """Turns one checked sheet into its versions, collecting mistakes.

    Parameters
    ----------
    document : Document
        The file, for the places of mistakes.
    broken : frozenset of paths
        Values the model was built without; nothing is said of their absence.
    """

    document: Document
    broken: frozenset[KeyPath] = frozenset()
    complaints: Complaints = field(init=False)
    _tables: dict[tuple[object, ...], DayTable] = field(default_factory=dict)

    def __post_init__(self) -> None:
        known = {info.alias or name for name, info in Sheet.model_fields.items()}
        strange = any(len(path) == 1 and path[0] not in known for path in self.broken)
        self.complaints = Complaints(self.document, self.broken, strange=strange)

    @property
    def mistakes(self) -> list[Mistake]:
        """What was found to be wrong."""
        return self.complaints.mistakes

    def clock(self, sheet: Sheet) -> SheetClock | None:
        """Work out the clock that the sheet's hours are read on."""
        try:
            clock = sheet.clock
            value = clock if isinstance(clock, str) else {"forward": clock.forward, "back": clock.back}
            return SheetClock.build(sheet.timezone, value)
        except InputError as error:
            self.complaints.add_error(("clock",), error)
            return None

    def versions(self, sheet: Sheet) -> tuple[Rates, ...]:
        """Work out every version of the sheet.

        Parameters
        ----------
        sheet : Sheet
            The checked model.

        Returns
        -------
        tuple of Rates
            Oldest first; to be used only if `mistakes` stayed empty.
        """
        pieces = self._with_overrides(self._pieces(sheet), sheet.overrides)
        scale = 0.01 if sheet.price_unit == "cents" else 1.0
        found = [self._rates(piece, sheet, scale) for piece in pieces]
        return tuple(rates for rates in found if rates is not None)

    def _pieces(self, sheet: Sheet) -> list[_Piece]:
        fields = Terms.model_fields
        terms: dict[str, Any] = {name: getattr(sheet, name) for name in fields}
        origin: dict[str, KeyPath] = dict.fromkeys(fields, ())
        first = day_number(sheet.effective) if sheet.effective else LONG_AGO
        last = day_number(sheet.until) if sheet.until else None
        if last is not None and last < first:
            self.complaints.add(("until",), f"the sheet ends on {sheet.until}, before it begins", "give a later date")
        starts = [first, *(day_number(version.from_) for version in sheet.versions)]
        ends = [*(start - 1 for start in starts[1:]), last]
        pieces = [_Piece(first, ends[0], terms, origin)]
        for position, version in enumerate(sheet.versions):
            path: KeyPath = ("versions", position)
            if starts[position + 1] <= starts[position]:
                what = f"{version.from_} is not after the version before it"
                self.complaints.add((*path, "from"), what, "put the oldest first")
            if last is not None and starts[position + 1] > last:
                self.complaints.add((*path, "from"), f"{version.from_} is after the sheet ends", "give an earlier date")
            pieces.append(_changed(pieces[-1], version, path, starts[position + 1], ends[position + 1]))
        return pieces

    def _with_overrides(self, pieces: list[_Piece], overrides: list[Override]) -> list[_Piece]:
        taken: list[tuple[int, int]] = []
        for position, override in enumerate(overrides):
            path: KeyPath = ("overrides", position)
            if (override.to is None) == (override.days is None):
                what = "neither `to` nor `days` is given" if override.to is None else "both `to` and `days` are given"
                self.complaints.add(path, what, "say the last day, or how many days")
                continue
            first = day_number(override.from_)
            end = override.to or override.from_ + timedelta(days=(override.days or 1) - 1)
            last = day_number(end)
            if last < first:
                self.complaints.add((*path, "to"), f"{end} is before {override.from_}", "give a later date")
                continue
            if any(first <= other_last and other_first <= last for other_first, other_last in taken):
                what = f"{override.from_} to {end} overlaps another override"
                self.complaints.add((*path, "from"), what, "let each day be in one override")
                continue
            taken.append((first, last))
            pieces = [part for piece in pieces for part in self._cut(piece, override, path, first, last)]
        return pieces

    def _cut(self, piece: _Piece, override: Override, path: KeyPath, first: int, last: int) -> list[_Piece]:
        begin = max(first, piece.first)
        end = last if piece.last is None else min(last, piece.last)
        if begin > end:
            return [piece]
        inside = replace(_changed(piece, override, path, begin, end), period=override.period)
        if override.period is not None and override.period not in (inside.terms["periods"] or {}):
            known = ", ".join(inside.terms["periods"] or {}) or "none"
            what = f"`{override.period}` is not a period of this sheet"
            self.complaints.add((*path, "period"), what, f"known are {known}")
            inside = replace(inside, period=None)
        before = [replace(piece, last=begin - 1)] if begin > piece.first else []
        after = [replace(piece, first=end + 1)] if piece.last is None or end < piece.last else []
        return [*before, inside, *after]

    def _rates(self, piece: _Piece, sheet: Sheet, scale: float) -> Rates | None:
        self.complaints.origin = piece.origin
        terms = Terms.model_construct(**piece.terms)
        maker = TableMaker(
            self.complaints,
            terms,
            sheet.timezone,
            sheet.billing.reading_day,
            piece.first,
            piece.last,
            self._tables,
        )
        maker.add_main(piece.period)
        lines = LineMaker(self.complaints, maker, scale)
        rates = Rates(piece.first, (), lines.bought(), lines.sold(), market=lines.market())
        rates = ChargeMaker(self.complaints, lines).complete(rates)
        return replace(rates, tables=tuple(maker.tables)) if maker.good else None


def _changed(piece: _Piece, change: Terms, path: KeyPath, first: int, last: int | None) -> _Piece:
    changes = {name: getattr(change, name) for name in Terms.model_fields if getattr(change, name) is not None}
    terms, origin = dict(piece.terms), dict(piece.origin)
    for pair in (("prices", "components"), ("export", "export_components")):
        if any(name in changes for name in pair):
            terms |= dict.fromkeys(pair)
    return _Piece(first, last, terms | changes, origin | dict.fromkeys(changes, path))
