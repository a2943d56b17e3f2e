"""What a rate sheet may say: the model that files are checked against, and the source of the JSON Schema."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from typing import Annotated, Any, Final, Literal, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Discriminator, Field, Tag, WithJsonSchema

from chargeplan.clock import FIRST_YEAR, LAST_YEAR, zone
from chargeplan.errors import InputError
from chargeplan.tariff.dates import DayRule, season_days
from chargeplan.tariff.holiday_set import SHIFTS
from chargeplan.tariff.windows import JOINING_WORDS, Window

ParsedT = TypeVar("ParsedT")
REST: Final = "rest"
Per = Literal["day", "month", "year"]
#: No phrase of the language is longer than this; reading much longer ones takes very long.
MAX_TEXT: Final = 300
#: Prices per kWh, charges and percentages beyond this are refused.
MAX_AMOUNT: Final = 100_000.0
#: What one version can hold. Twelve months as seasons are the most that rate sheets print.
MAX_SEASONS, MAX_PERIODS, MAX_WINDOWS, MAX_VERSIONS = 24, 24, 200, 400


class Part(BaseModel):
    """A part of a sheet: no unknown keys, no changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, defer_build=True)


def _from_text(parse: Callable[[str], ParsedT], example: str) -> Callable[[Any], ParsedT]:
    def read(value: Any) -> ParsedT:
        if not isinstance(value, str):
            given = "nothing" if value is None else f"`{value}`"
            raise InputError(f"{given} cannot stand here; write for example {example}")
        if len(value) > MAX_TEXT:
            raise InputError(f"the text is longer than {MAX_TEXT} characters; write for example {example}")
        return parse(value)

    return read


def _name(value: str) -> str:
    words = value.split()
    if not words or len(value) > 60 or any(word.lower() in JOINING_WORDS for word in words) or "," in value:
        raise InputError(f"`{value[:60]}` cannot be a name; use words without commas and not on, in, except, starting")
    return value


def _currency(value: str) -> str:
    if not re.fullmatch(r"[A-Z]{3}", value):
        raise InputError(f"`{value[:30]}` is not a currency; write its three-letter code, like USD, EUR or JPY")
    return value


def _zone(value: str) -> str:
    return str(zone(value).key)


_DATE = re.compile(r"\d{4}-\d{2}-\d{2}\Z", re.ASCII)


def _date(value: str) -> date:
    if not _DATE.match(value.strip()):
        raise InputError(f"`{value[:30]}` is not a date; write for example 2026-01-31")
    rule = DayRule.parse(value)
    if not FIRST_YEAR <= rule.numbers[0] <= LAST_YEAR:
        raise InputError(f"{value} is out of range; write a date of the years {FIRST_YEAR} to {LAST_YEAR}")
    return rule.dates(rule.numbers[0])[0]


def _season(value: str) -> frozenset[tuple[int, int]] | None:
    return None if value.strip().lower() == REST else season_days(value)


def _windows(value: Any) -> tuple[Window, ...] | None:
    if isinstance(value, str) and value.strip().lower() == REST:
        return None
    items = value if isinstance(value, list) else [value]
    if not items:
        raise InputError("no hours are given; write for example 16:00-21:00 on weekdays")
    parse = _from_text(Window.parse, "16:00-21:00 on weekdays")
    pieces = [piece for item in items for piece in _pieces(item)]
    if len(pieces) > MAX_WINDOWS:
        raise InputError(f"{len(pieces)} spans of hours are too many; {MAX_WINDOWS} can be read")
    return tuple(map(parse, pieces))


def _pieces(item: Any) -> list[Any]:
    return [piece for piece in item.split(";") if piece.strip()] or [item] if isinstance(item, str) else [item]


@dataclass(frozen=True)
class Share:
    """A percentage of other lines."""

    share: float
    of: tuple[str, ...] = ()


def _amount(digits: str) -> float:
    amount = float(digits)
    if abs(amount) > MAX_AMOUNT:
        raise InputError(f"`{digits[:40]}` is out of range; it must be between -100,000 and 100,000")
    return amount


