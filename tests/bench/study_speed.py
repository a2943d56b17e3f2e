"""How fast studies are, as ratios against a named alternative on the same work in the same run.

Run ``python tests/bench/study_speed.py`` (some minutes), or name parts of it: ``loop``, ``workers``, ``memory``. No
duration is asserted: times belong to a machine. The costs and rows are: two methods that disagree end the run with an
error.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path

import numpy as np

from chargeplan.charging import Circuit, Evse
from chargeplan.household import Household, read_household
from chargeplan.plan import Problem, reach
from chargeplan.plan.program import Program, linear_program
from chargeplan.study.car_year import car_year
from chargeplan.study.cell import planned_years
from chargeplan.study.driving import Driving
from chargeplan.study.equipment import Equipment
from chargeplan.study.house_load import UsualLoad
from chargeplan.study.results import StudyResult
from chargeplan.study.run import run_study
from chargeplan.study.store import table_of
from chargeplan.study.study import Study, units
from chargeplan.study.whole_bill_year import charges_power
from chargeplan.study.year_bills import bill_grid, step_min
from chargeplan.study.year_plan import year_grid
from chargeplan.tariff import Tariff, read_tariff, shipped_sheets
from chargeplan.tariff.loading import shipped_folder

#: What the project wants, printed beside what was measured.
SHARE_OF_THE_LOOP, TWICE_THE_WORKERS, MORE_MEMORY = 0.05, 1.7, 1.1
#: Of the loop, one night in so many is timed.
EVERY = 10
#: Costs of one night found in two ways may differ by this much.
SAME_COST = 1e-6
FIRST, DAYS = date(2026, 1, 1), 365
CIRCUITS = ((120, 15, 12), (120, 20, 16), (240, 20, 16), (240, 30, 24), (240, 40, 32), (240, 60, 48))
HOUSEHOLD = """
name: bench
timezone: America/Denver
tariff: two-period
circuit: {breaker: 50 A, volts: 240 V}
evse: {max_current: 40 A}
vehicle: {name: small sedan, usable_battery: 58 kWh, onboard_charger: 11.5 kW, consumption: 16 kWh/100 km,
  measured_at: wall}
habits: {plug_in: "08:30", leave: "07:30", distance: 35 km, target: 80 %, floor: 20 %}
"""


#: In the place of the sheet that charges for the highest power, for which no night can be planned alone.
INVENTED = """
name: Bench four steps
currency: USD
timezone: America/Denver
periods: {peak: 16:00-21:00 on weekdays, night: 00:00-05:00, noon: 11:00-14:00, rest: rest}
prices: {peak: 0.51, night: 0.11, noon: 0.16, rest: 0.29}
"""


def rates() -> dict[str, Tariff]:
    """The sheets that come with the package, moved to one time zone, and an invented one."""
    found = {}
    for name in shipped_sheets():
        lines = (shipped_folder() / f"{name}.yaml").read_text(encoding="utf-8").splitlines()
        moved = ["timezone: America/Denver" if line.startswith("timezone:") else line for line in lines]
        found[name] = read_tariff("\n".join(_without_checks(moved)), name)
    return {name: rate for name, rate in found.items() if not charges_power(rate)} | {"invented": read_tariff(INVENTED)}


def _without_checks(lines: list[str]) -> Iterator[str]:
    """Leave out the checks of a sheet, whose moments are on the clock of its own zone."""
    within = False
    for line in lines:
        if line[:1] not in (" ", "-", "#", ""):
            within = line.startswith("checks:")
        if not within:
            yield line


def milp_s(program: Program) -> tuple[float, float]:
    """Processor seconds and cost of one call of scipy's milp on the finished matrix."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    shape = (program.row_lower.size, program.cost.size)
    matrix = csr_array((program.values, (program.rows, program.columns)), shape=shape)
    limits = LinearConstraint(matrix, program.row_lower, program.row_upper)
    bounds = Bounds(program.lower, program.upper)
    begin = time.process_time()
    result = milp(program.cost, bounds=bounds, constraints=limits)
    seconds = time.process_time() - begin
    if result.status != 0:
        raise RuntimeError(f"milp ended with {result.message}")
    return seconds, float(result.fun)


