"""JSON Schemas of what `--json` prints; the version is in the name of each."""

from __future__ import annotations

from typing import Final, get_args

from chargeplan.output.bill_data import BILL_SCHEMA, BILLS_SCHEMA
from chargeplan.output.data import CHECK_SCHEMA, PLAN_SCHEMA, PRICES_SCHEMA
from chargeplan.output.draft_data import DRAFTS_SCHEMA
from chargeplan.output.picture_data import DIFFERENCE_SCHEMA, PICTURE_SCHEMA
from chargeplan.output.price_files import PRICE_TABLE_SCHEMA
from chargeplan.output.schema_parts import COUNT, DAY, NUMBER, TEXT, TRUTH, Schema, array, document, known, maybe, said
from chargeplan.output.together_text import TOGETHER_SCHEMA
from chargeplan.plan.conflicts import WishKind
from chargeplan.plan.reasons import Reason
from chargeplan.tariff.bill import KINDS

_AMOUNT: Final[Schema] = {
    "type": "number",
    "description": "in the currency named above, rounded as the rate sheet says; to be read as a decimal number",
}
_TIME: Final[Schema] = {"type": "string", "format": "date-time", "description": "ISO 8601 with offset"}


_LIMIT = known(
    current_a=maybe(NUMBER, "A on each phase; null for direct current"),
    wall_kw=NUMBER,
    because=said(TEXT, "the weakest link, in words"),
    cautions=array(TEXT),
)
_DEPARTURE = known(
    state_of_charge=said(NUMBER, "share on leaving"),
    needed=said(NUMBER, "share wanted, or needed for the drive and the floor"),
    shortfall_kwh=said(NUMBER, "battery energy missing; 0 if reached"),
    unserved_kwh=said(NUMBER, "energy the next drive needs beyond what the battery holds"),
)
_HABIT = known(
    cost=NUMBER,
    saving=said(NUMBER, "what the plan costs less"),
    shortfall_kwh=said(NUMBER, "battery energy by which the habit ends below the plan, all departures together"),
    breaks=said(array(TEXT), "what it breaks that the plan keeps: `floor`, and rules of the charger by their keys"),
)
_PLAN = document(
    PLAN_SCHEMA,
    household=TEXT,
    vehicle=TEXT,
    tariff=TEXT,
    currency=TEXT,
    timezone=TEXT,
    now=_TIME,
    state_of_charge=known(share=NUMBER, source={"enum": ["given", "file", "estimate"]}, because=TEXT),
    target=said(NUMBER, "share wanted on leaving home"),
    reachable=said(TRUTH, "false goes with exit code 3"),
    cost=NUMBER,
    wall_kwh=said(NUMBER, "energy paid for"),
    battery_kwh=said(NUMBER, "energy gained by the battery"),
    windows=array(
        known(
            place=TEXT,
            start=_TIME,
            end=_TIME,
            current_a=maybe(NUMBER),
            wall_kwh=NUMBER,
            battery_kwh=NUMBER,
            cost=NUMBER,
            falls_to_a=maybe(NUMBER, "with a taper: the current in its last slot, if that is less"),
        )
    ),
    stays=array(known(place=TEXT, start=_TIME, end=_TIME, limit=_LIMIT, departure=_DEPARTURE)),
    rules=said(array(TEXT), "rules of the charger at home that are at work, in words"),
    cautions=said(array(TEXT), "what of the rate the plan does not reckon with"),
    early=known(
        ready_min=said(NUMBER, "minutes before the usual departure at which stays at home end"),
        met=said(NUMBER, "share of departures that come no sooner"),
        cost=said(NUMBER, "what that costs more"),
    ),
    preconditioning=known(
        wall_kwh=said(NUMBER, "energy from the wall for what the car does before it leaves home; in `wall_kwh`"),
        battery_kwh=said(NUMBER, "what the battery gives instead, before the departure"),
        cost=said(NUMBER, "what the energy from the wall costs; in `cost`"),
    ),
    fixes=array(
        known(
            place=TEXT,
            stay=said(COUNT, "position in `stays`"),
            shortfall_kwh=NUMBER,
            leave_later_min=maybe(COUNT, "null if no delay would help"),
            more_a=maybe(COUNT, "whole amperes more, a broken current made whole first; null if none would help"),
            needed_a=maybe(NUMBER, "the current that would just do"),
            rules=said(array(array(TEXT)), "ways out: rules of the charger to be relaxed, each list together"),
        )
    ),
    compared_with=known(on_plug_in=_HABIT, timer=_HABIT),
    proof=known(
        optimal=TRUTH,
        bound=maybe(NUMBER, "no plan costs less"),
        gap=maybe(NUMBER),
        method=TEXT,
        tie_break={"enum": ["as needed", "earliest", "latest", "fewest starts"]},
    ),
)
_TOGETHER = document(
    TOGETHER_SCHEMA,
    panel=TEXT,
    reachable=said(TRUTH, "false goes with exit code 3"),
    cost=said(NUMBER, "of all cars; only a sum of money if all have one currency"),
    wall_kwh=NUMBER,
    cars=array(
        known(
            name=TEXT,
            currency=TEXT,
            circuit=TEXT,
            plugged_in=_TIME,
            leaves=_TIME,
            state_of_charge=said(NUMBER, "share at plug-in"),
            target=NUMBER,
            rules=said(array(TEXT), "rules of the charger that are at work, in words"),
            state_of_charge_at_departure=NUMBER,
            shortfall_kwh=NUMBER,
            shortfall_alone_kwh=said(NUMBER, "what would be missing if the car were alone"),
            windows=array(known(start=_TIME, end=_TIME, current_a=NUMBER, wall_kwh=NUMBER, cost=NUMBER)),
        )
    ),
    slots=known(
        start=said(array(_TIME), "starts of slots, and where a limit changes within one"),
        current_a=said(array(array(NUMBER)), "a row for each car, A on each phase"),
    ),
    circuits=array(
        known(
            name=TEXT,
            left_a=said(NUMBER, "least that is left for cars in any slot"),
            used_a=said(NUMBER, "most that cars draw"),
            used_up_slots=said(COUNT, "slots in which it is used up while a car could take more"),
        )
    ),
    proof=known(optimal=TRUTH, feasible=TRUTH, status=TEXT, method=TEXT),
)
#: What `--why` adds to a plan.
_PLAN["properties"]["why"] = known(
    value_of_a_kwh=array(
        known(
            stay=said(COUNT, "position in `stays`"),
            saved=maybe(NUMBER, "what one battery kWh less would save; null if nothing is charged for it"),
            paid=maybe(NUMBER, "what one more would cost; null if no more can be had"),
        )
    ),
    hours=array(
        known(
            stay=COUNT,
            start=_TIME,
            end=_TIME,
            charges=TRUTH,
            reason={"enum": [name for kind in get_args(Reason) for name in get_args(kind)]},
            least_price=said(NUMBER, "of one more kWh; against a whole bill at the tier that this plan reaches"),
            greatest_price=NUMBER,
            worth=maybe(NUMBER, "the wall price up to which charging would pay"),
            current_a=maybe(NUMBER, "A on each phase while it charges"),
            instead=maybe(
                known(
                    wall_kwh=said(NUMBER, "what it draws more in these hours; negative if less"),
                    cost=said(NUMBER, "what it costs more"),
                    shortfall_kwh=said(NUMBER, "what is missing more"),
                    on_top_kwh=said(NUMBER, "what the battery gains more in all"),
                    proven=said(TRUTH, "false: it costs at most that much more"),
                ),
                "the cheapest plan that charges here where this one waits, or does not where this one charges",
            ),
            because=said(array(TEXT), "rules of the charger that stand behind it, by their keys"),
            in_parts=said(TRUTH, "it charges and waits in turn"),
            text=TEXT,
        )
    ),
    changes=array(
        known(
            stay=COUNT,
            change={"enum": ["one_kwh_less", "one_kwh_more", "one_ampere_more", "one_hour_later", "target_lower"]},
            cost=said(NUMBER, "how much more the plan would cost"),
            shortfall_kwh=said(NUMBER, "how much more would be missing"),
            proven=said(TRUTH, "false: it costs at most that much more"),
            text=TEXT,
        )
    ),
    conflicts=array(
        known(
            stay=COUNT,
            place=TEXT,
            wishes=array(
                known(
                    kind={"enum": list(get_args(WishKind))},
                    stay=COUNT,
                    rule=maybe(TEXT, "key of the rule of the charger"),
                    text=TEXT,
                )
            ),
            text=TEXT,
        )
    ),
    notes=said(array(TEXT), "what was left out"),
)
_PRICES = document(
    PRICES_SCHEMA,
    tariff=TEXT,
    currency=TEXT,
    timezone=TEXT,
    runs=array(
        known(
            start=_TIME,
            end=_TIME,
            period=TEXT,
            season=TEXT,
            day_type={"enum": ["weekday", "weekend", "holiday"]},
            price_per_kwh=said(NUMBER, "all included"),
        )
    ),
)
_PRICE_TABLE = document(
    PRICE_TABLE_SCHEMA,
    tariff=TEXT,
    currency=TEXT,
    timezone=TEXT,
    unit=said(TEXT, "of every price, such as USD per kWh"),
    step_min=said(COUNT, "minutes from a start to the next"),
    prices=array(
        {
            **known(start=_TIME, end=_TIME, price_per_kwh=said(NUMBER, "bought, all included; of the first kWh")),
            "dependentRequired": {"part_per_kwh": ["period", "season", "day_type"]},
        }
    ),
)
_PRICE_TABLE["properties"]["prices"]["items"]["properties"] |= {
    "export_per_kwh": said(NUMBER, "what a kWh sold earns, where the sheet says so"),
    "period": TEXT,
    "season": TEXT,
    "day_type": said(TEXT, "weekday, weekend, holiday, or a kind of day that somebody calls"),
    "part_per_kwh": said(
        {"type": "object", "additionalProperties": NUMBER},
        "components and taxes by name; they add up to the price but for rounding",
    ),
}
_DRAFTS = document(
    DRAFTS_SCHEMA,
    drafts=array(
        known(
            name=TEXT,
            label=maybe(TEXT, "key of the record in its database"),
            sheet=said(TEXT, "the rate sheet as YAML with comments"),
            notes=array(
                known(
                    kind=said({"enum": ["assumed", "unclear", "left out"]}, "what to make of it"),
                    place=said(array(TEXT), "keys of the sheet; empty for all of it"),
                    text=TEXT,
                )
            ),
        )
    ),
)
_PLACED: Final[Schema] = {"file": TEXT, "line": COUNT, "column": COUNT, "what": TEXT, "remedy": TEXT}
_ID = said(TEXT, "name by which a sheet can accept the warning; empty if it cannot")
_CHECK = document(
    CHECK_SCHEMA,
    good=TRUTH,
    files=array(
        known(
            file=TEXT,
            good=TRUTH,
            checks=said(COUNT, "how many checks the sheet carries"),
            mistakes=array(known(**_PLACED)),
            warnings=array(known(**_PLACED, id=_ID)),
        )
    ),
)

