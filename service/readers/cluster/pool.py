"""The service's readers, where they are a cluster's: as bounded as the pool of this computer."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from typing import Any, TypeVar

from service.errors import BenchBusy
from service.readers.cluster.parcel import OtherVersion
from service.readers.cluster.scheduler import ClusterLost, ClusterWorkers
from service.readers.pool import WorkPool, stopping
from service.readers.threads import in_thread
from service.readers.worker import Job
from stripread.words import _

T = TypeVar("T")


class ClusterPool(WorkPool):
    """Takes jobs as ``WorkPool`` does and hands them to a scheduler. No process is started here.

    A photo's time is bounded, by ``timeout``; that of a worker that hangs is the cluster's own matter.
    """

    def __init__(self, url: str, make: Callable[[], Any], waiting: int, timeout: float) -> None:
        self._cluster = ClusterWorkers(url, make)
        super().__init__(make, self._cluster.at_once, waiting, timeout, None)

    def _start(self) -> Any:  # noqa: ANN401 - there is none
        return None

    async def _run(self, function: Callable[[Any, Any], T], job: Job) -> T:
        try:
            future = await in_thread(self._cluster.work, function, job)
        except ClusterLost:
            raise _no_readers() from None
        self._jobs.add(future)
        try:
            result: T = await asyncio.wait_for(asyncio.wrap_future(future), self._timeout)
        except TimeoutError:
            text = _("No worker of the cluster read it within {timeout:.0f} s. Send it again.", timeout=self._timeout)
            raise self._once_more(job.photo, "too_busy", text) from None
        except ClusterLost:
            if self._stopping:
                raise stopping() from None
            text = _("The readers ended (killed, or out of memory) and were started anew. Send it again.")
            raise self._once_more(job.photo, "readers_ended", text) from None
        except OtherVersion as wrong:
            raise BenchBusy("other_version", _("Nothing was stored: {wrong}.", wrong=wrong), 60) from None
        except asyncio.CancelledError:
            if self._stopping and future.cancelled():
                raise stopping() from None
            raise
        finally:
            self._jobs.discard(future)
        self._ended.pop(job.photo, None)
        return result

    def warm(self) -> None:
        """Nothing: the workers run already."""

    def stop_taking(self) -> None:
        """Begin nothing more; what a worker has may end."""
        self._stopping = True

    def close(self) -> None:
        """End the connection; the cluster stays."""
        self._cluster.close()


def _no_readers() -> BenchBusy:
    return BenchBusy(
        "no_readers", _("The cluster that reads photos does not answer. Nothing was stored. Send it again."), 10
    )
