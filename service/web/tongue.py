"""The language of an answer: the one asked for in the address, the one chosen on the page, or the browser's own.

Plain ASGI around everything else, so that what the guard refuses is said in it, too. Threads that answer take the
language along with the rest of their request's context.
"""

from __future__ import annotations

from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qs

from starlette.datastructures import Headers, MutableHeaders
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from stripread.words import SOURCE, speaking
from stripread.words.wanted import by_name, from_header

NAME = "language"  # of the parameter, and of the cookie in which the page keeps what was chosen
_SPOKEN = ("application/json", "application/problem+json")  # kinds of answers that hold words


class Tongue:
    """Let ``app`` speak the language of each request, and say which that was."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Speak the request's language while it is answered."""
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        language = wanted(scope)

        async def labelled(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                if headers.get("content-type", "").split(";")[0] in _SPOKEN:
                    headers["Content-Language"] = language
                    headers.add_vary_header("Accept-Language")
            await send(message)

        with speaking(language):
            await self._app(scope, receive, labelled)


def wanted(scope: Scope) -> str:
    """The language of a request: of its address, its cookie, or its header; English where none is spoken here."""
    headers = Headers(scope=scope)
    asked = parse_qs(scope["query_string"].decode("latin-1")).get(NAME, [""])[-1] if scope["query_string"] else ""
    return by_name(asked) or by_name(_chosen(headers)) or from_header(headers.get("accept-language", "")) or SOURCE


def _chosen(headers: Headers) -> str:
    try:
        kept = SimpleCookie(headers.get("cookie", "")).get(NAME)
    except CookieError:
        return ""
    return "" if kept is None else kept.value
