"""Opening the log's database, and bringing it to this version's form."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, create_engine, event

BUSY_SECONDS = 5.0


class Database:
    """An engine with one writer at a time.

    SQLite allows one writer anyway; queueing here makes the wait fair and keeps `database is locked` for the case that
    another program holds the file.
    """

    def __init__(self, url: str) -> None:
        self.engine = _engine(url)
        self._writing = threading.Lock()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A connection for queries."""
        with self.engine.connect() as connection:
            yield connection

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """A transaction: committed at the end, rolled back by any exception."""
        with self._writing, self.engine.connect().execution_options(writes=True) as connection, connection.begin():
            yield connection

    def migrate(self) -> None:
        """Bring the database to the newest form; every step is one transaction."""
        config = Config()
        config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
        with self.write() as connection:
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def close(self) -> None:
        """Give the connections back."""
        self.engine.dispose()


def _engine(url: str) -> Engine:
    if not url.startswith("sqlite"):
        return create_engine(url, pool_pre_ping=True)
    engine = create_engine(url, connect_args={"timeout": BUSY_SECONDS})

    @event.listens_for(engine, "connect")
    def set_up(connection: Any, _: object) -> None:  # noqa: ANN401 - the driver's own type
        connection.isolation_level = None  # the driver's own BEGIN comes too late and would break migrations apart
        for pragma in ("journal_mode=WAL", "foreign_keys=ON", "synchronous=FULL"):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # A writer takes the lock at once: asking for it in the middle can fail without waiting.
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine
