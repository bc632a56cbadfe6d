"""The pH range of the strip that a reading was made with, from the log's own copy of its profile."""

from __future__ import annotations

import threading
import tomllib

from sqlalchemy import Connection

from service.log.store import profile_text

_known: dict[str, tuple[float, float] | None] = {}  # a profile never changes under its SHA-256
_reading = threading.Lock()


def strip_range(c: Connection, profile_sha256: str | None) -> tuple[float, float] | None:
    """(low, high) in pH; None where there is no profile, or it does not say."""
    if profile_sha256 is None:
        return None
    with _reading:
        if profile_sha256 not in _known:
            _known[profile_sha256] = _range(profile_text(c, profile_sha256))
        return _known[profile_sha256]


def _range(text: str | None) -> tuple[float, float] | None:
    try:
        low, high = tomllib.loads(text or "")["kind"]["range"]
        return float(low), float(high)
    except (tomllib.TOMLDecodeError, KeyError, TypeError, ValueError):
        return None
