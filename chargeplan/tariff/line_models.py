"""What a rate sheet may say of the lines of a bill: prices with tiers, charges, demand, credits, taxes."""

from collections.abc import Iterable
from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator, Discriminator, Field, Tag, WithJsonSchema

from chargeplan.tariff.calendar_models import Hours, Periods, Seasons
from chargeplan.tariff.parts import LineName, Part, Price, from_text, text_schema
from chargeplan.tariff.phrases import Cell, Fixed, Floor, Lump, Share, Tiers, credit_of, price_cell

#: What can be said of a line in its long form; a mapping with one of these is no price table.
LONG_FORM: Final = ("price", "prices", "hours", "periods", "seasons", "counts", "tiers", "cases", "rounding")
MAX_LINES: Final = 60


def _form(value: Any) -> str:
    if isinstance(value, dict):
        return "long" if any(key in LONG_FORM for key in value) else "table"
    return "text" if isinstance(value, (str, Tiers, Share)) else "one"


def _table_form(value: Any) -> str:
    form = _form(value)
    return "table" if form == "long" else form


def _simple_form(value: Any) -> str:
    return "table" if isinstance(value, dict) else "one"


def _other_than(keys: Iterable[str]) -> Any:
    """Say in the JSON Schema that a mapping with such keys is another form, so that only one form fits."""
    return Field(json_schema_extra={"propertyNames": {"not": {"enum": list(keys)}}})


CellText = Annotated[
    Tiers | Share,
    BeforeValidator(lambda value: price_cell(value) if isinstance(value, str) else value),
    WithJsonSchema(
        {
            "type": "string",
            "description": "A price in tiers, or a percentage of another period's",
            "pattern": r"%|\s(up\s+)?to\s.*\sthen\s",
            "examples": ["0.098 up to 600 then 0.115", "70 % of off-peak"],
        }
    ),
]
PriceCell = Annotated[
    Annotated[Price, Tag("one")] | Annotated[CellText, Tag("text")],
    Discriminator(lambda value: "text" if _form(value) == "text" else "one"),
]
#: One price, or prices by season or by period, or by season and in it by period.
Row = Annotated[
    Annotated[Price, Tag("one")] | Annotated[CellText, Tag("text")] | Annotated[dict[str, PriceCell], Tag("table")],
    Discriminator(_table_form),
]
PriceTable = Annotated[
    Annotated[Price, Tag("one")] | Annotated[CellText, Tag("text")] | Annotated[dict[str, Row], Tag("table")],
    Discriminator(_table_form),
]
#: The same as Python types.
Table = Cell | dict[str, "Cell | dict[str, Cell]"]


class Case(Part):
    """What prices all of a bill whose use is within a limit."""

    up_to: float | None = Field(
        None, gt=0, allow_inf_nan=False, strict=True, description="Use per month", examples=[100]
    )
    prices: PriceTable = Field(description="Prices of all of it", examples=["0.38 up to 50 then 0.48"])


class Line(Part):
    """A price per kWh in its long form."""

    price: PriceCell | None = Field(None, description="One price per kWh", examples=[-0.015])
    prices: PriceTable | None = Field(None, description="Prices by season and period", examples=["{peak: 0.3}"])
    hours: Hours = Field(None, description="The only hours in which it is charged", examples=["00:00-06:00"])
    periods: Periods | None = Field(None, description="Its own periods", examples=["{day: 08:00-24:00, night: rest}"])
    seasons: Seasons | None = Field(None, description="Its own seasons", examples=["{summer: Jun - Sep, winter: rest}"])
    counts: Literal["use", "use with losses", "losses", "bought"] = Field("use", description="Which kWh it counts")
    tiers: Literal["marginal", "all units"] = Field("marginal", description="Which kWh a tier's price is for")
    cases: list[Case] | None = Field(None, max_length=24, description="Prices chosen by the use of the whole bill")
    rounding: Literal["half up", "down", "none"] | None = Field(None, description="How its items are rounded")


AnyLine = Annotated[
    Annotated[Price, Tag("one")]
    | Annotated[CellText, Tag("text")]
    | Annotated[dict[str, Row], Tag("table"), _other_than(LONG_FORM)]
    | Annotated[Line, Tag("long")],
    Discriminator(_form),
]
Lines = Annotated[dict[LineName, AnyLine], Field(max_length=MAX_LINES)]

_FixedText = Annotated[
    Fixed,
    BeforeValidator(from_text(Fixed.parse, "0.42 per day")),
    text_schema("A fixed charge", "0.42 per day", "12 per month", "8 per A per month"),
]


