"""How many households and ways of driving agree on a rate and on equipment."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from chargeplan.output.study_report import SAME_COST, StudyReport


@dataclass(frozen=True)
class RateCount:
    """How many find a rate the cheapest.

    Parameters
    ----------
    tariff : str
        The rate.
    cheapest : int
        For how many it is the cheapest, or as cheap.
    total, saves : float
        Means over all.
    """

    tariff: str
    cheapest: int
    total: float
    saves: float


@dataclass(frozen=True)
class EquipmentCount:
    """How many find some equipment enough.

    Parameters
    ----------
    equipment : str
        Its name.
    enough, least : int
        For how many it is enough, and for how many the cheapest that is, under the cheapest rate.
    present_cost, share_met : float
        Means over all, under the cheapest rate.
    """

    equipment: str
    enough: int
    least: int
    present_cost: float
    share_met: float


def rate_counts(report: StudyReport) -> tuple[RateCount, ...]:
    """Count the rates over all lives, most often the cheapest first."""
    found = []
    for name in report.asked.study.tariffs:
        lines = [life.rate(name) for life in report.lives]
        cheapest = sum(line.above_cheapest < SAME_COST for line in lines)
        mean = (float(np.mean([getattr(line, key) for line in lines])) for key in ("total", "saves"))
        found.append(RateCount(name, cheapest, *mean))
    return tuple(sorted(found, key=lambda line: (-line.cheapest, line.total)))


def equipment_counts(report: StudyReport) -> tuple[EquipmentCount, ...]:
    """Count the equipment over all lives, most often the least first."""
    last = [life.equipment[-1] for life in report.lives if life.equipment]
    if not last:
        return ()
    found = []
    for name in report.asked.study.equipment:
        choices = [next(choice for choice in one.choices if choice.name == name) for one in last]
        enough = sum(report.enough(choice.share_met) for choice in choices)
        least = sum(one.least == name for one in last)
        mean = (float(np.mean([getattr(choice, key) for choice in choices])) for key in ("present_cost", "share_met"))
        found.append(EquipmentCount(name, enough, least, *mean))
    return tuple(sorted(found, key=lambda line: (-line.least, line.present_cost)))
