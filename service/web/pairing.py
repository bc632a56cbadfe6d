"""Joining a phone: a long random token in a link, shown as a QR code; then a cookie of its own for each phone.

Only hashes of cookies are kept. The token lives in memory: it ends with the service, or when a new link is made.
"""

from __future__ import annotations

import hashlib
import hmac
import io
import secrets
import socket
import threading
from dataclasses import dataclass

import segno
from sqlalchemy import insert, select, update

from service.log.database import Database
from service.log.models import now, sessions
from service.settings import Settings

COOKIE = "stripread_session"
COOKIE_AGE = 180 * 24 * 3600  # seconds: a season at the bench


@dataclass(frozen=True)
class Session:
    """One paired phone."""

    id: int
    device: str
    paired_at: str
    revoked_at: str | None


class Pairing:
    """The token and the paired phones."""

    def __init__(self, database: Database, settings: Settings) -> None:
        self._database = database
        self._settings = settings
        self._token = secrets.token_urlsafe(32)
        self._lock = threading.Lock()
        with database.read() as c:
            found = c.execute(select(sessions.c.secret_sha256, sessions.c.id).where(sessions.c.revoked_at.is_(None)))
            self._valid: dict[str, int] = {row.secret_sha256: row.id for row in found}

    def link(self) -> str:
        """The link for the phone. The token stands behind the `#`, so that it is never sent in an address or logged."""
        scheme = "https" if self._settings.tls else "http"
        host = lan_address() if self._settings.lan else "127.0.0.1"
        return f"{scheme}://{host}:{self._settings.port}/#join={self._token}"

    def qr_svg(self) -> bytes:
        """The link as a QR code, SVG."""
        out = io.BytesIO()
        segno.make(self.link(), error="m").save(out, kind="svg", scale=6, border=4, dark="#000", light="#fff")
        return out.getvalue()

    def qr_text(self) -> str:
        """The link as a QR code for a terminal."""
        out = io.StringIO()
        segno.make(self.link(), error="l").terminal(out=out, compact=True)
        return out.getvalue()

    def renew(self) -> str:
        """Make a new link; the old one stops working. Paired phones stay."""
        with self._lock:
            self._token = secrets.token_urlsafe(32)
        return self.link()

    def join(self, token: str, device: str) -> str | None:
        """A new cookie for a phone that knows the token, or None. Every guess takes the same time."""
        if not hmac.compare_digest(token.encode(), self._token.encode()):
            return None
        secret = secrets.token_urlsafe(32)
        hashed = _hash(secret)
        with self._database.write() as c:
            number: int = c.execute(
                insert(sessions)
                .values(secret_sha256=hashed, device=device[:200], paired_at=now())
                .returning(sessions.c.id)
            ).scalar_one()
        self._valid[hashed] = number
        return secret

    def session_of(self, secret: str) -> int | None:
        """The session of a cookie, or None. Looked up by hash: timing tells nothing about the cookie."""
        return self._valid.get(_hash(secret))

    def revoke(self, number: int) -> bool:
        """Shut a phone out at once; False if there is no such session in force."""
        with self._database.write() as c:
            changed = c.execute(
                update(sessions)
                .where(sessions.c.id == number, sessions.c.revoked_at.is_(None))
                .values(revoked_at=now())
            )
        self._valid = {h: n for h, n in self._valid.items() if n != number}
        return changed.rowcount > 0

    def all(self) -> list[Session]:
        """Every phone that was ever paired."""
        with self._database.read() as c:
            found = c.execute(select(sessions).order_by(sessions.c.id))
            return [Session(row.id, row.device, row.paired_at, row.revoked_at) for row in found]


def _hash(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def lan_address() -> str:
    """This machine's address towards its network. Nothing is sent: a datagram socket only chooses a route."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): an address that belongs to nobody
            return str(probe.getsockname()[0])
        except OSError:
            return "127.0.0.1"
