"""The server with a second port: TLS with the service's own certificate, renewed while it runs."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Awaitable, Callable
from dataclasses import dataclass
from typing import Any

import uvicorn

from service.authority.keeper import Keeper
from service.web.stopping import StoppingServer

_HANDSHAKE = 10.0  # seconds, as for a request's head
_LOOK_EVERY = 150  # ticks of a tenth of a second: an address that changed is named within a quarter of a minute


@dataclass(frozen=True)
class SecondPort:
    """Where the second port listens, and with which certificates."""

    host: str
    port: int
    keeper: Keeper


class TwoPortServer(StoppingServer):
    """One app, one bound on connections, two ports; it stops as the one-port server does."""

    def __init__(
        self, config: uvicorn.Config, settle: Callable[[], Awaitable[None]], second: SecondPort | None
    ) -> None:
        super().__init__(config, settle)
        self._second = second
        self._looking: asyncio.Task[None] | None = None
        self.failed: OSError | None = None  # the second port's
        self.when_started: Callable[[], None] = lambda: None

    async def startup(self, sockets: list[Any] | None = None) -> None:
        """Open both ports; where the second can't be had, say so and stop again."""
        await super().startup(sockets)
        if self._second is not None and not self.should_exit:
            await self._open(self._second)
        if self.started and not self.should_exit:
            self.when_started()

    async def _open(self, second: SecondPort) -> None:

        def protocol() -> asyncio.Protocol:
            made = self.config.http_protocol_class
            return made(config=self.config, server_state=self.server_state, app_state=self.lifespan.state)  # type: ignore[call-arg]

        try:
            server = await asyncio.get_running_loop().create_server(
                protocol,
                second.host,
                second.port,
                ssl=second.keeper.context,
                ssl_handshake_timeout=_HANDSHAKE,
                backlog=self.config.backlog,
            )
        except OSError as problem:
            self.failed, self.should_exit = problem, True
            return
        self.servers.append(server)

    async def on_tick(self, counter: int) -> bool:
        """Look now and then whether it is time for a new certificate."""
        if self._second is not None and counter % _LOOK_EVERY == _LOOK_EVERY - 1 and self._looking is None:
            self._looking = asyncio.create_task(self._look(self._second.keeper))
        return await super().on_tick(counter)

    async def _look(self, keeper: Keeper) -> None:
        try:
            await asyncio.to_thread(keeper.renew)
        except Exception:  # a full disk must not end the service: the old one may do, and it is tried again
            logging.getLogger("uvicorn.error").exception("no new certificate")
        finally:
            self._looking = None

    async def shutdown(self, sockets: list[Any] | None = None) -> None:
        """Close both ports."""
        if self._looking is not None:
            self._looking.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._looking
        await super().shutdown(sockets)
