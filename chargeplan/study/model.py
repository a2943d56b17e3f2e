"""What a study file may say: the model that files are checked against."""

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Discriminator, Field, Tag, WithJsonSchema

from chargeplan.errors import InputError
from chargeplan.household.model import (
    Amperes,
    Celsius,
    CircuitPart,
    Date,
    DayNames,
    Distance,
    EvsePart,
    KilowattHours,
    Kilowatts,
    Part,
    Share,
    by_quantity,
    form_of,
    schema_of,
    text_schema,
)
from chargeplan.study.panel_room import Basis
from chargeplan.study.rebates import PARTS
from chargeplan.study.rebates import Part as CostPart
from chargeplan.study.study import AS_IT_IS, MAX_DRAWS
from chargeplan.study.year_plan import Aim
from chargeplan.units import quantity

#: What is written for no charging at home, and for no other places.
NONE = "none"
_LONGEST_NAME = 60


def _rate(value: Any) -> float:
    """Read a percentage that may be below zero."""
    text = repr(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else value
    if isinstance(text, str) and text.lstrip().startswith("-"):
        return -quantity(text.lstrip()[1:], "share")
    return quantity(value, "share")


def _name(value: str) -> str:
    if not value.strip() or len(value) > _LONGEST_NAME:
        raise InputError(f"{value[:_LONGEST_NAME]!r} is no name; write 1 to {_LONGEST_NAME} characters")
    return value.strip()


def _months(value: list[float]) -> list[float]:
    if len(value) != 12:
        raise InputError(f"twelve months need twelve values, not {len(value)}; write one for each, January first")
    return value


def _kept(value: Any) -> str:
    """Read what stands instead of a circuit; a line that ends after its name says nothing."""
    if value is None:
        return ""
    if value in (AS_IT_IS, NONE):
        return str(value)
    what = f"{value!r} is no equipment" if isinstance(value, str) else "this is no equipment"
    raise InputError(f"{what}; write its `circuit` and `evse`, `{AS_IT_IS}`, or `{NONE}` for no charging at home")


def _house(value: Any) -> Any:
    """Name what a file that stands alone is meant for."""
    if isinstance(value, str):
        remedy = f"write `house: {{load: {value[:40]}}}` for a meter's values, or `house: {{per_day: 24 kWh}}`"
        raise InputError(f"`{value[:40]}` stands where a mapping is wanted; {remedy}")
    return value


def _several(value: Any) -> str:
    return "list" if isinstance(value, list) else form_of(value)


def _number(value: Any) -> str:
    return "list" if isinstance(value, list) else "one"


Name = Annotated[str, AfterValidator(_name)]
NotNegative = Annotated[float, Field(strict=True, ge=0, allow_inf_nan=False)]
Multiple = Annotated[float, by_quantity("share"), text_schema("A percentage, also above 100 %", "150 %")]
Rate = Annotated[float, BeforeValidator(_rate), text_schema("A percentage a year, also below zero", "2 %", "-1 %")]
Length = Annotated[float, by_quantity("length"), text_schema("A length", "12 m", "40 ft")]
PriceOfLength = Annotated[
    float, by_quantity("price of length"), text_schema("An amount per length", "22 per m", "6.50 per ft")
]
PriceOfFuel = Annotated[float, by_quantity("price of fuel"), text_schema("An amount per volume", "3.60 per gal")]
FuelConsumption = Annotated[
    float, by_quantity("fuel consumption"), text_schema("Fuel used on the road; gal is the US gallon", "31 mi/gal")
]
Years = Annotated[float, by_quantity("time span"), text_schema("Years or months", "12 years")]
YearlyCost = Annotated[float, by_quantity("yearly cost"), text_schema("An amount per year or month", "20 per year")]

Names = Annotated[
    Annotated[str, Tag("one")] | Annotated[list[str], Tag("list")] | Annotated[dict[Name, str], Tag("table")],
    Discriminator(_several),
]
AmperesOrList = Annotated[
    Annotated[Amperes, Tag("one")] | Annotated[list[Amperes], Tag("list")], Discriminator(_number)
]
ByMonth = Annotated[list[Multiple], AfterValidator(_months)]
Temperatures = Annotated[
    Annotated[str, Tag("one")] | Annotated[list[Celsius], AfterValidator(_months), Tag("list")],
    Discriminator(_number),
]


class HousePart(Part):
    """What the house uses without the car."""

    per_day: KilowattHours | None = Field(None, description="Use of a day, on the mean", examples=["24 kWh"])
    by_month: ByMonth | None = Field(None, description="Use in each month relative to the mean, January first")
    load: str | None = Field(None, description="A meter's values, CSV or Parquet, instead", examples=["meter.csv"])
    stamps: Literal["with offset", "local"] = Field(
        "with offset", description="Whether its times say their offset from UTC, or are what the local clock shows"
    )


House = Annotated[HousePart, BeforeValidator(_house)]


class HouseholdPart(Part):
    """A household of the study, with something that is not as in its file."""

    household: str = Field(description="Its file beside this one, or an example", examples=["demo"])
    house: House | None = Field(None, description="What the house uses without the car")
    stops: Literal["as they are", "none"] = Field("as they are", description="Whether it charges at other places")


HouseholdOrName = Annotated[Annotated[str, Tag("one")] | Annotated[HouseholdPart, Tag("table")], Discriminator(form_of)]
Households = Annotated[
    Annotated[str, Tag("one")]
    | Annotated[list[str], Tag("list")]
    | Annotated[dict[Name, HouseholdOrName], Tag("table")],
    Discriminator(_several),
]


class WirePart(Part):
    """The wire from the panel to the car."""

    length: Length = Field(description="How long it is", examples=["12 m"])
    price: PriceOfLength = Field(description="What a length of it costs, with the work", examples=["22 per m"])


class RebatePart(Part):
    """Money that somebody else pays: a percentage or an amount."""

    share: Share | None = Field(None, description="Percentage of the eligible cost", examples=["30 %"])
    amount: NotNegative | None = Field(None, description="A fixed amount instead", examples=[250])
    at_most: NotNegative | None = Field(None, description="The most it pays", examples=[1000])
    of: list[CostPart] = Field(list(PARTS), description="What it is paid for", min_length=1)
    after_others: bool = Field(False, description="Reckoned from what the rebates before it left")


class EquipmentPart(Part):
    """An outlet or circuit, its supply equipment, and what it costs to have."""

    circuit: CircuitPart = Field(description="The circuit", examples=[{"breaker": "50 A", "volts": "240 V"}])
    evse: EvsePart | None = Field(
        None,
        description="The supply equipment; the circuit alone decides without it",
        examples=[{"max_current": "32 A"}],
    )
    purchase: NotNegative = Field(0.0, description="EVSE and receptacle", examples=[550])
    wire: WirePart | None = Field(None, description="The wire", examples=[{"length": "12 m", "price": "22 per m"}])
    labor: NotNegative = Field(0.0, description="Work, whatever the length of the wire", examples=[400])
    permit: NotNegative = Field(0.0, description="Permit and inspection", examples=[90])
    rebates: dict[Name, RebatePart] = Field({}, description="What others pay, one after the other")
    lifetime: Years | None = Field(None, description="After which it is replaced", examples=["12 years"])
    replacement: NotNegative | None = Field(None, description="What that costs today; the purchase if not stated")
    upkeep: YearlyCost = Field(0.0, description="Every year", examples=["20 per year"])


EquipmentOrNot = Annotated[
    Annotated[EquipmentPart, Tag("table")]
    | Annotated[str, BeforeValidator(_kept), WithJsonSchema({"enum": [AS_IT_IS, NONE, None]}), Tag("one")],
    Discriminator(form_of),
]


class LongTripsPart(Part):
    """Days, chosen at random, on which the car goes far."""

    per_year: NotNegative = Field(description="How many a year", examples=[6])
    distance: Distance = Field(description="Driven on such a day, there and back", examples=["250 mi"])
    days: DayNames = Field("weekends", description="Of which days they are chosen", examples=["Fri, weekends"])


class AwayPart(Part):
    """Days on which car and people are away: one journey."""

    from_: Date = Field(alias="from", description="On which the car leaves", examples=["2026-07-04"])
    to: Date = Field(description="On which it is back", examples=["2026-07-18"])
    distance: Distance = Field(0.0, description="Driven in all", examples=["900 mi"])


class ColdPart(Part):
    """How much more the car uses when it is cold."""

    temperature: Temperatures = Field(
        description="Mean of each month, January first; or a CSV file with the mean of each day",
        examples=["temperatures.csv"],
    )
    consumption: dict[Celsius, Multiple] = Field(
        description="Relative to the usual, by temperature",
        examples=[{"-10 °C": "140 %", "20 °C": "100 %"}],
        min_length=1,
    )


class DrivingPart(Part):
    """A way of driving; what it does not say is as in the habits of the household."""

    weekdays: Distance | None = Field(None, description="Driven a day, Monday to Friday", examples=["40 mi"])
    weekends: Distance | None = Field(None, description="Driven a day, Saturday and Sunday", examples=["20 mi"])
    spread: Multiple = Field(0.0, description="Standard deviation of a day's distance, of its mean", examples=["40 %"])
    scale: Multiple = Field(1.0, description="Of every distance", examples=["150 %"])
    stays_home: Share = Field(0.0, description="Share of the usual departures that do not take place", examples=["5 %"])
    long_trips: LongTripsPart | None = Field(
        None, description="Days on which it goes far", examples=[{"per_year": 6, "distance": "250 mi"}]
    )
    away: list[AwayPart] = Field([], description="Times away from home")
    cold: ColdPart | None = Field(None, description="How much more it uses when it is cold")
    log: str | None = Field(None, description="A CSV file of journeys, instead of all that", examples=["drives.csv"])


class TodayPart(Part):
    """What the household has now."""

    tariff: str | None = Field(None, description="Its rate, as it is called in this file", examples=["flat"])
    equipment: str | None = Field(None, description="Its equipment, as it is called in this file")


class PanelPart(CircuitPart):
    """The panel, to see what it has room for."""

    other_load: AmperesOrList = Field(
        description="Highest load without the car; one value, or one for each leg or phase", examples=["45 A"]
    )
    basis: Basis = Field(description="Measured over a year, or calculated by the local code", examples=["measured"])


class RoadPart(Part):
    """Fast charging on the way, for journeys that are longer than the battery."""

    price: NotNegative = Field(description="Per kWh", examples=[0.55])
    dc_power: Kilowatts = Field(50.0, description="Power of the station", examples=["50 kW"])


class PublicPart(Part):
    """A place where all might be charged instead."""

    price: NotNegative = Field(description="Per kWh", examples=[0.32])
    power: Kilowatts | None = Field(None, description="Power of an AC station", examples=["7 kW"])
    dc_power: Kilowatts | None = Field(None, description="Power of a DC station, instead", examples=["50 kW"])


class GasolinePart(Part):
    """A car with an engine to compare with."""

    price: PriceOfFuel = Field(description="Of the gasoline", examples=["3.60 per gal"])
    consumption: FuelConsumption = Field(description="What it burns", examples=["31 mi/gal"])


class MoneyPart(Part):
    """How far is looked ahead, how money of other years counts, and how sure one wants to be."""

    horizon: Years = Field(10.0, description="Whole years", examples=["10 years"])
    discount_rate: Rate = Field(0.05, description="A year, inflation included", examples=["5 %"])
    price_growth: Rate = Field(0.0, description="Of the cost of charging, a year", examples=["2 %"])
    price_spread: Share = Field(0.0, description="Standard deviation of that growth", examples=["8 %"])
    work_growth: Rate = Field(0.0, description="Of upkeep and replacements, a year", examples=["2 %"])
    outlay_spread: Share = Field(0.0, description="How far outlays may be off, either way", examples=["20 %"])
    residual: bool = Field(True, description="Whether what is left of a lifetime at the horizon counts")
    reliability: Share = Field(0.98, description="Share of departures that must meet the target", examples=["98 %"])


class StudySheet(Part):
    """A study file."""

    name: str = Field(description="What it is called", examples=["Which rate"], min_length=1, max_length=200)
    from_: Date = Field(alias="from", description="First day", examples=["2026-01-01"])
    to: Date | None = Field(None, description="Last day; a year if not stated", examples=["2026-12-31"])
    seed: Annotated[int, Field(strict=True, ge=0, le=2**63)] = Field(1, description="Same seed, same driving")
    drawn_years: Annotated[int, Field(strict=True, ge=1, le=MAX_DRAWS)] = Field(
        1, description="How many years are drawn of each way of driving", examples=[5]
    )
    aim: Aim = Field("target", description="What departures ask for: the target, or just enough until the next charge")
    households: Households = Field(description="Household files beside this one, or examples", examples=["demo"])
    house: House | None = Field(
        None, description="What the house uses without the car", examples=[{"per_day": "24 kWh"}]
    )
    tariffs: Names = Field(
        description="Rate sheets beside this file, or such that come with the package",
        examples=[["flat", "two-period"]],
    )
    equipment: dict[Name, EquipmentOrNot] = Field(
        {AS_IT_IS: ""}, description="Outlets and circuits at home", examples=[{AS_IT_IS: None}], min_length=1
    )
    driving: dict[Name, DrivingPart | None] = Field(
        {"usual": None}, description="Ways of driving", examples=[{"usual": {"spread": "40 %"}}], min_length=1
    )
    today: TodayPart = Field(TodayPart(), description="Rate and equipment in use now", examples=[{"tariff": "flat"}])
    panel: PanelPart | None = Field(
        None,
        description="The panel",
        examples=[{"breaker": "100 A", "volts": "240 V", "other_load": "45 A", "basis": "measured"}],
    )
    road: RoadPart | None = Field(None, description="Fast charging on the way", examples=[{"price": 0.55}])
    public: dict[Name, PublicPart] = Field(
        {}, description="Charging everything elsewhere", examples=[{"fast": {"price": 0.55, "dc_power": "50 kW"}}]
    )
    gasoline: GasolinePart | None = Field(
        None, description="A car with an engine", examples=[{"price": "3.60 per gal", "consumption": "31 mi/gal"}]
    )
    money: MoneyPart = Field(
        MoneyPart(), description="How money of other years counts", examples=[{"horizon": "10 years"}]
    )


def study_schema() -> dict[str, Any]:
    """Make the JSON Schema of a study file, for editors.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12.

    Examples
    --------
    >>> "tariffs" in study_schema()["required"]
    True
    """
    return schema_of(StudySheet)