_SHARE = re.compile(r"([-+]?\d+(?:\.\d+)?)\s*%(?:\s+of\s+(.+))?\Z", re.ASCII)


def _share(text: str) -> Share:
    match = _SHARE.match(text.strip())
    if match is None:
        raise InputError(f"`{text.strip()[:40]}` is not a percentage; write for example 5 % or 5 % of delivery")
    of = re.split(r"\s*,\s*(?:and\s+)?|\s+and\s+", match[2].strip()) if match[2] else []
    if len(set(of)) < len(of):
        raise InputError(f"`{text.strip()[:60]}` names a line twice; name each line once")
    return Share(share=_amount(match[1]) / 100, of=tuple(of))


@dataclass(frozen=True)
class Fixed:
    """A charge that does not depend on use."""

    amount: float
    per: Per


_FIXED = re.compile(r"([-+]?\d+(?:\.\d+)?)\s+(?:per|a)\s+(day|month|year)\Z", re.ASCII | re.IGNORECASE)


def _fixed(text: str) -> Fixed:
    match = _FIXED.match(text.strip())
    if match is None:
        raise InputError(f"`{text.strip()[:40]}` is not a fixed charge; write for example 0.42 per day or 12 per month")
    per: Per = match[2].lower()  # type: ignore[assignment]
    return Fixed(_amount(match[1]), per)


def _text_schema(description: str, *examples: str) -> WithJsonSchema:
    return WithJsonSchema({"type": "string", "description": description, "examples": list(examples)})


Price = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-MAX_AMOUNT, le=MAX_AMOUNT)]
Name = Annotated[str, AfterValidator(_name)]
Zone = Annotated[str, AfterValidator(_zone)]
Currency = Annotated[str, AfterValidator(_currency), Field(json_schema_extra={"pattern": "^[A-Z]{3}$"})]
Day = Annotated[date, BeforeValidator(_from_text(_date, "2026-01-31")), _text_schema("A date", "2026-01-31")]
Rule = Annotated[
    DayRule,
    BeforeValidator(_from_text(DayRule.parse, "Jul 4")),
    _text_schema("A holiday", "Jul 4", "last Monday of May", "Easter Monday", "2026-12-24"),
]
SeasonDays = Annotated[
    frozenset[tuple[int, int]] | None,
    BeforeValidator(_from_text(_season, "Jun 1 - Sep 30")),
    _text_schema("Days of a season", "Jun 1 - Sep 30", "Nov - Apr", "rest"),
]
_HOURS_TEXT = {"type": "string", "examples": ["16:00-21:00 on weekdays except holidays in summer", "rest"]}
Hours = Annotated[
    tuple[Window, ...] | None,
    BeforeValidator(_windows),
    WithJsonSchema({"anyOf": [_HOURS_TEXT, {"type": "array", "items": _HOURS_TEXT}]}),
]
Tax = Annotated[Share, BeforeValidator(_from_text(_share, "5 %")), _text_schema("A tax", "5 %", "5 % of delivery")]
FixedCharge = Annotated[
    Fixed, BeforeValidator(_from_text(_fixed, "0.42 per day")), _text_schema("A fixed charge", "0.42 per day")
]


def _form(value: Any) -> str:
    return "table" if isinstance(value, dict) else "one"


#: One price, or prices by season or by period, or by season and in it by period.
Row = Annotated[
    Annotated[Price, Tag("one")] | Annotated[dict[str, Price], Tag("table")],
    Discriminator(_form),
]
PriceTable = Annotated[
    Annotated[Price, Tag("one")] | Annotated[dict[str, Row], Tag("table")],
    Discriminator(_form),
]


FixedCharges = Annotated[
    Annotated[FixedCharge, Tag("one")] | Annotated[dict[str, FixedCharge], Tag("table")],
    Discriminator(_form),
]


