"""Many photos in one call: on all cores, in their order, in the same kind of processes as the service's."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from typing import TYPE_CHECKING, Any, TypeVar

from service.readers.worker import work
from stripread.errors import CallError
from stripread.words import _

if TYPE_CHECKING:
    from pebble import ProcessPool

J = TypeVar("J")
T = TypeVar("T")


def in_order(make: Callable[[], Any], function: Callable[[Any, J], T], jobs: Sequence[J]) -> Iterator[T]:
    """What ``function(made, job)`` returns for each job, in order; ``made`` is what ``make`` returned in that process.

    One job, or one core, is worked on here. What a job raises is raised in its turn; the processes end with the caller.

    Raises
    ------
    CallError
        If a job ended its process twice.
    """
    workers = min(len(jobs), os.cpu_count() or 1)
    if workers <= 1:
        made = make()
        for job in jobs:
            yield function(made, job)
        return
    from service.readers.pool import process_pool  # noqa: PLC0415 - only where there is more than one to read

    pool = process_pool(make, workers)
    try:
        coming = [pool.schedule(work, args=(function, job)) for job in jobs]
        for job, future in zip(jobs, coming, strict=True):
            yield _result(pool, function, job, future)
        pool.close()  # type: ignore[no-untyped-call]
    finally:
        pool.stop()  # type: ignore[no-untyped-call]
        pool.join()


def _result(pool: ProcessPool, function: Callable[[Any, J], T], job: J, future: Any) -> T:  # noqa: ANN401 - pebble's
    """A job's result. Its process may have been killed from outside (memory ran out): then once more."""
    from pebble import ProcessExpired  # noqa: PLC0415 - with the pool

    try:
        result: T = future.result()
    except ProcessExpired:
        try:
            result = pool.schedule(work, args=(function, job)).result()
        except ProcessExpired:
            text = _("a reading process was ended twice at one photo: is memory short? Read fewer at once")
            raise CallError(text) from None
    return result
