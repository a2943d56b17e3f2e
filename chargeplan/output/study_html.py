"""What a study found as one HTML file that stands alone: sentences, pictures and tables, on paper and on a phone."""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterable, Mapping, Sequence
from math import isnan
from typing import Final

from chargeplan.output.study_counts import equipment_counts, rate_counts
from chargeplan.output.study_headline import headline
from chargeplan.output.study_pictures import Drawing, counted_picture, has_pictures, life_pictures
from chargeplan.output.study_report import Life, StudyReport
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
from chargeplan.output.words import plain_text
from chargeplan.study.weigh import EquipmentAnswer

_STYLE: Final = """
:root { color-scheme: light; }
body { margin: 0 auto; padding: 1rem; max-width: 46rem; background: #fff; color: #222;
  font: 1rem/1.5 system-ui, -apple-system, "Segoe UI", "DejaVu Sans", sans-serif; }
h1 { font-size: 1.5rem; line-height: 1.25; margin: 0 0 .25rem; overflow-wrap: anywhere; }
h2 { font-size: 1.2rem; margin: 2.5rem 0 .5rem; padding-top: .5rem; border-top: 2px solid #222;
  overflow-wrap: anywhere; }
h3 { font-size: 1rem; margin: 1.5rem 0 .25rem; overflow-wrap: anywhere; }
p { margin: .4rem 0; overflow-wrap: anywhere; }
.about { color: #555; font-size: .9rem; }
.answers { padding: .25rem 1rem; background: #f3f6f9; border-left: 4px solid #0072b2; }
.caution { padding: .25rem 1rem; background: #fff6ee; border-left: 4px solid #d55e00; }
.wide { overflow-x: auto; }
table { border-collapse: collapse; width: 100%; margin: .5rem 0; font-size: .875rem;
  font-variant-numeric: tabular-nums; }
th, td { padding: .25rem .5rem; text-align: right; border-bottom: 1px solid #ddd; white-space: nowrap; }
th { vertical-align: bottom; font-weight: 600; white-space: normal; }
tbody th { font-weight: normal; text-align: left; min-width: 8rem; max-width: 16rem; overflow-wrap: anywhere; }
thead th:first-child { text-align: left; }
tr.now th, tr.now td { background: #f3f6f9; }
figure { margin: 1rem 0; }
figure svg { display: block; width: 100%; height: auto; max-width: 36rem; }
figcaption { font-size: .875rem; color: #555; overflow-wrap: anywhere; }
li { overflow-wrap: anywhere; }
@media print {
  body { max-width: none; padding: 0; font-size: 10pt; }
  .wide { overflow: visible; }
  table { font-size: 8.5pt; }
  figure, table, .answers, .caution { break-inside: avoid; }
  h2, h3 { break-after: avoid; }
  figure svg { max-width: 13cm; }
}
"""
#: Nothing is fetched from anywhere, and nothing runs.
_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'"
_NO_PICTURES: Final = (
    "There are no pictures in this report, because matplotlib is not installed. Install chargeplan with its extra, "
    "pip install '.[plot]', and write the report again."
)


