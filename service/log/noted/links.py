"""What went from one batch to another: a row for each such note, so that a batch's ledger asks no other batch.

The silver that such a note takes comes from the giver's ledger when something is written there, and is kept with the
row: opening a batch costs its own notes and those that touch it, however many batches there are. The rows prove
nothing; ``log recount`` makes them anew.
"""

from __future__ import annotations

from collections.abc import Iterable

from sqlalchemy import Connection, delete, func, insert, or_, select, update

from service.bench.chemistry.reagents import Span
from service.bench.ledger.ledger import ledger_of
from service.bench.ledger.pouring import Elsewhere
from service.bench.notes import Emptying, Note, in_force
from service.bench.notes.of_vessels import Moved
from service.log.models import events, lot_links
from service.log.noted.rows import PREFIX, notes_of_batch
from service.log.noted.vessel import with_changes

ROUNDS = 100  # batches that one change may reach, one giving to the next; more nobody merges


def notes_counting(c: Connection, batch: int) -> list[Note]:
    """A batch's notes in force, without those that can't be read."""
    return in_force([note for note in notes_of_batch(c, batch) if isinstance(note, Note)])


def elsewhere_of(c: Connection, batch: int, notes: list[Note]) -> Elsewhere:
    """What other batches took from this one or brought to it, and when the stock vessel was handed over."""
    mine = or_(lot_links.c.from_batch == batch, lot_links.c.into_batch == batch)
    rows = c.execute(select(lot_links).where(mine).order_by(lot_links.c.event_id)).all()
    foreign = [row.event_id for row in rows if row.writer != batch]
    brought = {row.event_id: (row.low, row.value, row.high) for row in rows if row.into_batch == batch}
    return Elsewhere(tuple(_notes(c, foreign)), brought, _emptied(c, notes))


def _notes(c: Connection, numbers: list[int]) -> list[tuple[int, Note]]:
    if not numbers:
        return []
    rows = c.execute(select(events).where(events.c.id.in_(numbers)).order_by(events.c.id)).mappings().all()
    return [one for one in with_changes(c, rows)[0] if isinstance(one[1].content, Moved)]


def _emptied(c: Connection, notes: list[Note]) -> tuple[int, ...]:
    """Notes by which the stock vessel was handed over since the batch began, up to the first after its last note."""
    if not notes:
        return ()
    gone = events.c.what == PREFIX + Emptying.kind
    first, last = min(note.id for note in notes), max(note.id for note in notes)
    after = select(func.min(events.c.id)).where(gone, events.c.id > last).scalar_subquery()
    here = or_(events.c.id.between(first, last), events.c.id == after)
    rows = c.execute(select(events).where(gone, here).order_by(events.c.id)).mappings().all()
    if not rows:
        return ()
    return tuple(note.id for _batch, note in with_changes(c, rows)[0] if isinstance(note.content, Emptying))


def keep_links(c: Connection, batch: int, kind: str) -> set[int]:
    """Keep the rows true after a note of this kind was written in a batch, in the same transaction.

    Gives the batches whose ledgers are others now.
    """
    changed = _rewritten(c, batch) if kind in (Moved.kind, "strike", "amended") else set()
    gives = c.execute(select(lot_links.c.event_id).where(lot_links.c.from_batch == batch).limit(1)).scalar()
    if gives is not None:
        changed.add(batch)
    return {batch} | carry_on(c, changed)


def _rewritten(c: Connection, batch: int) -> set[int]:
    """The rows of a batch's own notes made anew; the batches that give by them."""
    wanted = {}
    for note in notes_counting(c, batch):
        move = note.content
        if isinstance(move, Moved) and (move.from_batch or move.into_batch):
            source, target = move.from_batch or batch, move.into_batch or batch
            if source != target:
                wanted[note.id] = (source, target)
    there = {
        row.event_id: (row.from_batch, row.into_batch)
        for row in c.execute(select(lot_links).where(lot_links.c.writer == batch))
    }
    gone = [number for number in there if wanted.get(number) != there[number]]
    if gone:
        c.execute(delete(lot_links).where(lot_links.c.event_id.in_(gone)))
    for number, (source, target) in wanted.items():
        if there.get(number) != (source, target):
            row = {"event_id": number, "writer": batch, "from_batch": source, "into_batch": target}
            c.execute(insert(lot_links).values(**row, low=0.0, value=0.0, high=0.0))
    return {source for source, _target in wanted.values()} | {there[number][1] for number in gone}


def carry_on(c: Connection, batches: Iterable[int]) -> set[int]:
    """Work out anew what these batches give, and what those give to whom that comes; all of them."""
    waiting, reached = set(batches), set(batches)
    for _unused in range(ROUNDS):
        if not waiting:
            break
        batch = min(waiting)
        waiting.discard(batch)
        rows = c.execute(select(lot_links).where(lot_links.c.from_batch == batch)).all()
        if not rows:
            continue
        notes = notes_counting(c, batch)
        given = ledger_of(notes, batch, elsewhere_of(c, batch, notes)).given_g
        for row in rows:
            span: Span = given.get(row.event_id, (0.0, 0.0, 0.0))
            if span != (row.low, row.value, row.high):
                mine = lot_links.c.event_id == row.event_id
                c.execute(update(lot_links).where(mine).values(low=span[0], value=span[1], high=span[2]))
                waiting.add(row.into_batch)
                reached.add(row.into_batch)
    return reached


def recount_links(c: Connection) -> None:
    """All rows made anew from the notes."""
    c.execute(delete(lot_links))
    writers = select(events.c.batch_id).where(events.c.what == PREFIX + Moved.kind).distinct()
    changed: set[int] = set()
    for batch in c.execute(writers).scalars().all():
        changed |= _rewritten(c, batch)
    for batch in sorted(changed):
        carry_on(c, {batch})
