"""Stopping by plan: what is being read is answered, the rest is told when to come again, then the process ends with 0.

The listening socket stays open until the readings are answered: a phone that finds it closed has met an error, and one
that is told 503 with Retry-After has a plan.
"""

from __future__ import annotations

import asyncio
import signal
from collections.abc import Awaitable, Callable
from types import FrameType

import uvicorn


class Stopping:
    """Whether the service is about to end; wakes those who wait for a body."""

    def __init__(self) -> None:
        self.begun = False
        self.waits: set[asyncio.Timeout] = set()  # of bodies that are coming in

    def begin(self) -> None:
        """From now on nothing new is begun. In the event loop's thread."""
        self.begun = True
        now = asyncio.get_running_loop().time()
        for wait in self.waits:
            wait.reschedule(now)


class StoppingServer(uvicorn.Server):
    """The server, ended by SIGTERM or SIGINT in two steps: ``settle`` while it still answers, then its own end.

    A second signal ends it without waiting for the readings.
    """

    def __init__(self, config: uvicorn.Config, settle: Callable[[], Awaitable[None]]) -> None:
        super().__init__(config)
        self._settle = settle
        self._asked = False
        self._settling: asyncio.Task[None] | None = None

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """Only take note: a signal's handler runs between any two steps of the program."""
        if self._asked:
            self.should_exit = True
            self.force_exit = self.force_exit or sig == signal.SIGINT
        self._asked = True  # the server's own handler would raise the signal again at the end: the exit code is ours

    async def on_tick(self, counter: int) -> bool:
        """Begin to stop when asked; called ten times a second."""
        if self._asked and self._settling is None:
            self._settling = asyncio.create_task(self._settled())
        return await super().on_tick(counter)

    async def _settled(self) -> None:
        try:
            await self._settle()
        finally:
            self.should_exit = True
