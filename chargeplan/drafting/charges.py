"""The charges of a record that do not depend on use: fixed and minimum, in the names of old and new versions."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal
from typing import Final, Literal

from chargeplan.drafting.fields import Fields
from chargeplan.drafting.writing import clean_line, plain_number

ChargePer = Literal["day", "month", "year"]
_UNITS: Final[dict[str, ChargePer]] = {"$/day": "day", "$/month": "month", "$/year": "year"}
#: How often a year has each.
_TIMES: Final[dict[ChargePer, int]] = {"day": 365, "month": 12, "year": 1}
_OLD_MINIMUMS: Final[tuple[tuple[str, ChargePer], ...]] = (("minmonthlycharge", "month"), ("annualmincharge", "year"))


@dataclass(frozen=True)
class Charge:
    """An amount per time.

    Parameters
    ----------
    amount : Decimal
        In the currency.
    per : str
        ``day``, ``month`` or ``year``.
    """

    amount: Decimal
    per: ChargePer

    def __str__(self) -> str:
        return f"{plain_number(self.amount)} per {self.per}"


def read_fixed(fields: Fields) -> Charge | None:
    """Read the fixed charge, under either of its names."""
    new = _charge(fields, "fixedchargefirstmeter", "fixedchargeunits")
    value = fields.get("fixedmonthlycharge")
    amount = None if value is None else fields.amount(("fixedmonthlycharge",), value)
    old = None if amount is None else Charge(amount, "month")
    if new and old and new != old:
        what = f"two different fixed charges, {old} here and {new} in `fixedchargefirstmeter`"
        fields.refuse(("fixedmonthlycharge",), what, "keep the one that is right")
    found = new or old
    return found if found and found.amount else None


def read_minimum(fields: Fields) -> Charge | None:
    """Read the least that a bill comes to; a sheet can hold one."""
    found: dict[ChargePer, Decimal] = {}
    new = _charge(fields, "mincharge", "minchargeunits")
    if new:
        found[new.per] = new.amount
    for key, per in _OLD_MINIMUMS:
        value = fields.get(key)
        amount = None if value is None else fields.amount((key,), value)
        if amount is not None and found.setdefault(per, amount) != amount:
            what = f"two different minimum charges, {plain_number(amount)} here and {new} in `mincharge`"
            fields.refuse((key,), what, "keep the one that is right")
    found = {per: amount for per, amount in found.items() if amount}
    if not found:
        return None
    largest = max(found, key=lambda per: (found[per] * _TIMES[per], _TIMES[per]))
    kept = Charge(found[largest], largest)
    fields.note("assumed", ("minimum",), "the whole bill is topped up to it; some utilities top up delivery only")
    for per, amount in found.items():
        if per != largest:
            other = Charge(amount, per)
            reached = largest != "year" and amount * _TIMES[per] <= kept.amount * _TIMES[largest]
            why = "which is reached anyway" if reached else f"beside the one of {kept}; a sheet can hold one"
            fields.note("left out", ("minimum",), f"a minimum of {other}, {why}")
    return kept


def _charge(fields: Fields, key: str, units_key: str) -> Charge | None:
    """Read an amount with its unit."""
    value = fields.get(key)
    if value is None:
        return None
    amount = fields.amount((key,), value)
    unit = fields.text(units_key)
    place = "fixed" if key.startswith("fixed") else "minimum"
    if not unit:
        fields.note("assumed", (place,), "the record gives no unit; $/month is taken")
    per: ChargePer | None = _UNITS.get("".join(unit.lower().split())) if unit else "month"
    if per is None:
        fields.refuse(
            (units_key,), f"the unit `{clean_line(unit, 30)}` is not known", "$/day, $/month or $/year can be read"
        )
    return Charge(amount, per) if amount is not None and per else None
