"""Many photos in one call: on all cores, in their order, in the same kind of processes as the service's."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from typing import Any, TypeVar

from service.readers.worker import work

J = TypeVar("J")
T = TypeVar("T")
CHUNK = 8  # photos at most that go to a process at once


def in_order(make: Callable[[], Any], function: Callable[[Any, J], T], jobs: Sequence[J]) -> Iterator[T]:
    """What ``function(made, job)`` returns for each job, in order; ``made`` is what ``make`` returned in that process.

    One job, or one core, is worked on here. What a job raises is raised in its turn; the processes end with the caller.
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
        chunk = max(1, min(CHUNK, len(jobs) // (4 * workers)))
        yield from pool.map(partial(work, function), jobs, chunksize=chunk).result()
        pool.close()  # type: ignore[no-untyped-call]
    finally:
        pool.stop()  # type: ignore[no-untyped-call]
        pool.join()
