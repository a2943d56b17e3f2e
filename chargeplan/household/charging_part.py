"""From the `charging:` mapping of a household file to the charger that does the work."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date

import numpy as np

from chargeplan.charging import Circuit, Derating, Evse, Vehicle
from chargeplan.charging.derating import By, by_clock, check_temperatures
from chargeplan.charging.numeric import FloatArray
from chargeplan.errors import InputError
from chargeplan.household.charger import HomeCharger, LoadControl
from chargeplan.household.model import ChargingPart, DeratingPart, LoadControlPart
from chargeplan.plan.rules import ChargerRules
from chargeplan.reading import KeyPath
from chargeplan.tariff.windows import ALL_DAYS, NO_DAYS, Window

#: A minute-by-minute limit and what it goes by; without a derating there is neither.
_Derated = tuple[FloatArray | None, str]


def rules_of(part: ChargingPart) -> ChargerRules:
    """Read the rules about switching.

    Raises
    ------
    InputError
        If a number is out of range.
    """
    key = "one_block" if part.one_block else "most_starts"
    return ChargerRules(part.min_on, part.min_off, 1 if part.one_block else part.most_starts, key)


def contradictions(part: ChargingPart, *, has_holidays: bool) -> Iterator[tuple[KeyPath, str, str]]:
    """Find what cannot be together.

    Parameters
    ----------
    part : ChargingPart
        The mapping.
    has_holidays : bool
        Whether the rate sheet names holidays.

    Yields
    ------
    tuple of path, str, str
        The key below `charging`, what is wrong, and what would be right.
    """
    if part.one_block and part.most_starts not in (None, 1):
        what = f"one unbroken block starts once, not {part.most_starts} times"
        yield ("most_starts",), what, "leave out `most_starts` or `one_block`"
    windows: list[tuple[KeyPath, Window]] = [
        (("never", number) if isinstance(part.never, list) else ("never",), window)
        for number, window in enumerate(_windows(part.never))
    ]
    for number, control in enumerate(_listed(part.load_control)):
        place: KeyPath = ("load_control", number) if isinstance(part.load_control, list) else ("load_control",)
        window = Window.parse(control.hours)
        windows.append(((*place, "hours"), window))
        if control.dates is not None and (window.on.weekdays != ALL_DAYS or window.except_.weekdays):
            yield (*place, "hours"), "days of the week are given, and `dates` as well", "leave out one of the two"
    for place, window in windows:
        if not has_holidays and (window.on.holidays or window.except_.holidays):
            yield place, "the rate sheet names no holidays", "leave `holidays` out of the hours"
        always = window.hours == ((0, 1440),) and window.on.weekdays == ALL_DAYS and window.except_ == NO_DAYS
        if always and place[0] == "never":
            yield place, "nothing could ever be charged", "write the hours without charging, like 16:00-21:00"


def derating_of(part: DeratingPart | None) -> _Derated:
    """Read the table of limit currents.

    Parameters
    ----------
    part : DeratingPart or None
        The mapping, if there is one.

    Returns
    -------
    array or None, shape (1440,)
        Limit in each minute of the day.
    str
        What the table goes by.

    Raises
    ------
    InputError
        If the table cannot be.
    """
    if part is None:
        return None, ""
    kinds = {kind for kind, _ in part.current}
    if len(kinds) > 1:
        raise InputError("`current` mixes temperatures and times of day; write a table of one kind")
    by: By = "hour of day" if "hour of day" in kinds else "ambient temperature"
    table = Derating(tuple(sorted((at, amperes) for (_, at), amperes in part.current.items())), by, part.between)
    if by == "hour of day":
        if part.ambient is not None:
            raise InputError("`ambient` has no use in a table by the hour of day; leave it out")
        return table.by_minute(), by
    if part.ambient is None:
        raise InputError("a table by temperature needs the temperature; add for example `ambient: 30 °C`")
    profile = part.ambient if isinstance(part.ambient, dict) else {0: part.ambient}
    points = tuple(sorted((float(minute % 1440), celsius) for minute, celsius in profile.items()))
    ambient_c = by_clock(points, np.arange(1441, dtype=np.float64), "straight line")
    check_temperatures(ambient_c)
    return table.by_minute(ambient_c), by


def charger_of(
    part: ChargingPart,
    *,
    rules: ChargerRules,
    derating: _Derated,
    links: tuple[Circuit, Evse, Vehicle],
    timezone: str,
    is_holiday: Callable[[date], bool],
) -> HomeCharger:
    """Put the charger together.

    Parameters
    ----------
    part : ChargingPart
        The mapping.
    rules, derating : ChargerRules, tuple
        What `rules_of` and `derating_of` returned.
    links : tuple of Circuit, Evse, Vehicle
        What sets the usual limit.
    timezone : str
        Whose wall clock the hours are on.
    is_holiday : callable
        Tells whether a date is a holiday.

    Returns
    -------
    HomeCharger
    """
    controls = [
        LoadControl(Window.parse(one.hours), None if one.dates is None else frozenset(one.dates), one.current)
        for one in _listed(part.load_control)
    ]
    return HomeCharger(
        *links,
        timezone=timezone,
        is_holiday=is_holiday,
        rules=rules,
        never=_windows(part.never),
        load_control=tuple(controls),
        derating_a=derating[0],
        derated_by=derating[1],
    )


def _windows(given: str | list[str] | None) -> tuple[Window, ...]:
    return tuple(Window.parse(text) for text in ([given] if isinstance(given, str) else given or []))


def _listed(given: LoadControlPart | list[LoadControlPart] | None) -> list[LoadControlPart]:
    return given if isinstance(given, list) else [given] if given is not None else []
