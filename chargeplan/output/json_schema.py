"""JSON Schemas of what `--json` prints; the version is in the name of each."""

from __future__ import annotations

from typing import Any, Final

from chargeplan.output.data import CHECK_SCHEMA, PLAN_SCHEMA, PRICES_SCHEMA

_Schema = dict[str, Any]
_DRAFT: Final = "https://json-schema.org/draft/2020-12/schema"
_TEXT: Final[_Schema] = {"type": "string"}
_NUMBER: Final[_Schema] = {"type": "number"}
_COUNT: Final[_Schema] = {"type": "integer", "minimum": 0}
_TRUTH: Final[_Schema] = {"type": "boolean"}
_TIME: Final[_Schema] = {"type": "string", "format": "date-time", "description": "ISO 8601 with offset"}


def _maybe(schema: _Schema, description: str = "") -> _Schema:
    return {"anyOf": [schema, {"type": "null"}], **({"description": description} if description else {})}


def _list(items: _Schema) -> _Schema:
    return {"type": "array", "items": items}


def _said(schema: _Schema, description: str) -> _Schema:
    return {**schema, "description": description}


def _object(**properties: _Schema) -> _Schema:
    """Describe an object whose named keys are always there; a later version may add others."""
    return {"type": "object", "properties": properties, "required": list(properties)}


def _document(name: str, **properties: _Schema) -> _Schema:
    return {"$schema": _DRAFT, "title": name, **_object(schema={"const": name}, **properties)}


_LIMIT = _object(
    current_a=_maybe(_NUMBER, "A on each phase; null for direct current"),
    wall_kw=_NUMBER,
    because=_said(_TEXT, "the weakest link, in words"),
    cautions=_list(_TEXT),
)
_DEPARTURE = _object(
    state_of_charge=_said(_NUMBER, "share on leaving"),
    needed=_said(_NUMBER, "share wanted, or needed for the drive and the floor"),
    shortfall_kwh=_said(_NUMBER, "battery energy missing; 0 if reached"),
    unserved_kwh=_said(_NUMBER, "energy the next drive needs beyond what the battery holds"),
)
_HABIT = _object(
    cost=_NUMBER,
    saving=_said(_NUMBER, "what the plan costs less"),
    shortfall_kwh=_said(_NUMBER, "battery energy by which the habit ends below the plan, all departures together"),
)
_PLAN = _document(
    PLAN_SCHEMA,
    household=_TEXT,
    vehicle=_TEXT,
    tariff=_TEXT,
    currency=_TEXT,
    timezone=_TEXT,
    now=_TIME,
    state_of_charge=_object(share=_NUMBER, source={"enum": ["given", "file", "estimate"]}, because=_TEXT),
    target=_said(_NUMBER, "share wanted on leaving home"),
    reachable=_said(_TRUTH, "false goes with exit code 3"),
    cost=_NUMBER,
    wall_kwh=_said(_NUMBER, "energy paid for"),
    battery_kwh=_said(_NUMBER, "energy gained by the battery"),
    windows=_list(
        _object(
            place=_TEXT,
            start=_TIME,
            end=_TIME,
            current_a=_maybe(_NUMBER),
            wall_kwh=_NUMBER,
            battery_kwh=_NUMBER,
            cost=_NUMBER,
        )
    ),
    stays=_list(_object(place=_TEXT, start=_TIME, end=_TIME, limit=_LIMIT, departure=_DEPARTURE)),
    fixes=_list(
        _object(
            place=_TEXT,
            stay=_said(_COUNT, "position in `stays`"),
            shortfall_kwh=_NUMBER,
            leave_later_min=_maybe(_COUNT, "null if no delay would help"),
            more_a=_maybe(_COUNT, "null if no current would help"),
        )
    ),
    compared_with=_object(on_plug_in=_HABIT, timer=_HABIT),
    proof=_object(
        optimal=_TRUTH,
        bound=_maybe(_NUMBER, "no plan costs less"),
        gap=_maybe(_NUMBER),
        method=_TEXT,
        tie_break={"enum": ["as needed", "earliest", "latest", "fewest starts"]},
    ),
)
_PRICES = _document(
    PRICES_SCHEMA,
    tariff=_TEXT,
    currency=_TEXT,
    timezone=_TEXT,
    runs=_list(
        _object(
            start=_TIME,
            end=_TIME,
            period=_TEXT,
            season=_TEXT,
            day_type={"enum": ["weekday", "weekend", "holiday"]},
            price_per_kwh=_said(_NUMBER, "all included"),
        )
    ),
)
_FOUND = _list(_object(file=_TEXT, line=_COUNT, column=_COUNT, what=_TEXT, remedy=_TEXT))
_CHECK = _document(
    CHECK_SCHEMA,
    good=_TRUTH,
    files=_list(
        _object(
            file=_TEXT,
            good=_TRUTH,
            checks=_said(_COUNT, "how many checks the sheet carries"),
            mistakes=_FOUND,
            warnings=_FOUND,
        )
    ),
)

#: By the name of what prints it.
SCHEMAS: Final[dict[str, _Schema]] = {"plan": _PLAN, "prices": _PRICES, "check": _CHECK}
