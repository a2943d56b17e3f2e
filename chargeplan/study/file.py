"""A study file: what is compared, and what is asked of it."""

from __future__ import annotations

import os
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from functools import partial
from pathlib import Path
from typing import Any

from chargeplan.charging import Circuit
from chargeplan.clock import FIRST_YEAR, LAST_YEAR
from chargeplan.errors import FileError, Mistake
from chargeplan.household.circuit_part import circuit_of
from chargeplan.reading import KeyPath, read_document
from chargeplan.study.answers import Question
from chargeplan.study.driving import Driving
from chargeplan.study.driving_part import driving_of
from chargeplan.study.equipment import Equipment
from chargeplan.study.equipment_part import equipment_of
from chargeplan.study.fitting import check_currencies, check_dates, check_driving, check_equipment, check_house_uses
from chargeplan.study.house_load import HouseLoad
from chargeplan.study.house_part import house_of
from chargeplan.study.logged_driving import LoggedDriving
from chargeplan.study.model import NONE, DrivingPart, HouseholdPart, StudySheet
from chargeplan.study.named_files import Homes, Rates, listed, named_household, named_tariff
from chargeplan.study.panel_room import Basis, Room, room_on
from chargeplan.study.question_part import question_of, road_of
from chargeplan.study.study import A_YEAR, MAX_DAYS, Study
from chargeplan.study.wording import StudyAttempts
from chargeplan.validating import check_document


@dataclass(frozen=True)
class Service:
    """A panel, to see what it has room for.

    Parameters
    ----------
    circuit : Circuit
        Its main breaker.
    other_a : tuple of float
        Highest load without the car: one value, or one for each leg or phase.
    basis : {"measured", "calculated"}
        Where that comes from.
    """

    circuit: Circuit
    other_a: tuple[float, ...]
    basis: Basis

    def room(self, options: Sequence[Equipment] = ()) -> Room:
        """Find what there is room for; see `chargeplan.study.panel_room.room_on`."""
        return room_on(self.circuit, self.other_a, options, basis=self.basis)


@dataclass(frozen=True, eq=False)
class StudyFile:
    """What a study file says.

    Parameters
    ----------
    study : Study
        What is compared.
    question : Question
        What is asked of it: what is in use today, money, prices elsewhere, gasoline.
    panel : Service, optional
        The panel.
    warnings : tuple of Mistake
        What can be reckoned, but may not be meant.

    Examples
    --------
    >>> list(load_study("demo").study.tariffs)
    ['flat', 'two-period', 'summer-peak']
    """

    study: Study
    question: Question
    panel: Service | None = None
    warnings: tuple[Mistake, ...] = ()


def study_folder() -> Path:
    """Find the folder of the example studies that come with the package."""
    return Path(__file__).parent / "examples"


def study_examples() -> tuple[str, ...]:
    """List the names of the example studies.

    Examples
    --------
    >>> study_examples()
    ('demo', 'outlet', 'work-stop')
    """
    return tuple(sorted(path.stem for path in study_folder().glob("*.yaml")))


def load_study(path: str | os.PathLike[str]) -> StudyFile:
    """Load a study file.

    Parameters
    ----------
    path : path or str
        A YAML file, or the name of an example, see `study_examples`.

    Returns
    -------
    StudyFile

    Raises
    ------
    FileError
        With every mistake of it and of the files it names.

    Examples
    --------
    >>> load_study("outlet").study.cells
    12
    """
    name = os.fspath(path)
    if name in study_examples() and not os.path.exists(name):
        name = str(study_folder() / f"{name}.yaml")
    return read_study(None, name)


def read_study(text: str | bytes | None, name: str = "study.yaml") -> StudyFile:
    """Read a study from text.

    Parameters
    ----------
    text : str or bytes
        The YAML; None reads the file ``name``.
    name : str
        What to call the file in messages; files it names are looked for beside it.

    Returns
    -------
    StudyFile

    Raises
    ------
    FileError
        With every mistake.

    Examples
    --------
    >>> found = read_study("{name: Rates, from: 2026-01-01, households: demo, tariffs: [flat, two-period]}")
    >>> found.study.days, found.question.tariff
    (365, 'flat')
    """
    document = read_document(name, text=text)
    reading = check_document(document, StudySheet)
    if reading.model is None:
        raise FileError(reading.mistakes)
    builder = _Builder(reading.document, reading.broken, list(reading.mistakes))
    study_file = builder.study_file(reading.model)
    if study_file is None:
        raise FileError(builder.mistakes)
    return study_file


