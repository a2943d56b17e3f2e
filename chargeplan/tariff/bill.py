"""A bill: what is printed on it, line by line, each traceable to its place in the rate sheet."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    import pandas as pd

#: What an item of a bill may charge for, in the order in which bills print them.
KINDS: Final = ("energy", "carried", "fixed", "demand", "minimum", "export", "credit", "tax")


@dataclass(frozen=True)
class BillItem:
    """One printed line of a bill.

    Parameters
    ----------
    name : str
        Name of the line in the sheet, such as ``delivery``.
    kind : str
        One of `KINDS`.
    amount : Decimal
        What it costs, rounded as the sheet says; negative for what is credited.
    quantity : float
        How much was counted.
    unit : str
        What was counted: ``kWh``, ``kW``, ``kVA``, ``day``, ``month``, ``year``, or the currency for a percentage.
    price : float
        Amount per unit of the quantity; a share for a percentage.
    period, season : str
        Where the line has such; else empty.
    tier : int
        From 1; 0 where the line has no tiers.
    place : str
        File and line of the sheet where the price stands, ``sheet.yaml:12``.
    version : str
        First day of the version of the sheet, where a bill spans several; else empty.
    """

    name: str
    kind: str
    amount: Decimal
    quantity: float
    unit: str
    price: float
    period: str = ""
    season: str = ""
    tier: int = 0
    place: str = ""
    version: str = ""

    @property
    def label(self) -> str:
        """The item as printed: name, period, season, tier.

        Examples
        --------
        >>> BillItem("energy", "energy", Decimal("7.00"), 100, "kWh", 0.07, period="peak", tier=2).label
        'energy / peak / tier 2'
        """
        tier = f"tier {self.tier}" if self.tier else ""
        return " / ".join(part for part in (self.name, self.period, self.season, tier, self.version) if part)


@dataclass(frozen=True)
class Carried:
    """What one bill hands on to the next.

    Parameters
    ----------
    credit : float
        Money credited but not used yet, from net metering.
    surplus_kwh : float
        Energy sold less energy bought since the last settlement.
    demand_kw : mapping of name to tuple of (last day, season, kW)
        Billed demands of the past, latest last.
    """

    credit: float = 0.0
    surplus_kwh: float = 0.0
    demand_kw: Mapping[str, tuple[tuple[date, str, float], ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Bill:
    """What some use of electricity costs by a rate sheet.

    Parameters
    ----------
    sheet : str
        Name of the sheet.
    currency : str
        Three-letter code.
    start, end : datetime.date
        First and last day.
    items : tuple of BillItem
        In the order in which they are printed.
    total : Decimal
        What is due; negative if it is owed to the customer.
    bought_kwh, sold_kwh : float
        Energy of the bill.
    notes : tuple of str
        What a reader should know, such as a demand taken from hourly data.
    carried : Carried
        For the next bill.
    """

    sheet: str
    currency: str
    start: date
    end: date
    items: tuple[BillItem, ...]
    total: Decimal
    bought_kwh: float = 0.0
    sold_kwh: float = 0.0
    notes: tuple[str, ...] = ()
    carried: Carried = field(default_factory=Carried)

    @property
    def lines(self) -> dict[str, Decimal]:
        """The amount of every line of the sheet, items of one name added up."""
        sums: dict[str, Decimal] = {}
        for item in self.items:
            sums[item.name] = sums.get(item.name, Decimal(0)) + item.amount
        return sums

    @property
    def days(self) -> int:
        """Number of days, both ends counted."""
        return (self.end - self.start).days + 1

    def matching(self, label: str) -> tuple[BillItem, ...]:
        """Find the items whose printed label has all parts of another.

        Parameters
        ----------
        label : str
            A name, or a name with parts: ``energy``, ``energy / tier 2``, ``energy / peak``.

        Returns
        -------
        tuple of BillItem
            Those that fit.
        """
        name, *parts = [part.strip() for part in label.split(" / ")]
        return tuple(
            item
            for item in self.items
            if item.name == name and set(parts) <= {item.period, item.season, f"tier {item.tier}", item.version}
        )

    def frame(self) -> pd.DataFrame:
        """Make a table of the items.

        Returns
        -------
        pandas.DataFrame
            One row per item, columns as the parameters of `BillItem`; ``amount`` as float.
        """
        import pandas as pd

        columns = list(BillItem.__dataclass_fields__)
        rows = [[getattr(item, name) for name in columns] for item in self.items]
        return pd.DataFrame(rows, columns=columns).astype({"amount": float, "quantity": float, "price": float})
