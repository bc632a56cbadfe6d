"""What every request passes before the app sees it: known host, same site, who asks, not too often, not too slow.

Written as plain ASGI, so that a refused request costs almost nothing and a body is never read in vain.
"""

from __future__ import annotations

import asyncio
import time
from http.cookies import CookieError, SimpleCookie
from urllib.parse import urlsplit

from sqlalchemy.exc import SQLAlchemyError
from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from service.log.benches.asking import asking
from service.log.database import busy
from service.readers.pool import stopping
from service.settings import Settings
from service.web.asking.asker import Asker, Askers
from service.web.bench_faults import fault_of
from service.web.connection import HEAD_TOO_LARGE, MAX_HEAD
from service.web.door.names import TRUST_PAGES, Hosts, name_of
from service.web.pairing import COOKIE, SECURE_COOKIE
from service.web.problems import ServiceProblem, answer, of_service
from service.web.rates import Buckets, device_name, network_of
from service.web.stopping import Stopping
from stripread.words import _, say

_SAFE = {"GET", "HEAD", "OPTIONS"}
ALIVE = "/livez"  # answered also while the service stops
# And the page's own files. A phone reads how to trust the service before it is paired.
# The figures have a token of their own, asked for at their address.
_OPEN = {"/", "/healthz", "/livez", "/readyz", "/metrics", "/openapi.json", "/api/join", "/favicon.ico", *TRUST_PAGES}
_HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob:; connect-src 'self'; "
        "worker-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "X-Frame-Options": "DENY",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "geolocation=(), microphone=(), payment=(), usb=()",
}


class Guard:
    """The gate in front of ``app``.

    ``page_files`` are the addresses of the page's own files, which a phone needs before it is paired.
    """

    def __init__(
        self, app: ASGIApp, settings: Settings, askers: Askers, stopping: Stopping, page_files: frozenset[str]
    ) -> None:
        self._app = app
        self._stopping = stopping
        self._settings = settings
        self._askers = askers
        self._open = _OPEN | page_files
        self._posts = Buckets(settings.posts_per_minute)
        self._joins = Buckets(settings.joins_per_minute)
        self._coming_in = 0
        self._hosts = Hosts(settings)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer it here."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        dressed = _dressed(send, scope["path"], self._stopping)
        try:
            self._check(scope)
            asker = await self._admitted(scope)
        except ServiceProblem as p:
            await answer(p.status, p.code, p.detail, retry_after=p.retry_after)(scope, receive, dressed)
            return
        except SQLAlchemyError as trouble:  # the log could not be asked whose phone or program this is
            await of_service(fault_of(trouble, self._settings.data) or busy())(scope, receive, dressed)
            return
        with asking(asker.bench):  # whatever answers sees this bench's batches, and no others
            if scope["method"] in _SAFE:
                await self._app(scope, _patient(receive, self._settings, self._stopping), dressed)
                return
            self._coming_in += 1
            try:
                await self._app(scope, _patient(receive, self._settings, self._stopping), dressed)
            finally:
                self._coming_in -= 1

    def _check(self, scope: Scope) -> None:
        if self._stopping.begun and scope["path"] != ALIVE:
            fault = stopping()
            raise ServiceProblem(503, fault.code, fault.detail, fault.retry_after)
        if _head_size(scope) > MAX_HEAD:
            raise ServiceProblem(431, "head_too_large", say(HEAD_TOO_LARGE))
        headers = Headers(scope=scope)
        method = scope["method"]
        host = headers.get("host", "")
        # Only under its own names: a foreign name that points here (DNS rebinding) would share its site's scripts.
        if name_of(host) not in self._hosts:
            raise ServiceProblem(
                421, "wrong_host", _("This service does not answer under that name. Use the link that it shows.")
            )
        if method not in _SAFE:
            check_same_site(headers, host)
        length = headers.get("content-length", "0")
        if not length.isdigit() or int(length) > self._settings.max_body:
            limit = self._settings.max_body // (1024 * 1024)
            raise ServiceProblem(
                413, "too_large", _("The body is larger than {limit} MB. Send a smaller photo.", limit=limit)
            )

    async def _admitted(self, scope: Scope) -> Asker:
        """Who asks, if that one may ask this."""
        headers, path = Headers(scope=scope), scope["path"]
        address = scope["client"][0] if scope.get("client") else ""
        cookie = _cookie(headers, scope["scheme"])
        if path in self._open:
            asker = self._askers.at_open_door(cookie, address)
        else:
            asker = await self._askers.of(headers, cookie, address)
        scope.setdefault("state", {}).update(local=asker.local, session=asker.session, bench=asker.bench)
        if path == "/api/join":
            self._joins.need(network_of(address))
        elif path not in self._open and not asker.known:
            raise ServiceProblem(
                401, "not_paired", _("This device is not paired. Scan the code that the bench computer shows.")
            )
        if scope["method"] not in _SAFE:
            self._posts.need(device_name(asker.session, address, asker.bench))
            if self._coming_in >= self._settings.coming_in:  # said before the body is read, and kept in memory, in vain
                raise ServiceProblem(503, "busy", _("Too many photos are coming in. Send it again in a moment."), 2)
        return asker


