"""What a rate sheet may say: the model that files are checked against, and the source of the JSON Schema."""

from typing import Annotated, Any, Literal

from pydantic import Field

from chargeplan.tariff.calendar_models import CalledKinds, ClockField, HolidaysField, Periods, Seasons
from chargeplan.tariff.check_models import Check
from chargeplan.tariff.line_models import (
    MAX_LINES,
    Credit,
    Demand,
    FixedCharges,
    Lines,
    Market,
    MinimumField,
    NetMetering,
    PriceTable,
    Tax,
)
from chargeplan.tariff.parts import Currency, Day, LineName, Part, Zone

#: A sheet may change this often.
MAX_VERSIONS = 400


class Contracted(Part):
    """What charges per kW or per ampere of contract refer to."""

    power: str | None = Field(None, description="Contracted power", examples=["4.5 kW"])
    current: str | None = Field(None, description="Contracted current", examples=["40 A"])


class Terms(Part):
    """What may change from one version of a sheet to the next."""

    holidays: HolidaysField | None = Field(None, description="Holidays of the sheet", examples=["{country: US}"])
    called: CalledKinds | None = Field(
        None, description="Kinds of days that somebody calls", examples=["{critical: {file: called.csv}}"]
    )
    seasons: Seasons | None = Field(
        None, description="Days of each season", examples=["{summer: Jun - Sep, winter: rest}"]
    )
    price_seasons: Seasons | None = Field(
        None,
        description="Seasons of the prices where they differ from those of the hours",
        examples=["{high: Jul - Sep, low: rest}"],
    )
    price_season_by: Literal["day", "bill"] | None = Field(
        None, description="Whether the day of use or the day of the bill decides on the season of a price"
    )
    periods: Periods | None = Field(
        None, description="Hours of each period", examples=["{peak: 16:00-21:00, off-peak: rest}"]
    )
    prices: PriceTable | None = Field(None, description="Price per kWh", examples=["{peak: 0.42, off-peak: 0.18}"])
    components: Lines | None = Field(None, description="Named parts of the price per kWh, instead of `prices`")
    adders: Lines | None = Field(None, description="Amounts added to every kWh, or in some hours only")
    market: Market | None = Field(None, description="Prices from a file", examples=["{file: day-ahead.csv, per: MWh}"])
    losses: str | None = Field(None, description="Line losses, for the lines that count them", examples=["3.76 %"])
    contracted: Contracted | None = Field(None, description="Contracted power or current", examples=["{power: 4.5 kW}"])
    power_factor: Annotated[float, Field(gt=0, le=1, allow_inf_nan=False)] | None = Field(
        None, description="Real over apparent power, for charges per kVA", examples=[0.9]
    )
    fixed: FixedCharges | None = Field(None, description="Charges per day, month or year", examples=["12 per month"])
    demand: Annotated[dict[LineName, Demand], Field(max_length=MAX_LINES)] | None = Field(
        None, description="Charges for the highest power", examples=["{demand: {price: 7.09, hours: 13:00-19:00}}"]
    )
    minimum: MinimumField | None = Field(None, description="The least the charges come to", examples=["15 per month"])
    credits: Annotated[dict[LineName, Credit], Field(max_length=MAX_LINES)] | None = Field(
        None, description="Amounts taken off", examples=["{climate credit: 40 in Apr and Oct}"]
    )
    taxes: Annotated[dict[LineName, Tax], Field(max_length=MAX_LINES)] | None = Field(
        None, description="Percentages of the charges", examples=["{city tax: 5 %}"]
    )
    export: PriceTable | None = Field(None, description="What a kWh sold earns", examples=[0.08])
    export_components: Lines | None = Field(
        None, description="Named parts of what a kWh sold earns, instead of `export`"
    )
    net_metering: NetMetering | None = Field(
        None, description="What is sold counts against what is bought", examples=["{carry: money, true_up: Mar}"]
    )


class Version(Terms):
    """What changes on a date; all else stays as before."""

    from_: Day = Field(alias="from", description="First day", examples=["2027-01-01"])


class Override(Terms):
    """What holds for a span of days; afterwards all is as it was."""

    from_: Day = Field(alias="from", description="First day", examples=["2026-03-24"])
    to: Day | None = Field(None, description="Last day", examples=["2026-05-07"])
    days: Annotated[int, Field(ge=1, le=3660, strict=True)] | None = Field(
        None, description="How many days", examples=[45]
    )
    period: str | None = Field(None, description="The period that every hour is in", examples=["off-peak"])


class Billing(Part):
    """How bills are cut and rounded."""

    reading_day: Annotated[int, Field(ge=1, le=28, strict=True)] = Field(
        1, description="Day of the month on which the meter is read"
    )
    rounding: Literal["each line", "total", "none"] = Field(
        "each line", description="When amounts are rounded, half up"
    )
    decimals: Annotated[int, Field(ge=0, le=6, strict=True)] = Field(2, description="Decimals of an amount")
    proration: Literal["days", "30 days", "none"] = Field("days", description="How a part of a month is counted")
    whole_month: str | None = Field(None, description="Lengths of bills that count as a month", examples=["27-34 days"])


class Accepted(Part):
    """A warning that the author of the sheet has looked at."""

    warning: str = Field(description="Which warning", examples=["dear price"])
    because: str = Field(
        description="Why it is right all the same", examples=["prices are in a small currency unit"], min_length=1
    )


class Sheet(Terms):
    """A rate sheet."""

    name: str = Field(
        description="What the rate is called", min_length=1, max_length=200, examples=["Home time-of-use"]
    )
    currency: Currency = Field(description="Three-letter code of the currency", examples=["USD"])
    timezone: Zone = Field(description="Time zone of the sheet's clock", examples=["America/Denver"])
    clock: ClockField = Field(
        "wall", description="The clock that hours are read on: wall, standard, UTC, UTC+10, or own change dates"
    )
    price_unit: Literal["whole", "cents"] = Field(
        "whole", description="Whether prices are per kWh in the currency, or in hundredths of it"
    )
    billing: Billing = Field(Billing.model_construct(), description="How bills are cut and rounded")
    effective: Day | None = Field(None, description="First day of the sheet", examples=["2026-01-01"])
    until: Day | None = Field(None, description="Last day of the sheet", examples=["2026-12-31"])
    versions: Annotated[list[Version], Field(max_length=MAX_VERSIONS)] = Field(
        [], description="Dated changes, oldest first"
    )
    overrides: Annotated[list[Override], Field(max_length=MAX_VERSIONS)] = Field(
        [], description="Spans of days in which something else holds"
    )
    source: str | None = Field(None, description="Where the figures come from")
    notes: str | None = Field(None, description="Anything a reader should know")
    checks: list[Check] = Field([], description="What is known of the sheet: instants, shares of the hours, bills")
    accept: list[Accepted] = Field([], description="Warnings that have been looked at")


def sheet_schema() -> dict[str, Any]:
    """Make the JSON Schema of a rate sheet, for editors.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12.

    Examples
    --------
    >>> sorted(sheet_schema()["required"])
    ['currency', 'name', 'timezone']
    """
    schema = Sheet.model_json_schema(by_alias=True)
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}
