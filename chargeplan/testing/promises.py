"""What a rate sheet promises, and so which laws its bills must keep."""

from __future__ import annotations

import numpy as np

from chargeplan.tariff.lines import EnergyLine
from chargeplan.tariff.rates import Rates
from chargeplan.tariff.tariff import Tariff


def has_own_rounding(tariff: Tariff) -> bool:
    """Tell whether a line of a sheet is rounded otherwise than its bills."""
    lines = (line for rates in tariff.versions for line in (*rates.bought, *rates.sold))
    return any(line.rounding not in (None, "none") for line in lines)


def lines_without_tiers(tariff: Tariff) -> list[str]:
    """Name the lines for kWh bought whose price never depends on how much is used."""
    lines = [line for rates in tariff.versions for line in rates.bought]
    tiered = {line.name for line in lines if line.tiered}
    return [name for name in dict.fromkeys(line.name for line in lines) if name not in tiered]


def never_cheaper(tariff: Tariff) -> bool:
    """Tell whether a sheet promises that more use never costs less."""
    return all(_never_cheaper(rates, len(tariff.versions) == 1) for rates in tariff.versions)


def _never_cheaper(rates: Rates, alone: bool) -> bool:
    if rates.market is not None or not all(_keeps_later_use(line, alone) for line in rates.lines):
        return False
    if any(percent.share < 0 for percent in rates.percents) or any(line.price.min() < 0 for line in rates.demand):
        return False
    for fixed in rates.fixed:
        steps = fixed.by_use.prices if fixed.by_use is not None else (0.0, fixed.charge.amount)
        if any(np.diff(steps) < 0):
            return False
    lowest = 0.0
    for number in dict.fromkeys(line.table for line in rates.lines):
        lines = [line for line in rates.lines if line.table == number]
        price = np.sum([line.cases[0].price.min(axis=0) for line in lines], axis=0)
        charged = np.any([line.charged for line in lines], axis=0)
        # Nothing is charged outside a line's own hours, but a cell of the sheet's own table without a price is no time.
        lowest += float(np.min(price[charged] if number == 0 else price, initial=np.inf))
    return lowest >= 0


def _keeps_later_use(line: EnergyLine, alone: bool) -> bool:
    """Tell whether more use never moves other use to a cheaper tier.

    Where tiers fall, a cheap kWh early in the month moves a dear one of a later period past the limit; only a line that
    costs the same at all times is free of that. Losses are charged at the last tier reached, in whichever period.
    """
    if not line.tiered:
        return True
    if len(line.cases) > 1 or line.counts == "losses":
        return False
    price = line.cases[0].price
    rises = bool((np.diff(price, axis=0) >= 0).all())
    charged = price[:, line.charged]
    same = alone and bool(line.charged.all()) and bool((charged == charged[:, :1]).all())
    return rises or same
