"""The labels of a batch's vessels, taken from the log: the batch at its stage, the stock vessel over all batches."""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import Connection

from service.log import store
from service.log.course.state import batch_state, observations
from service.log.entry_cache import slim_rows
from service.log.noted.vessel import dangers_now, held_now, silver_words, stock_now
from service.log.notes import notes_of
from service.moments import in_zone
from service.report.labels.address import batch_address
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
    known = Known(batch, row["name"], state, tuple(notes_of(c, batch)), seen, stock, dangers, silver_words(held))
    at = in_zone(now or datetime.now(UTC).isoformat(), row["zone"])
    return Sheet(batch, row["name"], at[:10], batch_address(root, batch), labels_of(known))
