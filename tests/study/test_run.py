"""A study has the same rows whoever works it out, and loses nothing when workers are lost."""

import os
import pickle
import subprocess
import sys
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest
from run_cases import DEMO, LOAD, RATES, Deadly, Failing, Made, Slow, parts_in, study

from chargeplan.errors import ChargeplanError, FileError, InputError, ItemsError, Mistake
from chargeplan.household import load_household
from chargeplan.household.household import examples
from chargeplan.study.cell import unit_rows
from chargeplan.study.chunks import Cut
from chargeplan.study.run import run_study
from chargeplan.study.study import units
from chargeplan.tariff import load_tariff, shipped_sheets

HERE = Path(__file__).parent


def rows_of(given, **how):
    return list(run_study(given, **how).rows())


@pytest.fixture(scope="module")
def expected():
    """The rows of the study, unit by unit, without any of what is tested here."""
    return [row for unit in units(study()) for row in unit_rows(unit)]


@pytest.mark.parametrize("chunk_cells", [None, 1, 3, 4, 7, 1000])
def test_the_cut_does_not_matter(expected, chunk_cells):
    """However many years are handed out in one go, the rows are the same, in the same order."""
    assert rows_of(study(), workers=1, chunk_cells=chunk_cells) == expected


def test_two_processes_of_our_own(expected):
    """As many rows, the same values, the same order."""
    assert rows_of(study(), workers=2) == expected


@pytest.mark.parametrize("workers", [1, 2, 5])
def test_threads(expected, workers):
    """The caller's threads, which stay usable."""
    with ThreadPoolExecutor(workers) as threads:
        assert rows_of(study(), executor=threads, chunk_cells=2) == expected
        assert threads.submit(int, "7").result() == 7


def test_processes_of_the_caller(expected):
    """The caller's processes, which stay usable."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as processes:
        assert rows_of(study(), executor=processes) == expected
        assert processes.submit(int, "7").result() == 7


class Backwards(Executor):
    """Works out whatever waits only when three chunks do, or when there is nothing more, the last one first."""

    _max_workers = 2

    def __init__(self, count):
        self.waiting, self.left = [], count

    def submit(self, task, *given):
        future = Future()
        self.waiting.append((future, task, given))
        self.left -= 1
        if len(self.waiting) == 3 or not self.left:
            for future_, task_, given_ in reversed(self.waiting):
                future_.set_result(task_(*given_))
            self.waiting = []
        return future


def test_the_order_in_which_chunks_are_done_does_not_matter(expected, tmp_path):
    """Done last first, they are in the order of the study."""
    count = Cut.of(study(), 2).chunks
    assert rows_of(study(), executor=Backwards(count), chunk_cells=2) == expected
    assert rows_of(study(), executor=Backwards(count), chunk_cells=2, out=tmp_path) == expected


def test_neither_the_seed_of_hashes_nor_the_process_matters(tmp_path):
    """Rows and fingerprints are the same in processes whose sets and dictionaries hash differently."""
    script = tmp_path / "rows.py"
    script.write_text(
        "from run_cases import study\n"
        "from chargeplan.study.run import run_study\n"
        "from chargeplan.study.chunks import Cut\n"
        "from chargeplan.study.fingerprint import fingerprint_of_chunk, fingerprint_of_study\n"
        "given, cut = study('ab'), Cut.of(study('ab'))\n"
        "print(fingerprint_of_study(given, cut), [fingerprint_of_chunk(c) for c in cut.chunks_of(given)])\n"
        "print(list(run_study(given).rows()))\n"
        "print(fingerprint_of_study(given, cut), [fingerprint_of_chunk(c) for c in cut.chunks_of(given)])\n"
    )
    said = {
        subprocess.run(
            [sys.executable, script],
            env=os.environ | {"PYTHONHASHSEED": seed, "PYTHONPATH": str(HERE)},
            check=True,
            capture_output=True,
            text=True,
        ).stdout
        for seed in ("0", "1", "4711")
    }
    assert len(said) == 1
    before, _, after = said.pop().splitlines()
    assert before == after  # what was cached in between is no content


def test_a_killed_process_loses_nothing(expected, tmp_path):
    """A worker that is killed amid a chunk is replaced, and the chunk handed out again."""
    house = dict.fromkeys("abcde", LOAD) | {"c": Deadly("America/Denver", 20.0, folder=str(tmp_path))}
    assert rows_of(study(house=house), workers=2, chunk_cells=1) == expected
    assert os.listdir(tmp_path) == ["0"]  # it was killed


def test_a_chunk_that_kills_every_worker_is_named(tmp_path):
    """It is given up after some tries; everything before it is kept, and other chunks are not blamed."""
    (tmp_path / "marks").mkdir()
    house = dict.fromkeys("abcde", LOAD) | {
        "d": Deadly("America/Denver", 20.0, folder=str(tmp_path / "marks"), times=99)
    }
    with pytest.raises(ChargeplanError, match=r"chunk 3 \(household d\) lost its worker 3 times.*; use fewer workers"):
        run_study(study(house=house), workers=2, chunk_cells=4, out=tmp_path / "out")
    assert len(os.listdir(tmp_path / "marks")) == 3
    assert parts_in(tmp_path / "out")[:3] == ["part-000000.parquet", "part-000001.parquet", "part-000002.parquet"]
    assert "part-000003.parquet" not in parts_in(tmp_path / "out")


def test_a_pool_of_the_caller_that_breaks(expected, tmp_path):
    """What it had done is kept, it is said what to do, and doing that completes the study."""
    (tmp_path / "marks").mkdir()
    house = dict.fromkeys("abcde", LOAD) | {"e": Deadly("America/Denver", 20.0, folder=str(tmp_path / "marks"))}
    given = study(house=house)
    with (
        ProcessPoolExecutor(1, mp_context=get_context("spawn")) as processes,
        pytest.raises(ChargeplanError, match="the executor lost a worker and takes no more work; run the study with a"),
    ):
        run_study(given, executor=processes, chunk_cells=1, out=tmp_path / "out")
    kept = len(parts_in(tmp_path / "out"))
    assert kept == 8  # two chunks for each of the four households before it
    assert rows_of(given, workers=1, chunk_cells=1, out=tmp_path / "out") == expected


def test_an_executor_that_is_closed():
    """It is said, without a traceback of the executor's."""
    threads = ThreadPoolExecutor(1)
    threads.shutdown()
    with pytest.raises(ChargeplanError, match=r"the executor takes no more work: .*; give one that is open"):
        run_study(study(), executor=threads)


