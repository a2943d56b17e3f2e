"""A plan as a picture: the price, the charging, and how full the battery is. Needs the extra `plot`."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from chargeplan.clock import local_datetimes
from chargeplan.errors import InputError
from chargeplan.household import HouseholdPlan

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Colours that stay apart for readers with any colour vision, and in grey (Okabe and Ito, 2008; from memory).
_PRICE, _CHARGE, _LEVEL = "#666666", "#0072B2", "#D55E00"


def plot_plan(plan: HouseholdPlan) -> Figure:
    """Draw a plan.

    Parameters
    ----------
    plan : HouseholdPlan
        Tonight's or the coming days'.

    Returns
    -------
    matplotlib.figure.Figure
        Above, the price as a line and charging power as bars; below, the state of charge with the target.

    Raises
    ------
    InputError
        If matplotlib is not installed.

    Examples
    --------
    >>> from chargeplan.household import load_household, plan_tonight
    >>> figure = plot_plan(plan_tonight(load_household("demo"), soc="55 %", now="2026-11-25 20:00"))
    >>> [axes.get_ylabel() for axes in figure.axes]
    ['power (kW)', 'state of charge (%)', 'price (USD/kWh)']
    """
    try:
        from matplotlib.dates import AutoDateLocator, ConciseDateFormatter
        from matplotlib.figure import Figure
    except ImportError:
        raise InputError("drawing needs matplotlib; install chargeplan with its extra: pip install '.[plot]'") from None

    household, schedule = plan.household, plan.schedule
    usable = household.vehicle.usable_kwh
    zone = plan.itinerary.stays[0].start.tzinfo
    figure = Figure(figsize=(9, 5), layout="constrained")
    power, charge = figure.subplots(2, 1, sharex=True, height_ratios=(3, 2))
    price = power.twinx()
    for number, stay in enumerate(plan.itinerary.stays):
        slots = np.flatnonzero(schedule.stay == number)
        start_s = schedule.start_s[slots]
        edges_s = np.append(start_s, start_s[-1] + np.round(3600 * schedule.hours[slots[-1]]).astype(np.int64))
        edges = np.array(local_datetimes(household.timezone, edges_s), dtype=object)
        price.stairs(schedule.price_per_kwh[slots], edges, baseline=None, color=_PRICE, linewidth=1.5)
        first_kwh = schedule.level_kwh[slots[0]] - schedule.battery_kwh[slots[0]]
        level = np.append(first_kwh, schedule.level_kwh[slots]) / usable * 100
        charge.plot(edges, level, color=_LEVEL)
        charge.axvspan(stay.start, stay.end, color="0.95", zorder=0)
    for window in schedule.windows:
        hours = (window.end.timestamp() - window.start.timestamp()) / 3600
        # Elapsed time: a difference of local times would be an hour off across a clock change.
        width = timedelta(hours=hours)
        power.bar(window.start, window.wall_kwh / hours, width=width, align="edge", color=_CHARGE, alpha=0.6)
    power.set_ylabel("power (kW)", color=_CHARGE)
    power.set_ylim(bottom=0)
    price.set_ylabel(f"price ({household.tariff.currency}/kWh)", color=_PRICE)
    price.set_ylim(bottom=min(0.0, float(schedule.price_per_kwh.min())))
    charge.axhline(plan.target * 100, color=_LEVEL, linestyle=":", linewidth=1)
    charge.annotate("target", (0.005, plan.target * 100), xycoords=("axes fraction", "data"), va="bottom", size=8)
    charge.set_ylabel("state of charge (%)", color=_LEVEL)
    charge.set_ylim(0, 102)
    locator = AutoDateLocator(tz=zone)  # type: ignore[no-untyped-call]
    charge.xaxis.set_major_locator(locator)
    charge.xaxis.set_major_formatter(ConciseDateFormatter(locator, tz=zone))  # type: ignore[no-untyped-call]
    power.set_title(
        f"{household.name}: {schedule.total_wall_kwh:.1f} kWh for {schedule.total_cost:.2f} "
        f"{household.tariff.currency}, {schedule.status}",
        size=10,
    )
    return figure
