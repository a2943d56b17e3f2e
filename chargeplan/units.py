"""One reader for quantities as people write them: "50 A", "7.7 kW", "250 Wh/mi", "80 %", "07:15".

Inside the library every quantity has one unit, named at the end of its name: ``_a`` amperes,
``_v`` volts, ``_kw``, ``_kwh``, ``_km``, ``_kwh_per_100km``, ``_min`` minutes; shares are 0 to 1.
Lengths that are no distances driven are in metres, ``_m``, fuel in litres, ``_l``, long spans in years, ``_years``.
"""

from __future__ import annotations

import math
import re
from datetime import date
from typing import Final

from chargeplan.errors import InputError

#: Kilometres in one mile (international mile, exact by definition since 1959).
KM_PER_MILE: Final = 1.609344
#: Metres in one foot, and litres in one US gallon (231 cubic inches), both exact by definition.
M_PER_FOOT: Final = 0.3048
L_PER_GALLON: Final = 3.785411784

#: For every kind of quantity: the units it may be written in, and the factor to the unit used inside.
UNITS: Final[dict[str, dict[str, float]]] = {
    "current": {"A": 1.0, "mA": 1e-3},
    "voltage": {"V": 1.0, "kV": 1e3},
    "power": {"kW": 1.0, "W": 1e-3, "MW": 1e3},
    "energy": {"kWh": 1.0, "Wh": 1e-3, "MWh": 1e3},
    "distance": {"km": 1.0, "mi": KM_PER_MILE, "miles": KM_PER_MILE, "m": 1e-3},
    "duration": {"min": 1.0, "minutes": 1.0, "h": 60.0, "hours": 60.0, "d": 1440.0, "days": 1440.0, "s": 1 / 60},
    "share": {"%": 0.01},
    "consumption": {
        "kWh/100km": 1.0,
        "kWh/100mi": 1 / KM_PER_MILE,
        "kWh/km": 100.0,
        "kWh/mi": 100 / KM_PER_MILE,
        "Wh/km": 0.1,
        "Wh/mi": 0.1 / KM_PER_MILE,
    },
    "length": {"m": 1.0, "cm": 0.01, "ft": M_PER_FOOT},
    "time span": {"years": 1.0, "year": 1.0, "months": 1 / 12, "month": 1 / 12},
    "fuel consumption": {"L/100km": 1.0, "l/100km": 1.0, "gal/100mi": L_PER_GALLON / KM_PER_MILE},
    "price of length": {"/m": 1.0, "/ft": 1 / M_PER_FOOT},
    "price of fuel": {"/L": 1.0, "/l": 1.0, "/gal": 1 / L_PER_GALLON},
    "yearly cost": {"/year": 1.0, "/month": 12.0},
}
#: Distance per energy or fuel, the other way round: the number is inverted after scaling.
_INVERTED: Final = {
    "consumption": {"mi/kWh": KM_PER_MILE, "km/kWh": 1.0},
    "fuel consumption": {"mi/gal": KM_PER_MILE / L_PER_GALLON, "mpg": KM_PER_MILE / L_PER_GALLON, "km/L": 1.0},
}

_EXAMPLES: Final = {
    "current": "32 A",
    "voltage": "240 V",
    "power": "7.7 kW",
    "energy": "60 kWh",
    "distance": "29 mi or 47 km",
    "duration": "90 min or 12 h",
    "share": "80 %",
    "consumption": "25 kWh/100 mi, 16 kWh/100 km, 250 Wh/mi or 4 mi/kWh",
    "length": "12 m or 40 ft",
    "time span": "10 years",
    "fuel consumption": "31 mi/gal or 7.5 L/100 km",
    "price of length": "22 per m or 6.50 per ft",
    "price of fuel": "3.60 per gal or 1.65 per L",
    "yearly cost": "20 per year",
}
_NUMBER = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*\Z", re.ASCII)
#: No quantity takes more characters; matching very long text would take very long.
_LONGEST: Final = 100
_CLOCK = re.compile(r"(\d{1,2}):(\d{2})\Z", re.ASCII)