def test_households_are_made_when_there_is_room():
    """No more of them are made ahead than chunks may be out, so that memory does not grow with the study."""
    homes = Made(40)
    given = study(households=homes, house={}, tariffs={"flat": RATES["flat"]}, days=2)
    ahead = []
    with ThreadPoolExecutor(2) as threads:
        run_study(given, executor=threads, chunk_cells=1, progress=lambda done, _: ahead.append(homes.made - done // 2))
    assert max(ahead) <= 2 * 2  # two chunks a worker
    assert homes.made == 40


@pytest.mark.parametrize("workers", [1, 2])
def test_the_first_mistake_in_order_is_told(workers):
    """Whichever happens first: household b fails late, household d at once."""
    house = dict.fromkeys("abcde", LOAD)
    house |= {"b": Failing("America/Denver", 1.0, seconds=0.5), "d": Failing("America/Denver", 1.0)}
    with (
        ThreadPoolExecutor(workers) as threads,
        pytest.raises(InputError, match=r"^b / varied / summer-peak: the meter was not read; read it$"),
    ):
        run_study(study(house=house), executor=threads, chunk_cells=2)


def test_a_mistake_comes_out_of_a_process():
    """With the same words."""
    house = {"a": Failing("America/Denver", 1.0)}
    for workers in (1, 2):
        with pytest.raises(InputError, match=r"^a / varied / summer-peak: the meter was not read; read it$"):
            run_study(study("a", house=house), workers=workers)


@pytest.mark.parametrize(
    "error",
    [
        FileError([Mistake("a.yaml", 2, 1, "wrong", "mend it"), Mistake("a.yaml", 1, 1, "wrong too")]),
        ItemsError([(3, InputError("wrong")), (5, InputError("wrong too"))]),
        InputError("wrong"),
        ChargeplanError("wrong"),
    ],
)
def test_errors_come_out_of_a_process_as_they_were(error):
    """Their text, and what they hold."""
    again = pickle.loads(pickle.dumps(error))
    assert (type(again), str(again)) == (type(error), str(error))
    assert getattr(again, "mistakes", None) == getattr(error, "mistakes", None)
    assert [n for n, _ in getattr(again, "items", ())] == [n for n, _ in getattr(error, "items", ())]


def test_an_interruption_keeps_what_is_done(tmp_path):
    """Ctrl-C comes out as it is; the next run goes on with what is there."""
    calls = []

    def interrupt(done, _):
        calls.append(done)
        if done == 6:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_study(study(), workers=1, chunk_cells=1, out=tmp_path, progress=interrupt)
    assert calls == [0, 2, 4, 6]
    assert len(parts_in(tmp_path)) == 3
    assert rows_of(study(), workers=1, chunk_cells=1, out=tmp_path) == rows_of(study(), workers=1)


def test_an_interruption_cancels_what_waits():
    """While the fourth household is made, two are worked on, and the third waits; the threads stay usable."""

    class Interrupted(Made):
        def __getitem__(self, name):
            if name == "home 3":
                raise KeyboardInterrupt
            return super().__getitem__(name)

    homes, begun = Interrupted(9), []

    class Remembering(ThreadPoolExecutor):
        def submit(self, *task):
            begun.append(super().submit(*task))
            return begun[-1]

    house = {name: Slow("America/Denver", 20.0, seconds=0.3) for name in homes}
    with Remembering(2) as threads, pytest.raises(KeyboardInterrupt):
        run_study(
            study(households=homes, house=house, tariffs={"flat": RATES["flat"]}), executor=threads, chunk_cells=1
        )
    assert [future.cancelled() for future in begun] == [False, False, True]


def test_progress_is_told_from_none_to_all():
    """Each step is larger than the one before."""
    told = []
    run_study(study(), workers=1, chunk_cells=4, progress=lambda *now: told.append(now))
    assert told[0] == (0, 20)
    assert told[-1] == (20, 20)
    assert sorted(set(told)) == told


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({"workers": 0}, "0 workers cannot be; give workers=1 or more"),
        ({"workers": 2.5}, "2.5 workers cannot be"),
        ({"workers": True}, "True workers cannot be"),
        ({"workers": 2, "executor": "yes"}, "give executor= or workers=, not both"),
        ({"executor": "yes"}, "'yes' is no executor; give one of concurrent.futures, or a client of Dask"),
        ({"chunk_cells": 0}, "chunks of 0 years cannot be; give chunk_cells=1 or more"),
        ({"chunk_cells": "2"}, "chunks of '2' years cannot be"),
    ],
)
def test_what_cannot_be(how, said, tmp_path):
    """One message, and nothing is written."""
    with pytest.raises(InputError) as caught:
        run_study(study(), out=tmp_path / "out", restart=True, **how)
    assert said in str(caught.value)
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("cells", [1, 5, 20, 64, 1000])
def test_a_cut_covers_a_study(cells):
    """Every unit once, in order, whatever the size."""
    given = study("abcdefg")
    cut = Cut.of(given, cells)
    chunks = list(cut.chunks_of(given))
    assert [chunk.number for chunk in chunks] == list(range(cut.chunks))
    names = [(u.household_name, *u.tariffs) for chunk in chunks for u in chunk.units]
    assert names == [(u.household_name, *u.tariffs) for u in units(given)]
    assert sum(chunk.cells for chunk in chunks) == given.cells
    assert all(chunk.units for chunk in chunks)