def night_of(problem: Problem, number: int) -> Problem:
    """One stay of a year in which every stay before it ended with what was wanted."""
    here = slice(int(problem.first[number]), int(problem.last[number]) + 1)
    level = problem.level_kwh
    if number:
        level = float(problem.need_kwh[number - 1] - problem.drive_kwh[number - 1])
    return replace(
        problem,
        start_s=problem.start_s[here],
        hours=problem.hours[here],
        stay=np.zeros(here.stop - here.start, dtype=np.int64),
        price_per_kwh=problem.price_per_kwh[here],
        max_kwh=problem.max_kwh[here],
        gain=problem.gain[here],
        need_kwh=problem.need_kwh[number : number + 1],
        drive_kwh=problem.drive_kwh[number : number + 1],
        level_kwh=level,
        rules=problem.rules[number : number + 1],
    )


def against_a_loop() -> None:
    """A year on every rate and circuit, planned and billed, against each night alone by a solver."""
    home = read_household(HOUSEHOLD)
    equipment = {
        f"{amps} A, {volts} V": Equipment(f"{amps} A", Circuit(breaker, volts=volts), Evse(amps))
        for volts, breaker, amps in CIRCUITS
    }
    study = Study(
        "loop",
        {"home": home},
        rates(),
        FIRST,
        DAYS,
        equipment=equipment,
        driving={"varied": Driving(spread=0.2)},
        strategies=("optimal",),
    )
    times = {}
    for strategies in (("optimal",), ("optimal", "timer", "at once")):
        wanted = replace(study, strategies=strategies)
        run_study(replace(wanted, days=30), workers=1)
        times[strategies] = min(_processor_s(wanted) for _ in range(3))
    _, result = _seconds(study)
    rows = {(row.tariff, row.equipment): row for row in result.rows()}
    if any(row.missed for row in rows.values()):
        raise AssertionError("a night is too short for its drive, so that nights hang on one another")

    loop_s, nights, timed, slots, worst = 0.0, 0, 0, 0, 0.0
    for unit in units(study):
        ((name, tariff),) = unit.tariffs.items()
        journeys = unit.driving.journeys(home.habits, home.timezone, FIRST, DAYS, home.is_holiday, seed=unit.seed)
        grid = year_grid(car_year(home, journeys), 15)
        for found in planned_years(unit, grid, bill_grid(tariff, FIRST, DAYS, None, 15)):
            problem = found.problem
            planned = np.bincount(problem.stay, weights=found.plan.wall_kwh * problem.price_per_kwh)
            if abs(found.plan.wall_kwh.sum() - rows[name, found.equipment].home_kwh) > 1e-6:
                raise AssertionError(f"{name}, {found.equipment}: the study drew another energy than its nights need")
            _same_cost_by_the_hour(study, rows[name, found.equipment].tariff, found.equipment, float(planned.sum()))
            nights += DAYS
            for number in range(1, problem.stays, EVERY):
                alone = night_of(problem, number)
                seconds, cost = milp_s(linear_program(alone, reach(alone)))
                loop_s, timed, slots = loop_s + seconds, timed + 1, slots + alone.slots
                worst = max(worst, abs(cost - planned[number]))
    if worst > SAME_COST:
        raise AssertionError(f"one night, two costs: {worst:.1e} apart")
    loop_s *= nights / timed
    print(
        f"{len(study.tariffs)} rates x {len(equipment)} circuits x {DAYS} nights: planned and billed as a study in one "
        f"process / a loop over scipy's milp, {nights:,} nights of {slots // timed} slots on average, its matrices "
        f"ready made, processor time, one in {EVERY} timed (at most {SHARE_OF_THE_LOOP:.0%})"
    )
    for strategies, seconds in times.items():
        print(
            f"  {', '.join(strategies):24s} {seconds / loop_s:6.2%}  ({seconds:.2f} / {loop_s:.1f} s), "
            f"costs of a night within {worst:.0e}"
        )


