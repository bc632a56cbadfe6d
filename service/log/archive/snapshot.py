"""The log's database as it stands at one moment, as a file of its own, while others go on writing; without secrets."""

from __future__ import annotations

import errno
import os
import sqlite3
import time
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

from sqlalchemy import make_url
from sqlalchemy.exc import OperationalError

from service.errors import Conflict
from service.log.database import BUSY_SECONDS, Database, busy
from stripread.words import _


def take_snapshot(url: str, place: Path) -> None:
    """Copy the SQLite database of ``url`` to the new file ``place``, by SQLite's own way to do so under writers.

    The paired phones stay behind, and the benches' tokens and links: a back-up goes where the log does not. So do the
    bytes of what was once in the database and is no longer, since the copy is written anew from its rows.

    Raises
    ------
    Conflict
        If the log is in another database.
    BenchBusy
        If another program does not let it be read.
    CallError
        If there is nothing that can be read.
    OperationalError
        If the database is damaged.
    OSError
        If the disk does not take the copy.
    """
    if make_url(url).get_backend_name() != "sqlite":
        raise Conflict(
            "database_elsewhere",
            _(
                "This log's rows are in a database of their own: back them up with its program (PostgreSQL: "
                "pg_dump), and after that copy the folder photos."
            ),
        )
    raw = place.with_name(place.name + "-all")
    source = Database(url, read_only=True)
    try:
        for new in (raw, place):
            os.close(os.open(new, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        with source.engine.connect() as c, closing(sqlite3.connect(raw, isolation_level=None)) as copy:
            driver = c.connection.driver_connection
            assert isinstance(driver, sqlite3.Connection)
            driver.backup(copy, progress=_for_a_while())
            copy.execute("PRAGMA journal_mode=DELETE").close()
            copy.execute("PRAGMA synchronous=OFF").close()  # this file ends with the call
            copy.execute("DELETE FROM sessions").close()
            there = copy.execute("SELECT 1 FROM sqlite_master WHERE name = 'bench_secrets'").fetchone()
            if there:  # an older form has no benches
                copy.execute("DELETE FROM bench_secrets").close()
            copy.execute("VACUUM INTO ?", (str(place),)).close()
    except sqlite3.Error as problem:
        if _is_full(problem, raw, place):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC)) from problem
        raise OperationalError("back-up", {}, problem) from problem
    finally:
        source.close()
        discard(raw)


def discard(place: Path) -> None:
    """Remove a snapshot, with what SQLite may have laid beside it."""
    for more in ("", "-journal", "-wal", "-shm"):
        place.with_name(place.name + more).unlink(missing_ok=True)


def _is_full(problem: sqlite3.Error, raw: Path, place: Path) -> bool:
    """Whether a full disk is behind it; SQLite may call it an I/O error, when it has given the room back already."""
    code = getattr(problem, "sqlite_errorcode", 0) & 0xFF
    disk = os.statvfs(place.parent)
    room = disk.f_bavail * disk.f_frsize + place.stat().st_size
    return code == sqlite3.SQLITE_FULL or (code == sqlite3.SQLITE_IOERR and room < raw.stat().st_size)


def _for_a_while() -> Callable[[int, int, int], None]:
    """The driver tries for ever where another program holds the database: end that."""
    until = time.monotonic() + BUSY_SECONDS

    def progress(status: int, _: int, __: int) -> None:
        if status in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED) and time.monotonic() > until:
            raise busy()

    return progress
