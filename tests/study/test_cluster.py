"""A study on a cluster of Dask: the same rows, also when workers are killed."""

import logging
import os
import signal
import threading
import time

import pytest
from run_cases import LOAD, Deadly, parts_in, slow_study, study

from chargeplan.errors import ChargeplanError
from chargeplan.study.run import run_study

dask = pytest.importorskip("dask", reason="the extra `cluster` is not installed")
distributed = pytest.importorskip("distributed", reason="the extra `cluster` is not installed")


@pytest.fixture(scope="module")
def client():
    """Two worker processes on this machine, with nannies that start a new one for one that is killed."""
    logging.getLogger("distributed").setLevel(logging.CRITICAL)  # it tells of every killed worker
    with (
        # A local cluster gives a worker up if it is gone for good or just killed again after so long.
        dask.config.set({"distributed.deploy.lost-worker-timeout": "1 hour"}),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs=logging.CRITICAL
        ) as cluster,
        distributed.Client(cluster) as client,
    ):
        yield client


@pytest.fixture(scope="module")
def expected():
    return list(run_study(study(), workers=1).rows())


def test_the_rows_are_those_of_one_process(client, expected, tmp_path):
    """With the client as with its executor, in memory as in a folder."""
    assert list(run_study(study(), executor=client, chunk_cells=2).rows()) == expected
    with client.get_executor() as executor:
        assert list(run_study(study(), executor=executor, chunk_cells=4, out=tmp_path).rows()) == expected
    assert client.submit(int, "7").result() == 7


def test_a_worker_is_killed_from_outside(client, tmp_path):
    """In the middle of the study; the rest is done by the others, nothing is lost and nothing is done wrong."""
    killed = []

    def kill_one(done, cells):
        if done >= cells // 4 and not killed:
            killed.extend(client.run(os.getpid).values())
            os.kill(killed[0], signal.SIGKILL)

    rows = list(
        run_study(slow_study(0.1), executor=client, chunk_cells=1, out=tmp_path / "out", progress=kill_one).rows()
    )
    assert rows == list(run_study(slow_study(0.0), workers=1).rows())
    assert len(parts_in(tmp_path / "out")) == 32
    assert killed[0] not in client.run(os.getpid).values()


def test_every_worker_is_killed_now_and_then(client):
    """Every second one of those there are, without regard to what they do."""
    over, killed = threading.Event(), []

    def kill():
        while not over.wait(1.0):
            workers = list(client.run(os.getpid, on_error="ignore").values())
            if workers:
                killed.append(workers[-1])
                os.kill(workers[-1], signal.SIGKILL)
            if len(killed) == 3:
                return

    reaper = threading.Thread(target=kill)
    reaper.start()
    try:
        rows = list(run_study(slow_study(0.15), executor=client, chunk_cells=2).rows())
    finally:
        over.set()
        reaper.join()
    assert rows == list(run_study(slow_study(0.0), workers=1).rows())
    assert len(killed) >= 2


@pytest.mark.parametrize("times", [1, 5])
def test_a_chunk_kills_its_workers(client, expected, tmp_path, times):
    """Once, or so often that Dask gives it up, which is taken for a lost worker and not for a mistake."""
    house = dict.fromkeys("abcde", LOAD) | {"c": Deadly("America/Denver", 20.0, folder=str(tmp_path), times=times)}
    assert list(run_study(study(house=house), executor=client, chunk_cells=4).rows()) == expected
    assert len(os.listdir(tmp_path)) == times


def test_a_chunk_that_kills_every_worker_is_named(client, tmp_path):
    """It is given up after some tries, and everything else is kept."""
    (tmp_path / "marks").mkdir()
    house = dict.fromkeys("abcde", LOAD) | {
        "d": Deadly("America/Denver", 20.0, folder=str(tmp_path / "marks"), times=99)
    }
    with pytest.raises(ChargeplanError, match=r"chunk 3 \(household d\) lost its worker 2 times"):
        run_study(study(house=house), executor=client, chunk_cells=4, out=tmp_path / "out")
    assert {f"part-{n:06d}.parquet" for n in range(3)} <= set(parts_in(tmp_path / "out"))


def test_a_client_that_is_closed(client):
    """It is said in one line."""
    with distributed.Client(client.cluster) as other:
        pass
    before = time.monotonic()
    with pytest.raises(ChargeplanError, match=r"<Client.* takes no more work; give a client that is open"):
        run_study(study(), executor=other)
    assert time.monotonic() - before < 30