class FixedLong(Part):
    """A fixed charge in its long form."""

    charge: _FixedText | None = Field(None, description="The charge", examples=["1.71 per kW per month"])
    contracted: str | None = Field(None, description="What it is multiplied by", examples=["4.5 kW"])
    unused: str | None = Field(None, description="Share that is due when nothing is used", examples=["50 %"])
    by_use: (
        Annotated[
            Tiers,
            BeforeValidator(from_text(Tiers.parse, "1 up to 50 then 2")),
            text_schema("A charge by the use of the bill", "1 up to 50 then 2"),
        ]
        | None
    ) = Field(None, description="The charge by the use of the whole bill", examples=["1 up to 50 then 2"])
    per: Literal["day", "month", "year"] = Field("month", description="What `by_use` is charged per")


def _fixed_form(value: Any) -> str:
    if not isinstance(value, dict):
        return "one"
    return "long" if any(key in FixedLong.model_fields for key in value) else "table"


FixedCharge = Annotated[
    Annotated[_FixedText, Tag("one")] | Annotated[FixedLong, Tag("table")], Discriminator(_simple_form)
]
FixedCharges = Annotated[
    Annotated[_FixedText, Tag("one")]
    | Annotated[FixedLong, Tag("long")]
    | Annotated[
        dict[LineName, FixedCharge], Tag("table"), Field(max_length=MAX_LINES), _other_than(FixedLong.model_fields)
    ],
    Discriminator(_fixed_form),
]


class Demand(Part):
    """A charge for the highest power of the bill."""

    price: PriceCell | None = Field(None, description="Amount per kW", examples=[7.09])
    prices: PriceTable | None = Field(
        None, description="Amount per kW by season and period", examples=["{summer: 7.09}"]
    )
    hours: Hours = Field(None, description="The only hours that count", examples=["13:00-19:00 on weekdays"])
    periods: Periods | None = Field(None, description="Its own periods", examples=["{day: 08:00-24:00, night: rest}"])
    seasons: Seasons | None = Field(None, description="Its own seasons", examples=["{summer: Jun - Sep, winter: rest}"])
    interval: str = Field("60 min", description="Time over which power is averaged", examples=["30 min"])
    measure: Literal["highest", "mean of daily highest"] = Field("highest", description="What is billed")
    per: Literal["day", "month", "year"] = Field(
        "month", description="Whether the price is per kW and day, month or year"
    )
    unit: Literal["kW", "kVA"] = Field("kW", description="Real or apparent power")
    or_share_of_kva: str | None = Field(
        None, description="Share of the kVA if that is more than the kW", examples=["90 %"]
    )
    at_least: (
        Annotated[
            Floor,
            BeforeValidator(from_text(Floor.parse, "5 kW")),
            text_schema("The least demand billed", "5 kW", "65 % of the last 12 months in winter"),
        ]
        | None
    ) = Field(None, description="The least demand that is billed", examples=["65 % of the last 12 months"])


class Minimum(Part):
    """The least that some lines come to."""

    charge: _FixedText = Field(description="The least amount", examples=["15 per month"])
    of: list[str] | None = Field(None, description="The lines it tops up; all charges without", examples=["[delivery]"])


MinimumField = Annotated[
    Annotated[_FixedText, Tag("one")] | Annotated[Minimum, Tag("table")], Discriminator(_simple_form)
]
Credit = Annotated[
    Fixed | Lump | Share,
    BeforeValidator(from_text(credit_of, "25 per month")),
    text_schema("A credit", "174.25 in Apr and Oct", "25 per month", "20 % of energy"),
]
Tax = Annotated[Share, BeforeValidator(from_text(Share.parse, "5 %")), text_schema("A tax", "5 %", "5 % of delivery")]


class Market(Part):
    """Prices from a file that something else writes."""

    file: str = Field(description="CSV or Parquet file beside the sheet", examples=["day-ahead.csv"])
    per: Literal["kWh", "MWh"] | None = Field(
        None, description="What the prices of the file are for; kWh unless its header says otherwise"
    )
    missing: Price | None = Field(None, description="Price per kWh where the file has none", examples=[0.25])
    times: PriceTable = Field(1.0, description="Factor by season and period", examples=["{peak: 1.2, off-peak: 1}"])
    resolution: str | None = Field(None, description="How long each price holds", examples=["15 min"])


class NetMetering(Part):
    """What is sold counts against what is bought."""

    carry: Literal["money", "nothing"] = Field("money", description="What of a net surplus the next bill gets")
    true_up: str = Field("Dec", description="Month of the bill that settles what is left", examples=["Mar"])
    surplus: Price | Literal["paid", "lost"] = Field(
        "lost", description="What becomes of what is left: a price per kWh, `paid` or `lost`", examples=[0.03]
    )
