"""Whose a batch is: written down in the batch's own events, which the chain ties, and in a table that is quick to ask.

The table proves nothing: ``log check`` holds it against the events, ``log recount`` makes it anew from them.
"""

from __future__ import annotations

import json

from sqlalchemy import Connection, delete, insert, select

from service.log.benches.rows import name_of
from service.log.models import batch_benches, events

OPENED, GIVEN = "opened", "given to a bench"  # events that say whose the batch is from then on
BENCH = "bench"  # in their detail: the bench's number and name then
KEEPER = "-"


def words_of(c: Connection, bench: int | None) -> dict[str, str]:
    """What an event's detail says of the owner; nothing for the keeper of a batch that is new."""
    return {} if bench is None else {BENCH: f"{bench} {name_of(c, bench)}"}


def set_owner(c: Connection, batch: int, bench: int | None) -> None:
    """Write it into the quick table; the event is the caller's."""
    c.execute(delete(batch_benches).where(batch_benches.c.batch_id == batch))
    if bench is not None:
        c.execute(insert(batch_benches).values(batch_id=batch, bench_id=bench))


def owner_of(c: Connection, batch: int) -> int | None:
    """The bench whose batch this is; None for the keeper's."""
    return c.execute(select(batch_benches.c.bench_id).where(batch_benches.c.batch_id == batch)).scalar()


def owners_by_events(c: Connection) -> dict[int, int]:
    """Batch -> bench, as the events say; batches of the keeper are left out."""
    found: dict[int, int] = {}
    query = select(events.c.batch_id, events.c.detail).where(events.c.what.in_((OPENED, GIVEN))).order_by(events.c.id)
    for batch, text in c.execute(query):
        bench = _bench_in(text)
        if bench is None:
            continue
        if bench:
            found[batch] = bench
        else:
            found.pop(batch, None)
    return found


def _bench_in(text: str) -> int | None:
    """The bench that an event names; 0 for the keeper, None where it says nothing of it, or can't be read."""
    try:
        said = json.loads(text).get(BENCH)
        return None if said is None else 0 if said == KEEPER else int(str(said).split()[0])
    except (ValueError, AttributeError, IndexError, RecursionError):
        return None


def wrong_owners(c: Connection) -> list[int]:
    """Batches whose owner in the quick table is not the one that their events tell."""
    told = owners_by_events(c)
    kept = {row.batch_id: row.bench_id for row in c.execute(select(batch_benches))}
    return sorted(batch for batch in {*told, *kept} if told.get(batch) != kept.get(batch))


def recount_owners(c: Connection) -> None:
    """The quick table made anew from the events."""
    told = owners_by_events(c)
    c.execute(delete(batch_benches))
    if told:
        c.execute(insert(batch_benches), [{"batch_id": batch, "bench_id": bench} for batch, bench in told.items()])
