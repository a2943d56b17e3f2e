"""What every part of a sheet's model is made of: its class, how text is read, names, dates and amounts."""

import re
from collections.abc import Callable
from datetime import date
from typing import Annotated, Any, Final, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from chargeplan.clock import FIRST_YEAR, LAST_YEAR, zone
from chargeplan.errors import InputError
from chargeplan.tariff.dates import DayRule
from chargeplan.tariff.phrases import MAX_AMOUNT
from chargeplan.tariff.windows import JOINING_WORDS

ParsedT = TypeVar("ParsedT")
#: No phrase of the language is longer than this; reading much longer ones takes very long.
MAX_TEXT: Final = 300


class Part(BaseModel):
    """A part of a sheet: no unknown keys, no changes afterwards."""

    model_config = ConfigDict(extra="forbid", frozen=True, arbitrary_types_allowed=True, defer_build=True)


def from_text(parse: Callable[[str], ParsedT], example: str) -> Callable[[Any], ParsedT]:
    """Make a validator that reads text of reasonable length with a parser, and refuses all else with an example."""

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


def _line_name(value: str) -> str:
    if not value.split() or len(value) > 60 or "," in value:
        raise InputError(f"`{value[:60]}` cannot be the name of a line; use at most 60 characters and no comma")
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


def text_schema(description: str, *examples: str) -> WithJsonSchema:
    """Describe in the JSON Schema a value that is written as text."""
    return WithJsonSchema({"type": "string", "description": description, "examples": list(examples)})


Price = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=-MAX_AMOUNT, le=MAX_AMOUNT)]
#: Names that windows refer to, or might: of seasons, periods and kinds of called days.
Name = Annotated[str, AfterValidator(_name)]
#: Names of the lines of a bill, which no window refers to.
LineName = Annotated[str, AfterValidator(_line_name)]
Zone = Annotated[str, AfterValidator(_zone)]
Currency = Annotated[str, AfterValidator(_currency), Field(json_schema_extra={"pattern": "^[A-Z]{3}$"})]
Day = Annotated[date, BeforeValidator(from_text(_date, "2026-01-31")), text_schema("A date", "2026-01-31")]
