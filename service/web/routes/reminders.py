"""What open batches remind of, over HTTP: all of them, or one."""

from __future__ import annotations

from fastapi import APIRouter
from pydantic import BaseModel

from service.bench.state_view import ReminderView, reminder_view
from service.log import store
from service.log.course.reminders import reminders_now
from service.log.course.state import batch_state
from service.web.components import ServiceDep
from service.web.problems import responses
from service.web.routes.batches import BatchId
from service.web.routes.plan import asked

router = APIRouter(prefix="/api", tags=["bench"], responses=responses(401, 403, 421, 422, 429, 500, 503))


class RemindersOut(BaseModel):
    """A batch and what it reminds of, a danger first, then what has waited longest."""

    batch: int
    name: str
    zone: str
    reminders: list[ReminderView]


@router.get("/reminders")
def list_reminders(service: ServiceDep) -> list[RemindersOut]:
    """Open batches that remind of something: of the 30 that something was written to last, within two weeks."""
    with service.database.read() as c:
        found = reminders_now(c)
    return [
        RemindersOut(batch=one.batch, name=one.name, zone=one.zone, reminders=list(map(reminder_view, one.reminders)))
        for one in found
    ]


@router.get("/batches/{batch}/reminders", responses=responses(404))
def list_of_batch(batch: BatchId, service: ServiceDep) -> list[ReminderView]:
    """What the batch reminds of: settled, dry enough to weigh, look again, test vials to acidify; none if closed."""
    with service.database.read() as c:
        row = store.known_batch(c, batch)
        if row["closed_at"] is not None:
            return []
        return [reminder_view(one) for one in asked(lambda: batch_state(c, batch)).reminders]
