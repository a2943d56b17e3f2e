"""From the `equipment:` mapping of a study file to the outlets and circuits that are compared."""

from __future__ import annotations

from functools import partial

from chargeplan.household.circuit_part import circuit_of, evse_for, evse_of
from chargeplan.reading import KeyPath
from chargeplan.study.equipment import Equipment
from chargeplan.study.model import NONE, EquipmentPart, RebatePart
from chargeplan.study.rebates import Rebate
from chargeplan.study.study import AS_IT_IS
from chargeplan.study.wording import StudyAttempts

#: Rounding of amounts is no reason to warn.
_CENT = 0.01
_RESERVED = (f"`{AS_IT_IS}` stands for what the household file says", "give this equipment another name")


def equipment_of(attempts: StudyAttempts, part: dict[str, EquipmentPart | str]) -> dict[str, Equipment | None]:
    """Read all equipment.

    Parameters
    ----------
    attempts : StudyAttempts
        Where mistakes go.
    part : dict of str to EquipmentPart or str
        What each is; text for what a household has, or nothing at all.

    Returns
    -------
    dict of str to Equipment or None
        None for what a household has. Those with mistakes are left out.
    """
    found: dict[str, Equipment | None] = {}
    for name, given in part.items():
        path: KeyPath = ("equipment", name)
        if isinstance(given, str):
            if given == NONE and name != AS_IT_IS:
                found[name] = Equipment(name)
            elif given == AS_IT_IS or (name == AS_IT_IS and not given):
                found[name] = None
            elif name == AS_IT_IS:
                attempts.complain(path, *_RESERVED)
            else:
                what = f"`{name}` is empty"
                attempts.complain(path, what, f"write its `circuit` and `evse`, `{AS_IT_IS}` or `{NONE}`")
        else:
            if name == AS_IT_IS:
                attempts.complain(path, *_RESERVED)
            made = _one(attempts, path, name, given)
            if made is not None:
                found[name] = made
    return found


def _one(attempts: StudyAttempts, path: KeyPath, name: str, part: EquipmentPart) -> Equipment | None:
    circuit = attempts.attempt((*path, "circuit"), lambda: circuit_of(part.circuit))
    evse = None
    if part.evse is not None:
        evse = attempts.attempt((*path, "evse"), partial(evse_of, part.evse))
    elif circuit is not None:
        evse = evse_for(circuit)
    rebates = []
    for called, given in part.rebates.items():
        rebate = attempts.attempt((*path, "rebates", called), partial(_rebate, called, given))
        rebates += [rebate] if rebate is not None else []
    if circuit is None or evse is None:
        return None
    made = attempts.attempt(
        path,
        lambda: Equipment(
            name,
            circuit,
            evse,
            purchase=part.purchase,
            wire_run_m=part.wire.length if part.wire else 0.0,
            wire_per_m=part.wire.price if part.wire else 0.0,
            labor=part.labor,
            permit=part.permit,
            rebates=tuple(rebates),
            lifetime_years=part.lifetime,
            replacement=part.replacement,
            yearly=part.upkeep,
        ),
    )
    if made is not None:
        _warn_of_rebates(attempts, path, made)
    return made


def _warn_of_rebates(attempts: StudyAttempts, path: KeyPath, equipment: Equipment) -> None:
    """Say where a fixed rebate is more than there is left to pay."""
    granted = equipment.rebates_granted
    for rebate, given in zip(equipment.rebates, granted, strict=True):
        if rebate.amount is None:
            continue
        stated = rebate.amount if rebate.cap is None else min(rebate.amount, rebate.cap)
        if given < stated - _CENT / 2:
            what = f"of the rebate {rebate.name}, {stated:g}, only {given:.2f} counts: no more of its parts is to pay"
            attempts.warn((*path, "rebates", rebate.name, "amount"), what, "is the amount right?")


def _rebate(name: str, part: RebatePart) -> Rebate:
    return Rebate(name, part.share, part.at_most, amount=part.amount, of=tuple(part.of), after_others=part.after_others)
