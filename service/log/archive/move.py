"""A whole log moved into another database: every row copied in one transaction, and each compared with the old one."""

from __future__ import annotations

import fcntl
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from dataclasses import dataclass
from itertools import zip_longest
from pathlib import Path
from typing import Any

from alembic import command
from sqlalchemy import (
    ColumnElement,
    Connection,
    String,
    Table,
    collate,
    func,
    insert,
    inspect,
    make_url,
    select,
    text,
)

from service.log.chain.guards import set_guards
from service.log.chain.links import head
from service.log.check import check_rows
from service.log.database import Database
from service.log.models import metadata
from service.log.opening.form import form_of, newest_form, steps
from stripread.errors import CallError
from stripread.words import _

_AT_ONCE = 1000  # rows in one statement
Progress = Callable[[str, int, int], None]  # of which part so much is done, of so much


@dataclass(frozen=True)
class Moved:
    """What was moved: rows by table, and the chain's head, the same in both."""

    rows: dict[str, int]
    head: str


def move(old: str, new: str, progress: Progress = lambda _part, _done, _of: None) -> Moved:
    """Copy the log in database ``old`` into the empty database ``new`` (SQLAlchemy URLs), and check every row.

    The old one is not changed. Photos and profiles are files, and stay where they are.

    Raises
    ------
    CallError
        If the old log can't be read, is of another form, is not whole or in use, or the new database has a log already:
        then nothing is left in the new one.
    SQLAlchemyError
        If one of the databases can't be used.
    """
    if make_url(old) == make_url(new):
        raise CallError(_("--from and --to are the same database"))
    with (
        _nobody_serves(old),
        closing(Database(old, read_only=True)) as source,
        closing(Database(new)) as target,
        source.snapshot() as there,
    ):
        form = form_of(there)
        if form != newest_form():
            raise CallError(
                _("the log has the form {form}: open it once with `stripread serve`, then move it", form=form)
            )
        with target.write() as here:
            if set(inspect(here).get_table_names()) & {*metadata.tables, "alembic_version"}:
                raise CallError(_("there is a log in the new database already: name an empty one"))
            return _moved(there, here, progress)


def _moved(there: Connection, here: Connection, progress: Progress) -> Moved:
    metadata.create_all(here)
    counted = {table.name: _count(there, table) for table in metadata.sorted_tables}
    done, total = 0, 2 * sum(counted.values())
    for table in metadata.sorted_tables:
        for rows in _rows(there, table):
            here.execute(insert(table), rows)
            done += len(rows)
            progress(_("rows"), done, total)
    _numbers_on(there, here)
    for table in metadata.sorted_tables:
        for one, other in zip_longest(_rows(there, table), _rows(here, table)):
            if one != other:
                raise CallError(
                    _("{table}: a row came out otherwise in the new database; nothing was moved", table=table.name)
                )
            done += len(one)
            progress(_("rows"), done, total)
    set_guards(here)
    config = steps()
    config.attributes["connection"] = here
    command.stamp(config, "head")
    found = check_rows(here)
    if found.faults:
        raise CallError(
            _(
                "the log is not whole: {fault}; nothing was moved. `stripread log check` says more",
                fault=found.faults[0],
            )
        )
    if head(there) != head(here):
        raise CallError(_("the heads of the two chains differ; nothing was moved"))
    return Moved(counted, head(here).link)


def _count(c: Connection, table: Table) -> int:
    return int(c.execute(select(func.count()).select_from(table)).scalar_one())


def _rows(c: Connection, table: Table) -> Iterator[list[dict[str, Any]]]:
    """A table's rows, many at once, in an order of their keys that is the same in every database."""
    keys: list[ColumnElement[Any]] = list(table.primary_key.columns)
    if c.dialect.name == "postgresql":  # by bytes, as SQLite does, whatever the server's language
        keys = [collate(key, "C") if isinstance(key.type, String) else key for key in keys]
    found = c.execute(select(table).order_by(*keys), execution_options={"yield_per": _AT_ONCE}).mappings()
    for rows in found.partitions():
        yield [dict(row) for row in rows]


def _numbers_on(there: Connection, here: Connection) -> None:
    """The new database goes on counting where the old one would."""
    for table in metadata.sorted_tables:
        key = next(iter(table.primary_key.columns))
        if key.name != "id":
            continue
        highest = here.execute(select(func.max(key))).scalar() or 0
        given = _given(there, table.name) or highest
        if here.dialect.name == "postgresql" and given:
            asked = f"SELECT setval(pg_get_serial_sequence('{table.name}', 'id'), {max(int(given), highest)})"
            here.execute(text(asked))


def _given(c: Connection, table: str) -> int | None:
    """The highest number that the database has given, whatever became of it."""
    if c.dialect.name != "sqlite":
        return None
    asked = text("SELECT seq FROM sqlite_sequence WHERE name = :table")
    return c.execute(asked, {"table": table}).scalar()


@contextmanager
def _nobody_serves(url: str) -> Iterator[None]:
    """Keep the service off a SQLite log while it is moved: what came in meanwhile would stay behind."""
    place = make_url(url)
    folder = Path(place.database or "").parent
    if place.get_backend_name() != "sqlite" or not (folder / "lock").exists():
        yield
        return
    with (folder / "lock").open("rb") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise CallError(_("a service uses this log: stop it, then move the log")) from None
        yield
