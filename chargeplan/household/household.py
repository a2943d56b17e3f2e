"""A household: its rate, its circuit, its car and its habits, read from one file."""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import date
from functools import partial
from pathlib import Path

from chargeplan.charging import (
    ChargingLoss,
    Circuit,
    Consumption,
    Evse,
    Level,
    Limit,
    Taper,
    Vehicle,
    dc_limit,
    weakest_link,
)
from chargeplan.errors import FileError
from chargeplan.household.attempts import Attempts
from chargeplan.household.by_day import ByDay
from chargeplan.household.charger import HomeCharger
from chargeplan.household.charging_part import charger_of, contradictions, derating_of, rules_of
from chargeplan.household.circuit_part import circuit_of, evse_for, evse_of
from chargeplan.household.early import Early
from chargeplan.household.habits import NO_DEPARTURE, Habits
from chargeplan.household.house_use import HouseUse
from chargeplan.household.model import (
    ChargingPart,
    HabitsPart,
    HouseholdSheet,
    PreconditioningPart,
    StopPart,
    VehiclePart,
)
from chargeplan.household.preconditioning import UsualPreconditioning
from chargeplan.household.state_of_charge import StateOfChargeFile
from chargeplan.reading import KeyPath, read_document
from chargeplan.tariff import Tariff, load_tariff, shipped_sheets
from chargeplan.tariff.windows import DaySet
from chargeplan.units import clock_text, quantity
from chargeplan.validating import check_document

_DAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_WEEK_MIN = 7 * 1440


@dataclass(frozen=True, eq=False)
class Stop:
    """Another place where the car is plugged in.

    Parameters
    ----------
    place : str
        What it is called.
    days : DaySet
        On which days.
    start_min, end_min : int
        Minutes after midnight.
    limit : Limit
        What it delivers to the car.
    price : float or Tariff
        Per kWh.
    """

    place: str
    days: DaySet
    start_min: int
    end_min: int
    limit: Limit
    price: float | Tariff


@dataclass(frozen=True, eq=False, repr=False)
class Household:
    """A household, ready to plan for.

    Make one with `load_household`.

    Parameters
    ----------
    name, timezone : str
        What it is called, and whose wall clock it lives by.
    tariff : Tariff
        Its rate.
    vehicle : Vehicle
        Its car.
    vehicle_name : str
        What the car is called.
    circuit, evse : Circuit, Evse
        The links at home.
    limit : Limit
        What they deliver to the car.
    habits : Habits
        When the car is home, and how far it goes.
    stops : tuple of Stop
        Other places where it is plugged in.
    soc_file : StateOfChargeFile, optional
        Where to read the state of charge.
    house_use : HouseUse, optional
        What the rest of the house uses.
    charger : HomeCharger, optional
        How the charger at home may be used, if the file says something of it.
    prefer : str
        Among equally cheap plans: ``as needed``, ``earliest``, ``latest`` or ``fewest starts``.
    distance_unit : str
        ``mi`` or ``km``, as the file writes distances.

    Examples
    --------
    >>> load_household("demo").limit.because
    'limited by the EVSE: 32 A'
    """

    name: str
    timezone: str
    tariff: Tariff
    vehicle: Vehicle
    vehicle_name: str
    circuit: Circuit
    evse: Evse
    limit: Limit
    habits: Habits
    stops: tuple[Stop, ...] = ()
    soc_file: StateOfChargeFile | None = None
    house_use: HouseUse | None = None
    charger: HomeCharger | None = None
    prefer: str = "as needed"
    distance_unit: str = "km"

    def __repr__(self) -> str:
        return f"Household({self.name!r}, {self.vehicle_name!r}, {self.tariff!r})"

    def is_holiday(self, day: date) -> bool:
        """Tell whether a date is a holiday of the rate sheet."""
        return self.tariff.is_holiday(day)


def example_folder() -> Path:
    """Find the folder of the example households that come with the package."""
    return Path(__file__).parent / "examples"


def examples() -> tuple[str, ...]:
    """List the names of the example households.

    Examples
    --------
    >>> examples()
    ('demo', 'plain-outlet', 'three-phase')
    """
    return tuple(sorted(path.stem for path in example_folder().glob("*.yaml")))


def load_household(path: str | os.PathLike[str]) -> Household:
    """Load a household file.

    Parameters
    ----------
    path : path or str
        A YAML file, or the name of an example: ``demo``, ``three-phase``, ``plain-outlet``.

    Returns
    -------
    Household
        Ready to plan for.

    Raises
    ------
    FileError
        With every mistake of the file and of the rate sheets it names.

    Examples
    --------
    >>> load_household("plain-outlet").limit.current_a
    12.0
    """
    name = os.fspath(path)
    if name in examples() and not os.path.exists(name):
        name = str(example_folder() / f"{name}.yaml")
    return read_household(None, name)


