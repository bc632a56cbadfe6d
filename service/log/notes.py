"""The bench's notes in the log: events of a batch, which the database itself refuses to change or delete."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from typing import Any

from sqlalchemy import Connection, insert, select

from service.bench.gates import Entry
from service.bench.notes import Note, checked, struck, vessel_of
from service.bench.procedure import load_procedure
from service.bench.state import State, stage_now, state_of
from service.bench.waste import Stock, stock
from service.log import store
from service.log.entry_cache import slim_rows
from service.log.models import events, now
from stripread.errors import CallError

PREFIX = "bench:"
TWICE_S = 60.0  # the same note again within this time is the phone sending twice


def notes_of(c: Connection, batch: int) -> list[Note]:
    """A batch's notes in the order in which they were written."""
    query = select(events).where(events.c.batch_id == batch, events.c.what.startswith(PREFIX)).order_by(events.c.id)
    return [
        Note(row["what"].removeprefix(PREFIX), row["at"], json.loads(row["detail"]), row["id"])
        for row in c.execute(query).mappings()
    ]


def add_note(c: Connection, batch: int, kind: str, data: dict[str, Any]) -> Note:
    """Write a note down; the same one again within a minute gives the first.

    Raises
    ------
    CallError
        If the note is wrong, the batch does not exist or is closed.
    """
    row = store.batch(c, batch)
    if row is None:
        raise CallError(f"there is no batch {batch}")
    if row["closed_at"] is not None:
        raise CallError("this batch is closed; open it again first")
    clean = checked(kind, data)
    earlier = notes_of(c, batch)
    if kind == "strike" and not any(n.id == int(clean["note"]) and n.kind != "strike" for n in earlier):
        raise CallError(f"there is no note {int(clean['note'])} in this batch")
    since = (datetime.now(UTC) - timedelta(seconds=TWICE_S)).isoformat(timespec="microseconds")
    if earlier and (earlier[-1].kind, earlier[-1].data) == (kind, clean) and earlier[-1].at >= since:
        return earlier[-1]
    at = now()
    values = {"batch_id": batch, "at": at, "what": PREFIX + kind, "detail": json.dumps(clean)}
    number: int = c.execute(insert(events).values(values).returning(events.c.id)).scalar_one()
    return Note(kind, at, clean, number)


def choose_procedure(c: Connection, batch: int, where: str) -> Note:
    """Give a batch its procedure: a shipped one by name, or a file; its text is kept in the log."""
    return add_note(c, batch, "procedure", {"text": load_procedure(where).text})


def move_on(c: Connection, batch: int, to: str | None, reason: str | None, who: str | None) -> tuple[Note, State]:
    """Go on to the next stage, or to the stage named.

    Raises
    ------
    CallError
        When the gate is not open (or the stage is not the next one) and no reason is given; for a stage unknown.
    """
    state = batch_state(c, batch)
    after = state.procedure.after(state.stage.id)
    if to is None and after is None:
        raise CallError("this was the last stage")
    target = state.procedure.stage(to) if to is not None else after
    assert target is not None
    if (state.verdict.state != "open" or target != after) and not (reason or "").strip():
        why = state.verdict.sentence if target == after else f"{target.title!r} is not the next stage."
        raise CallError(f"the gate says {state.verdict.state}: {why} To go on against it, give a reason.")
    data = {
        "to": target.id,
        "state": state.verdict.state,
        "sentence": state.verdict.sentence,
        "reason": reason,
        "who": who,
    }
    return add_note(c, batch, "move", data), batch_state(c, batch)


def stock_of_log(c: Connection) -> tuple[Stock, list[tuple[int, Note]]]:
    """The stock vessel over all batches since it was handed over: what it holds; (batch, note) of what was noted."""
    found: list[tuple[int, Note]] = []
    for row in store.all_batches(c):
        noted = notes_of(c, row["id"])
        out = struck(noted)
        found += [(row["id"], n) for n in noted if n.kind in ("poured", "mixed", "emptied") and n.id not in out]
    found.sort(key=lambda item: item[1].id)
    last = max((i for i, (_, n) in enumerate(found) if n.kind == "emptied"), default=-1)
    since = found[last + 1 :]
    return stock(vessel_of([n for _, n in since])), since


def gate_entries(row: store.Row, rows: list[store.Row]) -> list[Entry]:
    """The batch's readings in force as gates see them; the rinse water's own reading marked."""
    blank = row["details"].get("blank_entry")
    return [
        Entry(r["kind"], r["received_at"], {**r["reading"], "blank": r["id"] == blank}, r["wash"])
        for r in store.in_force(rows)
    ]


def neutral_band(c: Connection, batch: int) -> tuple[float, float]:
    """The pH that counts as neutral in the stage that the batch is in, by its procedure."""
    procedure, stage = stage_now(notes_of(c, batch))
    return procedure.band(stage.id)


def batch_state(c: Connection, batch: int) -> State:
    """Where a batch stands.

    Raises
    ------
    CallError
        If there is no such batch.
    """
    row = store.batch(c, batch)
    if row is None:
        raise CallError(f"there is no batch {batch}")
    details = row["details"]
    entries = gate_entries(row, slim_rows(c, batch))
    return state_of(notes_of(c, batch), entries, details.get("alkalinity_mmol_l"), details.get("water"))
