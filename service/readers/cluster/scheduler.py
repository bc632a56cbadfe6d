"""A Dask scheduler and its workers: photos sent there, readings back, the connection made anew when it was lost."""

from __future__ import annotations

import contextlib
import logging
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, TypeVar

from service.readers.cluster.left_in_store import LeftInStore, NotFetched
from service.readers.cluster.parcel import Parcel, open_and_work, packed
from service.readers.worker import Job, Outcome, read_job
from stripread.errors import CallError
from stripread.words import _

T = TypeVar("T")
log = logging.getLogger("stripread.photos")
_TRIED = 5  # photos that no worker could fetch, until none is left to them any more
_CONNECT_S = 5.0
RESTS = 5.0  # seconds for which a scheduler that did not answer is not asked again: each ask would wait for it anew


class ClusterLost(Exception):  # noqa: N818 - what it is, in the house's words
    """The scheduler does not answer, or its workers died over and over: nothing is known of the photo."""


class WorkersDied(ClusterLost):
    """The scheduler gave a photo up after several of its workers had died at it."""


class ClusterWorkers:
    """Workers of a cluster. For many threads.

    Parameters
    ----------
    url
        The scheduler's, ``tcp://HOST:8786`` or ``tls://HOST:8786``.
    make
        Called once in each of its worker processes, in which this program must be installed.
    longest
        Seconds for which who reads an archive waits for a photo, and then takes the cluster for lost.
    left
        Photos that jobs may leave in their store for the workers to fetch. One that a worker can't fetch is fetched
        here and sent; after a few of which none was fetched, all are.
    """

    def __init__(
        self, url: str, make: Callable[[], Any], longest: float | None = None, left: LeftInStore | None = None
    ) -> None:
        self.longest = longest
        self._left = left
        self._fetched, self._unfetched = 0, 0  # photos that workers could fetch from the store, and could not
        self._fetching = ThreadPoolExecutor(4, thread_name_prefix="photos for workers")
        self._url = url
        self._make = make
        self._not_before = 0.0
        self._lock = threading.Lock()
        self._client: Any = None
        self._under_way: set[Any] = set()  # the scheduler forgets what nobody holds
        self.at_once = max(1, sum(self._connected().nthreads().values()))

    def _connected(self) -> Any:  # noqa: ANN401 - distributed's
        try:
            from distributed import Client  # noqa: PLC0415 - only who has a cluster needs it
        except ImportError:
            raise CallError(_("a cluster needs a further package: pip install 'stripread[cluster]'")) from None
        with self._lock:
            if self._client is not None and self._client.status != "running":
                self._drop()
            if self._client is None:
                if time.monotonic() < self._not_before:
                    raise ClusterLost(_("it did not answer a moment ago"))
                try:
                    made: Any = Client
                    self._client = made(self._url, timeout=_CONNECT_S, set_as_default=False)
                except ValueError as wrong:
                    raise CallError(_("{url} is no scheduler's URL: {wrong}", url=self._url, wrong=wrong)) from None
                except OSError as problem:
                    self._not_before = time.monotonic() + RESTS
                    raise ClusterLost(str(problem).splitlines()[0]) from None
            return self._client

    def _drop(self) -> None:
        """Let go of a connection: what is under way by it ends in ``ClusterLost``."""
        client, self._client = self._client, None
        with contextlib.suppress(Exception):  # it is lost: what it says of that is no news
            client.close(timeout=1)

    def work(self, function: Callable[[Any, Job], T], job: Job) -> Future[T]:
        """Have ``function(made, job)`` done; the future may end in ``ClusterLost``.

        Raises
        ------
        ClusterLost
            If the scheduler does not answer now.
        """
        found: Future[T] = Future()
        try:
            parcel = packed(job, self._left, fetched=not self._fetched and self._unfetched >= _TRIED)
        except OSError as problem:  # of this photo: the others are read all the same
            found.set_exception(problem)
            return found
        self._submit(function, job, parcel, found)
        return found

    def _submit(self, function: Callable[[Any, Job], T], job: Job, parcel: Parcel, found: Future[T]) -> None:
        # pure=False: the same photo posted again is another job, and never another one's answer.
        far = self._connected().submit(open_and_work, self._make, function, parcel, pure=False)
        self._under_way.add(far)

        def done(ended: Any) -> None:  # noqa: ANN401 - distributed's
            self._under_way.discard(ended)
            if found.cancelled():
                return
            try:
                result = ended.result()
            except NotFetched as away:
                self._not_fetched(away)
                self._fetching.submit(self._send, function, job, found)
                return
            except Exception as trouble:  # of the job, or of the cluster
                if found.set_running_or_notify_cancel():
                    found.set_exception(_told(trouble))
                return
            self._fetched += bool(parcel.left)
            if found.set_running_or_notify_cancel():
                found.set_result(result)

        far.add_done_callback(done)
        found.add_done_callback(lambda ended: far.cancel() if ended.cancelled() else None)

    def _not_fetched(self, away: NotFetched) -> None:
        self._unfetched += 1
        if self._unfetched == 1:  # once, and not for each photo
            log.warning("a worker of the cluster can't fetch photos (%s): they are sent to it", away)

    def _send(self, function: Callable[[Any, Job], T], job: Job, found: Future[T]) -> None:
        """Have it done by a worker that gets the photo itself."""
        try:
            self._submit(function, job, packed(job, self._left, fetched=True), found)
        except Exception as trouble:  # the store is away from here, too; the cluster is lost
            if found.set_running_or_notify_cancel():
                found.set_exception(trouble)

    def read(self, job: Job) -> Future[Outcome]:
        """Have a photo read."""
        return self.work(read_job, job)

    def close(self) -> None:
        """End the connection; the cluster stays."""
        self._fetching.shutdown(wait=False, cancel_futures=True)
        with self._lock:
            if self._client is not None:
                self._client.close()
                self._client = None


def _told(trouble: Exception) -> Exception:
    """What ended a job: its own error, or that of the cluster."""
    if type(trouble).__name__ == "KilledWorker":  # distributed's
        return WorkersDied(str(trouble))
    lost = type(trouble).__module__.startswith(("distributed", "asyncio", "concurrent"))
    return ClusterLost(str(trouble)) if lost else trouble
