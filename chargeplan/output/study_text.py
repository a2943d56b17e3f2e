"""What a study found as plain text that reads well in a mail: sentences first, then tables."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan

from chargeplan.output.study_counts import equipment_counts, rate_counts
from chargeplan.output.study_headline import headline
from chargeplan.output.study_report import HomeLine, Life, StudyReport
from chargeplan.output.study_words import (
    about_text,
    assumed,
    cautions,
    columns_text,
    distance_text,
    in_unit,
    least_sentence,
    margin_sentences,
    number_text,
    payback_range_text,
    payback_text,
    per_100_in_unit,
    room_sentences,
    share_text,
    short_ways,
    span_text,
    stop_sentence,
    today_words,
)
from chargeplan.output.text_table import columns, text_table, wrapped_columns
from chargeplan.output.words import LABEL, WIDTH, plain_text
from chargeplan.study.weigh import EquipmentAnswer

#: From here on amounts are shown without cents, and from there on with three digits.
_NO_CENTS, _FEW_DIGITS = 100_000, 1e9


def study_text(report: StudyReport) -> str:
    """Write what a study found.

    Parameters
    ----------
    report : StudyReport
        From `chargeplan.output.study_report.study_report`.

    Returns
    -------
    str
        Lines of at most 80 characters, without colour.

    Examples
    --------
    >>> from chargeplan.output.study_report import study_report
    >>> from chargeplan.study.file import read_study
    >>> from chargeplan.study.run import run_study
    >>> text = "{name: March, from: 2026-03-01, to: 2026-03-31, households: demo, tariffs: [flat, two-period]}"
    >>> asked = read_study(text)
    >>> print(study_text(study_report(asked, run_study(asked.study).frame())).splitlines()[1])
    Sun 1 Mar 2026 - Tue 31 Mar 2026
    """
    lines = [*_flowed(report.asked.study.name), *(line for text in about_text(report) for line in _flowed(text)), ""]
    labels: set[str] = set()
    for label, text in headline(report):
        lines += _labelled("" if label in labels else label, text)
        labels.add(label)
    if not report.detailed:
        lines += _counted(report)
    else:
        for life in report.lives:
            lines += _life(report, life)
    if report.room is not None:
        lines += ["", "Panel"]
        lines += [line for text in room_sentences(report, report.room) for line in _flowed(text, "  ")]
    lines.append("")
    for what in report.answers.left_out:
        lines += _labelled("Left out", what)
    for warning in report.asked.warnings:
        lines += _labelled("Note", f"{warning} (warning)")
    for label, texts in (
        ("Columns", columns_text(report)),
        ("Assumed", assumed(report)),
        ("Caution", cautions(report)),
    ):
        for number, text in enumerate(texts):
            lines += _labelled("" if number else label, text)
    return "\n".join(lines)


def _life(report: StudyReport, life: Life) -> list[str]:
    """Write all about one household and way of driving."""
    study, question = report.asked.study, report.asked.question
    equipment = today_words(question.equipment)
    driven = f"{distance_text(life.distance_km, life.unit)} {span_text(study)}"
    lines = ["", *_heading(f"{life.household}, {life.driving}: {driven}")]
    lines += ["", *_flowed(f"Rates, with {equipment}")]
    lines += _rates(report, life)
    for text in margin_sentences(report, life):
        lines += _flowed(text)
    lines += ["", *_flowed(f"Charging at home, under {question.tariff}, planned")]
    lines += _home(life)
    for one in life.equipment:
        lines += ["", *_flowed(f"Equipment over {question.terms.years} years, under {one.tariff}")]
        lines += _choices(report, one)
        lines += _flowed(least_sentence(one))
    lines += ["", *_flowed(f"Ways to charge and drive, under {question.tariff} with {equipment}")]
    lines += _ways(life)
    if life.stops:
        lines += ["", "Places to charge away from home"]
        lines += [line for stop in life.stops for line in _flowed(stop_sentence(report, stop, life.driving))]
    return lines


def _heading(text: str) -> list[str]:
    lines = _flowed(text)
    return [*lines, "-" * min(max(map(columns, lines)), WIDTH)]


def _rates(report: StudyReport, life: Life) -> list[str]:
    decimals = _decimals([line.total for line in life.rates])
    today = report.asked.question.tariff
    rows = []
    for line in life.rates:
        amounts = (line.house_bill, line.car_cost, line.total, line.saves, line.unshifted)
        mark = " (today)" if line.tariff == today else ""
        rows.append([f"{line.rank} {line.tariff}{mark}", *(_amount(amount, decimals) for amount in amounts)])
    return text_table(["rate", "house", "car", "total", "saves", "charged\nat once"], rows)


def _home(life: Life) -> list[str]:
    short = any(line.unserved for line in life.home)
    header = ["equipment", "A", "kW", f"{life.unit}/h", "departures", "short", "met", "lowest\ncharge"]
    rows = [_home_row(life, line) for line in life.home]
    if short:
        header.append("drives\nunserved")
        rows = [[*row, number_text(line.unserved)] for row, line in zip(rows, life.home, strict=True)]
    return text_table(header, rows)


def _home_row(life: Life, line: HomeLine) -> list[str]:
    limit = line.limit
    charged = (f"{limit.current_a:.3g}", f"{limit.wall_kw:.3g}", f"{in_unit(line.km_per_hour, life.unit):.0f}")
    return [
        line.equipment,
        *(charged if limit.wall_kw > 0 else ("-", "-", "-")),
        number_text(line.departures),
        number_text(line.missed),
        share_text(line.share_met),
        share_text(round(line.lowest_soc, 3)),
    ]


def _choices(report: StudyReport, one: EquipmentAnswer) -> list[str]:
    decimals = _decimals([choice.present_cost for choice in one.choices])
    rows = []
    for choice in one.choices:
        mark = " (today)" if choice.name == one.today else ""
        seen = choice.outlook
        spread = "-" if seen is None else payback_range_text(seen.payback_years.low, seen.payback_years.high)
        rows.append(
            [
                f"{choice.name}{mark}",
                *(_amount(amount, decimals) for amount in (choice.outlay, choice.yearly, choice.present_cost)),
                "-" if seen is None else payback_text(choice.payback_years),
                spread,
                "-" if seen is None else f"{100 * seen.pays:.0f} %",
            ]
        )
    return text_table(["equipment", "outlay", "first\nyear", "present\ncost", "pays\nback", "5 - 95 %", "chance"], rows)


def _ways(life: Life) -> list[str]:
    decimals = _decimals([line.cost for line in life.ways])
    rows = []
    for line in life.ways:
        spread = "-"
        if line.highest - line.lowest >= 0.005:
            spread = f"{_amount(line.lowest, decimals)}-{_amount(line.highest, decimals)}"
        rows.append(
            [
                line.way,
                _amount(line.cost, decimals),
                _amount(per_100_in_unit(line.per_100km, life.unit), 2),
                _amount(line.more_than_plan, decimals),
                spread,
                number_text(line.missed),
            ]
        )
    header = ["way", "cost", f"per\n100 {life.unit}", "more than\nthe plan", "lowest -\nhighest", "short"]
    lines = text_table(header, rows)
    for text in short_ways(life):
        lines += _flowed(text)
    return lines


def _counted(report: StudyReport) -> list[str]:
    """Write how many agree, where there are too many to show each."""
    total = len(report.lives)
    counts = rate_counts(report)
    decimals = _decimals([line.total for line in counts])
    lines = ["", *_flowed(f"Rates, over {total} households and ways of driving, means of all")]
    rows = [
        [line.tariff, f"{line.cheapest:,}", _amount(line.total, decimals), _amount(line.saves, decimals)]
        for line in counts
    ]
    lines += text_table(["rate", "cheapest\nfor", "total", "saves"], rows)
    if found := equipment_counts(report):
        decimals = _decimals([one.present_cost for one in found])
        years = report.asked.question.terms.years
        lines += ["", *_flowed(f"Equipment over {years} years, under the rate that is cheapest for each")]
        table = [
            [
                one.equipment,
                f"{one.least:,}",
                f"{one.enough:,}",
                share_text(one.share_met),
                _amount(one.present_cost, decimals),
            ]
            for one in found
        ]
        lines += text_table(["equipment", "cheapest\nfor", "enough\nfor", "met", "present\ncost"], table)
    return lines


def _decimals(amounts: Sequence[float]) -> int:
    return 0 if max(map(abs, amounts), default=0.0) >= _NO_CENTS else 2


def _amount(amount: float, decimals: int) -> str:
    if isnan(amount):
        return "-"
    if abs(amount) >= _FEW_DIGITS:
        return f"{amount:.3g}"
    return f"{round(amount, decimals) + 0.0:.{decimals}f}"


def _labelled(label: str, text: str) -> list[str]:
    return _flowed(text, f"{label:<{LABEL}}")


def _flowed(text: str, label: str = "") -> list[str]:
    """Break a text into lines, but not between a number and its per cent sign."""
    kept = plain_text(text).replace(" %", "\u00a0%")
    lines = wrapped_columns(kept, WIDTH, label, " " * len(label))
    return [line.replace("\u00a0", " ") for line in lines]
