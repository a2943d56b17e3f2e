"""Pictures of a study for its report, as SVG elements; needs the extra `plot`."""

from __future__ import annotations

import io
import warnings
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from chargeplan.errors import InputError
from chargeplan.output.study_counts import RateCount
from chargeplan.output.study_report import Life, StudyReport, paid_over_time
from chargeplan.output.text_table import cut_columns
from chargeplan.study.study import A_YEAR
from chargeplan.study.weigh import EquipmentAnswer

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: Colours that stay apart for readers with any colour vision, and in grey (Okabe and Ito, 2008; from memory).
_HOUSE, _CAR, _TOO_LITTLE, _INK = "#999999", "#0072B2", "#D55E00", "#333333"
_LINES: Final = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#E69F00", "#56B4E9", "#333333", "#999999")
_DASHES: Final = ("-", "--", "-.", ":")
#: Of more than these a picture shows the first; the table has them all.
_MOST_BARS, _MOST_LINES = 15, 8
_NAME: Final = 24
_WIDTH_IN: Final = 5.2
_SVG: Final = "{http://www.w3.org/2000/svg}"
_XLINK: Final = "{http://www.w3.org/1999/xlink}"
#: Keeps names from being read as formulas, texts as texts, and two runs alike byte for byte.
_SETTINGS: Final[dict[Any, Any]] = {
    "svg.hashsalt": "chargeplan",
    "svg.fonttype": "none",
    "text.parse_math": False,
    "font.size": 10,
}


@dataclass(frozen=True, eq=False)
class Drawing:
    """A picture and what stands below it.

    Parameters
    ----------
    caption : str
        What it shows.
    svg : xml.etree.ElementTree.Element
        The picture.
    """

    caption: str
    svg: ET.Element


def life_pictures(report: StudyReport, life: Life, prefix: str) -> dict[str, Drawing]:
    """Draw what a study found for one household and way of driving.

    Parameters
    ----------
    report : StudyReport
        What was found.
    life : Life
        For whom.
    prefix : str
        Begins the ids inside the pictures, which must differ within a document.

    Returns
    -------
    dict of str to Drawing
        ``rates``, the cost by rate; ``ways``, the cost by way of driving; ``equipment``, what it costs over the
        years, if there is something to choose; ``home``, how often and how far the car was short.

    Raises
    ------
    InputError
        If matplotlib is not installed.
    """
    study, question, currency = report.asked.study, report.asked.question, report.currency
    span = "in a year" if study.days in A_YEAR else f"in {study.days} days"
    whose = "of house and car " if study.house else ""
    spread = "; lines show how far the drawn years spread" if study.draws_of(life.driving) > 1 else ""
    rates = [(line.tariff, line.house_bill, line.car_cost) for line in life.rates]
    pictures: dict[str, tuple[str, Callable[[], Figure]]] = {
        "rates": (f"Cost {whose}{span}, by rate", lambda: _rates(rates, question.tariff, currency)),
        "ways": (
            f"Cost of the car {span}, by way of charging and driving, under {question.tariff}{spread}",
            lambda: _ways(life, currency),
        ),
        "home": (f"How often and how far the car was short, under {question.tariff}, planned", lambda: _home(life)),
    }
    if life.equipment:
        last = life.equipment[-1]
        caption = (
            f"Outlay, replacements, upkeep and charging added up over the years under {last.tariff}, not discounted; a "
            "dot shows when equipment has paid back for good what it costs more than that of today"
        )
        pictures["equipment"] = (caption, lambda: _equipment(report, last))
    return {name: Drawing(caption, _drawn(draw, f"{prefix}-{name}-")) for name, (caption, draw) in pictures.items()}


def counted_picture(report: StudyReport, counts: Sequence[RateCount], prefix: str) -> Drawing:
    """Draw how many find each rate the cheapest; parameters as for `life_pictures`."""
    caption = f"For how many of {len(report.lives):,} households and ways of driving a rate is the cheapest"
    return Drawing(caption, _drawn(lambda: _counts(counts), f"{prefix}-"))


def _rates(rates: Sequence[tuple[str, float, float]], today: str, currency: str) -> Figure:
    shown = rates[:_MOST_BARS]
    figure, axes = _bars([f"{_cut(name)}{' (today)' if name == today else ''}" for name, _, _ in shown])
    places = range(len(shown))
    house = [bill for _, bill, _ in shown]
    axes.barh(places, house, color=_HOUSE, label="house")
    axes.barh(places, [cost for _, _, cost in shown], left=house, color=_CAR, label="car")
    for place, (_, bill, cost) in enumerate(shown):
        _note(axes, f"{bill + cost:.0f}", max(bill + cost, bill, 0.0), place)
    axes.set_xlabel(currency)
    axes.margins(x=0.12)
    figure.legend(loc="outside upper right", ncols=2, frameon=False)
    return figure


def _ways(life: Life, currency: str) -> Figure:
    shown = life.ways[:_MOST_BARS]
    figure, axes = _bars([_cut(line.way) for line in shown])
    costs = [line.cost for line in shown]
    reach = [[line.cost - line.lowest for line in shown], [line.highest - line.cost for line in shown]]
    axes.barh(range(len(shown)), costs, color=_CAR, xerr=reach, error_kw={"ecolor": _INK, "capsize": 3, "lw": 1})
    for place, line in enumerate(shown):
        _note(axes, f"{line.cost:.0f}", max(line.highest, 0.0), place)
    axes.set_xlabel(currency)
    axes.margins(x=0.12)
    return figure


