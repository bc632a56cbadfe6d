"""Photos are read in worker processes, bounded to the cores, so that the page stays quick meanwhile.

A worker is killed when one photo takes too long or too much memory; the others go on. Workers end by themselves when
the service does, however it ended.
"""

from __future__ import annotations

import asyncio
import os
from collections.abc import Callable
from concurrent.futures import TimeoutError as PoolTimeout
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Any, TypeVar

from pebble import ProcessExpired, ProcessPool

from service.errors import BenchBusy, PhotoProblem
from service.readers.memory import let_workers_keep_memory
from service.readers.worker import Job, begin, nothing, work

T = TypeVar("T")


def process_pool(
    make: Callable[[], Any], workers: int, *, memory: int | None = None, max_tasks: int = 0
) -> ProcessPool:
    """A pool of ``workers`` processes that have called ``make``; ``memory`` in bytes of each, ``max_tasks`` of each."""
    return ProcessPool(
        max_workers=workers,
        max_tasks=max_tasks,
        initializer=begin,
        initargs=(make, os.getpid(), memory),
        context=get_context("spawn"),
    )


class WorkPool:
    """A few processes that take jobs in order.

    Parameters
    ----------
    make
        Called once in each worker; what it returns is handed to every job.
    workers, waiting
        How many run at once, and how many more may wait.
    timeout
        Seconds after which a job's worker is killed.
    memory
        Address space of a worker in bytes, or None.
    """

    def __init__(self, make: Callable[[], Any], workers: int, waiting: int, timeout: float, memory: int | None) -> None:
        self._make = make
        self._workers = workers
        self._places = workers + waiting
        self._timeout = timeout
        self._memory = memory
        self._taken = 0
        self._pool = self._start()

    def _start(self) -> ProcessPool:
        let_workers_keep_memory()
        # A leak in an image library then stays small.
        return process_pool(self._make, self._workers, memory=self._memory, max_tasks=2000)

    @property
    def taken(self) -> int:
        """Jobs running or waiting."""
        return self._taken

    async def run(self, function: Callable[[Any, Job], T], job: Job) -> T:
        """Run ``function(made, job)`` in a worker.

        Raises
        ------
        ServiceError
            ``BenchBusy`` when too many wait or the readers die under it twice; ``PhotoProblem`` when this photo takes
            too long or kills its worker twice.
        """
        if self._taken >= self._places:
            raise BenchBusy("busy", "Too many photos are waiting to be read. Send it again in a moment.", 2)
        self._taken += 1
        try:
            return await self._run(function, job)
        finally:
            self._taken -= 1

    async def _run(self, function: Callable[[Any, Job], T], job: Job) -> T:
        for attempt in (1, 2):
            if not self._pool.active:
                self._pool = self._start()
            pool = self._pool
            try:
                future = pool.schedule(work, args=(function, job), timeout=self._timeout)
                return await asyncio.wrap_future(future)
            except BrokenProcessPool:
                # The workers died while this photo only waited (memory ran out, a kill): nothing speaks against it.
                if self._pool is pool:
                    self._pool = self._start()
                if attempt == 2:
                    raise BenchBusy(
                        "readers_ended", "The readers ended and were started anew. Send the photo again.", 5
                    ) from None
            except PoolTimeout:
                raise PhotoProblem(
                    "too_long", f"Reading this photo was stopped after {self._timeout:.0f} s. Take another one."
                ) from None
            except (ProcessExpired, MemoryError):
                # It may have been killed from outside (memory ran out): once more before blaming the photo.
                if attempt == 2:
                    raise PhotoProblem(
                        "reader_stopped", "Reading this photo ended the reader twice. Take another one."
                    ) from None
        raise AssertionError  # the loop returns or raises

    def warm(self) -> None:
        """Start the workers now, so that the first photo does not wait for their imports."""
        for _ in range(self._workers):
            self._pool.schedule(nothing)

    def close(self) -> None:
        """End the workers."""
        self._pool.stop()  # type: ignore[no-untyped-call]
        self._pool.join()
