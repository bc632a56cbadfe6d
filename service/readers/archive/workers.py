"""The workers that read an archive's photos: processes of this computer, or whatever else reads (``Workers``)."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import Future
from concurrent.futures.process import BrokenProcessPool
from typing import Any, Protocol

from pebble import ProcessExpired

from service.log.photos.store import StoreAway
from service.readers.cluster.parcel import OtherVersion
from service.readers.cluster.scheduler import ClusterLost, WorkersDied
from service.readers.pool import FROM_OUTSIDE, process_pool
from service.readers.worker import Job, Outcome, read_job, work
from stripread.errors import CallError
from stripread.words import _

TRIES = 2  # of one photo: what ended its reader may have come from outside
_ENDED = (ProcessExpired, BrokenProcessPool, ClusterLost, TimeoutError)


class PhotoFailed(Exception):  # noqa: N818 - what it is, in the house's words
    """A photo that can't be read for a reason of its own, which the text says: the others are read all the same."""


class Workers(Protocol):
    """Reads photos, several at once.

    ``longest``: seconds to wait for the photo that was lined up first; None where a reading's time is bounded anyway.
    """

    at_once: int
    longest: float | None

    def read(self, job: Job) -> Future[Outcome]:
        """Have a photo read."""
        ...

    def close(self) -> None:
        """End, also what is being read."""
        ...


class OwnWorkers:
    """Processes of this computer, as those of the service.

    Parameters
    ----------
    timeout
        Seconds of one reading.
    memory
        Address space of each in bytes, or None.
    """

    def __init__(self, make: Callable[[], Any], workers: int, timeout: float, memory: int | None) -> None:
        self.at_once = workers
        self.longest: float | None = None
        self._start_with = (make, workers, memory)
        self._timeout = timeout
        self._pool = self._start()

    def _start(self) -> Any:  # noqa: ANN401 - pebble's
        make, workers, memory = self._start_with
        return process_pool(make, workers, memory=memory, max_tasks=2000)

    def read(self, job: Job) -> Future[Outcome]:
        """Have a photo read; the future may end in ``ProcessExpired`` or ``TimeoutError``."""
        try:
            future: Future[Outcome] = self._pool.schedule(work, args=(read_job, job), timeout=self._timeout)
        except RuntimeError:  # all its processes were ended
            self.close()
            self._pool = self._start()
            future = self._pool.schedule(work, args=(read_job, job), timeout=self._timeout)
        return future

    def close(self) -> None:
        """End them."""
        self._pool.stop()
        self._pool.join()


def outcome_of(workers: Workers, job: Job, future: Future[Outcome]) -> Outcome:
    """What came of a photo; one whose reader ended is read once more.

    Raises
    ------
    PhotoFailed
        If it can't be read for a reason of its own.
    CallError
        If its reader was ended from outside or for want of memory again, while others read beside it; or a worker of
        the cluster has another version.
    ClusterLost
        If the cluster is lost.
    StoreAway
        If no worker can fetch a photo from its store, and this computer can't either.
    """
    for _unused in range(TRIES - 1):
        try:
            return _ended(future, workers.longest)
        except _ENDED:
            future = workers.read(job)
    try:
        return _ended(future, workers.longest)
    except WorkersDied as problem:
        raise PhotoFailed(_said(problem)) from problem
    except ClusterLost:
        raise
    except _ENDED as problem:
        outside = isinstance(problem, BrokenProcessPool) or getattr(problem, "exitcode", None) in FROM_OUTSIDE
        if outside and workers.at_once > 1:
            text = _(
                "reading {name} ended its process twice: is memory short? Call again with --workers 1: it goes on "
                "from here",
                name=job.photo.name,
            )
            raise CallError(text) from None
        raise PhotoFailed(_said(problem)) from problem


def _ended(future: Future[Outcome], longest: float | None) -> Outcome:
    try:
        return future.result(longest)
    except (*_ENDED, OtherVersion, StoreAway) as problem:
        if isinstance(problem, TimeoutError) and not future.done():
            future.cancel()
            raise ClusterLost(_("no worker read a photo within {longest:.0f} s", longest=longest)) from None
        raise
    except Exception as problem:  # of this photo, or of its profile
        raise PhotoFailed(_said(problem)) from problem


def _said(problem: BaseException) -> str:
    code = getattr(problem, "exitcode", None)
    return f"{type(problem).__name__}: {problem}" + ("" if code is None else f" ({code})")
