"""JSON Schema of what a study found."""

from __future__ import annotations

from typing import Final, get_args

from chargeplan.output.schema_parts import COUNT, DAY, NUMBER, TEXT, TRUTH, Schema, array, document, known, maybe, said
from chargeplan.output.study_data import MOST_ROWS, STUDY_SCHEMA
from chargeplan.study.panel_room import Basis
from chargeplan.study.store import COLUMNS
from chargeplan.study.year_plan import STRATEGIES, Aim

_MONEY: Final = said(NUMBER, "in the currency named above, for the span of the study")
_SHARE: Final[Schema] = {"type": "number", "minimum": 0, "maximum": 1}
_TYPES: Final[dict[type, Schema]] = {str: TEXT, int: COUNT, float: maybe(NUMBER)}
_SPREAD: Final = maybe(
    known(low=maybe(NUMBER), middle=maybe(NUMBER), high=maybe(NUMBER)),
    "values that 5, 50 and 95 % of the drawn futures do not exceed, null for never; null for the equipment of today",
)
_RATE = known(
    rank=said(COUNT, "from 1, the cheapest"),
    tariff=TEXT,
    house_bill=said(_MONEY, "bill of the house without the car"),
    car_cost=said(_MONEY, "what the car adds to it, and pays elsewhere"),
    total=said(_MONEY, "house and car, the car charged as is best under this rate, mean of the drawn years"),
    lowest=_MONEY,
    highest=_MONEY,
    above_cheapest=_MONEY,
    saves=said(_MONEY, "what it costs less than the rate of today"),
    unshifted=maybe(NUMBER, "the total if the car charges at once on plug-in"),
)
_HOME = known(
    equipment=TEXT,
    current_a=maybe(NUMBER, "A on each phase; 0 where the car is not charged at home"),
    wall_kw=NUMBER,
    battery_kw=NUMBER,
    because=said(TEXT, "the weakest link, in words"),
    km_per_hour=said(NUMBER, "distance for an hour of charging"),
    departures=said(NUMBER, "mean of the drawn years"),
    missed=said(NUMBER, "departures that are short, mean of the drawn years"),
    unserved=said(NUMBER, "drives for which the battery did not hold enough, mean of the drawn years"),
    share_met=_SHARE,
    lowest_soc=said(NUMBER, "lowest state of charge of all drawn years, as a share"),
)
_CHOICE = known(
    equipment=TEXT,
    outlay=said(NUMBER, "paid at the start, after rebates"),
    outlay_items=array(known(what=TEXT, amount=said(NUMBER, "negative for a rebate"))),
    yearly=said(NUMBER, "what the car costs in the first year, mean of the drawn years"),
    present_cost=said(NUMBER, "outlay, replacements, upkeep and car over the horizon, in money of today"),
    annual_cost=said(NUMBER, "the same, spread evenly over the years"),
    payback_years=maybe(NUMBER, "not discounted, replacements included; null if never, and for the equipment of today"),
    payback_range=_SPREAD,
    saving_range=_SPREAD,
    pays=maybe(_SHARE, "share of the drawn futures in which it costs less than the equipment of today"),
    pays_error=maybe(NUMBER, "standard error of that share"),
    share_met=_SHARE,
    lowest_soc=NUMBER,
    paid_by_year=said(
        array(NUMBER), "what is paid until the start and the end of each year, replacements included, not discounted"
    ),
)
_WAY = known(
    way=said(TEXT, f"{', '.join(STRATEGIES)}, gasoline, or the name of a place of `public`"),
    cost=said(_MONEY, "what driving costs, mean of the drawn years"),
    lowest=_MONEY,
    highest=_MONEY,
    per_100km=maybe(NUMBER, "null without driving"),
    more_than_plan=said(_MONEY, "what it costs more than the optimal plan"),
    missed=said(NUMBER, "departures that are short, mean of the drawn years"),
)
_STOP = known(
    place=TEXT,
    tariff=TEXT,
    equipment=TEXT,
    with_it=said(_MONEY, "what the car costs in the first drawn year"),
    without_it=_MONEY,
    kwh=said(NUMBER, "drawn at places away from home"),
    missed=COUNT,
    missed_without=COUNT,
    worth=said(_MONEY, "what the first drawn year costs less with it"),
)
_LIFE = known(
    household=TEXT,
    driving=TEXT,
    distance_km=said(NUMBER, "driven in the span, mean of the drawn years"),
    distance_unit={"enum": ["mi", "km"]},
    rates=said(array(_RATE), "with the equipment of today, the cheapest first"),
    margin=known(
        tariff=said(TEXT, "the cheapest rate"),
        next_tariff=said(TEXT, "the one that would be; empty if there is no other"),
        rise=maybe(NUMBER, "by what share all its prices may rise before; null if there is no other"),
    ),
    break_even=said(
        array(known(distance_km=NUMBER, below=TEXT, above=TEXT)),
        "distances, rising, at which another rate becomes the cheapest of all: the one below and the one above",
    ),
    home=said(array(_HOME), "charging at home under the rate of today, planned"),
    equipment=said(
        array(
            known(
                tariff=TEXT,
                least=maybe(TEXT, "the cheapest that is enough; null if none is"),
                because=TEXT,
                choices=said(array(_CHOICE), "the least present cost first"),
            )
        ),
        "under the rate of today, and under the cheapest if that is another; empty with one choice only",
    ),
    ways=said(array(_WAY), "under the rate and with the equipment of today"),
    stops=said(array(_STOP), "places to charge away from home"),
)
STUDY: Final = document(
    STUDY_SCHEMA,
    study=TEXT,
    currency=TEXT,
    to=said(DAY, "last day"),
    days=COUNT,
    seed=COUNT,
    drawn_years=said(COUNT, "so many years are drawn of each way of driving but a log"),
    aim={"enum": list(get_args(Aim))},
    years_planned=COUNT,
    today=known(tariff=TEXT, equipment=TEXT),
    money=known(
        years=said(COUNT, "the horizon"),
        discount_rate=NUMBER,
        price_growth=NUMBER,
        work_growth=NUMBER,
        residual=said(TRUTH, "whether what is left of a lifetime at the horizon counts"),
        price_spread=NUMBER,
        outlay_spread=NUMBER,
        drawn_futures=COUNT,
        reliability=said(_SHARE, "share of the departures that must be met for equipment to be enough"),
    ),
    answers=said(array(known(about={"enum": ["rate", "equipment", "today"]}, text=TEXT)), "in sentences"),
    rate_counts=said(
        array(known(tariff=TEXT, cheapest=said(COUNT, "for so many lives"), total=NUMBER, saves=NUMBER)),
        "means over all lives",
    ),
    equipment_counts=said(
        array(
            known(
                equipment=TEXT,
                enough=said(COUNT, "for so many lives"),
                least=said(COUNT, "so many times the cheapest that is enough"),
                present_cost=NUMBER,
                share_met=_SHARE,
            )
        ),
        "under the rate that is cheapest for each; means over all lives",
    ),
    lives=said(array(_LIFE), "each household with each way of driving"),
    panel=maybe(
        known(
            breaker_a=NUMBER,
            volts=TEXT,
            other_a=array(NUMBER),
            basis={"enum": list(get_args(Basis))},
            left_a=said(NUMBER, "A that may flow into cars for hours, on each phase"),
            car_breaker_a=maybe(COUNT, "largest breaker of a car circuit for which there is room"),
            fits=array(known(equipment=TEXT, demand_a=NUMBER, fits=TRUTH, set_to_a=NUMBER, because=TEXT)),
        ),
        "what the panel has room for, if the file names one",
    ),
    left_out=said(array(TEXT), "what was not looked for, and why"),
    warnings=array(known(file=TEXT, line=COUNT, column=COUNT, what=TEXT, remedy=TEXT)),
    assumed=array(TEXT),
    cautions=array(TEXT),
    rows=maybe(
        array(known(**{name: _TYPES[kind] for name, kind in COLUMNS.items()})),
        f"the row of every year and strategy; null if there are more than {MOST_ROWS:,}, which --csv writes",
    ),
)
STUDY["properties"]["from"] = said(DAY, "first day")
STUDY["required"].append("from")
