"""JSON Schemas of what `--json` prints; the version is in the name of each."""

from __future__ import annotations

from typing import Any, Final, get_args

from chargeplan.output.bill_data import BILL_SCHEMA, BILLS_SCHEMA
from chargeplan.output.data import CHECK_SCHEMA, PLAN_SCHEMA, PRICES_SCHEMA
from chargeplan.output.draft_data import DRAFTS_SCHEMA
from chargeplan.output.picture_data import DIFFERENCE_SCHEMA, PICTURE_SCHEMA
from chargeplan.output.price_files import PRICE_TABLE_SCHEMA
from chargeplan.output.together_text import TOGETHER_SCHEMA
from chargeplan.plan.conflicts import WishKind
from chargeplan.plan.reasons import Reason
from chargeplan.tariff.bill import KINDS

_Schema = dict[str, Any]
_DRAFT: Final = "https://json-schema.org/draft/2020-12/schema"
_TEXT: Final[_Schema] = {"type": "string"}
_NUMBER: Final[_Schema] = {"type": "number"}
_COUNT: Final[_Schema] = {"type": "integer", "minimum": 0}
_TRUTH: Final[_Schema] = {"type": "boolean"}
_DAY: Final[_Schema] = {"type": "string", "format": "date", "description": "ISO 8601"}
_AMOUNT: Final[_Schema] = {
    "type": "number",
    "description": "in the currency named above, rounded as the rate sheet says; to be read as a decimal number",
}
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
    rules=_said(_list(_TEXT), "rules of the charger at home that are at work, in words"),
    cautions=_said(_list(_TEXT), "what of the rate the plan does not reckon with"),
    early=_object(
        ready_min=_said(_NUMBER, "minutes before the usual departure at which stays at home end"),
        met=_said(_NUMBER, "share of departures that come no sooner"),
        cost=_said(_NUMBER, "what that costs more"),
    ),
    fixes=_list(
        _object(
            place=_TEXT,
            stay=_said(_COUNT, "position in `stays`"),
            shortfall_kwh=_NUMBER,
            leave_later_min=_maybe(_COUNT, "null if no delay would help"),
            more_a=_maybe(_COUNT, "null if no current would help"),
            rules=_said(_list(_list(_TEXT)), "ways out: rules of the charger to be relaxed, each list together"),
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
_TOGETHER = _document(
    TOGETHER_SCHEMA,
    panel=_TEXT,
    reachable=_said(_TRUTH, "false goes with exit code 3"),
    cost=_said(_NUMBER, "of all cars; only a sum of money if all have one currency"),
    wall_kwh=_NUMBER,
    cars=_list(
        _object(
            name=_TEXT,
            currency=_TEXT,
            circuit=_TEXT,
            plugged_in=_TIME,
            leaves=_TIME,
            state_of_charge=_said(_NUMBER, "share at plug-in"),
            target=_NUMBER,
            state_of_charge_at_departure=_NUMBER,
            shortfall_kwh=_NUMBER,
            shortfall_alone_kwh=_said(_NUMBER, "what would be missing if the car were alone"),
            windows=_list(_object(start=_TIME, end=_TIME, current_a=_NUMBER, wall_kwh=_NUMBER, cost=_NUMBER)),
        )
    ),
    slots=_object(start=_list(_TIME), current_a=_said(_list(_list(_NUMBER)), "a row for each car, A on each phase")),
    circuits=_list(
        _object(
            name=_TEXT,
            left_a=_said(_NUMBER, "least that is left for cars in any slot"),
            used_a=_said(_NUMBER, "most that cars draw"),
            used_up_slots=_said(_COUNT, "slots in which it is used up while a car could take more"),
        )
    ),
    proof=_object(optimal=_TRUTH, feasible=_TRUTH, status=_TEXT, method=_TEXT),
)
#: What `--why` adds to a plan.
_PLAN["properties"]["why"] = _object(
    value_of_a_kwh=_list(
        _object(
            stay=_said(_COUNT, "position in `stays`"),
            saved=_maybe(_NUMBER, "what one battery kWh less would save; null if nothing is charged for it"),
            paid=_maybe(_NUMBER, "what one more would cost; null if no more can be had"),
        )
    ),
    hours=_list(
        _object(
            stay=_COUNT,
            start=_TIME,
            end=_TIME,
            charges=_TRUTH,
            reason={"enum": list(get_args(Reason))},
            least_price=_NUMBER,
            greatest_price=_NUMBER,
            worth=_maybe(_NUMBER, "the wall price up to which charging would pay"),
            text=_TEXT,
        )
    ),
    changes=_list(
        _object(
            stay=_COUNT,
            change={"enum": ["one_kwh_more", "one_ampere_more", "one_hour_later", "target_lower"]},
            cost=_said(_NUMBER, "how much more the plan would cost"),
            shortfall_kwh=_said(_NUMBER, "how much more would be missing"),
            text=_TEXT,
        )
    ),
    conflicts=_list(
        _object(
            stay=_COUNT,
            place=_TEXT,
            wishes=_list(_object(kind={"enum": list(get_args(WishKind))}, stay=_COUNT, text=_TEXT)),
            text=_TEXT,
        )
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
_PRICE_TABLE = _document(
    PRICE_TABLE_SCHEMA,
    tariff=_TEXT,
    currency=_TEXT,
    timezone=_TEXT,
    unit=_said(_TEXT, "of every price, such as USD per kWh"),
    step_min=_said(_COUNT, "minutes from a start to the next"),
    prices=_list(
        {
            **_object(start=_TIME, end=_TIME, price_per_kwh=_said(_NUMBER, "bought, all included; of the first kWh")),
            "dependentRequired": {"part_per_kwh": ["period", "season", "day_type"]},
        }
    ),
)
_PRICE_TABLE["properties"]["prices"]["items"]["properties"] |= {
    "export_per_kwh": _said(_NUMBER, "what a kWh sold earns, where the sheet says so"),
    "period": _TEXT,
    "season": _TEXT,
    "day_type": _said(_TEXT, "weekday, weekend, holiday, or a kind of day that somebody calls"),
    "part_per_kwh": _said(
        {"type": "object", "additionalProperties": _NUMBER},
        "components and taxes by name; they add up to the price but for rounding",
    ),
}
_DRAFTS = _document(
    DRAFTS_SCHEMA,
    drafts=_list(
        _object(
            name=_TEXT,
            label=_maybe(_TEXT, "key of the record in its database"),
            sheet=_said(_TEXT, "the rate sheet as YAML with comments"),
            notes=_list(
                _object(
                    kind=_said({"enum": ["assumed", "unclear", "left out"]}, "what to make of it"),
                    place=_said(_list(_TEXT), "keys of the sheet; empty for all of it"),
                    text=_TEXT,
                )
            ),
        )
    ),
)
_PLACED: Final[_Schema] = {"file": _TEXT, "line": _COUNT, "column": _COUNT, "what": _TEXT, "remedy": _TEXT}
_ID = _said(_TEXT, "name by which a sheet can accept the warning; empty if it cannot")
_CHECK = _document(
    CHECK_SCHEMA,
    good=_TRUTH,
    files=_list(
        _object(
            file=_TEXT,
            good=_TRUTH,
            checks=_said(_COUNT, "how many checks the sheet carries"),
            mistakes=_list(_object(**_PLACED)),
            warnings=_list(_object(**_PLACED, id=_ID)),
        )
    ),
)

_HOUR: Final[_Schema] = {"type": "string", "pattern": "^[0-2][0-9]:[0-5][0-9]$", "description": "on the wall clock"}
_PICTURE = _document(
    PICTURE_SCHEMA,
    tariff=_TEXT,
    currency=_TEXT,
    timezone=_TEXT,
    year=_COUNT,
    averaged=_said(_TRUTH, "there are more prices than signs, and the steps are bands of monthly means"),
    tiers=_said(_TRUTH, "whether the price also depends on the use of the bill; shown is that of the first kWh"),
    other_clock=_said(_TRUTH, "whether the hours of the sheet are not those of the wall clock"),
    called=_said(_list(_TEXT), "kinds of days that somebody calls"),
    begins=_maybe(_DAY, "first day of the sheet, if days of the year lie before"),
    ends=_maybe(_DAY, "last day of the sheet, if days of the year lie after"),
    holidays=_list(_DAY),
    steps=_list(
        _object(
            mark=_said(_TEXT, "the sign of the printed picture"),
            periods=_list(_TEXT),
            low=_said(_NUMBER, "least price per kWh, all included"),
            high=_said(_NUMBER, "greatest price per kWh"),
        )
    ),
    panels=_list(
        _object(
            days=_said(_TEXT, "days of the week that are alike, `holidays` or `other days`"),
            rows=_list(
                _object(
                    first=_DAY,
                    last=_DAY,
                    spans=_list(_object(start=_HOUR, end=_HOUR, step=_said(_COUNT, "position in `steps`"))),
                )
            ),
        )
    ),
)
_CELL = _object(period=_TEXT, price_per_kwh=_said(_NUMBER, "all included"))
_HOURS = _list(
    _object(
        days=_said(_TEXT, "empty for all days with the period"),
        dates=_TEXT,
        hours=_said(_TEXT, "empty for all hours of the period"),
        old=_CELL,
        new=_CELL,
    )
)
_AMOUNTS = _object(
    name=_TEXT,
    old=_maybe(_AMOUNT, "null if the old bills do not have the line"),
    new=_maybe(_AMOUNT, "null if the new bills do not have the line"),
    change=_AMOUNT,
)
_SIDE = _object(tariff=_TEXT, since=_maybe(_DAY, "first day of the terms compared"))
_DIFFERENCE = _document(
    DIFFERENCE_SCHEMA,
    old=_SIDE,
    new=_SIDE,
    currency=_TEXT,
    year=_said(_COUNT, "the year on which both are laid out"),
    holidays_apart=_said(_TRUTH, "whether days of the week are meant without holidays"),
    moved_hours=_said(_NUMBER, "hours of the year that are in another period"),
    moved=_said(_HOURS, "hours that are in another period"),
    repriced=_said(_HOURS, "hours that stay in their period at another price"),
    renamed=_list(_object(old=_TEXT, new=_TEXT)),
    mean_price=_said(_object(old=_NUMBER, new=_NUMBER), "per kWh, averaged over all hours of the year"),
    lines=_list(
        _object(line=_TEXT, old=_maybe(_TEXT, "null if it was not there"), new=_maybe(_TEXT, "null if it is gone"))
    ),
    bills=_maybe(
        _object(
            first=_DAY,
            last=_DAY,
            bought_kwh=_NUMBER,
            sold_kwh=_NUMBER,
            lines=_list(_AMOUNTS),
            total=_AMOUNTS,
        ),
        "what the bills of some use come to, if such was given",
    ),
)

_SUMS: Final[_Schema] = {
    "type": "object",
    "description": "the items of each line of the sheet added up, by the name of the line",
    "additionalProperties": _AMOUNT,
}
_ITEM = _object(
    label=_said(_TEXT, "as printed: name, period, season, tier, version"),
    name=_said(_TEXT, "the line of the sheet"),
    kind={"enum": list(KINDS)},
    period=_maybe(_TEXT),
    season=_maybe(_TEXT),
    tier=_maybe(_COUNT, "from 1; null where the line has no tiers"),
    version=_maybe(_TEXT, "first day of the version of the sheet, where a bill spans several"),
    quantity=_said(_NUMBER, "how much was counted"),
    unit=_said(_TEXT, "kWh, kW, kVA, day, month, year; or the currency, where the price is a share of an amount"),
    price=_said(_NUMBER, "amount per unit of the quantity, not rounded"),
    amount=_said(_AMOUNT, "what the item costs, negative if it is credited; rounded as the rate sheet says"),
    place=_maybe(_TEXT, "file and line of the sheet where the price stands, as sheet.yaml:12"),
)
_CARRIED = _object(
    credit=_said(_NUMBER, "money credited but not used yet, from net metering"),
    surplus_kwh=_said(_NUMBER, "energy sold less energy bought since the last settlement"),
    demands=_list(_object(name=_TEXT, last_day=_DAY, season=_maybe(_TEXT), kw=_NUMBER)),
)
_SPAN: Final[dict[str, _Schema]] = {
    "tariff": _TEXT,
    "currency": _TEXT,
    "start": _said(_DAY, "first day"),
    "end": _said(_DAY, "last day"),
    "bought_kwh": _NUMBER,
    "sold_kwh": _NUMBER,
    "lines": _SUMS,
    "total": _said(_AMOUNT, "what is due, negative if it is owed to the customer; rounded as the rate sheet says"),
}
_BILL = _document(
    BILL_SCHEMA,
    **_SPAN,
    days=_said(_COUNT, "both ends counted"),
    items=_list(_ITEM),
    notes=_list(_TEXT),
    carried=_CARRIED,
)
_BILLS = _document(BILLS_SCHEMA, **_SPAN, bills=_list({key: _BILL[key] for key in ("type", "properties", "required")}))

#: By the name of what prints it.
SCHEMAS: Final[dict[str, _Schema]] = {
    "plan": _PLAN,
    "together": _TOGETHER,
    "prices": _PRICES,
    "price-table": _PRICE_TABLE,
    "check": _CHECK,
    "picture": _PICTURE,
    "difference": _DIFFERENCE,
    "bill": _BILL,
    "bills": _BILLS,
    "drafts": _DRAFTS,
}