_HOUR: Final[Schema] = {"type": "string", "pattern": "^[0-2][0-9]:[0-5][0-9]$", "description": "on the wall clock"}
_PICTURE = document(
    PICTURE_SCHEMA,
    tariff=TEXT,
    currency=TEXT,
    timezone=TEXT,
    year=COUNT,
    averaged=said(TRUTH, "there are more prices than signs, and the steps are bands of monthly means"),
    tiers=said(TRUTH, "whether the price also depends on the use of the bill; shown is that of the first kWh"),
    other_clock=said(TRUTH, "whether the hours of the sheet are not those of the wall clock"),
    called=said(array(TEXT), "kinds of days that somebody calls"),
    begins=maybe(DAY, "first day of the sheet, if days of the year lie before"),
    ends=maybe(DAY, "last day of the sheet, if days of the year lie after"),
    holidays=array(DAY),
    steps=array(
        known(
            mark=said(TEXT, "the sign of the printed picture"),
            periods=array(TEXT),
            low=said(NUMBER, "least price per kWh, all included"),
            high=said(NUMBER, "greatest price per kWh"),
        )
    ),
    panels=array(
        known(
            days=said(TEXT, "days of the week that are alike, `holidays` or `other days`"),
            rows=array(
                known(
                    first=DAY,
                    last=DAY,
                    spans=array(known(start=_HOUR, end=_HOUR, step=said(COUNT, "position in `steps`"))),
                )
            ),
        )
    ),
)
_CELL = known(period=TEXT, price_per_kwh=said(NUMBER, "all included"))
_HOURS = array(
    known(
        days=said(TEXT, "empty for all days with the period"),
        dates=TEXT,
        hours=said(TEXT, "empty for all hours of the period"),
        old=_CELL,
        new=_CELL,
    )
)
_AMOUNTS = known(
    name=TEXT,
    old=maybe(_AMOUNT, "null if the old bills do not have the line"),
    new=maybe(_AMOUNT, "null if the new bills do not have the line"),
    change=_AMOUNT,
)
_SIDE = known(tariff=TEXT, since=maybe(DAY, "first day of the terms compared"))
_DIFFERENCE = document(
    DIFFERENCE_SCHEMA,
    old=_SIDE,
    new=_SIDE,
    currency=TEXT,
    year=said(COUNT, "the year on which both are laid out"),
    holidays_apart=said(TRUTH, "whether days of the week are meant without holidays"),
    moved_hours=said(NUMBER, "hours of the year that are in another period"),
    moved=said(_HOURS, "hours that are in another period"),
    repriced=said(_HOURS, "hours that stay in their period at another price"),
    renamed=array(known(old=TEXT, new=TEXT)),
    mean_price=said(known(old=NUMBER, new=NUMBER), "per kWh, averaged over all hours of the year"),
    lines=array(known(line=TEXT, old=maybe(TEXT, "null if it was not there"), new=maybe(TEXT, "null if it is gone"))),
    bills=maybe(
        known(
            first=DAY,
            last=DAY,
            bought_kwh=NUMBER,
            sold_kwh=NUMBER,
            lines=array(_AMOUNTS),
            total=_AMOUNTS,
        ),
        "what the bills of some use come to, if such was given",
    ),
)