def quantity(value: object, kind: str) -> float:
    """Read a quantity with its unit, into the unit used inside the library.

    Parameters
    ----------
    value : str or number
        What the user wrote. A number without a unit is refused, because 40 may be amperes or
        percent; only ``share`` also takes a bare number from 0 to 1. Whether 120 % can be is for the caller to say.
    kind : str
        One of the keys of `UNITS`.

    Returns
    -------
    float
        Amperes, volts, kW, kWh, km, minutes, a share from 0 to 1, kWh per 100 km; metres, years, litres per 100 km;
        an amount per metre, per litre or per year.

    Raises
    ------
    InputError
        If the text is not a finite, non-negative number with a unit of that kind.

    References
    ----------
    International mile: 1609.344 m, and foot: 0.3048 m, exact (1959 agreement, kept in NIST SP 811, table B.9; from
    memory). US gallon: 231 cubic inches, 3.785411784 L, exact (the same table; from memory).

    Examples
    --------
    >>> quantity("7.7 kW", "power"), quantity("1440 W", "power")
    (7.7, 1.44)
    >>> round(quantity("250 Wh/mi", "consumption"), 3), round(quantity("4 mi/kWh", "consumption"), 3)
    (15.534, 15.534)
    >>> quantity("80 %", "share")
    0.8
    >>> quantity("40 ft", "length"), round(quantity("3.60 per gal", "price of fuel"), 3)
    (12.192, 0.951)
    """
    example = _EXAMPLES[kind]
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise InputError(f"{value!r} is no {kind}; write for example {example}")
    text = value if isinstance(value, str) else repr(value)
    match = _NUMBER.match(text) if len(text) <= _LONGEST else None
    if match is None:
        raise InputError(f"{text[:_LONGEST]!r} is no {kind}; write for example {example}")
    number, unit = float(match[1]), re.sub(r"\s+", "", re.sub(r"\Aper\s+", "/", match[2]))
    if not math.isfinite(number) or number < 0:
        raise InputError(f"{text!r} is no {kind} that can be used; write a number of 0 or more, like {example}")
    if kind == "share" and unit == "":
        if number <= 1:
            return number
        raise InputError(f"{text!r} has no unit; write {text} % if you mean percent")
    if unit in UNITS[kind]:
        # Division by the inverse keeps 1440 W at 1.44 kW and 80 % at 0.8 to the last digit.
        factor = UNITS[kind][unit]
        result = number / round(1 / factor) if factor in (1e-3, 0.01, 0.1) else number * factor
    elif unit in _INVERTED.get(kind, {}):
        distance_km = number * _INVERTED[kind][unit]
        if distance_km == 0:
            what = "energy" if kind == "consumption" else "fuel"
            raise InputError(f"{text!r} means no distance for any {what}; write for example {example}")
        result = 100 / distance_km
    elif unit == "":
        raise InputError(f"{text!r} has no unit; write for example {example}")
    else:
        raise InputError(f"{unit!r} is not a unit of {kind}; write for example {example}")
    if not math.isfinite(result):
        raise InputError(f"{text!r} is too large; write for example {example}")
    return result


def power_factor(value: str | float) -> float:
    """Read a power factor, the real over the apparent power.

    Parameters
    ----------
    value : str or number
        A number above 0 and up to 1, or a percentage.

    Returns
    -------
    float
        Above 0, up to 1.

    Raises
    ------
    InputError
        If it is none.

    Examples
    --------
    >>> power_factor("0.9"), power_factor("95 %")
    (0.9, 0.95)
    """
    try:
        factor = quantity(value, "share")
    except InputError:
        factor = 0.0
    if not 0 < factor <= 1:
        shown = str(value).strip()[:_LONGEST]
        raise InputError(f"`{shown}` is no power factor, which lies above 0 and up to 1; write for example 0.9")
    return factor


_TEMPERATURE = re.compile(r"\s*([-+−]?\d+(?:\.\d+)?)\s*(?:°|deg)?\s*([CF])\s*\Z", re.ASCII)


def temperature_c(value: object) -> float:
    """Read a temperature as degrees Celsius.

    Parameters
    ----------
    value : str
        ``30 °C``, ``30 C`` or ``86 °F``.

    Returns
    -------
    float
        Degrees Celsius.

    Raises
    ------
    InputError
        If it is not a temperature with its unit.

    Examples
    --------
    >>> temperature_c("30 °C"), temperature_c("86 °F"), temperature_c("-5 C")
    (30.0, 30.0, -5.0)
    """
    match = _TEMPERATURE.match(value) if isinstance(value, str) and len(value) <= _LONGEST else None
    if match is None:
        raise InputError(f"{value!r} is no temperature; write for example 30 °C or 86 °F")
    number = float(match[1].replace("−", "-"))
    return number if match[2] == "C" else round((number - 32) / 1.8, 9)


def time_of_day(value: object) -> int:
    """Read a time of day as minutes after midnight; ``24:00`` is the end of the day.

    Parameters
    ----------
    value : str
        ``HH:MM`` on the 24-hour clock.

    Returns
    -------
    int
        0 to 1440.

    Raises
    ------
    InputError
        If it is not a time of day.

    Examples
    --------
    >>> time_of_day("07:15"), time_of_day("24:00")
    (435, 1440)
    """
    match = _CLOCK.match(value.strip()) if isinstance(value, str) else None
    if match is not None:
        minutes = 60 * int(match[1]) + int(match[2])
        if int(match[2]) < 60 and minutes <= 1440:
            return minutes
    raise InputError(f"{value if isinstance(value, str) else repr(value)} is not a time of day; write 00:00 to 24:00")


def calendar_date(value: date | str) -> date:
    """Read a date.

    Parameters
    ----------
    value : datetime.date or str
        ``2026-07-04``.

    Returns
    -------
    datetime.date
        The date.

    Raises
    ------
    InputError
        If it is none.

    Examples
    --------
    >>> calendar_date("2026-07-04")
    datetime.date(2026, 7, 4)
    """
    if isinstance(value, date):
        return value
    try:
        return date.fromisoformat(str(value))
    except ValueError:
        raise InputError(f"`{str(value)[:60]}` is not a date; write for example 2026-07-04") from None


def clock_text(minutes: int) -> str:
    """Write minutes after midnight as ``HH:MM``.

    Parameters
    ----------
    minutes : int
        0 to 1440.

    Returns
    -------
    str
        ``00:00`` to ``24:00``.

    Examples
    --------
    >>> clock_text(435)
    '07:15'
    """
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
