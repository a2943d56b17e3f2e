"""From a study file to what is asked of the study: what is in use today, prices elsewhere, gasoline, money."""

from __future__ import annotations

import difflib
from functools import partial

from chargeplan.charging import Vehicle
from chargeplan.reading import KeyPath
from chargeplan.study.answers import Question
from chargeplan.study.compare import Elsewhere, Gasoline
from chargeplan.study.model import GasolinePart, MoneyPart, PublicPart, RoadPart, StudySheet
from chargeplan.study.named_files import Homes, Rates, called, listed
from chargeplan.study.spending import Terms
from chargeplan.study.study import AS_IT_IS, RoadCharging
from chargeplan.study.uncertain import Doubt
from chargeplan.study.wording import StudyAttempts


def question_of(attempts: StudyAttempts, sheet: StudySheet, rates: Rates, homes: Homes) -> Question | None:
    """Read what is asked of a study.

    Parameters
    ----------
    attempts : StudyAttempts
        Where mistakes go.
    sheet : StudySheet
        The file.
    rates, homes : mapping
        What is compared.

    Returns
    -------
    Question or None
        None if it has mistakes. The rate in use today is that of the household unless the file says which, or else
        the first; the equipment what the household has, or else the first.
    """
    found = len(attempts.mistakes)
    named = {str(value): name for name, _, value in listed("tariffs", sheet.tariffs)}
    # A rate may also be named as it stands under `tariffs`.
    tariff = named.get(sheet.today.tariff or "", sheet.today.tariff)
    tariff = _today(attempts, "tariff", tariff, list(named.values()))
    equipment = _today(attempts, "equipment", sheet.today.equipment, list(sheet.equipment))
    if tariff is None:
        own = [home.tariff.sheet for _, home in homes.values()]
        tariff = next((name for name, (_, rate) in rates.items() if rate.sheet in own), next(iter(rates), ""))
    if equipment is None:
        equipment = AS_IT_IS if AS_IT_IS in sheet.equipment else next(iter(sheet.equipment), "")
    vehicles = [home.vehicle for _, home in homes.values()]
    public = [_public(attempts, name, part, vehicles) for name, part in sheet.public.items()]
    gasoline = None if sheet.gasoline is None else attempts.attempt(("gasoline",), partial(_gasoline, sheet.gasoline))
    terms = attempts.attempt(("money",), partial(_terms, sheet.money))
    if terms is None or len(attempts.mistakes) > found:
        return None
    return Question(
        tariff,
        equipment,
        terms,
        Doubt(price_spread=sheet.money.price_spread, outlay_spread=sheet.money.outlay_spread, seed=sheet.seed),
        sheet.money.reliability,
        tuple(place for place in public if place is not None),
        gasoline,
    )


def road_of(attempts: StudyAttempts, part: RoadPart | None, homes: Homes) -> RoadCharging | None:
    """Read what is charged on the way; parameters as for `question_of`."""
    if part is None:
        return None
    place = Elsewhere("road", part.price, part.dc_power, dc=True)
    _check_power(attempts, ("road", "dc_power"), place, [home.vehicle for _, home in homes.values()])
    return RoadCharging(part.price, part.dc_power)


def _today(attempts: StudyAttempts, key: str, given: str | None, names: list[str]) -> str | None:
    """Check the name of what is in use now."""
    whole = "tariffs" if key == "tariff" else key
    # Those with mistakes of their own are no longer among the names.
    written = attempts.value((whole,))
    known = {*names, *(map(str, written) if isinstance(written, dict) else ())}
    if isinstance(written, list):
        known |= {called(str(file)) for file in written}
    if given is not None and given not in known and (whole,) not in attempts.broken:
        close = [*difflib.get_close_matches(given, names, 1), *difflib.get_close_matches(called(given), names, 1)]
        remedy = f"did you mean `{close[0]}`?" if close else f"name one of {', '.join(names)}"
        attempts.complain(("today", key), f"there is no {key} `{given[:60]}` in this study", remedy)
    return given


def _public(attempts: StudyAttempts, name: str, part: PublicPart, vehicles: list[Vehicle]) -> Elsewhere | None:
    path: KeyPath = ("public", name)
    if (part.power is None) == (part.dc_power is None):
        said = "a `power` and a `dc_power`" if part.power is not None else "no `power` and no `dc_power`"
        attempts.complain(path, f"{name} has {said}", "write one: `power: 7 kW`, or `dc_power: 50 kW`")
        return None
    dc = part.dc_power is not None
    place = Elsewhere(name, part.price, (part.dc_power if dc else part.power) or 0.0, dc)
    _check_power(attempts, (*path, "dc_power" if dc else "power"), place, vehicles)
    return place


def _check_power(attempts: StudyAttempts, path: KeyPath, place: Elsewhere, vehicles: list[Vehicle]) -> None:
    """Complain of a place at which some car cannot be charged."""
    for vehicle in vehicles:
        try:
            attempts.attempt(path, partial(place.cost, 1.0, vehicle))
        except ZeroDivisionError:
            what = f"{path[-1]}: of {place.power_kw:g} kW nothing reaches the battery"
            attempts.complain(path, what, "write for example 7 kW, or 50 kW for a DC station")


def _gasoline(part: GasolinePart) -> Gasoline:
    return Gasoline(part.price, part.consumption)


def _terms(part: MoneyPart) -> Terms:
    return Terms(
        part.horizon,  # type: ignore[arg-type]  # it checks that this is a whole number
        part.discount_rate,
        price_growth=part.price_growth,
        work_growth=part.work_growth,
        residual=part.residual,
    )
