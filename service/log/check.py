"""Is the log whole? Rows, files and hashes against each other."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, select
from sqlalchemy.exc import DatabaseError

from service.log.blobs import Blobs, hash_of
from service.log.database import Database
from service.log.models import batches, entries, keys, photos, profiles


@dataclass(frozen=True)
class LogCheck:
    """What was found. ``faults`` break the log's promise; ``orphans`` and ``unfinished`` are left by cut-off posts."""

    entries: int
    photos: int
    faults: tuple[str, ...]
    orphans: tuple[str, ...]  # photos that no entry names
    unfinished: tuple[str, ...]

    @property
    def whole(self) -> bool:
        """Whether every entry has all that it names, unharmed."""
        return not self.faults


def check_log(database: Database, data: Path) -> LogCheck:
    """Check the log in ``data``. Reads every photo."""
    blobs = Blobs(data / "photos")
    faults: list[str] = []
    with database.read() as c:
        faults += _check_database(c)
        known = {row.sha256: row.size for row in c.execute(select(photos))}
        faults += _check_profiles(c)
        count, entry_faults = _check_entries(c, set(known))
        faults += entry_faults
    for sha256, size in sorted(known.items()):
        path = blobs.path(sha256)
        if not path.is_file():
            faults.append(f"photo {sha256} is missing")
        elif path.stat().st_size != size or hash_of(path) != sha256:
            faults.append(f"photo {sha256} is not what it was")
    there = list(blobs.all())
    faults += [f"photo file {name} has a name that is no hash" for name in there if len(name) != 64]
    orphans = tuple(name for name in there if name not in known)
    return LogCheck(count, len(known), tuple(faults), orphans, tuple(p.name for p in blobs.unfinished()))


def _check_database(c: Connection) -> list[str]:
    if c.dialect.name != "sqlite":
        return []  # such a database checks itself
    try:
        said = [str(row[0]) for row in c.exec_driver_sql("PRAGMA integrity_check")]
        loose = c.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
    except DatabaseError as problem:
        return [f"database: {problem.orig}"]
    return [f"database: {line}" for line in said if line != "ok"] + [
        f"database: loose row in {row[0]}" for row in loose
    ]


def _check_profiles(c: Connection) -> list[str]:
    import hashlib  # noqa: PLC0415

    return [
        f"profile {row.sha256} is not what it was"
        for row in c.execute(select(profiles))
        if hashlib.sha256(row.text.encode()).hexdigest() != row.sha256
    ]


def _check_entries(c: Connection, known: set[str]) -> tuple[int, list[str]]:
    faults = []
    rows = c.execute(select(entries).order_by(entries.c.id)).fetchall()
    numbers = {row.id: row.batch_id for row in rows}
    batch_ids = set(c.execute(select(batches.c.id)).scalars())
    kept = set(c.execute(select(profiles.c.sha256)).scalars())
    for row in rows:
        try:
            reading = json.loads(row.reading)
            torn = (
                reading["sha256"] != row.photo_sha256 or reading["kind"] != row.kind or reading["status"] != row.status
            )
        except (ValueError, KeyError, TypeError):
            torn = True
        checks = [
            (torn, "does not agree with its reading"),
            (row.photo_sha256 not in known, "names an unknown photo"),
            (row.batch_id not in batch_ids, "is in no batch"),
            (row.profile_sha256 is not None and row.profile_sha256 not in kept, "names an unknown profile"),
            (
                row.corrects_id is not None and numbers.get(row.corrects_id) != row.batch_id,
                "corrects no entry of its batch",
            ),
            (row.corrects_id is not None and not (row.made_by and row.why), "corrects without who or why"),
        ]
        faults += [f"entry {row.id} {what}" for wrong, what in checks if wrong]
    faults += [f"key {k.key!r} names no entry" for k in c.execute(select(keys)) if k.entry_id not in numbers]
    return len(rows), faults
