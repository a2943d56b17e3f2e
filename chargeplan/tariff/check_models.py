"""What the `checks:` of a rate sheet may say: instants, shares of the hours, and bills whose result is known."""

import re
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Self

from pydantic import BeforeValidator, Discriminator, Field, Tag, WithJsonSchema, model_validator

from chargeplan.clock import FIRST_YEAR, LAST_YEAR
from chargeplan.errors import InputError
from chargeplan.tariff.parts import Day, Name, Part, Price, from_text, text_schema
from chargeplan.units import quantity

#: Energy and power of a check are counted, not credited.
_AMOUNT_MAX = 1e9
Amount = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0, le=_AMOUNT_MAX)]
Money = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-_AMOUNT_MAX, le=_AMOUNT_MAX)]


@dataclass(frozen=True)
class Percentage:
    """A percentage, and to how many decimals it was written.

    Parameters
    ----------
    percent : float
        Per cent, 0 to 100.
    decimals : int
        Digits after the point.
    """

    percent: float
    decimals: int

    def __str__(self) -> str:
        return f"{self.percent:.{self.decimals}f} %"


_PERCENTAGE = re.compile(r"(\d{1,3}(?:\.(\d{1,9}))?)\s*%\Z", re.ASCII)


def _percentage(text: str) -> Percentage:
    match = _PERCENTAGE.match(text.strip())
    if match is None or float(match[1]) > 100:
        raise InputError(f"`{text.strip()[:40]}` is not a share of the hours; write for example 34.93 %")
    return Percentage(float(match[1]), len(match[2] or ""))


HourShare = Annotated[
    Percentage, BeforeValidator(from_text(_percentage, "34.93 %")), text_schema("Share of the hours", "34.93 %")
]


def _in_order(first: date, last: date) -> None:
    if last < first:
        raise InputError(f"`to: {last}` lies before `from: {first}`; `to` is the last day")


class AtCheck(Part):
    """An instant whose period, season or price the sheet's author knows."""

    at: str = Field(description="Local date and time", examples=["2026-07-04 17:00"])
    period: str | None = Field(None, description="Name of the period then")
    season: str | None = Field(None, description="Name of the season then")
    line: str | None = Field(None, description="Name of one component, adder or tax, whose price is meant")
    price: Price | None = Field(None, description="Price per kWh then, all included, or of the `line`")

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if self.line is not None and self.price is None:
            raise InputError(f"the check names the line `{self.line}` but no price; add `price:`, what it costs then")
        if self.period is None and self.season is None and self.price is None:
            raise InputError("the check expects nothing; add `period:`, `season:` or `price:`")
        return self


class ShareCheck(Part):
    """A span of days of which the share of each period is known."""

    year: int | None = Field(None, strict=True, ge=FIRST_YEAR, le=LAST_YEAR, description="The whole year")
    from_: Day | None = Field(None, alias="from", description="First day, instead of a year", examples=["2026-01-01"])
    to: Day | None = Field(None, description="Last day", examples=["2026-03-31"])
    share: dict[Name, HourShare] = Field(description="Share of the hours of each period", examples=["{peak: 34.93 %}"])

    @model_validator(mode="before")
    @classmethod
    def _says_something(cls, data: Any) -> Any:
        if isinstance(data, dict) and data.get("share") == {}:
            raise InputError("the check expects nothing; add the share of a period, like `share: {peak: 34.93 %}`")
        return data

    @model_validator(mode="after")
    def _has_days(self) -> Self:
        given = [name for name, value in (("from", self.from_), ("to", self.to)) if value is not None]
        if self.year is not None and given:
            raise InputError(f"`year` and `{given[0]}` exclude one another; give a year, or a first and a last day")
        if self.year is None and len(given) < 2:
            raise InputError("it is not said of which days the share is; add `year: 2026`, or `from:` and `to:`")
        if self.from_ and self.to:
            _in_order(self.from_, self.to)
        return self

    @property
    def days(self) -> tuple[date, date]:
        """First and last day."""
        if self.from_ is not None and self.to is not None:
            return self.from_, self.to
        assert self.year is not None
        return date(self.year, 1, 1), date(self.year, 12, 31)


class Reading(Part):
    """What was used from a day on, until the next reading or the end of the bill."""

    from_: Day = Field(alias="from", description="First day", examples=["2022-06-01"])
    use: Amount = Field(description="kWh", examples=[350])


def _energy_form(value: Any) -> str:
    if isinstance(value, list):
        return "[readings]"
    return "[by period]" if isinstance(value, dict) else "[one]"


