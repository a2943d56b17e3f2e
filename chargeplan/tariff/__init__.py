"""Rate sheets in, prices out; knows nothing of cars."""

from chargeplan.tariff.loading import load_tariff, read_tariff, shipped_sheets
from chargeplan.tariff.spans import Run
from chargeplan.tariff.tariff import Tariff

__all__ = ["Run", "Tariff", "load_tariff", "read_tariff", "shipped_sheets"]
