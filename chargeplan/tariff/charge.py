"""One charge of a bill while it is worked out, for one household or for many at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chargeplan.tariff.lines import FloatArray
from chargeplan.tariff.rounding import rounded


@dataclass(frozen=True, eq=False)
class Charge:
    """A quantity at a price.

    Parameters
    ----------
    name, kind : str
        As in `BillItem`.
    quantity : float array, shape (households,)
        How much was counted.
    unit : str
        What was counted.
    price : float
        Amount per unit.
    amount : float array, shape (households,)
        Quantity times price, rounded as the sheet says.
    period, season : str
        As in `BillItem`.
    tier : int
        As in `BillItem`.
    place, version : str
        As in `BillItem`.
    rounding : str, optional
        What the line says of its own rounding.
    """

    name: str
    kind: str
    quantity: FloatArray
    unit: str
    price: float
    amount: FloatArray
    period: str = ""
    season: str = ""
    tier: int = 0
    place: str = ""
    version: str = ""
    rounding: str | None = None

    def rounded(self, decimals: int | None, rule: str = "half up") -> Charge:
        """Round the amount."""
        return self if decimals is None else self._with(rounded(self.amount, decimals, rule), self.version)

    def digits(self, decimals: int | None) -> int | None:
        """Tell how many digits after the point the amount has; None where a line is left unrounded."""
        if decimals is None or abs(float(self.amount[0]) - float(rounded(self.amount, decimals)[0])) > 1e-9:
            return None
        return decimals

    def without_version(self) -> Charge:
        """Leave the version out."""
        return self._with(self.amount, "") if self.version else self

    def _with(self, amount: FloatArray, version: str) -> Charge:
        # Many times faster than dataclasses.replace, and this is done for every item of every bill.
        same = self.name, self.kind, self.quantity, self.unit, self.price
        return Charge(*same, amount, self.period, self.season, self.tier, self.place, version, self.rounding)


def sum_of(charges: list[Charge], households: int) -> FloatArray:
    """Add the amounts of charges."""
    total: FloatArray = np.zeros(households)
    for charge in charges:
        total = total + charge.amount
    return total
