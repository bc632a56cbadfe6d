"""A batch's ledger of vessels as its log stands: its notes, readings of washes, what other batches took or brought."""

from __future__ import annotations

from sqlalchemy import Connection

from service.bench.chemistry.balance import chloride_by_ph
from service.bench.course import course_of
from service.bench.ledger.ledger import Ledger, ledger_of
from service.bench.readings import LoggedPh
from service.bench.washing.chalk import chalk_of
from service.log import store
from service.log.course.state import observations
from service.log.entry_cache import slim_rows
from service.log.noted.links import elsewhere_of, notes_counting


def batch_ledger(c: Connection, batch: int) -> Ledger:
    """Where the batch's silver is, vessel by vessel.

    Raises
    ------
    NotFound
        If there is no such batch.
    """
    row = store.known_batch(c, batch)
    notes = notes_counting(c, batch)
    seen = observations(c, row, slim_rows(c, batch))
    read = [(o.wash, o.reading) for o in seen if isinstance(o.reading, LoggedPh) and o.wash is not None and not o.blank]
    chloride = {
        wash: chloride_by_ph(reading.ph, reading.interval)
        for wash, reading in read
        if wash is not None and reading.ph is not None
    }
    details = row["details"]
    hard = details.get("alkalinity_mmol_l")
    chalk = chalk_of(notes, seen, course_of(notes).procedure, details.get("water"), hard)
    return ledger_of(notes, batch, elsewhere_of(c, batch, notes), chloride, chalk.grams)