def _same_cost_by_the_hour(study: Study, rate: str, equipment: str, by_quarter_hour: float) -> None:
    """Hold the cost of a year on slots as long as the rate allows, as the study plans it, to that on quarter hours."""
    one = replace(study, tariffs={rate: study.tariffs[rate]}, equipment={equipment: study.equipment[equipment]})
    (unit,) = units(one)
    home, tariff = unit.household, study.tariffs[rate]
    step = step_min(tariff, FIRST, DAYS)
    journeys = unit.driving.journeys(home.habits, home.timezone, FIRST, DAYS, home.is_holiday, seed=unit.seed)
    (found,) = planned_years(
        unit, year_grid(car_year(home, journeys), step), bill_grid(tariff, FIRST, DAYS, None, step)
    )
    cost = float(found.plan.wall_kwh @ found.problem.price_per_kwh)
    if abs(cost - by_quarter_hour) > SAME_COST:
        raise AssertionError(
            f"{rate}, {equipment}: {cost:.9f} by the slots of the rate, {by_quarter_hour:.9f} by 15 min"
        )


def _processor_s(study: Study) -> float:
    """Processor time that a study takes in this process, which other load disturbs less than the time by the clock."""
    begin = time.process_time()
    run_study(study, workers=1)
    return time.process_time() - begin


def _seconds(study: Study, **how: object) -> tuple[float, StudyResult]:
    begin = time.perf_counter()
    result = run_study(study, **how)
    return time.perf_counter() - begin, result


class Homes(Mapping[str, Household]):
    """Households that are made when they are asked for, each with another target."""

    def __init__(self, count: int) -> None:
        self.home = read_household(HOUSEHOLD)
        self.names = [f"home {number}" for number in range(count)]

    def __len__(self) -> int:
        return len(self.names)

    def __iter__(self) -> Iterator[str]:
        return iter(self.names)

    def __getitem__(self, name: str) -> Household:
        target = 0.6 + 0.01 * (int(name.removeprefix("home ")) % 30)
        return replace(self.home, name=name, habits=replace(self.home.habits, target=target))


class Loads(Mapping[str, UsualLoad]):
    """What each house uses, all alike."""

    def __init__(self, count: int) -> None:
        self.count = count

    def __len__(self) -> int:
        return self.count

    def __iter__(self) -> Iterator[str]:
        return (f"home {number}" for number in range(self.count))

    def __getitem__(self, name: str) -> UsualLoad:
        return UsualLoad("America/Denver", 22.0)


def many(count: int) -> Study:
    """Very many households on one rate."""
    return Study(
        "many",
        Homes(count),
        {"two-period": rates()["two-period"]},
        FIRST,
        DAYS,
        driving={"varied": Driving(spread=0.6)},
        house=Loads(count),
    )


def with_more_workers() -> None:
    """One process and two, with what it takes to start them."""
    study = many(4_000)
    one_s, one_processor_s, one = _with_processor_s(study, 1)
    two_s, two_processor_s, two = _with_processor_s(study, 2)
    rows = list(one.rows())
    if rows != list(two.rows()):
        raise AssertionError("two processes found other rows than one")
    print(f"{study.cells:,} years: one process / two, with all it takes to start them (at least {TWICE_THE_WORKERS})")
    print(f"  {one_s / two_s:5.2f} x  by the clock ({one_s:.1f} / {two_s:.1f} s), the same {len(rows):,} rows")
    print(
        f"  {one_processor_s / two_processor_s:5.2f} x  by processor time, that of the busier one and of the process "
        f"that feeds them ({one_processor_s:.1f} / {two_processor_s:.1f} s), as on two cores that do nothing else"
    )


