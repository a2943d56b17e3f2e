"""What a household file may say: the model that files are checked against."""

from datetime import date
from typing import Annotated, Any, Final, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, Tag, WithJsonSchema

from chargeplan.charging import Level
from chargeplan.charging.derating import MOST_POINTS
from chargeplan.clock import zone
from chargeplan.errors import InputError
from chargeplan.tariff.windows import DaySet, Window
from chargeplan.units import calendar_date, quantity, temperature_c, time_of_day

#: What is written instead of a departure time for days without one.
STAYS_HOME: Final = "stays home"


class Part(BaseModel):
    """A part of a household file: no unknown keys, no changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, defer_build=True)


def by_quantity(kind: str) -> BeforeValidator:
    """Read a text with its unit as `chargeplan.units.quantity` does, in a model of pydantic."""
    return BeforeValidator(lambda value: quantity(value, kind))


def _share(value: Any) -> float:
    share = quantity(value, "share")
    if share > 1:
        raise InputError(f"{value} is more than 100 %; write 0 % to 100 %")
    return share


def text_schema(description: str, *examples: str) -> WithJsonSchema:
    """Say in the JSON Schema that a value is written as text, such as a quantity with its unit."""
    return WithJsonSchema({"type": "string", "description": description, "examples": list(examples)})


def _departure(value: Any) -> int:
    if isinstance(value, str) and value.strip().lower() == STAYS_HOME:
        return -1
    try:
        return time_of_day(value)
    except InputError as error:
        raise InputError(f"{error}, or `{STAYS_HOME}` for a day without a departure") from None


def _days(value: str) -> str:
    DaySet.parse(value)
    return value


def _window(value: str) -> str:
    """Read hours as a rate sheet writes them; what only a rate sheet knows is refused."""
    window = Window.parse(value)
    if window.seasons:
        raise InputError(f"a household has no seasons such as `{window.seasons[0]}`; leave `in` and what follows out")
    if (unknown := window.unknown_day()) is not None:
        raise InputError(unknown)
    return value


def _starts(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 1000:
        raise InputError(f"{value} is no number of starts; write a whole number of 1 or more, like 2")
    return value


def _point(value: Any) -> tuple[str, float]:
    """Read where a point of a table lies: a temperature, or a time of day."""
    if isinstance(value, str) and value.strip()[-1:] in ("C", "F"):
        return "ambient temperature", temperature_c(value)
    try:
        return "hour of day", float(time_of_day(value))
    except InputError:
        raise InputError(f"{value!r} is neither a temperature nor a time of day; write 30 °C or 14:00") from None


def _onboard(value: Any) -> tuple[float | None, float | None]:
    """Read the onboard charger's limit, kW or A."""
    if isinstance(value, str) and value.strip().upper().endswith("A"):
        return None, quantity(value, "current")
    return quantity(value, "power"), None


def form_of(value: Any) -> str:
    """Tell one value from a table of values, which pydantic then reads by its own model."""
    return "table" if isinstance(value, dict) else "one"


def _number(value: Any) -> str:
    return "list" if isinstance(value, list) else "one"


