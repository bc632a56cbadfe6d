"""A pool whose workers died is the bench's fault: started anew and the photo tried again, or 503, never 422."""

import asyncio
import os
import signal
import threading
import time
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pytest
from pebble import ProcessExpired

from service.errors import BenchBusy
from service.readers.pool import WorkPool
from service.readers.worker import Job, read_job
from tests.server.conftest import a_photo
from tests.server.killed_reader import die_holding_the_pipe, wait_shortly


class Pool:
    """Stands in for the processes: breaks when it is told, after so many of its workers were killed at a photo."""

    active = True

    def __init__(self, breaks, killed=0):
        self.breaks = breaks
        self.killed = killed

    def schedule(self, *_, **__):
        future = Future()
        if self.killed:
            self.killed -= 1
            future.set_exception(ProcessExpired("Abnormal termination", code=-signal.SIGKILL))
        elif self.breaks:
            future.set_exception(BrokenProcessPool("All workers expired"))
        else:
            future.set_result("read")
        return future

    def stop(self):
        pass

    join = stop


def started(monkeypatch, breaks):
    pools = iter(breaks)
    monkeypatch.setattr(WorkPool, "_start", lambda _: Pool(next(pools)))
    return WorkPool(lambda: None, 1, 1, 5.0, None)


def read(pool):
    return asyncio.run(pool.run(read_job, Job("solid", Path("x.jpg"), "x.jpg")))


def test_the_photo_is_tried_again_in_a_new_pool(monkeypatch):
    assert read(started(monkeypatch, [True, False])) == "read"


def test_twice_broken_is_answered_503_and_the_pool_is_new(monkeypatch):
    pool = started(monkeypatch, [True, True, False])
    with pytest.raises(BenchBusy) as caught:
        read(pool)
    assert caught.value.code == "readers_ended"
    assert caught.value.retry_after == 5
    assert pool.taken == 0
    assert read(pool) == "read"


def test_one_kill_met_by_the_photo_and_then_by_the_pool_counts_once(monkeypatch):
    pools = iter([Pool(True, killed=1), Pool(False)])
    monkeypatch.setattr(WorkPool, "_start", lambda _: next(pools))
    assert read(WorkPool(lambda: None, 1, 1, 5.0, None)) == "read"


def _workers(client) -> list[int]:
    return list(client.app.state.service.readers._pool._pool_manager.worker_manager.workers)


@pytest.fixture
def post(own_client):
    own_client.post("/api/batches", json={"name": "b"})

    def posting(orders="ph=7.00"):
        return own_client.post("/api/batches/1/readings", files={"photo": ("a.jpg", a_photo(orders))})

    assert posting().status_code == 200  # the reader is there
    return posting


def test_a_reader_killed_while_nobody_waits_is_started_anew(own_client, post):
    for pid in _workers(own_client):
        os.kill(pid, signal.SIGKILL)
    assert post().status_code == 200


def _kill_readers(client, stop, count):
    """SIGKILL to every reader that comes up while a photo is read, this many times."""
    service = client.app.state.service
    while not stop.is_set() and count:
        if any(future.running() for future in list(service.readers._jobs)):
            time.sleep(0.1)  # it has let go of the pipe: the kill that meets it holding that is the last test's
            for pid in _workers(client):
                os.kill(pid, signal.SIGKILL)
            count -= 1
            time.sleep(0.3)
        time.sleep(0.02)


@pytest.mark.parametrize(("kills", "status"), [(1, 200), (99, 503)])
def test_a_reader_killed_at_a_photo_reads_it_again_or_says_503(own_client, post, kills, status):
    stop = threading.Event()
    killer = threading.Thread(target=_kill_readers, args=(own_client, stop, kills))
    killer.start()
    answer = post("slow=1.0")
    stop.set()
    killer.join()
    assert answer.status_code == status
    if status == 503:
        assert answer.json()["code"] == "readers_ended"
        assert answer.headers["retry-after"] == "5"
    assert post().status_code == 200


def test_a_photo_that_meets_it_again_and_again_waits_longer_each_time(monkeypatch):
    pool = started(monkeypatch, [True] * 9)
    waits = []
    for _ in range(4):
        with pytest.raises(BenchBusy) as caught:
            read(pool)
        waits.append(caught.value.retry_after)
    assert waits == [5, 10, 20, 40]


def test_a_pool_that_breaks_between_two_looks_is_no_fault_of_the_photo(monkeypatch):
    pool = started(monkeypatch, [False, False])

    def refuse(*_, **__):
        raise RuntimeError("Unexpected error within the Pool")

    pool._pool.schedule = refuse
    assert read(pool) == "read"


def test_a_reader_killed_while_it_takes_a_photo_stops_the_bench_for_seconds_only(tmp_path):
    pool = WorkPool(wait_shortly, 1, 1, 30.0, None)
    try:
        wait = asyncio.run(pool.run(die_holding_the_pipe, Job("solid", tmp_path / "x.jpg", "x.jpg")))
    finally:
        pool.close()
    assert wait == 10  # twice that until the photo is tried again; pebble's own 60 s are two minutes
