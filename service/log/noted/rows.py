"""Rows of the log that are notes, read; one that can't be read is marked and keeps its place."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache

from sqlalchemy import Connection, RowMapping, bindparam, select

from service.bench.notes import Amended, Content, Note, checked
from service.bench.question import Question
from service.log.models import events
from stripread.errors import CallError

PREFIX = "bench:"  # of an event that is a note
BESIDE = "_beside"  # of an event's detail: what the log knows about a note beside its own fields


_OF_BATCH = (
    select(events)
    .where(events.c.batch_id == bindparam("batch"), events.c.what.startswith(PREFIX))
    .order_by(events.c.id)
)


@dataclass(frozen=True)
class DamagedNote:
    """A note that can't be read: its number, its time, its kind as far as that is known."""

    id: int
    at: str
    kind: str


Read = tuple[int, Note | DamagedNote]  # batch, note


def notes_in(rows: Iterable[RowMapping]) -> list[Read]:
    """(batch, note) of events that are notes, given in their order."""
    found: list[Read] = []
    kinds: dict[int, str] = {}
    for row in rows:
        kind = str(row["what"]).removeprefix(PREFIX)
        try:
            content, who, question = _read(kind, row["detail"])
            if isinstance(content, Amended) and content.note in kinds:
                checked(kinds[content.note], content.data, in_log=True)
            kinds[row["id"]] = kind
        except (ValueError, TypeError, AttributeError, RecursionError, CallError):
            found.append((row["batch_id"], DamagedNote(row["id"], str(row["at"]), kind)))
        else:
            found.append((row["batch_id"], Note(content, row["at"], row["id"], who, question)))
    return found


@lru_cache(maxsize=8192)
def _read(kind: str, detail: str) -> tuple[Content, str | None, Question | None]:
    """A note's content, who wrote it and what is asked about it; kept, for one request reads a batch's notes often."""
    said = json.loads(detail)
    beside = said.pop(BESIDE, {})  # who, and what is asked: not the note's own
    asked = beside.get("asked")
    return (
        checked(kind, said, in_log=True),
        beside.get("who"),
        None if asked is None else Question.model_validate(asked),
    )


def notes_of_batch(c: Connection, batch: int) -> list[Note | DamagedNote]:
    """All of a batch's notes in the order in which they were written."""
    return [note for _, note in notes_in(c.execute(_OF_BATCH, {"batch": batch}).mappings())]
