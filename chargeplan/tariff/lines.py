"""The lines of a bill, worked out: prices as arrays over tiers, seasons and periods, and the other charges."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from chargeplan.tariff.calendar import Calendar, DayTable
from chargeplan.tariff.phrases import Fixed, Floor, Lump, Per, TierPer, Tiers

if TYPE_CHECKING:
    from chargeplan.tariff.market import MarketPrices

FloatArray = NDArray[np.float64]
Counts = Literal["use", "use with losses", "losses", "bought"]


@dataclass(frozen=True, eq=False)
class PeriodTable:
    """Which period, and which season of the prices, a minute is in.

    Parameters
    ----------
    calendar : Calendar
        Seasons, holidays and called days.
    table : DayTable
        Hours of the periods.
    """

    calendar: Calendar
    table: DayTable

    @property
    def seasons(self) -> tuple[str, ...]:
        """Names of the seasons of the prices; one empty name where there are none."""
        seasons = self.calendar.price_seasons or self.calendar.seasons
        return seasons.names or ("",)

    @property
    def periods(self) -> tuple[str, ...]:
        """Names of the periods."""
        return self.table.names

    @property
    def shape(self) -> tuple[int, int]:
        """Number of seasons and of periods."""
        return len(self.seasons), len(self.periods)


@dataclass(frozen=True, eq=False)
class Case:
    """Prices that hold as long as the use of the whole bill stays within a limit.

    Parameters
    ----------
    up_to : float array, shape (seasons,)
        The limit, in the unit of the line's `per`; infinite in the last case.
    price : float array, shape (tiers, seasons, periods)
        Amount per unit. 0 where nothing is charged.
    limits : float array, shape (seasons, tiers - 1)
        Cumulative upper limits of the tiers; infinite where a season has fewer.
    """

    up_to: FloatArray
    price: FloatArray = field(repr=False)
    limits: FloatArray


@dataclass(frozen=True, eq=False)
class EnergyLine:
    """A line that charges, or credits, every kWh.

    Parameters
    ----------
    name : str
        Name of the line.
    table : int
        Which table of the rates it goes by.
    cases : tuple of Case
        At least one.
    charged : bool array, shape (seasons, periods)
        Where it charges at all; only this energy counts towards its tiers.
    places : tuple of tuple of str
        File and line of each price, by season and period.
    per : str
        What the limits are for.
    counts : str
        Which kWh it counts.
    all_units : bool
        Whether the cases are tiers of which one prices everything.
    rounding : str, optional
        How its items are rounded, if not like the bill.
    """

    name: str
    table: int
    cases: tuple[Case, ...]
    charged: NDArray[np.bool_] = field(repr=False)
    places: tuple[tuple[str, ...], ...] = field(repr=False)
    per: TierPer = "month"
    counts: Counts = "use"
    all_units: bool = False
    rounding: str | None = None

    @property
    def tiered(self) -> bool:
        """Whether the price depends on how much was used."""
        return len(self.cases) > 1 or self.cases[0].price.shape[0] > 1

    def with_losses(self, loss_share: float) -> float:
        """Give how many kWh are counted for one that is used, or, for a line of losses, for one and its losses."""
        return 1.0 + loss_share if self.counts in ("use with losses", "losses") else 1.0

    def counted_share(self, loss_share: float) -> float:
        """Give how many kWh are charged for one that is used, where the price is the same for all."""
        return loss_share if self.counts == "losses" else self.with_losses(loss_share)

    def first_price(self, loss_share: float) -> FloatArray:
        """Give what the first kWh costs, line losses included, by season and period."""
        price: FloatArray = self.cases[0].price[0] * self.counted_share(loss_share)
        return price


@dataclass(frozen=True, eq=False)
class DemandLine:
    """A charge for the highest power.

    Parameters
    ----------
    name : str
        Name of the line.
    table : int
        Which table of the rates it goes by.
    price : float array, shape (tiers, seasons, periods)
        Amount per kW.
    limits : float array, shape (seasons, tiers - 1)
        Cumulative upper limits of the tiers in kW.
    charged : bool array, shape (seasons, periods)
        Where it charges at all.
    places : tuple of tuple of str
        File and line of each price, by season and period.
    interval_s : int
        Time over which power is averaged, in seconds.
    mean : bool
        Whether the mean of the daily highest is billed.
    per : str
        Whether the price is per day, month or year.
    unit : str
        ``kW`` or ``kVA``.
    kva_share : float
        Share of the apparent power that is billed if it is more than the real power.
    floor : Floor, optional
        The least that is billed.
    """

    name: str
    table: int
    price: FloatArray = field(repr=False)
    limits: FloatArray = field(repr=False)
    charged: NDArray[np.bool_] = field(repr=False)
    places: tuple[tuple[str, ...], ...] = field(repr=False)
    interval_s: int = 3600
    mean: bool = False
    per: Per = "month"
    unit: str = "kW"
    kva_share: float = 0.0
    floor: Floor | None = None

    def billed_per_kw(self, power_factor: float) -> float:
        """Give the demand that is billed for one kW of real power."""
        return 1 / power_factor if self.unit == "kVA" else max(1.0, self.kva_share / power_factor)


@dataclass(frozen=True)
class FixedLine:
    """A charge that does not depend on use, or on its step only.

    Parameters
    ----------
    name : str
        Name of the line.
    charge : Fixed
        Amount and unit; the amount is not used where `by_use` is given.
    by_use : Tiers, optional
        Amounts by the use of the whole bill.
    contracted : float, optional
        What the charge is multiplied by, if not the contract of the sheet.
    unused_share : float
        Share that is due when nothing is used.
    place : str
        File and line.
    """

    name: str
    charge: Fixed
    by_use: Tiers | None = None
    contracted: float | None = None
    unused_share: float = 1.0
    place: str = ""


@dataclass(frozen=True)
class MinimumLine:
    """The least that some lines come to.

    Parameters
    ----------
    charge : Fixed
        The least amount.
    of : tuple of str
        Names of the lines.
    place : str
        File and line.
    """

    charge: Fixed
    of: tuple[str, ...]
    place: str = ""


@dataclass(frozen=True)
class CreditLine:
    """An amount taken off.

    Parameters
    ----------
    name : str
        Name of the line.
    credit : Fixed or Lump
        The amount.
    place : str
        File and line.
    """

    name: str
    credit: Fixed | Lump
    place: str = ""


@dataclass(frozen=True)
class PercentLine:
    """A percentage of other lines: a tax, or a credit if negative.

    Parameters
    ----------
    name : str
        Name of the line.
    share : float
        0.05 for 5 %.
    of : tuple of str
        Names of lines.
    kind : str
        ``tax`` or ``credit``.
    place : str
        File and line.
    """

    name: str
    share: float
    of: tuple[str, ...]
    kind: str = "tax"
    place: str = ""


@dataclass(frozen=True)
class NetRule:
    """How what is sold counts against what is bought.

    Parameters
    ----------
    carry : str
        ``money`` or ``nothing``.
    true_up : int
        Month of the bill that settles.
    surplus : float or str
        A price per kWh, ``paid`` or ``lost``.
    place : str
        File and line.
    """

    carry: str
    true_up: int
    surplus: float | str
    place: str = ""


@dataclass(frozen=True, eq=False)
class MarketLine:
    """Prices from a file, times a factor by the clock.

    Parameters
    ----------
    line : EnergyLine
        Its name, table, places and so on; the price array holds the factors.
    prices : MarketPrices
        What the file says, per kWh.
    missing : float, optional
        Price where the file has none.
    file : str
        Name of the file, for messages.
    """

    line: EnergyLine
    prices: MarketPrices
    missing: float | None
    file: str
