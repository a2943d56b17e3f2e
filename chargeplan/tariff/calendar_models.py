"""What a rate sheet may say of its calendar: seasons, hours, holidays, called days, its clock."""

import re
from typing import Annotated, Any, Final, Literal

from pydantic import BeforeValidator, Field, ValidationInfo, WithJsonSchema

from chargeplan.errors import InputError, ItemsError
from chargeplan.tariff.dates import DayRule
from chargeplan.tariff.holiday_set import SHIFTS
from chargeplan.tariff.parts import Day, Name, Part, from_text, text_schema
from chargeplan.tariff.seasons import SeasonDays, season_days
from chargeplan.tariff.windows import Window

REST: Final = "rest"
#: What one version can hold. Twelve months as seasons are the most that rate sheets print.
MAX_SEASONS, MAX_PERIODS, MAX_WINDOWS, MAX_KINDS = 24, 24, 200, 4


def _season(value: str) -> SeasonDays | None:
    return None if value.strip().lower() == REST else season_days(value)


def _windows(value: Any) -> tuple[Window, ...] | None:
    if isinstance(value, str) and value.strip().lower() == REST:
        return None
    items = value if isinstance(value, list) else [value]
    if not items:
        raise InputError("no hours are given; write for example 16:00-21:00 on weekdays")
    parse = from_text(Window.parse, "16:00-21:00 on weekdays")
    pieces = [(position, piece) for position, item in enumerate(items) for piece in _pieces(item)]
    if len(pieces) > MAX_WINDOWS:
        raise InputError(f"{len(pieces)} spans of hours are too many; {MAX_WINDOWS} can be read")
    windows, wrong = [], []
    for position, piece in pieces:
        try:
            windows.append(parse(piece))
        except InputError as error:
            wrong.append((position, error))
    if wrong:
        raise ItemsError(wrong) if isinstance(value, list) else wrong[0][1]
    return tuple(windows)


def _pieces(item: Any) -> list[Any]:
    return [piece for piece in item.split(";") if piece.strip()] or [item] if isinstance(item, str) else [item]


Rule = Annotated[
    DayRule,
    BeforeValidator(from_text(DayRule.parse, "Jul 4")),
    text_schema("A day that comes every year", "Jul 4", "last Monday of May", "Easter Monday", "2026-12-24"),
]
SeasonField = Annotated[
    SeasonDays | None,
    BeforeValidator(from_text(_season, "Jun 1 - Sep 30")),
    text_schema("Days of a season", "Jun 1 - Sep 30", "Nov - Apr", "daylight time", "rest"),
]
_HOURS_TEXT: Final[dict[str, Any]] = {
    "type": "string",
    "examples": ["16:00-21:00 on weekdays except holidays in summer", "rest"],
}
Hours = Annotated[
    tuple[Window, ...] | None,
    BeforeValidator(_windows),
    WithJsonSchema({"anyOf": [_HOURS_TEXT, {"type": "array", "items": _HOURS_TEXT}]}),
]
Seasons = Annotated[dict[Name, SeasonField], Field(max_length=MAX_SEASONS)]
Periods = Annotated[dict[Name, Hours], Field(max_length=MAX_PERIODS)]


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


def _at_most(value: Any, info: ValidationInfo) -> Any:
    if not isinstance(value, str):
        return value
    match = re.fullmatch(r"(\d{1,3})(?:\s+days?)?(?:\s+(?:per|a)\s+(year|season))?", value.strip(), re.ASCII)
    wanted = "season" if info.data.get("only_in") is not None else "year"
    if match is None:
        counted = "of the calendar year, or of the season that `only_in` names"
        raise InputError(f"`{value[:30]}` is no number of days; write for example 33 days, which are those {counted}")
    if match[2] not in (None, wanted):
        counted = "a season, since there is `only_in`" if wanted == "season" else "a calendar year"
        raise InputError(f"`{value[:30]}` cannot be counted; write {match[1]} days, which are those of {counted}")
    return int(match[1])


def _joined(value: Any) -> Any:
    """Read days that stand in a list as if they stood in one text."""
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        return value
    if len(value) > 1 and any(re.search(r"\sexcept\s", item, re.IGNORECASE) for item in value):
        raise InputError("`except` cannot stand in a list of days; write it as text, like weekdays except holidays")
    return ", ".join(value)


def _listed(value: Any) -> Any:
    """Take days that stand in one text apart."""
    return re.split(r"\s*,\s*(?:and\s+)?|\s+and\s+", value.strip()) if isinstance(value, str) else value


AtMost = Annotated[int, Field(ge=1, le=366), BeforeValidator(_at_most, json_schema_input_type=int | str)]
DaysText = Annotated[str, BeforeValidator(_joined, json_schema_input_type=str | list[str])]
Rules = Annotated[list[Rule], BeforeValidator(_listed, json_schema_input_type=str | list[Rule])]


class CalledKind(Part):
    """A kind of day that somebody calls, such as a critical day, and how it becomes known."""

    days: list[Day] = Field([], description="Days that were called", examples=["[2026-01-14]"])
    file: str | None = Field(
        None, description="CSV file beside the sheet with a column `date`", examples=["called.csv"]
    )
    notice: str | None = Field(None, description="When a day is known at the latest", examples=["17:00 the day before"])
    unknown: Literal["called", "not called"] = Field("not called", description="What a day counts as before its notice")
    only_on: DaysText | None = Field(
        None, description="Days on which it may be called", examples=["weekdays except holidays"]
    )
    only_in: str | None = Field(
        None, description="Days of the year, or a season, in which it may be called", examples=["Dec 1 - Mar 31"]
    )
    never_on: Rules = Field([], description="Days on which it is never called", examples=["[Dec 24, Good Friday]"])
    at_most: AtMost | None = Field(None, description="The most days that may be called", examples=["33 days"])


CalledKinds = Annotated[dict[Name, CalledKind], Field(max_length=MAX_KINDS)]


class OldChanges(Part):
    """A meter clock that keeps change dates of its own."""

    forward: Rule = Field(description="The day it goes forward", examples=["first Sunday of April"])
    back: Rule = Field(description="The day it goes back", examples=["last Sunday of October"])


ClockField = Annotated[
    OldChanges | str,
    Field(union_mode="left_to_right"),
]