#: kWh of a bill: all of it, by period, or as read.
Energy = Annotated[
    Annotated[Amount, Tag("[one]")]
    | Annotated[dict[Name, Amount], Tag("[by period]")]
    | Annotated[list[Reading], Tag("[readings]")],
    Discriminator(_energy_form),
]
#: kW of a bill: of all its demand lines, or by name of the line.
Demand = Annotated[
    Annotated[Amount, Tag("[one]")] | Annotated[dict[Name, Amount], Tag("[by period]")],
    Discriminator(_energy_form),
]


def _measured(kind: str, example: str) -> Any:
    return Annotated[
        float,
        BeforeValidator(lambda value: quantity(value, kind)),
        WithJsonSchema({"type": "string", "examples": [example]}),
    ]


class ContractedPower(Part):
    """What charges per kW or per A of contract refer to."""

    power: _measured("power", "4.5 kW") | None = Field(  # type: ignore[valid-type]
        None, description="Power of the contract", examples=["4.5 kW"]
    )
    current: _measured("current", "40 A") | None = Field(  # type: ignore[valid-type]
        None, description="Current of the contract", examples=["40 A"]
    )


class BillCase(Part):
    """What a bill is made for."""

    from_: Day = Field(alias="from", description="First day", examples=["2022-06-01"])
    to: Day = Field(description="Last day", examples=["2022-06-30"])
    use: Energy = Field(description="kWh bought, also by period or as a list of readings", examples=[700])
    export: Energy | None = Field(None, description="kWh sold, in the forms of `use`", examples=[120])
    demand: Demand | None = Field(None, description="Highest kW, also by name of the demand line", examples=[8])
    past_demand: dict[Name, list[Amount]] | None = Field(
        None, description="Billed kW of the months before, oldest first, by name of the demand line"
    )
    power_factor: float | None = Field(None, strict=True, gt=0, le=1, description="For charges per kVA", examples=[0.8])
    contracted: ContractedPower | None = Field(None, description="Power or current of the contract")

    @model_validator(mode="after")
    def _days_in_order(self) -> Self:
        _in_order(self.from_, self.to)
        for name, energy in (("use", self.use), ("export", self.export)):
            if not isinstance(energy, list):
                continue
            firsts = [reading.from_ for reading in energy]
            if firsts[:1] != [self.from_] or firsts[-1] > self.to or firsts != sorted(set(firsts)):
                raise InputError(
                    f"the readings of `{name}` do not fit the bill; begin with {self.from_}, go on in order of "
                    f"the days, and end by {self.to}"
                )
        return self


class BillCheck(Part):
    """A bill whose lines or total are known."""

    bill: BillCase = Field(
        description="What the bill is made for", examples=["{from: 2022-06-01, to: 2022-06-30, use: 700}"]
    )
    lines: dict[str, Money] = Field(
        {}, description="Amounts by line, or by item as printed", examples=["{energy: 70.30, energy / tier 2: 12.10}"]
    )
    total: Money | None = Field(None, description="What is due", examples=[101.92])

    @model_validator(mode="after")
    def _says_something(self) -> Self:
        if not self.lines and self.total is None:
            raise InputError("the check expects nothing; add `total:` or `lines:` with amounts")
        return self


# The tags of the forms are in brackets, so that no key of a sheet can be taken for one.
def _check_form(value: Any) -> str:
    keys: Any = value if isinstance(value, dict) else type(value).model_fields if isinstance(value, Part) else ()
    if "bill" in keys:
        return "[bill]"
    return "[share]" if "share" in keys or "year" in keys else "[at]"


Check = Annotated[
    Annotated[AtCheck, Tag("[at]")] | Annotated[ShareCheck, Tag("[share]")] | Annotated[BillCheck, Tag("[bill]")],
    Discriminator(_check_form),
]


def check_label(check: AtCheck | ShareCheck | BillCheck) -> str:
    """Give a check a short name for people.

    Parameters
    ----------
    check : AtCheck, ShareCheck or BillCheck
        One of the sheet's checks.

    Returns
    -------
    str
        Such as ``at 2026-07-04 17:00``, ``share 2026`` or ``bill 2022-06-01 to 2022-06-30``.

    Examples
    --------
    >>> check_label(AtCheck(at="2026-07-04 17:00", period="peak"))
    'at 2026-07-04 17:00'
    >>> check_label(ShareCheck.model_validate({"year": 2026, "share": {"peak": "34.93 %"}}))
    'share 2026'
    """
    if isinstance(check, AtCheck):
        at = " ".join(check.at.split())[:40]
        return f"at {at}, {check.line}" if check.line else f"at {at}"
    if isinstance(check, ShareCheck):
        return f"share {check.year}" if check.year else "share {} to {}".format(*check.days)
    return f"bill {check.bill.from_} to {check.bill.to}"
