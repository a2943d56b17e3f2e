"""What a price of a file is for: per kWh or MWh, in the currency or in hundredths of it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from decimal import Decimal
from typing import Final

from chargeplan.errors import InputError

_CENTS: Final = ("cents", "cent", "ct", "cts", "pence", "¢")
_ENERGY: Final = {"kwh": "kWh", "mwh": "MWh"}
#: Words that a name of a column or unit may have besides.
_OTHER: Final = ("price", "prices", "rate", "per", "energy", "in")
_WORD: Final = re.compile(r"[a-z]+|¢")


@dataclass(frozen=True)
class PriceUnit:
    """Unit of a price.

    Parameters
    ----------
    per : str
        ``kWh`` or ``MWh``.
    cents : bool
        Whether it is in hundredths of the currency.
    currency : str
        Three letters, if it says which.

    Examples
    --------
    >>> PriceUnit("MWh").decimal_per_kwh, PriceUnit(cents=True).decimal_per_kwh
    (Decimal('0.001'), Decimal('0.01'))
    """

    per: str = "kWh"
    cents: bool = False
    currency: str = ""

    @property
    def decimal_per_kwh(self) -> Decimal:
        """Factor to the currency per kWh."""
        return Decimal("0.001" if self.per == "MWh" else "1") * Decimal("0.01" if self.cents else "1")

    def __str__(self) -> str:
        return f"{'cents' if self.cents else self.currency} per {self.per}".strip()


def parse_unit(text: str) -> PriceUnit:
    """Read a unit as a person writes it.

    Parameters
    ----------
    text : str
        Such as ``MWh``, ``EUR/MWh``, ``cents per kWh``.

    Returns
    -------
    PriceUnit
        The unit.

    Raises
    ------
    InputError
        If it is none.

    Examples
    --------
    >>> parse_unit("EUR/MWh")
    PriceUnit(per='MWh', cents=False, currency='EUR')
    >>> parse_unit("cents")
    PriceUnit(per='kWh', cents=True, currency='')
    """
    found = unit_in_name(text)
    if found is None:
        shown = "".join(character if character.isprintable() else " " for character in text[:40])
        raise InputError(f"`{shown}` is not a unit of prices; write kWh, MWh, cents per kWh or EUR/MWh")
    return found


def unit_in_name(name: str) -> PriceUnit | None:
    """Find the unit that the name of a column says.

    Parameters
    ----------
    name : str
        Such as ``price_per_mwh`` or ``Price (EUR/MWh)``.

    Returns
    -------
    PriceUnit or None
        None if it says none, or has words that do not belong to one.

    Examples
    --------
    >>> unit_in_name("price_ct_per_kwh")
    PriceUnit(per='kWh', cents=True, currency='')
    >>> unit_in_name("load_kwh"), unit_in_name("price")
    (None, None)
    """
    words = _WORD.findall(name.lower())
    energy = [word for word in words if word in _ENERGY]
    cents = [word for word in words if word in _CENTS]
    others = [word for word in words if word not in (*energy, *cents, *_OTHER)]
    currency = [word for word in others if len(word) == 3]
    if len(energy) > 1 or len(cents) > 1 or len(currency) > 1 or others != currency or not (energy or cents):
        return None
    return PriceUnit(_ENERGY[energy[0]] if energy else "kWh", bool(cents), currency[0].upper() if currency else "")