def _equipment(report: StudyReport, one: EquipmentAnswer) -> Figure:
    terms = report.asked.question.terms
    figure, axes = _axes(3.4)
    today = next(choice for choice in one.choices if choice.name == one.today)
    shown = list(one.choices[:_MOST_LINES])
    if today not in shown:
        shown[-1] = today
    for number, choice in enumerate(shown):
        times, paid = paid_over_time(choice, terms)
        color = _LINES[number % len(_LINES)]
        mark = " (today)" if choice is today else ""
        dashes = _DASHES[number % len(_DASHES)]
        axes.plot(times, paid, color=color, linestyle=dashes, label=f"{_cut(choice.name)}{mark}")
        years = choice.payback_years
        if choice is not today and 0 < years <= terms.years:
            axes.plot([years], [np.interp(years, times, paid)], "o", color=color, markersize=6)
    axes.set_xlim(0, terms.years)
    axes.set_xlabel("years")
    axes.set_ylabel(report.currency)
    figure.legend(loc="outside lower left", ncols=2 if len(shown) > 2 else 1, frameon=False)
    return figure


def _home(life: Life) -> Figure:
    from matplotlib.figure import Figure

    shown = life.home[:_MOST_BARS]
    places = range(len(shown))
    figure = Figure(figsize=(_WIDTH_IN, _height(len(shown)) + 0.2), layout="constrained")
    left, right = figure.subplots(1, 2, sharey=True)
    left.set_yticks(places, [_cut(line.equipment) for line in shown])
    left.invert_yaxis()
    shares = [100 * (1 - line.share_met) for line in shown]
    left.barh(places, shares, color=_TOO_LITTLE)
    right.barh(places, [100 * line.lowest_soc for line in shown], color=_CAR)
    for axes, values in ((left, shares), (right, [100 * line.lowest_soc for line in shown])):
        for place, value in enumerate(values):
            _note(axes, f"{value:.3g}", value, place)
        axes.set_xlim(0, max(1.0, 1.25 * max(values)))
        _plain(axes)
    left.set_xlabel("departures short (%)")
    right.set_xlabel("lowest charge (%)")
    return figure


def _counts(counts: Sequence[RateCount]) -> Figure:
    shown = counts[:_MOST_BARS]
    figure, axes = _bars([_cut(line.tariff) for line in shown])
    axes.barh(range(len(shown)), [line.cheapest for line in shown], color=_CAR)
    for place, line in enumerate(shown):
        _note(axes, f"{line.cheapest:,}", line.cheapest, place)
    axes.set_xlabel("households and ways of driving")
    axes.margins(x=0.12)
    return figure


def _bars(names: Sequence[str]) -> tuple[Figure, Axes]:
    figure, axes = _axes(_height(len(names)))
    axes.set_yticks(range(len(names)), names)
    axes.invert_yaxis()
    return figure, axes


def _axes(height_in: float) -> tuple[Figure, Axes]:
    from matplotlib.figure import Figure

    figure = Figure(figsize=(_WIDTH_IN, height_in), layout="constrained")
    axes = figure.subplots()
    _plain(axes)
    return figure, axes


def _note(axes: Axes, text: str, end: float, place: int) -> None:
    """Write a value beside the end of its bar."""
    axes.annotate(text, (end, place), xytext=(4, 0), textcoords="offset points", va="center", color=_INK)


def _plain(axes: Axes) -> None:
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(length=2)


def _height(bars: int) -> float:
    return 0.9 + 0.3 * bars


def _cut(name: str) -> str:
    return cut_columns(name, _NAME)


def _drawn(draw: Callable[[], Figure], prefix: str) -> ET.Element:
    """Draw, and turn the SVG into an element that fits into a page beside others."""
    try:
        import matplotlib as mpl
    except ImportError:
        raise InputError("drawing needs matplotlib; install chargeplan with its extra: pip install '.[plot]'") from None
    content = io.BytesIO()
    with mpl.rc_context(_SETTINGS), warnings.catch_warnings():
        # The browser finds a font for signs that the one used for measuring lacks.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        draw().savefig(content, format="svg")
    svg = ET.fromstring(content.getvalue())
    # The date of making, and what a style would say to the whole page.
    for parent in list(svg.iter()):
        for child in list(parent):
            if child.tag in (f"{_SVG}metadata", f"{_SVG}style"):
                parent.remove(child)
    for element in svg.iter():
        element.tag = element.tag.removeprefix(_SVG)
        element.attrib = dict(_renamed(element, prefix))
    svg.attrib |= {"style": "stroke-linejoin: round; stroke-linecap: butt", "role": "img"}
    for key in ("width", "height", "version"):
        svg.attrib.pop(key, None)
    return svg


def _renamed(element: ET.Element, prefix: str) -> Iterator[tuple[str, str]]:
    """Give ids a prefix, wherever they are made or meant."""
    for given, value in element.attrib.items():
        key = given.replace(_XLINK, "")
        if key == "id":
            yield key, prefix + value
        elif key == "href" and value.startswith("#"):
            yield key, f"#{prefix}{value[1:]}"
        else:
            yield key, value.replace("url(#", f"url(#{prefix}")


def has_pictures() -> bool:
    """Tell whether pictures can be drawn."""
    from importlib.util import find_spec

    return find_spec("matplotlib") is not None
