"""Photos are read in worker processes, bounded to the cores, so that the page stays quick meanwhile.

A worker is killed when one photo takes too long or too much memory; the others go on. Workers end by themselves when
the service does, however it ended.
"""

from __future__ import annotations

import asyncio
import os
import signal
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future
from concurrent.futures import TimeoutError as PoolTimeout
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from pathlib import Path
from typing import Any, TypeVar

from pebble import ProcessExpired, ProcessPool

from service.errors import BenchBusy, PhotoProblem
from service.readers.memory import let_workers_keep_memory
from service.readers.worker import OUT_OF_MEMORY, Job, begin, nothing, work
from stripread.words import _

T = TypeVar("T")
J = TypeVar("J", bound=Job)
# A worker that ended like this was ended from outside, or had no memory: nothing speaks against the photo. Its handler
# of SIGTERM makes that an exit code. By itself (a decoder that crashed) it ends in other ways.
FROM_OUTSIDE = {-signal.SIGKILL, -signal.SIGTERM, int(signal.SIGTERM), OUT_OF_MEMORY}
_FIRST_WAIT, _LONGEST_WAIT = 5, 600  # seconds until a photo is sent again that was read when its reader ended
_REMEMBERED = 1000
OWN_SHARE = 0.5  # of the time given: a photo that took more processor time is itself at fault, else the bench is


def process_pool(
    make: Callable[[], Any], workers: int, *, memory: int | None = None, max_tasks: int = 0, nice: int = 5
) -> ProcessPool:
    """A pool of ``workers`` processes that have called ``make``; ``memory`` in bytes of each, ``max_tasks`` of each."""
    return ProcessPool(
        max_workers=workers,
        max_tasks=max_tasks,
        initializer=begin,
        initargs=(make, os.getpid(), memory, nice),
        context=get_context("spawn"),
    )


def stopping() -> BenchBusy:
    """The service is about to end: what is not being read yet is not begun any more."""
    return BenchBusy("stopping", _("The bench computer's service is stopping. Nothing was stored. Send it again."), 5)


