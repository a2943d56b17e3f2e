"""Prices electric-car charging on time-of-use rates and plans the cheapest hours within the circuit's limit.

>>> import chargeplan
>>> home = chargeplan.load_household("demo")
>>> night = chargeplan.plan_tonight(home, soc="55 %", now="2026-11-25 20:00")
>>> night.schedule.table().wall_kwh.sum().round(1)
np.float64(16.1)
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from chargeplan.charging import Circuit, Evse, Node, OtherLoad, PowerTree, Vehicle, weakest_link
    from chargeplan.drafting.draft import Draft, draft_sheet
    from chargeplan.errors import ChargeplanError, FileError, InputError, SolverError
    from chargeplan.household import HouseholdPlan, load_household, plan_days, plan_tonight, read_household
    from chargeplan.household.panel_file import load_panel
    from chargeplan.household.together import plan_together
    from chargeplan.output.price_files import write_prices
    from chargeplan.output.price_table import price_table
    from chargeplan.output.study_html import study_html
    from chargeplan.output.study_report import study_report
    from chargeplan.plan.schedule import Schedule
    from chargeplan.plan.schedule import plan as plan_itinerary
    from chargeplan.plan.shared import SharedCar, SharedPlan, plan_shared
    from chargeplan.plan.stops import Drive, Itinerary, Stay
    from chargeplan.study.answers import Question
    from chargeplan.study.answers import answer as answer_study
    from chargeplan.study.compare import compare as compare_ways
    from chargeplan.study.driving import Driving
    from chargeplan.study.equipment import Equipment
    from chargeplan.study.file import load_study, read_study
    from chargeplan.study.house_load import UsualLoad, meter_load
    from chargeplan.study.rates import break_even, price_margin, rank_rates, with_prices_changed
    from chargeplan.study.rebates import Rebate
    from chargeplan.study.results import StudyResult, read_results
    from chargeplan.study.run import run_study
    from chargeplan.study.spending import Terms
    from chargeplan.study.stop_worth import stop_worth
    from chargeplan.study.study import RoadCharging, Study, one_unit
    from chargeplan.study.uncertain import Doubt
    from chargeplan.study.unusual import LongTrips
    from chargeplan.study.weigh import weigh_equipment
    from chargeplan.study.year_slots import house_and_car, year_slots
    from chargeplan.tariff import Tariff, load_tariff, read_tariff, shipped_sheets

#: Where each public name lives; imported when first asked for, so that `import chargeplan` stays light.
_HOMES = {
    "ChargeplanError": "errors",
    "FileError": "errors",
    "InputError": "errors",
    "SolverError": "errors",
    "Tariff": "tariff",
    "load_tariff": "tariff",
    "read_tariff": "tariff",
    "shipped_sheets": "tariff",
    "Circuit": "charging",
    "Evse": "charging",
    "Node": "charging",
    "OtherLoad": "charging",
    "PowerTree": "charging",
    "Vehicle": "charging",
    "weakest_link": "charging",
    "Draft": "drafting.draft",
    "draft_sheet": "drafting.draft",
    "Drive": "plan.stops",
    "Itinerary": "plan.stops",
    "Stay": "plan.stops",
    "Schedule": "plan.schedule",
    "plan_itinerary": "plan.schedule",
    "SharedCar": "plan.shared",
    "SharedPlan": "plan.shared",
    "plan_shared": "plan.shared",
    "HouseholdPlan": "household",
    "load_household": "household",
    "plan_days": "household",
    "plan_tonight": "household",
    "read_household": "household",
    "load_panel": "household.panel_file",
    "plan_together": "household.together",
    "price_table": "output.price_table",
    "write_prices": "output.price_files",
    "Doubt": "study.uncertain",
    "Driving": "study.driving",
    "Equipment": "study.equipment",
    "LongTrips": "study.unusual",
    "Question": "study.answers",
    "Rebate": "study.rebates",
    "RoadCharging": "study.study",
    "Study": "study.study",
    "StudyResult": "study.results",
    "Terms": "study.spending",
    "UsualLoad": "study.house_load",
    "answer_study": "study.answers",
    "break_even": "study.rates",
    "compare_ways": "study.compare",
    "house_and_car": "study.year_slots",
    "load_study": "study.file",
    "meter_load": "study.house_load",
    "one_unit": "study.study",
    "price_margin": "study.rates",
    "rank_rates": "study.rates",
    "read_results": "study.results",
    "read_study": "study.file",
    "run_study": "study.run",
    "stop_worth": "study.stop_worth",
    "study_html": "output.study_html",
    "study_report": "output.study_report",
    "weigh_equipment": "study.weigh",
    "with_prices_changed": "study.rates",
    "year_slots": "study.year_slots",
}

#: What is called otherwise where it lives.
_INNER = {"plan_itinerary": "plan", "answer_study": "answer", "compare_ways": "compare"}

__all__ = [
    "ChargeplanError",
    "Circuit",
    "Doubt",
    "Draft",
    "Drive",
    "Driving",
    "Equipment",
    "Evse",
    "FileError",
    "HouseholdPlan",
    "InputError",
    "Itinerary",
    "LongTrips",
    "Node",
    "OtherLoad",
    "PowerTree",
    "Question",
    "Rebate",
    "RoadCharging",
    "Schedule",
    "SharedCar",
    "SharedPlan",
    "SolverError",
    "Stay",
    "Study",
    "StudyResult",
    "Tariff",
    "Terms",
    "UsualLoad",
    "Vehicle",
    "answer_study",
    "break_even",
    "compare_ways",
    "draft_sheet",
    "house_and_car",
    "load_household",
    "load_panel",
    "load_study",
    "load_tariff",
    "meter_load",
    "one_unit",
    "plan_days",
    "plan_itinerary",
    "plan_shared",
    "plan_together",
    "plan_tonight",
    "price_margin",
    "price_table",
    "rank_rates",
    "read_household",
    "read_results",
    "read_study",
    "read_tariff",
    "run_study",
    "shipped_sheets",
    "stop_worth",
    "study_html",
    "study_report",
    "weakest_link",
    "weigh_equipment",
    "with_prices_changed",
    "write_prices",
    "year_slots",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(f"{__name__}.{_HOMES[name]}"), _INNER.get(name, name))
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
