"""What bills rise by when more is bought: the difference of two bills, worked out by the sheet itself."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from chargeplan.clock import day_number
from chargeplan.tariff.bill_days import billing_months
from chargeplan.tariff.billing import Known
from chargeplan.tariff.bills import BillDesk
from chargeplan.tariff.lines import FloatArray
from chargeplan.tariff.next_kwh import next_kwh_metered
from chargeplan.tariff.usage import IntervalUse, Metered


@dataclass(frozen=True, eq=False)
class BillRise:
    """The unrounded bills of a load, with and without energy on top.

    Whatever a sheet may say is in them, since both are worked out as every bill is.

    Parameters
    ----------
    desk : BillDesk
        The sheet.
    found : Metered
        The load of one household, in whole billing months or the rest of one.
    known : Known
        What else is known of the first bill, and which power later ones are expected to reach.
    """

    desk: BillDesk
    found: Metered
    known: Known

    @property
    def intervals(self) -> int:
        """Number of intervals as they were read."""
        return self.found.start_s.size * self.found.step_s // self.found.read_step_s

    @cached_property
    def before(self) -> float:
        """What the bills come to without anything on top."""
        return self._total(self.found)

    def cost(self, more_kwh: FloatArray) -> float:
        """Give what the bills rise by.

        Parameters
        ----------
        more_kwh : float array, shape (intervals,)
            Energy bought on top in each interval, as they were read; not negative.

        Returns
        -------
        float
        """
        return self._total(self.with_more(more_kwh)) - self.before if more_kwh.any() else 0.0

    def next_kwh(self, more_kwh: FloatArray) -> FloatArray:
        """Give the price of one more kWh in each interval, beside some energy on top.

        Parameters
        ----------
        more_kwh : float array, shape (intervals,)
            As for `cost`.

        Returns
        -------
        float array, shape (intervals,)
        """
        return next_kwh_metered(self.desk, self.with_more(more_kwh), self.known)

    def with_more(self, more_kwh: FloatArray) -> Metered:
        """Give the load with energy on top."""
        parts = self.found.read_step_s // self.found.step_s
        more = np.repeat(more_kwh / parts, parts)[:, None]
        return replace(self.found, bought=self.found.bought + more)

    def _total(self, found: Metered) -> float:
        """Add up the bills, each handing on to the next."""
        known, total = self.known, 0.0
        first, last = self.desk.days_of(found)
        for begin, finish in billing_months(first, last, self.desk.billing.reading_day):
            use = IntervalUse(self.desk.timeline, found, day_number(begin), day_number(finish))
            maker = self.desk.maker(use, begin, finish, known)
            maker.unrounded = True
            worked = maker.work()
            total += float(worked.total[0])
            known = replace(known, carried=worked.carried, reached_kw=known.reached_later_kw)
        return total
