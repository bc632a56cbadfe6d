"""Short marks by which a label's code names a vessel and the log that it is in, so that the code stays coarse."""

from __future__ import annotations

import base64
import hashlib
import re

from service.bench.notes.of_vessels import same_vessel

_PLAIN = re.compile(r"[a-z0-9]{1,12}")
_SIGNS = 7  # of a digest, 5 bits each: among a thousand vessels two are alike once in 70,000 logs
_LOG_SIGNS = 4  # tells one workshop's logs apart, and keeps no secret


def vessel_mark(name: str) -> str:
    """The mark of a vessel by its name or key: itself where it is one short plain word, else "~" and its digest."""
    key = same_vessel(name)
    if _PLAIN.fullmatch(key):
        return key
    return "~" + _signs(hashlib.sha256(key.encode("utf-8", "surrogatepass")).digest(), _SIGNS)


def mark_of_log(link: str) -> str:
    """The mark of a log by the hash (hexadecimal) of its first link, which no copy or restored log loses."""
    return _signs(bytes.fromhex(link), _LOG_SIGNS)


def _signs(data: bytes, count: int) -> str:
    return base64.b32encode(data).decode()[:count].lower()
