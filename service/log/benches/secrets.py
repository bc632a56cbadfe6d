"""What opens the door to a bench: tokens of its programs, links for its phones. Each is shown once, its hash is kept.

256 random bits, looked up by their SHA-256: how long that takes tells nothing of the secret. Every request asks the
database, so that what was revoked here ends at once, on every other service of the same database too.
"""

from __future__ import annotations

import hashlib
import hmac
import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Literal

from sqlalchemy import Connection, insert, select, update

from service.errors import NotFound
from service.log.benches.rows import working_bench
from service.log.models import bench_secrets, benches, now
from stripread.words import _

Sort = Literal["token", "link"]
PREFIX = "bench_"  # so that a token is known as one where it was left lying about


@dataclass(frozen=True)
class KnownSecret:
    """One token or link as it is listed: never the secret itself."""

    id: int
    bench: int
    sort: str
    made_at: str
    ends_at: str | None
    joins_left: int | None
    revoked_at: str | None


def hashed(secret: str) -> str:
    """What is kept of a secret."""
    return hashlib.sha256(secret.encode("utf-8", "surrogatepass")).hexdigest()


def add_token(c: Connection, bench: int) -> str:
    """A new token of a bench; those that it has stay.

    Raises
    ------
    NotFound
        If there is no such bench, or it was revoked.
    """
    return _added(c, bench, "token")


def add_link(c: Connection, bench: int, *, joins: int, seconds: float) -> str:
    """The token of a new link, which lets in so many phones for so long; the bench's earlier links end.

    Raises
    ------
    NotFound
        If there is no such bench, or it was revoked.
    """
    revoke_secrets(c, bench, "link")
    ends = (datetime.fromisoformat(now()) + timedelta(seconds=seconds)).isoformat(timespec="microseconds")
    return _added(c, bench, "link", ends_at=ends, joins_left=joins)


def _added(c: Connection, bench: int, sort: Sort, **more: object) -> str:
    working_bench(c, bench)
    secret = PREFIX + secrets.token_urlsafe(32)
    values = {"bench_id": bench, "sort": sort, "secret_sha256": hashed(secret), "made_at": now(), **more}
    c.execute(insert(bench_secrets).values(values))
    return secret


def bench_of_token(c: Connection, secret: str) -> int | None:
    """The bench whose token this is, unless token or bench was revoked."""
    return _bench_of(c, secret, "token")


def bench_of_link(c: Connection, secret: str) -> int | None:
    """The bench whose link this is, unless link or bench was revoked; it may be used up, or over."""
    return _bench_of(c, secret, "link")


def use_link(c: Connection, secret: str) -> int | None:
    """Let one more phone in by this link: the bench whose it is, or None. In a transaction that writes alone."""
    bench = _bench_of(c, secret, "link")
    if bench is None:
        return None
    mine = update(bench_secrets).where(bench_secrets.c.secret_sha256 == hashed(secret), bench_secrets.c.joins_left > 0)
    mine = mine.where(bench_secrets.c.ends_at > now())
    used = c.execute(mine.values(joins_left=bench_secrets.c.joins_left - 1))
    return bench if used.rowcount else None


def _bench_of(c: Connection, secret: str, sort: Sort) -> int | None:
    digest = hashed(secret)
    query = (
        select(bench_secrets.c.bench_id, bench_secrets.c.secret_sha256)
        .join(benches, benches.c.id == bench_secrets.c.bench_id)
        .where(
            bench_secrets.c.secret_sha256 == digest,
            bench_secrets.c.sort == sort,
            bench_secrets.c.revoked_at.is_(None),
            benches.c.revoked_at.is_(None),
        )
    )
    row = c.execute(query).one_or_none()
    return row.bench_id if row is not None and hmac.compare_digest(row.secret_sha256, digest) else None


def secrets_of(c: Connection, bench: int) -> list[KnownSecret]:
    """Tokens and links of a bench, also those that ended, in the order in which they were made."""
    query = select(bench_secrets).where(bench_secrets.c.bench_id == bench).order_by(bench_secrets.c.id)
    return [
        KnownSecret(row.id, row.bench_id, row.sort, row.made_at, row.ends_at, row.joins_left, row.revoked_at)
        for row in c.execute(query)
    ]


def working(secret: KnownSecret) -> bool:
    """Whether it still opens anything, as long as its bench does."""
    used_up = secret.joins_left is not None and secret.joins_left <= 0
    over = secret.ends_at is not None and datetime.fromisoformat(secret.ends_at) <= datetime.now(UTC)
    return secret.revoked_at is None and not used_up and not over


def revoke_secrets(c: Connection, bench: int, sort: Sort | None = None, number: int | None = None) -> int:
    """End tokens and links of a bench at once: all, those of one sort, or one by its number; gives how many."""
    mine = update(bench_secrets).where(bench_secrets.c.bench_id == bench, bench_secrets.c.revoked_at.is_(None))
    mine = mine if sort is None else mine.where(bench_secrets.c.sort == sort)
    mine = mine if number is None else mine.where(bench_secrets.c.id == number)
    return c.execute(mine.values(revoked_at=now())).rowcount


def revoke_one(c: Connection, bench: int, number: int) -> None:
    """End one token or link.

    Raises
    ------
    NotFound
        If the bench has none of this number that is in force.
    """
    if not revoke_secrets(c, bench, number=number):
        raise NotFound("no_such_token", _("There is no such token, or it was revoked already."))
