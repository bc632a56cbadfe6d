"""The labels of a batch's vessels, taken from the log: the batch at its stage, the stock vessel over all batches."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from sqlalchemy import Connection

from service.log import store
from service.log.chain.known_by import log_mark
from service.log.course.state import batch_state, observations
from service.log.course.vessels import batch_ledger
from service.log.entry_cache import slim_rows
from service.log.noted.vessel import dangers_now, held_now, silver_words, stock_now
from service.log.notes import notes_of
from service.moments import in_zone
from service.report.labels.of_batch import Known, labels_of
from service.report.labels.paper import Sheet
from stripread.errors import CallError
from stripread.words import _


def label_sheet(c: Connection, batch: int, root: str, now: str | None = None) -> Sheet:
    """The sheet of labels of a batch, dated today in its zone; ``root`` is the page's address, ``now`` an ISO time.

    Raises
    ------
    CallError
        If there is no such batch.
    """
    row = store.batch(c, batch)
    if row is None:
        raise CallError(_("there is no batch {batch}", batch=batch))
    state = batch_state(c, batch)
    seen = tuple(observations(c, row, slim_rows(c, batch)))
    held = held_now(c)
    stock = None if held.empty else stock_now(c, held)
    dangers = tuple(danger.sentence for danger in dangers_now(c, None, held))
    notes = tuple(notes_of(c, batch))
    vessels = batch_ledger(c, batch).vessels
    known = Known(batch, row["name"], state, notes, seen, stock, dangers, silver_words(held), vessels)
    at = in_zone(now or datetime.now(UTC).isoformat(), row["zone"])
    found = tuple(replace(one, day=in_zone(one.day, row["zone"])[:10]) if one.day else one for one in labels_of(known))
    return Sheet(batch, row["name"], at[:10], root, log_mark(c), found)
