"""Opening a SQLite log without writing: a copy on a medium or in a folder that nobody may write to can be read."""

from __future__ import annotations

import shutil
import sqlite3
import tempfile
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from urllib.parse import quote
from weakref import finalize

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.pool import QueuePool

from stripread.errors import CallError
from stripread.words import _


def as_text(data: bytes) -> str:
    """A row with bytes that are no text is one damaged row, which the log's check finds; it must not end a list."""
    return data.decode("utf-8", "replace")


def read_only_engine(path: Path, owner: object) -> Engine:
    """An engine for queries alone on the database file at ``path``; what it needs is removed with ``owner``.

    Raises
    ------
    CallError
        If it is no database, or can't be read at all.
    """
    engine = create_engine("sqlite://", creator=_connector(path, owner), poolclass=QueuePool)

    @event.listens_for(engine, "connect")
    def set_up(connection: sqlite3.Connection, _: object) -> None:
        connection.text_factory = as_text
        connection.isolation_level = None
        _add_up(connection)
        connection.execute("PRAGMA query_only=ON").close()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN")

    return engine


def _add_up(connection: sqlite3.Connection) -> None:
    """A log of an older form has no sums, and can't be given them: they are added up for this connection alone.

    Nor has it benches: there are none, then.
    """
    try:
        there = {row[0] for row in connection.execute("SELECT name FROM sqlite_master")}
    except sqlite3.DatabaseError:
        return  # damaged: the log's check says so
    if {"entries", "events"} <= there and "lot_links" not in there:
        connection.execute("PRAGMA temp_store=MEMORY").close()
        connection.execute(
            "CREATE TEMP TABLE lot_links (event_id INTEGER PRIMARY KEY, writer INTEGER, from_batch INTEGER,"
            " into_batch INTEGER, low REAL, value REAL, high REAL)"
        ).close()
    if {"entries", "events"} <= there and "stock_total" not in there:
        connection.execute("PRAGMA temp_store=MEMORY").close()
        connection.execute(
            "CREATE TEMP TABLE stock_total (id INTEGER PRIMARY KEY, silver BLOB, batches INTEGER)"
        ).close()
    if {"entries", "events"} <= there and "benches" not in there:
        for words in (
            "PRAGMA temp_store=MEMORY",
            "CREATE TEMP TABLE benches (id INTEGER PRIMARY KEY, name TEXT, made_at TEXT, revoked_at TEXT)",
            "CREATE TEMP TABLE batch_benches (batch_id INTEGER PRIMARY KEY, bench_id INTEGER)",
            "CREATE TEMP TABLE bench_profiles (bench_id INTEGER, name TEXT)",
            "CREATE TEMP TABLE bench_secrets (id INTEGER PRIMARY KEY, bench_id INTEGER, sort TEXT, secret_sha256 TEXT,"
            " made_at TEXT, ends_at TEXT, joins_left INTEGER, revoked_at TEXT)",
        ):
            connection.execute(words).close()
    if {"entries", "events"} <= there and "batch_sums" not in there:
        for words in (
            "PRAGMA temp_store=MEMORY",
            "CREATE TEMP VIEW batch_sums AS SELECT batch_id, count(*) AS entries, max(id) AS newest"
            " FROM entries GROUP BY batch_id",
            "CREATE TEMP TABLE vessel_sums (upto INTEGER PRIMARY KEY, held TEXT)",
        ):
            connection.execute(words).close()


def _connector(path: Path, owner: object) -> Callable[[], sqlite3.Connection]:
    """What opens the database file at ``path`` for reading only.

    Where SQLite can't make the small files that it wants beside a log with a journal, nobody else writes there either:
    without a journal the file is opened as one that does not change; with one, both are copied into a folder that is
    removed with ``owner``, so that what only stands in the journal is read, too.

    Raises
    ------
    CallError
        If it is no database, or can't be read at all.
    """
    problem = _problem(_uri(path, "mode=ro"))
    if problem is None:
        return _opening(_uri(path, "mode=ro"))
    if not path.is_file():
        raise CallError(_("there is no log at {path}", path=path))
    journal = path.with_name(path.name + "-wal")
    try:
        if not journal.exists() or journal.stat().st_size == 0:
            still = _uri(path, "mode=ro&immutable=1")
            problem = _problem(still)
            if problem is None:
                return _opening(still)
        else:
            scratch = tempfile.mkdtemp(prefix="stripread-log-")
            finalize(owner, shutil.rmtree, scratch, ignore_errors=True)
            for source in (path, journal):
                (Path(scratch) / source.name).write_bytes(source.read_bytes())
            copied = _uri(Path(scratch) / path.name, "mode=rw")
            problem = _problem(copied)
            if problem is None:
                return _opening(copied)
    except OSError as wrong:
        problem = str(wrong.strerror)
    raise CallError(_("can't read the log {path}: {problem}", path=path, problem=problem))


def _uri(path: Path, how: str) -> str:
    return f"file:{quote(str(path.absolute()))}?{how}"


def _opening(uri: str) -> Callable[[], sqlite3.Connection]:
    return lambda: sqlite3.connect(uri, uri=True, timeout=5.0, check_same_thread=False)


def _problem(uri: str) -> str | None:
    """Why it can't be read this way, or None. That a file is damaged inside is for the log's check to say."""
    try:
        with closing(_opening(uri)()) as connection:
            connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except sqlite3.OperationalError as problem:
        return str(problem)
    except sqlite3.DatabaseError as problem:
        raise CallError(_("this is no log that can be read: {problem}", problem=problem)) from None
    return None
