"""What is kept to be quick held against the rows: entries by batch, whose it is, the stock vessel, words."""

from __future__ import annotations

import json
from collections.abc import Iterator

from sqlalchemy import Connection, func, inspect, or_, select

from service.log.benches.owners import wrong_owners
from service.log.models import batch_sums, batches, entries, vessel_sums
from service.log.noted.stock_silver import stock_faults
from service.log.noted.vessel import NOTHING, Sum, held_between
from service.log.search_words.recount import word_faults
from stripread.words import _


def sum_faults(c: Connection) -> Iterator[str]:
    """Sums that are not what their rows say. No row of the log is at fault then: `log recount` makes them anew."""
    counted = select(entries.c.batch_id, func.count().label("entries"), func.max(entries.c.id).label("newest"))
    there = counted.group_by(entries.c.batch_id).subquery()
    many, newest = func.coalesce(there.c.entries, 0), func.coalesce(there.c.newest, 0)
    joined = batches.outerjoin(batch_sums, batch_sums.c.batch_id == batches.c.id)
    query = select(batches.c.id, batch_sums.c.entries, many.label("many")).select_from(
        joined.outerjoin(there, there.c.batch_id == batches.c.id)
    )
    off = or_(batch_sums.c.entries.is_(None), batch_sums.c.entries != many, batch_sums.c.newest != newest)
    for row in c.execute(query.where(off).order_by(batches.c.id)):
        yield _(
            "batch {id} is counted as {counted} entries and has {many}: `stripread log recount` counts anew",
            id=row.id,
            counted=row.entries or 0,
            many=row.many,
        )
    for batch in wrong_owners(c):
        yield _(
            "batch {batch} is not the bench's that its history says: `stripread log recount` goes by its history",
            batch=batch,
        )
    start = NOTHING
    for row in c.execute(select(vessel_sums).order_by(vessel_sums.c.upto)).all():
        held = held_between(c, start, row.upto)
        start = Sum(row.upto, held)
        try:
            same = json.loads(row.held) == json.loads(json.dumps(held.to_json()))
        except (ValueError, RecursionError):
            same = False
        if not same or held.lost:
            yield _(
                "what the stock vessel holds after note {upto} is not what its notes say: `stripread log recount` "
                "adds them up anew",
                upto=row.upto,
            )
    there = inspect(c)
    if there.has_table("stock_total") and stock_faults(c):
        yield _(
            "the silver of the stock vessel is not the sum of its batches' parts: `stripread log recount` adds them up "
            "anew"
        )
    if there.has_table("search_rows"):
        yield from word_faults(c)
