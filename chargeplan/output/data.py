"""Plans, prices and check results as plain data, for programs: the shape of `--json` and `--csv`.

Every document names its schema and version, as in ``chargeplan.plan/1``. Within a version keys are
only ever added. Times are ISO 8601 with offset, energy kWh, power kW, current A, shares 0 to 1.
"""

from __future__ import annotations

from collections.abc import Iterable
from math import isnan
from typing import Any, Final

from chargeplan.clock import local_datetimes
from chargeplan.errors import Mistake
from chargeplan.household import HouseholdPlan
from chargeplan.plan.breaks import breaks_of
from chargeplan.plan.remedies import Fix, needed_a
from chargeplan.plan.schedule import Schedule
from chargeplan.plan.unmanaged import Unmanaged
from chargeplan.tariff import Run, Tariff

PLAN_SCHEMA: Final = "chargeplan.plan/1"
PRICES_SCHEMA: Final = "chargeplan.prices/1"
CHECK_SCHEMA: Final = "chargeplan.check/1"


def plan_data(plan: HouseholdPlan) -> dict[str, Any]:
    """Turn a plan into data.

    Parameters
    ----------
    plan : HouseholdPlan
        Tonight's or the coming days'.

    Returns
    -------
    dict
        Schema ``chargeplan.plan/1``.

    Examples
    --------
    >>> from chargeplan.household import load_household, plan_tonight
    >>> data = plan_data(plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00"))
    >>> data["schema"], data["reachable"], [window["start"] for window in data["windows"]]
    ('chargeplan.plan/1', True, ['2026-11-25T23:00:00-07:00'])
    """
    household, schedule = plan.household, plan.schedule
    early = household.habits.early
    usable, certificate = household.vehicle.usable_kwh, schedule.certificate
    now = local_datetimes(household.timezone, [plan.now_s])[0]
    return {
        "schema": PLAN_SCHEMA,
        "household": household.name,
        "vehicle": household.vehicle_name,
        "tariff": household.tariff.name,
        "currency": household.tariff.currency,
        "timezone": household.timezone,
        "now": now.isoformat(),
        "state_of_charge": {"share": plan.soc.share, "source": plan.soc.source, "because": plan.soc.because},
        "target": plan.target,
        "reachable": not schedule.fixes,
        "cost": schedule.total_cost,
        "wall_kwh": schedule.total_wall_kwh,
        "battery_kwh": schedule.total_battery_kwh,
        "windows": [
            {
                "place": window.place,
                "start": window.start.isoformat(timespec="seconds"),
                "end": window.end.isoformat(timespec="seconds"),
                "current_a": _number(window.current_a),
                "wall_kwh": window.wall_kwh,
                "battery_kwh": window.battery_kwh,
                "cost": window.cost,
                "falls_to_a": window.falls_to_a,
            }
            for window in schedule.windows
        ],
        "stays": [
            {
                "place": stay.place,
                "start": stay.start.isoformat(),
                "end": stay.end.isoformat(),
                "limit": {
                    "current_a": _number(limit.current_a),
                    "wall_kw": limit.wall_kw,
                    "because": limit.because,
                    "cautions": list(limit.warnings),
                },
                "departure": {
                    "state_of_charge": departure.level_kwh / usable,
                    "needed": departure.need_kwh / usable,
                    "shortfall_kwh": departure.shortfall_kwh,
                    "unserved_kwh": departure.unserved_kwh,
                },
            }
            for stay, limit, departure in zip(plan.itinerary.stays, plan.limits, schedule.departures, strict=True)
        ],
        "rules": list(plan.rules),
        "cautions": list(plan.cautions),
        "early": {
            "ready_min": plan.ready_min,
            "met": early.met(plan.ready_min) if early else 1.0,
            "cost": plan.insurance_cost,
        },
        "preconditioning": {
            "wall_kwh": float(schedule.preconditioning_kwh.sum()),
            "battery_kwh": sum(stay.drained_kwh for stay in plan.itinerary.stays),
            "cost": schedule.preconditioning_cost,
        },
        "fixes": [
            {
                "place": fix.place,
                "stay": fix.stay,
                "shortfall_kwh": fix.shortfall_kwh,
                "leave_later_min": fix.leave_later_min,
                "more_a": fix.more_a,
                "needed_a": _needed_a(plan, fix),
                "rules": [list(together) for together in fix.rules],
            }
            for fix in schedule.fixes
        ],
        "compared_with": {
            "on_plug_in": _habit(schedule, schedule.on_plug_in),
            "timer": _habit(schedule, schedule.by_timer),
        },
        "proof": {
            "optimal": certificate.optimal,
            "bound": certificate.bound if certificate.bound > float("-inf") else None,
            "gap": certificate.gap if certificate.gap < float("inf") else None,
            "method": schedule.method,
            "tie_break": schedule.tie_break,
        },
    }


