"""The stage that each batch is in, kept beside its notes so that the database can look for it."""

from __future__ import annotations

from functools import cache

from sqlalchemy import Connection, insert, update

from service.bench.course import DEFAULT
from service.bench.procedure import SHIPPED, earlier_procedure, load_procedure
from service.log.models import batch_stages

CHANGING = ("move", "procedure", "strike")  # kinds of notes after which a batch may be in another stage
_LONGEST = 100


def keep_stage(c: Connection, batch: int, stage: str) -> None:
    """Write down that the batch is in this stage now."""
    found = c.execute(update(batch_stages).where(batch_stages.c.batch_id == batch).values(stage=stage[:_LONGEST]))
    if found.rowcount == 0:
        c.execute(insert(batch_stages).values(batch_id=batch, stage=stage[:_LONGEST]))


@cache
def first_stage() -> str:
    """The stage of a batch of which nothing was noted yet."""
    return earlier_procedure(DEFAULT).stages[0].id


@cache
def shipped_stages() -> tuple[tuple[str, str], ...]:
    """Every stage of the shipped procedures once: (id, title), in the order of the procedures."""
    found: dict[str, str] = {}
    for name in SHIPPED:
        for stage in load_procedure(name).stages:
            found.setdefault(stage.id, stage.title)
    return tuple(found.items())