class TimedAdder(Part):
    """An amount on every kWh of some hours only."""

    price: Price = Field(description="Amount per kWh, negative for a discount", examples=[-0.015])
    hours: Hours = Field(description="When it applies", examples=["00:00-06:00"])


Adder = Annotated[
    Annotated[Price, Tag("one")] | Annotated[TimedAdder, Tag("table")],
    Discriminator(_form),
]


class Holidays(Part):
    """Which days are holidays, and what becomes of one that falls on a weekend."""

    country: str | None = Field(None, description="ISO code of a country with open holiday data", examples=["US"])
    subdivision: str | None = Field(None, description="State or region whose holidays are meant", examples=["CA"])
    categories: list[str] = Field(["public"], description="Categories of the holiday data")
    days: list[Rule] = Field([], description="Holidays by rule or date, besides the country's")
    except_: list[Rule] = Field([], alias="except", description="Days that are not holidays after all")
    shift: Literal[SHIFTS] = Field("never", description="What becomes of a holiday on a weekend")  # type: ignore[valid-type]
    as_: str | None = Field(
        None, alias="as", description="Day of the week whose hours holidays take", examples=["Sunday"]
    )


def _holidays(value: Any) -> Any:
    return {"days": value} if isinstance(value, list) else value


HolidaysField = Annotated[Holidays, BeforeValidator(_holidays, json_schema_input_type=Holidays | list[str])]


class Terms(Part):
    """What may change from one version of a sheet to the next."""

    holidays: HolidaysField | None = Field(None, description="Holidays of the sheet", examples=["{country: US}"])
    seasons: dict[Name, SeasonDays] | None = Field(
        None, max_length=MAX_SEASONS, description="Days of each season", examples=["{summer: Jun - Sep, winter: rest}"]
    )
    periods: dict[Name, Hours] | None = Field(
        None,
        max_length=MAX_PERIODS,
        description="Hours of each period",
        examples=["{peak: 16:00-21:00, off-peak: rest}"],
    )
    prices: PriceTable | None = Field(None, description="Price per kWh", examples=["{peak: 0.42, off-peak: 0.18}"])
    components: dict[Name, PriceTable] | None = Field(
        None, description="Named parts of the price per kWh, instead of `prices`"
    )
    adders: dict[Name, Adder] | None = Field(None, description="Amounts added to every kWh, or in some hours only")
    taxes: dict[Name, Tax] | None = Field(None, description="Percentages of the price")
    fixed: FixedCharges | None = Field(None, description="Charges per day, month or year")
    export: PriceTable | None = Field(None, description="What a kWh sold earns")


class Version(Terms):
    """What changes on a date; all else stays as before."""

    from_: Day = Field(alias="from", description="First day", examples=["2027-01-01"])


class Check(Part):
    """An instant whose period or price the sheet's author knows."""

    at: str = Field(description="Local date and time", examples=["2026-07-04 17:00"])
    period: str | None = Field(None, description="Name of the period then")
    season: str | None = Field(None, description="Name of the season then")
    price: Price | None = Field(None, description="Price per kWh then, all included")


class Sheet(Terms):
    """A rate sheet."""

    name: str = Field(
        description="What the rate is called", min_length=1, max_length=200, examples=["Home time-of-use"]
    )
    currency: Currency = Field(description="Three-letter code of the currency", examples=["USD"])
    timezone: Zone = Field(description="Time zone of the sheet's clock", examples=["America/Denver"])
    price_unit: Literal["whole", "cents"] = Field(
        "whole", description="Whether prices are per kWh in the currency, or in hundredths of it"
    )
    effective: Day | None = Field(None, description="First day of the sheet", examples=["2026-01-01"])
    until: Day | None = Field(None, description="Last day of the sheet", examples=["2026-12-31"])
    versions: list[Version] = Field([], max_length=MAX_VERSIONS, description="Dated changes, oldest first")
    source: str | None = Field(None, description="Where the figures come from")
    notes: str | None = Field(None, description="Anything a reader should know")
    checks: list[Check] = Field([], description="Instants with the period and price they must have")


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
