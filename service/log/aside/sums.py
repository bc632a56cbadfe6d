"""How many entries each batch has and which is its newest, kept by the transaction that adds one."""

from __future__ import annotations

from sqlalchemy import Connection, func, insert, select, update

from service.log.models import batch_sums, batches, entries

_COUNT = func.coalesce(func.count(entries.c.id), 0)


def count_batch(c: Connection, batch: int) -> None:
    """Begin to count a new batch."""
    c.execute(insert(batch_sums).values(batch_id=batch, entries=0, newest=0))


def count_entry(c: Connection, batch: int, entry: int) -> None:
    """Count one more entry of a batch."""
    mine = batch_sums.c.batch_id == batch
    c.execute(update(batch_sums).where(mine).values(entries=batch_sums.c.entries + 1, newest=entry))


def count_all(c: Connection) -> None:
    """Count the entries of batches that nobody counted."""
    counted = (
        select(batches.c.id, _COUNT, func.coalesce(func.max(entries.c.id), 0))
        .select_from(batches.outerjoin(entries, entries.c.batch_id == batches.c.id))
        .where(batches.c.id.not_in(select(batch_sums.c.batch_id)))
        .group_by(batches.c.id)
    )
    c.execute(insert(batch_sums).from_select(["batch_id", "entries", "newest"], counted))
