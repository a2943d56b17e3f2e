"""What a study found, in a few sentences: which rate, which equipment, whether that of today is enough."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Sequence
from typing import TypeVar

from chargeplan.output.study_report import SAME_COST, Life, StudyReport
from chargeplan.output.study_words import (
    and_text,
    names_text,
    payback_text,
    share_text,
    span_text,
    today_words,
    who_text,
)
from chargeplan.output.words import money_text
from chargeplan.study.study import A_YEAR, AS_IT_IS
from chargeplan.study.weigh import EquipmentAnswer

_Key = TypeVar("_Key", bound=Hashable)


def headline(report: StudyReport) -> list[tuple[str, str]]:
    """Say first what the study answers.

    Parameters
    ----------
    report : StudyReport
        What was found.

    Returns
    -------
    list of (str, str)
        A label, and a sentence or several.
    """
    found = [("Rate", text) for text in _rate_sentences(report)]
    if any(life.equipment for life in report.lives):
        found += [("Equipment", text) for text in _equipment_sentences(report)]
    return [*found, ("Today", _today_sentence(report))]


def _rate_sentences(report: StudyReport) -> list[str]:
    today, span = report.asked.question.tariff, span_text(report.asked.study)
    found = []
    for leaders, lives, who in _groups(report, lambda life: life.cheapest):
        first = lives[0].rates
        if len(first) == 1:
            totals = _range([life.rates[0].total for life in lives], report.currency)
            text = f"{first[0].tariff} is the only rate: {who_text(report)} {totals} {span}{who}."
        elif len(leaders) > 1:
            saved = _range([life.rate(leaders[0]).saves for life in lives], report.currency)
            against = "" if today in leaders else f", and save {saved} {span} against {today}"
            text = f"{and_text(leaders)} cost the same and are the cheapest rates{who}{against}."
        elif leaders == (today,):
            more = _range([life.rates[1].above_cheapest for life in lives], report.currency)
            others = {life.rates[1].tariff for life in lives}
            following = f"the next, {others.pop()}," if len(others) == 1 else "the next one"
            text = f"{today}, the rate of today, is the cheapest rate{who}: {following} costs {more} more {span}."
        else:
            saves = _range([life.rate(leaders[0]).saves for life in lives], report.currency)
            text = (
                f"{leaders[0]} is the cheapest rate{who}: it saves {saves} {span} against {today}, the rate of today."
            )
        found.append(text)
    return found


def _equipment_sentences(report: StudyReport) -> list[str]:
    def picked(life: Life) -> tuple[tuple[str, str | None], ...]:
        picks = tuple((one.tariff, one.least) for one in life.equipment)
        # Where every rate asks for the same, it does not matter which.
        return (("", picks[0][1]),) if len({least for _, least in picks}) == 1 else picks

    found = []
    for picks, lives, who in _groups(report, picked):
        for tariff, least in picks:
            answers = [one for life in lives for one in life.equipment if tariff in ("", one.tariff)]
            where = f" under {tariff}" if tariff else ""
            found.append(_equipment_sentence(report, least, answers, f"{where}{who}"))
    return found


def _equipment_sentence(report: StudyReport, least: str | None, answers: list[EquipmentAnswer], who: str) -> str:
    question = report.asked.question
    reasons = {one.because for one in answers}
    wanted = f"{share_text(question.reliability)} of the departures"
    if least is None:
        because = reasons.pop() if len(reasons) == 1 else f"none meets {wanted}"
        return f"No equipment of the study is enough{who}: {because}."
    choices = [next(choice for choice in one.choices if choice.name == least) for one in answers]
    shares = [choice.share_met for choice in choices]
    because = f"it meets {_shares(shares)} of the departures"
    study = report.asked.study
    if study.days not in A_YEAR:
        because += f" of these {study.days} days"
    only = all(sum(report.enough(choice.share_met) for choice in one.choices) == 1 for one in answers)
    fit = report.lives[0].at_home(least).fit
    room = f" But as it is the panel has no room for it: {fit.because}." if fit is not None and not fit.fits else ""
    named = today_words(least) if least == question.equipment else least
    cheapest = f"Over {question.terms.years} years the cheapest equipment that is enough{who} is"
    begin = f"The only equipment that is enough{who} is" if only else cheapest
    if least == question.equipment:
        return f"{begin} {named}: {because}.{room}"
    years = [choice.payback_years for choice in choices]
    outlay = money_text(choices[0].outlay, report.currency)
    if max(years) <= 0:
        paid = f"It costs {outlay} to have, no more than what is there today."
    elif math.isinf(min(years)):
        paid = f"It costs {outlay} to have and does not pay back within {question.terms.years} years."
    else:
        low, high = payback_text(min(years)), payback_text(max(years))
        after = f"{low} years" if low == high else f"{low} to {high} years"
        if high == "never":
            after = f"{low} years at the soonest"
        paid = f"It costs {outlay} to have and has paid that back after {after}."
    scaled = "" if study.days in A_YEAR else f" Its years are these {study.days} days times {study.of_a_year:.3g}."
    return f"{begin} {named}: {because}. {paid}{scaled}{room}"


def _today_sentence(report: StudyReport) -> str:
    question = report.asked.question
    wanted = f"{share_text(question.reliability)} {'is' if question.reliability == 1 else 'are'} wanted"
    parts: list[str] = []
    for good, lives, who in sorted(
        _groups(report, lambda life: report.enough(life.at_home(question.equipment).share_met)), key=lambda x: not x[0]
    ):
        shares = [life.at_home(question.equipment).share_met for life in lives]
        met = _shares(shares)
        verdict = "is enough" if good else "not" if parts else "is not enough"
        parts.append(f"{verdict}{who} ({met}{'' if parts else ' of the departures met'})")
    return f"{_today_words(question.equipment)} {', but '.join(parts)}; {wanted}."


def _groups(report: StudyReport, key: Callable[[Life], _Key]) -> list[tuple[_Key, list[Life], str]]:
    """Put lives together of which the same can be said, and say who they are; nothing where it is all."""
    found: dict[_Key, list[Life]] = {}
    for life in report.lives:
        found.setdefault(key(life), []).append(life)
    total = len(report.lives)
    return [
        (value, lives, "" if len(lives) == total else f" for {names_text([life.label for life in lives], total)}")
        for value, lives in found.items()
    ]


def _shares(shares: Sequence[float]) -> str:
    low, high = share_text(min(shares)), share_text(max(shares))
    return low if low == high else f"{low.removesuffix(' %')} to {high}"


def _range(amounts: Sequence[float], currency: str) -> str:
    low, high = min(amounts), max(amounts)
    return money_text(high, currency) if high - low < SAME_COST else f"{low:.2f} to {money_text(high, currency)}"


def _today_words(equipment: str) -> str:
    """Begin a sentence with what is in use today; names stay as they are."""
    words = today_words(equipment)
    return f"{words}," if equipment != AS_IT_IS else f"T{words[1:]}"
