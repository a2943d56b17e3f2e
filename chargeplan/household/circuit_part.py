"""From the `circuit:` and `evse:` mappings of a file to the links that do the work."""

from __future__ import annotations

from chargeplan.charging import PILOT_MAX_A, PILOT_MIN_A, Circuit, Evse
from chargeplan.household.model import CircuitPart, EvsePart


def circuit_of(part: CircuitPart) -> Circuit:
    """Read a branch circuit.

    Parameters
    ----------
    part : CircuitPart
        The mapping.

    Returns
    -------
    Circuit

    Raises
    ------
    InputError
        If a number cannot be, in the words of the charging model.

    Examples
    --------
    >>> circuit_of(CircuitPart(breaker="50 A", volts="240 V")).continuous_a
    40.0
    """
    return Circuit(
        part.breaker,
        volts=part.volts,
        volts_to_neutral=part.volts_to_neutral,
        volts_between_phases=part.volts_between_phases,
        phases=part.phases,
        continuous_factor=part.continuous_factor,
    )


def evse_of(part: EvsePart) -> Evse:
    """Read the supply equipment.

    Parameters
    ----------
    part : EvsePart
        The mapping.

    Returns
    -------
    Evse

    Raises
    ------
    InputError
        If a number cannot be, in the words of the charging model.

    Examples
    --------
    >>> evse_of(EvsePart(max_current="32 A")).max_a
    32.0
    """
    return Evse(part.max_current, part.min_current, part.step, part.name)


def evse_for(circuit: Circuit) -> Evse:
    """Take supply equipment that lets through whatever the circuit may carry, where a file says nothing of it.

    Parameters
    ----------
    circuit : Circuit
        The branch circuit.

    Returns
    -------
    Evse
        Within what a control pilot can announce.

    Examples
    --------
    >>> evse_for(Circuit(20, volts=120)).max_a, evse_for(Circuit(150, volts=240)).max_a
    (16.0, 80.0)
    """
    return Evse(min(max(circuit.continuous_a, PILOT_MIN_A), PILOT_MAX_A))