Amperes = Annotated[float, by_quantity("current"), text_schema("Amperes", "32 A")]
Volts = Annotated[float, by_quantity("voltage"), text_schema("Volts", "240 V")]
Kilowatts = Annotated[float, by_quantity("power"), text_schema("Power", "7.7 kW", "200 W")]
KilowattHours = Annotated[float, by_quantity("energy"), text_schema("Energy", "60 kWh")]
Share = Annotated[float, BeforeValidator(_share), text_schema("A percentage", "80 %")]
Minutes = Annotated[float, by_quantity("duration"), text_schema("A duration", "12 h")]
KwhPer100Km = Annotated[float, by_quantity("consumption"), text_schema("Consumption", "26 kWh/100 mi", "4 mi/kWh")]
Distance = Annotated[float, by_quantity("distance"), text_schema("A distance", "29 mi", "47 km")]
Onboard = Annotated[
    tuple[float | None, float | None], BeforeValidator(_onboard), text_schema("Power or current", "7.7 kW", "32 A")
]
Time = Annotated[int, BeforeValidator(time_of_day), text_schema("A time of day", "18:15")]
Departure = Annotated[int, BeforeValidator(_departure), text_schema("A time of day, or none", "07:15", STAYS_HOME)]
DayNames = Annotated[str, AfterValidator(_days), text_schema("Days of the week", "weekdays", "Tue, Thu")]
Hours = Annotated[
    str, AfterValidator(_window), text_schema("Hours, as in a rate sheet", "16:00-21:00 on weekdays", "17:00-20:00")
]
Date = Annotated[date, BeforeValidator(calendar_date), text_schema("A date", "2026-07-14")]
Celsius = Annotated[float, BeforeValidator(temperature_c), text_schema("A temperature", "30 °C", "86 °F")]
Point = Annotated[
    tuple[str, float], BeforeValidator(_point), text_schema("A temperature or a time of day", "40 °C", "14:00")
]
Zone = Annotated[str, AfterValidator(lambda value: str(zone(value).key))]

TimeByDay = Annotated[
    Annotated[Time, Tag("one")] | Annotated[dict[DayNames, Time], Tag("table")], Discriminator(form_of)
]
DepartureByDay = Annotated[
    Annotated[Departure, Tag("one")] | Annotated[dict[DayNames, Departure], Tag("table")], Discriminator(form_of)
]
DistanceByDay = Annotated[
    Annotated[Distance, Tag("one")] | Annotated[dict[DayNames, Distance], Tag("table")], Discriminator(form_of)
]


EnergyByDay = Annotated[
    Annotated[KilowattHours, Tag("one")] | Annotated[dict[DayNames, KilowattHours], Tag("table")],
    Discriminator(form_of),
]
EarlyForm = Annotated[
    Annotated[Minutes, Tag("one")] | Annotated[dict[str, Share], Tag("table")], Discriminator(form_of)
]


HoursOrList = Annotated[Annotated[Hours, Tag("one")] | Annotated[list[Hours], Tag("list")], Discriminator(_number)]
TemperatureByTime = Annotated[
    Annotated[Celsius, Tag("one")] | Annotated[dict[Time, Celsius], Tag("table")], Discriminator(form_of)
]


Starts = Annotated[
    int,
    BeforeValidator(_starts),
    WithJsonSchema({"type": "integer", "minimum": 1, "maximum": 1000, "description": "A number of starts"}),
]


class CircuitPart(Part):
    """The branch circuit that feeds the car."""

    breaker: Amperes = Field(description="Rating of its breaker", examples=["50 A"])
    volts: Volts | None = Field(None, description="Voltage of a single-phase circuit", examples=["240 V"])
    volts_to_neutral: Volts | None = Field(None, description="Three-phase: from a phase to neutral", examples=["230 V"])
    volts_between_phases: Volts | None = Field(None, description="Three-phase: between two phases", examples=["400 V"])
    phases: Literal[1, 3] = Field(1, description="Number of phases")
    continuous_factor: Share = Field(0.8, description="Share of the rating that may flow for hours")


class EvsePart(Part):
    """The supply equipment between circuit and car."""

    max_current: Amperes = Field(description="Highest current it announces, as it is set", examples=["32 A"])
    min_current: Amperes = Field(6.0, description="Lowest current it announces")
    step: Amperes = Field(1.0, description="Currents are whole multiples of this")
    name: str = Field("", description="What its owner calls it")


class LossPart(Part):
    """Losses at one level of charging."""

    efficiency: Share = Field(description="Share that reaches the battery, before the overhead", examples=["92 %"])
    overhead: Kilowatts = Field(0.0, description="Power used while charging, whatever the current", examples=["200 W"])


