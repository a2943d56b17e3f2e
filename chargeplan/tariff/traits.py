"""What a reader of a sheet's prices should know about the whole sheet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

from pydantic import BaseModel

from chargeplan.tariff.line_models import Case
from chargeplan.tariff.phrases import Tiers
from chargeplan.tariff.tariff import Tariff

#: Where prices per kWh stand.
_PRICES: Final = ("prices", "components", "adders")


@dataclass(frozen=True)
class Traits:
    """What prices by the hour do not tell.

    Parameters
    ----------
    tiers : bool
        Whether the price of a kWh also depends on the use of the bill; prices by the hour are then those
        of the first kWh.
    other_clock : bool
        Whether the sheet's hours are not those of the wall clock.
    called : tuple of str
        Kinds of days that somebody calls.
    """

    tiers: bool = False
    other_clock: bool = False
    called: tuple[str, ...] = ()


def traits_of(tariff: Tariff) -> Traits:
    r"""Find what is special about a sheet, in any of its versions.

    Examples
    --------
    >>> from chargeplan.tariff import read_tariff
    >>> head = "name: A\ncurrency: USD\ntimezone: America/Denver\n"
    >>> traits_of(read_tariff(head + "prices: 0.1 up to 600 then 0.2\nclock: UTC"))
    Traits(tiers=True, other_clock=True, called=())
    """
    sheet = tariff.sheet
    terms = (sheet, *sheet.versions, *sheet.overrides)
    return Traits(
        any(_tiered(getattr(part, name)) for part in terms for name in _PRICES),
        sheet.clock != "wall",
        tuple(dict.fromkeys(kind for part in terms for kind in part.called or ())),
    )


def _tiered(value: Any) -> bool:
    return isinstance(value, Tiers | Case) or any(_tiered(inner) for inner in _inside(value))


def _inside(value: Any) -> Iterator[Any]:
    if isinstance(value, dict):
        yield from value.values()
    elif isinstance(value, list):
        yield from value
    elif isinstance(value, BaseModel):
        yield from (getattr(value, name) for name in type(value).model_fields)
