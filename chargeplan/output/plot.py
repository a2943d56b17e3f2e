"""Pictures: a plan with its price, charging and battery; a rate sheet by hours and months. Needs the extra `plot`."""

from __future__ import annotations

import io
from collections.abc import Callable
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from chargeplan.clock import local_datetimes
from chargeplan.errors import InputError
from chargeplan.household import HouseholdPlan
from chargeplan.output.picture_text import labelled_rows, legend, notes
from chargeplan.output.words import wrapped
from chargeplan.tariff.picture import Picture
from chargeplan.writing import write_whole

if TYPE_CHECKING:
    from matplotlib.figure import Figure

#: Colours that stay apart for readers with any colour vision, and in grey (Okabe and Ito, 2008; from memory).
_PRICE, _CHARGE, _LEVEL = "#666666", "#0072B2", "#D55E00"
_NO_MATPLOTLIB: Final = "drawing needs matplotlib; install chargeplan with its extra: pip install '.[plot]'"
#: The formats a picture may have, by the suffix of its file, and what keeps two runs alike byte for byte.
FORMATS: Final[dict[str, dict[str, Any]]] = {
    ".png": {"metadata": {"Software": None}},
    ".svg": {"metadata": {"Date": None, "Creator": None}},
}


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
        raise InputError(_NO_MATPLOTLIB) from None

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


def plot_picture(shown: Picture) -> Figure:
    """Draw the picture of a sheet.

    Parameters
    ----------
    shown : Picture
        What `picture` returned.

    Returns
    -------
    matplotlib.figure.Figure
        A chart of hours by months for every panel, dearer hours darker, each stretch with the sign that
        the legend explains.

    Raises
    ------
    InputError
        If matplotlib is not installed.

    Examples
    --------
    >>> from chargeplan.tariff import load_tariff
    >>> from chargeplan.tariff.picture import picture
    >>> figure = plot_picture(picture(load_tariff("summer-peak"), 2026))
    >>> [axes.get_title(loc="left") for axes in figure.axes]
    ['weekdays', 'weekends and holidays']
    """
    try:
        from matplotlib import colormaps
        from matplotlib.colors import to_hex
        from matplotlib.figure import Figure
        from matplotlib.patches import Patch
    except ImportError:
        raise InputError(_NO_MATPLOTLIB) from None

    # This scale of colours reads alike with any colour vision and in grey (Nunez, Anderton and Renslow, 2018).
    shades = colormaps["cividis_r"](np.linspace(0.0, 0.9, len(shown.steps)))
    panels = [(panel.days, labelled_rows(panel)) for panel in shown.panels]
    heights = [len(rows) for _, rows in panels]
    lines = legend(shown)
    figure = Figure(
        figsize=(9, 1.6 + 0.22 * sum(heights) + 0.55 * len(panels) + 0.2 * len(lines)), layout="constrained"
    )
    charts = figure.subplots(len(panels), 1, sharex=True, squeeze=False, height_ratios=heights)[:, 0]
    hours = 24 / len(shown.panels[0].rows[0].code)
    for axes, (days, rows) in zip(charts, panels, strict=True):
        for number, (_, code) in enumerate(rows):
            edges = np.flatnonzero(np.r_[True, code[1:] != code[:-1], True])
            for start, end in pairwise(edges.tolist()):
                if (step := int(code[start])) < 0:
                    continue
                red, green, blue = shades[step][:3]
                width = (end - start) * hours
                axes.barh(number, width, left=start * hours, height=1.0, color=to_hex(shades[step]), linewidth=0)
                if width >= 0.5:
                    ink = "black" if 0.299 * red + 0.587 * green + 0.114 * blue > 0.5 else "white"
                    middle = (start + end) / 2 * hours
                    axes.text(
                        middle, number, shown.steps[step].mark, color=ink, size=7, ha="center", va="center", zorder=4
                    )
        axes.set_title(days, loc="left", size=9)
        axes.set_yticks(range(len(rows)), [label for label, _ in rows], size=7)
        axes.set_ylim(len(rows) - 0.5, -0.5)
        axes.set_xlim(0, 24)
        axes.set_xticks(range(0, 25, 3), [f"{hour:02d}:00" for hour in range(0, 25, 3)], size=7)
        axes.grid(axis="x", color="white", linewidth=0.4)
        axes.tick_params(length=2)
    figure.suptitle(
        f"{_drawn(shown.name)}, {shown.year}\n{shown.currency} per kWh, all included; clock of {shown.timezone}",
        size=10,
    )
    by_mark = {step.mark: shade for step, shade in zip(shown.steps, shades, strict=True)}
    figure.legend(
        [Patch(color=to_hex(by_mark[step.mark])) for step, *_ in lines],
        [_drawn(f"{step.mark}  {price}  {periods}".rstrip()) for step, price, periods in lines],
        loc="outside lower left",
        fontsize=7,
        ncols=2 if len(lines) > 6 else 1,
        title="\n".join(wrapped(" ".join(notes(shown)))),
        title_fontsize=6,
        alignment="left",
        frameon=False,
    )
    return figure


def _drawn(text: str) -> str:
    """Keep a name from being read as a formula."""
    return text.replace("$", r"\$")


def save_figure(draw: Callable[[], Figure], path: Path) -> None:
    """Write a picture as the suffix of its file says; the file is there whole or not at all.

    Parameters
    ----------
    draw : callable
        Makes the figure, such as a call of one of the functions above.
    path : pathlib.Path
        File ending in ``.png`` or ``.svg``.

    Raises
    ------
    InputError
        If the suffix is another, or the file cannot be written.

    Examples
    --------
    >>> save_figure(lambda: None, Path("rates.gif"))
    Traceback (most recent call last):
    chargeplan.errors.InputError: `rates.gif` is no picture that can be drawn; end its name in .png or .svg
    """
    suffix = path.suffix.lower()
    if suffix not in FORMATS:
        raise InputError(f"`{path.name}` is no picture that can be drawn; end its name in {' or '.join(FORMATS)}")
    figure = draw()
    import matplotlib as mpl

    content = io.BytesIO()
    with mpl.rc_context({"svg.hashsalt": "chargeplan", "svg.fonttype": "none"}):
        figure.savefig(content, format=suffix.removeprefix("."), dpi=150, **FORMATS[suffix])
    write_whole(path, content.getvalue())
