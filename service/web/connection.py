"""Bounds on what a connection may do before and after its requests; the server has none of its own for these.

What a request may do is bounded by ``guard``. Here: a head that trickles in, a body that goes on after its answer was
given, an answer that is not taken, and one device that opens connection after connection.
"""

from __future__ import annotations

import asyncio
import json
import sys
from collections import Counter
from typing import Any, ClassVar

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from service.settings import Bounds
from service.web.rates import is_loopback, network_of
from stripread.words import N_

MAX_HEAD = 16 * 1024  # bytes of a request's line and headers
HEAD_TOO_LARGE = N_("The request's line and headers are larger than 16 KB. Send fewer or shorter ones.")
_TOO_LARGE = 431


def bounded(bounds: Bounds) -> type[asyncio.Protocol]:
    """The server's protocol class, held to these bounds; a new class, since the server makes its instances."""

    class Bounded(BoundedProtocol):
        limits = bounds
        open_by: ClassVar[Counter[str]] = Counter()

    return Bounded


class BoundedProtocol(H11Protocol):
    """HTTP/1.1 as the server speaks it, with clocks beside it. A bound that is passed ends the connection."""

    limits: ClassVar[Bounds] = Bounds()
    open_by: ClassVar[Counter[str]] = Counter()  # address or IPv6 network -> connections

    def __init__(self, *args: Any, **named: Any) -> None:  # noqa: ANN401 - the server's own
        super().__init__(*args, **named)
        self._reading: asyncio.TimerHandle | None = None
        self._writing: asyncio.TimerHandle | None = None
        self._address = ""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """Start the clock at once: a connection that says nothing is a connection, too."""
        super().connection_made(transport)
        address = self.client[0] if self.client else ""
        self._address = network_of(address)
        self.open_by[self._address] += 1
        many = not is_loopback(address) and self.open_by[self._address] > self.limits.each
        if many or len(self.connections) > self.limits.total:
            transport.abort()
            return
        self._read_within(self.limits.head)

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop the clocks."""
        self._read_within(None)
        self._stop_writing_clock()
        self.open_by[self._address] -= 1
        if self.open_by[self._address] <= 0:
            del self.open_by[self._address]
        super().connection_lost(exc)

    def data_received(self, data: bytes) -> None:
        """Read, and see what is still missing."""
        super().data_received(data)
        if self.transport.is_closing():
            return
        if self.conn.their_state is h11.IDLE:  # a head has begun (or an unwanted body has ended) and is not whole
            if self._reading is None:
                self._read_within(self.limits.head)
        elif not self._answered_early():
            self._read_within(None)  # from here on the guard's clock runs

    def on_response_complete(self) -> None:
        """Give a body that nobody wants a short while to end: closing at once would take the answer away, too."""
        super().on_response_complete()
        if self.transport.is_closing():
            self._write_within(self.limits.answer)
        elif self._answered_early():
            self._unset_keepalive_if_required()
            self._read_within(self.limits.after_answer)

    def timeout_keep_alive_handler(self) -> None:
        """Close an idle connection, even when the other side never took its last answer."""
        super().timeout_keep_alive_handler()
        self._write_within(self.limits.after_answer)

    def pause_writing(self) -> None:
        """More was answered than the other side has taken: it may take its time, but not for ever."""
        super().pause_writing()
        self._write_within(self.limits.answer)

    def resume_writing(self) -> None:
        """It was taken."""
        super().resume_writing()
        self._stop_writing_clock()

    def send_400_response(self, msg: str) -> None:
        """Say that a head is too large as what it is (RFC 6585, section 5); all else that is no HTTP stays 400."""
        if getattr(sys.exc_info()[1], "error_status_hint", 400) != _TOO_LARGE:
            super().send_400_response(msg)
            return
        title = "Request Header Fields Too Large"
        told = {"type": "about:blank", "title": title, "status": _TOO_LARGE, "detail": HEAD_TOO_LARGE}
        body = json.dumps({**told, "code": "head_too_large"}).encode()
        headers = [(b"content-type", b"application/problem+json"), (b"connection", b"close")]
        headers.append((b"content-length", str(len(body)).encode()))
        response = h11.Response(status_code=_TOO_LARGE, headers=headers, reason=title.encode())
        for event in (response, h11.Data(data=body), h11.EndOfMessage()):
            self.transport.write(self.conn.send(event) or b"")
        self.transport.close()

    def _answered_early(self) -> bool:
        cycle: Any = self.cycle  # None before the first request
        return cycle is not None and bool(cycle.response_complete) and self.conn.their_state is h11.SEND_BODY

    def _read_within(self, seconds: float | None) -> None:
        if self._reading is not None:
            self._reading.cancel()
        self._reading = None if seconds is None else self.loop.call_later(seconds, self.transport.abort)

    def _write_within(self, seconds: float) -> None:
        if self._writing is None:
            self._writing = self.loop.call_later(seconds, self.transport.abort)

    def _stop_writing_clock(self) -> None:
        if self._writing is not None:
            self._writing.cancel()
            self._writing = None