def read_household(text: str | bytes | None, name: str = "household.yaml") -> Household:
    """Read a household from text.

    Parameters
    ----------
    text : str or bytes
        The YAML; None reads the file ``name``.
    name : str
        What to call the file in messages; files it names are looked for beside it.

    Returns
    -------
    Household
        Ready to plan for.

    Raises
    ------
    FileError
        With every mistake.
    """
    document = read_document(name, text=text)
    reading = check_document(document, HouseholdSheet)
    if reading.model is None:
        raise FileError(reading.mistakes)
    builder = _Builder(reading.document, reading.broken, list(reading.mistakes))
    household = builder.household(reading.model)
    if household is None:
        raise FileError(builder.mistakes)
    return household


class _Builder(Attempts):
    """Turns the checked model into the objects that do the work, collecting mistakes."""

    def household(self, sheet: HouseholdSheet) -> Household | None:
        tariff = self.tariff(("tariff",), sheet.tariff)
        circuit = self.attempt(("circuit",), lambda: circuit_of(sheet.circuit))
        evse = self.attempt(("evse",), lambda: evse_of(sheet.evse))
        vehicle = self.vehicle(sheet.vehicle, sheet.habits.target)
        habits = self.habits(sheet.habits)
        limit = None
        if circuit and evse and vehicle:
            limit = self.attempt(("circuit",), lambda: weakest_link(circuit, evse, vehicle))
        charger = None
        if tariff and circuit and evse and vehicle and sheet.charging is not None:
            charger = self.charger(sheet, sheet.charging, tariff, (circuit, evse, vehicle))
        stops = [self.stop(("stops", n), part, vehicle, habits) for n, part in enumerate(sheet.stops)]
        if tariff and habits and habits.uses_holidays and not tariff.has_holidays:
            self.complain(("habits",), "the rate sheet names no holidays", "leave `holidays` out of the habits")
        for n, stop in enumerate(stops):
            if tariff and stop and isinstance(stop.price, Tariff) and stop.price.currency != tariff.currency:
                what = f"the rate sheet of {stop.place} is in {stop.price.currency}, not in {tariff.currency}"
                self.complain(("stops", n, "tariff"), what, "use one currency; none is converted")
        if self.mistakes or not (tariff and circuit and evse and vehicle and habits and limit):
            return None
        soc, house = sheet.state_of_charge, sheet.house_use
        folder = Path(self.document.file).parent
        return Household(
            name=sheet.name,
            timezone=sheet.timezone,
            tariff=tariff,
            vehicle=vehicle,
            vehicle_name=sheet.vehicle.name,
            circuit=circuit,
            evse=evse,
            limit=limit,
            habits=habits,
            stops=tuple(stop for stop in stops if stop is not None),
            soc_file=StateOfChargeFile(folder / soc.file, soc.max_age) if soc else None,
            house_use=HouseUse(house.so_far, house.per_day, house.highest) if house else None,
            charger=charger,
            prefer=sheet.prefer,
            distance_unit="mi" if "mi" in str(self.document.data["habits"].get("distance")) else "km",
        )

    def tariff(self, path: KeyPath, name: str) -> Tariff | None:
        beside = Path(self.document.file).parent / name
        try:
            exists = beside.is_file()
        except (OSError, ValueError):
            exists = False
        if not exists and name not in shipped_sheets():
            shipped = ", ".join(shipped_sheets())
            self.complain(path, f"there is no rate sheet `{name[:80]}`", f"name a file beside this one, or {shipped}")
            return None
        return self.attempt(path, lambda: load_tariff(beside if exists else name))

    def charger(
        self, sheet: HouseholdSheet, part: ChargingPart, tariff: Tariff, links: tuple[Circuit, Evse, Vehicle]
    ) -> HomeCharger | None:
        for key, what, remedy in contradictions(part, has_holidays=tariff.has_holidays):
            self.complain(("charging", *key), what, remedy)
        rules = self.attempt(("charging",), partial(rules_of, part))
        derating = self.attempt(("charging", "derating"), partial(derating_of, part.derating))
        if rules is None or derating is None:
            return None
        return charger_of(
            part,
            rules=rules,
            derating=derating,
            links=links,
            timezone=sheet.timezone,
            is_holiday=tariff.is_holiday,
        )

    def habits(self, part: HabitsPart) -> Habits | None:
        plug_in = self.attempt(("habits", "plug_in"), lambda: ByDay.parse(part.plug_in))
        leave = self.attempt(("habits", "leave"), lambda: ByDay.parse(part.leave))
        given = part.distance
        if isinstance(given, dict):
            # A day at home needs no distance, nor one of which that is not known because `leave` is wrong.
            at_home = {day for day in range(7) if leave is None or leave.week[day] == NO_DEPARTURE}
            said = {day for words in given for day in DaySet.parse(words).weekdays}
            given = {**given, **{_DAY_NAMES[day]: 0.0 for day in at_home - said}}
        distance = self.attempt(("habits", "distance"), lambda: ByDay.parse(given))
        if part.target < part.floor:
            self.complain(("habits", "target"), "the target is below the floor", "raise the target or lower the floor")
        early = self.early(part)
        warm = self.attempt(("habits", "preconditioning"), partial(_preconditioning, part.preconditioning))
        if plug_in is None or leave is None or distance is None:
            return None
        if all(minute == NO_DEPARTURE for minute in (*leave.week, leave.holiday) if minute is not None):
            self.complain(("habits", "leave"), "the car never leaves", "give the time of day for at least one day")
        plugged = {(1440 * day + minute) % _WEEK_MIN for day, minute in enumerate(plug_in.week)}
        for day, minute in enumerate(leave.week):
            if minute != NO_DEPARTURE and (1440 * day + minute) % _WEEK_MIN in plugged:
                what = f"on {_DAY_NAMES[day]} the car leaves on the very minute it is plugged in"
                self.complain(("habits", "leave"), what, "change one of the two times")
                break
        return Habits(plug_in, leave, distance, part.target, part.floor, early, warm)

    def early(self, part: HabitsPart) -> Early | None:
        if part.early is None:
            if part.sure is not None:
                what = "`sure` says nothing without `early`"
                self.complain(("habits", "sure"), what, "add for example `early: 30 min`")
            return None
        return self.attempt(("habits", "early"), partial(_early, part.early, 1.0 if part.sure is None else part.sure))

    def vehicle(self, part: VehiclePart, target: float) -> Vehicle | None:
        losses: dict[Level, ChargingLoss] = {}
        for level, loss in part.losses.items():
            made = self.attempt(("vehicle", "losses", level), partial(ChargingLoss, loss.efficiency, loss.overhead))
            if made is not None:
                losses[level] = made
        taper = self.attempt(("vehicle", "taper"), partial(_taper, part.taper))
        return self.attempt(("vehicle",), lambda: _vehicle(part, target, losses, taper))

    def stop(self, path: KeyPath, part: StopPart, vehicle: Vehicle | None, habits: Habits | None) -> Stop | None:
        for one, other, example in (("circuit", "dc_power", "dc_power: 50 kW"), ("price", "tariff", "price: 0")):
            said = [key for key in (one, other) if getattr(part, key) is not None or (*path, key) in self.broken]
            if len(said) == 2:
                self.complain((*path, other), f"a stop has a `{one}` or a `{other}`, not both", "remove one of them")
            elif not said:
                self.complain((*path, one), f"a stop needs a `{one}` or a `{other}`", f"add for example `{example}`")
        price = self.tariff((*path, "tariff"), part.tariff) if part.tariff is not None else part.price
        days = DaySet.parse(part.days)
        self.check_stop_times(path, part, days, habits)
        limit = self.stop_limit(path, part, vehicle)
        if limit is None or price is None:
            return None
        return Stop(part.place, days, part.from_, part.to, limit, price)

    def stop_limit(self, path: KeyPath, part: StopPart, vehicle: Vehicle | None) -> Limit | None:
        circuit = self.attempt((*path, "circuit"), partial(circuit_of, part.circuit)) if part.circuit else None
        evse = self.attempt((*path, "evse"), partial(evse_of, part.evse)) if part.evse else None
        if vehicle is None:
            return None
        if circuit is None:
            return self.attempt(path, partial(dc_limit, part.dc_power, vehicle)) if part.dc_power is not None else None
        if evse is None:
            evse = evse_for(circuit)
        return weakest_link(circuit, evse, vehicle)

    def check_stop_times(self, path: KeyPath, part: StopPart, days: DaySet, habits: Habits | None) -> None:
        if part.to <= part.from_:
            self.complain((*path, "to"), "the stop ends before it begins", "give a later `to`")
            return
        if habits is None or (*path, "days") in self.broken:
            return
        for weekday in sorted(days.weekdays):
            leave, back = habits.leave.on(weekday), habits.plug_in.on(weekday)
            if leave == NO_DEPARTURE or back <= leave:
                continue
            if not leave <= part.from_ < part.to <= back:
                hours = f"{clock_text(leave)}-{clock_text(back)}"
                what = f"the stop at {part.place} is not within the car's time away, {hours} on some days"
                self.complain((*path, "from"), what, "change the stop or the habits")
                return