def study_html(report: StudyReport) -> str:
    """Write what a study found as an HTML page.

    Parameters
    ----------
    report : StudyReport
        From `chargeplan.output.study_report.study_report`.

    Returns
    -------
    str
        A page without scripts that needs no other file and no network. Twice the same for the same study, but for
        other versions of matplotlib. Without matplotlib it has no pictures, and says so.

    Examples
    --------
    >>> from chargeplan.output.study_report import study_report
    >>> from chargeplan.study.file import read_study
    >>> from chargeplan.study.run import run_study
    >>> text = "{name: March, from: 2026-03-01, to: 2026-03-31, households: demo, tariffs: [flat, two-period]}"
    >>> asked = read_study(text)
    >>> page = study_html(study_report(asked, run_study(asked.study).frame()))
    >>> page.count("<svg"), page.count("<table")
    (3, 3)
    """
    study = report.asked.study
    page = ET.Element("html", lang="en")
    head = ET.SubElement(page, "head")
    ET.SubElement(head, "meta", charset="utf-8")
    ET.SubElement(head, "meta", {"name": "viewport", "content": "width=device-width, initial-scale=1"})
    ET.SubElement(head, "meta", {"http-equiv": "Content-Security-Policy", "content": _POLICY})
    _text(head, "title", study.name)
    _text(head, "style", _STYLE, plain=False)
    body = ET.SubElement(page, "body")
    _text(body, "h1", study.name)
    _text(body, "p", ". ".join(about_text(report)) + ".", css="about")
    answers = ET.SubElement(body, "div", {"class": "answers"})
    for _, text in headline(report):
        _text(answers, "p", text)
    pictures = has_pictures()
    if not pictures:
        _text(body, "p", _NO_PICTURES)
    if report.detailed:
        for number, life in enumerate(report.lives):
            _life(body, report, life, life_pictures(report, life, f"p{number}") if pictures else {})
    else:
        _counted(body, report, pictures)
    _room(body, report)
    _notes(body, report)
    for element in body.iter():
        # One element a line, so that two reports can be compared.
        if element.tag not in ("svg", "tspan", "text") and not element.tail:
            element.tail = "\n"
    return f"<!DOCTYPE html>\n{ET.tostring(page, encoding='unicode', method='html')}\n"


def _life(body: ET.Element, report: StudyReport, life: Life, drawings: Mapping[str, Drawing]) -> None:
    study, question = report.asked.study, report.asked.question
    equipment = today_words(question.equipment)
    _text(body, "h2", f"{life.household}, {life.driving}")
    _text(body, "p", f"{distance_text(life.distance_km, life.unit)} {span_text(study)}", css="about")
    _table(
        body,
        f"Rates, with {equipment}",
        ["rate", "house", "car", "total", "saves", "charged at once"],
        [
            [line.tariff, *map(_amount, (line.house_bill, line.car_cost, line.total, line.saves, line.unshifted))]
            for line in life.rates
        ],
        question.tariff,
    )
    _paragraphs(body, margin_sentences(report, life))
    _figure(body, drawings.get("rates"))
    _home(body, report, life)
    _figure(body, drawings.get("home"))
    for one in life.equipment:
        _choices(body, report, one)
        _text(body, "p", least_sentence(one))
    _figure(body, drawings.get("equipment"))
    _table(
        body,
        f"Ways to charge and drive, under {question.tariff} with {equipment}",
        ["way", "cost", f"per 100 {life.unit}", "more than the plan", "lowest", "highest", "short"],
        [
            [
                line.way,
                _amount(line.cost),
                _amount(per_100_in_unit(line.per_100km, life.unit)),
                *map(_amount, (line.more_than_plan, line.lowest, line.highest)),
                number_text(line.missed),
            ]
            for line in life.ways
        ],
    )
    _paragraphs(body, short_ways(life))
    _figure(body, drawings.get("ways"))
    if life.stops:
        _text(body, "h3", "Places to charge away from home")
        _paragraphs(body, (stop_sentence(report, stop, life.driving) for stop in life.stops))


def _choices(body: ET.Element, report: StudyReport, one: EquipmentAnswer) -> None:
    rows = []
    for choice in one.choices:
        seen = choice.outlook
        rows.append(
            [
                choice.name,
                *map(_amount, (choice.outlay, choice.yearly, choice.present_cost)),
                "-" if seen is None else payback_text(choice.payback_years),
                "-" if seen is None else payback_range_text(seen.payback_years.low, seen.payback_years.high),
                "-" if seen is None else f"{100 * seen.pays:.0f} %",
            ]
        )
    years = report.asked.question.terms.years
    header = ["equipment", "outlay", "first year", "present cost", "pays back (years)", "5 - 95 %", "chance"]
    _table(body, f"Equipment over {years} years, under {one.tariff}", header, rows, one.today)


