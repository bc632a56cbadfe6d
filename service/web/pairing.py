"""Joining a phone: a long random token in a link, shown as a QR code; then a cookie of its own for each phone.

Only hashes of cookies are kept. The token lives in memory: it ends with the service, after a time, after so many
phones, or when a new link is made. A phone's session ends after a time here, whatever its cookie says.
"""

from __future__ import annotations

import hmac
import io
import secrets
import threading
import time
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

import segno
from sqlalchemy import Connection, Row, insert, select, update

from service.authority.names import lan_address
from service.log.benches.secrets import bench_of_link, hashed, use_link
from service.log.database import Database
from service.log.models import benches, now, sessions
from service.settings import Settings
from service.web.door.names import https_root

COOKIE = "stripread_session"
# The same over TLS: the prefix keeps a page without TLS from setting it (draft-ietf-httpbis-rfc6265bis, 4.1.3.2, from
# memory), and a phone that joined on either port is asked for neither again.
SECURE_COOKIE = "__Host-stripread_session"


@dataclass(frozen=True)
class Session:
    """One paired phone."""

    id: int
    device: str
    paired_at: str
    revoked_at: str | None
    expires_at: str
    bench: str | None  # the name of the bench whose it is; None for the keeper's


@dataclass(frozen=True)
class LinkBounds:
    """What the link still does: how many phones it lets in, and until when by the computer's clock."""

    joins_left: int
    ends_at: datetime
    over: bool


@dataclass(frozen=True)
class Known:
    """A session in force, as its cookie finds it."""

    id: int
    until: float  # Unix time
    bench: int | None = None  # whose phone it is: None for the keeper's


