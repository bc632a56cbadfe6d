"""What of the log is read again, fixed at the beginning: a run that was ended goes on with the very same entries."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel, ConfigDict
from sqlalchemy import ColumnElement, Connection, func, select

from service.log import store
from service.log.chain.links import has_link, head
from service.log.models import batches, entries
from service.readers.reread import read_from_photos
from stripread.errors import CallError
from stripread.words import _


class Asked(BaseModel):
    """Which entries, with what: as the first line of the file of readings has it.

    ``batches`` is empty for all; ``since`` and ``begun_at`` are ISO times in UTC; ``up_to`` is the newest entry that
    was there as it began, ``head`` that of the chain; ``profile`` the SHA-256 of another profile, for strips called
    ``strip``.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    software: str
    begun_at: str
    up_to: int
    head: str
    batches: tuple[int, ...] = ()
    since: str | None = None
    profile: str | None = None
    strip: str | None = None

    def same_question(self, other: Asked) -> bool:
        """Whether both ask for the same; when they began does not matter."""
        own = {"batches", "since", "profile", "software"}
        return self.model_dump(include=own) == other.model_dump(include=own)


def newest(c: Connection) -> tuple[int, str]:
    """The newest entry's number, and the chain's head."""
    return store.newest_entry(c), head(c).link


def need_same_log(c: Connection, asked: Asked, path: Path) -> None:
    """See that what ``path`` was begun with was asked of this log, or of one that it was copied from.

    Raises
    ------
    CallError
        If it was another one: its entries have the same numbers, and other photos.
    """
    if asked.up_to > store.newest_entry(c) or not has_link(c, asked.head):
        raise CallError(_("{path} has readings of another log: name another folder with --out", path=path))


def need_batches(c: Connection, numbers: tuple[int, ...]) -> None:
    """See that these batches are there.

    Raises
    ------
    CallError
        If one is not.
    """
    for number in numbers:
        if store.batch(c, number) is None:
            raise CallError(_("there is no batch {batch}", batch=number))


def count_of(c: Connection, asked: Asked) -> int:
    """How many entries will be looked at."""
    return int(c.execute(select(func.count()).select_from(entries).where(*_where(asked))).scalar_one())


def batch_numbers(c: Connection, asked: Asked) -> list[int]:
    """The batches with entries to look at, in order."""
    query = select(batches.c.id).where(batches.c.id.in_(select(entries.c.batch_id).where(*_where(asked))))
    return [int(number) for number in c.execute(query.order_by(batches.c.id)).scalars()]


def rows_of(c: Connection, asked: Asked, batch: int) -> Iterator[tuple[store.Row, bool]]:
    """Each entry of a batch that is looked at, and whether its photo is read: in force then, and not by hand."""
    rows = [row for row in store.entries_of(c, batch) if row["id"] <= asked.up_to]
    read = {row["id"] for row in read_from_photos(rows)}
    for row in rows:
        if asked.since is None or row["received_at"] >= asked.since:
            yield row, row["id"] in read


def _where(asked: Asked) -> list[ColumnElement[bool]]:
    found = [entries.c.id <= asked.up_to]
    found += [entries.c.batch_id.in_(asked.batches)] if asked.batches else []
    return found + ([entries.c.received_at >= asked.since] if asked.since is not None else [])
