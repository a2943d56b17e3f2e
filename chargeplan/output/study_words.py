"""Pieces of text of a report on a study that its forms share: sentences, distances, shares, paybacks."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta
from itertools import pairwise
from typing import Final

from chargeplan.charging import STANDARD_BREAKERS_A
from chargeplan.charging.supply import PILOT_MIN_A
from chargeplan.output.study_report import SAME_COST, Life, StudyReport
from chargeplan.output.words import day_text, money_text
from chargeplan.study.equipment import CAUTION
from chargeplan.study.panel_room import Fit, Room
from chargeplan.study.stop_worth import StopWorth
from chargeplan.study.study import A_YEAR, AS_IT_IS, Study
from chargeplan.study.weigh import EquipmentAnswer
from chargeplan.units import KM_PER_MILE

#: Names that one sentence lists; of more, only the number is said.
_NAMES: Final = 4
#: What stands behind every number of a study.
_ASSUMED: Final = (
    "Each year is planned with all its prices and drives known from the start, as nobody knows them, so a real year "
    "costs more.",
    "The load of the house stays where it is; only the car waits.",
)


def who_text(report: StudyReport) -> str:
    """Begin a sentence on a total: with the house where the study knows of one."""
    return "house and car cost" if report.asked.study.house else "the car costs"


def span_text(study: Study) -> str:
    """Say what an amount of a study is for."""
    return "a year" if study.days in A_YEAR else f"in {study.days} days"


def about_text(report: StudyReport) -> list[str]:
    """Say what was compared."""
    study = report.asked.study
    first = datetime.combine(study.first, datetime.min.time())
    counted = [
        _count(len(study.households), "household"),
        _count(len(study.driving), "way of driving", "ways of driving"),
        _count(len(study.tariffs), "rate"),
        _count(len(study.equipment), "choice of equipment", "choices of equipment"),
    ]
    several = [name for name in study.driving if study.draws_of(name) > 1]
    drawn = ""
    if several:
        all_of_them = len(several) == len(study.driving)
        who = "each way of driving" if all_of_them else names_text(several, len(study.driving))
        drawn = f", {who} drawn {study.draws} times"
    return [
        f"{day_text(first)} - {day_text(first + timedelta(days=study.days - 1))}",
        f"{', '.join(counted)}: {_count(study.cells, 'year' if study.days in A_YEAR else 'span')} planned{drawn}",
        f"Amounts in {report.currency}, {span_text(study)} unless said otherwise",
    ]


def cautions(report: StudyReport) -> list[str]:
    """List what must be said with every study, and what its numbers do not have in them."""
    study = report.asked.study
    found = [f"{_capital(CAUTION)}."]
    without = [name for name in study.households if name not in study.house]
    if without:
        whose = "" if len(without) == len(study.households) else f" of {names_text(without, len(study.households))}"
        found.append(f"What the house{whose} uses is not known, so its bills hold the car alone.")
    if study.days not in A_YEAR and len(study.equipment) > 1:
        found.append(
            f"What equipment costs over years takes {study.of_a_year:.3g} times what these {study.days} days cost for "
            "a year; other seasons may cost more or less."
        )
    return found


def columns_text(report: StudyReport) -> list[str]:
    """Explain the columns of the tables."""
    years = report.asked.question.terms.years
    found = [
        f"Saves: what {who_text(report)} less than under the rate of today. Charged at once: the total if the car "
        "charges on plug-in, without a plan.",
        "Short: departures with less charge than wanted. Met: share of the others. Lowest charge: of all drawn years.",
    ]
    if len(report.asked.study.equipment) > 1:
        less, left = "", ""
        if report.asked.question.terms.residual:
            less, left = ", less what is left of lifetimes", ", and without what is left of lifetimes"
        found.append(
            f"Present cost: outlay, replacements, upkeep and the car over {years} years{less}, in money of today. "
            "Pays back: years until it has saved for good what it and its replacements cost more than the equipment of "
            f"today, not discounted{left}; nine of ten drawn futures lie from 5 to 95 %. "
            f"Chance: the share of them in which it costs less after {years} years."
        )
    return found


def least_sentence(answer: EquipmentAnswer) -> str:
    """Say which equipment is the least that is enough, and why."""
    because = answer.because
    found = f"Cheapest over the years of those that are enough: {answer.least}, {because}."
    return found if answer.least else f"{_capital(because)}."


def assumed(report: StudyReport) -> list[str]:
    """List what stands behind the numbers."""
    # Without a house there is nothing of it to stay.
    always = _ASSUMED if report.asked.study.house else _ASSUMED[:1]
    if not report.by_price:
        return list(always)
    hours = (
        f"Under {and_text(report.by_price)} what a kWh costs depends on the whole bill, but the hours are chosen by "
        "the price of one more kWh; a plan that looks at the whole bill may cost less. The bills themselves are whole."
    )
    return [*always, hours]


def margin_sentences(report: StudyReport, life: Life) -> list[str]:
    """Say how firm the cheapest rate is."""
    if len(life.rates) < 2:
        return []
    found = []
    margin = life.margin
    if math.isfinite(margin.rise) and len(life.cheapest) == 1:
        found.append(
            f"{margin.tariff} stays the cheapest until all its prices are {100 * margin.rise:.1f} % higher; "
            f"then {margin.next_tariff} is."
        )
    if report.detailed:
        found.append(_by_distance(report, life))
    return found


def _by_distance(report: StudyReport, life: Life) -> str:
    """Say which rate is the cheapest along the distance."""
    if not life.meetings:
        return "From no driving up to three times as far, no other rate was found to become the cheapest."
    first, *others = life.meetings
    span = span_text(report.asked.study)
    text = f"Below {distance_text(first.distance_km, life.unit)} {span} {first.below} is the cheapest"
    for at, following in pairwise(life.meetings):
        text += f", up to {distance_text(following.distance_km, life.unit)} {at.above}"
    return f"{text}, above that {(others[-1] if others else first).above}."


def payback_text(years: float) -> str:
    """Write after how many years something is paid back.

    Examples
    --------
    >>> payback_text(1.25), payback_text(float("inf")), payback_text(0.0)
    ('1.2', 'never', '0')
    """
    return "never" if math.isinf(years) else f"{years:.1f}" if years else "0"


def payback_range_text(low: float, high: float) -> str:
    """Write how far paybacks spread.

    Examples
    --------
    >>> payback_range_text(1.0, 2.04), payback_range_text(9.0, float("inf"))
    ('1.0-2.0', '9.0-never')
    """
    one, other = payback_text(low), payback_text(high)
    return one if one == other else f"{one}-{other}"


def share_text(share: float) -> str:
    """Write a share as a percentage, cut so that only all is 100 %.

    Examples
    --------
    >>> share_text(0.93211), share_text(1.0), share_text(0.99999)
    ('93.21 %', '100 %', '99.99 %')
    """
    return f"{math.floor(share * 10_000 + 1e-6) / 100:g} %"


def number_text(value: float) -> str:
    """Write a mean number of things, whole where it is.

    Examples
    --------
    >>> number_text(313.0), number_text(19.6667), number_text(0.0)
    ('313', '19.7', '0')
    """
    return f"{round(value, 1):g}"


def distance_text(distance_km: float, unit: str) -> str:
    """Write a distance in the unit of a household.

    Examples
    --------
    >>> distance_text(16093.44, "mi"), distance_text(9260.2, "km")
    ('10,000 mi', '9,260 km')
    """
    return f"{in_unit(distance_km, unit):,.0f} {unit}"


def in_unit(distance_km: float, unit: str) -> float:
    """Turn kilometres into the unit of a household."""
    return distance_km / KM_PER_MILE if unit == "mi" else distance_km


def per_100_in_unit(per_100km: float, unit: str) -> float:
    """Turn what 100 km cost into what 100 units of a household cost."""
    return per_100km * KM_PER_MILE if unit == "mi" else per_100km


def room_sentences(report: StudyReport, room: Room) -> list[str]:
    """Say what the panel has room for, then why each choice fits or does not."""
    panel = report.asked.panel
    assert panel is not None
    circuit = panel.circuit
    other = " and ".join(f"{value:g} A" for value in panel.other_a)
    smallest = STANDARD_BREAKERS_A[0]
    if room.breaker_a:
        breaker = f"room for a car circuit of {room.breaker_a} A"
    elif room.left_a >= PILOT_MIN_A:
        breaker = f"less than a circuit of {smallest} A gives to a car, so an EVSE has to be set lower"
    else:
        breaker = "no room for a car circuit"
    head = (
        f"{circuit.breaker_a:g} A at {circuit.volts_text}, with {other} of other load at most ({panel.basis}): "
        f"{room.left_a:g} A may flow into cars for hours; {breaker}."
    )
    return [
        head,
        *(f"{fit.equipment.name}: {_fits(fit)}; {fit.because}" for fit in room.fits),
    ]


def _fits(fit: Fit) -> str:
    if fit.fits:
        return "fits"
    return "does not fit as it is" if fit.set_to_a else "does not fit"


def stop_sentence(report: StudyReport, stop: StopWorth, driving: str) -> str:
    """Say what a place to charge is worth."""
    study = report.asked.study
    of_year = "year" if study.days in A_YEAR else f"{study.days} days"
    drawn = f" in the first drawn {of_year}" if study.draws_of(driving) > 1 else f" {span_text(study)}"
    # Of the amounts as they are shown, so that they add up.
    with_it, without_it = round(stop.with_it, 2), round(stop.without_it, 2)
    same = stop.missed == stop.missed_without
    missed = "" if same else f". Departures that are short: {stop.missed_without} without it, {stop.missed} with it"
    return (
        f"{stop.place} is worth {money_text(without_it - with_it, report.currency)}{drawn}: without it the car costs "
        f"{without_it:.2f}, with it {with_it:.2f}{missed}."
    )


def short_ways(life: Life) -> list[str]:
    """Say why a way may cost less than the plan, where one does."""
    plan = next((line for line in life.ways if line.way == "optimal"), None)
    if plan is None:
        return []
    cheaper = [x.way for x in life.ways if x.missed > plan.missed and x.cost < plan.cost - SAME_COST]
    if not cheaper:
        return []
    it = "it charges" if len(cheaper) == 1 else "they charge"
    verb = "costs" if len(cheaper) == 1 else "cost"
    return [f"{_capital(and_text(cheaper))} {verb} less than the plan, since {it} less: more departures are short."]


def today_words(equipment: str) -> str:
    """Name the equipment that is in use today."""
    return "the equipment of today" if equipment == AS_IT_IS else f"{equipment}, the equipment of today"


def names_text(names: Sequence[str], total: int) -> str:
    """List some of many names, or say how many they are.

    Examples
    --------
    >>> names_text(["usual", "far"], 3), names_text(["a", "b", "c", "d", "e"], 8)
    ('usual and far', '5 of 8')
    """
    return and_text(names) if len(names) <= _NAMES and 1 < total <= 3 * _NAMES else f"{len(names)} of {total}"


def and_text(names: Iterable[str]) -> str:
    """List names.

    Examples
    --------
    >>> and_text(["flat", "two-period", "summer-peak"])
    'flat, two-period and summer-peak'
    """
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def _count(number: int, one: str, several: str = "") -> str:
    return f"{number:,} {one if number == 1 else several or one + 's'}"


def _capital(text: str) -> str:
    return f"{text[0].upper()}{text[1:]}"