def check_same_site(headers: Headers, host: str) -> None:
    """Refuse what another site makes a browser ask for or send. Programs send neither header."""
    site = headers.get("sec-fetch-site")
    origin = headers.get("origin")
    wrong = (site is not None and site not in ("same-origin", "none")) or (
        origin is not None and _site_of(origin) != host
    )
    if wrong:
        raise ServiceProblem(403, "cross_site", _("This request came from another site."))


def _site_of(origin: str) -> str | None:
    """Host and port of an origin; None for one that has none ("null") or can't be parsed."""
    try:
        return urlsplit(origin).netloc or None
    except ValueError:
        return None


def _head_size(scope: Scope) -> int:
    """Bytes of a request's line and headers, nearly: a head that came whole is not counted by the server."""
    line = len(scope.get("raw_path") or b"") + len(scope.get("query_string") or b"")
    return line + sum(len(name) + len(value) + 4 for name, value in scope["headers"])


def _cookie(headers: Headers, scheme: str) -> str:
    try:
        kept = SimpleCookie(headers.get("cookie", ""))
    except CookieError:
        return ""
    morsel = (kept.get(SECURE_COOKIE) if scheme == "https" else None) or kept.get(COOKIE)
    return morsel.value if morsel else ""


def _dressed(send: Send, path: str, stop: Stopping) -> Send:
    async def sending(message: Message) -> None:
        if message["type"] == "http.response.start":
            headers = MutableHeaders(scope=message)
            for name, value in _HEADERS.items():
                headers.setdefault(name, value)
            if path.startswith("/api/"):
                headers.setdefault("Cache-Control", "no-store")
            if stop.begun:
                headers["Connection"] = "close"
        await send(message)

    return sending


def _patient(receive: Receive, settings: Settings, stop: Stopping) -> Receive:
    """Wait for a body, but not for ever: silence, trickling and the service's own end all end it."""
    deadline = time.monotonic() + settings.body_total
    done = False

    async def receiving() -> Message:
        nonlocal done
        if done:  # only the disconnect is left to come, and that may take as long as it likes
            return await receive()
        left = 0.0 if stop.begun else min(settings.body_idle, deadline - time.monotonic())
        try:
            async with asyncio.timeout(max(left, 0.001)) as wait:
                stop.waits.add(wait)
                try:
                    message = await receive()
                finally:
                    stop.waits.discard(wait)
        except TimeoutError:
            if stop.begun:
                fault = stopping()
                raise HTTPException(503, fault.detail, {"Retry-After": str(fault.retry_after)}) from None
            raise HTTPException(
                408, _("The body came too slowly. Send it again over a better connection."), {"Connection": "close"}
            ) from None
        done = message["type"] != "http.request" or not message.get("more_body", False)
        return message

    return receiving