@pytest.mark.parametrize("name", examples())
def test_households_go_to_other_processes(name):
    """What comes out plans as before."""
    home = load_household(name)
    given = study(households={name: home}, house={}, tariffs={"own": home.tariff}, days=3, equipment={"own": None})
    for chunk in Cut.of(given).chunks_of(given):
        assert repr(pickle.loads(pickle.dumps(chunk)).rows()) == repr(chunk.rows())


@pytest.mark.parametrize("name", sorted(shipped_sheets()))
def test_rates_go_to_other_processes(name):
    """What comes out prices as before, and what was cached meanwhile does not make it much larger."""
    tariff = load_tariff(name)
    fresh = len(pickle.dumps(tariff))
    prices = tariff.prices("2026-05-01", "2027-05-01", "1 h")
    again = pickle.dumps(tariff)
    assert pickle.loads(again).prices("2026-05-01", "2027-05-01", "1 h").equals(prices)
    assert len(again) < 1.1 * fresh + 500


def test_rates_and_households_are_sent_once_with_a_chunk():
    """Sixty drawn years of one household need little more than one."""
    given = study("a", draws=60)
    (one,) = Cut.of(study("a", tariffs={"flat": RATES["flat"]}), 4).chunks_of(
        study("a", tariffs={"flat": RATES["flat"]})
    )
    (many,) = Cut.of(given, 1000).chunks_of(given)
    assert len(many.units) == 60
    assert len(pickle.dumps(many)) < len(pickle.dumps(one)) + len(pickle.dumps(RATES)) + 60 * 300


def test_slow_years_are_cut_smaller():
    """A household whose nights are planned one by one has chunks of a few years."""
    slow = load_household("three-phase")
    many = {str(n): DEMO for n in range(1000)}
    assert Cut.of(study(households=many)).chunk_cells == 62
    assert Cut.of(study(households=many | {"0": slow})).chunk_cells == 2
    assert Slow("UTC", 1.0).seconds == 0
