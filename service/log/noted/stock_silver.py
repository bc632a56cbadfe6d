"""Silver in the stock vessel over all batches: each batch's part as draws, and their sum, kept as notes are written.

What rests on one cause has the same draws in every batch (how fine the fines of a decant are, how wet lots are), so the
sum of the draws is a range in which they err together. A part comes from its batch's notes alone, as what goes from
batch to batch does. Opening the sum costs one row, however many batches there are; a note costs the ledger of its own
batch. The rows prove nothing; ``log recount`` makes them anew. A hand-over of the vessel takes them all away.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from sqlalchemy import ColumnElement, Connection, and_, delete, insert, or_, select, update

from service.bench.chemistry.reagents import Span
from service.bench.ledger.draws import Array, N, range_of
from service.bench.ledger.ledger import ledger_of
from service.bench.ledger.play import ACTS
from service.bench.ledger.view import from_to
from service.bench.notes import BatchVessel, DecantNote, Emptying, MeltNote, Pouring
from service.bench.notes.content import Content
from service.bench.notes.of_vessels import Filtered, Moved
from service.log.models import events, stock_parts, stock_total
from service.log.noted.links import elsewhere_of, notes_counting
from service.log.noted.rows import PREFIX
from service.log.noted.vessel import CHANGES, held_now, root_of, what_of
from stripread.words import _n

FILLS = (DecantNote.kind, Filtered.kind, Moved.kind)  # notes that may bring silver into it; pourings that name a vessel
MATTERS = {*(kind.kind for kind in ACTS), MeltNote.kind, BatchVessel.kind}  # notes by which a ledger changes
LITTLE_G = 1e-6  # a part below it is none


@dataclass(frozen=True)
class SharedStock:
    """Silver in the stock vessel over all batches since it was handed over, g, 95 %; out of how many; in words."""

    silver_g: Span
    batches: int
    sentence: str


def shared_stock(c: Connection) -> SharedStock | None:
    """The sum as it is kept; None where no batch's silver is in it by their notes."""
    row = c.execute(select(stock_total)).one_or_none()
    if row is None or not row.batches:
        return None
    draws = _draws(row.silver)
    if np.isnan(draws).any():
        return None
    span = range_of(draws)
    text = _n(
        "{silver} of silver by the notes of {batches} batch since it was handed over.",
        "{silver} of silver by the notes of {batches} batches since it was handed over.",
        row.batches,
        silver=from_to(span),
        batches=row.batches,
    )
    return SharedStock(span, row.batches, text)


def keep_stock(c: Connection, batches: Iterable[int], number: int, content: Content) -> None:
    """Keep parts and sum true after note ``number``, by which these batches' ledgers may have changed."""
    root = what_of(c, root_of(c, number)) if content.kind in CHANGES else content.kind
    if isinstance(content, Emptying):
        c.execute(delete(stock_parts))
        c.execute(delete(stock_total))
    elif root == Emptying.kind or root is None:
        recount_stock(c)
    elif root in MATTERS and not (isinstance(content, Pouring) and content.vessel is None):
        for batch in sorted(batches):
            _keep_part(c, batch)


def recount_stock(c: Connection) -> None:
    """All rows made anew from the notes since the vessel was handed over."""
    c.execute(delete(stock_parts))
    c.execute(delete(stock_total))
    query = select(events.c.batch_id).where(_filling(), events.c.id > held_now(c).since).distinct()
    for batch in sorted(c.execute(query).scalars()):
        _keep_part(c, batch)


def _keep_part(c: Connection, batch: int) -> None:
    """A batch's part made anew, and the sum by what it changed."""
    mine = stock_parts.c.batch_id == batch
    kept = c.execute(select(stock_parts.c.silver).where(mine)).scalar()
    if kept is None and not _fills(c, batch):
        return
    notes = notes_counting(c, batch)
    new = ledger_of(notes, batch, elsewhere_of(c, batch, notes)).stock
    old = np.zeros(N) if kept is None else _draws(kept)
    there = bool(new.max() >= LITTLE_G)
    if there and kept is None:
        c.execute(insert(stock_parts).values(batch_id=batch, silver=_bytes(new)))
    elif there:
        c.execute(update(stock_parts).where(mine).values(silver=_bytes(new)))
    else:
        new = np.zeros(N)
        c.execute(delete(stock_parts).where(mine))
    more = int(there) - int(kept is not None)
    if more or (new != old).any():
        _add(c, new - old, more)


def _add(c: Connection, grams: Array, batches: int) -> None:
    row = c.execute(select(stock_total)).one_or_none()
    if row is None:
        c.execute(insert(stock_total).values(id=1, silver=_bytes(grams), batches=batches))
        return
    silver = np.maximum(0.0, _draws(row.silver) + grams)
    c.execute(update(stock_total).values(silver=_bytes(silver), batches=row.batches + batches))


def _fills(c: Connection, batch: int) -> bool:
    return c.execute(select(events.c.id).where(events.c.batch_id == batch, _filling()).limit(1)).first() is not None


def _filling() -> ColumnElement[bool]:
    poured = and_(events.c.what == PREFIX + Pouring.kind, events.c.detail.contains('"vessel"'))
    return or_(events.c.what.in_([PREFIX + kind for kind in FILLS]), poured)


def stock_faults(c: Connection) -> bool:
    """Whether the sum is not that of its parts."""
    parts = c.execute(select(stock_parts.c.silver)).scalars().all()
    row = c.execute(select(stock_total)).one_or_none()
    total, count = (np.zeros(N), 0) if row is None else (_draws(row.silver), row.batches)
    added = np.sum([_draws(part) for part in parts], axis=0) if parts else np.zeros(N)
    return count != len(parts) or not bool(np.abs(total - added).max() <= LITTLE_G)


def _draws(kept: bytes) -> Array:
    return np.frombuffer(kept, dtype="<f8") if len(kept) == 8 * N else np.full(N, np.nan)  # damaged: seen by the check


def _bytes(draws: Array) -> bytes:
    return np.asarray(draws, dtype="<f8").tobytes()