_SUMS: Final[Schema] = {
    "type": "object",
    "description": "the items of each line of the sheet added up, by the name of the line",
    "additionalProperties": _AMOUNT,
}
_ITEM = known(
    label=said(TEXT, "as printed: name, period, season, tier, version"),
    name=said(TEXT, "the line of the sheet"),
    kind={"enum": list(KINDS)},
    period=maybe(TEXT),
    season=maybe(TEXT),
    tier=maybe(COUNT, "from 1; null where the line has no tiers"),
    version=maybe(TEXT, "first day of the version of the sheet, where a bill spans several"),
    quantity=said(NUMBER, "how much was counted"),
    unit=said(TEXT, "kWh, kW, kVA, day, month, year; or the currency, where the price is a share of an amount"),
    price=said(NUMBER, "amount per unit of the quantity, not rounded"),
    amount=said(_AMOUNT, "what the item costs, negative if it is credited; rounded as the rate sheet says"),
    place=maybe(TEXT, "file and line of the sheet where the price stands, as sheet.yaml:12"),
)
_CARRIED = known(
    credit=said(NUMBER, "money credited but not used yet, from net metering"),
    surplus_kwh=said(NUMBER, "energy sold less energy bought since the last settlement"),
    demands=array(known(name=TEXT, last_day=DAY, season=maybe(TEXT), kw=NUMBER)),
)
_SPAN: Final[dict[str, Schema]] = {
    "tariff": TEXT,
    "currency": TEXT,
    "start": said(DAY, "first day"),
    "end": said(DAY, "last day"),
    "bought_kwh": NUMBER,
    "sold_kwh": NUMBER,
    "lines": _SUMS,
    "total": said(_AMOUNT, "what is due, negative if it is owed to the customer; rounded as the rate sheet says"),
}
_BILL = document(
    BILL_SCHEMA,
    **_SPAN,
    days=said(COUNT, "both ends counted"),
    items=array(_ITEM),
    notes=array(TEXT),
    carried=_CARRIED,
)
_BILLS = document(BILLS_SCHEMA, **_SPAN, bills=array({key: _BILL[key] for key in ("type", "properties", "required")}))

#: By the name of what prints it.
SCHEMAS: Final[dict[str, Schema]] = {
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
