"""The names and addresses that this computer answers to, as they are now: a network may give it another address."""

from __future__ import annotations

import time

from service.authority.names import lan_address, may_name, own_name
from service.settings import Settings

LOCAL_NAMES = frozenset({"localhost", "127.0.0.1", "[::1]"})
TRUST_PAGES = frozenset({"/trust", "/trust/ca.crt", "/trust/seen", "/trust/trust.js", "/trust/trust.css"})
_LOOKED_EVERY = 5.0  # seconds: a request must not cost a look at the network


def certificate_names(settings: Settings) -> frozenset[str]:
    """What the certificate should name, before the authority leaves out what it may not."""
    named = {own_name() or "localhost", lan_address(), *settings.names}
    return frozenset({"localhost", "127.0.0.1", "::1"} | named)


def https_root(settings: Settings, host: str) -> str | None:
    """The address of the page with TLS for somebody who calls this computer ``host``; None where there is none."""
    if settings.https_port is None or not may_name(host.strip("[]")):
        return None
    return f"https://{host}:{settings.https_port}"


def name_of(host: str) -> str:
    """The name in a Host header, without its port; an IPv6 address keeps its brackets."""
    if host.startswith("["):
        return host.partition("]")[0] + "]"
    return host.partition(":")[0].lower()


class Hosts:
    """What a request's Host may say: a foreign name that points here (DNS rebinding) would share its site's scripts."""

    def __init__(self, settings: Settings) -> None:
        self._lan = settings.lan
        named = {own_name() or "localhost"} if settings.lan else set()
        self._fixed = LOCAL_NAMES | named | {name.lower() for name in settings.names}
        self._address, self._until = "", 0.0

    def __contains__(self, name: str) -> bool:
        if name in self._fixed:
            return True
        if not self._lan:
            return False
        if time.monotonic() >= self._until:
            self._address, self._until = lan_address(), time.monotonic() + _LOOKED_EVERY
        return name == self._address