def plan_rows(plan: HouseholdPlan) -> tuple[tuple[str, ...], Iterable[tuple[object, ...]]]:
    """Turn a plan into rows, one per slot in which the car is plugged in.

    Returns
    -------
    tuple of header and rows
        ``start``, ``hours``, ``place``, ``price_per_kwh``, ``current_a``, ``wall_kwh``,
        ``battery_kwh``, ``cost``, ``state_of_charge`` at the end of the slot, and ``preconditioning_kwh``, which
        is part of ``wall_kwh``. The current is None with direct current, which has none to set. Against a whole bill
        the price of a slot that draws something is its even share of the rise, that of another one of one more kWh.
    """
    schedule = plan.schedule
    header = (
        *("start", "hours", "place", "price_per_kwh", "current_a", "wall_kwh", "battery_kwh", "cost"),
        "state_of_charge",
        "preconditioning_kwh",
    )
    starts = (moment.isoformat() for moment in local_datetimes(plan.household.timezone, schedule.start_s))
    places = [plan.itinerary.stays[number].place for number in schedule.stay.tolist()]
    columns = (
        *(schedule.hours, places, schedule.price_per_kwh, schedule.current_a, schedule.drawn_kwh),
        *(schedule.battery_kwh, schedule.cost, schedule.level_kwh / plan.household.vehicle.usable_kwh),
        schedule.preconditioning_kwh,
    )
    numbers = [
        column if isinstance(column, list) else [None if isnan(x) else round(x, 6) for x in column.tolist()]
        for column in columns
    ]
    return header, zip(starts, *numbers, strict=True)


def prices_data(tariff: Tariff, runs: list[Run]) -> dict[str, Any]:
    """Turn runs of equal price into data.

    Parameters
    ----------
    tariff : Tariff
        The rate.
    runs : list of Run
        What `Tariff.day` returned.

    Returns
    -------
    dict
        Schema ``chargeplan.prices/1``.
    """
    header, rows = prices_rows(tariff, runs)
    return {
        "schema": PRICES_SCHEMA,
        "tariff": tariff.name,
        "currency": tariff.currency,
        "timezone": tariff.timezone,
        "runs": [dict(zip(header, row, strict=True)) for row in rows],
    }


def prices_rows(tariff: Tariff, runs: list[Run]) -> tuple[tuple[str, ...], list[tuple[object, ...]]]:
    """Turn runs of equal price into rows: start, end, period, season, day type and price per kWh."""
    header = ("start", "end", "period", "season", "day_type", "price_per_kwh")
    starts = local_datetimes(tariff.timezone, [run.start_s for run in runs])
    ends = local_datetimes(tariff.timezone, [run.end_s for run in runs])
    rows: list[tuple[object, ...]] = [
        (start.isoformat(), end.isoformat(), run.period, run.season, run.day_type, round(run.price_per_kwh, 9))
        for start, end, run in zip(starts, ends, runs, strict=True)
    ]
    return header, rows


def check_data(file: str, mistakes: Iterable[Mistake], warnings: Iterable[Mistake], checks: int) -> dict[str, Any]:
    """Turn the outcome of checking one file into data, schema ``chargeplan.check/1``."""

    def said(found: Iterable[Mistake]) -> list[dict[str, Any]]:
        return [{"file": m.file, "line": m.line, "column": m.column, "what": m.what, "remedy": m.remedy} for m in found]

    wrong = said(mistakes)
    # A household's cautions have no name by which a sheet could accept them.
    odd = [{**data, "id": getattr(found, "id", "")} for found in warnings for data in said([found])]
    return {"file": file, "good": not wrong, "checks": checks, "mistakes": wrong, "warnings": odd}


def _needed_a(plan: HouseholdPlan, fix: Fix) -> float | None:
    stay = plan.itinerary.stays[fix.stay]
    return None if fix.more_a is None or stay.current_a is None else needed_a(stay, fix.more_a)


def _habit(schedule: Schedule, habit: Unmanaged) -> dict[str, Any]:
    return {
        "cost": habit.cost,
        "saving": habit.saving,
        "shortfall_kwh": float(habit.short_kwh.sum()),
        "breaks": list(breaks_of(schedule, habit)),
    }


def _number(value: float | None) -> float | None:
    return None if value is None or isnan(value) else value
