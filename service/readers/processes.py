"""The one kind of process pool: each process makes its reader once, is bounded in memory, and ends with its parent."""

from __future__ import annotations

import os
from collections.abc import Callable
from multiprocessing import get_context
from typing import Any

from pebble import ProcessPool

from service.readers.worker import begin


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
