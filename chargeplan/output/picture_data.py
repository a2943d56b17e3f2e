"""The picture of a sheet, and the difference of two, as plain data for programs: the shape of `--json`."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise
from typing import Any, Final

import numpy as np

from chargeplan.clock import IntArray
from chargeplan.tariff.changed_bills import BillChange, LineAmounts
from chargeplan.tariff.difference import Difference, HourChange
from chargeplan.tariff.picture import Picture
from chargeplan.units import clock_text

PICTURE_SCHEMA: Final = "chargeplan.picture/1"
DIFFERENCE_SCHEMA: Final = "chargeplan.difference/1"


def picture_data(shown: Picture) -> dict[str, Any]:
    """Turn the picture of a sheet into data.

    Parameters
    ----------
    shown : Picture
        What `picture` returned.

    Returns
    -------
    dict
        Schema ``chargeplan.picture/1``.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> from chargeplan.tariff.picture import picture
    >>> picture_data(picture(load_tariff("two-period"), 2026))["panels"][1]["rows"][0]
    {'first': '2026-01-01', 'last': '2026-01-31', 'spans': [{'start': '00:00', 'end': '24:00', 'step': 0}]}
    """
    return {
        "schema": PICTURE_SCHEMA,
        "tariff": shown.name,
        "currency": shown.currency,
        "timezone": shown.timezone,
        "year": shown.year,
        "averaged": shown.averaged,
        "tiers": shown.traits.tiers,
        "other_clock": shown.traits.other_clock,
        "called": list(shown.traits.called),
        "begins": shown.begins and shown.begins.isoformat(),
        "ends": shown.ends and shown.ends.isoformat(),
        "holidays": [day.isoformat() for day in shown.holidays],
        "steps": [
            {"mark": step.mark, "periods": list(step.periods), "low": step.low, "high": step.high}
            for step in shown.steps
        ],
        "panels": [
            {
                "days": panel.days,
                "rows": [
                    {"first": row.first.isoformat(), "last": row.last.isoformat(), "spans": _spans(row.code)}
                    for row in panel.rows
                ],
            }
            for panel in shown.panels
        ],
    }


def difference_data(found: Difference, bills: BillChange | None = None) -> dict[str, Any]:
    """Turn the difference of two sheets into data.

    Parameters
    ----------
    found : Difference
        What `difference` returned.
    bills : BillChange, optional
        What `bill_change` returned.

    Returns
    -------
    dict
        Schema ``chargeplan.difference/1``.
    """

    def hours(changes: Iterable[HourChange]) -> list[dict[str, Any]]:
        return [
            {
                "days": change.days,
                "dates": change.dates,
                "hours": change.hours,
                "old": {"period": change.old.period, "price_per_kwh": change.old.price_per_kwh},
                "new": {"period": change.new.period, "price_per_kwh": change.new.price_per_kwh},
            }
            for change in changes
        ]

    sides = zip((found.old, found.new), found.since, strict=True)
    old, new = ({"tariff": side.name, "since": since and since.isoformat()} for side, since in sides)
    return {
        "schema": DIFFERENCE_SCHEMA,
        "old": old,
        "new": new,
        "currency": found.new.currency,
        "year": found.year,
        "holidays_apart": found.holidays_apart,
        "moved_hours": found.moved_hours,
        "moved": hours(found.moved),
        "repriced": hours(found.repriced),
        "renamed": [{"old": was, "new": now} for was, now in found.renamed],
        "mean_price": {"old": found.mean[0], "new": found.mean[1]},
        "lines": [{"line": line.line, "old": line.old, "new": line.new} for line in found.lines],
        "bills": bills
        and {
            "first": bills.first.isoformat(),
            "last": bills.last.isoformat(),
            "bought_kwh": bills.bought_kwh,
            "sold_kwh": bills.sold_kwh,
            "lines": [_amounts(line) for line in bills.lines],
            "total": _amounts(bills.total),
        },
    }


def _amounts(line: LineAmounts) -> dict[str, Any]:
    old, new = (None if amount is None else float(amount) for amount in (line.old, line.new))
    return {"name": line.name, "old": old, "new": new, "change": float(line.change)}


def _spans(code: IntArray) -> list[dict[str, Any]]:
    """List the runs of a day; a time that has no step is left out."""
    step_min = 1440 // len(code)
    edges = np.flatnonzero(np.r_[True, code[1:] != code[:-1], True]).tolist()
    return [
        {"start": clock_text(start * step_min), "end": clock_text(end * step_min), "step": int(code[start])}
        for start, end in pairwise(edges)
        if code[start] >= 0
    ]
