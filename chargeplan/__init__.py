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
    from chargeplan.plan.schedule import Schedule
    from chargeplan.plan.schedule import plan as plan_itinerary
    from chargeplan.plan.shared import SharedCar, SharedPlan, plan_shared
    from chargeplan.plan.stops import Drive, Itinerary, Stay
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
}

__all__ = [
    "ChargeplanError",
    "Circuit",
    "Draft",
    "Drive",
    "Evse",
    "FileError",
    "HouseholdPlan",
    "InputError",
    "Itinerary",
    "Node",
    "OtherLoad",
    "PowerTree",
    "Schedule",
    "SharedCar",
    "SharedPlan",
    "SolverError",
    "Stay",
    "Tariff",
    "Vehicle",
    "draft_sheet",
    "load_household",
    "load_panel",
    "load_tariff",
    "plan_days",
    "plan_itinerary",
    "plan_shared",
    "plan_together",
    "plan_tonight",
    "price_table",
    "read_household",
    "read_tariff",
    "shipped_sheets",
    "weakest_link",
    "write_prices",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    inner = "plan" if name == "plan_itinerary" else name
    value = getattr(import_module(f"{__name__}.{_HOMES[name]}"), inner)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
