"""Blocking work kept off the event loop, in the threads that the whole service shares."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import ParamSpec, TypeVar

from anyio import to_thread

P = ParamSpec("P")
T = TypeVar("T")


async def in_thread(function: Callable[P, T], *args: P.args, **named: P.kwargs) -> T:
    """What ``function`` returns, called in a thread; what it raises is raised here."""
    return await to_thread.run_sync(partial(function, *args, **named))
