"""Reminders of all open batches at once: of those that something was written to lately, the newest first."""

from __future__ import annotations

from dataclasses import dataclass

from sqlalchemy import Connection, select

from service.bench.reminding.reminder import Reminder
from service.log import store
from service.log.benches.asking import own_numbers
from service.log.course.state import batch_state
from service.log.models import entries, events, now
from service.moments import later
from stripread.errors import CallError

LATELY_H = 14 * 24.0  # a batch untouched for longer reminds on its own page alone
MOST = 30  # batches looked at, and so many
OWN = 200  # of a bench: its newest batches alone are asked
ROWS = 1000  # of the newest rows of the log: however long it is, this costs the same


@dataclass(frozen=True)
class BatchReminders:
    """A batch by its number and name, the zone of its times, and what it reminds of."""

    batch: int
    name: str
    zone: str
    reminders: tuple[Reminder, ...]


def reminders_now(c: Connection) -> list[BatchReminders]:
    """Of each open batch that has any; one that can't be read says so on its own page."""
    found = []
    for number in _touched(c)[:MOST]:
        row = store.batch(c, number)
        if row is None or row["closed_at"] is not None:
            continue
        try:
            reminders = batch_state(c, number).reminders
        except CallError:
            continue
        if reminders:
            found.append(BatchReminders(number, row["name"], row["zone"], reminders))
    return found


def _touched(c: Connection) -> list[int]:
    """Numbers of the batches that something came to lately, the newest first."""
    since = later(now(), -LATELY_H)
    noted = select(events.c.batch_id, events.c.at).order_by(events.c.id.desc()).limit(ROWS)
    read = select(entries.c.batch_id, entries.c.received_at).order_by(entries.c.id.desc()).limit(ROWS)
    own = own_numbers(c, OWN)
    if own is not None:
        noted, read = noted.where(events.c.batch_id.in_(own)), read.where(entries.c.batch_id.in_(own))
    newest: dict[int, str] = {}
    for batch, at in [*c.execute(noted), *c.execute(read)]:
        if at >= since:
            newest[batch] = max(newest.get(batch, ""), at)
    return sorted(newest, key=lambda batch: newest[batch], reverse=True)
