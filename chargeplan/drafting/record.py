"""One record of the open rate database, checked: what it says in our terms, or every reason why it cannot be read."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from chargeplan.drafting.charges import Charge, read_fixed, read_minimum
from chargeplan.drafting.demand import Demand, read_flat_demand, read_timed_demand
from chargeplan.drafting.envelope import RawRecord
from chargeplan.drafting.fields import Fields
from chargeplan.drafting.hour_grid import HourGrid
from chargeplan.drafting.note import Note
from chargeplan.drafting.record_texts import note_what_is_missing, read_texts
from chargeplan.drafting.structures import Structure, check_limits, read_structure
from chargeplan.drafting.writing import clean_line
from chargeplan.errors import FileError

NET_METERING: Final = "net metering"
BUY_ALL_SELL_ALL: Final = "buy all sell all"
_RULES: Final = (NET_METERING, "net billing instantaneous", "net billing hourly", BUY_ALL_SELL_ALL)


@dataclass(frozen=True)
class Record:
    """What a record says.

    Parameters
    ----------
    label, utility, name, sector, sources, country : str
        As written, on one line.
    start, end : datetime.date or None
        First and last day.
    energy : tuple of Period
        Prices per kWh.
    hours : HourGrid
        Which period each hour is in.
    fuel : tuple of Decimal, or None
        Amounts per kWh for each month, on top.
    flat_demand, timed_demand : Demand or None
        Charges for the highest power, by month and by hour.
    fixed, minimum : Charge or None
        Charges that do not depend on use.
    export_rule : str
        What the record says of what is sold, in small letters; empty for nothing.
    texts : dict
        Texts that no bill can be made of, by what they are.
    notes : tuple of Note
        What was assumed, unclear or left out so far.
    """

    label: str
    utility: str
    name: str
    sector: str
    sources: str
    country: str
    start: date | None
    end: date | None
    energy: Structure
    hours: HourGrid
    fuel: tuple[Decimal, ...] | None
    flat_demand: Demand | None
    timed_demand: Demand | None
    fixed: Charge | None
    minimum: Charge | None
    export_rule: str
    texts: dict[str, str]
    notes: tuple[Note, ...]


def read_record(raw: RawRecord) -> Record:
    """Check a record.

    Parameters
    ----------
    raw : RawRecord
        As it was found.

    Returns
    -------
    Record
        What it says.

    Raises
    ------
    FileError
        With every reason why no sheet can be made of it.
    """
    fields = Fields(raw)
    start, end = _dates(fields)
    structure, hours = _energy(fields)
    note_what_is_missing(fields)
    record = Record(
        label=clean_line(raw.label, 60),
        utility=clean_line(fields.text("utility"), 120),
        name=clean_line(fields.text("name"), 160),
        sector=clean_line(fields.text("sector"), 60),
        sources=" ".join(clean_line(fields.text(key), 400) for key in ("source", "sourceparent")).strip(),
        country=clean_line(fields.text("country"), 60),
        start=start,
        end=end,
        energy=structure or (),
        hours=hours or HourGrid.of([[0] * 24] * 12, [[0] * 24] * 12),
        fuel=_fuel(fields),
        flat_demand=read_flat_demand(fields),
        timed_demand=read_timed_demand(fields),
        fixed=read_fixed(fields),
        minimum=read_minimum(fields),
        export_rule=_export_rule(fields),
        texts=read_texts(fields),
        notes=(),
    )
    if fields.refusals:
        raise FileError(raw.text.mistakes(fields.refusals))
    return Record(**{**record.__dict__, "notes": tuple(fields.notes)})


def _dates(fields: Fields) -> tuple[date | None, date | None]:
    start, end = fields.date("startdate"), fields.date("enddate")
    if not fields.has("startdate"):
        fields.note("unclear", ("effective",), "the record does not say from when it is in force")
    if start and end and end < start:
        fields.note("unclear", ("effective",), f"its last day, {end}, lies before its first; it is taken to have none")
        return start, None
    if end:
        fields.note("assumed", ("until",), "the last day of the record is still in force")
    return start, end


def _energy(fields: Fields) -> tuple[Structure | None, HourGrid | None]:
    if not fields.has("energyratestructure") and fields.has("realtimepricing"):
        what = "there is no energy structure; the hourly prices in `realtimepricing` are another program's own"
        fields.refuse(("realtimepricing",), what, "make a CSV file of dated prices of them")
        return None, None
    structure = read_structure(fields, "energyratestructure", ("prices",), energy=True)
    given = fields.get("energyratestructure")
    count = len(given) if isinstance(given, list) and given else 1_000_000
    weekday, weekend = fields.grid("energyweekdayschedule", count), fields.grid("energyweekendschedule", count)
    if structure is None or weekday is None or weekend is None:
        return structure, None
    hours = HourGrid(weekday, weekend)
    check_limits(fields, "energyratestructure", structure, hours)
    unused = [str(number) for number in range(len(structure)) if number not in hours.numbers]
    if unused:
        some = ", ".join(unused[:12]) + (" ..." if len(unused) > 12 else "")
        fields.note("left out", ("prices",), f"no hour is in period {some} of the record")
    return structure, hours


def _fuel(fields: Fields) -> tuple[Decimal, ...] | None:
    found = fields.months("fueladjustmentsmonthly")
    if found is None or not any(found):
        return None
    text = (
        "the monthly fuel adjustments come on top of the prices; the record does not say whether they are in `adj` too"
    )
    fields.note("unclear", ("adders",), text)
    return found


def _export_rule(fields: Fields) -> str:
    rule = " ".join(fields.text("dgrules").lower().split())
    old = fields.flag("usenetmetering")
    if rule and old is not None and old != (rule == NET_METERING):
        what = f"contradicts `dgrules`, which is `{clean_line(rule, 40)}`"
        fields.refuse(("usenetmetering",), what, "keep the one that is right")
    if rule and rule not in _RULES:
        fields.note("left out", ("export",), f"the rule for what is sold, `{clean_line(rule, 60)}`, is not known")
        return ""
    return rule or (NET_METERING if old else "")
