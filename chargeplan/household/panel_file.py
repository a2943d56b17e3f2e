"""The file of a panel that feeds several cars: its circuits, what else runs on it, and whose cars they are."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, TypeAlias

from pydantic import Discriminator, Field, Tag

from chargeplan.charging import Circuit
from chargeplan.charging.panel import Node, PowerTree
from chargeplan.errors import FileError, InputError, ItemsError
from chargeplan.household.household import Household, examples, load_household
from chargeplan.household.model import Amperes, Part, Share, Time, Zone, form_of, schema_of
from chargeplan.household.wording import in_file_words
from chargeplan.reading import KeyPath, read_document
from chargeplan.validating import check_document

_DAY_MIN = 1440
_Complain: TypeAlias = Callable[[KeyPath, str, str], None]

AmperesByTime = Annotated[
    Annotated[Amperes, Tag("one")] | Annotated[dict[Time, Amperes], Tag("table")], Discriminator(form_of)
]


class NodePart(Part):
    """A breaker in the tree."""

    breaker: Amperes = Field(description="Its rating", examples=["100 A"])
    fed_by: str | None = Field(None, description="The circuit above it; none at the top")
    continuous_factor: Share = Field(0.8, description="Share of the rating that may flow for hours")


class CarPart(Part):
    """A car on the panel."""

    household: str = Field(description="Its household file beside this one, or an example", examples=["demo"])
    fed_by: str = Field(description="The circuit that feeds its EVSE", examples=["garage"])
    name: str | None = Field(None, description="What to call it; the name in its file if not stated", max_length=40)
    phases: list[int] | None = Field(None, description="Which phases it loads, counted from 1")


class PanelSheet(Part):
    """The file of a panel."""

    name: str = Field(description="What it is called", examples=["Two cars in one garage"], min_length=1)
    timezone: Zone = Field(description="Time zone of its clock", examples=["America/Denver"])
    phases: int = Field(1, description="Number of phases of the supply", ge=1, le=3)
    circuits: dict[str, NodePart] = Field(
        description="Every breaker with a limit of its own", examples=[{"panel": {"breaker": "100 A"}}], min_length=1
    )
    other_load: dict[str, AmperesByTime] = Field(
        {}, description="What else runs on a circuit, on each phase; one value, or values from a time of day on"
    )
    margin: Share = Field(0.2, description="What is added to the other load for what it may be more")
    step: Amperes = Field(0.0, description="Currents are whole multiples of this; any without it", examples=["1 A"])
    cars: list[CarPart] = Field(
        description="The cars", examples=[[{"household": "demo", "fed_by": "panel"}]], min_length=1
    )


@dataclass(frozen=True, eq=False)
class PanelCar:
    """A car, and where it is connected.

    Parameters
    ----------
    name : str
        What to call it.
    household : Household
        Its battery, habits, rate and circuit.
    node : str
        The circuit that feeds its EVSE.
    phases : tuple of int
        Which phases it loads.
    """

    name: str
    household: Household
    node: str
    phases: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Panel:
    """A panel that feeds several cars.

    Parameters
    ----------
    name, timezone : str
        What it is called; its clock.
    tree : PowerTree
        Its circuits, with the continuous-load rule in their limits.
    other_a : mapping of node to tuple of float
        What else runs there, in amperes for each minute of the day.
    margin : float
        Share added to that.
    step_a : float
        Currents are multiples of this; 0 for any.
    cars : tuple of PanelCar
        The cars.
    """

    name: str
    timezone: str
    tree: PowerTree
    other_a: dict[str, tuple[float, ...]]
    margin: float
    step_a: float
    cars: tuple[PanelCar, ...]


def load_panel(path: str | os.PathLike[str]) -> Panel:
    """Read the file of a panel.

    Parameters
    ----------
    path : path
        A YAML file.

    Returns
    -------
    Panel

    Raises
    ------
    FileError
        With every mistake of it, and of the household files it names.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> text = '''
    ... name: Two cars
    ... timezone: America/Denver
    ... circuits: {panel: {breaker: 100 A}, garage: {breaker: 60 A, fed_by: panel}}
    ... other_load: {panel: {"00:00": 5 A, "17:00": 20 A}}
    ... cars: [{household: demo, fed_by: garage}, {household: plain-outlet, fed_by: panel}]
    ... '''
    >>> with TemporaryDirectory() as folder:
    ...     _ = Path(folder, "panel.yaml").write_text(text, encoding="utf-8")
    ...     panel = load_panel(Path(folder, "panel.yaml"))
    >>> panel.tree.limit_a[:, 0].tolist(), panel.other_a["panel"][17 * 60], [car.node for car in panel.cars]
    ([80.0, 48.0], 20.0, ['garage', 'panel'])
    """
    document = read_document(path)
    reading = check_document(document, PanelSheet)
    if reading.model is None:
        raise FileError(reading.mistakes)
    sheet: PanelSheet = reading.model
    mistakes = list(reading.mistakes)

    def complain(key: KeyPath, what: str, remedy: str) -> None:
        mistakes.append(reading.document.mistake(key, what, remedy))

    tree = _tree(sheet, complain)
    other = {}
    for node, given in sheet.other_load.items():
        if node not in sheet.circuits:
            complain(("other_load", node), f"there is no circuit `{node}`", f"name one of {', '.join(sheet.circuits)}")
        other[node] = _profile(given)
        if isinstance(given, dict) and 0 not in given:
            complain(("other_load", node), "what runs at midnight is not said", "begin with `00:00: 5 A`")
    cars: list[PanelCar] = []
    for number, part in enumerate(sheet.cars):
        try:
            car = _car(Path(path).parent, part, sheet, ("cars", number), complain)
        except FileError as error:  # of the household file
            mistakes += error.mistakes
        else:
            cars += [car] if car is not None else []
    names = [car.name for car in cars]
    for number, name in enumerate(names):
        if name in names[:number]:
            complain(("cars", number), f"two cars are called {name}", "give one of them another `name`")
    if mistakes or tree is None:
        raise FileError(mistakes)
    return Panel(sheet.name, sheet.timezone, tree, other, sheet.margin, sheet.step, tuple(cars))


def _tree(sheet: PanelSheet, complain: _Complain) -> PowerTree | None:
    nodes = []
    for name, part in sheet.circuits.items():
        try:
            # The limit of a node is in amperes, whatever the voltage.
            circuit = Circuit(part.breaker, volts=240, continuous_factor=part.continuous_factor)
            nodes.append(Node.of(name, circuit, part.fed_by))
        except InputError as error:
            key, what, remedy = in_file_words(str(error))
            complain(("circuits", name, key) if key else ("circuits", name), what, remedy)
    fed = True
    for name, part in sheet.circuits.items():
        if part.fed_by is not None and part.fed_by not in sheet.circuits:
            others = ", ".join(other for other in sheet.circuits if other != name)
            remedy = f"name one of {others}, or leave `fed_by` out at the top" if others else "leave `fed_by` out"
            complain(("circuits", name, "fed_by"), f"there is no circuit `{part.fed_by}`", remedy)
            fed = False
    try:
        return PowerTree(nodes, sheet.phases) if fed and len(nodes) == len(sheet.circuits) else None
    except ItemsError as error:
        for number, found in error.items:
            what, _, remedy = str(found).partition("; ")
            complain(("circuits", nodes[number].name), what, remedy)
    return None


def _car(folder: Path, part: CarPart, sheet: PanelSheet, key: KeyPath, complain: _Complain) -> PanelCar | None:
    if part.fed_by not in sheet.circuits:
        known = ", ".join(sheet.circuits)
        complain((*key, "fed_by"), f"there is no circuit `{part.fed_by}`", f"name one of {known}")
    beside = folder / part.household
    if not beside.is_file() and part.household not in examples():
        shipped = ", ".join(examples())
        complain((*key, "household"), f"there is no household `{part.household[:80]}`", f"name a file, or {shipped}")
        return None
    home = load_household(beside if beside.is_file() else part.household)
    used = home.limit.phases
    phases = tuple(part.phases) if part.phases else tuple(range(1, used + 1))
    if wrong := _wrong_phases(phases, used, sheet.phases):
        complain((*key, "phases") if part.phases else key, *wrong)
    return PanelCar(part.name or home.vehicle_name, home, part.fed_by, phases)


def _wrong_phases(phases: tuple[int, ...], used: int, supply: int) -> tuple[str, str] | None:
    """Say what is wrong with the phases a car is said to load, and what would be right."""
    several = f"{used} phase{'s' if used > 1 else ''}"
    if used > supply:
        return f"the car loads {several}, but the supply of the panel has {supply}", f"write `phases: {used}` above"
    own = list(range(1, used + 1)) if used > 1 else [min(2, supply)]
    remedy = f"name {several} of {supply}, as in `phases: {own}`"
    unknown = [phase for phase in phases if not 1 <= phase <= supply]
    if unknown:
        return f"there is no phase {unknown[0]}: the supply has {supply}, counted from 1", remedy
    if len(set(phases)) < len(phases):
        return "a phase is named twice", remedy
    if len(phases) != used:
        return f"{len(phases)} phase{'s are' if len(phases) > 1 else ' is'} named, but the car loads {used}", remedy
    return None


def _profile(given: float | dict[int, float]) -> tuple[float, ...]:
    """Give the amperes of every minute of a day."""
    if not isinstance(given, dict):
        return (given,) * _DAY_MIN
    times = sorted(given)
    values = []
    for begin, end in zip([0, *times], [*times, _DAY_MIN], strict=True):
        values += [given.get(begin, given[times[-1]])] * (end - begin)
    return tuple(values)


def panel_schema() -> dict[str, Any]:
    """Make the JSON Schema of the file of a panel, for editors.

    Returns
    -------
    dict
        JSON Schema, draft 2020-12.

    Examples
    --------
    >>> "cars" in panel_schema()["required"]
    True
    """
    return schema_of(PanelSheet)