def _home(body: ET.Element, report: StudyReport, life: Life) -> None:
    question = report.asked.question
    rows = []
    unserved = any(line.unserved for line in life.home)
    for line in life.home:
        limit = line.limit
        charged = [f"{limit.current_a:.3g}", f"{limit.wall_kw:.3g}", f"{in_unit(line.km_per_hour, life.unit):.0f}"]
        rows.append(
            [
                line.equipment,
                *(charged if limit.wall_kw > 0 else ["-", "-", "-"]),
                number_text(line.departures),
                number_text(line.missed),
                share_text(line.share_met),
                share_text(round(line.lowest_soc, 3)),
                *([number_text(line.unserved)] if unserved else []),
            ]
        )
    header = [
        "equipment",
        "A",
        "kW",
        f"{life.unit}/h",
        "departures",
        "short",
        "met",
        "lowest charge",
        *(["drives unserved"] if unserved else []),
    ]
    _table(body, f"Charging at home, under {question.tariff}, planned", header, rows, question.equipment)


def _counted(body: ET.Element, report: StudyReport, pictures: bool) -> None:
    counts = rate_counts(report)
    _text(body, "h2", f"All {len(report.lives):,} households and ways of driving")
    if pictures:
        _figure(body, counted_picture(report, counts, "p"))
    _table(
        body,
        "Rates, means of all",
        ["rate", "cheapest for", "total", "saves"],
        [[line.tariff, f"{line.cheapest:,}", _amount(line.total), _amount(line.saves)] for line in counts],
        report.asked.question.tariff,
    )
    if found := equipment_counts(report):
        years = report.asked.question.terms.years
        _table(
            body,
            f"Equipment over {years} years, under the rate that is cheapest for each, means of all",
            ["equipment", "cheapest for", "enough for", "met", "present cost"],
            [
                [
                    one.equipment,
                    f"{one.least:,}",
                    f"{one.enough:,}",
                    share_text(one.share_met),
                    _amount(one.present_cost),
                ]
                for one in found
            ],
            report.asked.question.equipment,
        )


def _room(body: ET.Element, report: StudyReport) -> None:
    if report.room is None:
        return
    head, *fits = room_sentences(report, report.room)
    _text(body, "h2", "Panel")
    _text(body, "p", head)
    _items(body, fits)


def _notes(body: ET.Element, report: StudyReport) -> None:
    caution = ET.SubElement(body, "div", {"class": "caution"})
    _paragraphs(caution, cautions(report))
    _text(body, "h2", "Notes")
    left_out = [f"Left out: {what}." for what in report.answers.left_out]
    warned = [f"{warning} (warning)" for warning in report.asked.warnings]
    _items(body, [*columns_text(report), *assumed(report), *left_out, *warned])


def _text(parent: ET.Element, tag: str, text: str, *, css: str = "", plain: bool = True) -> ET.Element:
    element = ET.SubElement(parent, tag, {"class": css} if css else {})
    # A per cent sign stays with its number.
    element.text = plain_text(text).replace(" %", "\u00a0%") if plain else text
    return element


def _paragraphs(parent: ET.Element, texts: Iterable[str]) -> None:
    for text in texts:
        _text(parent, "p", text)


def _items(parent: ET.Element, texts: Iterable[str]) -> None:
    items = ET.SubElement(parent, "ul")
    for text in texts:
        _text(items, "li", text)


def _table(
    body: ET.Element, caption: str, header: Sequence[str], rows: Sequence[Sequence[str]], now: str | None = None
) -> None:
    """Write a table in which the row of what is in use now stands out."""
    _text(body, "h3", caption)
    table = ET.SubElement(ET.SubElement(body, "div", {"class": "wide"}), "table", {"aria-label": plain_text(caption)})
    line = ET.SubElement(ET.SubElement(table, "thead"), "tr")
    for name in header:
        _text(line, "th", name).set("scope", "col")
    inner = ET.SubElement(table, "tbody")
    for name, *cells in rows:
        line = ET.SubElement(inner, "tr", {"class": "now"} if name == now else {})
        _text(line, "th", f"{name} (today)" if name == now else name).set("scope", "row")
        for cell in cells:
            _text(line, "td", cell)


def _figure(body: ET.Element, drawing: Drawing | None) -> None:
    if drawing is None:
        return
    figure = ET.SubElement(body, "figure")
    drawing.svg.set("aria-label", plain_text(drawing.caption))
    figure.append(drawing.svg)
    _text(figure, "figcaption", drawing.caption)


def _amount(amount: float) -> str:
    return "-" if isnan(amount) else f"{round(amount, 2) + 0.0:.2f}"
