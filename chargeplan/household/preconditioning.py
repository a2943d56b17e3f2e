"""What the car draws to warm or cool itself before it leaves home, by day, and what it leaves for charging."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import partial

from chargeplan.charging import ChargingLoss, Limit, Vehicle
from chargeplan.errors import InputError
from chargeplan.household.by_day import ByDay
from chargeplan.plan.preconditioning import Preconditioning
from chargeplan.plan.stops import Stay

#: Longest time, and most energy: a cold battery and cabin take some kWh within an hour.
_LONGEST_MIN, _MOST_KWH = 180.0, 20.0


@dataclass(frozen=True)
class UsualPreconditioning:
    """Energy that the car draws in the last minutes before it leaves home.

    Parameters
    ----------
    energy_kwh : ByDay of float
        From the wall, on a day with a departure.
    takes_min : float
        In how many minutes, at constant power.

    Raises
    ------
    InputError
        If a number is out of range.

    Examples
    --------
    >>> UsualPreconditioning(ByDay((1.5,) * 7), 30).power_kw(date(2026, 11, 26), holiday=False)
    3.0
    """

    energy_kwh: ByDay[float]
    takes_min: float

    def __post_init__(self) -> None:
        if not 1 <= self.takes_min <= _LONGEST_MIN:
            raise InputError(f"`takes` is {self.takes_min:g} min, which cannot be; write 1 min to 3 h, like 20 min")
        for energy_kwh in (*self.energy_kwh.week, self.energy_kwh.holiday or 0.0):
            if not 0 <= energy_kwh <= _MOST_KWH:
                raise InputError(f"`energy` is {energy_kwh:g} kWh, which cannot be; write 0 to 20 kWh, like 1.2 kWh")

    def power_kw(self, day: date, holiday: bool) -> float:
        """Power drawn before a departure on a date."""
        return self.energy_kwh.on(day.weekday(), holiday) / self.takes_min * 60


def preconditioned(
    usual: UsualPreconditioning | None, limit: Limit, vehicle: Vehicle, stay: Stay, *, holiday: bool
) -> Stay:
    """Lay the usual preconditioning on a stay that ends with a departure from home.

    Parameters
    ----------
    usual : UsualPreconditioning, optional
        What is usual; None leaves the stay as it is.
    limit : Limit
        The limit at home.
    vehicle : Vehicle
        The car, for what it loses at the power that is left for charging.
    stay : Stay
        The stay; the date of its end counts.
    holiday : bool
        Whether that date is a holiday.

    Returns
    -------
    Stay
    """
    power_kw = usual.power_kw(stay.end.date(), holiday) if usual is not None else 0.0
    if usual is None or not power_kw:
        return stay
    loss = vehicle.loss(limit.level)
    own = Preconditioning(
        power_kw,
        round(60 * usual.takes_min),
        left=partial(_left, limit, loss, power_kw),
        # What the battery gives does not pass through the onboard charger.
        battery_per_wall=loss.efficiency,
    )
    return replace(stay, preconditioning=own)


def _left(limit: Limit, loss: ChargingLoss, own_kw: float, wall_kw: float) -> tuple[float, float]:
    """Give power and gain that are left for charging of what may be drawn in all: none below the EVSE's least."""
    kw = wall_kw - own_kw
    gain = loss.gain(kw) if kw > 0 and kw >= limit.min_a * limit.kw_per_a - 1e-9 else 0.0
    return (kw, gain) if gain > 0 else (0.0, 1.0)


def drawing_less(stays: list[Stay], current_a: float) -> list[Stay]:
    """Hold what may be drawn while the car preconditions down to a current; the battery gives the rest.

    Parameters
    ----------
    stays : list of Stay
        All stays.
    current_a : float
        The current; 0 keeps the charger off meanwhile.

    Returns
    -------
    list of Stay
    """
    found = list(stays)
    for number, stay in enumerate(stays):
        own = stay.preconditioning
        if own is not None and stay.current_a:
            held = replace(own, most_kw=stay.wall_kw / stay.current_a * current_a)
            found[number] = replace(stay, preconditioning=held)
    return found


def lower_currents(stays: list[Stay]) -> list[float]:
    """List the currents below what preconditioning draws, rising: off, and the steps from the least on."""
    found = {0.0}
    for stay in stays:
        own = stay.preconditioning
        if own is None or not stay.current_a or not stay.wall_kw:
            continue
        step, kw_per_a = stay.current_step_a, stay.wall_kw / stay.current_a
        first, last = math.ceil(stay.min_current_a / step - 1e-9), math.ceil(own.wall_kw / kw_per_a / step - 1e-9)
        found |= {round(step * number, 9) for number in range(first, last)}
    return sorted(found)


def held_down(stays: Sequence[Stay]) -> tuple[str, ...]:
    """Say how the current is to be set while the car preconditions, where a plan asks for less.

    Parameters
    ----------
    stays : sequence of Stay
        All stays of a plan.

    Returns
    -------
    tuple of str
        A sentence; none where nothing need be set.
    """
    for stay in stays:
        own = stay.preconditioning
        if own is None or own.most_kw >= stay.wall_kw or not stay.current_a:
            continue
        current_a = own.most_kw * stay.current_a / stay.wall_kw
        how = f"set the charger to at most {current_a:g} A" if current_a > 0 else "keep the charger off"
        return (
            f"for the last {own.takes_s / 60:g} min before leaving home, {how}: what preconditioning draws would raise "
            "the highest power that the bill charges, so the battery gives the rest",
        )
    return ()


def most_wanted_kwh(stays: list[Stay]) -> float:
    """Find the highest level at home before a departure: what is wanted, and what preconditioning takes of it."""
    own = [stay for stay in stays if stay.preconditioning is not None]
    return max((float(stay.need_kwh) + stay.drained_kwh for stay in own), default=0.0)
