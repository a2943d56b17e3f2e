"""What the charging model complains of, in the words of a household file: its keys, quantities with units."""

from __future__ import annotations

from typing import Final

_THREE_PHASE: Final = "write `volts_to_neutral: 230 V` or `volts_between_phases: 400 V`"
_TAPER: Final = "write for example `{0 %: 11 kW, 85 %: 11 kW, 100 %: 3 kW}`"

#: By the parameter that is out of range: the key it was read from, and what would be right there.
_RANGES: Final = {
    "breaker_a": ("breaker", "write its rating, like 50 A"),
    "continuous_factor": ("continuous_factor", "write 80 %, or 100 % where the local rules allow the full rating"),
    "volts": (
        "volts",
        "a single-phase circuit has 90 to 300 V; on three phases write `phases: 3` and `volts_between_phases: 400 V`",
    ),
    "volts_to_neutral": ("volts_to_neutral", "it is 90 to 300 V, like 230 V; 400 V is `volts_between_phases: 400 V`"),
    "volts_between_phases": ("volts_between_phases", "it is 156 to 520 V, like 400 V"),
    "max_a": ("max_current", "an EVSE announces 6 to 80 A; write for example 32 A"),
    "min_a": ("min_current", "it is at least 6 A, and no more than `max_current`"),
    "step_a": ("step", "write 1 A, or 0.1 A for tenths"),
    "min_on_min": ("min_on", "write 0 min to 24 h, like 30 min"),
    "min_off_min": ("min_off", "write 0 min to 24 h, like 15 min"),
    "usable_kwh": ("usable_battery", "write for example 60 kWh"),
    "kwh_per_100km": ("consumption", "write for example 26 kWh/100 mi or 16 kWh/100 km"),
    "onboard_kw": ("onboard_charger", "write for example 7.7 kW or 32 A, or leave it out"),
    "onboard_a": ("onboard_charger", "write for example 7.7 kW or 32 A, or leave it out"),
    "dc_max_kw": ("dc_max", "write for example 100 kW, or leave it out"),
    "daily_limit": ("daily_limit", "write for example 80 %"),
    "power_kw": ("dc_power", "write for example 50 kW"),
    "efficiency": ("efficiency", "write for example 92 %"),
    "overhead_kw": ("overhead", "write 0 to 5 kW, like 200 W"),
    "state of charge": ("", _TAPER),
    "accepted kW": ("", _TAPER),
}
#: By the first words of other complaints: the key, what is wrong, and what would be right.
_OTHERS: Final = {
    "the voltage is missing": ("", "the voltage is missing", "add for example `volts: 240 V`"),
    "volts=": ("volts", "`volts` is unclear on three phases", _THREE_PHASE),
    "a three-phase circuit needs": ("", "a three-phase circuit needs exactly one voltage", _THREE_PHASE),
    "volts_to_neutral belongs": (
        "volts_to_neutral",
        "`volts_to_neutral` belongs to three phases",
        "write `volts: 240 V`, or add `phases: 3`",
    ),
    "volts_between_phases belongs": (
        "volts_between_phases",
        "`volts_between_phases` belongs to three phases",
        "write `volts: 240 V`, or add `phases: 3`",
    ),
    "no multiple of step_a": ("step", "no whole multiple of `step` can be announced", "write a smaller one, like 1 A"),
    "this car does not say": (
        "",
        "the car does not say what it takes from a DC station",
        "add for example `dc_max: 100 kW` under `vehicle`",
    ),
    "at label_kw": ("losses", "the losses leave nothing for the battery", "write a smaller overhead, like 200 W"),
    "a taper goes": ("", "a taper goes from 0 % to 100 %", _TAPER),
    "the states of charge of a taper": ("", "a state of charge is given twice", _TAPER),
    "a taper of 0 kW": ("", "a taper of 0 kW everywhere can never charge", _TAPER),
}


def in_file_words(complaint: str) -> tuple[str, str, str]:
    """Say a complaint of the charging model in the words of a household file.

    Parameters
    ----------
    complaint : str
        Text of an `InputError`; any that the charging model does not make stays as it is.

    Returns
    -------
    key, what, remedy : str
        The key that is wrong, empty if no single one is; what is wrong; what would be right.

    Examples
    --------
    >>> in_file_words("max_a is 100, which cannot be; an EVSE announces 6 to 80 A; write for example 32")
    ('max_current', 'max_current is out of range', 'an EVSE announces 6 to 80 A; write for example 32 A')
    """
    for parameter, (key, remedy) in _RANGES.items():
        if complaint.startswith(f"{parameter} is "):
            return key, f"{key or parameter} is out of range", remedy
    for start, words in _OTHERS.items():
        if complaint.startswith(start):
            return words
    what, _, remedy = complaint.partition("; ")
    return "", what, remedy
