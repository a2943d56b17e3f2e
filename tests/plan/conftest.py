"""Make the shared cases importable, and give every property the same settings."""

import sys
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, settings

from chargeplan.plan import Itinerary, Stay

sys.path.insert(0, str(Path(__file__).parent))
settings.register_profile("plan", deadline=None, suppress_health_check=[HealthCheck.too_slow], print_blob=True)
settings.load_profile("plan")


def night_price(start_s, step_s):
    """0.10 from midnight to 06:00 UTC-5, 0.40 from 16:00 to 21:00, else 0.25."""
    hour = (start_s // 3600 - 5) % 24
    return 0.25 - 0.15 * (hour < 6) + 0.15 * ((hour >= 16) & (hour < 21))


@pytest.fixture
def evening():
    """One winter night in New York, 18:37 to 07:05, from 22 to 50 kWh, 7.2 kW at 30 A."""
    zone = ZoneInfo("America/New_York")
    stay = Stay(
        place="home",
        start=datetime(2026, 1, 5, 18, 37, tzinfo=zone),
        end=datetime(2026, 1, 6, 7, 5, tzinfo=zone),
        wall_kw=7.2,
        gain=0.9,
        price_per_kwh=night_price,
        need_kwh=50,
        volts=240,
        current_a=30,
    )
    return Itinerary(level_kwh=22, capacity_kwh=60, stays=[stay])
