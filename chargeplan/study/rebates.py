"""What others pay of an outlay: percentages with a cap, and fixed amounts, one after the other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import KW_ONLY, dataclass
from typing import Final, Literal, TypeAlias, get_args

from chargeplan.charging.numeric import check_number
from chargeplan.errors import InputError

#: What an outlay is made of: EVSE and receptacle, the wire by its length, the work, the permit.
Part: TypeAlias = Literal["purchase", "wire", "labor", "permit"]
PARTS: Final[tuple[Part, ...]] = get_args(Part)


@dataclass(frozen=True)
class Rebate:
    """Money that somebody else pays: a percentage of the eligible cost up to a cap, or a fixed amount.

    Parameters
    ----------
    name : str
        What it is called.
    share : float, optional
        Share of the eligible cost, 0 to 1. Exactly one of `share` and `amount` is given.
    cap : float, optional
        The most it pays.
    amount : float, optional
        A fixed amount.
    of : tuple of str
        The eligible parts of the outlay, among `PARTS`; all unless given.
    after_others : bool
        A percentage is reckoned from the eligible cost before any rebate; with this, from what the rebates
        before it left.

    Raises
    ------
    InputError
        If something cannot be.

    Examples
    --------
    >>> Rebate("tax credit", 0.3, 1000).cap, Rebate("utility", amount=250, of=("purchase",)).of
    (1000, ('purchase',))
    """

    name: str
    share: float | None = None
    cap: float | None = None
    _: KW_ONLY
    amount: float | None = None
    of: tuple[Part, ...] = PARTS
    after_others: bool = False

    def __post_init__(self) -> None:
        if (self.share is None) == (self.amount is None):
            found = "neither a share nor an amount" if self.share is None else "both a share and an amount"
            raise InputError(f"the rebate {self.name} has {found}; write one, like share=0.3 or amount=250")
        about = f"of the rebate {self.name}"
        if self.share is not None:
            check_number(f"share {about}", self.share, at_least=0, at_most=1, remedy="write 0.3 for 30 %")
        if self.amount is not None:
            check_number(f"amount {about}", self.amount, at_least=0, remedy="write for example 250")
        if self.cap is not None:
            check_number(f"cap {about}", self.cap, at_least=0, remedy="write for example 1000, or leave it out")
        object.__setattr__(self, "of", (self.of,) if isinstance(self.of, str) else tuple(self.of))
        if not self.of:
            raise InputError(f"the rebate {self.name} is of no part; name one of {', '.join(PARTS)}")
        for part in self.of:
            if part not in PARTS:
                raise InputError(f"the rebate {self.name} is of {part!r}; name one of {', '.join(PARTS)}")
            if self.of.count(part) > 1:
                raise InputError(f"the rebate {self.name} names {part} twice; name it once")


def after_rebates(
    costs: Mapping[Part, float], rebates: Sequence[Rebate]
) -> tuple[dict[Part, float], tuple[float, ...]]:
    """Take rebates off a cost, in their order.

    Each is taken off its own parts, in proportion to what the earlier ones left of them, and is cut to what is left,
    so that no part goes below zero.

    Parameters
    ----------
    costs : mapping of part to float
        Before rebates.
    rebates : sequence of Rebate
        In order.

    Returns
    -------
    left : dict of part to float
        What remains to be paid.
    granted : tuple of float
        What each rebate gave.

    Examples
    --------
    >>> costs = {"purchase": 600.0, "wire": 200.0, "labor": 200.0, "permit": 0.0}
    >>> half = Rebate("half of the rest", 0.5, after_others=True)
    >>> left, granted = after_rebates(costs, [Rebate("utility", amount=300, of=("purchase",)), half])
    >>> left, granted
    ({'purchase': 150.0, 'wire': 100.0, 'labor': 100.0, 'permit': 0.0}, (300.0, 350.0))
    """
    left, granted = dict(costs), []
    for rebate in rebates:
        there = _total(left, rebate.of)
        if rebate.share is not None:
            asked = rebate.share * (there if rebate.after_others else _total(costs, rebate.of))
        else:
            asked = float(rebate.amount or 0.0)
        given = min(asked, there) if rebate.cap is None else min(asked, there, float(rebate.cap))
        for part in rebate.of:
            # Of nothing, nothing is left; so there is no division by zero, and no rounding when all is paid.
            left[part] = 0.0 if given >= there else left[part] - given * (left[part] / there)
        granted.append(given)
    return left, tuple(granted)


def _total(costs: Mapping[Part, float], parts: Iterable[Part]) -> float:
    return sum(costs[part] for part in parts)