class Pairing:
    """The token and the paired phones."""

    def __init__(self, database: Database, settings: Settings) -> None:
        self._database = database
        self._settings = settings
        self._lock = threading.Lock()
        self._new_link()
        with database.read() as c:
            found = c.execute(select(sessions).where(sessions.c.revoked_at.is_(None)).order_by(sessions.c.id))
            self._valid = {row.secret_sha256: self._known(row) for row in found}
        self._forget_ended()

    def link(self, token: str | None = None) -> str:
        """The link for the phone, or one of a bench by its ``token``.

        The token stands behind the `#`, so that it is never sent in an address or logged.

        With a certificate of the service's own it leads to the page that says how to trust it, and goes on with the
        token from there: where the phone trusts it already at once, and over TLS.
        """
        scheme = "https" if self._settings.tls else "http"
        host = lan_address() if self._settings.lan else "127.0.0.1"
        page = "trust" if https_root(self._settings, host) else ""
        return f"{scheme}://{host}:{self._settings.port}/{page}#join={token or self._token}"

    def qr_svg(self, link: str | None = None) -> bytes:
        """The link as a QR code, SVG; or another one."""
        out = io.BytesIO()
        segno.make(link or self.link(), error="m").save(out, kind="svg", scale=6, border=4, dark="#000", light="#fff")
        return out.getvalue()

    def qr_text(self) -> str:
        """The link as a QR code for a terminal."""
        out = io.StringIO()
        segno.make(self.link(), error="l").terminal(out=out, compact=True)
        return out.getvalue()

    def bounds(self) -> LinkBounds:
        """What the link still does."""
        left = self._ends_at - time.monotonic()
        return LinkBounds(
            self._joins_left, datetime.now().astimezone() + timedelta(seconds=left), self._joins_left <= 0 or left <= 0
        )

    def renew(self) -> str:
        """Make a new link; the old one stops working. Paired phones stay."""
        with self._lock:
            self._new_link()
        return self.link()

    def _new_link(self) -> None:
        self._token = secrets.token_urlsafe(32)
        self._joins_left = self._settings.link_joins
        self._ends_at = time.monotonic() + self._settings.link_age

    def join(self, token: str, device: str) -> str | None:
        """A new cookie for a phone that knows the token, or None. Every guess takes the same time.

        The token is the keeper's, or of a link of a bench: the phone is that one's from then on. The phone that joined
        longest ago is shut out where there are more of one bench (or of the keeper) than the settings allow.
        """
        with self._lock:
            if hmac.compare_digest(token.encode("utf-8", "surrogatepass"), self._token.encode()):
                if self.bounds().over:
                    return None
                secret = self._joined(device, None)
                self._joins_left -= 1
                return secret
        with self._database.read() as c:  # a wrong guess holds up no writer
            if bench_of_link(c, token) is None:
                return None
        with self._lock:
            return self._joined(device, token)

    def _joined(self, device: str, of_bench: str | None) -> str | None:
        """A new cookie; ``of_bench`` is the token of a bench's link, and None is given where it lets nobody in."""
        self._forget_ended()
        secret = secrets.token_urlsafe(32)
        key = hashed(secret)
        with self._database.write(alone=True) as c:
            bench = None if of_bench is None else use_link(c, of_bench)
            if of_bench is not None and bench is None:
                return None
            number: int = c.execute(
                insert(sessions)
                .values(secret_sha256=key, device=device[:200], paired_at=now(), bench_id=bench)
                .returning(sessions.c.id)
            ).scalar_one()
            oldest = sorted(known.id for known in self._valid.values() if known.bench == bench)
            shut_out = set(oldest[: max(0, len(oldest) + 1 - self._settings.sessions)])
            if shut_out:
                c.execute(update(sessions).where(sessions.c.id.in_(shut_out)).values(revoked_at=now()))
        stay = {key: known for key, known in self._valid.items() if known.id not in shut_out}
        self._valid = {**stay, key: Known(number, time.time() + self._settings.session_age, bench)}
        return secret

    def session_of(self, secret: str) -> Known | None:
        """The session of a cookie, or None. Looked up by hash: timing tells nothing about the cookie.

        What another process did since is not seen: see ``session_now``.
        """
        known = self._valid.get(hashed(secret))
        return known if known is not None and time.time() < known.until else None

    def session_now(self, secret: str) -> Known | None:
        """The same by what the database says at this moment: shut out or revoked anywhere is out here, too."""
        query = select(sessions, benches.c.revoked_at.label("bench_revoked_at")).outerjoin(
            benches, benches.c.id == sessions.c.bench_id
        )
        with self._database.read() as c:
            row = c.execute(query.where(sessions.c.secret_sha256 == hashed(secret))).one_or_none()
        key = hashed(secret)
        if row is None or row.revoked_at is not None or row.bench_revoked_at is not None:
            with self._lock:
                self._valid = {one: known for one, known in self._valid.items() if one != key}
            return None
        known = self._known(row)
        if key not in self._valid:  # it joined at another service of this database
            with self._lock:
                self._valid = {**self._valid, key: known}
        return known if time.time() < known.until else None

    def _known(self, row: Row[Any]) -> Known:
        return Known(row.id, self._ends(row.paired_at), row.bench_id)

    def _ends(self, paired_at: str) -> float:
        """When a session ends, Unix time. One "of tomorrow" (the clock was put back since) counts from now."""
        return min(datetime.fromisoformat(paired_at).timestamp(), time.time()) + self._settings.session_age

    def _forget_ended(self) -> None:
        self._valid = {key: known for key, known in self._valid.items() if time.time() < known.until}

    def revoke(self, number: int) -> bool:
        """Shut a phone out at once; False if there is no such session in force."""
        with self._database.write() as c:
            changed = c.execute(
                update(sessions)
                .where(sessions.c.id == number, sessions.c.revoked_at.is_(None))
                .values(revoked_at=now())
            )
        with self._lock:  # else who is just let in, or out, would put this phone back
            self._valid = {key: known for key, known in self._valid.items() if known.id != number}
        return changed.rowcount > 0

    def all(self) -> list[Session]:
        """Every phone that was ever paired."""
        with self._database.read() as c:
            named = sessions.outerjoin(benches, benches.c.id == sessions.c.bench_id)
            query = select(sessions, benches.c.name.label("bench")).select_from(named)
            found = c.execute(query.order_by(sessions.c.id))
            return [self._session(row) for row in found]

    def count_of(self, c: Connection, bench: int) -> int:
        """How many phones of a bench are not shut out, and whose time is not over."""
        query = select(sessions).where(sessions.c.bench_id == bench, sessions.c.revoked_at.is_(None))
        return sum(self._ends(row.paired_at) > time.time() for row in c.execute(query))

    def _session(self, row: Row[Any]) -> Session:
        ends = datetime.fromtimestamp(self._ends(row.paired_at), UTC).isoformat(timespec="seconds")
        return Session(row.id, row.device, row.paired_at, row.revoked_at, ends, row.bench)
