"""The price of one more kWh beside what is bought already, from the arrays a bill rises by."""

from __future__ import annotations

import numpy as np

from chargeplan.tariff.bill_shape import WITHIN_KWH, BillShape, ChoiceShape, CrossingShape, TierShape
from chargeplan.tariff.lines import FloatArray


def next_kwh_price(shape: BillShape, more_kwh: FloatArray) -> FloatArray:
    """Give what one more kWh adds to a bill in each interval, charges for the highest power left out.

    Parameters
    ----------
    shape : BillShape
        What the bill rises by.
    more_kwh : float array, shape (n,)
        Energy bought on top of its load already.

    Returns
    -------
    float array, shape (n,)
        By the tier that is reached; 0 where only the minimum is paid in any case.

    Examples
    --------
    >>> one = np.ones(1)
    >>> tier = TierShape(one, kwh=0.0, limits=np.array([10.0]), rise=np.array([0.3]), weight=1.0, in_minimum=1.0)
    >>> shape = BillShape(0, 3600, 0.1 * one, 0.1 * one, (tier,), (), None)
    >>> [round(float(next_kwh_price(shape, kwh * one)[0]), 2) for kwh in (9.0, 10.0)]
    [0.1, 0.4]
    """
    price, counted = shape.price.copy(), shape.in_minimum.copy()
    sums: tuple[TierShape | CrossingShape | ChoiceShape, ...] = (*shape.tiers, *shape.crossings, *shape.choices)
    for part in sums:
        slope = _slope(part, more_kwh)
        price += part.weight * slope
        counted += part.in_minimum * slope
    if shape.minimum is not None:
        paid = float(shape.in_minimum @ more_kwh) + sum(part.in_minimum * part.cost(more_kwh) for part in shape.parts)
        if paid < shape.minimum.missing:
            # What is bought is topped up by as much less.
            price -= shape.minimum.weight * counted
    return price


def _slope(part: TierShape | CrossingShape | ChoiceShape, more_kwh: FloatArray) -> FloatArray:
    """Give what one more kWh adds to a part in each interval, before weights."""
    if isinstance(part, TierShape):
        total = part.kwh + float(part.share @ more_kwh)
        return np.asarray(part.share * float(part.rise[total >= part.limits - WITHIN_KWH].sum()))
    counted = part.house_kwh + part.share * more_kwh
    if isinstance(part, ChoiceShape):
        return np.asarray(part.share * part.price[part.chosen(float(counted.sum()) + 2 * WITHIN_KWH)])
    # More energy before the limit is crossed moves the crossing: a kWh less of that interval is below it.
    above = np.flatnonzero(np.cumsum(counted) >= part.limit - WITHIN_KWH)
    if not above.size:
        return np.zeros(counted.size)
    return np.asarray(part.share * part.step[np.maximum(np.arange(counted.size), above[0])])
