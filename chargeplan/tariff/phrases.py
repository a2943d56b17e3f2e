"""The small phrases of price tables and charges: "0.098 up to 600 then 0.115", "8 per A per month", "5 % of x"."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import Final, Literal

from chargeplan.errors import InputError
from chargeplan.tariff.dates import month_of

Per = Literal["day", "month", "year"]
TierPer = Literal["day", "month", "30 days", "year"]
#: Amounts beyond this are refused.
MAX_AMOUNT: Final = 100_000.0
#: No sheet has more steps in one price.
MAX_TIERS: Final = 24
_NUMBER: Final = r"[-+]?(?:\d+\.?\d*|\.\d+)"
_LISTED = re.compile(r"\s*,\s*(?:and\s+)?|\s+and\s+", re.IGNORECASE)


def amount_of(digits: str) -> float:
    """Read an amount and refuse what is out of range.

    Examples
    --------
    >>> amount_of("0.31")
    0.31
    """
    amount = float(digits)
    if abs(amount) > MAX_AMOUNT:
        raise InputError(f"`{digits[:40]}` is out of range; it must be between -100,000 and 100,000")
    return amount


def listed(text: str, whole: str | None = None) -> tuple[str, ...]:
    """Split names joined by commas or ``and``.

    Examples
    --------
    >>> listed("delivery, supply and city tax")
    ('delivery', 'supply', 'city tax')
    """
    names = tuple(_LISTED.split(text.strip()))
    if len(set(names)) < len(names):
        raise InputError(f"`{(whole or text).strip()[:60]}` names a line twice; name each line once")
    return names


@dataclass(frozen=True)
class Share:
    """A percentage of other lines; of all charges where none is named.

    Parameters
    ----------
    share : float
        0.05 for 5 %.
    of : tuple of str
        Names of lines.
    """

    share: float
    of: tuple[str, ...] = ()

    @classmethod
    def parse(cls, text: str) -> Share:
        """Read for example ``5 %`` or ``5 % of delivery and supply``.

        Examples
        --------
        >>> Share.parse("5 % of delivery").of
        ('delivery',)
        """
        match = _SHARE.match(text.strip())
        if match is None:
            raise InputError(f"`{text.strip()[:40]}` is not a percentage; write for example 5 % or 5 % of delivery")
        return cls(amount_of(match[1]) / 100, listed(match[2], text) if match[2] else ())


_SHARE = re.compile(rf"({_NUMBER})\s*%(?:\s+of\s+(.+))?\Z", re.ASCII)


@dataclass(frozen=True)
class Tiers:
    """A price that depends on how much was used.

    Parameters
    ----------
    prices : tuple of float
        Price in each tier.
    limits : tuple of float
        Cumulative upper limit of each tier but the last.
    per : str
        What the limits are for: ``month``, ``day``, ``30 days`` or ``year``.
    """

    prices: tuple[float, ...]
    limits: tuple[float, ...]
    per: TierPer = "month"

    @classmethod
    def parse(cls, text: str) -> Tiers:
        """Read for example ``0.0568 up to 30 per day then 0.086``.

        Parameters
        ----------
        text : str
            Prices with cumulative limits, joined by ``then``; the last has no limit.

        Returns
        -------
        Tiers
            Prices and limits.

        Raises
        ------
        InputError
            If it cannot be read, or the limits do not rise.

        Examples
        --------
        >>> Tiers.parse("0.098 up to 600 then 0.115")
        Tiers(prices=(0.098, 0.115), limits=(600.0,), per='month')
        """
        *steps, last = re.split(r"\s*,?\s+then\s+", text.strip())
        example = "write for example 0.098 up to 600 then 0.115"
        final = re.fullmatch(rf"({_NUMBER})(?:\s+(?:above|beyond))?", last, re.ASCII)
        if not steps or final is None or len(steps) >= MAX_TIERS:
            raise InputError(f"`{text.strip()[:60]}` cannot be read as tiers; {example}")
        prices, limits, per = [], [], set()
        for step in steps:
            match = _STEP.match(step)
            if match is None:
                raise InputError(f"`{step[:40]}` is not a price with its limit; {example}")
            prices.append(amount_of(match[1]))
            limits.append(float(match[2]))
            if match[3]:
                per.add(" ".join(match[3].lower().split()))
        if len(per) > 1:
            raise InputError(f"`{text.strip()[:60]}` has limits {' and '.join(sorted(per))}; use one for all")
        if any(after <= before for before, after in zip([0.0, *limits], limits, strict=False)):
            raise InputError(
                f"the limits of `{text.strip()[:60]}` do not rise; each counts from zero, so raise the later"
            )
        if not all(map(math.isfinite, limits)):
            raise InputError(f"a limit of `{text.strip()[:60]}` is out of range; leave the last tier without a limit")
        kind = per.pop().removeprefix("per ") if per else "month"
        return cls((*prices, amount_of(final[1])), tuple(limits), kind)  # type: ignore[arg-type]


_STEP = re.compile(
    rf"({_NUMBER})\s+(?:up\s+to|to)\s+(\d+(?:\.\d+)?)\s*(?:kwh|kw|kva)?(?:\s*(per\s+(?:day|month|30\s+days|year)))?\Z",
    re.ASCII | re.IGNORECASE,
)

#: One price of a table: a number, tiers, or a percentage of another period's price.
Cell = float | Tiers | Share


def price_cell(text: str) -> Cell:
    """Read what stands in a price table as text.

    Examples
    --------
    >>> price_cell("70 % of off-peak")
    Share(share=0.7, of=('off-peak',))
    """
    if "%" in text:
        share = Share.parse(text)
        if len(share.of) != 1:
            raise InputError(f"`{text.strip()[:40]}` does not say of which period; write for example 70 % of off-peak")
        return share
    if re.search(r"\s(?:up|then|to)\s", text):
        return Tiers.parse(text)
    shown = text if len(text) < 60 else f"{text[:56]}..."
    raise InputError(f"`{shown}` is not a number; write digits with at most one dot, like 0.31")


@dataclass(frozen=True)
class Fixed:
    """A charge that does not depend on use.

    Parameters
    ----------
    amount : float
        In the currency.
    per : str
        ``day``, ``month`` or ``year``.
    of : str
        What it is multiplied by: ``A``, ``kW`` or ``kVA`` of contract; empty for nothing.
    """

    amount: float
    per: Per
    of: str = ""

    @classmethod
    def parse(cls, text: str) -> Fixed:
        """Read for example ``0.42 per day`` or ``8 per A per month``.

        Examples
        --------
        >>> Fixed.parse("1.71 per kW per month")
        Fixed(amount=1.71, per='month', of='kW')
        """
        match = _FIXED.match(text.strip())
        units = [unit.lower() for unit in match.groups()[1:] if unit] if match else []
        times = [unit for unit in units if unit in ("day", "month", "year")]
        others = [unit for unit in units if unit not in ("day", "month", "year")]
        if match is None or len(times) != 1 or len(others) > 1:
            raise InputError(
                f"`{text.strip()[:40]}` is not a fixed charge; write for example 0.42 per day, 12 per month or "
                "8 per A per month"
            )
        of = {"a": "A", "amp": "A", "amps": "A", "ampere": "A", "amperes": "A", "kw": "kW", "kva": "kVA"}
        return cls(amount_of(match[1]), times[0], of[others[0]] if others else "")  # type: ignore[arg-type]


_UNIT = r"(day|month|year|a|amps?|amperes?|kw|kva)"
_FIXED = re.compile(rf"({_NUMBER})\s+(?:per|a)\s+{_UNIT}(?:\s+(?:and\s+per|per|and|a)\s+{_UNIT})?\Z", re.ASCII | re.I)


@dataclass(frozen=True)
class Lump:
    """An amount in the bills of some months.

    Parameters
    ----------
    amount : float
        In the currency.
    months : tuple of int
        1 to 12; a bill belongs to the month of its last day.
    """

    amount: float
    months: tuple[int, ...]


def credit_of(text: str) -> Fixed | Lump | Share:
    """Read a credit: ``174.25 in Apr and Oct``, ``25 per month`` or ``20 % of energy``.

    Examples
    --------
    >>> credit_of("174.25 in Apr and Oct").months
    (4, 10)
    """
    clean = text.strip()
    if "%" in clean:
        return Share.parse(clean)
    if match := re.fullmatch(rf"({_NUMBER})\s+in\s+(.+)", clean, re.ASCII | re.IGNORECASE):
        return Lump(amount_of(match[1]), tuple(sorted({month_of(word) for word in _LISTED.split(match[2])})))
    try:
        return Fixed.parse(clean)
    except InputError:
        raise InputError(
            f"`{clean[:40]}` is not a credit; write for example 174.25 in Apr and Oct, 25 per month or 20 % of energy"
        ) from None


@dataclass(frozen=True)
class Floor:
    """The least demand that is billed.

    Parameters
    ----------
    kw : float
        A fixed demand, or 0.
    share : float
        Of the highest billed demand of the past, or 0.
    months : int
        How many months of the past count.
    season : str
        Only bills that end in this season count; empty for all.
    """

    kw: float = 0.0
    share: float = 0.0
    months: int = 0
    season: str = ""

    @classmethod
    def parse(cls, text: str) -> Floor:
        """Read for example ``5 kW`` or ``65 % of the last 12 months in winter``.

        Examples
        --------
        >>> Floor.parse("65 % of the last 12 months in winter")
        Floor(kw=0.0, share=0.65, months=12, season='winter')
        """
        clean = text.strip()
        if match := re.fullmatch(r"(\d+(?:\.\d+)?)\s*(?:kw|kva)", clean, re.ASCII | re.IGNORECASE):
            return cls(kw=amount_of(match[1]))
        if match := _RATCHET.match(clean):
            return cls(share=amount_of(match[1]) / 100, months=int(match[2]), season=match[3] or "")
        raise InputError(
            f"`{clean[:50]}` is not a least demand; write for example 5 kW or 65 % of the last 12 months in winter"
        )


_RATCHET = re.compile(
    r"(\d+(?:\.\d+)?)\s*%\s+of\s+(?:the\s+)?(?:highest\s+of\s+)?(?:the\s+)?last\s+(\d{1,2})\s+months?(?:\s+in\s+(.+))?\Z",
    re.ASCII | re.IGNORECASE,
)
