"""Studies for the tests of runs, with house loads that are slow, fail, or end the process that asks for them."""

import os
import signal
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path

from chargeplan.charging import Circuit, Evse
from chargeplan.errors import InputError
from chargeplan.household import load_household
from chargeplan.study.driving import Driving
from chargeplan.study.equipment import Equipment
from chargeplan.study.house_load import UsualLoad
from chargeplan.study.study import AS_IT_IS, Study
from chargeplan.tariff import load_tariff

DEMO = load_household("demo")
RATES = {name: load_tariff(name) for name in ("summer-peak", "flat")}
LOAD = UsualLoad("America/Denver", 20.0)


def study(names="abcde", **more):
    """Two weeks of some households that differ, on two rates and two circuits."""
    homes = {name: replace(DEMO, habits=replace(DEMO.habits, target=0.6 + 0.02 * n)) for n, name in enumerate(names)}
    given = {
        "name": "two weeks",
        "households": homes,
        "tariffs": RATES,
        "first": date(2026, 3, 1),
        "days": 14,
        "equipment": {AS_IT_IS: None, "outlet": Equipment("outlet", Circuit(20, volts=120), Evse(12))},
        "driving": {"varied": Driving(spread=0.5)},
        "house": dict.fromkeys(names, LOAD),
    }
    return Study(**(given | more))


@dataclass(frozen=True)
class Slow(UsualLoad):
    """Takes its time."""

    seconds: float = 0.0

    def kwh(self, start_s, step_s):
        time.sleep(self.seconds)
        return super().kwh(start_s, step_s)


@dataclass(frozen=True)
class Failing(Slow):
    """Says that it cannot, after some time."""

    def kwh(self, start_s, step_s):
        super().kwh(start_s, step_s)
        raise InputError("the meter was not read; read it")


@dataclass(frozen=True)
class Deadly(UsualLoad):
    """Kills the process that asks for it, the first few times, of which it keeps marks in a folder."""

    folder: str = ""
    times: int = 1

    def kwh(self, start_s, step_s):
        for number in range(self.times):
            try:
                os.close(os.open(f"{self.folder}/{number}", os.O_CREAT | os.O_EXCL))
            except FileExistsError:
                continue
            os.kill(os.getpid(), signal.SIGKILL)
        return super().kwh(start_s, step_s)


class Made(Mapping):
    """Households that are made when they are asked for."""

    def __init__(self, count):
        self.names = [f"home {n}" for n in range(count)]
        self.made = 0

    def __len__(self):
        return len(self.names)

    def __iter__(self):
        return iter(self.names)

    def __getitem__(self, name):
        self.made += 1
        return replace(DEMO, name=name)


def slow_study(seconds=0.05):
    """Sixteen households that take their time."""
    names = "abcdefghijklmnop"
    return study(names, house=dict.fromkeys(names, Slow("America/Denver", 20.0, seconds=seconds)))


def wait_for(happens, seconds=60.0):
    """Wait until something is so, and fail if it is not so in time."""
    end = time.monotonic() + seconds
    while not happens():
        assert time.monotonic() < end, "it took too long"
        time.sleep(0.01)


def parts_in(folder):
    """Names of the parts in a folder."""
    return sorted(file.name for file in Path(folder).glob("part-*.parquet"))