class VehiclePart(Part):
    """The car."""

    name: str = Field("car", description="What its owner calls it")
    usable_battery: KilowattHours = Field(description="Energy between 0 and 100 %", examples=["58 kWh"])
    onboard_charger: Onboard | None = Field(None, description="Limit of the onboard charger", examples=["7.7 kW"])
    onboard_phases: Literal[1, 2, 3] | None = Field(None, description="Phases it can use")
    consumption: KwhPer100Km = Field(description="Energy used on the road", examples=["26 kWh/100 mi"])
    measured_at: Literal["wall", "battery"] = Field(
        description="wall: a label figure; battery: the car's display", examples=["wall"]
    )
    losses: dict[Level, LossPart] = Field({}, description="Losses by level of charging")
    taper: dict[str, Kilowatts] | None = Field(None, description="Power the battery accepts, by state of charge")
    dc_max: Kilowatts | None = Field(None, description="Highest DC power it takes", examples=["100 kW"])
    daily_limit: Share | None = Field(None, description="State of charge not exceeded; the target if not stated")


class PreconditioningPart(Part):
    """What the car draws to warm or cool cabin and battery before it leaves home."""

    energy: EnergyByDay = Field(description="From the wall, before each departure", examples=["1.2 kWh"])
    takes: Minutes = Field(description="In how much time before the departure", examples=["20 min"])


class HabitsPart(Part):
    """When the car is home, how far it goes, and what it should hold when it leaves."""

    plug_in: TimeByDay = Field(description="When it is plugged in at home", examples=["18:15"])
    leave: DepartureByDay = Field(description="When it leaves home", examples=["07:15"])
    distance: DistanceByDay = Field(description="How far it is driven a day", examples=["29 mi"])
    target: Share = Field(description="State of charge wanted at departure", examples=["80 %"])
    floor: Share = Field(0.0, description="State of charge kept for emergencies", examples=["20 %"])
    early: EarlyForm | None = Field(
        None, description="How much sooner than usual it may leave, or how often", examples=[{"30 min": "8 %"}]
    )
    sure: Share | None = Field(None, description="At what share of departures the target must be met")
    preconditioning: PreconditioningPart | None = Field(
        None,
        description="What it draws from the wall to warm or cool itself before it leaves",
        examples=[{"energy": "1.2 kWh", "takes": "20 min"}],
    )


class StopPart(Part):
    """Another place where the car is plugged in."""

    place: str = Field(description="What it is called", examples=["workplace"], min_length=1, max_length=40)
    days: DayNames = Field("every day", description="On which days", examples=["Tue, Thu"])
    from_: Time = Field(alias="from", description="Plugged in", examples=["08:05"])
    to: Time = Field(description="Unplugged", examples=["16:45"])
    circuit: CircuitPart | None = Field(None, description="Its circuit")
    evse: EvsePart | None = Field(None, description="Its supply equipment; the circuit alone decides without it")
    dc_power: Kilowatts | None = Field(
        None, description="Power of a DC station, instead of a circuit", examples=["50 kW"]
    )
    price: Annotated[float, Field(strict=True, allow_inf_nan=False)] | None = Field(
        None, description="Per kWh there", examples=[0]
    )
    tariff: str | None = Field(None, description="A rate sheet for that place, instead of a price")


class LoadControlPart(Part):
    """Hours in which the utility, or whoever else, switches the EVSE off or holds it to less."""

    hours: Hours = Field(description="When", examples=["17:00-20:00 on weekdays"])
    dates: list[Date] | None = Field(None, description="On these dates only", examples=[["2026-07-14"]], min_length=1)
    current: Amperes = Field(0.0, description="Highest current meanwhile; off if not stated")


LoadControlOrList = Annotated[
    Annotated[LoadControlPart, Tag("one")] | Annotated[list[LoadControlPart], Tag("list")], Discriminator(_number)
]