def _with_processor_s(study: Study, workers: int) -> tuple[float, float, StudyResult]:
    """Time by the clock, processor time of this process and the busiest that it started, and what came out."""
    taken: dict[int, float] = {}

    def look(done: int, cells: int) -> None:
        taken.update({process: _processor_s_of(process) for process in _below("self")})

    begin = time.process_time()
    seconds, result = _seconds(study, workers=workers, progress=look)
    return seconds, time.process_time() - begin + max(taken.values(), default=0.0), result


def _processor_s_of(process: int) -> float:
    try:
        ticks = Path(f"/proc/{process}/stat").read_text(encoding="ascii").rsplit(")", 1)[1].split()[11:13]
    except OSError:
        return 0.0
    return sum(map(int, ticks)) / os.sysconf("SC_CLK_TCK")


def highest_memory_kb(process: int | str) -> int:
    """Read the most memory that a process ever had, from the kernel."""
    try:
        lines = Path(f"/proc/{process}/status").read_text(encoding="ascii").splitlines()
    except OSError:
        return 0
    return next((int(line.split()[1]) for line in lines if line.startswith("VmHWM:")), 0)


def stream(count: int, folder: Path) -> None:
    """Work a study out with two processes into a folder, and say how long it took and how much memory it had."""
    seen = {"workers": 0}

    def look(done: int, cells: int) -> None:
        if done % 640 == 0 or done == cells:
            for process in _below("self"):
                seen["workers"] = max(seen["workers"], highest_memory_kb(process))

    seconds, result = _seconds(many(count), workers=2, out=folder, progress=look)
    seen |= {"main": highest_memory_kb("self")}
    cost = sum(row.car_cost for row in result.rows())
    print(json.dumps(seen | {"seconds": seconds, "cost": cost, "read": highest_memory_kb("self")}))


def _below(process: int | str) -> list[int]:
    found = []
    for task in Path(f"/proc/{process}/task").iterdir():
        for child in map(int, (task / "children").read_text().split()):
            found += [child, *_below(child)]
    return found


def with_many_households() -> None:
    """Ten times the households, streamed to Parquet, in the same memory."""
    print(
        f"Households streamed to Parquet by two processes; most memory for 10 times as many (at most {MORE_MEMORY} x)"
    )
    found = {}
    for count in (1_000, 10_000):
        with tempfile.TemporaryDirectory() as folder:
            run = subprocess.run(
                [sys.executable, __file__, "--stream", str(count), folder], capture_output=True, text=True, check=True
            )
            size = sum(file.stat().st_size for file in Path(folder).iterdir())
            parts = len(list(Path(folder).glob("part-*")))
        found[count] = now = json.loads(run.stdout)
        print(
            f"  {count:6,d} households {now['seconds']:6.1f} s, main process {now['main'] / 1024:.0f} MB (with reading "
            f"all rows {now['read'] / 1024:.0f} MB), a worker {now['workers'] / 1024:.0f} MB, {size / 1e6:.1f} MB in "
            f"{parts} parts"
        )
    few, lots = found.values()
    for who, said in (("main", "main process"), ("read", "with reading"), ("workers", "a worker")):
        print(f"  {lots[who] / few[who]:.2f} x  {said}")
    held = list(run_study(many(200), workers=1).rows())
    per_row = table_of(held).nbytes / len(held)
    print(f"  the rows of 10,000 in memory would take at least {30_000 * per_row / 1e6:.0f} MB")


def main() -> None:
    """Print all comparisons, or those that are named."""
    parts = {"loop": against_a_loop, "workers": with_more_workers, "memory": with_many_households}
    parser = argparse.ArgumentParser()
    parser.add_argument("part", nargs="*", choices=[*parts, []])
    parser.add_argument("--stream", nargs=2, metavar=("COUNT", "FOLDER"))
    given = parser.parse_args()
    if given.stream:
        stream(int(given.stream[0]), Path(given.stream[1]))
        return
    for name, part in parts.items():
        if not given.part or name in given.part:
            part()
            print()


if __name__ == "__main__":
    main()
