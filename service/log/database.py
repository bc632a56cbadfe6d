"""Opening the log's database, and bringing it to this version's form."""

from __future__ import annotations

import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from alembic import command
from sqlalchemy import Connection, Engine, create_engine, event, make_url

from service.errors import BenchBusy
from service.log.chain.locks import one_writer
from service.log.opening.form import later_form, steps
from service.log.opening.read_only import as_text, read_only_engine
from stripread.errors import CallError
from stripread.words import _

BUSY_SECONDS = 5.0
CONNECTIONS = 16


def busy() -> BenchBusy:
    """Somebody else holds the log."""
    return BenchBusy(
        "database_busy", _("The log's database can't be written now. Nothing was stored. Send it again."), 2
    )


class Database:
    """An engine, and who may write at once.

    SQLite allows one writer; queueing here makes the wait fair and keeps `database is locked` for the case that another
    program holds the file. PostgreSQL allows many, which come one after the other where they must
    (``service.log.chain.locks``).

    Parameters
    ----------
    wait
        Seconds that one writer waits in all: for the writers before it here, and for other programs. Were the waits
        added up, a lock that another program holds would cost the last of a queue the wait of everybody before it.
    connections
        To PostgreSQL at once; who needs a further one waits for it.
    """

    def __init__(
        self, url: str, wait: float = BUSY_SECONDS, *, read_only: bool = False, connections: int = CONNECTIONS
    ) -> None:
        """Open it. ``read_only``: nothing is written into it.

        Raises
        ------
        CallError
            If it is to be read only, and there is nothing that can be read.
        """
        self._wait = wait
        place = make_url(url)
        if place.drivername == "postgresql":  # the driver that this program comes with
            place = place.set(drivername="postgresql+psycopg")
            url = place.render_as_string(hide_password=False)
        if read_only and place.get_backend_name() == "sqlite" and place.database:
            self.engine = read_only_engine(Path(place.database), self)
        else:
            self.engine = _engine(url, wait, connections)
        self._writing = threading.Lock()

    @contextmanager
    def read(self) -> Iterator[Connection]:
        """A connection for queries."""
        with self.engine.connect() as connection:
            yield connection

    @contextmanager
    def snapshot(self) -> Iterator[Connection]:
        """A connection for queries that all see one state of the log, while others go on writing."""
        level = {"isolation_level": "REPEATABLE READ"} if self.engine.dialect.name == "postgresql" else {}
        with self.engine.connect().execution_options(**level) as connection:
            yield connection

    @contextmanager
    def write(self, *, alone: bool = False) -> Iterator[Connection]:
        """A transaction: committed at the end, rolled back by any exception.

        ``alone``: no other writer from its beginning on; else from its first row that the chain ties.

        Raises
        ------
        BenchBusy
            If the writers before it here do not end in time; another program's lock raises what the driver raises.
        """
        until = time.monotonic() + self._wait
        queueing = self.engine.dialect.name == "sqlite"
        if queueing and not self._writing.acquire(timeout=self._wait):
            raise busy()
        try:
            with self.engine.connect().execution_options(writes_until=until) as connection, connection.begin():
                if alone:
                    one_writer(connection)
                yield connection
        finally:
            if queueing:
                self._writing.release()

    def migrate(self) -> None:
        """Bring the database to the newest form; every step is one transaction.

        Raises
        ------
        CallError
            If a later version of this program made it: nothing is touched then.
        """
        config = steps()
        with self.write(alone=True) as connection:
            later = later_form(connection)
            if later is not None:
                raise CallError(
                    _("the log has the form {later} of a later stripread: update this one, then try again", later=later)
                )
            config.attributes["connection"] = connection
            command.upgrade(config, "head")

    def check_form(self) -> None:
        """Say it of a log that is only read, if a later version of this program made it.

        Raises
        ------
        CallError
            If so: its rows may mean something else.
        """
        with self.read() as connection:
            later = later_form(connection)
        if later is not None:
            raise CallError(
                _("the log has the form {later} of a later stripread: update this one, then try again", later=later)
            )

    def close(self) -> None:
        """Give the connections back."""
        self.engine.dispose()


def _engine(url: str, wait: float, connections: int) -> Engine:
    if url.startswith("sqlite"):
        return _sqlite(url, wait)
    ours: dict[str, Any] = {}
    if url.startswith("postgresql"):  # a server that does not answer, and locks that readers meet
        ours = {"connect_timeout": max(1, round(wait)), "options": f"-c lock_timeout={_milliseconds(wait)}"}
    sizes: dict[str, Any] = {"pool_size": connections, "max_overflow": 0, "pool_timeout": wait}
    engine = create_engine(url, pool_pre_ping=True, connect_args=ours, **sizes)

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        until = connection.get_execution_options().get("writes_until")
        if until is not None and connection.dialect.name == "postgresql":
            connection.exec_driver_sql(f"SET LOCAL lock_timeout = {_left(until)}")

    return engine


def _sqlite(url: str, wait: float) -> Engine:
    engine = create_engine(url, connect_args={"timeout": wait}, pool_timeout=wait)

    @event.listens_for(engine, "connect")
    def set_up(connection: Any, _: object) -> None:  # noqa: ANN401 - the driver's own type
        connection.text_factory = as_text
        connection.isolation_level = None  # the driver's own BEGIN comes too late and would break migrations apart
        for pragma in ("journal_mode=WAL", "foreign_keys=ON", "synchronous=FULL"):
            connection.execute(f"PRAGMA {pragma}").close()

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        # A writer takes the lock at once: asking for it in the middle can fail without waiting.
        until = connection.get_execution_options().get("writes_until")
        connection.exec_driver_sql(f"PRAGMA busy_timeout={_milliseconds(wait) if until is None else _left(until)}")
        connection.exec_driver_sql("BEGIN" if until is None else "BEGIN IMMEDIATE")

    return engine


def _left(until: float) -> int:
    """Milliseconds until then; at least one, since none would mean for ever."""
    return _milliseconds(max(0.0, until - time.monotonic()))


def _milliseconds(seconds: float) -> int:
    return max(1, round(1000 * seconds))
