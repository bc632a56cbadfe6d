"""Photos and profile texts that a calibration names: in the log's own tables, tied to its chain like any others."""

from __future__ import annotations

import hashlib

from sqlalchemy import Connection, insert, select

from service.log import store
from service.log.chain.links import append
from service.log.models import now, photos, profiles


def keep_photo(c: Connection, sha256: str, size: int) -> None:
    """Write down a photo whose file is on the disk, unless the log knows it."""
    if not store.knows_photo(c, sha256):
        values = {"sha256": sha256, "size": size, "first_at": now()}
        c.execute(insert(photos), values)
        append(c, [("photos", values)])


def keep_profile(c: Connection, text: str) -> str:
    """Write down a profile's text, unless the log knows it; its SHA-256."""
    sha256 = hashlib.sha256(text.encode()).hexdigest()
    if c.execute(select(profiles.c.sha256).where(profiles.c.sha256 == sha256)).first() is None:
        values = {"sha256": sha256, "text": text, "first_at": now()}
        c.execute(insert(profiles), values)
        append(c, [("profiles", values)])
    return sha256