class WorkPool:
    """A few processes that take jobs in order. To be used from one event loop.

    Parameters
    ----------
    make
        Called once in each worker; what it returns is handed to every job.
    workers, waiting
        How many run at once, and how many more may wait.
    timeout
        Seconds after which a job's worker is killed; half as much processor time is the job's own budget.
    memory
        Address space of a worker in bytes, or None.
    nice
        How far its processes stand back behind others, as of nice(2).
    """

    def __init__(
        self,
        make: Callable[[], Any],
        workers: int,
        waiting: int,
        timeout: float,
        memory: int | None,
        *,
        nice: int = 5,
    ) -> None:
        self._make = make
        self._workers = workers
        self._places = workers + waiting
        self._timeout = timeout
        self._memory = memory
        self._nice = nice
        self._taken = 0
        self._jobs: set[Future[Any]] = set()
        self._ended: OrderedDict[Path, int] = OrderedDict()  # photo -> posts in which its readers ended
        self._stopping = False
        self._pool = self._start()

    def _start(self) -> ProcessPool:
        let_workers_keep_memory()
        # A leak in an image library then stays small.
        return process_pool(self._make, self._workers, memory=self._memory, max_tasks=2000, nice=self._nice)

    @property
    def taken(self) -> int:
        """Jobs running or waiting."""
        return self._taken

    @property
    def stopping(self) -> bool:
        """Whether nothing more is taken."""
        return self._stopping

    async def run(self, function: Callable[[Any, J], T], job: J) -> T:
        """Run ``function(made, job)`` in a worker.

        Raises
        ------
        ServiceError
            ``BenchBusy`` when too many wait, when the service stops, or when the readers are ended from outside or for
            want of memory twice, or the bench has no time for it; ``PhotoProblem`` when this photo takes too much
            processor time or crashes its worker twice.
        """
        if self._stopping:
            raise stopping()
        if self._taken >= self._places:
            raise BenchBusy("busy", _("Too many photos are waiting to be read. Send it again in a moment."), 2)
        self._taken += 1
        try:
            return await self._run(function, job)
        finally:
            self._taken -= 1

    async def _run(self, function: Callable[[Any, J], T], job: J) -> T:
        exit_code: int | None = None
        broken = ended = 0
        # What ended a reader may have come from outside: once more before anybody is blamed. One kill of all of them
        # can be met twice, first by the photo that is read and then by the pool that has not noticed: each counts by
        # itself.
        while broken < 2 and ended < 2:
            pool = self._living()
            try:
                result = await self._once(pool, function, job)
            except BrokenProcessPool:
                # The workers died while this photo only waited (memory ran out, a kill).
                self._replace(pool)
                broken += 1
                exit_code = None
            except PoolTimeout:  # it had not used up its processor time: others had it
                raise self._once_more(
                    job.photo,
                    "too_busy",
                    _(
                        "The bench computer was too busy to read this photo within {timeout:.0f} s. Send it again.",
                        timeout=self._timeout,
                    ),
                ) from None
            except ProcessExpired as expired:
                ended += 1
                exit_code = expired.exitcode
                if exit_code == -signal.SIGXCPU:
                    budget = _("{timeout:.0f} s of processor time", timeout=self._timeout * OWN_SHARE)
                    raise PhotoProblem(
                        "too_long", _("Reading this photo was stopped after {budget}. Take another one.", budget=budget)
                    ) from None
            else:
                self._ended.pop(job.photo, None)
                return result
            if self._stopping:
                raise stopping()
        if exit_code is None or exit_code in FROM_OUTSIDE:
            text = _("The readers ended (killed, or out of memory) and were started anew. Send it again.")
            raise self._once_more(job.photo, "readers_ended", text)
        raise PhotoProblem("reader_stopped", _("Reading this photo ended the reader twice. Take another one."))

    async def _once(self, pool: ProcessPool, function: Callable[[Any, J], T], job: J) -> T:
        try:
            future = pool.schedule(work, args=(function, job, self._timeout * OWN_SHARE), timeout=self._timeout)
        except RuntimeError as broken:  # it broke since it was looked at
            raise BrokenProcessPool(str(broken)) from None
        self._jobs.add(future)
        try:
            result: T = await asyncio.wrap_future(future)
        except asyncio.CancelledError:
            if self._stopping and future.cancelled():
                raise stopping() from None
            raise
        finally:
            self._jobs.discard(future)
        return result

    def _once_more(self, photo: Path, code: str, text: str) -> BenchBusy:
        """The bench's fault. Each time this photo meets it, it is asked to wait longer.

        One that eats all memory must not stop a bench.
        """
        times = self._ended.pop(photo, 0) + 1
        self._ended[photo] = times
        while len(self._ended) > _REMEMBERED:
            self._ended.popitem(last=False)
        wait = min(_LONGEST_WAIT, _FIRST_WAIT * 2 ** min(times - 1, 10))
        return BenchBusy(code, text, wait)

    def _living(self) -> ProcessPool:
        if not self._pool.active:
            self._replace(self._pool)
        return self._pool

    def _replace(self, broken: ProcessPool) -> None:
        """Start anew, unless somebody has. What is left of the old one is ended beside: joining it takes a while."""
        if self._pool is broken:
            self._pool = self._start()
            threading.Thread(target=_end, args=(broken,), daemon=True).start()

    def warm(self) -> None:
        """Start the workers now, so that the first photo does not wait for their imports."""
        for _unused in range(self._workers):
            self._pool.schedule(nothing)

    def stop_taking(self) -> None:
        """Begin nothing more: jobs that run may end, all others are refused at once."""
        self._stopping = True
        for future in list(self._jobs):
            if not future.running():
                future.cancel()

    def give_up(self) -> None:
        """Refuse also what still runs; its workers are killed."""
        self._stopping = True
        for future in list(self._jobs):
            future.cancel()

    def close(self) -> None:
        """End the workers."""
        _end(self._pool)


def _end(pool: ProcessPool) -> None:
    pool.stop()  # type: ignore[no-untyped-call]
    pool.join()
