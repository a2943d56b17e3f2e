"""Volts, amperes, kW and losses: what circuit, EVSE and car together let through."""

from chargeplan.charging.circuit import (
    EUROPEAN_BREAKERS_A,
    STANDARD_BREAKERS_A,
    Circuit,
    Level,
    charging_level,
    next_standard_breaker,
)
from chargeplan.charging.consumption import Consumption
from chargeplan.charging.derating import Derating
from chargeplan.charging.limits import current_limit_a, dc_limit, weakest_link
from chargeplan.charging.links import Limit, Link, LinkName
from chargeplan.charging.losses import DEFAULT_LOSSES, LEVELS, ChargingLoss
from chargeplan.charging.other_load import OtherLoad, daily_profile_a, left_for_cars_a
from chargeplan.charging.panel import Node, PowerTree
from chargeplan.charging.supply import PILOT_MAX_A, PILOT_MIN_A, Evse, pilot_current_a, pilot_duty_percent
from chargeplan.charging.taper import Taper
from chargeplan.charging.vehicle import Vehicle

__all__ = [
    "DEFAULT_LOSSES",
    "EUROPEAN_BREAKERS_A",
    "LEVELS",
    "PILOT_MAX_A",
    "PILOT_MIN_A",
    "STANDARD_BREAKERS_A",
    "ChargingLoss",
    "Circuit",
    "Consumption",
    "Derating",
    "Evse",
    "Level",
    "Limit",
    "Link",
    "LinkName",
    "Node",
    "OtherLoad",
    "PowerTree",
    "Taper",
    "Vehicle",
    "charging_level",
    "current_limit_a",
    "daily_profile_a",
    "dc_limit",
    "left_for_cars_a",
    "next_standard_breaker",
    "pilot_current_a",
    "pilot_duty_percent",
    "weakest_link",
]
