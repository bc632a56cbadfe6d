"""A pool whose workers died is the bench's fault: started anew and the photo tried again, or 503, never 422."""

import asyncio
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import pytest

from service.errors import BenchBusy
from service.readers.pool import WorkPool
from service.readers.worker import Job, read_job


class Pool:
    """Stands in for the processes: breaks as often as it is told."""

    active = True

    def __init__(self, breaks):
        self.breaks = breaks

    def schedule(self, *_, **__):
        future = Future()
        if self.breaks:
            future.set_exception(BrokenProcessPool("All workers expired"))
        else:
            future.set_result("read")
        return future


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
