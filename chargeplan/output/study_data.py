"""What a study found as plain data, ready for JSON."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any, Final

from chargeplan.output.study_counts import equipment_counts, rate_counts
from chargeplan.output.study_headline import headline
from chargeplan.output.study_report import HomeLine, Life, StudyReport, paid_by_year
from chargeplan.output.study_words import assumed, cautions
from chargeplan.study.cell import YearRow
from chargeplan.study.panel_room import Fit
from chargeplan.study.study import Study
from chargeplan.study.uncertain import Range
from chargeplan.study.weigh import EquipmentAnswer, Weighed

STUDY_SCHEMA: Final = "chargeplan.study/1"
#: With more rows than this the document has none of them, only the answers.
MOST_ROWS: Final = 10_000


def study_data(report: StudyReport, rows: Iterable[YearRow], count: int) -> dict[str, Any]:
    """Turn what a study found into plain data.

    Parameters
    ----------
    report : StudyReport
        From `chargeplan.output.study_report.study_report`.
    rows : iterable of YearRow
        Its rows, from `chargeplan.study.results.StudyResult.rows`; not read if there are more than `MOST_ROWS`.
    count : int
        How many there are.

    Returns
    -------
    dict
        Of schema ``chargeplan.study/1``, see `chargeplan schema study-result`. What is not a number, or not finite,
        such as a payback that never comes, is None.

    Examples
    --------
    >>> from chargeplan.output.study_report import study_report
    >>> from chargeplan.study.file import read_study
    >>> from chargeplan.study.run import run_study
    >>> text = "{name: March, from: 2026-03-01, to: 2026-03-31, households: demo, tariffs: [flat, two-period]}"
    >>> asked = read_study(text)
    >>> result = run_study(asked.study)
    >>> data = study_data(study_report(asked, result.frame()), result.rows(), 6)
    >>> data["lives"][0]["rates"][0]["tariff"], data["rows"][0]["strategy"]
    ('two-period', 'optimal')
    """
    study, question = report.asked.study, report.asked.question
    data = {
        "schema": STUDY_SCHEMA,
        "study": study.name,
        "currency": report.currency,
        **_span(study),
        "seed": study.seed,
        "drawn_years": study.draws,
        "aim": study.aim,
        "years_planned": study.cells,
        "today": {"tariff": question.tariff, "equipment": question.equipment},
        "money": {
            **asdict(question.terms),
            "price_spread": question.doubt.price_spread,
            "outlay_spread": question.doubt.outlay_spread,
            "drawn_futures": question.doubt.draws,
            "reliability": question.reliability,
        },
        "answers": [{"about": label.lower(), "text": text} for label, text in headline(report)],
        "rate_counts": [asdict(one) for one in rate_counts(report)],
        "equipment_counts": [asdict(one) for one in equipment_counts(report)],
        "lives": [_life(report, life) for life in report.lives],
        "panel": _panel(report),
        "left_out": list(report.answers.left_out),
        "warnings": [asdict(warning) for warning in report.asked.warnings],
        "assumed": assumed(report),
        "cautions": cautions(report),
        "rows": [row.as_dict() for row in rows] if count <= MOST_ROWS else None,
    }
    found: dict[str, Any] = _finite(data)
    return found


def _span(study: Study) -> dict[str, Any]:
    from datetime import timedelta

    last = study.first + timedelta(days=study.days - 1)
    return {"from": study.first.isoformat(), "to": last.isoformat(), "days": study.days}


def _life(report: StudyReport, life: Life) -> dict[str, Any]:
    return {
        "household": life.household,
        "driving": life.driving,
        "distance_km": life.distance_km,
        "distance_unit": life.unit,
        "rates": [asdict(line) for line in life.rates],
        "margin": asdict(life.margin),
        "break_even": [asdict(one) for one in life.meetings],
        "home": [_home(line) for line in life.home],
        "equipment": [_equipment(report, one) for one in life.equipment],
        "ways": [asdict(line) for line in life.ways],
        "stops": [{**asdict(stop), "worth": stop.worth} for stop in life.stops],
    }


def _home(line: HomeLine) -> dict[str, Any]:
    return {
        "equipment": line.equipment,
        "current_a": line.limit.current_a,
        "wall_kw": line.limit.wall_kw,
        "battery_kw": line.limit.battery_kw,
        "because": line.limit.because,
        "km_per_hour": line.km_per_hour,
        "departures": line.departures,
        "missed": line.missed,
        "unserved": line.unserved,
        "share_met": line.share_met,
        "lowest_soc": line.lowest_soc,
    }


def _equipment(report: StudyReport, one: EquipmentAnswer) -> dict[str, Any]:
    return {
        "tariff": one.tariff,
        "least": one.least,
        "because": one.because,
        "choices": [_choice(report, choice) for choice in one.choices],
    }


def _choice(report: StudyReport, choice: Weighed) -> dict[str, Any]:
    seen = choice.outlook
    return {
        "equipment": choice.name,
        "outlay": choice.outlay,
        "outlay_items": [] if choice.equipment is None else [asdict(item) for item in choice.equipment.outlay_items()],
        "yearly": choice.yearly,
        "present_cost": choice.present_cost,
        "annual_cost": choice.annual_cost,
        "payback_years": None if seen is None else choice.payback_years,
        "payback_range": None if seen is None else _range(seen.payback_years),
        "saving_range": None if seen is None else _range(seen.saving),
        "pays": None if seen is None else seen.pays,
        "pays_error": None if seen is None else seen.pays_error,
        "share_met": choice.share_met,
        "lowest_soc": choice.lowest_soc,
        "paid_by_year": paid_by_year(choice, report.asked.question.terms).tolist(),
    }


def _range(spread: Range) -> dict[str, float]:
    return {"low": spread.low, "middle": spread.middle, "high": spread.high}


def _panel(report: StudyReport) -> dict[str, Any] | None:
    if report.room is None or report.asked.panel is None:
        return None
    panel = report.asked.panel
    return {
        "breaker_a": panel.circuit.breaker_a,
        "volts": panel.circuit.volts_text,
        "other_a": list(panel.other_a),
        "basis": panel.basis,
        "left_a": report.room.left_a,
        "car_breaker_a": report.room.breaker_a,
        "fits": [_fit(fit) for fit in report.room.fits],
    }


def _fit(fit: Fit) -> dict[str, Any]:
    return {
        "equipment": fit.equipment.name,
        "demand_a": fit.demand_a,
        "fits": fit.fits,
        "set_to_a": fit.set_to_a,
        "because": fit.because,
    }


def _finite(value: Any) -> Any:
    """Put None where a number is not finite, all the way down."""
    if isinstance(value, Mapping):
        return {key: _finite(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(inner) for inner in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value
