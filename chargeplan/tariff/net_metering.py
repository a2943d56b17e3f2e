"""Net metering: what a surplus of one bill is worth in the next, and what is settled in the end."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta

import numpy as np

from chargeplan.tariff.bill import Carried
from chargeplan.tariff.bill_days import BillDays
from chargeplan.tariff.charge import Charge
from chargeplan.tariff.lines import FloatArray, NetRule
from chargeplan.tariff.rates import CARRIED
from chargeplan.tariff.rounding import rounded
from chargeplan.tariff.usage import Use


@dataclass(frozen=True, eq=False)
class Net:
    """Settles the net-metered lines of one bill.

    Parameters
    ----------
    rule : NetRule
        What the sheet says.
    days : BillDays
        The days of the bill.
    use : Use
        Its energy.
    decimals : int or None
        Digits of what is carried; None where nothing is rounded before the total.
    """

    rule: NetRule
    days: BillDays
    use: Use
    decimals: int | None = None

    def settle(self, netted: FloatArray, carried: Carried) -> tuple[list[Charge], Carried]:
        """Carry a credit on, use up one, and settle what is left when it is time.

        Parameters
        ----------
        netted : float array, shape (households,)
            Sum of the net-metered lines; negative for a credit.
        carried : Carried
            What earlier bills left.

        Returns
        -------
        tuple of (list of Charge, Carried)
            Further items, and what is left for the next bill.
        """
        before = np.asarray(carried.credit) + np.zeros(netted.size)
        surplus = np.asarray(carried.surplus_kwh) + self.use.sold_kwh - self.use.bought_kwh
        amount = np.where(netted < 0, -netted, -np.minimum(before, np.maximum(netted, 0.0)))
        amount = rounded(amount, self.decimals)  # what is printed is what is carried, also from lines left unrounded
        after = before + amount
        if self.rule.carry == "nothing":
            amount, after = np.maximum(amount, 0.0), np.zeros(netted.size)
        charges = [self._charge(CARRIED, amount, "carried")] if amount.any() else []
        if self.days.last.month == self.rule.true_up and self._is_last_of_month():
            left_kwh = np.maximum(surplus, 0.0)
            if self.rule.surplus == "paid" and after.any():
                charges.append(self._charge("surplus", -after, "export"))
            elif isinstance(self.rule.surplus, float | int) and self.rule.surplus and left_kwh.any():
                price = -float(self.rule.surplus)
                amount = price * left_kwh
                charges.append(Charge("surplus", "export", left_kwh, "kWh", price, amount, place=self.rule.place))
            after, surplus = np.zeros(netted.size), np.zeros(netted.size)
        return charges, replace(carried, credit=_one(after), surplus_kwh=_one(surplus))

    def _is_last_of_month(self) -> bool:
        """Tell whether the bill ends on the eve of a reading day."""
        return (self.days.last + timedelta(days=1)).day == self.days.billing.reading_day

    def _charge(self, name: str, amount: FloatArray, kind: str) -> Charge:
        quantity = np.ones(amount.size)
        return Charge(name, kind, quantity, "", float(amount[0]), amount, place=self.rule.place)


def _one(values: FloatArray) -> float:
    """Keep a plain number for one household, arrays for many."""
    return float(values[0]) if values.size == 1 else values  # type: ignore[return-value]