def _early(chances: float | dict[str, float], sure: float) -> Early:
    if isinstance(chances, dict):
        return Early.of({quantity(minutes, "duration"): share for minutes, share in chances.items()}, sure)
    return Early.of(chances, sure)


def _preconditioning(part: PreconditioningPart | None) -> UsualPreconditioning | None:
    return None if part is None else UsualPreconditioning(ByDay.parse(part.energy), part.takes)


def _taper(points: dict[str, float] | None) -> Taper | None:
    return None if points is None else Taper(sorted((quantity(share, "share"), kw) for share, kw in points.items()))


def _vehicle(part: VehiclePart, target: float, losses: dict[Level, ChargingLoss], taper: Taper | None) -> Vehicle:
    kw, amperes = part.onboard_charger or (None, None)
    vehicle = Vehicle(
        part.usable_battery,
        consumption=Consumption(part.consumption, part.measured_at),
        onboard_kw=kw,
        onboard_a=amperes,
        onboard_phases=part.onboard_phases,
        losses=losses,
        taper=taper,
        dc_max_kw=part.dc_max,
        daily_limit=(target or 1.0) if part.daily_limit is None else part.daily_limit,
    )
    # Asked for here, so that losses that leave nothing for the battery are a mistake of the file.
    vehicle.drive_kwh(0.0)
    return vehicle
