"""How often somebody may ask: token buckets, and the name under which a device has its own."""

from __future__ import annotations

import ipaddress
import time
from collections import OrderedDict

from fastapi import Request

from service.web.problems import ServiceProblem
from stripread.words import _


class Buckets:
    """Token buckets: so many a minute for each name, all of them at once if need be."""

    def __init__(self, per_minute: int, names: int = 4096) -> None:
        self._size = float(per_minute)
        self._rate = per_minute / 60
        self._names = names  # so that a flood of addresses can't fill the memory
        self._state: OrderedDict[str, tuple[float, float]] = OrderedDict()

    def take(self, name: str) -> int:
        """0 if there is one left, else the seconds to wait."""
        at = time.monotonic()
        left, seen = self._state.pop(name, (self._size, at))
        left = min(self._size, left + (at - seen) * self._rate)
        wait = 0 if left >= 1 else max(1, round((1 - left) / self._rate))
        self._state[name] = (left - 1 if left >= 1 else left, at)
        while len(self._state) > self._names:
            self._state.popitem(last=False)
        return wait

    def need(self, name: str) -> None:
        """Take one.

        Raises
        ------
        ServiceProblem
            429 with the seconds to wait when none is left.
        """
        wait = self.take(name)
        if wait:
            raise ServiceProblem(429, "too_often", _("Too many requests. Try again in {wait} s.", wait=wait), wait)

    def allow(self, request: Request) -> None:
        """``need`` for the device that sent this request."""
        address = request.client.host if request.client else ""
        self.need(device_name(request.state.session, address, request.state.bench))


def device_name(session: int | None, address: str, bench: int | None = None) -> str:
    """The name of a device's buckets: its session, the bench of its token without one, else its network."""
    return f"s{session}" if session else f"b{bench}" if bench else network_of(address)


def network_of(address: str) -> str:
    """What of an address tells one device from another.

    All of an IPv4 address, the first 64 bits of an IPv6 one: whoever has one such network has all its 2^64 addresses
    (RFC 4291, section 2.5.1: interface identifiers are 64 bits long).
    """
    try:
        found = ipaddress.ip_address(address.partition("%")[0])
    except ValueError:
        return address
    if isinstance(found, ipaddress.IPv4Address):
        return str(found)
    if found.ipv4_mapped is not None:
        return str(found.ipv4_mapped)
    return str(ipaddress.IPv6Network((int(found) >> 64 << 64, 64)))


def is_loopback(address: str) -> bool:
    """Whether an address is this machine's own."""
    try:
        found = ipaddress.ip_address(address)
    except ValueError:
        return False
    mapped = getattr(found, "ipv4_mapped", None)
    return bool(found.is_loopback or (mapped is not None and mapped.is_loopback))