class DeratingPart(Part):
    """A table of limit currents, by ambient temperature or by the hour of the day."""

    current: dict[Point, Amperes] = Field(
        description="Limit current by ambient temperature, or by time of day",
        examples=[{"25 °C": "32 A", "40 °C": "24 A"}],
        min_length=1,
        max_length=MOST_POINTS,
    )
    between: Literal["straight line", "steps"] = Field("straight line", description="Between two points of the table")
    ambient: TemperatureByTime | None = Field(
        None, description="Temperature at the EVSE, one or by time of day", examples=["30 °C"]
    )


class ChargingPart(Part):
    """How the charger at home may be used."""

    one_block: bool = Field(False, description="Charge in one unbroken block each night")
    most_starts: Starts | None = Field(None, description="Most starts from plug-in to departure", examples=[2])
    min_on: Minutes = Field(0.0, description="Least time from a start to the next stop", examples=["30 min"])
    min_off: Minutes = Field(0.0, description="Least time from a stop to the next start", examples=["15 min"])
    never: HoursOrList | None = Field(None, description="Hours without charging", examples=["16:00-21:00 on weekdays"])
    load_control: LoadControlOrList | None = Field(
        None,
        description="Hours in which others switch the EVSE off or hold it to less",
        examples=[{"hours": "17:00-20:00 on weekdays", "current": "10 A"}],
    )
    derating: DeratingPart | None = Field(None, description="Less current when it is hot")


class StateOfChargePart(Part):
    """A file in which something else writes the state of charge."""

    file: str = Field(description="Text or JSON, beside the household file", examples=["soc.txt"])
    max_age: Minutes = Field(720.0, description="Older than this it is not believed", examples=["12 h"])


class HouseUsePart(Part):
    """What the house has used since the last reading, and what it is expected to use."""

    so_far: KilowattHours = Field(description="Bought since the meter was read", examples=["420 kWh"])
    per_day: KilowattHours = Field(
        description="Expected on each day to come, without what is planned; with what the car uses on other days",
        examples=["18 kWh"],
    )
    highest: Kilowatts = Field(0.0, description="Highest power since the reading", examples=["4.5 kW"])


class HouseholdSheet(Part):
    """A household file."""

    name: str = Field(description="What the household is called", examples=["Our house"], min_length=1, max_length=200)
    timezone: Zone = Field(description="Time zone of its clock", examples=["America/Denver"])
    tariff: str = Field(
        description="A rate sheet beside this file, or one that comes with the package", examples=["flat"]
    )
    circuit: CircuitPart = Field(description="The circuit at home", examples=[{"breaker": "50 A", "volts": "240 V"}])
    evse: EvsePart = Field(description="The supply equipment at home", examples=[{"max_current": "32 A"}])
    vehicle: VehiclePart = Field(
        description="The car",
        examples=[{"usable_battery": "58 kWh", "consumption": "26 kWh/100 mi", "measured_at": "wall"}],
    )
    habits: HabitsPart = Field(
        description="When it is home and how far it goes",
        examples=[{"plug_in": "18:15", "leave": "07:15", "distance": "29 mi", "target": "80 %"}],
    )
    charging: ChargingPart | None = Field(None, description="How the charger at home may be used")
    stops: list[StopPart] = Field([], description="Other places where it is plugged in")
    state_of_charge: StateOfChargePart | None = Field(None, description="Where to read the state of charge")
    house_use: HouseUsePart | None = Field(None, description="What the rest of the house uses, for rates with tiers")
    prefer: Literal["as needed", "earliest", "latest", "fewest starts"] = Field(
        "as needed", description="Among equally cheap plans"
    )


def household_schema() -> dict[str, Any]:
    """Make the JSON Schema of a household file, for editors.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12.

    Examples
    --------
    >>> "tariff" in household_schema()["required"]
    True
    """
    return schema_of(HouseholdSheet)


def schema_of(model: type[Part]) -> dict[str, Any]:
    """Make the JSON Schema of a file from its model."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **model.model_json_schema(by_alias=True)}