class _Builder(StudyAttempts):
    """Turns the checked model into the objects that do the work, collecting mistakes."""

    def study_file(self, sheet: StudySheet) -> StudyFile | None:
        span = self.span(sheet)
        homes, house, alike = self.households(sheet, span)
        rates = self.tariffs(sheet)
        equipment = equipment_of(self, sheet.equipment)
        driving = self.driving(sheet, homes, span)
        check_currencies(self, rates, homes)
        check_equipment(self, equipment, homes)
        check_house_uses(self, rates, [name for name in homes if name not in house])
        if span is not None:
            check_dates(self, rates, homes, *span)
            check_driving(self, driving, homes, *span)
        panel = self.panel(sheet)
        road = road_of(self, sheet.road, homes)
        question = question_of(self, sheet, rates, homes)
        if self.mistakes or span is None or question is None:
            return None
        first, days = span
        study = self.attempt(
            (),
            lambda: Study(
                name=sheet.name,
                households={name: home for name, (_, home) in homes.items()},
                tariffs={name: tariff for name, (_, tariff) in rates.items()},
                first=first,
                days=days,
                equipment=equipment,
                driving=driving,
                house=house,
                road=road,
                aim=sheet.aim,
                seed=sheet.seed,
                draws=sheet.drawn_years,
                alike=alike,
            ),
        )
        return None if study is None else StudyFile(study, question, panel, tuple(sorted(self.warnings)))

    def span(self, sheet: StudySheet) -> tuple[date, int] | None:
        """Find the first day and the number of days."""
        if {("from",), ("to",)} & self.broken:
            return None
        first, last = sheet.from_, sheet.to or _year_from(sheet.from_)
        for key, day in (("from", first), ("to", last)):
            if not FIRST_YEAR < day.year < LAST_YEAR:
                self.complain((key,), f"{key}: {day} is too far away", "write for example 2026-01-01")
                return None
        days = (last - first).days + 1
        if days < 1:
            self.complain(("to",), f"the study ends on {last}, before it begins on {first}", "swap the two dates")
            return None
        if days > MAX_DAYS:
            self.complain(("to",), f"{days} days are too long for a study", f"give {MAX_DAYS} at most, a year for most")
            return None
        if days not in A_YEAR:
            what = f"the study has {days} days, so what it calls a year is not one"
            self.warn(("to",), what, "leave `to` out for a year")
        return first, days

    def households(
        self, sheet: StudySheet, span: tuple[date, int] | None
    ) -> tuple[Homes, dict[str, HouseLoad], dict[str, str]]:
        """Load the households, what their houses use, and which drive alike since they are of one file."""
        homes: Homes = {}
        house: dict[str, HouseLoad] = {}
        alike: dict[str, str] = {}
        first_of: dict[str, str] = {}
        for name, path, given in self.named("households", sheet.households):
            part = given if isinstance(given, HouseholdPart) else None
            file_path, file = (path, str(given)) if part is None else ((*path, "household"), part.household)
            if file_path in self.broken:
                continue
            home = self.attempt(file_path, partial(named_household, self.folder, file))
            if home is None:
                continue
            if part is not None and part.stops == NONE:
                home = replace(home, stops=())
            homes[name] = path, home
            if first_of.setdefault(file, name) != name:
                alike[name] = first_of[file]
            own = part is not None and part.house is not None
            use = part.house if part is not None and own else sheet.house
            load = house_of(self, (*path, "house") if own else ("house",), use, home, span)
            if load is not None:
                house[name] = load
        return homes, house, alike

    def tariffs(self, sheet: StudySheet) -> Rates:
        """Load the rate sheets."""
        rates: Rates = {}
        for name, path, given in self.named("tariffs", sheet.tariffs):
            tariff = self.attempt(path, partial(named_tariff, self.folder, str(given)))
            if tariff is not None:
                rates[name] = path, tariff
        return rates

    def named(self, key: str, given: Any) -> list[tuple[str, KeyPath, object]]:
        """List what stands under a key, each under a name of its own."""
        if (key,) in self.broken:
            return []
        found: dict[str, tuple[str, KeyPath, object]] = {}
        for name, path, value in listed(key, given):
            if name in found:
                what = f"two {key} are called `{name}`"
                self.complain(path, what, f"give them names: `{key}: {{one name: {value}, another name: ...}}`")
            else:
                found[name] = (name, path, value)
        if not found:
            self.complain((key,), f"there are no {key} to compare", "name at least one")
        return list(found.values())

    def driving(
        self, sheet: StudySheet, homes: Homes, span: tuple[date, int] | None
    ) -> dict[str, Driving | LoggedDriving]:
        """Read the ways of driving."""
        timezones = {home.timezone for _, home in homes.values()}
        found = {}
        for name, part in sheet.driving.items():
            way = driving_of(self, ("driving", name), part or DrivingPart(), timezones, span)
            if way is not None:
                found[name] = way
        return found

    def panel(self, sheet: StudySheet) -> Service | None:
        """Read the panel."""
        part = sheet.panel
        if part is None:
            return None
        circuit = self.attempt(("panel",), lambda: circuit_of(part))
        if circuit is None:
            return None
        other_a = tuple(part.other_load) if isinstance(part.other_load, list) else (part.other_load,)
        panel = Service(circuit, other_a, part.basis)
        return panel if self.attempt(("panel", "other_load"), panel.room) is not None else None


def _year_from(first: date) -> date:
    try:
        return first.replace(year=first.year + 1) - timedelta(days=1)
    except ValueError:  # from the 29th of February, or in the last year there is
        return first + timedelta(days=365)
