"""Laws that every sound tariff keeps, to be called from tests of your own.

Each law takes a tariff and a load, tells whether it applies to such a sheet, and raises an AssertionError with a plain
message where the law is broken. `check_all` tries them all.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import pairwise
from math import gcd
from typing import TYPE_CHECKING, Final

import numpy as np

from chargeplan.tariff.tariff import Tariff
from chargeplan.testing.made_up_load import example_load, first_days, more_use, span, step, with_more
from chargeplan.testing.promises import has_own_rounding, lines_without_tiers, never_cheaper

if TYPE_CHECKING:
    import pandas as pd

    from chargeplan.tariff.bill import Bill

#: Amounts that are not rounded may differ by this share of them, and by this much, in a computer's arithmetic.
_RELATIVE, _ABSOLUTE = 1e-9, 1e-7
#: A little more use, in kWh; a power of two, so that adding it is exact.
_LITTLE_KWH: Final = 2.0**-10
Law = Callable[[Tariff, "pd.Series[float]"], bool]


def every_minute_has_a_price(tariff: Tariff, load: pd.Series[float]) -> bool:
    """Check that every minute of the load's time is in a period of the sheet and has a price that is a number.

    Parameters
    ----------
    tariff : Tariff
        Any.
    load : pandas.Series, shape (n,)
        kWh per interval, indexed by their zone-aware starts.

    Returns
    -------
    bool
        True: it applies to every sheet.
    """
    start, end = span(load)
    frame = tariff.frame(start, end, gcd(tariff.resolution_min, 15))
    known = {name for rates in tariff.versions for name in rates.tables[0].periods}
    for moment in frame.index[~frame["period"].isin(known)][:1]:
        raise AssertionError(f"at {moment:%Y-%m-%d %H:%M} there is no period of the sheet")
    for column in ("price_per_kwh", "export_per_kwh"):
        for moment in frame.index[~np.isfinite(frame[column])][:1]:
            raise AssertionError(f"at {moment:%Y-%m-%d %H:%M} the {column} is {frame[column][moment]}")
    return True


def cuts_do_not_matter(tariff: Tariff, load: pd.Series[float]) -> bool:
    """Check that the price of an interval is the same whatever span is asked for.

    Parameters and result are those of `every_minute_has_a_price`.
    """
    start, end = span(load)
    step_min = round(step(load).total_seconds() / 60)
    whole = tariff.prices(start, end, step_min)
    cuts = sorted({round(position) for position in np.linspace(0, len(whole), 12)})
    for first, last in pairwise(cuts):
        begin = whole.index[first]
        part = tariff.prices(begin, begin + (last - first) * step(load), step_min)
        for moment in part.index[np.abs(part.to_numpy() - whole.to_numpy()[first:last]) > 1e-12][:1]:
            raise AssertionError(
                f"at {moment:%Y-%m-%d %H:%M} the price is {whole[moment]:.7g} as part of the whole time, "
                f"but {part[moment]:.7g} in a span that begins on {begin:%Y-%m-%d %H:%M}"
            )
    return True


def bills_add_up(tariff: Tariff, load: pd.Series[float]) -> bool:
    """Check that monthly bills add up to the bill of the whole time, in every line per kWh that has no tiers.

    Parameters
    ----------
    tariff, load
        As for `every_minute_has_a_price`.

    Returns
    -------
    bool
        Whether the sheet has such lines.
    """
    names = lines_without_tiers(tariff)
    exact = _exact(tariff)
    whole, bills = exact.bill(load), list(exact.bills(load))
    for name in names:
        amount, parts = _amount(whole, name), sum(_amount(bill, name) for bill in bills)
        _same(
            amount, parts, _slack(tariff, [whole, *bills]), f"the bills of all months add up to {parts:.6f} of `{name}`"
        )
    return bool(names)


def bill_scales_with_load(tariff: Tariff, load: pd.Series[float]) -> bool:
    """Check that three times the use costs three times as much, in every line per kWh that has no tiers.

    Parameters and result are those of `bills_add_up`.
    """
    names = lines_without_tiers(tariff)
    exact = _exact(tariff)
    once, thrice = exact.bill(load), exact.bill(load * 3)
    for name in names:
        amount, expected = _amount(thrice, name), 3 * _amount(once, name)
        _same(
            amount,
            expected,
            4 * _slack(tariff, [thrice]),
            f"three times the use should cost {expected:.6f} of `{name}`",
        )
    return bool(names)


def demand_rises_with_load(tariff: Tariff, load: pd.Series[float]) -> bool:
    """Check that no demand charge falls when more is used.

    Parameters
    ----------
    tariff, load
        As for `every_minute_has_a_price`.

    Returns
    -------
    bool
        Whether the sheet has demand charges, none of them negative.
    """
    lines = [line for rates in tariff.versions for line in rates.demand]
    if not lines or any(line.price.min() < 0 for line in lines):
        return False
    exact = _exact(tariff)
    before = exact.bill(load)
    for what, more in more_use(load):
        after = exact.bill(more)
        for name in dict.fromkeys(line.name for line in lines):
            _no_less(_amount(before, name), _amount(after, name), 0.0, f"the demand charge `{name}`", what)
    return True


def more_use_costs_no_less(tariff: Tariff, load: pd.Series[float]) -> bool:
    """Check that using more never makes the bill cheaper.

    Parameters
    ----------
    tariff, load
        As for `every_minute_has_a_price`.

    Returns
    -------
    bool
        Whether the sheet promises it: no price can be negative, and no later use makes earlier use cheaper.
    """
    if not never_cheaper(tariff):
        return False
    exact = _exact(tariff)
    before = exact.bill(load)
    for what, more in more_use(load):
        after = exact.bill(more)
        _no_less(float(before.total), float(after.total), _slack(tariff, [before, after]), "the bill", what)
    return True


def next_kwh_is_the_slope(tariff: Tariff, load: pd.Series[float]) -> bool:
    """Check the price of one more kWh against the difference of two bills.

    It is compared in several intervals of the first billing month, where a little more and a little less use change the
    bill at the same rate; at a kink, as at the limit of a tier, there is no one slope.

    Parameters
    ----------
    tariff, load
        As for `every_minute_has_a_price`.

    Returns
    -------
    bool
        Whether there was an interval to compare, and no line is rounded in a way of its own.
    """
    if has_own_rounding(tariff):
        return False
    exact, load = _exact(tariff), first_days(tariff, load, 31)
    load = first_days(tariff, load, next(iter(exact.bills(load))).days)
    use_kwh = load.to_numpy(dtype=float)
    slots = np.flatnonzero(use_kwh >= _LITTLE_KWH)
    if not slots.size:
        return False
    chosen = sorted({*(int(slots[round(place)]) for place in np.linspace(0, slots.size - 1, 5)), int(use_kwh.argmax())})
    price, middle = exact.next_kwh(load), float(exact.bill(load).total)
    compared = False
    for slot in chosen:
        up, down = (
            (float(exact.bill(with_more(load, slot, sign * _LITTLE_KWH)).total) - middle) / (sign * _LITTLE_KWH)
            for sign in (1, -1)
        )
        if abs(up - down) > 1e-5:
            continue
        compared = True
        found = float(price.iloc[slot])
        if abs(found - up) > 1e-5:
            raise AssertionError(
                f"at {load.index[slot]:%Y-%m-%d %H:%M} one more kWh is said to cost {found:.6f}, "
                f"but the bill changes by {up:.6f} per kWh"
            )
    return compared


#: All laws, by their names.
LAWS: Final[dict[str, Law]] = {
    law.__name__: law
    for law in (
        every_minute_has_a_price,
        cuts_do_not_matter,
        bills_add_up,
        bill_scales_with_load,
        demand_rises_with_load,
        more_use_costs_no_less,
        next_kwh_is_the_slope,
    )
}


def check_all(tariff: Tariff, load: pd.Series[float] | None = None) -> list[str]:
    """Check every law that applies to a tariff.

    Parameters
    ----------
    tariff : Tariff
        Any.
    load : pandas.Series, shape (n,), optional
        kWh per interval, indexed by their zone-aware starts; without it, that of `example_load`.

    Returns
    -------
    list of str
        Names of the laws that apply, and that the tariff keeps.

    Raises
    ------
    AssertionError
        If a law is broken; the message has one line for each.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> "more_use_costs_no_less" in check_all(load_tariff("two-period"), example_load(load_tariff("two-period"), 40))
    True
    """
    load = example_load(tariff) if load is None else load
    kept, broken = [], []
    for name, law in LAWS.items():
        try:
            if law(tariff, load):
                kept.append(name)
        except AssertionError as error:
            broken.append(f"{name.replace('_', ' ')}: {error}")
    if broken:
        raise AssertionError("\n".join(broken))
    return kept


def _exact(tariff: Tariff) -> Tariff:
    """Make the tariff one that does not round, so that amounts can be compared."""
    billing = tariff.sheet.billing.model_copy(update={"rounding": "none"})
    return replace(tariff, sheet=tariff.sheet.model_copy(update={"billing": billing}))


def _amount(bill: Bill, name: str) -> float:
    return float(bill.lines.get(name, 0))


def _slack(tariff: Tariff, bills: Iterable[Bill]) -> float:
    """How much amounts may differ because lines round in a way of their own: a unit for each item."""
    if not has_own_rounding(tariff):
        return 0.0
    return float(sum(len(bill.items) for bill in bills) * 10.0**-tariff.sheet.billing.decimals)


def _same(found: float, expected: float, slack: float, what: str) -> None:
    if abs(found - expected) > slack + _ABSOLUTE + _RELATIVE * abs(expected):
        raise AssertionError(f"{what}, but the bill says {found:.6f}")


def _no_less(before: float, after: float, slack: float, what: str, when: str) -> None:
    if after < before - slack - _ABSOLUTE - _RELATIVE * abs(before):
        raise AssertionError(f"{when}, {what} falls from {before:.6f} to {after:.6f}")
