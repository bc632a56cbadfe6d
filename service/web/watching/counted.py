"""Every request is counted with its time, and has one line in the log where somebody wants lines."""

from __future__ import annotations

import logging
import time

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.web.watching.metrics import Metrics

log = logging.getLogger("stripread.requests")
NO_ROUTE = "none"  # what no route took: refused at the door, or no such address
_METHODS = {"GET", "HEAD", "POST", "PATCH", "PUT", "DELETE", "OPTIONS"}


class Counted:
    """Stands around the whole app. ``route`` is told as declared, so that numbers in an address make no new label."""

    def __init__(self, app: ASGIApp, metrics: Metrics) -> None:
        self._app = app
        self._metrics = metrics

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through and count it, however it ends."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        began, status = time.monotonic(), 500  # of what ends in an error of ours

        async def sending(message: Message) -> None:
            nonlocal status
            if message["type"] == "http.response.start":
                status = message["status"]
            await send(message)

        try:
            await self._app(scope, receive, sending)
        finally:
            seconds = time.monotonic() - began
            route = str(getattr(scope.get("route"), "path", NO_ROUTE))
            method = scope["method"] if scope["method"] in _METHODS else "other"
            self._metrics.answered(method, route, status, seconds)
            if log.isEnabledFor(logging.INFO):
                said = {"method": method, "route": route, "status": status, "seconds": round(seconds, 4)}
                log.info("answered", extra=said)
