"""For people who test their own rate sheets: laws every tariff keeps, and random sheets and loads.

The checks written in a sheet need none of this: pytest runs them by itself, see `chargeplan.testing.plugin`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from chargeplan.testing.laws import (
        LAWS,
        bill_scales_with_load,
        bills_add_up,
        check_all,
        cuts_do_not_matter,
        demand_rises_with_load,
        every_minute_has_a_price,
        more_use_costs_no_less,
        next_kwh_is_the_slope,
    )
    from chargeplan.testing.load_strategies import loads
    from chargeplan.testing.made_up_load import example_load
    from chargeplan.testing.strategies import sheets

#: Where each name lives; imported when first asked for, since pytest imports this package in every project.
_HOMES = {
    "LAWS": "laws",
    "bill_scales_with_load": "laws",
    "bills_add_up": "laws",
    "check_all": "laws",
    "cuts_do_not_matter": "laws",
    "demand_rises_with_load": "laws",
    "every_minute_has_a_price": "laws",
    "example_load": "made_up_load",
    "loads": "load_strategies",
    "more_use_costs_no_less": "laws",
    "next_kwh_is_the_slope": "laws",
    "sheets": "strategies",
}

__all__ = [
    "LAWS",
    "bill_scales_with_load",
    "bills_add_up",
    "check_all",
    "cuts_do_not_matter",
    "demand_rises_with_load",
    "every_minute_has_a_price",
    "example_load",
    "loads",
    "more_use_costs_no_less",
    "next_kwh_is_the_slope",
    "sheets",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    from importlib import import_module

    value = getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
