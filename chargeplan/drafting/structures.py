"""Prices of a record by period and tier: `energyratestructure` and the demand structures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, Final

from chargeplan.drafting.fields import Fields
from chargeplan.drafting.hour_grid import HourGrid
from chargeplan.drafting.writing import plain_number
from chargeplan.reading import KeyPath
from chargeplan.tariff.phrases import MAX_TIERS

#: No record has more.
MAX_PERIODS: Final = 600
#: A limit at or above this stands for none; records write 1e38.
NO_LIMIT: Final = Decimal(10) ** 30


@dataclass(frozen=True)
class Tier:
    """One price of a period.

    Parameters
    ----------
    rate, adj : Decimal
        Their sum is the price, per kWh or kW.
    limit : Decimal or None
        Cumulative upper limit; None for the last tier.
    sell : Decimal or None
        What a kWh sold earns; None where the record does not say.
    """

    rate: Decimal
    adj: Decimal = Decimal(0)
    limit: Decimal | None = None
    sell: Decimal | None = None

    @property
    def price(self) -> Decimal:
        """What is paid, exactly."""
        return self.rate + self.adj


@dataclass(frozen=True)
class Period:
    """The tiers of one period.

    Parameters
    ----------
    tiers : tuple of Tier
        At least one, the last without a limit.
    per_day : bool
        Whether the limits are per day of the bill.
    """

    tiers: tuple[Tier, ...]
    per_day: bool = False

    @property
    def limits(self) -> tuple[Decimal, ...]:
        """Limits of all tiers but the last."""
        return tuple(tier.limit for tier in self.tiers if tier.limit is not None)

    @property
    def prices(self) -> tuple[Decimal, ...]:
        """Price of each tier."""
        return tuple(tier.price for tier in self.tiers)

    def text(self, amounts: Sequence[Decimal]) -> Decimal | str:
        """Write amounts, one for each tier, in the words of a sheet; one number if there is one tier."""
        if len(self.tiers) == 1:
            return amounts[0]
        per = " per day" if self.per_day else ""
        steps = [f"{plain_number(a)} up to {plain_number(b)}{per}" for a, b in zip(amounts, self.limits, strict=False)]
        return " then ".join([*steps, plain_number(amounts[-1])])


Structure = tuple[Period, ...]


def read_structure(fields: Fields, key: str, place: KeyPath, *, energy: bool) -> Structure | None:
    """Read the prices of a record by period and tier.

    Parameters
    ----------
    fields : Fields
        The record; what is wrong is refused there.
    key : str
        Name of the field.
    place : path
        Where in the sheet notes belong.
    energy : bool
        Whether prices are per kWh, with units of the limits and prices of what is sold; otherwise
        per kW.

    Returns
    -------
    tuple of Period or None
        None if something in it was refused.
    """
    value = fields.get(key)
    if not isinstance(value, list) or not value:
        what = "is missing" if value is None else "is empty" if value == [] else "is no list of periods"
        fields.refuse((key,), what, "there is no sheet without prices; choose another record")
        return None
    if len(value) > MAX_PERIODS:
        fields.refuse((key,), f"{len(value):,} periods are too many", f"{MAX_PERIODS} can be read")
        return None
    before = len(fields.refusals)
    periods = tuple(_period(fields, (key, number), tiers, place, energy) for number, tiers in enumerate(value))
    return periods if len(fields.refusals) == before else None


def _period(fields: Fields, path: KeyPath, value: Any, place: KeyPath, energy: bool) -> Period:
    nothing = Period((Tier(Decimal(0)),))
    tiers = fields.mappings(path, value)
    if not tiers:
        if value == []:
            fields.refuse(path, "the period has no tiers", "one with a rate is wanted")
        return nothing
    if len(tiers) > MAX_TIERS:
        fields.refuse(path, f"{len(tiers)} tiers are too many", f"{MAX_TIERS} can be read")
        return nothing
    found = [_tier(fields, (*path, number), tier, energy) for number, tier in enumerate(tiers)]
    limits = _limits(fields, path, tiers, place)
    per_day = _is_per_day(fields, path, tiers, place) if energy else False
    if per_day and limits and limits[0] is not None and limits[0] > 200:
        what = f"the first tier ends at {plain_number(limits[0])} kWh a day; a month may be meant"
        fields.note("unclear", place, f"period {path[-1]}: {what}")
    rows = zip(found, limits, strict=True)
    return Period(tuple(Tier(rate, adj, limit, sell) for (rate, adj, sell), limit in rows), per_day)


def _tier(fields: Fields, path: KeyPath, tier: dict[str, Any], energy: bool) -> tuple[Decimal, Decimal, Decimal | None]:
    amounts: dict[str, Decimal] = {}
    for name in ("rate", "adj", *(["sell"] if energy else [])):
        if tier.get(name) is not None:
            number = fields.amount((*path, name), tier[name])
            amounts[name] = Decimal(0) if number is None else number
        elif name == "rate":
            fields.refuse(path, "the tier has no rate", "every tier needs one; 0 is a rate too")
    price = amounts.get("rate", Decimal(0)) + amounts.get("adj", Decimal(0))
    if price < 0:
        fields.note("unclear", (), f"period {path[1]}: a price of {plain_number(price)} is less than nothing")
    return amounts.get("rate", Decimal(0)), amounts.get("adj", Decimal(0)), amounts.get("sell")


def _limits(fields: Fields, path: KeyPath, tiers: list[dict[str, Any]], place: KeyPath) -> list[Decimal | None]:
    """Read the limits, which count from zero and rise; the last tier has none."""
    found: list[Decimal | None] = []
    below = Decimal(0)
    for number, tier in enumerate(tiers):
        last = number == len(tiers) - 1
        here = (*path, number, "max")
        value = tier.get("max")
        limit = None if value is None else fields.number(here, value)
        endless = limit is None or limit >= NO_LIMIT
        if value is not None and limit is None:
            found.append(None)
        elif endless and not last:
            fields.refuse((*path, number), "the tier has no `max`, but another follows", "only the last has no limit")
            found.append(None)
        elif endless:
            found.append(None)
        elif limit is not None and limit <= below:
            what = f"`max` {plain_number(limit)} does not rise above {plain_number(below)}"
            fields.refuse(here, what, "limits count from zero, so each is more than the one before it")
            found.append(None)
        elif last:
            what = f"the last tier ends at {plain_number(limit)}; what is used beyond it costs the same"  # type: ignore[arg-type]
            fields.note("assumed", place, f"period {path[-1]}: {what}")
            found.append(None)
        else:
            found.append(limit)
            below = limit or below
    return found


def _is_per_day(fields: Fields, path: KeyPath, tiers: list[dict[str, Any]], place: KeyPath) -> bool:
    """Read the unit of the limits: kWh of a month, or kWh of a day times the days of the bill."""
    units: dict[str, int] = {}
    for number, tier in enumerate(tiers):
        unit = tier.get("unit")
        if unit is None or unit == "":
            continue
        word = " ".join(unit.lower().split()) if isinstance(unit, str) else str(unit)
        if word not in ("kwh", "kwh daily", "kwh/kw", "kwh/kw daily"):
            what = f"the unit `{str(unit)[:30]}` is not known"
            fields.refuse((*path, number, "unit"), what, "kWh and kWh daily can be read")
            return False
        units.setdefault(word, number)
    if len(tiers) == 1:
        return False  # a price without a limit needs no unit
    hours_of_use = [word for word in units if word.startswith("kwh/kw")]
    if hours_of_use:
        what = f"tiers in {'kWh/kW'} end at so many hours of the highest demand, which a sheet cannot say"
        fields.refuse(
            (*path, units[hours_of_use[0]], "unit"), what, "choose another record, or write the sheet by hand"
        )
    elif len(units) > 1:
        what = f"the tiers of one period have limits in {' and in '.join(units)}"
        fields.refuse(path, what, "one unit is wanted")
    elif not units:
        fields.note("assumed", place, f"period {path[-1]}: limits of tiers have no unit and are taken as kWh per month")
    return "kwh daily" in units


def check_limits(fields: Fields, key: str, structure: Structure, hours: HourGrid) -> None:
    """Refuse tiers that differ between the periods of one month; one running total cannot follow both."""
    seen: set[frozenset[Period]] = set()
    per_day = {structure[number].per_day for number in hours.numbers if structure[number].limits}
    if len(per_day) > 1:
        what = "limits of tiers are per day in some months and per month in others"
        fields.refuse((key,), what, "a sheet has one unit for all; choose another record")
        return
    for month in range(12):
        numbers = hours.in_month(month)
        periods = frozenset(structure[number] for number in numbers)
        if periods in seen:
            continue
        seen.add(periods)
        longest = max((structure[number].limits for number in numbers), key=len)
        for number in numbers:
            limits = structure[number].limits
            if limits != longest[: len(limits)]:
                shown = " and ".join(", ".join(map(plain_number, found)) for found in (limits, longest))
                what = f"tiers end at {shown} in periods of the same month ({month + 1}), for which no rule is known"
                fields.refuse((key, number), what, "choose another record, or write the sheet by hand")
                return
        if any(len(structure[number].limits) < len(longest) for number in numbers):
            place = "prices" if key == "energyratestructure" else "demand"
            text = "periods of one month have different numbers of tiers; the last tier of the shorter one goes on"
            fields.note("assumed", (place,), text)
